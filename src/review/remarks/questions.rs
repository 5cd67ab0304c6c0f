//! Slips put as questions: they name the place to look at, not the answer, so that the student finds it.

use crate::review::slips::{Explanation, SlipKind};

/// Asked where no explanation stands out.
pub(super) const AGAIN: &str = "Work it out once more from the readings, with its unit beside every number, and \
    compare each step with what you wrote.";

/// The question for a slip; `line` is the notebook's line it points to, where there is one.
pub(super) fn question(slip: &Explanation, line: Option<usize>) -> String {
    match (slip.kind, line) {
        (SlipKind::DigitsSwapped | SlipKind::DigitMisread, Some(line)) => format!(
            "Compare the reading in line {line} with the one you put in, digit by digit. Is each digit the same, and \
             in its place?"
        ),
        (SlipKind::DigitsSwapped | SlipKind::DigitMisread, None) => {
            "Compare what you wrote with what you worked out, digit by digit. Is each digit in its place?"
                .to_string()
        }
        (kind, line) => {
            let asked = of_kind(kind);
            line.filter(|_| is_a_formula(kind))
                .map_or(asked.to_string(), |line| format!("{asked} (Line {line}.)"))
        }
    }
}

/// Whether the place of such a slip is a formula of the notebook: a place to look at, which gives nothing away.
fn is_a_formula(kind: SlipKind) -> bool {
    kind != SlipKind::WrongReading
}

fn of_kind(kind: SlipKind) -> &'static str {
    match kind {
        SlipKind::WrongReading => {
            "Which reading belongs here: of which load, which trial, and after which treatment? Which one did you put in?"
        }
        SlipKind::VesselNotSubtracted => "What stood on the pan, and is all of it part of this mass?",
        SlipKind::RatioUpsideDown => {
            "What stands above the line and what below? Put in the units: do they come to the unit of the result?"
        }
        SlipKind::PowerOfTen => {
            "Which unit did you work in, and which did you write? What number lies between the two (100 for a per \
             cent, 1000 between mg and g)?"
        }
        SlipKind::WrongMolarMass => {
            "Which substance is it whose amount is meant here, and is the molar mass you put in that of this substance?"
        }
        SlipKind::WeightsRounded => {
            "With how many figures did you put in the molar masses? They should have more than the readings, and only \
             the result is rounded."
        }
        SlipKind::Sign => "What is taken from what here, and which sign should the result have?",
        SlipKind::WrongDenominator => "A share of what is meant here? Which mass belongs below the line?",
        SlipKind::WrongQuantity => {
            "Which values does this formula take? Say of each what it is the mass, the amount or the share of."
        }
        SlipKind::DigitsSwapped | SlipKind::DigitMisread => AGAIN,
    }
}
