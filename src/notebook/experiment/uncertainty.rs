//! The keys of `experiment` about uncertainty: coverage, second-order terms.

use super::super::context;
use super::super::passage::Passage;
use super::super::settings::{Coverage, DeclaredCorrelation, KnownRepeatability, MethodRepeatability};
use super::{Key, Reader, Value, in_order};
use crate::notebook::blocks::UncertaintyKind;
use crate::quantity::Unit;
use crate::span::Spanned;
use toml::de::DeValue;

const CORRELATION: &str =
    "write `[[correlation]]` and below it `between = [\"V(a)\", \"V(b)\"]` and `coefficient = 0.9`";
const METHOD: &str = "write `[method-repeatability]` and below it `\"w(water)\" = \"0.08 % dof = 24\"`";
/// Most symbols of one correlation.
const MOST_CORRELATED: usize = 50;

impl Reader<'_, '_> {
    /// `coverage = "k = 2"` or `"95 %"`
    pub(super) fn coverage(&mut self, key: &Key, value: &Value) {
        let Some(text) = self.text(key, value) else { return };
        match coverage(&text.value, self.cx.comma) {
            Ok(coverage) => self.settings.coverage = coverage,
            Err(problem) => self.bad(value, problem, "write `coverage = \"k = 2\"` or `coverage = \"95 %\"`"),
        }
    }

    /// `[[correlation]]` with `between` and `coefficient`
    pub(super) fn correlations(&mut self, value: &Value) {
        let DeValue::Array(list) = value.get_ref() else {
            return self.bad(value, "expected a list of correlations", CORRELATION);
        };
        for entry in list.iter() {
            match self.correlation(entry) {
                Ok(correlation) => self.settings.correlations.push(correlation),
                Err(problem) => self.bad(entry, problem, CORRELATION),
            }
        }
    }

    fn correlation(&self, entry: &Value) -> Result<DeclaredCorrelation, String> {
        let DeValue::Table(table) = entry.get_ref() else { return Err("expected a table".to_owned()) };
        let mut between = None;
        let mut coefficient = None;
        for (key, value) in in_order(table) {
            match key.get_ref().as_ref() {
                "between" => between = value.get_ref().as_array(),
                "coefficient" => coefficient = Some(value),
                other => return Err(format!("the key `{other}` of a correlation is not known")),
            }
        }
        let symbols = between.into_iter().flat_map(|list| list.iter()).filter_map(|symbol| {
            let text = symbol.get_ref().as_str()?.trim();
            Some(Spanned::new(text.to_owned(), self.place(symbol)))
        });
        let between: Vec<_> = symbols.take(MOST_CORRELATED).collect();
        if between.len() < 2 {
            return Err("a correlation needs two symbols".to_owned());
        }
        let written = coefficient.ok_or("a correlation without its coefficient")?;
        let number = self.number(written).filter(|r| (-1.0..=1.0).contains(r));
        let number = number.ok_or("a correlation coefficient is a number from -1 to 1")?;
        Ok(DeclaredCorrelation { between, coefficient: Spanned::new(number, self.place(written)) })
    }

    /// A number of TOML, or one written as a text.
    fn number(&self, value: &Value) -> Option<f64> {
        let (text, comma) = match value.get_ref() {
            DeValue::Float(number) => (number.as_str(), false),
            DeValue::Integer(number) => (number.as_str(), false),
            other => (other.as_str()?, self.cx.comma),
        };
        let negative = text.strip_prefix('-');
        let passage = Passage { text: negative.unwrap_or(text).trim(), start: 0 };
        let number = context::number(passage, comma, "a number").ok()?.to_number().to_f64();
        Some(if negative.is_some() { -number } else { number })
    }

    /// `[method-repeatability]` with a standard deviation for each symbol
    pub(super) fn method_repeatability(&mut self, value: &Value) {
        let DeValue::Table(table) = value.get_ref() else {
            return self.bad(value, "expected a standard deviation for each symbol", METHOD);
        };
        for (key, value) in in_order(table) {
            let Some(symbol) = self.key_symbol(key, METHOD) else { continue };
            let Some(known) = self.known_repeatability(key, value) else { continue };
            self.settings.method_repeatability.push(MethodRepeatability { symbol, known });
        }
    }

    fn known_repeatability(&mut self, key: &Key, value: &Value) -> Option<KnownRepeatability> {
        let text = value.get_ref().as_str().unwrap_or("").trim();
        match text {
            "in the formulas" => return Some(KnownRepeatability::InTheFormulas),
            "none" => return Some(KnownRepeatability::No),
            _ => {}
        }
        let relative = text.strip_prefix("relative ");
        let inner = toml::Spanned::new(value.span(), DeValue::String(relative.unwrap_or(text).into()));
        let stated = self.effect_of(key, &inner, "0.08 % dof = 24")?;
        if !matches!(stated.kind, UncertaintyKind::Rectangular | UncertaintyKind::Normal) {
            self.bad(
                value,
                "the repeatability of a method is the standard deviation of single results",
                METHOD,
            );
            return None;
        }
        let unit = stated.unit.clone().unwrap_or_else(Unit::one);
        if relative.is_some() && !unit.dimension().is_pure() {
            self.bad(value, format!("a relative standard deviation in {unit}; expected a fraction"), METHOD);
            return None;
        }
        Some(KnownRepeatability::Pooled {
            s: stated.value.to_number().to_f64() * unit.factor().to_f64(),
            dimension: relative.is_none().then(|| unit.dimension()),
            degrees_of_freedom: stated.degrees_of_freedom,
        })
    }

    /// `second-order = true`
    pub(super) fn second_order(&mut self, value: &Value) {
        match value.get_ref() {
            DeValue::Boolean(yes) => self.settings.second_order = *yes,
            _ => self.bad(value, "expected yes or no", "write `second-order = true`"),
        }
    }
}

/// A coverage factor `k = 2`, or a coverage probability `95 %`.
fn coverage(text: &str, comma: bool) -> Result<Coverage, String> {
    let number = |text: &str| {
        let passage = Passage { text: text.trim(), start: 0 };
        let number = context::number(passage, comma, "a number").map_err(|finding| finding.message)?;
        Ok::<f64, String>(number.to_number().to_f64())
    };
    if let Some(percent) = text.strip_suffix('%') {
        let probability = number(percent)? / 100.0;
        let usual = (0.5..1.0).contains(&probability);
        return usual
            .then_some(Coverage::Probability(probability))
            .ok_or_else(|| format!("`{text}` is no coverage probability; expected 50 % up to below 100 %"));
    }
    let factor = text.strip_prefix('k').and_then(|text| text.trim_start().strip_prefix('='));
    let factor = number(factor.ok_or_else(|| format!("`{text}` is no coverage"))?)?;
    let usual = (1.0..=10.0).contains(&factor);
    usual
        .then_some(Coverage::Factor(factor))
        .ok_or_else(|| format!("`{text}` is no coverage factor; expected 1 up to 10"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_and_probabilities() {
        assert_eq!(coverage("k = 2", false), Ok(Coverage::Factor(2.0)));
        assert_eq!(coverage("k=2,5", true), Ok(Coverage::Factor(2.5)));
        assert_eq!(coverage("99 %", false), Ok(Coverage::Probability(0.99)));
        for wrong in ["2", "k = ", "k = 0", "100 %", "95", "%", ""] {
            assert!(coverage(wrong, false).is_err(), "{wrong}");
        }
    }
}
