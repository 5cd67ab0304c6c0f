//! `reweigh template check`: does a template hold together?

use super::confined_skeleton::fill_all;
use super::findings::Voice;
use super::{Ending, complain, input, print, remarks};
use crate::files::Memory;
#[cfg(feature = "pdf")]
use crate::finding::Severity;
use crate::review::formats::Reviewed;
use crate::review::marks::{points_text, totals};
use crate::review::remarks::{Marked, REMARKS, specimen, values};
use crate::review::review;
use crate::template::check::{Report, check_with};
use crate::template::marks::marks;
use crate::template::skeleton::Student;
use crate::template::{Purpose, Template};
use std::sync::Arc;

/// Options of `template`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    /// Load a template, fill its skeleton, evaluate its method on its sample data, set its layout.
    Check {
        /// The template's folder, or a shipped template by its name.
        folder: String,
        /// Most seconds that a layout of its own may take.
        #[arg(long, default_value_t = 20)]
        layout_seconds: u64,
    },
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let Command::Check { folder, layout_seconds } = &options.command;
    let template = match input::template(folder) {
        Ok(template) => template,
        Err(message) => return complain(&message),
    };
    let filling = |template: &Template| fill_all(template, &[Student::default()]).map(|texts| texts.concat());
    let mut report = check_with(&template, filling);
    marking(&template, &mut report);
    layout(&template, *layout_seconds, &mut report);
    drop(print(&text(&report)));
    voice.say(folder, "", &report.findings)
}

/// Gives the marks of the sample data and fills the remarks: for the sample, and with one of everything they can put.
fn marking(template: &Arc<Template>, report: &mut Report) {
    let Some(sample) = &report.sample else { return };
    let files = Memory(template.marking.clone());
    let own = crate::notebook::read("sample.md", sample, &files).text.len();
    let wanted = crate::Wanted { template: Some(template.clone()), purpose: Purpose::Review };
    let computed = crate::compute_as("sample.md", sample, &files, &wanted);
    let review = review(&computed.results);
    let reviewed = Reviewed {
        file: "sample.md",
        notebook: &computed.notebook,
        results: &computed.results,
        review: &review,
        template: Some(template),
        own,
        of_report: &[],
    };
    let marks = marks(template).0;
    let awards = remarks::awards(&reviewed, &marks);
    if !marks.items.is_empty() && computed.results.claims.is_empty() {
        let message = "marks of the sample data: not tried, because it claims no value in a `claimed` block";
        report.steps.push(message.to_owned());
    } else if !marks.items.is_empty() {
        let (reached, open, possible) = totals(&awards);
        let [reached, open, possible] = [reached, open, possible].map(|points| points_text(&points));
        report.steps.push(format!("marks of the sample data: {reached} of {possible} points, {open} open"));
    }
    if !template.marking.contains_key(REMARKS) {
        report.steps.push("remarks: no text of its own, so students get the usual one".to_owned());
        return;
    }
    let sample = values(&reviewed, Some(&Marked { marks: &marks, awards: &awards }));
    let filled = sample.and_then(|values| {
        remarks::filled(Some(template), &specimen())?;
        remarks::filled(Some(template), &values)
    });
    match filled {
        Ok(text) => {
            report.steps.push(format!("remarks: filled for the sample data, {} lines", text.lines().count()))
        }
        Err(finding) => {
            report.steps.push("remarks: not filled".to_owned());
            report.findings.push(*finding);
        }
    }
}

/// Sets the sample data in the template's layout. The typesetter itself refuses what PDF/UA-1 and PDF/A-3a do not
/// allow.
#[cfg(feature = "pdf")]
fn layout(template: &Arc<Template>, seconds: u64, report: &mut Report) {
    use crate::report::{Attachment, layouts, pdf_with};
    let Some(sample) = &report.sample else { return };
    let files = Memory(template.marking.clone());
    let wanted = crate::Wanted { template: Some(template.clone()), ..crate::Wanted::default() };
    let computed = crate::compute_as("sample.md", sample, &files, &wanted);
    let results = crate::evaluation::results_file(&computed.results, &computed.notebook.text);
    let attachments = [
        Attachment::source("sample.md", sample.clone()),
        Attachment::results("results.json", results.into_bytes()),
    ];
    let press = super::confined_layout::Confined { seconds: seconds.max(1) };
    let set = pdf_with(&computed.notebook, &computed.results, &attachments, &files, Some(template), &press);
    match set {
        Ok(pdf) => {
            let own = pdf.findings.iter().filter(|finding| finding.severity != Severity::Note);
            report.findings.extend(own.cloned());
            let whose = if template.layout.is_some() { "report.typ" } else { layouts::name(template) };
            report
                .steps
                .push(format!("layout ({whose}): set as PDF/UA-1 and PDF/A-3a, {} bytes", pdf.bytes.len()));
        }
        Err(problems) => {
            report.steps.push("layout: not set".to_owned());
            report.findings.extend(problems);
        }
    }
}

#[cfg(not(feature = "pdf"))]
fn layout(_: &Arc<Template>, _: u64, report: &mut Report) {
    report
        .steps
        .push("layout: not looked at, because this program was built without the typesetter".to_owned());
}

fn text(report: &Report) -> String {
    let lines: Vec<String> = report.steps.iter().map(|step| format!("{step}\n")).collect();
    lines.concat()
}
