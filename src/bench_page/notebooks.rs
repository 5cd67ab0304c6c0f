//! The notebooks on the bench page, and the thread that works them out again when a file changes.
//!
//! It acts on the first event. The notebook is read until two readings of it agree, so that a file which is still being
//! written is not taken for the whole; events that come in while it works make one further round. There is no
//! waiting time to be tuned.

use super::paper::{FontFile, Page, Paper};
use super::sheet::Sheet;
use super::watch::{Noting, Watch, below};
use crate::files::{Folder, read_bounded, replace_unchanged};
use crate::finding::Finding;
use crate::{Computed, Wanted};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// How often a file is read again until two readings agree.
const MOST_READS: usize = 200;
/// The pause between two readings that differ, and before an empty or missing file is believed.
const PAUSE: Duration = Duration::from_micros(250);
/// How long the pages in view have the processor to themselves, to be painted, before the others are set: the way to
/// the browser, and a frame or two.
const PAINTING: Duration = Duration::from_millis(45);

/// How the template of a notebook is found, each time anew: its files may have changed.
pub type FindTemplate = Arc<dyn Fn() -> Wanted + Send + Sync>;

/// One notebook.
pub struct OnBench {
    path: PathBuf,
    name: String,
    folder: PathBuf,
    find_template: FindTemplate,
    sheet: watch::Sender<Arc<Sheet>>,
    /// The first and the last page in view, counted from 0.
    in_view: Mutex<Option<(usize, usize)>>,
    /// One entry is written at a time.
    writing: Mutex<()>,
}

impl OnBench {
    /// Its file name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its newest version.
    pub fn sheet(&self) -> Arc<Sheet> {
        self.sheet.borrow().clone()
    }

    /// Word of new versions.
    pub fn follow(&self) -> watch::Receiver<Arc<Sheet>> {
        self.sheet.subscribe()
    }

    /// Notes which pages are in view, counted from 0: they are set before the others.
    pub fn note_in_view(&self, pages: &[usize]) {
        let ends = pages.iter().min().copied().zip(pages.iter().max().copied());
        *self.in_view.lock().unwrap_or_else(PoisonError::into_inner) = ends;
    }

    /// How it is to be computed.
    pub fn wanted(&self) -> Wanted {
        (self.find_template)()
    }

    /// The files beside it.
    pub fn files(&self) -> Folder {
        Folder::new(&self.folder)
    }

    /// The notebook as the file has it now.
    ///
    /// # Errors
    ///
    /// A sentence that says why it cannot be read.
    pub fn now(&self) -> Result<(Vec<u8>, Arc<Computed>), String> {
        let bytes = read_bounded(&self.path).map_err(|problem| format!("{}: {problem}", self.name))?;
        let sheet = self.sheet();
        if sheet.bytes == bytes {
            return Ok((bytes, sheet.computed.clone()));
        }
        let computed = crate::compute_as(&self.name, &bytes, &self.files(), &self.wanted());
        Ok((bytes, Arc::new(computed)))
    }

    /// Makes new bytes of the file's, and writes them if nobody else has written meanwhile.
    ///
    /// # Errors
    ///
    /// What `change` says, or a sentence of this.
    pub fn rewrite<E: From<String>>(
        &self,
        change: impl Fn(&[u8], &Computed) -> Result<Vec<u8>, E>,
    ) -> Result<(), E> {
        let _one = self.writing.lock();
        for _ in 0..3 {
            let (bytes, computed) = self.now()?;
            let new = change(&bytes, &computed)?;
            match replace_unchanged(&self.path, &bytes, &new) {
                Ok(true) => return Ok(()),
                Ok(false) => {}
                Err(error) => return Err(format!("cannot write {}: {error}", self.name).into()),
            }
        }
        Err(format!("{} is being changed by something else; nothing was written", self.name).into())
    }
}

/// Word to the thread.
enum Word {
    /// These paths changed; none named: any may have.
    Changed(Vec<PathBuf>, Instant),
    /// It is over.
    End,
}

