//! The backtest: would the earlier jobs have predicted this record?
//!
//! Jobs are gone through in the order they were finished, some at a time (five, more in a long history); each record is
//! predicted from the earlier jobs only, those set aside left out (the prequential approach of Dawid 1984). That gives
//!
//! * the status of each record: one that looks like a slip is doubted. Where most records of a step in one job are off to
//!   the same side, the house is hard or the book is wrong, and none of them is a slip; what other jobs took has no say
//!   in it;
//! * the score of the bands: how often they held, and how far off the mean was, beside the book alone and the plain
//!   average.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::convert::Infallible;
use std::ops::Range;

use chrono::{Datelike, NaiveDate};

use super::check::{Judge, Judgement, Slip};
use super::fit::Order;
use super::fit::PoolFit;
use super::float::decimal;
use super::records::{self, Jobs, Placed};
use super::scheme::{CODES, CellAt, Scheme};
use super::tree::BookPart;
use super::{Band, Basis, Consumption, Observation, Observations, Status};
use crate::money::quantity;

/// So many unlikely records of a step in a job aren't slips, if they are most of its records there.
const FEWEST_AGREEING: usize = 3;

/// Jobs predicted from one fit.
const BLOCK: usize = 5;

/// In a long history a block grows by a job for each so many before it: a tenth more evidence changes little.
const GROWTH: usize = 10;

/// What the earlier jobs predicted of a record.
#[derive(Clone, Debug, PartialEq)]
pub struct Predicted {
    /// The place of its observation.
    pub place: usize,
    /// What is counted.
    pub consumption: Consumption,
    /// The year it was finished in.
    pub year: i32,
    /// The band of its like, in items or hours.
    pub band: Band,
    /// What the record looks like now.
    pub status: Status,
    /// Why it looks like a slip, if it does.
    pub slip: Option<Slip>,
    /// How much of it is inside the 80 % band: 1 or 0, or part of 1 for a count on the border.
    inside: f64,
    /// How much of it is at or below the 80 % line.
    below: f64,
    /// How far the record is from the mean, over the book's quantity: from the model's, the book's, the plain average's.
    errors: [f64; 3],
}

impl Predicted {
    /// Returns what is found of work that isn't finished: nothing to score, only a slip to show.
    pub fn unfinished(place: usize, observation: &Observation, judgement: Judgement) -> Predicted {
        Predicted {
            place,
            consumption: judgement.consumption,
            year: observation.finished_on.year(),
            band: judgement.band,
            status: Status::Doubted,
            slip: judgement.slip,
            inside: 0.0,
            below: 0.0,
            errors: [0.0; 3],
        }
    }
}

/// Which records have their status given anew; one that is confirmed stays so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rejudge<'a> {
    /// None: all records are predicted, and keep the status that they have.
    Nothing,
    /// Those of what was finished from about that day on.
    Since(NaiveDate),
    /// Those of one job, by its number.
    Job(&'a str),
}

/// Predicts records from the jobs before them.
///
/// A status that is given anew is what it would have been if everything had been entered in order: it doesn't depend on
/// when it was. The jobs that are predicted together with the first of these are judged with it, and what is earlier isn't
/// looked at. For one job no other is judged, and what is later isn't looked at either.
pub fn backtest(
    basis: &Basis,
    observations: &Observations,
    rejudge: Rejudge<'_>,
) -> Vec<Predicted> {
    let scheme = Scheme::new(&basis.book, &basis.operations, &basis.changes);
    let mut history = History::new(basis, &scheme, observations);
    let first = history
        .records
        .iter()
        .filter(|record| match rejudge {
            Rejudge::Nothing => true,
            Rejudge::Since(day) => observations.at(record.place).finished_on >= day,
            Rejudge::Job(job) => history.is_of(record, job),
        })
        .map(|record| record.job as usize)
        .min(); // A notebook may date the rooms of a job apart: the first record isn't always of the first job.
    let end_of_all = match (rejudge, first) {
        (Rejudge::Job(_), first) => first.map_or(0, |job| job + 1),
        (Rejudge::Nothing | Rejudge::Since(_), _) => history.jobs,
    };
    let mut found = Vec::new();
    let mut start = 0;
    while start < end_of_all {
        let end = start + BLOCK.max(start / GROWTH);
        if first.is_some_and(|first| end > first) {
            let block = history.predict(start..end, rejudge);
            for predicted in &block {
                history.statuses[predicted.place] = predicted.status;
            }
            found.extend(block);
        }
        start = end;
    }
    found
}

