//! Sanding sequences and coating schedules: how the book's operations are put in order.

use anyhow::Result;
use rusqlite::named_params;

use super::columns::Micro;
use super::names::Names;
use super::rows::{Columns, Rows};
use super::{Ledger, OWN_FIGURE, Writing, refuse};
use crate::trade::OperationId;
use crate::trade::operation::{Drying, Operation, Schedule, ScheduleStep, Sequence};

/// A step of a schedule to be added: an operation and, for a coat, how it dries.
pub type NewStep = (Operation, Option<Drying>);

impl Ledger {
    /// Returns every sanding sequence, in the order of the book.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn sequences(&self) -> Result<Vec<Sequence>> {
        let operations = self.operations_by_id()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT sequence.name, operation_id FROM sequence
             LEFT JOIN sequence_step ON sequence_id = sequence.id ORDER BY sequence.id, position",
        )?;
        let rows = statement.query_map([], |row| {
            Ok((
                row.get::<_, String>("name")?,
                row.get::<_, Option<OperationId>>("operation_id")?,
            ))
        })?;
        let mut sequences: Vec<Sequence> = Vec::new();
        for row in rows {
            let (name, operation) = row?;
            if sequences
                .last()
                .is_none_or(|sequence| sequence.name != name)
            {
                sequences.push(Sequence {
                    name,
                    steps: Vec::new(),
                });
            }
            let step = operation.and_then(|operation| operations.get(&operation));
            if let (Some(sequence), Some(step)) = (sequences.last_mut(), step) {
                sequence.steps.push(step.clone());
            }
        }
        Ok(sequences)
    }

    /// Returns the sanding sequence of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn sequence(&self, name: &str) -> Result<Sequence> {
        let sequences = self.sequences()?.into_iter();
        let named = sequences.map(|sequence| (sequence.name.clone(), sequence));
        Names::new("sequence", named).find(name).cloned()
    }

    /// Returns every coating schedule, in the order of the book.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn schedules(&self) -> Result<Vec<Schedule>> {
        let operations = self.operations_by_id()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT schedule.name, operation_id, recoat_hours_micro, light_use_micro, furniture_days_micro,
                    cure_days_micro FROM schedule
             LEFT JOIN schedule_step ON schedule_id = schedule.id ORDER BY schedule.id, position",
        )?;
        let rows = statement.query_map([], |row| {
            let micro = |column: &str| {
                Ok::<_, rusqlite::Error>(row.get::<_, Option<Micro>>(column)?.map(|micro| micro.0))
            };
            let (light_use_hours, furniture_days, cure_days) = (
                micro("light_use_micro")?,
                micro("furniture_days_micro")?,
                micro("cure_days_micro")?,
            );
            let drying = micro("recoat_hours_micro")?.map(|recoat_hours| Drying {
                recoat_hours,
                light_use_hours,
                furniture_days,
                cure_days,
            });
            Ok((
                row.get::<_, String>("name")?,
                row.get::<_, Option<OperationId>>("operation_id")?,
                drying,
            ))
        })?;
        let mut schedules: Vec<Schedule> = Vec::new();
        for row in rows {
            let (name, operation, drying) = row?;
            if schedules
                .last()
                .is_none_or(|schedule| schedule.name != name)
            {
                schedules.push(Schedule {
                    name,
                    steps: Vec::new(),
                });
            }
            let operation = operation
                .and_then(|operation| operations.get(&operation))
                .cloned();
            if let (Some(schedule), Some(operation)) = (schedules.last_mut(), operation) {
                schedule.steps.push(ScheduleStep { operation, drying });
            }
        }
        Ok(schedules)
    }

    /// Returns the coating schedule of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn schedule(&self, name: &str) -> Result<Schedule> {
        let schedules = self.schedules()?.into_iter();
        let named = schedules.map(|schedule| (schedule.name.clone(), schedule));
        Names::new("schedule", named).find(name).cloned()
    }
}

