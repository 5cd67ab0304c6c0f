//! One file in `tests/notebook_cases/` is one test of the reader: a notebook with everything the reader has to
//! say about it, written in place. A finding that is missing fails, an unexpected one fails too.
//!
//! ```text
//! //! what the case shows                          first lines
//! //% crlf | bom | bad-byte | file NAME            how the bytes differ from the text; a file beside it
//! //| a line of that file
//! …the notebook…
//! //@ error bad-reading 27 «18.27x»: message       about the line above: column and text of the place
//! //& 3 4 «A»: a further place, by line and column
//! //+ a hint
//! //@ note missing-date -: message                 at the end: a finding without a place
//! //@ error bad-csv weighings.csv 3 1 «A,x»: …     at the end: one about another file, by line and column
//! //= what was read, one line each                 at the end; compared only where some are given
//! ```
//!
//! `«a … b»` stands for a place of several lines, its first and last. With `bad-byte`, `⟦FF⟧` in the text is
//! one byte that is no UTF-8. `REWEIGH_UPDATE=1 cargo test --test all notebook_cases::` writes the findings (and
//! the reading where there is one) anew; what it changed is then read like any other change.

use reweigh::files::Memory;
use reweigh::finding::Finding;
use reweigh::notebook::blocks::*;
use reweigh::notebook::expression::*;
use reweigh::notebook::settings::*;
use reweigh::notebook::{self, Item, Notebook};
use reweigh::span::{Lines, Span};
use std::fmt::Write;
use std::path::{Path, PathBuf};

