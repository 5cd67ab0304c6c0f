//! `reweigh section`, by the real command: rows, marks, reference values, decisions, changes, forms, faults.
//!
//! Notebooks are of the shipped template `precipitation`. Expected values are worked by hand: the factor SO4/BaSO4 is
//! 96.056/233.386 = 0.411576 (CIAAW 2021, abridged: S 32.06, O 15.999, Ba 137.33).

use crate::common::browser;

use serde_json::Value as Json;
use std::fmt::Write;
use std::path::Path;
use std::process::Command;

const FACTOR: f64 = 0.411_576;

/// A notebook to hand in.
#[derive(Clone)]
struct HandIn {
    author: String,
    unknown: Option<String>,
    balance: String,
    bench: String,
    /// Sample and precipitate of two trials, in grams.
    masses: [(f64, f64); 2],
    vessel: f64,
    claims: String,
    more: String,
}

impl HandIn {
    /// 0.4000 g gave 0.5000 g in both trials: w(SO4) = 0.5 × 0.411576/0.4 = 51.447 %.
    fn plain(author: &str) -> Self {
        HandIn {
            author: author.to_owned(),
            unknown: Some("U-1".to_owned()),
            balance: "B-01".to_owned(),
            bench: "1".to_owned(),
            masses: [(0.4, 0.5); 2],
            vessel: 20.0,
            claims: String::new(),
            more: String::new(),
        }
    }

    fn text(&self) -> String {
        let unknown =
            self.unknown.as_ref().map_or(String::new(), |unknown| format!("unknown = \"{unknown}\"\n"));
        let mut text = format!(
            "# Sulfate\n\n```experiment\ntitle = \"Sulfate\"\nauthors = [{:?}]\ndate = 2026-03-04\ntemplate = \"precipitation\"\n\
             sample = \"issued\"\nbasis = \"as received\"\nbench = {:?}\n{unknown}{}```\n\n```masses\nunit: g\nbalance: {}\ntrial:  A  B\n",
            self.author, self.bench, self.more, self.balance
        );
        let [(sample_a, precipitate_a), (sample_b, precipitate_b)] = self.masses;
        let vessel = self.vessel;
        let mut line = |load: &str, a: f64, b: f64| {
            let _ = writeln!(text, "{load}:  {a:.4}  {b:.4}");
        };
        line("crucible, ignition 1", vessel + 0.0002, vessel + 1.0002);
        line("crucible, ignition 2", vessel, vessel + 1.0);
        line("bottle + sample", vessel - 3.0 + sample_a, vessel - 4.0 + sample_b);
        line("bottle", vessel - 3.0, vessel - 4.0);
        line(
            "crucible + precipitate, ignition 1",
            vessel + precipitate_a + 0.0003,
            vessel + 1.0 + precipitate_b + 0.0002,
        );
        line("crucible + precipitate, ignition 2", vessel + precipitate_a, vessel + 1.0 + precipitate_b);
        text.push_str("```\n\n");
        if !self.claims.is_empty() {
            let _ = write!(text, "```claimed\ntrial:  A  B\n{}\n```\n", self.claims);
        }
        text
    }
}

/// Masses that come to a mass fraction in per cent.
fn masses_of(w: f64, sample: f64) -> (f64, f64) {
    (sample, sample * w / 100.0 / FACTOR)
}

/// Numbers that scatter, the same on every machine.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1u64 << 31) as f64
    }

    fn about(&mut self, s: f64) -> f64 {
        (self.next() + self.next() + self.next() - 1.5) * 2.0 * s
    }
}

/// Twenty-four notebooks of two unknowns (51.00 % and 47.00 %) on three balances; B-03 is 0.8 % low.
fn class() -> Vec<(String, HandIn)> {
    let mut numbers = Numbers(11);
    let one = |number: usize| {
        let (unknown, truth) = if number.is_multiple_of(2) { ("U-1", 51.0) } else { ("U-2", 47.0) };
        let balance = ["B-01", "B-02", "B-03"][number / 2 % 3];
        let low = if balance == "B-03" { 0.992 } else { 1.0 };
        let mut trial = || masses_of((truth + numbers.about(0.05)) * low, 0.4 + 0.05 * numbers.next());
        let masses = [trial(), trial()];
        let hand_in = HandIn {
            unknown: Some(unknown.to_owned()),
            balance: balance.to_owned(),
            bench: (number % 4 + 1).to_string(),
            masses,
            vessel: 18.0 + 10.0 * numbers.next(),
            ..HandIn::plain(&format!("Author {number:02}"))
        };
        (format!("bench-{number:02}.md"), hand_in)
    };
    (0..24).map(one).collect()
}

