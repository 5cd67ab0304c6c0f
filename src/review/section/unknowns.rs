//! Reference values of issued unknowns: `unknowns.csv`, read line by line.
//!
//! ```text
//! unknown,of,value,unit,u,released
//! U-07,w(Cl),47.21,%,0.04,2026-03-20
//! ```
//!
//! RFC 4180, UTF-8; `;` separates where the decimal mark is a comma. `of` may be left out where the template's marks ask
//! for the accuracy of one result. `u` is the standard uncertainty in the unit of the value. `released` is `yes`, `no` or
//! the day from which the value may be used; there is no clock here, so the day it is now has to be given.

use crate::evaluation::symbol_of;
use crate::finding::{Code, Finding, nearest};
use crate::notebook::settings::Date;
use crate::quantity::{Decimal, Quantity, Unit};
use std::collections::BTreeMap;

/// Most lines that are read.
const MOST_LINES: usize = 100_000;
/// The columns there are.
const COLUMNS: [&str; 6] = ["unknown", "of", "value", "unit", "u", "released"];

/// The assigned value of one unknown for one result.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    /// The result it is of (`w(Cl)`), blanks folded.
    pub of: String,
    /// The value.
    pub quantity: Quantity,
    /// The number as written (decimal point).
    pub written: String,
    /// Its unit.
    pub unit: Unit,
    /// The standard uncertainty as written, in the same unit.
    pub u: Option<String>,
    /// Whether it may be used.
    pub released: bool,
    /// The line it stands on, from 1.
    pub line: usize,
}

/// Every unknown with its values.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Unknowns {
    values: BTreeMap<String, Vec<Reference>>,
    /// Unknowns whose lines cannot be used, with the line.
    refused: BTreeMap<String, usize>,
}

/// What the list says of an unknown and a result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Known<'a> {
    /// A value that may be used.
    Released(&'a Reference),
    /// A value that may not be used yet.
    NotYet,
    /// The line of this unknown cannot be used.
    Refused(usize),
    /// The list has no such unknown, or not for this result.
    Missing,
}

impl Unknowns {
    /// What the list says of an unknown (case and blanks make no difference) and a result by one of its names.
    pub fn of(&self, unknown: &str, names: &[String]) -> Known<'_> {
        let key = key(unknown);
        let values = self.values.get(&key).map_or(&[][..], Vec::as_slice);
        match values.iter().find(|reference| names.contains(&reference.of)) {
            Some(reference) if reference.released => Known::Released(reference),
            Some(_) => Known::NotYet,
            None => self.refused.get(&key).map_or(Known::Missing, |line| Known::Refused(*line)),
        }
    }

    /// The results that have a value of some unknown, in alphabetical order.
    pub fn results(&self) -> Vec<String> {
        let mut all: Vec<String> = self.values.values().flatten().map(|found| found.of.clone()).collect();
        all.sort();
        all.dedup();
        all
    }

    /// How many unknowns there are, and of how many values may be used.
    pub fn counts(&self) -> (usize, usize) {
        let released = |values: &&Vec<Reference>| values.iter().any(|value| value.released);
        (self.values.len(), self.values.values().filter(released).count())
    }
}

/// An unknown's number as it is compared.
pub fn key(unknown: &str) -> String {
    unknown.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// Reads a list. `of` is the result meant where no column says it, `today` the day it is taken to be. Findings are about
/// the file `name`, at their lines; a line that cannot be used is left out.
pub fn read(name: &str, text: &str, of: Option<&str>, today: Option<Date>) -> (Unknowns, Vec<Finding>) {
    let mut reading =
        Reading { name, of, today, comma: false, unknowns: Unknowns::default(), findings: Vec::new() };
    reading.all(text.trim_start_matches('\u{feff}'));
    (reading.unknowns, reading.findings)
}

struct Reading<'a> {
    name: &'a str,
    of: Option<&'a str>,
    today: Option<Date>,
    comma: bool,
    unknowns: Unknowns,
    findings: Vec<Finding>,
}

/// A row by its columns.
struct Row<'a> {
    line: usize,
    cells: BTreeMap<&'static str, &'a str>,
}

impl Row<'_> {
    fn get(&self, column: &str) -> &str {
        self.cells.get(column).copied().unwrap_or("")
    }
}

