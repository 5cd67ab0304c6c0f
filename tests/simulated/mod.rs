//! Simulated notebooks: what students hand in, with no slip, one known slip, or an error of no known kind.
//!
//! Written before the review's search for slips and independent of it: the arithmetic is this file's own, in
//! `f64`, and a slip is made here as a student makes it, on the way from the readings to the claims. Students
//! round as students do: some keep the calculator's digits, some go on with the figures they wrote down, some
//! keep a guard digit or two. The same seed writes the same notebook.
//!
//! There are two sources: six kinds of work with their own formulas (`schemes`), and the shipped templates
//! (`templates`), whose notebooks leave the working to the template.

#![allow(dead_code)]

mod schemes;
mod templates;

use schemes::Scheme;
use std::fmt::Write;
pub use templates::TEMPLATES;

/// Random numbers: SplitMix64 (Steele, Lea, Flood 2014, doi:10.1145/2660193.2660195; constants from memory).
pub struct Stream(u64);

impl Stream {
    pub fn new(seed: u64) -> Self {
        Stream(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5DEE_CE66_D1CE_4E5B)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// In [0, 1).
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub fn below(&mut self, count: usize) -> usize {
        (self.next() % count.max(1) as u64) as usize
    }

    pub fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.below(from.len())]
    }

    pub fn some(&mut self, chance: f64) -> bool {
        self.unit() < chance
    }
}

/// Standard atomic weights, abridged to five figures (CIAAW 2021, https://ciaaw.org/abridged-atomic-weights.htm).
const WEIGHTS: [(&str, f64); 19] = [
    ("H", 1.0080),
    ("C", 12.011),
    ("N", 14.007),
    ("O", 15.999),
    ("Na", 22.990),
    ("Mg", 24.305),
    ("Al", 26.982),
    ("Si", 28.085),
    ("P", 30.974),
    ("S", 32.06),
    ("Cl", 35.45),
    ("K", 39.098),
    ("Ca", 40.078),
    ("Fe", 55.845),
    ("Co", 58.933),
    ("Ni", 58.693),
    ("Cu", 63.546),
    ("Ag", 107.87),
    ("Ba", 137.33),
];

/// How far a student rounds before the masses are worked out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tables {
    AsTabulated,
    /// Atomic weights to so many decimals.
    WeightsTo(i32),
    /// Molar masses to so many decimals.
    MolarMassesTo(i32),
}

fn to_decimals(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale).round() / scale
}

/// The molar mass of a formula without nested brackets, in g/mol.
pub fn molar_mass(formula: &str, tables: Tables) -> f64 {
    let weight = |symbol: &str| {
        let (_, weight) = WEIGHTS.iter().find(|(known, _)| *known == symbol).expect("a listed element");
        match tables {
            Tables::WeightsTo(decimals) => to_decimals(*weight, decimals),
            _ => *weight,
        }
    };
    let part = |text: &str| {
        let digits: String = text.chars().take_while(char::is_ascii_digit).collect();
        let count: f64 = digits.parse().unwrap_or(1.0);
        count * sum(&text[digits.len()..], &weight)
    };
    let mass = formula.split('·').map(part).sum();
    match tables {
        Tables::MolarMassesTo(decimals) => to_decimals(mass, decimals),
        _ => mass,
    }
}

fn sum(text: &str, weight: &dyn Fn(&str) -> f64) -> f64 {
    let c: Vec<char> = text.chars().collect();
    let (mut at, mut total) = (0, 0.0);
    let number = |at: &mut usize| {
        let digits: String = c[*at..].iter().take_while(|c| c.is_ascii_digit()).collect();
        *at += digits.len();
        digits.parse().unwrap_or(1.0)
    };
    while at < c.len() {
        if c[at] == '(' {
            let end = (at..c.len()).find(|i| c[*i] == ')').expect("a closed bracket");
            let inner: String = c[at + 1..end].iter().collect();
            at = end + 1;
            total += sum(&inner, weight) * number(&mut at);
        } else {
            let length = if c.get(at + 1).is_some_and(|c| c.is_ascii_lowercase()) { 2 } else { 1 };
            let symbol: String = c[at..at + length].iter().collect();
            at += length;
            total += weight(&symbol) * number(&mut at);
        }
    }
    total
}

