//! What jobs cost, read from the day book, from later receipts and from rental days, for many jobs at once.

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::CachedStatement;
use rusqlite::types::Type;

use super::Ledger;
use super::books::{Parts, Span, of_job};
use super::columns::{Micro, NamedRow};
use super::machines::tariff_from_row;
use crate::money::{Decimal, Money};
use crate::trade::job_cost::{DRIVING, DayRented, Logged, What};
use crate::trade::operation::Task;
use crate::trade::rental::Away;
use crate::trade::{EntryId, JobId, RoomId, TaskId, Unit};

/// What is used, worked, spent and driven, at what it came to when it was logged.
const ENTRIES: &str = "
    SELECT entry.job_id, entry.id, kind, late, entry.quantity_micro,
           COALESCE(amount_minor, effect.awaiting_minor - effect.value_minor) AS amount_minor,
           task_id, task.name AS task, entry.operation_id, on_the_road, left_over, entry.item_id, item.name AS item,
           item.unit, what
    FROM entry
    LEFT JOIN stock_effect AS effect ON effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = entry.id)
    LEFT JOIN item ON item.id = entry.item_id
    LEFT JOIN task ON task.id = entry.task_id
    WHERE entry.job_id BETWEEN :first AND :last AND kind IN ('use', 'hours', 'spent', 'drive')
      AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id)
    ORDER BY entry.job_id, entry.place_id";

const ROOMS: &str = "
    SELECT entry.job_id, entry_id, room_id
    FROM entry
    CROSS JOIN entry_room ON entry_id = entry.id
    WHERE entry.job_id BETWEEN :first AND :last
    ORDER BY entry.job_id, entry_id, room_id";

/// What later receipts and hand-backs changed in the cost of what was used.
///
/// CROSS JOIN holds SQLite to the order written: from a job's few entries outwards, not over every purchase.
const CORRECTIONS: &str = "
    SELECT used.job_id, used.id, used.left_over, used.item_id, item.name AS item, item.unit, used.operation_id, used.late,
           stood.recorded_at, settled.paid_minor - settled.value_minor AS difference
    FROM entry AS used
    CROSS JOIN stock_settlement AS settled ON settled.used_id = used.id
    CROSS JOIN stock_effect AS effect ON effect.id = settled.effect_id
    CROSS JOIN entry AS bought ON bought.id = effect.entry_id
    CROSS JOIN entry AS stood ON stood.id = bought.place_id
    JOIN item ON item.id = used.item_id
    WHERE used.job_id BETWEEN :first AND :last AND used.kind IN ('use', 'hand-back')
      AND effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = effect.entry_id)
      AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id IN (used.id, bought.id))
    UNION ALL
    SELECT back.job_id, back.id, back.left_over, back.item_id, item.name, item.unit, back.operation_id, back.late,
           stood.recorded_at, effect.awaiting_minor - effect.value_minor - back.amount_minor
    FROM entry AS back
    CROSS JOIN entry AS stood ON stood.id = back.place_id
    CROSS JOIN stock_effect AS effect ON effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = back.id)
    JOIN item ON item.id = back.item_id
    WHERE back.job_id BETWEEN :first AND :last AND back.kind = 'hand-back' AND back.amount_minor IS NOT NULL
      AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = back.id)
    ORDER BY 1";

const RENTAL_DAYS: &str = "
    SELECT day.job_id, returned.id, returned.machine_id, machine.name, day.charge_minor, day.began_on, day.position,
           went.at AS out_at, returned.at AS back_at, tariff.half_day_minor, tariff.day_minor, tariff.weekend_minor,
           tariff.week_minor, tariff.four_weeks_minor, tariff.waiver_micro, tariff.cleaning_minor
    FROM rental_day AS day
    CROSS JOIN entry AS returned ON returned.id = day.entry_id
    JOIN entry AS went ON went.id = returned.rental_id
    JOIN machine ON machine.id = returned.machine_id
    LEFT JOIN rental_tariff AS tariff ON tariff.entry_id = went.id
    WHERE day.job_id BETWEEN :first AND :last
      AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = returned.id)
    ORDER BY day.job_id, day.id";

