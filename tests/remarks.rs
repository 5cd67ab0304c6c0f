//! Remarks: what a student reads after a review. Expected values are worked by hand beside each case.

use reweigh::review::formats::Reviewed;
use reweigh::review::marks::{FromReference, Marking};
use reweigh::review::remarks::{self as remarks_of, Marked};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

/// A hydrate of barium chloride. By hand: m(sample) 1.1032 and 1.0412, m(residue) 0.9406 and 0.8875, m(water) 0.1626
/// and 0.1537, w(water) 14.739 and 14.762 %; M(BaCl2) 208.23 g/mol makes n(salt) 4.5171 and 4.2621 mmol.
const NOTEBOOK: &str = r#"# TITLE

```experiment
title    = "TITLE"
authors  = ["Bench 7"]
date     = 2026-03-04
template = "TEMPLATE"
sample   = "barium chloride dihydrate"
basis    = "as received"
```

## Purpose

## Procedure

- [x] crucible free of cracks, and it rings clear when tapped
- [x] crucible and lid moved with tongs only
- [x] balance reads zero, doors closed
- [x] crucible at room temperature before every weighing
- [x] same balance for every weighing
- [ ] gas hose and burner inspected

## Readings

```masses
unit:     g
balance:  B-04
trial:                            A            B
crucible, heating 1:              20.1184      19.6627
crucible, heating 2:              20.1182      19.6626
crucible + sample:                21.2214      20.7038
crucible + residue, heating 1:    21.0602      20.5508
crucible + residue, heating 2:    21.0590      20.5503
crucible + residue, heating 3:    21.0588      20.5501
```

```claimed
trial:  A  B
CLAIMS
```

## Discussion
"#;

/// One of everything: right values, a slip in every trial (the hydrate's molar mass, 244.26 g/mol: 3.8508 and
/// 3.6334 mmol), what follows from it (x = 0.1626/18.015 mol over 3.851 mmol is 2.344; 0.1537/18.015 over 3.633 mmol is
/// 2.348), digits that do not fit, and a claim of nothing.
const MANY: &str = "m(sample): 1.1032 g 1.0412 g\nm(residue): 0.9406 g 0.8875 g\nm(water): 0.1626 g 0.1537 g\n\
    w(water): 14.7389 % 14.76 %\nn(salt): 3.851 mmol 3.633 mmol\nx: 2.344 2.348\nmean w(sand): 1 %";

fn notebook(title: &str, template: &str, claims: &str) -> String {
    NOTEBOOK.replace("TITLE", title).replace("TEMPLATE", template).replace("CLAIMS", claims)
}

/// A folder with some files.
fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for (path, text) in files {
        let path = folder.path().join(path);
        std::fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
        std::fs::write(path, text).expect("written");
    }
    folder
}

/// Status, what was said, both outputs together.
fn run(folder: &Path, arguments: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the command starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code().expect("an exit status"), text(output.stdout) + &text(output.stderr))
}

fn read(folder: &Path, path: &str) -> String {
    let text = std::fs::read_to_string(folder.join(path));
    text.unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// The remarks on one notebook of the shipped template, in a form.
fn remarks(claims: &str, form: &str, ending: &str) -> String {
    let folder = folder(&[("a.md", &notebook("A hydrate", "hydrate", claims))]);
    let (_, said) = run(folder.path(), &["review", "a.md", "--remarks", "out", "--remarks-as", form]);
    assert!(!said.contains("reweigh:"), "{said}");
    read(folder.path(), &format!("out/a-remarks.{ending}"))
}

/// The shipped hydrate as a folder of one's own, with changes: (file, from, to); an empty `from` replaces the file.
fn template_with(changes: &[(&str, &str, &str)]) -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates/hydrate");
    let files = ["template.toml", "method.md", "notebook.md", "marking/marks.toml", "marking/remarks.md"];
    let mut read: Vec<(String, String)> = files
        .iter()
        .map(|file| (file.to_string(), std::fs::read_to_string(root.join(file)).expect("a shipped file")))
        .collect();
    for (file, from, to) in changes {
        match read.iter_mut().find(|(path, _)| path == file) {
            Some((_, text)) if from.is_empty() => *text = to.to_string(),
            Some((_, text)) => {
                assert!(text.contains(from), "{file} has no {from}");
                *text = text.replace(from, to);
            }
            None => read.push((file.to_string(), to.to_string())),
        }
    }
    read
}

