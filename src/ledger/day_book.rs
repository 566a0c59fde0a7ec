//! The day book: what was used, worked, spent, driven, and taken back.
//!
//! Purchases and the shelf are in `stock.rs`, machines out and back in `rentals.rs`; all of them are entries of one
//! series (`E1`, `E2`, …) that [`Writing::void_entry`] takes back.
//!
//! What is typed again for a slip stands in the slip's place (`place_id`): in the order of its day, before or after a
//! job was closed, at the book price of then. Somebody says so (`corrections.rs`), or the ledger sees by itself what is typed
//! again (`slips.rs`).

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::{OptionalExtension, Row, named_params};

use super::before::RoomThen;
use super::columns::Micro;
use super::names::key;
use super::settings::no_road_rate;
use super::{
    BookItem, DayCharged, Job, Ledger, Refusal, Room, Worker, Writing, Written, numbered,
    read_number, refuse, typed,
};
use crate::money::{Decimal, MOST_UNITS, Money, plain, product, quantity};
use crate::trade::bounds::{HOURS_OF_A_DAY, MOST_DRIVEN};
use crate::trade::job_cost::{DRIVING, totals};
use crate::trade::operation::{Operation, Task};
use crate::trade::{
    EntryId, ItemId, JobId, MachineId, OperationId, SiteId, TaskId, Unit, WorkerId,
};

/// What hours are for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WorkedOn {
    /// A task.
    Task(Task),
    /// One operation of a task.
    Operation(Box<Operation>),
    /// The road: a cost of the whole job, and no evidence.
    TheRoad,
    /// Nothing said: a cost, and no evidence.
    Nothing,
}

impl WorkedOn {
    /// Tells whether that is what hours on the road are logged on; no task and no operation is called so.
    pub fn is_the_road(name: &str) -> bool {
        name.trim().eq_ignore_ascii_case(DRIVING)
    }

    /// Returns the task and the operation as they are kept of hours.
    pub(super) fn columns(&self) -> (Option<TaskId>, Option<OperationId>) {
        match self {
            WorkedOn::Task(task) => (Some(task.id), None),
            // Its task as it is today: an operation that is given another one later takes no hours with it.
            WorkedOn::Operation(operation) => (Some(operation.task.id), Some(operation.id)),
            WorkedOn::TheRoad | WorkedOn::Nothing => (None, None),
        }
    }
}

/// Where and when an entry belongs.
#[derive(Clone, Debug)]
pub struct Occasion<'a> {
    /// The job; `None`: it belongs to none.
    pub job: Option<&'a Job>,
    /// The rooms it names; none: the whole job.
    pub rooms: &'a [Room],
    /// When it happened.
    pub on: NaiveDate,
    /// A note.
    pub note: &'a str,
}

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

