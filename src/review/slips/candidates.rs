//! Every known way to go wrong in a region, and those that give the claimed value.

use super::super::derivation::{Derivation, Name, Written};
use super::super::region::{Change, Edit, From, Local, Region};
use super::super::tables::{self, Leaf};
use super::{Known, SlipKind, digits};
use crate::chemistry::{Formula, factor};
use crate::quantity::derivation::{NodeId, Operation};
use crate::quantity::{Decimal, Number, Unit};

/// A way to go wrong.
#[derive(Clone, Debug)]
pub(in crate::review) struct Candidate {
    pub(in crate::review) family: Family,
    pub(in crate::review) edit: Edit,
    /// The claimed text itself was written down wrongly, and this was meant.
    pub(in crate::review) meant: Option<Decimal>,
    /// The name it is told by.
    pub(in crate::review) told: Told,
}

/// What there is to tell of a candidate.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(in crate::review) enum Told {
    /// The reading of this node taken as another number.
    Reading(NodeId, String),
    /// The reading of a node, in one place.
    Instead(NodeId, NodeId),
    /// Something of the node at an index of the region; the node and an input.
    At(NodeId, usize),
    /// A formula for another, at a node.
    Formula(NodeId, String),
    /// Another value as the divisor of a node.
    Divisor(NodeId, NodeId),
    /// At a node, what it takes for its input and what was taken instead.
    Value(NodeId, NodeId, NodeId),
    /// A factor, at a node, that was not applied.
    LeftOut(NodeId),
    /// All molar masses below a node not applied.
    NoMolarMasses(NodeId),
    /// Weights or masses to so many decimals, at one node or all.
    Rounded(bool, i32, Option<NodeId>),
    /// A power of ten at a node.
    Power(NodeId, i32),
    /// The result as written.
    Copied,
}

/// Candidates of one family share its chance of being made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(in crate::review) enum Family {
    SwappedReading,
    SwappedResult,
    Misread,
    OtherHeating,
    OtherTrial,
    OtherRow,
    Vessel,
    NotSubtracted,
    UpsideDown,
    Multiplied,
    Hundred,
    OtherPower,
    NotebookFormula,
    RelatedFormula,
    FactorRatio,
    /// A subscript left out.
    NearFormula,
    LeftOut,
    AllRounded,
    /// To two decimals.
    RoundedLittle,
    OneRounded,
    Turned,
    Added,
    Divisor,
    OtherValue,
}

impl Family {
    pub(in crate::review) fn kind(self) -> SlipKind {
        match self {
            Family::SwappedReading | Family::SwappedResult => SlipKind::DigitsSwapped,
            Family::Misread => SlipKind::DigitMisread,
            Family::OtherHeating | Family::OtherTrial | Family::OtherRow => SlipKind::WrongReading,
            Family::Vessel | Family::NotSubtracted => SlipKind::VesselNotSubtracted,
            Family::UpsideDown | Family::Multiplied => SlipKind::RatioUpsideDown,
            Family::Hundred | Family::OtherPower => SlipKind::PowerOfTen,
            Family::NotebookFormula
            | Family::RelatedFormula
            | Family::NearFormula
            | Family::LeftOut
            | Family::FactorRatio => SlipKind::WrongMolarMass,
            Family::AllRounded | Family::RoundedLittle | Family::OneRounded => SlipKind::WeightsRounded,
            Family::Turned | Family::Added => SlipKind::Sign,
            Family::Divisor => SlipKind::WrongDenominator,
            Family::OtherValue => SlipKind::WrongQuantity,
        }
    }

    /// Whether it is made once, in one trial: a deed at the balance or with a number copied.
    pub(in crate::review) fn is_single(self) -> bool {
        matches!(self.kind(), SlipKind::DigitsSwapped | SlipKind::DigitMisread | SlipKind::WrongReading)
    }

