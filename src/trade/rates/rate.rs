//! What is the rate of an operation on a floor, and where does it come from?

use std::collections::BTreeMap;

use super::experience::Taught;
use super::fit::PoolFit;
use super::float::decimal;
use super::predictive::Standing;
use super::scheme::{self, Learning, Scheme};
use super::{Basis, BookRate, Consumption, Drift, Fit, FloorClass, Rate, RateKind};
use crate::money::{Decimal, quantity};
use crate::trade::operation::{Operation, Splits};
use crate::trade::{FloorCondition, OperationId, Species};

/// The book and what was learned, together.
#[derive(Clone, Debug)]
pub struct Rates {
    pub(super) basis: Basis,
    pub(super) scheme: Scheme,
    pub(super) fit: Fit,
}

/// Where rates are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cell {
    /// The operation.
    pub operation: OperationId,
    /// Items or hours.
    pub kind: RateKind,
    /// The floor condition; `None`: any, or not told apart.
    pub condition: Option<FloorCondition>,
    /// The species; `None`: any, or not told apart.
    pub species: Option<Species>,
}

/// What 8 times in 10 holds: the 80 % band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Band {
    /// 1 time in 10 it is less.
    pub low: Decimal,
    /// 1 time in 10 it is more.
    pub high: Decimal,
}

/// One line of `rate list`.
#[derive(Clone, Debug, PartialEq)]
pub struct RateRow {
    /// The cell.
    pub cell: Cell,
    /// What the book says.
    pub book: Rate,
    /// Items or hours per driver unit that finished rooms took, the fixed amount included; `None`: nothing recorded yet.
    pub observed: Option<Decimal>,
    /// Finished rooms behind it.
    pub rooms: usize,
    /// Driver units behind it.
    pub exposure: Decimal,
    /// Book and finished rooms together.
    pub learned: Rate,
    /// The band of the true rate, in items or hours per driver unit.
    pub band: Band,
    /// Percent that comes from own rooms like this, other rooms of the operation or task, all work, and the book.
    pub shares: [u32; 4],
    /// How the level of the crew moved.
    pub crew_drift: Drift,
    /// How the level of the operation or task moved, beside the crew's.
    pub own_drift: Drift,
    /// The newest finished rooms of the cell.
    pub newest: Vec<Taught>,
}

impl Rates {
    /// Puts a fit that was kept back onto the basis that it was made on; `None`: it was made on another one.
    pub fn from_fit(basis: Basis, fit: Fit) -> Option<Rates> {
        let scheme = Scheme::new(&basis.book, &basis.operations, &basis.changes);
        let matches = Consumption::ALL
            .iter()
            .zip(&fit.pools)
            .all(|(consumption, pool)| {
                let shape = scheme.pool(*consumption);
                pool.posterior.steps.len() == shape.steps()
                    && pool.posterior.dispersion.len() == shape.fixed.len()
                    && pool.posterior.cells.len() == pool.cells.len()
            });
        (matches && fit.pools.len() == Consumption::ALL.len()).then_some(Rates {
            basis,
            scheme,
            fit,
        })
    }

    /// Returns what it was learned by.
    pub fn basis(&self) -> &Basis {
        &self.basis
    }

    /// Returns what was learned, to be kept.
    pub fn fit(&self) -> &Fit {
        &self.fit
    }

    /// Returns the firm's operations.
    pub fn operations(&self) -> &BTreeMap<OperationId, Operation> {
        &self.basis.operations
    }

    /// Returns the rate that quotes use for a floor; `None`: the book has none.
    pub fn rate(&self, operation: &Operation, kind: RateKind, class: FloorClass) -> Option<Rate> {
        let book = self.basis.book.row(operation.id, kind, class)?;
        let plan = self.scheme.plan(operation.id, kind)?;
        let standing = self.standing(plan, plan.code(class));
        Some(self.learned(plan, book, standing.multiplier))
    }

