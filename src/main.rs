//! The `reweigh` command: arguments in, exit status out.

// Nothing breaks off where a value is not what was hoped for. Tests may.
#![cfg_attr(
    not(test),
    deny(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::todo,
        clippy::unimplemented
    )
)]

use std::process::ExitCode;

fn main() -> ExitCode {
    reweigh::cli::run(std::env::args_os())
}
