//! A notebook's text, read: prose with byte ranges, blocks, inline expressions. Reading never fails; what
//! cannot be read becomes a finding at its place and the rest is still there.

pub mod blocks;
mod cells;
mod claimed;
mod columns;
mod context;
mod experiment;
pub mod expression;
mod inline;
mod joined;
mod label;
mod lines;
mod markdown;
mod masses;
mod measured;
mod mixture;
mod moved;
mod passage;
mod reader;
mod requests;
mod rules;
pub mod settings;
mod text;
mod weighings;
mod working;

pub use context::{MOST_CELLS, MOST_CYCLES, MOST_FINDINGS, MOST_INLINE, MOST_LINES, MOST_TRIALS};
pub use experiment::RULE_KEYS;
pub use label::{load as load_of, load_key, thing_key, things};

use crate::files::Files;
use crate::finding::{Code, Finding};
use crate::span::{Span, Spanned};
use blocks::Block;
use expression::Expression;
use pulldown_cmark::Event;
use settings::Settings;

/// Reads a notebook: `name` is what it is shown by, `files` are those beside it (a `from:` line may name one).
///
/// Never fails and never panics: whatever cannot be read is a finding, and the rest is there. Bytes that are
/// not UTF-8 are read as replacement characters; a byte-order mark is dropped; lines may end with `\r\n`.
pub fn read(name: &str, bytes: &[u8], files: &dyn Files) -> Notebook {
    reader::read(name, bytes, files, false)
}

/// Reads a notebook whose decimal mark is a comma unless its `experiment` block says otherwise (a template may
/// say so); else as [`read`].
pub fn read_with_comma(name: &str, bytes: &[u8], files: &dyn Files) -> Notebook {
    reader::read(name, bytes, files, true)
}

/// Reads the blocks of a text that is no notebook (a template's method), without its prose; `comma` says that
/// the decimal mark is a comma.
pub fn read_blocks(text: &str, comma: bool) -> (Vec<Block>, Vec<Finding>) {
    reader::blocks(text, comma)
}

/// Reads one formula on its own, such as the label of a claim (`mean w(water)`). `start` is the byte of the
/// notebook the text stands at; places are counted from there. `comma` says that the decimal mark is a comma.
///
/// The error is a finding at its place, as for a line of `working`.
pub fn read_formula(text: &str, start: usize, comma: bool) -> Result<Expression, Box<Finding>> {
    let mut parser = expression::Parser::new(passage::Passage { text, start }, comma);
    let formula = parser.formula(&mut context::Context::new())?;
    let rest = parser.rest().trim();
    match rest.is_blank() {
        true => Ok(formula),
        false => {
            let message = format!("found `{}`; expected nothing after the formula", rest.text);
            Err(Box::new(Finding::error(Code::SyntaxError, rest.span(), message)))
        }
    }
}

/// Reads the rules that a template may set too ([`RULE_KEYS`]) from a table of its TOML, by the rules of
/// `experiment`; other keys are left alone. Places are bytes of the text that the table was parsed from.
pub fn read_rules(table: &toml::de::DeTable) -> (Settings, Vec<Finding>) {
    let mut cx = context::Context::new();
    let settings = experiment::rules(table, &mut cx);
    (settings, cx.into_findings())
}

/// A notebook that was read.
#[derive(Clone, Debug)]
pub struct Notebook {
    /// The name it is shown by (a file name, no folder).
    pub name: String,
    /// The text, without a byte-order mark; every span is a range of it.
    pub text: String,
    /// What the `experiment` block says.
    pub settings: Settings,
    /// Prose, blocks and inline expressions in the order written.
    pub items: Vec<Item>,
    /// The blocks that `items` points to.
    pub blocks: Vec<Block>,
    /// The inline expressions that `items` points to.
    pub inline: Vec<InlineExpression>,
    /// The entries of task lists.
    pub checks: Vec<Check>,
    /// The images of the prose.
    pub images: Vec<Image>,
    /// Files read with it (CSV), to be attached and hashed: path as written and the bytes.
    pub files: Vec<(String, Vec<u8>)>,
    /// What there is to say about the text.
    pub findings: Vec<Finding>,
}

/// One step of the prose.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// A CommonMark event (a start, an end, a text …) and its range.
    Event(Event<'static>, Span),
    /// A block that Reweigh evaluates, by index into [`Notebook::blocks`]; stands for its whole fence.
    Block(usize),
    /// An inline expression, by index into [`Notebook::inline`], within running text.
    Inline(usize),
}

/// `{expression in unit}` or `{expression claimed 36.06 %}` in the prose.
#[derive(Clone, Debug, PartialEq)]
pub struct InlineExpression {
    /// From brace to brace.
    pub span: Span,
    /// What to compute; `None` where it could not be read (a finding says why).
    pub expression: Option<Expression>,
    /// The unit to show it in.
    pub unit: Option<Spanned<crate::quantity::Unit>>,
    /// The claimed value.
    pub claimed: Option<blocks::Cell>,
}

/// An entry of a task list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// Its text, without markup.
    pub text: String,
    /// Whether it is ticked.
    pub ticked: bool,
    /// The line.
    pub span: Span,
}

/// An image of the prose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    /// Its destination as written.
    pub destination: String,
    /// Its text alternative, empty where there is none.
    pub alternative: String,
    /// Where it stands.
    pub span: Span,
}
