//! From a review to a row, and the little that statistics keep of it.

use super::deciding::{AsDecided, as_decided, points_by_hand};
use super::decisions::Decisions;
use super::row::*;
use super::unknowns::{Known, Unknowns};
use super::{Facts, Reading, Value};
use crate::evaluation::count;
use crate::evaluation::results::{QuantityResult, Results};
use crate::finding::{Finding, Severity};
use crate::quantity::{Decimal, Number, Printed, Unit, print};
use crate::review::formats::Reviewed;
use crate::review::marks::{self, Award, FromReference, Marking, names, points_text, quantity, totals};
use crate::review::{DigitsVerdict, Review, ValueVerdict, findings};
use crate::span::Lines;
use crate::template::marks::{MarkKind, Marks};

/// Significant figures of unrounded numbers.
const FIGURES: u32 = 34;
/// Most findings a row tells; the others are counted.
const MOST_SAID: usize = 20;

/// What rows are made with.
#[derive(Clone, Copy)]
pub struct Desk<'a> {
    /// Reference values.
    pub unknowns: Option<&'a Unknowns>,
    /// A marker's decisions.
    pub decisions: &'a Decisions,
    /// The marks to give; none where the only template is the copy that was handed in.
    pub marks: Option<&'a Marks>,
    /// The results that the section follows; without any, those with a theory.
    pub followed: &'a [String],
}

/// A row with what is kept of it.
pub struct Made {
    /// The row.
    pub row: Row,
    /// What statistics keep.
    pub facts: Facts,
    /// The decisions it took, as places in their list.
    pub used: Vec<usize>,
    /// What there is to say of decisions that do not fit.
    pub said: Vec<Finding>,
}

/// The row of a notebook that was reviewed.
pub fn row(reviewed: &Reviewed, desk: &Desk) -> Made {
    let results = reviewed.results;
    let mut row = head(reviewed);
    let AsDecided { review, applied, used, said } = as_decided(reviewed, desk.marks, desk.decisions);
    row.decided = applied;
    let followed = followed(results, reviewed, desk);
    let (mut facts, lines) = (facts(reviewed), Lines::of(&reviewed.notebook.text));
    for (of, quantity) in &followed {
        let (result, value) = result(of, quantity, results, reviewed, desk);
        row.results.push(result);
        facts.values.extend(value);
    }
    row.verdicts = verdicts(&review);
    row.differing = differing(reviewed, &review, &lines);
    row.marks = desk.marks.filter(|marks| !marks.items.is_empty()).map(|marks| {
        let reference = |of: &str| from_reference(of, results, reviewed, desk);
        let marking =
            Marking { marks, template: reviewed.template, results, review: &review, reference: &reference };
        let mut awards = marking.awards();
        points_by_hand(&mut awards, &results.sha256, desk.decisions);
        marks_of(&awards)
    });
    row.findings = findings_of(reviewed, &lines);
    Made { row, facts, used, said }
}

fn head(reviewed: &Reviewed) -> Row {
    let (results, settings) = (reviewed.results, &reviewed.results.settings);
    Row {
        file: reviewed.file.to_owned(),
        sha256: Some(results.sha256.clone()),
        title: settings.title.as_ref().map(|title| title.value.clone()),
        authors: settings.authors.clone(),
        unknown: settings.unknown.clone(),
        bench: recorded(results, "bench"),
        balances: balances(results),
        template: reviewed.template.map(|template| TemplateOfRow {
            id: template.id.clone(),
            version: template.version.clone(),
            sha256: template.sha256.clone(),
            marks_sha256: template
                .marking
                .get(crate::template::marks::MARKS)
                .map(|bytes| crate::sha256(bytes)),
        }),
        ..Row::default()
    }
}

/// What the record of a notebook says under a key.
pub(super) fn recorded(results: &Results, key: &str) -> Option<String> {
    let entry = results.settings.record.iter().find(|entry| entry.key == key)?;
    Some(entry.lines.join("; "))
}