impl Occasion<'_> {
    /// Returns where it belongs, in the words of the log: `J1`, `no job`.
    fn place(&self) -> &str {
        self.job.map_or("no job", |job| &job.number)
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

/// Refuses a number of items or hours, or a distance, that an entry of a kind can't have.
pub(super) fn check_quantity(kind: &str, quantity: Decimal) -> Result<()> {
    let (figure, is_none) = (plain(quantity, 6), quantity <= Decimal::ZERO);
    match kind {
        "hours" if is_none => refuse!("`{figure}` is not a number of hours worked"),
        "drive" if is_none || quantity > MOST_DRIVEN => {
            refuse!("`{figure}` is not a distance driven")
        }
        "buy" if is_none => refuse!("`{figure}` is not a quantity bought"),
        "hand-back" if is_none => refuse!("`{figure}` is not a quantity handed back"),
        "count" if quantity < Decimal::ZERO => refuse!("a count is not below zero: `{figure}`"),
        _ if quantity < Decimal::ZERO => refuse!("a quantity is not below zero: `{figure}`"),
        _ if quantity > MOST_UNITS => refuse!("`{figure}` is more than one entry takes"),
        _ => Ok(()),
    }
}

/// Refuses rooms for hours on the road.
pub(super) fn refuse_rooms_on_the_road(on_the_road: bool, rooms: &[Room]) -> Result<()> {
    match rooms {
        [room, ..] if on_the_road => {
            refuse!(
                "hours on the road are of the whole job, not of `{}`",
                room.name
            )
        }
        _ => Ok(()),
    }
}

/// Refuses an amount that an entry of a kind can't have.
pub(super) fn check_amount(kind: &str, amount: Money) -> Result<()> {
    match kind {
        "spent" if amount <= Money::ZERO => refuse!("money spent is more than nothing"),
        "buy" if amount.is_negative() => refuse!("a purchase does not cost less than nothing"),
        "hand-back" if amount.is_negative() => refuse!("a refund is not below zero"),
        "rental-back" if amount.is_negative() => {
            refuse!("a rental does not cost less than nothing")
        }
        _ => Ok(()),
    }
}

/// Refuses a left-over of what keeps.
pub(super) fn it_keeps(item: &BookItem) -> anyhow::Error {
    let words = format!("{} keeps once opened: what is left is stock", item.name);
    let command = format!("gritledger item edit {} --not-kept", typed(&item.name));
    Refusal::new(words).hint(command).into()
}

/// What an item was used for.
#[derive(Clone, Copy, Debug)]
pub enum UsedFor<'a> {
    /// An operation, as far as it is known.
    Operation(Option<&'a Operation>),
    /// Nothing: it was left in an opened pack and doesn't keep.
    LeftOver,
}

impl<'a> UsedFor<'a> {
    /// The word for it where an operation is named.
    pub const LEFT_OVER: &'static str = "left-over";

    fn operation(self) -> Option<&'a Operation> {
        match self {
            UsedFor::Operation(operation) => operation,
            UsedFor::LeftOver => None,
        }
    }
}

impl Ledger {
    /// Returns the number of the latest live entry that says just the same as a later one, of the same day.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn said_before(&self, entry: EntryId) -> Result<Option<String>> {
        // What a use cost follows from the shelf: only amounts that are typed tell two lines apart. The plus signs keep
        // SQLite from every entry of no job, where those of a day are few.
        let mut statement = self.connection.prepare_cached(
            "SELECT earlier.id, earlier.number FROM entry AS new JOIN live_entry AS earlier
                 ON earlier.happened_on = new.happened_on AND earlier.kind = new.kind AND earlier.id < new.id
             WHERE new.id = :entry AND +earlier.job_id IS new.job_id AND +earlier.worker_id IS new.worker_id
               AND earlier.task_id IS new.task_id AND earlier.operation_id IS new.operation_id
               AND +earlier.item_id IS new.item_id AND earlier.quantity_micro IS new.quantity_micro
               AND earlier.left_over = new.left_over AND earlier.on_the_road = new.on_the_road
               AND earlier.what = new.what
               AND (new.kind NOT IN ('spent', 'buy', 'hand-back') OR earlier.amount_minor IS new.amount_minor)
               AND NOT EXISTS (
                   SELECT room_id, COUNT(*) FROM entry_room WHERE entry_id IN (earlier.id, new.id)
                   GROUP BY room_id HAVING COUNT(*) = 1)
             ORDER BY earlier.id DESC LIMIT 1",
        )?;
        let number = |row: &rusqlite::Row<'_>| {
            let id: EntryId = row.get("id")?;
            Ok(numbered('E', id.0, row.get("number")?))
        };
        Ok(statement
            .query_row(named_params! { ":entry": entry }, number)
            .optional()?)
    }
}

impl Ledger {
    /// Returns what an hour of somebody costs on a job, in major units: nothing on the owner's own floors.
    pub(super) fn wage_on(&self, worker: &Worker, job: Option<&Job>) -> Decimal {
        match job.is_some_and(|job| job.own) {
            true => Decimal::ZERO,
            false => self.currency().decimal(worker.wage),
        }
    }
}

