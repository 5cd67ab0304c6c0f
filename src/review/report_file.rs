//! A report handed in as a PDF or as a page: the notebook inside it, and whether the report is what that notebook gives.
//!
//! A report carries its notebook, its results file, its template and the files the notebook names. The notebook is
//! worked out again; the results file has to be the one it gives, and the report set again has to be the same. That
//! shows whether a report is consistent with itself. It is no proof that nobody changed a reading: who changes one
//! and sets the report again has a consistent report.

use crate::Computed;
use crate::evaluation::results_file;
use crate::files::Memory;
use crate::finding::{Code, Finding};
use crate::report::{Attachment, html};
use crate::template::{self, Origin};
use lopdf::{DecompressError, Document, LoadOptions, Object};

/// Most bytes that the attachments of a report come to together once they are unpacked, and most that any stream of its
/// own structure comes to. A few kilobytes can hold gigabytes of zeros.
const MOST_UNPACKED: usize = 128 << 20;
/// Most bytes of a page's own instructions whose text is compared; a page of a report has some ten thousand.
const MOST_OF_A_PAGE: usize = 4 << 20;
/// Most pages whose text is compared.
const MOST_PAGES: usize = 500;

/// What a report carries.
#[derive(Clone, Debug, Default)]
pub struct ReportFile {
    /// The name and the bytes of the notebook.
    pub notebook: (String, Vec<u8>),
    /// The results file.
    pub results: Option<Vec<u8>>,
    /// The other attachments, by name; a template's files stand in its folder again.
    pub files: Memory,
    /// The text of each page, as far as it can be read.
    pub pages: Vec<String>,
}

/// Whether bytes are a PDF.
pub fn is_pdf(bytes: &[u8]) -> bool {
    bytes.starts_with(b"%PDF-")
}

/// Whether bytes are a page of HTML. Only one with a notebook inside can be opened.
pub fn is_page(bytes: &[u8]) -> bool {
    html::is_page(bytes)
}

/// Opens a report, as PDF or as a page.
///
/// # Errors
///
/// In words: it cannot be read, carries no notebook, or more than a report can.
pub fn open(bytes: &[u8]) -> Result<ReportFile, String> {
    if is_page(bytes) { open_page(bytes) } else { open_pdf(bytes, MOST_UNPACKED) }
}

fn open_page(bytes: &[u8]) -> Result<ReportFile, String> {
    let page = std::str::from_utf8(bytes).map_err(|_| "a page that is not UTF-8")?;
    let files = html::carried(page)?.into_iter();
    taken_apart(files.map(|file| (file.name, file.relationship, file.bytes)), "a page")
}

/// A report from its files: name, relationship, bytes.
fn taken_apart(
    files: impl Iterator<Item = (String, String, Vec<u8>)>,
    what: &str,
) -> Result<ReportFile, String> {
    let mut report = ReportFile::default();
    let mut sources = Vec::new();
    for (name, relationship, bytes) in files {
        match relationship.to_lowercase().as_str() {
            "source" => sources.push((name, bytes)),
            "data" if name == "results.json" => report.results = Some(bytes),
            _ => {
                report.files.0.insert(name, bytes);
            }
        }
    }
    let [notebook] = &mut sources[..] else {
        return Err(match sources.len() {
            0 => format!(
                "{what} without an attached notebook; only reports that were set from one can be reviewed"
            ),
            several => format!("{what} with {several} attached notebooks, where a report has one"),
        });
    };
    report.notebook = std::mem::take(notebook);
    restore_template(&mut report);
    Ok(report)
}

