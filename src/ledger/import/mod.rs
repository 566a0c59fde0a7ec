//! Bringing rows in: clients, sites and rooms, and what happened on jobs; [`book`] brings in the book and a notebook.
//!
//! All of a file or nothing of it: the caller's transaction is rolled back by the first mistake, which is told as
//! `file:line: column: what`. Imported history counts as recorded when it happened.

mod book;
mod cases;

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};

pub(super) use self::book::seed_price;
pub use self::cases::Case;
use super::names::{key, near_names, same};
use super::rows::{Columns, Row, Rows};
use super::{
    Clock, Job, NewClient, NewRoom, NewSite, Occasion, Refusal, Room, Site, UsedFor, WorkedOn,
    Worker, Writing, read_number,
};
use crate::measure::{Length, Units};
use crate::money::{Decimal, Money};
use crate::trade::bounds::{check_day, check_wage};
use crate::trade::rental::Tariff;
use crate::trade::room::Floor;
use crate::trade::{FloorCondition, ItemId, Layout, RoomId, Species, closed_set};

/// The worker of a row, at its wage.
struct ImportedWorker {
    worker: Worker,
    is_new: bool,
}

closed_set! {
    /// What the rows of a file are.
    Transfer, "kind of file" {
        /// Who pays.
        Clients = "clients",
        /// Addresses with floors.
        Sites = "sites",
        /// Floors at a site, with their doorways.
        Rooms = "rooms",
        /// Consumables and materials with their packs.
        Items = "items",
        /// What was bought.
        Purchases = "purchases",
        /// What was used on jobs.
        Usage = "usage",
        /// Hours worked on jobs.
        Hours = "hours",
        /// Machines out and back.
        Rentals = "rentals",
        /// What finished rooms took, from a notebook.
        PastRooms = "past-rooms",
        /// What can be done.
        Operations = "operations",
        /// Book rates and the trust in them.
        BookRates = "book-rates",
    }
}

impl Transfer {
    /// Returns the columns of its files.
    pub(super) const fn columns(self) -> Columns {
        let (kind, required, optional): (&str, &[&str], &[&str]) = match self {
            Transfer::Clients => (
                "clients",
                &["client"],
                &["phone", "email", "address", "note"],
            ),
            Transfer::Sites => (
                "sites",
                &["client", "site"],
                &["year_built", "tax_area", "note"],
            ),
            Transfer::Rooms => (
                "rooms",
                &["site", "room", "shape", "condition", "species"],
                &["layout", "refinished", "doors", "note"],
            ),
            Transfer::Items => (
                "items",
                &["item", "unit"],
                &[
                    "description",
                    "kept",
                    "returnable",
                    "pack",
                    "price",
                    "source",
                ],
            ),
            Transfer::Purchases => (
                "purchases",
                &["date", "item", "quantity", "cost"],
                &["note"],
            ),
            Transfer::Usage => (
                "usage",
                &["date", "job", "site", "item", "quantity"],
                &["room", "operation", "note"],
            ),
            Transfer::Hours => (
                "hours",
                &["date", "job", "site", "worker", "hours"],
                &["room", "on", "wage", "note"],
            ),
            Transfer::Rentals => (
                "rentals",
                &["machine", "out_at", "job", "site"],
                &[
                    "back_at",
                    "charge",
                    "moved",
                    "half_day",
                    "day",
                    "weekend",
                    "week",
                    "four_weeks",
                    "waiver_percent",
                    "cleaning",
                ],
            ),
            Transfer::PastRooms => (
                "past-rooms",
                &[
                    "finished_on",
                    "job",
                    "room",
                    "operation",
                    "condition",
                    "species",
                    "area",
                    "edge",
                    "item_quantity",
                    "hours",
                ],
                &["quantity"],
            ),
            Transfer::Operations => (
                "operations",
                &[
                    "operation",
                    "task",
                    "driver",
                    "item",
                    "set_size",
                    "family",
                    "splits",
                ],
                &[
                    "machine",
                    "grit",
                    "harden_hours",
                    "answers",
                    "hazards",
                    "description",
                    "source",
                ],
            ),
            Transfer::BookRates => (
                "book-rates",
                &[
                    "operation",
                    "condition",
                    "species",
                    "kind",
                    "driver_per_item",
                    "fixed_items",
                    "trust",
                ],
                &["source"],
            ),
        };
        Columns {
            kind,
            required,
            optional,
        }
    }
}