/// What a student computes a value from.
#[derive(Clone, Debug, PartialEq)]
pub enum E {
    /// The last weighing of a load.
    Load(&'static str),
    /// A molar mass in g/mol.
    M(&'static str),
    /// A factor: moles × M(analyte) / M(weighed).
    F(f64, &'static str, &'static str),
    Number(f64),
    /// The volume measured, in L.
    Volume,
    /// An earlier value, in base units (g, mol, 1).
    Q(String),
    Sub(Box<E>, Box<E>),
    Add(Box<E>, Box<E>),
    Mul(Box<E>, Box<E>),
    Div(Box<E>, Box<E>),
}

pub fn q(symbol: &str) -> E {
    E::Q(symbol.into())
}

impl std::ops::Sub for E {
    type Output = E;
    fn sub(self, other: E) -> E {
        E::Sub(self.into(), other.into())
    }
}

impl std::ops::Div for E {
    type Output = E;
    fn div(self, other: E) -> E {
        E::Div(self.into(), other.into())
    }
}

impl std::ops::Mul for E {
    type Output = E;
    fn mul(self, other: E) -> E {
        E::Mul(self.into(), other.into())
    }
}

impl E {
    fn text(&self) -> String {
        let side = |e: &E| match e {
            E::Sub(..) | E::Add(..) | E::Div(..) => format!("({})", e.text()),
            _ => e.text(),
        };
        match self {
            E::Load(load) => format!("m({load})"),
            E::M(formula) => format!("M({formula})"),
            E::F(_, analyte, weighed) => format!("factor({analyte}, {weighed})"),
            E::Number(number) => format!("{number}"),
            E::Volume => "V(sample)".to_string(),
            E::Q(symbol) => symbol.clone(),
            E::Sub(a, b) => format!("{} - {}", a.text(), side(b)),
            E::Add(a, b) => format!("{} + {}", a.text(), b.text()),
            E::Mul(a, b) => format!("{} * {}", side(a), side(b)),
            E::Div(a, b) => format!("{} / {}", side(a), side(b)),
        }
    }

    /// Every place of an expression, with the same expression changed there.
    fn changed(&self, change: &dyn Fn(&E) -> Vec<E>) -> Vec<E> {
        let mut all = change(self);
        let mut both = |a: &E, b: &E, make: &dyn Fn(E, E) -> E| {
            all.extend(a.changed(change).into_iter().map(|a| make(a, b.clone())));
            all.extend(b.changed(change).into_iter().map(|b| make(a.clone(), b)));
        };
        match self {
            E::Sub(a, b) => both(a, b, &|a, b| a - b),
            E::Add(a, b) => both(a, b, &|a, b| E::Add(a.into(), b.into())),
            E::Mul(a, b) => both(a, b, &|a, b| a * b),
            E::Div(a, b) => both(a, b, &|a, b| a / b),
            _ => {}
        }
        all
    }

    fn loads(&self, found: &mut Vec<&'static str>) {
        match self {
            E::Load(load) => found.push(load),
            E::Sub(a, b) | E::Add(a, b) | E::Mul(a, b) | E::Div(a, b) => {
                a.loads(found);
                b.loads(found);
            }
            _ => {}
        }
    }
}

/// One value of the working.
#[derive(Clone, Debug)]
pub struct Step {
    pub symbol: String,
    pub e: E,
    /// The unit shown and its size in base units (g, mol, 1).
    pub unit: &'static str,
    pub size: f64,
    /// How the notebook defines it; `None` where it follows from the loads or from a `mixture` block.
    pub line: Option<String>,
}

impl Step {
    pub fn net(symbol: &str, upper: &'static str, lower: &'static str) -> Step {
        Step { symbol: symbol.into(), e: E::Load(upper) - E::Load(lower), unit: "g", size: 1.0, line: None }
    }

    pub fn of(symbol: &str, e: E, unit: &'static str) -> Step {
        let size = match unit {
            "%" => 0.01,
            "mmol" | "mg/L" => 0.001,
            _ => 1.0,
        };
        let shown = if unit.is_empty() { String::new() } else { format!("  in {unit}") };
        let line = Some(format!("{symbol} = {}{shown}", e.text()));
        Step { symbol: symbol.into(), e, unit, size, line }
    }

    /// Whether it is a difference of two weighings.
    fn is_net(&self) -> bool {
        matches!(&self.e, E::Sub(a, b) if matches!((&**a, &**b), (E::Load(_), E::Load(_))))
    }

    pub fn unwritten(self) -> Step {
        Step { line: None, ..self }
    }
}

/// How a student goes on with a value once it is written down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Habit {
    /// With all digits of the calculator.
    Calculator,
    /// With the digits written down.
    AsWritten,
    /// With so many digits more.
    Guard(i32),
}

/// What is the matter with a notebook.
#[derive(Clone, Debug)]
pub enum Truth {
    Right,
    Slip(Slip),
    /// A factor on one value (step, trial or all).
    Unknown(f64),
}

/// The ten kinds.
pub const KINDS: [&str; 10] = [
    "digits swapped",
    "digit misread",
    "wrong reading",
    "vessel not subtracted",
    "ratio upside down",
    "factor 100",
    "wrong molar mass",
    "atomic weights rounded early",
    "sign",
    "wrong denominator",
];

/// One slip.
#[derive(Clone, Debug)]
pub struct Slip {
    pub kind: &'static str,
    /// The step it was made in, where it was made in one.
    pub step: Option<usize>,
    /// The trial, or all of them.
    pub trial: Option<usize>,
    pub what: What,
}

/// What is done differently.
#[derive(Clone, Debug)]
pub enum What {
    /// A reading is another number wherever it is used.
    Reading(&'static str, f64),
    /// A reading is another number in one step.
    ReadingIn(&'static str, f64),
    Formula(E),
    Tables(Tables),
    /// The value is multiplied.
    Times(f64),
    /// The result is copied wrongly (its digits swapped at a position).
    Copied(usize),
}

/// A notebook with the truth about it.
pub struct Simulated {
    pub text: String,
    pub truth: Truth,
    pub scheme: &'static str,
    pub habit: Habit,
    /// The claims whose printed value the slip changed although the claimed values before them were right:
    /// more than one means that the slip has a second support.
    pub supports: usize,
    /// The claims whose printed value the slip changed.
    pub changed: usize,
    /// A misread or swapped reading that is another reading of the series: no one could tell the two apart.
    pub is_another_reading: bool,
}

/// The student with a notebook.
struct Student<'a> {
    scheme: &'a Scheme,
    habit: Habit,
    figures: i32,
    slip: Option<&'a Slip>,
    /// A step multiplied, for an error of no known kind.
    factor: Option<(usize, Option<usize>, f64)>,
}

/// What a student got: per trial and step the number gone on with and the text written.
type Worked = Vec<Vec<(f64, String)>>;

impl Student<'_> {
    fn printed(&self, value: f64, unit: &str) -> String {
        if unit == "g" {
            return format!("{value:.4}");
        }
        figures(value, self.figures)
    }

