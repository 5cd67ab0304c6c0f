//! Lines and columns that a notebook does not have yet: another weighing of a load, another load, another trial.
//!
//! Only whole lines and cells are put in. Which cells a further trial takes follows from how a notebook counts its
//! columns: a block that names its trials has its own, every other block those of the notebook.

use super::edit::Edit;
use super::write_back::{
    At, Entry, Line, Refusal, blanks_to, checked_reading, checked_words, column_is_there, find, line_end,
    lines, own_line, trial_names, unfit, width_before,
};
use crate::notebook::blocks::{Block, BlockKind, Cell, LoadRow, Masses, QuantityRow, Row};
use crate::notebook::{MOST_CYCLES, MOST_TRIALS, Notebook, load_key, load_of};
use crate::span::{Span, Spanned};
use crate::weighing::Trials;

/// Labels of `masses` that are no loads.
const RESERVED: [&str; 6] = ["trial", "unit", "set aside", "balance", "from", "event"];

/// The line that an entry puts in: its label, and which of the lines with that label it then is.
pub fn new_line(notebook: &Notebook, entry: &Entry) -> Option<(String, usize)> {
    let (label, place) = match entry {
        Entry::Further { at, treatment, .. } => {
            let line = find(notebook, at).ok()?;
            let label = next_label(notebook, line.row, treatment).ok()?;
            (label, last_of_load(&lines(notebook), &line).row.span.end)
        }
        Entry::Load { behind, label, .. } => {
            let (index, _) = block_of(notebook, &behind.label, behind.nth).ok()?;
            let (_, place) = place_behind(&notebook.text, notebook, behind, index).ok()?;
            (checked_words(label, "the load").ok()?, place)
        }
        Entry::Reading { .. } | Entry::Trial { .. } => return None,
    };
    let before = |line: &&Line| line.row.label.value == label && line.row.span.start < place;
    let nth = lines(notebook).iter().filter(before).count();
    Some((label, nth))
}

/// Another weighing of a load, behind the last one.
pub(super) fn further_edits(
    text: &str,
    notebook: &Notebook,
    at: &At,
    treatment: &str,
    reading: &str,
) -> Result<Vec<Edit>, Refusal> {
    let line = find(notebook, at)?;
    let reading = checked_reading(notebook, reading)?;
    let key = load_key(&line.row.things);
    let all = lines(notebook);
    let same: Vec<&Line> = all.iter().filter(|other| load_key(&other.row.things) == key).collect();
    let counted = same.iter().rfind(|other| !other.row.struck);
    if counted.map(|last| last.row.span) != Some(line.row.span) {
        return Err(Refusal::Conflict { now: None });
    }
    if same.len() >= MOST_CYCLES {
        return unfit(format!("a load has at most {MOST_CYCLES} weighings"));
    }
    let label = next_label(notebook, line.row, treatment)?;
    let behind = last_of_load(&all, &line);
    let mut new = format!("{}{label}:", indent(text, behind.row.span.start));
    for index in 0..=at.column {
        push_cell(&mut new, notebook, line.masses, index, if index == at.column { reading } else { "–" });
    }
    Ok(vec![Edit::insert_line(text, behind.row.span.end, &new)])
}

/// The last line of a load in the block of one of its lines, struck ones counted.
fn last_of_load<'n>(all: &[Line<'n>], line: &Line<'n>) -> Line<'n> {
    let key = load_key(&line.row.things);
    let same = |other: &&Line| other.block == line.block && load_key(&other.row.things) == key;
    *all.iter().rfind(same).unwrap_or(line)
}

/// What stands before a line's first word: blanks, or the mark of a quotation.
fn indent(text: &str, start: usize) -> &str {
    let line = text.get(..start).and_then(|before| before.rfind(['\n', '\r'])).map_or(0, |at| at + 1);
    text.get(line..start).unwrap_or("")
}

fn push_cell(line: &mut String, notebook: &Notebook, masses: &Masses, column: usize, word: &str) {
    let width = line.chars().count();
    line.push_str(&" ".repeat(blanks_to(notebook, masses, column, width)));
    line.push_str(word);
}

/// The label of the next weighing of a load.
fn next_label(notebook: &Notebook, row: &LoadRow, treatment: &str) -> Result<String, Refusal> {
    let written = row.label.value.as_str();
    let load = match &row.treatment {
        Some(_) => written.rsplit_once(',').map_or(written, |(load, _)| load.trim_end()),
        None => written,
    };
    let wanted = checked_words(treatment, "the treatment")?;
    if wanted.contains([',', ':', '+', '(', ')']) {
        return unfit("the treatment is a word or two, such as `heating`; its number follows by itself");
    }
    let name = match (&row.treatment, wanted.as_str()) {
        (Some(treatment), "") => treatment.name.clone(),
        (None, "") => return Ok(written.to_owned()),
        (_, wanted) => wanted.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end().to_owned(),
    };
    let number = row.treatment.as_ref().map_or(1, |treatment| treatment.number);
    match number.checked_add(1) {
        Some(next) => Ok(format!("{load}, {name} {next}")),
        None => unfit(format!("the line {} has a number that cannot be counted on", notebook.name)),
    }
}

