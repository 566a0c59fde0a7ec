//! Rates: how much item, or how many hours, one unit of an operation's driver takes.
//!
//! The **book rate** is where a firm starts; what finished rooms took is kept as [`Observation`]s; [`Rates`] puts the
//! two together. This is a first model, plain credibility weighting, behind the seam that a better one will use:
//! [`learn`] in, [`Rates::rate`] and [`Rates::rows`] out.
//!
//! # The model
//! For one cell (operation × floor condition × species, as far as the operation's rates differ by them):
//!
//! ```text
//! book:      quantity = b · A + n · F        A driver units, n rooms and passes, F a fixed amount for each
//! observed:  o = Σ quantity / Σ A            exposure E = Σ A
//! weight:    Z = E / (E + T)                 T: trust in the book, in driver units, one figure per kind of rate
//! learned:   quantity = (Z·o + (1 − Z)·b) · A + (1 − Z)·F · n
//! ```
//!
//! The observed ratio already holds the fixed amounts of the rooms behind it, so the book's fixed amount fades by the
//! same weight. Z = E/(E + T) is the credibility factor of Bühlmann (1967) with the ratio of variances read as a trust
//! in driver units.
//!
//! A record that covers several rooms or operations (hours are logged on a task, seldom on one operation) is shared
//! over them in proportion to what the book expects of each.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::money::{Decimal, quantity};
use crate::trade::operation::Operation;
use crate::trade::{FloorCondition, OperationId, Species, closed_set};

closed_set! {
    /// What a rate counts.
    RateKind, "kind of rate" {
        /// Items used.
        Item = "item",
        /// Hours worked.
        Hours = "hours",
    }
}

/// What a rate may differ by: the floor that an operation meets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct FloorClass {
    /// What the first cut meets.
    pub condition: FloorCondition,
    /// The wood.
    pub species: Species,
}

/// One row of the firm's book.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BookRate {
    /// The operation.
    pub operation: OperationId,
    /// The floor condition it is for; `None`: any.
    pub condition: Option<FloorCondition>,
    /// The species it is for; `None`: any.
    pub species: Option<Species>,
    /// Items or hours.
    pub kind: RateKind,
    /// Driver units per item or hour; above zero.
    pub driver_per_item: Decimal,
    /// Items or hours per room and pass, whatever its size.
    pub fixed: Decimal,
    /// Where the figure comes from.
    pub source: String,
}

/// A rate ready for use: items (or hours) per driver unit, and a fixed amount per room and pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rate {
    /// Items or hours per driver unit.
    pub per_unit: Decimal,
    /// Items or hours per room and pass.
    pub fixed: Decimal,
}

impl Rate {
    /// Returns what that many driver units in that many passes are expected to take.
    pub fn expect(self, driver: Decimal, passes: u32) -> Decimal {
        self.per_unit * driver + self.fixed * Decimal::from(passes)
    }
}

impl BookRate {
    /// Returns the row as a rate.
    pub fn rate(&self) -> Rate {
        Rate {
            per_unit: Decimal::ONE / self.driver_per_item,
            fixed: self.fixed,
        }
    }

    /// Tells how closely the row fits a floor; `None`: it is for another floor.
    fn fit(&self, class: FloorClass) -> Option<u8> {
        let condition = match self.condition {
            None => 0,
            Some(condition) if condition == class.condition => 2,
            Some(_) => return None,
        };
        match self.species {
            None => Some(condition),
            Some(species) if species == class.species => Some(condition + 1),
            Some(_) => None,
        }
    }
}

/// The firm's book of rates, newest rows only.
#[derive(Clone, Debug, Default)]
pub struct Book {
    rows: BTreeMap<(OperationId, RateKind), Vec<BookRate>>,
}

impl Book {
    /// Returns the book that holds those rows.
    pub fn new(rows: impl IntoIterator<Item = BookRate>) -> Book {
        let mut book = Book::default();
        for row in rows {
            book.rows
                .entry((row.operation, row.kind))
                .or_default()
                .push(row);
        }
        book
    }

