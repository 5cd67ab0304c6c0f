//! The plots of a report as plain data, with a text alternative made from the same data.
//!
//! Masses of trials differ by grams where changes are milligrams, so mass by heating is drawn as the
//! difference from each trial's last weighing, with the tolerance shaded around it. Coordinates are `f64`;
//! what is printed as a number comes from printed values. The layout does the drawing.

pub(super) mod budget;

use crate::evaluation::results::{Figure, Outcome, QuantityResult, Results, Series, SeriesRow};
use crate::evaluation::uncertainty::Evaluated;
use crate::notebook::settings::{DecimalMark, UncertaintyForm};
use crate::quantity::{Number, Printed, PrintedUncertainty};
use crate::report::code::{self, Fields};
use crate::report::words::{self, Ink, Words};

/// Most trials drawn into one panel.
const MOST_LINES: usize = 6;
/// Changes so many times the tolerance make it a hairline in a panel of their size.
const HAIRLINE: f64 = 16.0;
/// What an enlarged panel shows, in tolerances.
const DETAIL: f64 = 12.0;
/// Most panels in one figure.
pub(super) const MOST_PANELS: usize = 6;
/// Most points of a line that are said one by one.
const MOST_SAID: usize = 12;
/// Milligrams in a kilogram, the coherent unit of mass.
const MILLIGRAMS: f64 = 1e6;

/// The plot of mass by heating.
#[derive(Clone, Debug, PartialEq)]
pub struct MassPlot {
    /// One per load (and group of trials).
    pub panels: Vec<MassPanel>,
}

/// One load's weighings.
#[derive(Clone, Debug, PartialEq)]
pub struct MassPanel {
    /// The load.
    pub load: String,
    /// What was done before each weighing, in order.
    pub weighings: Vec<String>,
    /// Events: the position of the weighing before which each lies, and what was done.
    pub events: Vec<(usize, String)>,
    /// The trials.
    pub lines: Vec<MassLine>,
    /// The largest tolerance in mg, where there is one.
    pub limit: Option<f64>,
    /// Decimals of the printed differences.
    pub decimals: usize,
}

/// One trial's weighings.
#[derive(Clone, Debug, PartialEq)]
pub struct MassLine {
    /// The trial.
    pub trial: String,
    /// Position of the weighing and mass minus last mass, in mg.
    pub points: Vec<(usize, f64)>,
}

/// The plot for one load, or for all that have a series; `None` where there is nothing to draw.
pub(super) fn mass_plot(results: &Results, load: Option<&str>) -> Option<MassPlot> {
    let asked = load.map(crate::weighing::Load::parse);
    let wanted = |series: &&Series| match &asked {
        Some(load) => crate::weighing::Load::parse(&series.load) == *load,
        None => !series.verdicts.is_empty(),
    };
    let panels: Vec<MassPanel> =
        results.series.iter().filter(wanted).flat_map(|series| mass_panels(results, series)).collect();
    let panels: Vec<MassPanel> = panels.into_iter().flat_map(MassPanel::with_detail).collect();
    (!panels.is_empty()).then_some(MassPlot { panels })
}

fn mass_panels(results: &Results, series: &Series) -> Vec<MassPanel> {
    let rows: Vec<&SeriesRow> = series.rows.iter().filter(|row| !row.struck).collect();
    let lines: Vec<(usize, MassLine)> = (0..results.trials.len())
        .filter_map(|trial| mass_line(results, &rows, trial).map(|line| (trial, line)))
        .collect();
    let panel = |group: &[(usize, MassLine)]| MassPanel {
        load: series.load.clone(),
        weighings: rows.iter().map(|row| row.treatment.clone()).collect(),
        events: events(&rows),
        lines: group.iter().map(|(_, line)| line.clone()).collect(),
        limit: group.iter().filter_map(|(trial, _)| limit(series, *trial)).reduce(f64::max),
        decimals: decimals(series),
    };
    let count = lines.len().div_ceil(MOST_LINES).max(1);
    lines.chunks(lines.len().div_ceil(count).max(1)).map(panel).collect()
}

