//! What comes out: the fit, which is kept and read again.

use super::experience::{Experience, experience};
use super::records::Records;
use super::scheme::Scheme;
use super::tree::Posterior;
use super::{Basis, Observations, Rates};

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
/// What the book has no rate for is passed over, and so are observations that are doubted.
pub fn learn(basis: Basis, observations: Observations) -> Rates {
    let ordered = observations.in_order();
    let gathered = Gathered::of(basis, &observations, &ordered);
    drop((observations, ordered)); // A long history is large, and the trees need room.
    gathered.fit()
}

/// Learns from observations in that order, which is their canonical one.
pub(super) fn learn_in_order(basis: Basis, observations: &Observations, ordered: &[u32]) -> Rates {
    Gathered::of(basis, observations, ordered).fit()
}

/// What is taken from the observations: all that the fit needs.
struct Gathered {
    basis: Basis,
    scheme: Scheme,
    records: Records,
    experience: Vec<Experience>,
}

impl Gathered {
    fn of(basis: Basis, observations: &Observations, ordered: &[u32]) -> Gathered {
        let scheme = Scheme::new(&basis.book, &basis.operations, &basis.changes);
        Gathered {
            records: Records::of(&scheme, observations, ordered),
            experience: experience(&basis.book, &scheme, observations, ordered),
            basis,
            scheme,
        }
    }

    fn fit(self) -> Rates {
        let Gathered {
            basis,
            scheme,
            records,
            experience,
        } = self;
        let fit = Fit {
            pools: records.fit(&scheme, basis.prior_weights),
            experience,
        };
        Rates { basis, scheme, fit }
    }
}
