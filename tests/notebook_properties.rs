//! Reading never panics and every place it names fits the text, whatever the bytes: on arbitrary text, on
//! samples with pieces cut out, doubled and swapped in, and on the large and hostile notebooks of the list of
//! bad input. No test here asserts a time; the large ones are small enough to notice anything not linear.

use proptest::prelude::*;
use reweigh::files::Memory;
use reweigh::finding::{Code, Severity};
use reweigh::notebook::blocks::{Block, BlockKind, Cell, QuantityRow, Row};
use reweigh::notebook::expression::{Expression, ExpressionKind};
use reweigh::notebook::{self, Item, MOST_FINDINGS, Notebook};
use reweigh::span::Span;
use std::path::Path;

fn read(bytes: &[u8]) -> Notebook {
    let mut files = Memory::default();
    files.0.insert("weighings.csv".into(), b"load,trial,reading\ncrucible,A,18.2749\n".to_vec());
    notebook::read("a.md", bytes, &files)
}

/// Every place the reading names.
fn places(notebook: &Notebook) -> Vec<Span> {
    let mut places = Vec::new();
    for finding in notebook.findings.iter().filter(|finding| finding.file.is_none()) {
        places.extend(finding.span);
        places.extend(finding.labels.iter().map(|(span, _)| *span));
    }
    for item in &notebook.items {
        if let Item::Event(_, span) = item {
            places.push(*span);
        }
    }
    notebook.blocks.iter().for_each(|block| block_places(block, &mut places));
    for inline in &notebook.inline {
        places.push(inline.span);
        inline.expression.iter().for_each(|expression| expression_places(expression, &mut places));
        inline.unit.iter().for_each(|unit| places.push(unit.span));
        inline.claimed.iter().for_each(|cell| cell_places(cell, &mut places));
    }
    places.extend(notebook.checks.iter().map(|check| check.span));
    places.extend(notebook.images.iter().map(|image| image.span));
    places
}

fn block_places(block: &Block, places: &mut Vec<Span>) {
    places.extend([block.span, block.content]);
    match &block.kind {
        BlockKind::Masses(masses) => masses.rows.iter().for_each(|row| match row {
            Row::Load(row) => {
                places.extend([row.span, row.label.span]);
                row.cells.iter().for_each(|cell| cell_places(cell, places));
            }
            Row::Event(event) => places.push(event.span),
        }),
        BlockKind::Measured(measured) => rows_places(&measured.rows, places),
        BlockKind::Claimed(claimed) => rows_places(&claimed.rows, places),
        BlockKind::Working(lines) | BlockKind::Theory(lines) => lines.iter().for_each(|line| {
            places.extend([line.span, line.symbol.span]);
            line.expression.iter().for_each(|expression| expression_places(expression, places));
        }),
        _ => {}
    }
}

fn rows_places(rows: &[QuantityRow], places: &mut Vec<Span>) {
    for row in rows {
        places.extend([row.span, row.symbol.span]);
        row.cells.iter().for_each(|cell| cell_places(cell, places));
    }
}

fn cell_places(cell: &Cell, places: &mut Vec<Span>) {
    places.push(cell.span);
    places.extend(cell.strikes.iter().map(|strike| strike.span));
    places.extend(cell.unit.as_ref().map(|unit| unit.span));
    places.extend(cell.uncertainty.iter().map(|uncertainty| uncertainty.span));
}

fn expression_places(expression: &Expression, places: &mut Vec<Span>) {
    places.push(expression.span);
    match &expression.kind {
        ExpressionKind::Negate(inside)
        | ExpressionKind::Bracket(inside)
        | ExpressionKind::Blank(inside)
        | ExpressionKind::Word(_, inside) => expression_places(inside, places),
        ExpressionKind::Binary(_, one, other) => {
            expression_places(one, places);
            expression_places(other, places);
        }
        ExpressionKind::Call(_, arguments) => {
            arguments.iter().for_each(|argument| expression_places(argument, places));
        }
        _ => {}
    }
}

/// What holds of every reading.
fn sound(bytes: &[u8]) {
    let notebook = read(bytes);
    for place in places(&notebook) {
        assert!(notebook.text.get(place.start..place.end).is_some(), "{place:?} in {:?}", notebook.text);
    }
    assert!(notebook.findings.len() <= MOST_FINDINGS + 1);
    let mut depth = 0i64;
    let (mut blocks, mut inlines) = (0, 0);
    for item in &notebook.items {
        match item {
            Item::Event(pulldown_cmark::Event::Start(_), _) => depth += 1,
            Item::Event(pulldown_cmark::Event::End(_), _) => depth -= 1,
            Item::Event(..) => {}
            Item::Block(index) => {
                assert_eq!(*index, blocks);
                blocks += 1;
            }
            Item::Inline(index) => {
                assert_eq!(*index, inlines);
                inlines += 1;
            }
        }
        assert!(depth >= 0);
    }
    assert_eq!(depth, 0);
    assert_eq!((blocks, inlines), (notebook.blocks.len(), notebook.inline.len()));
}

