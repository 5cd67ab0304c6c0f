//! The prose of a notebook: CommonMark events become a tree of blocks and running text.
//!
//! The walk is a plain descent over the notebook's items. Containers nested deeper than [`DEEPEST`] are
//! opened no further (their text is still set), so that no input can exhaust the stack or a writer.

use std::collections::{BTreeMap, BTreeSet};

use pulldown_cmark::{Event, HeadingLevel, LinkType, Tag, TagEnd};

use super::images::Pictures;
use super::math;
use super::prose_tree::{
    Block, Entry, Formula, Inline, List, NoteReference, Picture, ProseTable, Statement, Style,
};
use crate::finding::{Code, Finding};
use crate::notebook::{Item, Notebook};
use crate::span::Span;

/// How deep lists, quotes and styles may nest before they are opened no further.
const DEEPEST: usize = 8;

/// Bytes of a heading that an outline can hold.
const LONGEST_HEADING: usize = 2000;

/// The prose and what there is to say about it.
pub(super) struct Prose {
    pub(super) statements: Vec<Statement>,
    pub(super) findings: Vec<Finding>,
}

/// A part of a paragraph: running text, or a display that stands on its own.
enum Piece {
    Running(Inline),
    Display(Formula),
}

/// Reads the whole prose. A first heading that only repeats `title` is passed over.
pub(super) fn read(notebook: &Notebook, pictures: &Pictures, title: &str) -> Prose {
    let mut writer = Writer::new(notebook, pictures, title);
    writer.whole();
    Prose { statements: writer.statements, findings: writer.findings }
}

struct Writer<'a> {
    notebook: &'a Notebook,
    pictures: &'a Pictures,
    title: &'a str,
    items: &'a [Item],
    at: usize,
    depth: usize,
    statements: Vec<Statement>,
    findings: Vec<Finding>,
    /// Source levels of the open headings, so that no level is skipped.
    levels: Vec<u8>,
    /// The items of each footnote's text.
    footnotes: BTreeMap<String, usize>,
    /// Footnotes that some reference names.
    referenced: BTreeSet<String>,
    /// Footnotes already met, with their numbers.
    numbered: BTreeMap<String, usize>,
    /// The tick of the list entry that is being read.
    tick: Option<bool>,
}

