//! Rates: how much item, or how many hours, one unit of an operation's driver takes.
//!
//! The **book rate** is where a firm starts; what finished rooms took is kept as [`Observation`]s; [`learn`] puts the two
//! together. One model does for discs (counted in sets), finish and hours: the **ratio tree**. Every record is turned
//! into the ratio of what it took to what the book expects; ratios are pooled up a tree, each level drawn towards the one
//! above by a credibility weight:
//!
//! ```text
//! the book  ←  all your work  ←  the operation (hours: the task)  ←  the cell: rooms like this  ←  the job
//! ```
//!
//! * `tree` is the model: the passes, and the search for the spreads that it is governed by.
//! * `drift` finds changes of level, so that old jobs count at today's pace instead of being forgotten.
//! * `predictive` says what a sum of rooms will take, with everything that is shared between them.
//! * `check` asks of every record whether the earlier ones would have foretold it: slips, and the proof of the bands.
//!
//! This module knows which operation is which: the `Scheme` gives every operation, floor and date its place in the
//! trees. Floats live here, in its children, and nowhere else in the trade: what leaves is [`Decimal`].
//!
//! # Places
//! Discs, finish and hours are three trees. A step is an operation, for hours a task, since nobody logs hours by grit; a
//! change of supplier or technique that the owner has dated begins a new step beside the old one. A cell is a step on
//! one floor, as far as rates differ by floor condition and species (those of a task as far as those of any of its
//! operations do). A record over several floors belongs to the cell `mixed`, and so teaches the levels above.
//!
//! A family (a machine, an applicator) shares a fixed amount for each room and pass, and a grain. The book's own fixed
//! amounts are where the search starts, each operation keeping its proportion to the others of its family; one that is
//! stated as zero is zero. Where the book says nothing, work over a floor or along its edge has what its family states,
//! or the typical one of its kind, and what is counted otherwise has none.

#![allow(
    clippy::float_arithmetic,
    reason = "a model of what will be used: estimates, never money"
)]

pub mod check;
mod drift;
pub(in crate::trade) mod forecast;
mod predictive;
mod scheme;
mod tree;

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use chrono::NaiveDate;
use thiserror::Error;

pub use self::drift::Drift;
use self::predictive::{Comes, Row, Standing};
pub use self::scheme::Consumption;
pub(in crate::trade) use self::scheme::float;
use self::scheme::{BookWork, CODES, CellAt, Learning, Pool, Scheme};
use self::tree::{BookPart, Evidence, Record};
pub(crate) use self::tree::{CellState, Hyper, Posterior, StepState};
use crate::money::{Decimal, quantity};
use crate::trade::operation::Operation;
use crate::trade::{FloorCondition, OperationId, Species, closed_set};

/// The number of the model: raised whenever it learns other rates from the same rooms, so that what was learned before is
/// learned again.
pub const MODEL: u32 = 1;

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
    /// Items or hours per room and pass, whatever its size; `None`: the book doesn't say, which is not none.
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
        let rows = self.rows.get(&(operation, kind))?;
        rows.iter()
            .filter_map(|row| row.fit(class).map(|fit| (fit, row)))
            .max_by_key(|(fit, _)| *fit)
            .map(|(_, row)| row)
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

/// How far the book is trusted, in driver units of the firm's own work: it counts for that much of it.
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
    fn of(self, consumption: Consumption) -> f64 {
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
    /// How far it is trusted.
    pub trust: Trust,
    /// The operations of the firm.
    pub operations: BTreeMap<OperationId, Operation>,
    /// What the owner knows to have changed.
    pub changes: Vec<Change>,
}

/// What finished rooms took: one quantity over one or more rooms and operations.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Observation {
    /// Items or hours.
    pub kind: RateKind,
    /// The job, by its number or the notebook's name.
    pub job: Arc<str>,
    /// Whether it comes from a notebook, whose names of jobs are its own.
    pub from_notebook: bool,
    /// When the work was finished.
    pub finished_on: NaiveDate,
    /// How much it took.
    pub quantity: Decimal,
    /// What it covers.
    pub parts: Vec<ObservedPart>,
    /// What the entry check and the owner say of it.
    pub word: Word,
}

closed_set! {
    /// What the entry check and the owner say of an observation.
    Word, "word on an observation" {
        /// Nothing speaks against it.
        Good = "good",
        /// It looks like a slip: kept, shown, and set aside from learning until its owner answers.
        Doubted = "doubted",
        /// It looked like a slip, and its owner says that it is right.
        Confirmed = "confirmed",
    }
}

