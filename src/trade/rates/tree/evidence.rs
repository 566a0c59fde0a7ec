//! The records as the passes go through them: by cell, then by job.

use chrono::NaiveDate;

use super::{BookPart, Hyper};

/// What one record took.
pub(in crate::trade::rates) trait Taken {
    /// Returns it beside what the book expects of it, with those hyperparameters.
    fn by_book(&self, hyper: &Hyper) -> ByBook;

    /// Returns the families of its parts, as far as it knows them.
    fn families(&self) -> impl Iterator<Item = usize>;
}

/// What one record took, with all that the book knows of it: for the search, which tries hyperparameters.
#[derive(Clone, Debug)]
pub(in crate::trade::rates) struct Parts {
    /// Units.
    pub(in crate::trade::rates) quantity: f64,
    pub(in crate::trade::rates) parts: Vec<BookPart>,
}

/// What one record took beside what the book expects of it, with hyperparameters that stay as they are: a long history is
/// held in so little.
#[derive(Clone, Copy, Debug)]
pub(in crate::trade::rates) struct ByBook {
    /// Units.
    pub(super) quantity: f64,
    /// B, without the level.
    pub(super) book: f64,
    /// φ: mean of the parts' dispersions, weighted by book quantity.
    pub(super) dispersion: f64,
}

impl ByBook {
    pub(super) fn new(quantity: f64, parts: &[BookPart], hyper: &Hyper) -> ByBook {
        let (mut book, mut dispersion) = (0.0, 0.0);
        for part in parts {
            let units = part.slope + hyper.fixed[part.family] * part.passes;
            book += units;
            dispersion += hyper.dispersion[part.family] * units;
        }
        ByBook {
            quantity,
            book,
            dispersion: dispersion / book,
        }
    }
}

impl Taken for Parts {
    fn by_book(&self, hyper: &Hyper) -> ByBook {
        ByBook::new(self.quantity, &self.parts, hyper)
    }

    fn families(&self) -> impl Iterator<Item = usize> {
        self.parts.iter().map(|part| part.family)
    }
}

impl Taken for ByBook {
    fn by_book(&self, _: &Hyper) -> ByBook {
        *self
    }

    fn families(&self) -> impl Iterator<Item = usize> {
        std::iter::empty()
    }
}

/// The records of one kind, arranged for the passes: by cell, then by job.
#[derive(Clone, Debug)]
pub(in crate::trade::rates) struct Evidence<T> {
    pub(super) steps: usize,
    pub(super) cells: Vec<Cell<T>>,
    /// The days of all records, each once.
    pub(super) days: Vec<NaiveDate>,
    /// The cells that each family has records in.
    pub(super) cells_of: Vec<Vec<usize>>,
}

/// The records of a cell, by job.
#[derive(Clone, Debug)]
pub(super) struct Cell<T> {
    pub(super) step: usize,
    records: Vec<T>,
    groups: Vec<Group>,
}

/// The records of one job in one cell.
#[derive(Clone, Copy, Debug)]
struct Group {
    job: u32,
    /// The day of its first record, by its place among the days.
    day: u32,
    /// Where its records end, and those of the next begin.
    end: u32,
}

impl<T: Taken> Evidence<T> {
    pub(in crate::trade::rates) fn new(steps: usize, families: usize) -> Evidence<T> {
        Evidence {
            steps,
            cells: Vec::new(),
            days: Vec::new(),
            cells_of: vec![Vec::new(); families],
        }
    }

    /// Makes room for a cell of that step; returns its place.
    pub(in crate::trade::rates) fn open_cell(&mut self, step: usize) -> usize {
        self.cells.push(Cell {
            step,
            records: Vec::new(),
            groups: Vec::new(),
        });
        self.cells.len() - 1
    }

    /// Adds a record. Records come in their canonical order, oldest first.
    pub(in crate::trade::rates) fn add(&mut self, cell: usize, job: u32, day: NaiveDate, taken: T) {
        if self.days.last() != Some(&day) {
            self.days.push(day);
        }
        for family in taken.families() {
            let cells = &mut self.cells_of[family];
            if let Err(place) = cells.binary_search(&cell) {
                cells.insert(place, cell);
            }
        }
        self.cells[cell].add(job, self.days.len() as u32 - 1, taken);
    }

    pub(super) fn is_empty(&self) -> bool {
        self.cells.iter().all(|cell| cell.records.is_empty())
    }
}

impl<T> Cell<T> {
    fn add(&mut self, job: u32, day: u32, taken: T) {
        // The last one, as a rule; an earlier one where a notebook dates the rooms of a job apart.
        let earlier = self.groups.iter().rposition(|group| group.job <= job);
        let mut next = earlier.map_or(0, |place| place + 1);
        let start = next.checked_sub(1).map_or(0, |last| self.groups[last].end);
        if next == 0 || self.groups[next - 1].job != job {
            let end = start;
            grow(&mut self.groups);
            self.groups.insert(next, Group { job, day, end });
            next += 1;
        }
        grow(&mut self.records);
        self.records.insert(start as usize, taken);
        for group in &mut self.groups[next - 1..] {
            group.end += 1;
        }
    }

    /// Returns the groups: the day of each, by its place, and its records.
    pub(super) fn groups(&self) -> impl Iterator<Item = (usize, &[T])> {
        let mut start = 0;
        self.groups.iter().map(move |group| {
            let records = &self.records[start..group.end as usize];
            start = group.end as usize;
            (group.day as usize, records)
        })
    }

    pub(super) fn group_count(&self) -> usize {
        self.groups.len()
    }
}

/// Makes room for one more. A list that is full grows by an eighth: one that doubled would hold up to half of its room for
/// nothing.
fn grow<T>(list: &mut Vec<T>) {
    if list.len() == list.capacity() {
        list.reserve_exact(list.len() / 8 + 16);
    }
}
