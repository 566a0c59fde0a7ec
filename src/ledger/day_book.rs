//! The day book: what was used, worked, spent and driven.
//!
//! Purchases and the shelf are in `stock.rs`, machines out and back in `rentals.rs`; all of them are entries of one
//! series (`entries.rs`).
//!
//! What is typed again for a slip stands in the slip's place (`place_id`): in the order of its day, before or after a
//! job was closed, at the book price of then. Somebody says so (`corrections.rs`), or the ledger sees by itself what is typed
//! again (`slips.rs`).

use std::collections::BTreeSet;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::columns::Micro;
use super::entries::NewEntry;
use super::names::key;
use super::settings::no_road_rate;
use super::{
    BookItem, Job, Ledger, Recorded, Refusal, Room, Worker, Writing, numbered, refuse, typed,
};
use crate::money::{Decimal, MOST_UNITS, Money, plain, product, quantity};
use crate::trade::bounds::{HOURS_OF_A_DAY, MOST_DRIVEN};
use crate::trade::job_cost::DRIVING;
use crate::trade::operation::{Operation, Task};
use crate::trade::{EntryId, ItemId, OperationId, TaskId, WorkerId};

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

impl Occasion<'_> {
    /// Returns where it belongs, in the words of the log: `J1`, `no job`.
    fn place(&self) -> &str {
        self.job.map_or("no job", |job| &job.number)
    }
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
}
