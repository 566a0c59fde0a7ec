//! How the lines of quotes sit in `quote_line`: one wide row for every kind of line.
//!
//! [`LineRow`] names each column once; rows are written and read by that list. Both ways between it and [`Line`] name every
//! field, so that a field without a column, or a column without a field, doesn't compile.

use anyhow::Result;
use rusqlite::types::Type;
use rusqlite::{Connection, ToSql};

use super::columns::{Micro, NamedRow};
use crate::money::Money;
use crate::trade::operation::{Driver, Task};
use crate::trade::quote::{ItemLine, Line, LineKind, WorkLine};
use crate::trade::rental::Tariff;
use crate::trade::takeoff::Contingency;
use crate::trade::trips::{Destination, Trips};
use crate::trade::{FloorCondition, ItemId, MachineId, OperationId, QuoteId, RoomId, TaskId, Unit};

/// Declares the row by its columns.
macro_rules! line_row {
    ($($column:ident: $type:ty,)+) => {
        /// A row of `quote_line`, but for what it belongs to and its place there. What a kind of line doesn't have is NULL,
        /// nothing in money, or an empty text.
        pub(super) struct LineRow {
            kind: LineKind,
            $($column: $type,)+
        }

        impl LineRow {
            /// Its columns, as a query asks for them.
            pub(super) const COLUMNS: &str = concat!("quote_line.kind" $(, ", quote_line.", stringify!($column))+);

            /// Reads them where they stand, one after the other: there are many lines, and looking for names takes time.
            pub(super) fn read(row: &NamedRow<'_>) -> rusqlite::Result<LineRow> {
                let mut column = row.position("kind")?;
                Ok(LineRow {
                    kind: row.row.get(column)?,
                    $($column: {
                        column += 1;
                        row.row.get(column)?
                    },)+
                })
            }

            pub(super) fn insert(&self, file: &Connection, id: i64, quote: QuoteId, position: i64) -> Result<()> {
                let values: &[(&str, &dyn ToSql)] = &[
                    (":id", &id),
                    (":quote_id", &quote),
                    (":position", &position),
                    (":kind", &self.kind),
                    $((concat!(":", stringify!($column)), &self.$column),)+
                ];
                file.prepare_cached(concat!(
                    "INSERT INTO quote_line (id, quote_id, position, kind" $(, ", ", stringify!($column))+, ")
                     VALUES (:id, :quote_id, :position, :kind" $(, ", :", stringify!($column))+, ")"
                ))?
                .execute(values)?;
                Ok(())
            }

            fn empty(kind: LineKind) -> LineRow {
                LineRow {
                    kind,
                    $($column: Default::default(),)+
                }
            }
        }
    };
}

line_row! {
    other_cost_minor: Money,
    room_id: Option<RoomId>,
    part: Option<FloorCondition>,
    operation_id: Option<OperationId>,
    operation: Option<String>,
    task_id: Option<TaskId>,
    task: Option<String>,
    driver: Option<Driver>,
    driver_micro: Option<Micro>,
    passes: Option<u32>,
    chance_micro: Option<Micro>,
    low_micro: Option<Micro>,
    high_micro: Option<Micro>,
    item_id: Option<ItemId>,
    item: Option<String>,
    unit: Option<Unit>,
    item_micro: Option<Micro>,
    load_micro: Option<Micro>,
    unit_price_micro: Option<Micro>,
    item_cost_minor: Money,
    hours_micro: Option<Micro>,
    labour_cost_minor: Money,
    machine_id: Option<MachineId>,
    machine: Option<String>,
    days_micro: Option<Micro>,
    once_minor: Money,
    what: String,
}

impl LineRow {
    /// Returns the row of a line; the tariff of a rental stands in a table of its own.
    pub(super) fn of(line: &Line) -> LineRow {
        let mut row = LineRow::empty(line.kind());
        match line {
            Line::Work(work) => row.take_work(work),
            Line::Rental {
                machine,
                name,
                days,
                cost,
                once,
                tariff: _,
            } => {
                row.machine_id = Some(*machine);
                row.machine = Some(name.clone());
                row.days_micro = Some(Micro(*days));
                row.other_cost_minor = *cost;
                row.once_minor = *once;
            }
            Line::Trips(trips) => row.take_trips(trips),
            Line::Opened {
                item,
                name,
                unit,
                left,
                cost,
            } => {
                row.item_id = Some(*item);
                row.item = Some(name.clone());
                row.unit = Some(*unit);
                row.item_micro = Some(Micro(*left));
                row.other_cost_minor = *cost;
            }
            Line::Other { what, cost } => {
                row.what.clone_from(what);
                row.other_cost_minor = *cost;
            }
            Line::Overhead { cost } => row.other_cost_minor = *cost,
        }
        row
    }

