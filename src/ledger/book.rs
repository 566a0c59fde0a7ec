//! The firm's book: items, machines, operations and book rates; sequences and schedules are in `methods.rs`.
//!
//! It starts from `seed-data/`, read by the same readers as a person's imports, and is edited ever after.

use std::collections::BTreeMap;

use anyhow::Result;
use rusqlite::{OptionalExtension, Row, named_params};

use super::columns::{Micro, NamedRow, Nano};
use super::import::seed_price;
use super::names::{Names, named, same};
use super::rows::{Columns, Rows};
use super::{Ledger, Refusal, Transfer, Writing, refuse, typed};
use crate::measure::Units;
use crate::money::{Currency, Decimal, Money, plain, quantity, round};
use crate::trade::bounds::{LEAST_RATE, MOST_FIXED, check_hardening};
use crate::trade::buying::PackSize;
use crate::trade::cautions::Hazard;
use crate::trade::operation::{Driver, Item, Operation, Splits, Task};
use crate::trade::pricing::Supply;
use crate::trade::rates::{Book, BookRate};
use crate::trade::rental::Tariff;
use crate::trade::{ItemId, MachineId, OperationId, TaskId, Unit};

/// What the owner's own figures say of their source.
pub const OWN_FIGURE: &str = "own figure";

/// Units that items are counted or measured in.
pub(super) const ITEM_UNITS: [Unit; 8] = [
    Unit::Disc,
    Unit::Gallon,
    Unit::Litre,
    Unit::Each,
    Unit::Foot,
    Unit::Metre,
    Unit::SquareFoot,
    Unit::SquareMetre,
];

/// Decimals of a book rate as it is kept.
const RATE_DECIMALS: u32 = 9;

/// The most driver units that one item or hour can do: beyond it a slip is likelier than a floor.
const LARGEST_RATE: i64 = 1_000_000_000;

/// A consumable or material.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BookItem {
    /// Identity.
    pub id: ItemId,
    /// Its name, such as `disc-7in-36`.
    pub name: String,
    /// A short phrase.
    pub description: String,
    /// The unit it is counted or measured in.
    pub unit: Unit,
    /// Whether an opened container keeps.
    pub kept: bool,
    /// Whether unopened packs can be handed back.
    pub returnable: bool,
    /// The packs it is sold in, the one usually bought first.
    pub packs: Vec<Pack>,
}

/// A pack that an item is sold in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pack {
    /// Units in it.
    pub size: Decimal,
    /// Its price.
    pub price: Money,
    /// Where the price comes from.
    pub source: String,
}

impl BookItem {
    /// Returns how it is bought.
    pub fn supply(&self) -> Supply {
        Supply {
            packs: self
                .packs
                .iter()
                .map(|pack| PackSize {
                    size: pack.size,
                    price: pack.price,
                })
                .collect(),
            kept: self.kept,
            returnable: self.returnable,
        }
    }

    /// Returns the book price per unit in major units: that of the pack usually bought, nothing if no pack is known.
    pub fn unit_price(&self, currency: Currency) -> Decimal {
        self.packs.first().map_or(Decimal::ZERO, |pack| {
            quantity(currency.decimal(pack.price) / pack.size)
        })
    }
}

/// An item to be added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewItem {
    /// Its name; unique.
    pub name: String,
    /// A short phrase.
    pub description: String,
    /// Its unit.
    pub unit: Unit,
    /// Whether an opened container keeps.
    pub kept: bool,
    /// Whether unopened packs can be handed back.
    pub returnable: bool,
    /// The packs it is sold in, the one usually bought first.
    pub packs: Vec<Pack>,
}

/// A rented machine and its tariff.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BookMachine {
    /// Identity.
    pub id: MachineId,
    /// Its name.
    pub name: String,
    /// A short phrase.
    pub description: String,
    /// What the yard charges.
    pub tariff: Tariff,
    /// Where the prices come from.
    pub source: String,
}

