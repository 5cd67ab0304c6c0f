//! The algebra of loads: each load weighed is one linear equation in the masses of its things.
//!
//! A mass is known if it follows uniquely. The shortest way is taken: the load itself, the difference of two
//! loads, else a combination found by elimination over exact fractions. Loads that also follow from others
//! are told, so that two ways to one mass can be compared.

use super::load::Load;
use crate::quantity::Number;
use hashbrown::DefaultHashBuilder;

/// A map by things or loads, which it may borrow to its end.
type Map<K, V> = std::collections::HashMap<K, V, DefaultHashBuilder>;

/// A mass as Σ coefficient × load, by the index of the load.
pub type Combination = Vec<(usize, Number)>;

/// The loads of one trial that have a reading.
#[derive(Debug)]
pub struct Algebra<'a> {
    loads: Vec<&'a Load>,
    by_load: Map<&'a Load, usize>,
    /// The loads that hold a thing, in the order written.
    holding: Map<&'a str, Vec<usize>>,
    basis: Option<Basis>,
    /// What was asked for before: every trial asks for the same masses.
    routes: Map<Load, Option<Combination>>,
}

impl<'a> Algebra<'a> {
    /// The equations of these loads (index and load).
    pub fn of(loads: &[&'a Load]) -> Self {
        let by_load = loads.iter().enumerate().rev().map(|(index, load)| (*load, index)).collect();
        let mut holding: Map<&str, Vec<usize>> = Map::default();
        for (index, load) in loads.iter().enumerate() {
            load.things.iter().for_each(|thing| holding.entry(thing).or_default().push(index));
        }
        Algebra { loads: loads.to_vec(), by_load, holding, basis: None, routes: Map::default() }
    }

    /// How the mass of a load follows from the loads weighed, if it does.
    pub fn route(&mut self, target: &Load) -> Option<Combination> {
        if let Some(known) = self.routes.get(target) {
            return known.clone();
        }
        let direct = self.direct(target).or_else(|| self.difference(target));
        let route = direct.or_else(|| self.basis().solve(target));
        self.routes.insert(target.clone(), route.clone());
        route
    }

    fn direct(&self, target: &Load) -> Option<Combination> {
        self.by_load.get(target).map(|index| vec![(*index, Number::one())])
    }

    /// The first load, in the order written, that is the target and another load together.
    fn difference(&self, target: &Load) -> Option<Combination> {
        let holding = |thing: &String| self.holding.get(thing.as_str());
        let candidates =
            target.things.iter().map(holding).min_by_key(|loads| loads.map_or(0, Vec::len))??;
        candidates.iter().find_map(|index| {
            let rest = without(self.loads[*index], target)?;
            let rest = *self.by_load.get(&rest)?;
            Some(vec![(*index, Number::one()), (rest, Number::one().neg())])
        })
    }

    fn basis(&mut self) -> &Basis {
        let loads = &self.loads;
        self.basis.get_or_insert_with(|| Basis::of(loads))
    }

    /// Loads that were weighed and also follow from loads written before them.
    pub fn redundant(&mut self) -> Vec<(usize, Combination)> {
        if self.each_has_a_new_thing() {
            return Vec::new();
        }
        self.basis().redundant.clone()
    }

    /// Whether every load holds a thing that no load before it holds. Then none follows from those.
    fn each_has_a_new_thing(&self) -> bool {
        let first = |thing: &String| self.holding.get(thing.as_str()).and_then(|loads| loads.first());
        let new =
            |(index, load): (usize, &&Load)| load.things.iter().any(|thing| first(thing) == Some(&index));
        self.loads.iter().enumerate().all(new)
    }
}

/// `load` less the things of `part`, if all of them are in it and something is left.
fn without(load: &Load, part: &Load) -> Option<Load> {
    let mut rest = load.things.clone();
    for thing in &part.things {
        rest.remove(rest.iter().position(|other| other == thing)?);
    }
    (!rest.is_empty()).then_some(Load { things: rest })
}

/// Most loads that one mass may follow from: far above any bench, so that a hostile chain of loads costs little.
const MOST_STEPS: usize = 24;

/// A sparse vector by the name of the thing or the index of the load, without zeros, sorted by key.
type Sparse<K> = std::collections::BTreeMap<K, Number>;

/// Rows in echelon form, each with the loads it was made from.
#[derive(Debug, Default)]
struct Basis {
    rows: Vec<(Sparse<String>, Sparse<usize>)>,
    /// The row that a thing is the pivot of.
    by_pivot: Map<String, usize>,
    redundant: Vec<(usize, Combination)>,
}

impl Basis {
    fn of(loads: &[&Load]) -> Self {
        let mut basis = Basis::default();
        for (index, load) in loads.iter().enumerate() {
            basis.insert(index, load);
        }
        basis
    }