const UNKNOWNS: &str =
    "unknown,of,value,unit,u,released\nU-1,w(SO4),51.00,%,0.047,yes\nU-2,w(SO4),47.00,%,0.047,yes\n";

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        let folder = Folder(tempfile::tempdir().expect("a folder"));
        std::fs::create_dir(folder.path().join("in")).expect("a folder in it");
        folder
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    fn with(self, file: &str, text: impl AsRef<[u8]>) -> Self {
        self.put(file, text);
        self
    }

    fn put(&self, file: &str, text: impl AsRef<[u8]>) {
        let path = self.path().join(file);
        std::fs::create_dir_all(path.parent().expect("a parent")).expect("folders");
        std::fs::write(path, text).expect("written");
    }

    fn of_class() -> Self {
        let folder = Folder::new().with("unknowns.csv", UNKNOWNS);
        class().iter().for_each(|(file, hand_in)| folder.put(&format!("in/{file}"), hand_in.text()));
        folder
    }

    fn run(&self, arguments: &[&str]) -> (i32, String, String) {
        self.run_on(arguments, "2")
    }

    fn run_on(&self, arguments: &[&str], cores: &str) -> (i32, String, String) {
        let output = Command::new(env!("CARGO_BIN_EXE_reweigh"))
            .arg("section")
            .args(arguments)
            .current_dir(self.path())
            .env("NO_COLOR", "1")
            .env("RAYON_NUM_THREADS", cores)
            .output()
            .expect("the command starts");
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
        (output.status.code().expect("an exit status"), text(output.stdout), text(output.stderr))
    }

    /// The section as JSON, valid by the published schema.
    fn json(&self, arguments: &[&str]) -> Json {
        let (status, output, errors) = self.run(&[arguments, &["--format", "json"]].concat());
        assert!(status < 2, "{errors}");
        let document: Json = serde_json::from_str(&output).expect("JSON");
        let schema: Json =
            serde_json::from_str(include_str!("../src/review/section-1.schema.json")).expect("a schema");
        let validator = jsonschema::draft202012::new(&schema).expect("a schema that can be used");
        let said: Vec<String> = validator
            .iter_errors(&document)
            .map(|error| format!("{} {error}", error.instance_path()))
            .collect();
        assert!(said.is_empty(), "{said:#?}");
        document
    }
}

fn mark<'a>(document: &'a Json, row: usize, item: &str) -> &'a Json {
    let items = document["rows"][row]["marks"]["items"].as_array().expect("items");
    items.iter().find(|found| found["item"] == item).expect("the item")
}

#[test]
fn a_row_has_the_percent_error_and_the_marks_worked_by_hand() {
    // w(SO4)[B] is claimed as 51.54 %, where it is 51.45 %: half of the item's four points.
    let claims = "m(sample): 0.4000 g 0.4000 g\nm(precipitate): 0.5000 g 0.5000 g\nw(SO4): 51.45 % 51.54 %";
    let hand_in = HandIn { claims: claims.into(), ..HandIn::plain("A") };
    let folder = Folder::new().with("in/a.md", hand_in.text()).with("unknowns.csv", UNKNOWNS);
    let document = folder.json(&["in", "--unknowns", "unknowns.csv"]);
    let row = &document["rows"][0];
    let result = &row["results"][0];
    assert_eq!(
        (&row["file"], &result["of"], &result["printed"]),
        (&"a.md".into(), &"w(SO4)".into(), &"51.45".into())
    );
    // (51.447 − 51.00)/51.00 = 0.876 %; the difference is good to 0.01 %, so two figures.
    assert_eq!(result["reference"]["percent_error_printed"], "0.88");
    assert_eq!(mark(&document, 0, "m(sample)")["points"], "1");
    assert_eq!(mark(&document, 0, "w(SO4)")["points"], "2");
    assert_eq!(mark(&document, 0, "w(SO4)")["why"], "1 agrees, 1 differs");
    assert_eq!(mark(&document, 0, "accuracy of w(SO4)")["points"], "3", "within 1 %, not within 0.5 %");
    assert_eq!(mark(&document, 0, "Discussion")["points"], Json::Null, "by hand");
    // 1 + 1 + 2 + 3 reached, 2 + 2 open, of 14.
    let marks = &row["marks"];
    assert_eq!(
        (&marks["points"], &marks["open"], &marks["possible"]),
        (&"7".into(), &"4".into(), &"14".into())
    );
    assert_eq!(row["verdicts"]["differs"], 1);
    assert_eq!(row["differing"][0]["claim"], "w(SO4)[B]");
}

#[test]
fn a_reference_value_that_is_not_released_is_not_told_and_its_marks_stay_open() {
    let list = "unknown,of,value,unit,released\nU-1,w(SO4),51.23,%,2026-04-01\n";
    let folder = Folder::new().with("in/a.md", HandIn::plain("A").text()).with("unknowns.csv", list);
    let arguments = ["in", "--unknowns", "unknowns.csv", "--on", "2026-03-31"];
    let document = folder.json(&arguments);
    assert_eq!(document["rows"][0]["results"][0]["reference"]["status"], "not yet released");
    assert_eq!(mark(&document, 0, "accuracy of w(SO4)")["points"], Json::Null);
    for format in ["text", "json", "csv", "html"] {
        let (_, output, _) = folder.run(&[&arguments[..], &["--format", format]].concat());
        assert!(!output.contains("51.23"), "{format}");
    }
    let later = folder.json(&["in", "--unknowns", "unknowns.csv", "--on", "2026-04-01"]);
    assert_eq!(later["rows"][0]["results"][0]["reference"]["value"], "51.23");
    assert_eq!(mark(&later, 0, "accuracy of w(SO4)")["points"], "4", "0.42 %");
}