/// An operation to be added or changed, its parts by name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewOperation {
    /// Its name.
    pub name: String,
    /// Its task; made if unknown.
    pub task: String,
    /// What measures it.
    pub driver: Driver,
    /// Its item.
    pub item: Option<ItemId>,
    /// How many items are changed at once.
    pub set_size: Option<u32>,
    /// Its family.
    pub family: String,
    /// What its rates differ by.
    pub splits: Splits,
    /// Its rented machine.
    pub machine: Option<MachineId>,
    /// The grade of its abrasive.
    pub grit: Option<u32>,
    /// Hours until it can be sanded.
    pub harden_hours: Option<Decimal>,
    /// The kind of finding that it answers.
    pub answers: Option<String>,
    /// What can hurt.
    pub hazards: Vec<Hazard>,
    /// A short phrase.
    pub description: String,
    /// Where its place in the trade is documented.
    pub source: String,
}

/// Returns the command that adds an operation beside one that can't be changed.
fn of_its_own(operation: &NewOperation, item: Option<&BookItem>) -> String {
    let item = item.map_or_else(String::new, |item| format!(" --item {}", typed(&item.name)));
    format!(
        "gritledger operation add NAME --task {} --driver {}{item}",
        typed(&operation.task),
        operation.driver
    )
}

const OPERATIONS: &str = "
    SELECT operation.id, operation.name, task.id AS task_id, task.name AS task, driver, item.id AS item_id,
           item.name AS item, item.unit, set_size, family, splits, machine_id, grit, harden_hours_micro,
           answers, operation.description, operation.source,
           pack.size_micro, pack.price_minor
    FROM operation
    JOIN task ON task.id = operation.task_id
    LEFT JOIN item ON item.id = operation.item_id
    LEFT JOIN item_pack AS pack ON pack.item_id = item.id
              AND pack.position = (SELECT MIN(position) FROM item_pack WHERE item_id = item.id)";

