//! The prose of a notebook: every CommonMark event becomes Typst code.
//!
//! The walk is a plain descent over the notebook's items. Containers nested deeper than [`DEEPEST`] are
//! opened no further (their text is still set), so that no input can exhaust the stack or the typesetter.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use pulldown_cmark::{Alignment, Event, HeadingLevel, LinkType, Tag, TagEnd};

use super::code::{self, Fields};
use super::images::Pictures;
use super::words::Ink;
use super::{inline, math};
use crate::evaluation::results::Results;
use crate::finding::{Code, Finding};
use crate::notebook::{Item, Notebook};
use crate::span::Span;

/// How deep lists, quotes and styles may nest before they are opened no further.
const DEEPEST: usize = 8;

/// Bytes of a heading that an outline can hold.
const LONGEST_HEADING: usize = 2000;

/// A place of the generated source and the place of the notebook it was made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Bytes of the generated source.
    pub source: Range<usize>,
    /// The place in the notebook.
    pub notebook: Span,
}

/// The generated body and what there is to say about it.
pub(super) struct Body {
    pub(super) code: String,
    pub(super) places: Vec<Place>,
    pub(super) findings: Vec<Finding>,
}

/// A part of a paragraph: running text, or a display that stands on its own.
enum Piece {
    Running(String),
    Display(String),
}

/// What the writer needs to know of the rest of the report.
pub(super) struct Context<'a> {
    pub(super) notebook: &'a Notebook,
    pub(super) results: &'a Results,
    pub(super) ink: &'a Ink<'a>,
    pub(super) pictures: &'a Pictures,
    /// For every block of the notebook the code of what stands in its place.
    pub(super) blocks: &'a [Vec<String>],
    /// The title, so that a heading that only repeats it is not printed twice.
    pub(super) title: &'a str,
}

/// Writes the whole prose.
pub(super) fn write(context: &Context) -> Body {
    let mut writer = Writer::new(context);
    writer.whole();
    Body { code: writer.code, places: writer.places, findings: writer.findings }
}

struct Writer<'a> {
    context: &'a Context<'a>,
    items: &'a [Item],
    at: usize,
    depth: usize,
    code: String,
    places: Vec<Place>,
    findings: Vec<Finding>,
    /// Source levels of the open headings, so that no level is skipped.
    levels: Vec<u8>,
    /// The items of each footnote's text.
    footnotes: BTreeMap<String, usize>,
    /// Footnotes that some reference names.
    referenced: BTreeSet<String>,
    /// Footnotes already set, with the number of their label.
    set_footnotes: BTreeMap<String, usize>,
    /// The tick of the list entry that is being written.
    tick: Option<bool>,
    /// How many italic or bold styles are open.
    styled: usize,
}

impl<'a> Writer<'a> {
    fn new(context: &'a Context<'a>) -> Self {
        let mut writer = Writer {
            context,
            items: &context.notebook.items,
            at: 0,
            depth: 0,
            code: String::new(),
            places: Vec::new(),
            findings: Vec::new(),
            levels: Vec::new(),
            footnotes: BTreeMap::new(),
            referenced: BTreeSet::new(),
            set_footnotes: BTreeMap::new(),
            tick: None,
            styled: 0,
        };
        writer.find_footnotes();
        writer
    }

    fn find_footnotes(&mut self) {
        for (index, item) in self.items.iter().enumerate() {
            match item {
                Item::Event(Event::Start(Tag::FootnoteDefinition(name)), _) => {
                    self.footnotes.entry(name.to_string()).or_insert(index);
                }
                Item::Event(Event::FootnoteReference(name), _) => {
                    self.referenced.insert(name.to_string());
                }
                _ => {}
            }
        }
    }

    fn whole(&mut self) {
        self.skip_repeated_title();
        while let Some(item) = self.peek() {
            let span = self.span();
            let statement = match item {
                Item::Event(Event::End(_), _) => {
                    self.at += 1; // an end without a start
                    continue;
                }
                item if is_inline(item) => loose_pieces(self.inline(0)),
                _ => self.block(),
            };
            self.state(&statement, span);
        }
    }

