//! The verdicts and findings as SARIF 2.1.0 (OASIS Standard, 2020), for editors and code hosts.
//!
//! <https://docs.oasis-open.org/sarif/sarif/v2.1.0/sarif-v2.1.0.html>

use super::Reviewed;
use super::json::verdict_findings;
use crate::finding::{Code, Finding, Severity, in_json};
use crate::span::{Lines, Span};
use serde_json::{Value, json};

/// The log file, as written (ends with a newline).
pub fn sarif(reviews: &[Reviewed]) -> String {
    let results: Vec<Value> = reviews.iter().flat_map(of_file).collect();
    let rule = |code: &Code| json!({ "id": code.text(), "shortDescription": { "text": code.explanation() } });
    let document = json!({
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [{
            "tool": { "driver": {
                "name": "reweigh",
                "version": env!("CARGO_PKG_VERSION"),
                "rules": Code::ALL.iter().map(rule).collect::<Vec<_>>(),
            } },
            "columnKind": "unicodeCodePoints",
            "artifacts": reviews.iter().map(|reviewed| json!({
                "location": { "uri": uri(reviewed.file) },
                "hashes": { "sha-256": reviewed.results.sha256 },
            })).collect::<Vec<_>>(),
            "results": results,
        }],
    });
    let mut text = in_json(serde_json::to_string_pretty(&document).unwrap_or_default());
    text.push('\n');
    text
}

fn of_file(reviewed: &Reviewed) -> Vec<Value> {
    let lines = Lines::of(&reviewed.notebook.text);
    let verdicts = verdict_findings(reviewed);
    let all = reviewed.results.findings.iter().chain(reviewed.of_report).chain(&verdicts);
    all.map(|finding| result(reviewed, &lines, finding)).collect()
}

fn result(reviewed: &Reviewed, lines: &Lines, finding: &Finding) -> Value {
    let level = match finding.severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Note => "note",
    };
    let mut message = finding.message.clone();
    finding.hints.iter().for_each(|hint| message.push_str(&format!("\n{hint}")));
    let file = finding.file.as_deref().unwrap_or(reviewed.file);
    let place = finding.span.filter(|_| finding.file.is_none());
    let own = finding.labels.iter().filter(|(span, _)| span.start < reviewed.own);
    let related = own.enumerate().map(|(id, (span, what))| {
        let mut location = location(reviewed, lines, file, Some(*span));
        location["id"] = json!(id);
        location["message"] = json!({ "text": what });
        location
    });
    json!({
        "ruleId": finding.code.text(),
        "ruleIndex": Code::ALL.iter().position(|code| *code == finding.code),
        "level": level,
        "message": { "text": message },
        "locations": [location(reviewed, lines, file, place)],
        "relatedLocations": related.collect::<Vec<_>>(),
    })
}

fn location(reviewed: &Reviewed, lines: &Lines, file: &str, span: Option<Span>) -> Value {
    let artifact = json!({ "uri": uri(file) });
    let Some(span) = span else { return json!({ "physicalLocation": { "artifactLocation": artifact } }) };
    let start = reviewed.place(lines, span);
    let end = lines.place(&reviewed.notebook.text, span.end);
    json!({ "physicalLocation": {
        "artifactLocation": artifact,
        "region": {
            "startLine": start.0, "startColumn": start.1, "endLine": end.0, "endColumn": end.1.max(1),
        },
    } })
}

/// A path as a relative URI reference (RFC 3986): everything but unreserved characters and `/` is escaped.
fn uri(path: &str) -> String {
    let mut uri = String::new();
    for byte in path.replace('\\', "/").bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                uri.push(byte as char)
            }
            other => uri.push_str(&format!("%{other:02X}")),
        }
    }
    uri
}
