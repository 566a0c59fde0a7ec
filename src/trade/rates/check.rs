//! The entry check and the proof: would the earlier records have foretold this one?
//!
//! Jobs are gone through in the order they were finished, some at a time (five, more in a long history); each record
//! is foretold from the earlier jobs only, those set aside left out (the prequential approach of Dawid 1984). That gives
//!
//! * the entry check: a record whose tail is less likely than 1 in 1,000 looks like a slip. It is kept, shown, and set
//!   aside from learning until its owner answers; nothing is dropped silently. Where most records of a step in one job
//!   are off to the same side, the house is hard or the book is wrong, and none of them is a slip; what other jobs took
//!   has no say in it;
//! * the proof: how often the bands held, and how far off the mean was, beside the book alone and the plain average.

use std::collections::{BTreeMap, HashMap};
use std::ops::Range;

use chrono::{Datelike, NaiveDate};

use super::fit::PoolFit;
use super::float::{decimal, float};
use super::observation::in_order;
use super::predictive::{Comes, Moments, at_least, at_most, quantile, total};
use super::records::{Jobs, Records};
use super::scheme::{CODES, CellAt, Scheme};
use super::tree::BookPart;
use super::{Band, Basis, Consumption, Observation, Rates, Word};
use crate::money::{Decimal, quantity};

/// A record less likely than this, to either side, looks like a slip.
const UNLIKELY: f64 = 0.001;
/// A quantity that is at least that likely, to both sides, is nothing to wonder at.
const USUAL: f64 = 0.02;
/// Fewest records of a step in a job that outweigh what was foretold, if they are most of its records.
const FEWEST_AGREEING: usize = 3;
/// Jobs foretold from one fit.
const BLOCK: usize = 5;
/// In a long history, so many earlier jobs allow one more in a block: a tenth more evidence changes little.
const GROWTH: usize = 10;
/// How far the share inside the band may be from 80 % before the bands are called dishonest, in percent.
const TOLERANCE: f64 = 5.0;
/// Fewest records that a verdict rests on.
const FEWEST: usize = 30;

/// What the earlier jobs foretold of a record.
#[derive(Clone, Debug, PartialEq)]
pub struct Foretold {
    /// The observation's place in the slice that was given.
    pub place: usize,
    /// What is counted.
    pub consumption: Consumption,
    /// The year it was finished in.
    pub year: i32,
    /// The band of its like, in items or hours.
    pub band: Band,
    /// What the record looks like now.
    pub word: Word,
    /// Why it looks like a slip, if it does.
    pub slip: Option<Slip>,
    /// How much of it is inside the 80 % band: 1 or 0, or part of 1 for a count on the border.
    inside: f64,
    /// How much of it is at or below the 80 % line.
    below: f64,
    /// Distance of record and mean, in parts of the book's quantity: the model's, the book's, the plain average's.
    errors: [f64; 3],
}

/// What a slip was, likely.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Slip {
    /// A tenth of it would be usual.
    ZeroTooMany,
    /// Ten times of it would be usual.
    ZeroMissing,
    /// It would be usual for another room of the job, and that room's for this one.
    Swapped(String),
    /// More than rooms like this take.
    FarMore,
    /// Less than rooms like this take.
    FarLess,
}

impl Foretold {
    /// Returns what is found of work that isn't finished: nothing to score, only a slip to show.
    pub fn unfinished(place: usize, observation: &Observation, judgement: Judgement) -> Foretold {
        Foretold {
            place,
            consumption: judgement.consumption,
            year: observation.finished_on.year(),
            band: judgement.band,
            word: Word::Doubted,
            slip: judgement.slip,
            inside: 0.0,
            below: 0.0,
            errors: [0.0; 3],
        }
    }
}

impl std::fmt::Display for Slip {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Slip::ZeroTooMany => f.write_str("a zero too many"),
            Slip::ZeroMissing => f.write_str("a zero missing"),
            Slip::Swapped(room) => write!(f, "swapped with {room}"),
            Slip::FarMore => f.write_str("far more than rooms like this took"),
            Slip::FarLess => f.write_str("far less than rooms like this took"),
        }
    }
}

/// Which words are given anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Words<'a> {
    /// None: all records are foretold, and keep the word that they have.
    Kept,
    /// Those of what was finished from about that day on.
    Anew(NaiveDate),
    /// Those of one job, by its number.
    Of(&'a str),
}

