//! The report as Markdown: the notebook with its computed tables put in.
//!
//! What is put in stands between two comments, [`OPEN`] and [`CLOSE`], behind the block it belongs to (or behind the list or
//! quote that holds the block), with an empty line before it. Every other byte is the author's and stays: line ends, a
//! byte-order mark, a missing last line end. [`without_computed`] takes out exactly what [`markdown`] put in, so that a report
//! made from a report is the same file.

use std::collections::BTreeMap;

use pulldown_cmark::Event;

use super::document::Document;
use super::images::Pictures;
use super::part::Part;
use super::record;
use super::tables::{Beside, Cell, Label, Row, Table, Value};
use super::words::{self, Run};
use super::worked::{Sought, SoughtFrom, Whole};
use crate::evaluation::results::{InlineValue, Results};
use crate::files::Files;
use crate::finding::{Code, Finding};
use crate::notebook::settings::DecimalMark;
use crate::notebook::{Item, Notebook};
use crate::template::{self, Template};

/// The line before what is computed.
pub const OPEN: &str = "<!-- computed by reweigh; what stands here is written anew by each report -->";
/// The line after it.
pub const CLOSE: &str = "<!-- end of what is computed -->";

/// A report.
#[derive(Clone, Debug)]
pub struct Markdown {
    /// The file.
    pub bytes: Vec<u8>,
    /// What was found while it was made, beyond the findings of the results.
    pub findings: Vec<Finding>,
}

/// A notebook as its author wrote it: without what an earlier report put in.
///
/// # Errors
///
/// In words, to follow the name of the file: it is not UTF-8, or something computed begins in it and does not end.
pub fn without_computed(bytes: &[u8]) -> Result<Vec<u8>, String> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let at = error.valid_up_to();
        format!("is not UTF-8 from byte {at} on; a report in Markdown keeps every byte, so it needs a text")
    })?;
    let mut kept = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = line_of(rest, OPEN) {
        let (before, after) = rest.split_at(at);
        let end = line_of(after, CLOSE)
            .ok_or_else(|| format!("has the line `{OPEN}` without the line `{CLOSE}` after it"))?;
        kept.push_str(before);
        rest = &after[end + CLOSE.len()..];
        if kept.trim_start_matches('\u{feff}').is_empty() {
            rest = without_break(without_break(rest, Side::Start), Side::Start);
        } else {
            let short = without_break(without_break(&kept, Side::End), Side::End).len();
            kept.truncate(short);
        }
    }
    kept.push_str(rest);
    Ok(kept.into_bytes())
}

/// The first place where a line is just `wanted`.
fn line_of(text: &str, wanted: &str) -> Option<usize> {
    let alone = |at: &usize| {
        let before = text[..*at].trim_start_matches('\u{feff}');
        let after = &text[at + wanted.len()..];
        (before.is_empty() || before.ends_with('\n')) && (after.is_empty() || after.starts_with(['\n', '\r']))
    };
    text.match_indices(wanted).map(|(at, _)| at).find(alone)
}

#[derive(Clone, Copy)]
enum Side {
    Start,
    End,
}

/// A text without one line break at an end.
fn without_break(text: &str, side: Side) -> &str {
    let stripped = |mark| match side {
        Side::Start => text.strip_prefix(mark),
        Side::End => text.strip_suffix(mark),
    };
    stripped("\r\n").or_else(|| stripped("\n")).unwrap_or(text)
}

/// Writes the report. `bytes` are the notebook's own, without what an earlier report put in; `notebook` was read from them.
pub fn markdown(
    bytes: &[u8],
    notebook: &Notebook,
    results: &Results,
    files: &dyn Files,
    template: Option<&Template>,
) -> Markdown {
    let pictures = Pictures::of(notebook, files);
    let document = Document::of(notebook, results, &pictures, template);
    let own = String::from_utf8_lossy(bytes);
    let mark = if own.starts_with('\u{feff}') { "\u{feff}" } else { "" };
    let text = own.strip_prefix('\u{feff}').unwrap_or(&own);
    let mut writer = Writer { results, mark: results.settings.decimal, tables: 0 };
    let mut sections = writer.sections(notebook, text, &document, template);
    let mut findings = document.findings();
    let put_in = |sections: &BTreeMap<usize, String>| format!("{mark}{}", put_in(text, sections));
    if !keeps_blocks(&put_in(&sections), notebook, text) {
        sections.clear();
        let message = "the tables could not be put in: a block at the end of the text is not closed, and would hold them";
        findings.push(
            Finding::warning(Code::BadRequest, None, message).hint("close it with a line of three backticks"),
        );
    } else {
        let all: Vec<Finding> = results.findings.iter().chain(&findings).cloned().collect();
        let end = end_of(text, text.len());
        sections.entry(end).or_default().push_str(&writer.end(notebook, &all));
    }
    Markdown { bytes: put_in(&sections).into_bytes(), findings }
}

