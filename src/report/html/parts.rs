//! The computed parts of a report as HTML.

use super::markup::Markup;
use super::prose::tick;
use super::words::words;
use super::{Writer, math, tables};
use crate::finding::Severity;
use crate::report::cautions::sources;
use crate::report::layouts::sign_drawing;
use crate::report::math::Math;
use crate::report::part::Part;
use crate::report::record::{Checks, Entry, Listed};
use crate::report::uncertainty;
use crate::report::words::with_symbols;
use crate::report::worked::{Equation, Line, Sought, SoughtFrom, Whole, Worked};
use crate::template::model::{self, Cautions, Hazard, Sign};
use crate::template::{CLOSING, capital};

impl Writer<'_> {
    /// What stands for a block of the notebook.
    pub(super) fn computed(&mut self, page: &mut Markup, index: usize) {
        let parts = self.parts;
        if let Some(parts) = parts.get(index) {
            self.parts_of(page, parts);
        }
    }

    pub(super) fn parts_of(&mut self, page: &mut Markup, parts: &[Part]) {
        parts.iter().for_each(|part| self.part(page, part));
    }

    fn part(&mut self, page: &mut Markup, part: &Part) {
        match part {
            Part::Cautions(template) => self.cautions(page, &template.cautions),
            Part::Table(table) => {
                self.tables += 1;
                tables::table(page, table, self.tables, self.mark());
            }
            Part::MassPlot(plot) => self.mass_plot(page, plot),
            Part::Trials(plots) => self.trials_plot(page, plots),
            Part::Budget(plot) => self.budget_plot(page, plot),
            Part::Worked(worked) => worked_lines(page, worked),
            Part::Mixture(worked) => mixture(page, worked),
            Part::WholeNumbers(all) => whole_numbers(page, all),
            Part::Sought(all) => all.iter().for_each(|one| sought(page, one)),
            Part::Reactions(equations) => reactions(page, equations),
            Part::AsWritten(name, lines) => {
                page.element("p", &[("class", "lead")], |page| {
                    page.text_in("b", &[], name);
                    page.text(", as written; this version does not compute it");
                });
                let lines: Vec<&str> = lines.iter().map(|line| line.value.as_str()).collect();
                page.element("pre", &[], |page| page.text_in("code", &[], &lines.join("\n")));
            }
            Part::UncertaintyHeading => {
                let tag = self.heading_tag(1);
                page.text_in(tag, &[], uncertainty::HEADING);
            }
            Part::Method(sentences) => page.element("p", &[("class", "small")], |page| {
                for (index, sentence) in sentences.iter().enumerate() {
                    page.text(if index > 0 { " " } else { "" });
                    words(page, &with_symbols(sentence));
                }
            }),
            Part::Checks(checks) => self.checks(page, checks),
            Part::Record(entries) => section(page, "Record", |page| entry_list(page, entries)),
        }
        page.line();
    }

    fn checks(&mut self, page: &mut Markup, checks: &Checks) {
        section(page, "Checks", |page| {
            let (ticked, all) = (checks.ticked(), checks.entries.len());
            page.text_in("p", &[], &format!("{ticked} of {all} ticked."));
            if !checks.entries.is_empty() {
                page.element("ul", &[("class", "checks tight")], |page| {
                    for check in &checks.entries {
                        page.element("li", &[], |page| {
                            tick(page, check.ticked);
                            page.text(&check.text);
                        });
                    }
                });
            }
            if !checks.missing.is_empty() {
                page.text_in("p", &[], "Required by the template, and not among the checks:");
                page.element("ul", &[], |page| {
                    checks.missing.iter().for_each(|text| page.text_in("li", &[], text));
                });
            }
        });
    }

    // --------------------------------------------------------------------------------------------
    // Cautions
    // --------------------------------------------------------------------------------------------

    fn cautions(&mut self, page: &mut Markup, cautions: &Cautions) {
        self.cautions += 1;
        let id =
            if self.cautions == 1 { "cautions".to_owned() } else { format!("cautions-{}", self.cautions) };
        let tag = self.heading_below();
        caution_box(page, cautions, tag, &id);
    }
}

/// The cautions in their frame, with a heading of this tag and id.
pub(super) fn caution_box(page: &mut Markup, cautions: &Cautions, tag: &str, id: &str) {
    page.element("section", &[("class", "cautions"), ("aria-labelledby", id)], |page| {
        page.text_in(tag, &[("id", id)], "Cautions");
        cautions.hazards.iter().for_each(|one| hazard(page, one));
        cautions.signs.iter().for_each(|one| sign(page, one));
        caution_lines(page, cautions);
        page.element("p", &[], |page| page.text_in("strong", &[], CLOSING));
        let sources = sources(cautions);
        if !sources.is_empty() {
            page.text_in("p", &[("class", "sources")], &format!("Sources: {}.", sources.join("; ")));
        }
    });
}