/// The demo notebooks, the field notebooks and the reader's cases.
fn samples() -> Vec<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folders = ["notebooks", "notebooks/field", "tests/notebook_cases"];
    let files = folders.iter().flat_map(|folder| std::fs::read_dir(root.join(folder)).unwrap());
    let mut paths: Vec<_> = files.map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|kind| kind == "md" || kind == "case"));
    paths.sort();
    assert!(paths.len() > 50);
    paths.iter().map(|path| std::fs::read_to_string(path).unwrap()).collect()
}

/// Pieces that notebooks are made of, and pieces that break them.
const PIECES: &[&str] = &[
    "```masses\n",
    "```working\n",
    "```experiment\n",
    "```claimed\n",
    "```measured\n",
    "```plot\n",
    "```\n",
    "~~~theory\n",
    "crucible + residue, heating 1:",
    "trial:",
    " A B",
    "unit: g\n",
    "event:",
    "set aside: B (x)",
    "from: weighings.csv\n",
    "18.2749",
    "–",
    "−",
    "~~",
    "[",
    "]",
    "(",
    ")",
    "{",
    "}",
    "= A",
    "@ B-07",
    "± 0.05 mL k = 2",
    " mg",
    " %",
    ",",
    ";",
    ":",
    "m(water)",
    "M(H2O)",
    "mean ",
    "s ",
    "percent error ",
    "x = ",
    " in %",
    " # r",
    "5 ",
    "^",
    "²",
    "*",
    "/",
    " claimed 5 %",
    "title = “x”\n",
    "date = 2026–03–04\n",
    "[balance.B]\n",
    "\u{a0}",
    "\u{202f}",
    "\r\n",
    "\n",
    "\t",
    "> ",
    "- [x] ",
    "| a |\n|---|\n",
    "$x$",
    "`",
    "\\",
    "![a](b)",
    "[^1]",
    "[A]: x\n",
    "<b>",
    "<!--",
    "\0",
    "µ",
    "°C",
    "\u{fffd}",
    "é\u{301}",
    "🧪",
    "1e999999",
];

fn shuffled() -> impl Strategy<Value = String> {
    proptest::collection::vec(proptest::sample::select(PIECES), 0..60).prop_map(|pieces| pieces.concat())
}

