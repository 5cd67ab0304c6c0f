//! Templates: the shipped ones hold together, and what a template requires is said once where it is missing.

use reweigh::files::Memory;
use reweigh::finding::Code;
use reweigh::template::{self, check::check};

#[test]
fn every_shipped_template_holds_together() {
    let nothing = Memory::default();
    for name in template::shipped_names() {
        let template = template::find(name, &nothing).expect("a shipped template is found");
        assert_eq!(template.id, name);
        let report = check(&template);
        assert!(report.findings.is_empty(), "{name}: {:#?}", report.findings);
    }
}

#[test]
fn a_notebook_without_formulas_is_computed_by_the_method() {
    let nothing = Memory::default();
    let template = template::find("hydrate", &nothing).expect("it is shipped");
    let sample = &template.marking["sample.md"];
    let computed = reweigh::compute("sample.md", sample, &nothing);
    assert!(computed.results.findings.iter().all(|finding| finding.code != Code::MissingItem));
    let water = computed.results.quantities.iter().find(|quantity| quantity.symbol == "w(water)");
    let values: Vec<String> = water
        .expect("the method defines it")
        .trials
        .iter()
        .map(|outcome| outcome.value().expect("it has a value").printed.ascii())
        .collect();
    // By hand: (21.2214 − 21.0588)/(21.2214 − 20.1182) = 0.1626/1.1032 = 14.739 %; 0.1537/1.0412 = 14.762 %.
    assert_eq!(values, ["14.74", "14.76"]);
}

/// The shipped hydrate as files, to change one of them.
fn hydrate() -> std::collections::BTreeMap<String, Vec<u8>> {
    let template = template::find("hydrate", &Memory::default()).expect("it is shipped");
    let marking = template.marking.iter().map(|(path, bytes)| (format!("marking/{path}"), bytes.clone()));
    template.files.clone().into_iter().chain(marking).collect()
}

/// The same below the folder `hydrate`, beside a notebook.
fn beside(files: std::collections::BTreeMap<String, Vec<u8>>) -> Memory {
    Memory(files.into_iter().map(|(path, bytes)| (format!("hydrate/{path}"), bytes)).collect())
}

fn sample() -> String {
    String::from_utf8(hydrate()["marking/sample.md"].clone()).expect("the sample is text")
}

#[test]
fn every_mistake_of_a_template_is_said_at_its_line() {
    let head = "id = \"drawn\"\nversion = \"1\"\ntitle = \"T\"\n";
    let cases = [
        ("reveal = \"afterwards\"\n", Code::BadSetting, 4),
        ("tilte = \"T\"\n", Code::UnknownKey, 4),
        ("[required]\ntrial = 2\n", Code::UnknownKey, 5),
        ("[required]\ntrials = \"two\"\n", Code::BadSetting, 5),
        ("[required]\nrecord = [\"laboratry\"]\n", Code::BadSetting, 5),
        ("[[required.load]]\ncycles = 2\n", Code::BadTemplate, 4),
        ("constant-mass = \"about nothing\"\n", Code::BadSetting, 4),
        ("[balance.B]\nreadability = \"0.1\"\n", Code::BadSetting, 5),
        ("[[sample]]\nlow = \"2 g\"\nhigh = \"1 g\"\n", Code::BadSetting, 5),
        ("[[hazard]]\nsubstance = \"x\"\nconcentration = \"1 %\"\nstatements = [\"y\"]\n", Code::NoSource, 5),
        ("[[caution]]\ntext = \"Goggles.\"\n", Code::NoSource, 5),
        ("[[sign]]\nsign = \"hot\"\ntext = \"x\"\nsource = \"y\"\n", Code::BadSetting, 5),
        ("[review]\nby = \"The safety officer\"\n", Code::BadTemplate, 4),
        ("[[question]]\nwhen = \"low\"\ntext = \"Why?\"\n", Code::BadTemplate, 4),
        ("version = \"2\"\n", Code::BadToml, 4),
        ("language = \"English\"\n", Code::BadSetting, 4),
    ];
    for (fault, code, line) in cases {
        let mut files = hydrate();
        files.insert("template.toml".to_owned(), format!("{head}{fault}").into_bytes());
        let template = template::load(&Memory(files), template::Origin::Folder("own".to_owned()));
        let said = template.said();
        assert_eq!(said.len(), 1, "{fault}{said:#?}");
        let found = (said[0].code, said[0].file.as_deref(), said[0].place.map(|(line, _)| line));
        assert_eq!(found, (code, Some("own/template.toml"), Some(line)), "{fault}{said:#?}");
    }
}

