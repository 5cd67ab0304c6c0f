//! What the forms show of a section besides its rows, in words and printed numbers.

use super::Audience;
use super::view::{DASH, over_unit, plural};
use crate::quantity::{print_double, uncertainty_place};
use crate::review::section::recurring::Recurring;
use crate::review::section::since::Change;
use crate::review::section::statistics::{self, FEW, OfGroup, OfUnknown, Spread, Statistics};
use crate::review::section::{FEWEST_SHOWN, Section};
use crate::statistics::Histogram;
use serde::Serialize;

/// Most dots of one trial; above it a dot stands for several notebooks.
const MOST_DOTS: usize = 200;

/// The section besides its rows, as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct SectionView {
    /// `Section hand-ins`
    pub title: String,
    /// What was reviewed, in sentences.
    pub lines: Vec<String>,
    /// Result by result.
    pub statistics: Vec<StatisticsView>,
    /// Readings in several notebooks.
    pub recurring: Vec<RecurringView>,
    /// How many further such questions there are.
    pub more_recurring: usize,
    /// Changes since an earlier run; `None` where none was given.
    pub changes: Option<Vec<ChangeView>>,
    /// Findings about the section.
    pub findings: Vec<String>,
    /// Whether it is for the class.
    pub class: bool,
}

/// Statistics as they are shown.
#[derive(Clone, Debug, Serialize)]
pub struct StatisticsView {
    /// `w(Cl) / %`
    pub of: String,
    /// How many.
    pub line: String,
    /// Unknown by unknown.
    pub unknowns: Vec<UnknownView>,
    /// How far results lie from their centres.
    pub spread: Option<SpreadView>,
}

/// An unknown as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct UnknownView {
    /// Its number, or what stands for none.
    pub unknown: String,
    /// How many measurements.
    pub n: usize,
    /// The middle value.
    pub median: String,
    /// The robust mean.
    pub mean: String,
    /// The robust standard deviation.
    pub s: String,
    /// The standard uncertainty of the robust mean.
    pub u: String,
    /// The reference value.
    pub reference: String,
    /// Robust mean beside reference value, in per cent.
    pub difference: String,
    /// How many have |z| of 2 to 3, and of 3 or more.
    pub beyond: String,
}

/// A spread as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct SpreadView {
    /// What is shown.
    pub title: String,
    /// Numbers, in a sentence.
    pub line: String,
    /// The bins.
    pub bins: Vec<BinView>,
    /// How many lie below the first and above the last bin.
    pub outside: (usize, usize),
    /// The largest count.
    pub most: usize,
    /// The edges of the first and last bin.
    pub ends: (String, String),
    /// Where zero lies between the ends, 0 to 1; `None` outside.
    pub zero: Option<f64>,
    /// The trials.
    pub trials: Vec<TrialView>,
    /// The most dots in a column.
    pub most_dots: usize,
    /// What a dot stands for.
    pub dot: String,
    /// By balance.
    pub balances: Vec<GroupView>,
    /// By bench.
    pub benches: Vec<GroupView>,
}

/// A bin as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct BinView {
    /// Its lower edge.
    pub from: String,
    /// Its upper edge.
    pub to: String,
    /// How many values.
    pub count: usize,
}

/// A trial in the dot plot.
#[derive(Clone, Debug, Serialize)]
pub struct TrialView {
    /// Its name.
    pub name: String,
    /// Dots, column by column.
    pub dots: Vec<usize>,
    /// How many values.
    pub n: usize,
    /// How many lie outside the plot.
    pub outside: usize,
}

/// A balance or bench as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct GroupView {
    /// Its name.
    pub name: String,
    /// How many measurements.
    pub n: usize,
    /// The median deviation.
    pub median: String,
    /// What the test says.
    pub said: String,
    /// Whether it lies apart.
    pub apart: bool,
}

/// A question about readings as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct RecurringView {
    /// The files, in words.
    pub files: String,
    /// How many readings of how many, and which.
    pub readings: String,
    /// What chance does.
    pub chance: String,
}

/// A change as it is shown.
#[derive(Clone, Debug, Serialize)]
pub struct ChangeView {
    /// The file.
    pub file: String,
    /// The item.
    pub item: String,
    /// From what to what.
    pub points: String,
    /// Why.
    pub why: String,
    /// Whether the mark is lower.
    pub lowered: bool,
}

/// The section besides its rows, for a reader.
pub fn section(section: &Section, audience: Audience) -> SectionView {
    let class = audience == Audience::Class;
    let statistics = section.statistics.iter().filter(|one| !class || one.n >= FEWEST_SHOWN);
    SectionView {
        title: match class {
            true => "The results of the section".to_owned(),
            false => format!("Section {}", section.folder),
        },
        lines: lines(section, class),
        statistics: statistics.map(|one| statistics_view(one, class)).collect(),
        recurring: if class { Vec::new() } else { section.recurring.iter().map(recurring).collect() },
        more_recurring: if class { 0 } else { section.more_recurring },
        changes: section.changes.as_ref().filter(|_| !class).map(|all| all.iter().map(change).collect()),
        findings: match class {
            true => Vec::new(),
            false => section.findings.iter().map(finding).collect(),
        },
        class,
    }
}

