//! Hostile notebooks through the real command: what is nested too deep, too long or too large, numbers at the edges, and names
//! that would steer a page, a spreadsheet or a terminal. Each ends by itself, says what it says at a place, and nothing in
//! it is taken for more than text.

use std::path::Path;
use std::process::{Command, Output, Stdio};

const READINGS: &str = "```masses\ntrial: A B\ncup: 20.0000 21.0000\ncup + salt: 21.0000 22.5000\n```\n";

fn run(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_reweigh"));
    command.args(arguments).current_dir(folder).stdin(Stdio::null()).output().expect("it runs")
}

/// The command on one notebook: it ends with 0 or 1 and without breaking. Gives its findings, one a line.
fn said(name: &str, text: &[u8], arguments: &[&str]) -> String {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("n.md"), text).expect("a notebook");
    let output = run(folder.path(), &[&["--plain"], arguments, &["n.md"]].concat());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let shown: String = said.chars().take(2000).collect();
    assert!(matches!(output.status.code(), Some(0 | 1)), "{name}: {:?}\n{shown}", output.status);
    assert!(!said.contains("panicked"), "{name}: {shown}");
    said
}

/// Markdown on which a parser that looks back, or recurses, is lost.
#[test]
fn markdown_that_is_costly_to_read_is_read() {
    let ticks: String = (1..800).map(|n| "`".repeat(n) + " ").collect();
    let lists: String = (0..400).map(|n| " ".repeat(2 * n) + "- a\n").collect();
    let quotations: String = (1..400).map(|n| "> ".repeat(n) + "x\n").collect();
    let notes: String = (0..2000).map(|n| format!("[^{n}]: text [^{}]\n\n", n + 1)).collect();
    let table = format!("|{}\n|{}\n{}", "a|".repeat(1000), "-|".repeat(1000), "|b|\n".repeat(1000));
    for (name, text) in [
        ("quotations", ">".repeat(20_000)),
        ("growing quotations", quotations),
        ("lists", lists),
        ("one line of lists", "- ".repeat(20_000)),
        ("brackets", "[".repeat(20_000)),
        ("links", "[a](".repeat(20_000)),
        ("images", "![".repeat(20_000)),
        ("backticks", ticks),
        ("emphasis", "*a_ ".repeat(20_000)),
        ("emphasis and links", "**x [a*b**c*](d) ".repeat(5_000)),
        ("strikes", format!("{}\n{}", "~".repeat(20_000), "~~a".repeat(20_000))),
        ("references", format!("{}\n{}", "[x]: /a\n".repeat(10_000), "[x]".repeat(10_000))),
        ("footnotes", notes),
        ("table", table),
        ("html", format!("{}\n{}", "<a ".repeat(20_000), "<!--".repeat(20_000))),
        ("entities", "&".repeat(50_000)),
        ("dollars", "$a ".repeat(20_001)),
        ("fences", "```masses\n```\n".repeat(5_000)),
        ("fences that stay open", "```masses\n".repeat(20_000)),
        ("zeros", "\0".repeat(50_000)),
        ("returns", "\r".repeat(50_000)),
    ] {
        said(name, format!("{text}\n\n{READINGS}").as_bytes(), &["compute"]);
    }
    said(
        "mathematics",
        format!(
            "${}{}$\n\n$\\frac{{1}}{{{}$\n",
            "{".repeat(5000),
            "}".repeat(5000),
            "\\frac{1}{".repeat(2000)
        )
        .as_bytes(),
        &["report", "--as", "html", "--output", "n.html"],
    );
}

