//! Balancing of random equations against an independent count.
//!
//! Equations are made from tables of counts, never from texts, and what the crate answers is held against those tables:
//! sums of every element and of the charge in whole numbers, the number of independent solutions by elimination over
//! two prime fields. Some equations are made so that a solution is known beforehand; others are thrown together.

use std::collections::BTreeMap;

use dashu_int::IBig;
use dashu_int::ops::Gcd;
use dashu_ratio::RBig;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use reweigh::chemistry::{BalanceProblem, Balanced, Given, Reaction, Side};

const ELEMENTS: [&str; 7] = ["C", "H", "O", "N", "Fe", "S", "Na"];
/// Rows of a table: the elements, then the charge.
const ROWS: usize = ELEMENTS.len() + 1;
const CHARGE: usize = ELEMENTS.len();

/// How many atoms of each element a species has, and its charge.
type Species = [i64; ROWS];

fn text(species: &Species) -> String {
    let atom = |(symbol, count): (&&str, &i64)| match count {
        0 => String::new(),
        1 => (*symbol).to_owned(),
        count => format!("{symbol}{count}"),
    };
    let atoms: String = ELEMENTS.iter().zip(species).map(atom).collect();
    let (atoms, charge) = (if atoms.is_empty() { "e" } else { &atoms }, species[CHARGE]);
    match charge {
        0 => atoms.to_owned(),
        charge => format!("{atoms}^{}{}", charge.abs(), if charge > 0 { '+' } else { '-' }),
    }
}

/// An equation as a table.
#[derive(Clone, Debug)]
struct Equation {
    left: Vec<Species>,
    right: Vec<Species>,
}

impl Equation {
    fn species(&self) -> Vec<Species> {
        self.left.iter().chain(&self.right).copied().collect()
    }

    /// Species with the sign of their side.
    fn columns(&self) -> Vec<Species> {
        let right = self.right.iter().map(|species| species.map(|count| -count));
        self.left.iter().copied().chain(right).collect()
    }

    fn repeats(&self) -> bool {
        let species = self.species();
        species.iter().enumerate().any(|(at, one)| species[..at].contains(one))
    }

    /// Its text, with coefficients where they are given.
    fn reaction(&self, coefficients: Option<&[i64]>) -> Reaction {
        let term = |(at, species): (usize, &Species)| match coefficients {
            Some(coefficients) => format!("{} {}", coefficients[at], text(species)),
            None => text(species),
        };
        let species = self.species();
        let terms: Vec<String> = species.iter().enumerate().map(term).collect();
        let (left, right) = terms.split_at(self.left.len());
        let written = format!("{} -> {}", left.join(" + "), right.join(" + "));
        Reaction::parse(&written).unwrap_or_else(|error| panic!("{written}: {error}"))
    }

    /// The coefficients of a computed equation by species, those on the other side negative, absent ones zero.
    fn vector(&self, reaction: &Reaction) -> Vec<IBig> {
        let texts: Vec<String> = self.species().iter().map(|species| spelled(&text(species))).collect();
        let mut vector = vec![IBig::ZERO; texts.len()];
        for (terms, left) in [(&reaction.left, true), (&reaction.right, false)] {
            for term in terms {
                let at = texts
                    .iter()
                    .position(|text| *text == term.formula.text())
                    .expect("a species of the equation");
                let count = term.coefficient.clone().expect("a computed coefficient");
                assert!(count.is_int() && count > RBig::ZERO && vector[at].is_zero(), "{}", reaction.text());
                let own_side = (at < self.left.len()) == left;
                vector[at] = if own_side { count.numerator().clone() } else { -count.numerator().clone() };
            }
        }
        vector
    }

    fn balances(&self, vector: &[IBig]) -> bool {
        let columns = self.columns();
        (0..ROWS).all(|row| {
            let parts = columns.iter().zip(vector).map(|(column, count)| count * IBig::from(column[row]));
            parts.fold(IBig::ZERO, |sum, part| sum + part).is_zero()
        })
    }

    /// Independent solutions of the equation.
    fn nullity(&self) -> usize {
        nullity(&self.columns(), &[true; ROWS])
    }
}