/// The balances of the readings, each once, in alphabetical order.
fn balances(results: &Results) -> Vec<String> {
    let rows = results.series.iter().flat_map(|series| &series.rows).filter(|row| !row.struck);
    let mut all: Vec<String> =
        rows.flat_map(|row| row.balances.iter().flatten().map(|name| name.to_string())).collect();
    all.sort();
    all.dedup();
    all
}

/// The results to follow: those asked for that the notebook has, else those with a theory.
fn followed<'a>(results: &'a Results, reviewed: &Reviewed, desk: &Desk) -> Vec<(String, &'a QuantityResult)> {
    if desk.followed.is_empty() {
        let with_theory =
            results.quantities.iter().filter(|found| found.theory.is_some() && mean(found).is_some());
        return with_theory.map(|found| (found.symbol.clone(), found)).collect();
    }
    let one = |of: &String| Some((of.clone(), quantity(results, reviewed.template, of)?));
    desk.followed.iter().filter_map(one).collect()
}

/// The mean of the valid trials, or the value that all share, in the unit shown: unrounded and printed.
fn mean(quantity: &QuantityResult) -> Option<(&Number, &Printed)> {
    match (&quantity.agreement, &quantity.scalar) {
        (Some(agreement), _) => Some((&agreement.mean.number, &agreement.mean.printed)),
        (None, Some(outcome)) => outcome.value().map(|value| (&value.number, &value.printed)),
        (None, None) => None,
    }
}

fn result(
    of: &str,
    quantity: &QuantityResult,
    results: &Results,
    reviewed: &Reviewed,
    desk: &Desk,
) -> (ResultOfRow, Option<Value>) {
    let mean = mean(quantity);
    let reference = reference(of, quantity, results, reviewed, desk);
    let result = ResultOfRow {
        of: of.to_owned(),
        unit: quantity.unit.symbol().to_owned(),
        value: mean.map(|(number, _)| number.to_figures(FIGURES)),
        printed: mean.map(|(_, printed)| printed.ascii()),
        n: quantity.agreement.as_ref().map_or(0, |agreement| agreement.numbers.n),
        provisional: quantity.provisional,
        z: None,
        reference,
    };
    let trials = results.trials.iter().zip(&quantity.trials).filter(|(trial, _)| trial.counts());
    let value = mean.map(|(number, _)| Value {
        of: of.to_owned(),
        unit: quantity.unit.symbol().to_owned(),
        mean: number.to_f64(),
        trials: trials
            .filter_map(|(trial, outcome)| Some((trial.name.clone(), outcome.value()?.number.to_f64())))
            .collect(),
        reference: in_shown_unit(of, quantity, reviewed, desk),
    });
    (result, value)
}

/// The reference value of a notebook's unknown, where it may be used.
fn known<'a>(
    of: &str,
    reviewed: &Reviewed,
    desk: &Desk<'a>,
) -> Result<&'a super::unknowns::Reference, String> {
    let Some(unknowns) = desk.unknowns else { return Err("no list of unknowns".to_owned()) };
    let Some(unknown) = &reviewed.results.settings.unknown else {
        return Err("no unknown stated".to_owned());
    };
    match unknowns.of(unknown, &names(reviewed.template, of)) {
        Known::Released(reference) => Ok(reference),
        Known::NotYet => Err("not yet released".to_owned()),
        Known::Refused(line) => Err(format!("line {line} of the list cannot be used")),
        Known::Missing => Err(format!("{unknown} is not in the list")),
    }
}

fn in_shown_unit(of: &str, quantity: &QuantityResult, reviewed: &Reviewed, desk: &Desk) -> Option<f64> {
    let reference = known(of, reviewed, desk).ok()?;
    if reference.unit.dimension() != quantity.unit.dimension() {
        return None;
    }
    Some(reference.quantity.number_in(&quantity.unit).ok()?.to_f64())
}

