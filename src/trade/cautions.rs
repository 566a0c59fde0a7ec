//! Which caution belongs where.
//!
//! A caution is one line with its source. It says what can hurt and defers to the product's label, local code and
//! licensed practice; it never says that something is safe.

use crate::trade::{FloorCondition, closed_set};

closed_set! {
    /// What can hurt or go wrong while an operation is done.
    Hazard, "hazard" {
        /// Fine wood dust: it burns, and it harms lungs.
        Dust = "dust",
        /// Rags and pads wet with a drying oil: they heat themselves.
        OilyRags = "oily-rags",
        /// Solvent vapour: it ignites at a pilot light.
        Solvent = "solvent",
        /// Loud machines.
        Noise = "noise",
        /// Bleaching acid.
        Acid = "acid",
        /// Fastening or drilling where cables and pipes may run.
        Cables = "cables",
        /// Filler that isn't hard yet: it tears out under the machine.
        Filler = "filler",
        /// Glue that hasn't cured yet.
        Glue = "glue",
    }
}

/// One line of warning, with where it comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// What to mind.
    pub text: String,
    /// The rule or publication behind it.
    pub source: String,
}

/// The years that the rules draw a line at.
#[derive(Clone, Copy, Debug)]
pub struct Years {
    /// Homes built before it are asked about lead.
    pub lead: i32,
    /// Flooring adhesive in buildings up to it is presumed to hold asbestos.
    pub asbestos: i32,
}

/// Closes every list: no line of this program outranks these.
const DEFER: (&str, &str) = (
    "Follow the product's label and data sheet, local code, and a licensed trade where one is called for.",
    "common practice, no source",
);

/// Returns the cautions for a building of that year (`None`: not known) with those floors and operations.
pub fn cautions(
    year_built: Option<i32>,
    years: Years,
    conditions: &[FloorCondition],
    hazards: &[Hazard],
) -> Vec<Caution> {
    let mut lines = Vec::new();
    if year_built.is_none_or(|year| year < years.lead) {
        let age = year_built.map_or("year not known".to_owned(), |year| format!("built {year}"));
        lines.push((
            format!(
                "Lead: {age}; paint and old varnish may hold lead. Test, or keep to the rule's work practices, before disturbing more than 6 sq ft of painted surface a room."
            ),
            "40 CFR 745 subpart E (pre-1978 housing)",
        ));
    }
    if conditions.contains(&FloorCondition::Glue)
        && year_built.is_none_or(|year| year <= years.asbestos)
    {
        lines.push((
            "Asbestos: presume it in old flooring adhesive unless tested; it must not be sanded."
                .to_owned(),
            "29 CFR 1926.1101(g)(8)(i)",
        ));
    }
    for hazard in Hazard::ALL.iter().filter(|hazard| hazards.contains(hazard)) {
        let (text, source) = for_hazard(*hazard);
        lines.push((text.to_owned(), source));
    }
    lines.push((DEFER.0.to_owned(), DEFER.1));
    lines
        .into_iter()
        .map(|(text, source)| Caution {
            text,
            source: source.to_owned(),
        })
        .collect()
}

const fn for_hazard(hazard: Hazard) -> (&'static str, &'static str) {
    match hazard {
        Hazard::Dust => (
            "Dust: empty bags outdoors into a metal can and never leave dust in a machine; it ignites near 400 °F. Wear a fitted respirator.",
            "wood-floor association magazine, fire prevention, 2018; NIOSH HETA 2000-0308-2981",
        ),
        Hazard::OilyRags => (
            "Rags and pads with oil finish heat themselves: lay them flat outdoors or keep them in a closed metal can of water.",
            "29 CFR 1926.252(e) (from memory); city fire notice on floor refinishing",
        ),
        Hazard::Solvent => (
            "Vapour: put out pilot lights, unplug igniters and ventilate at floor level before opening solvent finish.",
            "Town of Hull (MA) fire safety alert; wood-floor association magazine, 2019",
        ),
        Hazard::Noise => (
            "Noise: most floor sanders run at 90 dBA or more; wear hearing protection.",
            "29 CFR 1910.95 (from memory); contractor note on hearing",
        ),
        Hazard::Acid => (
            "Oxalic acid: add acid to water, never the reverse; gloves and eye protection; rinse before sanding.",
            "Chicago Tribune, 2001-07-20 and 1988-02-19",
        ),
        Hazard::Cables => (
            "Cables and pipes may run below: no deep fasteners near walls, thresholds or radiant tubing without checking.",
            "from memory",
        ),
        Hazard::Filler => (
            "Filler: overfill by 10 to 15 %, in layers of 1/4 in at most, and sand it when it is hard: after 1 h in small holes, 2 to 4 h over a floor, 6 h in large ones.",
            "woodworkingadvisor.com",
        ),
        Hazard::Glue => (
            "Glued plugs: leave them clamped or alone for 30 min; yellow glue cures in 12 to 24 h, and is sanded then.",
            "ehow.com 6297980",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(year: Option<i32>, conditions: &[FloorCondition], hazards: &[Hazard]) -> String {
        // 40 CFR 745.82, .83; 29 CFR 1926.1101.
        let years = Years {
            lead: 1978,
            asbestos: 1980,
        };
        cautions(year, years, conditions, hazards)
            .into_iter()
            .map(|caution| caution.text)
            .collect::<Vec<_>>()
            .join("\n")
    }

    #[test]
    fn old_houses_bring_the_lead_caution() {
        for (year, lead) in [
            (Some(1931), true),
            (Some(1977), true),
            (Some(1978), false),
            (None, true),
        ] {
            assert_eq!(texts(year, &[], &[]).contains("Lead:"), lead, "{year:?}");
        }
    }

    #[test]
    fn glue_in_an_old_building_is_presumed_to_hold_asbestos() {
        assert!(texts(Some(1980), &[FloorCondition::Glue], &[]).contains("Asbestos"));
        assert!(!texts(Some(1981), &[FloorCondition::Glue], &[]).contains("Asbestos"));
        assert!(!texts(Some(1931), &[FloorCondition::Paint], &[]).contains("Asbestos"));
    }

    #[test]
    fn every_hazard_has_its_line_once_and_the_list_defers() {
        let all = texts(Some(2001), &[], Hazard::ALL);
        assert_eq!(all.lines().count(), Hazard::ALL.len() + 1);
        assert!(all.ends_with("where one is called for."));
    }
}
