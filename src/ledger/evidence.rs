//! Evidence: what finished rooms took, as it is kept, and what closed jobs add to it.

use std::collections::HashMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::types::{FromSql, ValueRef};
use rusqlite::{OptionalExtension, Row, Rows, named_params};

use super::columns::Micro;
use super::fit::digest_of;
use super::{Job, Ledger, Refusal, Writing, numbered, read_number, refuse};
use crate::money::Decimal;
use crate::trade::evidence::{Lesson, Took, lessons};
use crate::trade::rates::backtest::Rejudge;
use crate::trade::rates::{FloorClass, Observation, Observations, Observed, PartOf, Status};
use crate::trade::{EntryId, JobId};

/// How many observations are held at a time, where one is looked at after the other.
const AT_ONCE: i64 = 1_000;

/// A row to be added to the evidence.
#[derive(Clone, Debug)]
pub(super) struct NewObservation<'a> {
    pub(super) observation: &'a Observation,
    pub(super) source: Source<'a>,
}

/// Where an observation comes from.
#[derive(Clone, Copy, Debug)]
pub(super) enum Source<'a> {
    /// A job, with the entries that it rests on.
    Job { job: JobId, entries: &'a [Took] },
    /// A notebook, with area and edge as it gave them, for its one part.
    Notebook {
        area: Option<Decimal>,
        edge: Option<Decimal>,
    },
}

/// The evidence in force, by id.
#[derive(Debug, Default)]
pub(super) struct EvidenceById {
    /// The id of each observation, by its place.
    pub(super) ids: Vec<i64>,
    /// Those set aside too.
    pub(super) observations: Observations,
}

/// An observation as the ledger keeps it.
#[derive(Clone, Debug)]
pub struct KeptObservation {
    /// What its owner calls it: its largest entry's number, or that of a row of a notebook.
    pub number: String,
    /// What was observed.
    pub observation: Observation,
}

/// What is read of an observation.
macro_rules! observation_columns {
    () => {
        "SELECT id, kind, job_id, job_label, finished_on, quantity_micro, word FROM observation"
    };
}

/// What is read of its parts.
macro_rules! part_columns {
    () => {
        "SELECT observation_id, operation_id, room_label, floor_condition, species, driver_micro, passes FROM observation_part"
    };
}

pub(super) use {observation_columns, part_columns};

fn observed_from_row<'row>(row: &'row Row<'_>, dates: &mut Dates) -> Result<Observed<'row>> {
    let quantity: Micro = row.get(5)?;
    Ok(Observed {
        kind: row.get(1)?,
        from_notebook: row.get_ref(2)? == ValueRef::Null,
        job: row.get_ref(3)?.as_str()?,
        finished_on: dates.get(row.get_ref(4)?)?,
        quantity: quantity.0,
        status: row.get(6)?,
    })
}

fn part_from_row<'row>(row: &'row Row<'_>) -> Result<PartOf<'row>> {
    let driver: Micro = row.get(5)?;
    Ok(PartOf {
        operation: row.get(1)?,
        room: row.get_ref(2)?.as_str()?,
        class: FloorClass {
            condition: row.get(3)?,
            species: row.get(4)?,
        },
        driver: driver.0,
        passes: row.get(6)?,
    })
}

impl EvidenceById {
    /// Reads observations, in the order of their ids.
    pub(super) fn read_observations(
        &mut self,
        mut rows: Rows<'_>,
        dates: &mut Dates,
    ) -> Result<()> {
        while let Some(row) = rows.next()? {
            self.ids.push(row.get(0)?);
            self.observations.add(observed_from_row(row, dates)?);
        }
        Ok(())
    }

    /// Reads parts of observations that have been read.
    pub(super) fn read_parts(&mut self, mut rows: Rows<'_>) -> Result<()> {
        let EvidenceById { ids, observations } = self;
        let mut at = 0;
        while let Some(row) = rows.next()? {
            let observation: i64 = row.get(0)?;
            if ids.get(at) != Some(&observation) {
                // The next one, as a rule; anywhere, where copies were merged; nowhere, if it was taken back.
                match ids.binary_search(&observation) {
                    Ok(place) => at = place,
                    Err(_) => continue,
                }
            }
            observations.add_part(at, part_from_row(row)?);
        }
        Ok(())
    }
}

