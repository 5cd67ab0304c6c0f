//! The verdicts as text for a terminal of 80 columns: what was claimed and what it is recomputed to, where the two
//! differ line by line, and then a word on each claim that does not simply agree.

use super::{Reviewed, counted, counted_word};
use crate::evaluation::results::Claim;
use crate::review::findings::{explained, name, with_unit, written};
use crate::review::{ClaimReview, DigitsVerdict, ValueVerdict};
use crate::span::Lines;
use similar::{ChangeTag, TextDiff};

/// Columns of a line.
const WIDTH: usize = 80;

/// The review of one file.
pub fn text(reviewed: &Reviewed) -> String {
    let mut output = String::new();
    let title = clean(reviewed.title());
    output.push_str(&format!("{title}\n{}\n", "=".repeat(title.chars().count().clamp(1, WIDTH))));
    for finding in reviewed.of_report {
        output.push_str(&wrapped(&format!("{}: {}", finding.severity.word(), finding.message), 0, 2));
    }
    output.push_str(&wrapped(&summary(reviewed), 0, 2));
    output.push_str(&difference(reviewed));
    let lines = Lines::of(&reviewed.notebook.text);
    for index in 0..reviewed.review.claims.len() {
        detail(reviewed, &lines, index, &mut output);
    }
    output.push_str(&format!("\natomic weights {}\n", reviewed.results.atomic_weights));
    output
}

fn summary(reviewed: &Reviewed) -> String {
    let total = reviewed.review.claims.len();
    let plural = if total == 1 { "" } else { "s" };
    let parts: Vec<String> =
        counted(reviewed.review).iter().map(|(count, word)| counted_word(*count, word)).collect();
    match total {
        0 => format!("{}: no claimed values", clean(reviewed.file)),
        _ => format!("{}: {total} claimed value{plural}: {}", clean(reviewed.file), parts.join(", ")),
    }
}

/// The claimed values as lines of text, and the same with the recomputed ones; lines that are the same once.
fn difference(reviewed: &Reviewed) -> String {
    let rows = rows(reviewed);
    if rows.is_empty() {
        return String::new();
    }
    let (claimed, recomputed) = (table(&rows, 1), table(&rows, 2));
    let mut output = String::from("\n");
    if claimed != recomputed {
        output.push_str("claimed (-) and recomputed (+)\n");
    }
    let diff = TextDiff::from_lines(&claimed, &recomputed);
    for operation in diff.ops() {
        let changes: Vec<_> = diff.iter_changes(operation).collect();
        let of = |tag: ChangeTag| changes.iter().filter(move |change| change.tag() == tag);
        of(ChangeTag::Equal).for_each(|change| output.push_str(&format!("  {}", change.value())));
        // Each claimed line stands over its own recomputed one: the two tables have the same lines.
        let mut recomputed = of(ChangeTag::Insert);
        for claimed in of(ChangeTag::Delete) {
            output.push_str(&format!("- {}", claimed.value()));
            output.extend(recomputed.next().map(|change| format!("+ {}", change.value())));
        }
        output.extend(recomputed.map(|change| format!("+ {}", change.value())));
    }
    output
}

/// Name, claimed and recomputed values of each line of claims: one with several trials has one row for each group
/// that fits.
fn rows(reviewed: &Reviewed) -> Vec<[Vec<String>; 3]> {
    let mut rows: Vec<(String, Vec<(String, String)>)> = Vec::new();
    for (claim, review) in reviewed.results.claims.iter().zip(&reviewed.review.claims) {
        let cells = (claimed_cell(claim), recomputed_cell(claim, review));
        let follows = claim.trial.is_some_and(|trial| trial > 0);
        match rows.last_mut() {
            Some((of, row)) if *of == claim.of && follows && row.len() < 4 => row.push(cells),
            _ => rows.push((claim.of.clone(), vec![cells])),
        }
    }
    let split = |(of, cells): (String, Vec<(String, String)>)| {
        let (claimed, recomputed) = cells.into_iter().unzip();
        [vec![clean(&of)], claimed, recomputed]
    };
    rows.into_iter().map(split).collect()
}

fn claimed_cell(claim: &Claim) -> String {
    clean(&written(claim))
}

fn recomputed_cell(claim: &Claim, review: &ClaimReview) -> String {
    match (&review.recomputed, &review.value) {
        // A line that agrees is the same on both sides, also where it is compared by magnitude or tied.
        (_, ValueVerdict::Agrees) => claimed_cell(claim),
        (Some(printed), _) => clean(&with_unit(&printed.ascii(), claim)),
        (None, _) => "–".to_string(),
    }
}