    fn work(&self) -> Worked {
        (0..self.scheme.trials).map(|trial| self.trial(trial, None)).collect()
    }

    /// One trial; with `held`, claimed values before a step are taken from there.
    fn trial(&self, trial: usize, held: Option<(&Worked, &[bool])>) -> Vec<(f64, String)> {
        let mut done: Vec<(f64, String)> = Vec::new();
        for (index, step) in self.scheme.steps.iter().enumerate() {
            let here = |slip: &&Slip| slip.trial.is_none_or(|t| t == trial);
            let slip = self.slip.filter(here);
            let own = slip.filter(|slip| slip.step == Some(index));
            let e = match own.map(|slip| &slip.what) {
                Some(What::Formula(e)) => e,
                _ => &step.e,
            };
            let used = |i: usize| match held {
                Some((worked, claimed)) if claimed[i] => worked[trial][i].0,
                _ => done[i].0,
            };
            let mut value = self.value(e, index, trial, slip, &used);
            if let Some(What::Times(factor)) = own.map(|slip| &slip.what) {
                value *= factor;
            }
            if let Some((_, _, factor)) =
                self.factor.filter(|(s, t, _)| *s == index && t.is_none_or(|t| t == trial))
            {
                value *= factor;
            }
            let mut written = self.printed(value / step.size, step.unit);
            if let Some(What::Copied(at)) = own.map(|slip| &slip.what) {
                written = swapped(&written, *at).unwrap_or(written);
            }
            let on = match self.habit {
                Habit::Calculator => value,
                Habit::AsWritten => written.parse::<f64>().expect("a number") * step.size,
                Habit::Guard(more) => {
                    let text = if step.unit == "g" {
                        format!("{:.*}", (4 + more) as usize, value / step.size)
                    } else {
                        figures(value / step.size, self.figures + more)
                    };
                    text.parse::<f64>().expect("a number") * step.size
                }
            };
            done.push((on, written));
        }
        done
    }

