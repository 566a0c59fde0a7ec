//! Bringing in the book (items, operations, book rates) and what finished rooms took, from a notebook.
//!
//! A new ledger's book is read by the same readers, so a person's files may be as the ones in `seed-data/`.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::named_params;

use super::Transfer;
use crate::ledger::evidence::{NewObservation, Source};
use crate::ledger::items::item_unit;
use crate::ledger::names::{Names, key, named, same};
use crate::ledger::numbered;
use crate::ledger::rows::{Row, Rows};
use crate::ledger::settings::Key;
use crate::ledger::{BookItem, InBook, NewItem, NewOperation, OWN_FIGURE, Pack, Writing, refuse};
use crate::measure::{Area, Length, MeasureError, SQUARE_METRES_PER_SQUARE_FOOT, Units};
use crate::money::{Currency, Decimal, Money, number, plain, quantity};
use crate::trade::cautions::Hazard;
use crate::trade::operation::{Driver, Operation, Splits};
use crate::trade::rates::{BookRate, FloorClass, Observation, ObservedPart, RateKind, Status};
use crate::trade::{FloorCondition, ItemId, NotInSet, Species, Unit};

/// Reads a price as it is written in a file.
pub(in crate::ledger) type ReadPrice = fn(Currency, &str) -> Result<Money>;

/// Reads a person's price: more decimals than the currency has are refused.
pub(super) fn exact_price(currency: Currency, text: &str) -> Result<Money> {
    let price = currency.parse(text)?;
    if price.is_negative() {
        refuse!("`{text}` is below zero");
    }
    Ok(price)
}

/// Reads a starting price: the embedded book is in cents, which some currencies don't have.
pub(in crate::ledger) fn seed_price(currency: Currency, text: &str) -> Result<Money> {
    match number(text) {
        Some(price) => Ok(currency.amount(price)),
        None => refuse!("`{text}` is not a number"),
    }
}

/// The columns that a file has: an empty cell of one clears what is known, a column that isn't there leaves it.
struct Given(Vec<String>);

impl Given {
    fn read(text: &[u8]) -> Result<Given> {
        let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::Headers)
            .from_reader(text);
        Ok(Given(
            reader.headers()?.iter().map(str::to_lowercase).collect(),
        ))
    }

    fn has(&self, column: &str) -> bool {
        self.0.iter().any(|heading| heading == column)
    }
}

