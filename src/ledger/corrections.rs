//! Corrections: an entry written again in the place of one that was taken back, because somebody said so.
//!
//! What isn't said to be otherwise stays as it was, what it cost by the book and the wage then, too. A void that is taken
//! back is the same without anything said: the entry stands again as it was. (What is typed again without a word is found in
//! `slips.rs`.)

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::{OptionalExtension, Row, named_params};

use super::columns::Micro;
use super::day_book::{check_amount, check_quantity, it_keeps, refuse_rooms_on_the_road};
use super::entries::NewEntry;
use super::{
    BookItem, Job, Ledger, Recorded, Refusal, Rental, Room, WorkedOn, Worker, Writing, numbered,
    refuse, typed,
};
use crate::money::{Decimal, Money, product, quantity};
use crate::trade::rental::Away;
use crate::trade::{EntryId, ItemId, JobId, MachineId, OperationId, TaskId, Unit, WorkerId};

/// An entry as it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Identity.
    pub id: EntryId,
    /// `E1`.
    pub number: String,
    /// What kind of thing was done.
    pub kind: String,
    /// The job.
    pub job: Option<JobId>,
    /// When it happened.
    pub on: NaiveDate,
    /// The item.
    pub item: Option<ItemId>,
    /// Items, hours, what was driven.
    pub quantity: Option<Decimal>,
    /// What was paid, or is charged.
    pub amount: Option<Money>,
    /// When a machine went out or came back.
    pub at: Option<NaiveDateTime>,
    /// What money was spent for, or a note.
    pub what: String,
    /// Worker, item or machine; nothing: neither.
    pub subject: String,
    /// The task or operation that it was for.
    pub worked_on: Option<String>,
    /// The unit of an item.
    pub unit: Option<Unit>,
    /// The rooms that it names.
    pub rooms: Vec<String>,
    /// What a void takes back.
    pub voids: Option<EntryId>,
    worker: Option<WorkerId>,
    task: Option<TaskId>,
    operation: Option<OperationId>,
    machine: Option<MachineId>,
    rental: Option<EntryId>,
    book_price: Option<Decimal>,
    price: Option<Decimal>,
    burden: Option<Decimal>,
    by_tariff: Option<bool>,
    left_over: bool,
    on_the_road: bool,
    recorded_at: NaiveDateTime,
    place: EntryId,
}

/// What of an entry should have been otherwise; what isn't said stays as it was.
#[derive(Clone, Copy, Debug, Default)]
pub struct Correction<'a> {
    /// Items, hours, what was driven.
    pub quantity: Option<Decimal>,
    /// What was spent, paid, refunded or charged.
    pub cost: Option<Money>,
    /// The item.
    pub item: Option<&'a BookItem>,
    /// Who worked.
    pub worker: Option<&'a Worker>,
    /// What the hours or the item were for.
    pub on: Option<&'a WorkedOn>,
    /// The job.
    pub job: Option<&'a Job>,
    /// It belongs to no job, and so to no room or task.
    pub no_job: bool,
    /// The rooms; none: the whole job.
    pub rooms: Option<&'a [Room]>,
    /// When it happened.
    pub date: Option<NaiveDate>,
    /// When a machine went out or came back.
    pub at: Option<NaiveDateTime>,
    /// What money was spent for.
    pub purpose: Option<&'a str>,
}

impl Written {
    /// Returns the entry as it should have been, without what follows from other entries.
    fn corrected(&self, correction: &Correction<'_>) -> Written {
        let mut entry = self.clone();
        entry.quantity = correction.quantity.map(quantity).or(entry.quantity);
        if let Some(cost) = correction.cost {
            entry.amount = Some(cost);
            entry.by_tariff = entry.by_tariff.map(|_| false);
        }
        if let Some(item) = correction.item {
            entry.item = Some(item.id);
        }
        if let Some(worker) = correction.worker {
            entry.worker = Some(worker.id);
        }
        if let Some(on) = correction.on {
            let (task, operation) = on.columns();
            entry.task = task.filter(|_| entry.worker.is_some());
            entry.operation = operation;
            entry.left_over = false;
            entry.on_the_road = *on == WorkedOn::TheRoad;
        }
        entry.job = correction.job.map(|job| job.id).or(entry.job);
        if correction.no_job {
            (entry.job, entry.task, entry.operation) = (None, None, None);
        }
        entry.on = correction.date.unwrap_or(entry.on);
        if let Some(at) = correction.at {
            (entry.at, entry.on) = (Some(at), at.date());
        }
        if let Some(purpose) = correction.purpose {
            purpose.trim().clone_into(&mut entry.what);
        }
        entry
    }

