//! Notebooks of the shipped templates: each names its template and leaves the working to it, or copies it.
//!
//! The steps here are the methods as a student works them out by hand. They are this file's own: where they and a
//! template's `method.md` come apart, notebooks without any slip differ, and a test fails.

use super::schemes::{Bench, Measured, Scheme, m, scaled, sums};
use super::{E, Step, Stream, q};

/// The templates in the order their notebooks take turns.
pub const TEMPLATES: [&str; 6] =
    ["hydrate", "loss-on-ignition", "precipitation", "mixture", "oxide", "solids"];

/// The kinds of slip that a method leaves no room for: without a molar mass none is wrong.
pub fn is_possible(template: &str, kind: &str) -> bool {
    let has_masses = !matches!(template, "loss-on-ignition" | "solids");
    has_masses || !matches!(kind, "wrong molar mass" | "atomic weights rounded early")
}

/// The experiment of a template.
pub fn of(template: &'static str, r: &mut Stream) -> Scheme {
    let mut scheme = match template {
        "hydrate" => hydrate(r),
        "loss-on-ignition" => loss_on_ignition(r),
        "precipitation" => precipitation(r),
        "mixture" => mixture(r),
        "oxide" => oxide(r),
        _ => solids(r),
    };
    scheme.template = Some(template);
    if r.some(0.5) {
        // The method's lines are the template's: most notebooks do not repeat them.
        scheme.steps.iter_mut().for_each(|step| step.line = None);
    }
    scheme
}

fn scheme(name: &'static str, bench: Bench, steps: Vec<Step>, theory: (usize, Option<f64>)) -> Scheme {
    Scheme {
        name,
        trials: bench.trials,
        loads: bench.loads,
        steps,
        theory,
        theory_text: String::new(),
        formulas: Vec::new(),
        mixture: None,
        template: None,
        measured: None,
        treatments: Vec::new(),
        event: None,
    }
}

fn hydrate(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let vessel = bench.masses(18.0, 27.0, r);
    let sample = bench.masses(0.8, 1.5, r);
    let residue = scaled(&sample, r, |sample| sample * m("BaCl2") / m("BaCl2·2H2O"));
    let cycles = 2 + r.below(3);
    bench.weigh("crucible", &vessel, 2, r);
    bench.weigh("crucible + sample", &sums(&vessel, &sample), 1, r);
    bench.weigh("crucible + residue", &sums(&vessel, &residue), cycles, r);
    let steps = vec![
        Step::net("m(sample)", "crucible + sample", "crucible"),
        Step::net("m(residue)", "crucible + residue", "crucible"),
        Step::of("m(water)", q("m(sample)") - q("m(residue)"), "g"),
        Step::of("w(water)", q("m(water)") / q("m(sample)"), "%"),
        Step::of("n(water)", q("m(water)") / E::M("H2O"), "mmol"),
        Step::of("n(salt)", q("m(residue)") / E::M("BaCl2"), "mmol"),
        Step::of("x", q("n(water)") / q("n(salt)"), ""),
    ];
    let content = 2.0 * m("H2O") / m("BaCl2·2H2O");
    let theory = if r.some(0.5) { (6, Some(2.0)) } else { (3, Some(content)) };
    Scheme { formulas: vec!["BaCl2·2H2O", "BaCl2", "H2O"], ..scheme("hydrate", bench, steps, theory) }
}