/// A load that the notebook does not weigh yet: a line with a cell for every trial.
pub(super) fn load_edits(
    text: &str,
    notebook: &Notebook,
    behind: &At,
    label: &str,
    reading: &str,
) -> Result<Vec<Edit>, Refusal> {
    let reading = checked_reading(notebook, reading)?;
    let label = checked_label(notebook, label)?;
    let (index, masses) = block_of(notebook, &behind.label, behind.nth)?;
    column_is_there(notebook, masses, behind)?;
    let (before, place) = place_behind(text, notebook, behind, index)?;
    let mut new = format!("{before}{label}:");
    for column in 0..trial_names(notebook, masses).len() {
        push_cell(&mut new, notebook, masses, column, if column == behind.column { reading } else { "–" });
    }
    Ok(vec![Edit::insert_line(text, place, &new)])
}

/// The label of a new load, checked: things that are not on the pan together yet.
fn checked_label(notebook: &Notebook, label: &str) -> Result<String, Refusal> {
    let label = checked_words(label, "the load")?;
    if label.is_empty() {
        return unfit("say what is on the pan, such as `crucible + sample`");
    }
    if label.contains(':') {
        return unfit("a load is told without `:`, such as `crucible + sample`");
    }
    let (things, treatment) = load_of(&label);
    let load = treatment.as_ref().and(label.rsplit_once(',')).map_or(label.as_str(), |(load, _)| load);
    if RESERVED.contains(&load.trim().to_lowercase().as_str()) {
        return unfit(format!("`{}` is a word of the block itself; call the load otherwise", load.trim()));
    }
    if things.iter().any(String::is_empty) {
        return unfit("a thing is missing beside `+`; expected `crucible + sample`");
    }
    let key = load_key(&things);
    let rows = notebook.blocks.iter().filter_map(masses_of).flat_map(|masses| &masses.rows);
    let mut weighed = rows.filter_map(|row| match row {
        Row::Load(row) if !row.struck => Some(row),
        _ => None,
    });
    match weighed.find(|row| load_key(&row.things) == key) {
        Some(row) => unfit(format!(
            "the notebook weighs this load already (`{}`); add another weighing of it there",
            row.label.value
        )),
        None => Ok(label),
    }
}

fn masses_of(block: &Block) -> Option<&Masses> {
    match &block.kind {
        BlockKind::Masses(masses) => Some(masses),
        _ => None,
    }
}

/// The blocks of readings with their indices among all blocks.
pub(super) fn masses_blocks(notebook: &Notebook) -> impl Iterator<Item = (usize, &Masses)> {
    notebook.blocks.iter().enumerate().filter_map(|(index, block)| Some((index, masses_of(block)?)))
}

/// The block of a line, or the block without lines that a number means, with its index.
fn block_of<'a>(notebook: &'a Notebook, label: &str, nth: usize) -> Result<(usize, &'a Masses), Refusal> {
    let found = if label.is_empty() {
        masses_blocks(notebook)
            .nth(nth)
            .filter(|(_, masses)| !masses.rows.iter().any(|row| own_line(row).is_some()))
    } else {
        let mut lines = lines(notebook).into_iter();
        let line = lines.find(|line| line.row.label.value == label && line.nth == nth);
        line.map(|line| (line.block, line.masses))
    };
    found.ok_or(Refusal::Conflict { now: None })
}

/// What a line begins with behind the last weighing of a load (behind the last line of a block that has no load), and a
/// byte of that line.
fn place_behind<'t>(
    text: &'t str,
    notebook: &Notebook,
    behind: &At,
    block: usize,
) -> Result<(&'t str, usize), Refusal> {
    let all = lines(notebook);
    let meant = all.iter().find(|line| line.row.label.value == behind.label && line.nth == behind.nth);
    if let Some(line) = meant.filter(|_| !behind.label.is_empty()) {
        let last = last_of_load(&all, line);
        return Ok((indent(text, last.row.span.start), last.row.span.end));
    }
    let block = notebook.blocks.get(block).ok_or(Refusal::Conflict { now: None })?;
    let content = block.content.text(text).trim_end();
    if content.is_empty() {
        return Ok((indent(text, block.span.start), block.span.start));
    }
    let end = block.content.start + content.len();
    let first = content.lines().next().unwrap_or("");
    let start = block.content.start + (first.len() - first.trim_start().len());
    Ok((indent(text, start), end))
}

/// A further trial: its name, where the block names its trials, and a dash behind every line that is full.
pub(super) fn trial_edits(
    notebook: &Notebook,
    label: &str,
    nth: usize,
    name: &str,
) -> Result<Vec<Edit>, Refusal> {
    let (_, masses) = block_of(notebook, label, nth)?;
    let name = checked_words(name, "the name of a trial")?;
    if masses.balances.len() > 1 {
        return unfit(
            "this block names a balance for each trial; add the trial and its balance in the notebook",
        );
    }
    let all = Trials::of(notebook, &mut Vec::new());
    match masses.columns.trials.as_deref() {
        Some([]) => unfit("the line `trial:` names no trial; write one there first, such as `trial: A`"),
        Some(trials) => named_trial(notebook, masses, trials, &all, &name),
        None => numbered_trial(notebook, &all, &name),
    }
}

