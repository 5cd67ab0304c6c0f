//! Verdicts on results: outlier tests and conformity with limits.

use super::quantities::{figure_cell, row_head, value_row};
use super::{Cell, Notes, Part, Row, Table, Value};
use crate::evaluation::results::{QuantityResult, Results};
use crate::evaluation::verdicts::{Conformity, ConformityVerdict, OutlierAdvice, percent};
use crate::notebook::settings::{DecimalMark, Decision};
use crate::report::words::{self, Run, Words};
use crate::statistics::{DIXON_TABLE, DixonVerdict, GRUBBS_TABLE, GrubbsVerdict, Suspect};

/// The tests for outliers of every result with three or more trials; `None` where there is none. Unless it is `asked`
/// for, only where a test finds something.
pub(crate) fn outliers(results: &Results, asked: bool) -> Option<Table> {
    let tested: Vec<(&QuantityResult, &OutlierAdvice)> =
        results.quantities.iter().filter_map(|q| Some((q, q.outliers.as_ref()?))).collect();
    if tested.is_empty() || !asked && !tested.iter().any(|(_, advice)| finds(advice)) {
        return None;
    }
    let rows = tested.iter().map(|(quantity, advice)| outlier_row(quantity, advice, results)).collect();
    let italic = |letter: &str| vec![Run::Italic(letter.to_owned())];
    let columns =
        [words::plain("trial"), italic("Q"), words::plain("limit"), italic("G"), words::plain("5 %")];
    let columns = columns.into_iter().chain([words::plain("1 %"), words::plain("verdict")]).collect();
    let mut notes = Notes::default();
    notes.once(
        "",
        words::plain("Advice: nothing is left out by a test. It looks at the trial that lies farthest out."),
    );
    notes.once("", words::plain(format!("{DIXON_TABLE}.")));
    notes.once("", words::plain(format!("{GRUBBS_TABLE}.")));
    if tested.iter().any(|(_, advice)| advice.within_readings && finds(advice)) {
        let text = "“As near as the readings can tell”: the value is no farther from its neighbour than the readings are \
                    uncertain (k = 2), which the tests do not know.";
        notes.once("", words::plain(text));
    }
    let part = Part::plain("quantity", columns, rows);
    Some(Table {
        name: "outliers",
        caption: words::plain("Tests for outliers"),
        parts: vec![part],
        notes: notes.all(),
    })
}

fn finds(advice: &OutlierAdvice) -> bool {
    advice.dixon.as_ref().is_some_and(|dixon| dixon.verdict != DixonVerdict::Within)
        || advice.grubbs.as_ref().is_some_and(|grubbs| grubbs.verdict != GrubbsVerdict::Within)
}

fn outlier_row(quantity: &QuantityResult, advice: &OutlierAdvice, results: &Results) -> Row {
    let name = |suspect: Suspect| {
        let trial = advice.trials.get(suspect.index).and_then(|trial| results.trials.get(*trial));
        trial.map_or(String::new(), |trial| trial.name.clone())
    };
    let suspect = advice.grubbs.as_ref().map(|grubbs| grubbs.suspect);
    let suspect = suspect.or(advice.dixon.as_ref().map(|dixon| dixon.suspect));
    let number = |number: Option<f64>| {
        number.map_or(Cell::Missing, |number| {
            Cell::Value(Value { digits: format!("{number:.3}"), ..Value::default() })
        })
    };
    let (dixon, grubbs) = (advice.dixon.as_ref(), advice.grubbs.as_ref());
    let cells = vec![
        Cell::Words(words::plain(suspect.map_or(String::new(), name))),
        number(dixon.map(|dixon| dixon.q.to_f64())),
        number(dixon.map(|dixon| dixon.critical.to_f64())),
        number(grubbs.map(|grubbs| grubbs.g)),
        number(grubbs.map(|grubbs| grubbs.critical_5)),
        number(grubbs.map(|grubbs| grubbs.critical_1)),
        Cell::Words(words::plain(outlier_verdict(advice))),
    ];
    value_row(row_head(quantity), cells)
}

fn outlier_verdict(advice: &OutlierAdvice) -> &'static str {
    if !finds(advice) {
        return "none";
    }
    if advice.within_readings {
        return "as near as the readings can tell";
    }
    let dixon = advice.dixon.as_ref().map(|dixon| dixon.verdict);
    match (advice.grubbs.as_ref().map(|grubbs| grubbs.verdict), dixon) {
        (Some(GrubbsVerdict::Outlier), _) => "outlier",
        (Some(GrubbsVerdict::Straggler), _) | (_, Some(DixonVerdict::Beyond)) => "straggler",
        _ => "borderline",
    }
}

/// Results against limits; `None` where no limit is stated.
pub(crate) fn conformity(results: &Results) -> Option<Table> {
    let mark = results.settings.decimal;
    let mut notes = Notes::default();
    let mut rows = Vec::new();
    for quantity in &results.quantities {
        for conformity in &quantity.conformity {
            rows.push(conformity_row(quantity, conformity, mark));
            notes.once("", rule(conformity, mark));
        }
    }
    if rows.is_empty() {
        return None;
    }
    notes.once(
        "",
        words::plain("Compared unrounded. Probability: that the quantity keeps the limit (JCGM 106, 7)."),
    );
    let lines = |a: &str, b: &str| vec![Run::Plain(a.to_owned()), Run::Break, Run::Plain(b.to_owned())];
    let columns = vec![
        words::plain("result"),
        vec![Run::Italic("U".to_owned())],
        words::plain("limit"),
        words::plain("verdict"),
        lines("probability", "/ %"),
    ];
    let part = Part::plain("quantity", columns, rows);
    Some(Table {
        name: "conformity",
        caption: words::plain("Conformity with limits"),
        parts: vec![part],
        notes: notes.all(),
    })
}

fn conformity_row(quantity: &QuantityResult, conformity: &Conformity, mark: DecimalMark) -> Row {
    let value = |digits: String| Cell::Value(Value { digits, ..Value::default() });
    let verdict = match conformity.verdict {
        ConformityVerdict::Conforms => "conforms",
        ConformityVerdict::InGuardBand => "not accepted: within the guard band",
        ConformityVerdict::DoesNotConform => "does not conform",
        ConformityVerdict::TooFewTrials => "too few trials to say",
    };
    let cells = vec![
        figure_cell(Some(&conformity.result)),
        conformity.expanded.clone().map_or(Cell::Missing, value),
        Cell::Words(words::plain(words::digits(&conformity.limit, mark))),
        Cell::Words(words::plain(verdict)),
        conformity.probability_of_conformity.map_or(Cell::Missing, |p| value(format!("{:.1}", 100.0 * p))),
    ];
    value_row(row_head(quantity), cells)
}

/// What the decision rule is.
fn rule(conformity: &Conformity, mark: DecimalMark) -> Words {
    let k = words::digits(&format!("{:.2}", conformity.evaluated.coverage_factor), mark);
    let p = words::digits(&percent(conformity.probability), mark).replace(' ', "\u{a0}");
    let rule = match conformity.decision {
        Decision::SimpleAcceptance => "Simple acceptance: the result itself keeps the limit".to_owned(),
        Decision::GuardBand => {
            "Guard band: the result keeps the limit by its expanded uncertainty, g = U".to_owned()
        }
    };
    words::plain(format!("{rule} (JCGM 106, 8). U for {p}, k = {k}."))
}