    /// Adds a statement and remembers where it came from.
    fn state(&mut self, statement: &str, span: Span) {
        let start = self.code.len();
        self.code.push_str(statement);
        self.places.push(Place { source: start..self.code.len(), notebook: span });
    }

    /// Passes over a first heading that says the same as the title block.
    fn skip_repeated_title(&mut self) {
        let is_heading = |item: &Item| matches!(item, Item::Event(Event::Start(Tag::Heading { .. }), _));
        let Some(start) = self.items.iter().position(is_heading) else { return };
        let before: Vec<&Item> = self.items.iter().take(start).collect();
        let blocks: Vec<usize> = before.iter().filter_map(|item| block_of(item)).collect();
        if blocks.len() < before.len() || !self.repeats_title(start) {
            return;
        }
        for index in blocks {
            let code = self.block_code(index);
            self.state(&code, self.block_span(index));
        }
        self.at = end_of(self.items, start) + 1;
    }

    /// Whether a heading is of level one, nothing but text, and that text the title.
    fn repeats_title(&self, start: usize) -> bool {
        let inside = self.items.get(start + 1..end_of(self.items, start)).unwrap_or(&[]);
        is_title(self.items.get(start))
            && inside.iter().all(is_plain)
            && folded(&plain_text(inside)) == folded(self.context.title)
    }

