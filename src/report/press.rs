//! Whoever sets a report, and what is said where that fails.
//!
//! A layout that is not shipped is a program by someone else. It can ask for no file but those of its job, it has
//! no clock and no network; but it can run for long or ask for much memory. [`Press`] is where such limits go:
//! the command line sets foreign layouts in a process of their own.

pub use super::job::{Job, Problem};

use super::layouts::{PARTS_PATH, RESULTS_PATH};
use super::source::{LAYOUT_PATH, MAIN_PATH};
use super::versions::{Report, path_of};
use std::ops::Range;
use typst::WorldExt;
use typst::diag::SourceDiagnostic;
use typst::foundations::Smart;
use typst::syntax::FileId;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

/// Whoever sets a report.
pub trait Press {
    /// The bytes of the PDF.
    ///
    /// # Errors
    ///
    /// Why it could not be set.
    fn set(&self, job: &Job) -> Result<Vec<u8>, Vec<Problem>>;
}

/// Sets in this process, without limits: for layouts that are shipped.
#[derive(Clone, Copy, Debug, Default)]
pub struct InProcess;

impl Press for InProcess {
    fn set(&self, job: &Job) -> Result<Vec<u8>, Vec<Problem>> {
        let outcome = set(job);
        comemo::evict(1);
        outcome
    }
}

/// Forgets what the typesetter has not used for so many rounds.
pub(super) fn evict(most_age: usize) {
    comemo::evict(most_age);
}

fn set(job: &Job) -> Result<Vec<u8>, Vec<Problem>> {
    let saying = |message: &str| vec![Problem::saying(message)];
    let report = Report::new(job).ok_or_else(|| saying("a path that it cannot name"))?;
    let document =
        typst::compile::<PagedDocument>(&report).output.map_err(|errors| problems(errors, &report))?;
    let standards = PdfStandards::new(&[PdfStandard::A_3a, PdfStandard::Ua_1])
        .map_err(|error| saying(error.message()))?;
    let options = PdfOptions {
        ident: Smart::Custom(job.ident.clone()),
        creator: Smart::Custom(Some(format!("Reweigh {}", env!("CARGO_PKG_VERSION")))),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&document, &options).map_err(|errors| problems(errors, &report))
}

pub(super) fn problems(
    diagnostics: impl IntoIterator<Item = SourceDiagnostic>,
    report: &Report,
) -> Vec<Problem> {
    diagnostics.into_iter().map(|diagnostic| problem(&diagnostic, report)).collect()
}

/// A diagnostic with its place, or that of the call that led to it: in the generated document, and in a file of
/// the template.
fn problem(diagnostic: &SourceDiagnostic, report: &Report) -> Problem {
    let own = (diagnostic.span.id(), report.range(diagnostic.span));
    let calls = diagnostic.trace.iter().map(|point| (point.span.id(), report.range(point.span)));
    let places: Vec<(Option<FileId>, Option<Range<usize>>)> = std::iter::once(own).chain(calls).collect();
    let in_main = places.iter().find_map(|(id, range)| report.in_document(*id, range.as_ref()));
    let in_template = places.iter().find_map(|(id, range)| {
        let id = id.filter(|id| !report.own.contains(id))?;
        Some((path_of(id), range.clone()?))
    });
    let text = in_main.clone().and_then(|place| report.document.get(place));
    Problem {
        message: diagnostic.message.to_string(),
        hints: diagnostic.hints.iter().map(|hint| hint.v.to_string()).collect(),
        file: diagnostic.span.id().map_or(String::new(), path_of),
        text: text.unwrap_or_default().to_owned(),
        in_main,
        in_template,
    }
}

/// Whether a path of a template's file is one that the program itself gives to every report.
pub(super) fn is_taken(path: &str) -> bool {
    let is_statement = path.starts_with("main-") && path.ends_with(".typ");
    is_statement
        || matches!(path, MAIN_PATH | LAYOUT_PATH | PARTS_PATH | RESULTS_PATH)
        || ["attached/", "pictures/", "signs/", "probe/"].iter().any(|folder| path.starts_with(folder))
}