/// A PDF, with a bound on what unpacking gives.
fn open_pdf(bytes: &[u8], most: usize) -> Result<ReportFile, String> {
    let document = Document::load_mem_with_options(bytes, LoadOptions::with_max_decompressed_size(most))
        .map_err(|error| format!("a PDF that cannot be read: {error}"))?;
    let mut files = Vec::new();
    let mut left = most;
    for object in document.objects.values() {
        let Some(attached) = attachment(&document, object, left) else { continue };
        let attached = attached.map_err(|name| {
            let most = most >> 20;
            format!("a PDF whose attachments come to more than {most} MiB once “{name}” is unpacked; a report’s do not")
        })?;
        left = left.saturating_sub(attached.bytes.len());
        files.push((attached.name, attached.relationship, attached.bytes));
    }
    let mut report = taken_apart(files.into_iter(), "a PDF")?;
    let numbers: Vec<u32> = document.get_pages().keys().copied().collect();
    let text = |page: &u32| document.extract_text_with_limit(&[*page], MOST_OF_A_PAGE).unwrap_or_default();
    report.pages = numbers.iter().take(MOST_PAGES).map(text).collect();
    Ok(report)
}

struct Attached {
    name: String,
    bytes: Vec<u8>,
    relationship: String,
}

/// A file specification with its embedded file (ISO 32000-2, 7.11); the name alone, as an error, where it comes to more than
/// `most` bytes.
fn attachment(document: &Document, object: &Object, most: usize) -> Option<Result<Attached, String>> {
    let specification = object.as_dict().ok()?;
    let files = resolved(document, specification.get(b"EF").ok()?)?.as_dict().ok()?;
    let name = specification.get(b"UF").or_else(|_| specification.get(b"F")).ok()?;
    let name = lopdf::decode_text_string(name).ok()?;
    let stream = resolved(document, files.get(b"UF").or_else(|_| files.get(b"F")).ok()?)?.as_stream().ok()?;
    let bytes = match stream.get_plain_content_with_limit(most) {
        Ok(bytes) => bytes,
        Err(lopdf::Error::Decompress(DecompressError::MemoryLimitExceeded { .. })) => return Some(Err(name)),
        Err(_) => return None,
    };
    let relationship =
        specification.get(b"AFRelationship").and_then(Object::as_name).unwrap_or(b"Unspecified");
    Some(Ok(Attached { name, bytes, relationship: String::from_utf8_lossy(relationship).into_owned() }))
}

fn resolved<'a>(document: &'a Document, object: &'a Object) -> Option<&'a Object> {
    document.dereference(object).ok().map(|(_, object)| object)
}

/// A template's files are attached as `hydrate.method.md`; beside a notebook they stand as `hydrate/method.md`.
fn restore_template(report: &mut ReportFile) {
    let ids: Vec<String> = report
        .files
        .0
        .keys()
        .filter_map(|name| name.strip_suffix(".template.toml"))
        .map(str::to_string)
        .collect();
    for id in ids {
        let own = |name: &String| {
            name.strip_prefix(&id).and_then(|rest| rest.strip_prefix('.')).map(str::to_string)
        };
        let names: Vec<(String, String)> =
            report.files.0.keys().filter_map(|name| Some((name.clone(), own(name)?))).collect();
        for (name, rest) in names {
            if let Some(bytes) = report.files.0.remove(&name) {
                report.files.0.insert(format!("{id}/{rest}"), bytes);
            }
        }
    }
}

/// The notebook of a report worked out as it was for its author. Where the report says that its template was the
/// shipped one, and the copy inside it is just that, the shipped one is taken again.
pub fn for_author(report: &ReportFile) -> Computed {
    let (name, bytes) = &report.notebook;
    let mut files = report.files.clone();
    if let Some(id) = shipped_template(report) {
        files.0.retain(|path, _| !path.strip_prefix(&id).is_some_and(|rest| rest.starts_with('/')));
    }
    crate::compute(name, bytes, &files)
}

/// The id of the template, where it was the shipped one and the copy is the same.
fn shipped_template(report: &ReportFile) -> Option<String> {
    let results: serde_json::Value = serde_json::from_slice(report.results.as_ref()?).ok()?;
    let used = &results["template"];
    let id = used["id"].as_str().filter(|_| used["origin"] == Origin::Shipped.words())?;
    let shipped = template::find(id, &Memory::default()).ok()?;
    let copy = template::find(id, &report.files).ok()?;
    (shipped.sha256 == copy.sha256).then(|| id.to_owned())
}

