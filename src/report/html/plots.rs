//! The plots of a report as drawings in SVG, each with its data in words and, on demand, as a table.

use super::Writer;
use super::markup::Markup;
use super::words::words;
use crate::notebook::settings::DecimalMark;
use crate::report::code::decimal;
use crate::report::plots::budget::{BudgetPlot, printed};
use crate::report::plots::{Axis, MassLine, MassPanel, MassPlot, TrialPoint, TrialsPlot, clipped};
use crate::report::words;

/// Width of a panel, in units of the drawing; letters are 12.5 of them high.
const WIDTH: f64 = 360.0;
/// About the width of a letter.
const LETTER: f64 = 6.6;
/// How many colours and shapes there are.
const KINDS: usize = 6;

impl Writer<'_> {
    /// A figure: its panels, its caption, and its data for those who want the numbers.
    fn plot(
        &mut self,
        page: &mut Markup,
        caption: impl FnOnce(&mut Markup),
        panels: impl FnOnce(&mut Markup, &str),
        data: impl FnOnce(&mut Markup),
    ) {
        self.figures += 1;
        let number = self.figures;
        let id = format!("figure-{number}");
        page.element("figure", &[("class", "plot")], |page| {
            page.element("figcaption", &[], |page| {
                page.text_in("b", &[], &format!("Figure\u{a0}{number}"));
                page.text(" ");
                caption(page);
            });
            page.element("div", &[("class", "panels")], |page| panels(page, &id));
            page.element("details", &[], |page| {
                page.text_in("summary", &[], &format!("The data of figure {number}"));
                data(page);
            });
        });
        page.line();
    }

    pub(super) fn mass_plot(&mut self, page: &mut Markup, plot: &MassPlot) {
        let mark = self.mark();
        let limited = plot.panels.iter().any(|panel| panel.limit.is_some());
        let caption = |page: &mut Markup| {
            page.text("Mass by weighing: Δ");
            page.text_in("i", &[], "m");
            page.text(" is the difference from each trial’s last weighing.");
            page.text(if limited { " Shaded: the tolerance of constant mass." } else { "" });
        };
        let panels = |page: &mut Markup, id: &str| {
            for (index, panel) in plot.panels.iter().enumerate() {
                mass_panel(page, panel, &format!("{id}-{}", index + 1), mark);
            }
        };
        let data = |page: &mut Markup| plot.panels.iter().for_each(|panel| mass_data(page, panel, mark));
        self.plot(page, caption, panels, data);
    }

    pub(super) fn trials_plot(&mut self, page: &mut Markup, plots: &[TrialsPlot]) {
        let mark = self.mark();
        let caption = |page: &mut Markup| {
            let theory = plots.iter().any(|plot| plot.theory.is_some());
            page.text(if theory {
                "Results of the trials, their mean and the theory."
            } else {
                "Results of the trials and their mean."
            });
            if plots.iter().any(|plot| plot.mean_expanded.is_some()) {
                page.text(" Bars and the band of the mean: ± ");
                page.text_in("i", &[], "U");
                page.text(".");
            }
        };
        let panels = |page: &mut Markup, id: &str| {
            for (index, plot) in plots.iter().enumerate() {
                trials_panel(page, plot, &format!("{id}-{}", index + 1), mark);
            }
        };
        let data = |page: &mut Markup| plots.iter().for_each(|plot| trials_data(page, plot));
        self.plot(page, caption, panels, data);
    }

    pub(super) fn budget_plot(&mut self, page: &mut Markup, plot: &BudgetPlot) {
        let mark = self.mark();
        let caption = |page: &mut Markup| {
            page.text("Where the uncertainty comes from: shares of the variance of ");
            words(page, &plot.of);
            page.text(".");
        };
        let panels = |page: &mut Markup, id: &str| budget_bars(page, plot, id, mark);
        let data = |page: &mut Markup| {
            data_table(page, &["input", "share / %"], |page| {
                for bar in &plot.bars {
                    data_row(page, &bar.name, &[printed(bar.share, mark)]);
                }
            });
        };
        self.plot(page, caption, panels, data);
    }
}

