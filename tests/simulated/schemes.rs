//! Six kinds of work: their loads, the working, the theory, and readings that could have been.

use super::{E, Step, Stream, Tables, molar_mass, q};

pub const NAMES: [&str; 4] = ["A", "B", "C", "D"];

/// One experiment with its readings.
pub struct Scheme {
    pub name: &'static str,
    pub trials: usize,
    /// Loads in the order weighed; per load and trial the readings, in g.
    pub loads: Vec<(&'static str, Vec<Vec<f64>>)>,
    pub steps: Vec<Step>,
    /// The step whose mean is claimed, and its theory in base units, where there is one.
    pub theory: (usize, Option<f64>),
    pub theory_text: String,
    /// Formulas a student may take for one another.
    pub formulas: Vec<&'static str>,
    pub mixture: Option<String>,
    /// The shipped template whose notebook it is: then method and theory are the template's.
    pub template: Option<&'static str>,
    /// A volume measured in each trial.
    pub measured: Option<Measured>,
    /// What a load's treatments are called, where not heating.
    pub treatments: Vec<(&'static str, &'static str)>,
    /// A load with what was done to it between its first two weighings.
    pub event: Option<(&'static str, &'static str)>,
}

/// Volumes by trial.
pub struct Measured {
    pub symbol: &'static str,
    pub millilitres: Vec<f64>,
}

impl Scheme {
    /// A scheme of its own working, without anything yet.
    fn plain() -> Scheme {
        Scheme {
            name: "",
            trials: 0,
            loads: Vec::new(),
            steps: Vec::new(),
            theory: (0, None),
            theory_text: String::new(),
            formulas: Vec::new(),
            mixture: None,
            template: None,
            measured: None,
            treatments: Vec::new(),
            event: None,
        }
    }

    fn readings(&self, load: &str, trial: usize) -> &[f64] {
        &self.loads.iter().find(|(name, _)| *name == load).expect("a load").1[trial]
    }

    /// The weighing that stands for a load.
    pub fn last(&self, load: &str, trial: usize) -> f64 {
        *self.readings(load, trial).last().expect("a reading")
    }

    /// The volume of a trial.
    pub fn litres(&self, trial: usize) -> f64 {
        self.measured.as_ref().map_or(f64::NAN, |measured| measured.millilitres[trial] / 1000.0)
    }

    /// A reading that may be taken for a load's: another heating, another trial, or another row.
    pub fn other_reading(&self, load: &str, trial: usize, r: &mut Stream) -> Option<f64> {
        let own = self.readings(load, trial);
        let value = match r.below(3) {
            0 => *own.get(r.below(own.len()).checked_sub(1)?)?,
            1 => self.last(load, (trial + 1 + r.below(self.trials - 1)) % self.trials),
            _ => {
                let (other, _) = r.pick(&self.loads);
                self.last(other, trial)
            }
        };
        (value != self.last(load, trial)).then_some(value)
    }

    /// The `masses` block.
    pub fn masses(&self) -> String {
        let mut text = String::from("```masses\nunit: g\ntrial:");
        NAMES[..self.trials].iter().for_each(|name| text.push_str(&format!("  {name}")));
        text.push('\n');
        for (load, trials) in &self.loads {
            let most = trials.iter().map(Vec::len).max().unwrap_or(0);
            for cycle in 0..most {
                let word =
                    self.treatments.iter().find(|(own, _)| own == load).map_or("heating", |(_, word)| word);
                let treatment = if most > 1 { format!(", {word} {}", cycle + 1) } else { String::new() };
                if let Some((_, event)) = self.event.filter(|(own, _)| own == load && cycle == 1) {
                    text.push_str(&format!("event: {event}\n"));
                }
                let cells: Vec<String> = trials.iter().map(|own| format!("{:.4}", own[cycle])).collect();
                text.push_str(&format!("{load}{treatment}:  {}\n", cells.join("  ")));
            }
        }
        text.push_str("```\n\n");
        if let Some(measured) = &self.measured {
            text.push_str("```measured\ntrial:");
            NAMES[..self.trials].iter().for_each(|name| text.push_str(&format!("  {name}")));
            let cells: Vec<String> = measured.millilitres.iter().map(|own| format!("{own:.1} mL")).collect();
            text.push_str(&format!("\n{}:  {}\n```\n\n", measured.symbol, cells.join("  ")));
        }
        text
    }
}

/// One of the six.
pub fn any(r: &mut Stream) -> Scheme {
    match r.below(6) {
        0 => hydrate(r),
        1 => loss_on_ignition(r),
        2 => precipitation(r),
        3 => mixture(r),
        4 => oxide(r),
        _ => solids(r),
    }
}

fn at_balance(mass: f64) -> f64 {
    (mass * 1e4).round() / 1e4
}

/// A series that comes to rest at `end`.
fn series(end: f64, first: f64, count: usize, r: &mut Stream) -> Vec<f64> {
    let mut above = vec![0.0];
    let mut excess = 0.0001 + 0.0003 * r.unit();
    for _ in 1..count {
        above.push(excess);
        excess = (excess * r.between(4.0, 15.0)).min(first);
    }
    above.reverse();
    above.into_iter().map(|above| at_balance(end + above)).collect()
}

/// Readings of several loads by trial.
pub struct Bench {
    pub trials: usize,
    pub loads: Vec<(&'static str, Vec<Vec<f64>>)>,
}

impl Bench {
    pub fn new(r: &mut Stream) -> Self {
        Bench { trials: 2 + r.below(3), loads: Vec::new() }
    }