/// The notebooks and the way to their thread.
pub struct Bench {
    /// The notebooks, in the order given.
    pub notebooks: Vec<Arc<OnBench>>,
    /// The fonts in which their pages are drawn.
    pub font: FontFile,
    sender: Sender<Word>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Bench {
    /// Works every notebook out once and begins to watch, `also` these files and folders elsewhere. `paper` sets the
    /// pages of each.
    ///
    /// # Errors
    ///
    /// A sentence: a notebook cannot be read.
    pub fn start(
        paths: &[PathBuf],
        find_template: &FindTemplate,
        also: &[PathBuf],
        paper: &dyn Fn() -> Box<dyn Paper>,
    ) -> Result<Bench, String> {
        let (sender, receiver) = channel();
        let mut standing = Vec::new();
        for path in paths {
            standing.push(Standing::new(path, find_template, also, paper())?);
        }
        let notebooks = standing.iter().map(|standing| standing.notebook.clone()).collect();
        let font = standing.first().map_or((|_| None) as FontFile, |standing| standing.paper.font());
        let tell = sender.clone();
        let watch = Watch::new(move |paths| drop(tell.send(Word::Changed(paths, Instant::now())))).ok();
        let mut worker = Worker { standing, watch };
        worker.watch();
        let thread = std::thread::Builder::new().name("bench".into()).spawn(move || worker.run(&receiver));
        let thread = thread.map_err(|error| format!("no thread could be started: {error}"))?;
        Ok(Bench { notebooks, font, sender, thread: Some(thread) })
    }

    /// Says that a notebook was written, where the system may not.
    pub fn look_at(&self, notebook: &OnBench) {
        drop(self.sender.send(Word::Changed(vec![notebook.path.clone()], Instant::now())));
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        drop(self.sender.send(Word::End));
        if let Some(thread) = self.thread.take() {
            drop(thread.join());
        }
    }
}

/// The thread.
struct Worker {
    standing: Vec<Standing>,
    watch: Option<Watch>,
}

impl Worker {
    fn run(&mut self, receiver: &Receiver<Word>) {
        while let Ok(Word::Changed(mut paths, since)) = receiver.recv() {
            let mut any = paths.is_empty();
            for word in receiver.try_iter() {
                match word {
                    Word::Changed(more, _) => {
                        any |= more.is_empty();
                        paths.extend(more);
                    }
                    Word::End => return,
                }
            }
            for standing in &mut self.standing {
                let mut own = paths.iter().filter(|path| standing.rests_on(path)).peekable();
                if any || own.peek().is_some() {
                    let alone = !any && own.all(|path| *path == standing.notebook.path);
                    standing.again(since, alone);
                }
            }
            if self.watch() {
                // What was put into a new folder before it was watched.
                let with_folders = self.standing.iter_mut().filter(|standing| !standing.also.is_empty());
                with_folders.for_each(|standing| standing.again(Instant::now(), false));
            }
            self.standing.iter_mut().for_each(|standing| standing.paper.rest());
        }
    }

    /// Says whether it watches more folders than before.
    fn watch(&mut self) -> bool {
        let folders =
            |standing: &Standing| standing.also.iter().flat_map(|path| below(path)).collect::<Vec<_>>();
        let all = self.standing.iter().flat_map(|standing| {
            let own = standing.rests_on.iter().chain(&standing.also).cloned();
            own.chain(folders(standing))
        });
        let all = all.collect();
        self.watch.as_mut().is_some_and(|watch| watch.watch(&all))
    }
}

/// A notebook as the thread keeps it.
struct Standing {
    notebook: Arc<OnBench>,
    paper: Box<dyn Paper>,
    /// Files and folders that it rests on.
    rests_on: BTreeSet<PathBuf>,
    /// Files and folders elsewhere that it rests on.
    also: Vec<PathBuf>,
}

impl Standing {
    fn new(
        path: &Path,
        find_template: &FindTemplate,
        also: &[PathBuf],
        mut paper: Box<dyn Paper>,
    ) -> Result<Standing, String> {
        let since = Instant::now();
        let shown = path.display();
        let full = path.canonicalize().map_err(|error| format!("cannot read {shown}: {error}"))?;
        let bytes = read_bounded(&full).map_err(|problem| format!("cannot read {shown}: {problem}"))?;
        let name = full.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let folder = full.parent().unwrap_or(Path::new("/")).to_path_buf();
        let made = make(&name, bytes, &folder, &find_template(), paper.as_mut(), None, &mut |_, _, _| {});
        let rests_on = rests_on(&full, &folder, made.asked);
        let sheet = Sheet::new(
            1,
            made.bytes,
            made.computed,
            made.pages.unwrap_or_default(),
            Some(&made.findings),
            &made.notice,
            since,
        );
        let (sheet, _) = watch::channel(Arc::new(sheet));
        let find_template = find_template.clone();
        let (in_view, writing) = (Mutex::new(None), Mutex::new(()));
        let notebook = OnBench { path: full, name, folder, find_template, sheet, in_view, writing };
        Ok(Standing { notebook: Arc::new(notebook), paper, rests_on, also: also.to_vec() })
    }