    fn peek(&self) -> Option<&'a Item> {
        self.items.get(self.at)
    }

    fn span(&self) -> Span {
        match self.peek() {
            Some(Item::Event(_, span)) => *span,
            Some(Item::Inline(index)) => {
                self.context.notebook.inline.get(*index).map_or(Span::default(), |inline| inline.span)
            }
            Some(Item::Block(index)) => self.block_span(*index),
            None => Span::default(),
        }
    }

    fn block_span(&self, index: usize) -> Span {
        self.context.notebook.blocks.get(index).map_or(Span::default(), |block| block.span)
    }

    // --------------------------------------------------------------------------------------------
    // Blocks
    // --------------------------------------------------------------------------------------------

    /// Blocks up to the end of the container (which is left unread), as statements.
    fn flow(&mut self) -> String {
        let mut body = String::new();
        let mut unopened = 0usize;
        while let Some(item) = self.peek() {
            match item {
                Item::Event(Event::End(end), _) if is_container_end(end) && unopened > 0 => {
                    unopened -= 1;
                    self.at += 1;
                }
                Item::Event(Event::End(_), _) => break,
                Item::Event(Event::Start(tag), _) if is_container(tag) && self.depth >= DEEPEST => {
                    unopened += 1;
                    self.at += 1;
                }
                item if is_inline(item) => {
                    let pieces = self.inline(0);
                    body.push_str(&loose_pieces(pieces));
                }
                _ => {
                    let statement = self.block();
                    body.push_str(&statement);
                }
            }
        }
        body
    }

    /// One block; reads past its end.
    fn block(&mut self) -> String {
        match self.peek() {
            Some(Item::Block(index)) => {
                let code = self.block_code(*index);
                self.at += 1;
                code
            }
            Some(Item::Event(Event::Start(tag), span)) => {
                let (tag, span) = (tag.clone(), *span);
                self.at += 1;
                self.depth += 1;
                let code = self.tagged_block(&tag, span);
                self.depth -= 1;
                self.at += 1; // the end of the tag
                code
            }
            Some(Item::Event(Event::Rule, _)) => {
                self.at += 1;
                "layout.rule\n".to_owned()
            }
            Some(Item::Event(Event::Html(html), span)) => {
                let code = self.raw_block(html, *span);
                self.at += 1;
                code
            }
            _ => {
                self.at += 1;
                String::new()
            }
        }
    }

    fn block_code(&self, index: usize) -> String {
        self.context.blocks.get(index).map_or(String::new(), |pieces| pieces.concat())
    }

    fn tagged_block(&mut self, tag: &Tag<'a>, span: Span) -> String {
        match tag {
            Tag::Paragraph => self.paragraph(),
            Tag::Heading { level, .. } => self.heading(*level as u8),
            Tag::BlockQuote(_) => format!("quote(block: true, {{\n{}}})\n", self.flow()),
            Tag::List(start) => self.list(*start),
            Tag::CodeBlock(_) | Tag::HtmlBlock => self.verbatim_block(span),
            Tag::Table(alignments) => self.table(alignments),
            Tag::FootnoteDefinition(name) => self.footnote_definition(name),
            _ => self.flow(),
        }
    }

    fn paragraph(&mut self) -> String {
        let start = self.at;
        let end = end_of(self.items, start.saturating_sub(1));
        if let Some(picture) = self.lone_picture(start, end) {
            self.at = end;
            return picture;
        }
        let pieces = self.inline(0);
        paragraphs(pieces)
    }

    fn heading(&mut self, level: u8) -> String {
        let said = heading_text(self.items, self.at.saturating_sub(1));
        self.styled += 1;
        let pieces = running(self.inline(0));
        self.styled -= 1;
        if pieces.is_empty() {
            return String::new();
        }
        if !said.chars().any(|c| c.is_alphanumeric()) || said.len() > LONGEST_HEADING {
            // Nothing that an outline could name: set as a line of its own.
            return format!("par(strong({}))\n", code::joined(&pieces));
        }
        while self.levels.last().is_some_and(|open| *open >= level) {
            self.levels.pop();
        }
        self.levels.push(level);
        format!("heading(level: {}, {})\n", self.levels.len(), code::joined(&pieces))
    }

    fn list(&mut self, start: Option<u64>) -> String {
        let tight = self.list_is_tight();
        let mut entries = Vec::new();
        let mut ticks = Vec::new();
        while let Some(Item::Event(Event::Start(Tag::Item), _)) = self.peek() {
            self.at += 1;
            self.tick = None;
            let body = self.flow();
            ticks.push(self.tick.take());
            entries.push(format!("{{\n{body}}}"));
            self.at += 1;
        }
        list_code(start, tight, &entries, &ticks)
    }

    /// A list is loose where an entry of its own (not of a nested list) holds a paragraph.
    fn list_is_tight(&self) -> bool {
        let mut open = 0i64;
        for item in self.items.get(self.at..).unwrap_or(&[]) {
            match item {
                Item::Event(Event::Start(Tag::Paragraph), _) if open == 1 => return false,
                Item::Event(Event::Start(_), _) => open += 1,
                Item::Event(Event::End(_), _) => open -= 1,
                _ => {}
            }
            if open < 0 {
                break;
            }
        }
        true
    }

    fn verbatim_block(&mut self, span: Span) -> String {
        let text = self.texts();
        self.raw_block(&text, span)
    }

    /// The text of everything up to the end of the block.
    fn texts(&mut self) -> String {
        let mut text = String::new();
        while let Some(item) = self.peek() {
            match item {
                Item::Event(Event::End(_), _) => break,
                Item::Event(Event::Text(part) | Event::Html(part) | Event::InlineHtml(part), _) => {
                    text.push_str(part)
                }
                _ => {}
            }
            self.at += 1;
        }
        text
    }

    fn raw_block(&self, text: &str, span: Span) -> String {
        let text = text.strip_suffix('\n').unwrap_or(text);
        let lines: Vec<String> = text
            .lines()
            .map(|line| self.context.ink.plain(&line.replace('\t', "    "), Some(span)))
            .collect();
        format!("layout.code-block({})\n", code::array(lines))
    }

    fn table(&mut self, alignments: &[Alignment]) -> String {
        let mut head = Vec::new();
        let mut rows = Vec::new();
        while let Some(Item::Event(Event::Start(tag), _)) = self.peek() {
            let is_head = matches!(tag, Tag::TableHead);
            self.at += 1;
            let cells = self.cells();
            self.at += 1;
            if is_head { head = cells } else { rows.push(code::array(cells)) }
        }
        let alignments = alignments.iter().map(|alignment| code::string(alignment_word(*alignment)));
        Fields::new()
            .code("aligns", code::array(alignments))
            .code("head", code::array(head))
            .code("rows", code::array(rows))
            .call("layout.prose-table")
            + "\n"
    }

    fn cells(&mut self) -> Vec<String> {
        let mut cells = Vec::new();
        while let Some(Item::Event(Event::Start(Tag::TableCell), _)) = self.peek() {
            self.at += 1;
            let pieces = running(self.inline(1));
            cells.push(code::joined(&pieces));
            self.at += 1;
        }
        cells
    }

    fn footnote_definition(&mut self, name: &str) -> String {
        if self.referenced.contains(name) {
            self.at = end_of(self.items, self.at.saturating_sub(1));
            return String::new();
        }
        let body = self.note_body();
        format!("layout.loose-note({}, {{\n{body}}})\n", self.context.ink.text(name, None))
    }

    fn lone_picture(&mut self, start: usize, end: usize) -> Option<String> {
        let inside = self.items.get(start..end)?;
        let Some(Item::Event(Event::Start(Tag::Image { dest_url, title, .. }), span)) = inside.first() else {
            return None;
        };
        if end_of(self.items, start) + 1 != end {
            return None;
        }
        let caption = (!title.is_empty()).then(|| self.context.ink.text(title, Some(*span)));
        Some(self.picture(&Shown::new(dest_url, inside, *span), caption, true) + "\n")
    }

    // --------------------------------------------------------------------------------------------
    // Running text
    // --------------------------------------------------------------------------------------------

    /// Running text up to the end of its block (left unread). `nested` is how many styles enclose it.
    fn inline(&mut self, nested: usize) -> Vec<Piece> {
        let mut pieces = Vec::new();
        let mut text = Text::default();
        let mut unopened = 0usize;
        while let Some(item) = self.peek() {
            let closes = unopened > 0 && matches!(item, Item::Event(Event::End(_), _));
            if !is_inline(item) && !closes {
                break;
            }
            match item {
                Item::Event(Event::Text(part), span) => text.push(part, *span),
                Item::Event(Event::SoftBreak, span) => text.push(" ", *span),
                Item::Event(Event::End(_), _) => unopened -= 1,
                Item::Event(Event::Start(tag), _)
                    if nested >= DEEPEST && !matches!(tag, Tag::Image { .. }) =>
                {
                    unopened += 1;
                }
                _ => {
                    self.flush(&mut text, &mut pieces);
                    self.inline_item(nested, &mut pieces);
                    continue;
                }
            }
            self.at += 1;
        }
        self.flush(&mut text, &mut pieces);
        pieces
    }

    fn flush(&self, text: &mut Text, pieces: &mut Vec<Piece>) {
        let code = self.context.ink.pieces(&text.text, text.span, self.styled == 0);
        pieces.extend(code.into_iter().map(Piece::Running));
        *text = Text::default();
    }

    /// Anything but plain text; reads past it.
    fn inline_item(&mut self, nested: usize, pieces: &mut Vec<Piece>) {
        let span = self.span();
        match self.peek() {
            Some(Item::Inline(index)) => {
                pieces.push(Piece::Running(inline::value(self.context, *index)));
            }
            Some(Item::Event(Event::Start(tag), _)) => {
                let tag = tag.clone();
                self.at += 1;
                self.tagged_inline(&tag, span, nested, pieces);
            }
            Some(Item::Event(event, _)) => {
                let event = event.clone();
                self.leaf(&event, span, nested, pieces);
            }
            _ => {}
        }
        self.at += 1;
    }

    fn leaf(&mut self, event: &Event<'a>, span: Span, nested: usize, pieces: &mut Vec<Piece>) {
        match event {
            Event::Code(text) | Event::InlineHtml(text) | Event::Html(text) => {
                pieces.push(Piece::Running(format!(
                    "layout.code({})",
                    self.context.ink.text(text, Some(span))
                )));
            }
            Event::HardBreak => pieces.push(Piece::Running("linebreak()".to_owned())),
            Event::InlineMath(source) => pieces.push(Piece::Running(self.math(source, false, span))),
            Event::DisplayMath(source) if nested == 0 => {
                pieces.push(Piece::Display(self.math(source, true, span)))
            }
            Event::DisplayMath(source) => pieces.push(Piece::Running(self.math(source, false, span))),
            Event::FootnoteReference(name) => {
                let reference = self.footnote(name);
                pieces.push(Piece::Running(reference));
            }
            Event::TaskListMarker(ticked) => self.tick = Some(*ticked),
            _ => {}
        }
    }

    fn tagged_inline(&mut self, tag: &Tag<'a>, span: Span, nested: usize, pieces: &mut Vec<Piece>) {
        if let Tag::Image { dest_url, .. } = tag {
            let end = end_of(self.items, self.at.saturating_sub(1));
            let picture = Shown::new(dest_url, self.items.get(self.at..end).unwrap_or(&[]), span);
            self.at = end;
            pieces.push(Piece::Running(self.picture(&picture, None, false)));
            return;
        }
        let styled = usize::from(matches!(tag, Tag::Emphasis | Tag::Strong));
        self.styled += styled;
        let inside = running(self.inline(nested + 1));
        self.styled -= styled;
        let body = code::joined(&inside);
        let styled = match tag {
            Tag::Emphasis => format!("emph({body})"),
            Tag::Strong => format!("strong({body})"),
            Tag::Strikethrough => format!("strike({body})"),
            Tag::Subscript => format!("layout.lowered({body})"),
            Tag::Superscript => format!("layout.raised({body})"),
            Tag::Link { link_type, dest_url, .. } => {
                pieces.push(Piece::Running(self.link(*link_type, dest_url, &inside, span)));
                return;
            }
            _ => body,
        };
        pieces.push(Piece::Running(styled));
    }

    fn link(&self, kind: LinkType, destination: &str, inside: &[String], span: Span) -> String {
        let address =
            if kind == LinkType::Email { format!("mailto:{destination}") } else { destination.to_owned() };
        let shown = if inside.is_empty() {
            self.context.ink.text(&address, Some(span))
        } else {
            code::joined(inside)
        };
        if is_live(&address) {
            return format!("link({}, {shown})", code::string(&address));
        }
        if destination.is_empty() || destination.starts_with('#') {
            return shown;
        }
        let address = self.context.ink.text(&format!(" ({destination})"), Some(span));
        format!("{{ {shown}; {address} }}")
    }

    fn footnote(&mut self, name: &str) -> String {
        if let Some(number) = self.set_footnotes.get(name) {
            return format!("footnote(label(\"note-{number}\"))");
        }
        let Some(start) = self.footnotes.get(name).copied().filter(|_| self.depth < DEEPEST) else {
            return self.context.ink.text(&format!("[^{name}]"), None);
        };
        let number = self.set_footnotes.len() + 1;
        self.set_footnotes.insert(name.to_owned(), number);
        let back = std::mem::replace(&mut self.at, start + 1);
        self.depth += 1;
        let body = self.note_body();
        self.depth -= 1;
        self.at = back;
        format!("[#footnote({{\n{body}}})#label(\"note-{number}\")]")
    }

    /// The text of a footnote: its first paragraph runs on from the number.
    fn note_body(&mut self) -> String {
        let mut body = String::new();
        if let Some(Item::Event(Event::Start(Tag::Paragraph), _)) = self.peek() {
            self.at += 1;
            body = loose_pieces(self.inline(0));
            self.at += 1;
        }
        body + &self.flow()
    }

    fn math(&mut self, source: &str, display: bool, span: Span) -> String {
        match math::read(source) {
            Ok(tree) => Fields::new()
                .aside("alt", &spoken_or_source(&math::spoken(&tree), source))
                .code("block", display.to_string())
                .code("body", math::set(&tree, self.context.ink, span))
                .call("layout.formula"),
            Err(what) => {
                let message =
                    format!("math that is not in the supported subset ({}); its source is printed", what.0);
                self.findings.push(Finding::note(Code::MathAsSource, span, message));
                let text = self.context.ink.text(source.trim(), Some(span));
                if display { format!("layout.code-block(({text},))") } else { format!("layout.code({text})") }
            }
        }
    }

    fn picture(&mut self, picture: &Shown, caption: Option<String>, block: bool) -> String {
        let fields = Fields::new().optional("caption", caption).flag("block", block);
        if picture.alternative.is_empty() {
            self.findings.push(picture.without_alternative());
        }
        match self.context.pictures.get(picture.destination) {
            Ok(path) => {
                // The call stands here and not in the layout: so the typesetter's errors name the image.
                let image =
                    Fields::new().aside("alt", &picture.spoken()).call_with("image", &[code::string(path)]);
                fields.call_with("layout.picture", &[image])
            }
            Err(problem) => {
                self.findings.push(picture.not_shown(problem));
                let text = |text: &str| self.context.ink.text(text, Some(picture.span));
                let said = Some(picture.alternative.as_str()).filter(|said| !said.is_empty());
                fields
                    .optional("alternative", said.map(text))
                    .code("name", text(picture.destination))
                    .code("problem", text(problem))
                    .call("layout.absent-picture")
            }
        }
    }
}

