//! The tree of the prose as Typst code, with the place in the notebook of every statement.

use std::ops::Range;

use pulldown_cmark::Alignment;

use super::code::{self, Fields};
use super::images::Pictures;
use super::part::Part;
use super::prose_tree::{
    Block, Entry, Formula, Inline, List, NoteReference, Picture, ProseTable, Statement, Style,
};
use super::words::Ink;
use super::{inline, math};
use crate::evaluation::results::Results;
use crate::span::Span;

/// A place of the generated source and the place of the notebook it was made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Bytes of the generated source.
    pub source: Range<usize>,
    /// The place in the notebook.
    pub notebook: Span,
}

/// The code of the prose and where its statements came from; each part of what is computed is a statement.
pub(super) fn write(statements: &[Statement], context: &Context) -> (String, Vec<Place>) {
    let mut writer = Writer { context, styled: 0 };
    let (mut code, mut places) = (String::new(), Vec::new());
    for statement in statements {
        for set in statement.blocks.iter().flat_map(|block| writer.statements(block)) {
            let start = code.len();
            code.push_str(&set);
            places.push(Place { source: start..code.len(), notebook: statement.span });
        }
    }
    (code, places)
}

/// What the writer needs to know of the rest of the report.
pub(super) struct Context<'a> {
    pub(super) results: &'a Results,
    pub(super) ink: &'a Ink<'a>,
    pub(super) pictures: &'a Pictures,
    /// For every block of the notebook what stands in its place.
    pub(super) parts: &'a [Vec<Part<'a>>],
}

struct Writer<'a> {
    context: &'a Context<'a>,
    /// How many headings and italic or bold styles are open.
    styled: usize,
}