impl Ledger {
    /// Returns what finished rooms took, those set aside too; in no order that means anything.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn observations(&self) -> Result<Observations> {
        Ok(self.evidence_by_id()?.observations)
    }

    /// Returns the evidence in force, by id. Observations and parts are scanned one after the other: where all are needed at
    /// once, that is the quickest way.
    pub(super) fn evidence_by_id(&self) -> Result<EvidenceById> {
        self.in_passing(|| {
            let mut found = EvidenceById::default();
            let mut statement = self.connection.prepare_cached(concat!(
                observation_columns!(),
                " WHERE voided_at IS NULL ORDER BY id"
            ))?;
            found.read_observations(statement.query([])?, &mut Dates::default())?;
            let mut statement = self
                .connection
                .prepare_cached(concat!(part_columns!(), " ORDER BY id"))?;
            found.read_parts(statement.query([])?)?;
            Ok(found)
        })
    }

    /// Returns an observation in force with what its owner calls it.
    pub(super) fn kept_observation(&self, id: i64) -> Result<KeptObservation> {
        let by_id = named_params! { ":id": id };
        let (mut observations, mut dates) = (Observations::default(), Dates::default());
        self.connection
            .prepare_cached(concat!(observation_columns!(), " WHERE id = :id"))?
            .query_row(by_id, |row| {
                Ok(observed_from_row(row, &mut dates).map(|observed| observations.add(observed)))
            })??;
        let mut statement = self.connection.prepare_cached(concat!(
            part_columns!(),
            " WHERE observation_id = :id ORDER BY id"
        ))?;
        let mut rows = statement.query(by_id)?;
        while let Some(row) = rows.next()? {
            observations.add_part(0, part_from_row(row)?);
        }
        let number = self
            .connection
            .prepare_cached(
                "SELECT observation.id, observation.number, entry.id, entry.number FROM observation
                 LEFT JOIN observation_entry ON observation_id = observation.id AND position = 1
                 LEFT JOIN entry ON entry.id = entry_id WHERE observation.id = :id",
            )?
            .query_row(by_id, |row| match row.get(1)? {
                Some(number) => Ok(numbered('N', row.get(0)?, number)),
                None => Ok(numbered('E', row.get(2)?, row.get(3)?)),
            })?;
        Ok(KeptObservation {
            number,
            observation: observations.get(0),
        })
    }

    /// Returns what observations are called: those of jobs by the largest entry that they rest on.
    pub(super) fn numbers_of_observations(&self) -> Result<HashMap<i64, String>> {
        let mut numbers = HashMap::new();
        let mut statement = self
            .connection
            .prepare_cached("SELECT id, number FROM observation WHERE number IS NOT NULL")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let id: i64 = row.get(0)?;
            numbers.insert(id, numbered('N', id, row.get(1)?));
        }
        let mut statement = self.connection.prepare_cached(
            "SELECT observation_id, entry.id, entry.number FROM observation_entry
             JOIN entry ON entry.id = entry_id WHERE position = 1",
        )?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            numbers.insert(row.get(0)?, numbered('E', row.get(1)?, row.get(2)?));
        }
        Ok(numbers)
    }

    /// Returns what observations are called whose digest isn't theirs; so many are held [`AT_ONCE`].
    pub(super) fn wrong_digests(&self) -> Result<Vec<String>> {
        let (mut wrong, mut after) = (Vec::new(), i64::MIN);
        loop {
            let EvidenceById { ids, observations } = self.evidence_after(after)?;
            let (Some(first), Some(last)) = (ids.first(), ids.last()) else {
                break;
            };
            let mut statement = self.connection.prepare_cached(
                "SELECT digest FROM observation WHERE voided_at IS NULL AND id BETWEEN :first AND :last ORDER BY id",
            )?;
            let between = named_params! { ":first": first, ":last": last };
            let mut digests = statement.query_map(between, |row| row.get(0))?;
            for (id, observation) in ids.iter().zip(observations.iter()) {
                let kept: Option<i64> = digests.next().transpose()?;
                if kept != Some(digest_of(&observation)) {
                    wrong.push(*id);
                }
            }
            after = *last;
        }
        if wrong.is_empty() {
            return Ok(Vec::new());
        }
        let mut numbers = self.numbers_of_observations()?;
        let name = |id: i64| numbers.remove(&id).unwrap_or_else(|| format!("row {id}"));
        Ok(wrong.into_iter().map(name).collect())
    }

    /// Returns the next of the evidence in force, after an id.
    fn evidence_after(&self, after: i64) -> Result<EvidenceById> {
        let mut found = EvidenceById::default();
        let mut statement = self.connection.prepare_cached(concat!(
            observation_columns!(),
            " WHERE voided_at IS NULL AND id > :after ORDER BY id LIMIT :at_once"
        ))?;
        let next = statement.query(named_params! { ":after": after, ":at_once": AT_ONCE })?;
        found.read_observations(next, &mut Dates::default())?;
        let mut statement = self.connection.prepare_cached(concat!(
            part_columns!(),
            " WHERE observation_id BETWEEN :first AND :last ORDER BY observation_id, id"
        ))?;
        let between = named_params! { ":first": found.ids.first(), ":last": found.ids.last() };
        found.read_parts(statement.query(between)?)?;
        Ok(found)
    }

    /// Returns the observations of a job so far, with their entries: those that aren't confirmed first, since a doubt is about
    /// them.
    pub(super) fn lessons_of(&self, job: &Job) -> Result<Vec<Lesson>> {
        let mut found = lessons(&self.finished(job)?);
        for lesson in &mut found {
            let (confirmed, mut open): (Vec<_>, Vec<_>) = lesson
                .entries
                .iter()
                .map(|took| Ok((self.is_confirmed(took.entry)?, *took)))
                .collect::<Result<Vec<_>>>()?
                .into_iter()
                .partition(|(confirmed, _)| *confirmed);
            open.extend(confirmed);
            lesson.entries = open.into_iter().map(|(_, took)| took).collect();
        }
        Ok(found)
    }

    pub(super) fn entry_number(&self, entry: EntryId) -> Result<String> {
        let number: i64 = self
            .connection
            .prepare_cached("SELECT number FROM entry WHERE id = :id")?
            .query_row(named_params! { ":id": entry }, |row| row.get(0))?;
        Ok(numbered('E', entry.0, number))
    }

    /// Returns the row of a notebook that has that number, `N1`; `None`: it isn't such a number.
    pub(super) fn notebook_row(&self, number: &str) -> Result<Option<i64>> {
        let named = number.contains(['N', 'n']);
        let Some((copy, wanted)) = read_number('N', number).filter(|_| named) else {
            return Ok(None);
        };
        let id: Option<i64> = self
            .connection
            .prepare_cached("SELECT id FROM observation WHERE id >> 40 = :copy AND number = :number AND voided_at IS NULL")?
            .query_row(named_params! { ":copy": copy, ":number": wanted }, |row| row.get(0))
            .optional()?;
        match id {
            Some(id) => Ok(Some(id)),
            None => Err(Refusal::new(format!("no row {number} of a notebook"))
                .hint("gritledger rate check")
                .into()),
        }
    }
}

