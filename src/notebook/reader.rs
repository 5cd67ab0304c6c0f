//! The whole reading: bytes to text, text to items and fences, fences to blocks, braces to formulas.

use super::blocks::{Block, BlockKind};
use super::context::{Context, MOST_INLINE};
use super::markdown::{self, Fence, Found, MOST_ITEMS};
use super::masses::Outside;
use super::passage::Passage;
use super::settings::Settings;
use super::text::decode;
use super::{InlineExpression, Item, Notebook};
use super::{claimed, columns, experiment, inline, masses, measured, mixture, requests, working};
use crate::files::{Files, MOST_BYTES};
use crate::finding::{Code, Finding};
use crate::span::{Span, Spanned};

/// Reads a notebook. `files` are those beside it; see [`super::read`].
pub(super) fn read(name: &str, bytes: &[u8], files: &dyn Files, comma: bool) -> Notebook {
    let mut cx = Context::new();
    cx.comma = comma;
    if bytes.len() as u64 > MOST_BYTES {
        let message = format!("a notebook of {} bytes; at most {MOST_BYTES} are read", bytes.len());
        cx.push(Finding::error(Code::TooLarge, None, message));
        return unread(name, String::new(), cx);
    }
    let (text, bad) = decode(bytes);
    if let Some(place) = bad {
        let finding = Finding::error(Code::InvalidText, place, "bytes that are not UTF-8 text");
        cx.push(finding.hint("save the notebook as UTF-8; the other text was read"));
    }
    if text.trim().is_empty() {
        let finding = Finding::error(Code::EmptyNotebook, None, "the notebook holds no text");
        cx.push(finding.hint("`reweigh start` writes one to begin with"));
        return unread(name, text.into_owned(), cx);
    }
    let notebook = Reading { text: &text, cx, outside: Outside { files, read: Vec::new() } }.notebook(name);
    Notebook { text: text.into_owned(), ..notebook }
}

/// The blocks of a text and what there is to say about them; its prose is passed over.
pub(super) fn blocks(text: &str, comma: bool) -> (Vec<Block>, Vec<Finding>) {
    let mut cx = Context::new();
    cx.comma = comma;
    let nothing = crate::files::Memory::default();
    let outside = Outside { files: &nothing, read: Vec::new() };
    let mut reading = Reading { text, cx, outside };
    let found = markdown::pass(text);
    reading.say_what_was_found(&found);
    let blocks = reading.blocks(&found.fences);
    (blocks, reading.cx.into_findings())
}

/// A notebook of which nothing could be read.
fn unread(name: &str, text: String, cx: Context) -> Notebook {
    Notebook {
        name: name.to_owned(),
        text,
        settings: Settings::default(),
        items: Vec::new(),
        blocks: Vec::new(),
        inline: Vec::new(),
        checks: Vec::new(),
        images: Vec::new(),
        files: Vec::new(),
        findings: cx.into_findings(),
    }
}

struct Reading<'a> {
    text: &'a str,
    cx: Context,
    outside: Outside<'a>,
}

