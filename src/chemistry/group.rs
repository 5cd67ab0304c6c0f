//! An element or a group within a formula: how many of it one formula unit holds.
//!
//! A group that stands in the formula as written (`OH` in `Ca(OH)2`, `H2O` in `CuSO4·5H2O`) is counted there.
//! Any other is counted by its elements other than oxygen and hydrogen, which come and go with drying and
//! ignition; the formula has to hold all of it (`CO2` in `CaCO3`, but no `Fe2O3` in `Fe3O4`).

use dashu_ratio::RBig;

use super::factor::deciding;
use super::formula::{Formula, Item};

/// How many of an element or a group a formula holds; `None` where it holds none, or no clear number.
pub fn count_in(group: &Formula, whole: &Formula) -> Option<RBig> {
    let atoms = group.composition_as_written();
    let held = whole.composition_as_written();
    let of = |element: &str| held.iter().find(|(other, _)| other == element).map(|(_, count)| count);
    if let [(element, count)] = atoms.as_slice() {
        return Some(of(element)? / count);
    }
    let [part] = group.parts.as_slice() else { return None };
    let written =
        whole.parts.iter().map(|part_of| part_of.count.fraction() * in_items(&part.items, &part_of.items));
    let written = written.fold(RBig::ZERO, |sum, count| sum + count);
    if !written.is_zero() {
        return Some(written / part.count.fraction());
    }
    let ratios: Vec<(String, RBig)> = atoms
        .iter()
        .map(|(element, count)| Some((element.clone(), of(element)? / count)))
        .collect::<Option<_>>()?;
    by_elements(ratios)
}

/// The number that the elements other than oxygen and hydrogen give, if there is enough of all.
fn by_elements(ratios: Vec<(String, RBig)>) -> Option<RBig> {
    if ratios.iter().all(|(element, _)| matches!(element.as_str(), "O" | "H")) {
        return None;
    }
    let decides = deciding(ratios.clone());
    let number = decides.first()?.1.clone();
    let agree = decides.iter().all(|(_, other)| *other == number);
    (agree && ratios.iter().all(|(_, ratio)| *ratio >= number)).then_some(number)
}

/// How often a run of items stands in a list, brackets opened.
fn in_items(wanted: &[Item], items: &[Item]) -> RBig {
    let here = items.windows(wanted.len().max(1)).filter(|run| *run == wanted).count();
    let nested = items.iter().map(|item| match item {
        Item::Group { items, count, .. } => count.fraction() * in_items(wanted, items),
        Item::Atom { .. } => RBig::ZERO,
    });
    nested.fold(RBig::from(here), |sum, count| sum + count)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count(group: &str, whole: &str) -> Option<String> {
        let parse = |text: &str| Formula::parse(text).expect("a formula");
        count_in(&parse(group), &parse(whole)).map(|count| count.to_string())
    }

    // Counted by hand.
    #[test]
    fn elements_and_groups_are_counted() {
        for (group, whole, expected) in [
            ("Cu", "CuSO4·5H2O", "1"),
            ("O", "CuSO4·5H2O", "9"),
            ("H2O", "CuSO4·5H2O", "5"),
            ("H2O", "CaSO4·½H2O", "1/2"),
            ("SO4", "KAl(SO4)2·12H2O", "2"),
            ("OH", "Ca(OH)2", "2"),
            ("OH", "NaOH", "1"),
            ("NH4", "(NH4)2SO4", "2"),
            ("CO2", "CaCO3", "1"),
            ("CO3", "Ca(HCO3)2", "2"),
            ("P2O5", "Ca3(PO4)2", "1"),
            ("CuSO4", "CuSO4·5H2O", "1"),
        ] {
            assert_eq!(count(group, whole).as_deref(), Some(expected), "{group} in {whole}");
        }
    }

    #[test]
    fn what_is_not_held_has_no_count() {
        for (group, whole) in
            [("Fe2O3", "Fe3O4"), ("H2O", "H2SO4"), ("H2O", "Ca(OH)2"), ("Na", "KCl"), ("SO4", "BaS")]
        {
            assert_eq!(count(group, whole), None, "{group} in {whole}");
        }
    }
}