impl Writing<'_> {
    /// Logs hours; their cost is hours × wage × burden as they stand now.
    ///
    /// # Errors
    /// Refuses no hours, more than 24 in one day, a task without a job, a room for hours on the road, and a date after today.
    pub fn record_hours(
        &self,
        worker: &Worker,
        hours: Decimal,
        on: &WorkedOn,
        occasion: &Occasion<'_>,
    ) -> Result<Recorded> {
        let recorded = self.enter_hours(worker, hours, on, occasion)?;
        if let Some(job) = occasion.job {
            self.teach_again(&recorded, job)?;
        }
        Ok(recorded)
    }

    /// Writes hours down; what they teach of a closed job is still to be worked out.
    pub(super) fn enter_hours(
        &self,
        worker: &Worker,
        hours: Decimal,
        on: &WorkedOn,
        occasion: &Occasion<'_>,
    ) -> Result<Recorded> {
        let hours = quantity(hours);
        check_quantity("hours", hours)?;
        self.refuse_more_than_a_day(worker.id, hours, occasion.on)?;
        let (task, operation) = on.columns();
        if occasion.job.is_none() && task.is_some() {
            refuse!("hours of no job are for no task");
        }
        let on_the_road = *on == WorkedOn::TheRoad;
        refuse_rooms_on_the_road(on_the_road, occasion.rooms)?;
        let (wage, burden) = (
            self.wage_on(worker, occasion.job),
            quantity(self.settings()?.burden),
        );
        let amount = self.currency().amount(product([hours, wage, burden]));
        let recorded = self.insert_entry(&NewEntry {
            worker: Some(worker.id),
            task,
            operation,
            quantity: Some(hours),
            amount: Some(amount),
            price: Some(wage),
            burden: Some(burden),
            on_the_road,
            ..self.entry_on("hours", occasion)?
        })?;
        self.log(&format!(
            "{}: {} worked {} h on {}{}.",
            recorded.number,
            worker.name,
            plain(hours, 2),
            occasion.place(),
            recorded.in_place_of()
        ))?;
        Ok(recorded)
    }

    /// Refuses hours that a day has no room for beside those that its worker has on it.
    pub(super) fn refuse_more_than_a_day(
        &self,
        worker: WorkerId,
        hours: Decimal,
        on: NaiveDate,
    ) -> Result<()> {
        let already: Micro = self
            .connection
            .prepare_cached(
                "SELECT COALESCE(SUM(quantity_micro), 0) FROM live_entry
                 WHERE kind = 'hours' AND worker_id = :worker AND happened_on = :on",
            )?
            .query_row(named_params! { ":worker": worker, ":on": on }, |row| {
                row.get(0)
            })?;
        let hours = already.0 + hours;
        if hours > HOURS_OF_A_DAY {
            let name: String = self
                .connection
                .prepare_cached("SELECT name FROM worker WHERE id = :worker")?
                .query_row(named_params! { ":worker": worker }, |row| row.get(0))?;
            let hours = plain(hours, 2);
            refuse!("{name} would have {hours} hours on {on}: a day has 24");
        }
        Ok(())
    }

    /// Logs money spent.
    ///
    /// # Errors
    /// Refuses an amount below zero, nothing said for what, and a date after today.
    pub fn record_spent(
        &self,
        amount: Money,
        what: &str,
        occasion: &Occasion<'_>,
    ) -> Result<Recorded> {
        check_amount("spent", amount)?;
        if what.trim().is_empty() {
            refuse!("say what the money was for");
        }
        let entry = NewEntry {
            amount: Some(amount),
            what: what.trim(),
            ..self.entry_on("spent", occasion)?
        };
        let recorded = self.insert_entry(&entry)?;
        let spent = self.currency().text(amount);
        self.log(&format!(
            "{}: spent {spent} for {} on {}.",
            recorded.number,
            what.trim(),
            occasion.place()
        ))?;
        Ok(recorded)
    }

    /// Logs miles or kilometres driven, at the rate of the settings.
    ///
    /// # Errors
    /// Refuses no distance, a date after today, and driving while it has no rate.
    pub fn record_drive(&self, driven: Decimal, occasion: &Occasion<'_>) -> Result<Recorded> {
        let Some(rate) = self.settings()?.road_rate(self.road()) else {
            let (road, remedy) = no_road_rate(self.units());
            return Err(Refusal::new(format!("nobody has said what a {road} costs"))
                .hint(remedy)
                .into());
        };
        self.enter_drive(driven, rate, occasion)
    }

    /// Logs the same at a rate of its own.
    pub(super) fn enter_drive(
        &self,
        driven: Decimal,
        rate: Decimal,
        occasion: &Occasion<'_>,
    ) -> Result<Recorded> {
        let (driven, rate) = (quantity(driven), quantity(rate));
        check_quantity("drive", driven)?;
        let amount = self.currency().amount(product([driven, rate]));
        let entry = NewEntry {
            quantity: Some(driven),
            amount: Some(amount),
            price: Some(rate),
            ..self.entry_on("drive", occasion)?
        };
        let recorded = self.insert_entry(&entry)?;
        self.log(&format!(
            "{}: drove {} for {}.",
            recorded.number,
            self.road().told(driven, 1),
            occasion.place()
        ))?;
        Ok(recorded)
    }

    /// Logs an item used: from the shelf at the average, beyond it at the book price until a receipt comes.
    ///
    /// # Errors
    /// Refuses a quantity below zero, and a date after today.
    pub fn record_use(
        &self,
        item: &BookItem,
        used: Decimal,
        used_for: UsedFor<'_>,
        occasion: &Occasion<'_>,
    ) -> Result<Recorded> {
        let mut recorded = self.enter_use(item, used, used_for, occasion)?;
        recorded.amount = self.effect_on_stock(&recorded, item.id)?.taken();
        if let Some(job) = occasion.job {
            self.teach_again(&recorded, job)?;
        }
        Ok(recorded)
    }

    /// Writes a use down; what it takes from the stock is still to be worked out.
    pub(super) fn enter_use(
        &self,
        item: &BookItem,
        used: Decimal,
        used_for: UsedFor<'_>,
        occasion: &Occasion<'_>,
    ) -> Result<Recorded> {
        if occasion.job.is_none() {
            refuse!("an item is used on a job");
        }
        let used = quantity(used);
        if matches!(used_for, UsedFor::LeftOver) && item.kept {
            return Err(it_keeps(item));
        }
        check_quantity("use", used)?;
        let recorded = self.insert_entry(&NewEntry {
            operation: used_for.operation().map(|operation| operation.id),
            left_over: matches!(used_for, UsedFor::LeftOver),
            item: Some(item.id),
            quantity: Some(used),
            book_price: Some(item.unit_price(self.currency())),
            ..self.entry_on("use", occasion)?
        })?;
        self.log(&format!(
            "{}: used {} of {} on {}{}.",
            recorded.number,
            item.unit.told(used, 4),
            item.name,
            occasion.place(),
            recorded.in_place_of()
        ))?;
        Ok(recorded)
    }

    /// Derives the evidence of a closed job again for what was typed again in the place of an entry from before it was closed.
    pub(super) fn teach_again(&self, recorded: &Recorded, job: &Job) -> Result<()> {
        let job = self.job_by_id(job.id)?;
        if job.is_closed() && !recorded.late {
            self.rewrite_evidence(&job)?;
        }
        Ok(())
    }

    /// Returns the item meant on a job: by its whole name, by a part of it that only one of the job's items has, or as
    /// any item is found.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn item_for(&self, job: &Job, wanted: &str) -> Result<BookItem> {
        let items = self.items_by_name()?;
        if let Some(item) = items.exact(wanted) {
            return Ok(item.clone());
        }
        let work = self.finished(job)?.work;
        let planned = work.iter().filter_map(|work| Some(work.item.as_ref()?.id));
        let planned: BTreeSet<ItemId> = planned.collect();
        let mut planned_items = self.items()?;
        planned_items.retain(|item| planned.contains(&item.id));
        let planned: Vec<&str> = planned_items
            .iter()
            .map(|item| item.name.as_str())
            .collect();
        let part = key(wanted);
        let has_word = |name: &&str| key(name).split(['-', ' ']).any(|word| word == part);
        let mut fitting: Vec<&str> = planned.iter().copied().filter(has_word).collect();
        if fitting.is_empty() && !part.is_empty() {
            let has_part = |name: &&str| key(name).contains(&part);
            fitting = planned.iter().copied().filter(has_part).collect();
        }
        match fitting[..] {
            [only] => items.find(only).cloned(),
            [] => items.find(wanted).cloned(),
            _ => {
                let names: Vec<String> = fitting.iter().map(|name| typed(name)).collect();
                Err(Refusal::new(format!(
                    "`{}` fits several items of {}",
                    wanted.trim(),
                    job.number
                ))
                .hint(format!("say which: {}", names.join(", ")))
                .into())
            }
        }
    }

    /// Returns the operation that an item was used for: the one named, else the only one that takes it.
    ///
    /// # Errors
    /// Refuses an item that several operations of the job take, and none is named.
    pub fn operation_for(
        &self,
        item: &BookItem,
        job: &Job,
        named: Option<&str>,
    ) -> Result<Option<Operation>> {
        let operations = self.operations()?;
        let takes = |operation: &&Operation| {
            operation
                .item
                .as_ref()
                .is_some_and(|needed| needed.id == item.id)
        };
        if let Some(name) = named {
            let operation = self.operation(name)?;
            if !takes(&&operation) {
                refuse!("`{}` does not take {}", operation.name, item.name);
            }
            return Ok(Some(operation));
        }
        let finished = self.finished(job)?;
        let planned = |operation: &&Operation| {
            finished
                .work
                .iter()
                .any(|work| work.operation == operation.id)
        };
        let users: Vec<&Operation> = operations.iter().filter(takes).collect();
        let on_job: Vec<&Operation> = users.iter().copied().filter(planned).collect();
        match (&on_job[..], &users[..]) {
            ([only], _) | ([], [only]) => Ok(Some((*only).clone())),
            ([], _) => Ok(None),
            (several, _) => {
                let names: Vec<String> = several
                    .iter()
                    .map(|operation| format!("--on {}", typed(&operation.name)))
                    .collect();
                Err(Refusal::new(format!(
                    "{} is used by several operations of {}",
                    item.name, job.number
                ))
                .hint(format!("say which: {}", names.join(", ")))
                .into())
            }
        }
    }

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

    /// Returns an entry of a kind on an occasion, without what it is about.
    pub(super) fn entry_on<'a>(
        &self,
        kind: &'a str,
        occasion: &Occasion<'a>,
    ) -> Result<NewEntry<'a>> {
        let job = occasion.job;
        Ok(NewEntry {
            kind,
            job: job.map(|job| job.id),
            late: job.map_or(Ok(false), |job| self.is_late(job, occasion.on))?,
            measures: job.is_some_and(|job| job.before.is_some()),
            on: occasion.on,
            what: occasion.note,
            rooms: occasion.rooms,
            ..NewEntry::default()
        })
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
                "INSERT INTO entry (id, number, kind, job_id, happened_on, recorded_at, voids_id, place_id, worker_id, task_id,
                                    operation_id, item_id, machine_id, rental_id, quantity_micro, amount_minor,
                                    book_price_micro, price_micro, burden_micro, at, by_tariff, left_over, on_the_road, late,
                                    what)
                 VALUES (:id, :number, :kind, :job, :on, :now, :voids, :place, :worker, :task, :operation, :item, :machine,
                         :rental, :quantity, :amount, :book_price, :price, :burden, :at, :by_tariff, :left_over, :on_the_road,
                         :late, :what)",
            )?
            .execute(named_params! {
                ":id": id, ":number": number, ":kind": entry.kind, ":job": entry.job, ":on": entry.on,
                ":now": self.now(), ":voids": entry.voids, ":place": place, ":worker": entry.worker, ":task": entry.task,
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