    /// Returns the row that fits the floor best: both, then condition, then species, then any.
    pub fn row(
        &self,
        operation: OperationId,
        kind: RateKind,
        class: FloorClass,
    ) -> Option<&BookRate> {
        let rows = self.rows.get(&(operation, kind))?;
        rows.iter()
            .filter_map(|row| row.fit(class).map(|fit| (fit, row)))
            .max_by_key(|(fit, _)| *fit)
            .map(|(_, row)| row)
    }

    /// Returns every row, by operation and kind.
    pub fn rows(&self) -> impl Iterator<Item = &BookRate> {
        self.rows.values().flatten()
    }
}

/// How far the book is trusted, in driver units of the firm's own work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Trust {
    /// For counted items.
    pub discs: Decimal,
    /// For measured items.
    pub finish: Decimal,
    /// For hours.
    pub hours: Decimal,
}

impl Trust {
    fn of(self, operation: &Operation, kind: RateKind) -> Decimal {
        match (kind, operation.set_size) {
            (RateKind::Hours, _) => self.hours,
            (RateKind::Item, Some(_)) => self.discs,
            (RateKind::Item, None) => self.finish,
        }
    }
}

/// What finished rooms took: one quantity over one or more rooms and operations.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Observation {
    /// Items or hours.
    pub kind: RateKind,
    /// The job, by its number or the notebook's name.
    pub job: String,
    /// When the work was finished.
    pub finished_on: NaiveDate,
    /// How much it took.
    pub quantity: Decimal,
    /// What it covers.
    pub parts: Vec<ObservedPart>,
}

/// One room and operation that an observation covers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ObservedPart {
    /// The operation.
    pub operation: OperationId,
    /// The room's name.
    pub room: String,
    /// The floor.
    pub class: FloorClass,
    /// Driver units, all passes.
    pub driver: Decimal,
    /// How often the room was gone over.
    pub passes: u32,
}

/// Where rates are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cell {
    /// The operation.
    pub operation: OperationId,
    /// Items or hours.
    pub kind: RateKind,
    /// The floor condition, if the operation's rates differ by it.
    pub condition: Option<FloorCondition>,
    /// The species, if the operation's rates differ by it.
    pub species: Option<Species>,
}

impl Cell {
    /// Returns the cell that a floor belongs to.
    pub fn of(operation: &Operation, kind: RateKind, class: FloorClass) -> Cell {
        Cell {
            operation: operation.id,
            kind,
            condition: operation.splits.by_condition().then_some(class.condition),
            species: operation.splits.by_species().then_some(class.species),
        }
    }
}

/// What a cell's finished rooms add up to.
#[derive(Clone, Debug, Default)]
struct Experience {
    quantity: Decimal,
    exposure: Decimal,
    rooms: BTreeSet<(String, String)>,
}

/// The book and what was learned, together.
#[derive(Clone, Debug)]
pub struct Rates {
    book: Book,
    trust: Trust,
    operations: BTreeMap<OperationId, Operation>,
    experience: BTreeMap<Cell, Experience>,
}

/// One line of `rate list`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RateRow {
    /// The cell; `None` for a condition or species means any.
    pub cell: Cell,
    /// What the book says.
    pub book: Rate,
    /// Items or hours per driver unit that finished rooms took; `None`: nothing recorded yet.
    pub observed: Option<Decimal>,
    /// Finished rooms behind it.
    pub rooms: usize,
    /// Driver units behind it.
    pub exposure: Decimal,
    /// Book and finished rooms together.
    pub learned: Rate,
}