    /// A load of these masses, weighed so often.
    pub fn weigh(&mut self, load: &'static str, masses: &[f64], cycles: usize, r: &mut Stream) {
        let first = if load.contains('+') { 0.04 } else { 0.002 };
        let own = masses.iter().map(|mass| series(*mass, first, cycles, r)).collect();
        self.loads.push((load, own));
    }

    pub fn masses(&self, low: f64, high: f64, r: &mut Stream) -> Vec<f64> {
        (0..self.trials).map(|_| r.between(low, high)).collect()
    }
}

pub fn sums(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a + b).collect()
}

pub fn scaled(a: &[f64], r: &mut Stream, of: impl Fn(f64) -> f64) -> Vec<f64> {
    a.iter().map(|a| of(*a) * r.between(0.995, 1.005)).collect()
}

pub fn m(formula: &str) -> f64 {
    molar_mass(formula, Tables::AsTabulated)
}

fn hydrate(r: &mut Stream) -> Scheme {
    let (hydrate, salt, count) = *r.pick(&[
        ("CuSO4·5H2O", "CuSO4", 5.0),
        ("MgSO4·7H2O", "MgSO4", 7.0),
        ("BaCl2·2H2O", "BaCl2", 2.0),
        ("CaSO4·2H2O", "CaSO4", 2.0),
        ("CoCl2·6H2O", "CoCl2", 6.0),
    ]);
    let mut bench = Bench::new(r);
    let vessel = bench.masses(15.0, 30.0, r);
    let sample = bench.masses(0.6, 2.2, r);
    let residue = scaled(&sample, r, |sample| sample * m(salt) / m(hydrate));
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
        Step::of("n(salt)", q("m(residue)") / E::M(salt), "mmol"),
        Step::of("x", q("n(water)") / q("n(salt)"), ""),
    ];
    let by_amount = r.some(0.5);
    let content = count * m("H2O") / m(hydrate);
    let theory = if by_amount { (6, Some(count)) } else { (3, Some(content)) };
    let theory_text = if by_amount { format!("{count}") } else { format!("{count} M(H2O) / M({hydrate})") };
    Scheme {
        name: "hydrate",
        trials: bench.trials,
        loads: bench.loads,
        steps,
        theory,
        theory_text,
        formulas: vec![hydrate, salt, "H2O"],
        mixture: None,
        ..Scheme::plain()
    }
}

