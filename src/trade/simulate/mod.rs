//! A job's cost as a distribution.
//!
//! The job is done on paper many times. Each time the rates turn out a little different, a room takes more or less than
//! it should, what may turn up does or doesn't, and the machines go back when they are no longer needed. What is drawn:
//!
//! * the **rates** that rooms share, once for each time: log-normal factors of mean 1 with the relative variances of
//!   `rates::forecast` (`factors`);
//! * each **quantity** (an item of an operation in a room, the hours of a task in a room): gamma, with the mean that the
//!   rates of that time give, and the variance and dispersion of rooms (`run`);
//! * each **contingency**: whether it turns up, and how much of it, any amount of its range as likely as any other.
//!
//! Two things follow from them in steps (`steps`): a machine's hours make days and half days, which the yard's tariff
//! prices; a can that doesn't keep is paid for whole. Everything else costs what is used: hours at wage and burden, items
//! at their unit price. Overhead goes with labour. `draws` is what came of it.
//!
//! # The same figures everywhere
//! Each quantity has random numbers of its own (`luck`), by the quote's seed and the quantity's name: a room more or less
//! leaves the numbers of the others as they were, and options and versions of a quote differ by what was changed and not
//! by chance. They are the same on every machine.
//!
//! Floats live here and in the rates, and nowhere else in the trade: what leaves is [`Money`] and [`Decimal`].

#![allow(
    clippy::float_arithmetic,
    reason = "a model of what may happen: estimates, never amounts that are owed"
)]

mod causes;
mod draws;
mod factors;
mod luck;
mod run;
mod steps;
#[cfg(test)]
mod tests;

pub(in crate::trade) use self::draws::{Draws, MeanRental};
use self::run::Run;
use crate::money::{Decimal, Money};
use crate::trade::buying::{BuyError, PackSize};
use crate::trade::rates::forecast::Spread;

/// A job as it will be drawn.
#[derive(Clone, Debug, Default)]
pub(in crate::trade) struct Model {
    /// What will be used and worked.
    pub(in crate::trade) quantities: Vec<Quantity>,
    /// What may turn up.
    pub(in crate::trade) contingencies: Vec<Contingency>,
    /// How many operations there are; quantities name them by their places.
    pub(in crate::trade) operations: usize,
    /// Each machine.
    pub(in crate::trade) machines: Vec<MachineModel>,
    /// Each item.
    pub(in crate::trade) items: Vec<ItemModel>,
    /// How many rooms are also priced as jobs of their own; none, if that isn't asked for.
    pub(in crate::trade) rooms: usize,
}

/// A quantity of the job.
#[derive(Clone, Debug)]
pub(in crate::trade) struct Quantity {
    /// What is known of it.
    pub(in crate::trade) spread: Spread,
    /// Names it within the job, so that its random numbers are its own.
    pub(in crate::trade) stream: u64,
    /// Its room; `None`: it comes with the job, whatever rooms that has.
    pub(in crate::trade) room: Option<usize>,
    /// The contingency that it hangs on.
    pub(in crate::trade) contingency: Option<usize>,
    /// The item, if it is one; else hours.
    pub(in crate::trade) item: Option<usize>,
    /// What an item or an hour costs, in minor units.
    pub(in crate::trade) unit_cost: Decimal,
    /// The operations that share it, in the order of the spread's shares.
    pub(in crate::trade) uses: Vec<Use>,
}

/// An operation that takes a part of a quantity.
#[derive(Clone, Copy, Debug)]
pub(in crate::trade) struct Use {
    pub(in crate::trade) operation: usize,
    /// The machine that runs for it, if the quantity is hours.
    pub(in crate::trade) machine: Option<usize>,
}

/// Something that may turn up.
#[derive(Clone, Debug)]
pub(in crate::trade) struct Contingency {
    /// How likely, as a fraction of one.
    pub(in crate::trade) chance: Decimal,
    /// The least of it.
    pub(in crate::trade) low: Decimal,
    /// The most of it.
    pub(in crate::trade) high: Decimal,
    /// Names it within the job.
    pub(in crate::trade) stream: u64,
}

/// A machine of the job.
#[derive(Clone, Debug)]
pub(in crate::trade) struct MachineModel {
    /// What its yard asks for each number of half days, from none on; the last holds for any more.
    pub(in crate::trade) totals: Vec<Money>,
    /// The firm's hours in a working day.
    pub(in crate::trade) day_hours: Decimal,
}

/// An item of the job.
#[derive(Clone, Debug)]
pub(in crate::trade) struct ItemModel {
    /// Its packs, if an opened one doesn't keep.
    pub(in crate::trade) opened: Option<Vec<PackSize>>,
    /// What a unit costs, in minor units.
    pub(in crate::trade) unit_cost: Decimal,
}

/// Why an item's opened packs can't be priced.
#[derive(Debug, PartialEq, Eq)]
pub(in crate::trade) struct NoPacks {
    /// The item's place in the model.
    pub(in crate::trade) item: usize,
    /// What is wrong with its packs.
    pub(in crate::trade) source: BuyError,
}

impl Model {
    /// Draws the job so many times.
    ///
    /// # Errors
    /// Refuses an item that doesn't keep and has no pack, or would take more packs than can be worked out.
    pub(in crate::trade) fn draw(&self, draws: usize, seed: u64) -> Result<Draws, NoPacks> {
        let mut run = Run::new(self, draws, seed);
        let mut left = draws;
        while left > 0 {
            let size = left.min(run::BLOCK);
            run.draw_block(size)?;
            left -= size;
        }
        Ok(run.finish())
    }
}
