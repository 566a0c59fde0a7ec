//! Observations as records of the three trees, and what each tree learns from them.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::fit::{CellKey, PoolFit};
use super::float::float;
use super::observations::JobKey;
use super::scheme::{CODES, CellAt, Pool, Scheme};
use super::tree::{self, BookPart, Evidence, Record};
use super::{Consumption, Observations, PriorWeights, Status};
use crate::money::Decimal;

/// The records of the three trees, in canonical order.
#[derive(Debug, Default)]
pub(super) struct Records {
    pools: [PoolRecords; 3],
}

/// The records of one tree; their cells as the scheme numbers them.
#[derive(Debug, Default)]
struct PoolRecords {
    records: Vec<Record>,
    parts: Vec<BookPart>,
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

impl Records {
    /// Returns the records of observations in that order, but for those that are doubted.
    pub(super) fn of(scheme: &Scheme, observations: &Observations, ordered: &[u32]) -> Records {
        let mut found = Records::default();
        let mut jobs = Jobs::default();
        let mut parts = Vec::new();
        for place in ordered {
            let place = *place as usize;
            let observation = observations.at(place);
            if observation.status == Status::Doubted {
                continue;
            }
            let job = jobs.place(observations.job_key(place));
            let (kind, day) = (observation.kind, observation.finished_on);
            let work = observations.work_of(place);
            parts.clear();
            if let Some(at) = scheme.place(kind, Some(day), work, &mut parts) {
                found.add(at, day, at.units(observation.quantity), job, &parts);
            }
        }
        found
    }

    pub(super) fn add(
        &mut self,
        at: CellAt,
        day: NaiveDate,
        units: f64,
        job: u32,
        parts: &[BookPart],
    ) {
        let pool = &mut self.pools[at.consumption as usize];
        let start = pool.parts.len() as u32;
        pool.parts.extend_from_slice(parts);
        pool.records.push(Record {
            cell: (at.step * CODES + at.code) as u32,
            job,
            day,
            quantity: units,
            parts: start..pool.parts.len() as u32,
        });
    }

    /// Fits the trees, and lets the records of each go before the next.
    pub(super) fn fit(self, scheme: &Scheme, prior_weights: PriorWeights) -> Vec<PoolFit> {
        let pools = Consumption::ALL.iter().copied().zip(self.pools);
        pools
            .map(|(consumption, records)| {
                records.fit(
                    scheme.pool(consumption),
                    consumption,
                    prior_weights.of(consumption),
                )
            })
            .collect()
    }
}

/// The records of a tree as it goes through them, and its cells by their numbers there.
struct Arranged {
    evidence: Evidence,
    cells: Vec<CellKey>,
}

impl PoolRecords {
    fn fit(mut self, pool: &Pool, consumption: Consumption, prior_weight: f64) -> PoolFit {
        let left_out = tree::left_out_of_search(self.records.len());
        let recent = (left_out > 0).then(|| {
            let mut recent = self.records[left_out..].to_vec();
            arrange(&mut recent, &self.parts, pool).evidence
        });
        let Arranged { evidence, cells } = arrange(&mut self.records, &self.parts, pool);
        drop(self); // What is arranged is a copy of it.
        let posterior = tree::fit(
            &evidence,
            recent.as_ref(),
            &consumption.priors(),
            &pool.fixed,
            prior_weight,
        );
        PoolFit { posterior, cells }
    }
}

/// Arranges records for their tree, whose cells are numbered as they come.
fn arrange(records: &mut [Record], parts: &[BookPart], pool: &Pool) -> Arranged {
    let mut numbers: Vec<Option<u32>> = vec![None; pool.steps() * CODES];
    let mut cells: Vec<CellKey> = Vec::new();
    for record in &mut *records {
        let place = record.cell as usize;
        record.cell = *numbers[place].get_or_insert_with(|| {
            cells.push(CellKey {
                step: place / CODES,
                code: place % CODES,
            });
            cells.len() as u32 - 1
        });
    }
    let step_of: Vec<usize> = cells.iter().map(|cell| cell.step).collect();
    let evidence = Evidence::new(&step_of, pool.steps(), pool.fixed.len(), records, parts);
    Arranged { evidence, cells }
}
