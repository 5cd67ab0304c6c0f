//! A million Monte Carlo draws of the hydrate method against the same model in numpy, on the same cores.
//!
//! Both sides draw two trials of three weighings each (repeatability normal, linearity rectangular and shared by the
//! trials) and the atomic weights of four elements, and give the content and the formula number of each trial and of
//! the mean: mean, u, the symmetric and the shortest 95 % interval. Goal: at most a quarter of numpy's time.

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, criterion_group, criterion_main};
use reweigh::evaluation::results::Results;
use reweigh::evaluation::uncertainty::monte_carlo::{Drawn, Output, Plan, draw};
use reweigh::files::Folder;
use reweigh_benches::{Comparison, Python, here};

/// As many as the Python side draws in one round.
const DRAWS: usize = 1_000_000;

const NOTEBOOK: &str = "# Hydrate\n\n```experiment\ntitle = \"Hydrate\"\ndate = 2026-03-04\n[balance.B]\n\
    readability = \"0.1 mg\"\nrepeatability = \"0.1 mg\"\nlinearity = \"0.2 mg\"\n```\n\n```masses\nunit: g\n\
    balance: B\ntrial: A B\ncrucible: 18.2746 17.9031\ncrucible + sample: 19.3127 18.9466\n\
    crucible + residue: 18.9381 18.5705\n```\n\n```working\nm(water) = m(sample) - m(residue)\n\
    w(water) = m(water) / m(sample) in %\nn(water) = m(water) / M(H2O)\nn(salt) = m(residue) / M(CuSO4)\n\
    x = n(water) / n(salt)\n```\n";

fn outputs(results: &Results) -> Vec<Output> {
    let wanted =
        results.quantities.iter().filter(|quantity| ["w(water)", "x"].contains(&quantity.symbol.as_str()));
    let nodes = wanted.flat_map(|quantity| {
        let scale = quantity.unit.factor().to_f64();
        let trials = quantity.trials.iter().filter_map(|outcome| Some(outcome.value()?.node));
        let mean = quantity.agreement.iter().map(|agreement| agreement.mean_node);
        trials.chain(mean).map(move |node| Output { node, scale, zero: 0.0 })
    });
    nodes.collect()
}

/// 95 % intervals of so many draws.
fn plan() -> Plan {
    Plan { seed: 1, probability: 0.95, digits: 1, tolerance_divisor: 5.0, most: DRAWS, fixed: Some(DRAWS) }
}

fn hydrate(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("a million draws of the hydrate method");
    group.measurement_time(Duration::from_secs(6));
    let results = reweigh::compute("hydrate.md", NOTEBOOK.as_bytes(), &Folder::new(here())).results;
    let (outputs, plan) = (outputs(&results), plan());
    let drawn = || draw(&results.graph, &results.inputs, &outputs, &plan).expect("draws");
    assert!(outputs.len() == 6 && drawn().iter().all(|drawn: &Drawn| drawn.shortest.is_some()));
    let mut comparison = Comparison::new(&mut group, DRAWS);
    comparison.own("reweigh", || drop(black_box(drawn())));
    let Some(mut python) = Python::start("monte_carlo.py") else { return };
    println!("against {}", python.is);
    for work in ["whole arrays", "arrays that fit the cache"] {
        if let Some(ratio) = comparison.other(work, |rounds| python.time(work, rounds)) {
            println!(
                "a million draws: {:.3} × the time of numpy, {work} (goal: at most 0.25 ×)\n",
                1.0 / ratio
            );
        }
    }
}

criterion_group!(monte_carlo, hydrate);
criterion_main!(monte_carlo);
