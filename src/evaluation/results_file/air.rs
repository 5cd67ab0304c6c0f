//! The correction for air buoyancy in the results file.

use super::number_object;
use crate::evaluation::results::{AirResult, BuoyancyResult, CorrectedThing, StatedResult};
use crate::evaluation::uncertainty::two_figures;
use serde_json::{Value, json};

pub(super) fn buoyancy_object(buoyancy: &BuoyancyResult) -> Value {
    let mut density = number_object(&buoyancy.density.number, &buoyancy.density.printed.ascii());
    density.insert("unit".into(), json!("kg/m^3"));
    density.insert("u".into(), json!(two_figures(buoyancy.density_uncertainty)));
    let (method, conditions, simplified) = match &buoyancy.air {
        AirResult::Given => ("stated", Vec::new(), None),
        AirResult::Cipm2007 { conditions, simplified } => {
            ("CIPM-2007", conditions.iter().map(stated_object).collect(), *simplified)
        }
    };
    json!({
        "air_density": density,
        "method": method,
        "conditions": conditions,
        "simplified": simplified.map(|density| format!("{density:.5}")),
        "weights": match &buoyancy.weights {
            Some(weights) => stated_object(weights),
            None => json!({ "name": "weights", "value": "8000", "unit": "kg/m^3", "u": null }),
        },
        "things": buoyancy.things.iter().map(thing_object).collect::<Vec<_>>(),
    })
}

fn thing_object(thing: &CorrectedThing) -> Value {
    json!({
        "thing": thing.thing,
        "density": stated_object(&thing.density),
        "factor": Value::Object(number_object(&thing.factor, &thing.printed.ascii())),
    })
}

fn stated_object(stated: &StatedResult) -> Value {
    json!({
        "name": stated.name,
        "value": stated.written,
        "unit": stated.unit,
        "u": two_figures(stated.standard_uncertainty),
    })
}
