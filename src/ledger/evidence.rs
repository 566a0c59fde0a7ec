//! Evidence as it is kept, and the rates learned from it.
//!
//! A fit is kept beside the digest of what it was made from: the observations in force (a sum of their own digests, in
//! whatever order they came), the book, the trust in it, the operations and the dated changes. While the digest is the
//! same the fit is read, else it is made again, always from the same start: the answer never depends on the history of
//! commands.

use std::collections::{HashMap, HashSet};
use std::hash::Hasher;
use std::sync::Arc;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::types::{FromSql, ValueRef};
use rusqlite::{OptionalExtension, named_params};
use siphasher::sip::SipHasher13;

use super::columns::Micro;
use super::{Job, JobState, Ledger, Refusal, Writing, kept, numbered, read_number, refuse};
use crate::money::Decimal;
use crate::trade::evidence::{Lesson, lessons};
use crate::trade::operation::Operation;
use crate::trade::rates::check::{Foretold, Judgement, Words, look_back};
use crate::trade::rates::{
    Basis, BookRate, Change, Fit, FloorClass, MODEL, Observation, ObservedPart, RateKind, Rates,
    Trust, Word, learn,
};
use crate::trade::{EntryId, FloorCondition, JobId, OperationId, Species};

/// A row to be added to the evidence.
#[derive(Clone, Debug)]
pub(super) struct NewObservation<'a> {
    /// The job, and the entries it rests on; `None`: a notebook.
    pub(super) job: Option<(JobId, &'a [(EntryId, Decimal)])>,
    pub(super) observation: &'a Observation,
    /// Area and edge as a notebook gave them, for its one part.
    pub(super) measures: (Option<Decimal>, Option<Decimal>),
}

/// An observation as the ledger keeps it.
#[derive(Clone, Debug)]
pub struct KeptObservation {
    /// What its owner calls it: its largest entry's number, or that of a row of a notebook.
    pub number: String,
    /// What was observed.
    pub observation: Observation,
}

/// The history as it was foretold, record by record.
#[derive(Clone, Debug)]
pub struct LookBack {
    /// The evidence in force, doubted observations too.
    pub observations: Vec<Observation>,
    /// What its owner calls each of them.
    pub numbers: Vec<String>,
    /// What was foretold of each.
    pub foretold: Vec<Foretold>,
}

/// The digest of what a fit is made from.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Digest(String);

