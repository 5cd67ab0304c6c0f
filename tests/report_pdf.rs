//! Reports read back: by a validator of PDF/UA-1 and PDF/A-3a, by poppler's text tools, by a PDF reader.

use std::path::{Path, PathBuf};
use std::process::Command;

use page_validation::{ValidationOptions, ValidationProfile, validate_pdf_bytes};
use reweigh::files::{Folder, Memory};
use reweigh::finding::Code;
use reweigh::report::{Attachment, Glyph, Pdf, glyph, pdf};

/// The report of a text, with the files beside it.
fn report_with(name: &str, text: &str, files: &dyn reweigh::files::Files) -> Pdf {
    let computed = reweigh::compute(name, text.as_bytes(), files);
    let results = reweigh::evaluation::results_file(&computed.results, &computed.notebook.text);
    let attachments = [
        Attachment::source(name, text.as_bytes().to_vec()),
        Attachment::results("results.json", results.into_bytes()),
    ];
    pdf(&computed.notebook, &computed.results, &attachments, files).expect("the report is set")
}

fn report(text: &str) -> Pdf {
    report_with("notebook.md", text, &Memory::default())
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every notebook of the repository.
fn notebooks() -> Vec<PathBuf> {
    let mut found = Vec::new();
    for folder in ["notebooks", "notebooks/from-templates", "notebooks/field", "tests/report_source"] {
        let entries = std::fs::read_dir(root().join(folder)).expect("the notebooks are there");
        found.extend(entries.filter_map(|entry| entry.ok().map(|entry| entry.path())));
    }
    found.retain(|path| path.extension().is_some_and(|ending| ending == "md"));
    found.sort();
    found
}

fn report_of(path: &Path) -> Pdf {
    let text = std::fs::read_to_string(path).expect("a notebook is text");
    let name = path.file_name().and_then(|name| name.to_str()).expect("a notebook has a name");
    report_with(name, &text, &Folder::new(path.parent().expect("a notebook has a folder")))
}

/// What the validator has against a report.
fn faults(bytes: &[u8]) -> Vec<String> {
    let profiles = [ValidationProfile::PdfUa1, ValidationProfile::PdfA3a];
    let check = |profile| {
        let options = ValidationOptions::default().profile(profile);
        let report = validate_pdf_bytes(bytes, &options).expect("the validator reads the report");
        assert!(report.rules.total > 100, "the validator looked at {} rules only", report.rules.total);
        let failures = report.failures.iter().filter(|failure| {
            !(failure.rule_id == "ISO 19005-3:2012:6.1.7.1:1" && only_a_carriage_return(bytes))
        });
        failures.map(ToString::to_string).collect::<Vec<_>>()
    };
    profiles.into_iter().flat_map(check).collect()
}

/// The validator (0.12.2) takes a stream's last byte for a part of the line end before `endstream` where
/// that byte happens to be a carriage return, and then finds the stream's length wrong by one. This says
/// whether a file has such a stream and every declared length is right.
fn only_a_carriage_return(bytes: &[u8]) -> bool {
    let mut ambiguous = false;
    let mut at = 0;
    while let Some(offset) = bytes[at..].windows(10).position(|window| window == b">>\nstream\n") {
        let before = &bytes[at..at + offset];
        let start = at + offset + 10;
        let object =
            before.windows(7).rposition(|window| window == b" obj\n<<").expect("a stream is an object");
        let dictionary = &before[object..];
        let key =
            dictionary.windows(8).position(|window| window == b"/Length ").expect("a stream has a length");
        let digits: Vec<u8> = dictionary[key + 8..].iter().copied().take_while(u8::is_ascii_digit).collect();
        let length: usize = String::from_utf8_lossy(&digits).parse().expect("a length is a number");
        if !bytes[start + length..].starts_with(b"\nendstream") {
            return false;
        }
        ambiguous |= length > 0 && bytes[start + length - 1] == b'\r';
        at = start + length;
    }
    ambiguous
}

/// Runs a tool of poppler (Debian: poppler-utils) on a report.
fn poppler(tool: &str, arguments: &[&str], bytes: &[u8]) -> String {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("report.pdf");
    std::fs::write(&file, bytes).expect("the report is written");
    let run = Command::new(tool).args(arguments).arg(&file).arg("-").output();
    let output = run.unwrap_or_else(|error| panic!("{tool} (poppler-utils) does not run: {error}"));
    assert!(output.status.success(), "{tool}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// The text of a report, blanks folded to one.
fn text(bytes: &[u8]) -> String {
    let text = poppler("pdftotext", &["-layout"], bytes);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Every text alternative of a report.
fn alternatives(bytes: &[u8]) -> Vec<String> {
    let document = lopdf::Document::load_mem(bytes).expect("the report is a PDF");
    let alternative = |object: &lopdf::Object| {
        let alt = object.as_dict().ok()?.get(b"Alt").ok()?;
        lopdf::decode_text_string(alt).ok()
    };
    document.objects.values().filter_map(alternative).collect()
}

#[test]
fn every_notebook_of_the_repository_is_an_archivable_accessible_report() {
    let mut wrong = Vec::new();
    for path in notebooks() {
        let faults = faults(&report_of(&path).bytes);
        if !faults.is_empty() {
            wrong.push(format!("{}: {faults:?}", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A demo notebook with what is shown of the uncertainty.
fn demo(name: &str, shown: &str) -> String {
    let text = std::fs::read_to_string(root().join("notebooks").join(name).with_extension("md"));
    let text = text.expect("the demo is there");
    text.replacen("```experiment\n", &format!("```experiment\nuncertainty = \"{shown}\"\n"), 1)
}

#[test]
fn the_uncertainty_in_every_form_is_archivable_accessible_and_explained_once() {
    for name in ["selenite", "china-clay", "magnesium-ribbon"] {
        for shown in ["off", "short", "full"] {
            let pdf = report(&demo(name, shown));
            assert_eq!(faults(&pdf.bytes), Vec::<String>::new(), "{name}, {shown}");
            let text = text(&pdf.bytes);
            let explained = text.matches("After ± stands the expanded uncertainty").count();
            assert_eq!(explained, usize::from(shown != "off"), "{name}, {shown}");
            assert_eq!(text.contains("Uncertainty budget of"), shown == "full", "{name}, {shown}");
            let bars = alternatives(&pdf.bytes).iter().any(|said| said.starts_with("Bars of the shares"));
            assert_eq!(bars, shown == "full", "{name}, {shown}");
        }
    }
}

#[test]
fn the_validator_finds_a_planted_fault() {
    let bytes = report("# A\n\ntext\n").bytes;
    let marked = b"/Marked true";
    let place =
        bytes.windows(marked.len()).position(|window| window == marked).expect("the report is marked");
    let mut spoiled = bytes.clone();
    spoiled[place..place + marked.len()].copy_from_slice(b"/Marked null");
    assert!(faults(&bytes).is_empty());
    assert!(!faults(&spoiled).is_empty());
}

/// The report of a shipped template's sample data, in its layout.
fn report_of_template(template: &reweigh::template::Template) -> Pdf {
    let template = std::sync::Arc::new(template.clone());
    let sample = &template.marking["sample.md"];
    let nothing = Memory::default();
    let wanted = reweigh::Wanted { template: Some(template.clone()), ..reweigh::Wanted::default() };
    let computed = reweigh::compute_as("sample.md", sample, &nothing, &wanted);
    let results = reweigh::evaluation::results_file(&computed.results, &computed.notebook.text);
    let attachments = [
        Attachment::source("sample.md", sample.clone()),
        Attachment::results("results.json", results.into_bytes()),
    ];
    let press = &reweigh::report::press::InProcess;
    reweigh::report::pdf_with(
        &computed.notebook,
        &computed.results,
        &attachments,
        &nothing,
        Some(&template),
        press,
    )
    .expect("the report is set")
}

#[test]
fn every_shipped_template_in_every_shipped_layout_is_an_archivable_accessible_report() {
    for name in reweigh::template::shipped_names() {
        let mut template =
            reweigh::template::find(name, &Memory::default()).expect("a shipped template is found");
        for (layout, _) in reweigh::report::layouts::LAYOUTS {
            template.layout_name = Some((*layout).to_owned());
            let bytes = report_of_template(&template).bytes;
            assert_eq!(faults(&bytes), [""; 0], "{name} in the layout {layout}");
            let text = text(&bytes);
            for wanted in ["not a risk assessment", "not reviewed by your institution", &template.version] {
                assert!(
                    text.contains(wanted),
                    "{name} in the layout {layout} does not say {wanted:?}:\n{text}"
                );
            }
            let said = alternatives(&bytes);
            let pictures = template.cautions.hazards.iter().flat_map(|hazard| &hazard.pictograms);
            for picture in pictures {
                let is_said = said.iter().any(|alternative| alternative.contains(picture.name));
                assert!(is_said, "{name}: {} is not said in {said:?}", picture.name);
            }
        }
    }
}

#[test]
fn a_report_carries_its_template_and_nothing_of_its_marking() {
    let template = reweigh::template::find("hydrate", &Memory::default()).expect("it is shipped");
    let bytes = report_of_template(&template).bytes;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("report.pdf");
    std::fs::write(&file, &bytes).expect("the report is written");
    let saved = Command::new("pdfdetach").arg("-saveall").arg("-o").arg(folder.path()).arg(&file).output();
    assert!(saved.expect("pdfdetach (poppler-utils) runs").status.success());
    let mut names: Vec<String> = std::fs::read_dir(folder.path())
        .expect("the folder is there")
        .map(|entry| entry.expect("a file").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    let expected = [
        "hydrate.method.md",
        "hydrate.notebook.md",
        "hydrate.template.toml",
        "report.pdf",
        "results.json",
        "sample.md",
    ];
    assert_eq!(names, expected);
    let attached = std::fs::read(folder.path().join("hydrate.template.toml")).expect("it is attached");
    assert_eq!(attached, template.files["template.toml"]);
    let results: serde_json::Value =
        serde_json::from_slice(&std::fs::read(folder.path().join("results.json")).expect("it is attached"))
            .expect("JSON");
    assert_eq!(results["template"]["sha256"], template.sha256.as_str());
    assert_eq!(results["template"]["reviewed"], serde_json::Value::Null);
}

#[test]
fn the_same_notebook_gives_the_same_bytes_in_any_folder() {
    let path = root().join("notebooks/selenite.md");
    let text = std::fs::read(&path).expect("the notebook is there");
    let elsewhere = tempfile::tempdir().expect("a temporary folder");
    let copy = elsewhere.path().join("selenite.md");
    std::fs::write(&copy, text).expect("the copy is written");
    let first = report_of(&path);
    assert_eq!(first.bytes, report_of(&path).bytes);
    assert_eq!(first.bytes, report_of(&copy).bytes);
}

#[test]
fn values_readings_and_strikes_are_printed() {
    let text = text(&report_of(&root().join("notebooks/selenite.md")).bytes);
    // Readings as typed; 1.1223 = 25.6384 − 24.5161 and 0.2338 = 25.6384 − 25.4046, by hand;
    // 20.83 % = 0.2338/1.1223 by hand (0.208322…); changes in mg by hand.
    for wanted in [
        "Water of crystallisation of selenite",
        "Bench 3",
        "17 February 2026",
        "24.5163",
        "24.7605 24.7065",
        "misread; 14:10",
        "1.1223",
        "0.2338",
        "20.83",
        "−10.8",
        "reached at 3",
        "not more than 0.5 mg",
        "Calculated unrounded",
        "CIAAW 2021 abridged",
        "half even",
        "significant figures",
        "Teaching laboratory, ground floor",
        "as received",
        "page 1 of",
        "end of report",
        "This is not a risk assessment",
    ] {
        assert!(text.contains(wanted), "{wanted:?} is not in the report:\n{text}");
    }
}

#[test]
fn every_printed_result_of_the_results_file_is_in_the_report() {
    let path = root().join("notebooks/china-clay.md");
    let bytes = std::fs::read(&path).expect("the notebook is there");
    let computed = reweigh::compute("china-clay.md", &bytes, &Memory::default());
    let text = text(&report_of(&path).bytes);
    let mut seen = 0;
    for quantity in &computed.results.quantities {
        for value in quantity.trials.iter().filter_map(|outcome| outcome.value()) {
            let printed = value.printed.typographic(false);
            assert!(text.contains(&printed), "{} = {printed} is not in the report", quantity.symbol);
            seen += 1;
        }
    }
    assert!(seen > 10, "only {seen} values were looked for");
}

#[test]
fn what_is_seen_is_said() {
    let said = alternatives(&report_of(&root().join("notebooks/selenite.md")).bytes);
    let contains = |wanted: &str| said.iter().any(|alternative| alternative.contains(wanted));
    for wanted in [
        "struck 24.7605, corrected to 24.7065",
        "w of water equals m of water over m of sample",
        "0.2338 grams over 1.1223 grams",
        "20.83 per cent",
        "M of Ca S O 4, 2 H 2 O",
        "Plot of mass by weighing",
        "trial A, heating 1 +11.1, heating 2 +0.3, heating 3 0.0",
        "Plot of the trials",
        "C a S O sub 4",
    ] {
        assert!(contains(wanted), "{wanted:?} is not said:\n{said:#?}");
    }
}

#[test]
fn tables_are_tagged_with_heads_for_columns_and_rows() {
    let bytes = report_of(&root().join("notebooks/selenite.md")).bytes;
    let document = lopdf::Document::load_mem(&bytes).expect("the report is a PDF");
    let elements = || document.objects.values().filter_map(|object| object.as_dict().ok());
    let of_kind = |kind: &str| elements().filter(|element| is_name(element, b"S", kind)).count();
    let with_scope = |scope: &str| elements().filter(|element| has_scope(&document, element, scope)).count();
    assert!(of_kind("Table") >= 7, "{} tables", of_kind("Table"));
    assert!(of_kind("Caption") >= 7, "{} captions", of_kind("Caption"));
    assert!(of_kind("H1") >= 6, "{} headings", of_kind("H1"));
    assert!(of_kind("Note") == 1, "{} notes", of_kind("Note"));
    assert!(with_scope("Column") >= 20 && with_scope("Row") >= 20);
    assert_eq!(with_scope("Column") + with_scope("Row"), of_kind("TH"));
}

fn is_name(dictionary: &lopdf::Dictionary, key: &[u8], name: &str) -> bool {
    dictionary.get(key).and_then(lopdf::Object::as_name).is_ok_and(|value| value == name.as_bytes())
}

/// Whether a structure element is a head cell of this scope.
fn has_scope(document: &lopdf::Document, element: &lopdf::Dictionary, scope: &str) -> bool {
    let Ok(attributes) = element.get(b"A") else { return false };
    let attributes = document.dereference(attributes).map_or(attributes, |(_, object)| object);
    let all = attributes.as_array().cloned().unwrap_or_else(|_| vec![attributes.clone()]);
    all.iter()
        .filter_map(|attribute| attribute.as_dict().ok())
        .any(|attribute| is_name(attribute, b"Scope", scope))
}

#[test]
fn the_notebook_its_results_and_its_files_are_attached() {
    let path = root().join("notebooks/field/oven-log.md");
    let bytes = report_of(&path).bytes;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("report.pdf");
    std::fs::write(&file, bytes).expect("the report is written");
    let saved = Command::new("pdfdetach").arg("-saveall").arg("-o").arg(folder.path()).arg(&file).output();
    assert!(saved.expect("pdfdetach (poppler-utils) runs").status.success());
    let attached = |name: &str| std::fs::read(folder.path().join(name)).expect(name);
    assert_eq!(attached("oven-log.md"), std::fs::read(&path).expect("the notebook is there"));
    assert_eq!(
        attached("oven-log.csv"),
        std::fs::read(path.with_extension("csv")).expect("the log is there")
    );
    let results: serde_json::Value = serde_json::from_slice(&attached("results.json")).expect("JSON");
    assert_eq!(results["schema"], "reweigh/results/1");
}

const HOSTILE: &str = r##"a #hash, $5.00 and, @at, &amp;amp, ~, ^, =, +, -, /, //, /* not a comment */, #let x = 1,
#import "x", "quotes", 'single', -- --- ..., => <-- -->, \<lt\>, \*star\*, \_under\_, \\back, \`tick\`, \[b\], c:\\d"##;

#[test]
fn hostile_characters_come_out_as_themselves() {
    let text = text(&report(&format!("# Title\n\n{HOSTILE}\n")).bytes);
    for wanted in [
        "a #hash, $5.00 and, @at, &amp, ~, ^, =, +, -, /, //, /* not a comment */, #let x = 1,",
        "#import \"x\", \"quotes\", 'single', -- --- ..., => <-- -->,",
        "<lt>, *star*, _under_, \\back, `tick`, [b], c:\\d",
    ] {
        assert!(text.contains(wanted), "{wanted:?} is not in the report:\n{text}");
    }
}

#[test]
fn hostile_characters_in_labels_titles_and_remarks_come_out_as_themselves() {
    let notebook = r##"
```experiment
title = "T #1 $x$ \"q\" \\ <y> *z* _u_ @v"
authors = ["O'Neil #2", "Zoë <z>"]
date = 2026-05-01
laboratory = "L #3 [x] {y} \\n"
```

```masses
trial: A#1 $B
pan <1>: 18.2749 17.9034 [re #4 $x$ "q" \ *s*]
event: acid #5 $added$ *drop by drop*
pan <1> + @sample: 19.3127 18.9466
```
"##;
    let report = report(notebook);
    assert_eq!(faults(&report.bytes), [""; 0]);
    let text = text(&report.bytes);
    for wanted in [
        "T #1 $x$ \"q\" \\ <y> *z* _u_ @v",
        "O'Neil #2 and Zoë <z>",
        "L #3 [x] {y} \\n",
        "A#1",
        "$B",
        "pan <1>",
        "re #4 $x$ \"q\" \\ *s*",
        "acid #5 $added$ *drop by drop*",
        "(@sample)",
    ] {
        assert!(text.contains(wanted), "{wanted:?} is not in the report:\n{text}");
    }
}

#[test]
fn a_character_outside_the_fonts_prints_its_code_point() {
    let report = report("# A\n\nhot 🔥 stuff, again 🔥\n");
    assert!(text(&report.bytes).contains("hot U+1F525 stuff"));
    let said: Vec<_> =
        report.findings.iter().filter(|finding| finding.code == Code::UnprintableCharacter).collect();
    assert_eq!(said.len(), 1);
}

#[test]
fn every_character_that_counts_as_printable_is_set() {
    let markup = "\\`*_{}[]<>()#+-.!|~$&:";
    let is_printable = |c: &char| glyph(*c) != Glyph::Missing && !markup.contains(*c);
    let printable: Vec<char> = (' '..=char::MAX).filter(is_printable).collect();
    assert!(printable.len() > 6000, "only {} characters", printable.len());
    for some in printable.chunks(1000) {
        let upright: String = some.iter().flat_map(|c| ['x', *c, 'y', ' ']).collect();
        let styled: String = some.iter().flat_map(|c| ['x', *c, 'y']).collect();
        let report = report(&format!("# A\n\n{upright}\n\n*{styled}*\n\n**{styled}**\n\n`{styled}`\n"));
        assert_eq!(faults(&report.bytes), [""; 0]);
    }
}

/// A first block that breaks off after its trials, so that those of the second are no columns.
const NO_TRIAL: &str = "```experiment\n```\n```masses\ntrial: | a | b |\n```\n```masses\ntrial: A B\n\
    boat + dry crumbs, drying 2: 3.5508 3.5524\n";

#[test]
fn nothing_at_all_is_a_report_too() {
    for notebook in [
        "",
        "\n",
        "# ",
        "#\n#\n",
        "---",
        "```masses\n```",
        "```working\n```\n```theory\n```",
        "[^a]: x",
        "> ",
        NO_TRIAL,
    ] {
        let report = report(notebook);
        assert_eq!(faults(&report.bytes), [""; 0], "{notebook:?}");
        assert!(text(&report.bytes).contains("end of report"), "{notebook:?}");
    }
}

/// Such results have no plot, for they have no place on an axis; everything else of the report is set.
#[test]
fn results_near_the_largest_number_of_the_machine_are_reported() {
    for power in ["10^308", "10^400", "10^(-400)"] {
        let report = report(&format!(
            "```masses\ntrial: A B\ncup: 20.0000 21.0000\ncup + salt: 21.0000 22.5000\n```\n\n\
             ```working\nx = m(salt) / (1 g) * {power}\n```\n\n```theory\nx = 1\n```\n"
        ));
        assert_eq!(faults(&report.bytes), [""; 0], "{power}");
        assert!(text(&report.bytes).contains("end of report"), "{power}");
    }
}

#[test]
fn headings_never_skip_a_level() {
    let report =
        report("### Three\n\n###### Six\n\n# One\n\n#### Four\n\n## Two\n\n# ![](x.png)\n\n# *$x$*\n");
    assert_eq!(faults(&report.bytes), [""; 0]);
}

#[test]
fn deep_nesting_is_set_flat_beyond_a_depth() {
    let quotes = format!("{} deep quote\n", ">".repeat(200));
    let lists =
        (0..120).map(|depth| format!("{}- level {depth}\n", " ".repeat(depth * 2))).collect::<String>();
    let styles = format!("{}styled{}\n", "*a **b ".repeat(60), "** c*".repeat(60));
    for (notebook, last) in [(quotes, "deep quote"), (lists, "level 119"), (styles, "styled")] {
        let report = report(&notebook);
        assert!(text(&report.bytes).contains(last));
        assert_eq!(faults(&report.bytes), [""; 0]);
    }
}

/// A PNG of one grey pixel, or its first bytes.
fn png(bytes: usize) -> Vec<u8> {
    let whole: [u8; 67] = [
        0x89, b'P', b'N', b'G', 13, 10, 26, 10, 0, 0, 0, 13, b'I', b'H', b'D', b'R', 0, 0, 0, 1, 0, 0, 0, 1,
        8, 0, 0, 0, 0, 0x3a, 0x7e, 0x9b, 0x55, 0, 0, 0, 10, b'I', b'D', b'A', b'T', 0x78, 0x9c, 0x63, 0x68,
        0, 0, 0, 0x82, 0, 0x81, 0x77, 0xcd, 0x72, 0xb6, 0, 0, 0, 0, b'I', b'E', b'N', b'D', 0xae, 0x42, 0x60,
        0x82,
    ];
    whole[..bytes.min(whole.len())].to_vec()
}

#[test]
fn images_are_shown_or_the_reason_why_not() {
    let svg = b"<svg xmlns='http://www.w3.org/2000/svg' width='20' height='10'><rect width='20' height='10'/></svg>";
    let files = Memory(
        [
            ("good.png".to_owned(), png(100)),
            ("cut short.png".to_owned(), png(50)),
            ("plan.svg".to_owned(), svg.to_vec()),
            ("notes.txt".to_owned(), b"no image".to_vec()),
        ]
        .into(),
    );
    let notebook = "# A\n\n![a grey dot](good.png \"A dot\")\n\n![](good.png)\n\n![cut](cut%20short.png)\n\n\
        ![plan](plan.svg) in text\n\n![gone](gone.png)\n\n![notes](notes.txt)\n\n![far](https://example.org/a.png)\n";
    let report = report_with("a.md", notebook, &files);
    assert_eq!(faults(&report.bytes), [""; 0]);
    let bad = report.findings.iter().filter(|finding| finding.code == Code::BadImage).count();
    assert_eq!(bad, 4, "{:?}", report.findings);
    let without = report.findings.iter().filter(|finding| finding.code == Code::MissingAlternative).count();
    assert_eq!(without, 1, "{:?}", report.findings);
    let said = alternatives(&report.bytes);
    assert!(said.iter().any(|alternative| alternative == "a grey dot"), "{said:?}");
    assert!(said.iter().any(|alternative| alternative == "plan"), "{said:?}");
    let text = text(&report.bytes);
    assert!(text.contains("A dot"));
    assert!(text.contains("there is no such file"));
}

#[test]
fn long_tables_repeat_their_heads_and_many_trials_break_into_groups() {
    let names: Vec<String> = (1..=12).map(|trial| format!("T{trial}")).collect();
    let row = |label: String, base: usize| {
        let cells: Vec<String> = (0..12).map(|trial| format!("{}.{:04}", base, 1000 + trial)).collect();
        format!("{label}: {}\n", cells.join("  "))
    };
    let rows: String = (1..=80).map(|heating| row(format!("pan + salt, heating {heating}"), 20)).collect();
    let notebook =
        format!("# Long\n\n```masses\ntrial: {}\n{}{rows}```\n", names.join(" "), row("pan".to_owned(), 19));
    let report = report(&notebook);
    assert_eq!(faults(&report.bytes), [""; 0]);
    let pages = poppler("pdftotext", &["-layout"], &report.bytes);
    let with_rows: Vec<&str> = pages.split('\u{c}').filter(|page| page.contains("20.1000")).collect();
    assert!(with_rows.len() > 1, "the table takes {} pages", with_rows.len());
    for page in with_rows {
        assert!(
            page.contains("reading / g") && page.contains("T1 "),
            "a page without the table's head:\n{page}"
        );
        let widest = page.lines().map(|line| line.matches("20.10").count()).max().unwrap_or(0);
        assert!(widest <= 6, "{widest} trials side by side");
    }
}

#[test]
fn a_decimal_comma_is_printed_as_one() {
    let notebook = "```experiment\ntitle = \"Komma\"\ndecimal = \"comma\"\ndate = 2026-01-02\n```\n\n```masses\n\
        pan: 18,2749\npan + salt: 19,3127\n```\n\n```working\nw(salt) = m(salt) / (m(salt) + 1,0000 g) in %\n```\n\nso {w(salt)}\n";
    let report = report(notebook);
    let text = text(&report.bytes);
    // 1.0378 = 19.3127 − 18.2749; 50.927 % = 1.0378/2.0378 (0.509274…), by hand.
    for wanted in ["18,2749", "1,0378", "50,927", "1,0000 g"] {
        assert!(text.contains(wanted), "{wanted:?} is not in the report:\n{text}");
    }
    assert!(!text.contains("18.2749"));
}

#[test]
fn the_first_page_counts_errors_and_what_is_missing_is_a_dash() {
    let notebook = "# Gap\n\n```masses\ntrial: A B\npan: 18.2749 –\npan + salt: 19.3127 18.1\n```\n\n\
        ```working\nx = m(salt) / m(sugar)\ny = 2 m(salt)\n```\n\nvalue {x}.\n";
    let report = report(notebook);
    let pages = poppler("pdftotext", &["-layout"], &report.bytes);
    let first = pages.split('\u{c}').next().unwrap_or_default();
    assert!(first.contains("This report has"), "{first}");
    assert!(first.contains("error"), "{first}");
    assert!(text(&report.bytes).contains("value –."));
}