fn lines(section: &Section, class: bool) -> Vec<String> {
    let mut lines = Vec::new();
    if class {
        let fewest = FEWEST_SHOWN;
        lines.push(format!("Results of fewer than {fewest} measurements are not shown."));
        return lines;
    }
    let broken = section.rows - section.reviewed;
    let mut first = format!("{}, {} reviewed", plural(section.rows, "file"), section.reviewed);
    if broken > 0 {
        first.push_str(&format!(", {broken} that could not be"));
    }
    if section.same_again > 0 {
        first.push_str(&format!(", {} of a notebook that another file holds too", section.same_again));
    }
    lines.push(format!("{first}."));
    if let Some((file, _, unknowns, released)) = &section.unknowns {
        lines.push(format!(
            "Reference values from {file}: {}, {released} released.",
            plural(*unknowns, "unknown")
        ));
    }
    if let Some((file, _, read, applied)) = &section.decisions {
        lines.push(format!("Decisions from {file}: {read} read, {applied} applied."));
    }
    lines
}

fn finding(finding: &crate::finding::Finding) -> String {
    let place = finding.elsewhere().map_or(String::new(), |place| format!(" ({place})"));
    let hints: String = finding.hints.iter().map(|hint| format!("; {hint}")).collect();
    format!("{}{place}: {}{hints}", finding.severity.word(), finding.message)
}

/// A number to a place; a dash where there is none.
fn to_place(value: f64, place: i32) -> String {
    print_double(value, place).map_or_else(|| DASH.to_owned(), |printed| printed.ascii())
}

/// A number in per cent to hundredths.
pub fn percent(value: f64) -> String {
    to_place(value, -2)
}

fn statistics_view(one: &Statistics, class: bool) -> StatisticsView {
    let unknowns = one.unknowns.iter().filter(|group| !class || group.n >= FEWEST_SHOWN);
    let measured = match one.notebooks == one.n {
        true => plural(one.n, "notebook"),
        false => format!(
            "{}, {}: those with the same readings count once",
            plural(one.notebooks, "notebook"),
            plural(one.n, "measurement")
        ),
    };
    StatisticsView {
        of: over_unit(&one.of, &one.unit),
        line: if class { plural(one.n, "measurement") } else { measured },
        unknowns: unknowns.map(|group| unknown(group, class)).collect(),
        spread: one
            .spread
            .as_ref()
            .filter(|spread| !class || spread.n >= FEWEST_SHOWN)
            .map(|all| spread(all, class)),
    }
}

fn unknown(group: &OfUnknown, class: bool) -> UnknownView {
    let place = group.robust.and_then(|robust| uncertainty_place(robust.s)).unwrap_or(-4);
    let number = |value: Option<f64>| value.map_or_else(|| DASH.to_owned(), |value| to_place(value, place));
    let robust = group.robust;
    let reference = group.reference.filter(|_| !class);
    let difference = robust.zip(reference).map(|(robust, value)| (robust.mean - value) / value.abs() * 100.0);
    UnknownView {
        unknown: match (&group.unknown, class) {
            (Some(unknown), _) => unknown.clone(),
            (None, _) => "none named".to_owned(),
        },
        n: group.n,
        median: to_place(group.median, place),
        mean: number(robust.map(|robust| robust.mean)),
        s: number(robust.map(|robust| robust.s)),
        u: number(robust.map(|robust| robust.standard_uncertainty())),
        reference: reference.map_or_else(|| DASH.to_owned(), |value| to_place(value, place)),
        difference: difference.map_or_else(|| DASH.to_owned(), percent),
        beyond: match robust {
            Some(_) => format!("{}, {}", group.beyond.0, group.beyond.1),
            None => DASH.to_owned(),
        },
    }
}

fn spread(all: &Spread, class: bool) -> SpreadView {
    let numbers = all.robust.map_or(String::new(), |robust| {
        format!(", robust mean {}\u{a0}%, s* {}\u{a0}%", percent(robust.mean), percent(robust.s))
    });
    let few = if all.n < FEW { " (few, so s* is a rough estimate)" } else { "" };
    let columns = all.trials.first().map(|(_, columns)| columns);
    let most = all.trials.iter().map(|(_, columns)| columns.counts.iter().sum::<usize>()).max().unwrap_or(0);
    let per_dot = most.div_ceil(MOST_DOTS).max(1);
    let trials: Vec<TrialView> = match class {
        true => Vec::new(),
        false => all.trials.iter().map(|(name, columns)| trial(name, columns, per_dot)).collect(),
    };
    let axis = if class { all.histogram.as_ref() } else { columns.or(all.histogram.as_ref()) };
    SpreadView {
        title: format!("Deviation from {}, in %", all.centres.words()),
        line: format!("n = {}{numbers}{few}", all.n),
        bins: all.histogram.as_ref().map_or(Vec::new(), bins),
        outside: all.histogram.as_ref().map_or((0, 0), |histogram| (histogram.below, histogram.above)),
        most: all.histogram.iter().flat_map(|histogram| &histogram.counts).copied().max().unwrap_or(0),
        ends: axis.map_or((String::new(), String::new()), |columns| {
            let place = decimals_of(columns.width);
            (to_place(columns.low, place), to_place(columns.edge(columns.counts.len()), place))
        }),
        zero: columns.and_then(|columns| {
            let at = -columns.low / (columns.width * columns.counts.len() as f64);
            (0.0..=1.0).contains(&at).then_some(at)
        }),
        most_dots: trials.iter().flat_map(|trial| &trial.dots).copied().max().unwrap_or(0),
        trials,
        dot: if per_dot == 1 {
            "a dot is one trial".to_owned()
        } else {
            format!("a dot is up to {per_dot} trials")
        },
        balances: if class { Vec::new() } else { all.balances.iter().map(group).collect() },
        benches: if class { Vec::new() } else { all.benches.iter().map(group).collect() },
    }
}

