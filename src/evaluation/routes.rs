//! From an analyte to the form weighed: by one reaction, or by several that a common substance links.
//!
//! Along a chain the amounts multiply: n(analyte)/n(link) of one equation times n(link)/n(weighed form) of the next
//! (common practice). An element may stand for the substance that brings it, as nickel for its ion.

use super::reactions::{NamedReaction, Reactions};
use crate::chemistry::{Balanced, Formula, shared_ratio};
use crate::finding::{Code, Finding};
use crate::span::Spanned;
use dashu_ratio::RBig;

/// Most equations of one chain.
const MOST_STEPS: usize = 8;
/// Most links looked at for one factor; a bench's chain has a handful.
const MOST_LINKS: usize = 2_000;

/// How a chain leads from the analyte to the form weighed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Route {
    /// Moles of the analyte per mole weighed.
    pub(super) ratio: RBig,
    /// What each step says, in words.
    pub(super) steps: Vec<String>,
}

impl Reactions {
    /// The route by the reactions of these names, joined by ` + `.
    pub(super) fn route(
        &self,
        names: &str,
        analyte: &Formula,
        weighed: &Formula,
        text: &Spanned<String>,
    ) -> Result<Route, Box<Finding>> {
        let chain = self.named_chain(names, text)?;
        if chain.len() > MOST_STEPS {
            let message = format!("a chain of more than {MOST_STEPS} reactions");
            return Err(Box::new(Finding::error(Code::TooLarge, text.span, message)));
        }
        let Some(chain) = chain.into_iter().map(balanced).collect::<Option<Vec<_>>>() else {
            let message = format!("{names} is not balanced, so it gives no factor");
            let finding = Finding::error(Code::UnknownReaction, text.span, message);
            return Err(Box::new(finding.hint("mend the equation in its `reaction` block first")));
        };
        let routes = Search { weighed, chain: &chain, looked_at: Default::default() }.routes(analyte);
        one_route(routes, names, analyte, weighed, text)
    }

    /// The route by the one reaction that has both substances, where there is just one.
    pub(super) fn route_unnamed(&self, analyte: &Formula, weighed: &Formula) -> Option<Route> {
        let of = |reaction: &NamedReaction| {
            let (reaction, balanced) = balanced(reaction)?;
            let differs = !analyte.same_substance(weighed);
            let ratio = balanced.ratio(analyte, weighed).filter(|_| differs)?;
            Some(Route { ratio, steps: vec![said(reaction, balanced, analyte, weighed)] })
        };
        let mut found = self.list.iter().filter_map(of);
        found.next().filter(|_| found.next().is_none())
    }

    fn named_chain(&self, names: &str, text: &Spanned<String>) -> Result<Vec<&NamedReaction>, Box<Finding>> {
        let named = |name: &str| self.list.iter().find(|reaction| reaction.name.as_deref() == Some(name));
        if let Some(one) = named(names) {
            return Ok(vec![one]);
        }
        let unknown = |name: &str| {
            let known: Vec<&str> = self.list.iter().filter_map(|reaction| reaction.name.as_deref()).collect();
            let finding =
                Finding::error(Code::UnknownReaction, text.span, format!("no reaction is named {name}"));
            Box::new(if known.is_empty() {
                finding
                    .hint("write it with a name in a `reaction` block, as in `stage 1: CaCO3 -> CaO + CO2`")
            } else {
                finding.hint(format!("the reactions are: {}", known.join(", ")))
            })
        };
        names.split(" + ").map(str::trim).map(|name| named(name).ok_or_else(|| unknown(name))).collect()
    }
}

fn balanced(reaction: &NamedReaction) -> Option<(&NamedReaction, &Balanced)> {
    Some((reaction, reaction.balanced.as_ref()?))
}

/// Follows a chain of reactions, in its order.
struct Search<'a> {
    weighed: &'a Formula,
    chain: &'a [(&'a NamedReaction, &'a Balanced)],
    looked_at: std::cell::Cell<usize>,
}