impl Ledger {
    /// Returns every operation, in the order of the book.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn operations(&self) -> Result<Vec<Operation>> {
        let mut hazards = self.hazards()?;
        let sql = format!("{OPERATIONS} ORDER BY operation.id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let operations = statement.query_map([], |row| {
            let mut operation = operation_from_row(row, self.currency())?;
            operation.hazards = hazards.remove(&operation.id).unwrap_or_default();
            Ok(operation)
        })?;
        Ok(operations.collect::<rusqlite::Result<_>>()?)
    }

    fn hazards(&self) -> Result<BTreeMap<OperationId, Vec<Hazard>>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT operation_id, hazard FROM operation_hazard ORDER BY 1, 2")?;
        let rows =
            statement.query_map([], |row| Ok((row.get("operation_id")?, row.get("hazard")?)))?;
        let mut hazards: BTreeMap<OperationId, Vec<Hazard>> = BTreeMap::new();
        for row in rows {
            let (operation, hazard) = row?;
            hazards.entry(operation).or_default().push(hazard);
        }
        Ok(hazards)
    }

    /// Returns every operation by its identity.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn operations_by_id(&self) -> Result<BTreeMap<OperationId, Operation>> {
        Ok(self
            .operations()?
            .into_iter()
            .map(|operation| (operation.id, operation))
            .collect())
    }

    /// Returns the operation of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn operation(&self, name: &str) -> Result<Operation> {
        self.operations_by_name()?.find(name).cloned()
    }

    pub(super) fn operations_by_name(&self) -> Result<Names<Operation>> {
        let operations = self.operations()?.into_iter();
        let named = operations.map(|operation| (operation.name.clone(), operation));
        Ok(Names::new("operation", named))
    }

    /// Returns the tasks, in the order of the book.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn tasks(&self) -> Result<Vec<Task>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT id, name FROM task ORDER BY id")?;
        let tasks = statement.query_map([], |row| {
            Ok(Task {
                id: row.get("id")?,
                name: row.get("name")?,
            })
        })?;
        Ok(tasks.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the task of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn task(&self, name: &str) -> Result<Task> {
        self.tasks_by_name()?.find(name).cloned()
    }

    pub(super) fn tasks_by_name(&self) -> Result<Names<Task>> {
        let tasks = self.tasks()?.into_iter();
        let named = tasks.map(|task| (task.name.clone(), task));
        Ok(Names::new("task", named))
    }

    /// Returns every item, by name, with its packs.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn items(&self) -> Result<Vec<BookItem>> {
        let mut packs = self.packs()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT id, name, description, unit, kept, returnable FROM item ORDER BY name, id",
        )?;
        let items = statement.query_map([], |row| {
            let id: ItemId = row.get("id")?;
            let (kept, returnable): (i64, i64) = (row.get("kept")?, row.get("returnable")?);
            Ok(BookItem {
                id,
                name: row.get("name")?,
                description: row.get("description")?,
                unit: row.get("unit")?,
                kept: kept == 1,
                returnable: returnable == 1,
                packs: packs.remove(&id).unwrap_or_default(),
            })
        })?;
        Ok(items.collect::<rusqlite::Result<_>>()?)
    }

    fn packs(&self) -> Result<BTreeMap<ItemId, Vec<Pack>>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT item_id, size_micro, price_minor, source FROM item_pack ORDER BY item_id, position",
        )?;
        let rows = statement.query_map([], |row| {
            let size: Micro = row.get("size_micro")?;
            let pack = Pack {
                size: size.0,
                price: row.get("price_minor")?,
                source: row.get("source")?,
            };
            Ok((row.get("item_id")?, pack))
        })?;
        let mut packs: BTreeMap<ItemId, Vec<Pack>> = BTreeMap::new();
        for row in rows {
            let (item, pack) = row?;
            packs.entry(item).or_default().push(pack);
        }
        Ok(packs)
    }

    /// Returns the item of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn item(&self, name: &str) -> Result<BookItem> {
        self.items_by_name()?.find(name).cloned()
    }

    pub(super) fn items_by_name(&self) -> Result<Names<BookItem>> {
        let items = self.items()?.into_iter();
        let named = items.map(|item| (item.name.clone(), item));
        Ok(Names::new("item", named))
    }

    /// Returns every machine, in the order of the book.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn machines(&self) -> Result<Vec<BookMachine>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, name, description, half_day_minor, day_minor, weekend_minor, week_minor, four_weeks_minor,
                    waiver_micro, cleaning_minor, source
             FROM machine ORDER BY id",
        )?;
        let machines = statement.query_map([], |row| {
            Ok(BookMachine {
                id: row.get("id")?,
                name: row.get("name")?,
                description: row.get("description")?,
                tariff: tariff_from_row(&NamedRow::of(row))?,
                source: row.get("source")?,
            })
        })?;
        Ok(machines.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the machine of that name.
    ///
    /// # Errors
    /// Refuses a name that fits none or several.
    pub fn machine(&self, name: &str) -> Result<BookMachine> {
        self.machines_by_name()?.find(name).cloned()
    }

    pub(super) fn machines_by_name(&self) -> Result<Names<BookMachine>> {
        let machines = self.machines()?.into_iter();
        let named = machines.map(|machine| (machine.name.clone(), machine));
        Ok(Names::new("machine", named))
    }

    /// Returns the book of rates: the newest row of each operation, floor and kind.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn book(&self) -> Result<Book> {
        let mut statement = self.connection.prepare_cached(
            "SELECT operation_id, floor_condition, species, kind, driver_per_item_nano, fixed_micro, source
             FROM book_rate
             WHERE id IN (SELECT MAX(id) FROM book_rate GROUP BY operation_id, floor_condition, species, kind)
             ORDER BY id",
        )?;
        let rates = statement.query_map([], |row| {
            let (driver_per_item, fixed): (Nano, Option<Micro>) =
                (row.get("driver_per_item_nano")?, row.get("fixed_micro")?);
            Ok(BookRate {
                operation: row.get("operation_id")?,
                condition: row.get("floor_condition")?,
                species: row.get("species")?,
                kind: row.get("kind")?,
                driver_per_item: driver_per_item.0,
                fixed: fixed.map(|fixed| fixed.0),
                source: row.get("source")?,
            })
        })?;
        Ok(Book::new(rates.collect::<rusqlite::Result<Vec<_>>>()?))
    }
}