fn loss_on_ignition(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let vessel = bench.masses(20.0, 40.0, r);
    let sample = bench.masses(1.0, 5.0, r);
    let left = r.between(0.6, 0.95);
    let residue = scaled(&sample, r, |sample| sample * left);
    let cycles = 2 + r.below(3);
    bench.weigh("dish", &vessel, 2, r);
    bench.weigh("dish + sample", &sums(&vessel, &sample), 1, r);
    bench.weigh("dish + residue", &sums(&vessel, &residue), cycles, r);
    let steps = vec![
        Step::net("m(sample)", "dish + sample", "dish"),
        Step::net("m(residue)", "dish + residue", "dish"),
        Step::of("m(loss)", q("m(sample)") - q("m(residue)"), "g"),
        Step::of("w(residue)", q("m(residue)") / q("m(sample)"), "%"),
        Step::of("w(loss)", q("m(loss)") / q("m(sample)"), "%"),
    ];
    let expected = ((1.0 - left) * 1000.0).round() / 1000.0 + 0.003;
    Scheme {
        name: "loss on ignition",
        trials: bench.trials,
        loads: bench.loads,
        steps,
        theory: (4, Some(expected)),
        theory_text: format!("{:.1} %", expected * 100.0),
        formulas: Vec::new(),
        mixture: None,
        ..Scheme::plain()
    }
}

fn precipitation(r: &mut Stream) -> Scheme {
    let (analyte, weighed, ratio, others) = *r.pick(&[
        ("Cl", "AgCl", 1.0, ["Ag", "Cl2"]),
        ("SO4", "BaSO4", 1.0, ["Ba", "SO3"]),
        ("Fe", "Fe2O3", 2.0, ["FeO", "Fe3O4"]),
        ("Ni", "Ni(C4H7N2O2)2", 1.0, ["NiO", "C4H7N2O2"]),
        ("Mg", "Mg2P2O7", 2.0, ["MgO", "P2O5"]),
    ]);
    let mut bench = Bench::new(r);
    let (bottle, vessel) = (bench.masses(12.0, 14.0, r), bench.masses(20.0, 32.0, r));
    let sample = bench.masses(0.3, 1.1, r);
    let share = r.between(0.1, 0.5);
    let precipitate = scaled(&sample, r, |sample| sample * share * m(weighed) / m(analyte) / ratio);
    let cycles = 2 + r.below(2);
    bench.weigh("bottle + sample", &sums(&bottle, &sample), 1, r);
    bench.weigh("bottle", &bottle, 1, r);
    bench.weigh("crucible", &vessel, 2, r);
    bench.weigh("crucible + precipitate", &sums(&vessel, &precipitate), cycles, r);
    let mass = "m(analyte)";
    let steps = vec![
        Step::net("m(sample)", "bottle + sample", "bottle"),
        Step::net("m(precipitate)", "crucible + precipitate", "crucible"),
        Step::of(mass, E::F(ratio, analyte, weighed) * q("m(precipitate)"), "g"),
        Step::of("w(analyte)", q(mass) / q("m(sample)"), "%"),
    ];
    let expected = (share * 1000.0).round() / 1000.0 + 0.002;
    Scheme {
        name: "precipitation",
        trials: bench.trials,
        loads: bench.loads,
        steps,
        theory: (3, Some(expected)),
        theory_text: format!("{:.1} %", expected * 100.0),
        formulas: vec![analyte, weighed, others[0], others[1]],
        mixture: None,
        ..Scheme::plain()
    }
}

fn mixture(r: &mut Stream) -> Scheme {
    let ((a, a_left), (b, b_left), gas) =
        *r.pick(&[(("MgCO3", "MgO"), ("CaCO3", "CaO"), "CO2"), (("CaCO3", "CaO"), ("BaCO3", "BaO"), "CO2")]);
    let mut bench = Bench::new(r);
    let vessel = bench.masses(18.0, 30.0, r);
    let sample = bench.masses(0.8, 2.0, r);
    let share = r.between(0.2, 0.8);
    let (fa, fb) = (m(a_left) / m(a), m(b_left) / m(b));
    let residue: Vec<f64> = sample
        .iter()
        .map(|sample| {
            let first = sample * share * r.between(0.99, 1.01);
            first * fa + (sample - first) * fb
        })
        .collect();
    let cycles = 2 + r.below(3);
    bench.weigh("crucible", &vessel, 2, r);
    bench.weigh("crucible + sample", &sums(&vessel, &sample), 1, r);
    bench.weigh("crucible + residue", &sums(&vessel, &residue), cycles, r);
    let as_block = r.some(0.5);
    let first = if as_block { format!("m({a})") } else { "m(first)".to_string() };
    let (ea, eb) = (E::M(a_left) / E::M(a), E::M(b_left) / E::M(b));
    let mass = (q("m(residue)") - q("m(sample)") * eb.clone()) / (ea - eb);
    let mut steps = vec![
        Step::net("m(sample)", "crucible + sample", "crucible"),
        Step::net("m(residue)", "crucible + residue", "crucible"),
        Step::of(&first, mass, "g"),
    ];
    let w = if as_block { format!("w({a})") } else { "w(first)".to_string() };
    steps.push(Step::of(&w, q(&first) / q("m(sample)"), "%"));
    let mixture = as_block.then(|| {
        steps.iter_mut().for_each(|step| step.line = None);
        format!(
            "before: m(sample) = {a} + {b}\nafter: m(residue) = {a_left} + {b_left}\n{a} -> {a_left} + {gas}\n{b} -> {b_left} + {gas}\n"
        )
    });
    let expected = (share * 1000.0).round() / 1000.0 + 0.004;
    Scheme {
        name: "mixture",
        trials: bench.trials,
        loads: bench.loads,
        steps,
        theory: (3, Some(expected)),
        theory_text: format!("{:.1} %", expected * 100.0),
        formulas: vec![a, b, a_left, b_left],
        mixture,
        ..Scheme::plain()
    }
}