/// A record with its place in the trees.
struct Record {
    /// The place of its observation.
    place: usize,
    /// By order of finishing.
    job: u32,
    at: CellAt,
    units: f64,
    /// Where its parts are.
    parts: Range<u32>,
}

/// All records in canonical order, and what is thought of them so far.
struct History<'a> {
    observations: &'a Observations,
    basis: &'a Basis,
    scheme: &'a Scheme,
    records: Vec<Record>,
    parts: Vec<BookPart>,
    /// The status of each observation, by its place.
    statuses: Vec<Status>,
    jobs: usize,
}

impl<'a> History<'a> {
    fn new(basis: &'a Basis, scheme: &'a Scheme, observations: &'a Observations) -> History<'a> {
        let statuses = (0..observations.len()).map(|place| observations.at(place).status);
        let mut history = History {
            observations,
            basis,
            scheme,
            records: Vec::new(),
            parts: Vec::new(),
            statuses: statuses.collect(),
            jobs: 0,
        };
        let mut jobs = Jobs::default();
        let mut parts = Vec::new();
        for place in observations.in_order() {
            let place = place as usize;
            let observation = observations.at(place);
            parts.clear();
            let on = Some(observation.finished_on);
            let work = observations.work_of(place);
            let Some(at) = scheme.place(observation.kind, on, work, &mut parts) else {
                continue;
            };
            let start = history.parts.len() as u32;
            history.parts.append(&mut parts);
            history.records.push(Record {
                place,
                job: jobs.place(observations.job_key(place)),
                at,
                units: at.units(observation.quantity),
                parts: start..history.parts.len() as u32,
            });
        }
        history.jobs = jobs.len();
        history
    }

    /// Predicts the records of some jobs from those of the jobs before.
    fn predict(&self, jobs: Range<usize>, rejudge: Rejudge<'_>) -> Vec<Predicted> {
        let (pools, averages) = (
            self.fit_before(jobs.start),
            self.averages_before(jobs.start),
        );
        let block: Vec<Judged<'_>> = self
            .records
            .iter()
            .filter(|record| jobs.contains(&(record.job as usize)))
            .map(|record| {
                let pool = &pools[record.at.consumption as usize];
                let judge = Judge::new(pool, record.at, self.parts_of(record));
                Judged { record, judge }
            })
            .collect();
        let agreed = agreements(&block);
        let is_slip =
            |judged: &Judged<'_>| judged.is_unlikely() && !agreed.contains(&judged.side());
        block
            .iter()
            .map(|judged| {
                let status = self.status(judged.record, is_slip(judged), rejudge);
                let book = self.book(judged.record);
                let average = averages.get(&judged.record.cell());
                let average = average.map_or(book, |sums| sums.taken / sums.book * book);
                let slip =
                    (status == Status::Doubted).then(|| judged.reason(&block, self.observations));
                let day = self.observations.at(judged.record.place).finished_on;
                judged.predicted(day, status, slip, book, average)
            })
            .collect()
    }

    /// Returns the records of the jobs before one, but for those that are doubted.
    fn before(&self, job: usize) -> impl Iterator<Item = &Record> {
        self.records.iter().filter(move |record| {
            (record.job as usize) < job && self.statuses[record.place] != Status::Doubted
        })
    }

    fn fit_before(&self, job: usize) -> Vec<PoolFit> {
        let weights = self.basis.prior_weights;
        let before: Vec<&Record> = self.before(job).collect();
        let placed = |record: &&Record| Placed {
            at: record.at,
            job: record.job,
            day: self.observations.at(record.place).finished_on,
            units: record.units,
            parts: self.parts_of(record),
        };
        let Ok(pools) = records::fit(self.scheme, weights, before.len(), |order, take| {
            let mut take = |record| take(placed(record));
            let _ = match order {
                Order::OldestFirst => before.iter().try_for_each(&mut take),
                Order::NewestFirst => before.iter().rev().try_for_each(&mut take),
            };
            Ok::<(), Infallible>(())
        });
        pools
    }

    /// Returns what was taken in each cell, beside what the book expected.
    fn averages_before(&self, job: usize) -> HashMap<TreeCell, Average> {
        let mut averages: HashMap<TreeCell, Average> = HashMap::new();
        for record in self.before(job) {
            let sums = averages.entry(record.cell()).or_default();
            sums.taken += record.units;
            sums.book += self.book(record);
        }
        averages
    }

    /// Returns what a record looks like now.
    fn status(&self, record: &Record, is_slip: bool, rejudge: Rejudge<'_>) -> Status {
        let kept = self.statuses[record.place];
        let is_anew = match rejudge {
            Rejudge::Nothing => false,
            Rejudge::Since(_) => true,
            Rejudge::Job(job) => self.is_of(record, job),
        };
        match kept {
            kept if !is_anew => kept,
            Status::Confirmed => Status::Confirmed,
            Status::Good | Status::Doubted if is_slip => Status::Doubted,
            Status::Good | Status::Doubted => Status::Good,
        }
    }

    fn parts_of(&self, record: &Record) -> &[BookPart] {
        let Range { start, end } = record.parts;
        &self.parts[start as usize..end as usize]
    }

    /// Tells whether a record is of the job of that number; those of a notebook are of none.
    fn is_of(&self, record: &Record, job: &str) -> bool {
        let observation = self.observations.at(record.place);
        !observation.from_notebook && observation.job == job
    }

    /// Returns what the book expects, in units.
    fn book(&self, record: &Record) -> f64 {
        let fixed = &self.scheme.pool(record.at.consumption).fixed;
        let parts = self.parts_of(record).iter();
        parts
            .map(|part| {
                part.slope + fixed[part.family].map_or(0.0, |fixed| fixed.median * part.passes)
            })
            .sum()
    }
}

/// A cell of one of the trees.
type TreeCell = (Consumption, usize);

/// The plain average of a cell: what was taken over what the book expected, in units.
#[derive(Clone, Copy, Debug, Default)]
struct Average {
    taken: f64,
    book: f64,
}

impl Record {
    fn cell(&self) -> TreeCell {
        let CellAt {
            consumption,
            step,
            code,
            ..
        } = self.at;
        (consumption, step * CODES + code)
    }