/// An image of the prose.
struct Shown<'a> {
    destination: &'a str,
    alternative: String,
    span: Span,
}

impl<'a> Shown<'a> {
    /// An image with the items of its alternative.
    fn new(destination: &'a str, inside: &[Item], span: Span) -> Self {
        Shown { destination, alternative: plain_text(inside).trim().to_owned(), span }
    }

    /// What is read out for it.
    fn spoken(&self) -> String {
        match self.alternative.as_str() {
            "" => format!("image without a description: {}", self.destination),
            alternative => alternative.to_owned(),
        }
    }

    fn without_alternative(&self) -> Finding {
        let message = "an image without a text alternative; a placeholder is read out instead";
        let hint = format!("say what it shows: ![what it shows]({})", self.destination);
        Finding::note(Code::MissingAlternative, self.span, message).hint(hint)
    }

    fn not_shown(&self, problem: &str) -> Finding {
        let message = format!("the image {:?} is not shown: {problem}", self.destination);
        Finding::warning(Code::BadImage, self.span, message)
    }
}

/// Text that is being gathered, blanks folded.
#[derive(Default)]
struct Text {
    text: String,
    span: Option<Span>,
}

impl Text {
    fn push(&mut self, part: &str, span: Span) {
        for c in part.chars() {
            let blank = matches!(c, ' ' | '\t' | '\n' | '\r');
            if !(blank && self.text.ends_with(' ')) {
                self.text.push(if blank { ' ' } else { c });
            }
        }
        self.span = Some(self.span.map_or(span, |before| before.join(span)));
    }
}

