//! The rules in the scripts of the bench sheet against the program's, on generated tables; and the sheet as a file.
//!
//! The scripts run in Node.js (the Debian package `nodejs`); `tests/pages.rs` tries the sheet in a browser.

use reweigh::bench_page::offline;
use reweigh::evaluation::results::{ConstantMass, Results};
use reweigh::files::Memory;
use reweigh::template;
use reweigh::template::skeleton::fill;
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};

/// How many tables are generated.
const TABLES: u64 = 600;

/// A generator of numbers that looks random and is the same each time (Knuth's MMIX constants, from memory).
struct Dice(u64);

impl Dice {
    /// A number below `sides`.
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 33) % sides
    }

    fn pick<'a>(&mut self, from: &[&'a str]) -> &'a str {
        from[self.roll(from.len() as u64) as usize]
    }
}

const RULES: [&str; 12] = [
    "",
    "not more than 0.5 mg",
    "less than 0.4 mg",
    "0.3 mg",
    "not more than 0.50 mg/g",
    "0.1 %",
    "less than 0.02 % gross",
    "smaller of 4 % and 0.5 mg",
    "not more than the larger of 0.2 mg/g and 1 scale interval",
    "not more than the larger of 0.5 mg and 2 scale intervals",
    "smaller of 0.05 % and the larger of 0.3 mg and 3 scale intervals",
    "fixed time",
];

/// A notebook with some weighings: vessel, sample, residue; now and then by difference, with gaps and events.
fn notebook(dice: &mut Dice) -> String {
    let trials = 1 + dice.roll(3);
    let milligrams = dice.roll(5) == 0;
    let comma = dice.roll(6) == 0;
    let mut text = "```experiment\n".to_owned();
    let rule = dice.pick(&RULES);
    if !rule.is_empty() {
        let rule = if comma { rule.replace('.', ",") } else { rule.to_owned() };
        text.push_str(&format!("constant-mass = \"{rule}\"\n"));
    }
    if comma {
        text.push_str("decimal = \"comma\"\n");
    }
    let readability = dice.pick(&["", "0.1 mg", "1 mg"]);
    if !readability.is_empty() {
        let readability = if comma { readability.replace('.', ",") } else { readability.to_owned() };
        text.push_str(&format!("\n[balance.B-1]\nreadability = \"{readability}\"\n"));
    }
    text.push_str("```\n\n```masses\n");
    text.push_str(if milligrams { "unit: mg\n" } else { "unit: g\n" });
    text.push_str("balance: B-1\n");
    // Tenths of a milligram.
    let vessels: Vec<i64> = (0..trials).map(|_| 180_000 + dice.roll(90_000) as i64).collect();
    let samples: Vec<i64> = (0..trials).map(|_| 2_000 + dice.roll(12_000) as i64).collect();
    let mut row = |label: String, masses: Vec<i64>, dice: &mut Dice| {
        let cells: Vec<String> = masses
            .into_iter()
            .map(|mass| match dice.roll(14) {
                0 => "–".to_owned(),
                _ if milligrams => format!("{}.{}", mass / 10, mass % 10),
                _ => format!("{}.{:04}", mass / 10_000, mass % 10_000),
            })
            .collect();
        let cells = if comma { cells.join("  ").replace('.', ",") } else { cells.join("  ") };
        text.push_str(&format!("{label}: {cells}\n"));
    };
    let steps = |from: &mut Vec<i64>, dice: &mut Dice| {
        from.iter_mut().for_each(|mass| *mass -= dice.roll(11) as i64 - 2);
    };
    let mut now = vessels.clone();
    for heating in 1..=1 + dice.roll(3) {
        row(format!("crucible, heating {heating}"), now.clone(), dice);
        steps(&mut now, dice);
    }
    let both = |a: &[i64], b: &[i64]| a.iter().zip(b).map(|(a, b)| a + b).collect::<Vec<i64>>();
    let name = dice.pick(&["sample", "salt"]);
    match dice.roll(4) {
        0 => {
            row(format!("bottle + {name}"), samples.iter().map(|sample| sample + 300_000).collect(), dice);
            row("bottle".to_owned(), vec![300_000; trials as usize], dice);
        }
        1 => {}
        _ => row(format!("crucible + {name}"), both(&vessels, &samples), dice),
    }
    let mut now = both(&vessels, &samples.iter().map(|sample| sample * 8 / 10).collect::<Vec<_>>());
    let mut lines = Vec::new();
    for heating in 1..=dice.roll(6) {
        lines.push((format!("crucible + residue, heating {heating}"), now.clone(), dice.roll(9) == 0));
        steps(&mut now, dice);
    }
    for (label, masses, event) in lines {
        row(label, masses, dice);
        if event {
            row("event: five drops of acid added, then".to_owned(), Vec::new(), dice);
        }
    }
    text + "```\n"
}