/// What is too much is refused where it stands.
#[test]
fn too_much_is_refused_at_its_place() {
    let things: Vec<String> = (0..2000).map(|n| format!("t{n}")).collect();
    for (name, text, code) in [
        ("trials", format!("```masses\ntrial: {}\ncup: 1.0\n```\n", things.join(" ")), "too-large"),
        (
            "columns",
            format!("```masses\ntrial:{}\ncup:{}\n```\n", " a".repeat(500_000), " 20.0".repeat(500_000)),
            "too-large",
        ),
        (
            "draws",
            format!("```experiment\nmonte-carlo = {{ draws = 1000000000000 }}\n```\n{READINGS}"),
            "bad-setting",
        ),
        ("things", format!("```masses\n{}: 20.0\n```\n", things.join(" + ")), "too-large"),
        (
            "brackets",
            format!("```working\nx = {}1{}\n```\n", "(".repeat(2000), ")".repeat(2000)),
            "too-large",
        ),
        ("sum", format!("```working\nx = {}1\n```\n", "1+".repeat(2000)), "too-large"),
        ("power", "```working\nx = 2^1000000000\n```\n".to_owned(), "too-large"),
        ("tower", "```working\nx = 10^10^10\n```\n".to_owned(), "too-large"),
        ("exponent", "```working\nx = 1e999999999\n```\n".to_owned(), "too-large"),
        ("long exponent", "```working\nx = 1e99999999999999999999\n```\n".to_owned(), "too-large"),
        ("exp", "```working\nx = exp(10^9)\n```\n".to_owned(), "too-large"),
        ("digits", format!("```masses\ncup: {}.{}\n```\n", "9".repeat(400), "9".repeat(400)), "too-large"),
        ("reading", "```masses\ncup: 1e999999999\n```\n".to_owned(), "n.md:2:6: error"),
        ("squares", squares(), "too-large"),
        ("toml", format!("```experiment\na = {}{}\n```\n", "[".repeat(5000), "]".repeat(5000)), "bad-toml"),
        (
            "tables",
            format!("```experiment\na = {}1{}\n```\n", "{a=".repeat(5000), "}".repeat(5000)),
            "bad-toml",
        ),
        ("dotted", format!("```experiment\n{}b = 1\n```\n", "a.".repeat(5000)), "bad-toml"),
        (
            "formula",
            format!("```working\nx = M({}H{})\n```\n", "(".repeat(2000), ")2".repeat(2000)),
            "n.md:2:",
        ),
        ("count", format!("```working\nx = M(H{})\n```\n", "9".repeat(1000)), "n.md:2:"),
        ("equation", format!("```reaction\n{}H2O -> H2 + O2\n```\n", "H2O + ".repeat(2000)), "n.md:2:"),
        ("unit", format!("```working\nx = 1 {}\n```\n", "kg^99999999 ".repeat(100)), "n.md:2:"),
    ] {
        let said = said(name, text.as_bytes(), &["compute"]);
        assert!(
            said.contains(code) && said.contains("n.md:"),
            "{name}: {}",
            said.chars().take(600).collect::<String>()
        );
    }
}

/// A number that has twice the digits in every line.
fn squares() -> String {
    let lines: String = (1..40).map(|n| format!("x{n} = x{} * x{}\n", n - 1, n - 1)).collect();
    format!("```working\nx0 = 1.5\n{lines}```\n")
}

/// Small and large numbers within the limits are exact: 10⁻⁴⁰⁰ and 300 digits are numbers like any other.
#[test]
fn numbers_at_the_edges_are_exact() {
    let folder = tempfile::tempdir().expect("a folder");
    let (long, longer) = (format!("{}.5", "9".repeat(300)), format!("{}.7", "9".repeat(300)));
    let text = format!(
        "```masses\nunit: g\ncup: {long}\ncup + salt: {longer}\n```\n\n```working\nx = 10^-400 * 10^400\ny = m(salt)\n```\n"
    );
    std::fs::write(folder.path().join("n.md"), text).expect("a notebook");
    let output = run(folder.path(), &["compute", "n.md", "--format", "json"]);
    let file: serde_json::Value = serde_json::from_slice(&output.stdout).expect("a results file");
    let value = |symbol: &str| {
        let found =
            file["quantities"].as_array().expect("results").iter().find(|result| result["symbol"] == symbol);
        let found = found.unwrap_or_else(|| panic!("no {symbol} in {file}"));
        found.to_string()
    };
    assert!(value("x").contains("\"1\""), "{}", value("x"));
    assert!(value("y").contains("\"0.2\""), "{}", value("y"));
}