impl<'a> Writer<'a> {
    fn new(notebook: &'a Notebook, pictures: &'a Pictures, title: &'a str) -> Self {
        let mut writer = Writer {
            notebook,
            pictures,
            title,
            items: &notebook.items,
            at: 0,
            depth: 0,
            statements: Vec::new(),
            findings: Vec::new(),
            levels: Vec::new(),
            footnotes: BTreeMap::new(),
            referenced: BTreeSet::new(),
            numbered: BTreeMap::new(),
            tick: None,
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
            let blocks = match item {
                Item::Event(Event::End(_), _) => {
                    self.at += 1; // an end without a start
                    continue;
                }
                item if is_inline(item) => loose(self.inline(0)),
                _ => self.block(),
            };
            self.statements.push(Statement { blocks, span });
        }
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
            let span = self.block_span(index);
            self.statements.push(Statement { blocks: vec![Block::Computed(index)], span });
        }
        self.at = end_of(self.items, start) + 1;
    }

    /// Whether a heading is of level one, nothing but text, and that text the title.
    fn repeats_title(&self, start: usize) -> bool {
        let inside = self.items.get(start + 1..end_of(self.items, start)).unwrap_or(&[]);
        is_title(self.items.get(start))
            && inside.iter().all(is_plain)
            && folded(&plain_text(inside)) == folded(self.title)
    }

    fn peek(&self) -> Option<&'a Item> {
        self.items.get(self.at)
    }

    fn span(&self) -> Span {
        match self.peek() {
            Some(Item::Event(_, span)) => *span,
            Some(Item::Inline(index)) => {
                self.notebook.inline.get(*index).map_or(Span::default(), |inline| inline.span)
            }
            Some(Item::Block(index)) => self.block_span(*index),
            None => Span::default(),
        }
    }

    fn block_span(&self, index: usize) -> Span {
        self.notebook.blocks.get(index).map_or(Span::default(), |block| block.span)
    }

    // --------------------------------------------------------------------------------------------
    // Blocks
    // --------------------------------------------------------------------------------------------

    /// Blocks up to the end of the container (which is left unread).
    fn flow(&mut self) -> Vec<Block> {
        let mut body = Vec::new();
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
                item if is_inline(item) => body.extend(loose(self.inline(0))),
                _ => body.extend(self.block()),
            }
        }
        body
    }

    /// One block (or what it falls into); reads past its end.
    fn block(&mut self) -> Vec<Block> {
        let item = self.peek();
        self.at += 1;
        match item {
            Some(Item::Block(index)) => vec![Block::Computed(*index)],
            Some(Item::Event(Event::Start(tag), span)) => {
                self.depth += 1;
                let blocks = self.tagged_block(tag, *span);
                self.depth -= 1;
                self.at += 1; // the end of the tag
                blocks
            }
            Some(Item::Event(Event::Rule, _)) => vec![Block::Rule],
            Some(Item::Event(Event::Html(html), span)) => vec![verbatim(html, *span)],
            _ => Vec::new(),
        }
    }

    fn tagged_block(&mut self, tag: &Tag<'a>, span: Span) -> Vec<Block> {
        match tag {
            Tag::Paragraph => self.paragraph(),
            Tag::Heading { level, .. } => self.heading(*level as u8).into_iter().collect(),
            Tag::BlockQuote(_) => vec![Block::Quote(self.flow())],
            Tag::List(start) => vec![Block::List(self.list(*start))],
            Tag::CodeBlock(_) | Tag::HtmlBlock => vec![verbatim(&self.texts(), span)],
            Tag::Table(alignments) => vec![Block::Table(self.table(alignments))],
            Tag::FootnoteDefinition(name) => self.footnote_definition(name),
            _ => self.flow(),
        }
    }

    fn paragraph(&mut self) -> Vec<Block> {
        let start = self.at;
        let end = end_of(self.items, start.saturating_sub(1));
        if let Some(picture) = self.lone_picture(start, end) {
            self.at = end;
            return vec![Block::Picture(picture)];
        }
        split(self.inline(0), Block::Paragraph)
    }

    fn heading(&mut self, level: u8) -> Option<Block> {
        let said = heading_text(self.items, self.at.saturating_sub(1));
        let words = running(self.inline(0));
        if words.is_empty() {
            return None;
        }
        if !said.chars().any(|c| c.is_alphanumeric()) || said.len() > LONGEST_HEADING {
            // Nothing that an outline could name: set as a line of its own.
            return Some(Block::Line(words));
        }
        while self.levels.last().is_some_and(|open| *open >= level) {
            self.levels.pop();
        }
        self.levels.push(level);
        Some(Block::Heading(self.levels.len(), words))
    }

    fn list(&mut self, start: Option<u64>) -> List {
        let tight = self.list_is_tight();
        let mut entries = Vec::new();
        while let Some(Item::Event(Event::Start(Tag::Item), _)) = self.peek() {
            self.at += 1;
            self.tick = None;
            let blocks = self.flow();
            entries.push(Entry { tick: self.tick.take(), blocks });
            self.at += 1;
        }
        List { start, tight, entries }
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

    fn table(&mut self, alignments: &[pulldown_cmark::Alignment]) -> ProseTable {
        let mut table = ProseTable { alignments: alignments.to_vec(), ..ProseTable::default() };
        while let Some(Item::Event(Event::Start(tag), _)) = self.peek() {
            let is_head = matches!(tag, Tag::TableHead);
            self.at += 1;
            let cells = self.cells();
            self.at += 1;
            if is_head { table.head = cells } else { table.rows.push(cells) }
        }
        table
    }

    fn cells(&mut self) -> Vec<Vec<Inline>> {
        let mut cells = Vec::new();
        while let Some(Item::Event(Event::Start(Tag::TableCell), _)) = self.peek() {
            self.at += 1;
            cells.push(running(self.inline(1)));
            self.at += 1;
        }
        cells
    }

    fn footnote_definition(&mut self, name: &str) -> Vec<Block> {
        if self.referenced.contains(name) {
            self.at = end_of(self.items, self.at.saturating_sub(1));
            return Vec::new();
        }
        vec![Block::LooseNote(name.to_owned(), self.note_body())]
    }

    fn lone_picture(&mut self, start: usize, end: usize) -> Option<Picture> {
        let inside = self.items.get(start..end)?;
        let Some(Item::Event(Event::Start(Tag::Image { dest_url, title, .. }), span)) = inside.first() else {
            return None;
        };
        if end_of(self.items, start) + 1 != end {
            return None;
        }
        let caption = (!title.is_empty()).then(|| title.to_string());
        Some(self.picture(dest_url, inside, caption, true, *span))
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
                    text.flush(&mut pieces);
                    self.inline_item(nested, &mut pieces);
                    continue;
                }
            }
            self.at += 1;
        }
        text.flush(&mut pieces);
        pieces
    }

    /// Anything but plain text; reads past it.
    fn inline_item(&mut self, nested: usize, pieces: &mut Vec<Piece>) {
        let span = self.span();
        match self.peek() {
            Some(Item::Inline(index)) => pieces.push(Piece::Running(Inline::Value(*index))),
            Some(Item::Event(Event::Start(tag), _)) => {
                self.at += 1;
                let inline = self.tagged_inline(tag, span, nested);
                pieces.push(Piece::Running(inline));
            }
            Some(Item::Event(event, _)) => pieces.extend(self.leaf(event, span, nested)),
            _ => {}
        }
        self.at += 1;
    }

    fn leaf(&mut self, event: &Event<'a>, span: Span, nested: usize) -> Option<Piece> {
        Some(Piece::Running(match event {
            Event::Code(text) | Event::InlineHtml(text) | Event::Html(text) => {
                Inline::Code(text.to_string(), span)
            }
            Event::HardBreak => Inline::Break,
            Event::InlineMath(source) => Inline::Formula(self.math(source, false, span)),
            Event::DisplayMath(source) if nested == 0 => {
                return Some(Piece::Display(self.math(source, true, span)));
            }
            Event::DisplayMath(source) => Inline::Formula(self.math(source, false, span)),
            Event::FootnoteReference(name) => self.footnote(name),
            Event::TaskListMarker(ticked) => {
                self.tick = Some(*ticked);
                return None;
            }
            _ => return None,
        }))
    }

    fn tagged_inline(&mut self, tag: &Tag<'a>, span: Span, nested: usize) -> Inline {
        if let Tag::Image { dest_url, .. } = tag {
            let end = end_of(self.items, self.at.saturating_sub(1));
            let inside = self.items.get(self.at..end).unwrap_or(&[]);
            let picture = self.picture(dest_url, inside, None, false, span);
            self.at = end;
            return Inline::Picture(picture);
        }
        let inside = running(self.inline(nested + 1));
        let style = match tag {
            Tag::Emphasis => Style::Emphasis,
            Tag::Strong => Style::Strong,
            Tag::Strikethrough => Style::Struck,
            Tag::Subscript => Style::Lowered,
            Tag::Superscript => Style::Raised,
            Tag::Link { link_type, dest_url, .. } => return link(*link_type, dest_url, inside, span),
            _ => Style::Plain,
        };
        Inline::Styled(style, inside)
    }

    fn footnote(&mut self, name: &str) -> Inline {
        if let Some(number) = self.numbered.get(name) {
            return Inline::Note(NoteReference { number: *number, body: None });
        }
        let Some(start) = self.footnotes.get(name).copied().filter(|_| self.depth < DEEPEST) else {
            return Inline::Text(format!("[^{name}]"), None);
        };
        let number = self.numbered.len() + 1;
        self.numbered.insert(name.to_owned(), number);
        let back = std::mem::replace(&mut self.at, start + 1);
        self.depth += 1;
        let body = self.note_body();
        self.depth -= 1;
        self.at = back;
        Inline::Note(NoteReference { number, body: Some(body) })
    }

    /// The text of a footnote: its first paragraph runs on from the number.
    fn note_body(&mut self) -> Vec<Block> {
        let mut body = Vec::new();
        if let Some(Item::Event(Event::Start(Tag::Paragraph), _)) = self.peek() {
            self.at += 1;
            body = loose(self.inline(0));
            self.at += 1;
        }
        body.extend(self.flow());
        body
    }

    fn math(&mut self, source: &str, display: bool, span: Span) -> Formula {
        let math = math::read(source).map_err(|what| {
            let message =
                format!("math that is not in the supported subset ({}); its source is printed", what.0);
            self.findings.push(Finding::note(Code::MathAsSource, span, message));
        });
        Formula { source: source.to_owned(), math: math.ok(), display, span }
    }

    /// An image with the items of its alternative.
    fn picture(
        &mut self,
        destination: &str,
        inside: &[Item],
        caption: Option<String>,
        block: bool,
        span: Span,
    ) -> Picture {
        let problem = self.pictures.get(destination).err().map(str::to_owned);
        let alternative = plain_text(inside).trim().to_owned();
        if alternative.is_empty() {
            self.findings.push(without_alternative(destination, span));
        }
        if let Some(problem) = &problem {
            self.findings.push(not_shown(destination, span, problem));
        }
        Picture { destination: destination.to_owned(), alternative, caption, block, problem, span }
    }
}

