//! The ratio tree: what the records say of the book, level by level.
//!
//! Pure numbers: steps, cells, families and jobs are places in lists here; [`super::scheme`] says which operation is
//! which. Every quantity is in *units*: sets of discs, gallons, hours.
//!
//! `evidence` arranges the records; `merging` weighs values of known precision together; `passes` goes up the tree and
//! down again; `search` finds the hyperparameters; `levels` looks for drift.
//!
//! # The model
//! For record i of cell c (a step on one class of floor), step s, job j, and the families f of its parts:
//!
//! ```text
//! B_i = Σ (b·A + n·F_f)                   book quantity: b units a driver unit, n rooms and passes, F_f the family's fixed amount
//! z_i = q_i / (B_i L_g)                   ratio; L_g the level of that time, 1 without drift
//! z_i = M_c + job + room + residual
//! root    M_0 ~ (1,   t0²)                trust in the book
//! step    M_s ~ (M_0, τ_s² R_0²)
//! cell    M_c ~ (M_s, τ_c² R_s²)
//! group g = (job, cell): ~ (M_c, σ_j² R_s²)
//! record  z_i ~ (group, φ R_s / (B_i L_g) + ψ² R_s²)     φ: mean of the parts' dispersions, weighted by book quantity
//! ```
//!
//! Brackets are (mean, variance). Everything is linear, so means and variances are all that is needed (linear Bayes), and
//! the working likelihood is the normal one. R_s and R_0 are reference multipliers, the step's and the root's estimates
//! of the pass before, that put the coefficients of variation on the scale of the rates.
//!
//! This is hierarchical Bühlmann-Straub credibility in its multiplicative form (Bühlmann and Straub 1970; Jewell 1975;
//! Ohlsson 2005, 2008). The hyperparameters are found by penalised marginal likelihood, whose penalties keep every spread
//! off zero (Chung, Rabe-Hesketh, Dorie, Gelman and Liu 2013).

mod evidence;
mod levels;
mod merging;
mod passes;
mod search;

use super::drift::Drift;

pub(super) use self::evidence::{ByBook, Evidence, Parts, Taken};
pub(super) use self::passes::Tree;

/// Spreads are known well enough from that many records; the search looks at the newest ones only.
pub(super) const SEARCHED: usize = 2_000;

/// The search before the first look for drift, and after it.
const ROUNDS: [Round; 2] = [
    Round {
        step: 0.6,
        sweeps: 6,
    },
    Round {
        step: 0.3,
        sweeps: 4,
    },
];

/// A round of the search.
#[derive(Clone, Copy, Debug)]
struct Round {
    /// The first step, on the logarithm of a hyperparameter.
    step: f64,
    /// How often each hyperparameter has its turn.
    sweeps: usize,
}

/// A log-normal prior: the median, and the standard deviation of the logarithm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Prior {
    pub(super) median: f64,
    pub(super) sd: f64,
}

/// Where the search starts and what holds it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Priors {
    /// F: units for each room and pass.
    pub(super) fixed: Prior,
    /// φ: variance over mean, in units.
    pub(super) dispersion: Prior,
    /// ψ: how rooms differ.
    pub(super) room: Prior,
    /// σ_j: how jobs differ.
    pub(super) job: Prior,
    /// τ_c: how the classes of floor of a step differ, beyond the book.
    pub(super) class: Prior,
    /// τ_s: how steps differ, beyond the book.
    pub(super) step: Prior,
    pub(super) typical: TypicalRoom,
}

/// The room that trust in the book is measured by.
#[derive(Clone, Copy, Debug)]
pub(super) struct TypicalRoom {
    /// Driver units.
    pub(super) driver: f64,
    /// Units that the book expects of it.
    pub(super) units: f64,
}

impl Priors {
    /// Returns t0²: the relative variance that `prior_weight` driver units of typical rooms would leave.
    pub(super) fn prior_variance(&self, prior_weight: f64) -> f64 {
        let TypicalRoom { driver, units } = self.typical;
        let typical =
            self.dispersion.median / units + self.room.median.powi(2) + self.job.median.powi(2);
        driver / prior_weight * typical
    }
}

