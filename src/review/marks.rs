//! Marks: what the verdicts of a review are worth by the template's `marking/marks.toml`.
//!
//! A claimed value that agrees, is one off in its last place, is carried forward or right by another table has its
//! points; one that differs has none, and the same slip in another item is charged once. What only a person can decide
//! stays open: its points are neither given nor refused.

use super::verdict::{ClaimReview, DigitsVerdict, Review, ValueVerdict};
use crate::evaluation::name_key;
use crate::evaluation::results::{AgreementResult, Claim, QuantityResult, Results, Trial};
use crate::finding::Code;
use crate::quantity::rounding::round_to_place;
use crate::quantity::{Number, Printed, Rounding};
use crate::template::Template;
use crate::template::marks::{Against, MarkItem, MarkKind, MarkStep, Marks};

/// Why the points of an item that a person marks are not decided.
pub const BY_HAND: &str = "by hand";

/// What one item came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Award {
    /// The item.
    pub item: String,
    /// The points; `None` where they are not decided yet.
    pub points: Option<Number>,
    /// The most it gives.
    pub possible: Number,
    /// Why, in a few words.
    pub why: String,
    /// Whether a person decided.
    pub by_hand: bool,
}

/// How far a result is from its reference value, as far as that may be used.
#[derive(Clone, Debug, PartialEq)]
pub enum FromReference {
    /// The percent error as a fraction, signed.
    Error(Number),
    /// There is none to use, and why.
    None(String),
}

/// Points reached, points not decided yet, and the most there are.
pub fn totals(awards: &[Award]) -> (Number, Number, Number) {
    let sum = |numbers: &mut dyn Iterator<Item = &Number>| {
        numbers.fold(Number::zero(), |sum, number| sum.add(number).unwrap_or(sum))
    };
    let reached = sum(&mut awards.iter().filter_map(|award| award.points.as_ref()));
    let open = awards.iter().filter(|award| award.points.is_none()).map(|award| &award.possible);
    let possible = sum(&mut awards.iter().map(|award| &award.possible));
    (reached, sum(&mut { open }), possible)
}

/// Points as printed: to hundredths, without zeros at the end.
pub fn points_text(points: &Number) -> String {
    let printed = Printed::of_decimal(&round_to_place(points, -2, Rounding::default())).ascii();
    match printed.contains('.') {
        true => printed.trim_end_matches('0').trim_end_matches('.').to_string(),
        false => printed,
    }
}

/// What is marked, and by what.
pub struct Marking<'a> {
    /// The items.
    pub marks: &'a Marks,
    /// The template, for other names of its quantities.
    pub template: Option<&'a Template>,
    /// What the notebook comes to.
    pub results: &'a Results,
    /// The verdicts.
    pub review: &'a Review,
    /// How far a result (by its symbol) is from the reference value of its unknown.
    pub reference: &'a dyn Fn(&str) -> FromReference,
}