fn mass_line(results: &Results, rows: &[&SeriesRow], trial: usize) -> Option<MassLine> {
    let masses: Vec<(usize, &Number)> = rows
        .iter()
        .enumerate()
        .filter_map(|(index, row)| {
            let node = row.readings.get(trial)?.node?;
            Some((index, &results.graph.quantity(node).number))
        })
        .collect();
    let (_, last) = *masses.last().filter(|_| masses.len() > 1)?;
    let difference =
        |(index, mass): &(usize, &Number)| Some((*index, mass.sub(last).ok()?.to_f64() * MILLIGRAMS));
    let points = masses.iter().filter_map(difference).collect();
    Some(MassLine { trial: results.trials.get(trial)?.name.clone(), points })
}

fn events(rows: &[&SeriesRow]) -> Vec<(usize, String)> {
    let at = |(index, row): (usize, &&SeriesRow)| (index, row.events.join("; "));
    rows.iter().enumerate().filter(|(index, row)| *index > 0 && !row.events.is_empty()).map(at).collect()
}

/// The tolerance of one trial in mg.
fn limit(series: &Series, trial: usize) -> Option<f64> {
    let limit = series.limits.get(trial)?.as_ref()?;
    Some(limit.mul(series.unit.factor()).ok()?.to_f64() * MILLIGRAMS)
}

/// The most decimals of a printed change in mg.
fn decimals(series: &Series) -> usize {
    let changes = series.rows.iter().flat_map(|row| row.changes.iter().flatten());
    let of = |digits: &str| digits.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    changes.map(|change| of(&change.printed_mg.digits)).max().unwrap_or(1)
}

impl MassPlot {
    /// What the plot shows, in words.
    pub(super) fn alternative(&self, mark: DecimalMark) -> String {
        let panels: Vec<String> = self.panels.iter().map(|panel| panel.alternative(mark)).collect();
        format!(
            "Plot of mass by weighing, as the difference from the last weighing in milligrams. {}",
            panels.join(" ")
        )
    }

    /// The figures: at most so many panels in one that it fits on a page.
    pub(super) fn figures(self) -> Vec<MassPlot> {
        self.panels.chunks(MOST_PANELS).map(|panels| MassPlot { panels: panels.to_vec() }).collect()
    }

    pub(super) fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        let panels = self.panels.iter().map(|panel| panel.set(ink, mark));
        let plot = Fields::new()
            .aside("alt", &self.alternative(mark))
            .flag("limited", self.panels.iter().any(|panel| panel.limit.is_some()))
            .code("panels", code::array(panels))
            .dictionary();
        format!("layout.mass-plot({plot})\n")
    }
}

impl MassPanel {
    /// A difference as it is printed.
    pub(in crate::report) fn printed(&self, value: f64, mark: DecimalMark) -> String {
        let text = format!("{value:.*}", self.decimals);
        let zero = !text.contains(|c| ('1'..='9').contains(&c));
        let text = if zero { text.replace('-', "") } else { text };
        let sign = if !zero && !text.starts_with('-') { "+" } else { "" };
        format!("{sign}{}", words::digits(&text, mark))
    }

    /// What the panel shows, in words.
    pub(in crate::report) fn alternative(&self, mark: DecimalMark) -> String {
        let mut said = vec![format!("{}:", self.load)];
        for line in &self.lines {
            let point = |(index, value): &(usize, f64)| {
                let weighing = self.weighing(*index);
                format!("{weighing} {}", self.printed(*value, mark))
            };
            let points = said_points(&line.points, point);
            said.push(format!("trial {}, {};", line.trial, points.join(", ")));
        }
        for (index, event) in &self.events {
            said.push(format!("before {}: {event};", self.weighing(*index)));
        }
        match self.limit {
            Some(limit) => said.push(format!("shaded: {} on either side.", self.printed(limit, mark))),
            None => said.push("no tolerance is shown.".to_owned()),
        }
        said.join(" ")
    }

