//! What remarks may say of one notebook, as plain values for a `remarks.md` (listed in `report-templates/README.md`).
//!
//! Only what stands in the student's own notebook and what follows from it goes in: no reference value, nothing of
//! another notebook. Where the template does not show results, no recomputed number goes in either. Texts are Markdown:
//! whatever a notebook wrote is escaped.

use super::Marked;
use super::questions::{AGAIN, question};
use crate::evaluation::results::Results;
use crate::finding::{Finding, Severity, is_hidden};
use crate::notebook::settings::DecimalMark;
use crate::quantity::Printed;
use crate::review::findings::{with_unit, written};
use crate::review::formats::Reviewed;
use crate::review::{Carried, ClaimReview, DigitsVerdict, ValueVerdict};
use crate::span::Lines;
use crate::template::model::{Reveal, When};
use serde_json::{Value, json};

/// Every value but the texts of our own.
pub(super) fn values(reviewed: &Reviewed, marked: Option<&Marked>) -> Value {
    let told = Told::of(reviewed);
    let settings = &reviewed.results.settings;
    let template = reviewed.template.map(|template| {
        json!({ "id": template.id, "version": template.version, "title": escaped(&template.title) })
    });
    let mut values = json!({
        "title": escaped(reviewed.title()),
        "authors": settings.authors.iter().map(|author| escaped(author)).collect::<Vec<_>>(),
        "date": settings.date.as_ref().map(|date| date.value.to_string()),
        "file": escaped(reviewed.file),
        "template": template,
        "numbers": told.numbers,
        "claims": told.each(|index| told.claim(index)),
        "right": told.right(),
        "look_again": told.look_again(),
        "carried": told.carried(),
        "near": told.grouped(|value| *value == ValueVerdict::OffByOne, |_| json!({})),
        "other_table": told.other_table(),
        "unchecked": told.unchecked(),
        "digits": told.digits(),
        "findings": told.findings(),
        "questions": told.questions(),
    });
    if let (Value::Object(all), Value::Object(marks)) =
        (&mut values, super::marked::told(marked, told.reveal))
    {
        all.extend(marks);
    }
    values
}

/// One notebook's review with what may be said of it.
struct Told<'a> {
    reviewed: &'a Reviewed<'a>,
    lines: Lines,
    reveal: Reveal,
    /// Whether recomputed numbers may be said.
    numbers: bool,
}

impl<'a> Told<'a> {
    fn of(reviewed: &'a Reviewed<'a>) -> Self {
        let reveal = reviewed.template.map_or(Reveal::All, |template| template.reveal);
        let lines = Lines::of(&reviewed.notebook.text);
        // What was claimed is shown once it is claimed: only the strictest choice keeps its number back here.
        Told { reviewed, lines, reveal, numbers: reveal != Reveal::ReadingsOnly }
    }