impl Search<'_> {
    fn routes(&self, analyte: &Formula) -> Vec<Route> {
        let Some((_, first)) = self.chain.first() else { return Vec::new() };
        let takes_part = first.coefficient(analyte).is_some();
        if takes_part {
            return self.from(analyte, 0);
        }
        let Some((carrier, count)) = carrier_of(analyte, first) else { return Vec::new() };
        let brings = format!("{} brings {} {}", carrier.unicode(), count, analyte.unicode());
        let through = self.from(&carrier, 0).into_iter().map(|route| Route {
            ratio: route.ratio * &count,
            steps: std::iter::once(brings.clone()).chain(route.steps).collect(),
        });
        through.collect()
    }

    /// All ways from a substance of a step to the form weighed.
    fn from(&self, substance: &Formula, step: usize) -> Vec<Route> {
        let Some((reaction, balanced)) = self.chain.get(step) else { return Vec::new() };
        if step + 1 == self.chain.len() {
            let ratio = balanced.ratio(substance, self.weighed);
            let differs = !substance.same_substance(self.weighed);
            let end = ratio
                .filter(|_| differs)
                .map(|ratio| Route { steps: vec![said(reaction, balanced, substance, self.weighed)], ratio });
            return end.into_iter().collect();
        }
        let (left, right) = (&balanced.reaction.left, &balanced.reaction.right);
        let is_left = left.iter().any(|term| term.formula.same_substance(substance));
        // There is a next step. A product of this step is used up by the next one; backwards, the other way round.
        let next = self.chain[step + 1].1;
        let (others, used) = match is_left {
            true => (right, &next.reaction.left),
            false => (left, &next.reaction.right),
        };
        let mut routes = Vec::new();
        for link in others.iter().map(|term| &term.formula) {
            self.looked_at.set(self.looked_at.get() + 1);
            let linked = used.iter().any(|term| term.formula.same_substance(link));
            if self.looked_at.get() > MOST_LINKS || !linked {
                continue;
            }
            let Some(ratio) = balanced.ratio(substance, link) else { continue };
            let here = said(reaction, balanced, substance, link);
            routes.extend(self.from(link, step + 1).into_iter().map(|rest| Route {
                ratio: rest.ratio * &ratio,
                steps: std::iter::once(here.clone()).chain(rest.steps).collect(),
            }));
        }
        routes
    }
}

/// The one reactant that brings an element, with its atoms per formula unit.
fn carrier_of(analyte: &Formula, balanced: &Balanced) -> Option<(Formula, RBig)> {
    let atoms = analyte.composition_as_written();
    let [(element, count)] = atoms.as_slice() else { return None };
    let held = |formula: &Formula| {
        let found = formula.composition_as_written().into_iter().find(|(other, _)| other == element);
        found.map(|(_, atoms)| (formula.clone(), atoms / count))
    };
    let mut carriers = balanced.reaction.left.iter().filter_map(|term| held(&term.formula));
    carriers.next().filter(|_| carriers.next().is_none())
}

/// `stage 1: 2 MgNH4PO4 for each Mg2P2O7`
fn said(reaction: &NamedReaction, balanced: &Balanced, from: &Formula, to: &Formula) -> String {
    let number = |formula: &Formula| match balanced.coefficient(formula) {
        Some(count) if count != RBig::ONE => format!("{count} {}", formula.unicode()),
        _ => formula.unicode(),
    };
    let name = reaction.name.as_deref().unwrap_or("the reaction");
    format!("{name}: {} for {}", number(from), number(to))
}

/// The one ratio all routes give.
fn one_route(
    routes: Vec<Route>,
    names: &str,
    analyte: &Formula,
    weighed: &Formula,
    text: &Spanned<String>,
) -> Result<Route, Box<Finding>> {
    let Some(first) = routes.first() else {
        let message = format!("{names} does not lead from {} to {}", analyte.unicode(), weighed.unicode());
        let finding = Finding::error(Code::UnknownReaction, text.span, message);
        let hint = "the first reaction has to hold the analyte, the last one the form weighed, and each two \
                    that follow a substance in common";
        return Err(Box::new(finding.hint(hint)));
    };
    let by_elements = shared_ratio(analyte, weighed).map(|(ratio, _)| ratio);
    let same = routes.iter().all(|route| route.ratio == first.ratio);
    let chosen = if same {
        Some(first)
    } else {
        routes.iter().find(|route| Some(&route.ratio) == by_elements.as_ref())
    };
    chosen.cloned().ok_or_else(|| {
        let each: Vec<String> =
            routes.iter().map(|route| format!("{} ({})", route.ratio, route.steps.join(", "))).collect();
        let message = format!("{names} leads to {} in several ways: {}", weighed.unicode(), each.join("; "));
        let finding = Finding::error(Code::UnknownReaction, text.span, message);
        Box::new(finding.hint("take one step at a time: `factor(a: X, Y) * factor(b: Y, Z)`"))
    })
}