    /// How often a slip is one of the family, against the others: judged, not measured.
    pub(in crate::review) fn share(self) -> f64 {
        match self {
            Family::SwappedReading | Family::Misread => 0.08,
            Family::SwappedResult | Family::OtherTrial => 0.04,
            Family::OtherRow => 0.02,
            Family::OtherHeating => 0.05,
            Family::Vessel | Family::UpsideDown | Family::Hundred | Family::AllRounded => 0.1,
            Family::NotebookFormula => 0.08,
            Family::Turned | Family::Added => 0.05,
            Family::Divisor => 0.09,
            Family::RelatedFormula | Family::OtherPower | Family::NearFormula | Family::LeftOut => 0.02,
            Family::OtherValue => 0.04,
            Family::NotSubtracted | Family::Multiplied | Family::FactorRatio => 0.015,
            Family::OneRounded | Family::RoundedLittle => 0.015,
        }
    }
}

/// A candidate that gives the claimed value.
#[derive(Clone, Debug)]
pub(in crate::review) struct Fit {
    pub(in crate::review) candidate: Candidate,
    /// What it was worked out from.
    pub(in crate::review) from: From,
    /// How many units of its last place the claim is above what it gives: 0, or little by rounding on the way.
    pub(in crate::review) off: i64,
    /// How far off it may be because earlier claims are known to half their last place only.
    pub(in crate::review) slack: i64,
    /// How likely its family makes just this slip here.
    pub(in crate::review) share: f64,
}

/// The candidates that give a region's claim.
pub(in crate::review) fn fitting(derivation: &Derivation, region: &Region, known: &Known) -> Vec<Fit> {
    if region.comparison.unit.zero().is_some() {
        return Vec::new();
    }
    let candidates = Search { derivation, region, known }.all();
    let bases: Vec<Base> =
        region.starts(derivation).into_iter().map(|from| Base::of(derivation, region, from)).collect();
    let mut fits: Vec<Fit> = Vec::new();
    for candidate in &candidates {
        let among = candidates.iter().filter(|other| other.family == candidate.family).count();
        let share = candidate.family.share() / among.max(1) as f64;
        let Some((from, off, slack)) = fit(derivation, region, candidate, &bases) else { continue };
        // The same thing told in two ways is one explanation.
        let same = |fit: &&mut Fit| {
            let (a, b) = (&fit.candidate, candidate);
            a.family.kind() == b.family.kind() && a.meant.is_none() && b.meant.is_none() && a.edit == b.edit
        };
        match fits.iter_mut().find(same) {
            Some(fit) => fit.share += share,
            None => fits.push(Fit { candidate: candidate.clone(), from, off, slack, share }),
        }
    }
    fits
}

/// A start with its values.
struct Base {
    from: From,
    values: Vec<f64>,
    slack: f64,
}

impl Base {
    fn of(derivation: &Derivation, region: &Region, from: From) -> Self {
        let values = region.base(derivation, from);
        // Only earlier claims that differ are known by what was written alone.
        let slack = region.slack(derivation, From::Differing, &values);
        Base { from, values, slack: if from == From::Recomputed { 0.0 } else { slack } }
    }
}

/// The start from which a candidate gives the claim best: to its last place, within what earlier claims leave
/// open, or one off.
fn fit(
    derivation: &Derivation,
    region: &Region,
    candidate: &Candidate,
    bases: &[Base],
) -> Option<(From, i64, i64)> {
    if let Some(meant) = &candidate.meant {
        let exact = |base: &&Base| {
            let values = region.exact(derivation, base.from, &[]);
            let in_unit = values.and_then(|values| region.comparison.in_unit(values.last()?));
            in_unit.is_some_and(|number| region.comparison.rounded(&number).to_number() == meant.to_number())
        };
        return bases.iter().find(exact).map(|base| (base.from, 0, 0));
    }
    let mut best: Option<(From, i64, i64)> = None;
    for base in bases {
        let values = region.floats(&base.values, base.from, &candidate.edit);
        let steps = region.float_steps(values.last().copied().unwrap_or(f64::NAN));
        if steps.is_nan() || steps.abs() > 1.6 + base.slack {
            continue;
        }
        let Some(off) = region.steps(derivation, base.from, &candidate.edit) else { continue };
        let slack = base.slack.ceil() as i64;
        let beyond = |off: i64, slack: i64| off.saturating_abs().saturating_sub(slack).max(0);
        if beyond(off, slack) <= 1 && best.is_none_or(|(_, o, s)| beyond(off, slack) < beyond(o, s)) {
            best = Some((base.from, off, slack));
        }
    }
    best
}