// ------------------------------------------------------------------------------------------------
// Drawing
// ------------------------------------------------------------------------------------------------

/// A drawing with its name and, in words, what it shows.
fn drawing(page: &mut Markup, id: &str, height: f64, said: (&str, &str), draw: impl FnOnce(&mut Markup)) {
    let (title, description) = (format!("{id}-name"), format!("{id}-words"));
    let view = format!("0 0 {} {}", decimal(WIDTH), decimal(height));
    let attributes = [
        ("viewBox", view.as_str()),
        ("role", "img"),
        ("aria-labelledby", title.as_str()),
        ("aria-describedby", description.as_str()),
    ];
    page.element("svg", &attributes, |page| {
        page.text_in("title", &[("id", &title)], said.0);
        page.text_in("desc", &[("id", &description)], said.1);
        draw(page);
    });
    page.line();
}

fn line(page: &mut Markup, class: &str, from: (f64, f64), to: (f64, f64)) {
    let (x1, y1, x2, y2) = (decimal(from.0), decimal(from.1), decimal(to.0), decimal(to.1));
    let attributes = [("class", class), ("x1", &x1[..]), ("y1", &y1[..]), ("x2", &x2[..]), ("y2", &y2[..])];
    page.element("line", &attributes, |_| {});
}

fn rectangle(page: &mut Markup, class: &str, corner: (f64, f64), width: f64, height: f64) {
    let (x, y, width, height) =
        (decimal(corner.0), decimal(corner.1), decimal(width.max(0.0)), decimal(height.max(0.0)));
    let attributes =
        [("class", class), ("x", &x[..]), ("y", &y[..]), ("width", &width[..]), ("height", &height[..])];
    page.element("rect", &attributes, |_| {});
}

/// Text with its anchor (`start`, `middle`, `end`).
fn label(page: &mut Markup, class: &str, at: (f64, f64), anchor: &str, text: &str) {
    let (x, y) = (decimal(at.0), decimal(at.1));
    page.text_in("text", &[("class", class), ("x", &x), ("y", &y), ("text-anchor", anchor)], text);
}

/// One of six shapes, so that trials differ without colour.
fn shape(page: &mut Markup, kind: usize, (x, y): (f64, f64)) {
    let class = format!("c{} {}", kind % KINDS, if kind % KINDS < 3 { "full" } else { "hollow" });
    let path = match kind % KINDS {
        0 | 3 => {
            let (x, y) = (decimal(x), decimal(y));
            let attributes =
                [("class", class.as_str()), ("cx", x.as_str()), ("cy", y.as_str()), ("r", "3.6")];
            return page.element("circle", &attributes, |_| {});
        }
        1 | 4 => format!("M{} {}h6.6v6.6h-6.6z", decimal(x - 3.3), decimal(y - 3.3)),
        2 => format!("M{} {}l4 7.4h-8z", decimal(x), decimal(y - 4.4)),
        _ => format!("M{} {}l4.4 4.4-4.4 4.4-4.4-4.4z", decimal(x), decimal(y - 4.4)),
    };
    page.element("path", &[("class", &class), ("d", &path)], |_| {});
}

// ------------------------------------------------------------------------------------------------
// Mass by weighing
// ------------------------------------------------------------------------------------------------

/// Where a panel of masses draws its values.
struct MassFrame {
    axis: Axis,
    left: f64,
    right: f64,
    top: f64,
    height: f64,
    weighings: usize,
    trials: usize,
}

impl MassFrame {
    fn x(&self, weighing: usize) -> f64 {
        self.left + (self.right - self.left) * (weighing as f64 + 0.72) / (self.weighings as f64 + 0.22)
    }

    fn step(&self) -> f64 {
        self.x(1) - self.x(0)
    }

    fn y(&self, value: f64) -> f64 {
        self.top + self.height * (1.0 - (value - self.axis.low) / self.axis.span())
    }

    /// Trials stand side by side at each weighing, so that none hides another.
    fn place(&self, trial: usize, weighing: usize) -> f64 {
        let aside = (0.4 * self.step() / self.trials.max(1) as f64).min(6.0);
        self.x(weighing) + (trial as f64 - (self.trials.max(1) - 1) as f64 / 2.0) * aside
    }