/// Words that a typesetter, a browser, a spreadsheet or a terminal would act on.
const EVIL: &str = "=cmd|x!A0 #evil <script>alert(1)</script> <img src=x onerror=alert(2)>";

fn hostile_notebook() -> String {
    format!(
        "```experiment\ntitle = \"{EVIL} \\u001b[31m \\u202E \\u009b1m\"\nauthors = [\"@SUM(1) {EVIL}\", \"+1 \\u0007\"]\n\
         date = 2026-03-04\nunknown = \"-1+<b>\\u001b[2J\"\nbench = \"=1+1\"\nlaboratory = \"{EVIL}\"\n```\n\n\
         # {EVIL} \u{1b}[31m\u{202e} #set text(red)\n\n\
         ```masses\nbalance: =B<b>\ntrial: =A<i>1 <b>B\ncup#x$: 20.0000 21.0000\ncup#x$ + <script>salt: 21.0000 22.5000 [=why <i>\u{202e}]\n```\n\n\
         ```working\nw(=c<script>$#) = m(<script>salt) / m(cup#x$) in %   # =remark <script>\n```\n\n\
         ```claimed\ntrial: =A<i>1 <b>B\nm(<script>salt): 1.0001 1.5000\nw(=c<script>$#): 5.1 % 9.0 %\n```\n\n\
         [a](javascript:alert(3)) <a onclick=alert(4)>raw</a> ![<img onerror=alert(5)>](x\"onerror=\"alert(6).png) \
         `</code><script>alert(7)</script>` $\\text{{</math><script>}}$ {{mean m(<script>salt)}}\n"
    )
}

