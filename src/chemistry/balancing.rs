//! Balancing: the smallest whole coefficients of an equation, or why there are none.
//!
//! Every kind of atom, and the charge, gives one linear equation in the coefficients: left minus right is
//! zero. They are solved exactly. What can happen:
//!
//! - one solution up to a factor, all above zero: balanced;
//! - one solution with both signs: some species stand on the wrong side, and are named;
//! - only the zero solution: the smallest set of elements that contradict each other is named;
//! - several independent solutions: the equation is a sum of reactions that could run to any extent. It is
//!   not for arithmetic to choose among them, so the reactions are shown; coefficients that were written
//!   and do balance are taken.
//!
//! With several solutions, those without a negative coefficient form a cone. Its edges are found as the
//! solutions with as many zeros as possible (choose all but one degree of freedom to be zero). Their sum
//! is above zero everywhere exactly if any such solution is, which decides whether the equation can be
//! balanced at all.

use dashu_int::IBig;
use dashu_ratio::RBig;

use super::formula::Formula;
use super::formula_print::count_text;
use super::null_space::{edges, independent, null_space, smallest_whole};
use super::reaction::{Reaction, Side, Term};

/// Most independent reactions shown in a hint.
const MOST_SHOWN: usize = 4;

/// The row of the charge among the conditions.
const CHARGE: &str = "the charge";

/// A balanced equation.
#[derive(Clone, Debug, PartialEq)]
pub struct Balanced {
    /// The equation with a coefficient on every species.
    pub reaction: Reaction,
    /// What became of the coefficients that were written.
    pub given: Given,
}

/// How the written coefficients compare with the computed ones.
#[derive(Clone, Debug, PartialEq)]
pub enum Given {
    /// None was written.
    Nothing,
    /// They are the smallest whole ones.
    Right,
    /// They balance, this factor times the smallest whole ones.
    Multiple(RBig),
    /// They do not balance; what is unequal. The balanced equation holds the right ones.
    Wrong(Vec<Imbalance>),
    /// They balance, and were taken because the equation has this many independent solutions.
    Chosen(usize),
}

/// An element (or the charge) that written coefficients leave unequal.
#[derive(Clone, Debug, PartialEq)]
pub struct Imbalance {
    /// The element's symbol, or `the charge`.
    pub kind: String,
    /// Its total on the left.
    pub left: RBig,
    /// Its total on the right.
    pub right: RBig,
}

impl std::fmt::Display for Imbalance {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Imbalance { kind, left, right } = self;
        write!(f, "{kind}: {} on the left, {} on the right", signed_text(left), signed_text(right))
    }
}

/// Why an equation has no coefficients.
#[derive(Clone, Debug, PartialEq)]
pub enum BalanceProblem {
    /// A species that stands twice.
    Repeated {
        /// Its formula.
        species: String,
    },
    /// An element (or the charge) on one side only.
    OneSided {
        /// The element's symbol, or `the charge`.
        kind: String,
        /// The side it is on.
        side: Side,
    },
    /// Elements that cannot be equal on both sides at once (a smallest such set).
    Impossible {
        /// Their symbols, or `the charge`.
        kinds: Vec<String>,
    },
    /// The only solution has species on the other side.
    WrongSide {
        /// The species on the wrong side.
        species: Vec<String>,
        /// The equation with those species moved.
        mended: Box<Reaction>,
    },
    /// Species that no balanced equation holds on the side they are written on.
    Idle {
        /// Their formulas.
        species: Vec<String>,
    },
    /// Several independent solutions.
    UnderDetermined {
        /// How many.
        dimension: usize,
        /// Independent reactions that the equation is a sum of.
        reactions: Vec<Reaction>,
    },
}