    fn bottom(&self) -> f64 {
        self.top + self.height
    }
}

fn mass_panel(page: &mut Markup, panel: &MassPanel, id: &str, mark: DecimalMark) {
    let frame = MassFrame {
        axis: panel.axis(),
        left: 50.0,
        right: WIDTH - 8.0,
        top: 26.0,
        height: 150.0,
        weighings: panel.weighings.len(),
        trials: panel.lines.len(),
    };
    let name = format!("Mass by weighing, {}", panel.load);
    drawing(page, id, frame.bottom() + 24.0, (&name, &panel.alternative(mark)), |page| {
        page.element("text", &[("x", "0"), ("y", "13")], |page| {
            page.text_in("tspan", &[("class", "head")], &clipped(&panel.load, 40));
            page.text("\u{2003}Δ");
            page.text_in("tspan", &[("class", "letters")], "m");
            page.text(" / mg");
        });
        mass_ground(page, panel, &frame, mark);
        mass_events(page, panel, &frame);
        let heights = panel.label_heights(&frame.axis);
        for (index, (line, height)) in panel.lines.iter().zip(&heights).enumerate() {
            mass_line(page, line, index, frame.y(*height), &frame);
        }
        weighing_labels(page, panel, &frame);
    });
}

/// The tolerance, the lines of the axis, its labels.
fn mass_ground(page: &mut Markup, panel: &MassPanel, frame: &MassFrame, mark: DecimalMark) {
    if let Some(limit) = panel.limit {
        let (top, bottom) = (frame.y(limit), frame.y(-limit));
        rectangle(page, "band", (frame.left, top), frame.right - frame.left, bottom - top);
    }
    for (value, text) in frame.axis.labelled(mark) {
        line(page, "grid", (frame.left, frame.y(value)), (frame.right, frame.y(value)));
        label(page, "", (frame.left - 6.0, frame.y(value) + 4.0), "end", &text);
    }
    line(page, "axis", (frame.left, frame.y(0.0)), (frame.right, frame.y(0.0)));
}

fn mass_events(page: &mut Markup, panel: &MassPanel, frame: &MassFrame) {
    for (index, event) in &panel.events {
        let middle = (frame.x(index.saturating_sub(1)) + frame.x(*index)) / 2.0;
        line(page, "event", (middle, frame.top), (middle, frame.bottom()));
        let below = panel.is_high(*index, &frame.axis);
        let y = if below { frame.bottom() - 5.0 } else { frame.top + 11.0 };
        let room = ((WIDTH - middle - 6.0) / LETTER).max(4.0) as usize;
        label(page, "letters over", (middle + 4.0, y), "start", &clipped(event, room));
    }
}

fn mass_line(page: &mut Markup, trial: &MassLine, index: usize, height: f64, frame: &MassFrame) {
    let place = |(weighing, value): &(usize, f64)| (frame.place(index, *weighing), frame.y(*value));
    let points: Vec<String> =
        trial.points.iter().map(place).map(|(x, y)| format!("{},{}", decimal(x), decimal(y))).collect();
    let class = format!("c{} curve", index % KINDS);
    page.element("polyline", &[("class", &class), ("points", &points.join(" "))], |_| {});
    trial.points.iter().map(place).for_each(|at| shape(page, index, at));
    if let Some((first, _)) = trial.points.first() {
        let class = format!("c{} name", index % KINDS);
        label(page, &class, (frame.place(0, *first) - 7.0, height + 4.0), "end", &clipped(&trial.trial, 12));
    }
}

/// As many labels as fit side by side; the last weighing has one.
fn weighing_labels(page: &mut Markup, panel: &MassPanel, frame: &MassFrame) {
    let labels: Vec<String> =
        (0..panel.weighings.len()).map(|index| clipped(&panel.weighing(index), 24)).collect();
    let widest = labels.iter().map(|label| label.chars().count()).max().unwrap_or(0) as f64 * LETTER;
    let every = ((widest + 6.0) / frame.step()).ceil().max(1.0) as usize;
    for (index, text) in labels.iter().enumerate() {
        if (labels.len() - 1 - index).is_multiple_of(every) {
            let half = text.chars().count() as f64 * LETTER / 2.0;
            let x = frame.x(index).clamp(half.min(WIDTH / 2.0), (WIDTH - half).max(WIDTH / 2.0));
            label(page, "", (x, frame.bottom() + 17.0), "middle", text);
        }
    }
}