fn without_alternative(destination: &str, span: Span) -> Finding {
    let message = "an image without a text alternative; a placeholder is read out instead";
    let hint = format!("say what it shows: ![what it shows]({destination})");
    Finding::note(Code::MissingAlternative, span, message).hint(hint)
}

fn not_shown(destination: &str, span: Span, problem: &str) -> Finding {
    let message = format!("the image {destination:?} is not shown: {problem}");
    Finding::warning(Code::BadImage, span, message)
}

/// A link; the address of one that leads nowhere from a report is printed behind it.
fn link(kind: LinkType, destination: &str, mut inside: Vec<Inline>, span: Span) -> Inline {
    let address =
        if kind == LinkType::Email { format!("mailto:{destination}") } else { destination.to_owned() };
    if inside.is_empty() {
        inside.push(Inline::Text(address.clone(), Some(span)));
    }
    if is_live(&address) {
        return Inline::Link(address, inside);
    }
    if !destination.is_empty() && !destination.starts_with('#') {
        inside.push(Inline::Text(format!(" ({destination})"), Some(span)));
    }
    Inline::Styled(Style::Plain, inside)
}

fn verbatim(text: &str, span: Span) -> Block {
    Block::Verbatim(text.strip_suffix('\n').unwrap_or(text).to_owned(), span)
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

    fn flush(&mut self, pieces: &mut Vec<Piece>) {
        let Text { text, span } = std::mem::take(self);
        if !text.is_empty() {
            pieces.push(Piece::Running(Inline::Text(text, span)));
        }
    }
}

