//! The next version of a document, laid out from what is known of the one before.
//!
//! The typesetter lays a document out until what it asks about itself (numbers of pages, headings and where they stand)
//! stays as it was the time before, and begins with a document of which nothing is known: so it lays out everything
//! twice at least. From one version to the next the answers rarely change. Here the first round is given those of the
//! version before; where they still hold, that round is the last. The rule for the end is the typesetter's own.

use std::cell::RefCell;
use std::num::NonZeroUsize;
use std::sync::Arc;
use typst::World;
use typst::comemo::{Constraint, Track};
use typst::diag::{SourceResult, StrResult, eco_vec};
use typst::ecow::{EcoString, EcoVec};
use typst::engine::{Engine, Route, Sink};
use typst::foundations::{Content, Label, Output, Selector, StyleChain, Target};
use typst::introspection::{DocumentPosition, Introspector, Location};
use typst::model::Numbering;
use typst::syntax::VirtualPath;
use typst::utils::Protected;
use typst_layout::{PagedDocument, PagedIntrospector, layout_document};

/// Most rounds that begin with the version before; after that the typesetter begins anew.
const MOST_ROUNDS: usize = 3;

/// What a document is laid out from.
#[derive(Clone)]
struct From {
    known: Arc<PagedIntrospector>,
    beginning: Option<Beginning>,
}

/// The document is the beginning of another, of which only so many pages are in view.
#[derive(Clone, Copy)]
pub(super) struct Beginning {
    /// The pages in view, and those before them.
    pub(super) shown: NonZeroUsize,
    /// How many pages it has, whatever is laid out.
    pub(super) pages: NonZeroUsize,
}

thread_local! {
    /// For the output that the typesetter makes next: it does that by a function without a self, on the thread that
    /// asked for it.
    static FROM: RefCell<Option<From>> = const { RefCell::new(None) };
}

/// Lays out the next version of a document.
///
/// # Errors
///
/// Those of the typesetter.
pub(super) fn compile(
    world: &dyn World,
    known: Option<Arc<PagedIntrospector>>,
) -> SourceResult<PagedDocument> {
    compile_from(world, known.map(|known| From { known, beginning: None }))
}

/// Lays out the beginning of a document, by what another knew of itself. `None` where that cannot be done.
pub(super) fn beginning(
    world: &dyn World,
    known: Arc<PagedIntrospector>,
    beginning: Beginning,
) -> Option<PagedDocument> {
    compile_from(world, Some(From { known, beginning: Some(beginning) })).ok()
}

fn compile_from(world: &dyn World, from: Option<From>) -> SourceResult<PagedDocument> {
    FROM.set(from);
    let outcome = typst::compile::<Continued>(world).output;
    FROM.take();
    outcome.map(|continued| continued.0)
}

/// A document that was laid out from what another knew.
struct Continued(PagedDocument);

impl Output for Continued {
    fn target() -> Target {
        Target::Paged
    }

    fn create(engine: &mut Engine, content: &Content, styles: StyleChain) -> SourceResult<Self> {
        let mut from = FROM.take();
        let is_beginning = from.as_ref().is_some_and(|from| from.beginning.is_some());
        for _ in 0..MOST_ROUNDS {
            // What goes wrong on the way is the typesetter's to say, from a beginning of its own.
            let Some(known) = from.take() else { break };
            let Some((document, stands)) = round(engine, content, styles, &known) else { break };
            if stands {
                return Ok(Continued(document));
            }
            from = Some(From { known: document.introspector().clone(), ..known });
        }
        if is_beginning {
            return Err(eco_vec![]);
        }
        layout_document(engine, content, styles).map(Continued)
    }

    fn introspector(&self) -> &dyn Introspector {
        self.0.introspector().as_ref()
    }
}

/// One round, and whether what it was given is what it came to.
fn round(
    engine: &Engine,
    content: &Content,
    styles: StyleChain,
    from: &From,
) -> Option<(PagedDocument, bool)> {
    let constraint = Constraint::new();
    let mut sink = Sink::new();
    let document = {
        let introspector: &dyn Introspector = from;
        let mut engine = Engine {
            world: engine.world,
            library: engine.library,
            introspector: Protected::new(introspector.track_with(&constraint)),
            traced: engine.traced,
            sink: sink.track_mut(),
            route: Route::default(),
        };
        layout_document(&mut engine, content, styles).ok()?
    };
    let came_to = From { known: document.introspector().clone(), ..*from };
    let stands = constraint.validate(&came_to as &dyn Introspector);
    sink.delayed().is_empty().then_some((document, stands))
}

impl Introspector for From {
    fn query(&self, selector: &Selector) -> EcoVec<Content> {
        self.known.query(selector)
    }

    fn query_first(&self, selector: &Selector) -> Option<Content> {
        self.known.query_first(selector)
    }

    fn query_unique(&self, selector: &Selector) -> StrResult<Content> {
        self.known.query_unique(selector)
    }

    fn query_label(&self, label: Label) -> StrResult<&Content> {
        self.known.query_label(label)
    }

    fn query_labelled(&self) -> EcoVec<Content> {
        self.known.query_labelled()
    }

    fn query_count_before(&self, selector: &Selector, end: Location) -> usize {
        self.known.query_count_before(selector, end)
    }

    fn label_count(&self, label: Label) -> usize {
        self.known.label_count(label)
    }

    /// What is measured gets no place of its own: nothing in it asks for one in a layout that is shipped, and the place
    /// that it had before would cost another round wherever its values have changed.
    fn locator(&self, _: u128, _: Location) -> Option<Location> {
        None
    }

    fn pages(&self, location: Location) -> Option<NonZeroUsize> {
        self.beginning.map_or_else(|| self.known.pages(location), |beginning| Some(beginning.pages))
    }

    /// Where what is behind the pages in view has come to stand does not matter to them: it is on the next page, so that no
    /// round is laid out for its sake.
    fn page(&self, location: Location) -> Option<NonZeroUsize> {
        let page = self.known.page(location);
        let Some(Beginning { shown, .. }) = self.beginning else { return page };
        Some(page.filter(|page| *page <= shown).unwrap_or(shown.saturating_add(1)))
    }

    fn position(&self, location: Location) -> Option<DocumentPosition> {
        Introspector::position(self.known.as_ref(), location)
    }

    fn page_numbering(&self, location: Location) -> Option<&Numbering> {
        self.known.page_numbering(location)
    }

    fn page_supplement(&self, location: Location) -> Option<&Content> {
        self.known.page_supplement(location)
    }

    fn anchor(&self, location: Location) -> Option<&EcoString> {
        self.known.anchor(location)
    }

    fn document(&self, location: Location) -> Option<Location> {
        self.known.document(location)
    }

    fn path(&self, location: Location) -> Option<&VirtualPath> {
        self.known.path(location)
    }
}