#[test]
fn every_case_reads_as_written() {
    let update = std::env::var_os("REWEIGH_UPDATE").is_some();
    let mut wrong = String::new();
    let cases = cases();
    assert!(cases.len() >= 40, "only {} cases", cases.len());
    for path in cases {
        let text = std::fs::read_to_string(&path).unwrap();
        let case = Case::parse(&text);
        let found = case.annotated();
        if found == text {
            continue;
        }
        if update {
            std::fs::write(&path, found).unwrap();
        } else {
            write!(wrong, "\n{}:\n{}", path.display(), difference(&text, &found)).unwrap();
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

fn cases() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/notebook_cases");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|extension| extension == "case"));
    paths.sort();
    paths
}

/// Lines of one text that the other has not, in both directions.
fn difference(expected: &str, found: &str) -> String {
    let mut text = String::new();
    for (one, other, mark) in [(expected, found, "missing"), (found, expected, "unexpected")] {
        let mut rest: Vec<&str> = other.lines().collect();
        for line in one.lines() {
            match rest.iter().position(|candidate| *candidate == line) {
                Some(at) => drop(rest.remove(at)),
                None => writeln!(text, "  {mark}: {line}").unwrap(),
            }
        }
    }
    if text.is_empty() { "  the same lines in another order\n".to_owned() } else { text }
}

/// A case file taken apart.
#[derive(Default)]
struct Case {
    /// Header and files, as they stand.
    head: Vec<String>,
    /// The lines of the notebook.
    notebook: Vec<String>,
    files: Memory,
    crlf: bool,
    bom: bool,
    bad_byte: bool,
    /// Whether what was read is compared.
    reading: bool,
    /// Whether the notebook's text ends with a line end.
    empty: bool,
}

impl Case {
    fn parse(text: &str) -> Self {
        let mut case = Case::default();
        let mut file = String::new();
        for line in text.lines() {
            match line.get(..3) {
                Some("//!") => case.head.push(line.to_owned()),
                Some("//%") => {
                    case.head.push(line.to_owned());
                    case.directive(line[3..].trim(), &mut file);
                }
                Some("//|") => {
                    case.head.push(line.to_owned());
                    let content = line[3..].strip_prefix(' ').unwrap_or("").replace("⟦CR⟧", "\r");
                    case.files.0.entry(file.clone()).or_default().extend(format!("{content}\n").bytes());
                }
                Some("//@" | "//&" | "//+") => {}
                Some("//=") => case.reading = true,
                _ => case.notebook.push(line.to_owned()),
            }
        }
        case
    }

    fn directive(&mut self, text: &str, file: &mut String) {
        match text.split_once(' ') {
            Some(("file", name)) => *file = name.to_owned(),
            _ => match text {
                "crlf" => self.crlf = true,
                "bom" => self.bom = true,
                "bad-byte" => self.bad_byte = true,
                "empty" => self.empty = true,
                _ => panic!("unknown directive {text}"),
            },
        }
    }

    fn bytes(&self) -> Vec<u8> {
        let end = if self.crlf { "\r\n" } else { "\n" };
        let mut text: String = self.notebook.iter().map(|line| format!("{line}{end}")).collect();
        if self.empty {
            text.clear();
        }
        let mut bytes = if self.bom { b"\xEF\xBB\xBF".to_vec() } else { Vec::new() };
        for (index, part) in text.split("⟦FF⟧").enumerate() {
            if index > 0 {
                assert!(self.bad_byte);
                bytes.push(0xFF);
            }
            bytes.extend(part.bytes());
        }
        bytes
    }

    /// The case as it should be written, from what the reader says.
    fn annotated(&self) -> String {
        let notebook = notebook::read("case.md", &self.bytes(), &self.files);
        check_places(&notebook);
        let lines = Lines::of(&notebook.text);
        let line_of = |finding: &Finding| match (finding.span, &finding.file) {
            (Some(span), None) => lines.place(&notebook.text, span.start).0,
            _ => usize::MAX,
        };
        let mut text = self.head.iter().map(|line| format!("{line}\n")).collect::<String>();
        for (index, line) in self.notebook.iter().enumerate() {
            writeln!(text, "{line}").unwrap();
            for finding in notebook.findings.iter().filter(|finding| line_of(finding) == index + 1) {
                text.push_str(&annotation(finding, &notebook, self));
            }
        }
        for finding in notebook.findings.iter().filter(|finding| line_of(finding) > self.notebook.len()) {
            text.push_str(&annotation(finding, &notebook, self));
        }
        if self.reading {
            reading(&notebook).lines().for_each(|line| writeln!(text, "//= {line}").unwrap());
        }
        text
    }
}

/// A finding with its hints and further places.
fn annotation(finding: &Finding, notebook: &Notebook, case: &Case) -> String {
    let place = match (finding.span, &finding.file) {
        (None, _) => "-".to_owned(),
        (Some(span), None) => {
            let (_, column) = Lines::of(&notebook.text).place(&notebook.text, span.start);
            format!("{column} «{}»", excerpt(span, &notebook.text))
        }
        (Some(span), Some(file)) => {
            let bytes = &case.files.0[file];
            let content = String::from_utf8_lossy(bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes));
            let (line, column) = Lines::of(&content).place(&content, span.start);
            format!("{file} {line} {column} «{}»", excerpt(span, &content))
        }
    };
    let mut text =
        format!("//@ {} {} {place}: {}\n", finding.severity.word(), finding.code.text(), finding.message);
    for (span, label) in &finding.labels {
        let (line, column) = Lines::of(&notebook.text).place(&notebook.text, span.start);
        writeln!(text, "//& {line} {column} «{}»: {label}", excerpt(*span, &notebook.text)).unwrap();
    }
    finding.hints.iter().for_each(|hint| writeln!(text, "//+ {hint}").unwrap());
    text
}

fn excerpt(span: Span, source: &str) -> String {
    let text = span.text(source);
    match (text.lines().next(), text.lines().last()) {
        (Some(first), Some(last)) if text.lines().count() > 1 => format!("{first} … {last}"),
        (Some(only), _) => only.to_owned(),
        _ => String::new(),
    }
}

/// Every range fits the text and stands between characters.
fn check_places(notebook: &Notebook) {
    let fits = |span: Span| notebook.text.get(span.start..span.end).is_some();
    for finding in notebook.findings.iter().filter(|finding| finding.file.is_none()) {
        assert!(finding.span.is_none_or(fits), "{finding:?}");
        assert!(finding.labels.iter().all(|(span, _)| fits(*span)), "{finding:?}");
    }
}

/// What was read, in a form of the tests' own.
fn reading(notebook: &Notebook) -> String {
    let mut text = settings(&notebook.settings);
    for item in &notebook.items {
        match item {
            Item::Block(index) => text.push_str(&block(&notebook.blocks[*index])),
            Item::Inline(index) => writeln!(text, "inline {}", inline(&notebook.inline[*index])).unwrap(),
            Item::Event(..) => {}
        }
    }
    for check in &notebook.checks {
        let mark = if check.ticked { "ticked" } else { "not ticked" };
        writeln!(text, "check {mark}: {}", check.text).unwrap();
    }
    for image in &notebook.images {
        writeln!(text, "image {}: {}", image.destination, image.alternative).unwrap();
    }
    text
}

fn settings(settings: &Settings) -> String {
    let mut text = String::new();
    let mut line = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            writeln!(text, "{name} {value}").unwrap();
        }
    };
    line("title", settings.title.as_ref().map(|title| title.value.clone()));
    line("authors", Some(settings.authors.join(", ")).filter(|authors| !authors.is_empty()));
    line("date", settings.date.as_ref().map(|date| date.value.to_string()));
    line("template", settings.template.as_ref().map(|template| template.value.clone()));
    line("unknown", settings.unknown.clone());
    line("digits", (settings.digits != DigitsPolicy::default()).then(|| format!("{:?}", settings.digits)));
    line("rounding", (settings.rounding != Default::default()).then(|| format!("{:?}", settings.rounding)));
    line("decimal", (settings.decimal != DecimalMark::default()).then(|| "comma".to_owned()));
    line("seed", settings.seed.map(|seed| seed.to_string()));
    if let Some(rule) = &settings.constant_mass {
        line(
            "constant-mass",
            Some(format!("{} strict={} {}", rule.value.text, rule.value.strict, limit(&rule.value.limit))),
        );
    }
    for limit in &settings.repeatability {
        let relative = if limit.relative { " relative" } else { "" };
        line(
            "repeatability",
            Some(format!("{} {}{relative}", limit.symbol.value, amount(&limit.limit, &limit.unit))),
        );
    }
    for balance in &settings.balances {
        line("balance", Some(balance_line(balance)));
    }
    line("atomic weights", settings.atomic_weight_table.as_ref().map(|table| table.value.clone()));
    for (symbol, weight) in settings.atomic_weights.iter().chain(&settings.molar_masses) {
        line("weight", Some(format!("{} {weight}", symbol.value)));
    }
    for entry in &settings.record {
        line("record", Some(format!("{}: {}", entry.heading, entry.lines.join(" | "))));
    }
    text
}