fn write_template(folder: &Path, name: &str, changes: &[(&str, &str, &str)]) -> PathBuf {
    for (path, text) in template_with(changes) {
        let path = folder.join(name).join(path);
        std::fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
        std::fs::write(path, text).expect("written");
    }
    folder.join(name)
}

#[test]
fn what_is_right_comes_first_and_a_slip_is_a_question() {
    let text = remarks(MANY, "markdown", "md");
    let at = |part: &str| text.find(part).unwrap_or_else(|| panic!("no {part} in\n{text}"));
    assert!(
        at("These follow from your readings:** m(sample); m(residue); m(water)") < at("## Look again at")
    );
    // Both trials have one slip, so it is told once.
    at("- **n(salt)** (line 43)");
    assert_eq!(text.matches("Which substance is it").count(), 1, "{text}");
    at("M(BaCl2·2H2O) taken for M(BaCl2)");
    at("**x** is right from your own n(salt)");
    // A paragraph of its own, not a part of the last item.
    at("\n\nA value that differs is a reason to look again");
    at("**w(water), trial A** has too many digits: your readings bear 2 decimals (in %)");
    at("**mean w(sand)** could not be compared");
    at("(tick it as `- [x]` if it was done");
    at("gas hose and burner inspected");
}

#[test]
fn a_right_notebook_is_told_so_and_nothing_else() {
    let text = remarks("m(sample): 1.1032 g 1.0412 g\nw(water): 14.74 % 14.76 %", "markdown", "md");
    assert!(text.contains("These follow from your readings:** m(sample); w(water)"), "{text}");
    assert!(!text.contains("Look again") && !text.contains("## Digits"), "{text}");
}

#[test]
fn where_the_template_shows_no_results_no_number_is_given_away() {
    let folder = folder(&[("a.md", &notebook("A hydrate", "quiet", MANY))]);
    write_template(
        folder.path(),
        "quiet",
        &[
            ("template.toml", "reveal = \"all\"", "reveal = \"readings only\""),
            ("template.toml", "id          = \"hydrate\"", "id          = \"quiet\""),
        ],
    );
    let (_, said) = run(
        folder.path(),
        &["review", "a.md", "--template", "quiet", "--remarks", "out", "--remarks-as", "html"],
    );
    assert!(said.contains("4.517"), "the reviewer sees the number: {said}");
    run(folder.path(), &["review", "a.md", "--template", "quiet", "--remarks", "out"]);
    for file in ["out/a-remarks.md", "out/a-remarks.html"] {
        let text = read(folder.path(), file);
        // 4.517 and 4.262 mmol, x = 1.998 and 2.002, the theory 14.75 %: nothing that the student did not write.
        for number in ["4.517", "4.262", "1.998", "2.002", "2.00", "14.75", "208.2"] {
            assert!(!text.contains(number), "{file} gives {number} away:\n{text}");
        }
        assert!(text.contains("that does not follow from your readings"), "{text}");
        assert!(text.contains("Which substance is it"), "{text}");
        // A question that is asked for a low result only would tell the sign.
        assert!(!text.contains("may water have stayed in the salt"), "{text}");
    }
}

#[test]
fn no_reference_value_and_nothing_of_another_notebook_is_told() {
    let other = notebook("The other bench", "own", "m(sample): 1.9999 g 1.0412 g\nw(water): 55.55 % 66.66 %")
        .replace("Bench 7", "Bench 8");
    let folder = folder(&[("a.md", &notebook("A hydrate", "own", MANY)), ("b.md", &other)]);
    write_template(
        folder.path(),
        "own",
        &[
            ("template.toml", "id          = \"hydrate\"", "id          = \"own\""),
            ("marking/references.csv", "", "unknown,symbol,value\n7,w(water),77.77 %\n"),
            ("marking/sample.md", "", "The class mean was 88.88 %.\n"),
        ],
    );
    let (status, said) =
        run(folder.path(), &["review", "a.md", "b.md", "--template", "own", "--remarks", "out"]);
    assert_eq!(status, 1, "{said}");
    let (a, b) = (read(folder.path(), "out/a-remarks.md"), read(folder.path(), "out/b-remarks.md"));
    for text in [&a, &b] {
        assert!(!text.contains("77.77") && !text.contains("88.88"), "{text}");
    }
    for foreign in ["The other bench", "Bench 8", "1.9999", "55.55", "66.66"] {
        assert!(!a.contains(foreign), "{foreign} in\n{a}");
    }
    for foreign in ["A hydrate", "Bench 7", "3.851", "3.633", "14.7389"] {
        assert!(!b.contains(foreign), "{foreign} in\n{b}");
    }
}

