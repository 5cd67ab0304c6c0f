//! A second opinion on the structure of notebooks: the fences, headings and checks that the reader finds are
//! those that another CommonMark parser finds.
//!
//! Differences that are meant, and so are not compared:
//!
//! - a formula in braces is one piece for the reader; the other parser may see emphasis or a link in it
//!   (`{a*b*c}`, `{x[A]}`), so headings are compared with `*`, `_` and square brackets left out;
//! - the other parser leaves out footnotes that nothing refers to; the samples have none with fences in them;
//! - a fence whose info string is written with entities or escapes is compared by its plain text.

use comrak::nodes::{AstNode, NodeValue};
use comrak::{Arena, Options};
use pulldown_cmark::{CodeBlockKind, Event, HeadingLevel, Tag, TagEnd};
use reweigh::files::Memory;
use reweigh::notebook::blocks::BlockKind;
use reweigh::notebook::{self, Item, Notebook};
use reweigh::span::Lines;
use std::path::Path;

/// Structure by structure, with the line it begins on.
#[derive(Debug, PartialEq)]
enum Part {
    /// Line, first word of the info string, text without blank lines and indentation.
    Fence(usize, String, Vec<String>),
    /// Line, level, text.
    Heading(usize, u8, String),
    /// Whether it is ticked.
    Check(bool),
}

/// As the reader has it.
fn read(text: &str) -> Vec<Part> {
    let notebook = notebook::read("a.md", text.as_bytes(), &Memory::default());
    let lines = Lines::of(&notebook.text);
    let line = |at: usize| lines.place(&notebook.text, at).0;
    let mut parts = Vec::new();
    let mut open: Option<Part> = None;
    for item in &notebook.items {
        match item {
            Item::Block(index) => {
                let block = &notebook.blocks[*index];
                let content = block.content.text(&notebook.text).to_owned();
                parts.push(Part::Fence(line(block.span.start), name(&block.kind).to_owned(), vec![content]));
            }
            Item::Inline(index) => push(&mut open, notebook.inline[*index].span.text(&notebook.text)),
            Item::Event(event, span) => match event {
                Event::Start(Tag::CodeBlock(CodeBlockKind::Fenced(info))) => {
                    let word = info.split_whitespace().next().unwrap_or("").to_owned();
                    open = Some(Part::Fence(line(span.start), word, Vec::new()));
                }
                Event::Start(Tag::Heading { level, .. }) => {
                    open = Some(Part::Heading(line(span.start), number(*level), String::new()));
                }
                Event::End(TagEnd::CodeBlock | TagEnd::Heading(_)) => parts.extend(open.take()),
                Event::Text(text) | Event::Code(text) | Event::InlineMath(text) => push(&mut open, text),
                Event::TaskListMarker(ticked) => parts.push(Part::Check(*ticked)),
                _ => {}
            },
        }
    }
    parts.iter_mut().for_each(settle);
    assert_checks(&notebook, &parts);
    parts
}

/// The entries of task lists are there once each, nested ones too.
fn assert_checks(notebook: &Notebook, parts: &[Part]) {
    let markers = parts.iter().filter(|part| matches!(part, Part::Check(_))).count();
    assert_eq!(notebook.checks.len(), markers);
}

fn push(open: &mut Option<Part>, text: &str) {
    match open {
        Some(Part::Heading(_, _, heading)) => heading.push_str(text),
        Some(Part::Fence(_, _, lines)) => lines.push(text.to_owned()),
        _ => {}
    }
}

/// Texts brought into the form that both sides share.
fn settle(part: &mut Part) {
    match part {
        Part::Heading(_, _, text) => *text = text.replace(['*', '_', '[', ']'], "").trim().to_owned(),
        Part::Fence(_, _, lines) => *lines = plain_lines(&lines.concat()),
        Part::Check(_) => {}
    }
}

/// Lines without what a quotation or list may put before them, blank ones left out.
fn plain_lines(text: &str) -> Vec<String> {
    let bare = text.lines().map(|line| line.trim_start_matches([' ', '\t', '>']).trim_end().to_owned());
    bare.filter(|line| !line.is_empty()).collect()
}

fn name(kind: &BlockKind) -> &'static str {
    match kind {
        BlockKind::Experiment => "experiment",
        BlockKind::Masses(_) => "masses",
        BlockKind::Measured(_) => "measured",
        BlockKind::Working(_) => "working",
        BlockKind::Theory(_) => "theory",
        BlockKind::Claimed(_) => "claimed",
        BlockKind::Table(_) => "table",
        BlockKind::Plot(_) => "plot",
        BlockKind::Reaction(_) => "reaction",
        BlockKind::Cautions => "cautions",
        BlockKind::Mixture(_) => "mixture",
    }
}

fn number(level: HeadingLevel) -> u8 {
    level as u8
}

