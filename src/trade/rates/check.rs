//! The entry check: does what was logged look like a slip?
//!
//! A record whose tail is less likely than 1 in 1,000 looks like one. It is kept, shown, and set aside from learning until
//! its owner answers; nothing is dropped silently.

use std::ops::Range;

use super::fit::PoolFit;
use super::float::{decimal, float};
use super::predictive::{Moments, Support, at_least, at_most, quantile, total};
use super::scheme::CellAt;
use super::tree::BookPart;
use super::{Band, Consumption, Observation, Rates};
use crate::money::{Decimal, quantity};

/// A record less likely than this, to either side, looks like a slip.
const UNLIKELY: f64 = 0.001;

/// A quantity that is at least that likely, to both sides, is usual.
const USUAL: f64 = 0.02;

/// What kind of slip it likely is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Slip {
    /// A tenth of it would be usual.
    ZeroTooMany,
    /// Ten times of it would be usual.
    ZeroMissing,
    /// It would be usual for another room of the job, and that room's for this one.
    Swapped(String),
    /// More than rooms like this take.
    FarMore,
    /// Less than rooms like this take.
    FarLess,
}

/// What the present rates say of a quantity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judgement {
    /// What is counted.
    pub consumption: Consumption,
    /// The band of its like, in items or hours.
    pub band: Band,
    /// Why it looks like a slip, if it does.
    pub slip: Option<Slip>,
}

impl std::fmt::Display for Slip {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Slip::ZeroTooMany => f.write_str("a zero too many"),
            Slip::ZeroMissing => f.write_str("a zero missing"),
            Slip::Swapped(room) => write!(f, "swapped with {room}"),
            Slip::FarMore => f.write_str("far more than rooms like this took"),
            Slip::FarLess => f.write_str("far less than rooms like this took"),
        }
    }
}

impl Rates {
    /// Judges a quantity before it is evidence; `None`: the book has no rate for it.
    ///
    /// What isn't finished may still grow: `so_far` lets a small quantity pass.
    pub fn judge(&self, observation: &Observation, so_far: bool) -> Option<Judgement> {
        let mut parts = Vec::new();
        let at = self
            .scheme
            .place(observation.kind, None, observation.work(), &mut parts)?;
        let pool = &self.fit.pools[at.consumption as usize];
        let judge = Judge::new(pool, at, &parts);
        let units = float(observation.quantity) / at.items_per_unit;
        let items = |units: f64| quantity(decimal(units * at.items_per_unit));
        let too_small = units < judge.moments.mean;
        Some(Judgement {
            consumption: at.consumption,
            band: judge.band(items),
            slip: (judge.is_unlikely(units) && !(so_far && too_small)).then(|| judge.reason(units)),
        })
    }
}

/// What is predicted of one record.
pub(super) struct Judge {
    pub(super) moments: Moments,
    support: Support,
}

impl Judge {
    pub(super) fn new(pool: &PoolFit, at: CellAt, parts: &[BookPart]) -> Judge {
        Judge {
            moments: total(&pool.posterior, &[pool.row(&at, 0, parts, false)]),
            support: match at.consumption {
                Consumption::Discs => Support::Whole,
                Consumption::Finish | Consumption::Hours => Support::Measured,
            },
        }
    }

    pub(super) fn quantile(&self, level: f64) -> f64 {
        quantile(self.moments, self.support, level)
    }

    /// Returns the 80 % band, counted in items.
    pub(super) fn band(&self, items: impl Fn(f64) -> Decimal) -> Band {
        Band {
            low: items(self.quantile(0.1)),
            high: items(self.quantile(0.9)),
        }
    }

    /// Returns the chances of at most that much and of at least that much.
    pub(super) fn tails(&self, units: f64) -> (f64, f64) {
        (
            at_most(self.moments, self.support, units),
            at_least(self.moments, self.support, units),
        )
    }

    pub(super) fn is_unlikely(&self, units: f64) -> bool {
        let (at_most, at_least) = self.tails(units);
        at_most.min(at_least) < UNLIKELY
    }

    pub(super) fn is_usual(&self, units: f64) -> bool {
        let (at_most, at_least) = self.tails(units);
        at_most.min(at_least) >= USUAL
    }

    /// Returns what made a quantity unlikely, looking at it alone.
    pub(super) fn reason(&self, units: f64) -> Slip {
        if self.is_usual(units / 10.0) {
            Slip::ZeroTooMany
        } else if self.is_usual(units * 10.0) {
            Slip::ZeroMissing
        } else if units > self.moments.mean {
            Slip::FarMore
        } else {
            Slip::FarLess
        }
    }

    /// Returns how much of a record lies between two levels.
    ///
    /// Sets are coarse: counting a record as inside or outside would find over 90 % inside for any right model. So a count
    /// takes up the levels from P(less) to P(at most that), and is inside with the part of them that is.
    pub(super) fn share(&self, units: f64, levels: Range<f64>) -> f64 {
        let (at_most, at_least) = self.tails(units);
        let (from, to) = (1.0 - at_least, at_most);
        if to - from < 1e-12 {
            return f64::from(u8::from(from >= levels.start && from <= levels.end));
        }
        (to.min(levels.end) - from.max(levels.start)).max(0.0) / (to - from)
    }
}