#[test]
fn nothing_is_replaced_unasked_and_two_remarks_never_share_a_file() {
    let text = notebook("A hydrate", "hydrate", MANY);
    let folder = folder(&[("a.md", &text), ("x/a.md", &text), ("out/a-remarks.md", "mine"), ("file", "")]);
    let (status, said) = run(folder.path(), &["review", "a.md", "--remarks", "out"]);
    assert_eq!(status, 2);
    assert!(said.contains("out/a-remarks.md is there already"), "{said}");
    assert_eq!(read(folder.path(), "out/a-remarks.md"), "mine");
    assert_eq!(run(folder.path(), &["review", "a.md", "--remarks", "out", "--replace"]).0, 1);
    assert!(read(folder.path(), "out/a-remarks.md").contains("Look again at"));
    let (status, said) = run(folder.path(), &["review", "a.md", "x/a.md", "--remarks", "both"]);
    assert!(status == 2 && said.contains("would both go to both/a-remarks.md"), "{said}");
    assert!(!folder.path().join("both").exists());
    let (status, said) = run(folder.path(), &["review", "a.md", "--remarks", "file"]);
    assert!(status == 2 && said.contains("file is no folder"), "{said}");
    assert_eq!(run(folder.path(), &["review", "a.md", "--replace"]).0, 2, "nothing to replace");
}

#[test]
fn a_template_of_ones_own_says_it_in_its_own_words() {
    let folder = folder(&[("a.md", &notebook("A *hydrate*", "own", MANY))]);
    let own = "Dear <<authors|join(\", \")>>,\n<% for claim in claims %>\n<% if claim.verdict == \"differs\" %>\n- \
               <<claim.name>> <<claim.claimed>> <<claim.recomputed>>\n<% endif %>\n<% endfor %>\n<% if points is none \
               %>\nno marks\n<% endif %>\n<<title>>\n<<marked>>\n";
    write_template(folder.path(), "own", &[("marking/remarks.md", "", own), ("marking/marks.toml", "", "")]);
    run(folder.path(), &["review", "a.md", "--template", "own", "--remarks", "out"]);
    assert_eq!(
        read(folder.path(), "out/a-remarks.md"),
        "Dear Bench 7,\n- n(salt), trial A 3.851\u{a0}mmol 4.517\u{a0}mmol\n- n(salt), trial B 3.633\u{a0}mmol 4.262\u{a0}mmol\nno marks\nA \
         \\*hydrate\\*\n"
    );
}

/// The shipped marks of a hydrate: m(sample) 1, w(water) 3, x 2, and by hand Procedure 2 and Discussion 2. All of MANY's
/// claims of the first three are right or carried forward: 6 of 10.
#[test]
fn marks_are_told_item_by_item() {
    let text = remarks(MANY, "markdown", "md");
    assert!(text.contains("You have 6 of 10 points so far; 4 more are not decided here."), "{text}");
    for row in [
        "| m(sample) | 1 | 1 | agrees |",
        "| w(water) | 3 | 3 | agrees |",
        "| x | 2 | 2 | carried forward |",
        "| Procedure | – | 2 | your marker decides |",
    ] {
        assert!(text.contains(row), "no {row} in\n{text}");
    }
    // w(water)[B] off by 0.1 %: half of its three points; x is not claimed.
    let text = remarks("m(sample): 1.1032 g 1.0412 g\nw(water): 14.74 % 14.86 %", "markdown", "md");
    assert!(text.contains("| w(water) | 1.5 | 3 | 1 agrees, 1 differs |"), "{text}");
    assert!(text.contains("| x | 0 | 2 | not claimed |"), "{text}");
    assert!(text.contains("You have 2.5 of 10 points so far"), "{text}");
}