#[test]
fn unknowns_that_are_missing_or_cannot_be_used_are_said() {
    let none = HandIn { unknown: None, ..HandIn::plain("A") };
    let other = HandIn { unknown: Some("U-9".into()), vessel: 21.0, ..HandIn::plain("B") };
    let refused = HandIn { unknown: Some("U-3".into()), vessel: 22.0, ..HandIn::plain("C") };
    let list = format!("{UNKNOWNS}U-3,w(SO4),forty,%,,yes\n");
    let folder = Folder::new()
        .with("in/a.md", none.text())
        .with("in/b.md", other.text())
        .with("in/c.md", refused.text())
        .with("unknowns.csv", list);
    let document = folder.json(&["in", "--unknowns", "unknowns.csv"]);
    let status = |row: usize| document["rows"][row]["results"][0]["reference"]["status"].clone();
    assert_eq!(status(0), "no unknown stated");
    assert_eq!(status(1), "U-9 is not in the list");
    assert_eq!(status(2), "line 4 of the list cannot be used");
    let (code, _, errors) = folder.run(&["in", "--unknowns", "unknowns.csv"]);
    assert_eq!(code, 1);
    assert!(errors.contains("unknowns.csv:4:1") && errors.contains("`forty` is no number"), "{errors}");
}

#[test]
fn the_low_balance_is_told_and_the_benches_are_not() {
    let document = Folder::of_class().json(&["in", "--unknowns", "unknowns.csv"]);
    let spread = &document["statistics"][0]["spread"];
    assert_eq!(
        (&document["statistics"][0]["of"], &spread["centres"]),
        (&"w(SO4)".into(), &"reference values".into())
    );
    let apart = |groups: &Json| -> Vec<String> {
        let all = groups.as_array().expect("groups").iter();
        all.filter(|group| group["test"]["apart"] == true).map(|group| group["name"].to_string()).collect()
    };
    assert!(apart(&spread["balances"]).contains(&"\"B-03\"".to_owned()), "{spread:#}");
    assert!(apart(&spread["benches"]).is_empty());
    let low =
        spread["balances"].as_array().and_then(|all| all.iter().find(|g| g["name"] == "B-03")).expect("B-03");
    let shift: f64 = low["test"]["shift"].as_str().and_then(|text| text.parse().ok()).expect("a number");
    assert!((shift + 0.8).abs() < 0.15, "{shift}");
    assert_eq!((&low["n"], &low["others"]), (&8.into(), &16.into()));
    assert!(document["recurring"].as_array().is_some_and(Vec::is_empty), "no readings in common");
}

#[test]
fn neither_the_cores_nor_the_order_of_files_change_a_byte() {
    let one = Folder::of_class();
    let other = Folder::new().with("unknowns.csv", UNKNOWNS);
    class().iter().rev().for_each(|(file, hand_in)| other.put(&format!("in/{file}"), hand_in.text()));
    for format in ["text", "json", "csv", "html"] {
        let arguments = ["in", "--unknowns", "unknowns.csv", "--format", format];
        let first = one.run_on(&arguments, "1");
        assert_eq!(first, one.run_on(&arguments, "3"), "{format}");
        assert_eq!(first, other.run_on(&arguments, "2"), "{format}");
    }
}

#[test]
fn a_broken_file_costs_one_row() {
    let folder = Folder::new()
        .with("in/a.md", HandIn::plain("A").text())
        .with("in/b.md", b"\xff\xfe\x00no text")
        .with("in/c.md", "")
        .with("in/d.pdf", b"%PDF-1.7\nnothing")
        .with("in/e.pdf", b"no PDF at all")
        .with("in/f/g.md", HandIn { vessel: 21.0, ..HandIn::plain("G") }.text())
        .with("in/README.md", "# Not a hand-in\n")
        .with("in/notes.txt", "not a hand-in\n");
    let document = folder.json(&["in"]);
    let rows = document["rows"].as_array().expect("rows");
    let files: Vec<&str> = rows.iter().filter_map(|row| row["file"].as_str()).collect();
    assert_eq!(files, ["a.md", "b.md", "c.md", "d.pdf", "e.pdf", "f/g.md"]);
    let broken: Vec<&str> =
        rows.iter().filter(|row| row["problem"].is_string()).filter_map(|row| row["file"].as_str()).collect();
    assert_eq!(broken, ["b.md", "c.md", "d.pdf", "e.pdf"]);
    assert_eq!(folder.run(&["in"]).0, 1);
}

#[test]
fn an_empty_or_missing_folder_cannot_be_reviewed() {
    let folder = Folder::new();
    let (status, _, errors) = folder.run(&["in"]);
    assert_eq!(status, 2);
    assert!(errors.contains("there is no notebook (.md) and no report (.pdf, .html) in in"), "{errors}");
    let (status, _, errors) = folder.run(&["nowhere"]);
    assert_eq!(status, 2);
    assert!(errors.contains("cannot read the folder nowhere"), "{errors}");
    assert_eq!(folder.run(&["in", "--unknowns", "nothing.csv"]).0, 2);
}

