//! Slips: what was taken back, and which entry is typed again for it.
//!
//! Nobody says so (who does, corrects: `corrections.rs`): `void E12`, then the same line as it should have been. What is typed again stands in the slip's place, so
//! what it is like decides. A line that is taken for another's second time stands earlier in its own day than it was typed,
//! and nothing else; the answer says in whose place it stands.

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::{Row, named_params};

use super::columns::Micro;
use super::entries::NewEntry;
use super::{Writing, numbered};
use crate::money::{Decimal, Money};
use crate::trade::{EntryId, ItemId, JobId, OperationId, RoomId, TaskId, WorkerId};

/// How many voids are looked through for a slip that is typed again.
const SLIPS_LOOKED_AT: u32 = 20;

/// A voided entry in whose place nothing stands.
#[derive(Debug)]
pub(super) struct Slip {
    pub(super) number: String,
    pub(super) place: EntryId,
    job: Option<JobId>,
    on: NaiveDate,
    pub(super) item: Option<ItemId>,
    worker: Option<WorkerId>,
    purpose: (Option<OperationId>, Option<TaskId>, bool, bool),
    rooms: Vec<RoomId>,
    quantity: Option<Decimal>,
    amount: Option<Money>,
    pub(super) book_price: Option<Decimal>,
    late: bool,
    recorded_at: NaiveDateTime,
    /// Nothing was logged since it was taken back but what is typed again.
    is_just_voided: bool,
}

impl Slip {
    /// Returns how much an entry of the same kind is like it; `None`: the entry isn't typed again for it.
    ///
    /// Right after the void it is enough that it is the same thing, or as much of another; later that day all but one
    /// detail is the same, and a number is.
    fn likeness_to(&self, entry: &NewEntry<'_>) -> Option<usize> {
        let rooms: Vec<RoomId> = entry.rooms.iter().map(|room| room.id).collect();
        let is_same_thing = (self.item, self.worker) == (entry.item, entry.worker);
        let is_as_much = self.quantity == entry.quantity;
        // What hours cost follows from their number: nobody typed it.
        let amount = entry.amount.filter(|_| entry.worker.is_none());
        let is_as_dear = self.amount.filter(|_| entry.worker.is_none()) == amount;
        let details = [
            is_same_thing,
            is_as_much,
            is_as_dear,
            self.on == entry.on,
            self.job == entry.job,
            self.rooms == rooms,
            self.purpose
                == (
                    entry.operation,
                    entry.task,
                    entry.left_over,
                    entry.on_the_road,
                ),
        ];
        let same = details.iter().filter(|same| **same).count();
        let has_number = is_as_much && entry.quantity.is_some() || is_as_dear && amount.is_some();
        let is_again = if self.is_just_voided {
            is_same_thing || is_as_much
        } else {
            has_number && same + 1 >= details.len()
        };
        is_again.then_some(same)
    }
}

impl Writing<'_> {
    /// Returns the slip that an entry is typed again for: the one that somebody names, else of those taken back today, the one
    /// that it is most like.
    pub(super) fn slip_mended_by(&self, entry: &NewEntry<'_>) -> Result<Option<Slip>> {
        if let Some(slip) = entry.in_place_of {
            let (_, slip) = self
                .connection
                .prepare_cached("SELECT *, 0 AS just_voided FROM entry WHERE id = :slip")?
                .query_row(named_params! { ":slip": slip }, slip_from_row)?;
            return Ok(Some(slip));
        }
        if !matches!(
            entry.kind,
            "use" | "hours" | "spent" | "drive" | "buy" | "hand-back" | "count"
        ) {
            return Ok(None);
        }
        let slips = self.slips_of_today(entry.kind)?;
        let like = slips
            .into_iter()
            .filter_map(|slip| Some((slip.likeness_to(entry)?, slip)));
        let likest = like.max_by_key(|(same, slip)| (*same, std::cmp::Reverse(slip.place)));
        Ok(likest.map(|(_, slip)| slip))
    }

    /// Tells whether the job of what is typed again was closed already when its slip was typed.
    pub(super) fn was_late(&self, slip: &Slip, job: Option<JobId>) -> Result<bool> {
        if slip.job == job {
            return Ok(slip.late);
        }
        let closed = job.map(|job| self.closed_at(job)).transpose()?.flatten();
        Ok(closed.is_some_and(|closed| closed < slip.recorded_at))
    }

    /// Returns the entries of a kind that were taken back today and not typed again.
    fn slips_of_today(&self, kind: &str) -> Result<Vec<Slip>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT slip.*,
                    NOT EXISTS (SELECT 1 FROM entry AS own
                                WHERE own.id > void.id AND own.kind <> 'void' AND own.place_id = own.id) AS just_voided
             FROM (SELECT id, voids_id, recorded_at FROM entry WHERE kind = 'void' ORDER BY id DESC LIMIT :count) AS void
             JOIN entry AS slip ON slip.id = void.voids_id
             WHERE slip.kind = :kind AND date(void.recorded_at) = :today
               AND NOT EXISTS (SELECT 1 FROM live_entry AS again WHERE again.place_id = slip.place_id)",
        )?;
        let params =
            named_params! { ":kind": kind, ":today": self.today(), ":count": SLIPS_LOOKED_AT };
        let mut slips: Vec<(EntryId, Slip)> = statement
            .query_map(params, slip_from_row)?
            .collect::<rusqlite::Result<_>>()?;
        let mut rooms = self.connection.prepare_cached(
            "SELECT room_id FROM entry_room WHERE entry_id = :entry ORDER BY room_id",
        )?;
        for (entry, slip) in &mut slips {
            let named = rooms.query_map(named_params! { ":entry": *entry }, |row| row.get(0))?;
            slip.rooms = named.collect::<rusqlite::Result<_>>()?;
        }
        Ok(slips.into_iter().map(|(_, slip)| slip).collect())
    }
}

/// Reads a slip without its rooms.
fn slip_from_row(row: &Row<'_>) -> rusqlite::Result<(EntryId, Slip)> {
    let id: EntryId = row.get("id")?;
    let micro = |column| {
        row.get::<_, Option<Micro>>(column)
            .map(|micro| micro.map(|micro| micro.0))
    };
    let slip = Slip {
        number: numbered('E', id.0, row.get("number")?),
        place: row.get("place_id")?,
        job: row.get("job_id")?,
        on: row.get("happened_on")?,
        item: row.get("item_id")?,
        worker: row.get("worker_id")?,
        purpose: (
            row.get("operation_id")?,
            row.get("task_id")?,
            row.get("left_over")?,
            row.get("on_the_road")?,
        ),
        rooms: Vec::new(),
        quantity: micro("quantity_micro")?,
        amount: row.get("amount_minor")?,
        book_price: micro("book_price_micro")?,
        late: row.get("late")?,
        recorded_at: row.get("recorded_at")?,
        is_just_voided: row.get("just_voided")?,
    };
    Ok((id, slip))
}