/// One room and operation that an observation covers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ObservedPart {
    /// The operation.
    pub operation: OperationId,
    /// The room's name.
    pub room: Arc<str>,
    /// The floor.
    pub class: FloorClass,
    /// Driver units, all passes.
    pub driver: Decimal,
    /// How often the room was gone over.
    pub passes: u32,
}

impl Observation {
    /// Returns the names of the rooms that it covers; work for the whole job has none.
    pub fn rooms(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for part in self.parts.iter().filter(|part| !part.room.is_empty()) {
            if !names.contains(&&*part.room) {
                names.push(&part.room);
            }
        }
        if names.is_empty() {
            names.push("the whole job");
        }
        names
    }

    /// Puts observations into their canonical order: by date, job, room, operation and quantity.
    fn compare(&self, other: &Observation) -> std::cmp::Ordering {
        let rooms = |of: &Observation| {
            of.parts
                .iter()
                .map(|part| part.room.clone())
                .collect::<Vec<_>>()
        };
        let operations = |of: &Observation| {
            of.parts
                .iter()
                .map(|part| part.operation)
                .collect::<Vec<_>>()
        };
        self.finished_on
            .cmp(&other.finished_on)
            .then_with(|| self.job.cmp(&other.job))
            .then_with(|| self.from_notebook.cmp(&other.from_notebook))
            .then_with(|| match (&self.parts[..], &other.parts[..]) {
                ([one], [another]) => {
                    (&one.room, one.operation).cmp(&(&another.room, another.operation))
                }
                _ => (rooms(self), operations(self)).cmp(&(rooms(other), operations(other))),
            })
            .then_with(|| self.kind.cmp(&other.kind))
            .then_with(|| self.quantity.cmp(&other.quantity))
    }
}

/// Returns the places of observations in their canonical order.
fn in_order(observations: &[Observation]) -> Vec<usize> {
    let mut ordered: Vec<usize> = (0..observations.len()).collect();
    ordered.sort_by(|one, another| observations[*one].compare(&observations[*another]));
    ordered
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

/// What one tree learned.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct PoolFit {
    /// What is known of it.
    pub(crate) posterior: Posterior,
    /// Step and code of each cell.
    pub(crate) cells: Vec<(usize, usize)>,
}

impl PoolFit {
    fn cell(&self, step: usize, code: usize) -> Option<usize> {
        self.cells.iter().position(|cell| *cell == (step, code))
    }
}

/// What finished rooms of a cell add up to.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Experience {
    pub(crate) operation: OperationId,
    pub(crate) kind: RateKind,
    pub(crate) code: usize,
    pub(crate) quantity: f64,
    pub(crate) exposure: f64,
    pub(crate) rooms: usize,
    pub(crate) newest: Vec<Taught>,
}

/// What is added up for a cell; the newest rooms by observation and part.
#[derive(Debug, Default)]
struct Sums {
    quantity: f64,
    exposure: f64,
    rooms: usize,
    newest: Vec<(usize, usize)>,
}

/// A finished room that taught a rate.
#[derive(Clone, Debug, PartialEq)]
pub struct Taught {
    /// The job.
    pub job: Arc<str>,
    /// The room.
    pub room: Arc<str>,
    /// When it was finished.
    pub finished_on: NaiveDate,
}

/// How many days the course of a rate shows at most.
const LONGEST_COURSE: usize = 10;

/// How many observations the story of a rate names at most.
const NAMED_OBSERVATIONS: usize = 50;

/// How many finished rooms a cell names.
const NAMED_ROOMS: usize = 3;

/// How the rate for a floor came to be what it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Story {
    /// The places of the newest observations that taught it, oldest first; those that were set aside too.
    pub taught_by: Vec<usize>,
    /// How many taught it before those.
    pub earlier: usize,
    /// The rate as it stood after some of the days that taught it.
    pub course: Vec<(NaiveDate, RateRow)>,
}

/// What was learned from all observations: kept, and read again while they stay what they were.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    pub(crate) pools: Vec<PoolFit>,
    pub(crate) experience: Vec<Experience>,
}

/// The book and what was learned, together.
#[derive(Clone, Debug)]
pub struct Rates {
    basis: Basis,
    scheme: Scheme,
    fit: Fit,
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
    /// Items or hours per driver unit: 8 times in 10 the true rate is between these.
    pub band: (Decimal, Decimal),
    /// Percent that comes from own rooms like this, other rooms of the operation or task, all work, and the book.
    pub shares: [u32; 4],
    /// How the level of the crew moved.
    pub crew_drift: Drift,
    /// How the level of the operation or task moved, beside the crew's.
    pub own_drift: Drift,
    /// The newest finished rooms of the cell.
    pub newest: Vec<Taught>,
}

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

