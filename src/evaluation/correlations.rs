//! Correlations that `experiment` declares between measured quantities.
//!
//! The coefficient is that of the two quantities. Each may have several uncertainties behind it; every pair of them
//! gets its part of the coefficient, r uᵢ uⱼ / (u(a) u(b)), so that the covariance of the two is r u(a) u(b) (JCGM
//! 100:2008, 5.2.2), and no set of coefficients that is possible for the quantities becomes impossible for the parts.

use super::calculator::Calculator;
use super::scope::symbol_of;
use super::uncertainty::{Correlation, Input};
use crate::finding::{Code, Finding, nearest};
use crate::quantity::derivation::NodeId;
use crate::span::{Span, Spanned};
use std::collections::{BTreeMap, BTreeSet};

/// Says to the inputs which are correlated; what cannot be so is a finding.
pub(super) fn declare(calculator: &mut Calculator) {
    let mut pairs: BTreeMap<(usize, usize), (f64, Span)> = BTreeMap::new();
    for declared in &calculator.notebook.settings.correlations {
        let rows: Vec<usize> = declared.between.iter().filter_map(|symbol| row(symbol, calculator)).collect();
        for (at, a) in rows.iter().enumerate() {
            for b in &rows[at + 1..] {
                let key = (*a.min(b), *a.max(b));
                if let Err(finding) =
                    add(&mut pairs, key, declared.coefficient.value, declared.coefficient.span)
                {
                    calculator.report(*finding);
                }
            }
        }
    }
    if let (false, Some((_, span))) = (is_possible(&pairs), pairs.values().next()) {
        let message = "these correlation coefficients are not possible together";
        let finding = Finding::error(Code::BadSetting, *span, message);
        let hint = "two quantities that both go with a third go with each other to some extent; none is used";
        calculator.report(finding.hint(hint));
        return;
    }
    let first = pairs.values().find(|(coefficient, _)| *coefficient != 0.0).map(|(_, span)| *span);
    if let Some(span) = first.filter(|_| calculator.notebook.settings.second_order) {
        calculator.report(beside_second_order(span));
    }
    for ((a, b), (coefficient, span)) in pairs {
        if !correlate(a, b, coefficient, calculator) {
            let finding = without_uncertainty(a, b, span, calculator);
            calculator.report(finding);
        }
    }
}

/// Two quantities of which at least one states no uncertainty: there is nothing that could go with the other.
fn without_uncertainty(a: usize, b: usize, place: Span, calculator: &Calculator) -> Finding {
    let name = |row: usize| &calculator.scope.measured[row].row.symbol.value;
    let message = format!("a correlation of {} and {}, of which no uncertainty is stated", name(a), name(b));
    let hint = "it is used for what stands behind `±` in `measured`: state it for both";
    Finding::warning(Code::BadSetting, place, message).hint(hint)
}

/// The terms of JCGM 100:2008, 5.1.2, note, are those of independent inputs; 5.2.2 has none for correlated ones.
fn beside_second_order(place: Span) -> Finding {
    let message = "a correlation beside `second-order = true`: the second-order terms are those of independent inputs, so \
                   the uncertainty of what rests on both quantities is not right to second order";
    let hint = "ask for `monte-carlo = true`, which draws correlated quantities together, or leave `second-order` out";
    Finding::warning(Code::BadSetting, place, message).hint(hint)
}

/// The measured row of a symbol.
fn row(symbol: &Spanned<String>, calculator: &mut Calculator) -> Option<usize> {
    let found = calculator.scope.measured(&symbol_of(&symbol.value));
    if found.is_none() {
        let message = format!("a correlation of {}, which is no measured quantity", symbol.value);
        let finding = Finding::error(Code::BadSetting, symbol.span, message);
        let known = calculator.scope.measured.iter().map(|measured| measured.row.symbol.value.as_str());
        let finding = match nearest(&symbol.value, known) {
            Some(near) => finding.hint(format!("did you mean {near}?")),
            None => finding.hint("correlated are lines of a `measured` block"),
        };
        calculator.report(finding);
    }
    found
}

type Pairs = BTreeMap<(usize, usize), (f64, Span)>;

