//! What each question asks for, in words, and where that comes from.

use super::{
    BOARD_POINTS, COLDEST, CROWNING_POINTS, HOTTEST, Judge, Limits, MOST_HUMID, PLANK_POINTS,
    Question, READY_POINTS, STRIP_POINTS, WETTEST_SUBFLOOR,
};
use crate::measure::Length;
use crate::notation::Country;
use crate::trade::reading::Temperature;

/// What is referred to where no law is known: the figures beside it may be another country's.
const LOCAL_RULES: &str = "your local rules may ask for less";

impl Judge<'_> {
    /// Returns what a question asks for, and where that comes from.
    pub(super) fn threshold(&self, question: Question) -> (String, String) {
        let Limits {
            sanding_cut,
            wood_kept,
            top_layer,
            plank_width,
            temperature,
            humidity,
            lead_year,
            asbestos_year,
            country,
            lead_firm: _,
        } = self.limits;
        let thin = |length: Length| length.fine_text(self.units);
        let warm = |degrees: Temperature| degrees.text(self.units);
        let in_us = *country == Some(Country::US);
        match question {
            Question::Asbestos => {
                let presumed = match asbestos_year.at {
                    Some(year) => format!("up to {year}"),
                    None => "in any building".to_owned(),
                };
                let rule = if in_us {
                    "OSHA letter, 18 May 2005"
                } else {
                    LOCAL_RULES
                };
                (
                    format!(
                        "no tile, sheet, backing or mastic, or a negative result for each; presumed {presumed} (setting asbestos-year)"
                    ),
                    format!("{}; {rule}", asbestos_year.source),
                )
            }
            Question::Lead => {
                let new = match lead_year.at {
                    Some(year) => format!("built from {year} on (setting lead-year), or "),
                    None => String::new(),
                };
                let rule = if in_us { "40 CFR 745.83" } else { LOCAL_RULES };
                (
                    format!("{new}a negative result for each coat: below 1.0 mg/cm² or 0.5 %"),
                    format!("{}; {rule}", lead_year.source),
                )
            }
            Question::Wood => (
                format!(
                    "{} kept (setting wood-kept) after {} is cut (setting sanding-cut); of a top layer {}, a trial from {} (setting top-layer)",
                    thin(wood_kept.at),
                    thin(sanding_cut.at),
                    thin(top_layer.at.1),
                    thin(top_layer.at.0)
                ),
                format!(
                    "{}; {}; {}",
                    wood_kept.source, sanding_cut.source, top_layer.source
                ),
            ),
            Question::Boards => (
                format!("within {BOARD_POINTS} points of what the air asks for"),
                "a meter maker quoting E. Wengert; Wood Handbook, eq. (4-5)".to_owned(),
            ),
            Question::Subfloor => (
                format!(
                    "within {STRIP_POINTS} points under {} (setting plank-width), else {PLANK_POINTS}; the subfloor at most {WETTEST_SUBFLOOR} %",
                    thin(plank_width.at)
                ),
                format!(
                    "{}; woodfloorbusiness.com 15125290; builderonline.com, cupped flooring",
                    plank_width.source
                ),
            ),
            Question::Cupping => (
                format!(
                    "face and bottom within {READY_POINTS} point; from {CROWNING_POINTS} on a cupped board will crown"
                ),
                "from memory, doubtful; hardwoodfloorsmag.com 2025-10-27".to_owned(),
            ),
            Question::Air => (
                format!(
                    "{} to {} (setting coating-temperature), {} to {} % (setting coating-humidity); no coat below {}, above {} or above {MOST_HUMID} %",
                    warm(temperature.at.0),
                    warm(temperature.at.1),
                    humidity.at.0,
                    humidity.at.1,
                    warm(COLDEST),
                    warm(HOTTEST)
                ),
                sources(&[
                    &temperature.source,
                    &humidity.source,
                    "a finish maker, 2012",
                ]),
            ),
            Question::Nails => (
                "none at or above the surface".to_owned(),
                "hardwoodamerica.com id=62".to_owned(),
            ),
        }
    }
}

/// Names sources, each once.
fn sources(all: &[&str]) -> String {
    let mut once: Vec<&str> = all.to_vec();
    once.dedup();
    once.join("; ")
}