/// Marks of which some tell more than a student may know.
const TELLING: &str = "[[mark]]\nclaim = \"m(sample)\"\npoints = 1\n\
    [[mark]]\naccuracy = \"w(water)\"\nsteps = [{ within = \"0.5 %\", points = 4 }]\n\
    [[mark]]\naccuracy = \"x\"\nagainst = \"theory\"\nsteps = [{ within = \"0.51 %\", points = 3 }]\n\
    [[mark]]\nagreement = \"w(water)\"\nsteps = [{ within = \"0.4 %\", points = 2 }]\n";

#[test]
fn no_mark_tells_a_reference_value_or_a_result_that_is_not_shown() {
    let folder = folder(&[("a.md", &notebook("A hydrate", "own", MANY))]);
    let named = ("template.toml", "id          = \"hydrate\"", "id          = \"own\"");
    let text = || {
        let arguments = ["review", "a.md", "--template", "own", "--remarks", "out", "--replace"];
        let (status, said) =
            run(folder.path(), &[&arguments[..], &["--decisions", "decisions.toml"]].concat());
        assert_eq!(status, 1, "{said}");
        read(folder.path(), "out/a-remarks.md")
    };
    // A person has decided about the accuracy, too: within the limits of its steps that would tell the reference value.
    let sha256 = reweigh::sha256(read(folder.path(), "a.md").as_bytes());
    let decided =
        format!("[[decision]]\nnotebook = \"{sha256}\"\nmark = \"accuracy of w(water)\"\npoints = 4\n");
    std::fs::write(folder.path().join("decisions.toml"), decided).expect("written");
    write_template(folder.path(), "own", &[named, ("marking/marks.toml", "", TELLING)]);
    let all = text();
    assert!(
        all.contains("| accuracy of w(water) | – | 4 | goes by the reference value, which your marker has |"),
        "{all}"
    );
    // x is 1.998 and 2.002, so 2.000 against 2; the trials of w(water), 14.739 and 14.762, are 0.16 % apart.
    assert!(all.contains("| accuracy of x | 3 | 3 | off by 0.0") && all.contains("within 0.51 % |"), "{all}");
    assert!(
        all.contains("| agreement of w(water) | 2 | 2 | trials apart by 0.16 %, within 0.4 % |"),
        "{all}"
    );
    assert!(all.contains("You have 6 of 10 points so far; 4 more are not decided here."), "{all}");
    for reveal in ["readings only", "after claim"] {
        let to = format!("reveal = \"{reveal}\"");
        let quiet = ("template.toml", "reveal = \"all\"", to.as_str());
        write_template(folder.path(), "own", &[named, quiet, ("marking/marks.toml", "", TELLING)]);
        let told = text();
        assert!(told.contains("| accuracy of x | – | 3 | your marker tells you |"), "{told}");
        assert!(told.contains("| agreement of w(water) | – | 2 | your marker tells you |"), "{told}");
        assert!(told.contains("You have 1 of 10 points so far; 9 more"), "{told}");
        assert!(!told.contains("0.16") && !told.contains("off by 0."), "{told}");
    }
}

