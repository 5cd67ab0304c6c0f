//! Properties of the algebra of loads: what it finds is right, and it finds a mass exactly where one follows.

use proptest::prelude::*;
use reweigh::quantity::Number;
use reweigh::weighing::Load;
use reweigh::weighing::algebra::Algebra;

const THINGS: [&str; 6] = ["crucible", "lid", "sample", "residue", "flux", "rod"];

/// A load as the set of its things, one bit each.
fn load(bits: u8) -> Load {
    Load::of(THINGS.iter().enumerate().filter(|(index, _)| bits >> index & 1 == 1).map(|(_, thing)| *thing))
}

fn mass(bits: u8, masses: &[i64]) -> Number {
    let sum =
        masses.iter().enumerate().filter(|(index, _)| bits >> index & 1 == 1).map(|(_, mass)| mass).sum();
    Number::from_i64(sum)
}

/// The rank of sets of things as vectors of ones and zeros, by elimination over whole numbers.
fn rank(rows: &[u8]) -> usize {
    let mut rows: Vec<Vec<i128>> = rows
        .iter()
        .map(|bits| (0..THINGS.len()).map(|index| i128::from(bits >> index & 1)).collect())
        .collect();
    let mut rank = 0;
    for column in 0..THINGS.len() {
        let Some(pivot) = (rank..rows.len()).find(|row| rows[*row][column] != 0) else { continue };
        rows.swap(rank, pivot);
        let top = rows[rank].clone();
        for row in rows.iter_mut().skip(rank + 1) {
            let (a, b) = (top[column], row[column]);
            for (entry, above) in row.iter_mut().zip(&top) {
                *entry = *entry * a - above * b;
            }
        }
        rank += 1;
    }
    rank
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// Whatever route is taken, it gives the mass that the things have.
    #[test]
    fn a_route_gives_the_mass(
        loads in prop::collection::vec(1u8..64, 1..8),
        target in 1u8..64,
        masses in prop::collection::vec(1i64..1_000_000, 6),
    ) {
        let weighed: Vec<Load> = loads.iter().map(|bits| load(*bits)).collect();
        let weighed: Vec<&Load> = weighed.iter().collect();
        if let Some(route) = Algebra::of(&weighed).route(&load(target)) {
            let sum = route.iter().fold(Number::zero(), |sum, (index, coefficient)| {
                sum.add(&coefficient.mul(&mass(loads[*index], &masses)).unwrap()).unwrap()
            });
            prop_assert_eq!(sum, mass(target, &masses));
        }
    }

    /// A mass follows exactly where its things add nothing to the rank of the loads.
    #[test]
    fn a_mass_is_known_where_it_follows_uniquely(loads in prop::collection::vec(1u8..64, 1..8), target in 1u8..64) {
        let weighed: Vec<Load> = loads.iter().map(|bits| load(*bits)).collect();
        let weighed: Vec<&Load> = weighed.iter().collect();
        let known = Algebra::of(&weighed).route(&load(target)).is_some();
        let with: Vec<u8> = loads.iter().copied().chain([target]).collect();
        prop_assert_eq!(known, rank(&with) == rank(&loads));
    }

    /// Every load too many is told, and its other way gives the same mass.
    #[test]
    fn loads_too_many_are_told(
        loads in prop::collection::btree_set(1u8..64, 1..10),
        masses in prop::collection::vec(1i64..1_000_000, 6),
    ) {
        let loads: Vec<u8> = loads.into_iter().collect();
        let weighed: Vec<Load> = loads.iter().map(|bits| load(*bits)).collect();
        let weighed: Vec<&Load> = weighed.iter().collect();
        let redundant = Algebra::of(&weighed).redundant();
        prop_assert_eq!(redundant.len(), loads.len() - rank(&loads));
        for (index, others) in redundant {
            let sum = others.iter().fold(Number::zero(), |sum, (other, coefficient)| {
                sum.add(&coefficient.mul(&mass(loads[*other], &masses)).unwrap()).unwrap()
            });
            prop_assert_eq!(sum, mass(loads[index], &masses));
        }
    }
}