    /// Whether the notebook rests on a path, or on a folder that holds it.
    fn rests_on(&self, path: &Path) -> bool {
        path.ancestors()
            .take(8)
            .any(|path| self.rests_on.contains(path) || self.also.iter().any(|also| also == path))
    }

    /// Works the notebook out again. Where it cannot be read or set, the last good pages stay. Where it `alone` was
    /// touched and says what it said, nothing is to be done.
    fn again(&mut self, since: Instant, alone: bool) {
        let before = self.notebook.sheet();
        let mut next = before.version + 1;
        let sheet = match settled(&self.notebook.path) {
            Ok(bytes) if alone && before.is_whole && bytes == before.bytes => return,
            Ok(bytes) => {
                let notebook = &self.notebook;
                let in_view = *notebook.in_view.lock().unwrap_or_else(PoisonError::into_inner);
                let wanted = notebook.wanted();
                // What is in view first, the other pages being those of the version before.
                let mut first = |bytes: &[u8], computed: &Arc<Computed>, set: Vec<Arc<Page>>| {
                    let mut pages = before.pages.clone();
                    let from = in_view.map_or(0, |(from, _)| from.min(pages.len()));
                    pages.splice(from..pages.len().min(from + set.len()), set);
                    let sheet = Sheet::new(next, bytes.to_vec(), computed.clone(), pages, None, "", since);
                    notebook.sheet.send_replace(Arc::new(sheet));
                    next += 1;
                    std::thread::sleep(PAINTING);
                };
                let paper = self.paper.as_mut();
                let made = make(&notebook.name, bytes, &notebook.folder, &wanted, paper, in_view, &mut first);
                self.rests_on = rests_on(&notebook.path, &notebook.folder, made.asked);
                let pages = made.pages.unwrap_or_else(|| before.pages.clone());
                Sheet::new(next, made.bytes, made.computed, pages, Some(&made.findings), &made.notice, since)
            }
            Err(problem) => {
                let notice =
                    format!("The notebook cannot be read: {problem}. What is shown is its last version.");
                let (bytes, computed) = (before.bytes.clone(), before.computed.clone());
                Sheet::new(next, bytes, computed, before.pages.clone(), Some(&[]), &notice, since)
            }
        };
        self.notebook.sheet.send_replace(Arc::new(sheet));
    }
}

/// Takes the pages in view of a version that is not yet complete: its bytes, what they come to, the pages.
type First<'a> = dyn FnMut(&[u8], &Arc<Computed>, Vec<Arc<Page>>) + 'a;

/// What a version of a notebook was made into.
struct Made {
    bytes: Vec<u8>,
    computed: Arc<Computed>,
    /// `None` where they could not be set.
    pages: Option<Vec<Arc<Page>>>,
    findings: Vec<Finding>,
    notice: String,
    asked: BTreeSet<String>,
}

fn make(
    name: &str,
    bytes: Vec<u8>,
    folder: &Path,
    wanted: &Wanted,
    paper: &mut dyn Paper,
    in_view: Option<(usize, usize)>,
    first: &mut First,
) -> Made {
    let files = Noting::new(Folder::new(folder));
    let computed = Arc::new(crate::compute_as(name, &bytes, &files, wanted));
    let set = paper.set(&computed, &files, in_view, &mut |pages| first(&bytes, &computed, pages));
    let asked = files.asked();
    match set {
        Ok(set) => Made {
            bytes,
            computed,
            pages: Some(set.pages),
            findings: set.findings,
            notice: String::new(),
            asked,
        },
        Err(findings) => {
            let notice = "This version could not be set; the findings say why. The pages are those of the last good one.";
            Made { bytes, computed, pages: None, findings, notice: notice.to_owned(), asked }
        }
    }
}

/// The full paths of a notebook and of what it asked for.
fn rests_on(path: &Path, folder: &Path, asked: BTreeSet<String>) -> BTreeSet<PathBuf> {
    let beside =
        asked.into_iter().filter(|path| !path.is_empty() && path != ".").map(|path| folder.join(path));
    beside.chain([path.to_path_buf()]).collect()
}

/// The bytes of a file once two readings of it agree. An empty or missing file is believed only after a while: some
/// editors empty a file before they write it, or take it away before they put it back.
fn settled(path: &Path) -> Result<Vec<u8>, String> {
    let mut before = read_bounded(path);
    for _ in 0..MOST_READS {
        let again = read_bounded(path);
        let unsure = !matches!(&again, Ok(bytes) if !bytes.is_empty());
        if !unsure && again == before {
            break;
        }
        before = again;
        std::thread::sleep(PAUSE);
    }
    before.map_err(|problem| problem.to_string())
}