impl BalanceProblem {
    /// What was found, lower case.
    pub fn message(&self) -> String {
        match self {
            BalanceProblem::Repeated { species } => format!("{species} stands in the equation twice"),
            BalanceProblem::OneSided { kind, side } => {
                format!("{kind} stands on the {} side only, so the equation cannot be balanced", side.word())
            }
            BalanceProblem::Impossible { kinds } if kinds.len() == 1 => {
                format!("{} cannot be equal on both sides, whatever the coefficients", listed(kinds))
            }
            BalanceProblem::Impossible { kinds } => {
                format!("no coefficients make {} equal on both sides", listed(kinds))
            }
            BalanceProblem::WrongSide { species, .. } => {
                format!(
                    "no positive coefficients balance the equation; on the wrong side: {}",
                    listed(species)
                )
            }
            BalanceProblem::Idle { species } => {
                format!(
                    "{} cannot take part as written: only a coefficient of zero balances",
                    listed(species)
                )
            }
            BalanceProblem::UnderDetermined { dimension, .. } => {
                format!(
                    "the coefficients are not unique: the equation is a sum of {dimension} independent reactions"
                )
            }
        }
    }

    /// How to mend it.
    pub fn hint(&self) -> String {
        match self {
            BalanceProblem::Repeated { .. } => {
                "write each species once, on the side where more of it is".to_owned()
            }
            BalanceProblem::OneSided { kind, side } if kind == CHARGE => {
                format!("the {} side carries a charge; ions or electrons (e^-) are missing", side.word())
            }
            BalanceProblem::OneSided { kind, side } => {
                format!(
                    "a species with {kind} is missing on the {} side, or a formula is mistyped",
                    other(*side)
                )
            }
            BalanceProblem::Impossible { .. } => "a species is missing, or a formula is mistyped".to_owned(),
            BalanceProblem::WrongSide { mended, .. } => format!("it balances as {}", mended.text()),
            BalanceProblem::Idle { species } => {
                format!("leave {} out, or add what is missing", listed(species))
            }
            BalanceProblem::UnderDetermined { reactions, .. } => {
                let texts: Vec<String> = reactions.iter().take(MOST_SHOWN).map(Reaction::text).collect();
                let more = if reactions.len() > MOST_SHOWN { " …" } else { "" };
                format!(
                    "write the coefficients, or one equation for each reaction: {}{more}",
                    texts.join("; ")
                )
            }
        }
    }
}

impl Reaction {
    /// The equation with its smallest whole coefficients.
    ///
    /// # Errors
    /// Why there are none, or more than one choice.
    pub fn balance(&self) -> Result<Balanced, BalanceProblem> {
        self.refuse_repeated()?;
        let conditions = self.conditions();
        one_sided(&conditions, self.left.len())?;
        let basis = null_space(&rows(&conditions), self.terms().count());
        match basis.as_slice() {
            [] => Err(impossible(&conditions, self.terms().count())),
            [only] => self.unique(only),
            several => self.choose(several),
        }
    }

    fn refuse_repeated(&self) -> Result<(), BalanceProblem> {
        let texts: Vec<String> = self.terms().map(|term| term.formula.text()).collect();
        let repeated =
            texts.iter().enumerate().find(|(at, text)| texts.iter().take(*at).any(|before| before == *text));
        match repeated {
            Some((_, species)) => Err(BalanceProblem::Repeated { species: species.clone() }),
            None => Ok(()),
        }
    }

    /// One condition per kind of atom and one for the charge: the counts, left positive, right negative.
    fn conditions(&self) -> Vec<(String, Vec<RBig>)> {
        let mut conditions: Vec<(String, Vec<RBig>)> = Vec::new();
        let columns = self.terms().count();
        for (column, term) in self.terms().enumerate() {
            let sign = if column < self.left.len() { RBig::ONE } else { -RBig::ONE };
            let charge = (CHARGE.to_owned(), RBig::from(term.formula.charge()));
            let counts = term.formula.composition_as_written().into_iter().chain([charge]);
            for (kind, count) in counts.filter(|(_, count)| !count.is_zero()) {
                let row = row_of(&mut conditions, kind, columns);
                // Rows are made with one place per column.
                row[column] = count * &sign;
            }
        }
        conditions
    }