fn oxide(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let vessel = bench.masses(20.0, 32.0, r);
    let metal = bench.masses(0.15, 0.6, r);
    let oxide = scaled(&metal, r, |metal| metal * m("MgO") / m("Mg"));
    let cycles = 2 + r.below(3);
    bench.weigh("crucible", &vessel, 2, r);
    bench.weigh("crucible + magnesium", &sums(&vessel, &metal), 1, r);
    bench.weigh("crucible + oxide", &sums(&vessel, &oxide), cycles, r);
    let steps = vec![
        Step::net("m(magnesium)", "crucible + magnesium", "crucible"),
        Step::net("m(oxide)", "crucible + oxide", "crucible"),
        Step::of("m(oxygen)", q("m(oxide)") - q("m(magnesium)"), "g"),
        Step::of("n(Mg)", q("m(magnesium)") / E::M("Mg"), "mmol"),
        Step::of("n(O)", q("m(oxygen)") / E::M("O"), "mmol"),
        Step::of("w(Mg)", q("m(magnesium)") / q("m(oxide)"), "%"),
        Step::of("ratio", q("n(O)") / q("n(Mg)"), ""),
    ];
    Scheme {
        name: "oxide",
        trials: bench.trials,
        loads: bench.loads,
        steps,
        theory: (5, Some(m("Mg") / m("MgO"))),
        theory_text: "M(Mg) / M(MgO)".into(),
        formulas: vec!["Mg", "O", "MgO", "O2"],
        mixture: None,
        ..Scheme::plain()
    }
}

fn solids(r: &mut Stream) -> Scheme {
    let mut bench = Bench::new(r);
    let vessel = bench.masses(40.0, 60.0, r);
    let wet = bench.masses(10.0, 30.0, r);
    let (dry_share, ash_share) = (r.between(0.04, 0.3), r.between(0.2, 0.6));
    let dry = scaled(&wet, r, |wet| wet * dry_share);
    let ash = scaled(&dry, r, |dry| dry * ash_share);
    let cycles = 2 + r.below(2);
    bench.weigh("dish", &vessel, 2, r);
    bench.weigh("dish + sample", &sums(&vessel, &wet), 1, r);
    bench.weigh("dish + solids", &sums(&vessel, &dry), cycles, r);
    bench.weigh("dish + ash", &sums(&vessel, &ash), cycles, r);
    let steps = vec![
        Step::net("m(sample)", "dish + sample", "dish"),
        Step::net("m(solids)", "dish + solids", "dish"),
        Step::net("m(ash)", "dish + ash", "dish"),
        Step::of("w(total)", q("m(solids)") / q("m(sample)"), "%"),
        Step::of("m(volatile)", q("m(solids)") - q("m(ash)"), "g"),
        Step::of("w(volatile)", q("m(volatile)") / q("m(solids)"), "%"),
    ];
    let expected = ((1.0 - ash_share) * 1000.0).round() / 1000.0 + 0.002;
    Scheme {
        name: "solids",
        trials: bench.trials,
        loads: bench.loads,
        steps,
        theory: (5, Some(expected)),
        theory_text: format!("{:.1} %", expected * 100.0),
        formulas: Vec::new(),
        mixture: None,
        ..Scheme::plain()
    }
}
