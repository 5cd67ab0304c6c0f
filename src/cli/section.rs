//! `reweigh section`: every notebook and report below a folder reviewed, one row each, and what they say together.
//!
//! Files are reviewed on every core, some dozens at a time, and their rows are put down in the order of their names: neither
//! the number of cores nor the order in which the system lists files changes a byte.

use super::findings::{Voice, ending};
use super::spool::{Spool, Spooled};
use super::{Ending, complain, input, review};
use crate::files::{Found, found_below, read_bounded, write_atomically_with, write_new};
use crate::finding::{Code, Finding};
use crate::notebook::settings::Date;
use crate::review::report_file;
use crate::review::section::decisions::{self, Decisions};
use crate::review::section::forms::{self, Audience};
use crate::review::section::since::{Comparison, Earlier};
use crate::review::section::unknowns::{self, Unknowns};
use crate::review::section::{Desk, Facts, Made, Row, Section, asked_for, recurring, row, statistics};
use crate::template::marks::{MarkKind, Marks, marks};
use crate::template::{Origin, Template};
use rayon::prelude::*;
use std::collections::HashMap;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// How many notebooks are worked on before their rows are put down.
const BATCH: usize = 64;

/// Options of `section`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The folder with what was handed in: notebooks (.md) and reports (.pdf, .html), also in folders below it.
    folder: PathBuf,
    /// The reference values of the unknowns: CSV with the head `unknown,of,value,unit,u,released`.
    #[arg(long, value_name = "FILE")]
    unknowns: Option<PathBuf>,
    /// The day it is, for values that are released on a day (`2026-03-20`).
    #[arg(long, value_name = "DAY", value_parser = day)]
    on: Option<Date>,
    /// What you decided by hand: verdicts and points, in TOML.
    #[arg(long, value_name = "FILE")]
    decisions: Option<PathBuf>,
    /// Also write a new file of decisions to fill in: every claim that differs and every item marked by hand.
    #[arg(long, value_name = "FILE")]
    to_decide: Option<PathBuf>,
    /// An earlier run written with `--format json`: every mark that is another one now is listed with the reason.
    #[arg(long, value_name = "FILE")]
    since: Option<PathBuf>,
    /// The reviewer's template: a folder, or a shipped one by its name. Without it, the shipped one that a notebook names.
    #[arg(long, conflicts_with = "as_submitted")]
    template: Option<String>,
    /// Take the templates that were handed in with the notebooks; they give no marks.
    #[arg(long)]
    as_submitted: bool,
    /// The form; without it the ending of `--output` decides, else it is text.
    #[arg(long, value_enum)]
    format: Option<Format>,
    /// Where to write it, instead of the standard output.
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// For the class: only what the section's results say together, without rows, names, reference values, or groups of
    /// fewer than ten.
    #[arg(long)]
    for_class: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// Text for people, 80 columns.
    Text,
    /// Everything, `reweigh/section/1`.
    Json,
    /// One row for each notebook, for a spreadsheet.
    Csv,
    /// One page, for a browser.
    Html,
    /// A printed summary (with --output).
    #[cfg(feature = "pdf")]
    Pdf,
}

fn day(text: &str) -> Result<Date, String> {
    unknowns::date(text).ok_or_else(|| "a day is written as in 2026-03-20".to_owned())
}

impl Options {
    fn format(&self) -> Format {
        let ending = self.output.as_ref().and_then(|path| path.extension()).map(|e| e.to_ascii_lowercase());
        self.format.unwrap_or(match ending.as_deref().and_then(|ending| ending.to_str()) {
            Some("json") => Format::Json,
            Some("csv") => Format::Csv,
            Some("html" | "htm") => Format::Html,
            #[cfg(feature = "pdf")]
            Some("pdf") => Format::Pdf,
            _ => Format::Text,
        })
    }