/// Dates that come again and again, read once.
#[derive(Debug, Default)]
pub(super) struct Dates {
    last: Option<(String, NaiveDate)>,
}

impl Dates {
    pub(super) fn get(&mut self, value: ValueRef<'_>) -> Result<NaiveDate> {
        let text = value.as_str()?;
        match &self.last {
            Some((last, date)) if last == text => Ok(*date),
            _ => {
                let date = NaiveDate::column_result(value)?;
                self.last = Some((text.to_owned(), date));
                Ok(date)
            }
        }
    }
}

impl Writing<'_> {
    /// Writes the observations of a job that was just closed, and looks for slips in them; returns how many. What other
    /// jobs took keeps its status: no closing changes what is thought of another job's records.
    pub(super) fn write_evidence(&self, job: &Job) -> Result<usize> {
        let found = self.write_lessons(job)?;
        self.rejudge(Rejudge::Job(&job.number))?;
        Ok(found)
    }

    /// Writes the observations of a closed job again, after its record was mended, and looks again for slips in what came
    /// after.
    pub(super) fn rewrite_evidence(&self, job: &Job) -> Result<()> {
        self.rewrite_evidence_of(&[job])
    }

    /// Does so for several jobs, and looks for slips once.
    pub(super) fn rewrite_evidence_of(&self, jobs: &[&Job]) -> Result<()> {
        let mut earliest: Option<NaiveDate> = None;
        for job in jobs {
            self.write_lessons(job)?;
            let finished = self.finished_on_of(job)?;
            earliest = Some(earliest.map_or(finished, |earliest| earliest.min(finished)));
        }
        earliest.map_or(Ok(()), |earliest| self.rejudge_since(earliest))
    }

    /// Writes the observations of a job in place of those that it had; returns how many.
    fn write_lessons(&self, job: &Job) -> Result<usize> {
        self.clear_evidence(job.id)?;
        let found = self.lessons_of(job)?;
        for lesson in &found {
            let mut observation = lesson.observation.clone();
            if self.is_settled(lesson)? {
                observation.status = Status::Confirmed;
            }
            self.add_observation(NewObservation {
                observation: &observation,
                source: Source::Job {
                    job: job.id,
                    entries: &lesson.entries,
                },
            })?;
        }
        Ok(found.len())
    }

    pub(super) fn clear_evidence(&self, job: JobId) -> Result<()> {
        self.connection
            .prepare_cached("DELETE FROM observation WHERE job_id = :job")?
            .execute(named_params! { ":job": job })?;
        Ok(())
    }

    pub(super) fn add_observation(&self, new: NewObservation<'_>) -> Result<()> {
        let NewObservation {
            observation,
            source,
        } = new;
        let id = self.new_id("observation")?;
        let (job, number, area, edge) = match source {
            Source::Job { job, .. } => (Some(job), None, None, None),
            Source::Notebook { area, edge } => {
                (None, Some(self.new_number("observation")?), area, edge)
            }
        };
        self.connection
            .prepare_cached(
                "INSERT INTO observation (id, kind, job_id, job_label, finished_on, recorded_at, quantity_micro, number,
                                          word, digest)
                 VALUES (:id, :kind, :job, :label, :finished_on, :now, :quantity, :number, :word, :digest)",
            )?
            .execute(named_params! {
                ":id": id, ":kind": observation.kind, ":job": job, ":label": &*observation.job,
                ":finished_on": observation.finished_on, ":now": self.now(), ":quantity": Micro(observation.quantity),
                ":number": number, ":word": observation.status, ":digest": digest_of(observation),
            })?;
        for part in &observation.parts {
            self.connection
                .prepare_cached(
                    "INSERT INTO observation_part (id, observation_id, operation_id, room_label, floor_condition, species,
                                                   driver_micro, passes, area_micro, edge_micro)
                     VALUES (:id, :observation, :operation, :room, :condition, :species, :driver, :passes, :area, :edge)",
                )?
                .execute(named_params! {
                    ":id": self.new_id("observation_part")?, ":observation": id, ":operation": part.operation,
                    ":room": &*part.room, ":condition": part.class.condition, ":species": part.class.species,
                    ":driver": Micro(part.driver), ":passes": part.passes, ":area": area.map(Micro),
                    ":edge": edge.map(Micro),
                })?;
        }
        match source {
            Source::Job { entries, .. } => self.add_entries(id, entries),
            Source::Notebook { .. } => Ok(()),
        }
    }

    /// Notes the entries that an observation rests on, in their order.
    fn add_entries(&self, observation: i64, entries: &[Took]) -> Result<()> {
        for (place, took) in entries.iter().enumerate() {
            self.connection
                .prepare_cached(
                    "INSERT INTO observation_entry (observation_id, position, entry_id)
                     VALUES (:observation, :position, :entry)",
                )?
                .execute(named_params! {
                    ":observation": observation, ":position": i64::try_from(place)? + 1, ":entry": took.entry,
                })?;
        }
        Ok(())
    }

    /// Takes a row of a notebook back.
    ///
    /// # Errors
    /// Refuses a row that isn't there, and one without a reason.
    pub fn void_notebook_row(&self, number: &str, reason: &str) -> Result<()> {
        if reason.trim().is_empty() {
            refuse!("say why {number} is taken back");
        }
        let Some(row) = self.notebook_row(number)? else {
            return Err(Refusal::new(format!(
                "`{number}` is not the number of a row of a notebook"
            ))
            .hint("gritledger rate check")
            .into());
        };
        self.connection.execute(
            "UPDATE observation SET voided_at = :now, void_reason = :reason WHERE id = :id",
            named_params! { ":now": self.now(), ":reason": reason.trim(), ":id": row },
        )?;
        self.rejudge_since(self.finished_on(row)?)?;
        self.log(&format!(
            "Took back {number} of the notebook: {}.",
            reason.trim()
        ))
    }

    pub(super) fn finished_on(&self, observation: i64) -> Result<NaiveDate> {
        Ok(self.connection.query_row(
            "SELECT finished_on FROM observation WHERE id = :id",
            named_params! { ":id": observation },
            |row| row.get(0),
        )?)
    }
}