#[test]
fn remarks_follow_what_was_decided_by_hand() {
    // n(salt) by the hydrate's molar mass in both trials; the marker lets the first stand, and the second keeps its slip.
    let text = notebook("A hydrate", "hydrate", MANY);
    let folder = folder(&[("a.md", &text), ("b.md", &text.replace("Bench 7", "Bench 8"))]);
    let sha256 = reweigh::sha256(text.as_bytes());
    let decision = |notebook: &str, what: &str| format!("[[decision]]\nnotebook = \"{notebook}\"\n{what}\n");
    let decisions = [
        decision(
            &sha256[..12],
            "claim = \"n(salt)[A]\"\nverdict = \"agrees\"\nreason = \"as Bench 9 had it\"",
        ),
        decision(&sha256[..12], "mark = \"Discussion\"\npoints = 1.5\nreason = \"better than Bench 9\""),
        decision(&sha256[..12], "mark = \"Discusion\"\npoints = 1"),
        decision("ffffffffffff", "file = \"b.md\"\nmark = \"Discussion\"\npoints = 2"),
        decision("eeeeeeeeeeee", "file = \"elsewhere.md\"\nmark = \"Discussion\"\npoints = 2"),
    ];
    std::fs::write(folder.path().join("decisions.toml"), decisions.concat()).expect("written");
    let arguments =
        ["--plain", "review", "a.md", "b.md", "--remarks", "out", "--decisions", "decisions.toml"];
    let (status, said) = run(folder.path(), &arguments);
    assert_eq!(status, 1, "{said}");
    let (a, b) = (read(folder.path(), "out/a-remarks.md"), read(folder.path(), "out/b-remarks.md"));
    assert!(a.contains("**n(salt), trial B** (line 43)") && !a.contains("**n(salt)** (line 43)"), "{a}");
    assert!(a.contains("Which substance is it"), "the second claim keeps its slip: {a}");
    assert!(a.contains("| Discussion | 1.5 | 2 | decided by your marker |"), "{a}");
    assert!(a.contains("You have 7.5 of 10 points so far; 2 more"), "{a}");
    assert!(!a.contains("Bench 9"), "a reason is a note between markers: {a}");
    assert!(b.contains("**n(salt)** (line 43)") && b.contains("| Discussion | – | 2 |"), "{b}");
    assert!(said.contains("decisions.toml:11:1") && said.contains("no item is called `Discusion`"), "{said}");
    assert!(said.contains("decisions.toml:15:1") && said.contains("b.md has changed since"), "{said}");
    assert!(!said.contains("elsewhere.md"), "decisions about others are left alone: {said}");
}

#[test]
fn what_is_wrong_with_marks_is_said_and_a_copys_marks_are_not_given() {
    let folder = folder(&[("a.md", &notebook("A hydrate", "own", MANY))]);
    let marks =
        ("marking/marks.toml", "", "[[mark]]\nclaim = \"m(sample)\"\npoints = 1\n[[mark]]\nclaim = \"x\"\n");
    write_template(folder.path(), "own", &[marks]);
    let (status, said) =
        run(folder.path(), &["--plain", "review", "a.md", "--template", "own", "--remarks", "out"]);
    assert!(status == 1 && said.contains("own/marking/marks.toml:4:"), "{said}");
    assert!(read(folder.path(), "out/a-remarks.md").contains("You have 1 of 1 points."));
    run(folder.path(), &["review", "a.md", "--as-submitted", "--remarks", "out", "--replace"]);
    assert!(!read(folder.path(), "out/a-remarks.md").contains("points"));
}

#[test]
fn the_check_of_a_template_fills_its_remarks_and_gives_the_marks_of_its_sample() {
    let folder = folder(&[]);
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates/hydrate/marking/sample.md");
    let sample = std::fs::read_to_string(sample).expect("the sample");
    let check = |remarks: &str| {
        let files = [("marking/sample.md", "", sample.as_str()), ("marking/remarks.md", "", remarks)];
        write_template(folder.path(), "hydrate", &files);
        run(folder.path(), &["--plain", "template", "check", "hydrate"])
    };
    let (status, said) = check("# <<title>>\n\n<<standard>>\n\n<<marked>>\n");
    assert!(status == 0 && said.contains("remarks: filled for the sample data"), "{said}");
    assert!(said.contains("marks of the sample data: not tried, because it claims no value"), "{said}");
    let claims = format!("{sample}\n```claimed\ntrial: A B\nm(sample): 1.1032 g 1.0412 g\n```\n");
    write_template(folder.path(), "hydrate", &[("marking/sample.md", "", claims.as_str())]);
    let (_, said) = run(folder.path(), &["--plain", "template", "check", "hydrate"]);
    assert!(said.contains("marks of the sample data: 1 of 10 points, 4 open"), "{said}");
    // A part that the sample does not come to is tried as well.
    let (status, said) = check("# <<title>>\n<% for item in carried %>\n<<item.name>>\n<% endfor %>\n");
    assert!(status == 1 && said.contains("hydrate/marking/remarks.md:3:"), "{said}");
    let (status, said) = check("# <<title>>\n<% if right %>\n");
    assert!(status == 1 && said.contains("hydrate/marking/remarks.md:"), "{said}");
    let (status, said) =
        check("<% for a in range(100000) %><% for b in range(100000) %>x<% endfor %><% endfor %>");
    assert!(status == 1 && said.contains("hydrate/marking/remarks.md"), "{said}");
}