/// Foretells records by the jobs before them.
///
/// Words that are given anew, unless confirmed, are what they would have been if everything had been entered in order:
/// they don't depend on when it was. The jobs that are foretold together with the first of these are judged with it, and
/// what is earlier isn't looked at. For the words of one job no other is judged, and what is later isn't looked at either.
pub fn look_back(basis: &Basis, observations: &[Observation], words: Words<'_>) -> Vec<Foretold> {
    let scheme = Scheme::new(&basis.book, &basis.operations, &basis.changes);
    let mut history = History::new(&scheme, observations);
    let first = history
        .records
        .iter()
        .filter(|record| match words {
            Words::Kept => true,
            Words::Anew(from) => record.observation.finished_on >= from,
            Words::Of(job) => record.is_of(job),
        })
        .map(|record| record.job)
        .min(); // A notebook may date the rooms of a job apart: the first record isn't always of the first job.
    let end_of_all = match (words, first) {
        (Words::Of(_), first) => first.map_or(0, |job| job + 1),
        (Words::Kept | Words::Anew(_), _) => history.jobs,
    };
    let mut found = Vec::new();
    let mut start = 0;
    while start < end_of_all {
        let end = start + BLOCK.max(start / GROWTH);
        if first.is_some_and(|first| end > first) {
            let block = history.foretell(basis, &scheme, start..end, words);
            for foretold in &block {
                history.words[foretold.place] = foretold.word;
            }
            found.extend(block);
        }
        start = end;
    }
    found
}

/// What the rates as they are say of a quantity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judgement {
    /// What is counted.
    pub consumption: Consumption,
    /// The band of its like, in items or hours.
    pub band: Band,
    /// Why it looks like a slip, if it does.
    pub slip: Option<Slip>,
}

impl Rates {
    /// Judges a quantity before it is evidence; `None`: the book has no rate for it.
    ///
    /// What isn't finished may still grow: `so_far` lets a small quantity pass.
    pub fn judge(&self, observation: &Observation, so_far: bool) -> Option<Judgement> {
        let mut parts = Vec::new();
        let at = self
            .scheme
            .place(observation.kind, None, observation.work(), &mut parts)?;
        let pool = &self.fit.pools[at.consumption as usize];
        let judge = Judge::new(pool, at, &parts);
        let units = float(observation.quantity) / at.items_per_unit;
        let items = |units: f64| quantity(decimal(units * at.items_per_unit));
        let too_small = units < judge.moments.mean;
        Some(Judgement {
            consumption: at.consumption,
            band: judge.band(items),
            slip: (judge.is_unlikely(units) && !(so_far && too_small)).then(|| judge.reason(units)),
        })
    }
}

/// A record with its place in the trees.
struct Placed<'a> {
    place: usize,
    observation: &'a Observation,
    /// By order of finishing.
    job: usize,
    at: CellAt,
    parts: Range<usize>,
}

struct History<'a> {
    records: Vec<Placed<'a>>,
    parts: Vec<BookPart>,
    words: Vec<Word>,
    jobs: usize,
}