/// Whether every block of the notebook is still one with the sections put in.
fn keeps_blocks(written: &str, notebook: &Notebook, text: &str) -> bool {
    let nothing = crate::files::Memory::default();
    let own = |block: &&crate::notebook::blocks::Block| {
        block.span.start < block.span.end && block.span.end <= text.len()
    };
    let again = crate::notebook::read(&notebook.name, written.as_bytes(), &nothing);
    let closed = again.text.trim_end().ends_with(CLOSE);
    let last_is_block =
        again.blocks.last().is_some_and(|block| block.span.end >= again.text.trim_end().len());
    again.blocks.len() == notebook.blocks.iter().filter(own).count() && !(closed && last_is_block)
}

/// The text with its sections, each with an empty line between it and the author's text.
fn put_in(text: &str, sections: &BTreeMap<usize, String>) -> String {
    let line_break = if text.find('\n').is_some_and(|at| text[..at].ends_with('\r')) { "\r\n" } else { "\n" };
    let mut written = String::new();
    let mut from = 0;
    for (at, section) in sections.iter().filter(|(_, section)| !section.trim().is_empty()) {
        written.push_str(&text[from..*at]);
        let section = format!("{OPEN}\n\n{}\n\n{CLOSE}", section.trim()).replace('\n', line_break);
        let (before, after) = if *at == 0 { ("", line_break) } else { (line_break, "") };
        written.push_str(&format!("{before}{before}{section}{after}{after}"));
        from = *at;
    }
    written.push_str(&text[from..]);
    written
}

/// The end of the last line of a text, up to a place, on which anything is to be seen; blanks at its end are its own.
fn end_of(text: &str, at: usize) -> usize {
    let seen = text.get(..at).unwrap_or(text).trim_end_matches(['\n', '\r', ' ', '\t']).len();
    let rest = text.get(seen..).unwrap_or("");
    seen + rest.len() - rest.trim_start_matches([' ', '\t']).len()
}

/// For every block that stands in the notebook the place behind it (behind the list or quote it is in).
fn places(notebook: &Notebook, text: &str) -> Vec<(usize, usize)> {
    let (mut places, mut waiting) = (Vec::new(), Vec::new());
    let (mut at, mut outer, mut depth) = (0, 0, 0usize);
    for item in &notebook.items {
        match item {
            Item::Event(Event::Start(_), span) => {
                outer = if depth == 0 { span.end } else { outer };
                depth += 1;
            }
            Item::Event(Event::End(_), _) => {
                depth = depth.saturating_sub(1);
                if depth == 0 {
                    at = outer.max(at);
                    places.extend(waiting.drain(..).map(|index| (end_of(text, at), index)));
                }
            }
            Item::Event(_, span) if depth == 0 => at = span.end.max(at),
            Item::Block(index) if depth == 0 => {
                let span = notebook.blocks.get(*index).map_or_else(Default::default, |block| block.span);
                at = if span.end <= text.len() { span.end.max(at) } else { at };
                places.push((end_of(text, at), *index));
            }
            Item::Block(index) => waiting.push(*index),
            _ => {}
        }
    }
    places.extend(waiting.drain(..).map(|index| (end_of(text, at), index)));
    places
}

struct Writer<'a> {
    results: &'a Results,
    mark: DecimalMark,
    tables: usize,
}