/// Why a quantity can't be foretold.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum PredictError {
    /// The book has no rate for the work, or expects nothing of it.
    #[error("the book has no rate for this work")]
    NoRate,
    /// The rows are in different units.
    #[error("discs, gallons, litres and hours can't be added up")]
    Unlike,
}

/// Learns from observations: book in, finished rooms in, rates out. The order of the observations doesn't matter.
///
/// Observations that the book has no rate for teach nothing, and neither do those that are doubted.
pub fn learn(basis: Basis, observations: &[Observation]) -> Rates {
    let ordered: Vec<&Observation> = in_order(observations)
        .into_iter()
        .map(|place| &observations[place])
        .collect();
    learn_in_order(basis, &ordered)
}

/// Learns from observations that stand in their canonical order.
fn learn_in_order(basis: Basis, ordered: &[&Observation]) -> Rates {
    let scheme = Scheme::new(&basis.book, &basis.operations, &basis.changes);
    let records = Records::of(
        &scheme,
        ordered
            .iter()
            .copied()
            .filter(|found| found.word != Word::Doubted),
    );
    let fit = Fit {
        pools: records.fit(&scheme, basis.trust),
        experience: experience(&basis.book, &scheme, ordered),
    };
    Rates { basis, scheme, fit }
}

/// The records of the three trees, in canonical order.
#[derive(Debug, Default)]
struct Records {
    pools: [PoolRecords; 3],
}

#[derive(Debug, Default)]
struct PoolRecords {
    parts: Vec<BookPart>,
    records: Vec<OwnRecord>,
}

/// A record that names its parts by their place.
#[derive(Clone, Debug)]
struct OwnRecord {
    step: usize,
    code: usize,
    job: usize,
    day: NaiveDate,
    quantity: f64,
    parts: std::ops::Range<usize>,
}

/// Jobs by the order in which their first record came.
#[derive(Debug, Default)]
struct Jobs<'a> {
    places: HashMap<(&'a str, bool), usize>,
    last: Option<(&'a Arc<str>, bool, usize)>,
}

impl<'a> Jobs<'a> {
    fn place(&mut self, observation: &'a Observation) -> usize {
        let Observation {
            job, from_notebook, ..
        } = observation;
        match self.last {
            Some((last, of_notebook, place))
                if Arc::ptr_eq(last, job) && of_notebook == *from_notebook =>
            {
                place
            }
            _ => {
                let next = self.places.len();
                let place = *self.places.entry((job, *from_notebook)).or_insert(next);
                self.last = Some((job, *from_notebook, place));
                place
            }
        }
    }

    fn len(&self) -> usize {
        self.places.len()
    }
}

impl Records {
    fn of<'a>(scheme: &Scheme, observations: impl Iterator<Item = &'a Observation>) -> Records {
        let mut found = Records::default();
        let mut jobs = Jobs::default();
        let mut parts = Vec::new();
        for observation in observations {
            let job = jobs.place(observation);
            parts.clear();
            let on = Some(observation.finished_on);
            let work = observation.work();
            if let Some(at) = scheme.place(observation.kind, on, work, &mut parts) {
                found.add(at, observation, job, &parts);
            }
        }
        found
    }

    fn add(&mut self, at: CellAt, observation: &Observation, job: usize, parts: &[BookPart]) {
        let pool = &mut self.pools[at.consumption as usize];
        let start = pool.parts.len();
        pool.parts.extend_from_slice(parts);
        pool.records.push(OwnRecord {
            step: at.step,
            code: at.code,
            job,
            day: observation.finished_on,
            quantity: float(observation.quantity) / at.items_per_unit,
            parts: start..pool.parts.len(),
        });
    }

    fn fit(&self, scheme: &Scheme, trust: Trust) -> Vec<PoolFit> {
        let pools = Consumption::ALL.iter().copied().zip(&self.pools);
        pools
            .map(|(consumption, records)| {
                records.fit(scheme.pool(consumption), consumption, trust.of(consumption))
            })
            .collect()
    }
}

impl PoolRecords {
    fn fit(&self, pool: &Pool, consumption: Consumption, trust: f64) -> PoolFit {
        let (evidence, cells) = self.arrange(pool, 0);
        let left_out = tree::left_out_of_search(self.records.len());
        let recent = (left_out > 0).then(|| self.arrange(pool, left_out).0);
        let posterior = tree::fit(
            &evidence,
            recent.as_ref(),
            &consumption.priors(),
            &pool.fixed,
            trust,
        );
        PoolFit { posterior, cells }
    }