/// When jobs that are closed were closed last.
const CLOSINGS: &str = "
    SELECT job_id, recorded_at
    FROM job_event AS closed
    WHERE job_id BETWEEN :first AND :last AND what = 'closed'
      AND id = (SELECT MAX(id) FROM job_event WHERE job_event.job_id = closed.job_id)
    ORDER BY job_id";

/// The queries that say what jobs cost.
pub(super) struct LoggedQueries<'ledger> {
    /// What driving is counted in.
    road: Unit,
    entries: CachedStatement<'ledger>,
    rooms: CachedStatement<'ledger>,
    corrections: CachedStatement<'ledger>,
    rental_days: CachedStatement<'ledger>,
    closings: CachedStatement<'ledger>,
}

/// Their rows, job by job.
pub(super) struct LoggedRows<'queries> {
    entries: Parts<'queries, JobId, Logged>,
    rooms: Parts<'queries, JobId, (EntryId, RoomId)>,
    corrections: Parts<'queries, JobId, (Logged, NaiveDateTime)>,
    rental_days: Parts<'queries, JobId, (Logged, NaiveDate)>,
    closings: Parts<'queries, JobId, NaiveDateTime>,
}

impl Ledger {
    pub(super) fn logged_queries(&self) -> Result<LoggedQueries<'_>> {
        let query = |sql| self.connection.prepare_cached(sql);
        Ok(LoggedQueries {
            road: self.road(),
            entries: query(ENTRIES)?,
            rooms: query(ROOMS)?,
            corrections: query(CORRECTIONS)?,
            rental_days: query(RENTAL_DAYS)?,
            closings: query(CLOSINGS)?,
        })
    }

    /// Returns when a job was last closed, as recorded; `None`: it isn't closed.
    pub(super) fn closed_at(&self, job: JobId) -> Result<Option<NaiveDateTime>> {
        let mut closings = self.connection.prepare_cached(CLOSINGS)?;
        let closings =
            Parts::of(&mut closings, job.into(), of_job, closing_from_row)?.take(&job)?;
        Ok(closings.last().copied())
    }
}

impl LoggedQueries<'_> {
    pub(super) fn rows(&mut self, span: Span) -> Result<LoggedRows<'_>> {
        let road = self.road;
        let entry = move |row: &NamedRow<'_>| entry_from_row(row, road);
        Ok(LoggedRows {
            entries: Parts::of(&mut self.entries, span, of_job, entry)?,
            rooms: Parts::of(&mut self.rooms, span, of_job, room_from_row)?,
            corrections: Parts::of(&mut self.corrections, span, of_job, correction_from_row)?,
            rental_days: Parts::of(&mut self.rental_days, span, of_job, rental_day_from_row)?,
            closings: Parts::of(&mut self.closings, span, of_job, closing_from_row)?,
        })
    }
}

impl LoggedRows<'_> {
    /// Returns everything that a job cost.
    pub(super) fn of(&mut self, job: JobId) -> Result<Vec<Logged>> {
        let closed = self.closings.take(&job)?.last().copied();
        let mut logged = self.entries.take(&job)?;
        for (cost, recorded_at) in self.corrections.take(&job)? {
            let late = cost.late || closed.is_some_and(|closed| recorded_at > closed);
            logged.push(Logged { late, ..cost });
        }
        let rooms = self.rooms.take(&job)?;
        for cost in &mut logged {
            cost.rooms = rooms_of(cost.entry, &rooms);
        }
        for (cost, began_on) in self.rental_days.take(&job)? {
            // A day from before close-out is no call-back, though the machine came back from another job later.
            let late = closed.is_some_and(|closed| began_on > closed.date());
            logged.push(Logged { late, ..cost });
        }
        Ok(logged)
    }
}

/// Returns the rooms of an entry; `rooms` are those of all entries of its job, in the order of entries.
fn rooms_of(entry: EntryId, rooms: &[(EntryId, RoomId)]) -> Vec<RoomId> {
    let first = rooms.partition_point(|(of, _)| *of < entry);
    let own = rooms[first..].iter().take_while(|(of, _)| *of == entry);
    own.map(|(_, room)| *room).collect()
}

