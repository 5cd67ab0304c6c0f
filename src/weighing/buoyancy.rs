//! Air buoyancy: the density of moist air, and the factor from a mass as weighed to the mass.
//!
//! A balance adjusted with weights of density ρw shows for a body of density ρ in air of density ρa
//! m (1 − ρa/ρ)/(1 − ρa/ρw). A difference of two loads shows the same of what makes the difference: the vessel
//! displaces the same air both times and cancels, so the correction belongs to net masses, each with the density
//! of its own substance.
//!
//! Everything is a node of the derivation graph, with what was measured in the room as leaves.

use crate::quantity::derivation::{Graph, Node, NodeId, NodeInputs, Operation};
use crate::quantity::{Dimension, Number, Quantity, QuantityError};

type Result<T> = std::result::Result<T, QuantityError>;

/// What the density of the air depends on, as nodes.
#[derive(Clone, Copy, Debug)]
pub struct RoomAir {
    /// The temperature in K.
    pub temperature: NodeId,
    /// The pressure in Pa.
    pub pressure: NodeId,
    /// The relative humidity, 0 to 1.
    pub humidity: NodeId,
    /// The amount fraction of carbon dioxide.
    pub carbon_dioxide: NodeId,
    /// The equation itself: one, with the equation's own relative uncertainty.
    pub equation: NodeId,
}

/// The relative standard uncertainty of the equation without that of its inputs (CIPM-2007; from memory).
pub const CIPM_RELATIVE_UNCERTAINTY: f64 = 22e-6;

/// Where the equation holds: temperatures in °C and pressures in Pa (CIPM-2007; from memory).
pub const CIPM_RANGE: ([f64; 2], [f64; 2]) = ([15.0, 27.0], [60_000.0, 110_000.0]);

/// The density of moist air in kg/m³ as a node: A. Picard, R. S. Davis, M. Gläser, K. Fujii, Revised formula for the
/// density of moist air (CIPM-2007), Metrologia 45 (2008) 149.
///
/// # Errors
/// A pressure of zero, inputs of another dimension, or fractions beyond the size limit.
pub fn cipm_2007(air: &RoomAir, graph: &mut Graph) -> Result<NodeId> {
    let mut formula = Formula { graph };
    let kelvin = formula.bare(air.temperature, Dimension::TEMPERATURE)?;
    let pressure = formula.bare(air.pressure, Dimension::PRESSURE)?;
    let zero = formula.constant(27315, -2)?;
    let celsius = formula.minus(kelvin, zero)?;
    let vapour = formula.vapour(air.humidity, kelvin, celsius, pressure)?;
    let z = formula.compressibility(kelvin, celsius, pressure, vapour)?;
    let dry = formula.molar_mass(air.carbon_dioxide)?;
    let gas_constant = formula.constant(8_314_472, -6)?;
    let over = formula.times(pressure, dry)?;
    let under = formula.product(&[z, gas_constant, kelvin])?;
    let of_dry = formula.over(over, under)?;
    let water = formula.constant(1_801_528, -8)?;
    let moisture = formula.one_minus_ratio(water, dry)?;
    let moisture = formula.times(vapour, moisture)?;
    let one = formula.constant(1, 0)?;
    let moist = formula.minus(one, moisture)?;
    let density = formula.unit(Dimension::DENSITY);
    formula.product(&[of_dry, moist, air.equation, density])
}

/// The factor from a mass as weighed to the mass: (1 − ρa/ρw)/(1 − ρa/ρ), as a node.
///
/// # Errors
/// A density of zero, or one as small as that of the air; densities of another dimension.
pub fn factor(air: NodeId, weights: NodeId, density: NodeId, graph: &mut Graph) -> Result<NodeId> {
    let mut formula = Formula { graph };
    let of_weights = formula.one_minus_ratio(air, weights)?;
    let of_body = formula.one_minus_ratio(air, density)?;
    formula.over(of_weights, of_body)
}

/// The density of moist air in kg/m³ by the simplified form of OIML R 111-1:2004, E.3.2 (from memory): t in °C, p in
/// hPa, h in per cent. Good to 2e-4 relative from 900 to 1100 hPa, 10 to 30 °C and below 80 %.
pub fn oiml_air_density(celsius: f64, hectopascal: f64, percent: f64) -> f64 {
    (0.34848 * hectopascal - 0.009 * percent * (0.061 * celsius).exp()) / (273.15 + celsius)
}

/// Adds the steps of a formula to a graph.
struct Formula<'g> {
    graph: &'g mut Graph,
}

