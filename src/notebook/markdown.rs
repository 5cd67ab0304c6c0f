//! Markdown made into items: CommonMark events with byte ranges, the fences that are blocks, the places of
//! braces, task lists and images.
//!
//! Braces are looked for in the source bytes under text events, because Markdown may see emphasis or a link
//! where a formula has `*` or `[A]`. Where it does, the text is parsed a second time with the inside of the
//! formulas masked by letters of the same length, so that everything keeps its place.

use super::{Check, Image, Item};
use crate::finding::edit_distance;
use crate::span::Span;
use pulldown_cmark::{CodeBlockKind, Event, LinkType, Options, Parser, Tag, TagEnd};

/// Most events kept; text beyond is not shown.
pub const MOST_ITEMS: usize = 8_000_000;

/// The names of blocks.
pub const BLOCK_NAMES: &[&str] = &[
    "experiment",
    "masses",
    "measured",
    "reaction",
    "mixture",
    "working",
    "theory",
    "claimed",
    "table",
    "plot",
];

/// A fence that is a block.
#[derive(Clone, Debug)]
pub(super) struct Fence {
    /// Its name, one of [`BLOCK_NAMES`].
    pub name: &'static str,
    /// The whole fence.
    pub span: Span,
    /// Its lines, without line ends and without what a quotation or list puts before them.
    pub lines: Vec<Span>,
}

/// What was found in one pass over the text.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// Events and blocks.
    pub items: Vec<Item>,
    /// The blocks, in order.
    pub fences: Vec<Fence>,
    /// Fences whose first word is one edit away from a block's name: the place and the name.
    pub nearly: Vec<(Span, &'static str)>,
    /// Opening braces in running text.
    pub opening: Vec<usize>,
    /// Closing braces in running text.
    pub closing: Vec<usize>,
    /// Where running text is interrupted: code, math, HTML, link targets, the ends of cells and paragraphs.
    pub walls: Vec<usize>,
    /// Entries of task lists.
    pub checks: Vec<Check>,
    /// Images.
    pub images: Vec<Image>,
    /// Where the text became too long to be kept.
    pub cut: Option<usize>,
}

/// What CommonMark is extended by.
pub fn options() -> Options {
    Options::ENABLE_TABLES
        | Options::ENABLE_FOOTNOTES
        | Options::ENABLE_STRIKETHROUGH
        | Options::ENABLE_TASKLISTS
        | Options::ENABLE_MATH
}

/// Goes over a text once.
pub(super) fn pass(text: &str) -> Found {
    let mut walk = Walk { source: text, ..Walk::default() };
    walk.found.items.reserve((text.len() / 32).min(MOST_ITEMS));
    for (event, range) in Parser::new_ext(text, options()).into_offset_iter() {
        walk.event(event, range.into());
    }
    walk.found
}

/// The state of one pass.
#[derive(Default)]
struct Walk<'a> {
    source: &'a str,
    found: Found,
    /// The block whose fence is open.
    fence: Option<Fence>,
    /// The open line of that fence.
    line: Option<Span>,
    /// Open code blocks, images and automatic links: their text holds no formulas.
    opaque: usize,
    /// Open tags: whether each is opaque, and whether a formula may reach over it.
    open: Vec<(bool, bool)>,
    /// Open images.
    images: Vec<Image>,
    /// Open list items, with the task list entry each may be.
    entries: Vec<Option<Check>>,
    /// Starts left out after the cut.
    skipped: usize,
}

impl<'a> Walk<'a> {
    fn event(&mut self, event: Event<'a>, span: Span) {
        if self.fence.is_some() {
            return self.within_fence(event, span);
        }
        match &event {
            Event::Start(Tag::CodeBlock(CodeBlockKind::Fenced(info))) => {
                if self.opens_block(info, span) {
                    return;
                }
            }
            Event::Start(Tag::Image { dest_url, .. }) => self.images.push(Image {
                destination: dest_url.to_string(),
                alternative: String::new(),
                span,
            }),
            Event::End(TagEnd::Image) => self.found.images.extend(self.images.pop()),
            _ => self.task_list(&event, span),
        }
        self.running_text(&event, span);
        self.keep(event, span);
    }