/// A formula as the crate spells it (`^1+` becomes `^+`).
fn spelled(text: &str) -> String {
    reweigh::chemistry::Formula::parse(text).expect("a formula").text()
}

// Ranks over prime fields. A rank found there is at most the rank over the fractions, and less only where the
// prime divides every largest minor; two primes near 2^61 and 2^31 leave no such case to meet.

const PRIMES: [i128; 2] = [(1 << 61) - 1, (1 << 31) - 1];

fn nullity(columns: &[Species], rows: &[bool; ROWS]) -> usize {
    let kept = |row: &usize| rows[*row];
    let matrix: Vec<Vec<i128>> = (0..ROWS)
        .filter(kept)
        .map(|row| columns.iter().map(|column| i128::from(column[row])).collect())
        .collect();
    columns.len() - PRIMES.iter().map(|prime| rank(&matrix, *prime)).max().unwrap_or(0)
}

fn rank(matrix: &[Vec<i128>], prime: i128) -> usize {
    let columns = matrix.first().map_or(0, Vec::len);
    let mut rows: Vec<Vec<i128>> =
        matrix.iter().map(|row| row.iter().map(|value| value.rem_euclid(prime)).collect()).collect();
    let mut rank = 0;
    for column in 0..columns {
        let Some(found) = (rank..rows.len()).find(|row| rows[*row][column] != 0) else { continue };
        rows.swap(rank, found);
        let inverse = power(rows[rank][column], prime - 2, prime);
        let leading = rows[rank].clone();
        for row in rows.iter_mut().skip(rank + 1) {
            let factor = row[column] * inverse % prime;
            for (value, lead) in row.iter_mut().zip(&leading) {
                *value = (*value - factor * lead).rem_euclid(prime);
            }
        }
        rank += 1;
    }
    rank
}

fn power(base: i128, exponent: i128, prime: i128) -> i128 {
    let (mut result, mut square, mut rest) = (1, base, exponent);
    while rest > 0 {
        if rest & 1 == 1 {
            result = result * square % prime;
        }
        square = square * square % prime;
        rest >>= 1;
    }
    result
}

fn rank_of_vectors(vectors: &[Vec<IBig>]) -> usize {
    let small = |value: &IBig| i128::try_from(value.clone()).expect("small coefficients");
    let matrix: Vec<Vec<i128>> = vectors.iter().map(|vector| vector.iter().map(small).collect()).collect();
    PRIMES.iter().map(|prime| rank(&matrix, *prime)).max().unwrap_or(0)
}

#[test]
fn ranks_over_prime_fields() {
    let matrix = |rows: &[&[i128]]| rows.iter().map(|row| row.to_vec()).collect::<Vec<_>>();
    for prime in PRIMES {
        assert_eq!(rank(&matrix(&[&[1, 2, 3], &[2, 4, 6], &[1, 0, -1]]), prime), 2);
        assert_eq!(rank(&matrix(&[&[0, 0], &[0, 0]]), prime), 0);
        assert_eq!(rank(&matrix(&[&[2, -3], &[5, 7]]), prime), 2);
    }
}

// Making equations.

/// Few elements in most species, as in real ones.
fn species(charged: bool) -> impl Strategy<Value = Species> {
    let count = prop_oneof![3 => Just(0i64), 2 => 1i64..4, 1 => 4i64..13];
    let charge = if charged { -3i64..4 } else { 0..1 };
    (prop::collection::vec(count, ELEMENTS.len()), 0..ELEMENTS.len(), charge).prop_map(
        |(counts, least, charge)| {
            let mut species = [0; ROWS];
            species[..ELEMENTS.len()].copy_from_slice(&counts);
            species[least] = species[least].max(1);
            species[CHARGE] = charge;
            species
        },
    )
}

/// An equation with a solution in whole numbers above zero without a common divisor. The right side is cut from
/// what the left side adds up to: some of the atoms still there for each species, all the rest for the last one.
/// The charge a formula may have ends at 99.
fn solvable() -> impl Strategy<Value = (Equation, Vec<i64>)> {
    let left = |charged| prop::collection::vec((1i64..13, species(charged)), 1..6);
    let shares = (prop::collection::vec(0i64..8, ELEMENTS.len()), 1i64..9, -2i64..3);
    let right = prop::collection::vec(shares, 0..6);
    let made = (any::<bool>().prop_flat_map(left), right, any::<bool>()).prop_map(cut);
    made.prop_filter("a charge a formula can have", |(equation, _)| {
        equation.species().iter().all(|species| species[CHARGE].abs() <= 99)
    })
}

