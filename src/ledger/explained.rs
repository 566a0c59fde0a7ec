//! Why jobs left their quotes: what the room's size and the floor's condition explain, and all of it over a time.

use std::cmp::Reverse;

use anyhow::Result;

use super::books::{JobRecord, Parts, Span, of_job};
use super::causes::{Planned, expected};
use super::columns::{KeptParts, NamedRow};
use super::{Job, Ledger, QuotedRate};
use crate::money::{Decimal, round};
use crate::trade::job_cost::Missing;
use crate::trade::quote::{QuotedRoom, WorkLine};
use crate::trade::rates::{FloorClass, Rate, RateKind, Rates};
use crate::trade::takeoff::MeasuredRoom;
use crate::trade::variance::flexible::{Expected, Flexible, Reasons};
use crate::trade::variance::{LineKind, Subject, Variance, VarianceLine};

/// What finished jobs of a time differ by from their quotes.
#[derive(Clone, Debug, Default)]
pub struct Explained {
    /// The jobs.
    pub jobs: usize,
    /// The whole difference, by why.
    pub reasons: Reasons,
    /// What was quoted and isn't recorded.
    pub missing: Missing,
    /// The lines that left their quotes furthest, those first.
    pub furthest: Vec<ExplainedLine>,
}

/// A line of a job.
#[derive(Clone, Debug)]
pub struct ExplainedLine {
    /// The job's number.
    pub job: String,
    /// The room's name; `None`: the job as a whole.
    pub room: Option<String>,
    /// Quoted beside actual.
    pub line: VarianceLine,
    /// Why more or less was used.
    pub flexible: Flexible,
}

/// How rooms had turned out when their jobs were closed last.
const IN_THE_END: &str = "
    SELECT event.job_id, closed_room.room_id, closed_room.name, area_micro, edge_micro, steps, floor_condition, parts, species
    FROM job_event AS event
    CROSS JOIN closed_room ON closed_room.job_event_id = event.id
    WHERE event.job_id BETWEEN :first AND :last AND event.what = 'closed' AND area_micro IS NOT NULL
      AND event.id = (SELECT MAX(id) FROM job_event WHERE job_event.job_id = event.job_id)
    ORDER BY event.job_id, closed_room.room_id";

/// What a quote would have said of rooms that turned out otherwise.
struct Flexing<'a> {
    /// The rates that the quotes were priced with.
    quoted: Vec<QuotedRate>,
    /// The book, for floors that no quote has a rate for: what was learned since, from this job too, stays out of it.
    rates: &'a Rates,
}

impl Ledger {
    /// Returns the rooms of a job as they turned out: as they measured when it was closed, or do now.
    pub(super) fn rooms_in_the_end(&self, record: &JobRecord) -> Result<Vec<MeasuredRoom>> {
        if !record.job.is_closed() {
            return self.rooms_as_measured(&record.job, &record.agreed);
        }
        let mut statement = self.connection.prepare_cached(IN_THE_END)?;
        let span = record.job.id.into();
        Parts::of(&mut statement, span, of_job, room_from_row)?.take(&record.job.id)
    }

    /// Returns why more or less was used, of each line of a job's variance.
    pub(super) fn flexible(
        &self,
        record: &JobRecord,
        variance: &Variance,
        rooms: &[MeasuredRoom],
    ) -> Result<Vec<Flexible>> {
        let quotes = || record.agreed.quotes.iter();
        let is_otherwise = |room: &&MeasuredRoom| {
            let mut quoted = quotes().flat_map(|record| &record.quote.rooms);
            quoted
                .find(|known| known.id == room.id)
                .is_some_and(|quoted| differs(room, quoted))
        };
        let otherwise: Vec<&MeasuredRoom> = rooms.iter().filter(is_otherwise).collect();
        let lines = variance.lines.iter();
        if otherwise.is_empty() {
            return Ok(lines
                .map(|line| line.flexible(None, self.currency()))
                .collect());
        }
        let rates = self.rates()?;
        let planned = Planned::new(record, &rates);
        let mut flexing = Flexing {
            quoted: Vec::new(),
            rates: &rates,
        };
        for record in quotes() {
            flexing.quoted.extend(self.rates_of_quote(&record.header)?);
        }
        let flexible = lines.map(|line| {
            let room = otherwise
                .iter()
                .find(|room| Some(room.id) == line.subject.room);
            let expected = room.and_then(|room| flexing.expected(&planned, &line.subject, room));
            line.flexible(expected, self.currency())
        });
        Ok(flexible.collect())
    }