impl Marking<'_> {
    /// What every item comes to, in the order of the items.
    pub fn awards(&self) -> Vec<Award> {
        let mut awards: Vec<Award> = self.marks.items.iter().map(|item| self.award(item)).collect();
        self.charge_once(&mut awards);
        awards
    }

    fn award(&self, item: &MarkItem) -> Award {
        let (points, why) = match &item.kind {
            MarkKind::Claim { of, digits } => self.of_claim(of, &item.points, digits),
            MarkKind::ByHand => (None, BY_HAND.to_string()),
            MarkKind::Accuracy { of, against, steps } => self.of_accuracy(of, *against, steps),
            MarkKind::Agreement { of, steps } => self.of_agreement(of, steps),
            MarkKind::Complete { each } => self.of_record(&item.points, each),
        };
        Award { item: item.name.clone(), points, possible: item.points.clone(), why, by_hand: false }
    }

    /// The names a notebook may use for what an item calls `of`.
    fn names(&self, of: &str) -> Vec<String> {
        names(self.template, of)
    }

    /// The claims an item is about: those per trial or of a scalar, else those of the mean.
    fn claims(&self, of: &str) -> Vec<(usize, &Claim, &ClaimReview)> {
        let counts = |claim: &Claim| {
            claim.trial.and_then(|trial| self.results.trials.get(trial)).is_none_or(Trial::counts)
        };
        let of_names = |names: &[String]| -> Vec<(usize, &Claim, &ClaimReview)> {
            let each = self.results.claims.iter().zip(&self.review.claims).enumerate();
            let all = each.map(|(index, (claim, review))| (index, claim, review));
            all.filter(|(_, claim, _)| counts(claim) && names.contains(&folded(&claim.of))).collect()
        };
        let names = self.names(of);
        let found = of_names(&names);
        if !found.is_empty() || of.starts_with("mean ") {
            return found;
        }
        let means: Vec<String> = names.iter().map(|name| format!("mean {name}")).collect();
        of_names(&means)
    }

    /// Points for value and digits, shared by the trials.
    fn of_claim(&self, of: &str, points: &Number, digits: &Number) -> (Option<Number>, String) {
        let claims = self.claims(of);
        if claims.is_empty() {
            return (Some(Number::zero()), "not claimed".to_string());
        }
        let unchecked = claims.iter().find_map(|(_, _, review)| match &review.value {
            ValueVerdict::CannotBeChecked(reason) => Some(reason.clone()),
            _ => None,
        });
        if let Some(reason) = unchecked {
            return (None, format!("cannot be checked: {reason}"));
        }
        let expected = self.expected(of, &claims);
        let right = claims.iter().filter(|(_, _, review)| review.value != ValueVerdict::Differs).count();
        let off = |digits: &Option<DigitsVerdict>| {
            matches!(digits, Some(DigitsVerdict::TooMany | DigitsVerdict::TooFew))
        };
        let fitting = claims.iter().filter(|(_, _, review)| !off(&review.digits)).count();
        let value = points.sub(digits).unwrap_or_else(|_| points.clone());
        let reached = share(&value, right, expected).add(&share(digits, fitting, expected));
        let mut why = counted(&claims, expected);
        if !digits.is_zero() && fitting < expected {
            why.push_str(&format!("; digits fit in {fitting} of {expected}"));
        }
        (reached.ok(), why)
    }

    /// How many claims there should be: one for each trial that counts and has a value, where it is claimed by trial.
    fn expected(&self, of: &str, claims: &[(usize, &Claim, &ClaimReview)]) -> usize {
        let by_trial = claims.iter().any(|(_, claim, _)| claim.trial.is_some());
        let values = self.quantity(of).map_or(0, |quantity| {
            let each = self.results.trials.iter().zip(&quantity.trials);
            each.filter(|(trial, outcome)| trial.counts() && outcome.value().is_some()).count()
        });
        if by_trial { values.max(claims.len()) } else { claims.len() }
    }

    fn quantity(&self, of: &str) -> Option<&QuantityResult> {
        quantity(self.results, self.template, of)
    }

    fn of_accuracy(&self, of: &str, against: Against, steps: &[MarkStep]) -> (Option<Number>, String) {
        let error = match against {
            Against::Reference => match (self.reference)(of) {
                FromReference::Error(error) => error,
                FromReference::None(reason) => return (None, reason),
            },
            Against::Theory => {
                let theory = self.quantity(of).and_then(|quantity| quantity.theory.as_ref());
                let error = theory.and_then(|theory| theory.percent_error.as_ref());
                // The percent error is kept in per cent.
                match error.and_then(|error| error.number.div(&Number::from_i64(100)).ok()) {
                    Some(error) => error,
                    None => return (Some(Number::zero()), "no result to hold against theory".to_string()),
                }
            }
        };
        by_steps(&error.abs(), steps, "off")
    }

    fn of_agreement(&self, of: &str, steps: &[MarkStep]) -> (Option<Number>, String) {
        let agreement = self.quantity(of).and_then(|quantity| quantity.agreement.as_ref());
        match agreement.filter(|agreement| agreement.numbers.n > 1).and_then(relative_range) {
            Some(range) => by_steps(&range, steps, "trials apart"),
            None => (Some(Number::zero()), "fewer than two trials".to_string()),
        }
    }

    fn of_record(&self, points: &Number, each: &Number) -> (Option<Number>, String) {
        let findings = self.results.findings.iter();
        let missing =
            findings.filter(|found| matches!(found.code, Code::MissingItem | Code::UntickedCheck)).count();
        let lost = each.mul(&whole(missing)).unwrap_or_else(|_| points.clone());
        let left = points.sub(&lost).unwrap_or_else(|_| Number::zero());
        let why = match missing {
            0 => "nothing is missing".to_string(),
            1 => "1 thing is missing".to_string(),
            many => format!("{many} things are missing"),
        };
        (Some(left.max(Number::zero())), why)
    }

    /// An item whose claims differ only by a slip that another item has been charged for has its points.
    fn charge_once(&self, awards: &mut [Award]) {
        let marked: Vec<Option<Vec<usize>>> =
            self.marks.items.iter().map(|item| self.differing(item)).collect();
        for index in 0..awards.len() {
            let Some(own) = marked[index].as_ref().filter(|own| !own.is_empty()) else { continue };
            let charged = |slip: usize| {
                marked.iter().enumerate().find(|(other, claims)| {
                    *other != index && claims.as_ref().is_some_and(|claims| claims.contains(&slip))
                })
            };
            let others: Vec<Option<usize>> = own
                .iter()
                .map(|claim| {
                    let first = self.review.claims[*claim].same_slip_as?;
                    // Another trial of the same item is no other item.
                    charged(first).filter(|_| !own.contains(&first)).map(|(other, _)| other)
                })
                .collect();
            if let Some(Some(other)) =
                others.iter().all(Option::is_some).then(|| others.first().copied().flatten())
                && let Some(points) = self.points_without_slip(index)
            {
                let name = &self.marks.items[other].name;
                awards[index].points = Some(points);
                awards[index].why = format!("the same slip as in {name}, counted once");
            }
        }
    }

    /// The claims of an item that differ; `None` for an item of another kind.
    fn differing(&self, item: &MarkItem) -> Option<Vec<usize>> {
        let MarkKind::Claim { of, .. } = &item.kind else { return None };
        let claims = self.claims(of);
        let differs =
            claims.iter().filter(|(_, _, review)| review.value == ValueVerdict::Differs).map(|(at, ..)| *at);
        Some(differs.collect())
    }

    /// The points of an item as if its claims agreed.
    fn points_without_slip(&self, index: usize) -> Option<Number> {
        let item = &self.marks.items[index];
        let MarkKind::Claim { of, digits } = &item.kind else { return None };
        let mut review = self.review.clone();
        for claim in self.differing(item)? {
            review.claims[claim].value = ValueVerdict::Agrees;
        }
        Marking { review: &review, ..*self }.of_claim(of, &item.points, digits).0
    }
}

