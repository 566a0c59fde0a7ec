//! Which caution belongs where.
//!
//! A caution is one line with its source. It says what can hurt and defers to the product's label, local code and
//! licensed practice; it never says that something is safe. A law or an authority is named only where it is that of the
//! firm's country; elsewhere the same hazard stands with "your local rules".

use crate::measure::Units;
use crate::notation::Country;
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

/// What is ruled where the firm works, and in what it measures.
#[derive(Clone, Copy, Debug)]
pub struct Rules {
    /// Whose laws they are; `None`: nobody has said.
    pub country: Option<Country>,
    /// The units of figures.
    pub units: Units,
    /// Homes built before it are asked about lead; `None`: all are.
    pub lead_year: Option<i32>,
    /// Flooring adhesive in buildings up to it is presumed to hold asbestos; `None`: in all.
    pub asbestos_year: Option<i32>,
}

impl Rules {
    /// Tells whether a building is old enough for lead to be asked about; not known is old.
    pub fn asks_about_lead(&self, year_built: Option<i32>) -> bool {
        let new = year_built.zip(self.lead_year);
        new.is_none_or(|(built, from)| built < from)
    }

    /// Tells whether asbestos is presumed in a building's old flooring; not known is old.
    pub fn presumes_asbestos(&self, year_built: Option<i32>) -> bool {
        let new = year_built.zip(self.asbestos_year);
        new.is_none_or(|(built, to)| built <= to)
    }
}

/// Closes every list: no line of this program outranks these.
const DEFER: (&str, &str) = (
    "Follow the product's label and data sheet, local code, and a licensed trade where one is called for.",
    "common practice, no source",
);

