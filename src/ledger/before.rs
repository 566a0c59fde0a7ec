//! Jobs from before the ledger: a firm brings years of spreadsheets, and its margins and its rates begin there.
//!
//! Such a job keeps the name that its firm has for it, beside its number. In place of a quote it has one price, and what it
//! was to cost if that is known. It is closed from the start, as of its day, and billed and paid outside: no invoice is
//! made up for it. What is brought in of it later (uses, hours, rentals, money spent) is part of its record if it happened
//! by the day on which it was closed.
//!
//! It teaches by the same rules as other jobs. Where those have the work lines of their quote, it has its record: the
//! operations that its entries name, in the rooms that they name, measured as the rooms were when they were brought in. A
//! coat is laid as often as its item was used there; everything else is done once.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::named_params;

use super::columns::{KeptParts, Micro, NamedRow};
use super::names::{Names, named};
use super::{AgreedBy, Job, Ledger, Room, Writing, read_number, refuse};
use crate::money::{Decimal, Money, quantity};
use crate::trade::evidence::FinishedRoom;
use crate::trade::operation::{Driver, Operation};
use crate::trade::parts::measured;
use crate::trade::quote::{ItemLine, WorkLine};
use crate::trade::rates::FloorClass;
use crate::trade::takeoff::MeasuredRoom;
use crate::trade::{JobId, OperationId, RoomId, SiteId};

/// What is known of a job from before the ledger.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Before {
    /// What its firm calls it.
    pub name: String,
    /// What was agreed, before tax.
    pub price: Money,
    /// What it was to cost; `None`: not known.
    pub cost: Option<Money>,
}

impl Job {
    /// Returns what it is called in files: its own name, or its number.
    pub(super) fn label(&self) -> &str {
        self.before
            .as_ref()
            .map_or(&self.number, |before| &before.name)
    }

    /// Returns what it is called where people read it: `J3`, or `J3 (Mill Lane)` with its own name.
    pub fn title(&self) -> String {
        match &self.before {
            Some(before) => format!("{} ({})", self.number, before.name),
            None => self.number.clone(),
        }
    }
}

pub(super) fn before_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Option<Before>> {
    let name: Option<String> = row.get("own_name")?;
    let before = name.map(|name| {
        Ok(Before {
            name,
            price: row.get("price_minor")?,
            cost: row.get("cost_minor")?,
        })
    });
    before.transpose()
}

/// Tells whether a name would be read as a number of the series: `J12`, `12`, `2-J12`. `2024-17` wouldn't: only a copy of
/// that number has such jobs, and a name goes before.
pub fn is_job_number(name: &str) -> bool {
    let has_letter = name.contains(['J', 'j']);
    read_number('J', name).is_some() && (has_letter || !name.contains('-'))
}

/// Returns the job that had a name before the ledger; `None`: it is a number, or no job had a name.
pub(super) fn called(name: &str, names: &Names<JobId>) -> Result<Option<JobId>> {
    if is_job_number(name) {
        return Ok(None);
    }
    match names.exact(name) {
        Some(id) => Ok(Some(*id)),
        None if names.is_empty() || read_number('J', name).is_some() => Ok(None),
        None => names.find(name).map(|id| Some(*id)),
    }
}

impl Ledger {
    /// Returns the names that jobs had before the ledger.
    pub(super) fn jobs_by_name(&self) -> Result<Names<JobId>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT own_name, id FROM job WHERE own_name IS NOT NULL")?;
        let named = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let named: Vec<(String, JobId)> = named.collect::<rusqlite::Result<_>>()?;
        Ok(Names::new("job", named))
    }

    /// Returns the job that had that name before the ledger, as [`called`] does.
    pub(super) fn job_called(&self, name: &str) -> Result<Option<JobId>> {
        if is_job_number(name) {
            return Ok(None);
        }
        called(name, &self.jobs_by_name()?)
    }

    /// Returns the rooms and the work that the record of a job from before the ledger names.
    pub(super) fn recorded_work(&self, job: &Job) -> Result<(Vec<FinishedRoom>, Vec<WorkLine>)> {
        let rooms = self.recorded_rooms(job.id)?;
        let (operations, coats, cuts) = (self.operations_by_id()?, self.coats()?, self.cuts()?);
        let mut statement = self.connection.prepare_cached(
            "SELECT room_id, operation_id, SUM(kind = 'use') AS uses FROM live_entry
             LEFT JOIN entry_room ON entry_id = live_entry.id
             WHERE job_id = :job AND kind IN ('use', 'hours') AND late = 0 AND operation_id IS NOT NULL
             GROUP BY room_id, operation_id ORDER BY room_id, operation_id",
        )?;
        let mut named = statement.query(named_params! { ":job": job.id })?;
        let mut work: BTreeMap<_, WorkLine> = BTreeMap::new();
        while let Some(row) = named.next()? {
            let (room, operation): (Option<RoomId>, OperationId) = (row.get(0)?, row.get(1)?);
            let Some(operation) = operations.get(&operation) else {
                continue;
            };
            let is_coat = coats.contains(&operation.id);
            let passes = if is_coat {
                row.get::<_, u32>(2)?.max(1)
            } else {
                1
            };
            let measured = room.and_then(|room| rooms.get(&room));
            // Without a quote nobody knows which parts of a room a cut went over.
            if cuts.contains(&operation.id) && measured.is_some_and(|room| !room.parts.is_empty()) {
                continue;
            }
            // What is done once for the job may be named with a room, and with another.
            let line = recorded_line(measured, operation, passes);
            work.extend(line.map(|line| ((line.room, line.operation), line)));
        }
        let finished = rooms.into_values().map(|room| FinishedRoom {
            id: room.id,
            name: room.name,
            class: room.class,
        });
        Ok((finished.collect(), work.into_values().collect()))
    }

    /// Returns the rooms that entries of a job name, each as it was when it was named first.
    fn recorded_rooms(&self, job: JobId) -> Result<BTreeMap<RoomId, MeasuredRoom>> {
        let names = self.room_names_of(job)?;
        let mut statement = self.connection.prepare_cached(
            "SELECT room_id, area_micro, edge_micro, steps, floor_condition, parts, entry_room.species FROM live_entry
             JOIN entry_room ON entry_id = live_entry.id
             WHERE job_id = :job AND area_micro IS NOT NULL ORDER BY live_entry.id",
        )?;
        let rooms = statement.query_map(named_params! { ":job": job }, |row| {
            let id: RoomId = row.get(0)?;
            let (area, edge): (Micro, Micro) = (row.get(1)?, row.get(2)?);
            Ok(MeasuredRoom {
                id,
                name: names.get(&id).cloned().unwrap_or_default(),
                area: area.0,
                edge: edge.0,
                steps: row.get(3)?,
                class: FloorClass {
                    condition: row.get(4)?,
                    species: row.get(6)?,
                },
                parts: row.get::<_, KeptParts>(5)?.0,
                findings: Vec::new(),
                contingencies: Vec::new(),
            })
        })?;
        let mut first = BTreeMap::new();
        for room in rooms {
            let room = room?;
            first.entry(room.id).or_insert(room);
        }
        Ok(first)
    }

    /// Returns the operations that sand.
    fn cuts(&self) -> Result<BTreeSet<OperationId>> {
        let sequences = self.sequences()?.into_iter();
        let steps = sequences.flat_map(|sequence| sequence.steps);
        Ok(steps.map(|step| step.id).collect())
    }

    /// Returns the operations that lay a coat, which has to dry.
    fn coats(&self) -> Result<BTreeSet<OperationId>> {
        let schedules = self.schedules()?.into_iter();
        let steps = schedules.flat_map(|schedule| schedule.steps);
        let coats = steps.filter(|step| step.drying.is_some());
        Ok(coats.map(|step| step.operation.id).collect())
    }
}

