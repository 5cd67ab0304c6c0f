//! What someone else wrote runs in a process of its own, which has a limit on memory and on time.
//!
//! The process is this program once more, under a command that the help does not list: `confined SECONDS TASK`. The task's
//! data go in by its standard input, the answer comes out by its standard output. Tasks are the layout of a
//! template that is not shipped, its skeleton, and its remarks.

use std::io::{Read, Write};
use std::process::{Command, ExitCode, Stdio};
use std::time::Duration;

/// The command under which the program does a task.
pub(super) const COMMAND: &str = "confined";
/// Most memory of the process, in bytes.
pub(super) const MOST_MEMORY: u64 = 2 << 30;
/// Most files it may have open.
const MOST_FILES: u64 = 64;
/// Most bytes of an answer.
const MOST_BYTES: u64 = 512 << 20;

/// What a run came to.
pub(super) struct Run {
    /// What it answered; `None` where it was stopped or broke.
    pub(super) answer: Option<Vec<u8>>,
    /// Whether it ended by itself.
    pub(super) in_time: bool,
    /// What it said on its standard error.
    #[cfg_attr(not(feature = "pdf"), allow(dead_code, reason = "only layouts say where they are"))]
    pub(super) said: std::fs::File,
}

/// Runs a task (one or more words) on some bytes.
///
/// # Errors
///
/// The process could not be started.
pub(super) fn run(task: &[&str], bytes: Vec<u8>, seconds: u64) -> std::io::Result<Run> {
    let said = tempfile::tempfile()?;
    let mut child = Command::new(std::env::current_exe()?)
        .arg(COMMAND)
        .arg(seconds.to_string())
        .args(task)
        .env_clear()
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(said.try_clone()?)
        .spawn()?;
    let (input, output) = (child.stdin.take(), child.stdout.take());
    // Both ends at once: a process that answers before it has read everything must not stall.
    std::thread::spawn(move || input.map(|mut input| input.write_all(&bytes)));
    let (sender, receiver) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let mut answer = Vec::new();
        let read = output.map(|output| output.take(MOST_BYTES).read_to_end(&mut answer));
        drop(sender.send(read.and_then(Result::ok).map(|_| answer)));
    });
    let answer = receiver.recv_timeout(Duration::from_secs(seconds));
    if answer.is_err() {
        drop(child.kill());
    }
    let ended = child.wait()?;
    let in_time = answer.is_ok();
    let answer = answer.ok().flatten().filter(|_| ended.success());
    Ok(Run { answer, in_time, said })
}

/// Why a run has no answer, in a sentence about `what`.
pub(super) fn reason(what: &str, run: &Run, seconds: u64) -> String {
    if run.in_time {
        format!("{what} needs more than {} GiB of memory, or broke the program", MOST_MEMORY >> 30)
    } else {
        format!("{what} did not come to an end within {seconds} s")
    }
}

/// The process itself.
pub(super) fn serve(arguments: &[std::ffi::OsString]) -> ExitCode {
    let words: Vec<&str> = arguments.iter().filter_map(|word| word.to_str()).collect();
    let Some((seconds, task)) =
        words.split_first().and_then(|(first, task)| Some((first.parse().ok()?, task)))
    else {
        return ExitCode::from(2);
    };
    if limit(seconds).is_err() {
        return ExitCode::from(2);
    }
    let mut bytes = Vec::new();
    if std::io::stdin().lock().read_to_end(&mut bytes).is_err() {
        return ExitCode::from(2);
    }
    let answer = match task {
        #[cfg(feature = "pdf")]
        ["layout", how @ ..] => super::confined_layout::answer(bytes, how.contains(&"probed")),
        #[cfg(all(feature = "bench", feature = "pdf"))]
        ["pages"] => super::confined_layout::answer_pages(&bytes),
        ["skeleton"] => super::confined_skeleton::answer(&bytes),
        ["remarks"] => super::remarks::answer(&bytes),
        _ => None,
    };
    let Some(answer) = answer else { return ExitCode::from(2) };
    let mut output = std::io::stdout().lock();
    match output.write_all(&answer).and_then(|()| output.flush()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::from(2),
    }
}

/// Limits that nothing in this process can raise again.
#[cfg(unix)]
fn limit(seconds: u64) -> std::io::Result<()> {
    use rlimit::Resource;
    Resource::AS.set(MOST_MEMORY, MOST_MEMORY)?;
    // Seconds of all threads together; the clock of the waiting process is the stricter one.
    Resource::CPU.set(seconds * 8, seconds * 8)?;
    Resource::CORE.set(0, 0)?;
    Resource::NOFILE.set(MOST_FILES, MOST_FILES)
}

/// Where there are no such limits, the clock of the waiting process is the only one.
#[cfg(not(unix))]
fn limit(_: u64) -> std::io::Result<()> {
    let _ = MOST_FILES;
    Ok(())
}