    fn value(
        &self,
        e: &E,
        step: usize,
        trial: usize,
        slip: Option<&Slip>,
        used: &dyn Fn(usize) -> f64,
    ) -> f64 {
        let tables = match slip.map(|slip| &slip.what) {
            Some(What::Tables(tables)) => *tables,
            _ => Tables::AsTabulated,
        };
        let go = |e: &E| self.value(e, step, trial, slip, used);
        match e {
            E::Load(load) => match slip.map(|slip| (&slip.what, slip.step)) {
                Some((What::Reading(other, value), _)) if other == load => *value,
                Some((What::ReadingIn(other, value), Some(own))) if other == load && own == step => *value,
                _ => self.scheme.last(load, trial),
            },
            E::M(formula) => molar_mass(formula, tables),
            E::F(ratio, analyte, weighed) => {
                ratio * molar_mass(analyte, tables) / molar_mass(weighed, tables)
            }
            E::Number(number) => *number,
            E::Volume => self.scheme.litres(trial),
            E::Q(symbol) => {
                let at = self.scheme.steps.iter().position(|step| step.symbol == *symbol);
                used(at.expect("an earlier step"))
            }
            E::Sub(a, b) => go(a) - go(b),
            E::Add(a, b) => go(a) + go(b),
            E::Mul(a, b) => go(a) * go(b),
            E::Div(a, b) => go(a) / go(b),
        }
    }

    /// Whether mean or percent error is too close to a tie for this arithmetic: the mean of values as they were written
    /// often is one.
    fn is_near_a_tie(&self, worked: &Worked) -> bool {
        let step = &self.scheme.steps[self.scheme.theory.0];
        let (mean, error) = self.summary(worked);
        let mean = mean / step.size;
        let error = error.map(|error| error * 100.0);
        near_tie(mean, &self.printed(mean, step.unit))
            || error.is_some_and(|error| near_tie(error, &format!("{error:.*}", self.decimals_of_error())))
    }

    /// Of a value with three figures a percent error is worth one decimal, else two.
    fn decimals_of_error(&self) -> usize {
        if self.figures == 3 { 1 } else { 2 }
    }

