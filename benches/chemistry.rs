//! Formulas and equations against libraries for Python: weighing a formula, and balancing twenty-one substances.
//!
//! Goals: at least 20 times as fast per formula as the fastest library of the molar-mass test; the equation in less
//! than 1 ms.

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, criterion_group, criterion_main};
use reweigh::chemistry::{AtomicWeights, Formula, Reaction};
use reweigh_benches::{Comparison, Python};

/// As many as the Python side weighs in one round.
const FORMULAS: usize = 300;
const LIBRARIES: [&str; 3] = ["molmass", "periodictable", "chempy"];

/// Circulated as the hardest of its kind (compare R. J. Myers, J. Chem. Educ. 63 (1986) 359; from memory).
const TWENTY_ONE: &str = "H2 + Ca(CN)2 + NaAlF4 + FeSO4 + MgSiO3 + KI + H3PO4 + PbCrO4 + BrCl + CF2Cl2 + SO2 = \
    PbBr2 + CrCl3 + MgCO3 + KAl(OH)4 + Fe(SCN)3 + PI3 + Na2SiO3 + CaF2 + H2O";

/// The first formulas of the molar-mass table that all libraries weigh: what the Python side takes too.
fn formulas() -> Vec<&'static str> {
    let lines = include_str!("../tests/oracle/molar_masses.tsv").lines();
    let cells = lines.map(|line| line.split('\t').collect::<Vec<_>>());
    let common = cells.filter(|cells| cells[0] == "formula" && !cells[4..].contains(&"-"));
    common.map(|cells| cells[1]).take(FORMULAS).collect()
}

fn weigh(formulas: &[&str], weights: &AtomicWeights) {
    for text in formulas {
        let formula = Formula::parse(black_box(text)).expect("a formula");
        // An element without a standard atomic weight is refused, as it is in a notebook.
        let _ = black_box(formula.molar_mass(weights));
    }
}

fn weighing(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("weighing a formula");
    group.measurement_time(Duration::from_secs(3));
    let (formulas, weights) = (formulas(), AtomicWeights::abridged());
    let mut comparison = Comparison::new(&mut group, formulas.len());
    comparison.own("reweigh", || weigh(&formulas, &weights));
    let Some(mut python) = Python::start("chemistry.py") else { return };
    println!("against {}", python.is);
    let ratios = LIBRARIES.map(|library| comparison.other(library, |rounds| python.time(library, rounds)));
    if let Some(least) = ratios.into_iter().flatten().reduce(f64::min) {
        println!("weighing a formula: {least:.1} × as fast as the fastest library (goal: at least 20 ×)\n");
    }
}

fn balancing(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("balancing twenty-one substances");
    group.measurement_time(Duration::from_secs(3));
    let mut comparison = Comparison::new(&mut group, 1);
    let own = comparison.own("reweigh", || {
        let reaction = Reaction::parse(black_box(TWENTY_ONE)).expect("an equation");
        black_box(reaction.balance().expect("coefficients"));
    });
    if let Some(own) = own {
        println!("balancing twenty-one substances: {own:?} (goal: less than 1 ms)\n");
    }
    let Some(mut python) = Python::start("chemistry.py") else { return };
    for library in ["sympy", "chempy balancing"] {
        comparison.other(library, |rounds| python.time(library, rounds));
    }
}

criterion_group!(chemistry, weighing, balancing);
criterion_main!(chemistry);