impl Writing<'_> {
    /// Imports a file; returns how many rows it had.
    ///
    /// # Errors
    /// Refuses the first mistake, with file, line and column.
    pub fn import(&self, kind: Transfer, file: &str, text: &[u8], units: Units) -> Result<usize> {
        let rows = self.import_quietly(kind, file, text, units)?;
        let noun = if rows == 1 { "row" } else { "rows" };
        self.log(&format!("Imported {rows} {noun} of {kind} from {file}."))?;
        Ok(rows)
    }

    pub(super) fn import_quietly(
        &self,
        kind: Transfer,
        file: &str,
        text: &[u8],
        units: Units,
    ) -> Result<usize> {
        let rows = Rows::read(file, text, kind.columns())?;
        match kind {
            Transfer::Clients => rows.iter().try_for_each(|row| self.import_client(row))?,
            Transfer::Sites => rows.iter().try_for_each(|row| self.import_site(row))?,
            Transfer::Rooms => self.import_rooms(&rows, units)?,
            Transfer::Items => self.import_items(file, text, book::exact_price)?,
            Transfer::Purchases => self.import_stock(&rows, |row| self.import_purchase(row))?,
            Transfer::Usage => self.import_stock(&rows, |row| self.import_use(row))?,
            Transfer::Hours => self.import_hours(&rows)?,
            Transfer::Rentals => rows.iter().try_for_each(|row| self.import_rental(row))?,
            Transfer::PastRooms => self.import_past_rooms(&rows, units)?,
            Transfer::Operations => self.import_operations(file, text)?,
            Transfer::BookRates => self.import_book_rates(&rows)?,
        }
        Ok(rows.len())
    }

    fn import_client(&self, row: Row<'_>) -> Result<()> {
        let client = NewClient {
            name: row.filled("client")?.to_owned(),
            phone: row.text("phone").to_owned(),
            email: row.text("email").to_owned(),
            address: row.text("address").to_owned(),
            note: row.text("note").to_owned(),
        };
        self.add_client(&client)
            .map(drop)
            .map_err(|error| row.wrong("client", error))
    }

    fn import_site(&self, row: Row<'_>) -> Result<()> {
        let year = |text: &str| {
            text.parse::<i32>()
                .map_err(|_| format!("`{text}` is not a year"))
        };
        let site = NewSite {
            client: row.read("client", |name| self.client(name))?.id,
            address: row.filled("site")?.to_owned(),
            year_built: row.maybe("year_built", year)?,
            tax_area: row
                .maybe("tax_area", |name| self.tax_area(name))?
                .map(|area| area.id),
            note: row.text("note").to_owned(),
        };
        self.add_site(&site).map(drop).map_err(|error| {
            // Refused are an address that is taken and a year that isn't one.
            let is_taken = self
                .site(&site.address)
                .is_ok_and(|taken| same(&taken.address, &site.address));
            row.wrong(if is_taken { "site" } else { "year_built" }, error)
        })
    }

    /// Rooms first, then their doorways: a doorway may lead to a room further down the file.
    fn import_rooms(&self, rows: &Rows, units: Units) -> Result<()> {
        let mut added: Vec<(Row<'_>, RoomId, Site)> = Vec::new();
        for row in rows.iter() {
            let site = row.read("site", |name| self.site(name))?;
            let room = NewRoom {
                site: site.id,
                name: row.filled("room")?.to_owned(),
                floor: row.read("shape", |text| Floor::parse(text, units))?,
                condition: row.word::<FloorCondition>("condition")?,
                species: row.word::<Species>("species")?,
                layout: row
                    .maybe("layout", str::parse::<Layout>)?
                    .unwrap_or(Layout::Strip),
                refinished: row.truth("refinished", true)?,
                note: row.text("note").to_owned(),
            };
            let id = self
                .add_room(&room)
                .map_err(|error| row.wrong("room", error))?;
            added.push((row, id, site));
        }
        for (row, room, site) in added {
            for door in row
                .text("doors")
                .split(';')
                .map(str::trim)
                .filter(|door| !door.is_empty())
            {
                self.import_door(room, &site, door, units)
                    .map_err(|error| row.wrong("doors", error))?;
            }
        }
        Ok(())
    }

    fn import_door(&self, room: RoomId, site: &Site, door: &str, units: Units) -> Result<()> {
        let Some((to, width)) = door.rsplit_once(':') else {
            return Err(
                Refusal::new(format!("`{door}` is not a doorway like `outside:2'8\"`")).into(),
            );
        };
        let other = if to.trim().eq_ignore_ascii_case("outside") {
            None
        } else {
            Some(self.room(to, Some(site.id))?.id)
        };
        self.add_door(room, other, Length::parse(width, units)?)
    }

    /// Enters every row, and then works out what they did to the stock, once for each item.
    fn import_stock(&self, rows: &Rows, enter: impl Fn(Row<'_>) -> Result<ItemId>) -> Result<()> {
        let items = rows.iter().map(enter).collect::<Result<BTreeSet<_>>>()?;
        self.replay_all(&items)
    }

    fn import_purchase(&self, row: Row<'_>) -> Result<ItemId> {
        let on = row.date("date", self.today())?;
        let item = row.read("item", |name| self.item(name))?;
        let bought = row.positive("quantity")?;
        let paid = row.read("cost", |text| self.read_amount(text))?;
        let recorded = self.as_of(on, || {
            self.enter_buy(&item, bought, paid, on, row.text("note"))
        });
        recorded
            .map(|_| item.id)
            .map_err(|error| row.wrong("quantity", error))
    }

    fn import_use(&self, row: Row<'_>) -> Result<ItemId> {
        let on = row.date("date", self.today())?;
        let (job, rooms) = (self.import_job(row)?, self.import_rooms_of(row)?);
        let item = row.read("item", |name| self.item(name))?;
        let used = row
            .number("quantity")?
            .ok_or_else(|| row.wrong("quantity", "is empty"))?;
        let operation = match row.text("operation").trim() {
            UsedFor::LEFT_OVER => None,
            _ => row.maybe("operation", |name| self.operation(name))?,
        };
        let used_for = match row.text("operation").trim() {
            UsedFor::LEFT_OVER => UsedFor::LeftOver,
            _ => UsedFor::Operation(operation.as_ref()),
        };
        let occasion = Occasion {
            job: &job,
            rooms: &rooms,
            on,
            note: row.text("note"),
        };
        let recorded = self.as_of(on, || self.enter_use(&item, used, used_for, &occasion));
        // What is left to refuse is the operation: one that doesn't take the item, or several that do.
        recorded
            .map(|_| item.id)
            .map_err(|error| row.wrong("operation", error))
    }

    /// A worker who is made by a file ends it at the wage of the newest day.
    fn import_hours(&self, rows: &Rows) -> Result<()> {
        let mut made: BTreeMap<String, (NaiveDate, Money)> = BTreeMap::new();
        for row in rows.iter() {
            let on = row.date("date", self.today())?;
            let wage = row.maybe("wage", |text| self.read_wage(text))?;
            let name = row.filled("worker")?;
            let known = made.contains_key(&key(name));
            let worker = self.import_worker(row, name, wage)?;
            if let Some(wage) = wage.filter(|_| known || worker.is_new) {
                let newest = made.entry(key(name)).or_insert((on, wage));
                *newest = (*newest).max((on, wage));
            }
            self.import_hours_of(row, on, &worker.worker)?;
        }
        for (name, (_, wage)) in made {
            let worker = self.worker(&name)?;
            if worker.wage != wage {
                self.edit_worker(&Worker { wage, ..worker })?;
            }
        }
        Ok(())
    }

    /// Returns the worker of a row at the row's wage: what an hour cost then stays what it cost.
    ///
    /// One whom the ledger doesn't have is made if the row says the wage. Only a whole name stands for a worker then,
    /// or the hours of an Ann would go to an Anna.
    fn import_worker(
        &self,
        row: Row<'_>,
        name: &str,
        wage: Option<Money>,
    ) -> Result<ImportedWorker> {
        let Some(wage) = wage else {
            let worker = row.read("worker", |name| self.worker(name))?;
            return Ok(ImportedWorker {
                worker,
                is_new: false,
            });
        };
        let exact = |worker: &Worker| same(&worker.name, name);
        let known = self.workers()?.into_iter().find(exact);
        let is_new = known.is_none();
        let worker = match known {
            Some(worker) => worker,
            None => {
                self.add_worker(name, wage)?;
                self.worker(name)?
            }
        };
        let worker = Worker { wage, ..worker };
        Ok(ImportedWorker { worker, is_new })
    }

    fn import_hours_of(&self, row: Row<'_>, on: NaiveDate, worker: &Worker) -> Result<()> {
        let (job, rooms) = (self.import_job(row)?, self.import_rooms_of(row)?);
        let hours = row.positive("hours")?;
        let worked_on = self.import_worked_on(row)?;
        let occasion = Occasion {
            job: &job,
            rooms: &rooms,
            on,
            note: row.text("note"),
        };
        let recorded = self.as_of(on, || {
            self.record_hours(worker, hours, &worked_on, &occasion)
        });
        recorded
            .map(drop)
            .map_err(|error| row.wrong("hours", error))
    }

    fn import_worked_on(&self, row: Row<'_>) -> Result<WorkedOn> {
        let on = row.text("on").trim();
        if on.is_empty() {
            return Ok(WorkedOn::Nothing);
        }
        let tasks = self.tasks()?;
        match tasks.into_iter().find(|task| same(&task.name, on)) {
            Some(task) => Ok(WorkedOn::Task(task)),
            None => {
                let operation = row.read("on", |name| self.operation(name))?;
                Ok(WorkedOn::Operation(Box::new(operation)))
            }
        }
    }

    /// Reads an amount of zero or more in the ledger's currency.
    fn read_amount(&self, text: &str) -> Result<Money> {
        let amount = self.currency().parse(text)?;
        if amount.is_negative() {
            super::refuse!("`{text}` is below zero");
        }
        Ok(amount)
    }

    fn read_wage(&self, text: &str) -> Result<Money> {
        let wage = self.read_amount(text)?;
        check_wage(wage)?;
        Ok(wage)
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
        let mut machine = row.read("machine", |name| self.machine(name))?;
        if let Some(tariff) = self.import_tariff(row)? {
            machine.tariff = tariff;
        }
        let out = row.read("out_at", moment)?;
        let back = row.maybe("back_at", moment)?;
        let charge = row.maybe("charge", |text| self.read_amount(text))?;
        let job = self.import_job(row)?;
        self.as_of(out.date(), || self.rental_out(&machine, out, &job))
            .map_err(|error| row.wrong("out_at", error))?;
        for moved in row
            .text("moved")
            .split("; ")
            .filter(|moved| !moved.is_empty())
        {
            let (on, job) = read_move(moved, today).map_err(|error| row.wrong("moved", error))?;
            let job = self.job(job).map_err(|error| row.wrong("moved", error))?;
            self.as_of(on, || self.rental_day(&machine, on, &job))
                .map_err(|error| row.wrong("moved", error))?;
        }
        if let Some(back) = back {
            let returned = self.as_of(back.date(), || self.rental_back(&machine, back, charge));
            returned.map_err(|error| row.wrong("back_at", error))?;
        }
        Ok(())
    }

    /// Returns the tariff with which a machine went out; `None`: the row doesn't say what a day was.
    fn import_tariff(&self, row: Row<'_>) -> Result<Option<Tariff>> {
        let price = |column| row.maybe(column, |text| self.read_amount(text));
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

    /// Returns the job of a row, at the row's site.
    fn import_job(&self, row: Row<'_>) -> Result<Job> {
        let label = row.filled("job")?;
        let site = row.read("site", |name| self.site(name))?;
        if read_number('J', label).is_none() {
            return Err(row.wrong("job", format!("`{label}` is not a job number like J1")));
        }
        let Ok(job) = self.job(label) else {
            let numbers: Vec<String> = self.jobs()?.into_iter().map(|job| job.number).collect();
            let near = near_names(&key(label), numbers.iter().map(String::as_str));
            let refusal = row.refusal("job", format!("no job `{label}`"));
            return Err(match near[..] {
                [] => refusal.hint("a job begins with its quote: gritledger quote draft SITE"),
                _ => refusal.hint(format!("near numbers: {}", near.join(", "))),
            }
            .into());
        };
        if job.site_id != site.id {
            return Err(row.wrong(
                "site",
                format!("{label} is at `{}`, not at `{}`", job.site, site.address),
            ));
        }
        Ok(job)
    }

    fn import_rooms_of(&self, row: Row<'_>) -> Result<Vec<Room>> {
        let site = row.read("site", |name| self.site(name))?;
        let names = row
            .text("room")
            .split(';')
            .map(str::trim)
            .filter(|name| !name.is_empty());
        let rooms = names.map(|name| {
            self.room(name, Some(site.id))
                .map_err(|error| row.wrong("room", error))
        });
        rooms.collect()
    }

    /// Does something as of a past day, so that it counts as recorded then.
    fn as_of<T>(&self, day: NaiveDate, event: impl FnOnce() -> Result<T>) -> Result<T> {
        let now = self.ledger.clock.get();
        self.set_clock(Clock::at(day));
        let outcome = event();
        self.set_clock(now);
        outcome
    }
}

/// Reads from which date on which job had a machine: `2026-02-28 J2`.
fn read_move(text: &str, today: NaiveDate) -> Result<(NaiveDate, &str)> {
    let (date, job) = text.split_once(' ').unwrap_or((text, ""));
    match date.parse() {
        Ok(date) if date > today => super::refuse!("`{date}` is after today, {today}"),
        Ok(date) if !job.is_empty() => Ok((date, job)),
        _ => super::refuse!("`{text}` is not a date and a job, like 2026-02-28 J2"),
    }
}

#[cfg(test)]
mod tests {
    use tempfile::TempDir;

    use super::*;
    use crate::ledger::{Identity, Ledger};
    use crate::money::{Currency, Decimal};

    const NOTEBOOK: &str =
        "finished_on,job,room,operation,condition,species,area,edge,quantity,item_quantity,hours\n";
    const RATES: &str = "operation,condition,species,kind,driver_per_item,fixed_items,trust\n";
    const OPERATIONS: &str =
        "operation,task,driver,item,set_size,family,splits,machine,grit,answers\n";
    const HOURS: &str = "date,job,site,worker,hours,wage\n";

    fn ledger(folder: &TempDir, name: &str, currency: &str) -> Ledger {
        let identity = Identity {
            business: "Marsh End Floors".to_owned(),
            currency: Currency::from_code(currency).unwrap(),
            units: Units::Us,
            copy: 0,
        };
        let today = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        let ledger = Ledger::create(&folder.path().join(name), identity, Clock::at(today)).unwrap();
        import(&ledger, Transfer::Clients, "client\nAda Quill\n").unwrap();
        import(
            &ledger,
            Transfer::Sites,
            "client,site\nAda Quill,4 Tannery Row\n",
        )
        .unwrap();
        let job = |writing: &Writing<'_>| {
            let id = writing.open_job(writing.site("4 Tannery Row")?.id, None)?;
            writing.start_job(&writing.job_by_id(id)?, today)
        };
        ledger.write(false, job).unwrap();
        ledger
    }

    fn import(ledger: &Ledger, kind: Transfer, text: &str) -> Result<usize, String> {
        import_in(ledger, kind, text, Units::Us)
    }

    fn import_in(
        ledger: &Ledger,
        kind: Transfer,
        text: &str,
        units: Units,
    ) -> Result<usize, String> {
        ledger
            .write(false, |writing| {
                writing.import(kind, "f.csv", text.as_bytes(), units)
            })
            .map_err(|error| error.to_string())
    }

    /// Exports a kind, imports it into another ledger, and exports it from there.
    fn exchanged(from: &Ledger, to: &Ledger, kind: Transfer) -> (String, String) {
        let rows = from.export(kind).unwrap();
        import(to, kind, &rows).unwrap();
        (rows, to.export(kind).unwrap())
    }

    #[test]
    fn mistakes_are_told_with_their_column_and_value() {
        let folder = TempDir::new().unwrap();
        let ledger = ledger(&folder, "t.db", "USD");
        let cases = [
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,h,1,1\n",
                "unit: `h` is not a unit of items; one of: disc, gal, l, each, ft, m, sqft, m2",
            ),
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,each,0.0000001,1\n",
                "pack: `0.0000001` is not above zero",
            ),
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,each,1,1.005\n",
                "price: `1.005` has more decimals than USD has (2)",
            ),
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,each,,5\n",
                "pack: is empty, and there is a price",
            ),
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,each,5,\n",
                "price: is empty",
            ),
            (
                Transfer::Sites,
                "client,site,year_built\nAda Quill,7 Weir Road,1200\n",
                "year_built: `1200` is not a year that a building here can be from",
            ),
            (
                Transfer::Sites,
                "client,site\nAda Quill,4 tannery row\n",
                "site: there is already a site `4 tannery row`",
            ),
            (
                Transfer::Purchases,
                "date,item,quantity,cost\n2026-01-05,disc-7in-36,3,-5\n",
                "cost: `-5` is below zero",
            ),
            (
                Transfer::Hours,
                &format!("{HOURS}2026-01-05,J1,4 Tannery Row,Zed,3,-20.00\n"),
                "wage: `-20.00` is below zero",
            ),
            (
                Transfer::Hours,
                &format!("{HOURS}2026-01-05,J1,4 Tannery Row,Zed,25,20.00\n"),
                "hours: Zed would have 25 hours on 2026-01-05: a day has 24",
            ),
            (
                Transfer::Operations,
                &format!("{OPERATIONS}x,,count,,,,none,,,proud-nails\n"),
                "answers: set-nails answers `proud-nails` already",
            ),
            (
                Transfer::BookRates,
                &format!("{RATES}rotary-36,,,item,0.0000000001,0,300\n"),
                "driver_per_item: a rate is above zero: `0.0000000001`",
            ),
            (
                Transfer::BookRates,
                &format!("{RATES}rotary-36,,,item,99999999999,0,300\n"),
                "driver_per_item: `99999999999` is too large a rate",
            ),
            (
                Transfer::BookRates,
                &format!("{RATES}load-in,,,item,9,0,300\n"),
                "kind: load-in takes no item",
            ),
            (
                Transfer::BookRates,
                &format!("{RATES}rotary-36,,,item,9,0,0\n"),
                "trust: `0` is not above zero",
            ),
            (
                Transfer::PastRooms,
                &format!("{NOTEBOOK}2025-01-02,A,Hall,rotary-36,bare,ash,,,,3,1\n"),
                "area: is empty, and rotary-36 is measured by it",
            ),
            (
                Transfer::PastRooms,
                &format!("{NOTEBOOK}2025-01-02,A,Hall,set-nails,bare,ash,,,0,,1\n"),
                "quantity: `0` is not above zero",
            ),
            (
                Transfer::PastRooms,
                &format!("{NOTEBOOK}2025-01-02,A,Hall,rotary-36,bare,ash,0.0000001,,,3,1\n"),
                "area: `0.0000001` is not above zero",
            ),
            (
                Transfer::PastRooms,
                &format!("{NOTEBOOK}2025-01-02,A,Hall,edger-36,bare,ash,,40000.00000123,,3,1\n"),
                "edge: `40000.00000123` is finer than can be kept (a millionth of a millimetre)",
            ),
        ];
        for (kind, text, words) in cases {
            let before = ledger.export(kind).unwrap();
            let said = import(&ledger, kind, text);
            assert_eq!(said, Err(format!("f.csv:2: {words}")), "{text}");
            assert_eq!(ledger.export(kind).unwrap(), before, "nothing is imported");
        }
        let twice = format!(
            "{NOTEBOOK}2025-01-02,A,Hall,rotary-36,bare,ash,9,,,3,1\n\
             2025-01-02,a,HALL,rotary-36,bare,ash,9,,,3,1\n"
        );
        assert_eq!(
            import(&ledger, Transfer::PastRooms, &twice),
            Err("f.csv:3: operation: `HALL` of `a` has rotary-36 already".to_owned())
        );
    }

    #[test]
    fn a_notebook_in_metres_leaves_in_feet_and_comes_back() {
        let folder = TempDir::new().unwrap();
        let (first, second) = (
            ledger(&folder, "1.db", "USD"),
            ledger(&folder, "2.db", "USD"),
        );
        // 7.26 m is 23.81889763… ft: no whole number of nanometres once it is in millionths of a foot.
        let notebook = format!("{NOTEBOOK}2025-01-02,A,Hall,edger-36,bare,ash,9.1,7.26,,3,1\n");
        import_in(&first, Transfer::PastRooms, &notebook, Units::Metric).unwrap();
        let (out, back) = exchanged(&first, &second, Transfer::PastRooms);
        assert!(out.contains(",97.951585,23.818898,"), "{out}");
        assert_eq!(out, back);
    }

    #[test]
    fn hours_keep_what_they_cost_at_the_wage_of_their_day() {
        let folder = TempDir::new().unwrap();
        let (first, second) = (
            ledger(&folder, "1.db", "USD"),
            ledger(&folder, "2.db", "USD"),
        );
        let row = |day: &str, hours: &str, wage: &str| {
            format!("2026-01-{day},J1,4 Tannery Row,Una,{hours},{wage}\n")
        };
        let rows = [
            row("07", "2", "30.00"),
            row("05", "2", "20.00"),
            row("06", "0.25", "28.00"),
            row("06", "7.75", "28.35"),
        ];
        import(
            &first,
            Transfer::Hours,
            &format!("{HOURS}{}", rows.concat()),
        )
        .unwrap();
        assert_eq!(
            first.worker("Una").unwrap().wage,
            Money::from_minor(3000),
            "the newest day's"
        );
        let (out, back) = exchanged(&first, &second, Transfer::Hours);
        let wages: Vec<&str> = out
            .lines()
            .skip(1)
            .filter_map(|line| line.split(',').nth(7))
            .collect();
        assert_eq!(wages, ["30.00", "20.00", "28.00", "28.35"]);
        assert_eq!(out, back);
        let cost = |ledger: &Ledger| {
            let entries = ledger
                .day_book_of(&ledger.job("J1").unwrap())
                .unwrap()
                .entries
                .into_iter();
            entries.map(|entry| entry.amount).collect::<Vec<_>>()
        };
        assert_eq!(cost(&first), cost(&second));
        // A raise since then changes nothing that was worked before it.
        let raise = |writing: &Writing<'_>| {
            let una = writing.worker("Una")?;
            let wage = Money::from_minor(4000);
            writing.edit_worker(&Worker { wage, ..una })
        };
        first.write(false, raise).unwrap();
        assert_eq!(first.export(Transfer::Hours).unwrap(), out);
    }

    #[test]
    fn hours_of_an_ann_do_not_go_to_an_anna() {
        let folder = TempDir::new().unwrap();
        let ledger = ledger(&folder, "t.db", "USD");
        let row = |name: &str, wage: &str| {
            format!("{HOURS}2026-01-05,J1,4 Tannery Row,{name},1,{wage}\n")
        };
        import(&ledger, Transfer::Hours, &row("Anna", "20.00")).unwrap();
        import(&ledger, Transfer::Hours, &row("Ann", "22.00")).unwrap();
        let names: Vec<String> = ledger
            .workers()
            .unwrap()
            .into_iter()
            .map(|worker| worker.name)
            .collect();
        assert_eq!(names, ["Ann", "Anna"]);
    }

    #[test]
    fn rows_of_the_book_replace_what_is_known_as_far_as_they_say() {
        let folder = TempDir::new().unwrap();
        let (first, second) = (
            ledger(&folder, "1.db", "USD"),
            ledger(&folder, "2.db", "USD"),
        );
        // `rotary-24` takes over what `set-nails`, further down, answered; `rotary-36` loses its machine and grit.
        let changed = format!(
            "{OPERATIONS}rotary-24,sand,area,disc-7in-36,3,rotary,condition,rotary,24,proud-nails\n\
             set-nails,repair,count,wood-filler,1,nail-setting,none,,,\n\
             rotary-36,sand,area,disc-7in-36,3,rotary,condition,,,\n"
        );
        import(&first, Transfer::Operations, &changed).unwrap();
        let rotary = first.operation("rotary-36").unwrap();
        assert_eq!((rotary.machine, rotary.grit), (None, None));
        assert!(
            !rotary.hazards.is_empty(),
            "a column that isn't there leaves it"
        );
        let items = "item,unit,description,kept\ndisc-7in-36,disc,other words,no\n";
        import(&first, Transfer::Items, items).unwrap();
        let disc = first.item("disc-7in-36").unwrap();
        assert_eq!(
            (disc.description.as_str(), disc.kept, disc.returnable),
            ("other words", false, true)
        );
        for kind in [Transfer::Items, Transfer::Operations, Transfer::BookRates] {
            let (out, back) = exchanged(&first, &second, kind);
            assert_eq!(out, back, "{kind}");
        }
    }

    #[test]
    fn a_trust_is_kept_however_small_and_in_whatever_unit() {
        let folder = TempDir::new().unwrap();
        let (first, second) = (
            ledger(&folder, "1.db", "USD"),
            ledger(&folder, "2.db", "USD"),
        );
        let rate = format!("{RATES}rotary-36,,,item,9,0,0.00001\n");
        import(&first, Transfer::BookRates, &rate).unwrap();
        assert_eq!(first.settings().unwrap().trust_discs, Decimal::new(1, 5));
        first
            .write(false, |writing| writing.set_setting("trust-discs", "28 m2"))
            .unwrap();
        let (out, back) = exchanged(&first, &second, Transfer::BookRates);
        assert_eq!(out, back);
        import(&first, Transfer::BookRates, &out).unwrap();
        assert_eq!(
            first.setting("trust-discs").unwrap().value,
            "28 m2",
            "kept as typed"
        );
    }

    #[test]
    fn a_currency_without_cents_starts_with_whole_prices() {
        let folder = TempDir::new().unwrap();
        let ledger = ledger(&folder, "t.db", "JPY");
        let disc = ledger.item("disc-7in-36").unwrap();
        assert!(disc.packs.iter().all(|pack| pack.price.minor() > 0));
    }
}