pub(super) struct Search<'a, 'r> {
    pub(super) derivation: &'a Derivation<'r>,
    pub(super) region: &'a Region<'r>,
    known: &'a Known,
}

impl Search<'_, '_> {
    fn all(&self) -> Vec<Candidate> {
        let mut all = Vec::new();
        self.result(&mut all);
        self.no_molar_masses(&mut all);
        self.rounded(&mut all);
        for (at, local) in self.region.nodes.iter().enumerate() {
            if !local.claims.is_empty() && at + 1 != self.region.nodes.len() {
                continue;
            }
            match local.inputs.is_empty() {
                true => self.leaf(at, local, &mut all),
                false => self.computed(at, local, &mut all),
            }
        }
        all.retain(|candidate| candidate.meant.is_some() || !candidate.edit.is_empty());
        let in_one_use: Vec<Candidate> =
            all.iter().flat_map(|candidate| self.in_one_use(candidate)).collect();
        all.extend(in_one_use);
        all
    }

    /// The same slip where only one of several uses of a value saw it: a ratio that stands twice in a formula is
    /// one value, but is keyed in twice.
    fn in_one_use(&self, candidate: &Candidate) -> Vec<Candidate> {
        let (Family::UpsideDown | Family::Multiplied | Family::NotebookFormula | Family::RelatedFormula) =
            candidate.family
        else {
            return Vec::new();
        };
        let [(mut at, _)] = candidate.edit[..] else { return Vec::new() };
        let mut uses = self.uses(at);
        while let [(user, _)] = *uses {
            at = user;
            uses = self.uses(at);
        }
        let one = |(user, position): &(usize, usize)| {
            let edit = vec![(*user, Change::InputBy(*position, at, candidate.edit.clone()))];
            Candidate { edit, ..candidate.clone() }
        };
        if uses.len() > 1 { uses.iter().map(one).collect() } else { Vec::new() }
    }

    pub(super) fn add(&self, all: &mut Vec<Candidate>, family: Family, edit: Edit, told: Told) {
        all.push(Candidate { family, edit, meant: None, told });
    }

    /// What may happen to the result as a whole.
    fn result(&self, all: &mut Vec<Candidate>) {
        let Some(at) = self.region.nodes.len().checked_sub(1) else { return };
        let node = self.region.nodes[at].node;
        for power in [-3, -2, -1, 1, 2, 3] {
            let family = if power == 2 || power == -2 { Family::Hundred } else { Family::OtherPower };
            self.add(
                all,
                family,
                vec![(at, Change::Times(Number::power_of_ten(power)))],
                Told::Power(node, power),
            );
        }
        if !self.region.comparison.by_magnitude {
            let turned = vec![(at, Change::Times(Number::one().neg()))];
            self.add(all, Family::Turned, turned, Told::At(node, 0));
        }
        for meant in digits::swapped(self.region.comparison.claimed) {
            let (family, told) = (Family::SwappedResult, Told::Copied);
            all.push(Candidate { family, edit: Vec::new(), meant: Some(meant), told });
        }
    }

    /// Atomic weights and molar masses rounded before use.
    fn rounded(&self, all: &mut Vec<Candidate>) {
        let table = &self.known.table;
        for decimals in 0..=2 {
            for weights in [true, false] {
                let mass = |formula: &Formula| match weights {
                    true => tables::from_rounded_weights(formula, table, decimals),
                    false => tables::rounded_mass(formula, table, decimals),
                };
                let edit = tables::edit(self.region, |leaf| leaf.value_by(table, mass));
                if edit.len() > 1 {
                    for (at, change) in &edit {
                        let told = Told::Rounded(weights, decimals, Some(self.region.nodes[*at].node));
                        self.add(all, Family::OneRounded, vec![(*at, change.clone())], told);
                    }
                }
                let family = if decimals < 2 { Family::AllRounded } else { Family::RoundedLittle };
                self.add(all, family, edit, Told::Rounded(weights, decimals, None));
            }
        }
    }

