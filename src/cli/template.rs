//! `reweigh template check`: does a template hold together?

use super::findings::Voice;
use super::{Ending, complain, input, print};
use crate::template::check::{Report, check};

/// Options of `template`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    /// Load a template, fill its skeleton, evaluate its method on its sample data.
    Check {
        /// The template's folder, or a shipped template by its name.
        folder: String,
    },
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let Command::Check { folder } = &options.command;
    let template = match input::template(folder) {
        Ok(template) => template,
        Err(message) => return complain(&message),
    };
    let report = check(&template);
    drop(print(&text(&report)));
    voice.say(folder, "", &report.findings)
}

fn text(report: &Report) -> String {
    let lines: Vec<String> = report.steps.iter().map(|step| format!("{step}\n")).collect();
    lines.concat()
}