    /// Whether a fence with this info string is a block; if so, begins it.
    fn opens_block(&mut self, info: &str, span: Span) -> bool {
        let word = info.split_whitespace().next().unwrap_or("");
        if let Some(name) = BLOCK_NAMES.iter().find(|name| **name == word) {
            self.wall(span.start);
            self.fence = Some(Fence { name, span, lines: Vec::new() });
            return true;
        }
        // One edit away, or the beginning of a name (`mass`, `claim`).
        let lower = word.to_lowercase();
        let begins = |name: &str| lower.len() >= 4 && name.starts_with(&lower);
        let near =
            |name: &&&'static str| word.len() < 20 && (begins(name) || edit_distance(&lower, name) <= 1);
        if let Some(name) = BLOCK_NAMES.iter().find(near) {
            let from = self
                .source
                .get(span.start..)
                .and_then(|rest| rest.find(word))
                .map_or(span.start, |at| span.start + at);
            self.found.nearly.push((Span::new(from, from + word.len()), name));
        }
        false
    }

    /// Text within a block's fence: gathered line by line, because a quotation or list may stand between.
    fn within_fence(&mut self, event: Event, span: Span) {
        match event {
            Event::Text(_) => self.fence_text(span),
            Event::End(TagEnd::CodeBlock) => {
                self.end_line();
                let index = self.found.fences.len();
                self.found.fences.extend(self.fence.take());
                self.push(Item::Block(index), span);
            }
            _ => {}
        }
    }

    fn fence_text(&mut self, span: Span) {
        let mut from = span.start;
        for part in span.text(self.source).split_inclusive('\n') {
            // A carriage return alone ends a line too; it is rare enough to be looked for apart.
            for piece in part.split_inclusive('\r') {
                let text = piece.trim_end_matches(['\n', '\r']);
                let place = Span::new(from, from + text.len());
                if !text.is_empty() {
                    self.line = Some(self.line.map_or(place, |line| line.join(place)));
                }
                if piece.len() > text.len() {
                    self.end_line();
                }
                from += piece.len();
            }
        }
    }

    fn end_line(&mut self) {
        if let (Some(line), Some(fence)) = (self.line.take(), self.fence.as_mut()) {
            fence.lines.push(line);
        }
    }

    /// Task lists: the text of an entry up to a list within it or its end.
    fn task_list(&mut self, event: &Event, span: Span) {
        match event {
            Event::Start(Tag::Item) => self.entries.push(None),
            Event::TaskListMarker(ticked) => {
                let line = self.line_around(span.start);
                if let Some(entry) = self.entries.last_mut() {
                    *entry = Some(Check { text: String::new(), ticked: *ticked, span: line });
                }
            }
            Event::Start(Tag::List(_)) | Event::End(TagEnd::Paragraph) => self.end_entry(),
            Event::End(TagEnd::Item) => {
                self.end_entry();
                self.entries.pop();
            }
            Event::Text(text) | Event::Code(text) => self.plain_text(text),
            Event::SoftBreak | Event::HardBreak => self.plain_text(" "),
            _ => {}
        }
    }

    fn plain_text(&mut self, text: &str) {
        if let Some(Some(entry)) = self.entries.last_mut() {
            entry.text.push_str(text);
        }
        if let Some(image) = self.images.last_mut() {
            image.alternative.push_str(text);
        }
    }

    fn end_entry(&mut self) {
        let Some(entry) = self.entries.last_mut().and_then(Option::take) else { return };
        self.found.checks.push(Check { text: entry.text.trim().to_owned(), ..entry });
    }

    fn line_around(&self, at: usize) -> Span {
        let before = self.source.get(..at).and_then(|text| text.rfind('\n')).map_or(0, |newline| newline + 1);
        let rest = self.source.get(at..).unwrap_or("");
        let length = rest.find(['\n', '\r']).unwrap_or(rest.len());
        Span::new(before, at + length)
    }

    /// Braces, and whatever a formula in braces cannot reach over.
    fn running_text(&mut self, event: &Event, span: Span) {
        match event {
            Event::Text(text) if self.opaque == 0 && **text == *span.text(self.source) => self.braces(span),
            Event::Text(_) | Event::SoftBreak | Event::HardBreak => {}
            Event::Start(tag) => {
                let (opaque, transparent) = (is_opaque(tag), is_transparent(tag));
                self.open.push((opaque, transparent));
                self.opaque += usize::from(opaque);
                if !transparent {
                    self.wall(span.start);
                }
            }
            Event::End(_) => {
                let (opaque, transparent) = self.open.pop().unwrap_or_default();
                self.opaque -= usize::from(opaque);
                if !transparent {
                    self.wall(span.end);
                }
            }
            _ => self.wall(span.start),
        }
    }

