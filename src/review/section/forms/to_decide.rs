//! A file of decisions to fill in: every claim that differs and every item that is marked by hand, with the hash of its
//! notebook. What is left blank decides nothing, so the file can be given to `--decisions` at any time.

use super::Rows;
use crate::review::formats::clean;
use crate::review::marks::BY_HAND;
use crate::review::section::Row;
use crate::review::section::decisions::FEWEST_DIGITS;
use crate::review::section::row::{Differing, MarkOfRow};
use std::io::{Result, Write};

const HEAD: &str = "\
# Decisions to fill in, for `--decisions`. What is left blank decides nothing.
# verdict: \"agrees\" or \"differs\", with a reason. points: a number, such as 1.5.
# A decision holds for the notebook with this hash; one whose notebook has changed since is not applied.
";

/// The decisions that are still open, notebook by notebook. A notebook that was handed in twice is asked about once.
///
/// # Errors
///
/// Those of the rows and of the output.
pub fn to_decide(rows: &dyn Rows, output: &mut dyn Write) -> Result<()> {
    output.write_all(HEAD.as_bytes())?;
    let mut any = false;
    rows.each(&mut |row| {
        let Some(sha256) = row.sha256.as_deref().filter(|_| row.same_as.is_none()) else { return Ok(()) };
        let decided = |about: &str| row.decided.iter().any(|decision| decision.about == about);
        let head = head(&row, sha256);
        for claim in row.differing.iter().filter(|differing| !decided(&differing.claim)) {
            any = true;
            output.write_all(of_claim(&head, claim).as_bytes())?;
        }
        let marks = row.marks.iter().flat_map(|marks| &marks.items);
        for mark in marks.filter(|mark| is_open(mark) && !decided(&mark.item)) {
            any = true;
            output.write_all(of_mark(&head, mark).as_bytes())?;
        }
        Ok(())
    })?;
    if any { Ok(()) } else { output.write_all(b"\n# There is nothing to decide.\n") }
}

/// Items that a person decides: those marked by hand, and those of claims that cannot be checked. What waits for a reference
/// value is none of them.
fn is_open(mark: &MarkOfRow) -> bool {
    mark.points.is_none() && (mark.why == BY_HAND || mark.why.starts_with("cannot be checked"))
}

fn head(row: &Row, sha256: &str) -> String {
    let authors = match row.authors.is_empty() {
        true => String::new(),
        false => format!("# {}\n", clean(&row.authors.join("; "))),
    };
    let hash = sha256.get(..FEWEST_DIGITS).unwrap_or(sha256);
    format!("\n{authors}[[decision]]\nnotebook = \"{hash}\"\nfile     = {}\n", quoted(&row.file))
}

fn of_claim(head: &str, claim: &Differing) -> String {
    let slip =
        claim.consistent_with.as_ref().map_or(String::new(), |what| format!("; consistent with {what}"));
    let recomputed = claim.recomputed.as_deref().unwrap_or("nothing");
    let said = format!("line {}: claimed {}, recomputed {recomputed}{slip}", claim.line, claim.claimed);
    format!(
        "{head}claim    = {}        # {}\nverdict  = \"\"\nreason   = \"\"\n",
        quoted(&claim.claim),
        clean(&said)
    )
}

fn of_mark(head: &str, mark: &MarkOfRow) -> String {
    let why = if mark.why == BY_HAND { String::new() } else { format!("; {}", clean(&mark.why)) };
    let item = quoted(&mark.item);
    format!("{head}mark     = {item}        # of {} points{why}\npoints   = \"\"\n", mark.possible)
}

fn quoted(text: &str) -> String {
    // One line, whatever the text: the writer of TOML would take three quotation marks for one with a line break.
    serde_json::to_string(text).map_or_else(|_| "\"\"".to_owned(), |text| text.replace('\u{7f}', "\\u007F"))
}