    fn job_step(&self) -> JobStep {
        (self.job, self.at.consumption, self.at.step)
    }
}

/// A job, by order of finishing, and a step of one of the trees.
type JobStep = (u32, Consumption, usize);

/// A step of a job, and whether more was taken than predicted.
type Side = (JobStep, bool);

/// A record beside what was predicted of it.
struct Judged<'a> {
    record: &'a Record,
    judge: Judge,
}

impl Judged<'_> {
    fn is_unlikely(&self) -> bool {
        self.judge.is_unlikely(self.record.units)
    }

    fn side(&self) -> Side {
        let more = self.record.units > self.judge.moments.mean;
        (self.record.job_step(), more)
    }

    /// Returns what made it unlikely: itself, or a swap with another record of its step and job.
    fn reason(&self, block: &[Judged<'_>], observations: &Observations) -> Slip {
        let units = self.record.units;
        let swapped = block.iter().find(|other| {
            other.record.job_step() == self.record.job_step()
                && other.record.place != self.record.place
                && self.judge.is_usual(other.record.units)
                && other.judge.is_usual(units)
        });
        match swapped {
            Some(other) => {
                let parts = observations.parts_of(other.record.place);
                let rooms: Vec<&str> = parts.map(|part| part.room).collect();
                Slip::Swapped(rooms.join(", "))
            }
            None => self.judge.reason(units),
        }
    }

    fn predicted(
        &self,
        finished_on: NaiveDate,
        status: Status,
        slip: Option<Slip>,
        book: f64,
        average: f64,
    ) -> Predicted {
        let Judged { record, judge } = self;
        let units = record.units;
        let items = |units: f64| quantity(decimal(units * record.at.items_per_unit));
        Predicted {
            place: record.place,
            consumption: record.at.consumption,
            year: finished_on.year(),
            band: judge.band(items),
            status,
            slip,
            inside: judge.share(units, 0.1..0.9),
            below: judge.share(units, 0.0..0.8),
            errors: [judge.moments.mean, book, average].map(|mean| (units - mean).abs() / book),
        }
    }
}

