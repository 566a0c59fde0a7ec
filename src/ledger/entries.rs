//! Entries as they are kept, whatever they are about: one series (`E1`, `E2`, …), read, written, and taken back.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::{OptionalExtension, Row, named_params};

use super::before::RoomThen;
use super::columns::Micro;
use super::{
    DayCharged, Job, Ledger, Refusal, Room, Writing, Written, numbered, read_number, refuse,
};
use crate::money::{Decimal, MOST_UNITS, Money, plain};
use crate::trade::job_cost::totals;
use crate::trade::{
    EntryId, ItemId, JobId, MachineId, OperationId, SiteId, TaskId, Unit, WorkerId,
};

/// A row of the day book, as it is to be written.
#[derive(Clone, Debug, Default)]
pub(super) struct NewEntry<'a> {
    pub(super) kind: &'a str,
    pub(super) job: Option<JobId>,
    pub(super) late: bool,
    /// It says what its rooms were like: its job is from before the ledger.
    pub(super) measures: bool,
    pub(super) on: NaiveDate,
    pub(super) voids: Option<EntryId>,
    /// What was taken back, and this is written for, by somebody's word; `None`: nobody said so.
    pub(super) in_place_of: Option<EntryId>,
    pub(super) worker: Option<WorkerId>,
    pub(super) task: Option<TaskId>,
    pub(super) operation: Option<OperationId>,
    pub(super) item: Option<ItemId>,
    pub(super) machine: Option<MachineId>,
    pub(super) rental: Option<EntryId>,
    pub(super) quantity: Option<Decimal>,
    pub(super) amount: Option<Money>,
    pub(super) book_price: Option<Decimal>,
    pub(super) price: Option<Decimal>,
    pub(super) burden: Option<Decimal>,
    pub(super) at: Option<NaiveDateTime>,
    pub(super) by_tariff: Option<bool>,
    pub(super) left_over: bool,
    pub(super) on_the_road: bool,
    pub(super) what: &'a str,
    pub(super) rooms: &'a [Room],
}

/// An entry that was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recorded {
    /// Identity.
    pub id: EntryId,
    /// `E1`.
    pub number: String,
    /// What it costs the job, was paid, or was refunded.
    pub amount: Money,
    /// The voided entry that it was typed again for, and in whose place it stands; `None`: it stands in its own.
    pub instead_of: Option<String>,
    /// It came after its job was closed.
    pub late: bool,
}

impl Recorded {
    /// Returns where it stands in words, if that isn't its own place: ` in the place of E1`.
    pub fn in_place_of(&self) -> String {
        self.instead_of
            .as_ref()
            .map_or_else(String::new, |slip| format!(" in the place of {slip}"))
    }
}

/// An entry as it stands in the day book.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Identity.
    pub id: EntryId,
    /// `E1`.
    pub number: String,
    /// What kind of thing was done.
    pub kind: String,
    /// The job.
    pub job_id: Option<JobId>,
    /// When it happened.
    pub happened_on: NaiveDate,
    /// The rooms it names.
    pub rooms: Vec<String>,
    /// Worker, item, machine, or what money was for.
    pub subject: String,
    /// The task or operation it was for.
    pub on: Option<String>,
    /// Hours, items, what was driven.
    pub quantity: Option<Decimal>,
    /// The unit of the quantity.
    pub unit: Option<Unit>,
    /// What it costs the job; `None`: nothing was paid, or it doesn't count.
    pub amount: Option<Money>,
    /// The days of a return, each with the job that it is charged to; none: it is no return, or doesn't count.
    pub days: Vec<DayCharged>,
    /// It came after close-out.
    pub late: bool,
    /// A void took it back.
    pub voided: bool,
}

/// A job's day book.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DayBook {
    /// The entries, oldest first, voided ones included.
    pub entries: Vec<Entry>,
    /// Overhead on the hours in them.
    pub overhead: Money,
}

impl DayBook {
    /// Returns what the job costs.
    pub fn total(&self) -> Money {
        let costs = self.entries.iter().filter_map(|entry| entry.amount);
        costs.sum::<Money>() + self.overhead
    }
}