#[cfg(unix)]
#[test]
fn links_are_not_followed_round_in_a_circle() {
    use std::os::unix::fs::symlink;
    let folder = Folder::new().with("in/a.md", HandIn::plain("A").text()).with("secret.md", "# x\n");
    symlink("..", folder.path().join("in/loop")).expect("a link");
    symlink("../secret.md", folder.path().join("in/b.md")).expect("a link");
    symlink("missing.md", folder.path().join("in/c.md")).expect("a link");
    let document = folder.json(&["in"]);
    assert_eq!(document["rows"].as_array().map(Vec::len), Some(1));
    assert!(document["findings"].to_string().contains("3 links are not followed"));
}

#[test]
fn a_template_handed_in_gives_no_marks_and_is_no_notebook() {
    let own = HandIn::plain("A").text().replace("\"precipitation\"", "\"mine\"");
    let template = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates/precipitation");
    let read = |file: &str| std::fs::read_to_string(template.join(file)).expect("a file");
    let folder = Folder::new()
        .with("in/a.md", own)
        .with("in/mine/template.toml", read("template.toml").replace("\"precipitation\"", "\"mine\""))
        .with("in/mine/method.md", read("method.md"))
        .with("in/mine/notebook.md", read("notebook.md"))
        .with("in/mine/marking/marks.toml", "[[mark]]\nclaim = \"m(sample)\"\npoints = 100\n");
    let document = folder.json(&["in"]);
    assert_eq!(document["rows"].as_array().map(Vec::len), Some(1));
    assert_eq!(document["rows"][0]["template"]["id"], "mine");
    assert_eq!(document["rows"][0]["marks"], Json::Null);
    // The instructor's own, named on the command line, counts.
    let trusted = folder.json(&["in", "--template", "in/mine"]);
    assert_eq!(trusted["rows"][0]["marks"]["possible"], "100");
}

#[test]
fn decisions_are_applied_by_the_hash_and_a_stale_one_is_said() {
    let claims = "w(SO4): 51.45 % 51.54 %";
    let hand_in = HandIn { claims: claims.into(), ..HandIn::plain("A") };
    let folder = Folder::new().with("in/a.md", hand_in.text());
    let hash = reweigh::sha256(hand_in.text().as_bytes());
    let decisions = format!(
        "[[decision]]\nnotebook = \"{hash}\"\nfile = \"a.md\"\nclaim = \"w(SO4)[B]\"\nverdict = \"agrees\"\nreason = \"a slip of the pen\"\n\n\
         [[decision]]\nnotebook = \"{hash}\"\nfile = \"a.md\"\nmark = \"Discussion\"\npoints = 1.5\n\n\
         [[decision]]\nnotebook = \"{hash}\"\nmark = \"Procedure\"\npoints = 3\n"
    );
    folder.put("decisions.toml", &decisions);
    let arguments = ["in", "--decisions", "decisions.toml"];
    let document = folder.json(&arguments);
    assert_eq!(mark(&document, 0, "w(SO4)")["points"], "4");
    assert_eq!(mark(&document, 0, "Discussion")["points"], "1.5");
    assert_eq!(mark(&document, 0, "Discussion")["by_hand"], true);
    assert_eq!(document["decisions"]["applied"], 2);
    assert!(document["findings"].to_string().contains("`Procedure` gives 2 points at most"));
    // The student hands in another notebook: nothing of it is applied, and each decision is told.
    folder.put("in/a.md", hand_in.text().replace("51.54", "51.55"));
    let changed = folder.json(&arguments);
    assert_eq!(mark(&changed, 0, "Discussion")["points"], Json::Null);
    assert_eq!(mark(&changed, 0, "w(SO4)")["points"], "2");
    let said = changed["findings"].to_string();
    assert!(said.contains("a.md has changed since w(SO4)[B] was decided"), "{said}");
    assert!(said.contains("a.md has changed since Discussion was decided"), "{said}");
    assert_eq!(folder.run(&arguments).0, 1);
}