    fn insert(&mut self, index: usize, load: &Load) {
        let made_from = Sparse::from([(index, Number::one())]);
        let Some((vector, made_from)) = self.reduce(vector(load), made_from) else { return };
        match vector.iter().next() {
            Some((pivot, _)) => {
                self.by_pivot.insert(pivot.clone(), self.rows.len());
                self.rows.push((vector, made_from));
            }
            None => self.redundant.push((index, others(index, &made_from))),
        }
    }

    /// Takes multiples of the rows from a vector until none of their pivots is left in it.
    fn reduce(
        &self,
        mut vector: Sparse<String>,
        mut made_from: Sparse<usize>,
    ) -> Option<(Sparse<String>, Sparse<usize>)> {
        let mut steps = 0;
        while let Some((pivot, index)) = self.first_pivot(&vector) {
            steps += 1;
            let (row, origin) = &self.rows[index];
            let factor = vector.get(&pivot)?.div(row.get(&pivot)?).ok()?.neg();
            add_multiple(&mut vector, row, &factor)?;
            add_multiple(&mut made_from, origin, &factor)?;
            if steps > MOST_STEPS || made_from.len() > MOST_STEPS {
                return None;
            }
        }
        Some((vector, made_from))
    }

    /// The pivot in a vector whose row was made first. A row holds no pivot of the rows before it, so taking
    /// the rows in this order comes to an end.
    fn first_pivot(&self, vector: &Sparse<String>) -> Option<(String, usize)> {
        let pivots = vector.keys().filter_map(|thing| Some((thing.clone(), *self.by_pivot.get(thing)?)));
        pivots.min_by_key(|(_, row)| *row)
    }

    fn solve(&self, target: &Load) -> Option<Combination> {
        let (rest, made_from) = self.reduce(vector(target), Sparse::new())?;
        rest.is_empty().then(|| made_from.into_iter().map(|(index, c)| (index, c.neg())).collect())
    }
}

fn vector(load: &Load) -> Sparse<String> {
    let mut vector = Sparse::new();
    for thing in &load.things {
        let count = vector.entry(thing.clone()).or_insert_with(Number::zero);
        *count = count.add(&Number::one()).unwrap_or_else(|_| Number::one());
    }
    vector
}

fn add_multiple<K: Ord + Clone>(to: &mut Sparse<K>, from: &Sparse<K>, factor: &Number) -> Option<()> {
    for (key, value) in from {
        let sum = to.remove(key).unwrap_or_else(Number::zero).add(&value.mul(factor).ok()?).ok()?;
        if !sum.is_zero() {
            to.insert(key.clone(), sum);
        }
    }
    Some(())
}

/// From `0 = load + Σ c × other` to `load = Σ −c × other`.
fn others(index: usize, made_from: &Sparse<usize>) -> Combination {
    made_from.iter().filter(|(other, _)| **other != index).map(|(other, c)| (*other, c.neg())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn route(loads: &[&str], target: &str) -> Option<Vec<(usize, i32)>> {
        let loads: Vec<Load> = loads.iter().map(|text| Load::parse(text)).collect();
        let loads: Vec<&Load> = loads.iter().collect();
        let route = Algebra::of(&loads).route(&Load::parse(target))?;
        Some(route.into_iter().map(|(index, c)| (index, c.signum())).collect())
    }

    #[test]
    fn a_difference_of_two_loads() {
        assert_eq!(route(&["crucible", "crucible + sample"], "sample"), Some(vec![(1, 1), (0, -1)]));
    }

    #[test]
    fn weighing_by_difference_needs_no_special_words() {
        let loads = ["bottle + rest + sample", "bottle + rest"];
        assert_eq!(route(&loads, "sample"), Some(vec![(0, 1), (1, -1)]));
        assert_eq!(route(&loads, "rest"), None);
        assert_eq!(route(&loads, "bottle"), None);
    }

    #[test]
    fn a_mass_that_takes_three_loads() {
        let loads = ["dish + a", "a + b", "dish"];
        assert_eq!(route(&loads, "b"), Some(vec![(0, -1), (1, 1), (2, 1)]));
    }

    #[test]
    fn a_load_that_also_follows_from_others_is_told() {
        let loads: Vec<Load> = ["dish", "sample", "dish + sample"].map(Load::parse).to_vec();
        let redundant = Algebra::of(&loads.iter().collect::<Vec<_>>()).redundant();
        assert_eq!(redundant.len(), 1);
        assert_eq!(redundant[0].0, 2);
        assert!(redundant[0].1.iter().all(|(_, c)| *c == Number::one()));
    }
}