    /// Combinations that cannot be; an error is a sentence.
    fn check(&self) -> Result<(), String> {
        if self.for_class && matches!(self.format(), Format::Json | Format::Csv) {
            return Err("a class is shown text, a page or a PDF: json and csv hold every row".into());
        }
        #[cfg(feature = "pdf")]
        if self.format() == Format::Pdf && self.output.is_none() {
            return Err("a PDF needs a file: add `--output section.pdf`".into());
        }
        let same =
            |a: &Path, b: &Path| a.canonicalize().ok().is_some_and(|a| b.canonicalize().ok() == Some(a));
        let inputs = [&self.unknowns, &self.decisions, &self.since];
        if let Some(path) = &self.to_decide {
            if self.output.as_ref() == Some(path) {
                return Err(format!("`--output` and `--to-decide` both go to {}", path.display()));
            }
            if path.symlink_metadata().is_ok() {
                return Err(format!(
                    "{} is there already, and decisions are not written over",
                    path.display()
                ));
            }
        }
        match &self.output {
            Some(output) if inputs.into_iter().flatten().any(|input| same(input, output)) => {
                Err(format!("{} is read, so it is not written over", output.display()))
            }
            Some(output) if is_handed_in(output) => {
                Err(format!("{} may be a hand-in, so it is not written over", output.display()))
            }
            _ => Ok(()),
        }
    }
}

/// Whether a file that is there may have been handed in: a notebook, or a report that carries one.
fn is_handed_in(path: &Path) -> bool {
    if path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("md")) {
        return true;
    }
    let bytes = read_bounded(path).unwrap_or_default();
    let is_report = report_file::is_pdf(&bytes) || report_file::is_page(&bytes);
    is_report && report_file::open(&bytes).is_ok()
}

/// What everything else is read from.
struct Given {
    template: Option<Arc<Template>>,
    unknowns: Option<Unknowns>,
    decisions: Decisions,
    earlier: Option<Earlier>,
    section: Section,
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let done = options.check().and_then(|()| given(options)).and_then(|given| {
        let found = hand_ins(&options.folder, options.output.as_deref())?;
        let mut given = given;
        given.section.findings.extend(about(&found));
        if found.files.is_empty() {
            return Err(format!(
                "there is no notebook (.md) and no report (.pdf, .html) in {}",
                options.folder.display()
            ));
        }
        work(options, given, &found.files)
    });
    let (section, rows, worst) = match done {
        Ok(done) => done,
        Err(message) => return complain(&message),
    };
    let written = write(options, &section, &rows).and_then(|()| write_to_decide(options, &rows));
    if let Err(message) = written {
        return complain(&message);
    }
    voice.say(&section.folder, "", &section.findings);
    worst.max(ending(&section.findings))
}

/// Reads all that is given besides the notebooks.
fn given(options: &Options) -> Result<Given, String> {
    let template = options.template.as_deref().map(input::template).transpose()?;
    let mut section = Section { folder: options.folder.display().to_string(), ..Section::default() };
    let mut of = None;
    if let Some(template) = &template {
        section.findings.extend(template.said());
        let (marks, said) = marks(template);
        section.findings.extend(said);
        of = accuracy_of(&marks);
    }
    let mut given =
        Given { template, unknowns: None, decisions: Decisions::default(), earlier: None, section };
    if let Some(path) = &options.unknowns {
        let (name, text, sha256) = input::text(path)?;
        let (unknowns, said) = unknowns::read(&name, &text, of.as_deref(), options.on);
        let (count, released) = unknowns.counts();
        given.section.findings.extend(said);
        given.section.unknowns = Some((name, sha256, count, released));
        given.unknowns = Some(unknowns);
    }
    if let Some(path) = &options.decisions {
        let (name, text, sha256) = input::text(path)?;
        let (decisions, said) = decisions::read(&name, &text);
        given.section.findings.extend(said);
        given.section.decisions = Some((name, sha256, decisions.list.len(), 0));
        given.decisions = decisions;
    }
    if let Some(path) = &options.since {
        let bytes =
            read_bounded(path).map_err(|problem| format!("cannot read {}: {problem}", path.display()))?;
        let earlier = Earlier::read(&bytes).map_err(|problem| format!("{} {problem}", path.display()))?;
        given.earlier = Some(earlier);
    }
    Ok(given)
}

/// The one result whose accuracy a template marks.
fn accuracy_of(marks: &Marks) -> Option<String> {
    let of = |kind: &MarkKind| match kind {
        MarkKind::Accuracy { of, .. } => Some(of.clone()),
        _ => None,
    };
    let mut all: Vec<String> = marks.items.iter().filter_map(|item| of(&item.kind)).collect();
    all.dedup();
    if all.len() == 1 { all.pop() } else { None }
}

