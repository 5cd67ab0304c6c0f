//! Whether a series has reached constant mass, by the rule in force.
//!
//! Changes and limits are compared as exact numbers, unrounded (the absolute method of ASTM E29, from
//! memory). Reached means that the last two weighings agree; the cycle named is the first from which all
//! later changes hold. An event between two weighings starts a new stage, and only the last stage counts.

use crate::notebook::settings::{ConstantMassRule, MassLimit};
use crate::quantity::{Decimal, Number, Quantity, Unit};

/// One weighing of a trial's series.
#[derive(Clone, Debug)]
pub struct Weighing {
    /// The mass in kilograms; `None` where the reading is missing.
    pub mass: Option<Number>,
    /// Whether an event lies between the weighing before and this one.
    pub after_event: bool,
}

/// What the limit may depend on, in kilograms.
#[derive(Clone, Debug, Default)]
pub struct Basis {
    /// The mass of sample taken.
    pub sample: Option<Number>,
    /// The net mass weighed last.
    pub net: Option<Number>,
    /// The gross mass weighed last.
    pub gross: Option<Number>,
    /// The scale interval of the balance.
    pub scale_interval: Option<Number>,
}

/// The verdict on one trial's series. Cycles count the weighings of the trial from 1, gaps included.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// All changes from this cycle on hold.
    Reached {
        /// The cycle.
        at: usize,
    },
    /// The last change, in kilograms, does not hold.
    NotReached {
        /// The last change.
        last_change: Number,
    },
    /// There are not two weighings in a row to compare; says why.
    NotShown(&'static str),
    /// The limit cannot be had, or lies below one scale interval; says why.
    CannotBeJudged(&'static str),
    /// The trial has no weighing of this load, or the method heats for a fixed time.
    None,
}

/// The rule where a notebook states none: not more than the larger of 0.5 mg and two scale intervals.
pub fn default_rule() -> ConstantMassRule {
    let milligram = Unit::parse("mg").unwrap_or_else(|_| Unit::gram());
    let half = Number::from_ratio(5, 10_000_000);
    let absolute = MassLimit::Absolute(Quantity::exact(half, milligram.dimension()), milligram);
    let intervals = MassLimit::ScaleIntervals(Decimal::from(2));
    let text = "not more than the larger of 0.5 mg and 2 scale intervals".to_string();
    let limit = MassLimit::Larger(Box::new(absolute), Box::new(intervals));
    ConstantMassRule { text, limit, strict: false }
}

/// The limit on a change, in kilograms.
///
/// # Errors
/// Says which fact is missing: the mass of sample, the net mass, the scale interval.
pub fn limit(limit: &MassLimit, basis: &Basis) -> Result<Number, &'static str> {
    match limit {
        MassLimit::Absolute(mass, _) => Ok(mass.number.clone()),
        MassLimit::PerSample(ratio, _) => {
            times(&ratio.number, basis.sample.as_ref(), "the mass of sample taken is not known")
        }
        MassLimit::Relative { fraction, gross: true } => {
            times(&fraction.number, basis.gross.as_ref(), "there is no weighing")
        }
        MassLimit::Relative { fraction, gross: false } => {
            times(&fraction.number, basis.net.as_ref(), "the net mass is not known")
        }
        MassLimit::ScaleIntervals(count) => {
            times(&count.to_number(), basis.scale_interval.as_ref(), "the scale interval is not known")
        }
        MassLimit::Smaller(a, b) => Ok(self::limit(a, basis)?.min(self::limit(b, basis)?)),
        MassLimit::Larger(a, b) => Ok(self::limit(a, basis)?.max(self::limit(b, basis)?)),
        MassLimit::FixedTime => Err("the method heats for a fixed time"),
    }
}