    fn as_new(&self) -> NewEntry<'_> {
        NewEntry {
            kind: &self.kind,
            job: self.job,
            on: self.on,
            worker: self.worker,
            task: self.task,
            operation: self.operation,
            item: self.item,
            machine: self.machine,
            rental: self.rental,
            quantity: self.quantity,
            amount: self.amount,
            book_price: self.book_price,
            price: self.price,
            burden: self.burden,
            at: self.at,
            by_tariff: self.by_tariff,
            left_over: self.left_over,
            on_the_road: self.on_the_road,
            what: &self.what,
            ..NewEntry::default()
        }
    }
}

impl Ledger {
    /// Returns an entry as it was written.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn written(&self, entry: EntryId) -> Result<Written> {
        let mut statement = self.connection.prepare_cached(
            "SELECT entry.*, COALESCE(worker.name, item.name, machine.name, '') AS subject, item.unit,
                    COALESCE(operation.name, task.name, IIF(on_the_road, 'driving', NULL)) AS worked_on
             FROM entry
             LEFT JOIN task ON task.id = entry.task_id
             LEFT JOIN operation ON operation.id = entry.operation_id
             LEFT JOIN worker ON worker.id = entry.worker_id
             LEFT JOIN item ON item.id = entry.item_id
             LEFT JOIN machine ON machine.id = entry.machine_id
             WHERE entry.id = :entry",
        )?;
        let mut written =
            statement.query_row(named_params! { ":entry": entry }, written_from_row)?;
        let mut rooms = self.connection.prepare_cached(
            "SELECT room.name FROM entry_room JOIN room ON room.id = room_id WHERE entry_id = :entry ORDER BY room_id",
        )?;
        let named = rooms.query_map(named_params! { ":entry": entry }, |row| row.get(0))?;
        written.rooms = named.collect::<rusqlite::Result<_>>()?;
        Ok(written)
    }

    /// Returns the last entry that counts.
    ///
    /// # Errors
    /// Refuses if there is none.
    pub fn last_entry(&self) -> Result<EntryId> {
        let last = self
            .connection
            .prepare_cached(
                "SELECT id FROM live_entry WHERE id >> 40 = :copy ORDER BY id DESC LIMIT 1",
            )?
            .query_row(named_params! { ":copy": self.identity.copy }, |row| {
                row.get(0)
            })
            .optional()?;
        match last {
            Some(last) => Ok(last),
            None => Err(Refusal::new("no entry of the day book counts")
                .hint("gritledger log")
                .into()),
        }
    }

    /// Tells whether an entry counts.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn counts(&self, entry: EntryId) -> Result<bool> {
        Ok(self.void_of(entry)?.is_none())
    }

    /// Returns the number of the void that took an entry back; `None`: it counts.
    fn void_of(&self, entry: EntryId) -> Result<Option<String>> {
        Ok(self
            .connection
            .prepare_cached("SELECT id, number FROM entry WHERE voids_id = :entry")?
            .query_row(named_params! { ":entry": entry }, number_from_row)
            .optional()?)
    }

    /// Returns the number of the entry that counts in a place.
    fn standing_in(&self, place: EntryId) -> Result<Option<String>> {
        Ok(self
            .connection
            .prepare_cached("SELECT id, number FROM live_entry WHERE place_id = :place")?
            .query_row(named_params! { ":place": place }, number_from_row)
            .optional()?)
    }

    /// Returns an entry that counts and may be corrected.
    ///
    /// # Errors
    /// Refuses a void, and an entry that was voided; `again` says the same command for an entry that stands in its place.
    pub fn correctable(&self, id: EntryId, again: impl Fn(&str) -> String) -> Result<Written> {
        let written = self.written(id)?;
        let number = &written.number;
        let take_back = |void: &str, entry: &str| {
            format!("gritledger void {void} --reason \"{entry} was right\"")
        };
        if let Some(voided) = written.voids {
            let words = |voided: &str| {
                format!("{number} is a void: it takes {voided} back, and says nothing else")
            };
            let voided = self.written(voided)?;
            let refusal = Refusal::new(words(&voided.number));
            return Err(match self.standing_in(voided.place)? {
                Some(standing) => refusal.hint(again(&standing)),
                None => refusal.hint(take_back(number, &voided.number)),
            }
            .into());
        }
        let Some(void) = self.void_of(id)? else {
            return Ok(written);
        };
        Err(match self.standing_in(written.place)? {
            Some(standing) => Refusal::new(format!(
                "{number} was voided already, and {standing} stands in its place"
            ))
            .hint(again(&standing)),
            None => {
                Refusal::new(format!("{number} was voided already")).hint(take_back(&void, number))
            }
        }
        .into())
    }

    /// Returns why an entry is taken back: as it was said, or a slip, if it was written today and none of its jobs is closed.
    ///
    /// # Errors
    /// Refuses nothing said where it must be; the hint is the command as it was typed, with a reason.
    pub fn reason_for(
        &self,
        entry: &Written,
        corrected_to: Option<&Job>,
        said: Option<&str>,
        command: &str,
    ) -> Result<String> {
        if let Some(said) = said.map(str::trim).filter(|said| !said.is_empty()) {
            return Ok(said.to_owned());
        }
        let job = entry.job.map(|job| self.job_by_id(job)).transpose()?;
        let mut jobs = job.iter().chain(corrected_to);
        let because = match jobs.find(|job| job.is_closed()) {
            _ if said.is_some() => String::new(),
            Some(closed) => format!(": {} is closed", closed.number),
            None if entry.recorded_at.date() != self.today() => {
                format!(": it was written on {}", entry.recorded_at.date())
            }
            None => return Ok("a slip".to_owned()),
        };
        Err(
            Refusal::new(format!("say why {} is taken back{because}", entry.number))
                .hint(format!("{command} --reason \"...\""))
                .into(),
        )
    }
}