    /// Returns everything known of the rate for a floor, as `rate list` shows it; `None`: the book has none.
    pub fn row_for(
        &self,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> Option<RateRow> {
        let book = self.basis.book.row(operation.id, kind, class)?;
        let code = self.scheme.plan(operation.id, kind)?.code(class);
        self.row(operation.id, kind, code, book)
    }

    /// Returns what an operation's rates differ by.
    pub fn differ_by(&self, operation: &Operation, kind: RateKind) -> Splits {
        let plan = self.scheme.plan(operation.id, kind);
        plan.map_or(Splits::None, |plan| plan.splits)
    }

    fn pool(&self, plan: &Learning) -> &PoolFit {
        &self.fit.pools[plan.consumption as usize]
    }

    /// Returns what is known of a cell as things are now.
    fn standing(&self, plan: &Learning, code: usize) -> Standing {
        let step = plan.step(None);
        let pool = self.pool(plan);
        pool.posterior.standing(step, pool.cell(step, code))
    }

    /// Returns the book's rate at a multiplier, with the fixed amount as learned.
    ///
    /// Without records multiplier and ratio are exactly 1, and the rate is the book's to the last digit.
    fn learned(&self, plan: &Learning, book: &BookRate, multiplier: f64) -> Rate {
        let times = decimal(multiplier);
        let family = self.pool(plan).posterior.hyper.fixed[plan.family];
        let prior = self.scheme.pool(plan.consumption).fixed[plan.family];
        let fixed = match (prior, book.fixed) {
            (Some(prior), Some(stated)) => stated * decimal(family / prior.median),
            (Some(_), None) if plan.covers_floor => decimal(family * plan.items_per_unit),
            (None, _) | (Some(_), None) => Decimal::ZERO,
        };
        Rate {
            per_unit: book.rate().per_unit * times,
            fixed: fixed * times,
        }
    }

    /// Returns a row for every book rate and for every cell with finished rooms, by operation.
    pub fn rows(&self) -> Vec<RateRow> {
        let mut rows: BTreeMap<(OperationId, RateKind, usize), &BookRate> = BTreeMap::new();
        for row in self.basis.book.rows() {
            rows.insert(
                (
                    row.operation,
                    row.kind,
                    scheme::code(row.condition, row.species),
                ),
                row,
            );
        }
        for found in &self.fit.experience {
            let (operation, kind) = (found.operation, found.kind);
            let (condition, species) = scheme::floor_of(found.code);
            let class = FloorClass {
                condition: condition.unwrap_or(FloorCondition::Bare),
                species: species.unwrap_or(Species::Other),
            };
            if let Some(row) = self.basis.book.row(operation, kind, class) {
                rows.entry((operation, kind, found.code)).or_insert(row);
            }
        }
        rows.into_iter()
            .filter_map(|((operation, kind, code), book)| self.row(operation, kind, code, book))
            .collect()
    }

    fn row(
        &self,
        operation: OperationId,
        kind: RateKind,
        code: usize,
        book: &BookRate,
    ) -> Option<RateRow> {
        let plan = self.scheme.plan(operation, kind)?; // Without one it takes no item any more.
        let standing = self.standing(plan, code);
        let found = self
            .fit
            .experience
            .iter()
            .find(|found| (found.operation, found.kind, found.code) == (operation, kind, code));
        let (condition, species) = scheme::floor_of(code);
        let posterior = &self.pool(plan).posterior;
        let rate = book.rate();
        let at = |level: f64| quantity(rate.per_unit * decimal(standing.quantile(level)));
        Some(RateRow {
            cell: Cell {
                operation,
                kind,
                condition,
                species,
            },
            book: rate,
            observed: found
                .filter(|found| found.exposure > 0.0)
                .map(|found| quantity(decimal(found.quantity / found.exposure))),
            rooms: found.map_or(0, |found| found.rooms),
            exposure: found.map_or(Decimal::ZERO, |found| quantity(decimal(found.exposure))),
            learned: self.learned(plan, book, standing.multiplier),
            band: Band {
                low: at(0.1),
                high: at(0.9),
            },
            shares: percents(standing.shares()),
            crew_drift: posterior.crew_drift,
            own_drift: posterior.step_drift[plan.step(None)],
            newest: found.map(|found| found.newest.clone()).unwrap_or_default(),
        })
    }
}

/// Returns shares as whole percents that sum to 100: the largest remainders are rounded up.
fn percents(shares: [f64; 4]) -> [u32; 4] {
    let exact = shares.map(|share| share * 100.0);
    let mut percents = exact.map(|share| share.floor() as u32);
    let mut by_rest: Vec<usize> = (0..4).collect();
    by_rest.sort_by(|one, another| exact[*another].fract().total_cmp(&exact[*one].fract()));
    let missing = 100_u32.saturating_sub(percents.iter().sum()) as usize;
    for place in by_rest.into_iter().take(missing) {
        percents[place] += 1;
    }
    percents
}