fn times(factor: &Number, of: Option<&Number>, otherwise: &'static str) -> Result<Number, &'static str> {
    factor.mul(&of.ok_or(otherwise)?.abs()).map_err(|_| otherwise)
}

/// The verdict on one trial's weighings, in the order made.
pub fn judge(weighings: &[Weighing], rule: &ConstantMassRule, basis: &Basis) -> Verdict {
    let last = weighings.iter().rposition(|weighing| weighing.mass.is_some());
    let Some(last) = last.filter(|_| rule.limit != MassLimit::FixedTime) else { return Verdict::None };
    let stage = last_stage(&weighings[..=last]);
    let Some(last_change) = change_at(weighings, last).filter(|_| last > stage) else {
        return Verdict::NotShown(why_not_shown(weighings, last, stage));
    };
    let limit = match limit(&rule.limit, basis) {
        Ok(limit) => limit,
        Err(why) => return Verdict::CannotBeJudged(why),
    };
    if basis.scale_interval.as_ref().is_some_and(|interval| limit < *interval) {
        return Verdict::CannotBeJudged("the limit is below one scale interval of the balance");
    }
    let holds = |change: &Number| if rule.strict { change.abs() < limit } else { change.abs() <= limit };
    if !holds(&last_change) {
        return Verdict::NotReached { last_change };
    }
    let holding =
        (stage + 1..=last).rev().take_while(|at| change_at(weighings, *at).is_some_and(|c| holds(&c)));
    Verdict::Reached { at: holding.last().unwrap_or(last) + 1 }
}

/// The index of the first weighing of the last stage.
fn last_stage(weighings: &[Weighing]) -> usize {
    weighings.iter().rposition(|weighing| weighing.after_event).unwrap_or(0)
}

/// The change from the weighing before; `None` at the first one and at a gap.
fn change_at(weighings: &[Weighing], at: usize) -> Option<Number> {
    let before = weighings.get(at.checked_sub(1)?)?.mass.as_ref()?;
    weighings.get(at)?.mass.as_ref()?.sub(before).ok()
}

fn why_not_shown(weighings: &[Weighing], last: usize, stage: usize) -> &'static str {
    if last == 0 || weighings[..last].iter().all(|weighing| weighing.mass.is_none()) {
        "weighed once only"
    } else if last <= stage {
        "weighed once only since the last event"
    } else {
        "a reading is missing between the last two weighings"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grams(text: &str) -> Number {
        Decimal::parse(text, false).unwrap().to_number().mul(Unit::gram().factor()).unwrap()
    }

    fn weighings(texts: &[&str]) -> Vec<Weighing> {
        let one = |text: &&str| Weighing {
            mass: (*text != "-").then(|| grams(text.trim_start_matches('!'))),
            after_event: text.starts_with('!'),
        };
        texts.iter().map(one).collect()
    }

    fn rule(milligrams: &str, strict: bool) -> ConstantMassRule {
        let unit = Unit::parse("mg").unwrap();
        let quantity =
            Quantity::from_decimal(&Decimal::parse(milligrams, false).unwrap(), &unit, true).unwrap();
        ConstantMassRule { text: String::new(), limit: MassLimit::Absolute(quantity, unit), strict }
    }

    fn basis() -> Basis {
        Basis { scale_interval: Some(grams("0.0001")), ..Basis::default() }
    }

    // A first-year manual's sample data for the formula of magnesium oxide (46.3105, 46.2995, 46.2991 g): the
    // last change is exactly 0.4 mg, so it is met by "not more than 0.4 mg", not by "less than 0.4 mg".
    #[test]
    fn the_limit_itself_holds_only_where_it_is_inclusive() {
        let series = weighings(&["46.3105", "46.2995", "46.2991"]);
        assert_eq!(judge(&series, &rule("0.5", false), &basis()), Verdict::Reached { at: 3 });
        assert_eq!(judge(&series, &rule("0.4", false), &basis()), Verdict::Reached { at: 3 });
        assert!(matches!(judge(&series, &rule("0.4", true), &basis()), Verdict::NotReached { .. }));
        assert!(matches!(judge(&series, &rule("0.3", false), &basis()), Verdict::NotReached { .. }));
    }

    #[test]
    fn the_first_cycle_from_which_all_later_changes_hold() {
        let series = weighings(&["20.0000", "19.9999", "19.9000", "19.8998", "19.8997"]);
        assert_eq!(judge(&series, &rule("0.5", false), &basis()), Verdict::Reached { at: 4 });
    }

    #[test]
    fn one_weighing_a_gap_or_a_new_stage_shows_nothing() {
        for series in [&["20.0000"][..], &["20.0000", "-", "20.0000"], &["20.0000", "20.0001", "!20.0001"]] {
            assert!(matches!(judge(&weighings(series), &rule("0.5", false), &basis()), Verdict::NotShown(_)));
        }
    }

    #[test]
    fn a_limit_below_the_scale_interval_cannot_be_judged() {
        let series = weighings(&["20.0000", "20.0000"]);
        assert!(matches!(judge(&series, &rule("0.05", false), &basis()), Verdict::CannotBeJudged(_)));
    }

    // United States Pharmacopeia, General Notices, "dry to constant weight" (read in a maker's paraphrase):
    // 0.50 mg per gram of substance, so 0.6 mg passes for 1.234 g and fails for 1.000 g.
    #[test]
    fn a_limit_per_gram_scales_with_the_sample() {
        let ratio = Unit::parse("mg/g").unwrap();
        let quantity = Quantity::from_decimal(&Decimal::parse("0.50", false).unwrap(), &ratio, true).unwrap();
        let rule = ConstantMassRule {
            text: String::new(),
            limit: MassLimit::PerSample(quantity, ratio),
            strict: false,
        };
        let series = weighings(&["20.0006", "20.0000"]);
        let with = |sample: &str| Basis { sample: Some(grams(sample)), ..basis() };
        assert_eq!(judge(&series, &rule, &with("1.2340")), Verdict::Reached { at: 2 });
        assert!(matches!(judge(&series, &rule, &with("1.0000")), Verdict::NotReached { .. }));
    }
}
