//! A layout that is not shipped is set by a process of its own, which has a limit on memory and on time.
//!
//! The process is this program once more, under a command that the help does not list. The job goes in by its
//! standard input, the PDF or the problems come out by its standard output. One that does not come to an end is
//! stopped, and set once more with probes before its statements ([`probes`]), so that the error names a line.

use crate::report::press::{InProcess, Job, Press, Problem};
use crate::report::probes;
use std::io::{Read, Write};
use std::process::{Command, ExitCode, Stdio};
use std::time::Duration;

/// The command under which the program sets a job.
pub(super) const COMMAND: &str = "set-confined";
/// Most memory of the process, in bytes.
const MOST_MEMORY: u64 = 2 << 30;
/// Most files it may have open.
const MOST_FILES: u64 = 64;
/// Most seconds of the second run, which only looks for the line.
const LOOKING: u64 = 5;
/// Most bytes of a PDF.
const MOST_BYTES: u64 = 512 << 20;
/// Where in the process's standard error the place of the last statement stands, behind whatever it says itself.
const PLACE_AT: u64 = 1 << 16;

/// Sets foreign layouts in a process of their own, shipped ones in this one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Confined {
    /// Most seconds a foreign layout may take.
    pub(super) seconds: u64,
}

impl Press for Confined {
    fn set(&self, job: &Job) -> Result<Vec<u8>, Vec<Problem>> {
        if !job.foreign {
            return InProcess.set(job);
        }
        match run(job, self.seconds, false) {
            Ok(Run { reply: Some(reply), .. }) => reply,
            Ok(stopped) => Err(vec![self.stopped(job, &stopped)]),
            Err(error) => Err(vec![Problem::saying(format!(
                "the process for the layout could not be started: {error}"
            ))]),
        }
    }
}

impl Confined {
    /// Why a run was stopped, at the line it had come to.
    fn stopped(&self, job: &Job, first: &Run) -> Problem {
        let what = if first.in_time {
            format!("the layout needs more than {} GiB of memory, or broke the typesetter", MOST_MEMORY >> 30)
        } else {
            format!("the layout did not come to an end within {} s", self.seconds)
        };
        let again = run(job, self.seconds.min(LOOKING), true).ok();
        let place = again.and_then(|again| again.place);
        let hint = "look for a loop without an end, or for something very large, at or after this statement";
        Problem { message: what, hints: vec![hint.to_owned()], in_template: place, ..Problem::default() }
    }
}

/// What a run came to.
struct Run {
    /// What it answered; `None` where it was stopped or broke.
    reply: Option<Result<Vec<u8>, Vec<Problem>>>,
    /// Whether it ended by itself.
    in_time: bool,
    /// The statement it had come to: file and bytes.
    place: Option<(String, std::ops::Range<usize>)>,
}

fn run(job: &Job, seconds: u64, probed: bool) -> std::io::Result<Run> {
    let said = tempfile::tempfile()?;
    let mut child = Command::new(std::env::current_exe()?)
        .arg(COMMAND)
        .arg(seconds.to_string())
        .args(probed.then_some("probed"))
        .env_clear()
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(said.try_clone()?)
        .spawn()?;
    let (input, output) = (child.stdin.take(), child.stdout.take());
    let bytes = job.to_bytes();
    // Both ends at once: a process that answers before it has read everything must not stall.
    std::thread::spawn(move || input.map(|mut input| input.write_all(&bytes)));
    let (sender, receiver) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let mut answer = Vec::new();
        let read = output.map(|output| output.take(MOST_BYTES).read_to_end(&mut answer));
        drop(sender.send(read.map(|read| read.map(|_| answer))));
    });
    let answer = receiver.recv_timeout(Duration::from_secs(seconds));
    if answer.is_err() {
        drop(child.kill());
    }
    child.wait()?;
    let in_time = answer.is_ok();
    let reply = answer.ok().flatten().and_then(Result::ok).and_then(|answer| read_reply(&answer));
    Ok(Run { reply, in_time, place: place(&said) })
}

