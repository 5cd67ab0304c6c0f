//! What a template gives marks for: `marking/marks.toml`, item by item.
//!
//! A claimed value has marks by its verdict, a heading by hand, and a result by how near it is to its reference value
//! or to its theory, by how well its trials agree, or by how complete the record is. Points are exact fractions.

use super::model::Template;
use super::reader::malformed;
use super::toml_reader::Section;
use crate::evaluation::symbol_of;
use crate::finding::{Code, Finding};
use crate::quantity::{Decimal, Number, Unit};
use std::collections::BTreeSet;
use toml::de::DeTable;

/// The file, below `marking/`.
pub const MARKS: &str = "marks.toml";

/// Every item that has marks, in the order written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Marks {
    /// The items.
    pub items: Vec<MarkItem>,
}

impl Marks {
    /// The most that can be reached.
    pub fn points(&self) -> Number {
        let add = |sum: Number, item: &MarkItem| sum.add(&item.points).unwrap_or(sum);
        self.items.iter().fold(Number::zero(), add)
    }

    /// The item of a name.
    pub fn item(&self, name: &str) -> Option<&MarkItem> {
        self.items.iter().find(|item| item.name == name)
    }
}

/// One item.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkItem {
    /// How it is called: the claim, the heading, or what is judged of which result.
    pub name: String,
    /// What decides about it.
    pub kind: MarkKind,
    /// The most it gives.
    pub points: Number,
}

impl MarkItem {
    /// The result or claim it is about; `None` for what is marked by hand or as a whole.
    pub fn of(&self) -> Option<&str> {
        match &self.kind {
            MarkKind::Claim { of, .. } | MarkKind::Accuracy { of, .. } | MarkKind::Agreement { of, .. } => {
                Some(of)
            }
            MarkKind::ByHand | MarkKind::Complete { .. } => None,
        }
    }
}

/// What decides about the marks of an item.
#[derive(Clone, Debug, PartialEq)]
pub enum MarkKind {
    /// The verdicts on a claimed value; so many of the points are for digits that fit.
    Claim {
        /// What is claimed, as a notebook writes it (`w(water)`, `mean w(water)`).
        of: String,
        /// Points for fitting digits, within those of the item.
        digits: Number,
    },
    /// A person.
    ByHand,
    /// The size of the percent error of a result.
    Accuracy {
        /// The result.
        of: String,
        /// What it is held against.
        against: Against,
        /// From near to far.
        steps: Vec<MarkStep>,
    },
    /// The range of the trials over the size of their mean.
    Agreement {
        /// The result.
        of: String,
        /// From near to far.
        steps: Vec<MarkStep>,
    },
    /// How much of what the template requires is there: each thing missing costs so much.
    Complete {
        /// Points for each thing missing.
        each: Number,
    },
}

/// What a result is held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Against {
    /// The reference value of the unknown that was issued.
    #[default]
    Reference,
    /// The theory of the method.
    Theory,
}

/// One step: so many points within so much.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkStep {
    /// The limit as a fraction.
    pub within: Number,
    /// As written (`0.5 %`).
    pub words: String,
    /// The points.
    pub points: Number,
}

/// Reads the marks of a template; what is wrong with them is said at its place. A template without the file has none.
pub fn marks(template: &Template) -> (Marks, Vec<Finding>) {
    let Some(bytes) = template.marking.get(MARKS) else { return (Marks::default(), Vec::new()) };
    let path = template.path(&format!("marking/{MARKS}"));
    let Ok(text) = std::str::from_utf8(bytes) else {
        let finding = Finding::error(Code::InvalidText, None, "bytes that are not UTF-8 text");
        return (Marks::default(), vec![finding.in_file(path)]);
    };
    let (marks, findings) = read(text.trim_start_matches('\u{feff}'));
    (marks, findings.into_iter().map(|finding| finding.in_text(&path, text)).collect())
}

fn read(text: &str) -> (Marks, Vec<Finding>) {
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        return (Marks::default(), errors.iter().map(malformed).collect());
    }
    let mut findings = Vec::new();
    let mut top = Section::new(table.get_ref(), "`marks.toml`", None, &mut findings);
    let mut names = BTreeSet::new();
    let items = top.tables("mark", |section| {
        let item = item(section)?;
        if names.insert(item.name.clone()) {
            return Some(item);
        }
        let message = format!("there are two items called `{}`; the first one counts", item.name);
        section.push(Finding::error(Code::RepeatedSetting, section.place(), message));
        None
    });
    top.end();
    (Marks { items }, findings)
}

/// The keys of which each item has one.
const KINDS: [&str; 5] = ["claim", "heading", "accuracy", "agreement", "complete"];

fn item(section: &mut Section) -> Option<MarkItem> {
    let stated: Vec<&str> = KINDS.into_iter().filter(|key| section.place_of(key).is_some()).collect();
    if stated.len() != 1 {
        section.pass(&KINDS);
        section.pass(&["points", "digits", "against", "steps", "each"]);
        let found = if stated.is_empty() { "none".to_owned() } else { stated.join(", ") };
        let message = format!("a `[[mark]]` has one of {}; found {found}", KINDS.join(", "));
        section.push(Finding::error(Code::BadTemplate, section.place(), message));
        return None;
    }
    match stated[0] {
        "claim" => claim(section),
        "heading" => {
            let name = section.text("heading")?;
            Some(MarkItem { name, kind: MarkKind::ByHand, points: points(section)? })
        }
        "complete" => complete(section),
        key => by_steps(section, key),
    }
}