impl Reading<'_> {
    fn say(&mut self, line: usize, message: String, hint: &str) {
        let mut finding = Finding::error(Code::BadCsv, None, message).in_file(self.name);
        finding.place = Some((line, 1));
        self.findings.push(if hint.is_empty() { finding } else { finding.hint(hint) });
    }

    fn all(&mut self, text: &str) {
        let first = text.lines().next().unwrap_or("");
        self.comma = first.contains(';') && !first.contains(',');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(if self.comma { b';' } else { b',' })
            .trim(csv::Trim::All)
            .flexible(true)
            .from_reader(text.as_bytes());
        let heads = match reader.headers() {
            Ok(heads) => heads.clone(),
            Err(error) => return self.say(1, format!("the first line cannot be read: {error}"), ""),
        };
        let Some(columns) = self.columns(&heads) else { return };
        for record in reader.records().take(MOST_LINES) {
            match record {
                Ok(record) => self.record(&record, &columns, heads.len()),
                Err(error) => {
                    let line = error.position().map_or(1, |position| position.line() as usize);
                    self.say(line, format!("the line cannot be read: {error}"), "");
                }
            }
        }
        if self.unknowns.values.is_empty() && self.findings.is_empty() {
            self.say(1, "the list holds no unknown".to_string(), "one unknown a line below the head");
        }
    }

    /// The columns of the head in their order; `None` where one that is needed is missing.
    fn columns(&mut self, heads: &csv::StringRecord) -> Option<Vec<Option<&'static str>>> {
        let find = |head: &str| COLUMNS.into_iter().find(|column| *column == head.to_lowercase());
        let columns: Vec<Option<&'static str>> = heads.iter().map(find).collect();
        for (head, column) in heads.iter().zip(&columns) {
            if column.is_none() && !head.is_empty() {
                let message = format!("the column `{head}` is not known, and is left out");
                let mut finding = Finding::warning(Code::BadCsv, None, message).in_file(self.name);
                finding.place = Some((1, 1));
                let meant = nearest(head, COLUMNS);
                self.findings.push(match meant {
                    Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
                    None => finding.hint(format!("known are `{}`", COLUMNS.join("`, `"))),
                });
            }
        }
        for needed in ["unknown", "value", "unit"] {
            if !columns.contains(&Some(needed)) {
                let found: Vec<&str> = heads.iter().collect();
                let message =
                    format!("the first line has no column `{needed}`; found `{}`", found.join("`, `"));
                self.say(1, message, "begin with `unknown,of,value,unit,u,released`");
                return None;
            }
        }
        Some(columns)
    }

    fn record(&mut self, record: &csv::StringRecord, columns: &[Option<&'static str>], heads: usize) {
        let line = record.position().map_or(1, |position| position.line() as usize);
        if record.iter().all(str::is_empty) {
            return;
        }
        let cells = columns.iter().zip(record).filter_map(|(column, cell)| Some(((*column)?, cell)));
        let row = Row { line, cells: cells.collect() };
        let unknown = row.get("unknown").to_string();
        if unknown.is_empty() {
            return self.say(line, "the line names no unknown".to_string(), "");
        }
        let read = match record.len() {
            cells if cells == heads => self.reference(&row),
            cells => Err((
                format!("the line has {cells} cells, and the head {heads}"),
                "a cell that holds the separator stands in quotation marks".to_string(),
            )),
        };
        match read {
            Ok(reference) => self.take(&unknown, reference),
            Err((message, hint)) => {
                self.unknowns.refused.insert(key(&unknown), line);
                self.say(line, format!("{unknown}: {message}"), &hint);
            }
        }
    }

    /// Adds a value; a second one of the same unknown and result takes both away, for no one can tell which is meant.
    fn take(&mut self, unknown: &str, reference: Reference) {
        let values = self.unknowns.values.entry(key(unknown)).or_default();
        let Some(at) = values.iter().position(|value| value.of == reference.of) else {
            if !self.unknowns.refused.contains_key(&key(unknown)) {
                values.push(reference);
            }
            return;
        };
        let other = values.remove(at).line;
        let line = reference.line;
        self.unknowns.refused.insert(key(unknown), line);
        let message =
            format!("lines {other} and {line} both give {} of {unknown}; neither is used", reference.of);
        self.say(line, message, "leave one of them");
    }

    fn reference(&mut self, row: &Row) -> Result<Reference, (String, String)> {
        let said = |message: String, hint: &str| (message, hint.to_string());
        let of = match (row.get("of"), self.of) {
            ("", Some(of)) => of,
            ("", None) => {
                let hint = "add a column `of`, such as `w(Cl)`";
                return Err(said("it is not said which result the value is of".into(), hint));
            }
            (of, _) => of,
        };
        let unit = match row.get("unit") {
            "" | "1" => Unit::one(),
            text => Unit::parse(text).map_err(|error| said(format!("the unit `{text}`: {error}"), ""))?,
        };
        let value = self.number(row.get("value"), "value")?;
        let quantity = Quantity::from_decimal(&value, &unit, true)
            .map_err(|error| said(format!("the value cannot be used: {error}"), ""))?;
        let u = match row.get("u") {
            "" => None,
            text => Some(self.number(text, "standard uncertainty `u`")?),
        };
        if u.as_ref().is_some_and(|u| u.to_number().is_negative()) {
            return Err(said("its `u` is below zero".into(), "give the standard uncertainty"));
        }
        Ok(Reference {
            of: symbol_of(of).to_string(),
            quantity,
            written: value.to_string(),
            unit,
            u: u.map(|u| u.to_string()),
            released: self.released(row)?,
            line: row.line,
        })
    }

    fn number(&self, text: &str, what: &str) -> Result<Decimal, (String, String)> {
        Decimal::parse(text, self.comma).map_err(|error| {
            let mark = if self.comma { "a decimal comma" } else { "a decimal point" };
            let message = match text {
                "" => format!("it has no {what}"),
                _ => format!("the {what} `{text}` is no number: {error}"),
            };
            let hint = format!("a list separated by `{}` takes {mark}", if self.comma { ';' } else { ',' });
            (message, hint)
        })
    }

    fn released(&mut self, row: &Row) -> Result<bool, (String, String)> {
        let text = row.get("released").to_lowercase();
        match text.as_str() {
            "yes" | "true" => return Ok(true),
            "no" | "false" | "" => return Ok(false),
            _ => {}
        }
        let Some(day) = date(&text) else {
            let hint = "write `yes`, `no` or a day such as `2026-03-20`";
            return Err((format!("`released` is `{text}`"), hint.to_string()));
        };
        if self.today.is_none() {
            let message = format!("the value is released on {day}, and the day it is now was not given");
            let mut finding = Finding::warning(Code::BadCsv, None, message).in_file(self.name);
            finding.place = Some((row.line, 1));
            let hint = format!("give it with `--on {day}`; without it the value counts as not yet released");
            self.findings.push(finding.hint(hint));
        }
        Ok(self.today.is_some_and(|today| today >= day))
    }
}

