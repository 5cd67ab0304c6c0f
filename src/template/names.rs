//! Whether the quantities that a template names outside its method exist: in `[aliases]`, `[[sample]]`, `[[question]]`
//! and in the marks. Students do not see this; `template check` says it.

use super::aliases::{folded, used_in};
use super::apply::{Defined, names_of};
use super::folder::{MARKING, placed};
use super::marks::MARKS;
use super::model::{Alias, SampleSize, Template, When};
use super::required;
use crate::evaluation::results::Results;
use crate::finding::{Code, Finding, nearest};
use crate::notebook::blocks::BlockKind;
use crate::notebook::{Notebook, things};
use crate::span::{Span, Spanned};
use std::collections::BTreeSet;
use toml::de::{DeTable, DeValue};

/// Says which names of a template nothing defines. `sample` is its sample data with what they gave, `headings` are those
/// of its skeleton.
pub(super) fn check(
    template: &Template,
    sample: Option<&(Notebook, Results)>,
    headings: &[String],
) -> Vec<Finding> {
    let known = Known::of(template, sample);
    let [toml, local] = template.rules_texts().map(|(_, text)| text);
    let in_rules = |finding: Finding| {
        let finding = placed(finding, &toml, &local);
        let file = finding.file.as_deref().map(|file| template.path(file));
        Finding { file, ..finding }
    };
    let mut said: Vec<Finding> = template.aliases.iter().flat_map(|alias| known.alias(alias)).collect();
    said.extend(template.samples.iter().filter_map(|size| known.size(size, sample)));
    let asked = template.questions.iter().filter(|question| question.when != When::Always);
    said.extend(asked.filter_map(|question| known.error_of(question.of.as_ref()?)));
    let mut said: Vec<Finding> = said.into_iter().map(in_rules).collect();
    said.extend(marks(template, &known, headings));
    said
}

/// The names there are.
struct Known {
    /// Of quantities: the method's, those of the loads, those the sample data have.
    symbols: BTreeSet<String>,
    /// Those the method defines itself.
    by_method: BTreeSet<String>,
    /// Those with a theory.
    theories: BTreeSet<String>,
}

impl Known {
    fn of(template: &Template, sample: Option<&(Notebook, Results)>) -> Self {
        let defined = Defined::in_blocks(&template.method);
        let mut symbols = used_in(&template.method);
        symbols.extend(template.method.iter().flat_map(|block| match &block.kind {
            BlockKind::Mixture(mixture) => names_of(mixture),
            _ => Vec::new(),
        }));
        for load in &template.required.loads {
            symbols.extend(things(&load.load).iter().map(|thing| folded(&format!("m({thing})"))));
        }
        let mut theories = defined.theories.clone();
        if let Some((notebook, results)) = sample {
            symbols.extend(results.quantities.iter().map(|quantity| quantity.symbol.clone()));
            theories.extend(Defined::of(notebook).theories);
        }
        Known { symbols, by_method: defined.results, theories }
    }

    /// A name that nothing defines.
    fn unknown(&self, name: &Spanned<String>, what: &str) -> Option<Finding> {
        let symbol = folded(&name.value);
        if self.symbols.contains(&symbol) {
            return None;
        }
        let message = format!("{what} {symbol}, which neither the method nor a load defines");
        Some(suggested(Finding::warning(Code::UnknownSymbol, name.span, message), &symbol, &self.symbols))
    }

    /// The method's name has to exist, and the others may not be the method's own.
    fn alias(&self, alias: &Alias) -> Vec<Finding> {
        let own = |other: &&Spanned<String>| self.by_method.contains(&folded(&other.value));
        let taken = |other: &Spanned<String>| {
            let message = format!(
                "the method defines {} itself, so it is no other name of {}",
                other.value, alias.symbol.value
            );
            Finding::warning(Code::BadTemplate, other.span, message).hint("take it out of the list")
        };
        let unknown = self.unknown(&alias.symbol, "other names of");
        unknown.into_iter().chain(alias.others.iter().filter(own).map(taken)).collect()
    }