/// Coefficients and species of a left side.
type Sum = Vec<(i64, Species)>;
/// Of each element so many eighths of what is left, a coefficient, a charge.
type Share = (Vec<i64>, i64, i64);

fn cut((left, right, together): (Sum, Vec<Share>, bool)) -> (Equation, Vec<i64>) {
    let mut rest = [0; ROWS];
    for (coefficient, species) in &left {
        rest.iter_mut().zip(species).for_each(|(rest, count)| *rest += coefficient * count);
    }
    let mut solved = left;
    let lefts = solved.len();
    for (eighths, coefficient, charge) in right {
        let mut species = [0; ROWS];
        for (row, share) in eighths.iter().enumerate() {
            species[row] = rest[row] * share / 8 / coefficient;
        }
        if species == [0; ROWS] {
            continue;
        }
        species[CHARGE] = charge;
        rest.iter_mut().zip(&species).for_each(|(rest, count)| *rest -= coefficient * count);
        solved.push((coefficient, species));
    }
    let common = if together { rest.iter().copied().fold(0, gcd) } else { 1 };
    solved.push((common, rest.map(|count| count / common)));
    let divisor = solved.iter().map(|(coefficient, _)| *coefficient).fold(0, gcd);
    let coefficients = solved.iter().map(|(coefficient, _)| coefficient / divisor).collect();
    let all: Vec<Species> = solved.into_iter().map(|(_, species)| species).collect();
    (Equation { left: all[..lefts].to_vec(), right: all[lefts..].to_vec() }, coefficients)
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a.abs() } else { gcd(b, a % b) }
}

/// Species thrown together; of few elements, so that every outcome occurs.
fn thrown() -> impl Strategy<Value = Equation> {
    let small = (prop::collection::vec(0i64..4, 3), prop_oneof![4 => Just(0i64), 1 => -2i64..3]);
    let species = small.prop_map(|(counts, charge)| {
        let mut species = [0; ROWS];
        species[..3].copy_from_slice(&counts);
        species[0] += i64::from(counts.iter().all(|count| *count == 0));
        species[CHARGE] = charge;
        species
    });
    let side = || prop::collection::vec(species.clone(), 1..4);
    (side(), side()).prop_map(|(left, right)| Equation { left, right })
}

// What must hold.

fn whole(values: &[i64]) -> Vec<IBig> {
    values.iter().copied().map(IBig::from).collect()
}

/// Whole numbers above zero without a common divisor that balance.
fn check_coefficients(equation: &Equation, balanced: &Balanced) {
    let vector = equation.vector(&balanced.reaction);
    assert!(equation.balances(&vector), "{}", balanced.reaction.text());
    assert!(vector.iter().all(|count| *count > IBig::ZERO), "{}", balanced.reaction.text());
    let magnitudes = vector.iter().map(|count| count.clone().into_parts().1);
    let divisor = magnitudes.reduce(|a, b| a.gcd(&b)).expect("a species");
    assert!(divisor.is_one(), "{}", balanced.reaction.text());
}

/// Independent reactions, as many as there are solutions, each balanced on the sides its species were written on,
/// with every species in one of them: their sum shows that the whole can be balanced.
fn check_family(equation: &Equation, reactions: &[Reaction]) {
    let vectors: Vec<Vec<IBig>> = reactions.iter().map(|reaction| equation.vector(reaction)).collect();
    for (vector, reaction) in vectors.iter().zip(reactions) {
        assert!(equation.balances(vector), "{}", reaction.text());
        assert!(vector.iter().all(|count| *count >= IBig::ZERO), "{}", reaction.text());
    }
    assert_eq!(rank_of_vectors(&vectors), equation.nullity());
    assert_eq!(reactions.len(), equation.nullity());
    let sum = |at: usize| vectors.iter().fold(IBig::ZERO, |sum, vector| sum + &vector[at]);
    assert!((0..equation.species().len()).all(|at| sum(at) > IBig::ZERO));
}