impl Ledger {
    /// Returns book and experience together, as quotes use them.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rates(&self) -> Result<Rates> {
        let basis = self.basis()?;
        let digest = self.digest(&basis)?;
        // One that can't be read is made again like one that isn't there; `check` tells of it.
        let kept = self.kept_fit(&digest)?.and_then(Result::ok);
        if let Some(rates) = kept.and_then(|fit| Rates::from_fit(basis.clone(), fit)) {
            return Ok(rates);
        }
        let rates = learn(basis, &self.observations()?);
        self.keep_rates(&digest, &rates)?;
        Ok(rates)
    }

    /// Returns what observations are called whose digest isn't theirs.
    pub(super) fn wrong_digests(&self) -> Result<Vec<String>> {
        let (ids, observations) = self.observations_by_id()?;
        let numbers = self.numbers_of_observations()?;
        let mut statement = self
            .connection
            .prepare_cached("SELECT digest FROM observation WHERE id = :id")?;
        let mut wrong = Vec::new();
        for (id, observation) in ids.iter().zip(&observations) {
            let kept: i64 = statement.query_row(named_params! { ":id": id }, |row| row.get(0))?;
            if kept != digest_of(observation) {
                let number = numbers.get(id).cloned();
                wrong.push(number.unwrap_or_else(|| format!("row {id}")));
            }
        }
        Ok(wrong)
    }

    /// Tells whether the digest of the evidence in force is the sum of the digests of its observations.
    pub(super) fn evidence_digest_holds(&self) -> Result<bool> {
        let sum = self
            .connection
            .prepare_cached(
                "SELECT 1 FROM evidence_digest AS kept
                 JOIN (SELECT COUNT(*) AS count, COALESCE(SUM(digest & 0xffffffff), 0) AS low,
                              COALESCE(SUM(digest >> 32), 0) AS high
                       FROM observation WHERE word <> 'doubted' AND voided_at IS NULL) AS summed
                      ON summed.count = kept.count AND summed.low = kept.low AND summed.high = kept.high",
            )?
            .exists([])?;
        Ok(sum)
    }

    /// Tells whether the rates that are kept, if any are in force, are what evidence and book give.
    ///
    /// # Errors
    /// Refuses what can't be read any more.
    pub(super) fn kept_rates_hold(&self) -> Result<bool> {
        let basis = self.basis()?;
        let Some(kept) = self.kept_fit(&self.digest(&basis)?)?.transpose()? else {
            return Ok(true);
        };
        Ok(kept == *learn(basis, &self.observations()?).fit())
    }

    /// Returns everything that rates are learned by, beside the rooms.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn basis(&self) -> Result<Basis> {
        Ok(Basis {
            book: self.book()?,
            trust: self.settings()?.trust(),
            operations: self.operations_by_id()?,
            changes: self.rate_changes()?,
        })
    }

    fn digest(&self, basis: &Basis) -> Result<Digest> {
        let (count, low, high): (i64, i64, i64) = self
            .connection
            .prepare_cached("SELECT count, low, high FROM evidence_digest")?
            .query_row([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        let basis = digest_of_basis(MODEL, basis);
        Ok(Digest(format!("{basis:016x} {count} {low} {high}")))
    }

    fn kept_fit(&self, digest: &Digest) -> Result<Option<Result<Fit, Refusal>>> {
        let kept: Option<String> = self
            .connection
            .prepare_cached("SELECT fit FROM rate_fit WHERE digest = :digest")?
            .query_row(named_params! { ":digest": digest.0 }, |row| row.get(0))
            .optional()?;
        Ok(kept.map(|text| kept::read(&text, "the rates")))
    }

    /// Keeps a fit; where the file can't be written just now, it is made again the next time.
    fn keep_rates(&self, digest: &Digest, rates: &Rates) -> Result<()> {
        let fit = kept::text(rates.fit())?;
        let kept = self
            .connection
            .prepare_cached(
                "INSERT OR REPLACE INTO rate_fit (id, digest, fit) VALUES (1, :digest, :fit)",
            )?
            .execute(named_params! { ":digest": digest.0, ":fit": fit });
        match kept.map_err(|error| (error.sqlite_error_code(), error)) {
            Ok(_)
            | Err((
                Some(
                    rusqlite::ErrorCode::DatabaseBusy
                    | rusqlite::ErrorCode::DatabaseLocked
                    | rusqlite::ErrorCode::ReadOnly,
                ),
                _,
            )) => Ok(()),
            Err((_, error)) => Err(error.into()),
        }
    }

    /// Returns what finished rooms took, those set aside too; in no order that means anything.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn observations(&self) -> Result<Vec<Observation>> {
        let (_, observations) = self.observations_by_id()?;
        Ok(observations)
    }

    /// Returns what finished rooms took, with what its owner calls it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn kept_observations(&self) -> Result<Vec<KeptObservation>> {
        let (ids, observations) = self.observations_by_id()?;
        let numbers = self.numbers_of_observations()?;
        Ok(ids
            .into_iter()
            .zip(observations)
            .map(|(id, observation)| KeptObservation {
                number: numbers.get(&id).cloned().unwrap_or_default(),
                observation,
            })
            .collect())
    }

    /// Returns ids and observations, by id: two scans side by side, which is what a long history takes least time by.
    fn observations_by_id(&self) -> Result<(Vec<i64>, Vec<Observation>)> {
        let (mut ids, mut observations) = (Vec::new(), Vec::new());
        let mut labels = Labels::default();
        let mut dates = Dates::default();
        let mut statement = self.connection.prepare_cached(
            "SELECT id, kind, job_id, job_label, finished_on, quantity_micro, word FROM observation
             WHERE voided_at IS NULL ORDER BY id",
        )?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let quantity: Micro = row.get(5)?;
            ids.push(row.get(0)?);
            observations.push(Observation {
                kind: row.get::<_, RateKind>(1)?,
                from_notebook: row.get_ref(2)? == ValueRef::Null,
                job: labels.get(row.get_ref(3)?.as_str()?),
                finished_on: dates.get(row.get_ref(4)?)?,
                quantity: quantity.0,
                parts: Vec::with_capacity(1),
                word: row.get(6)?,
            });
        }
        self.read_parts(&ids, &mut observations)?;
        Ok((ids, observations))
    }

    fn read_parts(&self, ids: &[i64], observations: &mut [Observation]) -> Result<()> {
        let mut labels = Labels::default();
        let mut statement = self.connection.prepare_cached(
            "SELECT observation_id, operation_id, room_label, floor_condition, species, driver_micro, passes
             FROM observation_part ORDER BY id",
        )?;
        let mut rows = statement.query([])?;
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
            let driver: Micro = row.get(5)?;
            observations[at].parts.push(ObservedPart {
                operation: row.get(1)?,
                room: labels.get(row.get_ref(2)?.as_str()?),
                class: FloorClass {
                    condition: row.get(3)?,
                    species: row.get(4)?,
                },
                driver: driver.0,
                passes: row.get(6)?,
            });
        }
        Ok(())
    }

    /// Returns what observations are called: those of jobs by the largest entry that they rest on.
    fn numbers_of_observations(&self) -> Result<HashMap<i64, String>> {
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

    /// Foretells every finished record from the jobs before it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn look_back(&self) -> Result<LookBack> {
        let (mut observations, mut numbers): (Vec<Observation>, Vec<String>) = self
            .kept_observations()?
            .into_iter()
            .map(|kept| (kept.observation, kept.number))
            .unzip();
        let mut foretold = look_back(&self.basis()?, &observations, Words::Kept);
        self.look_at_open_jobs(&mut observations, &mut numbers, &mut foretold)?;
        Ok(LookBack {
            observations,
            numbers,
            foretold,
        })
    }

    /// Adds what looks like a slip in jobs that aren't closed yet.
    fn look_at_open_jobs(
        &self,
        observations: &mut Vec<Observation>,
        numbers: &mut Vec<String>,
        foretold: &mut Vec<Foretold>,
    ) -> Result<()> {
        let open = self
            .jobs_not_closed()?
            .into_iter()
            .filter(|job| job.state == JobState::Open);
        let rates = self.rates()?;
        for job in open {
            for lesson in self.lessons_of(&job)? {
                let Some(judgement) = self.doubt_so_far(&rates, &lesson)? else {
                    continue;
                };
                let number = self.entry_number(lesson.entries[0].0)?;
                let place = observations.len();
                foretold.push(Foretold::unfinished(place, &lesson.observation, judgement));
                observations.push(lesson.observation);
                numbers.push(number);
            }
        }
        Ok(())
    }

    /// Returns what a job teaches so far; entries that their owner hasn't confirmed stand first, because a doubt is theirs.
    fn lessons_of(&self, job: &Job) -> Result<Vec<Lesson>> {
        let mut found = lessons(&self.finished(job)?);
        for lesson in &mut found {
            let (confirmed, mut open): (Vec<_>, Vec<_>) = lesson
                .entries
                .iter()
                .map(|entry| Ok((self.is_confirmed(entry.0)?, *entry)))
                .collect::<Result<Vec<_>>>()?
                .into_iter()
                .partition(|(confirmed, _)| *confirmed);
            open.extend(confirmed);
            lesson.entries = open.into_iter().map(|(_, entry)| entry).collect();
        }
        Ok(found)
    }

    /// Returns why what was logged so far looks like a slip; `None`: it doesn't, or its owner said that it is right.
    fn doubt_so_far(&self, rates: &Rates, lesson: &Lesson) -> Result<Option<Judgement>> {
        let judgement = rates.judge(&lesson.observation, true);
        let doubted = judgement.filter(|judgement| judgement.slip.is_some());
        if doubted.is_none() || self.is_settled(lesson)? {
            return Ok(None);
        }
        Ok(doubted)
    }

    /// Returns what speaks against an entry that was just logged, with all that was logged for the same work.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn doubt_about(
        &self,
        job: &Job,
        entry: EntryId,
    ) -> Result<Option<(Observation, Judgement)>> {
        let about = self
            .lessons_of(job)?
            .into_iter()
            .find(|lesson| lesson.entries.iter().any(|(id, _)| *id == entry));
        let Some(lesson) = about.filter(|_| !job.is_closed()) else {
            return Ok(None);
        };
        let judgement = self.doubt_so_far(&self.rates()?, &lesson)?;
        Ok(judgement.map(|judgement| (lesson.observation, judgement)))
    }

    pub(super) fn entry_number(&self, entry: EntryId) -> Result<String> {
        let number: i64 = self
            .connection
            .prepare_cached("SELECT number FROM entry WHERE id = :id")?
            .query_row(named_params! { ":id": entry }, |row| row.get(0))?;
        Ok(numbered('E', entry.0, number))
    }

    /// Returns the job that an entry teaches something of; `None`: nothing is learned from it.
    fn job_of_evidence(&self, entry: EntryId) -> Result<Option<JobId>> {
        Ok(self
            .connection
            .prepare_cached(
                "SELECT job_id FROM entry WHERE id = :entry AND kind IN ('use', 'hours')",
            )?
            .query_row(named_params! { ":entry": entry }, |row| row.get(0))
            .optional()?)
    }

    fn is_confirmed(&self, entry: EntryId) -> Result<bool> {
        Ok(self
            .connection
            .prepare_cached("SELECT 1 FROM entry_confirmation WHERE entry_id = :entry")?
            .exists(named_params! { ":entry": entry })?)
    }

    /// Tells whether what its owner confirmed settles a doubt: what was logged beside it is nothing to wonder at.
    fn is_settled(&self, lesson: &Lesson) -> Result<bool> {
        let mut rest = Decimal::ZERO;
        let mut is_any_confirmed = false;
        for (entry, quantity) in &lesson.entries {
            if self.is_confirmed(*entry)? {
                is_any_confirmed = true;
            } else {
                rest += quantity;
            }
        }
        if !is_any_confirmed || rest.is_zero() {
            return Ok(is_any_confirmed);
        }
        let beside = Observation {
            quantity: rest,
            ..lesson.observation.clone()
        };
        let judgement = self.rates()?.judge(&beside, true);
        Ok(judgement.is_none_or(|judgement| judgement.slip.is_none()))
    }

    /// Returns how many finished records wait for their owner's word.
    pub(super) fn doubted(&self) -> Result<usize> {
        let count: i64 = self
            .connection
            .prepare_cached(
                "SELECT COUNT(*) FROM observation WHERE word = 'doubted' AND voided_at IS NULL",
            )?
            .query_row([], |row| row.get(0))?;
        Ok(usize::try_from(count)?)
    }

    /// Returns the changes that the owner has dated, in order.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn rate_changes(&self) -> Result<Vec<Change>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT operation_id, kind, since, note FROM rate_change ORDER BY since, id",
        )?;
        let changes = statement.query_map([], |row| {
            Ok(Change {
                operation: row.get(0)?,
                kind: row.get(1)?,
                since: row.get(2)?,
                note: row.get(3)?,
            })
        })?;
        Ok(changes.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the row of a notebook that has that number, `N1`; `None`: it isn't such a number.
    fn notebook_row(&self, number: &str) -> Result<Option<i64>> {
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

/// Texts that come again and again, kept once.
#[derive(Debug, Default)]
struct Labels {
    known: HashSet<Arc<str>>,
    last: Option<Arc<str>>,
}

impl Labels {
    fn get(&mut self, text: &str) -> Arc<str> {
        if let Some(last) = self.last.as_ref().filter(|last| &***last == text) {
            return last.clone();
        }
        let label = match self.known.get(text) {
            Some(known) => known.clone(),
            None => {
                let label: Arc<str> = text.into();
                self.known.insert(label.clone());
                label
            }
        };
        self.last = Some(label.clone());
        label
    }
}

/// Dates that come again and again, read once.
#[derive(Debug, Default)]
struct Dates {
    last: Option<(String, NaiveDate)>,
}

impl Dates {
    fn get(&mut self, value: ValueRef<'_>) -> Result<NaiveDate> {
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

/// A digest of texts, one after the other.
#[derive(Default)]
struct Hashed(SipHasher13);

impl Hashed {
    fn text(&mut self, text: &str) {
        self.0.write(text.as_bytes());
        self.0.write(&[0]);
    }

    fn number(&mut self, number: impl Into<Decimal>) {
        self.text(&number.into().normalize().to_string());
    }

    /// Takes a text that may not be there; no text is like it.
    fn maybe(&mut self, text: Option<&str>) {
        self.text(text.unwrap_or("\u{1}"));
    }
}

/// Returns the digest of an observation: of everything that rates are learned from.
fn digest_of(observation: &Observation) -> i64 {
    let mut hashed = Hashed::default();
    hashed.text(observation.kind.as_str());
    hashed.text(&observation.job);
    hashed.text(if observation.from_notebook {
        "notebook"
    } else {
        "job"
    });
    hashed.text(&observation.finished_on.to_string());
    hashed.number(observation.quantity);
    for part in &observation.parts {
        hashed.text(&part.room);
        hashed.text(part.class.condition.as_str());
        hashed.text(part.class.species.as_str());
        hashed.number(part.operation.0);
        hashed.number(part.driver);
        hashed.number(part.passes);
    }
    hashed.0.finish().cast_signed()
}

/// Returns the digest of a model and what it learns by: of every field that a fit can depend on, by name. What is left
/// out (what things are called, cost and are documented by) makes no fit another one.
fn digest_of_basis(model: u32, basis: &Basis) -> u64 {
    let Basis {
        book,
        trust,
        operations,
        changes,
    } = basis;
    let Trust {
        discs,
        finish,
        hours,
    } = *trust;
    let mut hashed = Hashed::default();
    hashed.number(model);
    for trust in [discs, finish, hours] {
        hashed.number(trust);
    }
    for row in book.rows() {
        let BookRate {
            operation,
            condition,
            species,
            kind,
            driver_per_item,
            fixed,
            source: _,
        } = row;
        hashed.text("rate");
        hashed.number(operation.0);
        hashed.maybe(condition.map(FloorCondition::as_str));
        hashed.maybe(species.map(Species::as_str));
        hashed.text(kind.as_str());
        hashed.number(*driver_per_item);
        hashed.maybe(fixed.map(|fixed| fixed.normalize().to_string()).as_deref());
    }
    for operation in operations.values() {
        let Operation {
            id,
            name: _,
            task,
            driver,
            item,
            set_size,
            family,
            splits,
            machine: _,
            grit: _,
            harden_hours: _,
            answers: _,
            hazards: _,
            description: _,
            source: _,
        } = operation;
        hashed.text("operation");
        hashed.number(id.0);
        hashed.number(task.id.0);
        hashed.text(driver.as_str());
        hashed.maybe(item.as_ref().map(|item| item.unit.as_str()));
        hashed.number(set_size.unwrap_or_default());
        hashed.text(family);
        hashed.text(splits.as_str());
    }
    for change in changes {
        let Change {
            operation,
            kind,
            since,
            note: _,
        } = change;
        hashed.text("change");
        hashed.number(operation.0);
        hashed.text(kind.as_str());
        hashed.text(&since.to_string());
    }
    hashed.0.finish()
}

impl Writing<'_> {
    /// Writes what a job teaches that was just closed, and looks for slips in it; returns how many observations. What other
    /// jobs took keeps its word: no closing changes what is thought of another job's records.
    pub(super) fn write_evidence(&self, job: &Job) -> Result<usize> {
        let found = self.write_lessons(job)?;
        self.give_words(Words::Of(&job.number))?;
        Ok(found)
    }

    /// Writes what a closed job teaches again, after its record was mended, and looks again for slips in what came after.
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
        earliest.map_or(Ok(()), |earliest| self.doubt_from(earliest))
    }

    /// Writes what a closed job teaches, in place of what it taught before; returns how many observations.
    fn write_lessons(&self, job: &Job) -> Result<usize> {
        self.clear_evidence(job.id)?;
        let found = self.lessons_of(job)?;
        for lesson in &found {
            let mut observation = lesson.observation.clone();
            if self.is_settled(lesson)? {
                observation.word = Word::Confirmed;
            }
            self.add_observation(&NewObservation {
                job: Some((job.id, &lesson.entries)),
                observation: &observation,
                measures: (None, None),
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

    /// Looks for slips among what was finished on a day or later, and sets them aside.
    pub(super) fn doubt_from(&self, day: NaiveDate) -> Result<()> {
        self.give_words(Words::Anew(day))
    }

    fn give_words(&self, words: Words<'_>) -> Result<()> {
        let (ids, observations) = self.observations_by_id()?;
        for foretold in look_back(&self.basis()?, &observations, words) {
            if observations[foretold.place].word != foretold.word {
                self.connection
                    .prepare_cached("UPDATE observation SET word = :word WHERE id = :id")?
                    .execute(
                        named_params! { ":word": foretold.word, ":id": ids[foretold.place] },
                    )?;
            }
        }
        Ok(())
    }

    pub(super) fn add_observation(&self, new: &NewObservation<'_>) -> Result<()> {
        let NewObservation {
            job,
            observation,
            measures: (area, edge),
        } = new;
        let id = self.new_id("observation")?;
        let number = match job {
            Some(_) => None,
            None => Some(self.new_number("observation")?),
        };
        self.connection
            .prepare_cached(
                "INSERT INTO observation (id, kind, job_id, job_label, finished_on, recorded_at, quantity_micro, number,
                                          word, digest)
                 VALUES (:id, :kind, :job, :label, :finished_on, :now, :quantity, :number, :word, :digest)",
            )?
            .execute(named_params! {
                ":id": id, ":kind": observation.kind, ":job": job.map(|(job, _)| job), ":label": &*observation.job,
                ":finished_on": observation.finished_on, ":now": self.now(), ":quantity": Micro(observation.quantity),
                ":number": number, ":word": observation.word, ":digest": digest_of(observation),
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
        for (place, (entry, _)) in job
            .iter()
            .flat_map(|(_, entries)| entries.iter())
            .enumerate()
        {
            self.connection
                .prepare_cached(
                    "INSERT INTO observation_entry (observation_id, position, entry_id)
                     VALUES (:observation, :position, :entry)",
                )?
                .execute(named_params! {
                    ":observation": id, ":position": i64::try_from(place)? + 1, ":entry": entry,
                })?;
        }
        Ok(())
    }

    /// Notes that what looked like a slip is right: `E12`, or `N12` for a row of a notebook.
    ///
    /// # Errors
    /// Refuses a number that isn't there, and what is confirmed already.
    pub fn confirm(&self, number: &str) -> Result<()> {
        if let Some(row) = self.notebook_row(number)? {
            let changed = self.connection.execute(
                "UPDATE observation SET word = 'confirmed' WHERE id = :id AND word <> 'confirmed'",
                named_params! { ":id": row },
            )?;
            if changed == 0 {
                refuse!("{number} is confirmed already");
            }
            self.doubt_from(self.finished_on(row)?)?; // What is foretold of later records may change with it.
        } else {
            let entry = self.entry(number)?;
            if !self.is_live(entry)? {
                refuse!("{number} was voided");
            }
            let Some(job) = self.job_of_evidence(entry)? else {
                refuse!("{number} is neither a use nor hours: nothing is learned from it");
            };
            if self.is_confirmed(entry)? {
                refuse!("{number} is confirmed already");
            }
            self.connection.execute(
                "INSERT INTO entry_confirmation (entry_id, recorded_at) VALUES (:entry, :now)",
                named_params! { ":entry": entry, ":now": self.now() },
            )?;
            let job = self.job_by_id(job)?;
            if job.is_closed() {
                self.rewrite_evidence(&job)?;
            }
        }
        self.log(&format!("Confirmed {number}: it is right as it stands."))
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
            refuse!("`{number}` is not the number of a row of a notebook");
        };
        self.connection.execute(
            "UPDATE observation SET voided_at = :now, void_reason = :reason WHERE id = :id",
            named_params! { ":now": self.now(), ":reason": reason.trim(), ":id": row },
        )?;
        self.doubt_from(self.finished_on(row)?)?;
        self.log(&format!(
            "Took back {number} of the notebook: {}.",
            reason.trim()
        ))
    }

    fn finished_on(&self, observation: i64) -> Result<NaiveDate> {
        Ok(self.connection.query_row(
            "SELECT finished_on FROM observation WHERE id = :id",
            named_params! { ":id": observation },
            |row| row.get(0),
        )?)
    }

    /// Dates a change of supplier or technique.
    ///
    /// # Errors
    /// Refuses a day after today, no note, and a change that is there already.
    pub fn change_rate(&self, change: &Change) -> Result<()> {
        self.refuse_future(change.since)?;
        if change.note.trim().is_empty() {
            refuse!("say what was changed");
        }
        let there = self.rate_changes()?.iter().any(|known| {
            (known.operation, known.kind, known.since)
                == (change.operation, change.kind, change.since)
        });
        let name = self.operation_name(change.operation)?;
        if there {
            refuse!("a change of {name} on {} is noted already", change.since);
        }
        self.connection.execute(
            "INSERT INTO rate_change (id, operation_id, kind, since, note, recorded_at)
             VALUES (:id, :operation, :kind, :since, :note, :now)",
            named_params! {
                ":id": self.new_id("rate_change")?, ":operation": change.operation, ":kind": change.kind,
                ":since": change.since, ":note": change.note.trim(), ":now": self.now(),
            },
        )?;
        self.log(&format!(
            "{name} is learned anew since {}: {}.",
            change.since,
            change.note.trim()
        ))
    }

    fn operation_name(&self, operation: OperationId) -> Result<String> {
        Ok(self
            .operations_by_id()?
            .get(&operation)
            .map_or_else(String::new, |operation| operation.name.clone()))
    }
}
