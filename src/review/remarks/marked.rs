//! Marks in remarks: what each item came to, as far as the notebook's author may be told.
//!
//! The points for accuracy against a reference value are never told, whoever decided them: with the limits of its steps
//! they would narrow the value down. Where the template does not show results, neither are those that go by the size of a
//! percent error or of the trials' range. What is not told counts as not decided.

use super::values::escaped;
use crate::quantity::Number;
use crate::review::marks::{Award, points_text, totals};
use crate::template::marks::{Against, MarkKind, Marks};
use crate::template::model::Reveal;
use serde_json::{Value, json};

/// The marks of one notebook: the items of its template, and what each came to.
#[derive(Clone, Copy, Debug)]
pub struct Marked<'a> {
    /// The items.
    pub marks: &'a Marks,
    /// What they came to, in the order of the items.
    pub awards: &'a [Award],
}

/// Points and items, as values for a text of remarks.
pub(super) fn told(marked: Option<&Marked>, reveal: Reveal) -> Value {
    let Some(marked) = marked.filter(|marked| !marked.awards.is_empty()) else {
        return json!({ "points": null, "points_open": null, "points_possible": null, "marks": [] });
    };
    let each = marked.marks.items.iter().zip(marked.awards);
    let awards: Vec<Award> = each.map(|(item, award)| as_told(&item.kind, award, reveal)).collect();
    let (reached, open, possible) = totals(&awards);
    let some = |points: &Number| (!points.is_zero()).then(|| points_text(points));
    json!({
        "points": (open != possible).then(|| points_text(&reached)),
        "points_open": some(&open),
        "points_possible": points_text(&possible),
        "marks": awards.iter().map(item).collect::<Vec<_>>(),
    })
}

fn item(award: &Award) -> Value {
    json!({
        "item": escaped(&award.item),
        "points": award.points.as_ref().map(points_text),
        "possible": points_text(&award.possible),
        "why": escaped(&award.why),
    })
}

/// An award as its notebook's author reads it. The reason of a person's decision is a note between markers.
fn as_told(kind: &MarkKind, award: &Award, reveal: Reveal) -> Award {
    let withheld = |why: &str| Award { points: None, why: why.to_owned(), ..award.clone() };
    match kind {
        MarkKind::Accuracy { against: Against::Reference, .. } => {
            withheld("goes by the reference value, which your marker has")
        }
        MarkKind::Accuracy { .. } | MarkKind::Agreement { .. } if reveal != Reveal::All => {
            withheld("your marker tells you")
        }
        _ if award.by_hand => Award { why: "decided by your marker".to_owned(), ..award.clone() },
        MarkKind::ByHand => withheld("your marker decides"),
        _ => award.clone(),
    }
}