fn reference(
    of: &str,
    quantity: &QuantityResult,
    results: &Results,
    reviewed: &Reviewed,
    desk: &Desk,
) -> ReferenceOfRow {
    let reference = match known(of, reviewed, desk) {
        Ok(reference) => reference,
        Err(status) => return ReferenceOfRow { status, ..ReferenceOfRow::default() },
    };
    let error = percent_error(quantity, reference, results);
    ReferenceOfRow {
        status: match &error {
            Ok(_) => "released".to_owned(),
            Err(reason) => reason.clone(),
        },
        value: Some(reference.written.clone()),
        unit: Some(reference.unit.symbol().to_owned()),
        u: reference.u.clone(),
        percent_error: error.as_ref().ok().map(|(number, _)| number.to_figures(FIGURES)),
        percent_error_printed: error.ok().map(|(_, printed)| printed.ascii()),
    }
}

/// (mean − reference)/|reference| in per cent, unrounded and as its digits print it.
fn percent_error(
    quantity: &QuantityResult,
    reference: &super::unknowns::Reference,
    results: &Results,
) -> Result<(Number, Printed), String> {
    let mean = match (&quantity.agreement, &quantity.scalar) {
        (Some(agreement), _) => agreement.mean_node,
        (None, scalar) => scalar.as_ref().and_then(|outcome| outcome.value()).ok_or("no result")?.node,
    };
    let mean = results.graph.quantity(mean);
    if mean.dimension != reference.quantity.dimension {
        return Err(format!("{} does not fit the result", reference.unit.symbol()));
    }
    let size = reference.quantity.abs();
    let relative = mean.sub(&reference.quantity).and_then(|difference| difference.div(&size));
    let relative = relative.map_err(|_| "the reference value is zero".to_owned())?;
    let percent = Unit::percent();
    let number = relative.number_in(&percent).map_err(|error| error.to_string())?;
    let printed = print(&number, relative.digits_in(&percent), results.settings.rounding);
    Ok((number, printed))
}

/// The percent error as a fraction, for the marks.
fn from_reference(of: &str, results: &Results, reviewed: &Reviewed, desk: &Desk) -> FromReference {
    let found = known(of, reviewed, desk).and_then(|reference| {
        let quantity = quantity(results, reviewed.template, of).ok_or("no result")?;
        percent_error(quantity, reference, results)
    });
    match found.map(|(percent, _)| percent.div(&Number::from_i64(100))) {
        Ok(Ok(fraction)) => FromReference::Error(fraction),
        Ok(Err(error)) => FromReference::None(error.to_string()),
        Err(reason) => FromReference::None(format!("reference value: {reason}")),
    }
}

fn verdicts(review: &Review) -> Verdicts {
    let mut counted = Verdicts { claims: review.claims.len(), ..Verdicts::default() };
    for claim in &review.claims {
        let count = match &claim.value {
            ValueVerdict::Agrees => &mut counted.agrees,
            ValueVerdict::OffByOne => &mut counted.off_by_one,
            ValueVerdict::CarriedForward(_) => &mut counted.carried_forward,
            ValueVerdict::OtherTable(_) => &mut counted.other_table,
            ValueVerdict::Differs => &mut counted.differs,
            ValueVerdict::CannotBeChecked(_) => &mut counted.cannot_be_checked,
        };
        *count += 1;
        match claim.digits {
            Some(DigitsVerdict::TooMany) => counted.digits_too_many += 1,
            Some(DigitsVerdict::TooFew) => counted.digits_too_few += 1,
            _ => {}
        }
    }
    counted
}

fn differing(reviewed: &Reviewed, review: &Review, lines: &Lines) -> Vec<Differing> {
    let results = reviewed.results;
    let each = results.claims.iter().zip(&review.claims);
    each.filter(|(_, review)| review.value == ValueVerdict::Differs)
        .map(|(claim, review)| Differing {
            claim: findings::name(claim, results),
            line: lines.place(&reviewed.notebook.text, claim.span.start).0,
            claimed: findings::written(claim),
            recomputed: review
                .recomputed
                .as_ref()
                .map(|printed| findings::with_unit(&printed.ascii(), claim)),
            consistent_with: review.slip.as_ref().map(|slip| slip.what.clone()),
        })
        .collect()
}

