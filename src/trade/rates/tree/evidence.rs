//! The records as the passes go through them: by cell, then by job.

use std::ops::Range;

use chrono::NaiveDate;

use super::BookPart;

/// What one record took.
#[derive(Clone, Debug)]
pub(in crate::trade::rates) struct Record {
    pub(in crate::trade::rates) cell: u32,
    pub(in crate::trade::rates) job: u32,
    pub(in crate::trade::rates) day: NaiveDate,
    /// Units.
    pub(in crate::trade::rates) quantity: f64,
    /// Where its parts are.
    pub(in crate::trade::rates) parts: Range<u32>,
}

/// The records of one kind, arranged for the passes: by cell, then by job.
#[derive(Clone, Debug)]
pub(in crate::trade::rates) struct Evidence {
    pub(super) steps: usize,
    pub(super) families: usize,
    /// The step of each cell.
    pub(super) step_of: Vec<usize>,
    pub(super) quantities: Vec<f64>,
    pub(super) parts: Vec<BookPart>,
    /// Where the parts of each record are.
    pub(super) parts_of: Vec<Range<u32>>,
    pub(super) groups: Vec<Group>,
    /// Where the groups of each cell are.
    pub(super) groups_of: Vec<Range<usize>>,
    /// The cells that each family has records in.
    pub(super) cells_of: Vec<Vec<usize>>,
}

/// The records of one job in one cell.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub(super) cell: usize,
    /// The day of its first record.
    pub(super) day: NaiveDate,
    pub(super) records: Range<usize>,
}

impl Evidence {
    /// Arranges records that are given in their canonical order, oldest first.
    pub(in crate::trade::rates) fn new(
        step_of: &[usize],
        steps: usize,
        families: usize,
        records: &[Record],
        parts: &[BookPart],
    ) -> Evidence {
        let order = by_cell_and_job(step_of.len(), records);
        let mut evidence = Evidence {
            steps,
            families,
            step_of: step_of.to_vec(),
            quantities: Vec::with_capacity(records.len()),
            parts: Vec::with_capacity(parts.len()),
            parts_of: Vec::with_capacity(records.len()),
            groups: Vec::new(),
            groups_of: vec![0..0; step_of.len()],
            cells_of: vec![Vec::new(); families],
        };
        let mut last = None;
        for (at, place) in order.into_iter().enumerate() {
            let record = &records[place as usize];
            if last != Some((record.cell, record.job)) {
                evidence.open_group(record, at);
                last = Some((record.cell, record.job));
            }
            let Range { start, end } = record.parts;
            evidence.add(record, &parts[start as usize..end as usize], at);
        }
        evidence
    }

    fn open_group(&mut self, record: &Record, at: usize) {
        let cell = record.cell as usize;
        let place = self.groups.len();
        self.groups.push(Group {
            cell,
            day: record.day,
            records: at..at,
        });
        let groups = &mut self.groups_of[cell];
        if groups.start == groups.end {
            *groups = place..place;
        }
        groups.end = place + 1;
    }

    fn add(&mut self, record: &Record, parts: &[BookPart], at: usize) {
        let cell = record.cell as usize;
        if let Some(group) = self.groups.last_mut() {
            group.records.end = at + 1;
        }
        self.quantities.push(record.quantity);
        let start = self.parts.len() as u32;
        self.parts.extend_from_slice(parts);
        self.parts_of.push(start..self.parts.len() as u32);
        for part in parts {
            let cells = &mut self.cells_of[part.family];
            if cells.last() != Some(&cell) {
                cells.push(cell);
            }
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.quantities.is_empty()
    }
}

/// Returns the places of records by cell, then by job, else in the order that they came in.
fn by_cell_and_job(cells: usize, records: &[Record]) -> Vec<u32> {
    let mut ends = vec![0; cells + 1];
    for record in records {
        ends[record.cell as usize + 1] += 1;
    }
    for cell in 0..cells {
        ends[cell + 1] += ends[cell];
    }
    let mut order = vec![0; records.len()];
    let mut next = ends.clone();
    for (place, record) in records.iter().enumerate() {
        let next = &mut next[record.cell as usize];
        order[*next] = place as u32;
        *next += 1;
    }
    for cell in 0..cells {
        order[ends[cell]..ends[cell + 1]].sort_by_key(|place| records[*place as usize].job);
    }
    order
}
