//! `reweigh review`: claimed against recomputed values, in several forms.

use super::findings::{Voice, ending};
use super::input;
use super::{Ending, complain, print};
use crate::finding::Finding;
use crate::review::formats::{self, Reviewed};
use crate::review::{Review, findings, review};
use std::path::PathBuf;

/// Options of `review`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The notebooks, Markdown files.
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The form of the review.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
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
struct Done {
    file: String,
    computed: crate::Computed,
    review: Review,
    of_report: Vec<Finding>,
}

impl Done {
    fn reviewed(&self) -> Reviewed<'_> {
        Reviewed {
            file: &self.file,
            notebook: &self.computed.notebook,
            results: &self.computed.results,
            review: &self.review,
            of_report: &self.of_report,
        }
    }
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let mut worst = Ending::Clean;
    let mut all = Vec::new();
    for file in &options.files {
        match one(file) {
            Ok(done) => all.push(done),
            Err(message) => worst = worst.max(complain(&message)),
        }
    }
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

fn one(file: &std::path::Path) -> Result<Done, String> {
    let input = input::read(file)?;
    let computed = crate::compute(&input.name, &input.bytes, &input.folder);
    let review = review(&computed.results);
    Ok(Done { file: input.path.display().to_string(), computed, review, of_report: Vec::new() })
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
