//! Rules that a template states for its notebooks: all that the calculation knows, merged with a notebook's own.

use reweigh::files::Memory;
use reweigh::finding::{Code, Finding};
use reweigh::template::{self, Origin, Purpose};
use reweigh::{Computed, Wanted, compute_as};

const HEAD: &str = "id = \"drawn\"\nversion = \"1\"\ntitle = \"Drawn\"\n";
const METHOD: &str =
    "```working\nw(ash) = m(residue) / m(sample)  in %\nc = m(sample) / (V(a) + V(b))  in g/L\n```\n";

fn template_of(rules: &str, local: &str) -> template::Template {
    let files = [
        ("template.toml", format!("{HEAD}{rules}")),
        ("local.toml", local.to_owned()),
        ("method.md", METHOD.to_owned()),
        ("notebook.md", "# <<title>>\n".to_owned()),
    ];
    let files = files.into_iter().filter(|(_, text)| !text.is_empty());
    let files = files.map(|(path, text)| (path.to_owned(), text.into_bytes())).collect();
    template::load(&Memory(files), Origin::Folder("drawn".to_owned()))
}

fn notebook(rules: &str) -> String {
    format!(
        "```experiment\ntitle = \"T\"\ndate = 2026-01-02\n{rules}\n```\n\n```measured\nV(a): 50.0 mL ± 0.1 mL\nV(b): 25.0 mL ± 0.1 mL\n```\n\n\
         ```masses\nunit: g\ntrial: A B\npan: 10.0000 11.0000\npan + sample: 11.0000 12.0000\npan + residue: 10.1000 11.1020\n```\n"
    )
}

fn computed(rules: &str, local: &str, own: &str, purpose: Purpose) -> Computed {
    let template = template_of(rules, local);
    assert_eq!(template.findings, [], "{rules}");
    let wanted = Wanted { template: Some(template.into()), purpose };
    compute_as("n.md", notebook(own).as_bytes(), &Memory::default(), &wanted)
}

fn said(computed: &Computed, code: Code) -> Vec<&Finding> {
    computed.results.findings.iter().filter(|finding| finding.code == code).collect()
}

const LIMIT: &str =
    "[[limit]]\nof = \"w(ash)\"\nnot-more-than = \"10.0 %\"\ndecision = \"simple acceptance\"\n";

/// By hand: 0.1000/1.0000 = 10.00 % and 0.1020/1.0000 = 10.20 %, mean 10.10 %.
#[test]
fn a_template_states_limits() {
    let limits = |own: &str, purpose| {
        let computed = computed(LIMIT, "", own, purpose);
        let ash = computed.results.quantities.iter().find(|quantity| quantity.symbol == "w(ash)");
        let held = &ash.expect("the method defines it").conformity;
        let words: Vec<String> = held.iter().map(|held| held.limit.clone()).collect();
        (words.join("; "), said(&computed, Code::RuleDiffers).len())
    };
    let (words, differing) = limits("", Purpose::Author);
    assert!(words.contains("10.0") && !words.contains(';') && differing == 0, "{words}");
    let own = LIMIT.replace("10.0", "11.0");
    let (words, differing) = limits(&own, Purpose::Author);
    assert!(words.contains("11.0") && !words.contains(';') && differing == 1, "{words}");
    let (words, differing) = limits(&own, Purpose::Review);
    assert!(words.contains("10.0") && !words.contains(';') && differing == 1, "{words}");
}

#[test]
fn a_template_states_how_well_its_method_repeats_and_what_is_correlated() {
    let u = |rules: &str| {
        let computed = computed(
            &format!("uncertainty = \"full\"\nmonte-carlo = false\n{rules}"),
            "",
            "",
            Purpose::Author,
        );
        let of = |symbol: &str| {
            let quantity = computed.results.quantities.iter().find(|quantity| quantity.symbol == symbol);
            let outcome = &quantity.expect("it is there").trials[0];
            outcome.value().and_then(|value| value.evaluated).expect("it has an uncertainty").standard
        };
        (of("w(ash)"), of("c"))
    };
    let (ash, c) = u("");
    let (repeated, _) = u("[method-repeatability]\n\"w(ash)\" = \"0.08 %\"\n");
    // The pooled standard deviation of single results, 0.08 %, is far above what the balance brings.
    assert!(ash < 0.01 && (0.08..0.081).contains(&repeated), "{ash} {repeated}");
    let (_, correlated) = u("[[correlation]]\nbetween = [\"V(a)\", \"V(b)\"]\ncoefficient = 1.0\n");
    // Two volumes of equal uncertainty u: their sum has √2 u apart and 2 u where they go together (JCGM 100:2008, 5.2.2), and
    // beside the volumes the balance is nothing.
    assert!((correlated / c - 2f64.sqrt()).abs() < 0.02, "{c} {correlated}");
}

