//! The keys of `experiment` about uncertainty: coverage, second-order terms.

use super::super::context;
use super::super::passage::Passage;
use super::super::settings::Coverage;
use super::{Key, Reader, Value};
use toml::de::DeValue;

impl Reader<'_, '_> {
    /// `coverage = "k = 2"` or `"95 %"`
    pub(super) fn coverage(&mut self, key: &Key, value: &Value) {
        let Some(text) = self.text(key, value) else { return };
        match coverage(&text.value, self.cx.comma) {
            Ok(coverage) => self.settings.coverage = coverage,
            Err(problem) => self.bad(value, problem, "write `coverage = \"k = 2\"` or `coverage = \"95 %\"`"),
        }
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