/// A drawing of a hazard or warning, with the words for those who do not see it.
fn drawing(page: &mut Markup, code: &str, said: &str) {
    let Some(drawing) = sign_drawing(code) else { return };
    page.element("span", &[("class", "sign"), ("role", "img"), ("aria-label", said)], |page| {
        page.own(drawing)
    });
}

fn hazard(page: &mut Markup, hazard: &Hazard) {
    page.element("div", &[("class", "caution")], |page| {
        page.element("div", &[("class", "signs")], |page| {
            for pictogram in &hazard.pictograms {
                drawing(page, pictogram.code, &format!("hazard pictogram: {}", pictogram.name));
            }
        });
        page.element("p", &[], |page| {
            if let Some(signal) = hazard.signal {
                page.text_in("strong", &[], &format!("{}: ", signal.word()));
            }
            page.text_in("strong", &[], &hazard.substance);
            page.text(&format!(" ({}).", hazard.concentration));
            for text in hazard.statements.iter().chain(&hazard.precautions) {
                page.text(&format!(" {text}."));
            }
        });
    });
}

fn sign(page: &mut Markup, sign: &Sign) {
    page.element("div", &[("class", "caution")], |page| {
        page.element("div", &[("class", "signs")], |page| {
            drawing(page, sign.kind.code, &format!("warning sign: {}", sign.kind.name));
        });
        page.element("p", &[], |page| {
            page.text_in("strong", &[], &format!("{}.", sign.kind.label));
            page.text(&format!(" {}", sign.text));
        });
    });
}

fn caution_lines(page: &mut Markup, cautions: &Cautions) {
    let groups = [
        ("Gas", &cautions.gases),
        ("", &cautions.general),
        ("Spill", &cautions.spills),
        ("Waste", &cautions.disposal),
    ];
    if groups.iter().all(|(_, lines)| lines.is_empty()) {
        return;
    }
    let line = |page: &mut Markup, head: &str, line: &model::Line| {
        page.element("li", &[], |page| {
            if !head.is_empty() {
                page.text_in("strong", &[], &format!("{head}."));
                page.text(" ");
            }
            if !line.about.is_empty() {
                page.text(&format!("{}: ", capital(&line.about)));
            }
            page.text(&line.text);
        });
    };
    page.element("ul", &[], |page| {
        for (head, lines) in groups {
            lines.iter().for_each(|one| line(page, head, one));
        }
    });
}

// ------------------------------------------------------------------------------------------------
// The worked calculation
// ------------------------------------------------------------------------------------------------

fn worked_lines(page: &mut Markup, worked: &Worked) {
    page.element("p", &[("class", "lead")], |page| {
        page.element("b", &[], |page| {
            page.text(if worked.theory { "Theory, worked out" } else { "Worked calculation" });
            if let Some(trial) = &worked.trial {
                page.text(&format!(" for trial {trial}"));
            }
        });
        if !worked.theory {
            let guard = if worked.explain { "; a small last digit is a guard digit." } else { "." };
            page.text(&format!("\u{2002}Calculated unrounded{guard}"));
        }
    });
    worked.lines.iter().for_each(|line| worked_line(page, line));
}

/// The equations of a mixture, then the masses that solve them.
fn mixture(page: &mut Markup, worked: &Worked) {
    page.element("p", &[("class", "lead")], |page| {
        page.text_in("b", &[], "Simultaneous equations");
        if let Some(trial) = &worked.trial {
            page.text_in("b", &[], &format!(", solved for trial {trial}"));
        }
    });
    worked.lines.iter().for_each(|line| worked_line(page, line));
}

/// A line: its pieces are formulas of their own, so that a narrow page may break between them.
fn worked_line(page: &mut Markup, line: &Line) {
    let attributes = [("class", "worked"), ("role", "group"), ("aria-label", line.alt.as_str())];
    page.element("div", &attributes, |page| {
        page.element("div", &[("class", "symbol")], |page| math::piece(page, false, &line.symbol));
        page.element("div", &[("class", "rows")], |page| {
            for row in &line.rows {
                page.element("div", &[("class", "row")], |page| pieces(page, row));
            }
        });
        if line.remark.is_some() || line.missing.is_some() {
            page.element("p", &[("class", "remark")], |page| {
                if let Some(remark) = &line.remark {
                    page.text_in("em", &[], remark);
                }
                if line.remark.is_some() && line.missing.is_some() {
                    page.open("br", &[]);
                }
                if let Some(missing) = &line.missing {
                    page.text(&format!("missing: {missing}"));
                }
            });
        }
    });
    page.line();
}

