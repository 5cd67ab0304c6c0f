//! The bench page without its server: how a value comes about, what rests on a reading, and what is said of one while
//! it is typed. Expected numbers are worked by hand; the notebook's are round so that this is easy.

use reweigh::bench_page::checking::{Checked, check};
use reweigh::bench_page::derivation::{Names, Step, Tree};
use reweigh::bench_page::form::form;
use reweigh::bench_page::write_back::{At, Entry, Why};
use reweigh::files::Memory;
use reweigh::{Computed, Wanted, compute};

const NOTEBOOK: &str = "\
# Salt

```experiment
[balance.B-1]
readability = \"0.1 mg\"
```

```masses
unit:     g
balance:  B-1
trial:                            A           B
crucible, heating 1:              20.0100     30.0000
crucible, heating 2:              20.0000     30.0000
crucible + sample:                21.0000     32.0000
crucible + residue, heating 1:    20.6500     31.3000
crucible + residue, heating 2:    20.6400     31.2900
```

```working
m(water) = m(sample) - m(residue)
w(water) = m(water) / m(sample)  in %
```

```theory
w(water) = 35 %
```

They held {mean w(water)}, {m(water) + m(residue)} in all; off by {percent error w(water)}.
";

fn computed(text: &str) -> Computed {
    compute("n.md", text.as_bytes(), &Memory::default())
}

fn texts(steps: &[Step]) -> Vec<&str> {
    steps.iter().map(|step| step.text.as_str()).collect()
}

#[test]
fn a_value_comes_about_by_its_formulas_down_to_the_readings() {
    let computed = computed(NOTEBOOK);
    let names = Names::of(&computed);
    let steps = names.derivation("w(water)|A");
    // (21.0000 − 20.0000) − (20.6400 − 20.0000) = 0.3600; 0.3600 / 1.0000 = 36.00 %.
    assert_eq!(
        texts(&steps)[..4],
        [
            "w(water) = m(water) / m(sample) = 0.3600 g / 1.0000 g = 36.00 %",
            "m(water) = m(sample) − m(residue) = 1.0000 g − 0.6400 g = 0.3600 g",
            "m(sample) = m(crucible + sample) − m(crucible, heating 2) = 21.0000 g − 20.0000 g = 1.0000 g",
            "m(residue) = m(crucible + residue, heating 2) − m(crucible, heating 2) = 20.6400 g − 20.0000 g = 0.6400 g",
        ]
    );
    let readings: Vec<(&str, Option<usize>)> =
        steps[4..].iter().map(|step| (step.name.as_str(), step.line)).collect();
    assert_eq!(
        readings,
        [
            ("crucible + sample, trial A", Some(14)),
            ("crucible, heating 2, trial A", Some(13)),
            ("crucible + residue, heating 2, trial A", Some(16)),
        ]
    );
    assert!(matches!(steps[0].formula, Some(Tree::Fraction(..))));
}

#[test]
fn a_mean_in_the_prose_is_the_mean_of_the_table() {
    let computed = computed(NOTEBOOK);
    let names = Names::of(&computed);
    let prose = computed.results.inline[0].values[0].node.unwrap();
    assert_eq!(names.name(prose).unwrap().key, "mean w(water)");
    // B: (2.0000 − 1.2900) / 2.0000 = 35.50 %; the mean of 36.00 and 35.50 is 35.75 %.
    let steps = names.derivation("mean w(water)");
    assert_eq!(steps[0].text, "mean w(water) = mean(w(water); w(water)) = mean(36.00 %; 35.50 %) = 35.75 %");
    assert_eq!(steps.len(), 1 + 2 + 2 + 4 + 6);
}

#[test]
fn a_formula_of_the_prose_is_called_as_it_is_written() {
    let computed = computed(NOTEBOOK);
    let names = Names::of(&computed);
    let node = computed.results.inline[1].values[0].node.unwrap();
    assert_eq!(names.name(node).unwrap().name, "m(water) + m(residue), trial A");
    let error = computed.results.inline[2].values[0].node.unwrap();
    let key = names.name(error).unwrap().key.clone();
    assert!(names.derivation(&key).iter().any(|step| step.key == "mean w(water)"), "{key}");
}