impl Writing<'_> {
    /// Rows of one item follow each other, one for each pack; an item that is known gets new prices.
    pub(in crate::ledger) fn import_items(
        &self,
        file: &str,
        text: &[u8],
        read_price: ReadPrice,
    ) -> Result<()> {
        let rows = Rows::read(file, text, Transfer::Items.columns())?;
        let given = Given::read(text)?;
        let mut known: BTreeMap<String, BookItem> = self
            .items()?
            .into_iter()
            .map(|item| (key(&item.name), item))
            .collect();
        for row in rows.iter() {
            let item = self.read_item(row, read_price)?;
            let key = key(&item.name);
            let item = match known.remove(&key) {
                Some(earlier) => self.import_known_item(row, &given, earlier, item)?,
                None => self.import_new_item(row, item)?,
            };
            if !row.text("active").is_empty() {
                self.write_in_use(InBook::Item, item.id.0, row.truth("active", true)?)?;
            }
            known.insert(key, item);
        }
        Ok(())
    }

    fn read_item(&self, row: Row<'_>, read_price: ReadPrice) -> Result<NewItem> {
        Ok(NewItem {
            name: row.filled("item")?.to_owned(),
            description: row.text("description").to_owned(),
            unit: row.read("unit", |text| item_unit(text.parse()?))?,
            kept: row.truth("kept", true)?,
            returnable: row.truth("returnable", false)?,
            packs: self.read_packs(row, read_price)?,
        })
    }

    fn import_new_item(&self, row: Row<'_>, item: NewItem) -> Result<BookItem> {
        let id = named("item", &item.name).and_then(|name| self.insert_item_called(&name, &item));
        let id = id.map_err(|error| row.wrong("item", error))?;
        let NewItem {
            name,
            description,
            unit,
            kept,
            returnable,
            packs,
        } = item;
        Ok(BookItem {
            id,
            name,
            description,
            unit,
            kept,
            returnable,
            active: true,
            packs,
        })
    }

    fn import_known_item(
        &self,
        row: Row<'_>,
        given: &Given,
        mut item: BookItem,
        new: NewItem,
    ) -> Result<BookItem> {
        if item.unit != new.unit {
            let what = format!(
                "{} is counted in {}, not {}",
                item.name, item.unit, new.unit
            );
            return Err(row.wrong("unit", what));
        }
        if given.has("description") {
            item.description = new.description;
        }
        if !row.text("kept").is_empty() {
            item.kept = new.kept;
        }
        if !row.text("returnable").is_empty() {
            item.returnable = new.returnable;
        }
        item.packs = new.packs;
        self.update_item(&item)
            .map_err(|error| row.wrong("pack", error))?;
        Ok(item)
    }

    fn read_packs(&self, row: Row<'_>, read_price: ReadPrice) -> Result<Vec<Pack>> {
        let price = row.maybe("price", |text| read_price(self.currency(), text))?;
        let size = row.maybe("pack", |text| above_zero_in(text, Decimal::ONE))?;
        let (size, price) = match (size, price) {
            (None, None) => return Ok(Vec::new()),
            (Some(_), None) => return Err(row.wrong("price", "is empty")),
            (None, Some(_)) => return Err(row.wrong("pack", "is empty, and there is a price")),
            (Some(size), Some(price)) => (size, price),
        };
        let source = match row.text("source") {
            "" => OWN_FIGURE,
            source => source,
        };
        Ok(vec![Pack {
            size,
            price,
            source: source.to_owned(),
        }])
    }

    /// A row for a known operation replaces it, as far as the file has its columns.
    pub(in crate::ledger) fn import_operations(&self, file: &str, text: &[u8]) -> Result<()> {
        let rows = Rows::read(file, text, Transfer::Operations.columns())?;
        let given = Given::read(text)?;
        let operations = self.operations()?.into_iter();
        let mut known: BTreeMap<String, Operation> = operations
            .map(|operation| (key(&operation.name), operation))
            .collect();
        let mut items: BTreeMap<String, ItemId> = self
            .items()?
            .into_iter()
            .map(|item| (key(&item.name), item.id))
            .collect();
        if given.has("for_finding") {
            self.release_findings(&rows, &mut known)?;
        }
        let mut answered: BTreeMap<String, String> = known
            .values()
            .filter_map(|known| Some((known.answers.clone()?, known.name.clone())))
            .collect();
        let mut seen = BTreeSet::new();
        for row in rows.iter() {
            let name = row.filled("operation")?;
            if !seen.insert(key(name)) {
                return Err(row.wrong("operation", format!("`{name}` is there twice")));
            }
            let earlier = known.remove(&key(name));
            let operation = self.read_operation(row, &given, earlier.as_ref(), &mut items)?;
            if let Some(kind) = &operation.answers {
                let by = answered.entry(kind.clone()).or_insert(name.to_owned());
                if !same(by, name) {
                    return Err(
                        row.wrong("for_finding", format!("{by} puts `{kind}` right already"))
                    );
                }
            }
            let id = match &earlier {
                Some(earlier) => self
                    .update_operation(earlier.id, &operation)
                    .map(|()| earlier.id),
                None => self.insert_operation(&operation),
            }
            .map_err(|error| row.wrong("operation", error))?;
            if !row.text("active").is_empty() {
                self.write_in_use(InBook::Operation, id.0, row.truth("active", true)?)?;
            }
        }
        Ok(())
    }

    /// Takes kinds of finding off the operations that no longer answer them, so that others of the file can.
    fn release_findings(&self, rows: &Rows, known: &mut BTreeMap<String, Operation>) -> Result<()> {
        for row in rows.iter() {
            let Some(operation) = known.get_mut(&key(row.filled("operation")?)) else {
                continue;
            };
            let answers = operation.answers.as_deref().unwrap_or_default();
            if !answers.is_empty() && answers != row.text("for_finding").trim() {
                self.connection
                    .prepare_cached("UPDATE operation SET answers = NULL WHERE id = :id")?
                    .execute(named_params! { ":id": operation.id })?;
                operation.answers = None;
            }
        }
        Ok(())
    }

    /// Reads an operation; columns that the file doesn't have keep what is known.
    fn read_operation(
        &self,
        row: Row<'_>,
        given: &Given,
        earlier: Option<&Operation>,
        items: &mut BTreeMap<String, ItemId>,
    ) -> Result<NewOperation> {
        let set_size = row.maybe("set_size", whole)?;
        let item = match row.text("item").trim() {
            "" => None,
            name => Some(self.item_or_new(name, set_size, items)?),
        };
        if set_size.is_some() && item.is_none() {
            return Err(row.wrong("set_size", "needs an item"));
        }
        let mut operation = NewOperation {
            name: row.filled("operation")?.to_owned(),
            task: row.text("task").to_owned(),
            driver: row.word::<Driver>("driver")?,
            item,
            set_size,
            family: row.text("group").to_owned(),
            splits: row
                .maybe("rates_by", str::parse::<Splits>)?
                .unwrap_or(Splits::None),
            machine: row
                .maybe("machine", |name| self.machine(name))?
                .map(|machine| machine.id),
            grit: row.maybe("grit", whole)?,
            harden_hours: row.number("harden_hours")?,
            answers: row.maybe("for_finding", |kind| Ok::<_, String>(kind.to_owned()))?,
            hazards: row.maybe("hazards", hazards)?.unwrap_or_default(),
            description: row.text("description").to_owned(),
            source: row.text("source").to_owned(),
        };
        if let Some(earlier) = earlier {
            keep(&mut operation, given, earlier);
        }
        if operation.source.is_empty() {
            OWN_FIGURE.clone_into(&mut operation.source);
        }
        Ok(operation)
    }

    /// Returns an item by its name, made if unknown: counted if a set size says so, else measured in
    /// gallons or litres.
    fn item_or_new(
        &self,
        name: &str,
        set_size: Option<u32>,
        items: &mut BTreeMap<String, ItemId>,
    ) -> Result<ItemId> {
        if let Some(id) = items.get(&key(name)) {
            return Ok(*id);
        }
        let unit = match set_size {
            Some(_) if name.contains("disc") => Unit::Disc,
            Some(_) => Unit::Each,
            None => match self.units() {
                Units::Us => Unit::Gallon,
                Units::Metric => Unit::Litre,
            },
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
        items.insert(key(name), id);
        Ok(id)
    }

    pub(in crate::ledger) fn import_book_rates(&self, rows: &Rows, units: Units) -> Result<()> {
        let operations = self.operations_by_name()?;
        let settings = self.settings()?;
        let mut trusts: BTreeMap<Key, Decimal> = BTreeMap::new();
        let mut seen = BTreeSet::new();
        for row in rows.iter() {
            let operation = operation_of(row, &operations)?;
            let rate = read_rate(row, operation, units)?;
            if !seen.insert((rate.operation, rate.condition, rate.species, rate.kind)) {
                return Err(row.wrong(
                    "operation",
                    format!("`{}` has this rate twice", operation.name),
                ));
            }
            note_trust(row, Key::of_trust(operation, rate.kind), units, &mut trusts)?;
            self.insert_rate(&rate)
                .map_err(|error| row.wrong("driver_per_item", error))?;
        }
        for (key, trust) in trusts {
            // A trust that the ledger has already stays as it was typed, in whatever unit.
            if settings.trusted(key) != trust {
                let trust = match self.units() {
                    Units::Us => format!("{} sqft", plain(trust, 6)),
                    Units::Metric => {
                        let area = trust * SQUARE_METRES_PER_SQUARE_FOOT;
                        format!("{} m2", plain(area, 14))
                    }
                };
                self.insert_setting(key, &trust, OWN_FIGURE)?;
            }
        }
        Ok(())
    }

    pub(in crate::ledger) fn import_past_rooms(&self, rows: &Rows, units: Units) -> Result<()> {
        let operations = self.operations_by_name()?;
        let noted = self.noted_rooms()?;
        let mut seen = BTreeSet::new();
        let mut earliest = None;
        for row in rows.iter() {
            let operation = operation_of(row, &operations)?;
            let job = row.read("job", |text| named("job", text))?;
            let room = row.read("room", |text| named("room", text))?;
            let key = (key(&job), key(&room), operation.name.clone());
            for (kind, _) in taken_of(row, operation)? {
                let (job_key, room_key, name) = key.clone();
                if let Some(number) = noted.get(&(job_key, room_key, name, kind)) {
                    return Err(row.wrong(
                        "operation",
                        format!(
                            "`{room}` of `{job}` has {} ({kind}) already: {number}",
                            operation.name
                        ),
                    ));
                }
            }
            if !seen.insert(key) {
                return Err(row.wrong(
                    "operation",
                    format!("`{room}` of `{job}` has {} already", operation.name),
                ));
            }
            let finished_on = self.import_past_room(row, operation, units)?;
            earliest =
                Some(earliest.map_or(finished_on, |earliest: NaiveDate| earliest.min(finished_on)));
        }
        match earliest {
            Some(earliest) => self.rejudge_since(earliest),
            None => Ok(()),
        }
    }

    /// Imports a row of a notebook; returns when it was finished.
    fn import_past_room(
        &self,
        row: Row<'_>,
        operation: &Operation,
        units: Units,
    ) -> Result<NaiveDate> {
        let finished_on = row.date("finished_on", self.today())?;
        let (area, edge) = area_and_edge(row, units)?;
        let part = ObservedPart {
            operation: operation.id,
            room: row.read("room", |text| named("room", text))?.into(),
            class: FloorClass {
                condition: row.word("condition")?,
                species: row.word("species")?,
            },
            driver: driver_of(row, operation, area, edge, units)?,
            passes: 1,
        };
        for (kind, taken) in taken_of(row, operation)? {
            let observation = Observation {
                kind,
                job: row.read("job", |text| named("job", text))?.into(),
                from_notebook: true,
                finished_on,
                quantity: quantity(taken),
                parts: vec![part.clone()],
                status: Status::Good,
            };
            let new = NewObservation {
                observation: &observation,
                source: Source::Notebook { area, edge },
            };
            self.as_of(finished_on, || self.add_observation(new))?;
        }
        Ok(finished_on)
    }

    /// Returns the number of every row that a notebook brought in, by job, room, operation and kind; job and room in
    /// lower case.
    fn noted_rooms(&self) -> Result<BTreeMap<(String, String, String, RateKind), String>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT observation.id, number, kind, job_label, room_label, operation.name AS operation FROM observation
             JOIN observation_part ON observation_id = observation.id
             JOIN operation ON operation.id = operation_id
             WHERE job_id IS NULL AND voided_at IS NULL",
        )?;
        let rows = statement.query_map([], |row| {
            let (job, room): (String, String) = (row.get("job_label")?, row.get("room_label")?);
            let key = (
                key(&job),
                key(&room),
                row.get("operation")?,
                row.get("kind")?,
            );
            Ok((key, numbered('N', row.get("id")?, row.get("number")?)))
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

/// Keeps what is known of an operation where a file has no column for it.
fn keep(operation: &mut NewOperation, given: &Given, earlier: &Operation) {
    if !given.has("machine") {
        operation.machine = earlier.machine;
    }
    if !given.has("grit") {
        operation.grit = earlier.grit;
    }
    if !given.has("harden_hours") {
        operation.harden_hours = earlier.harden_hours;
    }
    if !given.has("for_finding") {
        operation.answers.clone_from(&earlier.answers);
    }
    if !given.has("hazards") {
        operation.hazards.clone_from(&earlier.hazards);
    }
    if !given.has("description") {
        operation.description.clone_from(&earlier.description);
    }
    if operation.source.is_empty() {
        operation.source.clone_from(&earlier.source);
    }
}

fn hazards(text: &str) -> Result<Vec<Hazard>, NotInSet> {
    text.split_whitespace().map(str::parse).collect()
}

fn whole(text: &str) -> Result<u32, String> {
    let read = text.parse::<u32>().ok().filter(|value| *value > 0);
    read.ok_or_else(|| format!("`{text}` is not a whole number above zero"))
}

pub(super) fn operation_of<'a>(
    row: Row<'_>,
    operations: &'a Names<Operation>,
) -> Result<&'a Operation> {
    row.read("operation", |name| {
        operations
            .exact(name)
            .ok_or_else(|| format!("no operation `{name}`"))
    })
}

