//! Bringing rows in: a notebook's history, a list of clients, a book of rates.
//!
//! All of a file or nothing of it: the caller's transaction is rolled back by the first mistake, which is told as
//! `file:line: column: what`. Imported history counts as recorded when it happened.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime};
use rusqlite::named_params;

use super::evidence::NewObservation;
use super::rows::{Columns, Row, Rows};
use super::{
    BookItem, Clock, Job, JobState, NewClient, NewItem, NewOperation, NewRoom, NewSite, Occasion,
    Pack, Refusal, Room, Site, WorkedOn, Writing, read_number,
};
use crate::measure::{Area, Length, Units};
use crate::money::{Decimal, number, plain, quantity};
use crate::trade::cautions::Hazard;
use crate::trade::operation::{Driver, Operation, Splits};
use crate::trade::rates::{BookRate, FloorClass, Observation, ObservedPart, RateKind};
use crate::trade::room::Floor;
use crate::trade::{FloorCondition, ItemId, Layout, RoomId, Species, Unit, closed_set};

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
                &["back_at", "charge"],
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
        self.log(&format!("Imported {rows} rows of {kind} from {file}."))?;
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
            Transfer::Items => self.import_items(&rows)?,
            Transfer::Purchases => rows.iter().try_for_each(|row| self.import_purchase(row))?,
            Transfer::Usage => rows.iter().try_for_each(|row| self.import_use(row))?,
            Transfer::Hours => rows.iter().try_for_each(|row| self.import_hours(row))?,
            Transfer::Rentals => rows.iter().try_for_each(|row| self.import_rental(row))?,
            Transfer::PastRooms => self.import_past_rooms(&rows, units)?,
            Transfer::Operations => self.import_operations(&rows)?,
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
        self.add_site(&site)
            .map(drop)
            .map_err(|error| row.place(&error))
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
                self.import_door(row, room, &site, door, units)
                    .map_err(|error| row.wrong("doors", error))?;
            }
        }
        Ok(())
    }

    fn import_door(
        &self,
        _row: Row<'_>,
        room: RoomId,
        site: &Site,
        door: &str,
        units: Units,
    ) -> Result<()> {
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

    /// Rows of one item follow each other, one for each pack; an item that is known gets new prices.
    fn import_items(&self, rows: &Rows) -> Result<()> {
        let mut known: BTreeMap<String, BookItem> = self
            .items()?
            .into_iter()
            .map(|item| (item.name.to_lowercase(), item))
            .collect();
        for row in rows.iter() {
            let name = row.filled("item")?;
            let packs = self.import_pack(row)?;
            let unit: Unit = row.word("unit")?;
            if let Some(item) = known.get_mut(&name.to_lowercase()) {
                if item.unit != unit {
                    return Err(row.wrong(
                        "unit",
                        format!("{name} is counted in {}, not {unit}", item.unit),
                    ));
                }
                item.packs = packs;
                self.update_item(item).map_err(|error| row.place(&error))?;
                continue;
            }
            let item = NewItem {
                name: name.to_owned(),
                description: row.text("description").to_owned(),
                unit,
                kept: row.truth("kept", true)?,
                returnable: row.truth("returnable", false)?,
                packs,
            };
            let id = self.insert_item(&item).map_err(|error| row.place(&error))?;
            let NewItem {
                name,
                description,
                unit,
                kept,
                returnable,
                packs,
            } = item;
            known.insert(
                name.to_lowercase(),
                BookItem {
                    id,
                    name,
                    description,
                    unit,
                    kept,
                    returnable,
                    packs,
                },
            );
        }
        Ok(())
    }

    fn import_pack(&self, row: Row<'_>) -> Result<Vec<Pack>> {
        if row.text("pack").is_empty() {
            return Ok(Vec::new());
        }
        // A price with more decimals than the currency has is rounded: the starting book is in cents.
        let price = row
            .number("price")?
            .ok_or_else(|| row.wrong("price", "is empty"))?;
        let source = match row.text("source") {
            "" => super::OWN_FIGURE,
            source => source,
        };
        Ok(vec![Pack {
            size: row.positive("pack")?,
            price: self.currency().amount(price),
            source: source.to_owned(),
        }])
    }

    fn import_purchase(&self, row: Row<'_>) -> Result<()> {
        let on = row.date("date", self.today())?;
        let item = row.read("item", |name| self.item(name))?;
        let bought = row.positive("quantity")?;
        let paid = row.read("cost", |text| self.currency().parse(text))?;
        let recorded = self.as_of(on, || {
            self.record_buy(&item, bought, paid, on, row.text("note"))
        });
        recorded.map(drop).map_err(|error| row.place(&error))
    }

    fn import_use(&self, row: Row<'_>) -> Result<()> {
        let on = row.date("date", self.today())?;
        let (job, rooms) = (self.import_job(row, on)?, self.import_rooms_of(row)?);
        let item = row.read("item", |name| self.item(name))?;
        let used = row
            .number("quantity")?
            .ok_or_else(|| row.wrong("quantity", "is empty"))?;
        let operation = row.maybe("operation", |name| self.operation(name))?;
        let occasion = Occasion {
            job: &job,
            rooms: &rooms,
            on,
            note: row.text("note"),
        };
        let recorded = self.as_of(on, || {
            self.record_use(&item, used, operation.as_ref(), &occasion)
        });
        recorded.map(drop).map_err(|error| row.place(&error))
    }

    fn import_hours(&self, row: Row<'_>) -> Result<()> {
        let on = row.date("date", self.today())?;
        let (job, rooms) = (self.import_job(row, on)?, self.import_rooms_of(row)?);
        let name = row.filled("worker")?;
        let worker = match (self.worker(name), row.text("wage")) {
            (Ok(worker), _) => worker,
            (Err(unknown), "") => return Err(row.wrong("worker", unknown)),
            (Err(_), _) => {
                let wage = row.read("wage", |text| self.currency().parse(text))?;
                self.add_worker(name, wage)?;
                self.worker(name)?
            }
        };
        let hours = row.positive("hours")?;
        let worked_on = match row.text("on") {
            "" => WorkedOn::Nothing,
            on => match self
                .tasks()?
                .into_iter()
                .find(|task| task.name.eq_ignore_ascii_case(on))
            {
                Some(task) => WorkedOn::Task(task),
                None => WorkedOn::Operation(Box::new(row.read("on", |name| self.operation(name))?)),
            },
        };
        let occasion = Occasion {
            job: &job,
            rooms: &rooms,
            on,
            note: row.text("note"),
        };
        let recorded = self.as_of(on, || {
            self.record_hours(&worker, hours, &worked_on, &occasion)
        });
        recorded.map(drop).map_err(|error| row.place(&error))
    }

    fn import_rental(&self, row: Row<'_>) -> Result<()> {
        let today = self.today();
        let moment = |text: &str| {
            let read = NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M")
                .or_else(|_| NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M"));
            match read {
                Ok(at) if at.date() > today => Err(format!("`{text}` is after today, {today}")),
                Ok(at) => Ok(at),
                Err(_) => Err(format!("`{text}` is not a time like 2026-03-02 08:00")),
            }
        };
        let machine = row.read("machine", |name| self.machine(name))?;
        let out = row.read("out_at", moment)?;
        let back = row.maybe("back_at", moment)?;
        let charge = row.maybe("charge", |text| self.currency().parse(text))?;
        let job = self.import_job(row, out.date())?;
        self.as_of(out.date(), || self.rental_out(&machine, out, &job))
            .map_err(|error| row.place(&error))?;
        if let Some(back) = back {
            let returned = self.as_of(back.date(), || self.rental_back(&machine, back, charge));
            returned.map_err(|error| row.place(&error))?;
        }
        Ok(())
    }

    /// Returns the job of a row; one that the ledger doesn't have is opened at the row's site under its number.
    fn import_job(&self, row: Row<'_>, on: NaiveDate) -> Result<Job> {
        let label = row.filled("job")?;
        let site = row.read("site", |name| self.site(name))?;
        let Some((copy, number)) = read_number('J', label) else {
            return Err(row.wrong("job", format!("`{label}` is not a job number like J1")));
        };
        let job = match self.job(label) {
            Ok(job) => job,
            Err(_) if copy != self.identity().copy => {
                return Err(row.wrong(
                    "job",
                    format!("`{label}` belongs to another copy of the ledger"),
                ));
            }
            Err(_) => self.as_of(on, || {
                let id = self.open_job_numbered(site.id, None, number)?;
                let job = self.job_by_id(id)?;
                self.start_job(&job, on)?;
                self.job_by_id(id)
            })?,
        };
        if job.site_id != site.id {
            return Err(row.wrong(
                "site",
                format!("{label} is at `{}`, not at `{}`", job.site, site.address),
            ));
        }
        debug_assert!(
            job.state != JobState::Agreed || job.quote_id.is_some(),
            "history without a quote has begun"
        );
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

    fn import_operations(&self, rows: &Rows) -> Result<()> {
        let mut known: BTreeMap<String, Operation> = self
            .operations()?
            .into_iter()
            .map(|operation| (operation.name.to_lowercase(), operation))
            .collect();
        let mut items: BTreeMap<String, ItemId> = self
            .items()?
            .into_iter()
            .map(|item| (item.name.to_lowercase(), item.id))
            .collect();
        let mut seen = BTreeSet::new();
        for row in rows.iter() {
            let name = row.filled("operation")?;
            if !seen.insert(name.to_lowercase()) {
                return Err(row.wrong("operation", format!("`{name}` is there twice")));
            }
            let earlier = known.remove(&name.to_lowercase());
            let operation = self.read_operation(row, earlier.as_ref(), &mut items)?;
            match &earlier {
                Some(earlier) => self.update_operation(earlier.id, &operation),
                None => self.insert_operation(&operation).map(drop),
            }
            .map_err(|error| row.place(&error))?;
        }
        Ok(())
    }

    /// Reads an operation; columns that the file doesn't have keep what is known.
    fn read_operation(
        &self,
        row: Row<'_>,
        earlier: Option<&Operation>,
        items: &mut BTreeMap<String, ItemId>,
    ) -> Result<NewOperation> {
        let whole = |text: &str| {
            text.parse::<u32>()
                .ok()
                .filter(|value| *value > 0)
                .ok_or(format!("`{text}` is not a whole number above zero"))
        };
        let set_size = row.maybe("set_size", whole)?;
        let item = match row.text("item") {
            "" => None,
            name => Some(self.item_or_new(name, set_size, items)?),
        };
        if set_size.is_some() && item.is_none() {
            return Err(row.wrong("set_size", "needs an item"));
        }
        let words = |text: &str| {
            text.split_whitespace()
                .map(str::parse::<Hazard>)
                .collect::<Result<Vec<_>, _>>()
        };
        let or_known = |column: &str, known: Option<&String>| match row.text(column) {
            "" => known.cloned().unwrap_or_default(),
            text => text.to_owned(),
        };
        let answers = match row.text("answers") {
            "" => earlier.and_then(|earlier| earlier.answers.clone()),
            kind => Some(kind.to_owned()),
        };
        Ok(NewOperation {
            name: row.filled("operation")?.to_owned(),
            task: row.text("task").to_owned(),
            driver: row.word::<Driver>("driver")?,
            item,
            set_size,
            family: row.text("family").to_owned(),
            splits: row
                .maybe("splits", str::parse::<Splits>)?
                .unwrap_or(Splits::None),
            machine: row
                .maybe("machine", |name| self.machine(name))?
                .map(|machine| machine.id)
                .or(earlier.and_then(|earlier| earlier.machine)),
            grit: row
                .maybe("grit", whole)?
                .or(earlier.and_then(|earlier| earlier.grit)),
            answers,
            hazards: row
                .maybe("hazards", words)?
                .or(earlier.map(|earlier| earlier.hazards.clone()))
                .unwrap_or_default(),
            description: or_known("description", earlier.map(|earlier| &earlier.description)),
            source: or_known(
                "source",
                Some(earlier.map_or(&super::OWN_FIGURE.to_owned(), |earlier| &earlier.source)),
            ),
        })
    }

    /// Returns an item by its name, made if unknown: counted if a set size says so, else measured in gallons.
    fn item_or_new(
        &self,
        name: &str,
        set_size: Option<u32>,
        items: &mut BTreeMap<String, ItemId>,
    ) -> Result<ItemId> {
        if let Some(id) = items.get(&name.to_lowercase()) {
            return Ok(*id);
        }
        let unit = match set_size {
            Some(_) if name.contains("disc") => Unit::Disc,
            Some(_) => Unit::Each,
            None => Unit::Gallon,
        };
        let item = NewItem {
            name: name.to_owned(),
            description: String::new(),
            unit,
            kept: true,
            returnable: false,
            packs: vec![],
        };
        let id = self.insert_item(&item)?;
        items.insert(name.to_lowercase(), id);
        Ok(id)
    }

    fn import_book_rates(&self, rows: &Rows) -> Result<()> {
        let operations: BTreeMap<String, Operation> = self
            .operations()?
            .into_iter()
            .map(|operation| (operation.name.to_lowercase(), operation))
            .collect();
        let mut trusts: BTreeMap<&str, Decimal> = BTreeMap::new();
        let mut seen = BTreeSet::new();
        for row in rows.iter() {
            let unknown = |name: &str| format!("no operation `{name}`");
            let operation = row.read("operation", |name| {
                operations
                    .get(&name.to_lowercase())
                    .ok_or_else(|| unknown(name))
            })?;
            let rate = BookRate {
                operation: operation.id,
                condition: row.maybe("condition", str::parse::<FloorCondition>)?,
                species: row.maybe("species", str::parse::<Species>)?,
                kind: row.word::<RateKind>("kind")?,
                driver_per_item: row.positive("driver_per_item")?,
                fixed: row.number("fixed_items")?.unwrap_or_default(),
                source: match row.text("source") {
                    "" => super::OWN_FIGURE.to_owned(),
                    source => source.to_owned(),
                },
            };
            if !seen.insert((rate.operation, rate.condition, rate.species, rate.kind)) {
                return Err(row.wrong(
                    "operation",
                    format!("`{}` has this rate twice", operation.name),
                ));
            }
            if let Some(trust) = row.maybe("trust", |_| row.positive("trust"))? {
                let name = trust_setting(operation, rate.kind);
                match trusts.insert(name, trust) {
                    Some(earlier) if earlier != trust => {
                        let (trust, earlier) = (plain(trust, 4), plain(earlier, 4));
                        return Err(row.wrong(
                            "trust",
                            format!(
                                "`{trust}` disagrees with `{earlier}` above: {name} is one figure"
                            ),
                        ));
                    }
                    _ => {}
                }
            }
            self.insert_rate(&rate).map_err(|error| row.place(&error))?;
        }
        for (name, trust) in trusts {
            let value = format!("{} sqft", plain(trust, 4));
            if self.setting(name)? != value {
                self.insert_setting(name, &value, super::OWN_FIGURE)?;
            }
        }
        Ok(())
    }

    fn import_past_rooms(&self, rows: &Rows, units: Units) -> Result<()> {
        let operations: BTreeMap<String, Operation> = self
            .operations()?
            .into_iter()
            .map(|operation| (operation.name.to_lowercase(), operation))
            .collect();
        let mut seen = self.noted_rooms()?;
        for row in rows.iter() {
            let unknown = |name: &str| format!("no operation `{name}`");
            let operation = row.read("operation", |name| {
                operations
                    .get(&name.to_lowercase())
                    .ok_or_else(|| unknown(name))
            })?;
            let (job, room) = (
                row.filled("job")?.to_owned(),
                row.filled("room")?.to_owned(),
            );
            if !seen.insert((job.clone(), room.clone(), operation.name.clone())) {
                return Err(row.wrong(
                    "operation",
                    format!("`{room}` of `{job}` has {} already", operation.name),
                ));
            }
            self.import_past_room(row, operation, job, room, units)?;
        }
        Ok(())
    }

    fn import_past_room(
        &self,
        row: Row<'_>,
        operation: &Operation,
        job: String,
        room: String,
        units: Units,
    ) -> Result<()> {
        let finished_on = row.date("finished_on", self.today())?;
        let area = row.maybe("area", |text| positive_area(text, units))?;
        let edge = row.maybe("edge", |text| positive_length(text, units))?;
        let count = row.number("quantity")?;
        let (driver, column) = match operation.driver {
            Driver::Area => (area, "area"),
            Driver::Edge => (edge, "edge"),
            Driver::Count | Driver::Length => (count, "quantity"),
            Driver::Room | Driver::Job => (Some(Decimal::ONE), ""),
        };
        let driver = driver
            .ok_or_else(|| row.wrong(column, format!("{} is measured by it", operation.name)))?;
        let class = FloorClass {
            condition: row.word("condition")?,
            species: row.word("species")?,
        };
        let taken = [
            (RateKind::Item, row.number("item_quantity")?),
            (RateKind::Hours, row.number("hours")?),
        ];
        if taken.iter().all(|(_, quantity)| quantity.is_none()) {
            return Err(row.wrong("item_quantity", "neither items nor hours are recorded"));
        }
        if taken[0].1.is_some() && operation.item.is_none() {
            return Err(row.wrong("item_quantity", format!("{} takes no item", operation.name)));
        }
        for (kind, taken) in taken {
            let Some(taken) = taken else { continue };
            let part = ObservedPart {
                operation: operation.id,
                room: room.clone(),
                class,
                driver,
                passes: 1,
            };
            let observation = Observation {
                kind,
                job: job.clone(),
                finished_on,
                quantity: quantity(taken),
                parts: vec![part],
            };
            let new = NewObservation {
                job: None,
                observation: &observation,
                measures: (area, edge),
            };
            self.as_of(finished_on, || self.add_observation(&new))?;
        }
        Ok(())
    }

    /// Returns job, room and operation of every row that a notebook brought in.
    fn noted_rooms(&self) -> Result<BTreeSet<(String, String, String)>> {
        let mut statement = self.connection.prepare(
            "SELECT job_label, room_label, operation.name FROM observation
             JOIN observation_part ON observation_id = observation.id
             JOIN operation ON operation.id = operation_id
             WHERE job_id IS NULL",
        )?;
        let rows = statement.query_map(named_params! {}, |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

/// Returns the setting that keeps the trust in a kind of rate.
pub(super) fn trust_setting(operation: &Operation, kind: RateKind) -> &'static str {
    match (kind, operation.set_size) {
        (RateKind::Hours, _) => "trust-hours",
        (RateKind::Item, Some(_)) => "trust-discs",
        (RateKind::Item, None) => "trust-finish",
    }
}

fn positive_area(text: &str, units: Units) -> Result<Decimal, String> {
    if number(text).is_some_and(|value| value <= Decimal::ZERO) {
        return Err(format!("`{text}` is not above zero"));
    }
    Area::parse(text, units)
        .map(|area| quantity(area.square_feet()))
        .map_err(|error| error.to_string())
}

fn positive_length(text: &str, units: Units) -> Result<Decimal, String> {
    if number(text).is_some_and(|value| value <= Decimal::ZERO) {
        return Err(format!("`{text}` is not above zero"));
    }
    Length::parse(text, units)
        .map(|length| quantity(length.feet()))
        .map_err(|error| error.to_string())
}