    fn results(&self) -> &'a Results {
        self.reviewed.results
    }

    fn review(&self, index: usize) -> &'a ClaimReview {
        &self.reviewed.review.claims[index]
    }

    fn each(&self, one: impl Fn(usize) -> Value) -> Vec<Value> {
        (0..self.results().claims.len()).map(one).collect()
    }

    /// One claim, for a `remarks.md` with its own words.
    fn claim(&self, index: usize) -> Value {
        let (claim, review) = (&self.results().claims[index], self.review(index));
        json!({
            "name": self.names(&[index]),
            "of": escaped(&claim.of),
            "line": self.reviewed.place(&self.lines, claim.span).0,
            "claimed": unbroken(&written(claim)),
            "verdict": review.value.word(),
            "digits": review.digits.map(DigitsVerdict::word),
            "recomputed": self.recomputed(index),
        })
    }

    /// The recomputed value, where it may be said.
    fn recomputed(&self, index: usize) -> Option<String> {
        let printed = self.review(index).recomputed.as_ref().filter(|_| self.numbers)?;
        Some(self.with_unit(printed, index))
    }

    fn with_unit(&self, printed: &Printed, index: usize) -> String {
        let comma = self.results().settings.decimal == DecimalMark::Comma;
        unbroken(&with_unit(&printed.typographic(comma), &self.results().claims[index]))
    }

    /// Claims of one quantity under one name: with its trials, where they are not all.
    fn names(&self, claims: &[usize]) -> String {
        let Some(first) = claims.first().map(|index| &self.results().claims[*index]) else {
            return String::new();
        };
        let trials: Vec<&str> = claims
            .iter()
            .filter_map(|index| {
                Some(self.results().trials.get(self.results().claims[*index].trial?)?.name.as_str())
            })
            .collect();
        let all = self.results().claims.iter().filter(|claim| claim.of == first.of).count();
        match trials.len() {
            0 => escaped(&first.of),
            1 if all > 1 => escaped(&format!("{}, trial {}", first.of, trials[0])),
            few if few < all => escaped(&format!("{}, trials {}", first.of, listed(&trials))),
            _ => escaped(&first.of),
        }
    }

    /// The claims of a kind, those of one quantity together.
    fn groups(&self, belongs: impl Fn(usize) -> bool) -> Vec<Vec<usize>> {
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for index in (0..self.results().claims.len()).filter(|index| belongs(*index)) {
            let of = &self.results().claims[index].of;
            let own = |group: &&mut Vec<usize>| self.results().claims[group[0]].of == *of;
            match groups.iter_mut().find(own) {
                Some(group) => group.push(index),
                None => groups.push(vec![index]),
            }
        }
        groups
    }

    /// Groups of one verdict, each with its names and what else there is to say of its first.
    fn grouped(&self, is: impl Fn(&ValueVerdict) -> bool, more: impl Fn(usize) -> Value) -> Vec<Value> {
        let groups = self.groups(|index| is(&self.review(index).value));
        let one = |group: &Vec<usize>| {
            let mut item = more(group[0]);
            item["names"] = json!(self.names(group));
            item
        };
        groups.iter().map(one).collect()
    }

    fn right(&self) -> Vec<String> {
        let groups = self.groups(|index| self.review(index).value == ValueVerdict::Agrees);
        groups.iter().map(|group| self.names(group)).collect()
    }

    fn other_table(&self) -> Vec<Value> {
        self.grouped(
            |value| matches!(value, ValueVerdict::OtherTable(_)),
            |index| match &self.review(index).value {
                ValueVerdict::OtherTable(table) => json!({ "table": table }),
                _ => json!({}),
            },
        )
    }

    fn unchecked(&self) -> Vec<Value> {
        self.grouped(
            |value| matches!(value, ValueVerdict::CannotBeChecked(_)),
            |index| match &self.review(index).value {
                ValueVerdict::CannotBeChecked(reason) => json!({ "reason": escaped(reason) }),
                _ => json!({}),
            },
        )
    }

    fn carried(&self) -> Vec<Value> {
        self.grouped(
            |value| matches!(value, ValueVerdict::CarriedForward(_)),
            |index| match &self.review(index).value {
                ValueVerdict::CarriedForward(Carried::Claims(from)) => {
                    let mut from: Vec<String> =
                        from.iter().map(|other| escaped(&self.results().claims[*other].of)).collect();
                    from.dedup();
                    json!({ "from": listed(&from.iter().map(String::as_str).collect::<Vec<_>>()) })
                }
                _ => json!({ "from": "values as you rounded them on the way" }),
            },
        )
    }

    /// The claims that differ; those of one slip together.
    fn look_again(&self) -> Vec<Value> {
        let differs = |index: &usize| self.review(*index).value == ValueVerdict::Differs;
        let all: Vec<usize> = (0..self.results().claims.len()).filter(differs).collect();
        let first_of = |index: usize| self.review(index).same_slip_as.unwrap_or(index);
        let of = |index: usize| &self.results().claims[index].of;
        let items = all.iter().filter(|index| self.review(**index).same_slip_as.is_none());
        let item = |first: &usize| {
            let same = |index: &&usize| first_of(**index) == *first;
            let own: Vec<usize> =
                all.iter().filter(same).filter(|index| of(**index) == of(*first)).copied().collect();
            let other: Vec<usize> =
                all.iter().filter(same).filter(|index| of(**index) != of(*first)).copied().collect();
            self.differing(&own, &other)
        };
        items.map(item).collect()
    }

    fn differing(&self, own: &[usize], other: &[usize]) -> Value {
        let review = self.review(own[0]);
        let slip = review.slip.as_ref();
        let line = slip.and_then(|slip| self.reviewed.line(&self.lines, slip.place));
        let each = |one: &dyn Fn(usize) -> Option<String>| {
            let texts: Vec<String> = own.iter().filter_map(|index| one(*index)).collect();
            listed(&texts.iter().map(String::as_str).collect::<Vec<_>>())
        };
        let recomputed = each(&|index| self.recomputed(index));
        json!({
            "names": self.names(own),
            "lines": self.in_lines(own),
            "claimed": each(&|index| Some(unbroken(&written(&self.results().claims[index])))),
            "recomputed": (!recomputed.is_empty()).then_some(recomputed),
            "question": slip.map_or_else(|| AGAIN.to_string(), |slip| question(slip, line)),
            "also": (!other.is_empty()).then(|| self.also(other)),
            "slip": slip.map(|slip| json!({
                "kind": slip.kind.word(),
                "what": escaped(&slip.what),
                "recomputation": (self.reveal == Reveal::All).then(|| escaped(&slip.recomputation)),
            })),
        })
    }

    fn also(&self, other: &[usize]) -> String {
        let groups = self.groups(|index| other.contains(&index));
        let names: Vec<String> = groups.iter().map(|group| self.names(group)).collect();
        names.join("; ")
    }

    /// `line 46`, `lines 46 and 48`
    fn in_lines(&self, claims: &[usize]) -> String {
        let line = |index: &usize| self.reviewed.place(&self.lines, self.results().claims[*index].span).0;
        let mut lines: Vec<String> = claims.iter().map(|index| line(index).to_string()).collect();
        lines.dedup();
        let word = if lines.len() == 1 { "line" } else { "lines" };
        format!("{word} {}", listed(&lines.iter().map(String::as_str).collect::<Vec<_>>()))
    }

    /// Claims with digits that do not fit, by what the readings bear.
    fn digits(&self) -> Vec<Value> {
        let off = |index: usize| {
            let review = self.review(index);
            let verdict = review.digits.filter(|digits| *digits != DigitsVerdict::Fitting)?;
            // Digits of a value that is wrong are the smaller matter: it comes first.
            if review.value == ValueVerdict::Differs {
                None
            } else {
                Some((verdict, review.printed.as_ref()?))
            }
        };
        let mut items = Vec::new();
        for group in self.groups(|index| off(index).is_some()) {
            for verdict in [DigitsVerdict::TooMany, DigitsVerdict::TooFew] {
                let own: Vec<usize> = group
                    .iter()
                    .copied()
                    .filter(|index| off(*index).is_some_and(|(own, _)| own == verdict))
                    .collect();
                let Some((_, printed)) = own.first().and_then(|index| off(*index)) else { continue };
                let wanted = decimals(printed, self.unit(own[0]));
                items.push(json!({ "names": self.names(&own), "verdict": verdict.word(), "wanted": wanted }));
            }
        }
        items
    }

    fn unit(&self, index: usize) -> &str {
        crate::review::findings::unit(&self.results().claims[index])
    }

    /// What the notebook lacks or has wrong: errors and warnings that are not about a claimed value.
    fn findings(&self) -> Vec<Value> {
        let said = |finding: &&Finding| {
            finding.severity >= Severity::Warning
                && finding.file.is_none()
                && (self.reveal == Reveal::All || !crate::template::tells_results(finding.code))
        };
        let one = |finding: &Finding| {
            json!({
                "severity": finding.severity.word(),
                "message": with_code(&finding.message),
                "line": self.reviewed.line(&self.lines, finding.span),
                "hints": finding.hints.iter().map(|hint| with_code(hint)).collect::<Vec<_>>(),
            })
        };
        self.results().findings.iter().filter(said).map(one).collect()
    }

    /// The template's questions: those for a high or a low result tell its sign.
    fn questions(&self) -> Vec<String> {
        if self.reveal == Reveal::All {
            let used = self.results().template.as_ref();
            return used
                .map_or_else(Vec::new, |used| used.questions.iter().map(|text| escaped(text)).collect());
        }
        let questions = self.reviewed.template.iter().flat_map(|template| &template.questions);
        questions
            .filter(|question| question.when == When::Always)
            .map(|question| escaped(&question.text))
            .collect()
    }
}