    /// The mean of the scheme's result, and its percent error where there is a theory.
    fn summary(&self, worked: &Worked) -> (f64, Option<f64>) {
        let (step, theory) = &self.scheme.theory;
        let sum: f64 = worked.iter().map(|trial| trial[*step].0).sum();
        let mean = sum / worked.len() as f64;
        (mean, theory.map(|theory| (mean - theory) / theory))
    }
}

/// A number to so many significant figures, as a calculator's user writes it.
fn figures(value: f64, figures: i32) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let decimals = figures - 1 - value.abs().log10().floor() as i32;
    if decimals >= 0 {
        format!("{value:.*}", decimals as usize)
    } else {
        format!("{value:.*e}", (figures - 1) as usize)
    }
}

/// Whether rounding at the last digit of a text is too close to a tie for this arithmetic.
fn near_tie(value: f64, written: &str) -> bool {
    let decimals = written.split('.').nth(1).map_or(0, str::len) as i32;
    let scaled = (value * 10f64.powi(decimals)).abs();
    ((scaled - scaled.floor()) - 0.5).abs() < 1e-5
}

/// The text with the digits at two neighbouring positions swapped, where that changes it.
fn swapped(text: &str, at: usize) -> Option<String> {
    let mut characters: Vec<char> = text.chars().collect();
    let places: Vec<usize> = (0..characters.len()).filter(|i| characters[*i].is_ascii_digit()).collect();
    let (a, b) = (*places.get(at)?, *places.get(at + 1)?);
    characters.swap(a, b);
    let swapped: String = characters.into_iter().collect();
    (swapped != text && !swapped.starts_with("00")).then_some(swapped)
}

/// What to simulate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wanted {
    Right,
    Slip,
    Unknown,
}

/// Where a notebook's work comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Source {
    /// Six kinds of work with their own formulas, drawn at random.
    Schemes,
    /// The shipped templates, in turn.
    Templates,
}

/// The notebook of a seed.
pub fn notebook(seed: u64, wanted: Wanted, source: Source) -> Simulated {
    let mut r = Stream::new(seed);
    // Kinds take turns, so that each is a tenth of the notebooks; those a template has no room for are left out.
    let (template, kind) = match source {
        Source::Schemes => (None, KINDS[(seed % 10) as usize]),
        Source::Templates => {
            let template = TEMPLATES[(seed % 6) as usize];
            let possible: Vec<&'static str> =
                KINDS.into_iter().filter(|kind| templates::is_possible(template, kind)).collect();
            (Some(template), possible[(seed / 6) as usize % possible.len()])
        }
    };
    loop {
        if let Some(simulated) = attempt(&mut r, wanted, kind, template) {
            return simulated;
        }
    }
}