fn loss_on_ignition(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let vessel = bench.masses(18.0, 27.0, r);
    let sample = bench.masses(1.0, 2.5, r);
    let (dry_share, left) = (r.between(0.95, 0.995), r.between(0.855, 0.89));
    let dry = scaled(&sample, r, |sample| sample * dry_share * 0.995);
    let residue = scaled(&dry, r, |dry| dry * left);
    bench.weigh("crucible", &vessel, 2, r);
    bench.weigh("crucible + sample", &sums(&vessel, &sample), 1, r);
    bench.weigh("crucible + dried sample", &sums(&vessel, &dry), 2 + r.below(2), r);
    bench.weigh("crucible + residue", &sums(&vessel, &residue), 2 + r.below(3), r);
    let moisture = (q("m(sample)") - q("m(dried sample)")) / q("m(sample)");
    let steps = vec![
        Step::net("m(sample)", "crucible + sample", "crucible"),
        Step::net("m(dried sample)", "crucible + dried sample", "crucible"),
        Step::net("m(residue)", "crucible + residue", "crucible"),
        Step::of("w(moisture)", moisture, "%"),
        Step::of("m(loss)", q("m(dried sample)") - q("m(residue)"), "g"),
        Step::of("w(loss)", q("m(loss)") / q("m(dried sample)"), "%"),
    ];
    let theory = 2.0 * m("H2O") / m("Al2Si2O5(OH)4");
    Scheme {
        treatments: vec![
            ("crucible", "ignition"),
            ("crucible + dried sample", "drying"),
            ("crucible + residue", "ignition"),
        ],
        ..scheme("loss on ignition", bench, steps, (5, Some(theory)))
    }
}

fn precipitation(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let (bottle, vessel) = (bench.masses(12.0, 14.0, r), bench.masses(18.0, 30.0, r));
    let sample = bench.masses(0.3, 0.8, r);
    let share = m("SO4") / m("K2SO4");
    let precipitate = scaled(&sample, r, |sample| sample * share * m("BaSO4") / m("SO4"));
    bench.weigh("crucible", &vessel, 2, r);
    bench.weigh("bottle + sample", &sums(&bottle, &sample), 1, r);
    bench.weigh("bottle", &bottle, 1, r);
    bench.weigh("crucible + precipitate", &sums(&vessel, &precipitate), 2 + r.below(2), r);
    let steps = vec![
        Step::net("m(sample)", "bottle + sample", "bottle"),
        Step::net("m(precipitate)", "crucible + precipitate", "crucible"),
        Step::of("m(SO4)", E::F(1.0, "SO4", "BaSO4") * q("m(precipitate)"), "g"),
        Step::of("w(SO4)", q("m(SO4)") / q("m(sample)"), "%"),
    ];
    Scheme { formulas: vec!["SO4", "BaSO4", "Ba", "SO3"], ..scheme("precipitation", bench, steps, (3, None)) }
}

/// The two carbonates: the second mass by the equations again, or as what the first leaves.
fn mixture(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let vessel = bench.masses(18.0, 30.0, r);
    let sample = bench.masses(0.8, 1.2, r);
    let share = r.between(0.45, 0.65);
    let left = |formula: &'static str, oxide: &'static str| E::M(oxide) / E::M(formula);
    let (of_ca, of_mg) = (m("CaO") / m("CaCO3"), m("MgO") / m("MgCO3"));
    let residue = scaled(&sample, r, |sample| sample * (share * of_ca + (1.0 - share) * of_mg));
    bench.weigh("crucible", &vessel, 2, r);
    bench.weigh("crucible + sample", &sums(&vessel, &sample), 1, r);
    bench.weigh("crucible + residue", &sums(&vessel, &residue), 2 + r.below(3), r);
    let (ca, mg) = (left("CaCO3", "CaO"), left("MgCO3", "MgO"));
    let by_equations = |own: &E, other: &E| {
        (q("m(residue)") - q("m(sample)") * other.clone()) / (own.clone() - other.clone())
    };
    let second = match r.some(0.5) {
        true => q("m(sample)") - q("m(CaCO3)"),
        false => by_equations(&mg, &ca),
    };
    let steps = vec![
        Step::net("m(sample)", "crucible + sample", "crucible"),
        Step::net("m(residue)", "crucible + residue", "crucible"),
        Step::of("m(CaCO3)", by_equations(&ca, &mg), "g").unwritten(),
        Step::of("m(MgCO3)", second, "g").unwritten(),
        Step::of("w(CaCO3)", q("m(CaCO3)") / q("m(sample)"), "%").unwritten(),
        Step::of("w(MgCO3)", q("m(MgCO3)") / q("m(sample)"), "%").unwritten(),
        Step::of("n(CaCO3)", q("m(CaCO3)") / E::M("CaCO3"), "mmol"),
        Step::of("n(MgCO3)", q("m(MgCO3)") / E::M("MgCO3"), "mmol"),
        Step::of("ratio", q("n(CaCO3)") / q("n(MgCO3)"), ""),
    ];
    let both = m("CaCO3") + m("MgCO3");
    let theory = *r.pick(&[(4, Some(m("CaCO3") / both)), (8, Some(1.0))]);
    Scheme {
        formulas: vec!["CaCO3", "MgCO3", "CaO", "MgO", "CO2"],
        ..scheme("mixture", bench, steps, theory)
    }
}