fn operation_from_row(row: &Row<'_>, currency: Currency) -> rusqlite::Result<Operation> {
    let item_id: Option<ItemId> = row.get("item_id")?;
    let item = match item_id {
        Some(id) => {
            let (size, price): (Option<Micro>, Option<Money>) =
                (row.get("size_micro")?, row.get("price_minor")?);
            let pack = size
                .zip(price)
                .map(|(size, price)| quantity(currency.decimal(price) / size.0));
            Some(Item {
                id,
                name: row.get("item")?,
                unit: row.get("unit")?,
                price: pack.unwrap_or_default(),
            })
        }
        None => None,
    };
    let harden_hours: Option<Micro> = row.get("harden_hours_micro")?;
    Ok(Operation {
        id: row.get("id")?,
        name: row.get("name")?,
        task: Task {
            id: row.get("task_id")?,
            name: row.get("task")?,
        },
        driver: row.get("driver")?,
        item,
        set_size: row.get("set_size")?,
        family: row.get("family")?,
        splits: row.get("splits")?,
        machine: row.get("machine_id")?,
        grit: row.get("grit")?,
        harden_hours: harden_hours.map(|hours| hours.0),
        answers: row.get("answers")?,
        hazards: Vec::new(),
        description: row.get("description")?,
        source: row.get("source")?,
    })
}

/// Reads the tariff that a row carries: a machine's, or the copy of a quote or of a machine that went out.
pub(super) fn tariff_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Tariff> {
    Ok(Tariff {
        half_day: row.get("half_day_minor")?,
        day: row.get("day_minor")?,
        weekend: row.get("weekend_minor")?,
        week: row.get("week_minor")?,
        four_weeks: row.get("four_weeks_minor")?,
        waiver_percent: row.micro("waiver_micro")?,
        cleaning: row.get("cleaning_minor")?,
    })
}