#[test]
fn a_file_of_decisions_to_fill_in_lists_what_is_open_and_is_never_written_over() {
    // w(SO4)[B] differs; Procedure and Discussion are marked by hand; the accuracy waits for a reference value.
    let hostile = HandIn {
        claims: "w(SO4): 51.45 % 51.54 %".into(),
        ..HandIn::plain("A\n[[decision]]\nverdict = \"agrees\"")
    };
    let folder = Folder::new()
        .with("in/a \"quoted\".md", hostile.text())
        .with(
            "in/b.md",
            HandIn { vessel: 21.0, claims: "w(SO4): 51.45 % 51.45 %".into(), ..HandIn::plain("B") }.text(),
        )
        .with(
            "in/c.md",
            HandIn { vessel: 21.0, claims: "w(SO4): 51.45 % 51.45 %".into(), ..HandIn::plain("B") }.text(),
        );
    let (status, _, errors) = folder.run(&["in", "--to-decide", "decisions.toml"]);
    assert!(status < 2, "{errors}");
    let text = std::fs::read_to_string(folder.path().join("decisions.toml")).expect("it is written");
    let table: toml::Table = text.parse().unwrap_or_else(|error| panic!("{error}\n{text}"));
    let entries = table["decision"].as_array().expect("decisions");
    let about = |entry: &toml::Value| {
        let of = |key: &str| entry.get(key).and_then(toml::Value::as_str).unwrap_or("").to_owned();
        (of("file"), of("claim") + &of("mark"))
    };
    let hand_ins: Vec<(String, String)> = entries.iter().map(about).collect();
    let expected = [
        ("a \"quoted\".md", "w(SO4)[B]"),
        ("a \"quoted\".md", "Procedure"),
        ("a \"quoted\".md", "Discussion"),
        ("b.md", "Procedure"),
        ("b.md", "Discussion"),
    ];
    assert_eq!(hand_ins, expected.map(|(file, what)| (file.to_owned(), what.to_owned())), "{text}");
    assert!(text.contains("claimed 51.54 %, recomputed 51.45 %"), "{text}");
    // Blank, it decides nothing and is no fault; filled in, it is applied.
    let blank = folder.json(&["in", "--decisions", "decisions.toml"]);
    assert_eq!(blank["decisions"]["applied"], 0);
    assert!(blank["findings"].as_array().is_some_and(Vec::is_empty), "{}", blank["findings"]);
    let filled =
        text.replacen("verdict  = \"\"\nreason   = \"\"", "verdict  = \"agrees\"\nreason   = \"seen\"", 1);
    folder.put("decisions.toml", filled.replacen("points   = \"\"", "points   = 1.5", 1));
    let decided = folder.json(&["in", "--decisions", "decisions.toml"]);
    assert_eq!(decided["decisions"]["applied"], 2);
    assert_eq!(mark(&decided, 0, "w(SO4)")["points"], "4");
    assert_eq!(mark(&decided, 0, "Procedure")["points"], "1.5");
    // What is decided is not asked for again, and a file that is there stays.
    let (_, _, errors) = folder.run(&["in", "--decisions", "decisions.toml", "--to-decide", "more.toml"]);
    let more = std::fs::read_to_string(folder.path().join("more.toml")).unwrap_or(errors);
    assert_eq!(more.matches("\n[[decision]]\n").count(), 3, "{more}");
    let (status, _, errors) = folder.run(&["in", "--to-decide", "more.toml"]);
    assert!(status == 2 && errors.contains("more.toml is there already"), "{errors}");
    assert_eq!(std::fs::read_to_string(folder.path().join("more.toml")).expect("still there"), more);
}

#[test]
fn a_page_that_carries_its_notebook_is_a_hand_in_and_a_changed_one_is_noticed() {
    let claims = "w(SO4): 51.45 % 51.54 %";
    let folder = Folder::new().with("a.md", HandIn { claims: claims.into(), ..HandIn::plain("A") }.text());
    let set = Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .args(["report", "a.md", "--as", "html", "--output", "in/a.html"])
        .current_dir(folder.path())
        .output()
        .expect("the command starts");
    let page = std::fs::read_to_string(folder.path().join("in/a.html"));
    let page = page.unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&set.stderr)));
    // The mean 51.45 is printed; someone prints another one, and leaves the notebook inside as it is.
    let changed = page.replacen("51.45", "55.12", 1);
    assert_ne!(page, changed);
    folder.put("in/b.HTM", &changed);
    folder.put("in/c.html", "<!DOCTYPE html>\n<title>Lecture notes</title>\n<pre>```masses\n```</pre>");
    folder.put("in/d.html", "");
    let document = folder.json(&["in"]);
    let rows = document["rows"].as_array().expect("rows");
    let files: Vec<&str> = rows.iter().filter_map(|row| row["file"].as_str()).collect();
    assert_eq!(files, ["a.html", "b.HTM", "c.html", "d.html"]);
    assert_eq!(rows[0]["verdicts"]["differs"], 1);
    assert_eq!((&rows[0]["findings"]["errors"], &rows[1]["same_as"]), (&0.into(), &"a.html".into()));
    let said = |row: usize| rows[row]["findings"]["said"].to_string();
    assert!(said(1).contains("the report is not the one its notebook gives"), "{}", said(1));
    assert!(!said(0).contains("not the one its notebook gives"), "{}", said(0));
    for format in ["text", "csv", "html"] {
        let (_, output, _) = folder.run(&["in", "--format", format]);
        let output = output.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(
            output.matches("the report is not the one its notebook gives").count().min(1),
            1,
            "{output}"
        );
    }
    assert!(rows[2]["problem"].as_str().is_some_and(|why| why.contains("a page that carries no notebook")));
    assert!(rows[3]["problem"].is_string());
    // A report is no place to write to; the page of an earlier run is, and is no hand-in.
    let (status, _, errors) = folder.run(&["in", "--output", "in/a.html"]);
    assert!(status == 2 && errors.contains("in/a.html may be a hand-in"), "{errors}");
    assert_eq!(std::fs::read_to_string(folder.path().join("in/a.html")).expect("the report"), page);
    folder.run(&["in", "--output", "in/section.html"]);
    let first = std::fs::read(folder.path().join("in/section.html")).expect("written");
    folder.run(&["in", "--output", "in/section.html"]);
    assert_eq!(std::fs::read(folder.path().join("in/section.html")).expect("written"), first);
}

