//! First-order uncertainty against libraries for Python: the hydrate's x = n(water)/n(salt) from three weighings with
//! scatter and linearity, and four atomic weights.
//!
//! Own side: u of a value that stands in the derivation graph, with its effective degrees of freedom and its coverage factor.
//! Other side: the same formula with the library's numbers, and its standard uncertainty; the library works the value out in the
//! same pass, which is about two thirds of its time, while ours stands in the graph already. So the ratio is that of what a user
//! of each waits for once the readings are evaluated, and not of propagation alone. Goal: at least 50 times as fast.

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, criterion_group, criterion_main};
use reweigh::evaluation::uncertainty::{Inputs, evaluate};
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
    comparison.own("reweigh", || {
        let inputs = results.inputs.clone();
        (0..EVALUATIONS).for_each(|_| assert_eq!(black_box(u(black_box(&inputs))), expected));
    });
    let Some(mut python) = Python::start("uncertainty.py") else { return };
    println!("against {}", python.is);
    let ratios = LIBRARIES.map(|library| comparison.other(library, |rounds| python.time(library, rounds)));
    if let Some(least) = ratios.into_iter().flatten().reduce(f64::min) {
        println!(
            "first-order uncertainty: {least:.1} × as fast as the fastest library (goal: at least 50 ×)\n"
        );
    }
}

criterion_group!(uncertainty, propagation);
criterion_main!(uncertainty);