/// Whether a path is that of a notebook or a report; a README is neither.
fn is_hand_in(path: &Path) -> bool {
    let is = |ending: &str| path.extension().is_some_and(|found| found.eq_ignore_ascii_case(ending));
    let readme = path.file_stem().is_some_and(|stem| stem.eq_ignore_ascii_case("readme"));
    ["md", "pdf", "html", "htm"].into_iter().any(is) && !readme
}

/// The hand-ins of a folder. The files of a template that was handed in are none, and neither is what an earlier run
/// wrote where this one writes.
fn hand_ins(folder: &Path, output: Option<&Path>) -> Result<Found, String> {
    let is_template = |folder: &Path| folder.join("template.toml").is_file();
    let output = output.and_then(|output| output.canonicalize().ok());
    let is_output = |file: &Path| output.is_some() && folder.join(file).canonicalize().ok() == output;
    found_below(folder, &|file| is_hand_in(file) && !is_output(file), &is_template)
        .map_err(|error| format!("cannot read the folder {}: {error}", folder.display()))
}

/// What there is to say of the folder itself.
fn about(found: &Found) -> Vec<Finding> {
    let mut said: Vec<Finding> = found
        .closed
        .iter()
        .map(|(folder, why)| {
            Finding::warning(Code::BadFile, None, format!("cannot look into {}: {why}", folder.display()))
        })
        .collect();
    if found.links > 0 {
        let links =
            if found.links == 1 { "1 link is".to_owned() } else { format!("{} links are", found.links) };
        said.push(Finding::note(Code::BadFile, None, format!("{links} not followed")));
    }
    if found.more {
        let message = "there are more files, or deeper folders, than one section holds; they are left out";
        said.push(Finding::error(Code::TooLarge, None, message).hint("give a folder below it"));
    }
    said
}

/// Everything that grows with the rows.
struct Gathering {
    spool: Spool,
    facts: Vec<Facts>,
    hashes: HashMap<String, String>,
    files: Vec<(String, String)>,
    used: Vec<bool>,
    worst: Ending,
}

/// Reviews the files and works out what they say together.
fn work(options: &Options, given: Given, files: &[PathBuf]) -> Result<(Section, Spooled, Ending), String> {
    let broken = |error: std::io::Error| format!("cannot keep the rows in a temporary file: {error}");
    let Given { template, unknowns, decisions, earlier, mut section } = given;
    let mut comparison = earlier.as_ref().map(Comparison::new);
    let mut gathering = Gathering {
        spool: Spool::new().map_err(broken)?,
        facts: Vec::new(),
        hashes: HashMap::new(),
        files: Vec::new(),
        used: vec![false; decisions.list.len()],
        worst: Ending::Clean,
    };
    let bar = progress(files.len());
    for batch in files.chunks(BATCH) {
        let one = |file: &PathBuf| {
            let made = made(options, file, template.clone(), unknowns.as_ref(), &decisions);
            bar.inc(1);
            made
        };
        for made in batch.par_iter().map(one).collect::<Vec<Made>>() {
            gathering.take(made, &mut section, comparison.as_mut()).map_err(broken)?;
        }
    }
    bar.finish_and_clear();
    if options.for_class {
        // What lies beside a reference value tells it.
        gathering
            .facts
            .iter_mut()
            .flat_map(|facts| &mut facts.values)
            .for_each(|value| value.reference = None);
    }
    section.statistics = statistics::of(&gathering.facts);
    (section.recurring, section.more_recurring) = recurring::questions(&gathering.facts);
    section.changes = comparison.map(Comparison::finish);
    section.findings.extend(decisions.left_over(&gathering.used, &gathering.files));
    Ok((section, gathering.spool.finish().map_err(broken)?, gathering.worst))
}

impl Gathering {
    fn take(
        &mut self,
        made: Made,
        section: &mut Section,
        comparison: Option<&mut Comparison>,
    ) -> std::io::Result<()> {
        let Made { mut row, facts, used, said } = made;
        section.rows += 1;
        if let Some(sha256) = row.sha256.clone() {
            section.reviewed += 1;
            self.files.push((row.file.clone(), sha256.clone()));
            row.same_as = self.hashes.get(&sha256).cloned();
            self.hashes.entry(sha256).or_insert_with(|| row.file.clone());
            self.facts.push(facts);
        }
        section.same_again += usize::from(row.same_as.is_some());
        used.iter().for_each(|at| self.used[*at] = true);
        if let Some((_, _, _, applied)) = &mut section.decisions {
            *applied += row.decided.len();
        }
        section.findings.extend(said);
        if row.has_something() {
            self.worst = self.worst.max(Ending::Found);
        }
        if let Some(comparison) = comparison {
            comparison.add(&row);
        }
        self.spool.add(&row)
    }
}