fn marks_of(awards: &[Award]) -> MarksOfRow {
    let (reached, open, possible) = totals(awards);
    MarksOfRow {
        points: points_text(&reached),
        open: points_text(&open),
        possible: points_text(&possible),
        items: awards
            .iter()
            .map(|award| MarkOfRow {
                item: award.item.clone(),
                points: award.points.as_ref().map(marks::points_text),
                possible: points_text(&award.possible),
                why: award.why.clone(),
                by_hand: award.by_hand,
            })
            .collect(),
    }
}

fn findings_of(reviewed: &Reviewed, lines: &Lines) -> FindingsOfRow {
    let all: Vec<&Finding> = reviewed.of_report.iter().chain(&reviewed.results.findings).collect();
    let owned: Vec<Finding> = all.iter().map(|finding| (*finding).clone()).collect();
    let (errors, warnings) = count(&owned);
    let grave = all.iter().filter(|finding| finding.severity != Severity::Note);
    let said = grave.take(MOST_SAID).map(|finding| FindingOfRow {
        severity: finding.severity.word().to_owned(),
        code: finding.code.text().to_owned(),
        message: finding.message.clone(),
        line: finding
            .span
            .filter(|span| finding.file.is_none() && span.start < reviewed.own)
            .map(|span| lines.place(&reviewed.notebook.text, span.start).0),
    });
    FindingsOfRow { errors, warnings, notes: all.len() - errors - warnings, said: said.collect() }
}

/// The readings and names of a notebook; its values are added by the caller.
fn facts(reviewed: &Reviewed) -> Facts {
    let (results, row) = (reviewed.results, head(reviewed));
    let lines = Lines::of(&reviewed.notebook.text);
    let mut facts = Facts {
        file: row.file,
        sha256: results.sha256.clone(),
        authors: results.settings.authors.clone(),
        partners: recorded(results, "partners").into_iter().collect(),
        unknown: row.unknown,
        bench: row.bench,
        balances: row.balances,
        values: Vec::new(),
        readings: Vec::new(),
    };
    for series in &results.series {
        let alone = !series.load.contains('+');
        for line in series.rows.iter().filter(|line| !line.struck) {
            let at = lines.place(&reviewed.notebook.text, line.span.start).0;
            for cell in line.readings.iter().filter(|cell| cell.shared_with.is_none()) {
                let unit = cell.unit.as_ref().unwrap_or(&series.unit);
                let steps = cell.written.as_deref().and_then(|written| steps(written, unit));
                facts.readings.extend(steps.map(|(steps, place)| Reading { steps, place, alone, line: at }));
            }
        }
    }
    facts.readings.sort_by_key(|reading| (reading.place, reading.steps, reading.line));
    facts.readings.dedup_by_key(|reading| (reading.place, reading.steps));
    facts
}

/// A reading as a whole number of its last place, and that place as a power of ten of a gram.
fn steps(written: &str, unit: &Unit) -> Option<(i64, i32)> {
    let decimal = Decimal::parse(written, false).ok()?;
    let scale = unit.factor().div(Unit::gram().factor()).ok()?;
    let power = scale.leading_power().filter(|power| scale == Number::power_of_ten(*power))?;
    let steps = decimal.to_number().div(&Number::power_of_ten(decimal.place())).ok()?.to_i64()?;
    Some((steps, decimal.place() + power))
}

/// The results that the marks of a template ask for.
pub fn asked_for(marks: &Marks) -> Vec<String> {
    let of = |kind: &MarkKind| match kind {
        MarkKind::Accuracy { of, .. } | MarkKind::Agreement { of, .. } => Some(of.clone()),
        _ => None,
    };
    let mut all: Vec<String> = marks.items.iter().filter_map(|item| of(&item.kind)).collect();
    all.dedup();
    all
}
