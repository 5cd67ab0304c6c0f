//! `reweigh start`: a new notebook from a template, or one for each line of a roster. Nothing is overwritten.

use super::confined_skeleton::fill_all;
use super::findings::Voice;
use super::roster::roster;
use super::{Ending, complain, input, print};
use crate::bench_page::offline;
use crate::files::write_new;
use crate::template::Template;
use crate::template::roster::Entry;
use crate::template::skeleton::Student;
use std::path::{Path, PathBuf};

/// Options of `start`.
#[derive(Debug, clap::Args)]
pub(super) struct Options {
    /// The template: a folder, or a shipped one by its name.
    template: String,
    /// Where the notebook goes [default: TEMPLATE.md]; with a roster, the folder for all of them
    /// [default: TEMPLATE].
    file: Option<PathBuf>,
    /// A CSV file with a column `name`, one line for each student or bench, and optionally `unknown` (the number of
    /// the issued sample) and `file` (the name of the notebook).
    #[arg(long)]
    roster: Option<PathBuf>,
    /// Write the bench sheet of the template to this file instead: one page for a browser without a network, with fields
    /// for the readings and a button that saves the notebook.
    #[arg(long, conflicts_with_all = ["file", "roster"])]
    sheet: Option<PathBuf>,
}

pub(super) fn run(options: &Options, voice: &Voice) -> Ending {
    let template = match input::template(&options.template) {
        Ok(template) => template,
        Err(message) => return complain(&message),
    };
    let texts = match &options.sheet {
        Some(sheet) => bench_sheet(&template, sheet),
        None => notebooks(options, &template),
    };
    match texts {
        Ok(written) => written_all(&written),
        Err(Trouble::Sentence(message)) => complain(&message),
        Err(Trouble::Skeleton(finding)) => {
            voice.say(&options.template, "", &[*finding]);
            complain("no notebook was written")
        }
    }
}

/// The bench sheet: its path and its text.
fn bench_sheet(template: &Template, path: &Path) -> Result<Vec<(PathBuf, String)>, Trouble> {
    let filled = fill_all(template, &[offline::student()]).map_err(Trouble::Skeleton)?;
    let skeleton = filled.first().map_or("", String::as_str);
    let page = offline::sheet(template, skeleton)
        .map_err(|problem| Trouble::Sentence(format!("no bench sheet of {}: {problem}", template.id)))?;
    Ok(vec![(path.to_owned(), page)])
}

/// Why no notebook is written.
enum Trouble {
    Sentence(String),
    Skeleton(Box<crate::finding::Finding>),
}

/// The notebooks to write: path and text.
fn notebooks(options: &Options, template: &Template) -> Result<Vec<(PathBuf, String)>, Trouble> {
    let name = if template.id.is_empty() { "notebook" } else { &template.id };
    let entries: Vec<(PathBuf, Student)> = match &options.roster {
        None => {
            let file = options.file.clone().unwrap_or_else(|| PathBuf::from(format!("{name}.md")));
            vec![(file, Student::default())]
        }
        Some(file) => {
            let folder = options.file.clone().unwrap_or_else(|| PathBuf::from(name));
            let entries = roster(file).map_err(Trouble::Sentence)?;
            entries.into_iter().map(|Entry { file, student }| (folder.join(file), student)).collect()
        }
    };
    let (paths, students): (Vec<PathBuf>, Vec<Student>) = entries.into_iter().unzip();
    let texts = fill_all(template, &students).map_err(Trouble::Skeleton)?;
    Ok(paths.into_iter().zip(texts).collect())
}

/// Writes all or, where one of the files is there already, none.
fn written_all(notebooks: &[(PathBuf, String)]) -> Ending {
    if let Some((path, _)) = notebooks.iter().find(|(path, _)| is_there(path)) {
        return complain(&format!("{} is there already; nothing was written", path.display()));
    }
    for (path, text) in notebooks {
        if let Err(error) = write_new(path, text.as_bytes()) {
            return complain(&format!("cannot write {}: {error}", path.display()));
        }
        drop(print(&format!("{}\n", path.display())));
    }
    Ending::Clean
}

/// Whether a path is taken, also by a link that leads nowhere.
fn is_there(path: &Path) -> bool {
    path.symlink_metadata().is_ok()
}
