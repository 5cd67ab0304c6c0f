//! Molar masses of 2,600 random formulas against three libraries, each with its own atomic weights, and against a sum
//! in exact fractions.
//!
//! `oracle/molar_masses.tsv` holds formulas, the libraries' names and versions, the weights each of them used, and
//! what each of them computed; `oracle/molar_masses.py` says how, and writes it anew. The compositions there come
//! from the trees the formulas were written from, so nothing is shared with the crate's reader.

use std::collections::BTreeMap;

use dashu_ratio::RBig;
use reweigh::chemistry::{AtomicWeights, Formula};
use reweigh::quantity::Decimal;

/// What a library may be off by, relative: each of at most 64 products and sums rounds by 2^-53 at most.
const FLOAT_PRECISION: f64 = 64.0 / (1u64 << 53) as f64;

/// A library, its table fed to the crate, and the electron mass it takes off for every positive charge.
struct Library {
    name: String,
    weights: AtomicWeights,
    electron: RBig,
}

/// A formula with its charge, its exact mass (abridged weights) and its mass by each library.
struct Row {
    formula: String,
    charge: i32,
    exact: Option<RBig>,
    masses: Vec<Option<f64>>,
}

fn lines(kind: &str) -> impl Iterator<Item = Vec<&'static str>> {
    let rows =
        include_str!("oracle/molar_masses.tsv").lines().map(|line| line.split('\t').collect::<Vec<_>>());
    let kind = kind.to_owned();
    rows.filter(move |cells| cells[0] == kind)
}

fn decimal(text: &str) -> Decimal {
    Decimal::parse(text, false).unwrap_or_else(|_| panic!("{text} is a number"))
}

fn libraries() -> Vec<Library> {
    lines("library").map(|cells| library(cells[1])).collect()
}

fn library(name: &str) -> Library {
    let mut found =
        Library { name: name.to_owned(), weights: AtomicWeights::abridged(), electron: RBig::ZERO };
    for cells in lines("weight").filter(|cells| cells[1] == name) {
        let value = decimal(cells[3]);
        match cells[2] {
            "e" => found.electron = value.to_number().fraction(),
            atom => found.weights = found.weights.with_change(atom, &value).expect("an atom"),
        }
    }
    found
}

fn rows() -> Vec<Row> {
    lines("formula").map(row).collect()
}

fn row(cells: Vec<&str>) -> Row {
    let given = |cell: &str| (cell != "-").then(|| cell.to_owned());
    Row {
        formula: cells[1].to_owned(),
        charge: cells[2].parse().expect("a charge"),
        exact: given(cells[3]).map(|text| text.parse().expect("a fraction")),
        masses: cells[4..].iter().map(|cell| given(cell).map(|text| text.parse().expect("a mass"))).collect(),
    }
}

fn formula(text: &str) -> Formula {
    Formula::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// The crate's sum by a library's weights, less the electrons as the library counts them, over the library's mass,
/// less one.
fn relative_difference(row: &Row, library: &Library, theirs: f64) -> f64 {
    let own = formula(&row.formula).molar_mass(&library.weights).expect("every atom has a weight");
    let own = own.grams_per_mole.fraction() - RBig::from(row.charge) * &library.electron;
    let theirs = RBig::try_from(theirs).expect("a finite mass");
    ((own - &theirs) / theirs).to_f64().value()
}

#[test]
fn three_libraries_weigh_as_the_crate_does_with_their_weights() {
    let rows = rows();
    for (at, library) in libraries().iter().enumerate() {
        let mut compared = 0;
        for row in &rows {
            let Some(theirs) = row.masses[at] else { continue };
            let off = relative_difference(row, library, theirs);
            assert!(off.abs() <= FLOAT_PRECISION, "{} by {}: {off:e}", row.formula, library.name);
            compared += 1;
        }
        assert!(compared >= 2000, "{} weighs {compared} formulas", library.name);
    }
}

/// The comparison can tell tables apart: hydrogen weighs 1.007941 by molmass and 1.008 by the others, so no formula
/// with hydrogen in it may agree once the tables are exchanged.
#[test]
fn with_the_weights_of_another_library_no_formula_with_hydrogen_agrees() {
    let libraries = libraries();
    let molmass = libraries.iter().position(|library| library.name == "molmass").expect("molmass");
    let hydrogen = |row: &&Row| formula(&row.formula).composition().iter().any(|(atom, _)| atom == "H");
    let common = |row: &&Row| row.masses.iter().all(Option::is_some);
    let rows: Vec<Row> = rows().into_iter().filter(|row| hydrogen(&row) && common(&row)).collect();
    assert!(rows.len() >= 500, "{} formulas hold hydrogen", rows.len());
    for library in libraries.iter().filter(|library| library.name != "molmass") {
        for row in &rows {
            let theirs = row.masses[molmass].expect("a mass by molmass");
            let off = relative_difference(row, library, theirs);
            assert!(off.abs() > FLOAT_PRECISION, "{} agrees with {}", row.formula, library.name);
        }
    }
}

#[test]
fn the_sum_by_the_default_table_is_exact() {
    let table = AtomicWeights::abridged();
    let mut exact = 0;
    for row in rows() {
        let formula = formula(&row.formula);
        assert_eq!(formula.charge(), i64::from(row.charge), "{}", row.formula);
        match row.exact {
            Some(expected) => {
                let own = formula.molar_mass(&table).expect("a molar mass");
                assert_eq!(own.grams_per_mole.fraction(), expected, "{}", row.formula);
                exact += 1;
            }
            // Left out there: isotopes, and elements without a standard atomic weight, which the crate refuses.
            None => {
                let isotopic = formula.composition().iter().any(|(atom, _)| isotope(atom));
                assert!(isotopic || formula.molar_mass(&table).is_err(), "{}", row.formula);
            }
        }
    }
    assert!(exact >= 2000, "{exact} formulas have an exact sum");
}

fn isotope(atom: &str) -> bool {
    atom.starts_with('^') || atom == "D" || atom == "T"
}

/// Every kind of notation the fixture is meant to cover is in it, and every element.
#[test]
fn the_formulas_cover_the_notation() {
    let rows = rows();
    let count = |wanted: &dyn Fn(&str) -> bool| rows.iter().filter(|row| wanted(&row.formula)).count();
    for (what, found) in [
        ("hydrates", count(&|text| text.contains(['·', '*', '.']))),
        ("half counts", count(&|text| ["½", ".5", "/2"].iter().any(|half| text.contains(half)))),
        ("isotopes", count(&|text| formula(text).composition().iter().any(|(atom, _)| isotope(atom)))),
        ("charges", rows.iter().filter(|row| row.charge != 0).count()),
        ("nested brackets", count(&|text| depth(text) >= 3)),
    ] {
        assert!(found >= 50, "{what}: {found}");
    }
    let mut seen = BTreeMap::new();
    for (atom, _) in rows.iter().flat_map(|row| formula(&row.formula).composition()) {
        *seen.entry(atom).or_insert(0) += 1;
    }
    assert!(seen.len() >= 118, "{} kinds of atom", seen.len());
}

fn depth(text: &str) -> usize {
    let step = |(depth, deepest): (usize, usize), c: char| match c {
        '(' | '[' | '{' => (depth + 1, deepest.max(depth + 1)),
        ')' | ']' | '}' => (depth - 1, deepest),
        _ => (depth, deepest),
    };
    text.chars().fold((0, 0), step).1
}
