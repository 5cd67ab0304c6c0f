//! The label of a line: the things on the pan, and the treatment before the weighing.
//!
//! ```text
//! label     = thing { " + " thing } [ "," treatment ]
//! treatment = words that end in a whole number
//! ```
//!
//! `+` joins things only with blanks around it, so that names such as `Na+` are possible. The comma of a
//! treatment is the last one outside brackets whose text ends in a whole number.

use super::blocks::Treatment;
use super::passage::{fold_blanks, outside_brackets};
use crate::chemistry::Formula;

/// The things of a label, blanks folded, and its treatment.
pub fn load(label: &str) -> (Vec<String>, Option<Treatment>) {
    let (load, treatment) = match split_treatment(label) {
        Some((load, treatment)) => (load, Some(treatment)),
        None => (label, None),
    };
    (things(load), treatment)
}

/// Splits at the last comma whose text is a treatment.
fn split_treatment(label: &str) -> Option<(&str, Treatment)> {
    if !label.ends_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let at = outside_brackets(label, ',').last()?;
    Some((label.get(..at)?, treatment(label.get(at + 1..)?)?))
}

/// `heating 2`: words, then a whole number.
pub(super) fn treatment(text: &str) -> Option<Treatment> {
    let text = fold_blanks(text);
    let words = text.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = text.get(words.len()..)?.parse().ok()?;
    let name = words.trim_end().to_owned();
    (!name.is_empty()).then_some(Treatment { name, number })
}

/// The things of a load, as in a label or in `m(…)`: joined by ` + `, outside brackets.
pub fn things(load: &str) -> Vec<String> {
    if !load.contains('+') {
        return vec![fold_blanks(load).into_owned()];
    }
    let joins = outside_brackets(load, '+').filter(|at| {
        let blank = |part: Option<&str>, end: bool| {
            part.is_some_and(|text| {
                text.is_empty() || if end { ends_blank(text) } else { starts_blank(text) }
            })
        };
        blank(load.get(..*at), true) && blank(load.get(at + 1..), false)
    });
    let mut things = Vec::new();
    let mut from = 0;
    for at in joins {
        things.push(fold_blanks(load.get(from..at).unwrap_or("")).into_owned());
        from = at + 1;
    }
    things.push(fold_blanks(load.get(from..).unwrap_or("")).into_owned());
    things
}

fn ends_blank(text: &str) -> bool {
    text.ends_with(char::is_whitespace)
}

fn starts_blank(text: &str) -> bool {
    text.starts_with(char::is_whitespace)
}

/// A label without its strikes.
pub(super) fn without_strikes(label: &str) -> String {
    if !label.contains("~~") {
        return fold_blanks(label).into_owned();
    }
    let mut kept = String::new();
    for (index, part) in label.split("~~").enumerate() {
        if index % 2 == 0 {
            kept.push_str(part);
        }
    }
    fold_blanks(&kept).into_owned()
}

/// What two spellings of one thing have in common: blanks folded, and lower case, or for a chemical formula
/// (where `CO` is not `Co`) its own spelling with `·` for `.` or `*` before a hydrate part.
pub fn thing_key(thing: &str) -> String {
    let folded = fold_blanks(thing);
    // Most names start with a small letter, which no formula does.
    let formula = !folded.starts_with(char::is_lowercase);
    match formula.then(|| Formula::parse(&folded)) {
        Some(Ok(formula)) => formula.text(),
        _ => folded.to_lowercase(),
    }
}

/// What two spellings of one load have in common: the keys of its things in a fixed order.
pub fn load_key(things: &[String]) -> String {
    let mut keys: Vec<String> = things.iter().map(|thing| thing_key(thing)).collect();
    keys.sort();
    keys.join(" + ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn things_are_joined_by_plus_with_blanks() {
        assert_eq!(load("crucible +  the  sample").0, ["crucible", "the sample"]);
        assert_eq!(load("Na+ salt + (a + b)").0, ["Na+ salt", "(a + b)"]);
        assert_eq!(load("crucible +").0, ["crucible", ""]);
    }

    #[test]
    fn a_treatment_is_the_text_after_the_last_comma_that_ends_in_a_number() {
        let treatment = |label| load(label).1.map(|t| (t.name, t.number));
        assert_eq!(treatment("crucible, reagent and heating 2"), Some(("reagent and heating".into(), 2)));
        assert_eq!(treatment("crucible, small, heating 12"), Some(("heating".into(), 12)));
        assert_eq!(treatment("crucible, small"), None);
        assert_eq!(treatment("beaker (1, no 2)"), None);
        assert_eq!(treatment("beaker 1, 2"), None);
        assert_eq!(treatment("beaker, heating 99999999999"), None);
    }

    #[test]
    fn spellings_of_one_load_share_a_key() {
        let key = |label| load_key(&load(label).0);
        assert_eq!(key("Crucible + CuSO4.5H2O"), key("CuSO4·5H2O +  crucible"));
        assert_eq!(key("lid + MgSO4*7H2O"), key("MgSO4·7H2O + Lid"));
        assert_ne!(key("boat + CO"), key("boat + Co"));
        assert_ne!(key("crucible"), key("crucible 2"));
    }
}