/// Rows as text; the widths are those of both sides, so that only what differs differs.
fn table(rows: &[[Vec<String>; 3]], side: usize) -> String {
    let width = |text: &String| text.chars().count();
    let first = rows.iter().map(|row| width(&row[0][0])).max().unwrap_or(0).min(WIDTH / 2);
    let cell = rows.iter().flat_map(|row| row[1].iter().chain(&row[2])).map(width).max().unwrap_or(0);
    let line = |row: &[Vec<String>; 3]| {
        // By hand: the width that a format takes has a limit.
        let padded = |text: &String| " ".repeat(cell.saturating_sub(width(text))) + text;
        let cells: Vec<String> = row[side].iter().map(padded).collect();
        format!("{:<first$}  {}\n", row[0][0], cells.join("  ")).replace("  \n", "\n")
    };
    rows.iter().map(line).collect()
}

/// What there is to say of a claim that does not simply agree.
fn detail(reviewed: &Reviewed, lines: &Lines, index: usize, output: &mut String) {
    let (claim, review) = (&reviewed.results.claims[index], &reviewed.review.claims[index]);
    let off = matches!(review.digits, Some(DigitsVerdict::TooMany | DigitsVerdict::TooFew));
    if review.value == ValueVerdict::Agrees && !off {
        return;
    }
    let line = reviewed.place(lines, claim.span).0;
    let mut said =
        format!("line {line}, {}: {}", clean(&name(claim, reviewed.results)), verdict(review, reviewed));
    if let (Some(digits), true) = (review.digits, off) {
        said.push_str(&format!("; {} digits", digits.word()));
        if let Some(printed) = &review.printed {
            said.push_str(&format!(" ({} is worth writing)", with_unit(&printed.ascii(), claim)));
        }
    }
    output.push('\n');
    output.push_str(&wrapped(&said, 0, 4));
    if let Some(slip) = &review.slip {
        let other = review.same_slip_as.map(|other| &reviewed.results.claims[other]);
        let also = other.map_or(String::new(), |other| {
            format!(", as in line {}, {}", reviewed.place(lines, other.span).0, name(other, reviewed.results))
        });
        output.push_str(&wrapped(&format!("consistent with {}{also}", slip.what), 4, 6));
        output.push_str(&wrapped(&slip.recomputation, 6, 8));
        if let Some(line) = reviewed.line(lines, slip.place) {
            output.push_str(&wrapped(&format!("look again at line {line}"), 4, 6));
        }
    } else if !review.possible.is_empty() {
        output.push_str(&wrapped("several slips would give it, and none stands out:", 4, 6));
        for slip in &review.possible {
            output.push_str(&wrapped(&format!("– {}", slip.what), 4, 6));
        }
    }
}

fn verdict(review: &ClaimReview, reviewed: &Reviewed) -> String {
    match &review.value {
        ValueVerdict::Differs => match review.relative {
            Some(relative) => format!("differs by {}", percent(relative)),
            None => "differs".to_string(),
        },
        ValueVerdict::CannotBeChecked(reason) => format!("cannot be checked: {reason}"),
        ValueVerdict::Agrees => "agrees".to_string(),
        ValueVerdict::OffByOne => "off by one in the last place".to_string(),
        other => format!("{}: {}", other.word(), explained(other, reviewed.results)),
    }
}

/// A relative difference, signed, with two figures.
fn percent(relative: f64) -> String {
    let percent = relative * 100.0;
    match percent.abs() {
        size if size >= 9.95 => format!("{percent:+.0} %"),
        size if size >= 0.995 => format!("{percent:+.1} %"),
        size if size >= 0.0995 => format!("{percent:+.2} %"),
        size if size >= 0.00995 => format!("{percent:+.3} %"),
        size if size >= 0.000995 => format!("{percent:+.4} %"),
        _ => format!("{percent:+.1e} %"),
    }
}

/// Text that cannot steer a terminal.
pub(in crate::review) fn clean(text: &str) -> String {
    crate::finding::without_controls(text)
}

/// A paragraph in lines of at most [`WIDTH`] columns, indented.
pub(in crate::review) fn wrapped(text: &str, first: usize, rest: usize) -> String {
    let mut output = String::new();
    let mut line = " ".repeat(first);
    let mut empty = true;
    for word in clean(text).split(' ') {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            output.push_str(line.trim_end());
            output.push('\n');
            line = " ".repeat(rest);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    output.push_str(&line);
    output.push('\n');
    output
}