impl<'a> History<'a> {
    fn new(scheme: &Scheme, observations: &'a [Observation]) -> History<'a> {
        let mut history = History {
            records: Vec::new(),
            parts: Vec::new(),
            words: observations.iter().map(|found| found.word).collect(),
            jobs: 0,
        };
        let mut jobs = Jobs::default();
        let mut parts = Vec::new();
        for place in in_order(observations) {
            let observation = &observations[place];
            parts.clear();
            let on = Some(observation.finished_on);
            let Some(at) = scheme.place(observation.kind, on, observation.work(), &mut parts)
            else {
                continue;
            };
            let job = jobs.place(observation);
            let start = history.parts.len();
            history.parts.append(&mut parts);
            history.records.push(Placed {
                place,
                observation,
                job,
                at,
                parts: start..history.parts.len(),
            });
        }
        history.jobs = jobs.len();
        history
    }

    /// Foretells the records of some jobs from those of the jobs before.
    fn foretell(
        &self,
        basis: &Basis,
        scheme: &Scheme,
        block: Range<usize>,
        words: Words<'_>,
    ) -> Vec<Foretold> {
        let past = || {
            self.records.iter().filter(|record| {
                record.job < block.start && self.words[record.place] != Word::Doubted
            })
        };
        let mut earlier = Records::default();
        let mut plain: HashMap<(Consumption, usize), (f64, f64)> = HashMap::new();
        for record in past() {
            let units = record.units();
            let parts = &self.parts[record.parts.clone()];
            earlier.add(record.at, record.observation, record.job, parts);
            let sums = plain
                .entry((record.at.consumption, record.cell()))
                .or_default();
            sums.0 += units;
            sums.1 += self.book(scheme, record);
        }
        let pools = earlier.fit(scheme, basis.trust);
        let in_block: Vec<&Placed<'_>> = self
            .records
            .iter()
            .filter(|record| block.contains(&record.job))
            .collect();
        let judges: Vec<Judge> = in_block
            .iter()
            .map(|record| {
                let pool = &pools[record.at.consumption as usize];
                Judge::new(pool, record.at, &self.parts[record.parts.clone()])
            })
            .collect();
        let agreed = agreements(&in_block, &judges);
        in_block
            .iter()
            .zip(&judges)
            .map(|(record, judge)| {
                let units = record.units();
                let book = self.book(scheme, record);
                let average = plain
                    .get(&(record.at.consumption, record.cell()))
                    .map_or(book, |(taken, expected)| taken / expected * book);
                let looks_wrong = judge.is_unlikely(units) && !agreed.contains(&judge.side(record));
                let is_anew = match words {
                    Words::Kept => false,
                    Words::Anew(_) => true,
                    Words::Of(job) => record.is_of(job),
                };
                let word = match self.words[record.place] {
                    kept if !is_anew => kept,
                    Word::Confirmed => Word::Confirmed,
                    _ if looks_wrong => Word::Doubted,
                    _ => Word::Good,
                };
                let slip =
                    (word == Word::Doubted).then(|| reason(record, judge, &in_block, &judges));
                let items = |units: f64| quantity(decimal(units * record.at.items_per_unit));
                Foretold {
                    place: record.place,
                    consumption: record.at.consumption,
                    year: record.observation.finished_on.year(),
                    band: judge.band(items),
                    word,
                    slip,
                    inside: judge.share(units, 0.1..0.9),
                    below: judge.share(units, 0.0..0.8),
                    errors: [judge.moments.mean, book, average]
                        .map(|mean| (units - mean).abs() / book),
                }
            })
            .collect()
    }

    /// Returns what the book expects, in units.
    fn book(&self, scheme: &Scheme, record: &Placed<'_>) -> f64 {
        let fixed = &scheme.pool(record.at.consumption).fixed;
        let parts = self.parts[record.parts.clone()].iter();
        parts
            .map(|part| {
                part.slope + fixed[part.family].map_or(0.0, |fixed| fixed.median * part.passes)
            })
            .sum()
    }
}

impl Placed<'_> {
    fn units(&self) -> f64 {
        float(self.observation.quantity) / self.at.items_per_unit
    }

    /// Tells whether it is of the job of that number; those of a notebook are of none.
    fn is_of(&self, job: &str) -> bool {
        !self.observation.from_notebook && &*self.observation.job == job
    }

    fn cell(&self) -> usize {
        self.at.step * CODES + self.at.code
    }

    fn rooms(&self) -> Vec<&str> {
        self.observation
            .parts
            .iter()
            .map(|part| &*part.room)
            .collect()
    }
}

/// A job, by order of finishing, and a step of one of the trees.
type JobStep = (usize, Consumption, usize);

/// A step of a job, and whether more was taken than foretold.
type Side = (JobStep, bool);