impl Writing<'_> {
    /// Fills a new ledger's book from the embedded files.
    pub(super) fn seed_book(&self) -> Result<()> {
        self.seed_settings()?;
        self.import_items(
            "items.csv",
            include_bytes!("../../seed-data/items.csv"),
            seed_price,
        )?;
        self.seed_machines()?;
        self.import_quietly(
            Transfer::Operations,
            "operations.csv",
            include_bytes!("../../seed-data/operations.csv"),
            Units::Us,
        )?;
        self.import_quietly(
            Transfer::BookRates,
            "book-rates.csv",
            include_bytes!("../../seed-data/book-rates.csv"),
            Units::Us,
        )?;
        self.seed_sequences()?;
        self.seed_schedules()
    }

    fn seed_machines(&self) -> Result<()> {
        let columns = Columns {
            kind: "machines",
            required: &[
                "machine",
                "description",
                "half_day",
                "day",
                "weekend",
                "week",
                "four_weeks",
                "waiver_percent",
                "cleaning",
                "source",
            ],
            optional: &[],
        };
        let rows = Rows::read(
            "machines.csv",
            include_bytes!("../../seed-data/machines.csv"),
            columns,
        )?;
        for row in rows.iter() {
            let price = |column| {
                Ok::<_, anyhow::Error>(
                    row.number(column)?
                        .map(|price| self.currency().amount(price)),
                )
            };
            let tariff = Tariff {
                half_day: price("half_day")?,
                day: price("day")?.unwrap_or_default(),
                weekend: price("weekend")?,
                week: price("week")?,
                four_weeks: price("four_weeks")?,
                waiver_percent: row.number("waiver_percent")?.unwrap_or_default(),
                cleaning: price("cleaning")?.unwrap_or_default(),
            };
            self.insert_machine(
                row.text("machine"),
                row.text("description"),
                &tariff,
                row.text("source"),
            )?;
        }
        Ok(())
    }

    pub(super) fn operation_ids(&self) -> Result<BTreeMap<String, OperationId>> {
        Ok(self
            .operations()?
            .into_iter()
            .map(|operation| (operation.name, operation.id))
            .collect())
    }

    /// Adds an item.
    ///
    /// # Errors
    /// Refuses a name that is empty or taken.
    pub fn add_item(&self, item: &NewItem) -> Result<ItemId> {
        let id = self.insert_item(item)?;
        self.log(&format!("Added item {}.", item.name))?;
        Ok(id)
    }

    pub(super) fn insert_item(&self, item: &NewItem) -> Result<ItemId> {
        let name = self.new_name("item", &item.name, "SELECT name FROM item")?;
        self.insert_item_called(&name, item)
    }

    /// Writes an item down, by a name that is free.
    pub(super) fn insert_item_called(&self, name: &str, item: &NewItem) -> Result<ItemId> {
        item_unit(item.unit)?;
        let id = ItemId(self.new_id("item")?);
        self.connection
            .prepare_cached(
                "INSERT INTO item (id, name, description, unit, kept, returnable, recorded_at)
                 VALUES (:id, :name, :description, :unit, :kept, :returnable, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":name": name, ":description": item.description, ":unit": item.unit,
                ":kept": i64::from(item.kept), ":returnable": i64::from(item.returnable), ":now": self.now(),
            })?;
        for pack in &item.packs {
            self.set_pack(id, pack)?;
        }
        Ok(id)
    }

    /// Changes an item's description, keeping and returning, and the prices of its packs.
    ///
    /// A pack of a size that is known gets the new price; another size is added.
    ///
    /// # Errors
    /// Fails if the file can't be written.
    pub fn edit_item(&self, item: &BookItem) -> Result<()> {
        self.update_item(item)?;
        self.log(&format!("Changed item {}.", item.name))
    }

    pub(super) fn update_item(&self, item: &BookItem) -> Result<()> {
        self.connection.execute(
            "UPDATE item SET description = :description, kept = :kept, returnable = :returnable WHERE id = :id",
            named_params! {
                ":description": item.description, ":kept": i64::from(item.kept),
                ":returnable": i64::from(item.returnable), ":id": item.id,
            },
        )?;
        for pack in &item.packs {
            self.set_pack(item.id, pack)?;
        }
        Ok(())
    }

    /// Takes a pack out of the book, in which its item isn't sold any more.
    ///
    /// # Errors
    /// Refuses a size that isn't there, and the last pack of an item: it would have no price.
    pub fn remove_pack(&self, item: &str, size: Decimal) -> Result<()> {
        let item = self.item(item)?;
        let shown = plain(size, 6);
        if !item.packs.iter().any(|pack| pack.size == size) {
            let sizes: Vec<String> = item.packs.iter().map(|pack| plain(pack.size, 6)).collect();
            let refusal = Refusal::new(format!("{} has no pack of `{shown}`", item.name));
            return Err(refusal.hint(format!("packs: {}", sizes.join(", "))).into());
        }
        if item.packs.len() == 1 {
            let refusal = Refusal::new(format!(
                "`{shown}` is the last pack of {}: without one it would have no price",
                item.name
            ));
            let operations = self.operations()?.into_iter();
            let takers = operations.filter(|operation| {
                operation
                    .item
                    .as_ref()
                    .is_some_and(|taken| taken.id == item.id)
            });
            let refusal = takers.fold(refusal, |refusal, operation| {
                refusal.hint(format!(
                    "gritledger operation edit {} --item none",
                    operation.name
                ))
            });
            return Err(refusal.into());
        }
        self.connection.execute(
            "DELETE FROM item_pack WHERE item_id = :item AND size_micro = :size",
            named_params! { ":item": item.id, ":size": Micro(size) },
        )?;
        self.log(&format!(
            "Took the pack of {shown} of {} out of the book.",
            item.name
        ))
    }

    fn set_pack(&self, item: ItemId, pack: &Pack) -> Result<()> {
        if quantity(pack.size) <= Decimal::ZERO {
            refuse!(
                "a pack holds more than nothing: `{}`",
                pack.size.normalize()
            );
        }
        if pack.price.is_negative() {
            refuse!("a price is not below zero");
        }
        let changed = self.connection.execute(
            "UPDATE item_pack SET price_minor = :price, source = :source WHERE item_id = :item AND size_micro = :size",
            named_params! { ":price": pack.price, ":source": pack.source, ":item": item, ":size": Micro(pack.size) },
        )?;
        if changed == 0 {
            self.connection.execute(
                "INSERT INTO item_pack (id, item_id, position, size_micro, price_minor, source)
                 VALUES (:id, :item, (SELECT COALESCE(MAX(position), 0) + 1 FROM item_pack WHERE item_id = :item),
                         :size, :price, :source)",
                named_params! {
                    ":id": self.new_id("item_pack")?, ":item": item, ":size": Micro(pack.size), ":price": pack.price,
                    ":source": pack.source,
                },
            )?;
        }
        Ok(())
    }

    /// Adds a machine.
    ///
    /// # Errors
    /// Refuses a name that is empty or taken.
    pub fn add_machine(
        &self,
        name: &str,
        description: &str,
        tariff: &Tariff,
        source: &str,
    ) -> Result<()> {
        self.insert_machine(name, description, tariff, source)?;
        self.log(&format!("Added machine {}.", name.trim()))
    }

    fn insert_machine(
        &self,
        name: &str,
        description: &str,
        tariff: &Tariff,
        source: &str,
    ) -> Result<()> {
        let name = self.new_name("machine", name, "SELECT name FROM machine")?;
        let Tariff {
            half_day,
            day,
            weekend,
            week,
            four_weeks,
            waiver_percent,
            cleaning,
        } = tariff;
        self.connection.execute(
            "INSERT INTO machine (id, name, description, half_day_minor, day_minor, weekend_minor, week_minor,
                                  four_weeks_minor, waiver_micro, cleaning_minor, source, recorded_at)
             VALUES (:id, :name, :description, :half_day, :day, :weekend, :week, :four_weeks, :waiver, :cleaning, :source, :now)",
            named_params! {
                ":id": self.new_id("machine")?, ":name": name, ":description": description,
                ":half_day": half_day, ":day": day, ":weekend": weekend, ":week": week, ":four_weeks": four_weeks,
                ":waiver": Micro(*waiver_percent), ":cleaning": cleaning, ":source": source, ":now": self.now(),
            },
        )?;
        Ok(())
    }

    /// Changes a machine's description and tariff.
    ///
    /// # Errors
    /// Fails if the file can't be written.
    pub fn edit_machine(&self, machine: &BookMachine) -> Result<()> {
        let Tariff {
            half_day,
            day,
            weekend,
            week,
            four_weeks,
            waiver_percent,
            cleaning,
        } = &machine.tariff;
        self.connection.execute(
            "UPDATE machine SET description = :description, half_day_minor = :half_day, day_minor = :day,
                    weekend_minor = :weekend, week_minor = :week, four_weeks_minor = :four_weeks, waiver_micro = :waiver,
                    cleaning_minor = :cleaning, source = :source
             WHERE id = :id",
            named_params! {
                ":description": machine.description, ":half_day": half_day, ":day": day, ":weekend": weekend,
                ":week": week, ":four_weeks": four_weeks, ":waiver": Micro(*waiver_percent), ":cleaning": cleaning,
                ":source": machine.source, ":id": machine.id,
            },
        )?;
        self.log(&format!("Changed machine {}.", machine.name))
    }

    /// Adds an operation.
    ///
    /// # Errors
    /// Refuses a name that is empty or taken.
    pub fn add_operation(&self, operation: &NewOperation) -> Result<OperationId> {
        let id = self.insert_operation(operation)?;
        self.log(&format!("Added operation {}.", operation.name))?;
        Ok(id)
    }

    pub(super) fn insert_operation(&self, operation: &NewOperation) -> Result<OperationId> {
        let name = self.new_name("operation", &operation.name, "SELECT name FROM operation")?;
        operation.harden_hours.map_or(Ok(()), check_hardening)?;
        let id = OperationId(self.new_id("operation")?);
        let task = self.task_or_new(operation)?;
        self.connection
            .prepare_cached(
                "INSERT INTO operation (id, name, task_id, driver, item_id, set_size, family, splits, machine_id, grit,
                                        harden_hours_micro, answers, description, source, recorded_at)
                 VALUES (:id, :name, :task, :driver, :item, :set_size, :family, :splits, :machine, :grit, :harden,
                         :answers, :description, :source, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":name": name, ":task": task, ":driver": operation.driver,
                ":item": operation.item, ":set_size": operation.set_size, ":family": family(operation),
                ":splits": operation.splits, ":machine": operation.machine, ":grit": operation.grit,
                ":harden": operation.harden_hours.map(Micro), ":answers": operation.answers,
                ":description": operation.description, ":source": operation.source, ":now": self.now(),
            })?;
        self.insert_hazards(id, operation)?;
        Ok(id)
    }

    /// Changes an operation; its name stays.
    ///
    /// # Errors
    /// Refuses an item that is counted in another unit.
    pub fn edit_operation(&self, id: OperationId, operation: &NewOperation) -> Result<()> {
        self.refuse_other_unit(id, operation)?;
        self.update_operation(id, operation)?;
        self.log(&format!("Changed operation {}.", operation.name))
    }

    /// Refuses an item that is counted otherwise: the operation's rates and evidence are in the old one's unit.
    fn refuse_other_unit(&self, id: OperationId, operation: &NewOperation) -> Result<()> {
        let items = self.items()?;
        let named = |id: ItemId| items.iter().find(|item| item.id == id);
        let known = self
            .operations_by_id()?
            .remove(&id)
            .and_then(|known| known.item);
        if let (Some(known), Some(new)) = (known, operation.item.and_then(named))
            && known.unit != new.unit
        {
            return Err(Refusal::new(format!(
                "the rates of {} are in {}, and {} is counted in {}",
                operation.name, known.unit, new.name, new.unit
            ))
            .hint(of_its_own(operation, Some(new)))
            .into());
        }
        Ok(())
    }

    /// What finished rooms taught is measured by the driver that the operation had then.
    fn refuse_other_driver(&self, id: OperationId, operation: &NewOperation) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT driver FROM operation
             WHERE id = :id AND driver <> :driver
               AND EXISTS (SELECT 1 FROM observation_part WHERE operation_id = operation.id)",
        )?;
        let measured: Option<Driver> = statement
            .query_row(
                named_params! { ":id": id, ":driver": operation.driver },
                |row| row.get(0),
            )
            .optional()?;
        match measured {
            Some(driver) => Err(Refusal::new(format!(
                "finished rooms of {} are measured by {driver}, not by {}",
                operation.name, operation.driver
            ))
            .hint(of_its_own(operation, None))
            .into()),
            None => Ok(()),
        }
    }

    pub(super) fn update_operation(&self, id: OperationId, operation: &NewOperation) -> Result<()> {
        self.refuse_other_driver(id, operation)?;
        operation.harden_hours.map_or(Ok(()), check_hardening)?;
        let task = self.task_or_new(operation)?;
        self.connection
            .prepare_cached(
                "UPDATE operation SET task_id = :task, driver = :driver, item_id = :item, set_size = :set_size,
                        family = :family, splits = :splits, machine_id = :machine, grit = :grit,
                        harden_hours_micro = :harden, answers = :answers, description = :description, source = :source
                 WHERE id = :id",
            )?
            .execute(named_params! {
                ":id": id, ":task": task, ":driver": operation.driver, ":item": operation.item,
                ":set_size": operation.set_size, ":family": family(operation), ":splits": operation.splits,
                ":machine": operation.machine, ":grit": operation.grit,
                ":harden": operation.harden_hours.map(Micro), ":answers": operation.answers,
                ":description": operation.description, ":source": operation.source,
            })?;
        self.connection.execute(
            "DELETE FROM operation_hazard WHERE operation_id = :id",
            named_params! { ":id": id },
        )?;
        self.insert_hazards(id, operation)
    }

    fn insert_hazards(&self, id: OperationId, operation: &NewOperation) -> Result<()> {
        for hazard in &operation.hazards {
            self.connection
                .prepare_cached("INSERT OR IGNORE INTO operation_hazard (operation_id, hazard) VALUES (:id, :hazard)")?
                .execute(named_params! { ":id": id, ":hazard": hazard })?;
        }
        Ok(())
    }

    /// Returns an operation's task, made if unknown; an operation without one is a task of its own.
    fn task_or_new(&self, operation: &NewOperation) -> Result<TaskId> {
        let name = match operation.task.trim() {
            "" => named("task", &operation.name)?,
            task => named("task", task)?,
        };
        let known = |task: &Task| same(&task.name, &name);
        if let Some(known) = self.tasks()?.into_iter().find(known) {
            return Ok(known.id);
        }
        let id = TaskId(self.new_id("task")?);
        self.connection.execute(
            "INSERT INTO task (id, name) VALUES (:id, :name)",
            named_params! { ":id": id, ":name": name },
        )?;
        Ok(id)
    }

    /// Sets a book rate; the one before stays in the record.
    ///
    /// # Errors
    /// Refuses a rate of zero, rates and fixed amounts that can't be meant, and a fixed amount below zero.
    pub fn set_rate(&self, rate: &BookRate) -> Result<()> {
        self.insert_rate(rate)?;
        let name: String = self.connection.query_row(
            "SELECT name FROM operation WHERE id = :id",
            named_params! { ":id": rate.operation },
            |row| row.get(0),
        )?;
        self.log(&format!(
            "Set the {} rate of {name} to {} per {}.",
            rate.kind,
            rate.driver_per_item.normalize(),
            rate.kind
        ))
    }

    pub(super) fn insert_rate(&self, rate: &BookRate) -> Result<()> {
        if round(rate.driver_per_item, RATE_DECIMALS) <= Decimal::ZERO {
            refuse!(
                "a rate is above zero: `{}`",
                rate.driver_per_item.normalize()
            );
        }
        if rate.driver_per_item < LEAST_RATE {
            refuse!(
                "`{}` is too small a rate: {LEAST_RATE} at least",
                rate.driver_per_item.normalize()
            );
        }
        if rate.driver_per_item > Decimal::from(LARGEST_RATE) {
            refuse!("`{}` is too large a rate", rate.driver_per_item.normalize());
        }
        if let Some(fixed) = rate.fixed.filter(|fixed| *fixed > MOST_FIXED) {
            refuse!(
                "`{}` is too large a fixed amount: {MOST_FIXED} at most",
                fixed.normalize()
            );
        }
        if let Some(fixed) = rate.fixed.filter(|fixed| *fixed < Decimal::ZERO) {
            refuse!("a fixed amount is not below zero: `{}`", fixed.normalize());
        }
        self.connection
            .prepare_cached(
                "INSERT INTO book_rate (id, operation_id, floor_condition, species, kind, driver_per_item_nano,
                                        fixed_micro, source, recorded_at)
                 VALUES (:id, :operation, :condition, :species, :kind, :rate, :fixed, :source, :now)",
            )?
            .execute(named_params! {
                ":id": self.new_id("book_rate")?, ":operation": rate.operation, ":condition": rate.condition,
                ":species": rate.species, ":kind": rate.kind, ":rate": Nano(rate.driver_per_item),
                ":fixed": rate.fixed.map(Micro), ":source": rate.source, ":now": self.now(),
            })?;
        Ok(())
    }

    /// Returns the name of something new, as it is kept; `names` asks for those that are taken.
    pub(super) fn new_name(&self, noun: &str, name: &str, names: &'static str) -> Result<String> {
        let name = named(noun, name)?;
        let mut statement = self.connection.prepare_cached(names)?;
        let taken = statement.query_map([], |row| row.get::<_, String>(0))?;
        for taken in taken {
            if same(&taken?, &name) {
                refuse!("there is already the {noun} `{name}`");
            }
        }
        Ok(name)
    }
}

/// Returns a unit that items are counted or measured in; hours, days and miles are none.
pub(super) fn item_unit(unit: Unit) -> Result<Unit> {
    if !ITEM_UNITS.contains(&unit) {
        let units: Vec<&str> = ITEM_UNITS.iter().map(|unit| unit.as_str()).collect();
        refuse!(
            "`{unit}` is not a unit of items; one of: {}",
            units.join(", ")
        );
    }
    Ok(unit)
}

/// Returns an operation's family; one that names none is a family of its own.
fn family(operation: &NewOperation) -> &str {
    if operation.family.trim().is_empty() {
        operation.name.trim()
    } else {
        operation.family.trim()
    }
}