fn oxide(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let vessel = bench.masses(25.0, 32.0, r);
    let metal = bench.masses(0.2, 0.4, r);
    let oxide = scaled(&metal, r, |metal| metal * m("MgO") / m("Mg"));
    bench.weigh("crucible + lid", &vessel, 2, r);
    bench.weigh("crucible + lid + magnesium", &sums(&vessel, &metal), 1, r);
    bench.weigh("crucible + lid + oxide", &sums(&vessel, &oxide), 3 + r.below(2), r);
    let steps = vec![
        Step::net("m(magnesium)", "crucible + lid + magnesium", "crucible + lid"),
        Step::net("m(oxide)", "crucible + lid + oxide", "crucible + lid"),
        Step::of("m(oxygen)", q("m(oxide)") - q("m(magnesium)"), "g"),
        Step::of("n(Mg)", q("m(magnesium)") / E::M("Mg"), "mmol"),
        Step::of("n(O)", q("m(oxygen)") / E::M("O"), "mmol"),
        Step::of("x", q("n(O)") / q("n(Mg)"), ""),
        Step::of("w(Mg)", q("m(magnesium)") / q("m(oxide)"), "%"),
    ];
    let theory = *r.pick(&[(5, Some(1.0)), (6, Some(m("Mg") / m("MgO")))]);
    Scheme {
        formulas: vec!["Mg", "O", "MgO", "O2"],
        event: Some(("crucible + lid + oxide", "ten drops of water added, dried off over a small flame")),
        ..scheme("oxide", bench, steps, theory)
    }
}

fn solids(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let vessel = bench.masses(55.0, 65.0, r);
    let volume = *r.pick(&[50.0, 100.0, 200.0, 250.0]);
    let alike = r.some(0.5);
    let volumes: Vec<f64> = (0..bench.trials)
        .map(|_| if alike { volume } else { (volume * r.between(0.97, 1.03) * 10.0).round() / 10.0 })
        .collect();
    let (total, fixed_share) = (r.between(0.03, 0.16), r.between(0.3, 0.85));
    let dry: Vec<f64> = (0..bench.trials).map(|_| total * r.between(0.96, 1.04)).collect();
    let fixed = scaled(&dry, r, |dry| dry * fixed_share);
    bench.weigh("dish", &vessel, 2, r);
    bench.weigh("dish + total solids", &sums(&vessel, &dry), 2 + r.below(2), r);
    bench.weigh("dish + fixed solids", &sums(&vessel, &fixed), 2 + r.below(2), r);
    let (dry, left) = (q("m(total solids)"), q("m(fixed solids)"));
    let volatile = dry.clone() - left.clone();
    let per_volume = |mass: E| mass / E::Volume;
    let steps = vec![
        Step::net("m(total solids)", "dish + total solids", "dish"),
        Step::net("m(fixed solids)", "dish + fixed solids", "dish"),
        Step::of("γ(total solids)", per_volume(dry.clone()), "mg/L"),
        Step::of("γ(fixed solids)", per_volume(left), "mg/L"),
        Step::of("γ(volatile solids)", per_volume(volatile.clone()), "mg/L"),
        Step::of("w(volatile solids)", volatile / dry, "%"),
    ];
    Scheme {
        measured: Some(Measured { symbol: "V(sample)", millilitres: volumes }),
        treatments: vec![
            ("dish", "ignition"),
            ("dish + total solids", "drying"),
            ("dish + fixed solids", "ignition"),
        ],
        ..scheme("solids", bench, steps, (*r.pick(&[2, 5]), None))
    }
}