fn attempt(
    r: &mut Stream,
    wanted: Wanted,
    kind: &'static str,
    template: Option<&'static str>,
) -> Option<Simulated> {
    let scheme = match template {
        Some(template) => templates::of(template, r),
        None => schemes::any(r),
    };
    let habit = match r.below(10) {
        0..=3 => Habit::Calculator,
        4..=6 => Habit::AsWritten,
        _ => Habit::Guard(1 + r.below(2) as i32),
    };
    let figures = *r.pick(&[3, 4, 4, 4, 5]);
    let claimed = claimed(&scheme, r);
    let honest = Student { scheme: &scheme, habit, figures, slip: None, factor: None };
    let right = honest.work();
    let exact = Student { habit: Habit::Calculator, ..honest }.work();
    // Ties are decided on exact values, which this arithmetic has not; such a notebook is drawn again.
    for (trial, steps) in exact.iter().enumerate() {
        for (index, (value, written)) in steps.iter().enumerate() {
            if near_tie(value / scheme.steps[index].size, written) && trial < right.len() {
                return None;
            }
        }
    }
    let (slip, factor, truth) = match wanted {
        Wanted::Right => (None, None, Truth::Right),
        Wanted::Slip => {
            let slip = slip(&scheme, &right, kind, r)?;
            (Some(slip.clone()), None, Truth::Slip(slip))
        }
        Wanted::Unknown => {
            let factor = unknown(&scheme, &claimed, r)?;
            (None, Some(factor), Truth::Unknown(factor.2))
        }
    };
    let student = Student { slip: slip.as_ref(), factor, ..honest };
    let worked = student.work();
    if student.is_near_a_tie(&worked) {
        return None;
    }
    let differs = |trial: usize, index: usize, worked: &Worked| {
        claimed[index] && worked[trial][index].1 != right[trial][index].1
    };
    let all: Vec<(usize, usize)> =
        (0..scheme.trials).flat_map(|t| (0..scheme.steps.len()).map(move |s| (t, s))).collect();
    let changed = all.iter().filter(|(t, s)| differs(*t, *s, &worked)).count();
    let alone: Worked =
        (0..scheme.trials).map(|trial| student.trial(trial, Some((&right, &claimed)))).collect();
    // A reading that enters one net mass has no second support: an error of that mass would do as well.
    let uses = |load: &str| {
        let in_step = |step: &&Step| {
            let mut loads = Vec::new();
            step.e.loads(&mut loads);
            loads.contains(&load)
        };
        scheme.steps.iter().filter(in_step).count()
    };
    let alone_in = matches!(&slip, Some(Slip { what: What::Reading(load, _), .. }) if uses(load) < 2);
    let is_another_reading = match &slip {
        Some(Slip { what: What::Reading(load, value), trial: Some(trial), .. }) => {
            scheme.loads.iter().filter(|(name, _)| name == load).any(|(_, own)| own[*trial].contains(value))
        }
        _ => false,
    };
    let supports = all.iter().filter(|(t, s)| differs(*t, *s, &alone)).count();
    let supports = if alone_in { supports.min(1) } else { supports };
    if wanted != Wanted::Right && changed == 0 {
        return None;
    }
    if worked.iter().flatten().any(|(value, _)| !value.is_finite() || *value == 0.0) {
        return None;
    }
    let text = written(&scheme, &student, &worked, &claimed, r);
    Some(Simulated { text, truth, scheme: scheme.name, habit, supports, changed, is_another_reading })
}

/// Which steps the student claims: all, all but the net masses, or the last ones.
fn claimed(scheme: &Scheme, r: &mut Stream) -> Vec<bool> {
    let style = r.below(10);
    let last = scheme.steps.len();
    let one = |(index, step): (usize, &Step)| match style {
        0..=5 => true,
        6 | 7 => !step.is_net() || index == scheme.theory.0,
        _ => index + 2 >= last || index == scheme.theory.0,
    };
    scheme.steps.iter().enumerate().map(one).collect()
}

/// A relative error of 0.1 to 50 %, log-uniform, up or down, on one claimed value of one trial or of all.
fn unknown(scheme: &Scheme, claimed: &[bool], r: &mut Stream) -> Option<(usize, Option<usize>, f64)> {
    let steps: Vec<usize> = (0..claimed.len()).filter(|index| claimed[*index]).collect();
    let size = (r.between(0.001f64.ln(), 0.5f64.ln())).exp();
    let factor = if r.some(0.5) { 1.0 + size } else { 1.0 - size };
    let trial = r.some(0.7).then(|| r.below(scheme.trials));
    Some((*steps.get(r.below(steps.len()))?, trial, factor))
}