fn entry_from_row(row: &NamedRow<'_>, road: Unit) -> rusqlite::Result<Logged> {
    let entry = row.get("id")?;
    let kind = row.text("kind")?;
    let late = row.get::<i64>("late")? == 1;
    let quantity: Option<Micro> = row.get("quantity_micro")?;
    let cost = row.get("amount_minor")?;
    let what = match kind {
        "hours" => hours_from_row(row)?,
        "use" => item_from_row(row)?,
        "drive" => What::Other {
            label: DRIVING.to_owned(),
            unit: road,
        },
        _ => What::Other {
            label: row.get("what")?,
            unit: Unit::Each,
        },
    };
    Ok(Logged {
        entry,
        rooms: Vec::new(),
        what,
        // Money spent is spent for one thing.
        quantity: quantity.map_or(Decimal::ONE, |quantity| quantity.0),
        cost,
        late,
        correction: false,
    })
}

fn room_from_row(row: &NamedRow<'_>) -> rusqlite::Result<(EntryId, RoomId)> {
    Ok((row.get("entry_id")?, row.get("room_id")?))
}

fn correction_from_row(row: &NamedRow<'_>) -> rusqlite::Result<(Logged, NaiveDateTime)> {
    let entry = row.get("id")?;
    let what = item_from_row(row)?;
    let late = row.get::<i64>("late")? == 1;
    let recorded_at = row.get("recorded_at")?;
    let logged = Logged {
        entry,
        rooms: Vec::new(),
        what,
        quantity: Decimal::ZERO,
        cost: row.get("difference")?,
        late,
        correction: true,
    };
    Ok((logged, recorded_at))
}

fn rental_day_from_row(row: &NamedRow<'_>) -> rusqlite::Result<(Logged, NaiveDate)> {
    let entry = row.get("id")?;
    let (machine, name) = (row.get("machine_id")?, row.get("name")?);
    let cost: Money = row.get("charge_minor")?;
    let began_on = row.get("began_on")?;
    let day = Box::new(day_from_row(row)?);
    let logged = Logged {
        entry,
        rooms: Vec::new(),
        what: What::Rental { machine, name, day },
        quantity: Decimal::ONE,
        cost,
        late: false,
        correction: false,
    };
    Ok((logged, began_on))
}

fn closing_from_row(row: &NamedRow<'_>) -> rusqlite::Result<NaiveDateTime> {
    row.get("recorded_at")
}

fn hours_from_row(row: &NamedRow<'_>) -> rusqlite::Result<What> {
    if row.get::<i64>("on_the_road")? == 1 {
        return Ok(What::OnTheRoad);
    }
    let task_id: Option<TaskId> = row.get("task_id")?;
    let task_name: Option<String> = row.get("task")?;
    let task = task_id.zip(task_name).map(|(id, name)| Task { id, name });
    Ok(What::Hours {
        task,
        operation: row.get("operation_id")?,
    })
}

fn day_from_row(row: &NamedRow<'_>) -> rusqlite::Result<DayRented> {
    let position: i64 = row.get("position")?;
    let away = Away::new(row.get("out_at")?, row.get("back_at")?);
    Ok(DayRented {
        away: away.ok_or_else(|| {
            let damage = "a machine that came back before it went out, or years later";
            rusqlite::Error::FromSqlConversionFailure(0, Type::Text, damage.into())
        })?,
        tariff: tariff_from_row(row)?,
        position: usize::try_from(position - 1).unwrap_or_default(),
    })
}

fn item_from_row(row: &NamedRow<'_>) -> rusqlite::Result<What> {
    let left_over: i64 = row.get("left_over")?;
    let (item, name, unit) = (row.get("item_id")?, row.get("item")?, row.get("unit")?);
    Ok(match left_over {
        0 => What::Item {
            item,
            name,
            unit,
            operation: row.get("operation_id")?,
        },
        _ => What::LeftOver { item, name, unit },
    })
}

#[cfg(test)]
impl LoggedQueries<'_> {
    /// Returns the queries, to look at how they were answered.
    pub(super) fn statements(&self) -> [&CachedStatement<'_>; 5] {
        [
            &self.entries,
            &self.rooms,
            &self.corrections,
            &self.rental_days,
            &self.closings,
        ]
    }
}
