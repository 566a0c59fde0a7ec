//! What comes out: the fit, which is kept and read again.

use super::experience::{Experience, experience};
use super::observation::in_order;
use super::records::Records;
use super::scheme::Scheme;
use super::tree::Posterior;
use super::{Basis, Observation, Rates, Status};

/// What was learned from all observations: kept, and read again while they stay what they were.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    pub(crate) pools: Vec<PoolFit>,
    pub(crate) experience: Vec<Experience>,
}

/// What one tree learned.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct PoolFit {
    /// What is known of it.
    pub(crate) posterior: Posterior,
    /// Where each cell of the posterior stands.
    pub(crate) cells: Vec<CellKey>,
}

/// A cell by its place in the scheme.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct CellKey {
    pub(crate) step: usize,
    /// The floor, as the scheme numbers it.
    pub(crate) code: usize,
}

impl PoolFit {
    pub(super) fn cell(&self, step: usize, code: usize) -> Option<usize> {
        self.cells
            .iter()
            .position(|cell| *cell == CellKey { step, code })
    }
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
pub(super) fn learn_in_order(basis: Basis, ordered: &[&Observation]) -> Rates {
    let scheme = Scheme::new(&basis.book, &basis.operations, &basis.changes);
    let records = Records::of(
        &scheme,
        ordered
            .iter()
            .copied()
            .filter(|found| found.status != Status::Doubted),
    );
    let fit = Fit {
        pools: records.fit(&scheme, basis.prior_weights),
        experience: experience(&basis.book, &scheme, ordered),
    };
    Rates { basis, scheme, fit }
}
