//! Readings that stand in several notebooks: a question for the instructor, never an answer.
//!
//! Two readings to 0.1 mg are alike by chance now and then, and more often where a vessel or a batch of samples is shared.
//! So the question is only asked where chance is a poor explanation, and it says how poor:
//!
//! * A reading of one notebook that has m readings of the other within `REACH` steps is taken to meet one of them with the
//!   chance m/(2 × REACH + 1): that it came so near at all is granted. Readings of one notebook that follow each other
//!   closely, as those of a series near constant mass do, count as one: where one of them meets, the next may well. The
//!   chance of as many meetings as there are, or more, is that of independent trials with these chances.
//! * Where a load of several things meets, coming near has a chance of its own: that of the section's readings around it,
//!   counted in the other notebooks. A vessel alone is granted it, since vessels are shared.
//! * The number of pairs of notebooks times that chance is how many such pairs a section like this is expected to have.
//!
//! That is an estimate on the careful side, not a probability of anything a person did: what is asked about may have a plain
//! reason (partners who are not declared, one pair of weighings used twice, a demonstration).

use super::{Facts, Reading};
use std::collections::{BTreeMap, BTreeSet};

/// Steps of the last place within which two readings are near.
const REACH: i64 = 10;
/// Steps within which the section's readings are counted.
const AROUND: i64 = 500;
/// A question is asked where fewer such pairs are expected by chance.
pub const MOST_EXPECTED: f64 = 0.01;
/// Fewest readings in common, those that follow each other closely counted once, that are asked about.
const FEWEST: usize = 2;
/// A reading that stands in more notebooks than this says nothing about two of them.
const MOST_SHARING: usize = 60;
/// Most questions that are listed.
pub const MOST_LISTED: usize = 200;

/// Readings that two or more notebooks have in common.
#[derive(Clone, Debug, PartialEq)]
pub struct Recurring {
    /// The files; more than two where they have all readings in common.
    pub files: Vec<String>,
    /// The readings in common, in grams, each with its lines in the first two files.
    pub readings: Vec<(String, usize, usize)>,
    /// How many distinct readings the notebooks have: the fewest of any.
    pub of: usize,
    /// How many such pairs chance is expected to give in a section like this.
    pub expected: f64,
}

/// The questions, those that chance explains least first, and how many more there are than are listed.
pub fn questions(facts: &[Facts]) -> (Vec<Recurring>, usize) {
    let groups = alike(facts);
    let firsts: Vec<usize> = groups.iter().map(|group| group[0]).collect();
    let section = Around::of(facts, &firsts);
    let pairs = (firsts.len() as f64) * (firsts.len().saturating_sub(1) as f64) / 2.0;
    let mut found: Vec<Recurring> = Vec::new();
    for group in groups.iter().filter(|group| group.len() > 1) {
        let strangers = without_partners(group, facts);
        if strangers.len() > 1 {
            // Two groups of one notebook each would have been one pair more.
            found.extend(asked(&strangers, facts, &section, pairs.max(1.0)));
        }
    }
    for (a, b) in candidates(facts, &firsts) {
        if !Names::of(&facts[a]).are_partners(&Names::of(&facts[b])) {
            found.extend(asked(&[a, b], facts, &section, pairs));
        }
    }
    found.sort_by(|a, b| a.expected.total_cmp(&b.expected).then_with(|| a.files.cmp(&b.files)));
    let more = found.len().saturating_sub(MOST_LISTED);
    found.truncate(MOST_LISTED);
    (found, more)
}

/// Notebooks with readings, those with the same ones together. A notebook handed in twice is one.
fn alike(facts: &[Facts]) -> Vec<Vec<usize>> {
    let mut bytes: BTreeSet<&str> = BTreeSet::new();
    let mut groups: BTreeMap<Vec<(i32, i64)>, Vec<usize>> = BTreeMap::new();
    for (index, facts) in facts.iter().enumerate() {
        if !facts.readings.is_empty() && bytes.insert(&facts.sha256) {
            let readings = facts.readings.iter().map(|reading| (reading.place, reading.steps));
            groups.entry(readings.collect()).or_default().push(index);
        }
    }
    let mut groups: Vec<Vec<usize>> = groups.into_values().collect();
    groups.sort();
    groups
}