impl Writer<'_> {
    /// What stands behind each place of the text.
    fn sections(
        &mut self,
        notebook: &Notebook,
        text: &str,
        document: &Document,
        template: Option<&Template>,
    ) -> BTreeMap<usize, String> {
        let mut sections: BTreeMap<usize, String> = BTreeMap::new();
        for (at, index) in places(notebook, text) {
            for part in document.placed.blocks.get(index).map_or(&[][..], Vec::as_slice) {
                let written = match (part, template) {
                    (Part::Cautions(_), Some(template)) => cautions(template, text),
                    _ => self.part(part),
                };
                sections.entry(at).or_default().push_str(&written);
            }
        }
        let end: String = document.placed.end.iter().map(|part| self.part(part)).collect();
        sections.entry(end_of(text, text.len())).or_default().push_str(&end);
        sections
    }

    /// A part that is a table, or a sentence that stands beside one; the others are not put in.
    fn part(&mut self, part: &Part) -> String {
        match part {
            Part::Table(table) => self.table(table),
            Part::WholeNumbers(all) => all.iter().map(whole).collect(),
            Part::Sought(all) => all.iter().map(sought).collect(),
            Part::Method(sentences) => format!("{}\n\n", escaped(&sentences.join(" "))),
            _ => String::new(),
        }
    }

    fn table(&mut self, table: &Table) -> String {
        self.tables += 1;
        let mut written = format!("**Table {}** {}\n\n", self.tables, runs(&table.caption));
        for part in &table.parts {
            if let Some((over, _)) = part.spanner.as_ref().filter(|(over, _)| words::text_of(over) != "trial")
            {
                written.push_str(&format!("Columns: {}.\n\n", runs(over)));
            }
            let heads: Vec<String> = part.labels.iter().chain(&part.columns).map(|head| runs(head)).collect();
            written.push_str(&row(&heads));
            let rules = part.labels.iter().map(|_| "---").chain(part.columns.iter().map(|_| "---:"));
            written.push_str(&row(&rules.map(str::to_owned).collect::<Vec<_>>()));
            let mut open: Vec<usize> = Vec::new();
            for one in &part.rows {
                written.push_str(&self.row(one, part.labels.len(), heads.len(), &mut open));
            }
            written.push('\n');
        }
        for (sign, text) in &table.notes {
            let sign = if sign.is_empty() { String::new() } else { format!("<sup>{}</sup> ", escaped(sign)) };
            written.push_str(&format!("{sign}{}\n\n", runs(text)));
        }
        written
    }

    /// One row. `open` counts for each label column how many rows the label above still stands for.
    fn row(&self, one: &Row, labels: usize, width: usize, open: &mut Vec<usize>) -> String {
        let mut cells = Vec::new();
        match one {
            Row::Event(text) => cells.push(format!("*{}*", runs(text))),
            Row::Values { labels: own, cells: values, .. } => {
                open.resize(labels, 0);
                let mut own = own.iter();
                for rows in open.iter_mut() {
                    let label: Option<&Label> = if *rows > 0 { None } else { own.next() };
                    *rows = label.map_or(*rows, |label| label.rows).saturating_sub(1);
                    cells.push(label.map_or(String::new(), |label| runs(&label.words)));
                }
                cells.extend(values.iter().map(|cell| self.cell(cell)));
            }
        }
        cells.resize(width.max(cells.len()), String::new());
        row(&cells)
    }

    fn cell(&self, cell: &Cell) -> String {
        match cell {
            Cell::Empty => String::new(),
            Cell::Missing => "–".to_owned(),
            Cell::Words(text) => runs(text),
            Cell::Value(value) => self.value(value),
        }
    }

    fn value(&self, value: &Value) -> String {
        let mut written: String = value
            .struck
            .iter()
            .map(|struck| format!("~~{}~~ ", escaped(&words::digits(struck, self.mark))))
            .collect();
        let digits = escaped(&value.printed_digits(self.mark));
        written.push_str(&if value.off { format!("~~{digits}~~") } else { digits });
        written.push_str(&match &value.beside {
            Some(Beside::PlusMinus(expanded)) => format!(" ± {}", words::digits(expanded, self.mark)),
            Some(Beside::Concise(concise)) => format!("({concise})"),
            None => String::new(),
        });
        written.extend(value.power.map(|power| format!(" × 10<sup>{}</sup>", words::power(power))));
        written.extend(value.unit.as_ref().map(|unit| format!(" {}", runs(&words::unit(unit)))));
        written.extend(value.shared.as_ref().map(|trial| format!(" = {}", escaped(trial))));
        if !value.marks.is_empty() {
            written.push_str(&format!(" <sup>{}</sup>", escaped(&value.marks)));
        }
        written
    }

    /// What stands at the end: the values within the text, the findings, how all was computed.
    fn end(&self, notebook: &Notebook, findings: &[Finding]) -> String {
        self.inline_values(notebook) + &self.findings(notebook, findings) + &self.foot()
    }

    fn inline_values(&self, notebook: &Notebook) -> String {
        if notebook.inline.is_empty() {
            return String::new();
        }
        let mut written = "**Values in the text**\n\n| written | value |\n| --- | --- |\n".to_owned();
        for (index, inline) in notebook.inline.iter().enumerate() {
            let source = inline.span.text(&notebook.text);
            let values = self.results.inline.get(index).map_or(&[][..], |result| result.values.as_slice());
            let values: Vec<String> = values.iter().map(|value| self.inline_value(value)).collect();
            let values = if values.is_empty() { "–".to_owned() } else { values.join(", ") };
            written.push_str(&row(&[escaped(source), values]));
        }
        written + "\n"
    }

    fn inline_value(&self, value: &InlineValue) -> String {
        let number = Value {
            digits: value.printed.digits.clone(),
            power: value.printed.exponent,
            beside: value.uncertainty.as_ref().map(Beside::of),
            unit: Some(value.unit.clone()).filter(|unit| !unit.is_empty()),
            ..Value::default()
        };
        let trial = value.trial.as_ref().map_or(String::new(), |trial| format!(" ({})", escaped(trial)));
        let provisional = if value.provisional { " (provisional)" } else { "" };
        format!("{}{trial}{provisional}", self.value(&number))
    }

    fn findings(&self, notebook: &Notebook, findings: &[Finding]) -> String {
        let listed = record::findings(findings, &notebook.text);
        if listed.is_empty() {
            return String::new();
        }
        let mut written = "**Findings**\n\n| kind | what was found |\n| --- | --- |\n".to_owned();
        for finding in listed {
            // No line: what is put in moves the lines of the text.
            let hints: Vec<String> = finding.hints.iter().map(|hint| format!(" (help: {hint})")).collect();
            let message = escaped(&format!("{}{}", finding.message, hints.concat()));
            written.push_str(&row(&[finding.severity.word().to_owned(), message]));
        }
        written + "\n"
    }

    fn foot(&self) -> String {
        let mut written = "**How this was computed**\n\n| what | how |\n| --- | --- |\n".to_owned();
        for entry in record::foot(self.results) {
            for (index, line) in entry.lines.iter().enumerate() {
                // The name of the file may change; its content is what counts.
                let own = format!("{}: ", self.results.name);
                let line = if *line == own { "the notebook without what is computed: " } else { line };
                let code = entry.codes.get(index).map_or("", String::as_str);
                let heading = if index == 0 { escaped(&entry.heading) } else { String::new() };
                written.push_str(&row(&[heading, escaped(&format!("{line}{code}"))]));
            }
        }
        written
    }
}

