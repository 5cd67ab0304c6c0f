//! The pages of the report as the typesetter makes them, with names for what stands on them.

use super::derivation::Names;
use super::paper::{FontFile, Page, Paper, PlacedValue, Set};
use crate::Computed;
use crate::files::Files;
use crate::finding::Finding;
use crate::quantity::derivation::NodeId;
use crate::report::drawing::Item;
use crate::report::pages::{Look, Page as SetPage, Words, font_file};
use crate::report::press::{Job, Problem};
use serde::Serialize;
use std::sync::{Arc, OnceLock};

/// Whoever sets the pages of a job: in this process, or in one with limits.
pub trait SetsPages: Send {
    /// The pages; `first` is given those in view, from the first to the last (counted from 0), before the others are
    /// set, where that is any sooner.
    ///
    /// # Errors
    ///
    /// Why they could not be set.
    fn pages(
        &mut self,
        job: &Job,
        in_view: Option<(usize, usize)>,
        first: &mut dyn FnMut(Vec<SetPage>),
    ) -> Result<Vec<SetPage>, Vec<Problem>>;

    /// Does what can wait until a version is on the screen.
    fn rest(&mut self);
}

/// The pages of one notebook, version after version.
pub struct Typeset<P> {
    press: P,
    /// The pages of the version before.
    before: Vec<Arc<Page>>,
}

impl<P: SetsPages> Typeset<P> {
    /// Sets them by this.
    pub fn new(press: P) -> Self {
        Typeset { press, before: Vec::new() }
    }
}

impl<P: SetsPages> Paper for Typeset<P> {
    fn set(
        &mut self,
        computed: &Computed,
        files: &dyn Files,
        in_view: Option<(usize, usize)>,
        first: &mut dyn FnMut(Vec<Arc<Page>>),
    ) -> Result<Set, Vec<Finding>> {
        let (press, before) = (&mut self.press, &mut self.before);
        let template = computed.template.as_deref();
        let made = OnceLock::new();
        let names = || made.get_or_init(|| Names::of(computed));
        let named = |pages: Vec<SetPage>, known: &[Arc<Page>]| -> Vec<Arc<Page>> {
            pages.into_iter().map(|set| page(set, names(), known)).collect()
        };
        let (pages, findings) = std::thread::scope(|scope| {
            // They are wanted when the pages are there, and made meanwhile.
            let _ = std::thread::Builder::new().spawn_scoped(scope, || {
                names();
            });
            crate::report::pages_with(&computed.notebook, &computed.results, files, template, &mut |job| {
                press.pages(job, in_view, &mut |pages| {
                    let pages = named(pages, before);
                    before.extend(pages.iter().cloned());
                    first(pages);
                })
            })
        })?;
        let pages = named(pages, before);
        self.before.clone_from(&pages);
        Ok(Set { pages, findings })
    }

    fn rest(&mut self) {
        self.press.rest();
    }

    fn font(&self) -> FontFile {
        font_file
    }
}

/// A page under its name; the known one where there is one that is the same.
fn page(page: SetPage, names: &Names, known: &[Arc<Page>]) -> Arc<Page> {
    let layer = layer(&page, names);
    let (picture, images) = match page.look {
        Look::Picture(svg, _) => (Some(svg), Vec::new()),
        Look::Drawn(_, images) => {
            (None, images.into_iter().map(|(name, image)| (name, image.mime, image.bytes)).collect())
        }
    };
    let same = |old: &&Arc<Page>| old.layer == layer && old.picture == picture;
    if let Some(old) = known.iter().find(same) {
        return old.clone();
    }
    let hash = crate::sha256(format!("{}\0{layer}", picture.as_deref().unwrap_or_default()).as_bytes());
    let hash = hash.get(..32).unwrap_or(&hash).to_owned();
    Arc::new(Page { hash, width: page.width, height: page.height, layer, picture, images })
}

/// What stands on a page and where its values are, as JSON.
fn layer(page: &SetPage, names: &Names) -> String {
    let values = page.values.iter().filter_map(|value| {
        let (key, name, shown) = match value.of.parse() {
            Ok(node) => names.name(NodeId(node)).map(|name| (&name.key, &name.name, &name.value))?,
            Err(_) => names.figure(&value.of).map(|figure| (&figure.name, &figure.name, &figure.value))?,
        };
        Some(PlacedValue { key: key.clone(), name: format!("{name}: {shown}"), place: value.place })
    });
    let values: Vec<PlacedValue> = values.collect();
    let layer = match &page.look {
        Look::Drawn(items, _) => serde_json::to_string(&Layer { items: Some(items), words: None, values }),
        Look::Picture(_, words) => serde_json::to_string(&Layer { items: None, words: Some(words), values }),
    };
    layer.unwrap_or_default()
}

/// A page as the browser is sent it.
#[derive(Serialize)]
struct Layer<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    items: Option<&'a [Item]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    words: Option<&'a [Words]>,
    values: Vec<PlacedValue>,
}