/// A sample with a stretch of characters replaced by pieces.
fn mutated() -> impl Strategy<Value = String> {
    (proptest::sample::select(samples()), any::<prop::sample::Index>(), 0usize..200, shuffled()).prop_map(
        |(text, at, length, pieces)| {
            let characters: Vec<char> = text.chars().collect();
            let from = at.index(characters.len().max(1));
            let to = (from + length).min(characters.len());
            let start: String = characters[..from].iter().collect();
            let end: String = characters[to..].iter().collect();
            start + &pieces + &end
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_bytes_are_read(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        sound(&bytes);
    }

    #[test]
    fn arbitrary_text_in_every_block_is_read(text in "(.|\n){0,200}") {
        for name in ["experiment", "masses", "measured", "working", "theory", "claimed", "table", "plot"] {
            sound(format!("```{name}\n{text}\n```\n{{{text}}}").as_bytes());
        }
    }

    #[test]
    fn shuffled_pieces_are_read(text in shuffled()) {
        sound(text.as_bytes());
    }

    #[test]
    fn mutated_samples_are_read(text in mutated()) {
        sound(text.as_bytes());
    }
}

#[test]
fn samples_are_read_with_either_line_end_and_with_a_mark() {
    for text in samples() {
        sound(text.as_bytes());
        sound(text.replace('\n', "\r\n").as_bytes());
        sound(&[b"\xEF\xBB\xBF", text.as_bytes()].concat());
    }
}

#[test]
fn crlf_changes_places_only() {
    for text in samples() {
        let (plain, crlf) = (read(text.as_bytes()), read(text.replace('\n', "\r\n").as_bytes()));
        let said = |notebook: &Notebook| -> Vec<_> {
            notebook.findings.iter().map(|finding| (finding.code, finding.message.clone())).collect()
        };
        assert_eq!(said(&plain), said(&crlf), "{text}");
        assert_eq!(plain.inline.len(), crlf.inline.len());
    }
}

#[test]
fn every_sample_cut_short_anywhere_is_read() {
    for text in samples().iter().take(12) {
        for (at, _) in text.char_indices().step_by(7) {
            sound(&text.as_bytes()[..at]);
        }
    }
}

/// Codes of the errors of a reading.
fn errors(notebook: &Notebook) -> Vec<Code> {
    let errors = notebook.findings.iter().filter(|finding| finding.severity == Severity::Error);
    errors.map(|finding| finding.code).collect()
}

#[test]
fn a_notebook_beyond_the_limit_is_not_read() {
    let notebook = read(&vec![b' '; (64 << 20) + 1]);
    assert_eq!(errors(&notebook), [Code::TooLarge]);
    assert!(notebook.text.is_empty());
}

#[test]
fn a_notebook_of_fifty_megabytes_is_read() {
    let page = "A page of prose with {mean w(water)} and *{x}* in it, as long as a line usually is.\n\n\
                - [x] a check\n\n| a | b |\n|---|---|\n| 1 | {x} |\n\n```python\nx = 1\n```\n\n";
    let head = "```experiment\ntitle = \"t\"\ndate = 2026-03-04\n```\n\n```working\nx = 5 5\n```\n\n";
    let mut text = String::from(head);
    while text.len() < 50_000_000 {
        // Mostly plain text: as many formulas as a thousand notebooks have.
        let plain =
            "plain words on a plain line, one after the other, as many as there is room for\n".repeat(2_000);
        text.push_str(page);
        text.push_str(&plain);
        text.push('\n');
    }
    let notebook = read(text.as_bytes());
    assert_eq!(errors(&notebook), [Code::SyntaxError]);
    assert!(notebook.inline.len() >= 900);
    assert_eq!(notebook.text.len(), text.len());
}

#[test]
fn ten_thousand_trials_give_one_finding_and_fifty_columns() {
    let names: String = (0..10_000).map(|number| format!(" T{number}")).collect();
    let cells = " 1.0".repeat(10_000);
    let text = format!("```masses\ntrial:{names}\ncrucible:{cells}\nlid:{cells}\n```\n");
    let notebook = read(text.as_bytes());
    assert_eq!(errors(&notebook), [Code::TooLarge]);
    let BlockKind::Masses(masses) = &notebook.blocks[0].kind else { panic!("no masses") };
    assert_eq!(masses.columns.trials.as_ref().unwrap().len(), 50);
    for row in &masses.rows {
        let Row::Load(row) = row else { continue };
        assert_eq!(row.cells.len(), 50);
    }
}

#[test]
fn many_blocks_with_trials_of_their_own_stay_within_fifty() {
    let text: String =
        (0..2_000).map(|n| format!("```masses\ntrial: A{n} B{n}\nlid {n}: 1.0 2.0\n```\n\n")).collect();
    let notebook = read(text.as_bytes());
    assert!(errors(&notebook).contains(&Code::TooLarge));
    let trials: usize = notebook
        .blocks
        .iter()
        .map(|block| match &block.kind {
            BlockKind::Masses(masses) => masses.columns.trials.as_ref().map_or(0, Vec::len),
            _ => 0,
        })
        .sum();
    assert_eq!(trials, 50);
}

#[test]
fn a_million_bad_lines_give_a_bounded_list() {
    for block in ["masses", "working", "measured", "claimed", "table", "experiment", "reaction"] {
        let text = format!("```{block}\n{}```\n", "x y z = ( 1\n".repeat(200_000));
        let notebook = read(text.as_bytes());
        assert!(notebook.findings.len() <= MOST_FINDINGS + 1, "{block}");
        assert!(errors(&notebook).contains(&Code::TooLarge), "{block}");
    }
    sound("{x y} { ".repeat(200_000).as_bytes());
    sound("{1 +} ".repeat(200_000).as_bytes());
}

#[test]
fn deep_nesting_is_read() {
    for piece in
        ["(", "[", "{", "> ", "- ", "*", "_", "`", "~~", "$", "![", "<", "m(", "2^", "-", "\\", "|", "}"]
    {
        sound(piece.repeat(3_000).as_bytes());
        sound(format!("```working\nx = {}\n```\n{{{}", piece.repeat(10_000), piece.repeat(3_000)).as_bytes());
        sound(format!("```masses\n{}: {}\n```\n", piece.repeat(10_000), piece.repeat(10_000)).as_bytes());
        sound(
            format!("```experiment\nx = {}\n{}\n```\n", piece.repeat(3_000), piece.repeat(3_000)).as_bytes(),
        );
    }
}
