//! The quantities that a template names outside its method: each that nothing defines is said at its line, with the one
//! that may be meant.

use reweigh::files::Memory;
use reweigh::template::{self, Origin, check::check};

/// What the check says of the shipped hydrate with one text of one file changed: `file:line message | hint`.
fn said(path: &str, old: &str, new: &str) -> Vec<String> {
    let template = template::find("hydrate", &Memory::default()).expect("it is shipped");
    let marking = template.marking.iter().map(|(path, bytes)| (format!("marking/{path}"), bytes.clone()));
    let mut files: std::collections::BTreeMap<String, Vec<u8>> =
        template.files.clone().into_iter().chain(marking).collect();
    let text = String::from_utf8(files[path].clone()).expect("text");
    assert!(text.contains(old), "{path} has no {old}");
    files.insert(path.to_owned(), text.replacen(old, new, 1).into_bytes());
    let template = template::load(&Memory(files), Origin::Folder("own".to_owned()));
    let words = |finding: reweigh::finding::Finding| {
        let (line, _) = finding.place.expect("it has a place");
        let hint = finding.hints.first().expect("a way to mend it");
        format!("{}:{line} {} | {hint}", finding.file.expect("it has a file"), finding.message)
    };
    check(&template).findings.into_iter().map(words).collect()
}

fn line_of(path: &str, words: &str) -> usize {
    let template = template::find("hydrate", &Memory::default()).expect("it is shipped");
    let bytes = template.files.get(path).or_else(|| template.marking.get(path)).expect("the file");
    let text = std::str::from_utf8(bytes).expect("text");
    text.lines().position(|line| line.contains(words)).expect("the line") + 1
}

#[test]
fn names_that_nothing_defines_are_said_with_the_one_meant() {
    let line = line_of("template.toml", "\"w(water)\"   =");
    let found = said("template.toml", "\"w(water)\"   =", "\"w(watre)\"   =");
    assert_eq!(
        found,
        [format!(
            "own/template.toml:{line} other names of w(watre), which neither the method nor a load defines | \
             did you mean w(water)?"
        )]
    );
    let line = line_of("template.toml", "symbol = \"m(sample)\"");
    let found = said("template.toml", "symbol = \"m(sample)\"", "symbol = \"m(smaple)\"");
    assert!(
        found.len() == 1
            && found[0].starts_with(&format!("own/template.toml:{line} the usual size of m(smaple)")),
        "{found:#?}"
    );
    assert!(found[0].ends_with("did you mean m(sample)?"), "{found:#?}");
    let line = line_of("template.toml", "of   = \"w(water)\"");
    let found = said("template.toml", "of   = \"w(water)\"", "of   = \"w(salt)\"");
    assert!(
        found.len() == 1
            && found[0]
                .starts_with(&format!("own/template.toml:{line} a question about the error of w(salt)")),
        "{found:#?}"
    );
    let line = line_of("marks.toml", "claim  = \"w(water)\"");
    let found = said("marking/marks.toml", "\"w(water)\"", "\"mean w(wtaer)\"");
    assert!(
        found.len() == 1
            && found[0].starts_with(&format!("own/marking/marks.toml:{line} marks for w(wtaer)")),
        "{found:#?}"
    );
    let line = line_of("marks.toml", "\"Discussion\"");
    let found = said("marking/marks.toml", "\"Discussion\"", "\"Discusion\"");
    assert!(
        found.len() == 1
            && found[0].starts_with(&format!("own/marking/marks.toml:{line} marks for a section")),
        "{found:#?}"
    );
    assert!(found[0].ends_with("did you mean “Discussion”?"), "{found:#?}");
}

#[test]
fn names_that_are_there_but_make_no_sense_are_said() {
    let found = said("template.toml", "[\"m(H2O)\"]", "[\"m(H2O)\", \"n(water)\"]");
    assert!(found.len() == 1 && found[0].contains("the method defines n(water) itself"), "{found:#?}");
    let found = said("template.toml", "of   = \"w(water)\"", "of   = \"n(water)\"");
    assert!(found.len() == 1 && found[0].contains("n(water), which has no theory"), "{found:#?}");
    let found = said(
        "template.toml",
        "low    = \"0.8 g\"\nhigh   = \"1.5 g\"",
        "low    = \"0.8 mL\"\nhigh   = \"1.5 mL\"",
    );
    assert!(
        found.len() == 1 && found[0].contains("the usual size of m(sample) is in mL, and m(sample) is in g"),
        "{found:#?}"
    );
}

/// Names laid over from `local.toml` are said there.
#[test]
fn a_name_of_local_rules_is_said_in_their_file() {
    let template = template::find("hydrate", &Memory::default()).expect("it is shipped");
    let marking = template.marking.iter().map(|(path, bytes)| (format!("marking/{path}"), bytes.clone()));
    let mut files: std::collections::BTreeMap<String, Vec<u8>> =
        template.files.clone().into_iter().chain(marking).collect();
    files.insert("local.toml".to_owned(), b"\n[aliases]\n\"m(watr)\" = \"m(W)\"\n".to_vec());
    let template = template::load(&Memory(files), Origin::Folder("own".to_owned()));
    let found = check(&template).findings;
    assert_eq!(found.len(), 1, "{found:#?}");
    assert_eq!((found[0].file.as_deref(), found[0].place), (Some("own/local.toml"), Some((3, 1))));
}

/// Cautions come before the work, so a skeleton has them, and has them first.
#[test]
fn a_skeleton_without_cautions_or_with_late_ones_is_told() {
    let grave = |new: &str, old: &str| {
        let template = template::find("hydrate", &Memory::default()).expect("it is shipped");
        let mut files = template.files.clone();
        let text = String::from_utf8(files["notebook.md"].clone()).expect("text");
        let text = text.replacen("<<cautions>>\n", "", 1).replacen(old, new, 1);
        files.insert("notebook.md".to_owned(), text.into_bytes());
        let marking = template.marking.iter().map(|(path, bytes)| (format!("marking/{path}"), bytes.clone()));
        files.extend(marking);
        let template = template::load(&Memory(files), Origin::Folder("own".to_owned()));
        let found =
            check(&template).findings.into_iter().filter(|finding| finding.message.contains("cautions"));
        found.map(|finding| (finding.file.unwrap_or_default(), finding.message)).collect::<Vec<_>>()
    };
    let said = |message: &str| vec![("own/notebook.md".to_owned(), message.to_owned())];
    assert_eq!(grave("", "no such text"), said("the skeleton does not print the cautions of the template"));
    let late = said("the skeleton prints the cautions after the work has begun");
    assert_eq!(grave("## Discussion\n\n<<cautions>>\n", "## Discussion\n"), late);
    assert_eq!(grave("## Procedure\n\n<<cautions>>\n", "## Procedure\n"), late);
    assert_eq!(grave("## Purpose\n\n<<cautions>>\n", "## Purpose\n"), []);
}
