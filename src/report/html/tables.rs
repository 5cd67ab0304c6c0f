//! The tables of a report as HTML tables: a caption, heads with their scope, notes beneath.
//!
//! Numbers of a column stand under each other at the decimal marker: each is filled up behind, where nobody sees or reads
//! it, with what the longest one has and it has not.

use super::markup::Markup;
use super::words::{Number, words};
use crate::notebook::settings::DecimalMark;
use crate::report::tables::{Beside, Cell, Label, Part, Row, Table, Value};
use crate::report::words::{digits, text_of};

/// Most characters of a label that keeps to one line.
const SHORT: usize = 14;

/// A table with its number in the report.
pub(super) fn table(page: &mut Markup, table: &Table, number: usize, mark: DecimalMark) {
    let id = format!("table-{number}");
    page.element("figure", &[("class", "table")], |page| {
        for (index, part) in table.parts.iter().enumerate() {
            let id = if index == 0 { id.clone() } else { format!("{id}-{}", index + 1) };
            scrolled(page, &id, |page| {
                page.element("caption", &[("id", &id)], |page| {
                    page.text_in("b", &[], &format!("Table\u{a0}{number}"));
                    page.text(" ");
                    words(page, &table.caption);
                    page.text(if index > 0 { ", continued" } else { "" });
                });
                heads(page, part);
                body(page, part, mark);
            });
        }
        notes(page, table);
    });
    page.line();
}

/// A table that scrolls by itself where it is wider than the page; `label` is the id of its caption.
pub(super) fn scrolled(page: &mut Markup, label: &str, fill: impl FnOnce(&mut Markup)) {
    let attributes = [("class", "scroll"), ("role", "group"), ("tabindex", "0"), ("aria-labelledby", label)];
    page.element("div", &attributes, |page| page.element("table", &[], fill));
}

fn heads(page: &mut Markup, part: &Part) {
    let spanner = part.spanner.as_ref().filter(|(_, columns)| *columns > 0);
    let rows = if spanner.is_some() { "2" } else { "1" };
    let head = |page: &mut Markup, words_of: &[crate::report::words::Run], rows: &str, class: &str| {
        let attributes = [("scope", "col"), ("rowspan", rows), ("class", class)];
        let plain = [("scope", "col"), ("class", class)];
        let attributes = if rows == "1" { &plain[..] } else { &attributes[..] };
        page.element("th", attributes, |page| words(page, words_of));
    };
    page.element("thead", &[], |page| {
        page.element("tr", &[], |page| {
            part.labels.iter().for_each(|label| head(page, label, rows, "label"));
            let covered = spanner.map_or(0, |(_, columns)| *columns);
            if let Some((text, columns)) = spanner {
                let attributes =
                    [("scope", "colgroup"), ("colspan", &columns.to_string()[..]), ("class", "spanner")];
                page.element("th", &attributes, |page| words(page, text));
            }
            part.columns.iter().skip(covered).for_each(|column| head(page, column, rows, "n"));
        });
        if let Some((_, columns)) = spanner {
            page.element("tr", &[], |page| {
                part.columns.iter().take(*columns).for_each(|column| head(page, column, "1", "n"));
            });
        }
    });
}

fn body(page: &mut Markup, part: &Part, mark: DecimalMark) {
    let width = part.labels.len() + part.columns.len();
    let longest = longest_rests(part, mark);
    page.element("tbody", &[], |page| {
        for row in &part.rows {
            match row {
                Row::Event(text) => page.element("tr", &[("class", "event")], |page| {
                    let width = width.max(1).to_string();
                    page.element("td", &[("colspan", &width)], |page| words(page, text));
                }),
                Row::Values { labels, cells, ruled } => {
                    let class: super::markup::Attributes = if *ruled { &[("class", "ruled")] } else { &[] };
                    page.element("tr", class, |page| {
                        labels.iter().for_each(|one| label(page, one));
                        for (index, one) in cells.iter().enumerate() {
                            cell(page, one, longest.get(index).map_or("", String::as_str), mark);
                        }
                    });
                }
            }
        }
    });
}

