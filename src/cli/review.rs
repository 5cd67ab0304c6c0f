//! `reweigh review`: claimed against recomputed values, in several forms.

use super::findings::{Voice, ending};
use super::{Ending, complain, print};
use super::{input, remarks};
use crate::finding::Finding;
use crate::review::formats::{self, Reviewed};
use crate::review::{Review, findings, report_file, review, template_copy};
use crate::template::{Purpose, Template};
use std::path::PathBuf;
use std::sync::Arc;

/// Seconds that a layout which is not shipped may take to set a report again.
#[cfg(feature = "pdf")]
const LAYOUT_SECONDS: u64 = 60;

/// Options of `review`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// Notebooks (Markdown files) and reports (PDF or HTML) that carry theirs.
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The reviewer's template: a folder, or a shipped one by its name. Without it, the shipped one that the notebook
    /// names is taken, whatever copy was handed in.
    #[arg(long, conflicts_with = "as_submitted")]
    template: Option<String>,
    /// Take the template that was handed in with the notebook.
    #[arg(long)]
    as_submitted: bool,
    /// The form of the review.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    remarks: remarks::Remarks,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Format {
    /// Text for people, 80 columns.
    Text,
    /// Everything, `reweigh/review/1`.
    Json,
    /// One row for each claim, for a spreadsheet.
    Csv,
    /// One page, for a browser.
    Html,
    /// JUnit XML, for a build server.
    Junit,
    /// SARIF 2.1.0, for an editor or a code host.
    Sarif,
}

/// One file with its review.
pub(super) struct Done {
    pub(super) file: String,
    pub(super) computed: crate::Computed,
    review: Review,
    own: usize,
    of_report: Vec<Finding>,
    /// The reviewer's template, or the shipped one: never a copy that was handed in.
    trusted: Option<Arc<Template>>,
}

impl Done {
    pub(super) fn reviewed(&self) -> Reviewed<'_> {
        Reviewed {
            file: &self.file,
            notebook: &self.computed.notebook,
            results: &self.computed.results,
            review: &self.review,
            template: self.computed.template.as_deref(),
            own: self.own,
            of_report: &self.of_report,
        }
    }
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let template = match options.template.as_deref().map(input::template).transpose() {
        Ok(template) => template,
        Err(message) => return complain(&message),
    };
    let desk = remarks::desk(&options.remarks, &options.files, template.as_deref());
    let (mut desk, said) = match desk {
        Ok(desk) => desk,
        Err(message) => return complain(&message),
    };
    let mut worst = voice.say("remarks", "", &said);
    let mut all = Vec::new();
    for (index, file) in options.files.iter().enumerate() {
        match one(file, template.clone(), options.as_submitted) {
            Ok(done) => {
                let student =
                    remarks::Student { reviewed: done.reviewed(), template: done.trusted.as_deref() };
                worst = worst.max(desk.write(index, &student, voice));
                all.push(done);
            }
            Err(message) => worst = worst.max(complain(&message)),
        }
    }
    worst = worst.max(voice.say("remarks", "", &desk.left_over()));
    let reviews: Vec<Reviewed> = all.iter().map(Done::reviewed).collect();
    let output = match output(options.format, &reviews) {
        Ok(output) => output,
        Err(message) => return complain(&message),
    };
    if let Err(error) = print(&output) {
        return complain(&format!("cannot write the review: {error}"));
    }
    for done in &all {
        let results = &done.computed.results;
        let said = voice.say(&done.file, &done.computed.notebook.text, &results.findings);
        let verdicts = ending(&findings::findings(&done.review, results));
        worst = worst.max(said).max(verdicts).max(ending(&done.of_report));
    }
    worst
}

pub(super) fn one(
    file: &std::path::Path,
    template: Option<Arc<Template>>,
    as_submitted: bool,
) -> Result<Done, String> {
    let input = input::read(file)?;
    if report_file::is_pdf(&input.bytes) || report_file::is_page(&input.bytes) {
        return of_report(&input, template, as_submitted);
    }
    let read = crate::notebook::read(&input.name, &input.bytes, &input.folder);
    let name = read.settings.template.as_ref().map(|name| name.value.as_str());
    let (template, of_report) = template_copy::choose(name, template, as_submitted, &input.folder);
    let wanted = crate::Wanted { template: template.clone(), purpose: Purpose::Review };
    let computed = crate::compute_as(&input.name, &input.bytes, &input.folder, &wanted);
    let review = review(&computed.results);
    let file = input.path.display().to_string();
    Ok(Done { file, computed, review, own: read.text.len(), of_report, trusted: template })
}

/// The notebook a report carries, and whether the report is what that notebook gives.
fn of_report(
    input: &input::Input,
    template: Option<Arc<Template>>,
    as_submitted: bool,
) -> Result<Done, String> {
    let file = input.path.display().to_string();
    let report = report_file::open(&input.bytes).map_err(|problem| format!("{file} is {problem}"))?;
    let (name, bytes) = &report.notebook;
    let author = report_file::for_author(&report);
    let mut said = report_file::results_agree(&report, &author);
    if report_file::is_page(&input.bytes) {
        said.extend(report_file::page_agrees(&input.bytes, &report, &author));
    } else {
        said.extend(pages(&input.bytes, &report, &author));
    }
    let read = crate::notebook::read(name, bytes, &report.files);
    let named = read.settings.template.as_ref().map(|name| name.value.as_str());
    let (template, of_template) = template_copy::choose(named, template, as_submitted, &report.files);
    said.extend(of_template);
    let wanted = crate::Wanted { template: template.clone(), purpose: Purpose::Review };
    let computed = crate::compute_as(name, bytes, &report.files, &wanted);
    let review = review(&computed.results);
    Ok(Done { file, computed, review, own: read.text.len(), of_report: said, trusted: template })
}

#[cfg(feature = "pdf")]
fn pages(bytes: &[u8], report: &report_file::ReportFile, computed: &crate::Computed) -> Vec<Finding> {
    let press = super::confined_layout::Confined { seconds: LAYOUT_SECONDS };
    report_file::pages_agree(bytes, report, computed, &press)
}

/// Without the typesetter the pages cannot be set again.
#[cfg(not(feature = "pdf"))]
fn pages(_: &[u8], _: &report_file::ReportFile, _: &crate::Computed) -> Vec<Finding> {
    Vec::new()
}

fn output(format: Format, reviews: &[Reviewed]) -> Result<String, String> {
    Ok(match format {
        Format::Text => reviews.iter().map(formats::text).collect::<Vec<_>>().join("\n"),
        Format::Json => formats::json(reviews),
        Format::Csv => formats::csv(reviews),
        Format::Html => formats::html(reviews)?,
        Format::Junit => formats::junit(reviews),
        Format::Sarif => formats::sarif(reviews),
    })
}
