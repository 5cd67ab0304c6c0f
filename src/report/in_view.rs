//! The pages in view, set without what comes after them.
//!
//! How much of a document fills them is not known before it is set. So a few statements more are set than stood on them
//! in the version before; something behind the pages says that there is no room for more on them. Where nothing is
//! behind them, more is tried.
//!
//! Of what is not in view only the room it takes matters. A statement in which nothing changed but digits takes the room
//! that it took before: it is set as it was, which the typesetter remembers.

use super::continued::{self, Beginning};
use super::versions::{Code, Report, STATEMENT_MARK};
use std::collections::HashMap;
use std::num::NonZeroUsize;
use std::sync::Arc;
use typst::foundations::{Content, NativeElement, Selector, StyleChain, Value};
use typst::introspection::{Introspector, Location, MetadataElem};
use typst::model::{FigureCaption, FigureElem, HeadingElem, OutlineElem, TableElem};
use typst::syntax::FileId;
use typst_layout::{PagedDocument, PagedIntrospector};

/// So many statements behind those in view are set with them at first.
const FEW: usize = 1;
/// By so many more each time it is tried, where they do not show that there is no room for them.
const MORE: [usize; 5] = [1, 2, 8, 20, 0];

/// The plots, as their statements begin.
const PLOTS: [&str; 2] = ["\nlayout.mass-plot((", "\nlayout.trials-plot(("];

/// A version of a document, and the one before.
pub(super) struct Versions<'a> {
    pub(super) report: &'a Report,
    /// The statements of the one before.
    pub(super) before: &'a [Arc<Code>],
    /// What the one before knew of itself.
    pub(super) known: &'a Arc<PagedIntrospector>,
}

/// Sets the pages in view of version after version.
#[derive(Default)]
pub(super) struct InView {
    /// What the beginning of the version before knew of itself.
    known: Option<Arc<PagedIntrospector>>,
    /// How many statements behind those in view it took to see that there was no room for them.
    enough: usize,
}

impl InView {
    /// A document whose pages in view (the first and the last of them, counted from 0) are those of the whole. `None`
    /// where that takes all of it, or more than is worth it.
    pub(super) fn set(
        &mut self,
        versions: &Versions,
        (first, last): (usize, usize),
    ) -> Option<PagedDocument> {
        let known = Some(versions.known).filter(|known| !lists_all(known))?;
        let on = pages_of_statements(known).filter(|on| on.len() == versions.before.len())?;
        let statements = versions.report.statements();
        let behind = on.iter().filter(|(begins, _)| *begins > last).count();
        // So many are in view, or before that: as they were at first, then as they came to stand.
        let mut shown = statements.len().checked_sub(behind)?;
        // The last statement that begins on an earlier page may end on one in view.
        let earlier = on.iter().take_while(|(_, ends)| *ends < first).count().saturating_sub(1);
        let mut most = shown + self.enough.max(FEW);
        let beginning = Beginning {
            shown: NonZeroUsize::MIN.saturating_add(last),
            pages: known.pages(Location::new(0))?,
        };
        for more in MORE {
            if most >= statements.len() {
                return None;
            }
            let instead = versions.of_the_same_room(&statements, earlier, shown);
            let world = versions.report.beginning(most, &instead)?;
            let from = self.known.take().unwrap_or_else(|| known.clone());
            let document = continued::beginning(&world, from, beginning)?;
            let begun = document.introspector();
            self.known = Some(begun.clone());
            let now = pages_of_statements(begun)?.iter().filter(|(begins, _)| *begins <= last).count();
            let as_it_was = |code: &Arc<Code>| instead.contains_key(&code.id());
            let came_into_view = statements.get(shown..now).is_some_and(|came| came.iter().any(as_it_was));
            match statements_that_fill(begun, last) {
                Some(filled) if !came_into_view => {
                    self.enough = filled.saturating_sub(now);
                    return Some(document);
                }
                Some(_) => {}
                None => most += more,
            }
            shown = shown.max(now);
        }
        None
    }
}

impl Versions<'_> {
    /// The statements of the version before for those that take the room that they took, where they are not in view: so
    /// many at the beginning, and all after so many.
    fn of_the_same_room(
        &self,
        statements: &[Arc<Code>],
        earlier: usize,
        shown: usize,
    ) -> HashMap<FileId, Arc<Code>> {
        let front = self.before.iter().zip(statements).take(earlier);
        let behind = statements.len().saturating_sub(shown);
        let back = self.before.iter().rev().zip(statements.iter().rev()).take(behind);
        let alike = front.chain(back).filter(|(old, new)| takes_the_same_room(old, new));
        alike.map(|(old, _)| (old.id(), old.clone())).collect()
    }
}

