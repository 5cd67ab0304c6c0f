//! A section as one HTML page, without network or script: it works from a file, prints, and needs no colour.
//!
//! The page is written in three pieces, so that rows pass through one at a time. Everything from a notebook is escaped.

use super::summary::{self, SpreadView};
use super::view;
use super::{Audience, Completed, Rows};
use crate::review::section::Section;
use minijinja::value::Serde;
use minijinja::{Environment, Value, context};
use serde::Serialize;
use std::io::{Error, Result, Write};

/// The pieces of the page.
const HEAD: &str = include_str!("section-head.html");
const ROW: &str = include_str!("section-row.html");
const TAIL: &str = include_str!("section-tail.html");

/// Width and heights of the pictures, in the units of their view boxes.
const WIDTH: f64 = 720.0;
const BARS: f64 = 120.0;

/// The page of a section.
///
/// # Errors
///
/// Those of the output; the page that ships has none of its own.
pub fn html(section: &Section, rows: &dyn Rows, audience: Audience, output: &mut dyn Write) -> Result<()> {
    let mut environment = Environment::new();
    environment.set_formatter(super::visible_value);
    for (name, text) in [("head.html", HEAD), ("row.html", ROW), ("tail.html", TAIL)] {
        environment.add_template(name, text).map_err(Error::other)?;
    }
    let shown = summary::section(section, audience);
    let pictures: Vec<Option<Pictures>> =
        shown.statistics.iter().map(|one| one.spread.as_ref().map(Pictures::of)).collect();
    let several = section.statistics.len() > 1;
    let of = match section.statistics.as_slice() {
        [only] if only.unit.is_empty() => only.of.clone(),
        [only] => format!("{} / {}", only.of, only.unit),
        _ => "Result".to_owned(),
    };
    let page = context! {
        section => Value::from(Serde(&shown)), pictures => Value::from(Serde(&pictures)), of, several,
        about_tests => summary::about_tests(), about_recurring => summary::ABOUT_RECURRING,
        version => env!("CARGO_PKG_VERSION"),
    };
    write_piece(&environment, "head.html", &page, output)?;
    if audience == Audience::Instructor {
        let mut number = 0;
        Completed { rows, section }.each(&mut |row| {
            number += 1;
            let one = context! { row => Value::from(Serde(view::row(&row))), several, number };
            write_piece(&environment, "row.html", &one, output)
        })?;
    }
    write_piece(&environment, "tail.html", &page, output)
}

fn write_piece(environment: &Environment, name: &str, page: &Value, output: &mut dyn Write) -> Result<()> {
    let piece = environment.get_template(name).map_err(Error::other)?;
    output.write_all(piece.render(page).map_err(Error::other)?.as_bytes())
}

/// The marks of the pictures of a spread, ready to be placed.
#[derive(Debug, Serialize)]
struct Pictures {
    width: f64,
    bars_height: f64,
    bars: Vec<Bar>,
    zero: Option<f64>,
    ticks: Vec<(f64, String)>,
    dots_height: f64,
    trials: Vec<Dots>,
}

#[derive(Debug, Serialize)]
struct Bar {
    x: f64,
    y: f64,
    width: f64,
    height: f64,
    count: usize,
}

#[derive(Debug, Serialize)]
struct Dots {
    name: String,
    base: f64,
    label: f64,
    said: String,
    dots: Vec<(f64, f64)>,
}

impl Pictures {
    fn of(spread: &SpreadView) -> Self {
        let step = WIDTH / spread.bins.len().max(1) as f64;
        let bar = |(at, bin): (usize, &summary::BinView)| {
            let height = bin.count as f64 / spread.most.max(1) as f64 * (BARS - 20.0);
            Bar { x: at as f64 * step, y: BARS - height, width: step, height, count: bin.count }
        };
        let every = spread.bins.len().div_ceil(8).max(1);
        let ticks = spread.bins.iter().enumerate().step_by(every);
        let columns = spread.trials.first().map_or(1, |trial| trial.dots.len()).max(1) as f64;
        let column = WIDTH / columns;
        let size = (column * 0.8).min(8.0).min(80.0 / spread.most_dots.max(1) as f64);
        let band = spread.most_dots as f64 * size + 32.0;
        let trial = |(at, trial): (usize, &summary::TrialView)| {
            let base = (at + 1) as f64 * band;
            let dots = trial.dots.iter().enumerate().flat_map(|(column_at, count)| {
                (0..*count).map(move |dot| {
                    ((column_at as f64 + 0.5) * column, base - 6.0 - (dot as f64 + 0.5) * size)
                })
            });
            Dots {
                name: trial.name.clone(),
                base,
                label: base - band + 14.0,
                said: format!("n = {}", trial.n),
                dots: dots.collect(),
            }
        };
        Pictures {
            width: WIDTH,
            bars_height: BARS,
            bars: spread.bins.iter().enumerate().map(bar).collect(),
            zero: spread.zero.map(|at| at * WIDTH),
            ticks: ticks.map(|(at, bin)| (at as f64 * step, bin.from.clone())).collect(),
            dots_height: band * spread.trials.len() as f64,
            trials: spread.trials.iter().enumerate().map(trial).collect(),
        }
    }
}
