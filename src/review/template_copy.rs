//! The template a review goes by, and how the copy that was handed in differs from it.
//!
//! A student who hands in a notebook may hand in a changed template beside it. A review goes by the reviewer's own,
//! or by the one that ships with the program, unless it is asked to take the copy; either way it says so.

use crate::files::Files;
use crate::finding::{Code, Finding};
use crate::template::{Origin, Template, find};
use std::sync::Arc;

/// The shipped template of a name, whatever lies beside the notebook.
fn shipped(name: &str) -> Option<Template> {
    find(name, &crate::files::Memory::default()).ok()
}

/// The copy of a template that lies beside a notebook.
fn handed_in(name: &str, beside: &dyn Files) -> Option<Template> {
    find(name, beside).ok().filter(|template| matches!(template.origin, Origin::Folder(_)))
}

/// The template to review by, where the notebook names one, and what there is to say of it. `reviewers` is the
/// reviewer's own. `None` leaves the choice to the notebook.
pub fn choose(
    name: Option<&str>,
    reviewers: Option<Arc<Template>>,
    as_submitted: bool,
    beside: &dyn Files,
) -> (Option<Arc<Template>>, Vec<Finding>) {
    let copy = name.and_then(|name| handed_in(name, beside));
    if as_submitted {
        let said =
            copy.map(|copy| note(format!("reviewed by the template as handed in, {}", copy.origin.words())));
        return (None, said.into_iter().collect());
    }
    let chosen = reviewers.or_else(|| name.and_then(shipped).map(Arc::new));
    let said = match (&chosen, &copy) {
        (Some(chosen), Some(copy)) => vec![differences(chosen, copy)],
        (None, Some(copy)) => {
            let message = format!("reviewed by the template as handed in, {}", copy.origin.words());
            vec![note(message).hint("give the reviewer's own with `--template`")]
        }
        _ => Vec::new(),
    };
    (chosen, said)
}

fn note(message: String) -> Finding {
    Finding::note(Code::TemplateCopy, None, message)
}

/// How a copy differs, file by file; a copy that does not differ is a note, one that does a warning.
fn differences(reviewers: &Template, copy: &Template) -> Finding {
    let mut differing: Vec<String> = Vec::new();
    for (path, bytes) in &reviewers.files {
        match copy.files.get(path) {
            None => differing.push(format!("{path} is missing")),
            Some(other) if other != bytes => differing.push(format!("{path} differs")),
            Some(_) => {}
        }
    }
    let added = copy.files.keys().filter(|path| !reviewers.files.contains_key(*path));
    differing.extend(added.map(|path| format!("{path} is not in the reviewer's")));
    let by = format!("reviewed by {} {} ({})", reviewers.id, reviewers.version, reviewers.origin.words());
    match differing.is_empty() {
        true => note(format!("{by}; the copy handed in is the same")),
        false => {
            let message = format!("{by}; the copy handed in is another one: {}", differing.join(", "));
            Finding::warning(Code::TemplateCopy, None, message)
        }
    }
}
