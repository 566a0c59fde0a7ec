//! Rented machines and their tariffs.

use anyhow::Result;
use rusqlite::named_params;

use super::columns::{Micro, NamedRow};
use super::names::Names;
use super::rows::{Columns, Rows};
use super::seed;
use super::{Ledger, Writing};
use crate::trade::MachineId;
use crate::trade::rental::Tariff;

/// A rented machine and its tariff.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BookMachine {
    /// Identity.
    pub id: MachineId,
    /// Its name.
    pub name: String,
    /// A short phrase.
    pub description: String,
    /// What the yard charges.
    pub tariff: Tariff,
    /// Where the prices come from.
    pub source: String,
    /// Whether it is in use.
    pub active: bool,
}

impl Ledger {
    /// Returns every machine, in the order of the book.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn machines(&self) -> Result<Vec<BookMachine>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, name, description, half_day_minor, day_minor, weekend_minor, week_minor, four_weeks_minor,
                    waiver_micro, cleaning_minor, source, active
             FROM machine ORDER BY id",
        )?;
        let machines = statement.query_map([], |row| {
            Ok(BookMachine {
                id: row.get("id")?,
                name: row.get("name")?,
                description: row.get("description")?,
                tariff: tariff_from_row(&NamedRow::of(row))?,
                source: row.get("source")?,
                active: row.get("active")?,
            })
        })?;
        Ok(machines.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the machine of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn machine(&self, name: &str) -> Result<BookMachine> {
        self.machines_by_name()?.find(name).cloned()
    }

    pub(super) fn machines_by_name(&self) -> Result<Names<BookMachine>> {
        let machines = self.machines()?.into_iter();
        let named = machines.map(|machine| (machine.name.clone(), machine));
        Ok(Names::new("machine", named).only_whole(|machine| !machine.active))
    }
}

/// Reads the tariff that a row carries: a machine's, or the copy of a quote or of a machine that went out.
pub(super) fn tariff_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Tariff> {
    Ok(Tariff {
        half_day: row.get("half_day_minor")?,
        day: row.get("day_minor")?,
        weekend: row.get("weekend_minor")?,
        week: row.get("week_minor")?,
        four_weeks: row.get("four_weeks_minor")?,
        waiver_percent: row.micro("waiver_micro")?,
        cleaning: row.get("cleaning_minor")?,
    })
}

impl Writing<'_> {
    pub(super) fn seed_machines(&self) -> Result<()> {
        let columns = Columns {
            kind: "machines",
            required: &[
                "machine",
                "description",
                "half_day",
                "day",
                "weekend",
                "week",
                "four_weeks",
                "waiver_percent",
                "cleaning",
                "source",
            ],
            optional: &[],
        };
        let rows = Rows::read(
            "machines.csv",
            seed::machines(self.units())?.as_bytes(),
            columns,
        )?;
        for row in rows.iter() {
            let price = |column| {
                Ok::<_, anyhow::Error>(
                    row.number(column)?
                        .map(|price| self.currency().amount(price)),
                )
            };
            let tariff = Tariff {
                half_day: price("half_day")?,
                day: price("day")?.unwrap_or_default(),
                weekend: price("weekend")?,
                week: price("week")?,
                four_weeks: price("four_weeks")?,
                waiver_percent: row.number("waiver_percent")?.unwrap_or_default(),
                cleaning: price("cleaning")?.unwrap_or_default(),
            };
            self.insert_machine(
                row.text("machine"),
                row.text("description"),
                &tariff,
                row.text("source"),
            )?;
        }
        Ok(())
    }

    /// Adds a machine.
    ///
    /// # Errors
    /// Refuses a name that is empty or taken.
    pub fn add_machine(
        &self,
        name: &str,
        description: &str,
        tariff: &Tariff,
        source: &str,
    ) -> Result<()> {
        self.insert_machine(name, description, tariff, source)?;
        self.log(&format!("Added machine {}.", name.trim()))
    }

    fn insert_machine(
        &self,
        name: &str,
        description: &str,
        tariff: &Tariff,
        source: &str,
    ) -> Result<()> {
        let name = self.new_name("machine", name)?;
        let Tariff {
            half_day,
            day,
            weekend,
            week,
            four_weeks,
            waiver_percent,
            cleaning,
        } = tariff;
        self.connection.execute(
            "INSERT INTO machine (id, name, description, half_day_minor, day_minor, weekend_minor, week_minor,
                                  four_weeks_minor, waiver_micro, cleaning_minor, source, recorded_at)
             VALUES (:id, :name, :description, :half_day, :day, :weekend, :week, :four_weeks, :waiver, :cleaning, :source, :now)",
            named_params! {
                ":id": self.new_id("machine")?, ":name": name, ":description": description,
                ":half_day": half_day, ":day": day, ":weekend": weekend, ":week": week, ":four_weeks": four_weeks,
                ":waiver": Micro(*waiver_percent), ":cleaning": cleaning, ":source": source, ":now": self.now(),
            },
        )?;
        Ok(())
    }

    /// Changes a machine's description and tariff.
    ///
    /// # Errors
    /// Fails if the file can't be written.
    pub fn edit_machine(&self, machine: &BookMachine) -> Result<()> {
        let Tariff {
            half_day,
            day,
            weekend,
            week,
            four_weeks,
            waiver_percent,
            cleaning,
        } = &machine.tariff;
        self.connection.execute(
            "UPDATE machine SET description = :description, half_day_minor = :half_day, day_minor = :day,
                    weekend_minor = :weekend, week_minor = :week, four_weeks_minor = :four_weeks, waiver_micro = :waiver,
                    cleaning_minor = :cleaning, source = :source
             WHERE id = :id",
            named_params! {
                ":description": machine.description, ":half_day": half_day, ":day": day, ":weekend": weekend,
                ":week": week, ":four_weeks": four_weeks, ":waiver": Micro(*waiver_percent), ":cleaning": cleaning,
                ":source": machine.source, ":id": machine.id,
            },
        )?;
        self.log(&format!("Changed machine {}.", machine.name))
    }
}