fn add(pairs: &mut Pairs, key: (usize, usize), coefficient: f64, span: Span) -> Result<(), Box<Finding>> {
    if key.0 == key.1 {
        let finding = Finding::error(Code::BadSetting, span, "a correlation of a quantity with itself");
        return Err(Box::new(finding.hint("name two quantities")));
    }
    match pairs.get(&key) {
        Some((other, first)) if *other != coefficient => {
            let message = "two quantities with two different correlation coefficients; the first is used";
            Err(Box::new(Finding::error(Code::RepeatedSetting, span, message).label(*first, "first here")))
        }
        _ => {
            pairs.insert(key, (coefficient, span));
            Ok(())
        }
    }
}

/// Whether the matrix of the coefficients has no negative eigenvalue (Cholesky's decomposition exists).
fn is_possible(pairs: &Pairs) -> bool {
    let rows: Vec<usize> =
        pairs.keys().flat_map(|(a, b)| [*a, *b]).collect::<BTreeSet<_>>().into_iter().collect();
    let coefficient = |i: usize, j: usize| {
        let key = (rows[i].min(rows[j]), rows[i].max(rows[j]));
        if i == j { 1.0 } else { pairs.get(&key).map_or(0.0, |(coefficient, _)| *coefficient) }
    };
    let mut lower = vec![vec![0.0f64; rows.len()]; rows.len()];
    for i in 0..rows.len() {
        for j in 0..=i {
            let rest: f64 = coefficient(i, j) - (0..j).map(|k| lower[i][k] * lower[j][k]).sum::<f64>();
            if i == j && rest < -1e-9 || i != j && lower[j][j] == 0.0 && rest.abs() > 1e-9 {
                return false;
            }
            lower[i][j] = match (i == j, lower[j][j]) {
                (true, _) => {
                    if rest < 1e-9 {
                        0.0
                    } else {
                        rest.sqrt()
                    }
                }
                (false, 0.0) => 0.0,
                (false, pivot) => rest / pivot,
            };
        }
    }
    true
}

/// Correlates the parts of two rows, trial by trial. `false` where there are values but nothing to correlate.
fn correlate(a: usize, b: usize, coefficient: f64, calculator: &mut Calculator) -> bool {
    let mut known: BTreeSet<(usize, usize)> = BTreeSet::new();
    let mut met = false;
    let trials = calculator.trials.len().max(1);
    for trial in 0..trials {
        let at = |row: usize| calculator.measured.get(row)?.at(trial).ok();
        let (Some(a), Some(b)) = (at(a), at(b)) else { continue };
        met = true;
        for correlation in of_leaves(a, b, coefficient, calculator) {
            let key = (correlation.a.min(correlation.b), correlation.a.max(correlation.b));
            if correlation.a != correlation.b && known.insert(key) {
                calculator.inputs.correlate(correlation);
            }
        }
    }
    !met || !known.is_empty()
}

/// The coefficient shared out among the stated uncertainties of two leaves.
fn of_leaves(a: NodeId, b: NodeId, coefficient: f64, calculator: &Calculator) -> Vec<Correlation> {
    let stated = |leaf: NodeId| -> Vec<(usize, f64)> {
        let parts = calculator.inputs.parts(leaf).iter();
        let of = |index: usize| &calculator.inputs.sources()[index];
        parts
            .filter(|(index, _)| matches!(of(*index).input, Input::Stated(..)))
            .map(|(index, part)| (*index, part * of(*index).standard_uncertainty()))
            .collect()
    };
    let (of_a, of_b) = (stated(a), stated(b));
    let total = |parts: &[(usize, f64)]| parts.iter().map(|(_, u)| u * u).sum::<f64>().sqrt();
    let both = total(&of_a) * total(&of_b);
    if both == 0.0 {
        return Vec::new();
    }
    let pair = |(a, u): &(usize, f64), (b, v): &(usize, f64)| Correlation {
        a: *a,
        b: *b,
        coefficient: coefficient * u * v / both,
    };
    of_a.iter().flat_map(|p| of_b.iter().map(move |q| (p, q))).map(|(p, q)| pair(p, q)).collect()
}