/// In air of 1.20 kg/m³ with weights of 8000 kg/m³ a thing of 2.00 g/cm³ gains (1 − 1.2/8000)/(1 − 1.2/2000) = 1.00045026
/// (by hand; the formula is that of OIML D 28).
#[test]
fn template_and_notebook_may_each_state_a_part_of_the_buoyancy() {
    let sample = |rules: &str, own: &str, purpose| {
        let computed = computed(rules, "", own, purpose);
        let mass = computed.results.quantities.iter().find(|quantity| quantity.symbol == "m(sample)");
        let value = mass.expect("it is weighed").trials[0].value().expect("it has a value").number.to_f64();
        (
            (value * 1e6).round() / 1e6,
            said(&computed, Code::Buoyancy).len(),
            said(&computed, Code::RuleDiffers).len(),
        )
    };
    let densities = "[buoyancy.density]\nsample = \"2.00 g/cm^3\"\n";
    let air = "[buoyancy]\nair-density = \"1.20 kg/m^3\"\n";
    assert_eq!(sample("", "", Purpose::Author), (1.0, 0, 0));
    assert_eq!(sample(densities, air, Purpose::Author), (1.00045, 0, 0));
    assert_eq!(sample(&format!("{air}{densities}"), "", Purpose::Author), (1.00045, 0, 0));
    // Without the air nothing is corrected, and that is said once.
    assert_eq!(sample(densities, "", Purpose::Author), (1.0, 1, 0));
    // The air is measured: the notebook's stands, in a review too. (1 − 1.1/8000)/(1 − 1.1/2000) = 1.00041273
    let own = air.replace("1.20", "1.10");
    for purpose in [Purpose::Author, Purpose::Review] {
        assert_eq!(sample(&format!("{air}{densities}"), &own, purpose), (1.000413, 0, 0));
    }
    // The density is a rule: a review takes the template's. (1 − 1.2/8000)/(1 − 1.2/2500) = 1.00033016
    let own = format!("{air}{}", densities.replace("2.00", "2.50"));
    assert_eq!(sample(densities, &own, Purpose::Author), (1.00033, 0, 1));
    assert_eq!(sample(densities, &own, Purpose::Review), (1.00045, 0, 1));
}

#[test]
fn a_rule_that_cannot_be_used_is_said_at_its_line() {
    let cases = [
        (LIMIT.replace("\"10.0 %\"", "\"10.0 mg\""), "not in a unit that fits", 5),
        (LIMIT.replace("w(ash)", "w(asg)"), "a limit of w(asg), which nothing defines", 5),
        (LIMIT.replace("simple acceptance", "simple"), "expected one of", 7),
        ("[method-repeatability]\n\"w(asg)\" = \"0.1 %\"\n".to_owned(), "a repeatability of w(asg)", 5),
        (
            "[[correlation]]\nbetween = [\"V(a)\", \"V(q)\"]\ncoefficient = 0.5\n".to_owned(),
            "a correlation of V(q)",
            5,
        ),
        ("[[correlation]]\nbetween = [\"V(a)\", \"V(b)\"]\ncoefficient = 2\n".to_owned(), "from -1 to 1", 4),
        ("[buoyancy]\ntemprature = \"20 °C\"\n".to_owned(), "`temprature` is not known", 5),
        (
            "[buoyancy]\nair-density = \"1.2 kg/m^3\"\n[buoyancy.density]\nsmaple = \"2 g/mL\"\n".to_owned(),
            "a density of smaple",
            7,
        ),
        ("monte-carlo = 3\n".to_owned(), "expected yes, no or a table", 4),
    ];
    let places = |toml: &str, local: &str, words: &str| {
        let template = template_of(toml, local);
        let wanted = Wanted { template: Some(template.into()), ..Wanted::default() };
        let computed = compute_as("n.md", notebook("").as_bytes(), &Memory::default(), &wanted);
        let found: Vec<_> =
            computed.results.findings.into_iter().filter(|f| f.message.contains(words)).collect();
        assert_eq!(found.len(), 1, "{words}: {found:#?}");
        (found[0].file.clone(), found[0].place.map(|(line, _)| line))
    };
    for (rules, words, line) in cases {
        assert_eq!(
            places(&rules, "", words),
            (Some("drawn/template.toml".to_owned()), Some(line)),
            "{words}"
        );
        // Laid over from `local.toml`, it stands three lines higher: there is no head.
        assert_eq!(
            places("", &rules, words),
            (Some("drawn/local.toml".to_owned()), Some(line - 3)),
            "{words}"
        );
    }
}

/// Every weighing of a trial on one balance, whether or not the readings are subtracted from each other.
#[test]
fn one_balance_for_all_weighings_of_a_trial() {
    let said = |rule: &str, rows: &str| {
        let template = template_of(&format!("[required]\nsame-balance = {rule}\n"), "");
        let wanted = Wanted { template: Some(template.into()), ..Wanted::default() };
        let text = format!(
            "```experiment\ntitle = \"T\"\ndate = 2026-01-02\n```\n\n```masses\nunit: g\nbalance: B-1\ntrial: A B\n{rows}```\n"
        );
        let computed = compute_as("n.md", text.as_bytes(), &Memory::default(), &wanted);
        let found =
            computed.results.findings.into_iter().filter(|finding| finding.code == Code::BalanceChanged);
        found.map(|finding| (finding.message, finding.hints)).collect::<Vec<_>>()
    };
    let rows = "pan: 10.0000 11.0000\npan + sample: 11.0000 12.0000\npan + residue: 10.1000 11.1020\n";
    assert_eq!(said("true", rows), []);
    // A lid weighed by itself on another balance: no reading is subtracted from it, so only the rule forbids it.
    let lid = format!("{rows}lid: 5.00 5.10 @ B-2\n");
    assert_eq!(said("false", &lid), []);
    let found = said("true", &lid);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(
        found[0].0,
        "the template requires one balance for a trial; trial A was weighed on B-1 and B-2"
    );
    assert!(found[0].1[0].contains("B-1"), "{found:?}");
    // A dash is no weighing, so the trial that has it is not the one.
    let found = said("true", &format!("{rows}lid: – 5.10 @ B-2\n"));
    assert!(found.len() == 1 && found[0].0.contains("trial B was weighed on B-1 and B-2"), "{found:?}");
    assert_eq!(said("true", &format!("{rows}lid: – – @ B-2\n")), []);
    // Readings that are subtracted from each other are said by the evaluation, and not a second time.
    let found = said("true", &rows.replace("12.0000", "12.0000 @ B-2"));
    assert_eq!(found.len(), 1, "{found:?}");
}
