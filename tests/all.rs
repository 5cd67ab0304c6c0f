//! Every test from outside, in one program: the library is linked once, and all tests share the cores.
//!
//! A file is a module; `cargo test --test all FILE::` runs the tests of one.

/// What several files use.
mod common;
/// Notebooks of known masses, with and without slips.
mod simulated;

mod air_buoyancy;
mod algebra;
mod balancing;
#[cfg(all(feature = "bench", feature = "pdf"))]
mod bench_page;
#[cfg(feature = "bench")]
mod bench_server;
mod bench_sheet;
#[cfg(all(feature = "bench", feature = "pdf"))]
mod bench_speed;
mod bench_values;
mod browser;
mod chemistry;
mod commands;
mod commonmark;
mod coverage;
#[cfg(unix)]
mod faults;
mod field;
mod formulas_and_reactions;
mod hostile;
#[cfg(feature = "pdf")]
mod hostile_layouts;
mod house;
#[cfg(unix)]
mod interruptions;
mod licences;
mod marks;
mod molar_masses;
mod monte_carlo;
mod notebook_cases;
mod notebook_properties;
mod notebook_structure;
mod pages;
mod published;
mod published_chemistry;
mod quantity;
mod random_notebooks;
mod remarks;
mod report_html;
mod report_layouts;
#[cfg(feature = "pdf")]
mod report_pages;
#[cfg(feature = "pdf")]
mod report_pdf;
mod report_source;
mod review;
mod review_page;
#[cfg(feature = "pdf")]
mod review_report;
mod review_simulated;
mod section;
mod start;
mod statistics;
mod template_names;
mod template_required;
mod template_rules;
mod templates;
mod uncertain_digits;
mod uncertainty_libraries;
mod verdicts;
mod write_back;
