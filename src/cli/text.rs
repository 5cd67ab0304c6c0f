//! Results as tables of text.

use super::columns::Table;
use super::findings::without_controls;
use crate::evaluation::results::{
    AgreementResult, AirResult, Computed, ConstantMass, Figure, Origin, Outcome, QuantityResult, Results,
    Series, SeriesRow, TheoryResult,
};
use crate::evaluation::spread::Spread;
use crate::evaluation::{digits_word, rounding_word};
use crate::notebook::settings::{DecimalMark, UncertaintyForm};
use crate::quantity::{Printed, PrintedUncertainty, Unit};
use crate::report::uncertainty::explained;
use crate::report::words;

/// Most trials side by side; more are broken into groups …
const GROUP: usize = 6;
/// … and so many where each value has its uncertainty beside it.
const GROUP_BESIDE: usize = 4;

/// The results of a notebook as text, under its title.
pub(super) fn results(results: &Results, title: &str) -> String {
    let mut output = heading(results, title);
    for group in groups(results) {
        masses(results, &group, &mut output);
        series(results, &group, &mut output);
        values(results, &group, &mut output);
    }
    steps(results, &mut output);
    scalars(results, &mut output);
    air_buoyancy(results, &mut output);
    agreement(results, &mut output);
    theory(results, &mut output);
    conformity(results, &mut output);
    formulas(results, &mut output);
    whole_numbers(results, &mut output);
    yields(results, &mut output);
    uncertainty(results, &mut output);
    questions(results, &mut output);
    output.push_str(&foot(results));
    output
}

fn heading(results: &Results, title: &str) -> String {
    let mut line = without_controls(title);
    line.push('\n');
    line.push_str(&"=".repeat(line.trim_end().chars().count().clamp(1, 80)));
    line.push('\n');
    for trial in &results.trials {
        if let Some(reason) = &trial.set_aside {
            let reason = if reason.is_empty() { "no reason given" } else { reason };
            line.push_str(&without_controls(&format!("Trial {} is set aside: {reason}", trial.name)));
            line.push('\n');
        }
    }
    line
}

/// The questions that the template asks of these results.
fn questions(results: &Results, output: &mut String) {
    let questions = results.template.as_ref().map_or(&[][..], |template| &template.questions);
    if !questions.is_empty() {
        output.push_str("\nQuestions for the discussion\n");
        for question in questions {
            output.push_str(&format!("  - {}\n", without_controls(question)));
        }
    }
}

/// Which template, and whose formulas.
fn template(results: &Results) -> String {
    let Some(template) = &results.template else { return String::new() };
    let reviewed = match &template.reviewed {
        Some((by, on)) => format!("reviewed by {by}, {on}"),
        None => "not reviewed by your institution".to_owned(),
    };
    let said = format!("template {} {}, {}, {reviewed}", template.id, template.version, template.origin);
    format!("\n{}\ncomputed {}", without_controls(&said), without_controls(&template.working))
}

fn foot(results: &Results) -> String {
    format!(
        "{}\nreweigh {} · atomic weights {}\ndigits by {} · rounding {}\n",
        template(results),
        env!("CARGO_PKG_VERSION"),
        results.atomic_weights,
        digits_word(results.settings.digits),
        rounding_word(results.settings.rounding),
    )
}

/// The trials in groups that fit side by side.
fn groups(results: &Results) -> Vec<Vec<usize>> {
    let all: Vec<usize> = (0..results.trials.len()).collect();
    let plain = results.settings.form() == UncertaintyForm::Plain;
    all.chunks(if plain { GROUP } else { GROUP_BESIDE }).map(<[usize]>::to_vec).collect()
}

fn names(results: &Results, group: &[usize]) -> Vec<String> {
    group.iter().map(|trial| without_controls(&results.trials[*trial].name)).collect()
}