/// A day written as ISO 8601 has it.
pub fn date(text: &str) -> Option<Date> {
    let written: toml::value::Datetime = text.parse().ok()?;
    let date = written.date.filter(|_| written.time.is_none())?;
    Some(Date { year: date.year, month: date.month, day: date.day })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(findings: &[Finding]) -> Vec<String> {
        let one = |f: &Finding| format!("{}: {}", f.elsewhere().unwrap_or_default(), f.message);
        findings.iter().map(one).collect()
    }

    #[test]
    fn values_are_found_by_unknown_and_result() {
        let text = "unknown,of,value,unit,u,released\nU-07, w(Cl) ,47.21,%,0.04,yes\nU-08,w(Cl),48.3,%,,no\n";
        let (unknowns, findings) = read("unknowns.csv", text, None, None);
        assert!(findings.is_empty(), "{findings:?}");
        let names = vec!["w(Cl)".to_string()];
        let Known::Released(reference) = unknowns.of("u-07", &names) else { panic!() };
        assert_eq!((reference.written.as_str(), reference.u.as_deref()), ("47.21", Some("0.04")));
        assert_eq!(unknowns.of("U-08", &names), Known::NotYet);
        assert_eq!(unknowns.of("U-09", &names), Known::Missing);
        assert_eq!(unknowns.of("U-07", &["w(Br)".to_string()]), Known::Missing);
        assert_eq!(unknowns.counts(), (2, 1));
    }

    #[test]
    fn a_day_is_compared_with_the_day_given() {
        let text = "unknown;value;unit;released\nU-1;47,21;%;2026-03-20\n";
        let of = |day: &str| read("u.csv", text, Some("w(Cl)"), date(day)).0;
        let names = vec!["w(Cl)".to_string()];
        assert_eq!(of("2026-03-19").of("U-1", &names), Known::NotYet);
        assert!(matches!(of("2026-03-20").of("U-1", &names), Known::Released(_)));
        let (unknowns, findings) = read("u.csv", text, Some("w(Cl)"), None);
        assert_eq!(unknowns.of("U-1", &names), Known::NotYet);
        assert!(said(&findings)[0].starts_with("u.csv:2:1: the value is released on 2026-03-20"));
    }

    #[test]
    fn what_cannot_be_used_is_said_at_its_line_and_left_out() {
        let text = concat!(
            "unknown,of,value,unit,released\n",
            "U-1,w(Cl),47,2,%,yes\n",
            "U-2,w(Cl),47.x,%,yes\n",
            "U-3,w(Cl),47.2,furlongs,yes\n",
            "U-4,w(Cl),47.2,%,soon\n",
            "U-5,w(Cl),47.2,%,yes\n",
            "U-5,w(Cl),47.3,%,yes\n",
            ",w(Cl),47.3,%,yes\n",
            "U-6,w(Cl),47.3,%,yes\n",
        );
        let (unknowns, findings) = read("u.csv", text, None, None);
        let said = said(&findings);
        assert_eq!(said.len(), 6, "{said:?}");
        for (line, said) in [2, 3, 4, 5, 7, 8].into_iter().zip(&said) {
            assert!(said.starts_with(&format!("u.csv:{line}:")), "{said}");
        }
        let names = vec!["w(Cl)".to_string()];
        assert_eq!(unknowns.of("U-5", &names), Known::Refused(7));
        assert!(matches!(unknowns.of("U-6", &names), Known::Released(_)));
    }

    #[test]
    fn a_list_without_its_columns_says_what_it_needs() {
        let (_, findings) = read("u.csv", "unknown,valu,unit\nU-1,1,%\n", Some("x"), None);
        let said = said(&findings);
        assert!(said[0].contains("`valu` is not known") && said[1].contains("no column `value`"), "{said:?}");
        assert!(!read("u.csv", "", None, None).1.is_empty());
        assert!(!read("u.csv", "unknown,value,unit\n", None, None).1.is_empty());
    }
}