impl Ledger {
    /// Returns a job's day book: its entries with what each costs it, and the overhead that follows from its labour. They
    /// add up to the job's cost.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn day_book_of(&self, job: &Job) -> Result<DayBook> {
        let logged = self.logged(job)?;
        let mut costs: BTreeMap<EntryId, Money> = BTreeMap::new();
        for cost in &logged {
            *costs.entry(cost.entry).or_default() += cost.cost;
        }
        let mut days = self.rental_days(Some(job.id))?;
        let mut entries = self.entry_rows(job.id)?;
        for entry in &mut entries {
            entry.amount = costs.get(&entry.id).copied();
            entry.days = days.remove(&entry.id).unwrap_or_default();
            let own = entry.days.iter().filter(|day| day.job_id == job.id).count();
            if own > 0 {
                (entry.quantity, entry.unit) = (Some(own.into()), Some(Unit::Day));
            }
        }
        let overhead = self.overhead_of(&self.agreed(job)?)?;
        Ok(DayBook {
            entries,
            overhead: totals(&logged, overhead).overhead,
        })
    }

    /// Returns the entries of a job without what they cost: its own, and the returns of machines that it had for some of
    /// the days.
    fn entry_rows(&self, job: JobId) -> Result<Vec<Entry>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT entry.id, entry.number, entry.kind, entry.job_id, entry.happened_on, entry.quantity_micro,
                    entry.late, void.id IS NOT NULL AS voided,
                    COALESCE(worker.name, item.name, machine.name, entry.what) AS subject,
                    COALESCE(operation.name, task.name, IIF(entry.on_the_road, 'driving', NULL)) AS worked_on,
                    item.unit AS item_unit,
                    (SELECT GROUP_CONCAT(name, '; ') FROM entry_room
                     JOIN job_room ON job_room.job_id = entry.job_id AND job_room.room_id = entry_room.room_id
                     WHERE entry_id = entry.id) AS rooms
             FROM entry
             LEFT JOIN entry AS void ON void.voids_id = entry.id
             LEFT JOIN worker ON worker.id = entry.worker_id
             LEFT JOIN item ON item.id = entry.item_id
             LEFT JOIN machine ON machine.id = entry.machine_id
             LEFT JOIN task ON task.id = entry.task_id
             LEFT JOIN operation ON operation.id = entry.operation_id
             WHERE (entry.job_id = :job OR entry.id IN (SELECT entry_id FROM rental_day WHERE job_id = :job))
               AND entry.kind <> 'void'
             ORDER BY entry.happened_on, entry.place_id, entry.id",
        )?;
        let road = self.road();
        let entries = statement.query_map(named_params! { ":job": job }, |row| {
            entry_from_row(row, road)
        })?;
        Ok(entries.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the days of a job's entries.
    pub(super) fn days_of_entries(&self, job: JobId) -> Result<BTreeMap<EntryId, NaiveDate>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT id, happened_on FROM entry WHERE job_id = :job")?;
        let days = statement.query_map(named_params! { ":job": job }, |row| {
            Ok((row.get(0)?, row.get(1)?))
        })?;
        Ok(days.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the identity of an entry by its number.
    ///
    /// # Errors
    /// Refuses a number that isn't one, and one that isn't there.
    pub fn entry(&self, number: &str) -> Result<EntryId> {
        let Some((copy, wanted)) = read_number('E', number) else {
            return Err(Refusal::new(format!("`{number}` is not an entry number"))
                .hint("entries are numbered E1, E2")
                .into());
        };
        let id = self
            .connection
            .prepare_cached("SELECT id FROM entry WHERE id >> 40 = :copy AND number = :number")?
            .query_row(named_params! { ":copy": copy, ":number": wanted }, |row| {
                row.get(0)
            })
            .optional()?;
        match id {
            Some(id) => Ok(id),
            None => Err(Refusal::new(format!("no entry {number}"))
                .hint("gritledger log")
                .into()),
        }
    }
}

fn entry_from_row(row: &Row<'_>, road: Unit) -> rusqlite::Result<Entry> {
    let id: EntryId = row.get("id")?;
    let kind: String = row.get("kind")?;
    let rooms: Option<String> = row.get("rooms")?;
    let late: i64 = row.get("late")?;
    let voided: i64 = row.get("voided")?;
    let unit = match kind.as_str() {
        "hours" => Some(Unit::Hour),
        "drive" => Some(road),
        _ => row.get("item_unit")?,
    };
    Ok(Entry {
        id,
        number: numbered('E', id.0, row.get("number")?),
        kind,
        job_id: row.get("job_id")?,
        happened_on: row.get("happened_on")?,
        rooms: rooms
            .map(|rooms| rooms.split("; ").map(str::to_owned).collect())
            .unwrap_or_default(),
        subject: row.get("subject")?,
        on: row.get("worked_on")?,
        quantity: row
            .get::<_, Option<Micro>>("quantity_micro")?
            .map(|quantity| quantity.0),
        unit,
        amount: None,
        days: Vec::new(),
        late: late == 1,
        voided: voided == 1,
    })
}

impl Writing<'_> {
    /// Takes an entry back by a row of its own; evidence of a closed job is derived again. A void is taken back by entering
    /// again what it took back.
    ///
    /// # Errors
    /// Refuses an entry that was voided already, one without a reason, and what a later entry of a rental rests on.
    pub fn void_entry(&self, id: EntryId, reason: &str) -> Result<Recorded> {
        let written = self.voidable(id)?;
        let (number, kind) = (&written.number, &written.kind);
        if reason.trim().is_empty() {
            refuse!("say why {number} is taken back");
        }
        if let Some(voided) = written.voids {
            return self.void_a_void(&written, voided, reason);
        }
        let entry = NewEntry {
            kind: "void",
            job: written.job,
            on: self.today(),
            voids: Some(id),
            what: reason.trim(),
            ..NewEntry::default()
        };
        let recorded = self.insert_entry(&entry)?;
        if let Some(item) = written.item {
            self.replay(item, self.stand_of(id)?, recorded.id)?;
        }
        if let Some(job) = written.job {
            let job = self.job_by_id(job)?;
            if job.is_closed() {
                self.rewrite_evidence(&job)?;
            }
        }
        self.log(&format!(
            "{}: took back {number} ({kind}): {}.",
            recorded.number,
            reason.trim()
        ))?;
        Ok(recorded)
    }

    /// Returns an entry that can be taken back.
    ///
    /// # Errors
    /// Refuses an entry that was voided already, a void in the place of whose entry another one stands, and what a later entry of
    /// a rental rests on.
    pub fn voidable(&self, id: EntryId) -> Result<Written> {
        let written = self.written(id)?;
        let number = &written.number;
        if let Some(voided) = written.voids {
            self.refuse_taken_place(voided)?;
        }
        if !self.is_live(id)? {
            refuse!("{number} was voided already");
        }
        if let Some(later) = self.rests_on(id)? {
            return Err(Refusal::new(format!(
                "{number} can't be voided while {later} rests on it: void {later} first"
            ))
            .hint(format!(
                "gritledger void {later} --reason \"{number} was wrong\""
            ))
            .into());
        }
        Ok(written)
    }

    pub(super) fn is_live(&self, id: EntryId) -> Result<bool> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT 1 FROM entry WHERE voids_id = :id")?;
        Ok(!statement.exists(named_params! { ":id": id })?)
    }

    /// Returns the newest entry that rests on one of a rental: everything rests on the machine's going out, and the return
    /// on who had the machine from which day on. What a return charged stays as it is, so it is taken back first, and
    /// typed again when the rest is right.
    fn rests_on(&self, id: EntryId) -> Result<Option<String>> {
        let later = self
            .connection
            .prepare_cached(
                "SELECT later.id, later.number FROM entry AS this
                 JOIN live_entry AS later ON later.rental_id = this.id
                     OR (this.kind = 'rental-day' AND later.rental_id = this.rental_id AND later.kind = 'rental-back')
                 WHERE this.id = :id
                 ORDER BY later.id DESC LIMIT 1",
            )?
            .query_row(named_params! { ":id": id }, |row| {
                Ok(numbered('E', row.get("id")?, row.get("number")?))
            })
            .optional()?;
        Ok(later)
    }

    /// Refuses rooms that aren't where the job is.
    fn refuse_rooms_elsewhere(&self, entry: &NewEntry<'_>) -> Result<()> {
        let Some(job) = entry.job.filter(|_| !entry.rooms.is_empty()) else {
            return Ok(());
        };
        let (site, number): (SiteId, i64) = self
            .connection
            .prepare_cached("SELECT site_id, number FROM job WHERE id = :job")?
            .query_row(named_params! { ":job": job }, |row| {
                Ok((row.get(0)?, row.get(1)?))
            })?;
        let job = numbered('J', job.0, number);
        match entry.rooms.iter().find(|room| room.site_id != site) {
            Some(room) => refuse!("`{}` is at `{}`, not where {job} is", room.name, room.site),
            None => Ok(()),
        }
    }

    pub(super) fn insert_entry(&self, entry: &NewEntry<'_>) -> Result<Recorded> {
        self.refuse_future(entry.on)?;
        if let Some(quantity) = entry.quantity.filter(|quantity| *quantity > MOST_UNITS) {
            refuse!("`{}` is more than one entry takes", plain(quantity, 6));
        }
        self.refuse_rooms_elsewhere(entry)?;
        let id = EntryId(self.new_id("entry")?);
        let number = self.new_number("entry")?;
        let slip = self.slip_mended_by(entry)?;
        let posted = match entry.voids {
            Some(voided) => self.counts_on(self.posted_on(voided)?)?,
            None => self.counts_on(entry.on)?,
        };
        let place = slip.as_ref().map_or(id, |slip| slip.place);
        let late = match &slip {
            Some(slip) if !entry.measures => self.was_late(slip, entry.job)?,
            _ => entry.late,
        };
        let book_price = match &slip {
            Some(slip) if slip.item == entry.item => slip.book_price,
            _ => entry.book_price,
        };
        self.connection
            .prepare_cached(
                "INSERT INTO entry (id, number, kind, job_id, happened_on, recorded_at, posted_on, voids_id, place_id, worker_id, task_id,
                                    operation_id, item_id, machine_id, rental_id, quantity_micro, amount_minor,
                                    book_price_micro, price_micro, burden_micro, at, by_tariff, left_over, on_the_road, late,
                                    what)
                 VALUES (:id, :number, :kind, :job, :on, :now, :posted, :voids, :place, :worker, :task, :operation, :item, :machine,
                         :rental, :quantity, :amount, :book_price, :price, :burden, :at, :by_tariff, :left_over, :on_the_road,
                         :late, :what)",
            )?
            .execute(named_params! {
                ":id": id, ":number": number, ":kind": entry.kind, ":job": entry.job, ":on": entry.on,
                ":now": self.now(), ":posted": posted, ":voids": entry.voids, ":place": place, ":worker": entry.worker, ":task": entry.task,
                ":operation": entry.operation, ":item": entry.item, ":machine": entry.machine,
                ":rental": entry.rental, ":quantity": entry.quantity.map(Micro), ":amount": entry.amount,
                ":book_price": book_price.map(Micro), ":price": entry.price.map(Micro), ":burden": entry.burden.map(Micro),
                ":at": entry.at, ":by_tariff": entry.by_tariff.map(i64::from), ":left_over": i64::from(entry.left_over),
                ":on_the_road": i64::from(entry.on_the_road), ":late": i64::from(late),
                ":what": entry.what,
            })?;
        for room in entry.rooms {
            self.insert_entry_room(id, room, entry.measures)?;
        }
        Ok(Recorded {
            id,
            number: numbered('E', id.0, number),
            amount: entry.amount.unwrap_or_default(),
            instead_of: slip.map(|slip| slip.number),
            late,
        })
    }

    /// Returns the day on which an entry counts.
    fn posted_on(&self, entry: EntryId) -> Result<NaiveDate> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT COALESCE(posted_on, happened_on) FROM entry WHERE id = :id")?;
        Ok(statement.query_row(named_params! { ":id": entry }, |row| row.get(0))?)
    }

    fn insert_entry_room(&self, entry: EntryId, room: &Room, measures: bool) -> Result<()> {
        let then = measures.then(|| RoomThen::of(room)).transpose()?;
        let then = then.as_ref();
        self.connection
            .prepare_cached(
                "INSERT INTO entry_room (entry_id, room_id, area_micro, edge_micro, steps, floor_condition, parts,
                                         species)
                 VALUES (:entry, :room, :area, :edge, :steps, :condition, :parts, :species)",
            )?
            .execute(named_params! {
                ":entry": entry, ":room": room.id, ":area": then.map(|then| then.area),
                ":edge": then.map(|then| then.edge), ":steps": then.and_then(|then| then.steps),
                ":condition": then.map(|then| then.class.condition), ":parts": then.map(|then| &then.parts),
                ":species": then.map(|then| then.class.species),
            })?;
        Ok(())
    }
}
