//! Observations as records of the three trees, and what each tree learns from them.

use std::collections::HashMap;
use std::iter::once;
use std::ops::ControlFlow;

use chrono::NaiveDate;

use super::fit::{CellKey, Order, PoolFit};
use super::float::float;
use super::observations::JobKey;
use super::scheme::{CODES, CellAt, Pool, Scheme};
use super::tree::{BookPart, ByBook, Evidence, Parts, SEARCHED, Taken, Tree};
use super::{Consumption, PriorWeights};
use crate::money::Decimal;

/// So many records are held at once. Of more, those of the first tree, which are most, are gone through by themselves, then
/// the others.
const HELD: usize = 1_500_000;

/// A record in its tree.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed<'a> {
    pub(super) at: CellAt,
    pub(super) job: u32,
    pub(super) day: NaiveDate,
    pub(super) units: f64,
    pub(super) parts: &'a [BookPart],
}

/// Jobs by the order in which their first record came.
#[derive(Debug, Default)]
pub(super) struct Jobs {
    places: HashMap<JobKey, u32>,
}

impl Jobs {
    pub(super) fn place(&mut self, job: JobKey) -> u32 {
        let next = self.places.len() as u32;
        *self.places.entry(job).or_insert(next)
    }

    pub(super) fn len(&self) -> usize {
        self.places.len()
    }
}

impl CellAt {
    /// Returns a quantity of items or hours in the units of its tree.
    pub(super) fn units(&self, quantity: Decimal) -> f64 {
        float(quantity) / self.items_per_unit
    }
}

/// Takes one record after the other, until it has seen enough.
pub(super) type Take<'a> = &'a mut dyn FnMut(Placed<'_>) -> ControlFlow<()>;

/// Fits the trees to some `count` records, which `each` goes through: the newest first, as many as the search looks at; then,
/// once or more often, all of them in their canonical order.
pub(super) fn fit<E>(
    scheme: &Scheme,
    prior_weights: PriorWeights,
    count: usize,
    mut each: impl FnMut(Order, Take<'_>) -> Result<(), E>,
) -> Result<Vec<PoolFit>, E> {
    let recent = newest(scheme, &mut each)?;
    let trees: Vec<Tree<'_, Parts>> = Consumption::ALL
        .iter()
        .zip(&recent)
        .map(|(consumption, recent)| {
            Tree::searched(
                &recent.arranged.evidence,
                &consumption.priors(),
                &scheme.pool(*consumption).fixed,
                prior_weights.of(*consumption),
            )
        })
        .collect();
    let more: Vec<usize> = (0..recent.len())
        .filter(|pool| !recent[*pool].is_all)
        .collect();
    let mut fits: Vec<PoolFit> = trees
        .iter()
        .zip(&recent)
        .map(|(tree, recent)| PoolFit {
            posterior: tree.clone().into_posterior(),
            cells: recent.arranged.cells.clone(),
        })
        .collect();
    let at_first = if count <= HELD { more.len() } else { 1 };
    let (first, rest) = more.split_at(at_first.min(more.len()));
    for pools in once(first).chain((!rest.is_empty()).then_some(rest)) {
        for (pool, all) in pools.iter().zip(weighed(scheme, &trees, pools, &mut each)?) {
            fits[*pool] = PoolFit {
                posterior: trees[*pool].posterior_of_all(&all.evidence),
                cells: all.cells,
            };
        }
    }
    Ok(fits)
}

/// The newest records of a tree.
struct Recent {
    arranged: Arranged<Parts>,
    /// Whether there are no others.
    is_all: bool,
}

/// The records of a tree, its cells numbered as they come.
struct Arranged<T> {
    evidence: Evidence<T>,
    cells: Vec<CellKey>,
    /// The number of each cell, by its place in the scheme.
    numbers: Vec<Option<usize>>,
}

/// A record that is held: its place in its tree, and what it took.
struct Held {
    at: CellAt,
    job: u32,
    day: NaiveDate,
    taken: Parts,
}

impl<T: Taken> Arranged<T> {
    fn new(pool: &Pool) -> Arranged<T> {
        Arranged {
            evidence: Evidence::new(pool.steps(), pool.fixed.len()),
            cells: Vec::new(),
            numbers: vec![None; pool.steps() * CODES],
        }
    }

    fn add(&mut self, at: CellAt, job: u32, day: NaiveDate, taken: T) {
        let CellAt { step, code, .. } = at;
        let cell = *self.numbers[step * CODES + code].get_or_insert_with(|| {
            self.cells.push(CellKey { step, code });
            self.evidence.open_cell(step)
        });
        self.evidence.add(cell, job, day, taken);
    }
}

/// Returns the newest records of each tree, as many as the search looks at.
fn newest<E>(
    scheme: &Scheme,
    mut each: impl FnMut(Order, Take<'_>) -> Result<(), E>,
) -> Result<Vec<Recent>, E> {
    let mut found: [Vec<Held>; 3] = Default::default();
    each(Order::NewestFirst, &mut |placed| {
        let held = &mut found[placed.at.consumption as usize];
        if held.len() <= SEARCHED {
            held.push(Held {
                at: placed.at,
                job: placed.job,
                day: placed.day,
                taken: Parts {
                    quantity: placed.units,
                    parts: placed.parts.to_vec(),
                },
            });
        }
        match found.iter().all(|held| held.len() > SEARCHED) {
            true => ControlFlow::Break(()),
            false => ControlFlow::Continue(()),
        }
    })?;
    let found = Consumption::ALL.iter().zip(found);
    Ok(found
        .map(|(consumption, mut held)| {
            let is_all = held.len() <= SEARCHED;
            held.truncate(SEARCHED);
            let mut arranged = Arranged::new(scheme.pool(*consumption));
            for record in held.into_iter().rev() {
                let Held {
                    at,
                    job,
                    day,
                    taken,
                } = record;
                arranged.add(at, job, day, taken);
            }
            Recent { arranged, is_all }
        })
        .collect())
}

/// Returns all records of some trees, weighed with the hyperparameters that were found.
fn weighed<E>(
    scheme: &Scheme,
    trees: &[Tree<'_, Parts>],
    pools: &[usize],
    mut each: impl FnMut(Order, Take<'_>) -> Result<(), E>,
) -> Result<Vec<Arranged<ByBook>>, E> {
    let mut found: Vec<Arranged<ByBook>> = pools
        .iter()
        .map(|pool| Arranged::new(scheme.pool(Consumption::ALL[*pool])))
        .collect();
    each(Order::OldestFirst, &mut |placed| {
        let pool = placed.at.consumption as usize;
        if let Some(place) = pools.iter().position(|other| *other == pool) {
            let taken = trees[pool].by_book(placed.units, placed.parts);
            found[place].add(placed.at, placed.job, placed.day, taken);
        }
        ControlFlow::Continue(())
    })?;
    Ok(found)
}
