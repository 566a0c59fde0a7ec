//! What goes in beside the rooms: the firm's book of rates, how far it is trusted, its operations and dated changes.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::Consumption;
use super::float::float;
use crate::money::Decimal;
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

/// The floor that an operation meets, as far as rates may differ by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct FloorClass {
    /// Its condition before the first cut.
    pub condition: FloorCondition,
    /// The wood.
    pub species: Species,
}

impl FloorClass {
    /// Returns the floor of a part in another condition; `None`: the floor as it is.
    pub fn in_part(self, part: Option<FloorCondition>) -> FloorClass {
        FloorClass {
            condition: part.unwrap_or(self.condition),
            ..self
        }
    }
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
    /// Items or hours per room and pass, whatever its size; `None`: the book states none, which isn't zero.
    pub fixed: Option<Decimal>,
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
            fixed: self.fixed.unwrap_or_default(),
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
        let rows = self.rows_of(operation, kind);
        best_fit(rows, class).map(|place| &rows[place])
    }

    /// Returns the rows of an operation's rate of one kind.
    pub fn rows_of(&self, operation: OperationId, kind: RateKind) -> &[BookRate] {
        self.rows.get(&(operation, kind)).map_or(&[], Vec::as_slice)
    }

    /// Returns every row, by operation and kind.
    pub fn rows(&self) -> impl Iterator<Item = &BookRate> {
        self.rows.values().flatten()
    }
}

/// Returns the place of the row that fits a floor best.
pub(super) fn best_fit(rows: &[BookRate], class: FloorClass) -> Option<usize> {
    let fits = rows.iter().enumerate();
    let fits = fits.filter_map(|(place, row)| Some((row.fit(class)?, place)));
    fits.max().map(|(_, place)| place)
}

/// The prior weight of the book, by kind of consumption: it counts as much as so many driver units of the firm's own work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PriorWeights {
    /// For counted items.
    pub discs: Decimal,
    /// For measured items.
    pub finish: Decimal,
    /// For hours.
    pub hours: Decimal,
}

impl PriorWeights {
    pub(super) fn of(self, consumption: Consumption) -> f64 {
        float(match consumption {
            Consumption::Discs => self.discs,
            Consumption::Finish => self.finish,
            Consumption::Hours => self.hours,
        })
    }
}

/// A change of supplier or technique that the owner has dated: from then on an operation's rate is learned anew.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The operation; for hours, its whole task.
    pub operation: OperationId,
    /// What changed.
    pub kind: RateKind,
    /// The first day of the new way.
    pub since: NaiveDate,
    /// What was changed.
    pub note: String,
}

/// Everything that rates are learned by, beside the rooms.
#[derive(Clone, Debug)]
pub struct Basis {
    /// The book.
    pub book: Book,
    /// How much it counts.
    pub prior_weights: PriorWeights,
    /// The operations of the firm.
    pub operations: BTreeMap<OperationId, Operation>,
    /// What the owner knows to have changed.
    pub changes: Vec<Change>,
}
