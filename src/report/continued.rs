//! The next version of a document, laid out from what is known of the one before.
//!
//! The typesetter lays a document out until what it asks about itself (numbers of pages, headings and where they stand)
//! stays as it was the time before, and begins with a document of which nothing is known: so it lays out everything
//! twice at least. From one version to the next the answers rarely change. Here the first round is given those of the
//! version before; where they still hold, that round is the last. The rule for the end is the typesetter's own.

use std::cell::RefCell;
use std::sync::Arc;
use typst::World;
use typst::comemo::{Constraint, Track};
use typst::diag::{SourceResult, eco_vec};
use typst::engine::{Engine, Route, Sink};
use typst::foundations::{Content, Output, StyleChain, Target};
use typst::introspection::Introspector;
use typst::utils::Protected;
use typst_layout::{PagedDocument, PagedIntrospector, layout_document};

/// Most rounds that begin with the version before; after that the typesetter begins anew.
const MOST_ROUNDS: usize = 3;

/// What a document is laid out from.
struct From {
    known: Arc<PagedIntrospector>,
    /// Whether one round has to do.
    once: bool,
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
    compile_from(world, known.map(|known| From { known, once: false }))
}

/// Lays a document out once, by what another knew of itself. `None` where that cannot be done.
pub(super) fn once(world: &dyn World, known: Arc<PagedIntrospector>) -> Option<PagedDocument> {
    compile_from(world, Some(From { known, once: true })).ok()
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
        let from = FROM.take();
        if let Some(From { known, once: true }) = &from {
            let round = round(engine, content, styles, known);
            return round.map(|(document, _)| Continued(document)).ok_or_else(|| eco_vec![]);
        }
        let mut known = from.map(|from| from.known);
        for _ in 0..MOST_ROUNDS {
            // What goes wrong on the way is the typesetter's to say, from a beginning of its own.
            let Some(round) = known.and_then(|known| round(engine, content, styles, &known)) else { break };
            match round {
                (document, true) => return Ok(Continued(document)),
                (document, false) => known = Some(document.introspector().clone()),
            }
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
    known: &Arc<PagedIntrospector>,
) -> Option<(PagedDocument, bool)> {
    let constraint = Constraint::new();
    let mut sink = Sink::new();
    let document = {
        let introspector: &dyn Introspector = known.as_ref();
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
    let stands = constraint.validate(document.introspector().as_ref() as &dyn Introspector);
    sink.delayed().is_empty().then_some((document, stands))
}