fn label(page: &mut Markup, label: &Label) {
    let rows = label.rows.to_string();
    let text = text_of(&label.words);
    if text.is_empty() {
        return page.element("td", &[], |_| {});
    }
    // A short label keeps to one line.
    let class = if text.chars().count() <= SHORT { "short" } else { "long" };
    let spanning = [("scope", "row"), ("class", class), ("rowspan", rows.as_str())];
    let attributes = if label.rows > 1 { &spanning[..] } else { &spanning[..2] };
    page.element("th", attributes, |page| words(page, &label.words));
}

/// For every column the longest of what stands behind the decimal marker, itself included.
fn longest_rests(part: &Part, mark: DecimalMark) -> Vec<String> {
    let mut longest = vec![String::new(); part.columns.len()];
    for row in &part.rows {
        let Row::Values { cells, .. } = row else { continue };
        for (cell, longest) in cells.iter().zip(&mut longest) {
            let Cell::Value(value) = cell else { continue };
            let rest = rest(value, mark);
            if rest.chars().count() > longest.chars().count() {
                *longest = rest;
            }
        }
    }
    longest
}

/// The digits from the decimal marker on, and an uncertainty beside them.
fn rest(value: &Value, mark: DecimalMark) -> String {
    let at = value.digits.find('.').unwrap_or(value.digits.len());
    let beside = match &value.beside {
        Some(Beside::PlusMinus(expanded)) => format!("\u{a0}±\u{a0}{}", digits(expanded, mark)),
        Some(Beside::Concise(concise)) => format!("({concise})"),
        None => String::new(),
    };
    digits(value.digits.get(at..).unwrap_or(""), mark) + &beside
}

fn cell(page: &mut Markup, cell: &Cell, longest: &str, mark: DecimalMark) {
    match cell {
        Cell::Empty => page.element("td", &[], |_| {}),
        Cell::Missing => page.text_in("td", &[("class", "none")], "–"),
        Cell::Words(text) => page.element("td", &[("class", "words")], |page| words(page, text)),
        Cell::Value(one) => page.element("td", &[("class", "n")], |page| value(page, one, longest, mark)),
    }
}

fn value(page: &mut Markup, value: &Value, longest: &str, mark: DecimalMark) {
    for (index, struck) in value.struck.iter().enumerate() {
        page.said(if index == 0 { "struck " } else { " and " });
        page.text_in("del", &[], &digits(struck, mark));
        page.text(" ");
    }
    let number = Number {
        digits: &value.printed_digits(mark),
        beside: value.beside.as_ref(),
        power: value.power,
        unit: value.unit.as_deref().unwrap_or(""),
    };
    if !value.struck.is_empty() {
        page.said(if value.off { "and " } else { "corrected to " });
    } else if value.off {
        page.said("struck ");
    }
    page.text(if number.bracketed() { "(" } else { "" });
    if value.off {
        page.text_in("del", &[], number.digits)
    } else {
        page.text(number.digits)
    }
    number.tail(page, mark);
    if let Some(trial) = &value.shared {
        page.text_in("small", &[], &format!("\u{a0}= {trial}"));
    }
    if !value.marks.is_empty() {
        page.element("sup", &[("class", "mark")], |page| {
            page.said(" note ");
            page.text(&value.marks);
        });
    }
    fill(page, &rest(value, mark), longest);
}

/// Room for what a longer number of the column has behind.
fn fill(page: &mut Markup, own: &str, longest: &str) {
    let lacking: String = longest.chars().skip(own.chars().count()).collect();
    if !lacking.is_empty() {
        page.element("span", &[("class", "fill"), ("data-fill", &lacking)], |_| {});
    }
}

fn notes(page: &mut Markup, table: &Table) {
    if table.notes.is_empty() {
        return;
    }
    page.element("figcaption", &[("class", "notes")], |page| {
        for (sign, text) in &table.notes {
            page.element("p", &[], |page| {
                if !sign.is_empty() {
                    page.text_in("sup", &[], sign);
                    page.text(" ");
                }
                words(page, text);
            });
        }
    });
}