/// Pairs of notebooks with at least [`FEWEST`] readings in common, by place in the list.
fn candidates(facts: &[Facts], firsts: &[usize]) -> Vec<(usize, usize)> {
    let mut standing: BTreeMap<(i32, i64), Vec<usize>> = BTreeMap::new();
    for index in firsts {
        for reading in &facts[*index].readings {
            standing.entry((reading.place, reading.steps)).or_default().push(*index);
        }
    }
    let mut shared: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for notebooks in standing.values().filter(|notebooks| (2..=MOST_SHARING).contains(&notebooks.len())) {
        for (at, a) in notebooks.iter().enumerate() {
            for b in &notebooks[at + 1..] {
                *shared.entry((*a.min(b), *a.max(b))).or_default() += 1;
            }
        }
    }
    shared.into_iter().filter(|(_, count)| *count >= FEWEST).map(|(pair, _)| pair).collect()
}

/// Names as they are compared.
fn folded(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// Who wrote some notebooks, and whom those name as partners.
#[derive(Default)]
struct Names {
    authors: BTreeSet<String>,
    declared: BTreeSet<String>,
}

impl Names {
    fn of(facts: &Facts) -> Self {
        let declared = folded(&facts.partners.join("; "));
        let mut names =
            Names { authors: facts.authors.iter().map(|name| folded(name)).collect(), ..Names::default() };
        names.declared.extend(declared.split([';', ',']).map(folded));
        names.declared.insert(declared);
        names
    }

    /// Whether they have an author in common, or one names the other as partner.
    fn are_partners(&self, other: &Names) -> bool {
        let meet = |a: &BTreeSet<String>, b: &BTreeSet<String>| a.iter().any(|name| b.contains(name));
        // The larger set is the one that is looked up in.
        meet(&other.authors, &self.authors)
            || meet(&other.declared, &self.authors)
            || meet(&other.authors, &self.declared)
    }
}

/// The notebooks of a group, of those who are partners only the first.
fn without_partners(group: &[usize], facts: &[Facts]) -> Vec<usize> {
    let (mut kept, mut known) = (Vec::new(), Names::default());
    for index in group {
        let names = Names::of(&facts[*index]);
        if !known.are_partners(&names) {
            known.authors.extend(names.authors);
            known.declared.extend(names.declared);
            kept.push(*index);
        }
    }
    kept
}

/// The question about some notebooks, if chance explains too little.
fn asked(notebooks: &[usize], facts: &[Facts], section: &Around, pairs: f64) -> Option<Recurring> {
    let (a, b) = (&facts[notebooks[0]], &facts[notebooks[1]]);
    let (mut readings, mut chances, mut met) = (Vec::new(), Vec::new(), 0);
    let mut near_by_chance: Option<f64> = None;
    for run in runs(&a.readings) {
        let meetings: Vec<(&Reading, &Reading)> =
            run.iter().filter_map(|reading| Some((reading, same(reading, b)?))).collect();
        met += usize::from(!meetings.is_empty());
        let missed: f64 = run.iter().map(|reading| 1.0 - chance_of_meeting(reading, b)).product();
        chances.push(1.0 - missed);
        for (reading, other) in meetings {
            readings.push((in_grams(reading.steps, reading.place), reading.line, other.line));
            if !reading.alone {
                let chance = section.chance(reading.place, reading.steps, notebooks.len());
                near_by_chance = Some(near_by_chance.map_or(chance, |other: f64| other.max(chance)));
            }
        }
    }
    if met < FEWEST {
        return None;
    }
    let expected = pairs * near_by_chance.unwrap_or(1.0) * at_least(&chances, met);
    let of = a.readings.len().min(b.readings.len());
    let files = notebooks.iter().map(|index| facts[*index].file.clone()).collect();
    (expected < MOST_EXPECTED).then_some(Recurring { files, readings, of, expected })
}

/// Readings in their order, those that follow each other closely together.
fn runs(readings: &[Reading]) -> impl Iterator<Item = &[Reading]> {
    readings.chunk_by(|a, b| a.place == b.place && b.steps.abs_diff(a.steps) <= 2 * REACH.unsigned_abs())
}

/// The reading of a notebook that is this one.
fn same<'a>(reading: &Reading, notebook: &'a Facts) -> Option<&'a Reading> {
    notebook.readings.iter().find(|other| other.place == reading.place && other.steps == reading.steps)
}

