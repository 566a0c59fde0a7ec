//! What will a sum of rooms take?

use thiserror::Error;

use super::fit::PoolFit;
use super::float::decimal;
use super::predictive::{self, Row, Support};
use super::scheme::{BookWork, CODES, CellAt};
use super::tree::BookPart;
use super::{Consumption, FloorClass, RateKind, Rates};
use crate::money::{Decimal, quantity};
use crate::trade::OperationId;

/// Work whose quantity is asked for: rooms of one number `job` are alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked {
    /// Which job it is part of.
    pub job: usize,
    /// The operation.
    pub operation: OperationId,
    /// Items or hours.
    pub kind: RateKind,
    /// The floor.
    pub class: FloorClass,
    /// Driver units, all passes.
    pub driver: Decimal,
    /// How often the room is gone over.
    pub passes: u32,
}

/// What a sum of rooms will take, in items or hours; counted items come in whole sets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Prediction {
    /// The mean.
    pub mean: Decimal,
    /// Not exceeded 1 time in 10.
    pub p10: Decimal,
    /// Not exceeded 5 times in 10.
    pub p50: Decimal,
    /// Not exceeded 8 times in 10.
    pub p80: Decimal,
    /// Not exceeded 9 times in 10.
    pub p90: Decimal,
}

/// Why a quantity can't be predicted.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum PredictError {
    /// The book has no rate for the work, or expects nothing of it.
    #[error("the book has no rate for this work")]
    NoRate,
    /// The rows are in different units.
    #[error("discs, gallons, litres and hours can't be added up")]
    Unlike,
}

/// Work that is asked for, with its place in the trees.
struct Placed {
    at: CellAt,
    job: usize,
    part: BookPart,
}

impl Rates {
    /// Predicts what a sum of rooms takes.
    ///
    /// # Errors
    /// Refuses work without a rate, and sums of unlike things.
    pub fn predict(&self, rows: &[Asked]) -> Result<Prediction, PredictError> {
        let placed: Vec<Placed> = rows
            .iter()
            .map(|asked| self.placed(asked).ok_or(PredictError::NoRate))
            .collect::<Result<_, _>>()?;
        let first = placed.first().ok_or(PredictError::NoRate)?.at;
        let support = support_of(first, &placed)?;
        let scaled = support == Support::Mixed;
        let pool = &self.fit.pools[first.consumption as usize];
        let rows: Vec<Row<'_>> = placed
            .iter()
            .map(|placed| {
                let parts = std::slice::from_ref(&placed.part);
                pool.row(&placed.at, placed.job, parts, scaled)
            })
            .collect();
        let moments = predictive::total(&pool.posterior, &rows);
        let times = if scaled { 1.0 } else { first.items_per_unit };
        let items = |units: f64| quantity(decimal(units * times));
        let at = |level: f64| items(predictive::quantile(moments, support, level));
        Ok(Prediction {
            mean: items(moments.mean),
            p10: at(0.1),
            p50: at(0.5),
            p80: at(0.8),
            p90: at(0.9),
        })
    }

    fn placed(&self, asked: &Asked) -> Option<Placed> {
        let mut parts = Vec::with_capacity(1);
        let work = std::iter::once(asked.work());
        let at = self.scheme.place(asked.kind, None, work, &mut parts)?;
        let part = parts.pop()?;
        let job = asked.job;
        Some(Placed { at, job, part })
    }
}

impl Asked {
    pub(super) fn work(&self) -> BookWork {
        BookWork {
            operation: self.operation,
            class: self.class,
            driver: self.driver,
            passes: self.passes,
        }
    }
}

/// Returns the support of a sum; sets of several sizes can be added up, other unlike things can't.
fn support_of(first: CellAt, placed: &[Placed]) -> Result<Support, PredictError> {
    let all = |alike: &dyn Fn(CellAt) -> bool| placed.iter().all(|placed| alike(placed.at));
    if !all(&|at| at.consumption == first.consumption) {
        return Err(PredictError::Unlike);
    }
    let in_one_unit = all(&|at| at.items_per_unit.to_bits() == first.items_per_unit.to_bits());
    match first.consumption {
        Consumption::Discs if in_one_unit => Ok(Support::Whole),
        Consumption::Discs => Ok(Support::Mixed),
        Consumption::Finish if !in_one_unit => Err(PredictError::Unlike),
        Consumption::Finish | Consumption::Hours => Ok(Support::Measured),
    }
}

impl PoolFit {
    /// Returns a row to predict, or a record to judge.
    pub(super) fn row<'a>(
        &self,
        place: &CellAt,
        job: usize,
        parts: &'a [BookPart],
        scaled: bool,
    ) -> Row<'a> {
        Row {
            step: place.step,
            cell: place.step * CODES + place.code,
            standing: self
                .posterior
                .standing(place.step, self.cell(place.step, place.code)),
            job,
            parts,
            scale: if scaled { place.items_per_unit } else { 1.0 },
        }
    }
}
