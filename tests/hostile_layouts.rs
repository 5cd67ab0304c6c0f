//! A layout by someone else cannot read outside its folder, and cannot hang or fill the machine: what it does ends with an
//! error at its line. Run through the real command, because the limits are those of a process.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A copy of the shipped hydrate with a layout of its own.
fn template(folder: &Path, layout: &str) -> PathBuf {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates/hydrate");
    let own = folder.join("hydrate");
    std::fs::create_dir_all(own.join("marking")).expect("a folder");
    for file in ["template.toml", "method.md", "notebook.md", "marking/sample.md"] {
        std::fs::copy(shipped.join(file), own.join(file)).expect("a copy");
    }
    let text = format!("#import \"parts.typ\": *\n#let report(data, body) = {{\n{layout}\n}}\n");
    std::fs::write(own.join("report.typ"), text).expect("the layout is written");
    own
}

/// The check of a layout with time enough on a busy machine.
fn check(layout: &str, prepare: impl Fn(&Path)) -> Output {
    check_within("30", layout, prepare)
}

fn check_within(seconds: &str, layout: &str, prepare: impl Fn(&Path)) -> Output {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let own = template(folder.path(), layout);
    prepare(&own);
    let mut command = Command::new(env!("CARGO_BIN_EXE_reweigh"));
    command.args(["--plain", "template", "check", "hydrate", "--layout-seconds", seconds]);
    command.current_dir(folder.path()).output().expect("the command runs")
}

/// The layout's third line, as findings name it, is where each of these fails.
fn fails_at(layout: &str, place: &str, message: &str) {
    fails_with(&check(layout, |_| {}), layout, place, message);
}

/// The same for a layout that has to be stopped.
fn is_stopped_at(layout: &str, place: &str) {
    fails_with(&check_within("2", layout, |_| {}), layout, place, "did not come to an end within 2 s");
}

fn fails_with(output: &Output, layout: &str, place: &str, message: &str) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains(place) && said.contains(message), "{layout}\n{said}");
}

#[test]
fn a_loop_that_does_not_end_is_stopped_at_its_line() {
    let nested = "let n = 0\nfor a in range(9000) { for b in range(9000) { for c in range(9000) {\nn += 1\n} } }\nbody";
    is_stopped_at(nested, "hydrate/report.typ:5:");
}

#[test]
fn pages_without_end_are_stopped_at_their_line() {
    let pages = "for a in range(9000) { for b in range(9000) {\npagebreak(); [x]\n} }";
    is_stopped_at(pages, "hydrate/report.typ:4:");
}

#[test]
fn too_much_memory_ends_at_its_line() {
    fails_at("let much = \"x\" * 4000000000\nbody", "hydrate/report.typ:3:", "more than 2 GiB of memory");
}

#[test]
fn recursion_without_end_ends() {
    fails_at(
        "let f(n) = n\nlet g(h, n) = h(h, n + 1)\ng(g, 1)\nbody",
        "hydrate/report.typ:4:",
        "depth exceeded",
    );
}

#[test]
fn nothing_outside_the_folder_is_read() {
    for path in ["/etc/passwd", "marking/sample.md", "report-templates/plain/report.typ", "main.typ/../../x"]
    {
        fails_at(&format!("let secret = read(\"{path}\")\nbody"), "hydrate/report.typ:3:", "");
    }
    fails_at("let secret = read(\"../../../../etc/passwd\")\nbody", "hydrate/report.typ:3:", "lies outside");
}

#[test]
fn no_package_is_fetched() {
    fails_at("import \"@preview/anything:1.0.0\": *\nbody", "hydrate/report.typ:3:", "access denied");
}

#[cfg(unix)]
#[test]
fn a_link_out_of_the_folder_is_not_followed() {
    let output = check("let secret = read(\"inside.txt\")\nbody", |own| {
        std::os::unix::fs::symlink("/etc/hostname", own.join("inside.txt")).expect("a link");
    });
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("hydrate/report.typ:3:") && said.contains("access denied"), "{said}");
}

#[test]
fn what_a_reader_could_not_hear_is_refused() {
    let image =
        "set document(title: data.title, date: data.document-date)\nimage(\"signs/ghs02-flame.svg\")\nbody";
    fails_at(image, "hydrate/report.typ:4:", "alt text");
}

#[test]
fn a_layout_that_defines_nothing_is_told_how_to_begin() {
    let output = check("body", |own| std::fs::write(own.join("report.typ"), "hello").expect("it is written"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("hydrate/report.typ:1:1") && said.contains("#import \"parts.typ\": *"), "{said}");
}

#[test]
fn a_layout_in_order_is_set() {
    let layout = "set document(title: data.title, author: data.authors, date: data.document-date)\n\
        set text(font: (serif, maths, mono), lang: \"en\")\nshow math.equation: set text(font: (maths, serif, mono))\n\
        title-block(data)\npart(data, \"cautions\")\npart(data, \"results\")\npart(data, \"findings\")\n\
        assert.eq(json(\"results.json\").schema, \"reweigh/results/1\")";
    let output = check(layout, |_| {});
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(String::from_utf8_lossy(&output.stdout).contains("layout (report.typ): set as PDF/UA-1"));
}

/// A layout may put the parts together as it likes, but not leave out what is said for safety or what was found.
#[test]
fn a_layout_that_leaves_out_the_cautions_is_refused() {
    let head = "set document(title: data.title, date: data.document-date)\nset text(lang: \"en\")\n";
    fails_at(
        &format!("{head}part(data, \"results\")"),
        "hydrate/report.typ:1:1",
        "the layout leaves out the cautions",
    );
    let output = check(&format!("{head}part(data, \"cautions\")"), |_| {});
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn a_layout_that_leaves_out_the_findings_is_refused() {
    let head = "set document(title: data.title, date: data.document-date)\nset text(lang: \"en\")\n";
    let with_fault = |own: &Path| {
        let sample = own.join("marking/sample.md");
        let text = std::fs::read_to_string(&sample).expect("the sample is there");
        std::fs::write(&sample, text.replace("- [x] gas hose", "- [ ] gas hose")).expect("it is written");
    };
    let said = |parts: &str| {
        let output = check(&format!("{head}part(data, \"cautions\")\n{parts}"), with_fault);
        String::from_utf8_lossy(&output.stderr).into_owned()
    };
    let without = said("part(data, \"results\")");
    assert!(
        without.contains("hydrate/report.typ:1:1") && without.contains("leaves out the findings"),
        "{without}"
    );
    let with = said("part(data, \"findings\")");
    assert!(!with.contains("leaves out"), "{with}");
}