fn section(output: &mut String, title: &str, table: &Table) {
    output.push_str(&format!("\n{title}\n{}", table.text()));
}

fn with_unit(symbol: &str, unit: &Unit) -> String {
    let symbol = without_controls(symbol);
    if unit.is_one() { symbol } else { format!("{symbol} / {}", unit.symbol()) }
}

/// A value without its uncertainty.
fn value(outcome: Option<&Outcome>) -> String {
    match outcome {
        Some(Outcome::Value(value)) => format!("{}{}", value.printed.ascii(), marks(value)),
        _ => "–".to_string(),
    }
}

/// A value with the uncertainty that stands beside it.
fn value_beside(outcome: Option<&Outcome>) -> String {
    match outcome {
        Some(Outcome::Value(value)) => {
            format!("{}{}", beside(&value.printed, value.uncertainty.as_ref()), marks(value))
        }
        _ => "–".to_string(),
    }
}

fn marks(value: &Computed) -> &'static str {
    match (value.provisional, value.by_figures) {
        (true, true) => "†‡",
        (true, false) => "†",
        (false, true) => "‡",
        (false, false) => "",
    }
}

fn beside(printed: &Printed, uncertainty: Option<&PrintedUncertainty>) -> String {
    uncertainty.map_or_else(|| printed.ascii(), |uncertainty| uncertainty.beside(printed))
}

fn figure_beside(figure: &Figure) -> String {
    beside(&figure.printed, figure.uncertainty.as_ref())
}

fn per_trial<'a>(results: &'a Results, origins: &'a [Origin]) -> impl Iterator<Item = &'a QuantityResult> {
    results.quantities.iter().filter(|q| q.scalar.is_none() && origins.contains(&q.origin))
}

fn table_of(results: &Results, group: &[usize], origins: &[Origin]) -> Option<Table> {
    let mut table = Table::new([String::new()].into_iter().chain(names(results, group)));
    for quantity in per_trial(results, origins) {
        let shown = if origins == [Origin::NetMass] { value } else { value_beside };
        let cells = group.iter().map(|trial| shown(quantity.trials.get(*trial)));
        table.row([with_unit(&quantity.symbol, &quantity.unit)].into_iter().chain(cells));
    }
    per_trial(results, origins).next().map(|_| table)
}

fn masses(results: &Results, group: &[usize], output: &mut String) {
    for (title, origin) in [("Measured", Origin::Measured), ("Net masses", Origin::NetMass)] {
        if let Some(table) = table_of(results, group, &[origin]) {
            section(output, title, &table);
        }
    }
}

fn values(results: &Results, group: &[usize], output: &mut String) {
    let group: Vec<usize> = group.iter().copied().filter(|trial| !results.trials[*trial].blank).collect();
    let origins = [Origin::Working, Origin::Theory];
    if group.is_empty() {
        return;
    }
    if let Some(table) = table_of(results, &group, &origins) {
        section(output, "Results", &table);
        if per_trial(results, &origins).any(|quantity| quantity.provisional) {
            output.push_str("  † provisional: constant mass is not shown\n");
        }
    }
}

/// What the signs of the uncertainty mean.
fn uncertainty(results: &Results, output: &mut String) {
    let worked = |quantity: &&QuantityResult| matches!(quantity.origin, Origin::Working | Origin::Theory);
    let outcomes = || results.quantities.iter().filter(worked).flat_map(|q| q.trials.iter().chain(&q.scalar));
    let values = || outcomes().filter_map(Outcome::value);
    if values().any(|value| value.uncertainty.is_some()) {
        let sentence = words::text_of(&explained(results, DecimalMark::Point)).replace('\u{202f}', " ");
        output.push_str(&format!("\n{}\n", sentence.replace(". ", ".\n")));
    }
    if values().any(|value| value.by_figures) {
        output.push_str("\n‡ no uncertainty is known: digits by significant figures\n");
    }
}