/// Tells in which units a row has a figure, by the column that says its unit; an empty one leaves it to the file's.
fn units_of(row: Row<'_>, column: &str, us: Unit, units: Units) -> Result<Units> {
    let told = row.maybe(column, |text| {
        let all = [Units::Us, Units::Metric].map(|units| (units, us.in_units(units).0));
        let meant = all.iter().find(|(_, unit)| unit.as_str() == text);
        let [(_, one), (_, other)] = all;
        meant
            .map(|(units, _)| *units)
            .ok_or_else(|| match one == other {
                true => format!("`{text}` is not its unit, {one}"),
                false => format!("`{text}` is not one of its units: {one}, {other}"),
            })
    })?;
    Ok(told.unwrap_or(units))
}

/// Reads a row's area and edge, as square feet and feet.
pub(super) fn area_and_edge(
    row: Row<'_>,
    units: Units,
) -> Result<(Option<Decimal>, Option<Decimal>)> {
    let area_in = units_of(row, "area_unit", Unit::SquareFoot, units)?;
    let edge_in = units_of(row, "edge_unit", Unit::Foot, units)?;
    Ok((
        row.maybe("area", |text| read_area(text, area_in))?,
        row.maybe("edge", |text| read_edge(text, edge_in))?,
    ))
}

fn read_rate(row: Row<'_>, operation: &Operation, units: Units) -> Result<BookRate> {
    let kind = row.word::<RateKind>("kind")?;
    if kind == RateKind::Item && operation.item.is_none() {
        return Err(row.wrong("kind", format!("{} takes no item", operation.name)));
    }
    let unit = operation.driver.unit();
    let (_, one) = unit.in_units(units_of(row, "driver_unit", unit, units)?);
    Ok(BookRate {
        operation: operation.id,
        condition: row.maybe("condition", str::parse::<FloorCondition>)?,
        species: row.maybe("species", str::parse::<Species>)?,
        kind,
        driver_per_item: row.positive("driver_per_item")? / one,
        fixed: row.number("fixed_items")?,
        source: match row.text("source") {
            "" => OWN_FIGURE.to_owned(),
            source => source.to_owned(),
        },
    })
}