/// A bar on a terminal, and nothing anywhere else.
fn progress(files: usize) -> indicatif::ProgressBar {
    let hidden = || indicatif::ProgressBar::hidden();
    if !std::io::stderr().is_terminal() {
        return hidden();
    }
    let style = indicatif::ProgressStyle::with_template("reviewed {pos} of {len} [{bar:30}] {eta} left");
    style.map_or_else(|_| hidden(), |style| indicatif::ProgressBar::new(files as u64).with_style(style))
}

/// The row of one file. Whatever is the matter with it costs no other row.
fn made(
    options: &Options,
    file: &Path,
    template: Option<Arc<Template>>,
    unknowns: Option<&Unknowns>,
    decisions: &Decisions,
) -> Made {
    let shown = shown(file);
    let own = template.is_some();
    let path = options.folder.join(file);
    let reviewed = std::panic::catch_unwind(|| review::one(&path, template, options.as_submitted));
    let broken = |problem: &str| Made {
        row: Row::broken(&shown, problem),
        facts: Facts::default(),
        used: Vec::new(),
        said: Vec::new(),
    };
    let mut done = match reviewed {
        Ok(Ok(done)) => done,
        Ok(Err(problem)) => return broken(&problem),
        Err(_) => return broken("the program broke on it, which is a fault of the program"),
    };
    done.file = shown.clone();
    let reviewed = done.reviewed();
    if reviewed.notebook.text.trim().is_empty() {
        return broken("it is empty");
    }
    if reviewed.notebook.blocks.is_empty() && reviewed.notebook.inline.is_empty() {
        return broken("it holds no block of a notebook");
    }
    // Marks by a template that came with the notebook would be the author's own.
    let trusted = reviewed.template.filter(|template| own || template.origin == Origin::Shipped);
    let marks = trusted.map(|template| marks(template).0);
    let mut followed = unknowns.map_or(Vec::new(), Unknowns::results);
    followed.extend(marks.as_ref().map_or(Vec::new(), asked_for));
    followed.sort();
    followed.dedup();
    let desk = Desk { unknowns, decisions, marks: marks.as_ref(), followed: &followed };
    row(&reviewed, &desk)
}

/// A path as it is shown: with `/` between its parts on every system.
fn shown(path: &Path) -> String {
    let parts: Vec<String> =
        path.components().map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
    parts.join("/")
}

fn write(options: &Options, section: &Section, rows: &Spooled) -> Result<(), String> {
    let audience = if options.for_class { Audience::Class } else { Audience::Instructor };
    let format = options.format();
    #[cfg(feature = "pdf")]
    if let (Format::Pdf, Some(path)) = (format, &options.output) {
        let bytes = forms::pdf(section, rows, audience)?;
        return crate::files::write_atomically(path, &bytes)
            .map_err(|error| format!("cannot write {}: {error}", path.display()));
    }
    let to = |output: &mut dyn Write| match format {
        Format::Json => forms::json(section, rows, output),
        Format::Csv => forms::csv(section, rows, output),
        Format::Html => forms::html(section, rows, audience, output),
        _ => forms::text(section, rows, audience, output),
    };
    match &options.output {
        Some(path) => write_atomically_with(path, to)
            .map_err(|error| format!("cannot write {}: {error}", path.display())),
        None => {
            let mut output = std::io::BufWriter::new(std::io::stdout().lock());
            match to(&mut output).and_then(|()| output.flush()) {
                Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
                result => result.map_err(|error| format!("cannot write the section: {error}")),
            }
        }
    }
}

/// The file of decisions to fill in; one that is there stays.
fn write_to_decide(options: &Options, rows: &Spooled) -> Result<(), String> {
    let Some(path) = &options.to_decide else { return Ok(()) };
    let mut bytes = Vec::new();
    let written = forms::to_decide(rows, &mut bytes).and_then(|()| write_new(path, &bytes));
    written.map_err(|error| format!("cannot write {}: {error}", path.display()))
}
