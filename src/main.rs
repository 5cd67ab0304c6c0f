//! The `reweigh` command: arguments in, exit status out.

use std::process::ExitCode;

fn main() -> ExitCode {
    reweigh::cli::run(std::env::args_os())
}
