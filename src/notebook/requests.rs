//! `table` and `plot`: what to put where they stand; one a line, or several parted by commas.
//!
//! ```text
//! table = name { "," name } | option "=" value         an option belongs to the table or plot before it
//! plot  = name { "," name } | option "=" value
//! ```

use super::blocks::{PlotKind, TableKind};
use super::context::Context;
use super::passage::{Passage, fold_blanks, outside_brackets};
use crate::finding::{Code, Finding, nearest};
use crate::span::Spanned;

/// Most tables or plots of one block.
const MOST_NAMES: usize = 100;

const TABLES: &[(&str, TableKind)] = &[
    ("readings", TableKind::Readings),
    ("net masses", TableKind::NetMasses),
    ("change per heating", TableKind::Changes),
    ("change per cycle", TableKind::Changes),
    ("changes", TableKind::Changes),
    ("steps", TableKind::Steps),
    ("results", TableKind::Results),
    ("agreement", TableKind::Agreement),
    ("theory", TableKind::Theory),
    ("percent error", TableKind::Theory),
    ("checks", TableKind::Checks),
    ("uncertainty", TableKind::Uncertainty { symbol: None }),
    ("measured", TableKind::Measured),
    ("record", TableKind::Record),
    ("air buoyancy", TableKind::AirBuoyancy),
    ("outliers", TableKind::Outliers),
    ("conformity", TableKind::Conformity),
];

const PLOTS: &[(&str, PlotKind)] = &[
    ("mass by heating", PlotKind::MassByHeating { load: None }),
    ("trials", PlotKind::Trials { symbol: None }),
    ("uncertainty", PlotKind::Uncertainty { symbol: None }),
];

/// Reads a `table` block.
pub(super) fn tables(lines: &[Passage], cx: &mut Context) -> Vec<Spanned<TableKind>> {
    let mut found: Vec<Spanned<TableKind>> = Vec::new();
    for name in names(lines, cx) {
        if let Some(equals) = name.text.find('=') {
            let symbol = match found.last_mut().map(|table| &mut table.value) {
                Some(TableKind::Uncertainty { symbol }) => Some((symbol, "symbol")),
                _ => None,
            };
            option(name, equals, symbol, "table", cx);
            continue;
        }
        match TABLES.iter().find(|(table, _)| *table == folded(name)) {
            Some((_, table)) => found.push(Spanned::new(table.clone(), name.span())),
            None => cx.push(unknown(name, "table", TABLES.iter().map(|(table, _)| *table))),
        }
    }
    found
}

/// Reads a `plot` block.
pub(super) fn plots(lines: &[Passage], cx: &mut Context) -> Vec<Spanned<PlotKind>> {
    let mut found: Vec<Spanned<PlotKind>> = Vec::new();
    for name in names(lines, cx) {
        if let Some(equals) = name.text.find('=') {
            let place = match found.last_mut().map(|plot| &mut plot.value) {
                Some(PlotKind::MassByHeating { load }) => Some((load, "load")),
                Some(PlotKind::Trials { symbol } | PlotKind::Uncertainty { symbol }) => {
                    Some((symbol, "symbol"))
                }
                None => None,
            };
            option(name, equals, place, "plot", cx);
            continue;
        }
        match PLOTS.iter().find(|(plot, _)| *plot == folded(name)) {
            Some((_, plot)) => found.push(Spanned::new(plot.clone(), name.span())),
            None => cx.push(unknown(name, "plot", PLOTS.iter().map(|(plot, _)| *plot))),
        }
    }
    found
}

/// The parts of all lines, blanks at their ends taken off.
fn names<'a>(lines: &[Passage<'a>], cx: &mut Context) -> Vec<Passage<'a>> {
    let mut found = Vec::new();
    for line in lines.iter().filter(|line| !line.is_blank()) {
        if !cx.take_line(line.span()) {
            break;
        }
        let mut from = 0;
        for comma in outside_brackets(line.text, ',').chain([line.text.len()]).take(2 * MOST_NAMES) {
            found.push(line.slice(from..comma).trim());
            from = comma + 1;
        }
    }
    found.retain(|name| !name.is_blank());
    if let Some(beyond) = found.get(MOST_NAMES) {
        let message = format!("more than {MOST_NAMES} names in one block; from here on they are not read");
        cx.push(Finding::error(Code::TooLarge, beyond.span(), message));
        found.truncate(MOST_NAMES);
    }
    found
}

fn folded(name: Passage) -> String {
    fold_blanks(name.text).to_lowercase()
}

fn unknown(name: Passage, what: &str, known: impl Iterator<Item = &'static str> + Clone) -> Finding {
    let message = format!("no {what} is called `{}`", name.text);
    let finding = Finding::error(Code::BadRequest, name.span(), message);
    match nearest(&folded(name), known.clone()) {
        Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
        None => finding.hint(format!("there are: {}", known.collect::<Vec<_>>().join(", "))),
    }
}

/// `load = crucible + residue`, `symbol = w(water)`: the value goes to `place` if it bears that name and is free.
fn option(
    text: Passage,
    equals: usize,
    place: Option<(&mut Option<String>, &str)>,
    what: &str,
    cx: &mut Context,
) {
    let (name, value) = (folded(text.before(equals).trim()), text.after(equals + 1).trim());
    let wanted = Some(fold_blanks(value.text)).filter(|value| !value.is_empty());
    let fits = match (place, wanted) {
        (Some((place, option)), Some(wanted)) if option == name => {
            place.replace(wanted.into_owned()).is_none()
        }
        _ => false,
    };
    if !fits {
        let message = format!("`{}` is no option of the {what} before it", text.text);
        let hint = match what {
            "table" => "`symbol = …` goes after `uncertainty`, once",
            _ => {
                "`load = …` goes after `mass by heating`, `symbol = …` after `trials` or `uncertainty`, once each"
            }
        };
        cx.push(Finding::error(Code::BadRequest, text.span(), message).hint(hint));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &str) -> Vec<Passage<'_>> {
        vec![Passage { text, start: 0 }]
    }

    #[test]
    fn tables_by_name_in_any_case() {
        let mut cx = Context::new();
        let found = tables(&lines("Net  masses, change per heating,results"), &mut cx);
        let kinds: Vec<_> = found.into_iter().map(|table| table.value).collect();
        assert_eq!(kinds, [TableKind::NetMasses, TableKind::Changes, TableKind::Results]);
        assert_eq!(cx.count(), 0);
    }

    #[test]
    fn an_unknown_table_is_placed_and_the_nearest_one_named() {
        let mut cx = Context::new();
        tables(&lines("results, agrement"), &mut cx);
        let findings = cx.into_findings();
        assert_eq!(findings[0].span.unwrap().start, 9);
        assert_eq!(findings[0].hints, ["did you mean `agreement`?"]);
    }

    #[test]
    fn options_belong_to_the_plot_before_them() {
        let mut cx = Context::new();
        let found =
            plots(&lines("mass by heating, load = crucible +  residue, trials, symbol = w(a, b)"), &mut cx);
        assert_eq!(found[0].value, PlotKind::MassByHeating { load: Some("crucible + residue".into()) });
        assert_eq!(found[1].value, PlotKind::Trials { symbol: Some("w(a, b)".into()) });
        plots(&lines("load = x, uncertainty, load = x"), &mut cx);
        assert_eq!(cx.count(), 2);
        let found = tables(&lines("uncertainty, symbol = w(water), results, symbol = x"), &mut cx);
        assert_eq!(found[0].value, TableKind::Uncertainty { symbol: Some("w(water)".into()) });
        assert_eq!(cx.count(), 3);
    }
}
