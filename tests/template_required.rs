//! What a template requires: any notebook that has it all reports nothing missing, and each thing taken away is reported,
//! that thing and no other. Templates and notebooks are drawn at random; the shipped templates are tried on their own
//! sample data.

use proptest::prelude::*;
use reweigh::files::Memory;
use reweigh::finding::{Code, Finding};
use reweigh::template::{self, Origin, Template};
use reweigh::{Wanted, compute_as};
use std::sync::Arc;

const LOADS: [&str; 4] = ["crucible", "crucible + sample", "crucible + residue", "lid"];
const HEADINGS: [&str; 5] = ["Purpose", "Procedure", "Readings and notes", "Discussion", "What went wrong"];
const CHECKS: [&str; 5] = [
    "balance reads zero, doors closed",
    "crucible rings clear when tapped",
    "tongs only",
    "cooled to room temperature",
    "same balance for every weighing",
];
const RECORD: [&str; 6] = ["authors", "date", "laboratory", "sample", "basis", "unknown"];

/// What is asked for, and by how much a notebook has more.
#[derive(Clone, Debug)]
struct Case {
    trials: usize,
    decimals: usize,
    loads: Vec<(usize, usize)>,
    headings: Vec<usize>,
    checks: Vec<usize>,
    record: Vec<usize>,
    more_trials: usize,
    more_cycles: usize,
    /// Whether headings and checks are written in another case, and with more blanks.
    shouted: bool,
}

fn some(most: usize) -> impl Strategy<Value = Vec<usize>> {
    proptest::sample::subsequence((0..most).collect::<Vec<_>>(), 0..=most)
}

fn case() -> impl Strategy<Value = Case> {
    let loads = some(LOADS.len()).prop_flat_map(|loads| {
        let count = loads.len();
        (Just(loads), proptest::collection::vec(1..4usize, count))
    });
    let sizes = (1..4usize, 1..5usize, 0..3usize, 0..3usize, any::<bool>());
    let lists = (some(HEADINGS.len()), some(CHECKS.len()), some(RECORD.len()));
    (sizes, loads, lists).prop_map(|(sizes, (loads, cycles), (headings, checks, record))| {
        let (trials, decimals, more_trials, more_cycles, shouted) = sizes;
        let loads = loads.into_iter().zip(cycles).collect();
        Case { trials, decimals, loads, headings, checks, record, more_trials, more_cycles, shouted }
    })
}

fn quoted(words: impl Iterator<Item = &'static str>) -> String {
    words.map(|word| format!("{word:?}")).collect::<Vec<_>>().join(", ")
}

fn template_of(case: &Case) -> Arc<Template> {
    let mut toml = format!(
        "id = \"drawn\"\nversion = \"1\"\ntitle = \"Drawn\"\n[required]\ntrials = {}\ndecimals = {}\nrecord = [{}]\nheadings = [{}]\n",
        case.trials,
        case.decimals,
        quoted(case.record.iter().map(|key| RECORD[*key])),
        quoted(case.headings.iter().map(|heading| HEADINGS[*heading])),
    );
    for (load, cycles) in &case.loads {
        toml.push_str(&format!("[[required.load]]\nload = \"{}\"\ncycles = {cycles}\n", LOADS[*load]));
    }
    for check in &case.checks {
        toml.push_str(&format!("[[required.check]]\ntext = \"{}\"\n", CHECKS[*check]));
    }
    let files = [
        ("template.toml", toml),
        ("method.md", "```working\ny = 2 * 3\n```\n".to_owned()),
        ("notebook.md", "# <<title>>\n".to_owned()),
    ];
    let files = files.into_iter().map(|(path, text)| (path.to_owned(), text.into_bytes())).collect();
    let template = template::load(&Memory(files), Origin::Folder("drawn".to_owned()));
    assert!(template.findings.is_empty(), "{:?}", template.findings);
    Arc::new(template)
}

/// What is left out of a notebook.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Gone {
    Nothing,
    Trial,
    Load(usize),
    Cycle(usize),
    Cell(usize),
    Decimal(usize),
    Heading(usize),
    Check(usize),
    Key(usize),
}

fn notebook(case: &Case, gone: Gone) -> String {
    let words =
        |text: &str| if case.shouted { text.to_uppercase().replace(' ', "  ") } else { text.to_owned() };
    let mut text = "```experiment\ntitle = \"T\"\ntemplate = \"drawn\"\n".to_owned();
    for key in case.record.iter().filter(|key| gone != Gone::Key(**key)) {
        let value = if RECORD[*key] == "date" { "2026-01-02" } else { "\"something\"" };
        text.push_str(&format!("{} = {value}\n", RECORD[*key]));
    }
    text.push_str("```\n");
    for heading in case.headings.iter().filter(|heading| gone != Gone::Heading(**heading)) {
        text.push_str(&format!("\n## {}\n\nwords\n", words(HEADINGS[*heading])));
    }
    text.push('\n');
    for check in case.checks.iter().filter(|check| gone != Gone::Check(**check)) {
        text.push_str(&format!("- [x] {}\n", words(CHECKS[*check])));
    }
    text.push_str("\n```masses\n");
    let trials = if gone == Gone::Trial { case.trials - 1 } else { case.trials + case.more_trials };
    let names: Vec<String> = (1..=trials).map(|trial| format!("T{trial}")).collect();
    text.push_str(&format!("trial: {}\n", names.join(" ")));
    rows(case, gone, trials, &mut text);
    text.push_str("```\n");
    text
}