/// Characters that steer a terminal or turn the order of others around.
fn steers(text: &str) -> Option<char> {
    let order = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars().find(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t') || order(*c))
}

/// Every tag of a page that a notebook could have brought with it.
fn brought(page: &str) -> Option<&str> {
    let lower = page.to_ascii_lowercase();
    let tags =
        ["<script>alert", "<script>salt", "<img src=x", "<a onclick", "<i>1", "<b>b", "href=\"javascript"];
    let found = tags.into_iter().find(|tag| lower.contains(tag))?;
    lower
        .find(found)
        .and_then(|at| page.get(at..))
        .map(|rest| rest.split_at_checked(80).map_or(rest, |(start, _)| start))
}

/// A tag with an attribute that runs something.
fn acting(page: &str) -> Option<&str> {
    let mut tags = page.split('<').skip(1).filter_map(|rest| rest.split('>').next());
    let runs = |word: &str| word.starts_with("on") && word.contains('=');
    tags.find(|tag| tag.split('"').step_by(2).collect::<String>().split_whitespace().skip(1).any(runs))
}

/// Names longer than a column may be wide, in tables of text.
#[test]
fn names_of_any_length_are_printed() {
    let long = "c".repeat(70_000);
    let load = READINGS.replace("cup", &long);
    said("load", load.as_bytes(), &["compute"]);
    said("trial", READINGS.replace("A B", &format!("A {long}")).as_bytes(), &["compute"]);
    let working = format!("{READINGS}\n```working\nw({long}) = m(salt)\n```\n");
    said("symbol", working.as_bytes(), &["compute"]);
    let claimed =
        format!("{READINGS}\n```working\nw = formula(w)\n```\n\n```claimed\nformula(w): {long}\n```\n");
    said("claim", claimed.as_bytes(), &["review"]);
}

/// Formulas that rest on one another in a long row, and each on the one before twice, with a slip at the bottom: written
/// out as far as anyone reads.
#[test]
fn a_slip_below_many_steps_is_reviewed() {
    let readings = "```masses\ntrial: A\ncup: 20.0000\ncup + salt: 21.0123\n```\n";
    let rows = |count: usize, step: &dyn Fn(usize) -> String| -> String {
        let steps: String = (1..=count).map(|at| format!("x{at} = {}\n", step(at - 1))).collect();
        format!("{readings}\n```working\nx0 = m(salt)\n{steps}```\n")
    };
    let long = rows(3000, &|before| format!("x{before} + 0 g")) + "\n```claimed\nx3000: 21.0123 g\n```\n";
    let twice =
        rows(40, &|before| format!("(x{before} + x{before}) / 2")) + "\n```claimed\nx40: 21.0123 g\n```\n";
    for (name, text) in [("long", long), ("twice", twice)] {
        for form in ["text", "html", "json"] {
            said(name, text.as_bytes(), &["review", "--format", form]);
        }
        let folder = tempfile::tempdir().expect("a folder");
        for file in ["a.md", "b.md"] {
            std::fs::write(folder.path().join(file), &text).expect("a notebook");
        }
        let output = run(folder.path(), &["section", "."]);
        assert!(matches!(output.status.code(), Some(0 | 1)), "{name}: {output:?}");
    }
}

/// Notebooks of a section whose values or readings are as far apart as numbers can be.
#[test]
fn a_section_of_numbers_at_the_edges_has_its_statistics() {
    let head = |trial: &str| {
        format!(
            "```experiment\ntitle = \"T\"\ndate = 2026-02-17\nunknown = \"U1\"\n```\n\n```masses\nunit: g\ntrial: A B\n\
             cup: 24.516{trial} 23.8872\ncup + salt: 25.6384 24.9219\n\
             dish: -500000000000000.0000 500000000000000.0000\n```\n"
        )
    };
    for power in ["10^(308)", "10^(320)", "10^(-320)"] {
        let folder = tempfile::tempdir().expect("a folder");
        for trial in ["1", "2", "3", "4", "5", "6"] {
            let working = format!("w = m(salt) / (1 g) * {power}");
            let text =
                format!("{}\n```working\n{working}\n```\n\n```theory\nw = {power}\n```\n", head(trial));
            std::fs::write(folder.path().join(format!("{trial}.md")), text).expect("a notebook");
        }
        for form in ["text", "json", "html"] {
            let output = run(folder.path(), &["section", ".", "--format", form]);
            assert!(matches!(output.status.code(), Some(0 | 1)), "{power}, {form}: {output:?}");
        }
    }
}

#[test]
fn nothing_of_a_notebook_is_more_than_text() {
    let folder = tempfile::tempdir().expect("a folder");
    let section = folder.path().join("section");
    std::fs::create_dir(&section).expect("a folder");
    let text = hostile_notebook();
    std::fs::write(folder.path().join("n.md"), &text).expect("a notebook");
    std::fs::write(section.join("\u{1b}[31m=evil<b>\u{202e}.md"), &text).expect("a notebook");
    std::fs::write(section.join("=2+2.md"), &text).expect("a notebook");
    let commands: [&[&str]; 14] = [
        &["compute", "n.md"],
        &["--plain", "compute", "n.md"],
        &["compute", "n.md", "--format", "json"],
        &["review", "n.md"],
        &["review", "n.md", "--format", "json"],
        &["review", "n.md", "--format", "csv"],
        &["review", "n.md", "--format", "html"],
        &["review", "n.md", "--format", "junit"],
        &["review", "n.md", "--format", "sarif"],
        &["section", "section"],
        &["section", "section", "--format", "json"],
        &["section", "section", "--format", "csv"],
        &["section", "section", "--format", "html"],
        &["formula", "\u{1b}[31mH2\u{202e}O"],
    ];
    for command in commands {
        let output = run(folder.path(), command);
        for bytes in [&output.stdout, &output.stderr] {
            let text = std::str::from_utf8(bytes).unwrap_or_else(|_| panic!("{command:?} writes no UTF-8"));
            assert_eq!(steers(text), None, "{command:?}\n{text}");
        }
        let text = String::from_utf8_lossy(&output.stdout);
        if command.contains(&"html") {
            assert_eq!((brought(&text), acting(&text)), (None, None), "{command:?}");
        }
        if command.contains(&"csv") {
            no_formula(&text);
        }
    }
    let report = |form: &str, name: &str| {
        run(folder.path(), &["report", "n.md", "--as", form, "--output", name]);
        std::fs::read_to_string(folder.path().join(name)).expect("a report")
    };
    let page = report("html", "n.html");
    // The notebook itself travels in a data block, in which no browser sees a tag.
    assert_eq!((brought(&page), acting(&page)), (None, None));
    let before = page.split("id=\"carried-files\"").next().unwrap_or_default();
    assert_eq!(steers(before), None);
    assert_eq!(page.matches("<script").count(), 1, "one data block, and no script");
}

/// No cell begins as a formula does.
fn no_formula(text: &str) {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    for record in reader.records() {
        for cell in record.expect("CSV").iter().filter(|cell| cell.parse::<f64>().is_err()) {
            assert!(!cell.starts_with(['=', '+', '-', '@', '\t']), "{cell}");
        }
    }
}

/// The typesetter gets the same words as text: they stand in the report as they were written.
#[cfg(feature = "pdf")]
#[test]
fn the_typesetter_sets_them_as_text() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("n.md"), hostile_notebook()).expect("a notebook");
    let output = run(folder.path(), &["report", "n.md", "--output", "n.pdf"]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{said}");
    let text = Command::new("pdftotext")
        .args(["-raw", "n.pdf", "-"])
        .current_dir(folder.path())
        .output()
        .expect("it runs");
    let text = String::from_utf8_lossy(&text.stdout).split_whitespace().collect::<Vec<_>>().join(" ");
    for words in ["<script>alert(1)</script>", "#set text(red)", "U+202E", "#evil"] {
        assert!(text.contains(words), "{words} in {text}");
    }
}