/// The counts of a row, left positive and right negative, are of one sign only.
fn one_sign(equation: &Equation, row: usize) -> bool {
    let signs = || equation.columns().into_iter().map(move |column| column[row].signum());
    signs().any(|sign| sign == 1) != signs().any(|sign| sign == -1)
}

/// The side whose species alone hold a row.
fn only_side(equation: &Equation, row: usize) -> Option<Side> {
    let holds = |side: &[Species]| side.iter().any(|species| species[row] != 0);
    match (holds(&equation.left), holds(&equation.right)) {
        (true, false) => Some(Side::Left),
        (false, true) => Some(Side::Right),
        _ => None,
    }
}

fn row(kind: &str) -> usize {
    ELEMENTS.iter().position(|symbol| *symbol == kind).unwrap_or(CHARGE)
}

/// One condition whose counts have one sign (like charges of opposite signs on the two sides); or conditions that
/// together allow nothing but zeros, none of which can be left out.
fn check_contradiction(equation: &Equation, kinds: &[String]) {
    if kinds.len() == 1 && one_sign(equation, row(&kinds[0])) {
        return;
    }
    let mut rows = [false; ROWS];
    kinds.iter().for_each(|kind| rows[row(kind)] = true);
    assert_eq!(nullity(&equation.columns(), &rows), 0);
    for kind in kinds {
        let mut fewer = rows;
        fewer[row(kind)] = false;
        assert!(nullity(&equation.columns(), &fewer) > 0, "{kind} is not needed among {kinds:?}");
    }
}

/// Coefficients from 0 to 4 that balance, with one species taking part.
fn takes_part(equation: &Equation, at: usize) -> bool {
    let columns = equation.columns();
    (0..5usize.pow(columns.len() as u32)).any(|number| {
        let count = |column: usize| (number / 5usize.pow(column as u32) % 5) as i64;
        let sum =
            |row: usize| columns.iter().enumerate().map(|(at, column)| count(at) * column[row]).sum::<i64>();
        count(at) > 0 && (0..ROWS).all(|row| sum(row) == 0)
    })
}

fn check_idle(equation: &Equation, idle: &[String]) {
    for (at, species) in equation.species().iter().enumerate() {
        let named = idle.contains(&spelled(&text(species)));
        assert!(!(named && takes_part(equation, at)), "{} can take part", text(species));
    }
    assert!(!idle.is_empty());
}

fn check_problem(equation: &Equation, problem: &BalanceProblem) {
    match problem {
        BalanceProblem::Repeated { .. } => assert!(equation.repeats()),
        BalanceProblem::OneSided { kind, side } => {
            assert!(one_sign(equation, row(kind)));
            assert_eq!(only_side(equation, row(kind)), Some(*side));
        }
        BalanceProblem::Impossible { kinds } => check_contradiction(equation, kinds),
        // The one solution there is has both signs, so no other can be above zero everywhere.
        BalanceProblem::WrongSide { species, mended } => {
            let vector = equation.vector(mended);
            assert!(equation.balances(&vector) && equation.nullity() == 1);
            let negative = vector.iter().filter(|count| **count < IBig::ZERO).count();
            assert_eq!(negative, species.len());
            assert!(negative > 0 && vector.iter().any(|count| *count > IBig::ZERO));
        }
        BalanceProblem::Idle { species } => check_idle(equation, species),
        BalanceProblem::UnderDetermined { dimension, reactions } => {
            assert!(*dimension >= 2 && *dimension == equation.nullity());
            check_family(equation, reactions);
        }
    }
}

fn outcome(equation: &Equation) -> &'static str {
    match equation.reaction(None).balance() {
        Ok(_) => "balanced",
        Err(BalanceProblem::Repeated { .. }) => "repeated",
        Err(BalanceProblem::OneSided { .. }) => "one-sided",
        Err(BalanceProblem::Impossible { .. }) => "impossible",
        Err(BalanceProblem::WrongSide { .. }) => "wrong side",
        Err(BalanceProblem::Idle { .. }) => "idle",
        Err(BalanceProblem::UnderDetermined { .. }) => "under-determined",
    }
}