fn spoken_or_source(spoken: &str, source: &str) -> String {
    let text = if spoken.trim().is_empty() { source } else { spoken };
    if text.trim().is_empty() { "empty formula".to_owned() } else { text.trim().to_owned() }
}

/// Pieces of a paragraph as paragraphs with displays between them.
fn paragraphs(pieces: Vec<Piece>) -> String {
    split(pieces, |running| format!("par({})\n", code::joined(&running)))
}

/// The same where the text stands directly in a list entry.
fn loose_pieces(pieces: Vec<Piece>) -> String {
    split(pieces, |running| running.join("\n") + "\n")
}

fn split(pieces: Vec<Piece>, close: impl Fn(Vec<String>) -> String) -> String {
    let mut code = String::new();
    let mut running = Vec::new();
    let mut after_display = false;
    for piece in pieces {
        match piece {
            Piece::Running(text) if std::mem::take(&mut after_display) => {
                running.push(without_first_blank(text))
            }
            Piece::Running(text) => running.push(text),
            Piece::Display(display) => {
                if has_substance(&running) {
                    code.push_str(&close(std::mem::take(&mut running)));
                }
                running.clear();
                code.push_str(&display);
                code.push('\n');
                after_display = true;
            }
        }
    }
    if has_substance(&running) {
        code.push_str(&close(running));
    }
    code
}