fn series(results: &Results, group: &[usize], output: &mut String) {
    for series in results.series.iter().filter(|series| !series.verdicts.is_empty()) {
        let title =
            format!("Change per {}, {} (in mg)", series.treatment.as_deref().unwrap_or("cycle"), series.load);
        let mut table = Table::new([String::new()].into_iter().chain(names(results, group)));
        for (index, row) in series.rows.iter().enumerate().filter(|(_, row)| !row.struck) {
            change_rows(index, row, group, &mut table);
        }
        if series.rule.is_some() {
            let verdicts = group.iter().map(|trial| verdict(series, *trial));
            table.row(["constant mass".to_string()].into_iter().chain(verdicts));
        }
        section(output, &without_controls(&title), &table);
        if let Some(rule) = &series.rule {
            output.push_str(&format!("  rule: {}\n", without_controls(rule)));
        }
    }
}

fn change_rows(index: usize, row: &SeriesRow, group: &[usize], table: &mut Table) {
    for event in &row.events {
        table.row([without_controls(&format!("· {event}"))]);
    }
    let name =
        if row.treatment.is_empty() { format!("weighing {}", index + 1) } else { row.treatment.clone() };
    let cells = group.iter().map(|trial| match row.changes.get(*trial) {
        Some(Some(change)) if change.across_event => format!("({})", change.printed_mg.ascii()),
        Some(Some(change)) => change.printed_mg.ascii(),
        _ => "–".to_string(),
    });
    table.row([without_controls(&name)].into_iter().chain(cells.collect::<Vec<_>>()));
}

fn verdict(series: &Series, trial: usize) -> String {
    match series.verdicts.get(trial) {
        Some(ConstantMass::Reached { at }) => reached(series, *at),
        Some(ConstantMass::NotReached { .. }) => "not reached".into(),
        Some(ConstantMass::NotShown(_)) => "not shown".into(),
        Some(ConstantMass::CannotBeJudged(_)) => "cannot be judged".into(),
        Some(ConstantMass::None) | None => "–".into(),
    }
}

/// The treatment after which all changes hold, by its name.
fn reached(series: &Series, at: usize) -> String {
    let row = series.rows.iter().filter(|row| !row.struck).nth(at.saturating_sub(1));
    match row.map(|row| without_controls(&row.treatment)) {
        Some(treatment) if !treatment.is_empty() => treatment,
        _ => format!("at {at}"),
    }
}

fn scalars(results: &Results, output: &mut String) {
    let mut table = Table::new([String::new()]);
    let mut any = false;
    for quantity in &results.quantities {
        if let Some(scalar) = &quantity.scalar {
            table.row([with_unit(&quantity.symbol, &quantity.unit), value_beside(Some(scalar))]);
            any = true;
        }
    }
    if any {
        section(output, "Values for all trials", &table);
    }
}

fn air_buoyancy(results: &Results, output: &mut String) {
    let Some(buoyancy) = &results.buoyancy else { return };
    let mut table = Table::new(["", "density", "factor"].map(String::from));
    for thing in &buoyancy.things {
        let density = format!("{} {}", thing.density.written, thing.density.unit);
        table.row([without_controls(&thing.thing), density, thing.printed.ascii()]);
    }
    section(output, "Air buoyancy (net masses are those weighed times the factor)", &table);
    let how = match &buoyancy.air {
        AirResult::Given => "as stated".to_string(),
        AirResult::Cipm2007 { simplified, .. } => simplified.map_or("CIPM-2007".to_string(), |density| {
            format!("CIPM-2007; simplified form of OIML R 111-1: {density:.5} kg/m³")
        }),
    };
    let weights = buoyancy.weights.as_ref().map_or("8000 kg/m³ (conventional)".to_string(), |weights| {
        format!("{} {}", weights.written, weights.unit)
    });
    let density = buoyancy.density.printed.ascii();
    output.push_str(&format!(
        "  density of the air {density} kg/m³ ({how})\n  density of the weights {weights}\n"
    ));
}