/// Notes the trust of a row; rows that disagree on the one figure of their kind are refused.
fn note_trust(
    row: Row<'_>,
    key: Key,
    units: Units,
    trusts: &mut BTreeMap<Key, Decimal>,
) -> Result<()> {
    let units = units_of(row, "own_work_unit", Unit::SquareFoot, units)?;
    let (_, one) = Unit::SquareFoot.in_units(units);
    let Some(trust) = row.maybe("own_work", |text| trust_in(text, one))? else {
        return Ok(());
    };
    match trusts.insert(key, trust) {
        Some(earlier) if earlier != trust => {
            let (trust, earlier) = (plain(trust, 6), plain(earlier, 6));
            Err(row.wrong(
                "own_work",
                format!("`{trust}` disagrees with `{earlier}` above: {key} is one figure"),
            ))
        }
        _ => Ok(()),
    }
}

/// Reads a trust that the setting can hold; `one` is a square foot in the units of the figure.
fn trust_in(text: &str, one: Decimal) -> Result<Decimal, String> {
    let most = (Length::LONGEST * Length::LONGEST).square_feet();
    match above_zero_in(text, one)? {
        trust if trust <= most => Ok(trust),
        _ => Err(format!("`{text}` is more than {} sqft", plain(most, 0))),
    }
}

