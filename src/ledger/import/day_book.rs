//! Bringing in what happened: purchases, uses, hours, money spent, machines out and back.

use std::collections::BTreeMap;
use std::rc::Rc;

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::named_params;

use super::book::exact_price;
use super::known::Importing;
use super::places::road_of;
use crate::ledger::names::{Names, key, near_names};
use crate::ledger::rows::{Row, Rows};
use crate::ledger::stock::Stand;
use crate::ledger::{
    Job, Occasion, Recorded, Room, UsedFor, WorkedOn, Worker, read_number, refuse,
};
use crate::measure::{Units, on_the_road};
use crate::money::{Decimal, Money};
use crate::trade::bounds::{check_day, check_wage};
use crate::trade::rental::Tariff;
use crate::trade::{ItemId, JobId};

/// What rows that were written down still have to do.
#[derive(Debug, Default)]
struct Consequences {
    /// From where on the stock of each item is to be worked out.
    stock: BTreeMap<ItemId, Stand>,
    /// Closed jobs that teach something else now.
    taught: BTreeMap<JobId, Rc<Job>>,
}

impl Consequences {
    fn of_job(&mut self, job: &Rc<Job>, recorded: &Recorded) {
        if job.is_closed() && !recorded.late {
            self.taught.insert(job.id, job.clone());
        }
    }

    fn of_item(&mut self, item: ItemId, stand: Stand) {
        let first = self.stock.entry(item).or_insert(stand);
        *first = (*first).min(stand);
    }
}