impl Writer<'_> {
    fn blocks(&mut self, blocks: &[Block]) -> String {
        blocks.iter().map(|block| self.block(block)).collect()
    }

    fn statements(&mut self, block: &Block) -> Vec<String> {
        match block {
            Block::Computed(index) => {
                let parts = self.context.parts.get(*index).map_or(&[][..], Vec::as_slice);
                let mark = self.context.results.settings.decimal;
                parts.iter().map(|part| part.set(self.context.ink, mark)).collect()
            }
            block => vec![self.block(block)],
        }
    }

    fn block(&mut self, block: &Block) -> String {
        match block {
            Block::Computed(_) => self.statements(block).concat(),
            Block::Paragraph(text) => format!("par({})\n", self.joined(text)),
            Block::Loose(text) => self.inlines(text).join("\n") + "\n",
            Block::Display(formula) => self.formula(formula) + "\n",
            Block::Heading(level, words) => {
                format!("heading(level: {level}, {})\n", self.styled(|writer| writer.joined(words)))
            }
            Block::Line(words) => format!("par(strong({}))\n", self.styled(|writer| writer.joined(words))),
            Block::Quote(blocks) => format!("quote(block: true, {{\n{}}})\n", self.blocks(blocks)),
            Block::List(list) => self.list(list),
            Block::Rule => "layout.rule\n".to_owned(),
            Block::Verbatim(text, span) => self.verbatim(text, *span),
            Block::Table(table) => self.table(table),
            Block::LooseNote(name, blocks) => {
                let name = self.context.ink.text(name, None);
                format!("layout.loose-note({name}, {{\n{}}})\n", self.blocks(blocks))
            }
            Block::Picture(picture) => self.picture(picture) + "\n",
        }
    }

    /// Writes what stands in other than upright regular type.
    fn styled(&mut self, write: impl FnOnce(&mut Self) -> String) -> String {
        self.styled += 1;
        let code = write(self);
        self.styled -= 1;
        code
    }

    fn verbatim(&self, text: &str, span: Span) -> String {
        let line = |line: &str| self.context.ink.plain(&line.replace('\t', "    "), Some(span));
        format!("layout.code-block({})\n", code::array(text.lines().map(line)))
    }

    fn list(&mut self, list: &List) -> String {
        let fields = Fields::new().code("tight", list.tight.to_string());
        let entries: Vec<String> = list.entries.iter().map(|entry| self.entry(entry)).collect();
        if list.is_checklist() {
            let ticks = list
                .entries
                .iter()
                .map(|entry| entry.tick.map_or("none".to_owned(), |ticked| ticked.to_string()));
            let fields = fields.code("ticks", code::array(ticks)).code("entries", code::array(entries));
            return fields.call("layout.checklist") + "\n";
        }
        let (function, fields) = match list.start {
            Some(number) => ("enum", fields.code("start", number.min(999_999_999).to_string())),
            None => ("list", fields),
        };
        let items: Vec<String> = entries.iter().map(|entry| format!("{function}.item({entry})")).collect();
        let call = fields.call(function);
        let open = call.strip_suffix(')').unwrap_or(&call);
        format!("{open}, {})\n", items.join(", "))
    }

    fn entry(&mut self, entry: &Entry) -> String {
        format!("{{\n{}}}", self.blocks(&entry.blocks))
    }

    fn table(&mut self, table: &ProseTable) -> String {
        let mut cells = |cells: &[Vec<Inline>]| {
            let cells: Vec<String> = cells.iter().map(|cell| self.joined(cell)).collect();
            code::array(cells)
        };
        let head = cells(&table.head);
        let rows: Vec<String> = table.rows.iter().map(|row| cells(row)).collect();
        let alignments = table.alignments.iter().map(|alignment| code::string(alignment_word(*alignment)));
        Fields::new()
            .code("aligns", code::array(alignments))
            .code("head", head)
            .code("rows", code::array(rows))
            .call("layout.prose-table")
            + "\n"
    }

    // --------------------------------------------------------------------------------------------
    // Running text
    // --------------------------------------------------------------------------------------------

    fn joined(&mut self, text: &[Inline]) -> String {
        code::joined(&self.inlines(text))
    }

    fn inlines(&mut self, text: &[Inline]) -> Vec<String> {
        text.iter().flat_map(|inline| self.inline(inline)).collect()
    }

    fn inline(&mut self, inline: &Inline) -> Vec<String> {
        vec![match inline {
            Inline::Text(text, span) => return self.context.ink.pieces(text, *span, self.styled == 0),
            Inline::Value(index) => inline::value(self.context, *index),
            Inline::Code(text, span) => {
                format!("layout.code({})", self.context.ink.text(text, Some(*span)))
            }
            Inline::Break => "linebreak()".to_owned(),
            Inline::Formula(formula) => self.formula(formula),
            Inline::Styled(style, text) => self.set_off(*style, text),
            Inline::Link(address, text) => format!("link({}, {})", code::string(address), self.joined(text)),
            Inline::Note(note) => self.note(note),
            Inline::Picture(picture) => self.picture(picture),
        }]
    }

    fn set_off(&mut self, style: Style, text: &[Inline]) -> String {
        match style {
            Style::Emphasis => format!("emph({})", self.styled(|writer| writer.joined(text))),
            Style::Strong => format!("strong({})", self.styled(|writer| writer.joined(text))),
            Style::Struck => format!("strike({})", self.joined(text)),
            Style::Lowered => format!("layout.lowered({})", self.joined(text)),
            Style::Raised => format!("layout.raised({})", self.joined(text)),
            Style::Plain => self.joined(text),
        }
    }

    fn note(&mut self, note: &NoteReference) -> String {
        let number = note.number;
        match &note.body {
            Some(body) => format!("[#footnote({{\n{}}})#label(\"note-{number}\")]", self.blocks(body)),
            None => format!("footnote(label(\"note-{number}\"))"),
        }
    }

    fn formula(&self, formula: &Formula) -> String {
        let ink = self.context.ink;
        match &formula.math {
            Some(math) => Fields::new()
                .aside("alt", &formula.spoken())
                .code("block", formula.display.to_string())
                .code("body", math::set(math, ink, formula.span))
                .call("layout.formula"),
            None => {
                let text = ink.text(formula.source.trim(), Some(formula.span));
                if formula.display {
                    format!("layout.code-block(({text},))")
                } else {
                    format!("layout.code({text})")
                }
            }
        }
    }

    fn picture(&self, picture: &Picture) -> String {
        let text = |text: &str| self.context.ink.text(text, Some(picture.span));
        let fields = Fields::new()
            .optional("caption", picture.caption.as_deref().map(text))
            .flag("block", picture.block);
        match self.context.pictures.get(&picture.destination) {
            Ok(path) => {
                // The call stands here and not in the layout: so the typesetter's errors name the image.
                let image =
                    Fields::new().aside("alt", &picture.spoken()).call_with("image", &[code::string(path)]);
                fields.call_with("layout.picture", &[image])
            }
            Err(problem) => {
                let said = Some(picture.alternative.as_str()).filter(|said| !said.is_empty());
                fields
                    .optional("alternative", said.map(text))
                    .code("name", text(&picture.destination))
                    .code("problem", text(problem))
                    .call("layout.absent-picture")
            }
        }
    }
}

fn alignment_word(alignment: Alignment) -> &'static str {
    match alignment {
        Alignment::None | Alignment::Left => "left",
        Alignment::Center => "center",
        Alignment::Right => "right",
    }
}