#[test]
fn what_rests_on_a_reading_is_its_trial_and_the_means() {
    let computed = computed(NOTEBOOK);
    let names = Names::of(&computed);
    let keys = |key: &str| names.resting_on(key).into_iter().map(|value| value.key).collect::<Vec<_>>();
    let rests = keys("reading crucible + sample|0|A");
    for key in ["m(sample)|A", "m(water)|A", "w(water)|A", "mean w(water)"] {
        assert!(rests.contains(&key.to_owned()), "{key} is not in {rests:?}");
    }
    for key in ["m(residue)|A", "w(water)|B", "reading crucible + sample|0|B"] {
        assert!(!rests.contains(&key.to_owned()), "{key} is in {rests:?}");
    }
    // Only the last weighing of a series stands for its load.
    assert!(keys("reading crucible, heating 1|0|A").is_empty());
    assert!(keys("nothing of that name").is_empty() && names.derivation("nothing of that name").is_empty());
}

#[test]
fn figures_of_the_trials_and_against_theory_have_formulas() {
    let computed = computed(NOTEBOOK);
    let names = Names::of(&computed);
    let first = |name: &str| names.derivation(name).first().map(|step| step.text.clone()).unwrap_or_default();
    // Of 36.00 and 35.50: the range is 0.50, s = 0.50/√2 = 0.354, the mean 35.75; theory is 35.
    assert_eq!(
        first("range w(water)"),
        "range w(water) = range(w(water); w(water)) = range(36.00 %; 35.50 %) = 0.50 %"
    );
    assert_eq!(
        first("relative difference w(water)"),
        "relative difference w(water) = range(w(water); w(water)) / mean w(water) = range(36.00 %; 35.50 %) / 35.75 % = 1.4 %"
    );
    let error = first("percent error w(water)");
    assert!(
        error.starts_with(
            "percent error w(water) = (mean w(water) − theory w(water)) / abs(theory w(water)) = (35.75 % − 35 %) / abs(35 %) = 2.1"
        ),
        "{error}"
    );
    assert!(first("difference from theory w(water)").ends_with(" = 0.75 percentage points"));
    // 0.35355/35.75 = 0.98896 %
    assert!(
        names.figure("relative s w(water)").unwrap().value.starts_with("0.99"),
        "{:?}",
        names.figure("relative s w(water)")
    );
    // Down to the readings, and up from one.
    let steps = names.derivation("s w(water)");
    assert!(steps.iter().any(|step| step.key == "reading crucible + sample|0|B"));
    let resting = names.figures_on("reading crucible + sample|0|B");
    assert!(resting.contains(&"s w(water)") && resting.contains(&"percent error w(water)"), "{resting:?}");
    assert!(names.figures_on("reading crucible, heating 1|0|B").is_empty());
}

#[test]
fn results_that_a_template_does_not_reveal_have_no_name() {
    let text = NOTEBOOK.replace("[balance.B-1]", "template = \"quiet\"\n\n[balance.B-1]");
    let template = "id = \"quiet\"\nversion = \"1\"\ntitle = \"Quiet\"\nreveal = \"readings only\"\n";
    let files = Memory(
        [("template.toml", template), ("method.md", ""), ("notebook.md", "")]
            .map(|(path, text)| (format!("quiet/{path}"), text.as_bytes().to_vec()))
            .into(),
    );
    let computed = compute("n.md", text.as_bytes(), &files);
    assert!(computed.template.is_some(), "{:?}", computed.results.findings);
    let names = Names::of(&computed);
    assert_eq!(names.node("w(water)|A"), None);
    assert_eq!(names.node("mean w(water)"), None);
    assert!(names.node("reading crucible + sample|0|A").is_some());
    assert!(names.figure("s w(water)").is_none() && names.figure("percent error w(water)").is_none());
}

/// A notebook with one heating more or less, and what is said of an entry.
fn said(text: &str, label: &str, reading: &str) -> Checked {
    let computed = computed(text);
    let at = At { label: label.into(), nth: 0, column: 0, trial: "A".into(), was: String::new() };
    let entry = Entry::Further { at, treatment: String::new(), reading: reading.into() };
    check(&computed, text.as_bytes(), &entry, &Memory::default(), &Wanted::default())
}