/// Whether the attached results file is the one the notebook gives. `computed` is the notebook worked out for its
/// author, as a report is.
pub fn results_agree(report: &ReportFile, computed: &Computed) -> Vec<Finding> {
    let Some(attached) = &report.results else {
        let message = "the report carries no results file to compare";
        return vec![Finding::warning(Code::ReportInconsistent, None, message)];
    };
    let expected = results_file(&computed.results, &computed.notebook.text);
    if *attached == expected.as_bytes() {
        return Vec::new();
    }
    let version = serde_json::from_slice::<serde_json::Value>(attached).ok();
    let version = version.and_then(|file| Some(file["program"]["version"].as_str()?.to_string()));
    let own = env!("CARGO_PKG_VERSION");
    match version {
        Some(version) if version != own => {
            let message = format!(
                "the report was set by version {version}, and this is {own}: the two may count and print differently"
            );
            vec![Finding::note(Code::ReportInconsistent, None, message)]
        }
        _ => {
            let message = "the attached results file is not what the attached notebook gives: one of the two was changed";
            vec![Finding::warning(Code::ReportInconsistent, None, message)]
        }
    }
}

/// Whether a page made again from its own notebook is the same.
pub fn page_agrees(bytes: &[u8], report: &ReportFile, computed: &Computed) -> Vec<Finding> {
    let results = report.results.clone().unwrap_or_default();
    let attachments = [
        Attachment::source(&report.notebook.0, report.notebook.1.clone()),
        Attachment::results("results.json", results),
    ];
    let template = computed.template.as_deref();
    let again = html::html(&computed.notebook, &computed.results, &attachments, &report.files, template);
    if again.text.as_bytes() == bytes {
        let message = "the report is consistent with itself: made again from its own notebook it is the same, byte for byte";
        return vec![Finding::note(Code::ReportConsistent, None, message)];
    }
    let page = String::from_utf8_lossy(bytes);
    let lines = page.lines().zip(again.text.lines()).zip(1..);
    let differs = lines.into_iter().find(|((own, other), _)| own != other).map(|(_, number)| number);
    let place = differs.map_or("at its end".to_string(), |number| format!("at line {number} of its source"));
    let message = format!("the report is not the one its notebook gives: something was changed {place}");
    vec![Finding::warning(Code::ReportInconsistent, None, message)]
}

/// Whether the report set again from its own notebook is the same, page by page.
#[cfg(feature = "pdf")]
pub fn pages_agree(
    bytes: &[u8],
    report: &ReportFile,
    computed: &Computed,
    press: &dyn crate::report::press::Press,
) -> Vec<Finding> {
    use crate::report::pdf_with;
    let results = report.results.clone().unwrap_or_default();
    let attachments = [
        Attachment::source(&report.notebook.0, report.notebook.1.clone()),
        Attachment::results("results.json", results),
    ];
    let template = computed.template.as_deref();
    let set = pdf_with(&computed.notebook, &computed.results, &attachments, &report.files, template, press);
    let Ok(again) = set else {
        let message = "the report could not be set again, so its pages were not compared";
        return vec![Finding::note(Code::ReportInconsistent, None, message)];
    };
    if again.bytes == bytes {
        let message = "the report is consistent with itself: set again from its own notebook it is the same, byte for byte";
        return vec![Finding::note(Code::ReportConsistent, None, message)];
    }
    let Ok(again) = open(&again.bytes) else { return Vec::new() };
    let pages = report.pages.len().max(again.pages.len());
    let differing: Vec<Finding> = (0..pages).filter_map(|page| page_differs(page, report, &again)).collect();
    if differing.is_empty() {
        let message = "the report is not the one its notebook gives, though the text of its pages is the same: something was changed after it was set";
        return vec![Finding::warning(Code::ReportInconsistent, None, message)];
    }
    differing
}