fn agreement(results: &Results, output: &mut String) {
    let head = ["", "n", "mean", "s", "range", "rel. s", "rel. diff."];
    let mut table = Table::new(head.map(String::from));
    let mut any = false;
    for quantity in results.quantities.iter().filter(|q| matches!(q.origin, Origin::Working)) {
        let label = with_unit(&quantity.symbol, &quantity.unit);
        let agreements =
            [(&quantity.agreement, label.clone()), (&quantity.agreement_with_all, format!("{label} (all)"))];
        for (agreement, label) in agreements {
            if let Some(agreement) = agreement {
                table.row(agreement_row(label, agreement, &results.spread(quantity, agreement)));
                any = true;
            }
        }
    }
    if any {
        section(output, "Agreement of the trials", &table);
    }
}

fn agreement_row(label: String, agreement: &AgreementResult, spread: &Spread) -> Vec<String> {
    let mark = if agreement.provisional { "†" } else { "" };
    let percent = |figure: &Option<Figure>| {
        figure.as_ref().map_or("–".into(), |f| format!("{} %", f.printed.ascii()))
    };
    let plain = |figure: &Option<Figure>| figure.as_ref().map_or("–".into(), |f| f.printed.ascii());
    vec![
        label,
        agreement.numbers.n.to_string(),
        format!("{}{mark}", figure_beside(&agreement.mean)),
        plain(&spread.s),
        plain(&spread.range),
        percent(&spread.relative_s),
        percent(&spread.relative_difference),
    ]
}

fn theory(results: &Results, output: &mut String) {
    let mut table = Table::new(["", "found", "theory", "percent error"].map(String::from));
    let mut any = false;
    for quantity in &results.quantities {
        let Some(theory) = &quantity.theory else { continue };
        table.row(theory_row(quantity, theory));
        any = true;
    }
    if any {
        section(output, "Against theory", &table);
    }
    for quantity in &results.quantities {
        if let Some(test) = quantity.theory.as_ref().and_then(|theory| theory.test.as_ref()) {
            let line =
                format!("  {} {}\n", without_controls(&quantity.symbol), test.sentence(&quantity.unit));
            output.push_str(&line);
        }
    }
}

/// Each result against its limits.
fn conformity(results: &Results, output: &mut String) {
    if results.quantities.iter().any(|quantity| !quantity.conformity.is_empty()) {
        output.push_str("\nAgainst limits\n");
    }
    for quantity in &results.quantities {
        for conformity in &quantity.conformity {
            let line = format!(
                "  {} = {}\n",
                without_controls(&quantity.symbol),
                conformity.sentence(&quantity.unit)
            );
            output.push_str(&line);
        }
    }
}

fn theory_row(quantity: &QuantityResult, theory: &TheoryResult) -> Vec<String> {
    let mean = quantity.agreement.as_ref().map(|agreement| figure_beside(&agreement.mean));
    let found = mean.unwrap_or_else(|| value_beside(quantity.scalar.as_ref()));
    let expected = match &theory.scalar {
        Some(scalar) => value_beside(Some(scalar)),
        None => "per trial".to_string(),
    };
    let error =
        theory.percent_error.as_ref().map_or("–".into(), |error| signed(&error.printed.ascii()) + " %");
    vec![with_unit(&quantity.symbol, &quantity.unit), found, expected, error]
}

fn formulas(results: &Results, output: &mut String) {
    for found in &results.formulas {
        let mut table = Table::new(["", "ratio", "U"].map(String::from));
        for part in &found.parts {
            let expanded = part.expanded.as_ref().map_or(String::new(), |expanded| format!("± {expanded}"));
            table.row([without_controls(&part.part), part.ratio.printed.ascii(), expanded]);
        }
        section(output, &without_controls(&found.symbol), &table);
        output.push_str(&format!("  {}\n", without_controls(&found.verdict)));
    }
}