/// What the check of a template tries is what a review can put: the same names, one of each.
#[test]
fn the_values_remarks_are_tried_with_have_the_names_of_real_ones() {
    use serde_json::Value;
    fn names(value: &Value, path: &str, found: &mut std::collections::BTreeSet<String>) {
        match value {
            Value::Object(all) => all.iter().for_each(|(key, value)| {
                found.insert(format!("{path}.{key}"));
                names(value, &format!("{path}.{key}"), found);
            }),
            Value::Array(all) => all.iter().for_each(|value| names(value, path, found)),
            _ => {}
        }
    }
    let files = reweigh::files::Memory::default();
    let template = Arc::new(reweigh::template::find("hydrate", &files).expect("it is shipped"));
    let wanted =
        reweigh::Wanted { template: Some(template.clone()), purpose: reweigh::template::Purpose::Review };
    let text = notebook("A hydrate", "hydrate", MANY);
    let computed = reweigh::compute_as("a.md", text.as_bytes(), &files, &wanted);
    let review = reweigh::review::review(&computed.results);
    let reviewed = Reviewed {
        file: "a.md",
        notebook: &computed.notebook,
        results: &computed.results,
        review: &review,
        template: Some(&template),
        own: text.len(),
        of_report: &[],
    };
    let marks = reweigh::template::marks::marks(&template).0;
    let (results, reference) = (&computed.results, &|_: &str| FromReference::None(String::new()));
    let awards =
        Marking { marks: &marks, template: Some(&template), results, review: &review, reference }.awards();
    let real =
        remarks_of::values(&reviewed, Some(&Marked { marks: &marks, awards: &awards })).expect("values");
    let specimen = remarks_of::specimen();
    let keys = |value: &Value| value.as_object().expect("values by name").keys().cloned().collect::<Vec<_>>();
    assert_eq!(keys(&real), keys(&specimen));
    for name in keys(&real) {
        let (mut found, mut tried) = Default::default();
        names(&real[&name], &name, &mut found);
        names(&specimen[&name], &name, &mut tried);
        // A list that is empty here shows nothing of its names.
        assert!(real[&name] == Value::Array(Vec::new()) || found == tried, "{name}: {found:?}, {tried:?}");
    }
    for name in ["right", "look_again", "carried", "unchecked", "digits", "findings", "claims", "marks"] {
        assert_ne!(real[name], Value::Array(Vec::new()), "{name} is tried");
    }
}

#[test]
fn what_is_wrong_with_a_text_of_remarks_is_said_at_its_line_and_nothing_is_written() {
    let folder = folder(&[("a.md", &notebook("A hydrate", "own", MANY))]);
    let cases = [
        ("one\ntwo\n<<nothing>>\n", "own/marking/remarks.md:3:", "undefined"),
        ("one\n<% for a in claims %>\n", "own/marking/remarks.md:2:", ""),
        (
            "<% for a in range(100000) %><% for b in range(100000) %>x<% endfor %><% endfor %>",
            "own/marking/remarks.md",
            "",
        ),
    ];
    for (text, place, what) in cases {
        write_template(folder.path(), "own", &[("marking/remarks.md", "", text)]);
        let (status, said) =
            run(folder.path(), &["--plain", "review", "a.md", "--template", "own", "--remarks", "out"]);
        assert_eq!(status, 2, "{said}");
        assert!(
            said.contains(place) && said.contains("bad-remarks") && said.contains(what),
            "{place}: {said}"
        );
        assert!(!folder.path().join("out/a-remarks.md").exists());
    }
}

#[test]
fn the_text_of_a_copy_that_was_handed_in_is_not_used() {
    let folder = folder(&[("a.md", &notebook("A hydrate", "own", MANY))]);
    write_template(folder.path(), "own", &[("marking/remarks.md", "", "Full marks, well done!\n")]);
    let (_, said) = run(folder.path(), &["review", "a.md", "--as-submitted", "--remarks", "out"]);
    assert!(said.contains("reviewed by the template as handed in, from the folder own"), "{said}");
    let text = read(folder.path(), "out/a-remarks.md");
    assert!(!text.contains("Full marks") && text.contains("Look again at"), "{text}");
}

