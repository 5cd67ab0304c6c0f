//! First-order uncertainty against libraries for Python: the hydrate's x = n(water)/n(salt) from three weighings with
//! scatter and linearity, and four atomic weights.
//!
//! Both sides start from a formula that is written and read, and from inputs with their uncertainties, and give the value of
//! x, its derivatives by the ten inputs and its standard uncertainty; ours gives the effective degrees of freedom and the
//! expanded uncertainty as well. Own side: the formula of the notebook, prepared once. Other side: a Python function, with the
//! library's numbers. Goal: at least 50 times as fast.
//!
//! Beside it stands the time that a notebook takes for one value: the value is in the derivation graph already, and what it
//! rests on is looked up there. It has no other side.

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, criterion_group, criterion_main};
use reweigh::evaluation::uncertainty::monte_carlo::Output;
use reweigh::evaluation::uncertainty::{Inputs, Prepared, evaluate};
use reweigh::files::Memory;
use reweigh_benches::{Comparison, Python};

const NOTEBOOK: &str = "\
```experiment
title = \"x\"
date = 2026-03-04
[balance.B]
readability = \"0.1 mg\"
repeatability = \"0.1 mg\"
linearity = \"0.2 mg\"
```

```masses
balance: B
trial: A
crucible: 18.2746
crucible + sample: 19.3127
crucible + residue: 18.9381
```

```working
m(water) = m(sample) - m(residue)
x = m(water) / M(H2O) / (m(residue) / M(CuSO4))
```
";
/// Evaluations in one round.
const EVALUATIONS: usize = 1000;
const LIBRARIES: [&str; 2] = ["uncertainties", "GTC"];

fn propagation(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("first-order uncertainty");
    group.measurement_time(Duration::from_secs(3));
    let results = reweigh::compute("a.md", NOTEBOOK.as_bytes(), &Memory::default()).results;
    let quantity = results.quantities.iter().find(|quantity| quantity.symbol == "x").expect("x");
    let node = quantity.trials[0].value().expect("a value").node;
    // The inputs count their steps and stop at a bound that one notebook never meets; each round starts anew.
    let u = |inputs: &Inputs| {
        evaluate(inputs, black_box(&results.graph), black_box(node), 1.0, &results.settings).standard
    };
    let expected = u(&results.inputs);
    println!("u(x) = {expected}");
    let mut comparison = Comparison::new(&mut group, EVALUATIONS);
    comparison.own("of a value in the graph", || {
        let inputs = results.inputs.clone();
        (0..EVALUATIONS).for_each(|_| assert_eq!(black_box(u(black_box(&inputs))), expected));
    });
    let output = Output { node, scale: 1.0, zero: 0.0 };
    let mut prepared = Prepared::of(&results.graph, &results.inputs, output).expect("a short formula");
    let deviations = vec![0.0; prepared.sources().count()];
    let coverage = results.settings.coverage;
    let mut evaluated = || {
        let inputs = black_box(&results.inputs);
        black_box(prepared.evaluate(inputs, black_box(&deviations), coverage)).1.standard
    };
    assert!((evaluated() / expected - 1.0).abs() < 1e-12 && deviations.len() == 10);
    comparison.own("reweigh", || {
        for _ in 0..EVALUATIONS {
            black_box(evaluated());
        }
    });
    let Some(mut python) = Python::start("uncertainty.py") else { return };
    println!("against {}", python.is);
    let ratios = LIBRARIES.map(|library| comparison.other(library, |rounds| python.time(library, rounds)));
    if let Some(least) = ratios.into_iter().flatten().reduce(f64::min) {
        println!(
            "first-order uncertainty: {least:.0} × as fast as the fastest library (goal: at least 50 ×)\n"
        );
    }
}

criterion_group!(uncertainty, propagation);
criterion_main!(uncertainty);