fn rows(case: &Case, gone: Gone, trials: usize, text: &mut String) {
    // A load that nothing requires, so that there are trials in any case.
    text.push_str(&format!("spare pan: {}\n", vec!["9.00000"; trials].join(" ")));
    for (index, (load, cycles)) in
        case.loads.iter().enumerate().filter(|(index, _)| gone != Gone::Load(*index))
    {
        let cycles = if gone == Gone::Cycle(index) { cycles - 1 } else { cycles + case.more_cycles };
        for cycle in 1..=cycles {
            let cells = (0..trials).map(|trial| {
                let short = gone == Gone::Decimal(index) && cycle == 1 && trial == 0;
                let decimals = if short { case.decimals - 1 } else { case.decimals };
                let gap = gone == Gone::Cell(index) && trial == 0;
                let reading = format!(
                    "{:.decimals$}",
                    10.0 + index as f64 + f64::from(u8::try_from(trial).unwrap()) / 8.0
                );
                if gap { "–".to_owned() } else { reading }
            });
            let cells: Vec<String> = cells.collect();
            text.push_str(&format!("{}, heating {cycle}: {}\n", LOADS[*load], cells.join(" ")));
        }
    }
}

fn missing(template: &Arc<Template>, text: &str) -> Vec<Finding> {
    let wanted = Wanted { template: Some(template.clone()), ..Wanted::default() };
    let computed = compute_as("notebook.md", text.as_bytes(), &Memory::default(), &wanted);
    let findings = computed.results.findings.into_iter();
    findings.filter(|finding| finding.code == Code::MissingItem).collect()
}

/// Everything that can be taken away, with a word that the finding has to say.
fn deletions(case: &Case) -> Vec<(Gone, String)> {
    let mut all = vec![(Gone::Trial, "the template requires".to_owned())];
    for (index, (load, cycles)) in case.loads.iter().enumerate() {
        all.push((Gone::Load(index), format!("the load `{}`", LOADS[*load])));
        if *cycles > 1 {
            all.push((Gone::Cycle(index), format!("{cycles} weighings of {} in each trial", LOADS[*load])));
        }
        all.push((Gone::Cell(index), format!("of {} in each trial; trial T1 has none", LOADS[*load])));
        all.push((Gone::Decimal(index), format!("{} decimals", case.decimals)));
    }
    all.extend(
        case.headings.iter().map(|heading| (Gone::Heading(*heading), format!("“{}”", HEADINGS[*heading]))),
    );
    all.extend(case.checks.iter().map(|check| (Gone::Check(*check), format!("“{}”", CHECKS[*check]))));
    all.extend(case.record.iter().map(|key| (Gone::Key(*key), format!("`{}`", RECORD[*key]))));
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn each_deletion_is_reported_and_nothing_else(case in case()) {
        let template = template_of(&case);
        let whole = notebook(&case, Gone::Nothing);
        prop_assert_eq!(missing(&template, &whole), vec![], "{}", whole);
        for (gone, word) in deletions(&case) {
            let text = notebook(&case, gone);
            let found = missing(&template, &text);
            prop_assert_eq!(found.len(), 1, "{:?} of\n{}\n{:?}", gone, text, found);
            prop_assert!(found[0].message.contains(&word), "{:?}: {}", gone, found[0].message);
        }
    }
}

/// The shipped templates, each with its own sample data.
fn shipped() -> Vec<(Arc<Template>, String)> {
    let nothing = Memory::default();
    let one = |name: &str| {
        let template = template::find(name, &nothing).expect("a shipped template is found");
        let sample = String::from_utf8(template.marking["sample.md"].clone()).expect("the sample is text");
        (Arc::new(template), sample)
    };
    template::shipped_names().map(one).collect()
}

#[test]
fn shipped_samples_lack_nothing_and_each_deleted_line_is_reported() {
    for (template, sample) in shipped() {
        assert_eq!(missing(&template, &sample), [], "{}", template.id);
        let required = &template.required;
        let lines = |gone: &dyn Fn(&str) -> bool| -> String {
            sample.lines().filter(|line| !gone(line)).map(|line| format!("{line}\n")).collect()
        };
        let mut tried = Vec::new();
        for heading in &required.headings {
            tried.push((
                lines(&|line| line.trim_start_matches('#').trim() == heading && line.starts_with('#')),
                heading,
            ));
        }
        for check in &required.checks {
            tried.push((lines(&|line| line.starts_with("- [x]") && line.ends_with(check.as_str())), check));
        }
        for key in &required.record {
            tried.push((lines(&|line| line.split('=').next().is_some_and(|name| name.trim() == key)), key));
        }
        for load in &required.loads {
            let is_row = |line: &str| {
                let label = line.split(':').next().unwrap_or("");
                label.split(',').next().is_some_and(|label| label.trim() == load.load) && line.contains(':')
            };
            tried.push((lines(&is_row), &load.load));
        }
        for (text, thing) in tried {
            assert_ne!(text, sample, "{}: {thing} was not found in the sample", template.id);
            let found = missing(&template, &text);
            assert_eq!(found.len(), 1, "{}: {thing}: {found:#?}", template.id);
            assert!(found[0].message.contains(thing.as_str()), "{}: {}", template.id, found[0].message);
        }
    }
}