/// The chance that a reading meets one of a notebook, granted that those within [`REACH`] came so near.
fn chance_of_meeting(reading: &Reading, notebook: &Facts) -> f64 {
    let near = |other: &&Reading| {
        other.place == reading.place && other.steps.abs_diff(reading.steps) <= REACH.unsigned_abs()
    };
    let near = notebook.readings.iter().filter(near).count();
    (near as f64 / (2 * REACH + 1) as f64).min(1.0)
}

/// The chance that of independent trials with these chances at least `count` succeed.
fn at_least(chances: &[f64], count: usize) -> f64 {
    let mut distribution = vec![1.0];
    for chance in chances {
        let mut next = vec![0.0; distribution.len() + 1];
        for (successes, p) in distribution.iter().enumerate() {
            next[successes] += p * (1.0 - chance);
            next[successes + 1] += p * chance;
        }
        distribution = next;
    }
    distribution.iter().skip(count).sum()
}

/// The readings of the section, to count those around one.
struct Around {
    by_place: BTreeMap<i32, Vec<i64>>,
    notebooks: usize,
}

impl Around {
    fn of(facts: &[Facts], firsts: &[usize]) -> Self {
        let mut by_place: BTreeMap<i32, Vec<i64>> = BTreeMap::new();
        for reading in firsts.iter().flat_map(|index| &facts[*index].readings) {
            by_place.entry(reading.place).or_default().push(reading.steps);
        }
        by_place.values_mut().for_each(|steps| steps.sort_unstable());
        Around { by_place, notebooks: firsts.len() }
    }

    /// The chance that a notebook has a reading near this one: the section's readings around it, those of `own`
    /// notebooks taken off, spread evenly. One more is added, so that it is never zero.
    fn chance(&self, place: i32, steps: i64, own: usize) -> f64 {
        let all = self.by_place.get(&place).map_or(&[][..], Vec::as_slice);
        let within = |reach: i64| {
            let (from, to) = (steps.saturating_sub(reach), steps.saturating_add(reach));
            all.partition_point(|s| *s <= to) - all.partition_point(|s| *s < from)
        };
        let others = within(AROUND).saturating_sub(within(REACH)) + 1;
        let notebooks = self.notebooks.saturating_sub(own).max(1) as f64;
        (others as f64 / notebooks * (2 * REACH + 1) as f64 / (2 * (AROUND - REACH)) as f64).min(1.0)
    }
}