fn number_from_row(row: &Row<'_>) -> rusqlite::Result<String> {
    Ok(numbered('E', row.get("id")?, row.get("number")?))
}

/// Reads an entry without its rooms.
fn written_from_row(row: &Row<'_>) -> rusqlite::Result<Written> {
    let id: EntryId = row.get("id")?;
    let micro = |column| {
        row.get::<_, Option<Micro>>(column)
            .map(|micro| micro.map(|micro| micro.0))
    };
    Ok(Written {
        id,
        number: numbered('E', id.0, row.get("number")?),
        kind: row.get("kind")?,
        job: row.get("job_id")?,
        on: row.get("happened_on")?,
        item: row.get("item_id")?,
        quantity: micro("quantity_micro")?,
        amount: row.get("amount_minor")?,
        at: row.get("at")?,
        what: row.get("what")?,
        subject: row.get("subject")?,
        worked_on: row.get("worked_on")?,
        unit: row.get("unit")?,
        rooms: Vec::new(),
        voids: row.get("voids_id")?,
        worker: row.get("worker_id")?,
        task: row.get("task_id")?,
        operation: row.get("operation_id")?,
        machine: row.get("machine_id")?,
        rental: row.get("rental_id")?,
        book_price: micro("book_price_micro")?,
        price: micro("price_micro")?,
        burden: micro("burden_micro")?,
        by_tariff: row.get("by_tariff")?,
        left_over: row.get("left_over")?,
        on_the_road: row.get("on_the_road")?,
        recorded_at: row.get("recorded_at")?,
        place: row.get("place_id")?,
    })
}

