//! What comes out: the fit, which is kept and read again.

use std::ops::ControlFlow;

use super::experience::{Experience, Experienced};
use super::observations::InOrder;
use super::records::{self, Take};
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

/// What finished rooms took, wherever it is kept. A long history is large: it is gone through several times, and not held.
pub trait Archive {
    /// Why it can't be read.
    type Error;

    /// Returns how many observations there are that aren't doubted.
    fn count(&self) -> usize;

    /// Hands on the observations that aren't doubted, in that order, until it is told that they are enough.
    ///
    /// # Errors
    /// Fails if they can't be read.
    fn each(
        &self,
        order: Order,
        take: &mut dyn FnMut(Filed<'_>) -> ControlFlow<()>,
    ) -> Result<(), Self::Error>;
}

/// An observation of an archive.
#[derive(Clone, Copy, Debug)]
pub struct Filed<'a> {
    /// Where it is held now.
    pub observations: &'a Observations,
    /// Its place there.
    pub place: usize,
    /// Its job, by the order in which jobs have their first observation.
    pub job: u32,
}

/// The order in which observations are gone through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Their canonical order: by date, job, room, operation, kind and quantity.
    OldestFirst,
    /// The other way round.
    NewestFirst,
}

/// Learns from observations: book in, finished rooms in, rates out. The order of the observations doesn't matter.
///
/// What the book has no rate for is passed over, and so are observations that are doubted.
pub fn learn(basis: Basis, observations: &Observations) -> Rates {
    learn_in_order(basis, observations, &observations.in_order())
}

/// Learns from observations in that order, which is their canonical one.
pub(super) fn learn_in_order(basis: Basis, observations: &Observations, ordered: &[u32]) -> Rates {
    let Ok(rates) = learn_from(basis, &InOrder::new(observations, ordered));
    rates
}

/// Learns from an archive.
///
/// # Errors
/// Fails if it can't be read.
pub fn learn_from<A: Archive>(basis: Basis, archive: &A) -> Result<Rates, A::Error> {
    let scheme = Scheme::new(&basis.book, &basis.operations, &basis.changes);
    let mut experience: Option<Vec<Experience>> = None;
    let each = |order: Order, take: Take<'_>| {
        let is_first = order == Order::OldestFirst && experience.is_none();
        let mut adding = is_first.then(|| Experienced::new(&basis.book, &scheme));
        let mut parts = Vec::new();
        archive.each(order, &mut |filed| {
            if let Some(adding) = &mut adding {
                adding.add(filed.observations, filed.place);
            }
            parts.clear();
            match scheme.placed(filed, &mut parts) {
                Some(placed) => take(placed),
                None => ControlFlow::Continue(()),
            }
        })?;
        experience = experience.take().or(adding.map(Experienced::add_up));
        Ok(())
    };
    let pools = records::fit(&scheme, basis.prior_weights, archive.count(), each)?;
    let experience = experience.unwrap_or_default();
    let fit = Fit { pools, experience };
    Ok(Rates { basis, scheme, fit })
}
