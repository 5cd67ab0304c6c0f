//! What a template says, as plain data.

use super::folder::Origin;
use crate::notebook::blocks::Block;
use crate::notebook::settings::{Date, Settings};
use crate::quantity::{Quantity, Unit};
use crate::span::Spanned;
use std::collections::BTreeMap;

/// A template that was loaded.
#[derive(Clone, Debug, Default)]
pub struct Template {
    /// Its name in files and records (`hydrate`).
    pub id: String,
    /// Its version, as its author counts.
    pub version: String,
    /// What the experiment is called.
    pub title: String,
    /// Who hands it out.
    pub institution: Option<String>,
    /// The licence of its texts.
    pub licence: Option<String>,
    /// The language of its texts (a tag such as `en`).
    pub language: String,
    /// What changed from version to version, as listed.
    pub changes: Vec<Change>,
    /// Who reviewed it for the institution, and when.
    pub review: Option<Review>,
    /// What a student's own `compute` shows.
    pub reveal: Reveal,
    /// The rules of the calculation it states, in the keys of `experiment`.
    pub rules: Settings,
    /// What a notebook has to hold.
    pub required: Required,
    /// The usual sizes of samples.
    pub samples: Vec<SampleSize>,
    /// Hazards, gases, signs, spills and disposal.
    pub cautions: Cautions,
    /// Questions for the discussion.
    pub questions: Vec<Question>,
    /// Other names of the method's quantities: the method's symbol and what a notebook may call it.
    pub aliases: Vec<Alias>,
    /// The heading under which the report prints the cautions first.
    pub procedure: String,
    /// The method's blocks; places are bytes of [`Template::method_text`].
    pub method: Vec<Block>,
    /// The text of `method.md`.
    pub method_text: String,
    /// The layout, where the template has its own: the text of `report.typ`.
    pub layout: Option<String>,
    /// The shipped layout it names (`layout = "…"`), for a template without its own.
    pub layout_name: Option<String>,
    /// Every file of the folder but those of `marking/`, by path.
    pub files: BTreeMap<String, Vec<u8>>,
    /// The files of `marking/`, by path below it.
    pub marking: BTreeMap<String, Vec<u8>>,
    /// SHA-256 over the paths and hashes of `files`.
    pub sha256: String,
    /// Where it came from.
    pub origin: Origin,
    /// What `local.toml` changed.
    pub overlays: Vec<Overlay>,
    /// What there is to say about it; every finding names its file and place.
    pub findings: Vec<crate::finding::Finding>,
}

/// One entry of the change list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The version it made.
    pub version: String,
    /// When.
    pub date: Option<Date>,
    /// What was changed.
    pub what: String,
}

/// The `[review]` entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Review {
    /// Who reviewed it.
    pub by: String,
    /// When.
    pub on: Date,
}

/// What a student's own `compute` and `report` show. A course's choice, not security: the rules are open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Reveal {
    /// Everything.
    #[default]
    All,
    /// A result is shown once the notebook claims it.
    AfterClaim,
    /// Readings, changes and constant mass; no result.
    ReadingsOnly,
}

impl Reveal {
    /// The word of `template.toml`.
    pub fn word(self) -> &'static str {
        match self {
            Reveal::All => "all",
            Reveal::AfterClaim => "after claim",
            Reveal::ReadingsOnly => "readings only",
        }
    }
}

/// What a notebook has to hold.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Required {
    /// At least so many trials with a reading, blanks left out.
    pub trials: usize,
    /// At least so many decimals of a gram in every reading of a required load.
    pub decimals: Option<usize>,
    /// Whether every weighing of a trial has to be made on one balance.
    pub same_balance: bool,
    /// The loads.
    pub loads: Vec<RequiredLoad>,
    /// Keys of `experiment`.
    pub record: Vec<String>,
    /// Headings, as worded.
    pub headings: Vec<String>,
    /// Checks of task lists, as worded.
    pub checks: Vec<String>,
}

/// A load that has to be weighed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RequiredLoad {
    /// As written in the template.
    pub load: String,
    /// At least so many weighings in each trial.
    pub cycles: usize,
}

/// The usual size of a sample.
#[derive(Clone, Debug, PartialEq)]
pub struct SampleSize {
    /// The mass meant (`m(sample)`), at its place in `template.toml`, `local.toml` counted on from it.
    pub symbol: Spanned<String>,
    /// The least and the most that are usual.
    pub range: (Quantity, Quantity),
    /// The unit both were written in.
    pub unit: Unit,
    /// How the procedure says it (`about 1 g`).
    pub words: String,
}

