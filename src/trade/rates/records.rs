//! Observations as records of the three trees, and what each tree learns from them.

use std::collections::HashMap;
use std::ops::Range;
use std::sync::Arc;

use chrono::NaiveDate;

use super::fit::{CellKey, PoolFit};
use super::float::float;
use super::scheme::{CODES, CellAt, Pool, Scheme};
use super::tree::{self, BookPart, Evidence, Record};
use super::{Consumption, Observation, PriorWeights};

/// The records of the three trees, in canonical order.
#[derive(Debug, Default)]
pub(super) struct Records {
    pools: [PoolRecords; 3],
}

#[derive(Debug, Default)]
struct PoolRecords {
    parts: Vec<BookPart>,
    records: Vec<OwnRecord>,
}

/// A record that names its parts by their place.
#[derive(Clone, Debug)]
struct OwnRecord {
    step: usize,
    code: usize,
    job: usize,
    day: NaiveDate,
    quantity: f64,
    parts: Range<usize>,
}

/// Jobs by the order in which their first record came.
#[derive(Debug, Default)]
pub(super) struct Jobs<'a> {
    places: HashMap<(&'a str, bool), usize>,
    last: Option<(&'a Arc<str>, bool, usize)>,
}

impl<'a> Jobs<'a> {
    pub(super) fn place(&mut self, observation: &'a Observation) -> usize {
        let Observation {
            job, from_notebook, ..
        } = observation;
        match self.last {
            Some((last, of_notebook, place))
                if Arc::ptr_eq(last, job) && of_notebook == *from_notebook =>
            {
                place
            }
            _ => {
                let next = self.places.len();
                let place = *self.places.entry((job, *from_notebook)).or_insert(next);
                self.last = Some((job, *from_notebook, place));
                place
            }
        }
    }

    pub(super) fn len(&self) -> usize {
        self.places.len()
    }
}

impl Records {
    pub(super) fn of<'a>(
        scheme: &Scheme,
        observations: impl Iterator<Item = &'a Observation>,
    ) -> Records {
        let mut found = Records::default();
        let mut jobs = Jobs::default();
        let mut parts = Vec::new();
        for observation in observations {
            let job = jobs.place(observation);
            parts.clear();
            let on = Some(observation.finished_on);
            let work = observation.work();
            if let Some(at) = scheme.place(observation.kind, on, work, &mut parts) {
                found.add(at, observation, job, &parts);
            }
        }
        found
    }

    pub(super) fn add(
        &mut self,
        at: CellAt,
        observation: &Observation,
        job: usize,
        parts: &[BookPart],
    ) {
        let pool = &mut self.pools[at.consumption as usize];
        let start = pool.parts.len();
        pool.parts.extend_from_slice(parts);
        pool.records.push(OwnRecord {
            step: at.step,
            code: at.code,
            job,
            day: observation.finished_on,
            quantity: float(observation.quantity) / at.items_per_unit,
            parts: start..pool.parts.len(),
        });
    }

    pub(super) fn fit(&self, scheme: &Scheme, prior_weights: PriorWeights) -> Vec<PoolFit> {
        let pools = Consumption::ALL.iter().copied().zip(&self.pools);
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

impl PoolRecords {
    fn fit(&self, pool: &Pool, consumption: Consumption, prior_weight: f64) -> PoolFit {
        let (evidence, cells) = self.arrange(pool, 0);
        let left_out = tree::left_out_of_search(self.records.len());
        let recent = (left_out > 0).then(|| self.arrange(pool, left_out).0);
        let posterior = tree::fit(
            &evidence,
            recent.as_ref(),
            &consumption.priors(),
            &pool.fixed,
            prior_weight,
        );
        PoolFit { posterior, cells }
    }

    /// Arranges the records from one place on.
    fn arrange(&self, pool: &Pool, from: usize) -> (Evidence, Vec<CellKey>) {
        const NONE: u32 = u32::MAX;
        let mut places = vec![NONE; pool.steps() * CODES];
        let mut cells = Vec::new();
        let records: Vec<Record<'_>> = self.records[from..]
            .iter()
            .map(|record| {
                let place = &mut places[record.step * CODES + record.code];
                if *place == NONE {
                    *place = cells.len() as u32;
                    cells.push(CellKey {
                        step: record.step,
                        code: record.code,
                    });
                }
                Record {
                    cell: *place as usize,
                    job: record.job,
                    day: record.day,
                    quantity: record.quantity,
                    parts: &self.parts[record.parts.clone()],
                }
            })
            .collect();
        let step_of: Vec<usize> = cells.iter().map(|cell| cell.step).collect();
        let evidence = Evidence::new(&step_of, pool.steps(), pool.fixed.len(), &records);
        (evidence, cells)
    }
}
