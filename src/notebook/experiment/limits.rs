//! `[[limit]]`: a specification that a result is held against, with the rule of the decision.

use super::{Key, Reader, Value, in_order, kind};
use crate::finding::{Code, Finding};
use crate::notebook::expression::Parser;
use crate::notebook::passage::Passage;
use crate::notebook::rules;
use crate::notebook::settings::{Bound, Decision, Limit};
use crate::span::Spanned;
use toml::de::{DeTable, DeValue};

const KEYS: &[&str] = &["of", "not-more-than", "not-less-than", "decision"];

const HINT: &str = "write `[[limit]]` with `of = \"w(water)\"`, `not-more-than = \"0.50 %\"` (or `not-less-than`) and \
                    `decision = \"simple acceptance\"` or `\"guard band\"`";

impl Reader<'_, '_> {
    pub(super) fn limits(&mut self, value: &Value) {
        match value.get_ref() {
            DeValue::Array(list) => list.iter().for_each(|limit| self.limit(limit)),
            DeValue::Table(_) => self.limit(value),
            other => self.bad(value, format!("`limit` is {}", kind(other)), HINT),
        }
    }

    fn limit(&mut self, value: &Value) {
        let DeValue::Table(table) = value.get_ref() else {
            return self.bad(value, format!("a limit is {}", kind(value.get_ref())), HINT);
        };
        for (name, _) in in_order(table).iter().filter(|(name, _)| !KEYS.contains(&name.get_ref().as_ref())) {
            self.unknown_of(name, KEYS);
        }
        let of = table.get_key_value("of").and_then(|(key, value)| self.symbol(key, value));
        let at_most = self.bound(table, "not-more-than");
        let at_least = self.bound(table, "not-less-than");
        let decision = table.get("decision").and_then(|value| self.decision(value));
        let lacks = match (&of, at_most.is_some() || at_least.is_some(), decision) {
            (None, ..) if !table.contains_key("of") => "`of`: the symbol that is held against it",
            (_, false, _) if !table.contains_key("not-more-than") && !table.contains_key("not-less-than") => {
                "`not-more-than` or `not-less-than`"
            }
            (_, _, None) if !table.contains_key("decision") => {
                "`decision`: a verdict is worth what its rule says about the uncertainty"
            }
            (Some(of), true, Some(decision)) => {
                let limit = Limit { of: of.clone(), at_most, at_least, decision };
                return self.in_bounds(limit, value);
            }
            // What is there cannot be used, and a finding has said so.
            _ => return,
        };
        self.bad(value, format!("a limit lacks {lacks}"), HINT);
    }

    fn in_bounds(&mut self, limit: Limit, value: &Value) {
        if let (Some(most), Some(least)) = (&limit.at_most, &limit.at_least) {
            if most.quantity.dimension != least.quantity.dimension {
                return self.bad(value, "the two bounds are of different kinds", "give both the same unit");
            }
            if most.quantity.number < least.quantity.number {
                return self.bad(value, "`not-more-than` is below `not-less-than`", "exchange the two");
            }
        }
        self.settings.limits.push(limit);
    }

    /// A symbol as the text of a value.
    fn symbol(&mut self, key: &Key, value: &Value) -> Option<Spanned<String>> {
        let text = self.text(key, value)?;
        match Parser::new(Passage { text: &text.value, start: 0 }, false).symbol() {
            Ok(symbol) => Some(Spanned::new(symbol.value.to_string(), text.span)),
            Err(_) => {
                let finding =
                    Finding::error(Code::BadSetting, text.span, format!("`{}` is no symbol", text.value));
                self.cx.push(finding.hint("write a result's name as in `working`: `of = \"w(water)\"`"));
                None
            }
        }
    }

    fn bound(&mut self, table: &DeTable, key: &str) -> Option<Bound> {
        let (key, value) = table.get_key_value(key)?;
        let text = self.text(key, value)?;
        let bound = rules::amount_or_number(&text.value, self.cx.comma).and_then(|(number, unit)| {
            let quantity = rules::quantity(&number, &unit)?;
            Ok(Bound { quantity, unit, written: number.to_string() })
        });
        bound.map_err(|problem| self.bad(value, problem, HINT)).ok()
    }

    fn decision(&mut self, value: &Value) -> Option<Decision> {
        let choices =
            [("simple acceptance", Decision::SimpleAcceptance), ("guard band", Decision::GuardBand)];
        self.choice(value, &choices)
    }
}
