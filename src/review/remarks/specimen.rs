//! Made-up values with one of everything remarks can put, so that every part of a text of remarks can be tried.

use super::Text;
use super::{MARKED, STANDARD, fill};
use serde_json::{Value, json};

/// One of everything; a value that may be none is there.
pub fn specimen() -> Value {
    let slip = json!({
        "kind": "wrong molar mass",
        "what": "M(CuSO4·5H2O) taken for M(CuSO4)",
        "recomputation": "0.6635 g / 249.677 g/mol = 2.657 mmol",
    });
    let mut values = json!({
        "title": "A notebook", "authors": ["Bench 1"], "date": "2026-03-04", "file": "notebook.md",
        "template": { "id": "specimen", "version": "1.0", "title": "A template" },
        "numbers": true,
        "claims": [{
            "name": "n(salt), trial A", "of": "n(salt)", "line": 46, "claimed": "2.657 mmol",
            "verdict": "differs", "digits": "fitting", "recomputed": "4.157 mmol",
        }],
        "right": ["m(sample)", "w(water)"],
        "look_again": [{
            "names": "n(salt)", "lines": "line 46", "claimed": "2.657 mmol", "recomputed": "4.157 mmol",
            "question": "Which substance is it?", "also": "n(water)", "slip": slip,
        }],
        "carried": [{ "names": "x", "from": "n(salt)" }],
        "near": [{ "names": "m(water)" }],
        "other_table": [{ "names": "M(water)", "table": "CIAAW 2021 conventional" }],
        "unchecked": [{ "names": "w(sand)", "reason": "nothing defines it" }],
        "digits": [{ "names": "w(water)", "verdict": "too many", "wanted": "2 decimals (in %)" }],
        "findings": [{
            "severity": "warning", "message": "a check is not ticked", "line": 20, "hints": ["tick it"],
        }],
        "questions": ["What may have made the result low?"],
        "points": "3", "points_open": "2", "points_possible": "6",
        "marks": [
            { "item": "n(salt)", "points": "0", "possible": "1", "why": "2 differ" },
            { "item": "Discussion", "points": null, "possible": "2", "why": "your marker decides" },
        ],
    });
    for (key, source) in [("standard", STANDARD), ("marked", MARKED)] {
        let filled = fill(&Text { file: format!("{key}.md"), source: source.into() }, &values);
        values[key] = Value::String(filled.unwrap_or_default());
    }
    values
}