impl Writing<'_> {
    /// Takes an entry back and writes it again as it should have been, in its place.
    ///
    /// # Errors
    /// Refuses what [`Writing::void_entry`] refuses, what the entry would be refused for if it were
    /// typed, and a correction that changes nothing.
    pub fn correct_entry(
        &self,
        slip: &Written,
        correction: &Correction<'_>,
        reason: &str,
    ) -> Result<Recorded> {
        let mut entry = slip.corrected(correction);
        let other_job = correction.job.filter(|job| Some(job.id) != slip.job);
        let moved = match (correction.rooms, other_job) {
            (None, Some(job)) if !slip.rooms.is_empty() => Some(self.same_rooms(slip, job)?),
            _ => None,
        };
        refuse_rooms_on_the_road(entry.on_the_road, correction.rooms.unwrap_or_default())?;
        let rooms = match correction.no_job || entry.on_the_road {
            true => Some(&[][..]),
            false => correction.rooms.or(moved.as_deref()),
        };
        let names = rooms.map(|rooms| rooms.iter().map(|room| room.name.clone()).collect());
        let names: Vec<String> = names.unwrap_or_else(|| slip.rooms.clone());
        if entry == *slip && names == slip.rooms {
            refuse!("{} says that already", slip.number);
        }
        if entry.job.is_none() && entry.task.is_some() {
            refuse!("hours of no job are for no task");
        }
        self.settle_figures(&mut entry, correction)?;
        self.void_entry(slip.id, reason)?;
        let recorded = self.enter_in_place(slip, entry, rooms)?;
        self.log(&format!(
            "{}: corrected {} ({}).",
            recorded.number, slip.number, slip.kind
        ))?;
        Ok(recorded)
    }

    /// Writes again what a void took back.
    pub(super) fn void_a_void(
        &self,
        void: &Written,
        voided: EntryId,
        reason: &str,
    ) -> Result<Recorded> {
        let slip = self.written(voided)?;
        let recorded = self.enter_in_place(&slip, slip.clone(), None)?;
        self.log(&format!(
            "{}: entered {} again, which {} took back: {}.",
            recorded.number,
            slip.number,
            void.number,
            reason.trim()
        ))?;
        Ok(recorded)
    }

    /// Refuses to enter again what was voided, where another entry stands in its place.
    pub(super) fn refuse_taken_place(&self, voided: EntryId) -> Result<()> {
        let slip = self.written(voided)?;
        let Some(again) = self.standing_in(slip.place)? else {
            return Ok(());
        };
        let number = &slip.number;
        Err(
            Refusal::new(format!("{again} stands in the place of {number} already"))
                .hint(format!(
                    "gritledger void {again} --reason \"{number} was right\""
                ))
                .into(),
        )
    }

    /// Returns the rooms of another job that are called as those of an entry are.
    fn same_rooms(&self, entry: &Written, job: &Job) -> Result<Vec<Room>> {
        let mut rooms = Vec::new();
        for name in &entry.rooms {
            let Ok(room) = self.room(name, Some(job.site_id)) else {
                return Err(Refusal::new(format!(
                    "{} names {name}, which isn't where {} is",
                    entry.number, job.number
                ))
                .hint("say which rooms: --room \"ROOM\", or --whole-job")
                .into());
            };
            rooms.push(room);
        }
        Ok(rooms)
    }

    /// Prices hours anew where somebody else did them, or where they move to or from the owner's own floors.
    fn settle_wage(&self, entry: &mut Written, correction: &Correction<'_>) -> Result<()> {
        let job = entry.job.map(|job| self.job_by_id(job)).transpose()?;
        let is_own = job.as_ref().is_some_and(|job| job.own);
        let moves = correction.job.is_some() && (is_own || entry.price == Some(Decimal::ZERO));
        let worker = match (correction.worker, entry.worker) {
            (Some(worker), _) => Some(worker.clone()),
            (None, id) if moves => self
                .workers()?
                .into_iter()
                .find(|known| Some(known.id) == id),
            _ => None,
        };
        if let Some(worker) = worker {
            entry.price = Some(self.wage_on(&worker, job.as_ref()));
        }
        Ok(())
    }

    /// Checks the figures of an entry, and works out what follows from them alone.
    fn settle_figures(&self, entry: &mut Written, correction: &Correction<'_>) -> Result<()> {
        if let Some(quantity) = entry.quantity {
            check_quantity(&entry.kind, quantity)?;
        }
        if let Some(amount) = entry.amount {
            check_amount(&entry.kind, amount)?;
        }
        if entry.kind == "spent" && entry.what.is_empty() {
            refuse!("say what the money was for");
        }
        if let Some(item) = correction.item {
            entry.book_price = entry
                .book_price
                .map(|_| quantity(item.unit_price(self.currency())));
            if entry.left_over && item.kept {
                return Err(it_keeps(item));
            }
        }
        if entry.kind == "hours" {
            self.settle_wage(entry, correction)?;
        }
        if let ("hours" | "drive", Some(quantity), Some(price)) =
            (&*entry.kind, entry.quantity, entry.price)
        {
            let burden = entry.burden.unwrap_or(Decimal::ONE);
            entry.amount = Some(self.currency().amount(product([quantity, price, burden])));
        }
        Ok(())
    }

    /// Writes an entry in the place of one that was taken back, and works out what follows from it. No rooms said: those that
    /// it had, as they were.
    fn enter_in_place(
        &self,
        slip: &Written,
        mut entry: Written,
        rooms: Option<&[Room]>,
    ) -> Result<Recorded> {
        if let (Some(worker), Some(hours)) = (entry.worker, entry.quantity) {
            self.refuse_more_than_a_day(worker, hours, entry.on)?;
        }
        let rental = self.settle_rental(&mut entry)?;
        let job = entry.job.map(|job| self.job_by_id(job)).transpose()?;
        let late = job.as_ref().map(|job| self.is_late(job, entry.on));
        let mut recorded = self.insert_entry(&NewEntry {
            in_place_of: Some(slip.id),
            late: late.transpose()?.unwrap_or_default() && entry.kind != "rental-back",
            measures: job.as_ref().is_some_and(|job| job.before.is_some()),
            rooms: rooms.unwrap_or_default(),
            ..entry.as_new()
        })?;
        if rooms.is_none() {
            self.copy_rooms(slip.id, recorded.id)?;
        }
        if let Some(item) = entry.item {
            let taken = self.effect_on_stock(&recorded, item)?.taken();
            recorded.amount = entry.amount.unwrap_or(taken);
        }
        match (&*entry.kind, rental) {
            ("rental-out", _) => self.copy_tariff(slip.id, recorded.id)?,
            ("rental-back", Some((rental, away))) => {
                self.charge_days(&rental, &recorded, away, recorded.amount)?;
            }
            _ => {}
        }
        if let Some(job) = &job {
            self.teach_again(&recorded, job)?;
        }
        Ok(recorded)
    }

    /// Finds the rental that an entry about a machine belongs to now, and what its return comes to.
    fn settle_rental(&self, entry: &mut Written) -> Result<Option<(Rental, Away)>> {
        let mut machines = self.machines()?.into_iter();
        let Some(machine) = machines.find(|known| Some(known.id) == entry.machine) else {
            return Ok(None);
        };
        if entry.kind == "rental-out" {
            self.refuse_machine_out(&machine)?;
            return Ok(None);
        }
        let rental = self.rental_out_of(&machine)?;
        let went = entry.rental.map(|went| self.written(went)).transpose()?;
        if went.is_none_or(|went| self.place_of(rental.id).ok() != Some(went.place)) {
            return Err(Refusal::new(format!(
                "{} went out by another entry since, {}",
                machine.name, rental.entry
            ))
            .hint(format!("gritledger rental back {}", typed(&machine.name)))
            .into());
        }
        entry.rental = Some(rental.id);
        let Some(at) = entry.at else {
            rental.refuse_before(entry.on)?;
            return Ok(None);
        };
        let away = rental.away_until(at)?;
        if entry.by_tariff == Some(true) {
            entry.amount = Some(away.cover(&rental.tariff).total());
        }
        Ok(Some((rental, away)))
    }

    fn place_of(&self, entry: EntryId) -> Result<EntryId> {
        Ok(self.written(entry)?.place)
    }

    fn copy_rooms(&self, from: EntryId, to: EntryId) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO entry_room (entry_id, room_id, area_micro, edge_micro, steps, floor_condition, parts,
                                         species)
                 SELECT :to, room_id, area_micro, edge_micro, steps, floor_condition, parts, species
                 FROM entry_room WHERE entry_id = :from",
            )?
            .execute(named_params! { ":from": from, ":to": to })?;
        Ok(())
    }

    fn copy_tariff(&self, from: EntryId, to: EntryId) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO rental_tariff (entry_id, half_day_minor, day_minor, weekend_minor, week_minor,
                                            four_weeks_minor, waiver_micro, cleaning_minor)
                 SELECT :to, half_day_minor, day_minor, weekend_minor, week_minor, four_weeks_minor, waiver_micro,
                        cleaning_minor
                 FROM rental_tariff WHERE entry_id = :from",
            )?
            .execute(named_params! { ":from": from, ":to": to })?;
        Ok(())
    }
}
