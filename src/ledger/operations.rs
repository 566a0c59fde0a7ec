//! Operations, each with its task: what is done, what measures it, and what it takes.

use std::collections::BTreeMap;

use anyhow::Result;
use rusqlite::{OptionalExtension, Row, named_params};

use super::columns::{Micro, NamedRow};
use super::names::{Names, named, same};
use super::{BookItem, InBook, Ledger, Refusal, WorkedOn, Writing, refuse, typed};
use crate::money::{Currency, Decimal, Money, quantity};
use crate::trade::bounds::check_hardening;
use crate::trade::cautions::Hazard;
use crate::trade::operation::{Driver, Item, Operation, Splits, Task};
use crate::trade::{ItemId, MachineId, OperationId, TaskId};

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

const OPERATIONS: &str = "
    SELECT item.id AS item_id, item.name AS item, item.unit, pack.size_micro, pack.price_minor,
           operation.id, operation.name, task.id AS task_id, task.name AS task, driver, set_size, family, splits,
           machine_id, grit, harden_hours_micro, answers, operation.description, operation.source
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

    /// Returns the operations that are in use, in the order of the book.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn operations_in_use(&self) -> Result<Vec<Operation>> {
        let (mut operations, out) = (self.operations()?, self.out_of_use(InBook::Operation)?);
        operations.retain(|operation| !out.contains(&operation.id.0));
        Ok(operations)
    }

    pub(super) fn operations_by_name(&self) -> Result<Names<Operation>> {
        let out = self.out_of_use(InBook::Operation)?;
        let operations = self.operations()?.into_iter();
        let named = operations.map(|operation| (operation.name.clone(), operation));
        Ok(Names::new("operation", named).only_whole(|operation| out.contains(&operation.id.0)))
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
}

fn operation_from_row(row: &Row<'_>, currency: Currency) -> rusqlite::Result<Operation> {
    let row = NamedRow::of(row);
    let item = match row.get("item_id")? {
        Some(id) => {
            let (name, unit) = (row.get("item")?, row.get("unit")?);
            let size: Option<Micro> = row.get("size_micro")?;
            let price: Option<Money> = row.get("price_minor")?;
            let pack = size
                .zip(price)
                .map(|(size, price)| quantity(currency.decimal(price) / size.0));
            Some(Item {
                id,
                name,
                unit,
                price: pack.unwrap_or_default(),
            })
        }
        None => None,
    };
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
        harden_hours: row
            .get::<Option<Micro>>("harden_hours_micro")?
            .map(|hours| hours.0),
        answers: row.get("answers")?,
        hazards: Vec::new(),
        description: row.get("description")?,
        source: row.get("source")?,
    })
}

impl Writing<'_> {
    pub(super) fn operation_ids(&self) -> Result<BTreeMap<String, OperationId>> {
        Ok(self
            .operations()?
            .into_iter()
            .map(|operation| (operation.name, operation.id))
            .collect())
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
        let name = self.new_name("operation", &operation.name)?;
        refuse_the_road(&name)?;
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
        refuse_the_road(&name)?;
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
}

/// Refuses a name that hours on the road have.
fn refuse_the_road(name: &str) -> Result<()> {
    match WorkedOn::is_the_road(name) {
        true => refuse!("hours on the road are logged on `{name}`: give it another name"),
        false => Ok(()),
    }
}

/// Returns an operation's family; one that names none is a family of its own.
fn family(operation: &NewOperation) -> &str {
    if operation.family.trim().is_empty() {
        operation.name.trim()
    } else {
        operation.family.trim()
    }
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