#[test]
fn since_an_earlier_run_every_mark_that_changed_is_listed_with_the_reason() {
    let late = UNKNOWNS.replace("51.00,%,0.047,yes", "51.00,%,0.047,no");
    let claims = "m(sample): 0.4000 g 0.4000 g\nw(SO4): 51.45 % 51.54 %";
    let hand_in = HandIn { claims: claims.into(), ..HandIn::plain("A") };
    let folder = Folder::new().with("in/a.md", hand_in.text()).with("unknowns.csv", late);
    let copy = |points: &str| {
        let marks = format!(
            "[[mark]]\nclaim = \"m(sample)\"\npoints = {points}\n[[mark]]\naccuracy = \"w(SO4)\"\nsteps = [{{ within = \"1 %\", points = 3 }}]\n"
        );
        let template =
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates/precipitation");
        for file in ["template.toml", "method.md", "notebook.md"] {
            folder.put(&format!("own/{file}"), std::fs::read(template.join(file)).expect("a file"));
        }
        folder.put("own/marking/marks.toml", marks);
    };
    copy("2");
    let arguments = ["in", "--unknowns", "unknowns.csv", "--template", "own"];
    folder.run(&[&arguments[..], &["--output", "first.json"]].concat());
    folder.put("unknowns.csv", UNKNOWNS);
    copy("1");
    let document = folder.json(&[&arguments[..], &["--since", "first.json"]].concat());
    let changes = document["changes"].as_array().expect("changes");
    assert_eq!(changes.len(), 2, "{changes:#?}");
    assert_eq!(
        (&changes[0]["item"], &changes[0]["was"], &changes[0]["now"]),
        (&"m(sample)".into(), &"2".into(), &"1".into())
    );
    assert_eq!(changes[0]["lowered"], true, "what is lowered stands first");
    assert!(
        changes[0]["why"]
            .as_str()
            .is_some_and(|why| why.contains("the marks of precipitation 1.0 were changed"))
    );
    assert_eq!((&changes[1]["was"], &changes[1]["now"]), (&Json::Null, &"3".into()));
    assert!(
        changes[1]["why"]
            .as_str()
            .is_some_and(|why| why.contains("the reference value of U-1 was released: 51.00 %")),
        "{changes:#?}"
    );
    let (_, text, _) = folder.run(&[&arguments[..], &["--since", "first.json"]].concat());
    assert!(text.contains("LOWERED  a.md, m(sample): 2 → 1"), "{text}");
    // The same again changes nothing; another file is no earlier run.
    folder.run(&[&arguments[..], &["--output", "second.json"]].concat());
    let same = folder.json(&[&arguments[..], &["--since", "second.json"]].concat());
    assert!(same["changes"].as_array().is_some_and(Vec::is_empty));
    assert_eq!(folder.run(&["in", "--since", "unknowns.csv"]).0, 2);
}

#[test]
fn a_notebook_that_is_gone_is_listed() {
    let folder = Folder::new()
        .with("in/a.md", HandIn::plain("A").text())
        .with("in/b.md", HandIn { vessel: 21.0, ..HandIn::plain("B") }.text());
    folder.run(&["in", "--output", "first.json"]);
    std::fs::remove_file(folder.path().join("in/b.md")).expect("removed");
    let document = folder.json(&["in", "--since", "first.json"]);
    assert_eq!(document["changes"][0]["file"], "b.md");
}

#[test]
fn readings_in_common_are_a_question_unless_partners_are_declared() {
    let folder = Folder::of_class();
    let copied = HandIn { author: "Someone else".into(), ..class()[3].1.clone() };
    folder.put("in/x.md", copied.text());
    let document = folder.json(&["in"]);
    let question = &document["recurring"][0];
    assert_eq!(question["files"], serde_json::json!(["bench-03.md", "x.md"]));
    assert_eq!(question["readings"].as_array().map(Vec::len), question["of"].as_u64().map(|of| of as usize));
    assert_eq!(document["statistics"][0]["n"], 24, "the same readings count once");
    let (_, text, _) = folder.run(&["in"]);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("question and accuses no one"), "{text}");
    assert!(text.contains("fewer than one section in a million"), "{text}");
    let partner = HandIn { more: "partners = \"Author 03\"\n".into(), ..copied };
    folder.put("in/x.md", partner.text());
    assert!(folder.json(&["in"])["recurring"].as_array().is_some_and(Vec::is_empty));
}

#[test]
fn the_same_notebook_twice_is_told() {
    let text = HandIn::plain("A").text();
    let folder = Folder::new().with("in/a.md", &text).with("in/b.md", &text);
    let document = folder.json(&["in"]);
    assert_eq!(document["rows"][1]["same_as"], "a.md");
    assert_eq!(document["statistics"][0]["n"], 1);
}

#[test]
fn a_table_is_safe_to_open_in_a_spreadsheet() {
    let hostile = HandIn { bench: "@SUM(A1)".into(), ..HandIn::plain("=cmd|' /C calc'!A0") };
    let folder = Folder::new().with("in/=1+1.md", hostile.text());
    let (_, csv, _) = folder.run(&["in", "--format", "csv"]);
    let mut reader = csv_reader(&csv);
    let record = reader.remove(1);
    assert_eq!(record[0], "'=1+1.md");
    assert!(
        record.iter().any(|cell| cell == "'=cmd|' /C calc'!A0")
            && record.iter().any(|cell| cell == "'@SUM(A1)")
    );
    assert!(record.iter().all(|cell| !cell.starts_with(['=', '@', '+'])), "{record:?}");
    assert!(csv.ends_with("\r\n"));
}