/// The lines of a filled skeleton are traced back by numbers that stand in it, and a filter may change those.
#[test]
fn a_filter_that_changes_every_number_is_survived() {
    let mut files = hydrate();
    let skeleton = String::from_utf8(files["notebook.md"].clone()).expect("it is text");
    let filtered = "<% filter replace(\"2\", \"0\") %>```working\nq = nothing_here\n```\n<% endfilter %>";
    files.insert("notebook.md".to_owned(), format!("{filtered}{skeleton}").into_bytes());
    let report = check(&template::load(&Memory(files), template::Origin::Folder("own".to_owned())));
    assert!(
        report.findings.iter().any(|said| said.message.contains("nothing_here")),
        "{:#?}",
        report.findings
    );
}

#[test]
fn a_formula_of_the_method_is_said_at_its_line() {
    let mut files = hydrate();
    let method = "# Method\n\n```working\nm(water) = m(sample) - m(residue)\nw(water) = m(wtaer) / m(sample) in %\n```\n";
    files.insert("method.md".to_owned(), method.as_bytes().to_vec());
    let computed = reweigh::compute("n.md", sample().as_bytes(), &beside(files));
    let unknown = computed.results.findings.iter().find(|finding| finding.message.contains("m(wtaer)"));
    let unknown = unknown.expect("the misspelt name is said");
    assert_eq!((unknown.file.as_deref(), unknown.place), (Some("hydrate/method.md"), Some((5, 12))));
}

#[test]
fn a_folder_beside_the_notebook_wins_over_a_shipped_template() {
    let named = |files: &Memory| {
        let computed = reweigh::compute("n.md", sample().as_bytes(), files);
        computed.results.template.expect("a template was applied").origin
    };
    assert_eq!(named(&Memory::default()), "shipped with the program");
    assert_eq!(named(&beside(hydrate())), "from the folder hydrate");
}

#[test]
fn a_template_that_is_nowhere_is_said_at_its_name() {
    let text = sample().replace("template = \"hydrate\"", "template = \"hydrat\"");
    let computed = reweigh::compute("n.md", text.as_bytes(), &Memory::default());
    let finding = computed.results.findings.iter().find(|finding| finding.code == Code::NoTemplate);
    let finding = finding.expect("it is said");
    assert_eq!(finding.span.map(|span| span.text(&text)), Some("\"hydrat\""));
    assert_eq!(finding.hints, ["did you mean `hydrate`?"]);
    let text = sample().replace("template = \"hydrate\"", "template = \"eggshell\"");
    let computed = reweigh::compute("n.md", text.as_bytes(), &Memory::default());
    let finding = computed.results.findings.iter().find(|finding| finding.code == Code::NoTemplate);
    let hints = &finding.expect("it is said").hints;
    assert!(hints.iter().any(|hint| hint.contains("beside the notebook") && hint.contains("--template")));
}

/// The sample with a `working` block of its own.
fn with_working(lines: &str) -> String {
    sample().replace("## Discussion", &format!("```working\n{lines}```\n\n## Discussion"))
}

fn findings_of(text: &str, code: Code) -> Vec<String> {
    let computed = reweigh::compute("n.md", text.as_bytes(), &Memory::default());
    let findings = computed.results.findings.into_iter();
    findings.filter(|finding| finding.code == code).map(|finding| finding.message).collect()
}

#[test]
fn own_formulas_are_compared_line_by_line() {
    let differing = |lines: &str| findings_of(&with_working(lines), Code::MethodDiffers);
    // The same by another way.
    assert_eq!(differing("w(water) = 1 - m(residue) / m(sample)   in %\n"), [""; 0]);
    // Upside down: 1.1032/0.1626 = 678.5 % (by hand), and nothing is said of what follows from it.
    let said = differing("w(water) = m(sample) / m(water)  in %\nn(water) = m(water) / M(H2O)  in mmol\n");
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(said[0].starts_with("w(water) by the notebook's formula is 678.5 % in trial A"), "{said:?}");
    // A slip in one line is not said of the line that uses it rightly.
    let said = differing("m(water) = m(residue) - m(sample)\nn(water) = m(water) / M(H2O)  in mmol\n");
    assert_eq!(said.len(), 1, "{said:?}");
    // Right on these readings by chance, and on no others.
    let said = differing(
        "n(water) = 0.1626 g / M(H2O) * (m(water) / m(water)[A])  in mmol\nm(water) = m(sample) - m(residue)\n",
    );
    assert_eq!(
        said,
        ["the formula of n(water) gives the method's value on these readings, but would not on others"]
    );
}

