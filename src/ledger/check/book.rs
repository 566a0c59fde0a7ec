//! Can the settings and the book be read, and is nothing missing that a quote would need?

use anyhow::Result;

use super::super::settings::Key;
use super::{Ledger, Problems};
use crate::trade::{FloorCondition, Species};

impl Ledger {
    /// Every setting is one that there is, has its value, and could be set to that value now.
    pub(super) fn check_settings(&self, problems: &mut Problems) -> Result<()> {
        let kept = self.kept_settings()?;
        for name in kept.keys() {
            if !Key::ALL.iter().any(|key| key.as_str() == name) {
                problems.push(format!("setting {name}: there is no such setting"));
            }
        }
        for key in Key::ALL.iter().filter(|key| key.is_of(self.units())) {
            let Some((value, _)) = kept.get(key.as_str()) else {
                problems.push(format!("setting {key}: it has no value"));
                continue;
            };
            if let Err(error) = self.fitting(*key, value) {
                problems.push(format!(
                    "setting {key}: `{value}` can't be read ({error:#})"
                ));
            }
        }
        Ok(())
    }

    pub(super) fn check_book(&self, problems: &mut Problems) -> Result<()> {
        for (noun, whole, part) in [
            ("item", "item", "item_pack"),
            ("sequence", "sequence", "sequence_step"),
            ("schedule", "schedule", "schedule_step"),
            ("tax area", "tax_area", "tax_rate"),
        ] {
            let missing = match part {
                "item_pack" => "packs",
                "tax_rate" => "rates",
                _ => "steps",
            };
            self.each(
                problems,
                &format!(
                    "SELECT name FROM {whole} WHERE NOT EXISTS (SELECT 1 FROM {part} WHERE {whole}_id = {whole}.id)"
                ),
                |row| Ok(format!("{noun} `{}`: its {missing} are gone", row.get::<_, String>(0)?)),
            )?;
        }
        self.check_book_rates(problems)?;
        // Whatever else the book says can be read.
        for (name, read) in [
            ("items", self.items().err()),
            ("machines", self.machines().err()),
            ("sequences", self.sequences().err()),
            ("schedules", self.schedules().err()),
            ("tax areas", self.tax_areas().err()),
        ] {
            problems.extend(read.map(|error| format!("{name}: can't be read ({error:#})")));
        }
        Ok(())
    }

    /// What was quoted or learned has a rate in the book; and each rate is for a floor that there is.
    fn check_book_rates(&self, problems: &mut Problems) -> Result<()> {
        self.each(
            problems,
            "SELECT name, used.kind FROM operation
             JOIN (SELECT operation_id, kind FROM quote_rate
                   UNION
                   SELECT operation_id, kind FROM observation_part JOIN observation ON observation.id = observation_id)
                  AS used ON used.operation_id = operation.id
             WHERE NOT EXISTS (SELECT 1 FROM book_rate AS rate
                               WHERE rate.operation_id = operation.id AND rate.kind = used.kind)",
            |row| {
                let (name, kind): (String, String) = (row.get(0)?, row.get(1)?);
                Ok(format!("operation `{name}`: its rate of {kind} is gone"))
            },
        )?;
        self.each_that(
            problems,
            "SELECT name, floor_condition, species FROM book_rate JOIN operation ON operation.id = operation_id",
            |row| {
                let name: String = row.get(0)?;
                let floor = row
                    .get::<_, Option<FloorCondition>>(1)
                    .map(drop)
                    .and_then(|()| row.get::<_, Option<Species>>(2).map(drop));
                Ok(floor
                    .err()
                    .map(|error| format!("book rate of {name}: its floor can't be read ({error})")))
            },
        )
    }
}