    /// A ratio of masses where one of amounts is meant.
    fn no_molar_masses(&self, all: &mut Vec<Candidate>) {
        let Some(last) = self.region.nodes.last() else { return };
        let edit = tables::edit(self.region, |leaf| {
            matches!(leaf, Leaf::Mass(_)).then(|| Number::from_ratio(1, 1000))
        });
        if edit.len() > 1 && self.derivation.results.graph.quantity(last.node).dimension.is_pure() {
            self.add(all, Family::LeftOut, edit, Told::NoMolarMasses(last.node));
        }
    }

    fn leaf(&self, at: usize, local: &Local, all: &mut Vec<Candidate>) {
        if let Some(written) = self.derivation.written.get(&local.node) {
            self.digits(at, local, written, all);
            self.readings(at, local, written, all);
        }
        if let Some(leaf) = Leaf::of(local.operation) {
            self.formulas(at, local, &leaf, all);
        }
    }

    fn digits(&self, at: usize, local: &Local, written: &Written, all: &mut Vec<Candidate>) {
        let mut each = |family, decimals: Vec<Decimal>| {
            for decimal in decimals {
                let Ok(number) = decimal.to_number().mul(written.unit.factor()) else { continue };
                let told = Told::Reading(local.node, decimal.to_string());
                self.add(all, family, vec![(at, Change::Becomes(number))], told);
            }
        };
        each(Family::SwappedReading, digits::swapped(&written.decimal));
        each(Family::Misread, digits::misread(&written.decimal));
    }

    /// Another reading in one place where this one is used.
    fn readings(&self, at: usize, local: &Local, written: &Written, all: &mut Vec<Candidate>) {
        let mut others: Vec<(Family, NodeId, &Number)> = Vec::new();
        let graph = &self.derivation.results.graph;
        for (node, other) in self.derivation.readings() {
            let last = self.derivation.stands_for(other.load, other.trial) == Some(node);
            let family = match (other.load == written.load, other.trial == written.trial) {
                (true, true) => Family::OtherHeating,
                (true, false) if last => Family::OtherTrial,
                (false, true) if last => Family::OtherRow,
                _ => continue,
            };
            let number = &graph.quantity(node).number;
            if node != local.node && *number != graph.quantity(local.node).number {
                others.push((family, node, number));
            }
        }
        let uses = self.uses(at);
        for (family, node, number) in others {
            let told = Told::Instead(local.node, node);
            if uses.len() > 1 {
                self.add(all, family, vec![(at, Change::Becomes(number.clone()))], told.clone());
            }
            for (user, input) in uses {
                let edit = vec![(*user, Change::Input(*input, number.clone()))];
                self.add(all, family, edit, told.clone());
            }
        }
    }

    /// Where a node is an input: the node and the position.
    pub(super) fn uses(&self, at: usize) -> &[(usize, usize)] {
        self.region.uses.get(at).map_or(&[], Vec::as_slice)
    }