#[cfg(unix)]
#[test]
fn a_name_steers_no_terminal_and_turns_no_line_round() {
    let author = HandIn::plain("\u{202e}gnp").text();
    let folder = Folder::new().with("in/\u{1b}[2J\u{7}.md", author).with("in/b.md", "");
    for format in ["text", "csv", "html"] {
        let (_, output, errors) = folder.run(&["in", "--format", format]);
        let steers = |c: char| c == '\u{1b}' || c == '\u{7}' || c == '\u{202e}';
        assert!(!output.contains(steers) && !errors.contains(steers), "{format}: {output:?} {errors:?}");
        assert!(output.contains("␦[2J␦.md") && output.contains("it is empty"), "{format}: {output}");
    }
}

/// Records of a CSV text, by Python's own reader.
fn csv_reader(text: &str) -> Vec<Vec<String>> {
    let python = "import csv, io, json, sys\nt = sys.stdin.buffer.read().decode()\nprint(json.dumps(list(csv.reader(io.StringIO(t, newline='')))))";
    let mut child = Command::new("python3")
        .args(["-c", python])
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("python3");
    std::io::Write::write_all(&mut child.stdin.take().expect("an input"), text.as_bytes()).expect("written");
    let output = child.wait_with_output().expect("python ends");
    serde_json::from_slice(&output.stdout).expect("records")
}

#[test]
fn lines_of_text_keep_to_eighty_columns() {
    let folder = Folder::of_class();
    folder.put(
        "in/a folder with quite a long name/and a notebook with a long name, too.md",
        class()[3].1.text(),
    );
    folder.put("in/broken.pdf", "nothing");
    let (_, text, _) = folder.run(&["in", "--unknowns", "unknowns.csv"]);
    let wide: Vec<&str> = text.lines().filter(|line| line.chars().count() > 80).collect();
    assert!(wide.is_empty(), "{wide:#?}");
}

#[test]
fn a_class_is_shown_no_one_and_no_small_group() {
    let folder = Folder::of_class();
    for format in ["text", "html"] {
        let (_, output, _) =
            folder.run(&["in", "--unknowns", "unknowns.csv", "--for-class", "--format", format]);
        for hidden in ["Author", "bench-", "51.00", "B-03", "0.047", "reference value"] {
            assert!(!output.contains(hidden), "{format} holds {hidden}\n{output}");
        }
        assert!(output.contains("U-1") && output.contains("n = 24"), "{output}");
    }
    assert_eq!(folder.run(&["in", "--for-class", "--format", "json"]).0, 2);
    // Nine notebooks are too few to say anything.
    let small = Folder::new().with("unknowns.csv", UNKNOWNS);
    class().iter().take(9).for_each(|(file, hand_in)| small.put(&format!("in/{file}"), hand_in.text()));
    let (_, output, _) = small.run(&["in", "--unknowns", "unknowns.csv", "--for-class"]);
    assert!(!output.contains("w(SO4)"), "{output}");
}

#[test]
fn a_page_escapes_what_comes_from_a_notebook_and_asks_for_no_network() {
    let hostile = HandIn { bench: "<b>1</b>".into(), ..HandIn::plain("<script>alert(1)</script>") };
    let folder = Folder::new().with("in/a.md", hostile.text());
    let (_, page, _) = folder.run(&["in", "--format", "html"]);
    assert!(!page.contains("<script") && page.contains("&lt;script&gt;") && !page.contains("<b>1"));
    assert!(["src=", "http:", "https:", "url("].iter().all(|outside| !page.contains(outside)));
}

#[test]
fn nothing_that_is_read_is_written_over() {
    let folder = Folder::new().with("in/a.md", HandIn::plain("A").text()).with("unknowns.csv", UNKNOWNS);
    let (status, _, errors) = folder.run(&["in", "--unknowns", "unknowns.csv", "--output", "unknowns.csv"]);
    assert_eq!(status, 2);
    assert!(errors.contains("unknowns.csv is read, so it is not written over"), "{errors}");
    assert_eq!(folder.run(&["in", "--output", "in/a.md"]).0, 2);
    assert_eq!(
        std::fs::read_to_string(folder.path().join("in/a.md")).expect("the notebook"),
        HandIn::plain("A").text()
    );
    // A folder stands where the file should go: the run fails and leaves nothing behind.
    assert_eq!(folder.run(&["in", "--output", "in"]).0, 2);
    let left: Vec<_> = std::fs::read_dir(folder.path()).expect("the folder").filter_map(Result::ok).collect();
    assert_eq!(left.len(), 2, "{left:?}");
}

#[test]
fn reference_values_never_reach_a_students_results() {
    let folder = Folder::of_class().with("unknowns.csv", UNKNOWNS.replace("51.00", "51.1379"));
    let text = std::fs::read(folder.path().join("in/bench-00.md")).expect("a notebook");
    let before: Vec<_> = std::fs::read_dir(folder.path().join("in")).expect("the folder").collect();
    folder.run(&["in", "--unknowns", "unknowns.csv", "--output", "section.json"]);
    let after: Vec<_> = std::fs::read_dir(folder.path().join("in")).expect("the folder").collect();
    assert_eq!(before.len(), after.len(), "a section writes nothing beside the notebooks");
    assert_eq!(std::fs::read(folder.path().join("in/bench-00.md")).expect("a notebook"), text);
    for command in ["compute", "review"] {
        let output = Command::new(env!("CARGO_BIN_EXE_reweigh"))
            .args([command, "in/bench-00.md", "--format", "json"])
            .current_dir(folder.path())
            .output()
            .expect("the command starts");
        assert!(!String::from_utf8_lossy(&output.stdout).contains("51.1379"), "{command}");
    }
}