    fn take_work(&mut self, work: &WorkLine) {
        let WorkLine {
            room,
            part,
            operation,
            name,
            task,
            driver,
            quantity,
            passes,
            contingency,
            item,
            hours,
            labour,
        } = work;
        self.room_id = *room;
        self.part = *part;
        self.operation_id = Some(*operation);
        self.operation = Some(name.clone());
        self.task_id = Some(task.id);
        self.task = Some(task.name.clone());
        self.driver = Some(*driver);
        self.driver_micro = Some(Micro(*quantity));
        self.passes = Some(*passes);
        self.hours_micro = Some(Micro(*hours));
        self.labour_cost_minor = *labour;
        if let Some(Contingency { chance, low, high }) = contingency {
            self.chance_micro = Some(Micro(*chance));
            self.low_micro = Some(Micro(*low));
            self.high_micro = Some(Micro(*high));
        }
        if let Some(item) = item {
            self.take_item(item);
        }
    }

    fn take_trips(&mut self, trips: &Trips) {
        let Trips {
            to,
            trips,
            distance,
            unit,
            rate,
            cost,
            hours,
            labour,
        } = trips;
        self.what = to.to_string();
        self.passes = Some(*trips);
        self.driver_micro = Some(Micro(*distance));
        self.unit = Some(*unit);
        self.unit_price_micro = Some(Micro(*rate));
        self.other_cost_minor = *cost;
        self.hours_micro = Some(Micro(*hours));
        self.labour_cost_minor = *labour;
    }

    fn take_item(&mut self, item: &ItemLine) {
        let ItemLine {
            id,
            name,
            unit,
            expected,
            load,
            unit_price,
            cost,
        } = item;
        self.item_id = Some(*id);
        self.item = Some(name.clone());
        self.unit = Some(*unit);
        self.item_micro = Some(Micro(*expected));
        self.load_micro = Some(Micro(*load));
        self.unit_price_micro = Some(Micro(*unit_price));
        self.item_cost_minor = *cost;
    }

    /// Returns the line of a row; `tariff` is asked for that of a rental.
    pub(super) fn line(
        self,
        tariff: impl FnOnce() -> rusqlite::Result<Tariff>,
    ) -> rusqlite::Result<Line> {
        let LineRow {
            kind,
            other_cost_minor: cost,
            room_id: room,
            part,
            operation_id,
            operation,
            task_id,
            task,
            driver,
            driver_micro,
            passes,
            chance_micro,
            low_micro,
            high_micro,
            item_id,
            item,
            unit,
            item_micro,
            load_micro,
            unit_price_micro,
            item_cost_minor,
            hours_micro,
            labour_cost_minor: labour,
            machine_id,
            machine,
            days_micro,
            once_minor: once,
            what,
        } = self;
        Ok(match kind {
            LineKind::Work => Line::Work(WorkLine {
                room,
                part,
                operation: there(operation_id, "operation_id")?,
                name: there(operation, "operation")?,
                task: Task {
                    id: there(task_id, "task_id")?,
                    name: there(task, "task")?,
                },
                driver: there(driver, "driver")?,
                quantity: there(driver_micro, "driver_micro")?.0,
                passes: there(passes, "passes")?,
                contingency: match chance_micro {
                    Some(Micro(chance)) => Some(Contingency {
                        chance,
                        low: there(low_micro, "low_micro")?.0,
                        high: there(high_micro, "high_micro")?.0,
                    }),
                    None => None,
                },
                item: match item_id {
                    Some(id) => Some(ItemLine {
                        id,
                        name: there(item, "item")?,
                        unit: there(unit, "unit")?,
                        expected: there(item_micro, "item_micro")?.0,
                        load: there(load_micro, "load_micro")?.0,
                        unit_price: there(unit_price_micro, "unit_price_micro")?.0,
                        cost: item_cost_minor,
                    }),
                    None => None,
                },
                hours: there(hours_micro, "hours_micro")?.0,
                labour,
            }),
            LineKind::Rental => Line::Rental {
                machine: there(machine_id, "machine_id")?,
                name: there(machine, "machine")?,
                days: there(days_micro, "days_micro")?.0,
                cost,
                once,
                tariff: tariff()?,
            },
            LineKind::Trips => Line::Trips(Trips {
                to: destination(&what)?,
                trips: there(passes, "passes")?,
                distance: there(driver_micro, "driver_micro")?.0,
                unit: there(unit, "unit")?,
                rate: there(unit_price_micro, "unit_price_micro")?.0,
                cost,
                hours: there(hours_micro, "hours_micro")?.0,
                labour,
            }),
            LineKind::Opened => Line::Opened {
                item: there(item_id, "item_id")?,
                name: there(item, "item")?,
                unit: there(unit, "unit")?,
                left: there(item_micro, "item_micro")?.0,
                cost,
            },
            LineKind::Other => Line::Other { what, cost },
            LineKind::Overhead => Line::Overhead { cost },
        })
    }
}

fn destination(what: &str) -> rusqlite::Result<Destination> {
    let read = what.parse::<Destination>();
    read.map_err(|why| rusqlite::Error::FromSqlConversionFailure(0, Type::Text, why.into()))
}

/// Returns what every line of a kind has.
fn there<T>(value: Option<T>, column: &str) -> rusqlite::Result<T> {
    let null = || rusqlite::Error::InvalidColumnType(0, column.to_owned(), Type::Null);
    value.ok_or_else(null)
}