    /// The panel, and where the tolerance would be a hairline in it the last weighings once more, enlarged.
    fn with_detail(self) -> Vec<MassPanel> {
        let largest =
            self.lines.iter().flat_map(|line| &line.points).map(|(_, value)| value.abs()).fold(0.0, f64::max);
        match self.limit.filter(|limit| *limit > 0.0 && largest > HAIRLINE * limit) {
            Some(limit) => {
                let detail = self.last_weighings(limit);
                std::iter::once(self).chain(detail).collect()
            }
            None => vec![self],
        }
    }

    /// The weighings from which on every trial is near its last one.
    fn last_weighings(&self, limit: f64) -> Option<MassPanel> {
        let far = |(_, value): &&(usize, f64)| value.abs() > DETAIL * limit;
        let last_far = self.lines.iter().filter_map(|line| line.points.iter().rfind(far));
        let start = last_far.map(|(index, _)| index + 1).max()?;
        let panel = MassPanel {
            load: format!("{}, enlarged", self.load),
            weighings: (start..self.weighings.len()).map(|index| self.weighing(index)).collect(),
            events: from_on(&self.events, start).filter(|(at, _)| *at > 0).collect(),
            lines: self
                .lines
                .iter()
                .map(|line| line.after(start))
                .filter(|line| line.points.len() > 1)
                .collect(),
            ..self.clone()
        };
        (!panel.lines.is_empty()).then_some(panel)
    }

    /// What a weighing is called.
    pub(in crate::report) fn weighing(&self, index: usize) -> String {
        match self.weighings.get(index).map(String::as_str) {
            Some("") | None => format!("weighing {}", index + 1),
            Some(treatment) => treatment.to_owned(),
        }
    }

    /// The axis of the differences.
    pub(in crate::report) fn axis(&self) -> Axis {
        let values = self.lines.iter().flat_map(|line| line.points.iter().map(|(_, value)| *value));
        let limit = self.limit.unwrap_or(0.0);
        Axis::over(values.chain([1.5 * limit, -1.5 * limit, 0.0]), 5)
    }

    fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        let axis = self.axis();
        let weighings =
            (0..self.weighings.len()).map(|index| ink.text(&clipped(&self.weighing(index), 24), None));
        let event = |(index, text): &(usize, String)| {
            Fields::new()
                .code("before", index.to_string())
                .code("text", ink.text(&clipped(text, 60), None))
                .flag("below", self.is_high(*index, &axis))
                .dictionary()
        };
        Fields::new()
            .code("load", ink.text(&clipped(&self.load, 44), None))
            .code("weighings", code::array(weighings))
            .code("events", code::array(self.events.iter().map(event)))
            .optional("limit", self.limit.map(code::decimal))
            .code("axis", axis.set(mark))
            .code("lines", code::array(self.set_lines(ink, &axis)))
            .dictionary()
    }

    /// Whether the two weighings after an event lie in the upper half, where its label would cover them.
    pub(in crate::report) fn is_high(&self, weighing: usize, axis: &Axis) -> bool {
        let after = self.lines.iter().flat_map(|line| &line.points);
        let near = after.filter(|(at, _)| (weighing..weighing + 2).contains(at)).map(|(_, value)| *value);
        near.fold(f64::NEG_INFINITY, f64::max) > axis.low + axis.span() * 0.55
    }

    /// The heights of the lines' labels, moved apart where they would touch.
    pub(in crate::report) fn label_heights(&self, axis: &Axis) -> Vec<f64> {
        let firsts: Vec<f64> =
            self.lines.iter().map(|line| line.points.first().map_or(0.0, |(_, value)| *value)).collect();
        spread(&firsts, axis.span() * 0.1)
    }

    /// The lines with their labels.
    fn set_lines(&self, ink: &Ink, axis: &Axis) -> Vec<String> {
        let labels = self.label_heights(axis);
        let line = |(line, label): (&MassLine, &f64)| {
            let point = |(index, value): &(usize, f64)| format!("({index}, {})", code::decimal(*value));
            Fields::new()
                .code("trial", ink.text(&clipped(&line.trial, 12), None))
                .code("points", code::array(line.points.iter().map(point)))
                .code("label", code::decimal(*label))
                .dictionary()
        };
        self.lines.iter().zip(&labels).map(line).collect()
    }
}