/// A slip of a kind, where the scheme and what is drawn allow it.
fn slip(scheme: &Scheme, right: &Worked, kind: &'static str, r: &mut Stream) -> Option<Slip> {
    let trial = r.below(scheme.trials);
    let step = r.below(scheme.steps.len());
    let whole = r.some(0.6);
    let e = &scheme.steps[step].e;
    let in_formula = |all: Vec<E>, r: &mut Stream| {
        let e = if all.is_empty() { return None } else { r.pick(&all).clone() };
        let trial = (!whole).then_some(trial);
        Some(Slip { kind, step: Some(step), trial, what: What::Formula(e) })
    };
    match kind {
        "digits swapped" if r.some(0.3) => {
            let at = r.below(5);
            swapped(&right[trial][step].1, at)?;
            Some(Slip { kind, step: Some(step), trial: Some(trial), what: What::Copied(at) })
        }
        "digits swapped" | "digit misread" => {
            let mut loads = Vec::new();
            scheme.steps.iter().for_each(|step| step.e.loads(&mut loads));
            let load = *r.pick(&loads);
            let text = format!("{:.4}", scheme.last(load, trial));
            let other = match kind {
                "digits swapped" => swapped(&text, r.below(5))?,
                _ => misread(&text, r)?,
            };
            let what = What::Reading(load, other.parse().ok()?);
            Some(Slip { kind, step: None, trial: Some(trial), what })
        }
        "wrong reading" => {
            let mut loads = Vec::new();
            e.loads(&mut loads);
            let load = *loads.get(r.below(loads.len()))?;
            let value = scheme.other_reading(load, trial, r)?;
            let what = What::ReadingIn(load, value);
            Some(Slip { kind, step: Some(step), trial: Some(trial), what })
        }
        "vessel not subtracted" => match e {
            E::Sub(upper, lower) if matches!((&**upper, &**lower), (E::Load(_), E::Load(_))) => {
                in_formula(vec![(**upper).clone()], r)
            }
            _ => None,
        },
        "ratio upside down" => in_formula(
            e.changed(&|e| match e {
                // In g and L with the factor 1000 afterwards, or in mg and L from the start.
                E::Div(a, b) if **b == E::Volume => {
                    let over = (**b).clone() / (**a).clone();
                    vec![over.clone(), E::Number(1e-6) * over]
                }
                E::Div(a, b) => vec![(**b).clone() / (**a).clone()],
                E::Mul(a, b) if matches!(**a, E::F(..)) => vec![(**b).clone() / (**a).clone()],
                _ => Vec::new(),
            }),
            r,
        ),
        "factor 100" => {
            let (lost, many) = match scheme.steps[step].unit {
                "%" => (0.01, 100.0),
                // Per litre or per millilitre, in grams or in milligrams.
                "mg/L" => (0.001, 1000.0),
                _ => return None,
            };
            let factor = if r.some(0.7) { lost } else { many };
            let trial = (!whole).then_some(trial);
            Some(Slip { kind, step: Some(step), trial, what: What::Times(factor) })
        }
        "wrong molar mass" => {
            let others = scheme.formulas.clone();
            in_formula(
                e.changed(&|e| match e {
                    E::M(formula) => {
                        others.iter().filter(|other| *other != formula).map(|other| E::M(other)).collect()
                    }
                    E::F(ratio, analyte, weighed) => {
                        let wrong = others.iter().filter(|other| *other != weighed && *other != analyte);
                        wrong.map(|other| E::F(*ratio, analyte, other)).collect()
                    }
                    _ => Vec::new(),
                }),
                r,
            )
        }
        "atomic weights rounded early" => {
            let tables = *r.pick(&[
                Tables::WeightsTo(0),
                Tables::WeightsTo(1),
                Tables::MolarMassesTo(0),
                Tables::MolarMassesTo(1),
            ]);
            Some(Slip { kind, step: None, trial: None, what: What::Tables(tables) })
        }
        "sign" => in_formula(
            e.changed(&|e| match e {
                E::Sub(a, b) => {
                    vec![(**b).clone() - (**a).clone(), E::Add(a.clone(), b.clone())]
                }
                _ => Vec::new(),
            }),
            r,
        ),
        _ => {
            let masses: Vec<&Step> = scheme.steps[..step].iter().filter(|step| step.unit == "g").collect();
            in_formula(
                e.changed(&|e| match e {
                    E::Div(a, b) => match &**b {
                        E::Q(symbol) if symbol.starts_with('m') => masses
                            .iter()
                            .filter(|mass| mass.symbol != *symbol)
                            .map(|mass| (**a).clone() / q(&mass.symbol))
                            .collect(),
                        _ => Vec::new(),
                    },
                    _ => Vec::new(),
                }),
                r,
            )
        }
    }
}