/// Returns the sides on which most records of a step in a job are unlikely: when rooms agree with each other and not with
/// what was foretold, it is the house that is hard or the book that is wrong, not the pen. Each job speaks for itself, so
/// that none that is closed later changes what is thought of its records.
fn agreements(block: &[&Placed<'_>], judges: &[Judge]) -> Vec<Side> {
    let mut counts: BTreeMap<JobStep, [usize; 3]> = BTreeMap::new();
    for (record, judge) in block.iter().zip(judges) {
        let (step, more) = judge.side(record);
        let counts = counts.entry(step).or_default();
        counts[2] += 1;
        if judge.is_unlikely(record.units()) {
            counts[usize::from(more)] += 1;
        }
    }
    let sides = counts.into_iter().flat_map(|(step, counts)| {
        [false, true]
            .into_iter()
            .filter(move |more| {
                let unlikely = counts[usize::from(*more)];
                unlikely >= FEWEST_AGREEING && unlikely * 2 > counts[2]
            })
            .map(move |more| (step, more))
    });
    sides.collect()
}

/// What was foretold of one record.
struct Judge {
    moments: Moments,
    comes: Comes,
}

impl Judge {
    fn new(pool: &PoolFit, at: CellAt, parts: &[BookPart]) -> Judge {
        Judge {
            moments: total(&pool.posterior, &[pool.row(&at, 0, parts, false)]),
            comes: match at.consumption {
                Consumption::Discs => Comes::Whole,
                Consumption::Finish | Consumption::Hours => Comes::Measured,
            },
        }
    }

    fn quantile(&self, level: f64) -> f64 {
        quantile(self.moments, self.comes, level)
    }

    /// Returns the 80 % band, counted in items.
    fn band(&self, items: impl Fn(f64) -> Decimal) -> Band {
        Band {
            low: items(self.quantile(0.1)),
            high: items(self.quantile(0.9)),
        }
    }

    fn side(&self, record: &Placed<'_>) -> Side {
        let more = record.units() > self.moments.mean;
        ((record.job, record.at.consumption, record.at.step), more)
    }

    /// Returns the chances of at most that much and of at least that much.
    fn tails(&self, units: f64) -> (f64, f64) {
        (
            at_most(self.moments, self.comes, units),
            at_least(self.moments, self.comes, units),
        )
    }

    fn is_unlikely(&self, units: f64) -> bool {
        let (at_most, at_least) = self.tails(units);
        at_most.min(at_least) < UNLIKELY
    }

    fn is_usual(&self, units: f64) -> bool {
        let (at_most, at_least) = self.tails(units);
        at_most.min(at_least) >= USUAL
    }

    /// Returns what made a quantity unlikely, looking at it alone.
    fn reason(&self, units: f64) -> Slip {
        if self.is_usual(units / 10.0) {
            Slip::ZeroTooMany
        } else if self.is_usual(units * 10.0) {
            Slip::ZeroMissing
        } else if units > self.moments.mean {
            Slip::FarMore
        } else {
            Slip::FarLess
        }
    }

    /// Returns how much of a record lies between two levels.
    ///
    /// Sets are coarse: a plain count of records inside the band would be over 90 % for any right model. A count takes
    /// up the levels from what is below it to what is at or below it, and belongs to the band with the part that is in.
    fn share(&self, units: f64, levels: Range<f64>) -> f64 {
        let (at_most, at_least) = self.tails(units);
        let (from, to) = (1.0 - at_least, at_most);
        if to - from < 1e-12 {
            return f64::from(u8::from(from >= levels.start && from <= levels.end));
        }
        (to.min(levels.end) - from.max(levels.start)).max(0.0) / (to - from)
    }
}

/// Returns what made a record unlikely.
fn reason(record: &Placed<'_>, judge: &Judge, block: &[&Placed<'_>], judges: &[Judge]) -> Slip {
    let units = record.units();
    let swapped = block.iter().zip(judges).find(|(other, of_other)| {
        other.job == record.job
            && other.place != record.place
            && (other.at.consumption, other.at.step) == (record.at.consumption, record.at.step)
            && judge.is_usual(other.units())
            && of_other.is_usual(units)
    });
    if let Some((other, _)) = swapped {
        return Slip::Swapped(other.rooms().join(", "));
    }
    judge.reason(units)
}

/// How well records were foretold.
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

/// What the proof says of the bands.
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
        observations: &[Observation],
        foretold: impl Iterator<Item = &'a Foretold>,
    ) -> Score {
        let counted: Vec<&Foretold> = foretold
            .filter(|found| found.word != Word::Doubted)
            .collect();
        let records = counted.len();
        if records == 0 {
            return Score::default();
        }
        let mean = |of: &dyn Fn(&Foretold) -> f64| {
            100.0 * counted.iter().map(|found| of(found)).sum::<f64>() / records as f64
        };
        let inside = mean(&|found| found.inside);
        let mut jobs: HashMap<&str, f64> = HashMap::new();
        for found in &counted {
            *jobs.entry(&observations[found.place].job).or_default() +=
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
