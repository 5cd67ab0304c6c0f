//! A section as text for a terminal of 80 columns.

use super::summary::{self, GroupView, SectionView, SpreadView, StatisticsView};
use super::view::{self, DASH, RowView};
use super::{Audience, Completed, Rows};
use crate::review::formats::{clean, wrapped};
use crate::review::section::Section;
use std::io::{Result, Write};

/// Widths of the columns of a row: file, unknown, result, percent error, z, marks, claims that differ, findings.
const WIDTHS: [usize; 8] = [22, 8, 9, 8, 5, 11, 6, 4];
/// The longest bar of a histogram.
const BAR: usize = 40;

/// The section as text.
///
/// # Errors
///
/// Those of the output.
pub fn text(section: &Section, rows: &dyn Rows, audience: Audience, output: &mut dyn Write) -> Result<()> {
    let shown = summary::section(section, audience);
    let title = clean(&shown.title);
    writeln!(output, "{title}\n{}\n", "=".repeat(title.chars().count().min(80)))?;
    for line in &shown.lines {
        write!(output, "{}", wrapped(line, 0, 2))?;
    }
    if audience == Audience::Instructor {
        table(section, rows, output)?;
    }
    changes(&shown, output)?;
    for one in &shown.statistics {
        statistics(one, shown.class, output)?;
    }
    recurring(&shown, output)
}

fn table(section: &Section, rows: &dyn Rows, output: &mut dyn Write) -> Result<()> {
    let of = match section.statistics.as_slice() {
        [only] if only.unit.is_empty() => only.of.clone(),
        [only] => format!("{}/{}", only.of, only.unit),
        _ => "result".to_owned(),
    };
    let head = ["notebook", "unknown", &of, "error/%", "z", "marks", "differ", "e/w"];
    writeln!(output, "\n{}\n{}", line(&head), "-".repeat(80))?;
    let (mut provisional, mut marked) = (false, false);
    Completed { rows, section }.each(&mut |row| {
        provisional |= row.results.iter().any(|result| result.provisional);
        marked |= row.marks.is_some();
        write!(output, "{}", lines_of(&view::row(&row), section.statistics.len() > 1))
    })?;
    writeln!(output)?;
    let mut key = vec!["differ: of the claimed values; e/w: errors and warnings.".to_owned()];
    if marked {
        key.push(
            "marks: reached + open / possible; open is what a person or a reference value still decides."
                .into(),
        );
    }
    if provisional {
        key.push("* rests on a series that has not reached constant mass.".into());
    }
    key.iter().try_for_each(|sentence| write!(output, "{}", wrapped(sentence, 0, 2)))
}

/// The cells of a line in their columns: the first two to the left, the others to the right.
fn line(cells: &[&str; 8]) -> String {
    let mut line = String::new();
    for (at, (cell, width)) in cells.iter().zip(WIDTHS).enumerate() {
        let cell = shortened(&clean(cell), width, at == 0);
        let blank = " ".repeat(width.saturating_sub(cell.chars().count()));
        let apart = if at == 0 { "" } else { " " };
        line.push_str(&if at < 2 {
            format!("{apart}{cell}{blank}")
        } else {
            format!("{apart}{blank}{cell}")
        });
    }
    line.trim_end().to_owned()
}

/// A text that fits a width; of a path the end is kept.
fn shortened(text: &str, width: usize, keep_end: bool) -> String {
    let count = text.chars().count();
    if count <= width {
        return text.to_owned();
    }
    match keep_end {
        true => format!("…{}", text.chars().skip(count + 1 - width).collect::<String>()),
        false => format!("{}…", text.chars().take(width - 1).collect::<String>()),
    }
}

/// A row, with a line of its own for each further result.
fn lines_of(row: &RowView, several: bool) -> String {
    let name = |text: &str| shortened(text, WIDTHS[0], true);
    if let Some(problem) = &row.problem {
        return format!(
            "{}\n{}",
            name(&clean(&row.file)),
            wrapped(&format!("not reviewed: {problem}"), 2, 4)
        );
    }
    let first = row.results.first();
    let cell =
        |pick: fn(&view::ResultView) -> &String| first.map_or(DASH.to_owned(), |result| pick(result).clone());
    let (value, error, z) = (cell(|r| &r.value), cell(|r| &r.error), cell(|r| &r.z));
    let cells = [row.file.as_str(), &row.unknown, &value, &error, &z, &row.marks, &row.differ, &row.findings];
    let mut lines = format!("{}\n", line(&cells));
    if several {
        lines.extend(first.iter().map(|result| format!("  the result is {}\n", clean(&result.of))));
    }
    for result in row.results.iter().skip(1) {
        let of = format!("  {}", result.of);
        lines.push_str(&format!(
            "{}\n",
            line(&[&of, "", &result.value, &result.error, &result.z, "", "", ""])
        ));
    }
    if let Some(other) = &row.same_as {
        lines.push_str(&wrapped(&format!("the same notebook as {other}"), 2, 4));
    }
    if let Some(altered) = &row.altered {
        lines.push_str(&wrapped(altered, 2, 4));
    }
    lines
}

fn heading(text: &str, output: &mut dyn Write) -> Result<()> {
    let text = clean(text);
    writeln!(output, "\n{text}\n{}", "-".repeat(text.chars().count().min(80)))
}

fn changes(shown: &SectionView, output: &mut dyn Write) -> Result<()> {
    let Some(changes) = &shown.changes else { return Ok(()) };
    heading("Marks that changed", output)?;
    if changes.is_empty() {
        return writeln!(output, "none");
    }
    for change in changes {
        let lowered = if change.lowered { "LOWERED  " } else { "" };
        let said = format!("{lowered}{}, {}: {}", change.file, change.item, change.points);
        write!(output, "{}{}", wrapped(&said, 0, 2), wrapped(&change.why, 4, 4))?;
    }
    Ok(())
}