/// To how many decimals a value is worth writing.
fn decimals(printed: &Printed, unit: &str) -> String {
    let of = if unit.is_empty() { String::new() } else { format!(" (in {})", escaped(unit)) };
    match -printed.place() {
        0 => format!("whole numbers{of}"),
        1 => format!("one decimal{of}"),
        more if more > 1 => format!("{more} decimals{of}"),
        less => format!("digits down to 10^{}{of}", -less),
    }
}

/// `A`, `A and B`, `A, B and C`
fn listed(items: &[&str]) -> String {
    match items {
        [] => String::new(),
        [only] => (*only).to_string(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// A number with its unit, which stay on one line.
fn unbroken(text: &str) -> String {
    escaped(text).replace(' ', "\u{a0}")
}

/// A sentence of the program, whose code between backquotes stays code.
fn with_code(text: &str) -> String {
    let parts: Vec<&str> = text.split('`').collect();
    if parts.len().is_multiple_of(2) || text.contains("``") || text.chars().any(is_hidden) {
        return escaped(text);
    }
    let one = |(index, part): (usize, &&str)| match index % 2 {
        0 => escaped(part),
        _ => format!("`{part}`"),
    };
    parts.iter().enumerate().map(one).collect()
}

/// Text that means nothing to a reader of Markdown: what could begin markup is escaped, and it stays on one line.
pub(super) fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '~' | '#' | '|' | '&' | '{' | '}' | '$' => {
                escaped.push('\\');
                escaped.push(c);
            }
            c if is_hidden(c) => escaped.push(' '),
            c => escaped.push(c),
        }
    }
    escaped
}
