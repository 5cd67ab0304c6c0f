//! What the template asks of the readings and the notebook does not have yet: loads, weighings of a load, trials.
//!
//! The page offers each where it belongs: a load behind the one that the template names before it.

use super::write_back::Line;
use crate::Computed;
use crate::notebook::{load_key, things};
use crate::template::model::RequiredLoad;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A load to be added.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct AskedLoad {
    /// The label its line may have: the load, and the first treatment where it is weighed more than once.
    pub label: String,
    /// How many weighings of it the template asks for.
    pub weighings: usize,
    /// The label of the line it goes behind; empty in a block without lines.
    pub behind: String,
    /// Which of the lines with that label that is, from 0; in a block without lines, the number of the block.
    pub nth: usize,
}

/// A load that is not weighed yet, and the line it goes behind: index of its block, label, number.
struct Missing {
    label: String,
    weighings: usize,
    behind: Option<(usize, String, usize)>,
}

/// What is asked for and not there.
pub(super) struct Asked {
    /// How many trials, where there are fewer; else 0.
    pub trials: usize,
    /// The weighings asked for of each load, by its key.
    weighings: BTreeMap<String, usize>,
    /// The lines there are of each load.
    there: BTreeMap<String, usize>,
    missing: Vec<Missing>,
    /// The last block of readings that has lines.
    last_block: Option<usize>,
}

impl Asked {
    pub(super) fn of(computed: &Computed, lines: &[Line]) -> Asked {
        let mut asked = Asked {
            trials: 0,
            weighings: BTreeMap::new(),
            there: BTreeMap::new(),
            missing: Vec::new(),
            last_block: lines.last().map(|line| line.block),
        };
        let Some(template) = computed.template.as_deref() else { return asked };
        let (trials, loads) = crate::template::asked(&computed.notebook, template);
        let counting = computed.results.trials.iter().filter(|trial| trial.counts()).count();
        asked.trials = if counting < trials { trials } else { 0 };
        for line in lines.iter().filter(|line| !line.row.struck) {
            *asked.there.entry(load_key(&line.row.things)).or_default() += 1;
        }
        let in_files = computed.results.series.iter().map(|series| load_key(&things(&series.load)));
        let known: BTreeSet<String> = in_files.chain(asked.there.keys().cloned()).collect();
        let mut behind = None;
        for required in loads {
            let key = load_key(&things(&required.load));
            let last = lines.iter().rfind(|line| load_key(&line.row.things) == key);
            if let Some(last) = last {
                behind = Some((last.block, last.row.label.value.clone(), last.nth));
            }
            if !known.contains(&key) {
                let label = first_label(computed, &required, lines);
                asked.missing.push(Missing { label, weighings: required.cycles, behind: behind.clone() });
            }
            asked.weighings.insert(key, required.cycles);
        }
        let last_line = lines.last().map(|line| (line.block, line.row.label.value.clone(), line.nth));
        for missing in &mut asked.missing {
            missing.behind = missing.behind.take().or_else(|| last_line.clone());
        }
        asked
    }

    /// How many weighings are asked for of the load of a line, where there are fewer lines of it; else 0.
    pub(super) fn weighings(&self, line: &Line) -> usize {
        let key = load_key(&line.row.things);
        let (wanted, there) = (self.weighings.get(&key), self.there.get(&key));
        wanted.copied().filter(|wanted| *wanted > there.copied().unwrap_or(0)).unwrap_or(0)
    }

    /// The loads that go into a block, by its index and its number. A notebook without lines takes them into its
    /// first block.
    pub(super) fn take_loads(&mut self, block: usize, number: usize) -> Vec<AskedLoad> {
        let empty = self.last_block.is_none() && number == 0;
        let here = |missing: &Missing| match &missing.behind {
            Some((index, ..)) => *index == block,
            None => empty,
        };
        let (taken, left) = std::mem::take(&mut self.missing).into_iter().partition(here);
        self.missing = left;
        let load = |missing: Missing| {
            let (_, behind, nth) = missing.behind.unwrap_or((block, String::new(), number));
            AskedLoad { label: missing.label, weighings: missing.weighings, behind, nth }
        };
        taken.into_iter().map(load).collect()
    }
}

/// The label of the first weighing of a load: with a treatment where several are asked for, in the word that the
/// template's skeleton has for it, else in that of the notebook's last treatment, else `heating`.
fn first_label(computed: &Computed, required: &RequiredLoad, lines: &[Line]) -> String {
    if required.cycles < 2 {
        return required.load.clone();
    }
    let skeleton = computed.template.as_ref().and_then(|template| template.files.get("notebook.md"));
    let skeleton = skeleton.map(|bytes| String::from_utf8_lossy(bytes)).unwrap_or_default();
    let own = lines.iter().rev().find_map(|line| line.row.treatment.as_ref());
    let word = in_skeleton(&skeleton, &required.load).or_else(|| own.map(|treatment| treatment.name.clone()));
    format!("{}, {} 1", required.load, word.unwrap_or_else(|| "heating".to_owned()))
}

/// The treatment that follows a load in a text: words between `LOAD, ` and a number.
fn in_skeleton(text: &str, load: &str) -> Option<String> {
    let begins = format!("{load}, ");
    text.match_indices(&begins).find_map(|(at, _)| {
        let rest = text.get(at + begins.len()..)?;
        let end = rest.find(|c: char| !(c.is_alphabetic() || c == ' '))?;
        let word = rest.get(..end)?.trim();
        let numbered = rest.get(end..)?.starts_with(|c: char| c.is_ascii_digit());
        (numbered && !word.is_empty()).then(|| word.to_owned())
    })
}