    fn wall(&mut self, at: usize) {
        self.found.walls.push(at);
    }

    fn braces(&mut self, span: Span) {
        let bytes = span.text(self.source).as_bytes();
        let mut from = 0;
        while let Some(offset) =
            bytes.get(from..).unwrap_or(&[]).iter().position(|byte| matches!(byte, b'{' | b'}'))
        {
            let at = span.start + from + offset;
            if !is_escaped(self.source, at) {
                let opens = bytes.get(from + offset) == Some(&b'{');
                if opens { self.found.opening.push(at) } else { self.found.closing.push(at) }
            }
            from += offset + 1;
        }
    }

    /// Keeps an event, up to the most there may be; what was opened before that is still closed.
    fn keep(&mut self, event: Event<'a>, span: Span) {
        if self.found.items.len() >= MOST_ITEMS {
            self.found.cut.get_or_insert(span.start);
            match event {
                Event::Start(_) => self.skipped += 1,
                Event::End(_) if self.skipped > 0 => self.skipped -= 1,
                Event::End(_) => self.found.items.push(Item::Event(event.into_static(), span)),
                _ => {}
            }
            return;
        }
        self.found.items.push(Item::Event(event.into_static(), span));
    }

    fn push(&mut self, item: Item, span: Span) {
        if self.found.cut.is_none() {
            self.found.items.push(item);
        }
        self.wall(span.end);
    }
}

/// Tags whose text holds no formulas.
fn is_opaque(tag: &Tag) -> bool {
    let automatic = matches!(tag, Tag::Link { link_type: LinkType::Autolink | LinkType::Email, .. });
    automatic || matches!(tag, Tag::CodeBlock(_) | Tag::Image { .. })
}

/// Tags that a formula may reach over: emphasis, and the short form of a link, which `w(water)[A]` looks like.
fn is_transparent(tag: &Tag) -> bool {
    let short = matches!(tag, Tag::Link { link_type: LinkType::Shortcut, .. });
    short || matches!(tag, Tag::Emphasis | Tag::Strong | Tag::Strikethrough)
}

/// Whether a backslash escapes the byte.
fn is_escaped(source: &str, at: usize) -> bool {
    let before = source.as_bytes().get(..at).unwrap_or(&[]);
    before.iter().rev().take_while(|byte| **byte == b'\\').count() % 2 == 1
}

/// The braces that pair on one line of running text, and the opening ones that do not.
pub(super) fn pairs(source: &str, found: &mut Found) -> (Vec<Span>, Vec<usize>) {
    found.walls.sort_unstable();
    let (mut pairs, mut alone) = (Vec::new(), Vec::new());
    for (index, open) in found.opening.iter().copied().enumerate() {
        let first_after = |places: &[usize]| places.get(places.partition_point(|at| *at <= open)).copied();
        let Some(close) = first_after(&found.closing) else {
            alone.push(open);
            continue;
        };
        let walled = first_after(&found.walls).is_some_and(|wall| wall <= close);
        let nested = found.opening.get(index + 1).is_some_and(|next| *next < close);
        let apart = || source.get(open..close).is_none_or(|text| text.contains(['\n', '\r', '|']));
        if walled || nested || apart() {
            alone.push(open);
        } else {
            pairs.push(Span::new(open, close + 1));
        }
    }
    (pairs, alone)
}

/// The text with the inside of some braces replaced by as many letters as it has bytes.
pub(super) fn masked(source: &str, spans: &[Span]) -> String {
    let mut text = String::with_capacity(source.len());
    let mut at = 0;
    for span in spans {
        text.push_str(source.get(at..span.start + 1).unwrap_or(""));
        text.extend(std::iter::repeat_n('x', (span.end - 1).saturating_sub(span.start + 1)));
        at = span.end - 1;
    }
    text.push_str(source.get(at..).unwrap_or(""));
    text
}