/// Returns the cautions for a building of that year (`None`: not known) with those floors and operations.
pub fn cautions(
    year_built: Option<i32>,
    rules: Rules,
    conditions: &[FloorCondition],
    hazards: &[Hazard],
) -> Vec<Caution> {
    let mut lines = Vec::new();
    if rules.asks_about_lead(year_built) {
        let age = year_built.map_or("year not known".to_owned(), |year| format!("built {year}"));
        lines.push(lead(&age, rules));
    }
    if conditions.contains(&FloorCondition::Glue) && rules.presumes_asbestos(year_built) {
        lines.push(asbestos(rules));
    }
    for hazard in Hazard::ALL.iter().filter(|hazard| hazards.contains(hazard)) {
        let (text, source) = for_hazard(*hazard, rules);
        lines.push((text, source));
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

fn lead(age: &str, rules: Rules) -> (String, &'static str) {
    let holds = format!("Lead: {age}; paint and old varnish may hold lead.");
    match rules.country {
        Some(Country::US) => {
            let area = measured(rules.units, "6 sq ft", "0.56 m²");
            (
                format!(
                    "{holds} Test, or keep to the rule's work practices, before disturbing more than {area} of painted surface a room."
                ),
                "40 CFR 745 subpart E (pre-1978 housing)",
            )
        }
        _ => (
            format!("{holds} Test before disturbing it, and keep to your local rules."),
            "a study of lead in old floor varnish, 2005",
        ),
    }
}

fn asbestos(rules: Rules) -> (String, &'static str) {
    let presumed = "Asbestos: presume it in old flooring adhesive unless tested";
    match rules.country {
        Some(Country::US) => (
            format!("{presumed}; it must not be sanded."),
            "29 CFR 1926.1101(g)(8)(i)",
        ),
        Some(Country::GB) => (
            format!("{presumed}; don't sand it, and keep to your local rules."),
            "theflooringgroup.co.uk, advice of the HSE",
        ),
        _ => (
            format!("{presumed}; don't sand it, and keep to your local rules."),
            "common practice, no source",
        ),
    }
}

/// Returns a figure in the units of the firm.
const fn measured(units: Units, us: &'static str, metric: &'static str) -> &'static str {
    match units {
        Units::Us => us,
        Units::Metric => metric,
    }
}

fn for_hazard(hazard: Hazard, rules: Rules) -> (String, &'static str) {
    let in_us = rules.country == Some(Country::US);
    let sourced = |at_home: &'static str, elsewhere: &'static str| match in_us {
        true => at_home,
        false => elsewhere,
    };
    let (text, source) = match hazard {
        Hazard::Dust => {
            let heat = measured(rules.units, "400 °F", "200 °C");
            return (
                format!(
                    "Dust: empty bags outdoors into a metal can and never leave dust in a machine; it ignites near {heat}. Wear a fitted respirator."
                ),
                sourced(
                    "wood-floor association magazine, fire prevention, 2018; NIOSH HETA 2000-0308-2981",
                    "wood-floor association magazine, fire prevention, 2018",
                ),
            );
        }
        Hazard::OilyRags => (
            "Rags and pads with oil finish heat themselves: lay them flat outdoors or keep them in a closed metal can of water.",
            sourced(
                "29 CFR 1926.252(e) (from memory); city fire notice on floor refinishing",
                "fire notice on floor refinishing",
            ),
        ),
        Hazard::Solvent => (
            "Vapour: put out pilot lights, unplug igniters and ventilate at floor level before opening solvent finish.",
            sourced(
                "Town of Hull (MA) fire safety alert; wood-floor association magazine, 2019",
                "wood-floor association magazine, 2019",
            ),
        ),
        Hazard::Noise => (
            "Noise: most floor sanders run at 90 dBA or more; wear hearing protection.",
            sourced(
                "29 CFR 1910.95 (from memory); contractor note on hearing",
                "contractor note on hearing",
            ),
        ),
        Hazard::Acid => (
            "Oxalic acid: add acid to water, never the reverse; gloves and eye protection; rinse before sanding.",
            "Chicago Tribune, 2001-07-20 and 1988-02-19",
        ),
        Hazard::Cables => (
            "Cables and pipes may run below: no deep fasteners near walls, thresholds or radiant tubing without checking.",
            "from memory",
        ),
        Hazard::Filler => {
            let thick = measured(rules.units, "1/4 in", "6 mm");
            return (
                format!(
                    "Filler: overfill by 10 to 15 %, in layers of {thick} at most, and sand it when it is hard: after 1 h in small holes, 2 to 4 h over a floor, 6 h in large ones."
                ),
                "woodworkingadvisor.com",
            );
        }
        Hazard::Glue => (
            "Glued plugs: leave them clamped or alone for 30 min; yellow glue cures in 12 to 24 h, and is sanded then.",
            "ehow.com 6297980",
        ),
    };
    (text.to_owned(), source)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 40 CFR 745.82, .83; 29 CFR 1926.1101.
    const AMERICAN: Rules = Rules {
        country: Some(Country::US),
        units: Units::Us,
        lead_year: Some(1978),
        asbestos_year: Some(1980),
    };

    fn texts(year: Option<i32>, conditions: &[FloorCondition], hazards: &[Hazard]) -> String {
        texts_of(AMERICAN, year, conditions, hazards)
    }

    fn texts_of(
        rules: Rules,
        year: Option<i32>,
        conditions: &[FloorCondition],
        hazards: &[Hazard],
    ) -> String {
        cautions(year, rules, conditions, hazards)
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
    fn a_law_is_named_in_its_country_alone() {
        let glue = [FloorCondition::Glue];
        let laws = ["CFR", "NIOSH", "HSE", "the rule's"];
        let named = |rules: Rules| {
            let all = cautions(Some(1931), rules, &glue, Hazard::ALL);
            let told = all
                .iter()
                .map(|one| format!("{} ({})", one.text, one.source));
            let told = told.collect::<Vec<_>>().join("\n");
            laws.map(|law| told.contains(law))
        };
        let nobody_said = Rules {
            country: None,
            lead_year: None,
            asbestos_year: None,
            ..AMERICAN
        };
        let british = Rules {
            country: Some(Country::GB),
            ..nobody_said
        };
        assert_eq!(named(AMERICAN), [true, true, false, true]);
        assert_eq!(named(british), [false, false, true, false]);
        assert_eq!(named(nobody_said), [false; 4]);
        let new = texts_of(nobody_said, Some(2020), &glue, &[]);
        assert!(
            new.contains("Lead: built 2020") && new.contains("Asbestos"),
            "no year is ruled: {new}"
        );
        assert_eq!(new.matches("your local rules").count(), 2);
    }

    #[test]
    fn figures_are_in_the_units_of_the_firm() {
        let metric = Rules {
            units: Units::Metric,
            ..AMERICAN
        };
        let told = texts_of(metric, None, &[], Hazard::ALL);
        assert!(told.contains("0.56 m²") && told.contains("200 °C") && told.contains("6 mm"));
        assert!(!told.contains("sq ft") && !told.contains("°F") && !told.contains(" in at"));
    }

    #[test]
    fn every_hazard_has_its_line_once_and_the_list_defers() {
        let all = texts(Some(2001), &[], Hazard::ALL);
        assert_eq!(all.lines().count(), Hazard::ALL.len() + 1);
        assert!(all.ends_with("where one is called for."));
    }
}