/// Whether two versions of a statement differ in digits of texts alone, or are the same plot of other values. Other
/// digits may say what is laid out and how: the level of a heading.
fn takes_the_same_room(old: &Code, new: &Code) -> bool {
    let (a, b) = (old.text(), new.text());
    let is_plot = PLOTS.iter().any(|plot| a.contains(plot) && b.contains(plot));
    // A text stands between quotation marks; one of its own has a backslash before it.
    let mut in_text = false;
    let mut escaped = false;
    let mut alike = |(a, b): (u8, u8)| {
        in_text ^= a == b'"' && !escaped;
        escaped = a == b'\\' && !escaped;
        a == b || ((in_text || is_plot) && a.is_ascii_digit() && b.is_ascii_digit())
    };
    old.id() == new.id() && a.len() == b.len() && a.bytes().zip(b.bytes()).all(&mut alike)
}

/// How many statements it takes to see that there is no room for more on the pages up to this one; `None` where that is
/// not to be seen. A figure that is put where there is room does not show it (what comes after it may stand before it), nor
/// does a heading, which goes where its text goes.
fn statements_that_fill(document: &PagedIntrospector, last: usize) -> Option<usize> {
    let on = pages_of_statements(document)?;
    let headings = document.query(&Selector::Elem(HeadingElem::ELEM, None));
    let headings = headings.iter().filter_map(|heading| page_of(document, heading));
    let movable = headings.chain(pages_of_put_figures(document));
    let movable_behind = movable.filter(|page| *page > last).count();
    let first_behind = on.iter().position(|(begins, _)| *begins > last)?;
    Some(first_behind + movable_behind + 1).filter(|enough| *enough <= on.len())
}

/// The pages of the figures that are put where there is room: those of their captions, for the figure itself is found
/// where it is written.
fn pages_of_put_figures(document: &PagedIntrospector) -> Vec<usize> {
    let captions = document.query(&Selector::Elem(FigureCaption::ELEM, None));
    let of_figure = |caption: &Content| caption.to_packed::<FigureCaption>()?.figure_location?;
    let captions: HashMap<Location, &Content> =
        captions.iter().filter_map(|caption| Some((of_figure(caption)?, caption))).collect();
    let figures = document.query(&Selector::Elem(FigureElem::ELEM, None));
    let is_put = |figure: &FigureElem| figure.placement.get(StyleChain::default()).is_some();
    let put = |figure: &&Content| figure.to_packed::<FigureElem>().is_some_and(|figure| is_put(figure));
    let page =
        |figure: &Content| page_of(document, captions.get(&figure.location()?).copied().unwrap_or(figure));
    figures.iter().filter(put).filter_map(page).collect()
}

/// The page on which something stands, counted from 0.
fn page_of(document: &PagedIntrospector, element: &Content) -> Option<usize> {
    document.page(element.location()?).map(|page| page.get() - 1)
}

/// Whether a document has a list of what stands in all of it.
fn lists_all(document: &PagedIntrospector) -> bool {
    document.query_first(&Selector::Elem(OutlineElem::ELEM, None)).is_some()
}

/// The first and the last page on which each statement of a document is known to be, counted from 0. A figure that is put
/// where there is room may stand on the page before its mark, which goes with the text after it, or on a later one: its
/// caption or its table says where it is.
fn pages_of_statements(document: &PagedIntrospector) -> Option<Vec<(usize, usize)>> {
    let kinds = [MetadataElem::ELEM, FigureCaption::ELEM, TableElem::ELEM];
    let kinds = kinds.into_iter().map(|kind| Selector::Elem(kind, None));
    let mut pages: Vec<(usize, usize)> = Vec::new();
    for element in document.query(&Selector::Or(kinds.collect())) {
        let page = page_of(document, &element)?;
        match (element.to_packed::<MetadataElem>().map(|mark| &mark.value), pages.last_mut()) {
            (Some(Value::Str(mark)), _) if mark.as_str() == STATEMENT_MARK => pages.push((page, page)),
            (None, Some((first, last))) => (*first, *last) = (page.min(*first), page.max(*last)),
            _ => {}
        }
    }
    Some(pages)
}
