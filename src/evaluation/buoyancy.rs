//! The correction for air buoyancy, where `[buoyancy]` asks for it: the factors of the things that have a density,
//! as nodes of the graph, so that what was measured in the room is in every budget.

use super::calculator::of_last_place;
use super::results::{AirResult, BuoyancyResult, CorrectedThing, Figure, StatedResult};
use super::uncertainty::{self, Input, Inputs, Source};
use crate::finding::{Code, Finding, nearest};
use crate::notebook::settings::{Air, Buoyancy, Room, Settings, Stated};
use crate::notebook::thing_key;
use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::{Digits, Dimension, Number, Quantity, QuantityError, Unit, print};
use crate::span::Span;
use crate::statistics::Distribution;
use crate::weighing::buoyancy::{self, CIPM_RANGE, CIPM_RELATIVE_UNCERTAINTY, RoomAir, oiml_air_density};
use std::collections::BTreeMap;
use std::sync::Arc;

/// The air, and the factor of each thing that is corrected.
pub(super) struct Correction {
    /// The things by key: as written in `[buoyancy.density]`, with the factor.
    things: BTreeMap<String, Thing>,
    /// The things in the order written.
    order: Vec<String>,
    air: NodeId,
    /// The leaves with their uncertainties.
    leaves: Vec<(NodeId, Source)>,
    check: Option<f64>,
}

struct Thing {
    written: String,
    place: Span,
    factor: NodeId,
}

impl Correction {
    /// The correction that the settings ask for; `None` where they ask for none, or where it cannot be made (a
    /// finding says why).
    pub(super) fn of(settings: &Settings, graph: &mut Graph, findings: &mut Vec<Finding>) -> Option<Self> {
        let asked = settings.buoyancy.as_ref()?;
        let Some(air) = asked.air.as_ref().filter(|_| !asked.densities.is_empty()) else {
            findings.push(incomplete(asked));
            return None;
        };
        let mut maker = Maker { graph, leaves: Vec::new() };
        match maker.correction(asked, air) {
            Ok(correction) => {
                findings.extend(range(asked, air));
                Some(correction)
            }
            Err((span, message)) => {
                let finding = Finding::error(Code::Buoyancy, span, message);
                findings.push(finding.hint("no mass is corrected"));
                None
            }
        }
    }

    /// The factor of a thing that has a density.
    pub(super) fn factor(&self, thing: &str) -> Option<NodeId> {
        self.things.get(thing).map(|thing| thing.factor)
    }

    /// Says how uncertain the air and the densities are.
    pub(super) fn uncertain(&self, inputs: &mut Inputs) {
        self.leaves.iter().for_each(|(leaf, source)| inputs.leaf(*leaf, [(source.clone(), 1.0)]));
    }

    /// Things with a density that the notebook does not weigh.
    pub(super) fn check_things<'a>(
        &self,
        known: impl Fn(&str) -> bool,
        weighed: impl Iterator<Item = &'a str> + Clone,
        findings: &mut Vec<Finding>,
    ) {
        for thing in self.things.iter().filter(|(key, _)| !known(key)).map(|(_, thing)| thing) {
            let message = format!("a density of {}, which is in no load", thing.written);
            let finding = Finding::warning(Code::Buoyancy, thing.place, message);
            findings.push(match nearest(&thing.written, weighed.clone()) {
                Some(meant) => finding.hint(format!("did you mean {meant}?")),
                None => finding.hint("write the thing as in `masses`"),
            });
        }
    }

    /// What the results say of it.
    pub(super) fn result(
        &self,
        settings: &Settings,
        inputs: &Inputs,
        graph: &Graph,
    ) -> Option<BuoyancyResult> {
        let asked = settings.buoyancy.as_ref()?;
        let how = asked.air.as_ref()?;
        let u = uncertainty::evaluate(inputs, graph, self.air, 1.0, settings).standard;
        let thing = |key: &String| {
            let thing = self.things.get(key)?;
            let number = graph.quantity(thing.factor).number.clone();
            let density = asked.densities.iter().find(|(name, _)| thing_key(&name.value) == *key)?;
            Some(CorrectedThing {
                thing: thing.written.clone(),
                density: stated_result("", &density.1),
                printed: print(&number, Digits::Measured(-6), settings.rounding),
                factor: number,
            })
        };
        let air = graph.quantity(self.air);
        Some(BuoyancyResult {
            air: match how {
                Air::Given(_) => AirResult::Given,
                Air::Room(room) => {
                    AirResult::Cipm2007 { conditions: conditions_of(room), simplified: self.check }
                }
            },
            density: printed_density(air, u, how, settings),
            density_uncertainty: u,
            weights: asked.weights.as_ref().map(|weights| stated_result("weights", weights)),
            things: self.order.iter().filter_map(thing).collect(),
        })
    }
}

