//! Reports in review: the attached notebook is worked out again, and what was altered is noticed.

use lopdf::{Document, Object};
use std::path::Path;
use std::process::Command;

fn run(folder: &Path, arguments: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the command starts");
    (output.status.code().expect("an exit status"), String::from_utf8(output.stdout).expect("UTF-8"))
}

/// The report of a demo notebook with a claimed value, in a folder.
fn report() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks/selenite.md");
    let mut text = std::fs::read_to_string(demo).expect("the demo");
    // Trial A: 25.6384 − 24.5161 = 1.1223 g of sample, 25.4046 − 24.5161 = 0.8885 g of residue, so 20.83 % water.
    text.push_str("\n```claimed\ntrial: A B C\nw(water): 20.83 % 20.86 % 20.86 %\n```\n");
    std::fs::write(folder.path().join("a.md"), text).expect("written");
    run(folder.path(), &["report", "a.md", "--output", "a.pdf"]);
    folder
}

/// The review of the report after a change to the document; the pages are still there.
fn reviewed_after(folder: &Path, change: impl Fn(&mut Document)) -> (i32, String) {
    let mut document = Document::load(folder.join("a.pdf")).expect("the report is a PDF");
    change(&mut document);
    document.save(folder.join("b.pdf")).expect("saved");
    let (status, text) = run(folder, &["review", "b.pdf"]);
    (status, text.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// Changes an attachment that holds a text, which has to be there.
fn change_attachment(document: &mut Document, from: &str, to: &str) {
    let holds = |object: &Object| {
        let stream = object.as_stream().ok()?;
        let text = String::from_utf8(stream.get_plain_content().ok()?).ok()?;
        text.contains(from).then_some(text)
    };
    let found = document.objects.iter().find_map(|(id, object)| Some((*id, holds(object)?)));
    let (id, text) = found.expect("an attachment with that text");
    let stream =
        document.objects.get_mut(&id).and_then(|object| object.as_stream_mut().ok()).expect("a stream");
    stream.set_plain_content(text.replacen(from, to, 1).into_bytes());
}

#[test]
fn a_report_as_it_was_set_is_consistent_with_itself() {
    let folder = report();
    let (status, text) = run(folder.path(), &["review", "a.pdf"]);
    assert!(text.contains("the report is consistent with itself"), "{text}");
    assert!(text.contains("3 claimed values: 3 agree"), "{text}");
    assert_eq!(status, 0);
}

#[test]
fn a_changed_reading_in_the_attached_notebook_is_noticed() {
    let folder = report();
    let (status, text) = reviewed_after(folder.path(), |document| {
        change_attachment(document, "25.4046     24.7061", "25.3946     24.7061")
    });
    assert!(text.contains("the attached results file is not what the attached notebook gives"), "{text}");
    assert!(text.contains("where its notebook gives"), "{text}");
    assert!(
        text.contains("2 agree") && text.contains("1 differs"),
        "the changed notebook is recomputed: {text}"
    );
    assert_eq!(status, 1);
}

#[test]
fn a_changed_results_file_is_noticed() {
    let folder = report();
    let (status, text) = reviewed_after(folder.path(), |document| {
        change_attachment(document, "\"printed\": \"20.83\"", "\"printed\": \"20.93\"");
    });
    assert!(text.contains("the attached results file is not what the attached notebook gives"), "{text}");
    assert_eq!(status, 1);
}

#[test]
fn a_changed_page_is_noticed_though_every_attachment_is_right() {
    let folder = report();
    let (status, text) = reviewed_after(folder.path(), |document| {
        let page = *document.get_pages().values().nth(1).expect("a second page");
        let mut content = document.get_and_decode_page_content(page).expect("its content");
        let shown =
            |operation: &lopdf::content::Operation| matches!(operation.operator.as_str(), "Tj" | "TJ");
        let at = content.operations.iter().rposition(shown).expect("some text");
        content.operations.remove(at);
        document.change_page_content(page, content.encode().expect("encoded")).expect("changed");
    });
    assert!(text.contains("page 2 prints"), "{text}");
    assert_eq!(status, 1);
}

#[test]
fn a_pdf_that_is_no_report_is_told_to_be_none() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("x.pdf"), b"%PDF-1.7\nnothing").expect("written");
    assert_eq!(run(folder.path(), &["review", "x.pdf"]).0, 2);
}
