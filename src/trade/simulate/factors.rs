//! How far the rates are from their means, each time the job is drawn: log-normal factors, shared as `rates::forecast`
//! says.

use std::collections::BTreeMap;

use super::Quantity;
use super::luck::Source;
use super::run::{BLOCK, Column};
use crate::trade::rates::forecast::Spread;

/// The factors of all cells, and which of them each quantity has.
pub(super) struct Factors {
    shared: Vec<Shared>,
    factors: Vec<Factor>,
    of_quantity: Vec<usize>,
}

/// What several cells share: a normal number for each draw.
struct Shared {
    source: Source,
    normals: Column,
}

/// What the rates of a cell are times their means.
struct Factor {
    tree: usize,
    cell: usize,
    parts: Vec<Part>,
    column: Column,
}

/// A part of a factor's logarithm.
struct Part {
    /// The place of what is shared.
    shared: usize,
    variance: f64,
}

/// Who shares it: all of a tree, or a part of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum SharedBy {
    Root { tree: usize },
    Job { tree: usize },
    Step { tree: usize, step: usize },
    Cell { tree: usize, cell: usize },
}

impl SharedBy {
    /// Returns the stream of its random numbers. Quantities' streams are digests, and far from these.
    fn stream(self) -> u64 {
        let (tag, tree, place) = match self {
            SharedBy::Root { tree } => (0, tree, 0),
            SharedBy::Job { tree } => (1, tree, 0),
            SharedBy::Step { tree, step } => (2, tree, step),
            SharedBy::Cell { tree, cell } => (3, tree, cell),
        };
        (tag << 4 | tree as u64) << 32 | place as u64
    }
}

impl Factors {
    pub(super) fn new(quantities: &[Quantity], seed: u64) -> Factors {
        let mut factors = Factors {
            shared: Vec::new(),
            factors: Vec::new(),
            of_quantity: Vec::new(),
        };
        let mut known = BTreeMap::new();
        for quantity in quantities {
            let place = factors.place_of(&quantity.spread, seed, &mut known);
            factors.of_quantity.push(place);
        }
        factors
    }

    /// Returns the place of the factor of a quantity's cell, which is added if it is new.
    fn place_of(
        &mut self,
        spread: &Spread,
        seed: u64,
        known: &mut BTreeMap<SharedBy, usize>,
    ) -> usize {
        let (tree, step, cell) = (spread.tree, spread.step, spread.cell);
        let mut factors = self.factors.iter();
        if let Some(place) = factors.position(|factor| (factor.tree, factor.cell) == (tree, cell)) {
            return place;
        }
        let variances = [
            (SharedBy::Root { tree }, spread.known[0]),
            (SharedBy::Step { tree, step }, spread.known[1]),
            (SharedBy::Cell { tree, cell }, spread.known[2]),
            (SharedBy::Job { tree }, spread.job),
        ];
        let mut parts = Vec::new();
        for (by, variance) in variances {
            // A log-normal of mean 1 and relative variance v: its logarithm has the variance ln(1 + v).
            let variance = libm::log(1.0 + variance);
            if variance > 0.0 {
                let shared = *known.entry(by).or_insert_with(|| {
                    self.shared.push(Shared {
                        source: Source::new(seed, by.stream()),
                        normals: vec![0.0; BLOCK],
                    });
                    self.shared.len() - 1
                });
                parts.push(Part { shared, variance });
            }
        }
        self.factors.push(Factor {
            tree,
            cell,
            parts,
            column: vec![0.0; BLOCK],
        });
        self.factors.len() - 1
    }

    /// Draws all factors for the block at hand.
    pub(super) fn draw(&mut self, size: usize) {
        for Shared { source, normals } in &mut self.shared {
            normals[..size].fill_with(|| source.normal());
        }
        for factor in &mut self.factors {
            factor.work_out(&self.shared, size);
        }
    }

    /// Returns the factor that a quantity's rates have in each draw.
    pub(super) fn of_quantity(&self, place: usize) -> &Column {
        &self.factors[self.of_quantity[place]].column
    }
}

impl Factor {
    fn work_out(&mut self, shared: &[Shared], size: usize) {
        let column = &mut self.column[..size];
        column.fill(0.0);
        for part in &self.parts {
            let deviation = part.variance.sqrt();
            for (logarithm, normal) in column.iter_mut().zip(&shared[part.shared].normals) {
                *logarithm += deviation * normal - 0.5 * part.variance;
            }
        }
        for value in column {
            *value = libm::exp(*value);
        }
    }
}