/// Of the air in kg/m³: as stated, or to two figures of its standard uncertainty.
fn printed_density(air: &Quantity, u: f64, how: &Air, settings: &Settings) -> Figure {
    let place = if u > 0.0 { (u.log10().floor() as i32) - 1 } else { -5 };
    let digits = if matches!(how, Air::Given(_)) { air.digits } else { Digits::Measured(place) };
    Figure {
        number: air.number.clone(),
        printed: print(&air.number, digits, settings.rounding),
        uncertainty: None,
        by_figures: false,
    }
}

fn conditions_of(room: &Room) -> Vec<StatedResult> {
    let measured = [
        ("temperature", Some(&room.temperature)),
        ("pressure", Some(&room.pressure)),
        ("relative humidity", Some(&room.humidity)),
        ("amount fraction of carbon dioxide", room.carbon_dioxide.as_ref()),
    ];
    measured.into_iter().filter_map(|(name, stated)| Some(stated_result(name, stated?))).collect()
}

fn stated_result(name: &str, stated: &Stated) -> StatedResult {
    StatedResult {
        name: name.to_owned(),
        written: stated.decimal.to_string(),
        unit: stated.unit.symbol().to_owned(),
        standard_uncertainty: of_stated(stated).standard_uncertainty() / stated.unit.factor().to_f64(),
    }
}

/// The distribution of a stated value, in coherent SI units.
fn of_stated(stated: &Stated) -> Distribution {
    match &stated.uncertainty {
        Some(uncertainty) => uncertainty.distribution(&stated.unit),
        None => of_last_place(&stated.decimal, &stated.unit),
    }
}

/// The conditions in °C, hPa and per cent.
fn conditions(air: &Air) -> Option<[f64; 3]> {
    let Air::Room(room) = air else { return None };
    let in_si = |stated: &Stated| {
        Quantity::from_decimal(&stated.decimal, &stated.unit, true).ok().map(|q| q.number.to_f64())
    };
    Some([in_si(&room.temperature)? - 273.15, in_si(&room.pressure)? / 100.0, in_si(&room.humidity)? * 100.0])
}

/// The correction needs the air and a density; notebook and template together do not state both.
fn incomplete(asked: &Buoyancy) -> Finding {
    let (message, hint) = if asked.densities.is_empty() {
        (
            "no density is stated, so nothing is corrected",
            "write `[buoyancy.density]` and below it a density for each thing to be corrected",
        )
    } else {
        (
            "nothing is said of the air, so nothing is corrected",
            "write `temperature`, `pressure` and `humidity` (or `air-density`) below `[buoyancy]`",
        )
    };
    Finding::error(Code::Buoyancy, asked.span, message).hint(hint)
}

/// Conditions that the equation was not made for.
fn range(asked: &Buoyancy, air: &Air) -> Option<Finding> {
    let [celsius, hectopascal, _] = conditions(air)?;
    let (t, p) = CIPM_RANGE;
    let within = |value: f64, [least, most]: [f64; 2]| value >= least && value <= most;
    if within(celsius, t) && within(hectopascal * 100.0, p) {
        return None;
    }
    let message = format!(
        "the air was {celsius:.1} °C and {hectopascal:.1} hPa; CIPM-2007 holds from {} to {} °C and {} to {} hPa",
        t[0],
        t[1],
        p[0] / 100.0,
        p[1] / 100.0
    );
    let finding = Finding::warning(Code::Buoyancy, asked.span, message);
    Some(finding.hint("check the conditions and their units"))
}

type Made<T> = Result<T, (Span, String)>;

struct Maker<'g> {
    graph: &'g mut Graph,
    leaves: Vec<(NodeId, Source)>,
}