fn balance_line(balance: &Balance) -> String {
    let grams = reweigh::quantity::Unit::gram();
    let mut text = balance.name.value.clone();
    for (name, quantity) in
        [("d", &balance.readability), ("s", &balance.repeatability), ("linearity", &balance.linearity)]
    {
        if let Some(quantity) = quantity {
            write!(text, " {name} {}", amount(quantity, &grams)).unwrap();
        }
    }
    balance.facts.iter().for_each(|(name, fact)| write!(text, " {name} {fact}").unwrap());
    text
}

/// A quantity as a fraction of its unit.
fn amount(quantity: &reweigh::quantity::Quantity, unit: &reweigh::quantity::Unit) -> String {
    let value = quantity.number.div(unit.factor()).unwrap();
    format!("{} {unit}", value.to_f64())
}

fn limit(limit: &MassLimit) -> String {
    let one = reweigh::quantity::Unit::one();
    match limit {
        MassLimit::Absolute(quantity, unit) => format!("absolute {}", amount(quantity, unit)),
        MassLimit::PerSample(quantity, unit) => format!("per sample {}", amount(quantity, unit)),
        MassLimit::Relative { fraction, gross } => {
            format!("relative {} gross={gross}", amount(fraction, &one))
        }
        MassLimit::ScaleIntervals(count) => format!("scale intervals {count}"),
        MassLimit::Smaller(a, b) => format!("smaller({}; {})", self::limit(a), self::limit(b)),
        MassLimit::Larger(a, b) => format!("larger({}; {})", self::limit(a), self::limit(b)),
        MassLimit::FixedTime => "fixed time".to_owned(),
    }
}