/// `P` and a PDF, or `E` and the problems.
fn read_reply(answer: &[u8]) -> Option<Result<Vec<u8>, Vec<Problem>>> {
    match answer.split_first()? {
        (b'P', pdf) if pdf.starts_with(b"%PDF") => Some(Ok(pdf.to_vec())),
        (b'E', problems) => Some(Err(serde_json::from_slice(problems).ok()?)),
        _ => None,
    }
}

/// The place that the process noted last.
#[cfg(unix)]
fn place(said: &std::fs::File) -> Option<(String, std::ops::Range<usize>)> {
    use std::os::unix::fs::FileExt;
    let mut noted = vec![0; 4096];
    let read = said.read_at(&mut noted, PLACE_AT).ok()?;
    let text = String::from_utf8_lossy(noted.get(..read)?).into_owned();
    let (offset, file) = text.lines().next()?.trim_start().split_once(' ')?;
    let offset: usize = offset.trim().parse().ok()?;
    Some((file.to_owned(), offset..offset + 1))
}

#[cfg(not(unix))]
fn place(_: &std::fs::File) -> Option<(String, std::ops::Range<usize>)> {
    None
}

/// The process itself: `set-confined SECONDS [probed]`.
pub(super) fn serve(arguments: &[std::ffi::OsString]) -> ExitCode {
    let words: Vec<&str> = arguments.iter().filter_map(|word| word.to_str()).collect();
    let seconds = words.first().and_then(|word| word.parse().ok()).unwrap_or(20);
    if limit(seconds).is_err() {
        return ExitCode::from(2);
    }
    let mut bytes = Vec::new();
    let read = std::io::stdin().lock().read_to_end(&mut bytes);
    let Some(mut job) = read.ok().and_then(|_| Job::from_bytes(&bytes)) else { return ExitCode::from(2) };
    drop(bytes);
    if words.get(1) == Some(&"probed") {
        probe(&mut job);
    }
    let mut answer = Vec::new();
    match InProcess.set(&job) {
        Ok(pdf) => {
            answer.push(b'P');
            answer.extend(pdf);
        }
        Err(problems) => {
            answer.push(b'E');
            answer.extend(serde_json::to_vec(&problems).unwrap_or_default());
        }
    }
    let mut output = std::io::stdout().lock();
    match output.write_all(&answer).and_then(|()| output.flush()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::from(2),
    }
}

/// Limits that nothing in this process can raise again.
fn limit(seconds: u64) -> std::io::Result<()> {
    use rlimit::Resource;
    Resource::AS.set(MOST_MEMORY, MOST_MEMORY)?;
    // Seconds of all threads together; the clock of the waiting process is the stricter one.
    Resource::CPU.set(seconds * 8, seconds * 8)?;
    Resource::CORE.set(0, 0)?;
    Resource::NOFILE.set(MOST_FILES, MOST_FILES)
}

/// Puts probes into the template's own files and notes the last place.
fn probe(job: &mut Job) {
    job.layout = probes::with_probes(crate::report::LAYOUT_PATH, &job.layout);
    for (path, bytes) in job.files.iter_mut().filter(|(path, _)| path.ends_with(".typ")) {
        if let Ok(text) = std::str::from_utf8(bytes) {
            *bytes = probes::with_probes(path, text).into_bytes();
        }
    }
    note_on_standard_error();
}

#[cfg(unix)]
fn note_on_standard_error() {
    use std::os::fd::AsFd;
    use std::os::unix::fs::FileExt;
    let Ok(descriptor) = std::io::stderr().as_fd().try_clone_to_owned() else { return };
    let file = std::fs::File::from(descriptor);
    probes::note_places(Box::new(move |path, offset| {
        drop(file.write_at(format!("{offset:>12} {path}\n").as_bytes(), PLACE_AT));
    }));
}

#[cfg(not(unix))]
fn note_on_standard_error() {}