fn pieces(page: &mut Markup, row: &[Math]) {
    for (index, piece) in row.iter().enumerate() {
        page.text(if index > 0 { " " } else { "" });
        math::piece(page, index == 0, piece);
    }
}

fn whole_numbers(page: &mut Markup, all: &[Whole]) {
    page.element("div", &[("class", "small")], |page| {
        page.element("p", &[("class", "lead")], |page| page.text_in("b", &[], "Whole numbers"));
        for whole in all {
            page.element("p", &[], |page| {
                words(page, &whole.symbol);
                page.text(&format!(" = {}: {}.", whole.found, whole.verdict));
            });
        }
    });
}

fn sought(page: &mut Markup, sought: &Sought) {
    page.element("p", &[("class", "sought")], |page| {
        words(page, &sought.symbol);
        if let Some(formula) = &sought.formula {
            page.text(" = ");
            words(page, formula);
        }
        page.open("br", &[]);
        match &sought.from {
            SoughtFrom::Ratios(ratios) => {
                for (index, ratio) in ratios.iter().enumerate() {
                    page.text(if index == 0 { "ratio " } else { " : " });
                    words(page, ratio);
                }
            }
            SoughtFrom::Equation(equation) => page.text(equation),
        }
        page.open("br", &[]);
        page.text(&format!("{}.", sought.verdict));
    });
}

fn reactions(page: &mut Markup, equations: &[Equation]) {
    page.element("dl", &[("class", "reactions")], |page| {
        for (index, equation) in equations.iter().enumerate() {
            page.element("div", &[], |page| {
                let name = match &equation.name {
                    Some(name) => name.clone(),
                    None => format!("equation {}", index + 1),
                };
                let class = if equation.name.is_some() { "" } else { "said" };
                page.text_in("dt", &[("class", class)], &name);
                page.element("dd", &[], |page| {
                    words(page, &equation.equation);
                    if !equation.balanced {
                        page.text_in("small", &[], "\u{2002}not balanced");
                    }
                });
            });
        }
    });
}

// ------------------------------------------------------------------------------------------------
// The end of the report
// ------------------------------------------------------------------------------------------------

/// A section with a heading of its own, at the end of the report.
pub(super) fn section(page: &mut Markup, heading: &str, fill: impl FnOnce(&mut Markup)) {
    let id = format!("part-{}", heading.to_lowercase().replace(' ', "-"));
    page.element("section", &[("class", "part"), ("aria-labelledby", &id)], |page| {
        page.text_in("h2", &[("id", &id)], heading);
        fill(page);
    });
    page.line();
}

/// Headings on the left, their lines on the right.
pub(super) fn entry_list(page: &mut Markup, entries: &[Entry]) {
    page.element("dl", &[("class", "entries")], |page| {
        for entry in entries {
            page.element("div", &[], |page| {
                page.text_in("dt", &[], &entry.heading);
                for (index, line) in entry.lines.iter().enumerate() {
                    page.element("dd", &[], |page| {
                        page.text(line);
                        if let Some(code) = entry.codes.get(index).filter(|code| !code.is_empty()) {
                            page.text_in("code", &[("class", "hash")], code);
                        }
                    });
                }
            });
        }
    });
}

/// The findings, each with its hints.
pub(super) fn findings(page: &mut Markup, findings: &[Listed]) {
    if findings.is_empty() {
        return;
    }
    section(page, "Findings", |page| {
        tables::scrolled(page, "part-findings", |page| {
            page.element("thead", &[], |page| {
                page.element("tr", &[], |page| {
                    for head in ["kind", "place", "what was found"] {
                        page.text_in("th", &[("scope", "col"), ("class", "label")], head);
                    }
                });
            });
            page.element("tbody", &[], |page| findings.iter().for_each(|one| finding(page, one)));
        });
    });
}

fn finding(page: &mut Markup, finding: &Listed) {
    page.element("tr", &[("class", "finding")], |page| {
        page.element("td", &[], |page| match finding.severity {
            Severity::Note => page.text(finding.severity.word()),
            severity => page.text_in("strong", &[], severity.word()),
        });
        page.text_in("td", &[], finding.place.as_deref().unwrap_or("–"));
        page.element("td", &[], |page| {
            page.text(&finding.message);
            for hint in &finding.hints {
                page.open("br", &[]);
                page.text_in("span", &[("class", "hint")], &format!("help: {hint}"));
            }
        });
    });
}