/// Returns how much of what measures an operation a notebook's row covers.
pub(super) fn driver_of(
    row: Row<'_>,
    operation: &Operation,
    area: Option<Decimal>,
    edge: Option<Decimal>,
    units: Units,
) -> Result<Decimal> {
    let (driver, column) = match operation.driver {
        Driver::Area => (area, "area"),
        Driver::Edge => (edge, "edge"),
        Driver::Count | Driver::Length => {
            let unit = operation.driver.unit();
            let (_, one) = unit.in_units(units_of(row, "quantity_unit", unit, units)?);
            let quantity = row.maybe("quantity", |text| above_zero_in(text, one))?;
            (quantity, "quantity")
        }
        Driver::Room | Driver::Job => (Some(Decimal::ONE), "operation"),
    };
    driver.ok_or_else(|| {
        let what = format!("is empty, and {} is measured by it", operation.name);
        row.wrong(column, what)
    })
}

/// Returns what a notebook's row says was taken: items, hours or both.
fn taken_of(row: Row<'_>, operation: &Operation) -> Result<Vec<(RateKind, Decimal)>> {
    let (items, hours) = (row.number("item_quantity")?, row.number("hours")?);
    if items.is_none() && hours.is_none() {
        return Err(row.wrong("item_quantity", "neither items nor hours are recorded"));
    }
    if items.is_some() && operation.item.is_none() {
        return Err(row.wrong("item_quantity", format!("{} takes no item", operation.name)));
    }
    let taken = [(RateKind::Item, items), (RateKind::Hours, hours)];
    let taken = taken
        .into_iter()
        .filter_map(|(kind, taken)| Some((kind, taken?)));
    Ok(taken.collect())
}