/// A reading in grams, with its last place.
fn in_grams(steps: i64, place: i32) -> String {
    match usize::try_from(-place) {
        Ok(decimals) if decimals > 0 => {
            let digits = format!("{:0>width$}", steps.unsigned_abs(), width = decimals + 1);
            let (whole, part) = digits.split_at(digits.len() - decimals);
            format!("{}{whole}.{part}", if steps < 0 { "-" } else { "" })
        }
        _ => format!("{steps}{}", "0".repeat(place.max(0) as usize)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn notebook(name: &str, readings: &[(i64, bool)]) -> Facts {
        let mut readings: Vec<Reading> = readings
            .iter()
            .enumerate()
            .map(|(line, (steps, alone))| Reading { steps: *steps, place: -4, alone: *alone, line: line + 1 })
            .collect();
        readings.sort_by_key(|reading| reading.steps);
        Facts {
            file: format!("{name}.md"),
            sha256: name.to_owned(),
            authors: vec![name.to_owned()],
            readings,
            ..Facts::default()
        }
    }

    /// Twenty notebooks with vessels and samples of their own: three trials of vessel, with sample and with residue, each
    /// weighed twice.
    fn section(seed: u64) -> Vec<Facts> {
        let mut state = seed;
        let mut next = move |below: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 33) % below) as i64
        };
        let mut one = |number: usize| {
            let mut readings = Vec::new();
            for _ in 0..3 {
                // A vessel of 18 to 30 g, a sample of 0.9 to 1.2 g that loses about a fifth.
                let vessel = 180_000 + next(120_000);
                let sample = 9_000 + next(3_000);
                let residue = vessel + sample * 79 / 100 + next(20);
                readings.extend([(vessel, true), (vessel - 2, true), (vessel + sample, false)]);
                readings.extend([(residue, false), (residue - 3, false)]);
            }
            notebook(&format!("n{number}"), &readings)
        };
        (0..20).map(&mut one).collect()
    }

    #[test]
    fn chance_alone_raises_no_question() {
        let asked: usize = (0..200).map(|seed| questions(&section(seed)).0.len()).sum();
        assert!(asked <= 4, "{asked} questions in 200 sections, where at most 2 are expected");
    }

    #[test]
    fn two_readings_of_one_series_alike_are_no_question() {
        // Near constant mass the second reading of a series follows from the first.
        let mut facts = section(21);
        let residue: Vec<Reading> =
            facts[2].readings.iter().filter(|reading| !reading.alone).copied().collect();
        let pair = residue.windows(2).find(|pair| pair[1].steps - pair[0].steps == 3).expect("a series");
        facts[5].readings.extend_from_slice(pair);
        facts[5].readings.sort_by_key(|reading| reading.steps);
        assert!(questions(&facts).0.is_empty());
    }

    #[test]
    fn one_trial_taken_over_is_asked_about() {
        let mut facts = section(7);
        let taken: Vec<Reading> = facts[3].readings[..5].to_vec();
        facts[11].readings.splice(..5, taken);
        facts[11].readings.sort_by_key(|reading| reading.steps);
        let (asked, _) = questions(&facts);
        assert_eq!(asked.len(), 1, "{asked:?}");
        assert_eq!(asked[0].files, ["n3.md", "n11.md"]);
        assert_eq!((asked[0].readings.len(), asked[0].of), (5, 15));
    }

    #[test]
    fn a_shared_vessel_is_no_question() {
        let mut facts = section(9);
        // The same crucible on another day: the same mass within two steps, twice the very same reading.
        let vessel = facts[2].readings.iter().find(|reading| reading.alone).copied().unwrap();
        facts[5].readings.push(vessel);
        facts[5].readings.push(Reading { steps: vessel.steps + 2, ..vessel });
        facts[5].readings.sort_by_key(|reading| reading.steps);
        assert!(questions(&facts).0.is_empty());
    }

    #[test]
    fn declared_partners_are_not_asked_about() {
        let mut facts = section(3);
        facts[4].readings = facts[8].readings.clone();
        assert_eq!(questions(&facts).0[0].files, ["n4.md", "n8.md"]);
        facts[4].partners = vec!["Bench 2; N8".to_owned()];
        assert!(questions(&facts).0.is_empty());
    }

    #[test]
    fn the_same_notebook_handed_in_twice_is_no_question() {
        let mut facts = section(3);
        facts.push(Facts { file: "again.pdf".into(), ..facts[0].clone() });
        assert!(questions(&facts).0.is_empty());
    }

    #[test]
    fn a_reading_that_everyone_has_is_no_question() {
        let mut facts = section(3);
        for facts in &mut facts {
            facts.readings.extend([(1_000_000, -4), (500_000, -4)].map(|(steps, place)| Reading {
                steps,
                place,
                alone: true,
                line: 40,
            }));
        }
        assert!(questions(&facts).0.is_empty());
    }

    // Of four trials with chance 1/2 each, at least three succeed in 5 of 16 cases.
    #[test]
    fn the_chance_of_several_meetings() {
        assert!((at_least(&[0.5; 4], 3) - 5.0 / 16.0).abs() < 1e-12);
        assert_eq!(in_grams(245_163, -4), "24.5163");
        assert_eq!(in_grams(-29, -4), "-0.0029");
        assert_eq!(in_grams(24, 0), "24");
    }
}