impl Importing<'_> {
    /// Works out what the rows did, once each was written down.
    fn follow_up(&self, consequences: &Consequences) -> Result<()> {
        for (item, from) in &consequences.stock {
            self.replay_from(*item, *from)?;
        }
        let taught: Vec<&Job> = consequences.taught.values().map(Rc::as_ref).collect();
        self.rewrite_evidence_of(&taught)
    }

    /// Notes which entry a row became.
    fn became(&self, row: Row<'_>, recorded: &Recorded) {
        self.entries.borrow_mut().push((row.line, recorded.id));
    }

    /// Returns the lines of rows that say what an entry said before the import: of the same day, job and rooms, for the same,
    /// as much and at the same cost. What an item cost the job follows from the stock, and says nothing; of a machine it is when
    /// it went out.
    pub(super) fn said_before(&self) -> Result<Vec<u64>> {
        let entries = self.entries.borrow();
        let Some(first) = entries.iter().map(|(_, id)| *id).min() else {
            return Ok(Vec::new());
        };
        let rooms = |of: &str| {
            format!(
                "(SELECT GROUP_CONCAT(room_id) FROM (SELECT room_id FROM entry_room WHERE entry_id = {of}.id ORDER BY room_id))"
            )
        };
        let sql = format!(
            "SELECT 1 FROM entry AS new JOIN live_entry AS old
                    ON old.happened_on = new.happened_on AND old.kind = new.kind
             WHERE new.id = :id AND (old.id < :first OR old.id >> 40 <> :first >> 40)
                   AND old.job_id IS new.job_id AND old.item_id IS new.item_id AND old.worker_id IS new.worker_id
                   AND old.machine_id IS new.machine_id AND old.at IS new.at AND old.operation_id IS new.operation_id AND old.task_id IS new.task_id
                   AND old.left_over = new.left_over AND old.on_the_road = new.on_the_road AND old.what = new.what
                   AND old.quantity_micro IS new.quantity_micro AND old.amount_minor IS new.amount_minor
                   AND {} IS {}",
            rooms("old"),
            rooms("new")
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut again = Vec::new();
        for (line, id) in entries.iter() {
            if statement.exists(named_params! { ":id": id, ":first": first })? {
                again.push(*line);
            }
        }
        Ok(again)
    }

    pub(super) fn import_purchases(&self, rows: &Rows) -> Result<()> {
        let mut consequences = Consequences::default();
        for row in rows.iter() {
            let on = row.date("date", self.today())?;
            let item = row.find("item", |name| self.item(name))?;
            let bought = row.positive("quantity")?;
            let paid = row.read("cost", |text| self.amount(text))?;
            let recorded = self.as_of_open(on, || {
                self.enter_buy(item, bought, paid, on, row.text("note"))
            });
            let recorded = recorded.map_err(|error| row.wrong("quantity", error))?;
            self.became(row, &recorded);
            consequences.of_item(item.id, self.stand_of(recorded.id)?);
        }
        self.follow_up(&consequences)
    }

    pub(super) fn import_usage(&self, rows: &Rows) -> Result<()> {
        let mut consequences = Consequences::default();
        for row in rows.iter() {
            self.import_use(row, &mut consequences)?;
        }
        self.follow_up(&consequences)
    }

    fn import_use(&self, row: Row<'_>, consequences: &mut Consequences) -> Result<()> {
        let on = row.date("date", self.today())?;
        let (job, rooms) = (self.job_of(row)?, self.rooms_of_row(row)?);
        let item = row.find("item", |name| self.item(name))?;
        let used = row
            .number("quantity")?
            .ok_or_else(|| row.wrong("quantity", "is empty"))?;
        let used_for = match row.text("operation").trim() {
            UsedFor::LEFT_OVER => UsedFor::LeftOver,
            _ => UsedFor::Operation(row.maybe("operation", |name| self.operation(name))?),
        };
        let occasion = occasion(row, Some(&job), &rooms, on);
        let recorded = self.as_of_open(on, || self.enter_use(item, used, used_for, &occasion));
        // What is left to refuse is the operation: one that doesn't take the item, or several that do.
        let recorded = recorded.map_err(|error| row.wrong("operation", error))?;
        self.became(row, &recorded);
        consequences.of_item(item.id, self.stand_of(recorded.id)?);
        consequences.of_job(&job, &recorded);
        Ok(())
    }

    /// A worker who is made by a file ends it at the wage of the newest day.
    pub(super) fn import_hours(&self, rows: &Rows) -> Result<()> {
        let mut consequences = Consequences::default();
        let mut workers = self.workers_by_name()?;
        let mut made: BTreeMap<String, (NaiveDate, Money)> = BTreeMap::new();
        for row in rows.iter() {
            let on = row.date("date", self.today())?;
            let wage = row.maybe("wage", |text| self.wage(text))?;
            let name = row.filled("worker")?;
            let worker = match wage {
                Some(wage) => {
                    if workers.exact(name).is_none() {
                        made.insert(key(name), (on, wage));
                    }
                    self.worker_at(row, name, wage, &mut workers)?
                }
                None => row.find("worker", |name| workers.find(name))?.clone(),
            };
            if let (Some(wage), Some(newest)) = (wage, made.get_mut(&key(name))) {
                *newest = (*newest).max((on, wage));
            }
            self.import_hours_row(row, on, &worker, &mut consequences)?;
        }
        for (name, (_, wage)) in made {
            let worker = self.worker(&name)?;
            if worker.wage != wage {
                self.edit_worker(&Worker { wage, ..worker })?;
            }
        }
        self.follow_up(&consequences)
    }

    /// Returns the worker of a row at the row's wage: what an hour cost then stays what it cost.
    ///
    /// One whom the ledger doesn't have is made. Only a whole name stands for a worker here, or the hours of an Ann would
    /// go to an Anna.
    fn worker_at(
        &self,
        row: Row<'_>,
        name: &str,
        wage: Money,
        workers: &mut Names<Worker>,
    ) -> Result<Worker> {
        if let Some(worker) = workers.exact(name) {
            return Ok(Worker {
                wage,
                ..worker.clone()
            });
        }
        self.add_worker(name, wage)
            .map_err(|error| row.wrong("worker", error))?;
        let worker = self.worker(name)?;
        workers.add(worker.name.clone(), worker.clone());
        Ok(worker)
    }

    fn import_hours_row(
        &self,
        row: Row<'_>,
        on: NaiveDate,
        worker: &Worker,
        consequences: &mut Consequences,
    ) -> Result<()> {
        let (job, rooms) = self.job_or_none(row)?;
        let hours = row.positive("hours")?;
        let worked_on = self.worked_on(row)?;
        if job.is_none() && worked_on.columns().0.is_some() {
            return Err(row.wrong("on", "hours of no job are for no task"));
        }
        let occasion = occasion(row, job.as_deref(), &rooms, on);
        let recorded = self.as_of_open(on, || {
            self.enter_hours(worker, hours, &worked_on, &occasion)
        });
        let recorded = recorded.map_err(|error| row.wrong("hours", error))?;
        self.became(row, &recorded);
        if let Some(job) = job {
            consequences.of_job(&job, &recorded);
        }
        Ok(())
    }

    fn worked_on(&self, row: Row<'_>) -> Result<WorkedOn> {
        let on = row.text("on").trim();
        if on.is_empty() {
            return Ok(WorkedOn::Nothing);
        }
        if WorkedOn::is_the_road(on) {
            return Ok(WorkedOn::TheRoad);
        }
        if let Some(task) = self.task(on)? {
            return Ok(WorkedOn::Task(task.clone()));
        }
        let operation = row.find("on", |name| self.operation(name))?;
        Ok(WorkedOn::Operation(Box::new(operation.clone())))
    }

    pub(super) fn import_spent(&self, rows: &Rows) -> Result<()> {
        for row in rows.iter() {
            let on = row.date("date", self.today())?;
            let (job, rooms) = self.job_or_none(row)?;
            let amount = row.read("amount", |text| self.amount(text))?;
            let what = row.filled("what")?;
            let occasion = occasion(row, job.as_deref(), &rooms, on);
            let recorded = self.as_of_open(on, || self.record_spent(amount, what, &occasion));
            self.became(row, &recorded.map_err(|error| row.wrong("amount", error))?);
        }
        Ok(())
    }

    /// A row without a rate is at that of the settings.
    pub(super) fn import_drives(&self, rows: &Rows, units: Units) -> Result<()> {
        for row in rows.iter() {
            let on = row.date("date", self.today())?;
            let (job, rooms) = self.job_or_none(row)?;
            let road = road_of(row, units)?;
            let driven = on_the_road(row.positive("distance")?, road, self.units());
            // What a mile costs is as much more than a kilometre as it is longer.
            let rate = row
                .number("rate")?
                .map(|rate| on_the_road(rate, self.units(), road));
            let occasion = occasion(row, job.as_deref(), &rooms, on);
            let recorded = self.as_of_open(on, || match rate {
                Some(rate) => self.enter_drive(driven, rate, &occasion),
                None => self.record_drive(driven, &occasion),
            });
            self.became(
                row,
                &recorded.map_err(|error| row.refused("distance", &error))?,
            );
        }
        Ok(())
    }

    pub(super) fn import_rentals(&self, rows: &Rows) -> Result<()> {
        rows.iter().try_for_each(|row| self.import_rental(row))
    }

    fn import_rental(&self, row: Row<'_>) -> Result<()> {
        let today = self.today();
        let moment = |text: &str| {
            let read = NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M")
                .or_else(|_| NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M"));
            match read {
                Ok(at) if at.date() > today => Err(format!("`{text}` is after today, {today}")),
                Ok(at) => match check_day(at.date(), today) {
                    Ok(()) => Ok(at),
                    Err(impossible) => Err(impossible.to_string()),
                },
                Err(_) => Err(format!("`{text}` is not a time like 2026-03-02 08:00")),
            }
        };
        let mut machine = row.find("machine", |name| self.machine(name))?.clone();
        if let Some(tariff) = self.tariff_of(row)? {
            machine.tariff = tariff;
        }
        let out = row.read("out_at", moment)?;
        let back = row.maybe("back_at", moment)?;
        let charge = row.maybe("charge", |text| self.amount(text))?;
        let job = self.job_of(row)?;
        let recorded = self.as_of_open(out.date(), || self.rental_out(&machine, out, &job));
        self.became(row, &recorded.map_err(|error| row.wrong("out_at", error))?);
        for moved in row
            .text("moved")
            .split("; ")
            .filter(|moved| !moved.is_empty())
        {
            let (on, job) = read_move(moved, today).map_err(|error| row.wrong("moved", error))?;
            let job = self.job(job).map_err(|error| row.wrong("moved", error))?;
            self.as_of_open(on, || self.rental_day(&machine, on, &job))
                .map_err(|error| row.wrong("moved", error))?;
        }
        if let Some(back) = back {
            let returned =
                self.as_of_open(back.date(), || self.rental_back(&machine, back, charge));
            returned.map_err(|error| row.wrong("back_at", error))?;
        }
        Ok(())
    }

    /// Returns the tariff with which a machine went out; `None`: the row doesn't say what a day was.
    fn tariff_of(&self, row: Row<'_>) -> Result<Option<Tariff>> {
        let price = |column| row.maybe(column, |text| self.amount(text));
        let Some(day) = price("day")? else {
            return Ok(None);
        };
        let waiver_percent = row.number("waiver_percent")?.unwrap_or_default();
        if waiver_percent > Decimal::ONE_HUNDRED {
            return Err(row.wrong("waiver_percent", "a waiver is no more than 100 %"));
        }
        Ok(Some(Tariff {
            half_day: price("half_day")?,
            day,
            weekend: price("weekend")?,
            week: price("week")?,
            four_weeks: price("four_weeks")?,
            waiver_percent,
            cleaning: price("cleaning")?.unwrap_or_default(),
        }))
    }

    /// Returns the job and the rooms of a row that may say that it belongs to no job; then it names none of them.
    fn job_or_none(&self, row: Row<'_>) -> Result<(Option<Rc<Job>>, Vec<Room>)> {
        if !row.truth("no_job", false)? {
            return Ok((Some(self.job_of(row)?), self.rooms_of_row(row)?));
        }
        for column in ["job", "site", "room"] {
            if !row.text(column).trim().is_empty() {
                return Err(row.wrong(column, "a cost of no job has none"));
            }
        }
        Ok((None, Vec::new()))
    }

    /// Returns the job of a row, at the row's site.
    fn job_of(&self, row: Row<'_>) -> Result<Rc<Job>> {
        let label = row.filled("job")?;
        let site = row.find("site", |name| self.site(name))?;
        let job = self
            .job(label)
            .map_err(|error| self.no_job(row, label, &error))?;
        if job.site_id != site.id {
            return Err(row.wrong(
                "site",
                format!("{label} is at `{}`, not at `{}`", job.site, site.address),
            ));
        }
        Ok(job)
    }

    fn no_job(&self, row: Row<'_>, label: &str, error: &anyhow::Error) -> anyhow::Error {
        if read_number('J', label).is_none() {
            let is_named = self.jobs_by_name().is_ok_and(|names| !names.is_empty());
            return match is_named {
                true => row.refused("job", error),
                false => row.wrong("job", format!("`{label}` is not a job number like J1")),
            };
        }
        let jobs = self.jobs().unwrap_or_default();
        let near = near_names(&key(label), jobs.iter().map(|job| job.number.as_str()));
        let refusal = row.refusal("job", format!("no job `{label}`"));
        let refusal = match near[..] {
            [] => refusal.hint("a job begins with its quote: gritledger quote draft SITE"),
            _ => refusal.hint(format!("near numbers: {}", near.join(", "))),
        };
        refusal.into()
    }

    pub(super) fn amount(&self, text: &str) -> Result<Money> {
        exact_price(self.currency(), text)
    }

    fn wage(&self, text: &str) -> Result<Money> {
        let wage = self.amount(text)?;
        check_wage(wage)?;
        Ok(wage)
    }

    fn rooms_of_row(&self, row: Row<'_>) -> Result<Vec<Room>> {
        let site = row.find("site", |name| self.site(name))?;
        let names = row.text("room").split(';').map(str::trim);
        let rooms = names.filter(|name| !name.is_empty()).map(|name| {
            self.room(name, site.id)
                .map_err(|error| row.refused("room", &error))
        });
        rooms.collect()
    }
}

fn occasion<'a>(
    row: Row<'a>,
    job: Option<&'a Job>,
    rooms: &'a [Room],
    on: NaiveDate,
) -> Occasion<'a> {
    Occasion {
        job,
        rooms,
        on,
        note: row.text("note"),
    }
}

/// Reads from which date on which job had a machine: `2026-02-28 J2`.
fn read_move(text: &str, today: NaiveDate) -> Result<(NaiveDate, &str)> {
    let (date, job) = text.split_once(' ').unwrap_or((text, ""));
    match date.parse() {
        Ok(date) if date > today => refuse!("`{date}` is after today, {today}"),
        Ok(date) if !job.is_empty() => Ok((date, job)),
        _ => refuse!("`{text}` is not a date and a job, like 2026-02-28 J2"),
    }
}