fn block(block: &Block) -> String {
    match &block.kind {
        BlockKind::Experiment => "experiment\n".to_owned(),
        BlockKind::Cautions => "cautions\n".to_owned(),
        BlockKind::Masses(masses) => {
            format!("masses{}\n{}", masses_head(masses), masses.rows.iter().map(row).collect::<String>())
        }
        BlockKind::Measured(measured) => {
            let struck =
                measured.struck.iter().map(|line| format!("  struck {}\n", line.value)).collect::<String>();
            format!(
                "measured{}\n{}{struck}",
                columns(&measured.columns, &measured.unit),
                quantities(&measured.rows)
            )
        }
        BlockKind::Claimed(claimed) => {
            format!("claimed{}\n{}", columns(&claimed.columns, &claimed.unit), quantities(&claimed.rows))
        }
        BlockKind::Working(lines) => format!("working\n{}", lines.iter().map(definition).collect::<String>()),
        BlockKind::Theory(lines) => format!("theory\n{}", lines.iter().map(definition).collect::<String>()),
        BlockKind::Table(tables) => {
            format!("table {:?}\n", tables.iter().map(|table| &table.value).collect::<Vec<_>>())
        }
        BlockKind::Plot(plots) => {
            format!("plot {:?}\n", plots.iter().map(|plot| &plot.value).collect::<Vec<_>>())
        }
        BlockKind::Reaction(lines) => {
            format!("reaction {:?}\n", lines.iter().map(|line| &line.value).collect::<Vec<_>>())
        }
        BlockKind::Mixture(lines) => {
            let totals: Vec<Vec<&String>> = lines
                .totals
                .iter()
                .map(|total| total.parts.iter().map(|part| &part.value).collect())
                .collect();
            let equations: Vec<&String> = lines.changes.iter().map(|line| &line.written.value).collect();
            format!("mixture {totals:?} {equations:?}\n")
        }
    }
}

fn masses_head(masses: &Masses) -> String {
    let mut text = columns(&masses.columns, &masses.unit);
    masses.balances.iter().for_each(|balance| write!(text, " balance {}", balance.value).unwrap());
    masses.from.iter().for_each(|from| write!(text, " from {}", from.value).unwrap());
    text
}

fn columns(columns: &Columns, unit: &Option<reweigh::span::Spanned<reweigh::quantity::Unit>>) -> String {
    let mut text = String::new();
    if let Some(trials) = &columns.trials {
        let names: Vec<_> = trials.iter().map(|trial| trial.value.as_str()).collect();
        write!(text, " trials [{}]", names.join("|")).unwrap();
    }
    unit.iter().for_each(|unit| write!(text, " unit {}", unit.value).unwrap());
    for aside in &columns.set_aside {
        write!(text, " aside {} ({})", aside.trial.value, aside.reason).unwrap();
    }
    text
}

fn row(row: &Row) -> String {
    match row {
        Row::Event(event) => format!("  event {}\n", event.value),
        Row::Load(row) => {
            let mut text = format!("  {}", row.things.join(" & "));
            row.treatment.iter().for_each(|t| write!(text, " <{} {}>", t.name, t.number).unwrap());
            if row.struck {
                text.push_str(" STRUCK");
            }
            write!(text, ":{}", cells(&row.cells)).unwrap();
            row.balance.iter().for_each(|balance| write!(text, " @ {}", balance.value).unwrap());
            row.file.iter().for_each(|(name, line)| write!(text, " from {name}:{line}").unwrap());
            format!("{text}\n")
        }
    }
}

fn quantities(rows: &[QuantityRow]) -> String {
    rows.iter().map(|row| format!("  {}:{}\n", row.symbol.value, cells(&row.cells))).collect()
}

fn cells(cells: &[Cell]) -> String {
    cells.iter().map(|found| format!(" | {}", cell(found))).collect()
}