fn outcomes<T: std::fmt::Debug>(
    made: impl Strategy<Value = T>,
    equation: impl Fn(&T) -> &Equation,
) -> BTreeMap<&'static str, usize> {
    let mut runner = TestRunner::deterministic();
    let mut seen = BTreeMap::new();
    for _ in 0..1500 {
        let value = made.new_tree(&mut runner).expect("an equation").current();
        *seen.entry(outcome(equation(&value))).or_insert(0) += 1;
    }
    seen
}

/// The two ways of making equations reach every answer there is, and the ones that matter often.
#[test]
fn every_outcome_occurs() {
    let solved = outcomes(solvable(), |(equation, _)| equation);
    let thrown = outcomes(thrown(), |equation| equation);
    let often = |seen: &BTreeMap<_, usize>, what: &str| seen.get(what).copied().unwrap_or(0) >= 15;
    assert!(often(&solved, "balanced") && often(&solved, "under-determined"), "{solved:?}");
    for what in ["balanced", "one-sided", "impossible", "wrong side", "idle", "under-determined", "repeated"]
    {
        assert!(often(&thrown, what), "{what}: {thrown:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    /// A known solution is found where it is the only one; where it is one of several, none is picked.
    #[test]
    fn a_solvable_equation_is_solved_or_said_to_have_several_solutions((equation, known) in solvable()) {
        prop_assume!(!equation.repeats());
        prop_assert!(equation.balances(&whole(&known)));
        match (equation.nullity(), equation.reaction(None).balance()) {
            (1, Ok(balanced)) => {
                check_coefficients(&equation, &balanced);
                prop_assert_eq!(equation.vector(&balanced.reaction), whole(&known));
                prop_assert_eq!(balanced.given, Given::Nothing);
            }
            (solutions @ 2.., Err(BalanceProblem::UnderDetermined { dimension, reactions })) => {
                prop_assert_eq!(dimension, solutions);
                check_family(&equation, &reactions);
            }
            (solutions, found) => prop_assert!(false, "{solutions} solutions, but {found:?}"),
        }
    }

    /// Written coefficients that balance are kept, up to a factor, also where there are several solutions.
    #[test]
    fn written_coefficients_that_balance_are_recognised((equation, known) in solvable(), times in 1i64..5) {
        prop_assume!(!equation.repeats());
        let written: Vec<i64> = known.iter().map(|count| count * times).collect();
        let balanced = equation.reaction(Some(&written)).balance().expect("it balances");
        prop_assert_eq!(equation.vector(&balanced.reaction), whole(&known));
        prop_assert_eq!(balanced.given, match (equation.nullity(), times) {
            (1, 1) => Given::Right,
            (1, times) => Given::Multiple(RBig::from(times)),
            (several, _) => Given::Chosen(several),
        });
    }

    /// One written coefficient that is off is noticed, and what it leaves unequal is told.
    #[test]
    fn a_written_coefficient_that_is_off_is_noticed((equation, known) in solvable(), place in any::<prop::sample::Index>()) {
        prop_assume!(!equation.repeats() && equation.nullity() == 1);
        let mut written = known.clone();
        let at = place.index(written.len());
        written[at] += 1;
        let balanced = equation.reaction(Some(&written)).balance().expect("it balances");
        prop_assert_eq!(equation.vector(&balanced.reaction), whole(&known));
        let Given::Wrong(unequal) = balanced.given else { panic!("{:?}", balanced.given) };
        let rows = (0..ROWS).filter(|row| equation.species()[at][*row] != 0).count();
        prop_assert_eq!(unequal.len(), rows);
    }

    /// Whatever is thrown together: an answer is right, and a refusal has its reason.
    #[test]
    fn an_equation_thrown_together_gets_an_answer_that_holds(equation in thrown()) {
        match equation.reaction(None).balance() {
            Ok(balanced) => {
                check_coefficients(&equation, &balanced);
                prop_assert!(equation.nullity() == 1 && !equation.repeats());
            }
            Err(problem) => check_problem(&equation, &problem),
        }
    }
}