/// How many records of a step in a job there are, and how many of them are unlikely.
#[derive(Clone, Copy, Debug, Default)]
struct Counts {
    records: usize,
    far_less: usize,
    far_more: usize,
}

/// Returns the sides on which most records of a step in a job are unlikely: when rooms agree with each other and not with
/// what was predicted, the house is hard or the book is wrong, and nobody has slipped. Other jobs have no say, so that a job
/// that is closed later never changes the status of its records.
fn agreements(block: &[Judged<'_>]) -> HashSet<Side> {
    let mut counts: BTreeMap<JobStep, Counts> = BTreeMap::new();
    for judged in block {
        let (step, more) = judged.side();
        let counts = counts.entry(step).or_default();
        counts.records += 1;
        match judged.is_unlikely() {
            true if more => counts.far_more += 1,
            true => counts.far_less += 1,
            false => {}
        }
    }
    let mut agreed = HashSet::new();
    for (step, counts) in counts {
        for (unlikely, more) in [(counts.far_less, false), (counts.far_more, true)] {
            if unlikely >= FEWEST_AGREEING && unlikely * 2 > counts.records {
                agreed.insert((step, more));
            }
        }
    }
    agreed
}

/// How far the share inside the band may be from 80 % before the bands are called dishonest, in percent.
const TOLERANCE: f64 = 5.0;

/// Fewest records that a verdict rests on.
const FEWEST: usize = 30;

/// How well records were predicted.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// Records.
    pub records: usize,
    /// Percent inside the 80 % band.
    pub inside: f64,
    /// Percent at or below the 80 % line.
    pub below: f64,
    /// Mean distance from the mean, in percent of the book's quantity: the learned rates', the book's, the plain average's.
    pub errors: [f64; 3],
    /// Standard error of `inside`, records of one job taken together.
    doubt: f64,
}

/// What the backtest says of the bands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Too few records to tell.
    TooFew,
    /// They hold as often as they claim.
    Honest,
    /// They hold less often.
    TooNarrow,
    /// They hold more often.
    TooWide,
}

impl Verdict {
    /// Returns the verdict in words.
    pub const fn as_str(self) -> &'static str {
        match self {
            Verdict::TooFew => "too few records to tell",
            Verdict::Honest => "bands are honest",
            Verdict::TooNarrow => "bands are too narrow",
            Verdict::TooWide => "bands are too wide",
        }
    }
}

impl Score {
    /// Sums up records; those that look like slips aren't counted.
    pub fn of<'a>(
        observations: &Observations,
        predicted: impl Iterator<Item = &'a Predicted>,
    ) -> Score {
        let counted: Vec<&Predicted> = predicted
            .filter(|found| found.status != Status::Doubted)
            .collect();
        let records = counted.len();
        if records == 0 {
            return Score::default();
        }
        let mean = |of: &dyn Fn(&Predicted) -> f64| {
            100.0 * counted.iter().map(|found| of(found)).sum::<f64>() / records as f64
        };
        let inside = mean(&|found| found.inside);
        let mut jobs: BTreeMap<&str, f64> = BTreeMap::new();
        for found in &counted {
            *jobs.entry(observations.at(found.place).job).or_default() +=
                found.inside - inside / 100.0;
        }
        let spread: f64 = jobs.values().map(|apart| apart.powi(2)).sum();
        Score {
            records,
            inside,
            below: mean(&|found| found.below),
            errors: [0, 1, 2].map(|which| mean(&|found| found.errors[which])),
            doubt: 100.0 * spread.sqrt() / records as f64,
        }
    }

    /// Returns what the records say of the bands, as far as chance allows.
    pub fn verdict(&self) -> Verdict {
        let allowed = TOLERANCE.max(2.0 * self.doubt);
        match self.inside - 80.0 {
            _ if self.records < FEWEST => Verdict::TooFew,
            apart if apart < -allowed => Verdict::TooNarrow,
            apart if apart > allowed => Verdict::TooWide,
            _ => Verdict::Honest,
        }
    }
}
