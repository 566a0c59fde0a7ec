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
//! What goes in:
//!
//! * `book` is the firm's book, the trust in it, and what else is known beside the rooms.
//! * `observation` is what finished rooms took; `observations` holds many of them.
//!
//! How it is learned from:
//!
//! * `scheme` gives every operation, floor and date its place in the trees; `records` puts the observations there.
//! * `tree` is the model: the passes, and the search for the spreads that it is governed by.
//! * `drift` finds changes of level, so that old jobs count at today's pace instead of being forgotten.
//!
//! What comes out, and what is asked of it:
//!
//! * `fit` is what was learned, and is kept; `experience` is what it is shown beside.
//! * `rate` is the rate for a floor, with its band and its sources; `story` is how it came to be, `moved` what a job changed.
//! * `predict` says what a sum of rooms will take, by the moments and quantiles of `predictive`.
//! * `forecast` is the same for the quantities of one job, ready to be sampled.
//! * `check` says whether what was logged looks like a slip; `backtest` predicts every record from the earlier jobs, for
//!   its status and for the score of the bands.
//!
//! Floats live here, and nowhere else in the trade but where jobs are drawn and planned: they come and go by `float`.
//!
//! # Places
//! Discs, finish and hours are three trees. A step is an operation, for hours a task, since nobody logs hours by grit; a
//! change of supplier or technique that the owner has dated begins a new step beside the old one. A cell is a step on
//! one floor, as far as rates differ by floor condition and species (those of a task as far as those of any of its
//! operations do). A record over several floors belongs to the cell `mixed`, so that only the levels above it are learned
//! from it.
//!
//! A family (a machine, an applicator) shares a fixed amount for each room and pass, and a dispersion (variance over
//! mean). The book's own fixed amounts are where the search starts, each operation keeping its proportion to the others of
//! its family; one that is stated as zero stays zero. Where the book says nothing, work over a floor or along its edge has
//! what its family states, or the typical one of its kind, and what is counted otherwise has none.

#![allow(
    clippy::float_arithmetic,
    reason = "a model of what will be used: estimates, never money"
)]

mod book;
mod observation;
mod observations;

mod drift;
mod records;
mod scheme;
mod tree;

mod experience;
mod fit;
mod moved;
mod rate;
mod story;

mod predict;
mod predictive;

pub(in crate::trade) mod forecast;

pub mod backtest;
pub mod check;

mod float;

pub use self::book::{Basis, Book, BookRate, Change, FloorClass, PriorWeights, Rate, RateKind};
pub use self::drift::Drift;
pub(crate) use self::experience::Experience;
pub use self::experience::Taught;
pub use self::fit::{Archive, Filed, Fit, Order, learn, learn_from};
pub(crate) use self::fit::{CellKey, PoolFit};
pub(in crate::trade) use self::float::float;
pub use self::moved::{RateMoved, moved};
pub use self::observation::{Observation, ObservedPart, Status};
pub use self::observations::{Observations, Observed, PartOf};
pub use self::predict::{Asked, PredictError, Prediction};
pub use self::rate::{Band, Cell, RateRow, Rates};
pub use self::scheme::Consumption;
pub use self::story::Story;
pub(crate) use self::tree::{CellState, Hyper, Posterior, StepState};

/// The number of the model: raised whenever it learns other rates from the same rooms, so that what was learned before is
/// learned again.
pub const MODEL: u32 = 1;

#[cfg(test)]
mod tests;