// ------------------------------------------------------------------------------------------------
// Trials
// ------------------------------------------------------------------------------------------------

fn trials_panel(page: &mut Markup, plot: &TrialsPlot, id: &str, mark: DecimalMark) {
    let step = 22.0;
    let (top, height) = (40.0, step * plot.points.len() as f64 + 8.0);
    let longest =
        plot.points.iter().map(|point| clipped(&point.trial, 20).chars().count()).max().unwrap_or(0);
    let left = longest.max(2) as f64 * LETTER + 14.0;
    let right = WIDTH - 46.0;
    let axis = plot.axis();
    let x = |value: f64| left + (right - left) * (value - axis.low) / axis.span();
    let name = format!("Results of the trials, {}", plot.symbol);
    drawing(page, id, top + height + 24.0, (&name, &plot.alternative()), |page| {
        page.element("text", &[("class", "head"), ("x", "0"), ("y", "13")], |page| {
            svg_words(page, &words::over_unit(words::symbol(&plot.symbol), &plot.unit));
        });
        let bottom = top + height;
        line(page, "axis", (left, bottom), (right, bottom));
        for (value, text) in axis.labelled(mark) {
            line(page, "axis", (x(value), bottom), (x(value), bottom + 4.0));
            label(page, "", (x(value), bottom + 17.0), "middle", &text);
        }
        if let Some(expanded) = plot.mean_expanded {
            let from = x(plot.mean.0 - expanded);
            rectangle(page, "band", (from, top), x(plot.mean.0 + expanded) - from, height);
        }
        mean_and_theory(page, plot, (top, bottom), &x);
        for (index, point) in plot.points.iter().enumerate() {
            let y = top + step * (index as f64 + 0.5) + 2.0;
            line(page, "grid", (left, y), (right, y));
            label(page, "", (left - 8.0, y + 4.0), "end", &clipped(&point.trial, 20));
            trial_point(page, point, y, &x);
        }
    });
}

/// The lines of the mean and of the theory, each labelled on the side where the other is not.
fn mean_and_theory(page: &mut Markup, plot: &TrialsPlot, ends: (f64, f64), x: &dyn Fn(f64) -> f64) {
    let theory = plot.theory.as_ref().map(|(value, _)| *value);
    let mean = plot.mean.0;
    let mean_left = theory.is_none_or(|theory| mean <= theory);
    let mut upright = |value: f64, class: &str, left: bool, text: &str| {
        line(page, class, (x(value), ends.0 - 3.0), (x(value), ends.1));
        let (anchor, aside) = if left { ("end", -3.0) } else { ("start", 3.0) };
        label(page, &format!("{class} word"), (x(value) + aside, ends.0 - 6.0), anchor, text);
    };
    upright(mean, "c0", mean_left, "mean");
    if let Some(theory) = theory {
        upright(theory, "c1 dashed", !mean_left, "theory");
    }
}

fn trial_point(page: &mut Markup, point: &TrialPoint, y: f64, x: &dyn Fn(f64) -> f64) {
    if let Some(expanded) = point.expanded {
        let (from, to) = (x(point.value - expanded), x(point.value + expanded));
        line(page, "bar", (from, y), (to, y));
        line(page, "bar", (from, y - 4.0), (from, y + 4.0));
        line(page, "bar", (to, y - 4.0), (to, y + 4.0));
    }
    let class = if point.set_aside { "point aside" } else { "point" };
    let (x, y) = (decimal(x(point.value)), decimal(y));
    page.element("circle", &[("class", class), ("cx", &x), ("cy", &y), ("r", "3.8")], |_| {});
}