/// The first line in which a page differs from the same page set again.
#[cfg(feature = "pdf")]
fn page_differs(page: usize, report: &ReportFile, again: &ReportFile) -> Option<Finding> {
    let (printed, expected) = (report.pages.get(page), again.pages.get(page));
    let number = page + 1;
    let message = match (printed, expected) {
        (Some(printed), Some(expected)) => {
            let lines = |text: &str| text.lines().map(str::trim).map(str::to_string).collect::<Vec<_>>();
            let (printed, expected) = (lines(printed), lines(expected));
            let at =
                (0..printed.len().max(expected.len())).find(|at| printed.get(*at) != expected.get(*at))?;
            let line =
                |lines: &[String]| lines.get(at).map_or("nothing".to_string(), |line| format!("“{line}”"));
            format!("page {number} prints {} where its notebook gives {}", line(&printed), line(&expected))
        }
        (Some(_), None) => format!("page {number} is not among those its notebook gives"),
        (None, _) => format!("page {number} of what its notebook gives is missing"),
    };
    Some(Finding::warning(Code::ReportInconsistent, None, message))
}

#[cfg(test)]
mod tests {
    use super::*;
    use lopdf::{Stream, dictionary};

    /// A PDF of one page with attachments: name, relationship and bytes, deflated.
    fn with(attachments: &[(&str, &str, Vec<u8>)]) -> Vec<u8> {
        let mut document = Document::with_version("1.7");
        let pages = document.new_object_id();
        let page = document.add_object(dictionary! { "Type" => "Page", "Parent" => pages });
        let kids = vec![Object::Reference(page)];
        document
            .objects
            .insert(pages, dictionary! { "Type" => "Pages", "Kids" => kids, "Count" => 1 }.into());
        let catalog = document.add_object(dictionary! { "Type" => "Catalog", "Pages" => pages });
        document.trailer.set("Root", catalog);
        for (name, relationship, bytes) in attachments {
            let mut stream = Stream::new(dictionary! { "Type" => "EmbeddedFile" }, bytes.clone());
            stream.compress().expect("deflated");
            let stream = document.add_object(stream);
            document.add_object(dictionary! {
                "Type" => "Filespec",
                "UF" => Object::string_literal(*name),
                "EF" => dictionary! { "UF" => stream },
                "AFRelationship" => *relationship,
            });
        }
        let mut written = Vec::new();
        document.save_to(&mut written).expect("written");
        written
    }

    #[test]
    fn attachments_that_unpack_to_too_much_are_refused_by_name() {
        let notebook = ("a.md", "Source", b"# A\n".to_vec());
        let zeros = |name| (name, "Supplement", vec![0u8; 3 << 20]);
        let bomb = with(&[notebook.clone(), zeros("b.csv")]);
        assert!(bomb.len() < 20_000, "{} bytes as stored", bomb.len());
        let refused = open_pdf(&bomb, 2 << 20).expect_err("too much");
        assert!(refused.contains("more than 2 MiB once “b.csv” is unpacked"), "{refused}");
        let report = open_pdf(&bomb, 4 << 20).expect("a report");
        assert_eq!((report.notebook.1.as_slice(), report.files.0.len()), (b"# A\n".as_slice(), 1));
        let many = with(&[notebook, zeros("b.csv"), zeros("c.csv")]);
        assert!(open_pdf(&many, 4 << 20).expect_err("together too much").contains("more than 4 MiB"));
    }

    #[test]
    fn what_is_no_report_says_so() {
        assert!(open(b"%PDF-1.7\n").expect_err("no PDF").starts_with("a PDF that cannot be read"));
        assert!(open(&with(&[])).expect_err("no notebook").contains("without an attached notebook"));
    }
}