impl Writing<'_> {
    pub(super) fn seed_sequences(&self) -> Result<()> {
        let columns = Columns {
            kind: "sequences",
            required: &["sequence", "position", "operation", "source"],
            optional: &[],
        };
        let rows = Rows::read(
            "sequences.csv",
            include_bytes!("../../seed-data/sequences.csv"),
            columns,
        )?;
        let operations = self.operation_ids()?;
        let mut sequence = (String::new(), 0);
        for row in rows.iter() {
            if row.text("sequence") != sequence.0 {
                sequence = (
                    row.text("sequence").to_owned(),
                    self.insert_method("sequence", row.text("sequence"))?,
                );
            }
            let operation =
                row.read("operation", |name| operations.get(name).ok_or("is unknown"))?;
            self.insert_sequence_step(
                sequence.1,
                row.read("position", str::parse)?,
                *operation,
                row.text("source"),
            )?;
        }
        Ok(())
    }

    pub(super) fn seed_schedules(&self) -> Result<()> {
        let columns = Columns {
            kind: "schedules",
            required: &[
                "schedule",
                "position",
                "operation",
                "recoat_hours",
                "light_use_hours",
                "furniture_days",
                "cure_days",
                "source",
            ],
            optional: &[],
        };
        let rows = Rows::read(
            "schedules.csv",
            include_bytes!("../../seed-data/schedules.csv"),
            columns,
        )?;
        let operations = self.operation_ids()?;
        let mut schedule = (String::new(), 0);
        for row in rows.iter() {
            if row.text("schedule") != schedule.0 {
                schedule = (
                    row.text("schedule").to_owned(),
                    self.insert_method("schedule", row.text("schedule"))?,
                );
            }
            let operation =
                row.read("operation", |name| operations.get(name).ok_or("is unknown"))?;
            let (light_use_hours, furniture_days, cure_days) = (
                row.number("light_use_hours")?,
                row.number("furniture_days")?,
                row.number("cure_days")?,
            );
            let drying = row.number("recoat_hours")?.map(|recoat_hours| Drying {
                recoat_hours,
                light_use_hours,
                furniture_days,
                cure_days,
            });
            self.insert_schedule_step(
                schedule.1,
                row.read("position", str::parse)?,
                *operation,
                drying,
                row.text("source"),
            )?;
        }
        Ok(())
    }

    /// Adds a sanding sequence.
    ///
    /// # Errors
    /// Refuses a name that is empty or taken, and a sequence without operations.
    pub fn add_sequence(&self, name: &str, steps: &[Operation]) -> Result<()> {
        let id = self.insert_method("sequence", name)?;
        self.fill_sequence(id, steps)?;
        self.log(&format!("Added sequence {}.", name.trim()))
    }

    /// Changes the operations of a sanding sequence.
    ///
    /// # Errors
    /// Refuses a sequence without operations.
    pub fn edit_sequence(&self, name: &str, steps: &[Operation]) -> Result<()> {
        let id = self.emptied(
            "sequence",
            name,
            "DELETE FROM sequence_step WHERE sequence_id = :id",
        )?;
        self.fill_sequence(id, steps)?;
        self.log(&format!("Changed sequence {name}."))
    }

    fn fill_sequence(&self, id: i64, steps: &[Operation]) -> Result<()> {
        if steps.is_empty() {
            refuse!("a sequence needs at least one operation");
        }
        for (position, step) in (1_i64..).zip(steps) {
            self.insert_sequence_step(id, position, step.id, OWN_FIGURE)?;
        }
        Ok(())
    }

    fn insert_sequence_step(
        &self,
        sequence: i64,
        position: i64,
        operation: OperationId,
        source: &str,
    ) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO sequence_step (sequence_id, position, operation_id, source)
                 VALUES (:sequence, :position, :operation, :source)",
            )?
            .execute(named_params! {
                ":sequence": sequence, ":position": position, ":operation": operation, ":source": source,
            })?;
        Ok(())
    }

    /// Adds a coating schedule.
    ///
    /// # Errors
    /// Refuses a name that is empty or taken, and a schedule without a coat.
    pub fn add_schedule(&self, name: &str, steps: &[NewStep]) -> Result<()> {
        let id = self.insert_method("schedule", name)?;
        self.fill_schedule(id, steps)?;
        self.log(&format!("Added schedule {}.", name.trim()))
    }

    /// Changes the steps of a coating schedule.
    ///
    /// # Errors
    /// Refuses a schedule without a coat.
    pub fn edit_schedule(&self, name: &str, steps: &[NewStep]) -> Result<()> {
        let id = self.emptied(
            "schedule",
            name,
            "DELETE FROM schedule_step WHERE schedule_id = :id",
        )?;
        self.fill_schedule(id, steps)?;
        self.log(&format!("Changed schedule {name}."))
    }

    fn fill_schedule(&self, id: i64, steps: &[NewStep]) -> Result<()> {
        if !steps.iter().any(|(_, drying)| drying.is_some()) {
            refuse!("a schedule needs at least one coat, with its hours before the next");
        }
        for (position, (operation, drying)) in (1_i64..).zip(steps) {
            self.insert_schedule_step(id, position, operation.id, *drying, OWN_FIGURE)?;
        }
        Ok(())
    }

    fn insert_schedule_step(
        &self,
        schedule: i64,
        position: i64,
        operation: OperationId,
        drying: Option<Drying>,
        source: &str,
    ) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO schedule_step (schedule_id, position, operation_id, recoat_hours_micro, light_use_micro,
                                            furniture_days_micro, cure_days_micro, source)
                 VALUES (:schedule, :position, :operation, :recoat, :light_use, :furniture, :cure, :source)",
            )?
            .execute(named_params! {
                ":schedule": schedule, ":position": position, ":operation": operation,
                ":recoat": drying.map(|drying| Micro(drying.recoat_hours)),
                ":light_use": drying.and_then(|drying| drying.light_use_hours).map(Micro),
                ":furniture": drying.and_then(|drying| drying.furniture_days).map(Micro),
                ":cure": drying.and_then(|drying| drying.cure_days).map(Micro), ":source": source,
            })?;
        Ok(())
    }

    /// Writes a sequence or a schedule down, without its steps.
    fn insert_method(&self, kind: &'static str, name: &str) -> Result<i64> {
        let name = self.new_name(kind, name)?;
        let id = self.new_id(kind)?;
        self.connection.execute(
            &format!("INSERT INTO {kind} (id, name, recorded_at) VALUES (:id, :name, :now)"),
            named_params! { ":id": id, ":name": name, ":now": self.now() },
        )?;
        Ok(id)
    }

    /// Takes the steps of a sequence or a schedule away, as `delete` does of an `:id`; returns which it is.
    fn emptied(&self, kind: &str, name: &str, delete: &str) -> Result<i64> {
        let id: i64 = self.connection.query_row(
            &format!("SELECT id FROM {kind} WHERE name = :name"),
            named_params! { ":name": name },
            |row| row.get(0),
        )?;
        self.connection
            .execute(delete, named_params! { ":id": id })?;
        Ok(id)
    }
}