/// A literal without the blank it begins with.
fn without_first_blank(code: String) -> String {
    code.strip_prefix("\" ").map_or(code.clone(), |rest| format!("\"{rest}"))
}

/// Whether there is anything but blanks.
fn has_substance(running: &[String]) -> bool {
    running.iter().any(|piece| piece != "\" \"")
}

/// Running text where no display may stand.
fn running(pieces: Vec<Piece>) -> Vec<String> {
    let text = |piece| match piece {
        Piece::Running(text) | Piece::Display(text) => text,
    };
    pieces.into_iter().map(text).collect()
}

fn list_code(start: Option<u64>, tight: bool, entries: &[String], ticks: &[Option<bool>]) -> String {
    let fields = Fields::new().code("tight", tight.to_string());
    if ticks.iter().any(Option::is_some) {
        let words = ticks.iter().map(|tick| tick.map_or("none".to_owned(), |ticked| ticked.to_string()));
        let fields =
            fields.code("ticks", code::array(words)).code("entries", code::array(entries.iter().cloned()));
        return fields.call("layout.checklist") + "\n";
    }
    let (function, fields) = match start {
        Some(number) => ("enum", fields.code("start", number.min(999_999_999).to_string())),
        None => ("list", fields),
    };
    let items: Vec<String> = entries.iter().map(|entry| format!("{function}.item({entry})")).collect();
    let call = fields.call(function);
    let open = call.strip_suffix(')').unwrap_or(&call);
    format!("{open}, {})\n", items.join(", "))
}