/// One digit read as another.
fn misread(text: &str, r: &mut Stream) -> Option<String> {
    let mut characters: Vec<char> = text.chars().collect();
    let places: Vec<usize> = (0..characters.len()).filter(|i| characters[*i].is_ascii_digit()).collect();
    let at = *r.pick(&places);
    let digit = char::from_digit(r.below(10) as u32, 10)?;
    (characters[at] != digit && !(at == 0 && digit == '0')).then(|| {
        characters[at] = digit;
        characters.into_iter().collect()
    })
}

/// The notebook as text; some claims stand in the prose and in a Markdown table.
fn written(scheme: &Scheme, student: &Student, worked: &Worked, claimed: &[bool], r: &mut Stream) -> String {
    let template = scheme.template.map_or(String::new(), |template| format!("template = \"{template}\"\n"));
    let mut text = format!(
        "# {}\n\n```experiment\ntitle = \"{}\"\ndate = 2026-03-04\n{template}```\n\n",
        scheme.name, scheme.name
    );
    text.push_str(&scheme.masses());
    if let Some(mixture) = &scheme.mixture {
        let _ = write!(text, "```mixture\n{mixture}```\n\n");
    }
    let lines: Vec<&String> = scheme.steps.iter().filter_map(|step| step.line.as_ref()).collect();
    if !lines.is_empty() {
        text.push_str("```working\n");
        lines.iter().for_each(|line| text.push_str(&format!("{line}\n")));
        text.push_str("```\n\n");
    }
    let (at, _) = scheme.theory;
    let step = &scheme.steps[at];
    let shown = if step.unit.is_empty() { String::new() } else { format!("  in {}", step.unit) };
    if scheme.template.is_none() {
        let _ = write!(text, "```theory\n{} = {}{shown}\n```\n\n", step.symbol, scheme.theory_text);
    }
    let (mean, error) = student.summary(worked);
    let mean = student.printed(mean / step.size, step.unit);
    let decimals = student.decimals_of_error();
    let error = error.map(|error| format!("{:.decimals$}", error * 100.0));
    let unit = |unit: &str| if unit.is_empty() { String::new() } else { format!(" {unit}") };
    let in_prose = r.some(0.4);
    if in_prose {
        let _ = write!(text, "We found {{mean {} claimed {mean}{}}}.\n\n", step.symbol, unit(step.unit));
        if let Some(error) = &error {
            let _ = write!(
                text,
                "| what | value |\n| --- | --- |\n| percent error | {{percent error {} claimed {error} %}} |\n\n",
                step.symbol,
            );
        }
    }
    text.push_str("```claimed\ntrial:");
    (0..scheme.trials).for_each(|trial| text.push_str(&format!("  {}", schemes::NAMES[trial])));
    text.push('\n');
    for (index, step) in scheme.steps.iter().enumerate().filter(|(index, _)| claimed[*index]) {
        let cells: Vec<String> =
            worked.iter().map(|trial| format!("{}{}", trial[index].1, unit(step.unit))).collect();
        let _ = writeln!(text, "{}:  {}", step.symbol, cells.join("  "));
    }
    if !in_prose {
        let _ = writeln!(text, "mean {}:  {mean}{}", step.symbol, unit(step.unit));
        if let Some(error) = &error {
            let _ = writeln!(text, "percent error {}:  {error} %", step.symbol);
        }
    }
    text.push_str("```\n");
    text
}
