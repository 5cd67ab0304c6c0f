//! The cautions of a template, as the layout's `cautions` takes them.

use super::code::{self, Fields};
use super::layouts::{self, Obligation, sign_path};
use super::words::Ink;
use crate::notebook::settings::Date;
use crate::template::model::{Cautions, Hazard, Line, Provenance, Sign};
use crate::template::{CLOSING, Template, capital};

/// The code that prints the cautions; empty where there is none.
pub(super) fn cautions(template: Option<&Template>, ink: &Ink) -> String {
    let Some(cautions) = template.map(|template| &template.cautions).filter(|cautions| !cautions.is_empty())
    else {
        return String::new();
    };
    let lines = |lines: &[Line]| code::array(lines.iter().map(|one| line(one, ink)));
    let data = Fields::new()
        .code("hazards", code::array(cautions.hazards.iter().map(|one| hazard(one, ink))))
        .code("signs", code::array(cautions.signs.iter().map(|one| sign(one, ink))))
        .code("gases", lines(&cautions.gases))
        .code("general", lines(&cautions.general))
        .code("spills", lines(&cautions.spills))
        .code("disposal", lines(&cautions.disposal))
        .code("sources", code::array(sources(cautions).iter().map(|source| ink.plain(source, None))))
        .code("closing", ink.text(CLOSING, None))
        .tall_dictionary();
    format!("layout.cautions({data})\n{}", layouts::told(template, Obligation::Cautions))
}

fn texts(texts: &[String], ink: &Ink) -> String {
    code::array(texts.iter().map(|text| ink.plain(text, None)))
}

fn hazard(hazard: &Hazard, ink: &Ink) -> String {
    let pictogram = |pictogram: &crate::template::model::Pictogram| {
        picture(Fields::new().text("code", pictogram.code).text("name", pictogram.name), pictogram.code)
    };
    Fields::new()
        .code("substance", ink.plain(&hazard.substance, None))
        .code("concentration", ink.plain(&hazard.concentration, None))
        .optional_text("signal", hazard.signal.map(|signal| signal.word()))
        .code("pictograms", code::array(hazard.pictograms.iter().map(pictogram)))
        .code("statements", texts(&hazard.statements, ink))
        .code("precautions", texts(&hazard.precautions, ink))
        .dictionary()
}

fn sign(sign: &Sign, ink: &Ink) -> String {
    let fields = Fields::new()
        .text("code", sign.kind.code)
        .text("name", sign.kind.name)
        .text("label", sign.kind.label)
        .code("text", ink.plain(&sign.text, None));
    picture(fields, sign.kind.code)
}

/// With the path of its picture.
fn picture(fields: Fields, code: &str) -> String {
    fields.optional_text("picture", sign_path(code)).dictionary()
}

fn line(line: &Line, ink: &Ink) -> String {
    let about = (!line.about.is_empty()).then(|| ink.plain(&capital(&line.about), None));
    Fields::new().optional("about", about).code("text", ink.plain(&line.text, None)).dictionary()
}

/// Every source, each once, in the order of the lines that name it.
fn sources(cautions: &Cautions) -> Vec<String> {
    let lines = [&cautions.gases, &cautions.general, &cautions.spills, &cautions.disposal];
    let hazards = cautions.hazards.iter().map(|hazard| {
        format!("{}, {}: {}", hazard.substance, hazard.concentration, with_date(&hazard.provenance))
    });
    let signs = cautions.signs.iter().map(|sign| with_date(&sign.provenance));
    let others = lines.into_iter().flatten().map(|line| with_date(&line.provenance));
    let mut found: Vec<String> = Vec::new();
    for source in hazards.chain(signs).chain(others) {
        if !found.contains(&source) {
            found.push(source);
        }
    }
    found
}

fn with_date(provenance: &Provenance) -> String {
    let date = |date: &Date| format!(" ({date})");
    format!("{}{}", provenance.source, provenance.date.as_ref().map_or(String::new(), date))
}