fn statistics(one: &StatisticsView, class: bool, output: &mut dyn Write) -> Result<()> {
    heading(&one.of, output)?;
    write!(output, "{}", wrapped(&one.line, 0, 2))?;
    if !one.unknowns.is_empty() {
        unknowns(one, class, output)?;
    }
    match &one.spread {
        Some(all) => spread(all, output),
        None => Ok(()),
    }
}

fn unknowns(one: &StatisticsView, class: bool, output: &mut dyn Write) -> Result<()> {
    let mut rows = vec![
        ["unknown", "n", "median", "mean x*", "s*", "u(x*)", "reference", "x*-ref/%", "z 2, 3"]
            .map(str::to_owned)
            .to_vec(),
    ];
    rows.extend(one.unknowns.iter().map(|group| {
        let n = group.n.to_string();
        let cells = [
            &group.unknown,
            &n,
            &group.median,
            &group.mean,
            &group.s,
            &group.u,
            &group.reference,
            &group.difference,
            &group.beyond,
        ];
        cells.map(|cell| shortened(&clean(cell), 12, false)).to_vec()
    }));
    if class {
        rows.iter_mut().for_each(|row| row.truncate(6));
    }
    let columns = rows.first().map_or(0, Vec::len);
    let width = |at: usize| rows.iter().map(|row| row[at].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(width).collect();
    for row in &rows {
        let mut line = String::from(" ");
        for (at, (cell, width)) in row.iter().zip(&widths).enumerate() {
            let blank = " ".repeat(width - cell.chars().count());
            line.push_str(&if at == 0 { format!(" {cell}{blank}") } else { format!(" {blank}{cell}") });
        }
        writeln!(output, "{}", line.trim_end())?;
    }
    Ok(())
}

fn spread(all: &SpreadView, output: &mut dyn Write) -> Result<()> {
    write!(output, "\n{}", wrapped(&format!("{}: {}", all.title, all.line), 0, 2))?;
    let width =
        all.bins.iter().flat_map(|bin| [&bin.from, &bin.to]).map(|text| text.len()).max().unwrap_or(0);
    let bar = |count: usize| "#".repeat((count * BAR).div_ceil(all.most.max(1)).min(BAR));
    let mut ends = |what: &str, count: usize| match count {
        0 => Ok(()),
        count => writeln!(output, "  {what:<at$}  {count}", at = 2 * width + 4),
    };
    ends("below", all.outside.0)?;
    for bin in &all.bins {
        let count = if bin.count == 0 { String::new() } else { format!(" {}", bin.count) };
        let said = format!("  {:>width$} to {:>width$}  {}{count}", bin.from, bin.to, bar(bin.count));
        writeln!(output, "{}", said.trim_end())?;
    }
    if all.outside.1 > 0 {
        writeln!(output, "  {:<at$}  {}", "above", all.outside.1, at = 2 * width + 4)?;
    }
    if !all.trials.is_empty() {
        trials(all, output)?;
    }
    groups("By balance", &all.balances, output)?;
    groups("By bench", &all.benches, output)?;
    match all.balances.is_empty() && all.benches.is_empty() {
        true => Ok(()),
        false => write!(output, "\n{}", wrapped(&summary::about_tests(), 0, 0)),
    }
}

/// The dot plot: a figure is so many dots in a column, `#` ten or more.
fn trials(all: &SpreadView, output: &mut dyn Write) -> Result<()> {
    let (low, high) = &all.ends;
    let said = format!("Trials from {low} to {high} %: a figure is so many dots, # ten or more; {}", all.dot);
    write!(output, "\n{}", wrapped(&said, 0, 2))?;
    let width = all.trials.iter().map(|trial| trial.name.chars().count()).max().unwrap_or(1).min(12);
    for trial in &all.trials {
        let dots: String = trial
            .dots
            .iter()
            .map(|dots| match dots {
                0 => ' ',
                1..=9 => char::from_digit(*dots as u32, 10).unwrap_or('#'),
                _ => '#',
            })
            .collect();
        let outside = if trial.outside > 0 { format!(" {} outside", trial.outside) } else { String::new() };
        writeln!(output, "  {:<width$} |{dots}|{outside}", shortened(&clean(&trial.name), width, false))?;
    }
    Ok(())
}

fn groups(title: &str, groups: &[GroupView], output: &mut dyn Write) -> Result<()> {
    if groups.is_empty() {
        return Ok(());
    }
    writeln!(output, "\n{title}")?;
    let width = groups.iter().map(|group| group.name.chars().count()).max().unwrap_or(0).min(24);
    for group in groups {
        let name = shortened(&clean(&group.name), width, false);
        let mark = if group.apart { '!' } else { ' ' };
        writeln!(
            output,
            "{mark} {name:<width$}  n = {:<4} median {:>6} %  {}",
            group.n, group.median, group.said
        )?;
    }
    Ok(())
}

fn recurring(shown: &SectionView, output: &mut dyn Write) -> Result<()> {
    if shown.recurring.is_empty() {
        return Ok(());
    }
    heading("Readings in common: questions", output)?;
    write!(output, "{}", wrapped(summary::ABOUT_RECURRING, 0, 0))?;
    for one in &shown.recurring {
        write!(output, "\n{}", wrapped(&one.files, 0, 2))?;
        write!(output, "{}{}", wrapped(&one.readings, 2, 4), wrapped(&one.chance, 2, 4))?;
    }
    match shown.more_recurring {
        0 => Ok(()),
        more => writeln!(output, "\n{more} more such questions are not listed"),
    }
}