fn cell(cell: &Cell) -> String {
    let mut text = cell.strikes.iter().map(|strike| format!("~{}~ ", strike.value)).collect::<String>();
    match &cell.value {
        CellValue::Missing => text.push('–'),
        CellValue::Number(number) => write!(text, "{number}").unwrap(),
        CellValue::SameAs(trial) => write!(text, "as {trial}").unwrap(),
        CellValue::Text(word) => write!(text, "\"{word}\"").unwrap(),
        CellValue::Faulty => text.push_str("FAULTY"),
    }
    cell.unit.iter().for_each(|unit| write!(text, " {}", unit.value).unwrap());
    for uncertainty in &cell.uncertainty {
        write!(text, " ± {}", uncertainty.value).unwrap();
        uncertainty.unit.iter().for_each(|unit| write!(text, " {unit}").unwrap());
        match &uncertainty.kind {
            UncertaintyKind::Expanded(factor) => write!(text, " k={factor}").unwrap(),
            kind => write!(text, " {kind:?}").unwrap(),
        }
        uncertainty.degrees_of_freedom.iter().for_each(|dof| write!(text, " dof={dof}").unwrap());
        uncertainty.label.iter().for_each(|label| write!(text, " ({label})").unwrap());
        text.push_str(if uncertainty.shared { " shared" } else { "" });
    }
    cell.remark.iter().for_each(|remark| write!(text, " [{remark}]").unwrap());
    cell.balance.iter().for_each(|balance| write!(text, " @{balance}").unwrap());
    cell.time.iter().for_each(|time| write!(text, " at {time}").unwrap());
    text
}

fn definition(line: &Definition) -> String {
    let formula = line.expression.as_ref().map_or("UNREAD".to_owned(), tree);
    let unit = line.unit.as_ref().map_or(String::new(), |unit| format!(" in {}", unit.value));
    let remark = line.remark.as_ref().map_or(String::new(), |remark| format!(" # {remark}"));
    format!("  {} = {formula}{unit}{remark}\n", line.symbol.value)
}

fn inline(found: &notebook::InlineExpression) -> String {
    let formula = found.expression.as_ref().map_or("UNREAD".to_owned(), tree);
    let unit = found.unit.as_ref().map_or(String::new(), |unit| format!(" in {}", unit.value));
    let claimed =
        found.claimed.as_ref().map_or(String::new(), |claimed| format!(" claimed {}", cell(claimed)));
    format!("{formula}{unit}{claimed}")
}

/// A formula with a bracket for each operation.
fn tree(expression: &Expression) -> String {
    let all = |parts: &[Expression]| parts.iter().map(tree).collect::<Vec<_>>().join(" ");
    match &expression.kind {
        ExpressionKind::Parts(parts) => {
            let each: Vec<String> =
                parts.iter().map(|(part, amount)| format!("{}: {}", part.value, tree(amount))).collect();
            each.join(", ")
        }
        ExpressionKind::Number { value, unit: None } => value.to_string(),
        ExpressionKind::Number { value, unit: Some(unit) } => format!("{value}[{unit}]"),
        ExpressionKind::Quantity { symbol, trial: None } => symbol.to_string(),
        ExpressionKind::Quantity { symbol, trial: Some(trial) } => format!("{symbol}[{}]", trial.value),
        ExpressionKind::MolarMass(text) => format!("M<{}>", text.value),
        ExpressionKind::Coefficient(text) => format!("ν<{}>", text.value),
        ExpressionKind::Factor(text) => format!("factor<{}>", text.value),
        ExpressionKind::Constant(constant) => format!("{constant:?}"),
        ExpressionKind::Negate(inside) => format!("(- {})", tree(inside)),
        ExpressionKind::Binary(operator, one, other) => {
            format!("({} {} {})", sign(*operator), tree(one), tree(other))
        }
        ExpressionKind::Call(function, arguments) => format!("({function:?} {})", all(arguments)),
        ExpressionKind::Word(word, inside) => format!("({word:?} {})", tree(inside)),
        ExpressionKind::Blank(inside) => format!("(blank {})", tree(inside)),
        ExpressionKind::Bracket(inside) => format!("[{}]", tree(inside)),
    }
}

fn sign(operator: BinaryOperator) -> &'static str {
    match operator {
        BinaryOperator::Add => "+",
        BinaryOperator::Subtract => "-",
        BinaryOperator::Multiply => "*",
        BinaryOperator::Juxtapose => "of",
        BinaryOperator::Divide => "/",
        BinaryOperator::Power => "^",
    }
}
