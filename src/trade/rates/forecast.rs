//! What is known of one job's quantities, ready to be sampled: the factors behind [`super::predictive::total`].
//!
//! A quantity is one that will be recorded: an item of an operation in a room, or the hours of a task in a room. Its
//! multiplier is the cell's times four factors of mean 1, and the room's own. These are their relative variances, and the
//! quantities that share a factor:
//!
//! ```text
//! factor   shared by                     relative variance
//! root     all work of the kind          (1 − Z_c)² (1 − Z_s)² V_0 / M_c²
//! step     the operation (the task)      (1 − Z_c)² v_s / M_c²
//! cell     rooms like this               v_c / M_c²
//! job      all quantities of the job     σ_j²
//! room     nothing else                  ψ'², and the dispersion: variance over mean
//! ```

use std::collections::BTreeMap;

use super::float::{decimal, float};
use super::predictive::{Moments, Standing, gamma_quantile};
use super::scheme::CODES;
use super::{Asked, PoolFit, Rates};
use crate::money::Decimal;
use crate::trade::takeoff::Contingency;

/// What is known of one quantity, in items or hours.
#[derive(Clone, Debug)]
pub(in crate::trade) struct Spread {
    /// Which of the three trees it belongs to: quantities of one share root and job.
    pub(in crate::trade) tree: usize,
    /// Its step of that tree.
    pub(in crate::trade) step: usize,
    /// Its cell of that tree.
    pub(in crate::trade) cell: usize,
    /// What follows the driver, on the mean.
    pub(in crate::trade) slope: f64,
    /// What comes with each room and pass, on the mean.
    pub(in crate::trade) fixed: f64,
    /// Relative variances of root, step and cell.
    pub(in crate::trade) known: [f64; 3],
    /// Relative variance of jobs.
    pub(in crate::trade) job: f64,
    /// Relative variance of rooms.
    pub(in crate::trade) room: f64,
    /// Variance over mean.
    pub(in crate::trade) dispersion: f64,
    /// What part of it each of the operations asked for takes, on the mean; they sum to 1.
    pub(in crate::trade) shares: Vec<f64>,
}

/// The sum of parts of quantities of one job: its mean and variance, to first order in the factors that they share.
#[derive(Clone, Debug, Default)]
pub(in crate::trade) struct Sum {
    mean: f64,
    /// Variance of what it shares with no other.
    own: f64,
    /// Standard deviations by what is shared; those of one factor add up.
    shared: BTreeMap<(u8, usize), f64>,
}

impl Sum {
    /// Adds a part of a quantity, which may hang on a contingency.
    pub(in crate::trade) fn add(
        &mut self,
        spread: &Spread,
        part: f64,
        contingency: Option<&Contingency>,
    ) {
        self.add_at(spread, part, 1.0, contingency);
    }

    /// Adds what a part of a quantity costs, at what one of it costs.
    pub(in crate::trade) fn add_cost(
        &mut self,
        spread: &Spread,
        part: Decimal,
        each: Decimal,
        contingency: Option<&Contingency>,
    ) {
        self.add_at(spread, float(part), float(each), contingency);
    }

    fn add_at(&mut self, spread: &Spread, part: f64, each: f64, contingency: Option<&Contingency>) {
        let whole = (spread.slope + spread.fixed) * part;
        let (mut mean, mut chance, mut own) = (whole, 1.0, 0.0);
        if let Some(contingency) = contingency {
            chance = float(contingency.chance);
            mean *= chance;
            let (low, high) = (float(contingency.low), float(contingency.high));
            let middle = 0.5 * (low + high);
            let wide = if middle > 0.0 {
                (high - low) / middle
            } else {
                0.0
            };
            own += whole * whole * chance * (1.0 - chance + wide * wide / 12.0);
        }
        own += chance * (spread.room * whole * whole + spread.dispersion * whole);
        self.mean += mean * each;
        self.own += own * each * each;
        let factors = [
            ((0, spread.tree), spread.known[0]),
            ((1, spread.step), spread.known[1]),
            ((2, spread.cell), spread.known[2]),
            ((3, spread.tree), spread.job),
        ];
        for (factor, variance) in factors {
            *self.shared.entry(factor).or_default() += mean * each * variance.sqrt();
        }
    }

    fn at(&self, level: Decimal) -> f64 {
        let shared: f64 = self
            .shared
            .values()
            .map(|deviation| deviation * deviation)
            .sum();
        let moments = Moments {
            mean: self.mean,
            variance: self.own + shared,
        };
        gamma_quantile(moments, float(level))
    }

    /// Returns by how much what isn't exceeded with that chance is beyond the mean; below zero, short of it.
    pub(in crate::trade) fn beyond_mean(&self, level: Decimal) -> Decimal {
        decimal(self.at(level) - self.mean)
    }

    /// Returns the minutes that aren't exceeded with that chance, of a sum of hours: a gamma with its mean and variance.
    pub(in crate::trade) fn minutes_at(&self, level: Decimal) -> i64 {
        let hours = self.at(level);
        // Minutes are rounded up; less than a millionth of one is an error of rounding.
        (60.0 * hours - 1e-6).ceil().max(0.0) as i64
    }
}

impl Rates {
    /// Forecasts a quantity over one operation or several of one task; `None`: the book expects nothing of it.
    pub(in crate::trade) fn forecast(&self, asked: &[Asked]) -> Option<Spread> {
        let kind = asked.first()?.kind;
        let mut parts = Vec::with_capacity(asked.len());
        let work = asked.iter().map(Asked::work);
        let place = self.scheme.place(kind, None, work, &mut parts)?;
        let pool: &PoolFit = &self.fit.pools[place.consumption as usize];
        let posterior = &pool.posterior;
        let standing = posterior.standing(place.step, pool.cell(place.step, place.code));
        let (mut slope, mut fixed, mut dispersion) = (0.0, 0.0, 0.0);
        let mut shares = Vec::with_capacity(parts.len());
        for part in &parts {
            let with_part = posterior.hyper.fixed[part.family] * part.passes;
            slope += part.slope;
            fixed += with_part;
            dispersion += posterior.dispersion[part.family] * (part.slope + with_part);
            shares.push(part.slope + with_part);
        }
        let book = slope + fixed;
        if book <= 0.0 {
            return None;
        }
        for share in &mut shares {
            *share /= book;
        }
        let items = place.items_per_unit * standing.multiplier;
        Some(Spread {
            tree: place.consumption as usize,
            step: place.step,
            cell: place.step * CODES + place.code,
            slope: slope * items,
            fixed: fixed * items,
            known: standing.relative_variances(),
            job: posterior.job_variance,
            room: posterior.room_variance,
            dispersion: dispersion / book * place.items_per_unit,
            shares,
        })
    }
}

impl Standing {
    /// Returns how far root, step and cell may be off, as relative variances of the multiplier; they sum to V_c / M_c².
    fn relative_variances(&self) -> [f64; 3] {
        let above = 1.0 - self.cell.credibility;
        let root = above * (1.0 - self.step.credibility);
        [
            root * root * self.root_variance,
            above * above * self.step.variance,
            self.cell.variance,
        ]
        .map(|variance| variance / (self.multiplier * self.multiplier))
    }
}