fn named_trial(
    notebook: &Notebook,
    masses: &Masses,
    trials: &[Spanned<String>],
    all: &Trials,
    name: &str,
) -> Result<Vec<Edit>, Refusal> {
    if name.is_empty() || name.contains([' ', ',', ';', ':', '(', ')']) {
        return unfit("the name of a trial is one word, such as `C`");
    }
    if trials.iter().any(|trial| trial.value.to_lowercase() == name.to_lowercase()) {
        return unfit(format!("there is a trial {name} already"));
    }
    let is_new = all.index(name).is_none();
    if trials.len() >= MOST_TRIALS || is_new && all.list().len() >= MOST_TRIALS {
        return unfit(format!("a notebook has at most {MOST_TRIALS} trials"));
    }
    let places: Vec<Span> = trials.iter().map(|trial| trial.span).collect();
    let start = next_column(notebook, &places);
    let put = |at: usize, word: &str| {
        let blanks = start.saturating_sub(width_before(&notebook.text, at)).max(2);
        Edit::insert(at, format!("{}{word}", " ".repeat(blanks)))
    };
    let mut edits: Vec<Edit> = places.last().map(|last| put(last.end, name)).into_iter().collect();
    for row in masses.rows.iter().filter_map(own_line) {
        if !row.struck && row.cells.len() == trials.len() {
            edits.push(put(line_end(notebook, row).0, "–"));
        }
    }
    if is_new {
        edits.extend(dashes(notebook, all.list().len()));
    }
    Ok(edits)
}

/// A further column where no block names any: the longest lines grow by one cell.
fn numbered_trial(notebook: &Notebook, all: &Trials, name: &str) -> Result<Vec<Edit>, Refusal> {
    let count = all.list().len();
    let is_named = |block: &Block| columns_named(block).is_some();
    if notebook.blocks.iter().any(is_named) {
        return unfit("the trials of this block are named in another one; add the trial there");
    }
    if !name.is_empty() && name != (count + 1).to_string() {
        return unfit(format!(
            "this block numbers its trials, so the next one is {}; a line `trial: 1  2  3` gives them names",
            count + 1
        ));
    }
    if count >= MOST_TRIALS {
        return unfit(format!("a notebook has at most {MOST_TRIALS} trials"));
    }
    let edits = dashes(notebook, count);
    if edits.is_empty() {
        return unfit(
            "no line of the notebook has a reading for every trial yet; fill the trials it has first",
        );
    }
    Ok(edits)
}

/// The trials that a block names.
fn columns_named(block: &Block) -> Option<&Vec<Spanned<String>>> {
    match &block.kind {
        BlockKind::Masses(masses) => masses.columns.trials.as_ref(),
        BlockKind::Measured(measured) => measured.columns.trials.as_ref(),
        BlockKind::Claimed(claimed) => claimed.columns.trials.as_ref(),
        _ => None,
    }
}

/// A dash behind every full line of the blocks that name no trials, so that they still have one cell for each.
fn dashes(notebook: &Notebook, columns: usize) -> Vec<Edit> {
    let mut edits = Vec::new();
    for block in notebook.blocks.iter().filter(|block| columns_named(block).is_none()) {
        // One value of a quantity stands for all trials.
        let quantities = |rows: &[QuantityRow], edits: &mut Vec<Edit>| {
            let full = rows.iter().filter(|row| columns > 1 && row.cells.len() == columns);
            edits.extend(full.filter_map(|row| dash_behind(notebook, &row.cells)));
        };
        match &block.kind {
            BlockKind::Masses(masses) => {
                let full = masses.rows.iter().filter_map(own_line);
                let full = full.filter(|row| !row.struck && row.cells.len() == columns);
                edits.extend(full.filter_map(|row| dash_behind(notebook, &row.cells)));
            }
            BlockKind::Measured(measured) => quantities(&measured.rows, &mut edits),
            BlockKind::Claimed(claimed) => quantities(&claimed.rows, &mut edits),
            _ => {}
        }
    }
    edits
}

fn dash_behind(notebook: &Notebook, cells: &[Cell]) -> Option<Edit> {
    let places: Vec<Span> = cells.iter().map(|cell| cell.span).collect();
    let end = places.last()?.end;
    let blanks = next_column(notebook, &places).saturating_sub(width_before(&notebook.text, end)).max(2);
    Some(Edit::insert(end, format!("{}–", " ".repeat(blanks))))
}

/// Where the next column begins, as far from the last as that one is from the one before it.
fn next_column(notebook: &Notebook, places: &[Span]) -> usize {
    let width = |place: &Span| width_before(&notebook.text, place.start);
    match places {
        [.., before, last] => width(last) + width(last).saturating_sub(width(before)).max(3),
        [last] => width(last) + 13,
        [] => 0,
    }
}