    fn formulas(&self, at: usize, local: &Local, leaf: &Leaf, all: &mut Vec<Candidate>) {
        let table = &self.known.table;
        if let Leaf::Factor(..) = leaf {
            let one = vec![(at, Change::Becomes(Number::one()))];
            self.add(all, Family::LeftOut, one, Told::LeftOut(local.node));
        }
        let near =
            leaf.formulas().into_iter().flat_map(|formula| tables::without_a_subscript(&formula.text()));
        let near: Vec<(String, Formula)> = near.collect();
        let lists = [
            (Family::NotebookFormula, &self.known.formulas),
            (Family::NearFormula, &near),
            (Family::RelatedFormula, &self.known.related),
        ];
        let mut add = |family, value: Option<Number>, text: String| {
            let Some(value) = value.filter(|value| value != local.number) else { return };
            self.add(all, family, vec![(at, Change::Becomes(value))], Told::Formula(local.node, text));
        };
        for (family, list) in lists {
            for (text, formula) in list {
                match leaf {
                    Leaf::Mass(..) => add(family, tables::kilograms(formula, table), format!("M({text})")),
                    Leaf::Factor(analyte, weighed) => {
                        let Ok(own) = factor(analyte, weighed, table) else { continue };
                        let ratio = Number::from_fraction(own.ratio.clone());
                        let of = |upper: &Formula, lower: &Formula| {
                            let (upper, lower) =
                                (tables::kilograms(upper, table)?, tables::kilograms(lower, table)?);
                            ratio.mul(&upper).ok()?.div(&lower).ok()
                        };
                        add(family, of(analyte, formula), format!("M({text}) for M({})", weighed.text()));
                        add(family, of(formula, weighed), format!("M({text}) for M({})", analyte.text()));
                    }
                }
            }
        }
        if let Leaf::Factor(analyte, weighed) = leaf
            && let Ok(own) = factor(analyte, weighed, table)
        {
            let ratio = Number::from_fraction(own.ratio.clone());
            let without = own.value().div(&ratio).ok();
            add(Family::FactorRatio, without, "the factor without its coefficients".into());
        }
    }

    fn computed(&self, at: usize, local: &Local, all: &mut Vec<Candidate>) {
        let at_input = |input| Told::At(local.node, input);
        match local.operation {
            Operation::Combination(coefficients) => {
                for (input, _) in coefficients.iter().enumerate().filter(|(_, c)| c.is_negative()) {
                    self.add(all, Family::Vessel, vec![(at, Change::Without(input))], at_input(input));
                    self.add(all, Family::Added, vec![(at, Change::Added(input))], at_input(input));
                }
                self.add(all, Family::Turned, vec![(at, Change::Times(Number::one().neg()))], at_input(0));
            }
            Operation::Subtract => {
                self.other_values(at, local, 0, all);
                self.other_values(at, local, 1, all);
                self.add(all, Family::Turned, vec![(at, Change::Reversed)], at_input(0));
                self.add(all, Family::Added, vec![(at, Change::By(Operation::Add))], at_input(1));
                self.add(all, Family::NotSubtracted, vec![(at, Change::Without(1))], at_input(1));
            }
            Operation::Divide => {
                self.other_values(at, local, 0, all);
                let upside_down = self.in_bench_units(local, Change::Reversed);
                self.add(all, Family::UpsideDown, vec![(at, upside_down)], at_input(0));
                for upside_down in self.in_units_of_volume(local) {
                    self.add(all, Family::UpsideDown, vec![(at, upside_down)], at_input(0));
                }
                let multiplied = self.in_bench_units(local, Change::By(Operation::Multiply));
                self.add(all, Family::Multiplied, vec![(at, multiplied)], at_input(1));
                self.divisors(at, local, all);
            }
            Operation::Multiply => {
                self.other_values(at, local, 0, all);
                self.other_values(at, local, 1, all);
                self.product(at, local, all);
            }
            _ => {}
        }
        self.taken_for(at, local, all);
        let is_interior = at + 1 != self.region.nodes.len() && local.shown.is_some();
        if is_interior && self.derivation.results.graph.quantity(local.node).dimension.is_pure() {
            for power in [-2, 2] {
                let edit = vec![(at, Change::Times(Number::power_of_ten(power)))];
                self.add(all, Family::Hundred, edit, Told::Power(local.node, power));
            }
        }
    }

    /// An operation on numbers in g, mol, g/mol, whose result is read in the unit it should have had: the units of
    /// what comes out are others, and no one looked.
    fn in_bench_units(&self, local: &Local, change: Change) -> Change {
        let size = |dimension| Unit::from_base(dimension).factor().clone();
        let of = |at: usize| match self.region.nodes[local.inputs[at]].by_hand {
            // Parts of a mass of a mixture: a mass above, a pure number below.
            true if at == 0 => size(Unit::gram().dimension()),
            true => Number::one(),
            false => size(
                self.derivation.results.graph.quantity(self.region.nodes[local.inputs[at]].node).dimension,
            ),
        };
        let own = match local.by_hand {
            true => return change,
            false => size(self.derivation.results.graph.quantity(local.node).dimension),
        };
        let (left, right) = (of(0), of(1));
        let inputs = match &change {
            Change::Reversed => right.div(&left),
            Change::By(Operation::Multiply) => left.mul(&right),
            _ => left.div(&right),
        };
        match inputs.and_then(|inputs| own.div(&inputs)) {
            Ok(factor) if factor != Number::one() => Change::Scaled(Box::new(change), factor),
            _ => change,
        }
    }