#[test]
fn constant_mass_is_shown_as_soon_as_it_is_reached() {
    let checked = said(NOTEBOOK, "crucible + residue, heating 2", "20.6398");
    assert_eq!(checked.change, "0.2 mg below heating 2");
    assert!(checked.reached && checked.verdict.starts_with("constant mass reached"), "{checked:?}");
    assert!(!checked.look_again && checked.refused.is_empty());
    // 20.6398 − 20.0000
    assert!(checked.net_masses.contains(&("m(residue)".to_owned(), "0.6398 g".to_owned())), "{checked:?}");
    let checked = said(NOTEBOOK, "crucible + residue, heating 2", "20.6380");
    assert_eq!(checked.change, "2.0 mg below heating 2");
    assert!(!checked.reached && checked.verdict.starts_with("not constant yet"), "{checked:?}");
}

#[test]
fn a_change_out_of_line_asks_for_another_look_and_says_no_digits() {
    // 63 mg after a step of 10 mg, where 0.5 mg is allowed.
    let checked = said(NOTEBOOK, "crucible + residue, heating 2", "20.5770");
    assert!(checked.look_again);
    assert_eq!(
        checked.change,
        "63.0 mg below heating 2: look at the display again while it is still on the pan"
    );
    // Heavier after heating, by more than the rule allows.
    assert!(said(NOTEBOOK, "crucible + residue, heating 2", "20.6406").look_again);
    assert!(!said(NOTEBOOK, "crucible + residue, heating 2", "20.6404").look_again);
    // 25 mg is less than three times the 10 mg before.
    assert!(!said(NOTEBOOK, "crucible + residue, heating 2", "20.6150").look_again);
    // The first step of a trial that has nothing to be compared with says the change and no more.
    let alone = NOTEBOOK.replace("crucible + residue, heating 2:    20.6400     31.2900\n", "");
    let checked = said(&alone, "crucible + residue, heating 1", "20.5870");
    assert_eq!((checked.change.as_str(), checked.look_again), ("63.0 mg below heating 1", false));
}

#[test]
fn decimals_and_a_net_mass_below_zero_are_said_while_it_is_typed() {
    let checked = said(NOTEBOOK, "crucible + residue, heating 2", "20.64");
    assert!(checked.findings.iter().any(|(_, message)| message.contains("decimal")), "{checked:?}");
    let checked = said(NOTEBOOK, "crucible + residue, heating 2", "19.6400");
    assert!(
        checked
            .findings
            .iter()
            .any(|(_, message)| message.contains("the net mass of residue in trial A is below zero")),
        "{checked:?}"
    );
    let checked = said(NOTEBOOK, "crucible + residue, heating 2", "20.6398");
    assert_eq!(checked.findings, []);
    let checked = said(NOTEBOOK, "crucible + residue, heating 2", "2o.6398");
    assert!(checked.refused.contains("not a number") && !checked.conflict);
}

#[test]
fn a_correction_is_checked_as_one() {
    let computed = computed(NOTEBOOK);
    let at =
        At { label: "crucible + sample".into(), nth: 0, column: 0, trial: "A".into(), was: "21.0000".into() };
    let correct = |was: &str, reason: &str| {
        let why = (!reason.is_empty()).then(|| Why { reason: reason.into(), time: String::new() });
        let entry =
            Entry::Reading { at: At { was: was.into(), ..at.clone() }, reading: "21.0001".into(), why };
        check(&computed, NOTEBOOK.as_bytes(), &entry, &Memory::default(), &Wanted::default())
    };
    let checked = correct("21.0000", "misread");
    assert!(checked.refused.is_empty());
    assert!(checked.net_masses.contains(&("m(sample)".to_owned(), "1.0001 g".to_owned())));
    assert!(correct("21.0000", "").refused.contains("say why"));
    assert!(correct("21.1", "misread").conflict);
}

