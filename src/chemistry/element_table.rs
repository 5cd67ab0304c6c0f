//! The figures of the built-in tables of atomic weights, as text, so that every trailing zero is kept.
//!
//! Source: IUPAC, "Standard atomic weights of the elements 2021" (Prohaska et al., Pure Appl. Chem. 94
//! (2022) 573), tables 1 and 3, read in the data file `saw_2021.txt` of the `ciaaw` library (commit a20231a)
//! and cross-checked with the packages periodictable 2.1.0, molmass 2026.1.8, mendeleev 1.3.0 and
//! atomic-weights 2023.1.0. Corrected against that file: Sn is 118.710(7) (misprinted 118.70 there) and the
//! abridged uncertainty of Be is 0.0001 (0.00001 there).
//!
//! The revisions of 2024: Zr 91.222(3), Gd 157.249(2), Lu 174.966 69(5). The three values, and the
//! uncertainty of Lu, were read in two public sources that quote CIAAW 2024; the uncertainties of Zr and Gd
//! are from memory.
//!
//! Two abridged values lie outside the interval they stand for (O 15.999 below [15.999 03, 15.999 77], Tl
//! 204.38 below [204.382, 204.385]). That is how they are published; nothing here may reject them.

use Standard::{Interval, Value};

/// A standard atomic weight: one value with its uncertainty, or the interval of normal materials.
#[derive(Clone, Copy, Debug)]
pub(super) enum Standard {
    /// Value and uncertainty (half-width).
    Value(&'static str, &'static str),
    /// Lowest and highest value of normal materials.
    Interval(&'static str, &'static str),
}

/// One element; a row's place in the table is its atomic number less one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    /// The symbol.
    pub symbol: &'static str,
    /// The name (IUPAC spelling).
    pub name: &'static str,
    /// The standard atomic weight; `None` for elements without a stable isotope mixture.
    pub standard: Option<Standard>,
    /// The abridged value and its uncertainty (half-width).
    pub abridged: Option<(&'static str, &'static str)>,
}

const fn row(
    symbol: &'static str,
    name: &'static str,
    standard: Option<Standard>,
    abridged: Option<(&'static str, &'static str)>,
) -> Row {
    Row { symbol, name, standard, abridged }
}

/// The abridged values of 2021 that the revisions of 2024 replaced: symbol, value, uncertainty.
pub(super) const BEFORE_2024: &[(&str, &str, &str)] =
    &[("Zr", "91.224", "0.002"), ("Gd", "157.25", "0.03"), ("Lu", "174.97", "0.01")];