/// A label as it fits in a drawing; the text alternative has the whole of it.
pub(in crate::report) fn clipped(label: &str, most: usize) -> String {
    match label.char_indices().nth(most) {
        None => label.to_owned(),
        Some((end, _)) => format!("{}…", label.get(..end).unwrap_or(label).trim_end()),
    }
}

impl MassLine {
    /// The weighings from a position on.
    fn after(&self, start: usize) -> MassLine {
        MassLine { trial: self.trial.clone(), points: from_on(&self.points, start).collect() }
    }
}

/// What stands at a position or after it, counted from there.
fn from_on<T: Clone>(items: &[(usize, T)], start: usize) -> impl Iterator<Item = (usize, T)> {
    items.iter().filter_map(move |(at, item)| Some((at.checked_sub(start)?, item.clone())))
}

/// Every point, or the first and the last ones of many.
fn said_points(points: &[(usize, f64)], point: impl Fn(&(usize, f64)) -> String) -> Vec<String> {
    if points.len() <= MOST_SAID {
        return points.iter().map(point).collect();
    }
    let (first, last) = (MOST_SAID / 2, points.len() - MOST_SAID / 2);
    let left_out = format!("then {} more", last - first);
    let first = points.iter().take(first).map(&point);
    first.chain([left_out]).chain(points.iter().skip(last).map(&point)).collect()
}

/// Heights moved apart so that neighbours are at least `gap` from each other.
fn spread(heights: &[f64], gap: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..heights.len()).collect();
    order.sort_by(|a, b| heights[*a].total_cmp(&heights[*b]).then(b.cmp(a)));
    let mut placed = heights.to_vec();
    for pair in 1..order.len() {
        let (below, above) = (order[pair - 1], order[pair]);
        placed[above] = placed[above].max(placed[below] + gap);
    }
    let moved: f64 = placed.iter().zip(heights).map(|(new, old)| new - old).sum();
    let back = moved / heights.len().max(1) as f64;
    placed.iter().map(|height| height - back).collect()
}

/// An axis with round ticks.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::report) struct Axis {
    pub(in crate::report) low: f64,
    high: f64,
    step: f64,
}

impl Axis {
    /// An axis that holds all values, with about `ticks` ticks.
    fn over(values: impl Iterator<Item = f64>, ticks: usize) -> Axis {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.filter(|value| value.is_finite()) {
            low = low.min(value);
            high = high.max(value);
        }
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        let mut width = high - low;
        if width <= f64::EPSILON * 8.0 * high.abs().max(low.abs()) {
            width = low.abs().max(1.0) * 0.1;
            (low, high) = (low - width / 2.0, high + width / 2.0);
        }
        let step = round_step(width / ticks as f64);
        Axis { low: low - width * 0.06, high: high + width * 0.06, step }
    }

    pub(in crate::report) fn span(&self) -> f64 {
        self.high - self.low
    }

    fn ticks(&self) -> Vec<f64> {
        let first = (self.low / self.step).ceil() as i64;
        let last = (self.high / self.step).floor() as i64;
        (first..=last.min(first.saturating_add(20))).map(|tick| tick as f64 * self.step).collect()
    }

    /// Decimals that tell neighbouring ticks apart.
    fn decimals(&self) -> usize {
        (0..12)
            .find(|decimals| {
                (self.step * 10f64.powi(*decimals))
                    .fract()
                    .min(1.0 - (self.step * 10f64.powi(*decimals)).fract())
                    < 1e-6
            })
            .unwrap_or(12) as usize
    }

    /// The ticks with their labels.
    pub(in crate::report) fn labelled(&self, mark: DecimalMark) -> Vec<(f64, String)> {
        let decimals = self.decimals();
        let label = |value: f64| {
            let text = format!("{value:.decimals$}");
            let text = if text.contains(|c| ('1'..='9').contains(&c)) { text } else { text.replace('-', "") };
            (value, words::digits(&text, mark))
        };
        self.ticks().into_iter().map(label).collect()
    }