#[test]
fn the_page_fits_a_telephone_and_a_wide_screen_and_opens_by_the_keyboard() {
    let folder = Folder::of_class();
    folder.put("in/broken.pdf", "nothing");
    folder.put("in/x.md", HandIn { author: "Someone else".into(), ..class()[3].1.clone() }.text());
    folder.run(&["in", "--unknowns", "unknowns.csv", "--output", "section.html"]);
    let address = format!("file://{}/section.html", folder.path().display());
    let browser = browser::Browser::start(1400, 900);
    browser.go(&address);
    assert_eq!(browser.title(), "Section in");
    for width in [1400, 375] {
        browser.size(width, 900);
        assert_eq!(browser.overflow(), 0, "at {width} px");
    }
    let parts: Vec<String> = browser.all("nav a").iter().map(|link| link.text()).collect();
    assert_eq!(parts, ["Notebooks", "w(SO4) / %", "Readings in common: questions"]);
    // From the last link on, the next stop of the keyboard is the first row.
    let last = parts.len();
    (0..=last).for_each(|_| browser.press(browser::key::TAB));
    assert_eq!(browser.focused().text().split_whitespace().next(), Some("More"));
    browser.press(browser::key::ENTER);
    browser.wait_for("document.querySelector('.rows details').open");
    assert_eq!(browser.all("svg[role=img]").len(), 2);
    assert!(browser.all("svg[role=img]").iter().all(|picture| !picture.name().is_empty()));
    assert!(browser.console().is_empty(), "{:?}", browser.console());
}

#[cfg(feature = "pdf")]
#[test]
fn the_printed_form_keeps_to_the_standards_and_is_the_same_each_time() {
    use page_validation::{ValidationOptions, ValidationProfile, validate_pdf_bytes};
    let folder = Folder::of_class();
    folder.put("in/broken.pdf", "nothing");
    folder.put("in/谁.md", HandIn { author: "Someone else".into(), ..class()[3].1.clone() }.text());
    folder
        .put(&format!("in/{}.md", "long-".repeat(20)), HandIn { vessel: 40.0, ..HandIn::plain("B") }.text());
    folder.put(&format!("in/{}.md", "long".repeat(20)), HandIn { vessel: 50.0, ..HandIn::plain("C") }.text());
    let set = |output: &str, more: &[&str]| {
        let (status, _, errors) =
            folder.run(&[&["in", "--unknowns", "unknowns.csv", "--output", output], more].concat());
        assert!(status < 2, "{errors}");
        std::fs::read(folder.path().join(output)).expect("a PDF")
    };
    let bytes = set("one.pdf", &[]);
    assert_eq!(bytes, set("two.pdf", &[]));
    for profile in [ValidationProfile::PdfUa1, ValidationProfile::PdfA3a] {
        let options = ValidationOptions::default().profile(profile);
        let report = validate_pdf_bytes(&bytes, &options).expect("the validator reads it");
        let failures: Vec<String> = report.failures.iter().map(ToString::to_string).collect();
        assert!(report.rules.total > 100 && failures.is_empty(), "{failures:#?}");
    }
    let text = |file: &str| {
        let output =
            Command::new("pdftotext").args(["-layout", file, "-"]).current_dir(folder.path()).output();
        String::from_utf8_lossy(&output.expect("pdftotext").stdout).into_owned()
    };
    let shown = text("one.pdf");
    for part in [
        "Section in",
        "bench-00.md",
        "not reviewed",
        "B-03",
        "Readings in common",
        "for who marks",
        "[U+8C01].md",
    ] {
        assert!(shown.contains(part), "{part}: {shown}");
    }
    set("class.pdf", &["--for-class"]);
    let class = text("class.pdf");
    for hidden in ["Author", "bench-", "51.00", "B-03"] {
        assert!(!class.contains(hidden), "{hidden}: {class}");
    }
}

#[cfg(feature = "pdf")]
#[test]
fn a_report_is_reviewed_by_the_notebook_it_carries() {
    let folder = Folder::new().with("in/a.md", HandIn::plain("A").text());
    let set = Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .args(["report", "in/a.md", "--output", "in/b.pdf"])
        .current_dir(folder.path())
        .output()
        .expect("the command starts");
    assert!(folder.path().join("in/b.pdf").exists(), "{}", String::from_utf8_lossy(&set.stderr));
    let document = folder.json(&["in"]);
    assert_eq!(
        (&document["rows"][1]["file"], &document["rows"][1]["same_as"]),
        (&"b.pdf".into(), &"a.md".into())
    );
    assert_eq!(document["rows"][1]["results"], document["rows"][0]["results"]);
    assert_eq!(document["statistics"][0]["n"], 1);
}