/// What has to be said before the work.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cautions {
    /// Substances by GHS.
    pub hazards: Vec<Hazard>,
    /// Gases that a step gives off.
    pub gases: Vec<Line>,
    /// Heat, flame and glare.
    pub signs: Vec<Sign>,
    /// General cautions.
    pub general: Vec<Line>,
    /// What to do with a spill.
    pub spills: Vec<Line>,
    /// Where waste goes.
    pub disposal: Vec<Line>,
}

impl Cautions {
    /// Whether there is none at all.
    pub fn is_empty(&self) -> bool {
        *self == Cautions::default()
    }
}

/// Where a line about safety comes from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Provenance {
    /// The source, in words.
    pub source: String,
    /// The date of the source, or the day it was read.
    pub date: Option<Date>,
}

/// One line of a caution.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What it is about (a step, a gas, a substance); empty for a general line.
    pub about: String,
    /// What is said.
    pub text: String,
    /// Where that comes from.
    pub provenance: Provenance,
}

/// A substance by GHS.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hazard {
    /// The substance.
    pub substance: String,
    /// Its concentration or form (`solid`, `3 mol/L`).
    pub concentration: String,
    /// The signal word.
    pub signal: Option<Signal>,
    /// The pictograms.
    pub pictograms: Vec<Pictogram>,
    /// Hazard statements.
    pub statements: Vec<String>,
    /// Precautionary statements.
    pub precautions: Vec<String>,
    /// Where all that comes from.
    pub provenance: Provenance,
}

/// A signal word of GHS.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// `Danger`
    Danger,
    /// `Warning`
    Warning,
}

impl Signal {
    /// The word printed.
    pub fn word(self) -> &'static str {
        match self {
            Signal::Danger => "Danger",
            Signal::Warning => "Warning",
        }
    }
}

/// A pictogram of GHS by its code, with the name of its symbol (UN GHS, Annex 1).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pictogram {
    /// `GHS06`
    pub code: &'static str,
    /// `skull and crossbones`
    pub name: &'static str,
}

/// The pictograms there are.
pub const PICTOGRAMS: [Pictogram; 9] = [
    Pictogram { code: "GHS01", name: "exploding bomb" },
    Pictogram { code: "GHS02", name: "flame" },
    Pictogram { code: "GHS03", name: "flame over circle" },
    Pictogram { code: "GHS04", name: "gas cylinder" },
    Pictogram { code: "GHS05", name: "corrosion" },
    Pictogram { code: "GHS06", name: "skull and crossbones" },
    Pictogram { code: "GHS07", name: "exclamation mark" },
    Pictogram { code: "GHS08", name: "health hazard" },
    Pictogram { code: "GHS09", name: "environment" },
];

/// A warning sign with what it is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sign {
    /// Which sign.
    pub kind: SignKind,
    /// What is said beside it.
    pub text: String,
    /// Where that comes from.
    pub provenance: Provenance,
}

/// A warning sign of ISO 7010 by its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SignKind {
    /// The word of `template.toml`.
    pub word: &'static str,
    /// The number in ISO 7010.
    pub code: &'static str,
    /// What it warns of, by the standard.
    pub name: &'static str,
    /// How it is headed here.
    pub label: &'static str,
}

/// The signs there are (numbers of ISO 7010 from memory).
pub const SIGNS: [SignKind; 3] = [
    SignKind { word: "heat", code: "W017", name: "hot surface", label: "Hot surface" },
    SignKind { word: "flame", code: "W021", name: "flammable material", label: "Flame" },
    SignKind { word: "glare", code: "W027", name: "optical radiation", label: "Glare" },
];

/// A question for the discussion.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// For which error.
    pub when: When,
    /// The result whose error decides (`w(water)`), at its place in `template.toml`; not needed for `always`.
    pub of: Option<Spanned<String>>,
    /// The question.
    pub text: String,
}

/// When a question is asked: by the sign of the percent error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// The result is above the theory.
    High,
    /// The result is below the theory.
    Low,
    /// Whatever the result.
    Always,
}

/// Other names of one quantity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alias {
    /// The method's symbol.
    pub symbol: Spanned<String>,
    /// What a notebook may call it.
    pub others: Vec<Spanned<String>>,
}

/// One thing that `local.toml` changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Overlay {
    /// The key, with those it stands below (`balance.B-04.readability`).
    pub key: String,
    /// What the template says; `None` where it says nothing.
    pub was: Option<String>,
    /// What `local.toml` says.
    pub is: String,
    /// The line of `local.toml`.
    pub line: usize,
}
