//! The prose of a notebook as a tree that knows no output form: every writer of reports walks it.
//!
//! Values and computed parts stand in it by their index only; which part stands where is `placing`'s business.

use pulldown_cmark::Alignment;

use super::math::Math;
use crate::span::Span;

/// A block of the prose, and what of the notebook it was made from.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Statement {
    pub(super) blocks: Vec<Block>,
    pub(super) span: Span,
}

/// A block.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Block {
    /// What stands for a block of the notebook that Reweigh evaluates, by its index.
    Computed(usize),
    /// A paragraph of its own.
    Paragraph(Vec<Inline>),
    /// Running text that stands directly in a list entry, a footnote or a cell.
    Loose(Vec<Inline>),
    /// A formula that stands on its own.
    Display(Formula),
    /// A heading; levels begin with 1 and none is skipped.
    Heading(usize, Vec<Inline>),
    /// A heading that names nothing: a line of its own.
    Line(Vec<Inline>),
    Quote(Vec<Block>),
    List(List),
    /// A line across the text.
    Rule,
    /// Code, or what is printed as it was written.
    Verbatim(String, Span),
    Table(ProseTable),
    /// A footnote that no text points to.
    LooseNote(String, Vec<Block>),
    Picture(Picture),
}

/// A list.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct List {
    /// The first number, of a list with numbers.
    pub(super) start: Option<u64>,
    pub(super) tight: bool,
    pub(super) entries: Vec<Entry>,
}

/// An entry of a list.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Entry {
    /// Whether it is ticked, of a task list.
    pub(super) tick: Option<bool>,
    pub(super) blocks: Vec<Block>,
}

impl List {
    /// Whether it is a task list.
    pub(super) fn is_checklist(&self) -> bool {
        self.entries.iter().any(|entry| entry.tick.is_some())
    }
}

/// A table of the notebook's own.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct ProseTable {
    pub(super) alignments: Vec<Alignment>,
    pub(super) head: Vec<Vec<Inline>>,
    pub(super) rows: Vec<Vec<Vec<Inline>>>,
}

/// A piece of running text.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Inline {
    /// Text with its blanks folded.
    Text(String, Option<Span>),
    /// An inline expression, by its index.
    Value(usize),
    Code(String, Span),
    Break,
    Formula(Formula),
    Styled(Style, Vec<Inline>),
    /// A link that leads somewhere.
    Link(String, Vec<Inline>),
    Note(NoteReference),
    Picture(Picture),
}

/// How text is set off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Style {
    Emphasis,
    Strong,
    Struck,
    Lowered,
    Raised,
    /// Not at all.
    Plain,
}

/// A reference to a footnote.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct NoteReference {
    pub(super) number: usize,
    /// Its text, at the first reference.
    pub(super) body: Option<Vec<Block>>,
}

/// A formula of the prose.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Formula {
    pub(super) source: String,
    /// `None` where it is not in the supported subset.
    pub(super) math: Option<Math>,
    /// Whether it was written as a display.
    pub(super) display: bool,
    pub(super) span: Span,
}

impl Formula {
    /// What is read out for it.
    pub(super) fn spoken(&self) -> String {
        let spoken = self.math.as_ref().map_or(String::new(), super::math::spoken);
        let text = if spoken.trim().is_empty() { self.source.as_str() } else { spoken.as_str() };
        if text.trim().is_empty() { "empty formula".to_owned() } else { text.trim().to_owned() }
    }
}

/// An image of the prose.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Picture {
    pub(super) destination: String,
    /// Its text alternative; empty where there is none.
    pub(super) alternative: String,
    pub(super) caption: Option<String>,
    /// Whether it stands on its own.
    pub(super) block: bool,
    /// Why it is not shown.
    pub(super) problem: Option<String>,
    pub(super) span: Span,
}

impl Picture {
    /// What is read out for it.
    pub(super) fn spoken(&self) -> String {
        match self.alternative.as_str() {
            "" => format!("image without a description: {}", self.destination),
            alternative => alternative.to_owned(),
        }
    }
}