/// All elements by atomic number, with the revisions of 2024.
#[rustfmt::skip]
pub(super) const ELEMENTS: [Row; 118] = [
    row("H", "hydrogen", Some(Interval("1.00784", "1.00811")), Some(("1.0080", "0.0002"))),
    row("He", "helium", Some(Value("4.002602", "0.000002")), Some(("4.0026", "0.0001"))),
    row("Li", "lithium", Some(Interval("6.938", "6.997")), Some(("6.94", "0.06"))),
    row("Be", "beryllium", Some(Value("9.0121831", "0.0000005")), Some(("9.0122", "0.0001"))),
    row("B", "boron", Some(Interval("10.806", "10.821")), Some(("10.81", "0.02"))),
    row("C", "carbon", Some(Interval("12.0096", "12.0116")), Some(("12.011", "0.002"))),
    row("N", "nitrogen", Some(Interval("14.00643", "14.00728")), Some(("14.007", "0.001"))),
    row("O", "oxygen", Some(Interval("15.99903", "15.99977")), Some(("15.999", "0.001"))),
    row("F", "fluorine", Some(Value("18.998403162", "0.000000005")), Some(("18.998", "0.001"))),
    row("Ne", "neon", Some(Value("20.1797", "0.0006")), Some(("20.180", "0.001"))),
    row("Na", "sodium", Some(Value("22.98976928", "0.00000002")), Some(("22.990", "0.001"))),
    row("Mg", "magnesium", Some(Interval("24.304", "24.307")), Some(("24.305", "0.002"))),
    row("Al", "aluminium", Some(Value("26.9815384", "0.0000003")), Some(("26.982", "0.001"))),
    row("Si", "silicon", Some(Interval("28.084", "28.086")), Some(("28.085", "0.001"))),
    row("P", "phosphorus", Some(Value("30.973761998", "0.000000005")), Some(("30.974", "0.001"))),
    row("S", "sulfur", Some(Interval("32.059", "32.076")), Some(("32.06", "0.02"))),
    row("Cl", "chlorine", Some(Interval("35.446", "35.457")), Some(("35.45", "0.01"))),
    row("Ar", "argon", Some(Interval("39.792", "39.963")), Some(("39.95", "0.16"))),
    row("K", "potassium", Some(Value("39.0983", "0.0001")), Some(("39.098", "0.001"))),
    row("Ca", "calcium", Some(Value("40.078", "0.004")), Some(("40.078", "0.004"))),
    row("Sc", "scandium", Some(Value("44.955907", "0.000004")), Some(("44.956", "0.001"))),
    row("Ti", "titanium", Some(Value("47.867", "0.001")), Some(("47.867", "0.001"))),
    row("V", "vanadium", Some(Value("50.9415", "0.0001")), Some(("50.942", "0.001"))),
    row("Cr", "chromium", Some(Value("51.9961", "0.0006")), Some(("51.996", "0.001"))),
    row("Mn", "manganese", Some(Value("54.938043", "0.000002")), Some(("54.938", "0.001"))),
    row("Fe", "iron", Some(Value("55.845", "0.002")), Some(("55.845", "0.002"))),
    row("Co", "cobalt", Some(Value("58.933194", "0.000003")), Some(("58.933", "0.001"))),
    row("Ni", "nickel", Some(Value("58.6934", "0.0004")), Some(("58.693", "0.001"))),
    row("Cu", "copper", Some(Value("63.546", "0.003")), Some(("63.546", "0.003"))),
    row("Zn", "zinc", Some(Value("65.38", "0.02")), Some(("65.38", "0.02"))),
    row("Ga", "gallium", Some(Value("69.723", "0.001")), Some(("69.723", "0.001"))),
    row("Ge", "germanium", Some(Value("72.630", "0.008")), Some(("72.630", "0.008"))),
    row("As", "arsenic", Some(Value("74.921595", "0.000006")), Some(("74.922", "0.001"))),
    row("Se", "selenium", Some(Value("78.971", "0.008")), Some(("78.971", "0.008"))),
    row("Br", "bromine", Some(Interval("79.901", "79.907")), Some(("79.904", "0.003"))),
    row("Kr", "krypton", Some(Value("83.798", "0.002")), Some(("83.798", "0.002"))),
    row("Rb", "rubidium", Some(Value("85.4678", "0.0003")), Some(("85.468", "0.001"))),
    row("Sr", "strontium", Some(Value("87.62", "0.01")), Some(("87.62", "0.01"))),
    row("Y", "yttrium", Some(Value("88.905838", "0.000002")), Some(("88.906", "0.001"))),
    row("Zr", "zirconium", Some(Value("91.222", "0.003")), Some(("91.222", "0.003"))),
    row("Nb", "niobium", Some(Value("92.90637", "0.00001")), Some(("92.906", "0.001"))),
    row("Mo", "molybdenum", Some(Value("95.95", "0.01")), Some(("95.95", "0.01"))),
    row("Tc", "technetium", None, None),
    row("Ru", "ruthenium", Some(Value("101.07", "0.02")), Some(("101.07", "0.02"))),
    row("Rh", "rhodium", Some(Value("102.90549", "0.00002")), Some(("102.91", "0.01"))),
    row("Pd", "palladium", Some(Value("106.42", "0.01")), Some(("106.42", "0.01"))),
    row("Ag", "silver", Some(Value("107.8682", "0.0002")), Some(("107.87", "0.01"))),
    row("Cd", "cadmium", Some(Value("112.414", "0.004")), Some(("112.41", "0.01"))),
    row("In", "indium", Some(Value("114.818", "0.001")), Some(("114.82", "0.01"))),
    row("Sn", "tin", Some(Value("118.710", "0.007")), Some(("118.71", "0.01"))),
    row("Sb", "antimony", Some(Value("121.760", "0.001")), Some(("121.76", "0.01"))),
    row("Te", "tellurium", Some(Value("127.60", "0.03")), Some(("127.60", "0.03"))),
    row("I", "iodine", Some(Value("126.90447", "0.00003")), Some(("126.90", "0.01"))),
    row("Xe", "xenon", Some(Value("131.293", "0.006")), Some(("131.29", "0.01"))),
    row("Cs", "caesium", Some(Value("132.90545196", "0.00000006")), Some(("132.91", "0.01"))),
    row("Ba", "barium", Some(Value("137.327", "0.007")), Some(("137.33", "0.01"))),
    row("La", "lanthanum", Some(Value("138.90547", "0.00007")), Some(("138.91", "0.01"))),
    row("Ce", "cerium", Some(Value("140.116", "0.001")), Some(("140.12", "0.01"))),
    row("Pr", "praseodymium", Some(Value("140.90766", "0.00001")), Some(("140.91", "0.01"))),
    row("Nd", "neodymium", Some(Value("144.242", "0.003")), Some(("144.24", "0.01"))),
    row("Pm", "promethium", None, None),
    row("Sm", "samarium", Some(Value("150.36", "0.02")), Some(("150.36", "0.02"))),
    row("Eu", "europium", Some(Value("151.964", "0.001")), Some(("151.96", "0.01"))),
    row("Gd", "gadolinium", Some(Value("157.249", "0.002")), Some(("157.25", "0.01"))),
    row("Tb", "terbium", Some(Value("158.925354", "0.000007")), Some(("158.93", "0.01"))),
    row("Dy", "dysprosium", Some(Value("162.500", "0.001")), Some(("162.50", "0.01"))),
    row("Ho", "holmium", Some(Value("164.930329", "0.000005")), Some(("164.93", "0.01"))),
    row("Er", "erbium", Some(Value("167.259", "0.003")), Some(("167.26", "0.01"))),
    row("Tm", "thulium", Some(Value("168.934219", "0.000005")), Some(("168.93", "0.01"))),
    row("Yb", "ytterbium", Some(Value("173.045", "0.010")), Some(("173.05", "0.02"))),
    row("Lu", "lutetium", Some(Value("174.96669", "0.00005")), Some(("174.97", "0.01"))),
    row("Hf", "hafnium", Some(Value("178.486", "0.006")), Some(("178.49", "0.01"))),
    row("Ta", "tantalum", Some(Value("180.94788", "0.00002")), Some(("180.95", "0.01"))),
    row("W", "tungsten", Some(Value("183.84", "0.01")), Some(("183.84", "0.01"))),
    row("Re", "rhenium", Some(Value("186.207", "0.001")), Some(("186.21", "0.01"))),
    row("Os", "osmium", Some(Value("190.23", "0.03")), Some(("190.23", "0.03"))),
    row("Ir", "iridium", Some(Value("192.217", "0.002")), Some(("192.22", "0.01"))),
    row("Pt", "platinum", Some(Value("195.084", "0.009")), Some(("195.08", "0.02"))),
    row("Au", "gold", Some(Value("196.966570", "0.000004")), Some(("196.97", "0.01"))),
    row("Hg", "mercury", Some(Value("200.592", "0.003")), Some(("200.59", "0.01"))),
    row("Tl", "thallium", Some(Interval("204.382", "204.385")), Some(("204.38", "0.01"))),
    row("Pb", "lead", Some(Interval("206.14", "207.94")), Some(("207.2", "1.1"))),
    row("Bi", "bismuth", Some(Value("208.98040", "0.00001")), Some(("208.98", "0.01"))),
    row("Po", "polonium", None, None),
    row("At", "astatine", None, None),
    row("Rn", "radon", None, None),
    row("Fr", "francium", None, None),
    row("Ra", "radium", None, None),
    row("Ac", "actinium", None, None),
    row("Th", "thorium", Some(Value("232.0377", "0.0004")), Some(("232.04", "0.01"))),
    row("Pa", "protactinium", Some(Value("231.03588", "0.00001")), Some(("231.04", "0.01"))),
    row("U", "uranium", Some(Value("238.02891", "0.00003")), Some(("238.03", "0.01"))),
    row("Np", "neptunium", None, None),
    row("Pu", "plutonium", None, None),
    row("Am", "americium", None, None),
    row("Cm", "curium", None, None),
    row("Bk", "berkelium", None, None),
    row("Cf", "californium", None, None),
    row("Es", "einsteinium", None, None),
    row("Fm", "fermium", None, None),
    row("Md", "mendelevium", None, None),
    row("No", "nobelium", None, None),
    row("Lr", "lawrencium", None, None),
    row("Rf", "rutherfordium", None, None),
    row("Db", "dubnium", None, None),
    row("Sg", "seaborgium", None, None),
    row("Bh", "bohrium", None, None),
    row("Hs", "hassium", None, None),
    row("Mt", "meitnerium", None, None),
    row("Ds", "darmstadtium", None, None),
    row("Rg", "roentgenium", None, None),
    row("Cn", "copernicium", None, None),
    row("Nh", "nihonium", None, None),
    row("Fl", "flerovium", None, None),
    row("Mc", "moscovium", None, None),
    row("Lv", "livermorium", None, None),
    row("Ts", "tennessine", None, None),
    row("Og", "oganesson", None, None),
];