/// As the other parser has it.
fn second_opinion(text: &str) -> Vec<Part> {
    let mut options = Options::default();
    options.extension.table = true;
    options.extension.footnotes = true;
    options.extension.strikethrough = true;
    options.extension.tasklist = true;
    options.extension.math_dollars = true;
    options.parse.leave_footnote_definitions = true;
    let arena = Arena::new();
    let root = comrak::parse_document(&arena, text, &options);
    let mut parts: Vec<Part> = root.descendants().filter_map(part).collect();
    parts.iter_mut().for_each(settle);
    parts
}

fn part<'a>(node: &'a AstNode<'a>) -> Option<Part> {
    let data = node.data.borrow();
    let line = data.sourcepos.start.line;
    match &data.value {
        NodeValue::CodeBlock(code) if code.fenced => {
            let word = code.info.split_whitespace().next().unwrap_or("").to_owned();
            Some(Part::Fence(line, word, vec![code.literal.clone()]))
        }
        NodeValue::Heading(heading) => Some(Part::Heading(line, heading.level, plain_text(node))),
        NodeValue::TaskItem(item) => Some(Part::Check(item.symbol.is_some())),
        _ => None,
    }
}

fn plain_text<'a>(node: &'a AstNode<'a>) -> String {
    let texts = node.descendants().map(|inner| match &inner.data.borrow().value {
        NodeValue::Text(text) => text.to_string(),
        NodeValue::Code(code) => code.literal.clone(),
        NodeValue::Math(math) => math.literal.clone(),
        _ => String::new(),
    });
    texts.collect()
}

/// Markdown whose structure parsers differ on most easily.
const TRICKY: &[&str] = &[
    "Setext\n======\n\nand two\n---\n\n```masses\na: 1\n```\n",
    "```masses\n```\n\n```\n```masses\n```\n",
    "````masses\n```\na: 1\n````\n\n~~~working\n```\n~~~~\n",
    "   ```masses\n   a: 1\n   ```\n\n    ```masses\n    a: 1\n    ```\n",
    "> ```masses\n> a: 1\n\nb: 2\n\n> # quoted\n> lazy\ncontinued\n",
    "- ```masses\n  a: 1\n  ```\n- # heading in a list\n\n  ```theory\n  x = 1\n\n  ```\n",
    "1. one\n\n   ```masses\n   a: 1\n   ```\n\n2. two\n   - [x] deep\n     - [ ] deeper\n",
    "<div>\n```masses\na: 1\n```\n</div>\n\n```masses\nb: 1\n```\n",
    "<!-- ```masses -->\n\n# heading # \n\n####### not one\n\n#nor this\n",
    "para\n```masses\na: 1\n```\npara\n# heading {mean x}\n",
    "```masses `tick`\na: 1\n```\n\n``` masses\na: 1\n```\n",
    "| a |\n|---|\n| {x} |\n\n```masses\na: 1\n```\n\n- [ ] x\n- [x] y\n* [X] z\n",
    "# {w(water)[A]} of `code` and $x$\n\n[A]: #a\n",
    "```masses\nnever: closed\n\n# no heading\n",
    "\t```masses\n\ta: 1\n\t```\n\n-\t```masses\n\ta: 1\n\t```\n",
];

fn samples() -> Vec<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folders = ["notebooks", "notebooks/field", "tests/notebook_cases"];
    let files = folders.iter().flat_map(|folder| std::fs::read_dir(root.join(folder)).unwrap());
    let mut paths: Vec<_> = files.map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|kind| kind == "md" || kind == "case"));
    paths.sort();
    let texts = paths.iter().map(|path| std::fs::read_to_string(path).unwrap());
    // The lines of a case that are no notebook would be prose.
    let notebooks = texts.map(|text| {
        text.lines()
            .filter(|line| !line.starts_with("//"))
            .map(|line| format!("{line}\n"))
            .collect::<String>()
    });
    notebooks.chain(TRICKY.iter().map(|text| text.to_string())).collect()
}

#[test]
fn both_parsers_find_the_same_fences_headings_and_checks() {
    let (mut fences, mut headings) = (0, 0);
    for text in samples() {
        if text.trim().is_empty() {
            continue;
        }
        for text in [text.replace('\n', "\r\n"), text] {
            let (ours, theirs) = (read(&text), second_opinion(&text));
            let differ = ours.iter().zip(&theirs).find(|(one, other)| one != other);
            assert!(differ.is_none(), "{differ:#?} in\n{text}");
            assert_eq!(ours.len(), theirs.len(), "in\n{text}");
            fences += ours.iter().filter(|part| matches!(part, Part::Fence(..))).count();
            headings += ours.iter().filter(|part| matches!(part, Part::Heading(..))).count();
        }
    }
    assert!(fences > 200 && headings > 50, "{fences} fences, {headings} headings");
}