/// Puts the formulas into the items: text events are split around each. Returns those that found no place,
/// because something else than text stands within them.
pub(super) fn place(items: Vec<Item>, spans: &[Span], source: &str) -> (Vec<Item>, Vec<usize>) {
    if spans.is_empty() {
        return (items, Vec::new());
    }
    let mut placing = Placing { source, spans, next: 0, within: None, items: Vec::new(), lost: Vec::new() };
    placing.items.reserve(items.len() + 2 * spans.len());
    for item in items {
        match item {
            Item::Event(Event::Text(text), place) => placing.text(text, place),
            other => placing.other(other),
        }
    }
    placing.lost.extend(placing.next..spans.len());
    (placing.items, placing.lost)
}

/// The state while formulas are put into items.
struct Placing<'a> {
    source: &'a str,
    spans: &'a [Span],
    /// The next formula.
    next: usize,
    /// The end of the formula that began in a text event before and goes on.
    within: Option<usize>,
    items: Vec<Item>,
    lost: Vec<usize>,
}

impl Placing<'_> {
    fn other(&mut self, item: Item) {
        if self.within.take().is_some() {
            self.lost.push(self.next - 1);
        }
        self.items.push(item);
    }

    fn text(&mut self, text: pulldown_cmark::CowStr<'static>, place: Span) {
        let mut at = place.start;
        if let Some(end) = self.within {
            at = end.min(place.end);
            self.within = self.within.filter(|end| *end > place.end);
        }
        // Formulas before this text stood within something that is no text.
        while self.spans.get(self.next).is_some_and(|span| span.start < at) {
            self.lost.push(self.next);
            self.next += 1;
        }
        if at == place.start && self.spans.get(self.next).is_none_or(|span| span.start >= place.end) {
            return self.items.push(Item::Event(Event::Text(text), place));
        }
        while let Some(span) = self.spans.get(self.next).filter(|span| span.start < place.end).copied() {
            self.piece(at, span.start);
            self.items.push(Item::Inline(self.next));
            self.next += 1;
            at = span.end.min(place.end);
            self.within = (span.end > place.end).then_some(span.end);
        }
        self.piece(at, place.end);
    }

    fn piece(&mut self, from: usize, to: usize) {
        let part = Span::new(from, to);
        if from < to {
            self.items.push(Item::Event(Event::Text(part.text(self.source).to_owned().into()), part));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fence_lines(text: &str) -> Vec<Vec<String>> {
        let fences = pass(text).fences;
        let lines = |fence: &Fence| fence.lines.iter().map(|line| line.text(text).to_owned()).collect();
        fences.iter().map(lines).collect()
    }

    #[test]
    fn lines_of_a_block_leave_out_what_stands_around_them() {
        assert_eq!(fence_lines("```masses\na: 1\r\n\r\nb: 2\n```\n"), [["a: 1", "b: 2"]]);
        assert_eq!(fence_lines("> ```masses\n> a: 1\n>  b: 2\n> ```\n"), [["a: 1", " b: 2"]]);
        assert_eq!(fence_lines("- x\n\n  ~~~masses\n  a: 1\n\tb: 2\n"), [["a: 1", "b: 2"]]);
        assert_eq!(fence_lines("```masses\na: 1\rb: 2\n```"), [["a: 1", "b: 2"]]);
    }

    fn braces(text: &str) -> (Vec<String>, usize) {
        let mut found = pass(text);
        let (pairs, alone) = pairs(text, &mut found);
        (pairs.iter().map(|pair| pair.text(text).to_owned()).collect(), alone.len())
    }

    #[test]
    fn braces_pair_on_one_line_of_running_text() {
        assert_eq!(braces("a {x} *{y*z}* {w"), (vec!["{x}".into(), "{y*z}".into()], 1));
        assert_eq!(braces("{a {b}}"), (vec!["{b}".into()], 1));
        assert_eq!(braces("{a\nb} `{c}` \\{d} $e{f}$ [g](h{i}) <b c={d}>"), (vec![], 1));
        assert_eq!(braces("\\\\{a} &lbrace;b}"), (vec!["{a}".into()], 0));
        assert_eq!(braces("| {a | b} |\n|---|---|\n| {c} | {d |\n"), (vec!["{c}".into()], 2));
    }

    #[test]
    fn a_mask_keeps_the_length_and_the_braces() {
        let text = "a {µ*b} c";
        let mask = masked(text, &[Span::new(2, 8)]);
        assert_eq!(mask, "a {xxxx} c");
        assert_eq!(mask.len(), text.len());
    }
}
