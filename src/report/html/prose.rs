//! The tree of the prose as HTML.

use std::collections::BTreeMap;

use pulldown_cmark::Alignment;

use super::Writer;
use super::markup::{Attributes, Markup};
use super::{math, words};
use crate::report::prose_tree::{
    Block, Entry, Formula, Inline, List, NoteReference, Picture, ProseTable, Style,
};

/// The footnotes met so far: their texts, and how often each is referred to.
#[derive(Default)]
pub(super) struct Notes {
    texts: Vec<Markup>,
    references: BTreeMap<usize, usize>,
}

impl Writer<'_> {
    pub(super) fn blocks(&mut self, page: &mut Markup, blocks: &[Block]) {
        blocks.iter().for_each(|block| self.block(page, block));
    }

    fn block(&mut self, page: &mut Markup, block: &Block) {
        match block {
            Block::Computed(index) => return self.computed(page, *index),
            Block::Paragraph(text) => self.inlines_in(page, "p", &[], text),
            Block::Loose(text) => self.inlines(page, text),
            Block::Display(formula) => self.display(page, formula),
            Block::Heading(level, text) => {
                let tag = self.heading_tag(*level);
                self.inlines_in(page, tag, &[], text);
            }
            Block::Line(text) => page.element("p", &[], |page| self.inlines_in(page, "strong", &[], text)),
            Block::Quote(blocks) => page.element("blockquote", &[], |page| self.blocks(page, blocks)),
            Block::List(list) => self.list(page, list),
            Block::Rule => page.open("hr", &[]),
            Block::Verbatim(text, _) => {
                page.element("pre", &[], |page| page.text_in("code", &[], text));
            }
            Block::Table(table) => self.table(page, table),
            Block::LooseNote(name, blocks) => page.element("div", &[("class", "loose-note")], |page| {
                page.text(&format!("[{name}] "));
                self.blocks(page, blocks);
            }),
            Block::Picture(picture) => self.figure(page, picture),
        }
        page.line();
    }

    fn list(&mut self, page: &mut Markup, list: &List) {
        let tight = if list.tight { "tight" } else { "loose" };
        let start = list.start.unwrap_or(1).min(999_999_999).to_string();
        let class = if list.is_checklist() { format!("{tight} checks") } else { tight.to_owned() };
        let attributes = [("class", class.as_str()), ("start", start.as_str())];
        let numbered = list.start.is_some() && !list.is_checklist();
        let (tag, attributes): (_, Attributes) =
            if numbered { ("ol", &attributes) } else { ("ul", &attributes[..1]) };
        page.element(tag, attributes, |page| list.entries.iter().for_each(|entry| self.entry(page, entry)));
    }

    fn entry(&mut self, page: &mut Markup, entry: &Entry) {
        page.element("li", &[], |page| {
            if let Some(ticked) = entry.tick {
                tick(page, ticked);
            }
            self.blocks(page, &entry.blocks);
        });
        page.line();
    }

    fn table(&mut self, page: &mut Markup, table: &ProseTable) {
        let align = |index: usize| match table.alignments.get(index) {
            Some(Alignment::Center) => "center",
            Some(Alignment::Right) => "right",
            _ => "left",
        };
        let attributes =
            [("class", "scroll prose"), ("role", "group"), ("tabindex", "0"), ("aria-label", "Table")];
        page.element("div", &attributes, |page| {
            page.element("table", &[], |page| {
                page.element("thead", &[], |page| {
                    page.element("tr", &[], |page| {
                        for (index, cell) in table.head.iter().enumerate() {
                            // A head without words is no head of anything.
                            let tag = if cell.is_empty() { "td" } else { "th" };
                            let attributes = [("class", align(index)), ("scope", "col")];
                            let attributes = if cell.is_empty() { &attributes[..1] } else { &attributes[..] };
                            self.inlines_in(page, tag, attributes, cell);
                        }
                    });
                });
                page.element("tbody", &[], |page| {
                    for row in &table.rows {
                        page.element("tr", &[], |page| {
                            for (index, cell) in row.iter().enumerate() {
                                self.inlines_in(page, "td", &[("class", align(index))], cell);
                            }
                        });
                    }
                });
            });
        });
    }

    // --------------------------------------------------------------------------------------------
    // Running text
    // --------------------------------------------------------------------------------------------

    fn inlines_in(&mut self, page: &mut Markup, tag: &str, attributes: Attributes, text: &[Inline]) {
        page.element(tag, attributes, |page| self.inlines(page, text));
    }

    pub(super) fn inlines(&mut self, page: &mut Markup, text: &[Inline]) {
        text.iter().for_each(|inline| self.inline(page, inline));
    }

    fn inline(&mut self, page: &mut Markup, inline: &Inline) {
        match inline {
            Inline::Text(text, _) => page.text(text),
            Inline::Value(index) => words::inline_value(page, self.results, *index),
            Inline::Code(text, _) => page.text_in("code", &[], text),
            Inline::Break => page.open("br", &[]),
            Inline::Formula(formula) => self.formula(page, formula),
            Inline::Styled(style, text) => self.set_off(page, *style, text),
            Inline::Link(address, text) => self.link(page, address, text),
            Inline::Note(note) => self.note(page, note),
            Inline::Picture(picture) => self.picture(page, picture),
        }
    }

    fn set_off(&mut self, page: &mut Markup, style: Style, text: &[Inline]) {
        let tag = match style {
            Style::Emphasis => "em",
            Style::Strong => "strong",
            Style::Struck => "del",
            Style::Lowered => "sub",
            Style::Raised => "sup",
            Style::Plain => return self.inlines(page, text),
        };
        self.inlines_in(page, tag, &[], text);
    }

    fn link(&mut self, page: &mut Markup, address: &str, text: &[Inline]) {
        let attributes = [("href", &encoded(address)[..]), ("rel", "noreferrer")];
        let outer = std::mem::replace(&mut self.in_link, true);
        self.inlines_in(page, "a", &attributes, text);
        self.in_link = outer;
    }

    fn note(&mut self, page: &mut Markup, note: &NoteReference) {
        let number = note.number;
        let count = self.notes.references.entry(number).or_insert(0);
        *count += 1;
        let id = if *count == 1 { format!("ref-{number}") } else { format!("ref-{number}-{count}") };
        if let Some(body) = &note.body {
            // Its place first: a footnote may hold further ones.
            let at = number.saturating_sub(1);
            while self.notes.texts.len() <= at {
                self.notes.texts.push(Markup::new());
            }
            let mut text = Markup::new();
            let outer = std::mem::replace(&mut self.in_link, false);
            self.blocks(&mut text, body);
            self.in_link = outer;
            self.notes.texts[at] = text;
        }
        page.element("sup", &[("id", &id)], |page| {
            if self.in_link {
                return page.text(&number.to_string());
            }
            let (to, said) = (format!("#note-{number}"), format!("note {number}"));
            let attributes = [("href", to.as_str()), ("role", "doc-noteref"), ("aria-label", said.as_str())];
            page.text_in("a", &attributes, &number.to_string());
        });
    }

    /// The footnotes, at the end of the prose.
    pub(super) fn endnotes(&mut self, page: &mut Markup) {
        let texts = std::mem::take(&mut self.notes.texts);
        if texts.is_empty() {
            return;
        }
        let attributes = [("role", "doc-endnotes"), ("class", "notes"), ("aria-labelledby", "notes")];
        page.element("section", &attributes, |page| {
            page.text_in("h2", &[("id", "notes")], "Notes");
            page.element("ol", &[], |page| {
                for (index, text) in texts.iter().enumerate() {
                    let number = index + 1;
                    page.element("li", &[("id", &format!("note-{number}"))], |page| {
                        page.push(text);
                        let (to, said) =
                            (format!("#ref-{number}"), format!("back to note {number} in the text"));
                        let attributes =
                            [("href", to.as_str()), ("role", "doc-backlink"), ("aria-label", said.as_str())];
                        page.text(" ");
                        page.text_in("a", &attributes, "↩");
                    });
                }
            });
        });
        page.line();
    }

    // --------------------------------------------------------------------------------------------
    // Formulas and images
    // --------------------------------------------------------------------------------------------

    fn formula(&self, page: &mut Markup, formula: &Formula) {
        match &formula.math {
            Some(math) => math::formula(page, math, false, &formula.spoken()),
            None => page.text_in("code", &[], formula.source.trim()),
        }
    }

    fn display(&self, page: &mut Markup, formula: &Formula) {
        let spoken = formula.spoken();
        match &formula.math {
            Some(math) => {
                let attributes = [
                    ("class", "scroll formula"),
                    ("role", "group"),
                    ("tabindex", "0"),
                    ("aria-label", "Formula"),
                ];
                page.element("div", &attributes, |page| math::formula(page, math, true, &spoken));
            }
            None => page.element("pre", &[], |page| page.text_in("code", &[], formula.source.trim())),
        }
    }

    fn figure(&mut self, page: &mut Markup, picture: &Picture) {
        self.figures += 1;
        let number = self.figures;
        page.element("figure", &[("class", "picture")], |page| {
            self.picture(page, picture);
            if let Some(caption) = &picture.caption {
                page.element("figcaption", &[], |page| {
                    page.text_in("b", &[], &format!("Figure\u{a0}{number}"));
                    page.text(&format!(" {caption}"));
                });
            }
        });
    }

    fn picture(&self, page: &mut Markup, picture: &Picture) {
        let Some(read) = self.pictures.picture(&picture.destination) else {
            let problem = picture.problem.as_deref().unwrap_or("it was not read");
            let said = match picture.alternative.as_str() {
                "" => String::new(),
                alternative => format!("{alternative}; "),
            };
            let text = format!("[image not shown: {said}{}, {problem}]", picture.destination);
            return page.text_in("span", &[("class", "absent")], &text);
        };
        let data = super::data_address(read.format.mime(), &read.bytes);
        page.open("img", &[("src", &data), ("alt", &picture.spoken())]);
    }
}

/// A box with or without a tick.
pub(super) fn tick(page: &mut Markup, ticked: bool) {
    let (said, sign) = if ticked { ("ticked", "☑") } else { ("not ticked", "☐") };
    page.text_in("span", &[("class", "tick"), ("role", "img"), ("aria-label", said)], sign);
    page.text(" ");
}

/// An address with what may not stand in one percent-encoded (RFC 3986, 2.1).
fn encoded(address: &str) -> String {
    let mut text = String::with_capacity(address.len());
    for c in address.chars() {
        match c {
            ' ' | '"' | '<' | '>' | '\\' | '^' | '`' | '{' | '|' | '}' | '[' | ']' => {
                text.push_str(&format!("%{:02X}", c as u32));
            }
            c if c.is_control() => text.push_str(&format!("%{:02X}", c as u32)),
            c => text.push(c),
        }
    }
    text
}