/// What the program says of every series and trial.
fn verdicts(results: &Results) -> Value {
    let one = |verdict: &ConstantMass| match verdict {
        ConstantMass::Reached { at } => json!({ "verdict": "reached", "at": at }),
        ConstantMass::NotReached { .. } => json!({ "verdict": "not reached" }),
        ConstantMass::NotShown(why) => json!({ "verdict": "not shown", "why": why }),
        ConstantMass::CannotBeJudged(why) => json!({ "verdict": "cannot be judged", "why": why }),
        ConstantMass::None => json!({ "verdict": "none" }),
    };
    json!(
        results
            .series
            .iter()
            .map(|series| series.verdicts.iter().map(one).collect::<Vec<_>>())
            .collect::<Vec<_>>()
    )
}

/// Runs the rules and a script after them; `tables` is what the script reads.
fn in_node(script: &str, tables: &Value) -> Value {
    let script = format!(
        "\"use strict\";\n{}\nconst given = JSON.parse(require('fs').readFileSync(0, 'utf8'));\n{script}",
        offline::RULES
    );
    let folder = tempfile::tempdir().expect("a folder for the script");
    let path = folder.path().join("rules.cjs");
    std::fs::write(&path, script).expect("the script is written");
    let mut node = Command::new("node")
        .arg(&path)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("node (the Debian package nodejs) can be started");
    node.stdin.take().unwrap().write_all(tables.to_string().as_bytes()).expect("node reads the tables");
    let output = node.wait_with_output().expect("node ends");
    assert!(output.status.success(), "the scripts failed");
    serde_json::from_slice(&output.stdout).expect("the answer is JSON")
}

#[test]
fn the_scripts_judge_generated_tables_as_the_program_does() {
    let mut dice = Dice(20261127);
    let texts: Vec<String> = (0..TABLES).map(|_| notebook(&mut dice)).collect();
    let computed: Vec<_> =
        texts.iter().map(|text| reweigh::compute("n.md", text.as_bytes(), &Memory::default())).collect();
    let tables: Vec<Value> =
        computed.iter().map(|computed| offline::table(&computed.notebook, None)).collect();
    let script = r#"
        const judged = (data) => {
          const table = { unit: Fraction.of(data.unit), readability: data.readability && Fraction.of(data.readability), rule: data.rule,
            trials: data.trials, lines: linesOf(data.lines, (line) => line.readings, data.mark) };
          return seriesOf(table).map((series) => isRepeated(series, table) ? table.trials.map((_, trial) => judge(series, table, trial)) : []);
        };
        console.log(JSON.stringify(given.map(judged)));
    "#;
    let answers = in_node(script, &json!(tables));
    let mut kinds = std::collections::BTreeMap::new();
    for (index, computed) in computed.iter().enumerate() {
        let expected = verdicts(&computed.results);
        assert_eq!(answers[index], expected, "table {index}:\n{}", texts[index]);
        for verdict in expected.as_array().unwrap().iter().flat_map(|series| series.as_array().unwrap()) {
            *kinds.entry(verdict["verdict"].as_str().unwrap().to_owned()).or_insert(0) += 1;
        }
    }
    // The tables are of every kind, so that agreement says something.
    for kind in ["reached", "not reached", "not shown", "cannot be judged", "none"] {
        assert!(kinds.get(kind).is_some_and(|count| *count >= 20), "few tables are {kind}: {kinds:?}");
    }
}

#[test]
fn what_is_typed_becomes_lines_that_the_program_reads_the_same() {
    let script = r#"
        const cell = (typed, struck = [], reason = "") => ({ typed, struck, reason });
        const lines = [
          { label: "cup, heating 1", things: ["cup"], treatment: "heating", number: 1, done: "", cells: [cell("18.2749"), cell("17.9034")] },
          { label: "cup + salt, heating 1", things: ["cup", "salt"], treatment: "heating", number: 1, cells: [cell("18.9412"), cell("18.5736")] },
          { eventText: "ten drops of water added" },
          { label: "cup + salt, heating 2", things: ["cup", "salt"], treatment: "heating", number: 2, done: " \n ", cells: [cell("18.9383"), cell("")] },
          { label: "cup + salt, heating 3", things: ["cup", "salt"], treatment: "heating", number: 3, done: " ignited at 900 °C: event: ~~x~~\n``` @ B-1 | = A ", cells: [cell("18.9301", ["18.9031"], "misread]\n"), cell("18.5650")] },
        ];
        const table = { unit: new Fraction(1n, 1000n), readability: null, rule: given, trials: ["A", "B"], lines: linesOf(withEvents(lines), (line) => line.cells.map((cell) => cell.typed), ".") };
        const said = remarksOn(table, 3, 0, "18.9301", ".").map(([kind, words]) => words);
        console.log(JSON.stringify({ text: massesText(lines, table.trials, "."), verdicts: seriesOf(table).map((series) => table.trials.map((_, trial) => judge(series, table, trial))), said }));
    "#;
    let notebook = reweigh::notebook::read("n.md", b"```masses\ncup: 1.0\n```\n", &Memory::default());
    let written = in_node(script, &offline::table(&notebook, None)["rule"]);
    let text = format!("```masses\n{}```\n", written["text"].as_str().unwrap());
    assert_eq!(
        text,
        "```masses\n\
        trial:                  A                              B\n\
        cup, heating 1:         18.2749                        17.9034\n\
        cup + salt, heating 1:  18.9412                        18.5736\n\
        event: ten drops of water added\n\
        cup + salt, heating 2:  18.9383                        –\n\
        event: ignited at 900 °C: event: ~~x~~ ``` @ B-1 | = A\n\
        cup + salt, heating 3:  ~~18.9031~~ 18.9301 [misread]  18.5650\n```\n"
    );
    let computed = reweigh::compute("n.md", text.as_bytes(), &Memory::default());
    assert_eq!(written["verdicts"], verdicts(&computed.results));
    let events: Vec<&str> = computed
        .notebook
        .blocks
        .iter()
        .filter_map(|block| match &block.kind {
            reweigh::notebook::blocks::BlockKind::Masses(masses) => Some(&masses.rows),
            _ => None,
        })
        .flatten()
        .filter_map(|row| match row {
            reweigh::notebook::blocks::Row::Event(event) => Some(event.value.as_str()),
            reweigh::notebook::blocks::Row::Load(_) => None,
        })
        .collect();
    assert_eq!(events, ["ten drops of water added", "ignited at 900 °C: event: ~~x~~ ``` @ B-1 | = A"]);
    let said = written["said"].to_string();
    assert!(said.contains("weighed once only since the last event"), "{said}");
}