    fn unique(&self, vector: &[RBig]) -> Result<Balanced, BalanceProblem> {
        let whole = smallest_whole(vector);
        if whole.iter().all(|coefficient| *coefficient > IBig::ZERO) {
            let given = self.compare(&whole);
            return Ok(Balanced { reaction: self.with_coefficients(&whole), given });
        }
        if whole.iter().any(|coefficient| *coefficient < IBig::ZERO) {
            return Err(self.wrong_side(&whole));
        }
        Err(BalanceProblem::Idle {
            species: self.species_where(&whole, |coefficient| *coefficient == IBig::ZERO),
        })
    }

    fn wrong_side(&self, whole: &[IBig]) -> BalanceProblem {
        let species = self.species_where(whole, |coefficient| *coefficient < IBig::ZERO);
        BalanceProblem::WrongSide { species, mended: Box::new(self.with_coefficients(whole)) }
    }

    fn species_where(&self, whole: &[IBig], wanted: impl Fn(&IBig) -> bool) -> Vec<String> {
        let pairs = self.terms().zip(whole);
        pairs.filter(|(_, coefficient)| wanted(coefficient)).map(|(term, _)| term.formula.text()).collect()
    }

    /// The equation with these coefficients; negative ones on the other side, zero ones left out.
    fn with_coefficients(&self, whole: &[IBig]) -> Reaction {
        let mut sides = (Vec::new(), Vec::new());
        for (column, (term, coefficient)) in self.terms().zip(whole).enumerate() {
            let on_left = (column < self.left.len()) == (*coefficient > IBig::ZERO);
            let size = RBig::from(if *coefficient < IBig::ZERO { -coefficient } else { coefficient.clone() });
            let moved =
                Term { coefficient: Some(size), formula: term.formula.clone(), range: term.range.clone() };
            match (*coefficient == IBig::ZERO, on_left) {
                (true, _) => {}
                (_, true) => sides.0.push(moved),
                (_, false) => sides.1.push(moved),
            }
        }
        Reaction { left: sides.0, right: sides.1, arrow: self.arrow }
    }

    /// The written coefficients, one where none stands, if any is written.
    fn written(&self) -> Option<Vec<RBig>> {
        let any = self.terms().any(|term| term.coefficient.is_some());
        any.then(|| self.terms().map(|term| term.coefficient.clone().unwrap_or(RBig::ONE)).collect())
    }

    fn compare(&self, whole: &[IBig]) -> Given {
        let Some(written) = self.written() else { return Given::Nothing };
        let imbalances = self.imbalances(&written);
        // The solution is unique up to a factor, so what balances is a multiple of it.
        match (imbalances.is_empty(), written.first(), whole.first()) {
            (true, Some(written), Some(whole)) => match written / RBig::from(whole.clone()) {
                factor if factor == RBig::ONE => Given::Right,
                factor => Given::Multiple(factor),
            },
            _ => Given::Wrong(imbalances),
        }
    }

    fn imbalances(&self, coefficients: &[RBig]) -> Vec<Imbalance> {
        let total = |row: &[RBig], side: Side| {
            let here = |(column, _): &(usize, &RBig)| (*column < self.left.len()) == (side == Side::Left);
            let terms = row.iter().enumerate().filter(here);
            let sum = terms.filter_map(|(column, count)| Some(count * coefficients.get(column)?));
            sum.fold(RBig::ZERO, |sum, part| sum + part)
        };
        let both = |(kind, row): (String, Vec<RBig>)| Imbalance {
            left: total(&row, Side::Left),
            right: -total(&row, Side::Right),
            kind,
        };
        self.conditions().into_iter().map(both).filter(|pair| pair.left != pair.right).collect()
    }

    /// Several independent solutions: written coefficients that balance, or the reactions to choose from.
    fn choose(&self, basis: &[Vec<RBig>]) -> Result<Balanced, BalanceProblem> {
        if let Some(written) = self.written().filter(|written| self.imbalances(written).is_empty()) {
            let scaled = smallest_whole(&written);
            return Ok(Balanced {
                reaction: self.with_coefficients(&scaled),
                given: Given::Chosen(basis.len()),
            });
        }
        let Some(edges) = edges(basis) else { return Err(self.under_determined(basis, basis)) };
        let covered = |column: usize| edges.iter().any(|edge| edge.get(column).is_some_and(|c| !c.is_zero()));
        let idle = |(column, term): (usize, &Term)| (!covered(column)).then(|| term.formula.text());
        let idle: Vec<String> = self.terms().enumerate().filter_map(idle).collect();
        match idle.is_empty() {
            true => Err(self.under_determined(basis, &edges)),
            false => Err(BalanceProblem::Idle { species: idle }),
        }
    }