#[test]
fn the_report_says_whose_formulas_were_used() {
    let working = |text: &str, purpose| {
        let wanted = reweigh::Wanted { purpose, ..reweigh::Wanted::default() };
        let computed = reweigh::compute_as("n.md", text.as_bytes(), &Memory::default(), &wanted);
        let value = computed.results.quantities.iter().find(|quantity| quantity.symbol == "w(water)");
        let printed = value.expect("it is there").trials[0].value().expect("it has a value").printed.ascii();
        (computed.results.template.expect("a template").working, printed)
    };
    let wrong = with_working("w(water) = m(sample) / m(water)  in %\n");
    let (words, printed) = working(&wrong, template::Purpose::Author);
    assert!(words.starts_with("by the notebook’s own formulas for w(water)"), "{words}");
    assert_eq!(printed, "678.5");
    let (words, printed) = working(&wrong, template::Purpose::Review);
    assert!(words.contains("by the template’s method, whatever"), "{words}");
    assert_eq!(printed, "14.74");
}

#[test]
fn a_notebook_may_use_the_names_that_aliases_list() {
    let text = sample().replace("crucible + residue", "crucible + salt");
    let text = text.replace("{mean w(water)}", "{mean w(H2O)}");
    let computed = reweigh::compute("n.md", text.as_bytes(), &Memory::default());
    let grave = computed.results.findings.iter().filter(|f| f.severity != reweigh::finding::Severity::Note);
    assert_eq!(grave.count(), 0, "{:#?}", computed.results.findings);
    let symbols: Vec<&str> = computed.results.quantities.iter().map(|q| q.symbol.as_str()).collect();
    assert!(symbols.contains(&"w(H2O)") && symbols.contains(&"m(salt)"), "{symbols:?}");
}

#[test]
fn a_rule_of_the_notebook_stands_for_its_author_and_the_templates_for_a_review() {
    let text = sample().replace("basis    =", "constant-mass = \"0.1 mg\"\nbasis    =");
    let rule = |purpose| {
        let wanted = reweigh::Wanted { purpose, ..reweigh::Wanted::default() };
        let computed = reweigh::compute_as("n.md", text.as_bytes(), &Memory::default(), &wanted);
        let said = computed.results.findings.iter().any(|finding| finding.code == Code::RuleDiffers);
        assert!(said, "the difference is said");
        computed.results.series[0].rule.clone().expect("a rule")
    };
    assert_eq!(rule(template::Purpose::Author), "not more than 0.1 mg");
    assert_eq!(rule(template::Purpose::Review), "not more than 0.5 mg");
}

#[test]
fn what_students_see_is_the_templates_choice() {
    let shown = |reveal: &str, text: &str| {
        let mut files = hydrate();
        let toml = String::from_utf8(files["template.toml"].clone()).expect("text");
        files.insert(
            "template.toml".to_owned(),
            toml.replace("reveal = \"all\"", &format!("reveal = \"{reveal}\"")).into_bytes(),
        );
        let computed = reweigh::compute("n.md", text.as_bytes(), &beside(files));
        let has = |symbol: &str| {
            let quantity = computed.results.quantities.iter().find(|quantity| quantity.symbol == symbol);
            quantity.expect("it is listed").trials[0].value().is_some()
        };
        (has("m(sample)"), has("w(water)"), computed.results.inline[0].values.len())
    };
    let claimed =
        sample().replace("## Discussion", "```claimed\nw(water): 14.7 % 14.8 %\n```\n\n## Discussion");
    assert_eq!(shown("all", &sample()), (true, true, 1));
    assert_eq!(shown("readings only", &claimed), (false, false, 0));
    assert_eq!(shown("after claim", &sample()), (false, false, 0));
    assert_eq!(shown("after claim", &claimed), (false, true, 1));
}

#[test]
fn local_rules_are_laid_over_and_listed() {
    let mut files = hydrate();
    let local = "constant-mass = \"1 mg\"\n\n[required]\ntrials = 3\n";
    files.insert("local.toml".to_owned(), local.as_bytes().to_vec());
    let template = template::load(&Memory(files), template::Origin::Folder("own".to_owned()));
    let listed: Vec<(&str, usize)> =
        template.overlays.iter().map(|one| (one.key.as_str(), one.line)).collect();
    assert_eq!(listed, [("constant-mass", 1), ("required.trials", 4)]);
    assert_eq!((template.required.trials, template.required.loads.len()), (3, 3));
    let mut files = hydrate();
    files.insert("local.toml".to_owned(), b"\n[required]\ntrails = 3\n".to_vec());
    let template = template::load(&Memory(files), template::Origin::Folder("own".to_owned()));
    let said = template.said();
    assert_eq!((said[0].file.as_deref(), said[0].place), (Some("own/local.toml"), Some((3, 1))));
}