#[test]
fn exact_numbers_print_ties_to_the_even_digit() {
    let script = r#"
        console.log(JSON.stringify(given.map(([text, decimals]) => Fraction.of(text).toFixed(decimals))));
    "#;
    let given =
        json!([["1/8", 2], ["3/8", 2], ["-1/8", 2], ["2/3", 4], ["-1/1000", 2], ["5", 0], ["1/20", 1]]);
    let expected = json!(["0.12", "0.38", "−0.12", "0.6667", "0.00", "5", "0.0"]);
    assert_eq!(in_node(script, &given), expected);
}

#[test]
fn readings_are_remarked_on_while_the_crucible_is_there() {
    let text = "```experiment\nconstant-mass = \"not more than 0.5 mg\"\n\n[balance.B-1]\nreadability = \"0.1 mg\"\n```\n\n\
        ```masses\nunit: g\nbalance: B-1\ntrial: A B\ncup: 18.2746 17.9031\ncup + residue, heating 1: 18.9412 18.5736\n\
        cup + residue, heating 2: 18.9383 18.5107\n```\n";
    let computed = reweigh::compute("n.md", text.as_bytes(), &Memory::default());
    let script = r#"
        const table = (lines) => ({ unit: Fraction.of(given.unit), unitName: "g", readability: Fraction.of(given.readability), rule: given.rule,
          trials: given.trials, lines: linesOf(lines, (line) => line.readings, ".") });
        const said = (index, trial, typed) => {
          const lines = structuredClone(given.lines);
          lines[index].readings[trial] = typed;
          return remarksOn(table(lines), index, trial, typed, ".").map(([kind, words]) => `${kind}: ${words}`);
        };
        console.log(JSON.stringify([said(2, 1, "18.5107"), said(2, 0, "18.9411"), said(2, 0, "18.9383"), said(1, 0, "18.94"), said(1, 0, "18,9412"), said(1, 0, "17.9412")]));
    "#;
    let said = in_node(script, &offline::table(&computed.notebook, None));
    let holds = |index: usize, words: &str| {
        let all = said[index].as_array().unwrap();
        assert!(all.iter().any(|said| said.as_str().unwrap().contains(words)), "{words}: {all:?}");
    };
    holds(0, "62.9 mg below heating 1: look at the display again");
    holds(1, "good: constant mass reached (heating 2)");
    holds(2, "2.9 mg below heating 1");
    holds(2, "constant mass not reached");
    holds(3, "fewer decimals than the balance gives");
    holds(4, "is no reading");
    holds(5, "below zero without its vessel");
}

#[test]
fn every_shipped_template_has_a_sheet_that_fetches_nothing() {
    for name in template::shipped_names() {
        let template = template::find(name, &Memory::default()).expect("it is shipped");
        let skeleton = fill(&template, &offline::student()).expect("the skeleton can be filled");
        let sheet = offline::sheet(&template, &skeleton).expect("it has readings");
        assert!(sheet.contains("default-src 'none'") && sheet.contains("script-src 'sha256-"), "{name}");
        for outside in ["http://", "https://", " src=\"", "@import", "url("] {
            let shown = sheet.replace("http://www.w3.org/2000/svg", "");
            assert!(!shown.contains(outside), "{name} has {outside}");
        }
        let cautions = sheet.find("id=\"cautions\"").expect("the cautions are there");
        assert!(cautions < sheet.find("id=\"readings\"").unwrap(), "{name}: cautions come first");
    }
}
