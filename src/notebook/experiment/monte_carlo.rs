//! `monte-carlo`: whether results are evaluated by Monte Carlo draws too, and how.

use super::super::settings::MonteCarloKeys;
use super::{Key, Reader, Value, in_order};
use crate::finding::{Code, Finding, nearest};
use std::ops::RangeInclusive;
use toml::de::DeValue;

const KEYS: [&str; 2] = ["digits", "draws"];
/// How many draws may be asked for: enough for an interval, and no more than fit the memory of a small machine.
const DRAWS: RangeInclusive<u64> = 10_000..=10_000_000;

impl Reader<'_, '_> {
    /// `monte-carlo = true`, `false` or `{ digits = 1, draws = 1_000_000 }`
    pub(super) fn monte_carlo(&mut self, value: &Value) {
        let mut keys = MonteCarloKeys::default();
        match value.get_ref() {
            DeValue::Boolean(yes) => keys.off = !yes,
            DeValue::Table(table) => {
                for (key, value) in in_order(table) {
                    self.monte_carlo_entry(&mut keys, key, value);
                }
            }
            _ => {
                let hint = "write `monte-carlo = true`, or `monte-carlo = { digits = 2 }`";
                return self.bad(value, "expected yes, no or a table", hint);
            }
        }
        self.settings.monte_carlo = Some(keys);
    }

    fn monte_carlo_entry(&mut self, keys: &mut MonteCarloKeys, key: &Key, value: &Value) {
        match key.get_ref().as_ref() {
            "digits" => {
                let digits = self.whole(value, 1..=2, "write `digits = 1` or `digits = 2`");
                keys.digits = digits.and_then(|digits| u32::try_from(digits).ok());
            }
            "draws" => {
                let draws = self.whole(value, DRAWS, "write `draws = 1_000_000`");
                keys.draws = draws.and_then(|draws| usize::try_from(draws).ok());
            }
            name => {
                let message = format!("the key `{name}` of `monte-carlo` is not known");
                let finding = Finding::warning(Code::UnknownKey, self.place(key), message);
                self.cx.push(match nearest(name, KEYS) {
                    Some(meant) => finding.hint(format!("did you mean `{meant}`?")),
                    None => finding.hint("it takes `digits` and `draws`; `seed` is a key of its own"),
                });
            }
        }
    }

    /// A whole number within limits.
    fn whole(&mut self, value: &Value, limits: RangeInclusive<u64>, hint: &str) -> Option<u64> {
        let number = value.get_ref().as_integer();
        let number = number
            .and_then(|number| u64::from_str_radix(&number.as_str().replace('_', ""), number.radix()).ok());
        let within = number.filter(|number| limits.contains(number));
        if within.is_none() {
            let message = format!("expected a whole number from {} to {}", limits.start(), limits.end());
            self.bad(value, message, hint);
        }
        within
    }
}