fn alignment_word(alignment: Alignment) -> &'static str {
    match alignment {
        Alignment::None | Alignment::Left => "left",
        Alignment::Center => "center",
        Alignment::Right => "right",
    }
}

fn is_live(address: &str) -> bool {
    let address = address.to_ascii_lowercase();
    let known = ["http://", "https://", "mailto:"];
    address.len() < 4000
        && known.iter().any(|scheme| address.starts_with(scheme) && address.len() > scheme.len())
}

fn is_container(tag: &Tag) -> bool {
    matches!(tag, Tag::BlockQuote(_) | Tag::List(_) | Tag::Item | Tag::FootnoteDefinition(_))
}

fn is_container_end(end: &TagEnd) -> bool {
    matches!(end, TagEnd::BlockQuote(_) | TagEnd::List(_) | TagEnd::Item | TagEnd::FootnoteDefinition)
}

fn is_inline(item: &Item) -> bool {
    match item {
        Item::Inline(_) => true,
        Item::Block(_) => false,
        Item::Event(event, _) => match event {
            Event::Start(tag) => matches!(
                tag,
                Tag::Emphasis
                    | Tag::Strong
                    | Tag::Strikethrough
                    | Tag::Subscript
                    | Tag::Superscript
                    | Tag::Link { .. }
                    | Tag::Image { .. }
            ),
            Event::End(_) | Event::Rule | Event::Html(_) => false,
            _ => true,
        },
    }
}

/// Whether an item of a heading is nothing but text.
fn is_plain(item: &Item) -> bool {
    matches!(item, Item::Event(Event::Text(_) | Event::SoftBreak, _))
}

fn block_of(item: &Item) -> Option<usize> {
    match item {
        Item::Block(index) => Some(*index),
        _ => None,
    }
}

/// The index of the end that belongs to the start at `start` (or the length, where there is none).
fn end_of(items: &[Item], start: usize) -> usize {
    let mut open = 0usize;
    for (index, item) in items.iter().enumerate().skip(start) {
        match item {
            Item::Event(Event::Start(_), _) => open += 1,
            Item::Event(Event::End(_), _) => {
                open = open.saturating_sub(1);
                if open == 0 {
                    return index;
                }
            }
            _ => {}
        }
    }
    items.len()
}

/// The words of the heading that starts at `start`.
fn heading_text(items: &[Item], start: usize) -> String {
    plain_text(items.get(start..end_of(items, start)).unwrap_or(&[]))
}

/// The text of some items without markup; nothing of images but their alternative.
fn plain_text(items: &[Item]) -> String {
    let mut text = String::new();
    for item in items {
        match item {
            Item::Event(Event::Text(part) | Event::Code(part) | Event::InlineMath(part), _) => {
                text.push_str(part)
            }
            Item::Event(Event::SoftBreak | Event::HardBreak, _) => text.push(' '),
            _ => {}
        }
    }
    text
}

fn folded(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// Whether an item starts a heading of level one.
fn is_title(item: Option<&Item>) -> bool {
    matches!(item, Some(Item::Event(Event::Start(Tag::Heading { level: HeadingLevel::H1, .. }), _)))
}

/// The first heading of level one, for a notebook that states no title.
pub(super) fn first_heading(notebook: &Notebook) -> Option<String> {
    let start = notebook.items.iter().position(|item| is_title(Some(item)))?;
    let text = heading_text(&notebook.items, start);
    (!text.trim().is_empty()).then(|| text.split_whitespace().collect::<Vec<_>>().join(" "))
}