    fn set(&self, mark: DecimalMark) -> String {
        let tick =
            |(value, label): &(f64, String)| format!("({}, {})", code::decimal(*value), code::string(label));
        Fields::new()
            .code("low", code::decimal(self.low))
            .code("high", code::decimal(self.high))
            .code("ticks", code::array(self.labelled(mark).iter().map(tick)))
            .dictionary()
    }
}

/// The next of 1, 2, 5 × 10ⁿ.
fn round_step(least: f64) -> f64 {
    let power = 10f64.powi(least.log10().floor() as i32);
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|step| *step >= least * 0.999)
        .unwrap_or(10.0 * power)
}

/// The plot of one quantity's trials.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialsPlot {
    /// The symbol as written.
    pub symbol: String,
    /// The spelling of the unit.
    pub unit: String,
    /// Trial, value, printed value, whether it was set aside.
    pub points: Vec<TrialPoint>,
    /// The mean of the valid trials, with its printed form.
    pub mean: (f64, String),
    /// The expanded uncertainty of the mean, where it is shown.
    pub mean_expanded: Option<f64>,
    /// The theory, with its printed form.
    pub theory: Option<(f64, String)>,
}

/// One trial's value.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialPoint {
    /// The trial.
    pub trial: String,
    /// The value in the unit shown.
    pub value: f64,
    /// Its expanded uncertainty, where it is shown.
    pub expanded: Option<f64>,
    /// As printed.
    pub printed: String,
    /// Whether the trial was set aside.
    pub set_aside: bool,
}

/// The plots of trials: of one symbol, or of every quantity that has a theory and two values or more.
pub(super) fn trials_plots(results: &Results, symbol: Option<&str>, every: bool) -> Vec<TrialsPlot> {
    let wanted = |quantity: &&QuantityResult| {
        let several = quantity.agreement.as_ref().is_some_and(|agreement| agreement.numbers.n > 1);
        match symbol {
            Some(symbol) => compact(&quantity.symbol) == compact(symbol) && quantity.agreement.is_some(),
            None => several && (every || quantity.theory.is_some()),
        }
    };
    results.quantities.iter().filter(wanted).filter_map(|quantity| trials_plot(results, quantity)).collect()
}

/// A value with the uncertainty that stands beside it, as it is said.
fn said(printed: &Printed, uncertainty: Option<&PrintedUncertainty>, mark: DecimalMark) -> String {
    match uncertainty {
        None => words::printed_text(printed, mark),
        Some(uncertainty) => words::digits(&uncertainty.beside(printed), mark),
    }
}

fn compact(symbol: &str) -> String {
    symbol.split_whitespace().collect()
}

fn trials_plot(results: &Results, quantity: &QuantityResult) -> Option<TrialsPlot> {
    let mark = results.settings.decimal;
    let printed =
        |figure: &Figure| (figure.number.to_f64(), said(&figure.printed, figure.uncertainty.as_ref(), mark));
    let shown = results.settings.form() != UncertaintyForm::Plain;
    let expanded = |evaluated: Option<Evaluated>| evaluated.map(|e| e.expanded).filter(|u| shown && *u > 0.0);
    let point = |(index, outcome): (usize, &Outcome)| {
        let trial = results.trials.get(index).filter(|trial| !trial.blank)?;
        let value = outcome.value()?;
        Some(TrialPoint {
            trial: trial.name.clone(),
            value: value.number.to_f64(),
            expanded: expanded(value.evaluated),
            printed: said(&value.printed, value.uncertainty.as_ref(), mark),
            set_aside: trial.set_aside.is_some(),
        })
    };
    let theory = quantity.theory.as_ref().and_then(|theory| theory.scalar.as_ref()?.value());
    let plot = TrialsPlot {
        symbol: quantity.symbol.clone(),
        unit: words::unit_symbol(&quantity.unit).to_owned(),
        points: quantity.trials.iter().enumerate().filter_map(point).collect(),
        mean: printed(&quantity.agreement.as_ref()?.mean),
        mean_expanded: expanded(quantity.agreement.as_ref()?.evaluated),
        theory: theory.map(|value| (value.number.to_f64(), words::printed_text(&value.printed, mark))),
    };
    plot.can_be_drawn().then_some(plot)
}