/// Pictures that would fill the memory, fetch something, or be worked out for minutes.
#[test]
fn pictures_that_ask_for_too_much_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let put = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).expect("a picture");
    let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
    png.extend(50_000u32.to_be_bytes().repeat(2));
    put("large.png", &png);
    let svg = |inside: &str| {
        format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"9\" height=\"9\">{inside}</svg>")
    };
    put("filter.svg", svg("<rect width='9' height='9' style='filter: blur(5000px)'/>").as_bytes());
    put("deep.svg", svg(&format!("{}{}", "<g>".repeat(300_000), "</g>".repeat(300_000))).as_bytes());
    let entities: String =
        (0..12).map(|n| format!("<!ENTITY a{} \"{}\">", n + 1, format!("&a{n};").repeat(10))).collect();
    put(
        "entities.svg",
        format!("<!DOCTYPE svg [<!ENTITY a0 \"aaaaaaaaaa\">{entities}]>{}", svg("<text>&a12;</text>"))
            .as_bytes(),
    );
    put(
        "outside.svg",
        format!("<!DOCTYPE svg [<!ENTITY x SYSTEM \"file:///etc/passwd\">]>{}", svg("<text>&x;</text>"))
            .as_bytes(),
    );
    let names = ["large.png", "filter.svg", "deep.svg", "entities.svg", "outside.svg"];
    for name in names {
        std::fs::write(folder.path().join("n.md"), format!("# A\n\n![a picture]({name})\n"))
            .expect("a notebook");
        let output = run(folder.path(), &["--plain", "report", "n.md", "--as", "html", "--output", "n.html"]);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{name}: {said}");
        assert!(said.contains("n.md:3:1: warning") && said.contains("bad-image"), "{name}: {said}");
        let page = std::fs::read_to_string(folder.path().join("n.html")).expect("a report");
        assert!(!page.contains("root:"), "{name} was followed");
    }
}
