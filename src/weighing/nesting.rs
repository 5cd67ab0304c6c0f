//! Which of the loads weighed are parts of which others, found by looking parts up rather than by comparing every
//! load with every other.

use super::load::Load;
use super::series::Weighings;

/// Loads of more things than this are compared with every other one: their parts are too many to look up.
const MOST_THINGS: usize = 8;

/// For each series, by index: what it holds, and whether it is held.
#[derive(Clone, Debug, Default)]
pub struct Nesting {
    parts: Vec<Vec<usize>>,
    held: Vec<bool>,
}

impl Nesting {
    /// The nesting of all loads of a notebook.
    pub fn of(weighings: &Weighings) -> Self {
        let loads: Vec<&Load> = weighings.series.iter().map(|series| &series.load).collect();
        let parts: Vec<Vec<usize>> = loads.iter().map(|load| parts(load, &loads, weighings)).collect();
        let mut held = vec![false; loads.len()];
        parts.iter().flatten().for_each(|part| held[*part] = true);
        Nesting { parts, held }
    }

    /// The series whose things are some but not all of those of a series, in the order written.
    pub fn parts(&self, series: usize) -> &[usize] {
        self.parts.get(series).map_or(&[], Vec::as_slice)
    }

    /// Whether all things of a series are part of some other load.
    pub fn is_held(&self, series: usize) -> bool {
        self.held.get(series).copied().unwrap_or(false)
    }
}

fn parts(load: &Load, loads: &[&Load], weighings: &Weighings) -> Vec<usize> {
    if load.things.len() > MOST_THINGS {
        let within =
            |other: &Load| other != load && other.things.iter().all(|thing| load.things.contains(thing));
        return (0..loads.len()).filter(|index| within(loads[*index])).collect();
    }
    let all = (1usize << load.things.len()) - 1;
    let chosen = |set: usize| {
        let things = load.things.iter().enumerate().filter(|(at, _)| (set >> at) & 1 == 1);
        Load { things: things.map(|(_, thing)| thing.clone()).collect() }
    };
    let mut parts: Vec<usize> = (1..all).filter_map(|set| weighings.index_of(&chosen(set))).collect();
    parts.sort_unstable();
    parts.dedup();
    parts
}