#[test]
fn a_page_of_remarks_asks_for_no_network_and_holds_no_script_of_a_notebook() {
    let title = "<script>alert(1)</script> [x](javascript:alert(1))";
    let folder = folder(&[("a.md", &notebook(title, "hydrate", MANY))]);
    run(folder.path(), &["review", "a.md", "--remarks", "out", "--remarks-as", "html"]);
    let page = read(folder.path(), "out/a-remarks.html");
    assert!(
        page.contains("<h1>Remarks: &lt;script&gt;alert(1)&lt;/script&gt; [x](javascript:alert(1))</h1>"),
        "{page}"
    );
    assert!(!page.contains("<script") && !page.contains("href=") && !page.contains("src="), "{page}");
    assert!(page.contains("<h2>Look again at</h2>") && page.contains("<li>"), "{page}");
}

#[cfg(feature = "pdf")]
#[test]
fn remarks_are_set_as_a_pdf() {
    let folder = folder(&[("a.md", &notebook("A {hydrate} $x$", "hydrate", MANY))]);
    let (status, said) = run(folder.path(), &["review", "a.md", "--remarks", "out", "--remarks-as", "pdf"]);
    assert_eq!(status, 1, "{said}");
    let text = Command::new("pdftotext")
        .args(["-layout", "out/a-remarks.pdf", "-"])
        .current_dir(folder.path())
        .output()
        .expect("pdftotext");
    let text = String::from_utf8_lossy(&text.stdout).into_owned();
    for part in ["Remarks: A {hydrate} $x$", "Look again at", "Which substance is it", "Bench 7"] {
        assert!(text.contains(part), "no {part} in\n{text}");
    }
}

#[test]
fn a_review_says_how_the_copy_that_was_handed_in_differs_and_goes_by_the_reviewers() {
    // 0.1626/0.9406 = 17.29 % and 0.1537/0.8875 = 17.32 %: right by the changed copy alone.
    let claims = "w(water): 17.29 % 17.32 %";
    let folder = folder(&[
        ("own.md", &notebook("A hydrate", "own", claims)),
        ("shipped.md", &notebook("A hydrate", "hydrate", claims)),
    ]);
    let changed = ("method.md", "w(water) = m(water) / m(sample) ", "w(water) = m(water) / m(residue) ");
    let named = ("template.toml", "id          = \"hydrate\"", "id          = \"own\"");
    write_template(folder.path(), "own", &[changed, named]);
    write_template(folder.path(), "hydrate", &[changed, ("local.toml", "", "institution = \"mine\"\n")]);
    write_template(folder.path(), "desk/own", &[named]);
    let joined = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let review = |arguments: &[&str]| {
        let (status, said) = run(folder.path(), &[&["review"], arguments].concat());
        (status, joined(said))
    };
    let (status, said) = review(&["own.md", "--template", "desk/own"]);
    assert_eq!(status, 1);
    let differs = "reviewed by own 1.0 (from the folder desk/own); the copy handed in is another one: method.md differs";
    assert!(said.contains(&format!("warning: {differs}")) && said.contains("2 differ"), "{said}");
    let (_, said) = review(&["shipped.md"]);
    let differs = "reviewed by hydrate 1.0 (shipped with the program); the copy handed in is another one: method.md \
                   differs, local.toml is not in the reviewer's";
    assert!(said.contains(differs) && said.contains("2 differ"), "{said}");
    for file in ["own.md", "shipped.md"] {
        let (_, said) = review(&[file, "--as-submitted"]);
        assert!(said.contains("reviewed by the template as handed in") && said.contains("2 agree"), "{said}");
    }
    let (_, said) = review(&["own.md", "--template", "desk/own", "--format", "json"]);
    assert!(said.contains("\"code\": \"template-copy\""), "{said}");
    // The same copy is said to be the same.
    write_template(folder.path(), "own", &[named]);
    let (_, said) = review(&["own.md", "--template", "desk/own"]);
    assert!(
        said.contains("note: reviewed by own 1.0 (from the folder desk/own); the copy handed in is the same"),
        "{said}"
    );
}