impl Maker<'_> {
    fn correction(&mut self, asked: &Buoyancy, how: &Air) -> Made<Correction> {
        let failed = |span: Span| move |error: QuantityError| (span, said(&error));
        let maker = self;
        let air = maker.air(asked.span, how)?;
        let weights = match &asked.weights {
            Some(weights) => maker.stated(weights, "density of the weights")?,
            None => maker.exact(Number::from_i64(8000), Dimension::DENSITY),
        };
        let mut things = BTreeMap::new();
        let mut order = Vec::new();
        for (name, density) in &asked.densities {
            let node = maker.stated(density, &format!("density of {}", name.value))?;
            if maker.graph.quantity(node).number <= maker.graph.quantity(air).number {
                let message = format!("{} would be no denser than the air", name.value);
                return Err((density.span, message));
            }
            let factor = buoyancy::factor(air, weights, node, maker.graph).map_err(failed(density.span))?;
            let thing = Thing { written: name.value.clone(), place: name.span, factor };
            let key = thing_key(&name.value);
            if things.insert(key.clone(), thing).is_some() {
                return Err((name.span, format!("{} has two densities", name.value)));
            }
            order.push(key);
        }
        let check = conditions(how).map(|[t, p, h]| oiml_air_density(t, p, h));
        Ok(Correction { things, order, air, leaves: std::mem::take(&mut maker.leaves), check })
    }

    fn air(&mut self, place: Span, air: &Air) -> Made<NodeId> {
        let stated = match air {
            Air::Given(density) => return self.stated(density, "density of the air"),
            Air::Room(room) => room,
        };
        let room = RoomAir {
            temperature: self.stated(&stated.temperature, "temperature of the air")?,
            pressure: self.stated(&stated.pressure, "pressure of the air")?,
            humidity: self.stated(&stated.humidity, "humidity of the air")?,
            carbon_dioxide: match &stated.carbon_dioxide {
                Some(carbon_dioxide) => self.stated(carbon_dioxide, "carbon dioxide in the air")?,
                None => self.exact(Number::from_ratio(4, 10_000), Dimension::PURE),
            },
            equation: self.equation(),
        };
        buoyancy::cipm_2007(&room, self.graph).map_err(|error| (place, said(&error)))
    }

    /// One, with the relative uncertainty of the equation.
    fn equation(&mut self) -> NodeId {
        let quantity = Quantity::exact(Number::one(), Unit::one().dimension());
        let operation = Operation::Measured { symbol: "equation of the air's density".into(), trial: None };
        let leaf = self.graph.add(Node { operation, inputs: NodeInputs::new(), quantity, span: None });
        let distribution = Distribution::Normal { standard_deviation: CIPM_RELATIVE_UNCERTAINTY };
        let source = Source::of(Input::Leaf(leaf), 1.0, Arc::new(Unit::one()), distribution);
        self.leaves.push((leaf, source));
        leaf
    }

    fn exact(&mut self, number: Number, dimension: Dimension) -> NodeId {
        let quantity = Quantity::exact(number, dimension);
        self.graph.add(Node {
            operation: Operation::Literal,
            inputs: NodeInputs::new(),
            quantity,
            span: None,
        })
    }

    fn stated(&mut self, stated: &Stated, name: &str) -> Made<NodeId> {
        let quantity = Quantity::from_decimal(&stated.decimal, &stated.unit, true)
            .map_err(|error| (stated.span, said(&error)))?;
        let operation = Operation::Measured { symbol: name.to_owned(), trial: None };
        let node = Node { operation, inputs: NodeInputs::new(), quantity, span: Some(stated.span) };
        let leaf = self.graph.add(node);
        let input = match stated.uncertainty {
            Some(_) => Input::Stated(leaf, 0),
            None => Input::LastPlace(leaf),
        };
        let estimate = self.graph.quantity(leaf).number.to_f64();
        let source = Source::of(input, estimate, Arc::new(stated.unit.clone()), of_stated(stated));
        let degrees_of_freedom = stated.uncertainty.as_ref().and_then(|said| said.degrees_of_freedom());
        self.leaves.push((leaf, Source { degrees_of_freedom, ..source }));
        Ok(leaf)
    }
}

fn said(error: &QuantityError) -> String {
    format!("the correction for air buoyancy cannot be computed: {error}")
}