    /// The usual size of a sample: of something that is there, and in a unit that fits it.
    fn size(&self, size: &SampleSize, sample: Option<&(Notebook, Results)>) -> Option<Finding> {
        if let Some(unknown) = self.unknown(&size.symbol, "the usual size of") {
            return Some(unknown);
        }
        let symbol = folded(&size.symbol.value);
        let quantity = sample?.1.quantities.iter().find(|quantity| quantity.symbol == symbol)?;
        let (found, wanted) = (quantity.unit.dimension(), size.range.0.dimension);
        let message = format!(
            "the usual size of {symbol} is in {}, and {symbol} is in {}",
            size.unit.symbol(),
            quantity.unit.symbol()
        );
        let finding = || Finding::warning(Code::BadTemplate, size.symbol.span, message);
        (found != wanted).then(|| finding().hint("both are of one kind, as grams and milligrams are"))
    }

    /// A question that is asked by the sign of an error is about something with a theory.
    fn error_of(&self, of: &Spanned<String>) -> Option<Finding> {
        if let Some(unknown) = self.unknown(of, "a question about the error of") {
            return Some(unknown);
        }
        let symbol = folded(&of.value);
        if self.theories.contains(&symbol) {
            return None;
        }
        let message = format!("a question about the error of {symbol}, which has no theory");
        let finding = Finding::warning(Code::BadTemplate, of.span, message);
        let hint = "give it one in the method, or in the sample data where the theory is another one for each unknown";
        Some(finding.hint(hint))
    }
}

/// A finding with the name that may be meant, else with all there are.
fn suggested(finding: Finding, name: &str, known: &BTreeSet<String>) -> Finding {
    match nearest(name, known.iter().map(String::as_str)) {
        Some(meant) => finding.hint(format!("did you mean {meant}?")),
        None => {
            let names: Vec<&str> = known.iter().map(String::as_str).collect();
            finding.hint(format!("there are {}", names.join(", ")))
        }
    }
}

/// The claims, results and headings that marks are given for.
fn marks(template: &Template, known: &Known, headings: &[String]) -> Vec<Finding> {
    let Some(bytes) = template.marking.get(MARKS) else { return Vec::new() };
    let text = String::from_utf8_lossy(bytes).into_owned();
    let (table, _) = DeTable::parse_recoverable(&text);
    let list = table.get_ref().get("mark").and_then(|value| value.get_ref().as_array());
    let mut said = Vec::new();
    for mark in list.into_iter().flat_map(|list| list.iter()) {
        let DeValue::Table(mark) = mark.get_ref() else { continue };
        let stated = |key: &str| {
            let value = mark.get(key)?;
            Some(Spanned::new(value.get_ref().as_str()?.to_owned(), Span::from(value.span())))
        };
        let of = ["claim", "accuracy", "agreement"].into_iter().filter_map(stated);
        said.extend(of.filter_map(|of| known.unknown(&of_claim(of), "marks for")));
        said.extend(stated("heading").and_then(|heading| no_heading(&heading, headings)));
    }
    let path = template.path(&format!("{MARKING}/{MARKS}"));
    said.into_iter().map(|finding| finding.in_text(&path, &text)).collect()
}

/// The symbol of a claim: `mean w(water)` is one of `w(water)`.
fn of_claim(claim: Spanned<String>) -> Spanned<String> {
    let words = [
        "relative difference ",
        "relative s ",
        "average deviation ",
        "percent error ",
        "mean ",
        "range ",
        "s ",
    ];
    let mut symbol = claim.value.trim();
    while let Some(rest) = words.iter().find_map(|word| symbol.strip_prefix(word)) {
        symbol = rest.trim_start();
    }
    Spanned::new(symbol.to_owned(), claim.span)
}

fn no_heading(heading: &Spanned<String>, headings: &[String]) -> Option<Finding> {
    let wanted = required::folded(&heading.value);
    if headings.is_empty() || headings.iter().any(|found| required::folded(found) == wanted) {
        return None;
    }
    let message = format!("marks for a section “{}”, which the skeleton does not have", heading.value);
    let finding = Finding::warning(Code::BadTemplate, heading.span, message);
    Some(match nearest(&heading.value, headings.iter().map(String::as_str)) {
        Some(meant) => finding.hint(format!("did you mean “{meant}”?")),
        None => finding.hint(format!("its sections are “{}”", headings.join("”, “"))),
    })
}