/// The stages of each load with found and theoretical change.
fn steps(results: &Results, output: &mut String) {
    for steps in &results.steps {
        let unit = steps.unit.symbol();
        let heads = ["m", "change"].map(|head| format!("{head} / {unit}"));
        let heads = heads.into_iter().chain(["change / %", "theory / %", "difference"].map(String::from));
        let mut table = Table::new([String::new()].into_iter().chain(heads));
        for step in &steps.steps {
            table.row([without_controls(&step.stage)]);
            for (trial, found) in results.trials.iter().zip(&step.trials) {
                let plain =
                    |figure: &Option<Figure>| figure.as_ref().map_or("–".into(), |f| f.printed.ascii());
                let sign = |figure: &Option<Figure>| {
                    figure.as_ref().map_or("–".into(), |figure| signed(&figure.printed.ascii()))
                };
                table.row([
                    format!("  {}", without_controls(&trial.name)),
                    plain(&found.mass),
                    sign(&found.change),
                    sign(&found.share),
                    sign(&step.theory),
                    sign(&found.difference),
                ]);
            }
        }
        let of = if steps.of.is_empty() { String::new() } else { format!(", {}", steps.of) };
        section(output, &without_controls(&format!("Steps{of}")), &table);
        let pure = steps.pure.as_ref().map(|pure| format!("theory: pure {pure}"));
        let sample = steps.sample.as_ref().map(|sample| format!("per cent of m({sample})"));
        let notes: Vec<String> = sample.into_iter().chain(pure).collect();
        if !notes.is_empty() {
            output.push_str(&format!("  {}\n", without_controls(&notes.join("; "))));
        }
    }
}

/// What the data say of the whole numbers of the theory.
fn whole_numbers(results: &Results, output: &mut String) {
    if results.whole_numbers.is_empty() {
        return;
    }
    output.push_str("\nWhole numbers\n");
    for found in &results.whole_numbers {
        let value = format!("{} = {} ± {}", found.symbol, found.ratio.printed.ascii(), found.expanded);
        output.push_str(&format!("  {}\n", without_controls(&format!("{value}: {}", found.verdict))));
    }
}

/// The reagents of each yield, and which limits.
fn yields(results: &Results, output: &mut String) {
    for found in &results.yields {
        let per_trial = found.verdicts.len() == results.trials.len();
        let head = results.trials.iter().filter(|_| per_trial).map(|trial| without_controls(&trial.name));
        let head = if per_trial { head.collect() } else { vec!["all".to_string()] };
        let mut table = Table::new([String::new()].into_iter().chain(head.clone()));
        for reagent in &found.reagents {
            let cell = |(index, figure): (usize, &Option<Figure>)| {
                let value = figure.as_ref().map_or("–".into(), |figure| figure.printed.ascii());
                let limits = reagent.limits.get(index).copied().flatten() == Some(true);
                if limits { format!("{value}*") } else { value }
            };
            let label = format!("n({})/{} / mmol", reagent.formula, reagent.coefficient);
            let cells = reagent.per_coefficient.iter().enumerate().map(cell);
            table.row([without_controls(&label)].into_iter().chain(cells.collect::<Vec<_>>()));
        }
        let title = format!("{}: limiting reagent (marked *)", found.symbol);
        section(output, &without_controls(&title), &table);
        output.push_str(&format!("  {}\n", found.equation));
        for (name, verdict) in head.iter().zip(&found.verdicts) {
            if let Some(verdict) = verdict {
                let name = if per_trial { format!("trial {name}: ") } else { String::new() };
                output.push_str(&format!("  {name}{verdict}\n"));
            }
        }
    }
}

/// A plus sign before what has no sign.
fn signed(text: &str) -> String {
    if text.starts_with('-') { text.to_string() } else { format!("+{text}") }
}