/// The template's cautions, where the notebook has them not.
fn cautions(template: &Template, text: &str) -> String {
    let cautions = template::cautions_as_markdown(&template.cautions);
    let same = text.replace("\r\n", "\n").contains(cautions.trim());
    if same { String::new() } else { format!("**Cautions**\n\n{cautions}\n\n") }
}

fn whole(whole: &Whole) -> String {
    format!("{} = {}: {}.\n\n", runs(&whole.symbol), escaped(&whole.found), escaped(&whole.verdict))
}

fn sought(sought: &Sought) -> String {
    let formula = sought.formula.as_ref().map_or(String::new(), |formula| format!(" = {}", runs(formula)));
    let from = match &sought.from {
        SoughtFrom::Ratios(ratios) => {
            let ratios: Vec<String> = ratios.iter().map(|ratio| runs(ratio)).collect();
            format!("ratio {}", ratios.join(" : "))
        }
        SoughtFrom::Equation(equation) => escaped(equation),
    };
    format!("{}{formula}; {from}; {}.\n\n", runs(&sought.symbol), escaped(&sought.verdict))
}

fn row(cells: &[String]) -> String {
    format!("| {} |\n", cells.join(" | "))
}

/// Runs of text as Markdown.
fn runs(words: &[Run]) -> String {
    let run = |run: &Run| match run {
        Run::Plain(text) => escaped(text),
        Run::Italic(text) => format!("*{}*", escaped(text)),
        Run::Lowered(text) => format!("<sub>{}</sub>", escaped(text)),
        Run::Raised(text) => format!("<sup>{}</sup>", escaped(text)),
        Run::Break => " ".to_owned(),
    };
    words.iter().map(run).collect()
}

