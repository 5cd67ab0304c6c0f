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

/// Much is allocated for a short while. The system's allocator gives memory back and asks for it anew with each version of a
/// page, which takes a fourth of the time that a version takes.
#[cfg(all(feature = "pdf", not(target_env = "msvc")))]
#[global_allocator]
static ALLOCATOR: tikv_jemallocator::Jemalloc = tikv_jemallocator::Jemalloc;

fn main() -> ExitCode {
    reweigh::cli::run(std::env::args_os())
}