/// Learns from observations: book in, experience in, rates out.
///
/// Observations of operations that the book doesn't know, or that expect nothing, teach nothing.
pub fn learn(
    book: Book,
    trust: Trust,
    operations: BTreeMap<OperationId, Operation>,
    observations: &[Observation],
) -> Rates {
    let mut experience: BTreeMap<Cell, Experience> = BTreeMap::new();
    for observation in observations {
        let expected: Vec<Decimal> = observation
            .parts
            .iter()
            .map(|part| {
                let row = book.row(part.operation, observation.kind, part.class);
                row.map_or(Decimal::ZERO, |row| {
                    row.rate().expect(part.driver, part.passes)
                })
            })
            .collect();
        let total: Decimal = expected.iter().sum();
        if total.is_zero() {
            continue;
        }
        for (part, expected) in observation.parts.iter().zip(expected) {
            let Some(operation) = operations.get(&part.operation) else {
                continue;
            };
            if part.driver.is_zero() {
                continue;
            }
            let cell = experience
                .entry(Cell::of(operation, observation.kind, part.class))
                .or_default();
            cell.quantity += observation.quantity * expected / total;
            cell.exposure += part.driver;
            cell.rooms
                .insert((observation.job.clone(), part.room.clone()));
        }
    }
    Rates {
        book,
        trust,
        operations,
        experience,
    }
}

impl Rates {
    /// Returns the rate that quotes use for a floor; `None`: the book has none.
    pub fn rate(&self, operation: &Operation, kind: RateKind, class: FloorClass) -> Option<Rate> {
        let book = self.book.row(operation.id, kind, class)?.rate();
        let cell = Cell::of(operation, kind, class);
        Some(self.weigh(operation, cell, book))
    }

    /// Returns the book's rate for a floor.
    pub fn book_rate(
        &self,
        operation: OperationId,
        kind: RateKind,
        class: FloorClass,
    ) -> Option<Rate> {
        self.book.row(operation, kind, class).map(BookRate::rate)
    }

    fn weigh(&self, operation: &Operation, cell: Cell, book: Rate) -> Rate {
        let Some(experience) = self.experience.get(&cell) else {
            return book;
        };
        let weight =
            experience.exposure / (experience.exposure + self.trust.of(operation, cell.kind));
        let rest = Decimal::ONE - weight;
        Rate {
            per_unit: weight * experience.quantity / experience.exposure + rest * book.per_unit,
            fixed: rest * book.fixed,
        }
    }

    /// Returns a row for every book rate and for every cell with finished rooms, by operation.
    pub fn rows(&self) -> Vec<RateRow> {
        let mut cells: BTreeMap<Cell, Rate> = self
            .book
            .rows()
            .map(|row| {
                let BookRate {
                    operation,
                    condition,
                    species,
                    kind,
                    ..
                } = *row;
                (
                    Cell {
                        operation,
                        kind,
                        condition,
                        species,
                    },
                    row.rate(),
                )
            })
            .collect();
        for cell in self.experience.keys() {
            if let Some(book) = self.book_for(*cell) {
                cells.entry(*cell).or_insert(book);
            }
        }
        cells
            .into_iter()
            .filter_map(|(cell, book)| self.row(cell, book))
            .collect()
    }

    fn row(&self, cell: Cell, book: Rate) -> Option<RateRow> {
        let operation = self.operations.get(&cell.operation)?;
        if cell.kind == RateKind::Item && operation.item.is_none() {
            return None; // It takes no item any more; what it took stays in the record.
        }
        let experience = self.experience.get(&cell);
        Some(RateRow {
            cell,
            book,
            observed: experience
                .map(|experience| quantity(experience.quantity / experience.exposure)),
            rooms: experience.map_or(0, |experience| experience.rooms.len()),
            exposure: experience.map_or(Decimal::ZERO, |experience| experience.exposure),
            learned: self.weigh(operation, cell, book),
        })
    }

    /// Returns the book rate of a cell that has no book row of its own, by the best fitting row.
    fn book_for(&self, cell: Cell) -> Option<Rate> {
        let class = FloorClass {
            condition: cell.condition.unwrap_or(FloorCondition::Bare),
            species: cell.species.unwrap_or(Species::Other),
        };
        self.book_rate(cell.operation, cell.kind, class)
    }
}