    /// A mass over a volume, turned over in mg and L, in g and L or in g and mL, and then converted as the right one is.
    fn in_units_of_volume(&self, local: &Local) -> Vec<Change> {
        let graph = &self.derivation.results.graph;
        let own = graph.quantity(local.node).dimension;
        let is_content = !local.by_hand && Unit::parse("mg/L").is_ok_and(|unit| unit.dimension() == own);
        // The squares of 1 mg/L, 1 g/L and 1 g/mL in coherent units.
        let squares = if is_content { vec![-6, 0, 6] } else { Vec::new() };
        let turned = |power| Change::Scaled(Box::new(Change::Reversed), Number::power_of_ten(power));
        squares.into_iter().map(turned).collect()
    }

    /// A factor the other way up.
    fn product(&self, at: usize, local: &Local, all: &mut Vec<Candidate>) {
        for (input, other) in [(0, 1), (1, 0)] {
            let inner = &self.region.nodes[local.inputs[input]];
            let is_ratio = matches!(inner.operation, Operation::Stoichiometry(_) | Operation::MolarMass(_));
            if is_ratio && local.inputs[0] != local.inputs[1] {
                // a · f taken as a / f: for f · a, f turned over first.
                let edit = match other {
                    0 => vec![(at, self.in_bench_units(local, Change::By(Operation::Divide)))],
                    _ => vec![(local.inputs[input], inverse(inner.number))],
                };
                self.add(all, Family::UpsideDown, edit, Told::At(local.node, input));
            }
        }
    }

    /// Another value of the same kind and trial as the divisor.
    fn divisors(&self, at: usize, local: &Local, all: &mut Vec<Candidate>) {
        let graph = &self.derivation.results.graph;
        let divisor = self.region.nodes[local.inputs[1]].node;
        let own = graph.quantity(divisor);
        let trial = self.derivation.trial_of(local.node);
        let mut add = |node: NodeId| {
            let other = graph.quantity(node);
            let same =
                other.dimension == own.dimension && other.number != own.number && !other.number.is_zero();
            if same && node != divisor {
                let number = self.value_of(node, other.number.clone());
                self.add(
                    all,
                    Family::Divisor,
                    vec![(at, Change::Input(1, number))],
                    Told::Divisor(local.node, node),
                );
            }
        };
        // A pure number has too many others of its kind.
        if own.dimension.is_pure() {
            let theory = || self.region.nodes.iter().map(|local| local.node);
            if matches!(graph.node(divisor).operation, Operation::Magnitude) {
                theory().filter(|node| graph.node(*node).operation == Operation::Mean).for_each(&mut add);
            }
            return;
        }
        let here = |name: &Name| name.trial.is_none() || name.trial == trial;
        self.derivation.named().into_iter().filter(|(_, name)| here(name)).for_each(|(node, _)| add(node));
        for (node, written) in self.derivation.readings() {
            let last = self.derivation.stands_for(written.load, written.trial) == Some(node);
            if written.trial == trial && last {
                add(node);
            }
        }
    }

    /// An author's own value where it was claimed and differs.
    pub(super) fn value_of(&self, node: NodeId, recomputed: Number) -> Number {
        let claims = self.derivation.claims_of(node).iter();
        let differing = claims.copied().find(|claim| self.derivation.differs[*claim]);
        differing.and_then(|claim| self.derivation.claimed_number(claim)).unwrap_or(recomputed)
    }
}

fn inverse(number: &Number) -> Change {
    Change::Becomes(Number::one().div(number).unwrap_or_else(|_| Number::one()))
}