/// Returns an operation in a room, or once for the job, as a quote would have planned it; `None`: nothing says how much of
/// it there was, as with what answers a finding.
fn recorded_line(
    room: Option<&MeasuredRoom>,
    operation: &Operation,
    passes: u32,
) -> Option<WorkLine> {
    let (room, driver) = match (operation.driver, &operation.answers) {
        (Driver::Job, _) => (None, Decimal::ONE),
        (driver, None) => (Some(room?.id), room?.driver(driver)?),
        (_, Some(_)) => return None,
    };
    let item = operation.item.as_ref().map(|item| ItemLine {
        id: item.id,
        name: item.name.clone(),
        unit: item.unit,
        expected: Decimal::ZERO,
        load: Decimal::ZERO,
        unit_price: Decimal::ZERO,
        cost: Money::ZERO,
    });
    Some(WorkLine {
        room,
        part: None,
        operation: operation.id,
        name: operation.name.clone(),
        task: operation.task.clone(),
        driver: operation.driver,
        quantity: driver * Decimal::from(passes),
        passes,
        contingency: None,
        item,
        hours: Decimal::ZERO,
        labour: Money::ZERO,
    })
}

/// How a room was when an entry named it, as `entry_room` keeps it.
pub(super) struct RoomThen {
    pub(super) area: Micro,
    pub(super) edge: Micro,
    pub(super) steps: Option<u32>,
    pub(super) class: FloorClass,
    pub(super) parts: KeptParts,
}

impl RoomThen {
    pub(super) fn of(room: &Room) -> Result<RoomThen> {
        Ok(RoomThen {
            area: Micro(quantity(room.floor.area().square_feet())),
            edge: Micro(quantity(room.edge()?.feet())),
            steps: room.floor.steps(),
            class: FloorClass {
                condition: room.condition,
                species: room.species,
            },
            parts: KeptParts(measured(&room.placed_parts()?, room.condition)),
        })
    }
}

impl Writing<'_> {
    /// Brings in a job from before the ledger, as of the days on which it was agreed and closed.
    ///
    /// # Errors
    /// Refuses days after today.
    pub(super) fn bring_in_job(
        &self,
        site: SiteId,
        before: &Before,
        (agreed_on, closed_on): (NaiveDate, NaiveDate),
    ) -> Result<JobId> {
        let id = self.as_of(agreed_on, || self.open_job(site, AgreedBy::Before(before)))?;
        let job = self.job_by_id(id)?;
        self.as_of(closed_on, || {
            self.add_closing(&job, None)?;
            self.log(&format!("Brought in {} at {}.", job.title(), job.site))
        })?;
        Ok(id)
    }
}

/// Returns the name of a job from before the ledger as it is kept.
///
/// # Errors
/// Refuses what would be read as the number of another job, or as several jobs.
pub(super) fn own_name(names: &Names<JobId>, text: &str) -> Result<String> {
    let name = named("job", text)?;
    if is_job_number(&name) {
        refuse!("`{name}` would be read as the number of a job: add a word to it");
    }
    if name.contains(';') {
        refuse!("a job's name can't hold `;`: `{name}`");
    }
    names.free(&name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_no_number_of_the_series() {
        for (name, is_number) in [
            ("J12", true),
            ("j12", true),
            ("12", true),
            ("2-J12", true),
            ("2024-17", false),
            ("Mill Lane 12", false),
            ("J", false),
            ("Jam factory", false),
        ] {
            assert_eq!(is_job_number(name), is_number, "{name}");
        }
    }
}