/// The names a notebook may use for what a template calls `of`, as they are compared.
pub fn names(template: Option<&Template>, of: &str) -> Vec<String> {
    let (word, symbol) = of.strip_prefix("mean ").map_or(("", of), |symbol| ("mean ", symbol));
    let own = folded(symbol);
    let aliases = template.into_iter().flat_map(|template| &template.aliases);
    let others = aliases
        .filter(|alias| folded(&alias.symbol.value) == own)
        .flat_map(|alias| alias.others.iter().map(|other| folded(&other.value)));
    std::iter::once(own.clone()).chain(others).map(|name| format!("{word}{name}")).collect()
}

/// The result that a template calls `of`, under whatever name the notebook has for it.
pub fn quantity<'a>(
    results: &'a Results,
    template: Option<&Template>,
    of: &str,
) -> Option<&'a QuantityResult> {
    let find = |name: &String| results.quantities.iter().find(|found| folded(&found.symbol) == *name);
    names(template, of).iter().find_map(find)
}

/// A symbol as it is compared, with `mean` before it or not.
fn folded(symbol: &str) -> String {
    match symbol.trim().strip_prefix("mean ") {
        Some(symbol) => format!("mean {}", name_key(symbol)),
        None => name_key(symbol),
    }
}

fn relative_range(agreement: &AgreementResult) -> Option<Number> {
    agreement.numbers.range.div(&agreement.numbers.mean.abs()).ok()
}

fn by_steps(size: &Number, steps: &[MarkStep], what: &str) -> (Option<Number>, String) {
    let percent = size.mul(&Number::from_i64(100)).unwrap_or_else(|_| size.clone());
    let shown = Printed::of_decimal(&round_to_place(&percent, -2, Rounding::default())).ascii();
    match steps.iter().find(|step| *size <= step.within) {
        Some(step) => (Some(step.points.clone()), format!("{what} by {shown} %, within {}", step.words)),
        None => (Some(Number::zero()), format!("{what} by {shown} %")),
    }
}

fn counted(claims: &[(usize, &Claim, &ClaimReview)], expected: usize) -> String {
    let mut words: Vec<(&'static str, usize)> = Vec::new();
    for (_, _, review) in claims {
        match words.iter_mut().find(|(word, _)| *word == review.value.word()) {
            Some((_, count)) => *count += 1,
            None => words.push((review.value.word(), 1)),
        }
    }
    if expected > claims.len() {
        words.push(("not claimed", expected - claims.len()));
    }
    match words.as_slice() {
        [(word, _)] => (*word).to_string(),
        words => words.iter().map(|(word, count)| format!("{count} {word}")).collect::<Vec<_>>().join(", "),
    }
}

fn share(points: &Number, part: usize, of: usize) -> Number {
    let share = points.mul(&whole(part)).and_then(|points| points.div(&whole(of.max(1))));
    share.unwrap_or_else(|_| Number::zero())
}

fn whole(count: usize) -> Number {
    Number::from_i64(i64::try_from(count).unwrap_or(i64::MAX))
}
