//! The pages of the report as the typesetter makes them, with names for what stands on them.

use super::derivation::Names;
use super::paper::{Layer, Page, Paper, PlacedValue, Set};
use crate::Computed;
use crate::files::Files;
use crate::finding::Finding;
use crate::quantity::derivation::NodeId;
use crate::report::pages::{Page as SetPage, Words};
use crate::report::press::{Job, Problem};
use std::sync::Arc;

/// Whoever sets the pages of a job: in this process, or in one with limits.
pub trait SetsPages: Send {
    /// The pages.
    ///
    /// # Errors
    ///
    /// Why they could not be set.
    fn pages(&mut self, job: &Job) -> Result<Vec<SetPage>, Vec<Problem>>;
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
    fn set(&mut self, computed: &Computed, files: &dyn Files) -> Result<Set, Vec<Finding>> {
        let press = &mut self.press;
        let template = computed.template.as_deref();
        let (pages, findings) =
            crate::report::pages_with(&computed.notebook, &computed.results, files, template, &mut |job| {
                press.pages(job)
            })?;
        let names = Names::of(computed);
        let pages: Vec<Arc<Page>> = pages.into_iter().map(|page| self.page(page, &names)).collect();
        self.before.clone_from(&pages);
        Ok(Set { pages, findings })
    }
}

impl<P> Typeset<P> {
    /// A page under its name; the one of the version before where it is the same.
    fn page(&self, page: SetPage, names: &Names) -> Arc<Page> {
        let layer = serde_json::to_string(&layer(&page, names)).unwrap_or_default();
        let same = |old: &&Arc<Page>| old.svg == page.svg && old.layer == layer;
        if let Some(old) = self.before.iter().find(same) {
            return old.clone();
        }
        let hash = crate::sha256(format!("{}\0{layer}", page.svg).as_bytes());
        let hash = hash.get(..32).unwrap_or(&hash).to_owned();
        Arc::new(Page { hash, width: page.width, height: page.height, svg: page.svg, layer })
    }
}

fn layer(page: &SetPage, names: &Names) -> Layer {
    let words = |words: &Words| (words.left, words.line, words.width, words.size, words.text.clone());
    let values = page.values.iter().filter_map(|value| {
        let name = names.name(NodeId(value.node))?;
        let said = format!("{}: {}", name.name, name.value);
        Some(PlacedValue { key: name.key.clone(), name: said, place: value.place })
    });
    Layer { words: page.words.iter().map(words).collect(), values: values.collect() }
}