    /// Arranges the records from one place on.
    fn arrange(&self, pool: &Pool, from: usize) -> (Evidence, Vec<(usize, usize)>) {
        const NONE: u32 = u32::MAX;
        let mut places = vec![NONE; pool.steps() * CODES];
        let mut cells = Vec::new();
        let records: Vec<Record<'_>> = self.records[from..]
            .iter()
            .map(|record| {
                let place = &mut places[record.step * CODES + record.code];
                if *place == NONE {
                    *place = cells.len() as u32;
                    cells.push((record.step, record.code));
                }
                Record {
                    cell: *place as usize,
                    job: record.job,
                    day: record.day,
                    quantity: record.quantity,
                    parts: &self.parts[record.parts.clone()],
                }
            })
            .collect();
        let step_of: Vec<usize> = cells.iter().map(|(step, _)| *step).collect();
        let evidence = Evidence::new(&step_of, pool.steps(), pool.fixed.len(), &records);
        (evidence, cells)
    }
}

/// Adds up what finished rooms took as things are done now, cell by cell.
///
/// A record over several parts is shared by what the book expects of each.
fn experience(book: &Book, scheme: &Scheme, observations: &[&Observation]) -> Vec<Experience> {
    let plans = scheme.by_index();
    let mut found: Vec<Sums> = Vec::new();
    found.resize_with(plans.len() * CODES, Sums::default);
    for (place, observation) in observations.iter().enumerate() {
        let expected = |part: &ObservedPart| {
            let row = book.row(part.operation, observation.kind, part.class);
            row.map_or(0.0, |row| {
                float(row.rate().expect(part.driver, part.passes))
            })
        };
        let total: f64 = match &observation.parts[..] {
            [_] => 1.0,
            parts => parts.iter().map(expected).sum(),
        };
        for (at, part) in observation.parts.iter().enumerate() {
            let Some(plan) = scheme.plan(part.operation, observation.kind) else {
                continue;
            };
            let is_old_way = plan.step(Some(observation.finished_on)) != plan.step(None);
            if total <= 0.0 || observation.word == Word::Doubted || is_old_way {
                continue;
            }
            let share = if observation.parts.len() == 1 {
                1.0
            } else {
                expected(part) / total
            };
            let sum = &mut found[plan.index * CODES + plan.code(part.class)];
            sum.quantity += float(observation.quantity) * share;
            sum.exposure += float(part.driver);
            sum.rooms += 1;
            if sum.newest.len() == NAMED_ROOMS {
                sum.newest.remove(0);
            }
            sum.newest.push((place, at));
        }
    }
    found
        .into_iter()
        .enumerate()
        .filter(|(_, sum)| sum.rooms > 0)
        .map(|(place, sum)| Experience {
            operation: plans[place / CODES].0,
            kind: plans[place / CODES].1,
            code: place % CODES,
            quantity: sum.quantity,
            exposure: sum.exposure,
            rooms: sum.rooms,
            newest: sum
                .newest
                .into_iter()
                .map(|(place, at)| Taught {
                    job: observations[place].job.clone(),
                    room: observations[place].parts[at].room.clone(),
                    finished_on: observations[place].finished_on,
                })
                .collect(),
        })
        .collect()
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
                    && pool.posterior.grain.len() == shape.fixed.len()
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

    /// Tells whether an operation's rates are told apart by floor condition, and by species.
    pub fn differ_by(&self, operation: &Operation, kind: RateKind) -> (bool, bool) {
        let plan = self.scheme.plan(operation.id, kind);
        plan.map_or((false, false), |plan| plan.splits)
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
            band: (at(0.1), at(0.9)),
            shares: percents(standing.shares()),
            crew_drift: posterior.crew_drift,
            own_drift: posterior.step_drift[plan.step(None)],
            newest: found.map(|found| found.newest.clone()).unwrap_or_default(),
        })
    }

    /// Tells how the rate for a floor came to be what it is, from the observations of its kind.
    pub fn story(
        &self,
        observations: &[Observation],
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> Story {
        let mut taught_by: Vec<usize> = (0..observations.len())
            .filter(|place| self.is_like(&observations[*place], operation, kind, class))
            .collect();
        taught_by.sort_by_key(|place| observations[*place].finished_on);
        let mut days: Vec<NaiveDate> = taught_by
            .iter()
            .map(|place| observations[*place].finished_on)
            .collect();
        days.dedup();
        let every = days.len().div_ceil(LONGEST_COURSE).max(1);
        let shown = days.iter().rev().step_by(every).rev();
        let mut ordered: Vec<&Observation> = in_order(observations)
            .into_iter()
            .map(|place| &observations[place])
            .collect();
        ordered.retain(|observation| observation.kind == kind);
        let at = |day: &NaiveDate| {
            let mut basis = self.basis.clone();
            basis.changes.retain(|change| change.since <= *day);
            let known = ordered.partition_point(|observation| observation.finished_on <= *day);
            let rates = learn_in_order(basis, &ordered[..known]);
            Some((*day, rates.row_for(operation, kind, class)?))
        };
        let course = shown.filter_map(at).collect();
        let earlier = taught_by.len().saturating_sub(NAMED_OBSERVATIONS);
        taught_by.drain(..earlier);
        Story {
            taught_by,
            earlier,
            course,
        }
    }

    /// Tells whether an observation is of the cell that a floor belongs to, as things are done now: rooms like it.
    fn is_like(
        &self,
        observation: &Observation,
        operation: &Operation,
        kind: RateKind,
        class: FloorClass,
    ) -> bool {
        let on = Some(observation.finished_on);
        let place = self
            .scheme
            .place(observation.kind, on, observation.work(), &mut Vec::new());
        let plan = self.scheme.plan(operation.id, kind);
        plan.zip(place).is_some_and(|(plan, place)| {
            place.consumption == plan.consumption
                && place.step == plan.step(None)
                && place.code == plan.code(class)
        })
    }

    /// Foretells what a sum of rooms takes.
    ///
    /// # Errors
    /// Refuses work without a rate, and sums of unlike things.
    pub fn predict(&self, rows: &[Asked]) -> Result<Prediction, PredictError> {
        let mut parts = Vec::with_capacity(rows.len());
        let mut places = Vec::with_capacity(rows.len());
        for asked in rows {
            let work = BookWork {
                operation: asked.operation,
                class: asked.class,
                driver: asked.driver,
                passes: asked.passes,
            };
            let place = self
                .scheme
                .place(asked.kind, None, std::iter::once(work), &mut parts)
                .ok_or(PredictError::NoRate)?;
            places.push((place, asked.job, parts.len() - 1..parts.len()));
        }
        self.foretell(&places, &parts)
    }

    fn foretell(
        &self,
        places: &[(CellAt, usize, std::ops::Range<usize>)],
        parts: &[BookPart],
    ) -> Result<Prediction, PredictError> {
        let Some((first, ..)) = places.first() else {
            return Err(PredictError::NoRate);
        };
        let alike =
            |place: &CellAt| place.items_per_unit.to_bits() == first.items_per_unit.to_bits();
        let all_alike = places.iter().all(|(place, ..)| alike(place));
        let comes = match first.consumption {
            _ if places
                .iter()
                .any(|(place, ..)| place.consumption != first.consumption) =>
            {
                return Err(PredictError::Unlike);
            }
            Consumption::Discs if all_alike => Comes::Whole,
            Consumption::Discs => Comes::Mixed,
            Consumption::Finish if !all_alike => return Err(PredictError::Unlike),
            Consumption::Finish | Consumption::Hours => Comes::Measured,
        };
        let scaled = comes == Comes::Mixed;
        let pool = &self.fit.pools[first.consumption as usize];
        let rows: Vec<Row<'_>> = places
            .iter()
            .map(|(place, job, range)| pool.row(place, *job, &parts[range.clone()], scaled))
            .collect();
        let moments = predictive::total(&pool.posterior, &rows);
        let times = if scaled { 1.0 } else { first.items_per_unit };
        let items = |units: f64| quantity(decimal(units * times));
        let at = |level: f64| items(predictive::quantile(moments, comes, level));
        Ok(Prediction {
            mean: items(moments.0),
            p10: at(0.1),
            p50: at(0.5),
            p80: at(0.8),
            p90: at(0.9),
        })
    }
}

impl PoolFit {
    /// Returns a row to predict, or a record to judge.
    fn row<'a>(&self, place: &CellAt, job: usize, parts: &'a [BookPart], scaled: bool) -> Row<'a> {
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

/// Returns a float as a decimal; one that is too large or isn't a number is as good as nothing.
fn decimal(value: f64) -> Decimal {
    Decimal::try_from(value).unwrap_or_default()
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

#[cfg(test)]
mod tests;