impl Reading<'_> {
    /// Everything but the text itself.
    fn notebook(mut self, name: &str) -> Notebook {
        let mut found = markdown::pass(self.text);
        self.say_what_was_found(&found);
        let settings = self.settings(&found.fences);
        let blocks = self.blocks(&found.fences);
        let (items, inline) = self.formulas(&mut found);
        Notebook {
            name: name.to_owned(),
            settings,
            items,
            blocks,
            inline,
            checks: found.checks,
            images: found.images,
            files: self.outside.read,
            findings: self.cx.into_findings(),
            text: String::new(),
        }
    }

    fn say_what_was_found(&mut self, found: &Found) {
        for (place, name) in &found.nearly {
            let message = format!("`{}` is no block; this stays a listing", place.text(self.text));
            let finding = Finding::note(Code::NearlyABlock, *place, message);
            self.cx.push(finding.hint(format!("did you mean `{name}`?")));
        }
        if let Some(cut) = found.cut {
            let message = format!("more than {MOST_ITEMS} pieces of text; what follows is not shown");
            self.cx.push(Finding::error(Code::TooLarge, Span::new(cut, cut), message));
        }
    }

    /// The first `experiment` block, wherever it stands: its decimal mark holds for the whole notebook.
    fn settings(&mut self, fences: &[Fence]) -> Settings {
        let mut experiments = fences.iter().filter(|fence| fence.name == "experiment");
        let settings = match experiments.next() {
            Some(first) => {
                let settings = experiment::read(&lines(self.text, first), first.span, &mut self.cx);
                for again in experiments {
                    let message = "a second `experiment` block; only the first one counts";
                    let finding = Finding::error(Code::RepeatedSetting, again.span, message);
                    self.cx.push(
                        finding.label(first.span, "the first one").hint("put everything into one block"),
                    );
                }
                settings
            }
            None => Settings::default(),
        };
        experiment::check_presence(&settings, &mut self.cx);
        settings
    }

    fn blocks(&mut self, fences: &[Fence]) -> Vec<Block> {
        let mut blocks: Vec<Block> = fences.iter().map(|fence| self.block(fence)).collect();
        columns::check(&mut blocks, &mut self.cx);
        blocks
    }

    fn block(&mut self, fence: &Fence) -> Block {
        let mut lines = lines(self.text, fence);
        let cx = &mut self.cx;
        if let Some(at) = lines.iter().position(|line| line.text.trim_start().starts_with("```")) {
            let message = format!("the `{}` block is not closed before the next one opens", fence.name);
            let opening = fence.span.text(self.text).lines().next().map_or(0, str::len);
            let place = Span::new(fence.span.start, fence.span.start + opening);
            let finding = Finding::error(Code::UnclosedBlock, place, message);
            cx.push(
                finding
                    .label(lines[at].span(), "opened here")
                    .hint("end the block with a line of three backticks"),
            );
            lines.truncate(at);
        }
        let kind = match fence.name {
            "experiment" => BlockKind::Experiment,
            "masses" => BlockKind::Masses(masses::read(&lines, &mut self.outside, cx)),
            "measured" => BlockKind::Measured(measured::read(&lines, cx)),
            "working" => BlockKind::Working(working::read(&lines, cx)),
            "theory" => BlockKind::Theory(working::read(&lines, cx)),
            "claimed" => BlockKind::Claimed(claimed::read(&lines, cx)),
            "table" => BlockKind::Table(requests::tables(&lines, cx)),
            "plot" => BlockKind::Plot(requests::plots(&lines, cx)),
            "reaction" => BlockKind::Reaction(as_written(&lines, cx)),
            _ => BlockKind::Mixture(mixture::read(&lines, cx)),
        };
        Block { span: fence.span, content: content(self.text, fence), kind }
    }

    /// Reads the formulas in braces and puts them into the items.
    fn formulas(&mut self, found: &mut Found) -> (Vec<Item>, Vec<InlineExpression>) {
        let (pairs, alone) = markdown::pairs(self.text, found);
        for open in alone {
            let place = Span::new(open, open + 1);
            self.cx.push(inline::text_note(place, "a brace that is not closed on its line is text"));
        }
        let (pairs, beyond) = pairs.split_at(pairs.len().min(MOST_INLINE));
        if let Some(first) = beyond.first() {
            let message = format!("more than {MOST_INLINE} formulas in braces; from here on they are text");
            self.cx.push(Finding::error(Code::TooLarge, *first, message));
        }
        let mut formulas: Vec<_> =
            pairs.iter().filter_map(|pair| inline::read(self.text, *pair, &mut self.cx)).collect();
        let mut items = std::mem::take(&mut found.items);
        for round in 0.. {
            let spans: Vec<_> = formulas.iter().map(|formula| formula.span).collect();
            let (split, lost) = markdown::place(items, &spans, self.text);
            if lost.is_empty() {
                items = split;
                break;
            }
            if round > 0 {
                self.leave_as_text(&mut formulas, &lost, round);
            }
            items = self.masked_items(&formulas);
        }
        (items, formulas)
    }

    /// Where even the mask does not help (it may make an image of what stands around a brace), braces are text.
    /// Each round leaves fewer formulas; after a few there are none.
    fn leave_as_text(&mut self, formulas: &mut Vec<InlineExpression>, lost: &[usize], round: usize) {
        let mut index = 0;
        formulas.retain(|formula| {
            let leave = round > 3 || lost.binary_search(&index).is_ok();
            index += 1;
            if leave {
                let message = "these braces stand within markup and are text";
                self.cx.push(inline::text_note(formula.span, message));
            }
            !leave
        });
    }

    fn masked_items(&self, formulas: &[InlineExpression]) -> Vec<Item> {
        let spans: Vec<_> = formulas.iter().map(|formula| formula.span).collect();
        markdown::pass(&markdown::masked(self.text, &spans)).items
    }
}

fn lines<'a>(text: &'a str, fence: &Fence) -> Vec<Passage<'a>> {
    fence.lines.iter().map(|line| Passage::of(text, *line)).collect()
}

/// The range from the first line of a block to its last.
fn content(text: &str, fence: &Fence) -> Span {
    match (fence.lines.first(), fence.lines.last()) {
        (Some(first), Some(last)) => first.join(*last),
        _ => {
            let opening = fence.span.text(text);
            let end = fence.span.start + opening.find('\n').map_or(opening.len(), |newline| newline + 1);
            Span::new(end, end)
        }
    }
}

/// Lines kept as written.
fn as_written(lines: &[Passage], cx: &mut Context) -> Vec<Spanned<String>> {
    let mut kept = Vec::new();
    for line in lines.iter().map(|line| line.trim()).filter(|line| !line.text.is_empty()) {
        if cx.take_line(line.span()) {
            kept.push(Spanned::new(line.text.to_owned(), line.span()));
        }
    }
    kept
}