    fn under_determined(&self, basis: &[Vec<RBig>], vectors: &[Vec<RBig>]) -> BalanceProblem {
        let chosen = independent(vectors, basis.len());
        let reactions = chosen.iter().map(|vector| self.with_coefficients(&smallest_whole(vector))).collect();
        BalanceProblem::UnderDetermined { dimension: basis.len(), reactions }
    }
}

impl Balanced {
    /// The coefficient of a species, whatever its state; `None` where it does not take part.
    pub fn coefficient(&self, species: &Formula) -> Option<RBig> {
        let found = self.reaction.terms().find(|term| term.formula.same_substance(species));
        found.and_then(|term| term.coefficient.clone())
    }

    /// ν(upper)/ν(lower): moles of `upper` per mole of `lower`; `None` where one does not take part.
    pub fn ratio(&self, upper: &Formula, lower: &Formula) -> Option<RBig> {
        // Coefficients of a balanced equation are above zero.
        Some(self.coefficient(upper)? / self.coefficient(lower)?)
    }
}

fn row_of(rows: &mut Vec<(String, Vec<RBig>)>, kind: String, columns: usize) -> &mut Vec<RBig> {
    let place = rows.iter().position(|(other, _)| *other == kind).unwrap_or_else(|| {
        rows.push((kind, vec![RBig::ZERO; columns]));
        rows.len() - 1
    });
    // The place was just found or made.
    &mut rows[place].1
}

fn rows(conditions: &[(String, Vec<RBig>)]) -> Vec<Vec<RBig>> {
    conditions.iter().map(|(_, row)| row.clone()).collect()
}

/// A condition whose counts all have one sign forces coefficients of zero.
fn one_sided(conditions: &[(String, Vec<RBig>)], left: usize) -> Result<(), BalanceProblem> {
    for (kind, row) in conditions {
        let (above, below) = (row.iter().any(|c| *c > RBig::ZERO), row.iter().any(|c| *c < RBig::ZERO));
        if above != below {
            return Err(lacking(kind, row, left));
        }
    }
    Ok(())
}

/// Atoms with one sign are on one side; charges with one sign may be opposite ones on both sides.
fn lacking(kind: &str, row: &[RBig], left: usize) -> BalanceProblem {
    let on_left = row.iter().take(left).any(|count| !count.is_zero());
    let on_right = row.iter().skip(left).any(|count| !count.is_zero());
    match (on_left, on_right) {
        (true, true) => BalanceProblem::Impossible { kinds: vec![kind.to_owned()] },
        (left, _) => {
            let side = if left { Side::Left } else { Side::Right };
            BalanceProblem::OneSided { kind: kind.to_owned(), side }
        }
    }
}

/// The smallest set of conditions that still allow no coefficients but zero.
fn impossible(conditions: &[(String, Vec<RBig>)], columns: usize) -> BalanceProblem {
    let mut kept = conditions.to_vec();
    let mut at = 0;
    while at < kept.len() {
        let mut fewer = kept.clone();
        fewer.remove(at);
        if null_space(&rows(&fewer), columns).is_empty() {
            kept = fewer;
        } else {
            at += 1;
        }
    }
    BalanceProblem::Impossible { kinds: kept.into_iter().map(|(kind, _)| kind).collect() }
}

fn listed(items: &[String]) -> String {
    match items.split_last() {
        Some((last, others)) if !others.is_empty() => format!("{} and {last}", others.join(", ")),
        _ => items.concat(),
    }
}

fn other(side: Side) -> &'static str {
    match side {
        Side::Left => Side::Right.word(),
        Side::Right => Side::Left.word(),
    }
}

fn signed_text(value: &RBig) -> String {
    match *value < RBig::ZERO {
        true => format!("-{}", count_text(&-value.clone())),
        false => count_text(value),
    }
}