/// The last place that a width needs.
fn decimals_of(width: f64) -> i32 {
    (-12..=0)
        .rev()
        .find(|place| {
            (width / 10f64.powi(*place)).fract().abs() < 1e-6
                || 1.0 - (width / 10f64.powi(*place)).fract().abs() < 1e-6
        })
        .unwrap_or(-12)
}

fn bins(histogram: &Histogram) -> Vec<BinView> {
    let place = decimals_of(histogram.width);
    let edge = |bin: usize| to_place(histogram.edge(bin), place);
    let bin = |(bin, count): (usize, &usize)| BinView { from: edge(bin), to: edge(bin + 1), count: *count };
    histogram.counts.iter().enumerate().map(bin).collect()
}

fn trial(name: &str, columns: &Histogram, per_dot: usize) -> TrialView {
    let outside = columns.below + columns.above;
    TrialView {
        name: name.to_owned(),
        dots: columns.counts.iter().map(|count| count.div_ceil(per_dot)).collect(),
        n: columns.counts.iter().sum::<usize>() + outside,
        outside,
    }
}

fn group(group: &OfGroup) -> GroupView {
    let said = match group.test {
        None => format!("too few to say ({} beside {})", group.n, group.others),
        Some(test) if test.apart() => {
            let side = if test.shift < 0.0 { "low" } else { "high" };
            format!(
                "{}\u{a0}% {side} beside {} others ({})",
                percent(test.shift.abs()),
                group.others,
                probability(test.adjusted)
            )
        }
        Some(test) => format!("not told apart from {} others ({})", group.others, probability(test.adjusted)),
    };
    let apart = group.test.is_some_and(|test| test.apart());
    GroupView { name: group.name.clone(), n: group.n, median: percent(group.median), said, apart }
}

fn probability(p: f64) -> String {
    if p < 0.001 { "p < 0.001".to_owned() } else { format!("p = {}", to_place(p, -3)) }
}

/// How the tests are explained where they are shown.
pub fn about_tests() -> String {
    format!(
        "Rank-sum test beside all others, two-sided, with Holm's correction for the number of tests of its sort; below {} \
         notebooks none. The clearest group is set apart first, and the rest are tested without it. A group apart is a reason to look at the balance or the bench, and proves nothing about it.",
        statistics::FEWEST_TESTED
    )
}

/// How questions about readings are introduced.
pub const ABOUT_RECURRING: &str = "Readings that stand in several notebooks whose authors are not declared as partners. Each is a \
    question and accuses no one: partners may have forgotten to say so, a vessel or a weighing may have been shared, a \
    demonstration copied. Ask before anything follows from it.";

fn recurring(one: &Recurring) -> RecurringView {
    let files = match one.files.as_slice() {
        [first, second] => format!("{first} and {second}"),
        many => many.join(", "),
    };
    let readings: Vec<String> =
        one.readings.iter().map(|(reading, a, b)| format!("{reading} (lines {a}, {b})")).collect();
    RecurringView {
        files,
        readings: format!(
            "{} of {} different readings in common, in g: {}",
            one.readings.len(),
            one.of,
            readings.join("; ")
        ),
        chance: chance(one.expected),
    }
}

fn chance(expected: f64) -> String {
    let of = "by chance alone, and granted that masses come near each other, ";
    match 1.0 / expected {
        one_in if one_in >= 1e6 => {
            format!("{of}fewer than one section in a million like this has such notebooks")
        }
        one_in => {
            let power = libm::pow(10.0, libm::floor(libm::log10(one_in)));
            let rounded = libm::floor(one_in / power) * power;
            format!("{of}about one section in {rounded:.0} like this has such notebooks")
        }
    }
}

fn change(change: &Change) -> ChangeView {
    let points = |points: &Option<String>| points.clone().unwrap_or_else(|| "open".to_owned());
    ChangeView {
        file: change.file.clone(),
        item: change.item.clone().unwrap_or_else(|| "the notebook".to_owned()),
        points: match &change.item {
            Some(_) => format!("{} → {}", points(&change.was), points(&change.now)),
            None => "gone".to_owned(),
        },
        why: change.why.clone(),
        lowered: change.lowered,
    }
}