fn claim(section: &mut Section) -> Option<MarkItem> {
    let of = section.text("claim")?;
    let points = points(section)?;
    let digits = section.number("digits").unwrap_or_else(Number::zero);
    if digits > points {
        let message = "more points for digits than the item has";
        section.push(Finding::error(Code::BadSetting, section.place_of("digits"), message));
        return None;
    }
    Some(MarkItem { name: of.clone(), kind: MarkKind::Claim { of, digits }, points })
}

fn complete(section: &mut Section) -> Option<MarkItem> {
    if !section.flag("complete") {
        return None;
    }
    let points = points(section)?;
    let each = section.number("each").unwrap_or_else(Number::one);
    Some(MarkItem { name: "complete record".to_owned(), kind: MarkKind::Complete { each }, points })
}

fn by_steps(section: &mut Section, key: &'static str) -> Option<MarkItem> {
    let of = symbol_of(&section.text(key)?).to_string();
    let mut steps = section.tables("steps", step);
    if steps.is_empty() {
        section.pass(&["points", "against"]);
        let message = format!("the marks for {key} have no steps");
        let finding = Finding::error(Code::BadTemplate, section.place(), message);
        section.push(finding.hint("write `steps = [{ within = \"0.5 %\", points = 3 }]`"));
        return None;
    }
    steps.sort_by(|a, b| a.within.cmp(&b.within));
    let most = steps.iter().map(|step| step.points.clone()).max()?;
    let points = section.number("points").unwrap_or_else(|| most.clone());
    if most > points {
        let message = "a step gives more points than the item has";
        section.push(Finding::error(Code::BadSetting, section.place_of("points"), message));
        return None;
    }
    let name = format!("{key} of {of}");
    if key == "agreement" {
        return Some(MarkItem { name, kind: MarkKind::Agreement { of, steps }, points });
    }
    let choices = [("reference", Against::Reference), ("theory", Against::Theory)];
    let against = section.choice("against", &choices).unwrap_or_default();
    Some(MarkItem { name, kind: MarkKind::Accuracy { of, against, steps }, points })
}

fn points(section: &mut Section) -> Option<Number> {
    if section.place_of("points").is_none() {
        let finding = Finding::error(Code::BadTemplate, section.place(), "a `[[mark]]` has no `points`");
        section.push(finding.hint("add `points = 2`"));
    }
    section.number("points")
}

fn step(section: &mut Section) -> Option<MarkStep> {
    let words = section.needed("within");
    let points = points(section)?;
    let read = || {
        let digits = words.trim_end().strip_suffix('%')?;
        let number = Decimal::parse(digits, false).ok()?.to_number();
        number.mul(Unit::percent().factor()).ok().filter(|within| !within.is_negative())
    };
    let within = read();
    if within.is_none() && !words.is_empty() {
        let message = format!("`{words}` is no limit; expected per cent, such as `0.5 %`");
        section.push(Finding::error(Code::BadSetting, section.place_of("within"), message));
    }
    Some(MarkStep { within: within?, words, points })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_of_item_is_read() {
        let (marks, findings) = read(concat!(
            "[[mark]]\nclaim = \"w(water)\"\npoints = 3\ndigits = 0.5\n",
            "[[mark]]\nheading = \"Discussion\"\npoints = 2\n",
            "[[mark]]\naccuracy = \"w(water)\"\n",
            "steps = [{ within = \"2 %\", points = 1 }, { within = \"0.5 %\", points = 4 }]\n",
            "[[mark]]\nagreement = \"w(water)\"\nsteps = [{ within = \"1 %\", points = 2 }]\n",
            "[[mark]]\ncomplete = true\npoints = 2\neach = 0.5\n",
        ));
        assert!(findings.is_empty(), "{findings:?}");
        let names: Vec<&str> = marks.items.iter().map(|item| item.name.as_str()).collect();
        let expected =
            ["w(water)", "Discussion", "accuracy of w(water)", "agreement of w(water)", "complete record"];
        assert_eq!(names, expected);
        assert_eq!(marks.points(), Number::from_i64(13), "3 + 2 + 4 + 2 + 2");
        let MarkKind::Accuracy { steps, against, .. } = &marks.items[2].kind else { panic!() };
        assert_eq!(*against, Against::Reference);
        assert_eq!(steps[0].within, Number::from_ratio(5, 1000), "sorted from near to far");
    }

    #[test]
    fn what_is_wrong_is_said_at_its_place() {
        let said = |text: &str| -> Vec<String> {
            read(text).1.into_iter().map(|f| format!("{} {}", f.code.text(), f.message)).collect()
        };
        assert_eq!(said("[[mark]]\npoints = 1\n").len(), 1);
        assert!(said("[[mark]]\nclaim = \"x\"\n")[0].contains("no `points`"));
        assert!(said("[[mark]]\nclaim = \"x\"\npoints = -1\n")[0].contains("not below zero"));
        assert!(said("[[mark]]\nclaim = \"x\"\npoints = 1\ndigits = 2\n")[0].contains("more points"));
        assert!(
            said("[[mark]]\naccuracy = \"x\"\nsteps = [{ within = \"5 mg\", points = 1 }]\n")[0]
                .contains("5 mg")
        );
        assert!(said("[[mark]]\nclaim = \"x\"\npoints = 1\npoint = 2\n")[0].contains("not known"));
        assert!(
            said("[[mark]]\nclaim = \"x\"\npoints = 1\n[[mark]]\nclaim = \"x\"\npoints = 2\n")[0]
                .contains("two items")
        );
        assert!(said("[[mark]\n")[0].starts_with("bad-toml"));
    }
}