/// A part of a record: what one operation of it takes by the book.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct BookPart {
    pub(super) family: usize,
    /// b·A: units that follow the driver.
    pub(super) slope: f64,
    /// n: how often the family's fixed amount comes on top.
    pub(super) passes: f64,
}

/// The hyperparameters.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Hyper {
    /// F of each family.
    pub(crate) fixed: Vec<f64>,
    /// φ of each family.
    pub(crate) dispersion: Vec<f64>,
    /// ψ.
    pub(crate) room: f64,
    /// σ_j.
    pub(crate) job: f64,
    /// τ_c.
    pub(crate) class: f64,
    /// τ_s.
    pub(crate) step: f64,
}

/// What is known after a fit: enough to predict from.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Posterior {
    pub(crate) hyper: Hyper,
    /// R_0.
    pub(crate) root_reference: f64,
    /// W_0.
    pub(crate) book_weight: f64,
    /// M_0.
    pub(crate) root: f64,
    /// V_0, with the extra variance of the crew's drift.
    pub(crate) root_variance: f64,
    pub(crate) steps: Vec<StepState>,
    pub(crate) cells: Vec<CellState>,
    /// τ_c'².
    pub(crate) class_variance: f64,
    /// ψ'².
    pub(crate) room_variance: f64,
    /// σ_j'².
    pub(crate) job_variance: f64,
    /// φ' of each family.
    pub(crate) dispersion: Vec<f64>,
    pub(crate) crew_drift: Drift,
    pub(crate) step_drift: Vec<Drift>,
}

/// A node weighed against the one above it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Weighed {
    /// Z: the weight of its own records, 1 − Z being its parent's.
    pub(super) credibility: f64,
    /// v: its variance about its parent.
    pub(super) variance: f64,
}

/// A step after the downward pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct StepState {
    /// R_s.
    pub(crate) reference: f64,
    /// Z_s.
    pub(crate) credibility: f64,
    /// M_s.
    pub(crate) multiplier: f64,
    /// v_s, with the extra variance of its own drift.
    pub(crate) variance: f64,
}

/// A cell after the downward pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct CellState {
    /// Z_c.
    pub(crate) credibility: f64,
    /// M_c.
    pub(crate) multiplier: f64,
    /// v_c.
    pub(crate) variance: f64,
}

impl<'a> Tree<'a, Parts> {
    /// Finds the hyperparameters, and the levels, from the newest [`SEARCHED`] records.
    ///
    /// `fixed` is the prior of each family's fixed amount; `None`: work that has none. A family without records keeps its
    /// prior. The search starts at the prior medians, and always takes the same way.
    pub(super) fn searched(
        recent: &'a Evidence<Parts>,
        priors: &Priors,
        fixed: &'a [Option<Prior>],
        prior_weight: f64,
    ) -> Tree<'a, Parts> {
        let mut tree = Tree::new(recent, priors, fixed, prior_weight);
        if !recent.is_empty() {
            for round in ROUNDS {
                tree.refresh(2);
                tree.search(round);
                tree.find_levels();
            }
            tree.refresh(3);
            tree.measure_curvature();
        }
        tree
    }

    /// Returns what a record took beside what the book expects of it, with the hyperparameters that were found.
    pub(super) fn by_book(&self, quantity: f64, parts: &[BookPart]) -> ByBook {
        ByBook::new(quantity, parts, &self.hyper)
    }

    /// Returns what is known from all records, with the hyperparameters that were found from the newest.
    pub(super) fn posterior_of_all(&self, all: &Evidence<ByBook>) -> Posterior {
        let mut tree = self.over(all);
        tree.refresh(2);
        tree.find_levels();
        tree.refresh(3);
        tree.into_posterior()
    }
}

#[cfg(test)]
mod tests;