impl Formula<'_> {
    fn literal(&mut self, quantity: Quantity) -> NodeId {
        self.graph.add(Node {
            operation: Operation::Literal,
            inputs: NodeInputs::new(),
            quantity,
            span: None,
        })
    }

    /// digits × 10^power
    fn constant(&mut self, digits: i64, power: i32) -> Result<NodeId> {
        let number = Number::from_i64(digits).mul(&Number::power_of_ten(power))?;
        Ok(self.literal(Quantity::exact(number, Dimension::PURE)))
    }

    /// One coherent unit of a dimension.
    fn unit(&mut self, dimension: Dimension) -> NodeId {
        self.literal(Quantity::exact(Number::one(), dimension))
    }

    fn step(
        &mut self,
        operation: Operation,
        [a, b]: [NodeId; 2],
        of: fn(&Quantity, &Quantity) -> Result<Quantity>,
    ) -> Result<NodeId> {
        let quantity = of(self.graph.quantity(a), self.graph.quantity(b))?;
        Ok(self.graph.add(Node { operation, inputs: NodeInputs::from_slice(&[a, b]), quantity, span: None }))
    }

    fn plus(&mut self, a: NodeId, b: NodeId) -> Result<NodeId> {
        self.step(Operation::Add, [a, b], Quantity::add)
    }

    fn minus(&mut self, a: NodeId, b: NodeId) -> Result<NodeId> {
        self.step(Operation::Subtract, [a, b], Quantity::sub)
    }

    fn times(&mut self, a: NodeId, b: NodeId) -> Result<NodeId> {
        self.step(Operation::Multiply, [a, b], Quantity::mul)
    }

    fn over(&mut self, a: NodeId, b: NodeId) -> Result<NodeId> {
        self.step(Operation::Divide, [a, b], Quantity::div)
    }

    fn product(&mut self, factors: &[NodeId]) -> Result<NodeId> {
        let one = self.constant(1, 0)?;
        factors.iter().try_fold(one, |product, factor| self.times(product, *factor))
    }

    fn exponential(&mut self, a: NodeId) -> Result<NodeId> {
        let quantity = self.graph.quantity(a).exp()?;
        Ok(self.graph.add(Node {
            operation: Operation::Exponential,
            inputs: NodeInputs::from_slice(&[a]),
            quantity,
            span: None,
        }))
    }

    /// 1 − a/b
    fn one_minus_ratio(&mut self, a: NodeId, b: NodeId) -> Result<NodeId> {
        let ratio = self.over(a, b)?;
        let one = self.constant(1, 0)?;
        self.minus(one, ratio)
    }

    /// A quantity over its coherent unit: a pure number.
    fn bare(&mut self, quantity: NodeId, dimension: Dimension) -> Result<NodeId> {
        let unit = self.unit(dimension);
        self.over(quantity, unit)
    }

    /// c0 + c1 x + c2 x² …, each coefficient as digits and power of ten.
    fn polynomial(&mut self, coefficients: &[(i64, i32)], x: NodeId) -> Result<NodeId> {
        let mut sum = self.constant(0, 0)?;
        for (digits, power) in coefficients.iter().rev() {
            let coefficient = self.constant(*digits, *power)?;
            let higher = self.times(sum, x)?;
            sum = self.plus(higher, coefficient)?;
        }
        Ok(sum)
    }

    /// The amount fraction of water vapour: h f(p, t) p_sv(T)/p.
    fn vapour(
        &mut self,
        humidity: NodeId,
        kelvin: NodeId,
        celsius: NodeId,
        pressure: NodeId,
    ) -> Result<NodeId> {
        let with_pressure = self.polynomial(&[(100_062, -5), (314, -10)], pressure)?;
        let with_temperature = self.polynomial(&[(0, 0), (0, 0), (56, -8)], celsius)?;
        let enhancement = self.plus(with_pressure, with_temperature)?;
        let saturation = self.saturation_pressure(kelvin)?;
        let partial = self.product(&[humidity, enhancement, saturation])?;
        self.over(partial, pressure)
    }

    /// exp(A T² + B T + C + D/T), in Pa.
    fn saturation_pressure(&mut self, kelvin: NodeId) -> Result<NodeId> {
        let polynomial =
            self.polynomial(&[(3_393_711_047, -8), (-19_121_316, -9), (12_378_847, -12)], kelvin)?;
        let d = self.constant(-63_431_645, -4)?;
        let last = self.over(d, kelvin)?;
        let exponent = self.plus(polynomial, last)?;
        self.exponential(exponent)
    }

    /// 1 − p/T [a0 + a1 t + a2 t² + (b0 + b1 t) x + (c0 + c1 t) x²] + p²/T² (d + e x²)
    fn compressibility(
        &mut self,
        kelvin: NodeId,
        celsius: NodeId,
        pressure: NodeId,
        vapour: NodeId,
    ) -> Result<NodeId> {
        let a = self.polynomial(&[(158_123, -11), (-29_331, -12), (11_043, -14)], celsius)?;
        let b = self.polynomial(&[(5_707, -9), (-2_051, -11)], celsius)?;
        let c = self.polynomial(&[(19_898, -8), (-2_376, -9)], celsius)?;
        let b = self.times(b, vapour)?;
        let c = self.product(&[c, vapour, vapour])?;
        let bracket = self.plus(a, b)?;
        let bracket = self.plus(bracket, c)?;
        let ratio = self.over(pressure, kelvin)?;
        let first = self.times(ratio, bracket)?;
        let second = self.polynomial(&[(183, -13), (0, 0), (-765, -11)], vapour)?;
        let second = self.product(&[ratio, ratio, second])?;
        let one = self.constant(1, 0)?;
        let z = self.minus(one, first)?;
        self.plus(z, second)
    }

    /// Of dry air in kg/mol: (28.96546 + 12.011 (x − 0.0004)) × 10⁻³.
    fn molar_mass(&mut self, carbon_dioxide: NodeId) -> Result<NodeId> {
        let usual = self.constant(4, -4)?;
        let more = self.minus(carbon_dioxide, usual)?;
        self.polynomial(&[(2_896_546, -8), (12_011, -6)], more)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Digits;

    fn leaf(graph: &mut Graph, value: (i64, i64), dimension: Dimension) -> NodeId {
        let quantity =
            Quantity { number: Number::from_ratio(value.0, value.1), dimension, digits: Digits::Exact };
        graph.add(Node { operation: Operation::Literal, inputs: NodeInputs::new(), quantity, span: None })
    }

    /// At t in hundredths of a °C, p in Pa, h in per cent.
    fn air(celsius: i64, pascal: i64, percent: i64) -> (Graph, NodeId) {
        let mut graph = Graph::default();
        let room = RoomAir {
            temperature: leaf(&mut graph, (27315 + celsius, 100), Dimension::TEMPERATURE),
            pressure: leaf(&mut graph, (pascal, 1), Dimension::PRESSURE),
            humidity: leaf(&mut graph, (percent, 100), Dimension::PURE),
            carbon_dioxide: leaf(&mut graph, (4, 10_000), Dimension::PURE),
            equation: leaf(&mut graph, (1, 1), Dimension::PURE),
        };
        let density = cipm_2007(&room, &mut graph).unwrap();
        (graph, density)
    }

    fn density(celsius: i64, pascal: i64, percent: i64) -> f64 {
        let (graph, density) = air(celsius, pascal, percent);
        graph.quantity(density).number.to_f64()
    }

    // The constants as read in the R package masscor, R/airDensity.R. The values are those of an implementation of its
    // own in floating point, not published ones. 816.33 hPa are 612.3 mmHg.
    #[test]
    fn an_independent_evaluation_of_the_same_equation() {
        for (celsius, pascal, percent, expected) in [
            (2000, 101_325, 50, 1.199_314),
            (2000, 100_000, 50, 1.183_557),
            (2340, 81_633, 23, 0.956_301),
            (1500, 95_000, 30, 1.146_656),
            (2500, 102_000, 60, 1.183_814),
        ] {
            let found = density(celsius, pascal, percent);
            assert!((found - expected).abs() < 1.1e-6, "{found} is not {expected}");
        }
    }

    // OIML R 111-1:2004, E.3.2: the simplified form is within 2e-4 of the full one (as it was then; 1e-4 more for the
    // revision of 2007) from 900 to 1100 hPa, 10 to 30 °C and below 80 %.
    #[test]
    fn the_simplified_form_is_near() {
        for celsius in (1000..=3000).step_by(500) {
            for pascal in (90_000..=110_000).step_by(5_000) {
                for percent in (0..80).step_by(20) {
                    let full = density(celsius, pascal, percent);
                    let simple =
                        oiml_air_density(celsius as f64 / 100.0, pascal as f64 / 100.0, percent as f64);
                    assert!((simple / full - 1.0).abs() < 3e-4, "{celsius} {pascal} {percent}");
                }
            }
        }
    }

    fn factor_of(air: (i64, i64), weights: (i64, i64), body: (i64, i64)) -> f64 {
        let mut graph = Graph::default();
        let [air, weights, body] =
            [air, weights, body].map(|value| leaf(&mut graph, value, Dimension::DENSITY));
        let factor = factor(air, weights, body, &mut graph).unwrap();
        graph.quantity(factor).number.to_f64()
    }

    // OIML D 28, conventional mass: air of 1.2 kg/m³ and weights of 8000 kg/m³, 1 − 1.2/8000 = 0.99985.
    #[test]
    fn the_reference_conditions_of_conventional_mass() {
        let of_nothing_displaced = factor_of((12, 10), (8000, 1), (i64::MAX, 1));
        assert!((of_nothing_displaced - 0.999_85).abs() < 1e-12);
        assert!((factor_of((12, 10), (8000, 1), (8000, 1)) - 1.0).abs() < 1e-15);
    }

    #[test]
    fn what_floats_has_no_factor() {
        let mut graph = Graph::default();
        let [air, weights, body] =
            [12, 80_000, 12].map(|tenths| leaf(&mut graph, (tenths, 10), Dimension::DENSITY));
        assert!(factor(air, weights, body, &mut graph).is_err());
    }
}
