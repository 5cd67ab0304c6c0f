//! A layout that is not shipped, set in a confined process.
//!
//! One that does not come to an end is stopped, and set once more with probes before its statements
//! ([`probes`]), so that the error names a line.

use super::confined::{reason, run};
#[cfg(feature = "bench")]
use crate::bench_page::typeset::SetsPages;
#[cfg(feature = "bench")]
use crate::report::pages::{Page, Standing};
use crate::report::press::{InProcess, Job, Press, Problem};
use crate::report::probes;

/// Most seconds of the second run, which only looks for the line.
const LOOKING: u64 = 5;
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
        let run = run(&["layout"], job.to_bytes(), self.seconds).map_err(|error| {
            vec![Problem::saying(format!("the process for the layout could not be started: {error}"))]
        })?;
        match run.answer.as_deref().and_then(read_answer) {
            Some(answer) => answer,
            None => Err(vec![self.stopped(job, reason("the layout", &run, self.seconds))]),
        }
    }
}

impl Confined {
    /// Why a run was stopped, at the line it had come to.
    fn stopped(&self, job: &Job, message: String) -> Problem {
        let again = run(&["layout", "probed"], job.to_bytes(), self.seconds.min(LOOKING)).ok();
        let place = again.and_then(|again| place(&again.said));
        let hint = "look for a loop without an end, or for something very large, at or after this statement";
        Problem { message, hints: vec![hint.to_owned()], in_template: place, ..Problem::default() }
    }
}

/// Sets the pages of foreign layouts in a process of their own, those of shipped ones in this one.
#[cfg(feature = "bench")]
pub(super) struct ConfinedPages {
    confined: Confined,
    standing: Standing,
}

#[cfg(feature = "bench")]
impl ConfinedPages {
    /// With most so many seconds for a foreign layout.
    pub(super) fn new(seconds: u64) -> Self {
        ConfinedPages { confined: Confined { seconds }, standing: Standing::default() }
    }
}

#[cfg(feature = "bench")]
impl SetsPages for ConfinedPages {
    fn pages(
        &mut self,
        job: &Job,
        in_view: Option<(usize, usize)>,
        first: &mut dyn FnMut(Vec<Page>),
    ) -> Result<Vec<Page>, Vec<Problem>> {
        if !job.foreign {
            return self.standing.set_from(job, in_view, first);
        }
        let seconds = self.confined.seconds;
        let run = run(&["pages"], job.to_bytes(), seconds).map_err(|error| {
            vec![Problem::saying(format!("the process for the layout could not be started: {error}"))]
        })?;
        let answer = run.answer.as_deref().and_then(|answer| serde_json::from_slice(answer).ok());
        let stopped = || Err(vec![self.confined.stopped(job, reason("the layout", &run, seconds))]);
        answer.unwrap_or_else(stopped)
    }

    fn rest(&mut self) {
        self.standing.rest();
    }
}

/// What the confined process answers where pages are asked for.
#[cfg(feature = "bench")]
pub(super) fn answer_pages(bytes: &[u8]) -> Option<Vec<u8>> {
    serde_json::to_vec(&Standing::default().set(&Job::from_bytes(bytes)?)).ok()
}

/// `P` and a PDF, or `E` and the problems.
fn read_answer(answer: &[u8]) -> Option<Result<Vec<u8>, Vec<Problem>>> {
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
    let _ = PLACE_AT;
    None
}

/// What the confined process answers.
pub(super) fn answer(bytes: Vec<u8>, probed: bool) -> Option<Vec<u8>> {
    let mut job = Job::from_bytes(&bytes)?;
    drop(bytes);
    if probed {
        probe(&mut job);
    }
    Some(match InProcess.set(&job) {
        Ok(pdf) => [b"P".to_vec(), pdf].concat(),
        Err(problems) => [b"E".to_vec(), serde_json::to_vec(&problems).ok()?].concat(),
    })
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