/// Values up to this size can be drawn; an axis that holds larger ones is beyond the numbers of the machine.
const LARGEST_DRAWN: f64 = 1e100;

/// Plots of trials side by side.
pub(super) fn set_trials(plots: &[TrialsPlot], ink: &Ink, mark: DecimalMark) -> String {
    let said: Vec<String> = plots.iter().map(TrialsPlot::alternative).collect();
    let plot = Fields::new()
        .aside("alt", &format!("Plot of the trials' results. {}", said.join(" ")))
        .code("panels", code::array(plots.iter().map(|plot| plot.set(ink, mark))))
        .dictionary();
    format!("layout.trials-plot({plot})\n")
}

impl TrialsPlot {
    /// Whether every value has a place on an axis.
    fn can_be_drawn(&self) -> bool {
        let points = self.points.iter().flat_map(|point| [Some(point.value), point.expanded]);
        let others = [Some(self.mean.0), self.mean_expanded, self.theory.as_ref().map(|(value, _)| *value)];
        points.chain(others).flatten().all(|value| value.abs() <= LARGEST_DRAWN)
    }

    /// What the plot shows, in words.
    pub(in crate::report) fn alternative(&self) -> String {
        let point = |point: &TrialPoint| {
            let aside = if point.set_aside { " (set aside)" } else { "" };
            format!("trial {} {}{aside}", point.trial, point.printed)
        };
        let points: Vec<String> = self.points.iter().map(point).collect();
        let unit = words::spoken_unit(&self.unit);
        let unit = if unit.is_empty() { unit } else { format!(", in {unit}") };
        let theory = self.theory.as_ref().map_or(String::new(), |(_, printed)| format!(", theory {printed}"));
        format!("{}{unit}: {}; mean {}{theory}.", self.symbol, points.join(", "), self.mean.1)
    }

    /// The axis of the values.
    pub(in crate::report) fn axis(&self) -> Axis {
        let ends = |value: f64, expanded: Option<f64>| {
            let expanded = expanded.unwrap_or(0.0);
            [value - expanded, value + expanded]
        };
        let values = self.points.iter().flat_map(|point| ends(point.value, point.expanded));
        let theory = self.theory.as_ref().map(|(value, _)| *value);
        Axis::over(values.chain(ends(self.mean.0, self.mean_expanded)).chain(theory), 4)
    }

    fn set(&self, ink: &Ink, mark: DecimalMark) -> String {
        let theory = self.theory.as_ref().map(|(value, _)| *value);
        let axis = self.axis();
        let head: Words = words::over_unit(words::symbol(&self.symbol), &self.unit);
        let point = |point: &TrialPoint| {
            Fields::new()
                .code("trial", ink.text(&clipped(&point.trial, 20), None))
                .code("value", code::decimal(point.value))
                .optional("expanded", point.expanded.map(code::decimal))
                .flag("aside", point.set_aside)
                .dictionary()
        };
        Fields::new()
            .code("head", ink.words(&head, None))
            .code("axis", axis.set(mark))
            .code("points", code::array(self.points.iter().map(point)))
            .code("mean", code::decimal(self.mean.0))
            .optional("expanded", self.mean_expanded.map(code::decimal))
            .optional("theory", theory.map(code::decimal))
            .dictionary()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round() {
        let axis = Axis::over([0.0, 3.1].into_iter(), 5);
        assert_eq!(axis.step, 1.0);
        assert_eq!(axis.ticks(), [0.0, 1.0, 2.0, 3.0]);
        assert_eq!(axis.decimals(), 0);
        assert_eq!(Axis::over([0.0, 0.9].into_iter(), 5).decimals(), 1);
        assert!(Axis::over([36.0, 36.0].into_iter(), 5).ticks().len() > 1);
    }

    #[test]
    fn labels_move_apart_and_keep_their_order() {
        let placed = spread(&[1.0, 1.0, 5.0], 1.0);
        assert!(placed[0] - placed[1] >= 1.0 - 1e-9);
        assert!(placed[2] > placed[0]);
        assert_eq!(spread(&[], 1.0), Vec::<f64>::new());
    }
}