#[test]
fn the_form_has_every_cell_by_trial_and_what_is_known_of_it() {
    let text = NOTEBOOK.replace("20.6500     31.3000", "~~20.5600~~ 20.6500 [digits swapped]  –");
    let form = form(&computed(&text));
    assert_eq!(form.blocks.len(), 1);
    let block = &form.blocks[0];
    assert_eq!(
        (block.unit.as_str(), block.balance.as_str(), &block.trials[..]),
        ("g", "B-1", &["A".to_owned(), "B".to_owned()][..])
    );
    let line = block.lines.iter().find(|line| line.label == "crucible + residue, heating 1").unwrap();
    assert_eq!((line.line, line.last, line.treatment.as_str()), (15, false, "heating"));
    let cell = &line.cells[0];
    assert_eq!(
        (cell.reading.as_str(), &cell.struck[..], cell.remark.as_str()),
        ("20.6500", &["20.5600".to_owned()][..], "digits swapped")
    );
    assert_eq!(cell.text, "~~20.5600~~ 20.6500 [digits swapped]");
    assert_eq!((line.cells[1].reading.as_str(), line.cells[1].text.as_str()), ("", "–"));
    let last = block.lines.iter().find(|line| line.label == "crucible, heating 2").unwrap();
    assert!(last.last && last.cells[1].reached && !last.cells[0].reached);
    assert_eq!(last.cells[0].key, "reading crucible, heating 2|0|A");
}

#[test]
fn what_the_template_asks_for_and_the_notebook_lacks_is_offered_at_its_place() {
    let asked = |masses: &str| {
        let text = format!("```experiment\ntemplate = \"hydrate\"\n```\n\n```masses\n{masses}```\n");
        form(&computed(&text)).blocks.remove(0)
    };
    // The template asks for two trials, the crucible twice, the sample once, the residue twice.
    let block = asked("trial: A\ncrucible, heating 1: 20.0000\ncrucible + residue, heating 1: 20.6400\n");
    assert_eq!((block.asked_trials, block.grows, block.named), (2, true, true));
    let wanted: Vec<(&str, usize, &str)> =
        block.asked.iter().map(|load| (load.label.as_str(), load.weighings, load.behind.as_str())).collect();
    assert_eq!(wanted, [("crucible + sample", 1, "crucible, heating 1")]);
    assert_eq!(block.lines.iter().map(|line| line.asked).collect::<Vec<_>>(), [2, 2]);
    let block =
        asked("trial: A  B\ncrucible: 20.0000  –\ncrucible: 20.0000  –\ncrucible + sample: 21.0000  –\n");
    assert_eq!(block.asked_trials, 0);
    assert_eq!(block.asked[0].label, "crucible + residue, heating 1");
    assert_eq!((block.asked[0].behind.as_str(), block.asked[0].nth), ("crucible + sample", 0));
    assert_eq!(block.lines.iter().map(|line| line.asked).collect::<Vec<_>>(), [0, 0, 0]);
    // The notebook's own word for a thing: the method's residue is its salt.
    let block = asked("trial: A  B\ncrucible + salt, heating 1: 20.0000  –\n");
    let labels: Vec<&str> = block.asked.iter().map(|load| load.label.as_str()).collect();
    assert_eq!(labels, ["crucible, heating 1", "crucible + sample"]);
    // A block without lines takes all of them.
    let block = asked("trial: A  B\n");
    assert_eq!((block.asked.len(), block.asked[0].behind.as_str(), block.asked[0].nth), (3, "", 0));
    assert_eq!(block.trials, ["A", "B"]);
}

#[test]
fn a_load_is_checked_before_it_has_a_line() {
    let text = NOTEBOOK.replace("crucible + sample:                21.0000     32.0000\n", "");
    let computed = computed(&text);
    let behind =
        At { label: "crucible, heating 2".into(), nth: 0, column: 0, trial: "A".into(), was: String::new() };
    let of = |label: &str| {
        let entry = Entry::Load { behind: behind.clone(), label: label.into(), reading: "21.0000".into() };
        check(&computed, text.as_bytes(), &entry, &Memory::default(), &Wanted::default())
    };
    // 21.0000 − 20.0000
    let checked = of("crucible + sample");
    assert!(checked.net_masses.contains(&("m(sample)".to_owned(), "1.0000 g".to_owned())), "{checked:?}");
    assert!(of("crucible").refused.contains("weighs this load already"));
}

#[test]
fn cautions_stand_before_the_readings() {
    let text = "```experiment\ntemplate = \"hydrate\"\n```\n\n```masses\ntrial: A\ncrucible: –\n```\n";
    let form = form(&computed(text));
    assert!(!form.cautions.is_empty());
    assert!(form.closing.contains("not a risk assessment"));
}