/// Reads a quantity that is above zero as it will be kept, in millionths; `one` of what is kept is so much of the figure's.
fn above_zero_in(text: &str, one: Decimal) -> Result<Decimal, String> {
    match number(text).map(|figure| quantity(figure / one)) {
        Some(value) if value > Decimal::ZERO => Ok(value),
        Some(_) => Err(format!("`{text}` is not above zero")),
        None => Err(format!("`{text}` is not a number")),
    }
}

/// Reads an area as square feet.
pub(super) fn read_area(text: &str, units: Units) -> Result<Decimal, String> {
    let largest = (Length::LONGEST * Length::LONGEST).square_feet();
    let read = Area::parse(text, units).map(Area::square_feet);
    measure(text, units, read, largest)
}

/// Reads an edge as feet.
pub(super) fn read_edge(text: &str, units: Units) -> Result<Decimal, String> {
    let read = Length::parse(text, units).map(Length::feet);
    measure(text, units, read, Length::LONGEST.feet())
}

/// Returns what was read, or a bare number of feet that is finer than a tape.
///
/// A notebook kept in metres leaves the ledger in feet, to the millionth: no whole number of nanometres, but exact enough
/// to be read back.
fn measure(
    text: &str,
    units: Units,
    read: Result<Decimal, MeasureError>,
    largest: Decimal,
) -> Result<Decimal, String> {
    let bare = number(text);
    if bare.is_some_and(|value| value <= Decimal::ZERO) {
        return Err(format!("`{text}` is not above zero"));
    }
    let read = match (read, bare) {
        (Err(MeasureError::TooFine(_)), Some(feet)) if units == Units::Us && feet <= largest => {
            Ok(feet)
        }
        (read, _) => read.map_err(|error| error.to_string()),
    };
    match quantity(read?) {
        kept if kept > Decimal::ZERO => Ok(kept),
        _ => Err(format!("`{text}` is not above zero")),
    }
}