/// Text that Markdown and the notebook take for nothing else.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | '`' | '*' | '_' | '{' | '}' | '[' | ']' | '<' | '>' | '|' | '~' | '$' | '&' | '#'
            | '^' => {
                escaped.push('\\');
                escaped.push(c);
            }
            c if crate::finding::is_hidden(c) => escaped.push(' '),
            c => escaped.push(c),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::Memory;

    fn report(text: &str) -> String {
        let own = without_computed(text.as_bytes()).unwrap();
        let computed = crate::compute("notebook.md", &own, &Memory::default());
        let made = markdown(&own, &computed.notebook, &computed.results, &Memory::default(), None);
        String::from_utf8(made.bytes).unwrap()
    }

    #[test]
    fn blanks_at_the_end_of_a_line_and_of_the_text_stay_where_they_are() {
        let block = "```masses\ncup: 20.1234\ncup + salt: 21.1234\n```";
        for text in [
            format!("{block}  \n\nMore words."),
            format!("{block}  "),
            format!("# A\n\n{block}\n\nEnd.  "),
            format!("{block}\r"),
            "```experiment\ntitle = \"A\"\ndate ".to_owned(),
        ] {
            let written = report(&text);
            assert!(written.contains(CLOSE) || text.ends_with("date "), "{written}");
            assert_eq!(without_computed(written.as_bytes()), Ok(text.into_bytes()));
        }
    }

    const NOTEBOOK: &str = "# Loss\n\n```masses\nunit: g\ntrial: A B\ncup: 20.1234 21.1234\n\
        cup + sample: 21.1234 22.2234\ncup + residue: 20.9234 22.0034\n```\ntext directly below\n\n\
        ```working\nm(lost) = m(sample) - m(residue)\n```\n\nIt lost {mean m(lost)}.\n";

    /// A notebook in several spellings of its bytes.
    fn spellings() -> [String; 5] {
        [
            NOTEBOOK.to_owned(),
            NOTEBOOK.trim_end().to_owned(),
            NOTEBOOK.replace('\n', "\r\n"),
            format!("\u{feff}{NOTEBOOK}\n\n \n"),
            format!("- a list\n\n  {}\n\n- more\n", NOTEBOOK.replace('\n', "\n  ")),
        ]
    }

    #[test]
    fn a_report_of_a_report_is_the_same_and_the_author_s_bytes_come_back() {
        for notebook in spellings() {
            let once = report(&notebook);
            assert!(once.contains("Readings as written") && once.contains("Values in the text"), "{once}");
            assert_eq!(report(&once), once);
            assert_eq!(without_computed(once.as_bytes()).unwrap(), notebook.as_bytes());
        }
    }

    #[test]
    fn an_empty_notebook_comes_back_too() {
        for notebook in ["", "\n", "\u{feff}", "  \n\n"] {
            let once = report(notebook);
            assert_eq!(report(&once), once);
            assert_eq!(without_computed(once.as_bytes()).unwrap(), notebook.as_bytes(), "{once:?}");
        }
    }

    #[test]
    fn a_block_that_is_not_closed_gets_nothing_put_in() {
        let notebook = "# A\n\n```masses\nunit: g\ncup: 20.1234\n";
        let own = notebook.as_bytes();
        let computed = crate::compute("notebook.md", own, &Memory::default());
        let made = markdown(own, &computed.notebook, &computed.results, &Memory::default(), None);
        assert_eq!(made.bytes, own);
        assert!(made.findings.iter().any(|finding| finding.message.contains("not closed")));
    }

    #[test]
    fn what_begins_and_does_not_end_is_refused() {
        assert!(without_computed(format!("a\n\n{OPEN}\n\nb\n").as_bytes()).is_err());
        assert!(without_computed(b"\xff").is_err());
    }

    #[test]
    fn nothing_computed_can_close_its_own_section() {
        assert_eq!(escaped("<!-- end -->"), "\\<!-- end --\\>");
        assert_eq!(escaped("{mean x}|\n"), "\\{mean x\\}\\| ");
    }
}