#[test]
fn what_a_copied_template_still_says_of_the_other_experiment_is_said() {
    let said = |path: &str, old: &str, new: &str| {
        let mut files = hydrate();
        let text = String::from_utf8(files[path].clone()).expect("text");
        assert!(text.contains(old), "{path} has no {old}");
        files.insert(path.to_owned(), text.replacen(old, new, 1).into_bytes());
        let template = template::load(&Memory(files), template::Origin::Folder("own".to_owned()));
        let found = check(&template).findings;
        let words = |finding: &reweigh::finding::Finding| {
            let (line, _) = finding.place.expect("it has a place");
            let path = finding.file.as_deref().expect("it has a file");
            format!(
                "{path}:{line} {} | {}",
                finding.message,
                finding.hints.first().expect("a way to mend it")
            )
        };
        found.iter().map(words).collect::<Vec<_>>()
    };
    // Line 55 of the skeleton itself, not of what it is filled to.
    let skeleton = said("notebook.md", "{mean x}", "{mean chlorine}");
    assert_eq!(skeleton.len(), 1, "{skeleton:#?}");
    assert!(skeleton[0].starts_with("own/notebook.md:55 nothing defines chlorine"), "{skeleton:#?}");
    // A line that is filled from the template's values tells what it was filled to.
    let skeleton =
        said("notebook.md", "<<(load.load ~ \":\")|pad(34)>>", "<<(load.load ~ \" + : \")|pad(34)>>");
    assert!(skeleton[0].starts_with("own/notebook.md:48 "), "{skeleton:#?}");
    assert!(skeleton[0].contains("filled, the line reads `crucible + sample + :"), "{skeleton:#?}");
    let sample = said("marking/sample.md", "template = \"hydrate\"", "template = \"oxide\"");
    let wanted = "own/marking/sample.md:7 the sample data name the template `oxide`, not `hydrate` | \
                  write `template = \"hydrate\"`";
    assert_eq!(sample, [wanted]);
    let size = said("template.toml", "\"0.8 g\"", "\"0.8 mL\"");
    assert!(size.len() == 1 && size[0].contains("both are of one kind"), "{size:#?}");
}

#[test]
fn a_blank_key_is_to_be_filled_in_and_not_written_twice() {
    let text = sample().replace("date     = 2026-03-04\n", "").replace("\"as received\"", "\"\"");
    let computed = reweigh::compute("sample.md", text.as_bytes(), &Memory::default());
    let found = computed.results.findings.iter().filter(|finding| finding.code == Code::MissingItem);
    let hints: Vec<String> = found.filter_map(|finding| finding.hints.first().cloned()).collect();
    assert_eq!(hints, ["write `date = 2026-03-04`: year, month, day of the work", "write `basis = \"…\"`"]);
}

#[test]
fn a_line_about_safety_without_a_source_is_not_printed() {
    let mut files = hydrate();
    let toml = String::from_utf8(files["template.toml"].clone()).expect("text");
    files.insert(
        "template.toml".to_owned(),
        format!("{toml}\n[[caution]]\ntext = \"From memory.\"\n").into_bytes(),
    );
    let template = template::load(&Memory(files), template::Origin::Folder("own".to_owned()));
    let cautions = template::cautions_as_markdown(&template.cautions);
    assert!(!cautions.contains("From memory"), "{cautions}");
    assert!(cautions.trim_end().trim_end_matches('*').ends_with(template::CLOSING), "{cautions}");
}

#[test]
fn a_started_notebook_reads_without_a_fault() {
    for name in template::shipped_names() {
        let template = template::find(name, &Memory::default()).expect("it is shipped");
        let student = template::skeleton::Student {
            name: "O\"Neil \\ ]x".to_owned(),
            unknown: "U-\"7".to_owned(),
            ..Default::default()
        };
        let text = template::skeleton::fill(&template, &student).expect("it is filled");
        let notebook = reweigh::notebook::read("n.md", text.as_bytes(), &Memory::default());
        let grave = notebook.findings.iter().filter(|f| f.severity != reweigh::finding::Severity::Note);
        assert_eq!(grave.count(), 0, "{name}: {:#?}\n{text}", notebook.findings);
        assert_eq!(notebook.settings.authors, ["O\"Neil \\ ]x"], "{name}");
        assert_eq!(notebook.settings.unknown.as_deref(), Some("U-\"7"), "{name}");
    }
}