/// Pieces of text that stands directly in a list entry, with displays between them.
fn loose(pieces: Vec<Piece>) -> Vec<Block> {
    split(pieces, Block::Loose)
}

fn split(pieces: Vec<Piece>, close: impl Fn(Vec<Inline>) -> Block) -> Vec<Block> {
    let mut blocks = Vec::new();
    let mut running = Vec::new();
    let mut after_display = false;
    for piece in pieces {
        match piece {
            Piece::Running(Inline::Text(text, span)) if std::mem::take(&mut after_display) => {
                let text = text.strip_prefix(' ').unwrap_or(&text).to_owned();
                running.push(Inline::Text(text, span));
            }
            Piece::Running(inline) => {
                after_display = false;
                running.push(inline);
            }
            Piece::Display(formula) => {
                let before = std::mem::take(&mut running);
                if has_substance(&before) {
                    blocks.push(close(before));
                }
                blocks.push(Block::Display(formula));
                after_display = true;
            }
        }
    }
    if has_substance(&running) {
        blocks.push(close(running));
    }
    blocks
}

/// Whether there is anything but blanks.
fn has_substance(running: &[Inline]) -> bool {
    running.iter().any(|inline| !matches!(inline, Inline::Text(text, _) if matches!(text.as_str(), "" | " ")))
}

/// Running text where no display may stand.
fn running(pieces: Vec<Piece>) -> Vec<Inline> {
    let inline = |piece| match piece {
        Piece::Running(inline) => inline,
        Piece::Display(formula) => Inline::Formula(formula),
    };
    pieces.into_iter().map(inline).collect()
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