    /// Returns what the finished jobs that pass differ by from their quotes, with so many of their lines.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn explained(&self, most: usize, passes: impl Fn(&Job) -> bool) -> Result<Explained> {
        let judge = self.judge(&[Span::EVERY])?;
        let mut rooms = self.connection.prepare_cached(IN_THE_END)?;
        let mut rooms = Parts::of(&mut rooms, Span::EVERY, of_job, room_from_row)?;
        let mut explained = Explained::default();
        self.read_jobs(&[Span::EVERY], |record| {
            if !passes(&record.job) {
                return Ok(());
            }
            let variance = judge.variance(&record);
            let rooms = rooms.take(&record.job.id)?;
            let flexible = self.flexible(&record, &variance, &rooms)?;
            explained.jobs += 1;
            explained.reasons.add(&variance, &flexible);
            explained.missing.add(variance.missing());
            let names = &record.agreed.room_names;
            let lines = variance.lines.into_iter().zip(flexible);
            explained
                .furthest
                .extend(lines.map(|(line, flexible)| ExplainedLine {
                    job: record.job.number.clone(),
                    room: line.subject.room.and_then(|room| names.get(&room).cloned()),
                    line,
                    flexible,
                }));
            explained.keep_furthest(most);
            Ok(())
        })?;
        Ok(explained)
    }
}

impl Explained {
    fn keep_furthest(&mut self, most: usize) {
        let difference = |of: &ExplainedLine| {
            let compared = of.line.compared();
            compared.map_or(0, |compared| compared.split.total().abs().minor())
        };
        self.furthest.retain(|line| difference(line) > 0);
        self.furthest.sort_by_key(|line| Reverse(difference(line)));
        self.furthest.truncate(most);
    }
}

impl Flexing<'_> {
    /// Returns what the quotes would have said of a line in a room that turned out otherwise; `None`: nothing of it goes by
    /// the room.
    fn expected(
        &self,
        planned: &Planned<'_>,
        subject: &Subject,
        room: &MeasuredRoom,
    ) -> Option<Expected> {
        let kind = match subject.kind {
            LineKind::Item => RateKind::Item,
            LineKind::Labour => RateKind::Hours,
            LineKind::Rental | LineKind::Other => return None,
        };
        let mut sum = Expected {
            quoted: Decimal::ZERO,
            measured: Decimal::ZERO,
            found: Decimal::ZERO,
        };
        for (work, class) in planned.planned(subject) {
            let of_work = self.work(work, kind, class, room);
            sum.quoted += of_work.quoted;
            sum.measured += of_work.measured;
            sum.found += of_work.found;
        }
        Some(sum)
    }

    fn work(
        &self,
        work: &WorkLine,
        kind: RateKind,
        class: FloorClass,
        room: &MeasuredRoom,
    ) -> Expected {
        let quoted = expected(work, kind);
        let mut all = Expected {
            quoted,
            measured: quoted,
            found: quoted,
        };
        let Some(operation) = self.rates.operations().get(&work.operation) else {
            return all;
        };
        // What was found in a room, and what may turn up, isn't measured with it.
        if operation.answers.is_some() || work.contingency.is_some() {
            return all;
        }
        let now = room.driver_in(work.driver, work.part);
        let now = now.map_or(work.quantity, |now| now * Decimal::from(work.passes));
        let book = &self.rates.basis().book;
        let in_book = |class| Some(book.row(operation.id, kind, class)?.rate());
        let as_quoted = |class| {
            let is_it = |rate: &&QuotedRate| {
                (rate.operation, rate.kind, rate.class) == (work.operation, kind, class)
            };
            self.quoted.iter().find(is_it).map(|rate| rate.rate.learned)
        };
        let expect = |rate: Rate| rate.expect(now, work.passes);
        let rate = as_quoted(class).or_else(|| in_book(class));
        if now.normalize() != work.quantity.normalize()
            && let Some(rate) = rate
        {
            all.measured = round(expect(rate), 2);
        }
        let found_class = room.class.in_part(work.part);
        all.found = all.measured;
        if found_class != class {
            let ratio = || {
                let (then, found) = (expect(in_book(class)?), expect(in_book(found_class)?));
                (!then.is_zero()).then(|| all.measured * found / then)
            };
            let found = as_quoted(found_class).map(expect).or_else(ratio);
            all.found = found.map_or(all.measured, |found| round(found, 2));
        }
        all
    }
}

fn differs(room: &MeasuredRoom, quoted: &QuotedRoom) -> bool {
    (room.area, room.edge, room.steps, room.class, &room.parts)
        != (
            quoted.area,
            quoted.edge,
            quoted.steps,
            quoted.class,
            &quoted.parts,
        )
}

fn room_from_row(row: &NamedRow<'_>) -> rusqlite::Result<MeasuredRoom> {
    Ok(MeasuredRoom {
        id: row.get("room_id")?,
        name: row.get("name")?,
        area: row.micro("area_micro")?,
        edge: row.micro("edge_micro")?,
        steps: row.get("steps")?,
        class: FloorClass {
            condition: row.get("floor_condition")?,
            species: row.get("species")?,
        },
        parts: row.get::<KeptParts>("parts")?.0,
        findings: Vec::new(),
        contingencies: Vec::new(),
    })
}