/// Runs of text within a drawing, where raised and lowered text is moved.
fn svg_words(page: &mut Markup, runs: &[words::Run]) {
    for run in runs {
        match run {
            words::Run::Plain(text) => page.text(text),
            words::Run::Italic(text) => page.text_in("tspan", &[("class", "letters")], text),
            words::Run::Lowered(text) => {
                page.text_in("tspan", &[("class", "script"), ("baseline-shift", "-25%")], text);
            }
            words::Run::Raised(text) => {
                page.text_in("tspan", &[("class", "script"), ("baseline-shift", "35%")], text);
            }
            words::Run::Break => page.text(" "),
        }
    }
}

// ------------------------------------------------------------------------------------------------
// Shares of a budget
// ------------------------------------------------------------------------------------------------

fn budget_bars(page: &mut Markup, plot: &BudgetPlot, id: &str, mark: DecimalMark) {
    let step = 34.0;
    let most = plot.bars.iter().map(|bar| bar.share.abs()).fold(1.0, f64::max);
    let room = WIDTH - 52.0;
    let height = step * plot.bars.len() as f64 + 4.0;
    drawing(page, id, height, ("Shares of the variance", &plot.alternative(mark)), |page| {
        for (index, bar) in plot.bars.iter().enumerate() {
            let y = step * index as f64;
            label(page, "", (0.0, y + 13.0), "start", &clipped(&bar.name, (WIDTH / LETTER) as usize));
            let width = (room * bar.share.abs() / most).max(1.0);
            let class = if bar.share < 0.0 { "share less" } else { "share" };
            rectangle(page, class, (0.5, y + 18.0), width, 11.0);
            let text = format!("{}\u{202f}%", printed(bar.share, mark));
            label(page, "", (width + 6.0, y + 28.0), "start", &text);
        }
    });
}

// ------------------------------------------------------------------------------------------------
// The data as tables
// ------------------------------------------------------------------------------------------------

fn data_table(page: &mut Markup, heads: &[&str], rows: impl FnOnce(&mut Markup)) {
    let attributes = [("class", "scroll"), ("role", "group"), ("tabindex", "0"), ("aria-label", "Data")];
    page.element("div", &attributes, |page| {
        page.element("table", &[], |page| {
            page.element("thead", &[], |page| {
                page.element("tr", &[], |page| {
                    for (index, head) in heads.iter().enumerate() {
                        let class = if index == 0 { "label" } else { "n" };
                        page.text_in("th", &[("scope", "col"), ("class", class)], head);
                    }
                });
            });
            page.element("tbody", &[], rows);
        });
    });
}

fn data_row(page: &mut Markup, head: &str, cells: &[String]) {
    page.element("tr", &[], |page| {
        page.text_in("th", &[("scope", "row")], head);
        cells.iter().for_each(|cell| page.text_in("td", &[("class", "n")], cell));
    });
}

fn mass_data(page: &mut Markup, panel: &MassPanel, mark: DecimalMark) {
    let head = format!("{}, Δm / mg", panel.load);
    let trials: Vec<String> = panel.lines.iter().map(|line| format!("trial {}", line.trial)).collect();
    let heads: Vec<&str> = std::iter::once(head.as_str()).chain(trials.iter().map(String::as_str)).collect();
    data_table(page, &heads, |page| {
        for weighing in 0..panel.weighings.len() {
            let value = |line: &MassLine| {
                let point = line.points.iter().find(|(at, _)| *at == weighing);
                point.map_or("–".to_owned(), |(_, value)| panel.printed(*value, mark))
            };
            let cells: Vec<String> = panel.lines.iter().map(value).collect();
            data_row(page, &panel.weighing(weighing), &cells);
        }
    });
}

fn trials_data(page: &mut Markup, plot: &TrialsPlot) {
    let head = words::text_of(&words::over_unit(words::symbol(&plot.symbol), &plot.unit));
    data_table(page, &["trial", &head], |page| {
        for point in &plot.points {
            let aside = if point.set_aside { " (set aside)" } else { "" };
            data_row(page, &format!("{}{aside}", point.trial), std::slice::from_ref(&point.printed));
        }
        data_row(page, "mean", std::slice::from_ref(&plot.mean.1));
        if let Some((_, printed)) = &plot.theory {
            data_row(page, "theory", std::slice::from_ref(printed));
        }
    });
}
