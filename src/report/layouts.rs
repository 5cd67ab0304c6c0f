//! The layouts built into the program, and the files every layout may use.

use super::PLAIN_LAYOUT;
use crate::finding::{Code, Finding};
use crate::template::{Origin, Template};

/// The shipped layouts by their names in `layout = "…"` of a template; the first one is every report's without one.
pub const LAYOUTS: &[(&str, &str)] = &[
    ("plain", PLAIN_LAYOUT),
    ("sheet", include_str!("../../report-templates/sheet/report.typ")),
    ("article", include_str!("../../report-templates/article/report.typ")),
];

/// The parts a layout is put together from, as a layout imports them: `#import "parts.typ": *`.
pub const PARTS_PATH: &str = "parts.typ";
/// The results file, as a layout reads it: `json("results.json")`.
pub const RESULTS_PATH: &str = "results.json";

macro_rules! signs {
    ($($file:literal)*) => {
        &[$((concat!("signs/", $file), include_bytes!(concat!("../../report-templates/signs/", $file)))),*]
    };
}

/// The pictures of hazards and warnings, by the path a layout reads them from.
pub(super) const SIGNS: &[(&str, &[u8])] = signs![
    "ghs01-exploding-bomb.svg" "ghs02-flame.svg" "ghs03-flame-over-circle.svg" "ghs04-gas-cylinder.svg"
    "ghs05-corrosion.svg" "ghs06-skull-and-crossbones.svg" "ghs07-exclamation-mark.svg" "ghs08-health-hazard.svg"
    "ghs09-environment.svg" "w017-hot-surface.svg" "w021-flammable-material.svg" "w027-optical-radiation.svg"
];

/// The path of the picture of a code (`GHS06`, `W017`).
pub(super) fn sign_path(code: &str) -> Option<&'static str> {
    let code = code.to_lowercase();
    SIGNS.iter().map(|(path, _)| *path).find(|path| path["signs/".len()..].starts_with(&code))
}

/// The layout of a report: its text, and whether it is one of the program's own.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(not(feature = "pdf"), allow(dead_code, reason = "only the typesetter reads the text"))]
pub(super) struct Layout<'a> {
    pub(super) text: &'a str,
    pub(super) shipped: bool,
    /// Whether it is the plain one, which puts no parts together by itself.
    pub(super) plain: bool,
}

impl<'a> Layout<'a> {
    /// The template's own `report.typ`, else the shipped layout it names, else the plain one.
    pub(super) fn of(template: Option<&'a Template>) -> Self {
        if let Some((template, text)) = template.and_then(|t| Some((t, t.layout.as_deref()?))) {
            return Layout { text, shipped: template.origin == Origin::Shipped, plain: false };
        }
        let named = template.and_then(|template| template.layout_name.as_deref());
        let found = LAYOUTS.iter().position(|(name, _)| Some(*name) == named).unwrap_or(0);
        Layout { text: LAYOUTS[found].1, shipped: true, plain: found == 0 }
    }
}

/// What no layout may leave out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Obligation {
    /// The template's cautions.
    Cautions,
    /// What the program found.
    Findings,
}

impl Obligation {
    const ALL: [Obligation; 2] = [Obligation::Cautions, Obligation::Findings];

    /// Its name as a part.
    fn part(self) -> &'static str {
        match self {
            Obligation::Cautions => "cautions",
            Obligation::Findings => "findings",
        }
    }
}

/// An invisible mark behind a part that someone else's layout may not leave out; nothing in a shipped layout.
pub(super) fn told(template: Option<&Template>, what: Obligation) -> String {
    if Layout::of(template).shipped {
        return String::new();
    }
    format!("[#metadata(none)<told-{}>]\n", what.part())
}

/// The end of the document, where someone else's layout is refused if it left out a part that there is.
pub(super) fn refusal(template: Option<&Template>, has_findings: bool) -> String {
    if Layout::of(template).shipped {
        return String::new();
    }
    let there_is = |what: &Obligation| match what {
        Obligation::Cautions => template.is_some_and(|template| !template.cautions.is_empty()),
        Obligation::Findings => has_findings,
    };
    let check = |what: Obligation| {
        let part = what.part();
        format!(
            "#context assert(query(<told-{part}>).len() > 0, message: {})\n",
            super::code::string(&left_out(part))
        )
    };
    Obligation::ALL.into_iter().filter(there_is).map(check).collect()
}

fn left_out(part: &str) -> String {
    format!("the layout leaves out the {part}")
}

/// How to mend a layout that was refused for what it leaves out; `None` for any other message.
#[cfg(feature = "pdf")]
pub(super) fn mending(message: &str) -> Option<String> {
    let part =
        Obligation::ALL.map(Obligation::part).into_iter().find(|part| message.contains(&left_out(part)))?;
    Some(format!("put `part(data, \"{part}\")` or `body` into its `report`"))
}

/// The name of the shipped layout that a template is set in.
pub fn name(template: &Template) -> &str {
    template.layout_name.as_deref().unwrap_or(LAYOUTS[0].0)
}

/// A layout that a template names and nobody ships.
pub fn check(template: &Template) -> Option<Finding> {
    let name = template.layout_name.as_deref().filter(|_| template.layout.is_none())?;
    if LAYOUTS.iter().any(|(known, _)| *known == name) {
        return None;
    }
    let names: Vec<&str> = LAYOUTS.iter().map(|(name, _)| *name).collect();
    let message = format!("no layout `{name}` is shipped; the plain one is used");
    let finding = Finding::error(Code::BadSetting, None, message).in_file(template.path("template.toml"));
    Some(
        finding
            .hint(format!("shipped are `{}`; one of your own is the file `report.typ`", names.join("`, `"))),
    )
}
