//! The command line. Results go to the standard output, findings to the standard error.
//!
//! Exit status: 0 no errors or warnings, 1 errors or warnings found, 2 the command could not run; a signal ends it with its
//! own (130 in a shell for Ctrl-C). A pipe that is closed early is not an error.

#[cfg(feature = "bench")]
mod bench;
mod columns;
mod compute;
mod confined;
#[cfg(feature = "pdf")]
mod confined_layout;
mod confined_skeleton;
mod findings;
mod formula;
mod input;
mod remarks;
mod report;
mod review;
mod roster;
mod section;
#[cfg(unix)]
mod signals;
mod spool;
mod start;
mod template;
mod text;

use clap::{Parser, Subcommand};
use std::ffi::OsString;
use std::io::Write;
use std::process::ExitCode;

/// Gravimetric notebooks: from balance readings to checked results and a typeset report.
#[derive(Debug, Parser)]
#[command(name = "reweigh", version, about, max_term_width = 100)]
struct Arguments {
    /// Print findings one a line, without excerpts, colours or drawn marks (for a screen reader).
    #[arg(long, global = true)]
    plain: bool,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Print the results of a notebook.
    Compute(compute::Options),
    /// Set the report of a notebook (or several): as PDF, as a page, or as the notebook with its tables put in.
    Report(report::Options),
    /// Serve the page beside the balance: the report while it is written, and fields for readings.
    #[cfg(feature = "bench")]
    Bench(bench::Options),
    /// Compare the claimed values of notebooks with the recomputed ones.
    Review(review::Options),
    /// Review a whole section: every notebook and report of a folder, one row each, and the section's statistics.
    Section(section::Options),
    /// Molar mass and composition of a formula, or an equation balanced.
    Formula(formula::Options),
    /// Begin a notebook from a template (or one for each line of a roster).
    Start(start::Options),
    /// Does a template hold together?
    Template(template::Options),
}

impl Command {
    /// Whether it works on several threads from the start: pages are set on them, and hand-ins are read.
    fn needs_threads(&self) -> bool {
        !matches!(self, Command::Compute(_) | Command::Review(_) | Command::Formula(_))
    }

    /// Whether Ctrl-C ends it wherever it is; the bench page ends itself.
    #[cfg(unix)]
    fn ends_at_once(&self) -> bool {
        #[cfg(feature = "bench")]
        return !matches!(self, Command::Bench(_));
        #[cfg(not(feature = "bench"))]
        true
    }
}

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Ending {
    /// No errors or warnings.
    Clean,
    /// Errors or warnings found.
    Found,
    /// It could not run.
    Failed,
}

/// Runs the command with these arguments (the first is the program's name).
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    if let Some((_, rest)) = arguments.split_first()
        && rest.first().is_some_and(|word| word == confined::COMMAND)
    {
        return confined::serve(&rest[1..]);
    }
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            let status = if error.use_stderr() { 2 } else { 0 };
            drop(error.print());
            return ExitCode::from(status);
        }
    };
    let voice = findings::Voice::new(arguments.plain);
    #[cfg(unix)]
    if arguments.command.ends_at_once() {
        signals::listen();
    }
    if arguments.command.needs_threads()
        && let Err(error) = rayon::ThreadPoolBuilder::new().build_global()
    {
        let message =
            format!("no threads could be started ({error}); is there a limit on memory or on threads?");
        complain(&message);
        return ExitCode::from(2);
    }
    let ending = match arguments.command {
        Command::Compute(options) => compute::run(&options, &voice),
        Command::Report(options) => report::run(&options, &voice),
        #[cfg(feature = "bench")]
        Command::Bench(options) => bench::run(&options, &voice),
        Command::Review(options) => review::run(&options, &voice),
        Command::Section(options) => section::run(&options, &voice),
        Command::Formula(options) => formula::run(&options),
        Command::Start(options) => start::run(&options, &voice),
        Command::Template(options) => template::run(&options, &voice),
    };
    ExitCode::from(match ending {
        Ending::Clean => 0,
        Ending::Found => 1,
        Ending::Failed => 2,
    })
}

/// Writes to the standard output. A closed pipe ends the writing, not the command.
fn print(text: &str) -> Result<(), std::io::Error> {
    let mut output = std::io::stdout().lock();
    match output.write_all(text.as_bytes()).and_then(|()| output.flush()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        result => result,
    }
}

/// Says on the standard error why a command could not run.
fn complain(message: &str) -> Ending {
    drop(writeln!(std::io::stderr(), "reweigh: {}", findings::without_controls(message)));
    Ending::Failed
}
