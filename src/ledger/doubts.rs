//! What looks like a slip in what finished rooms took, and its owner's answer.

use std::collections::BTreeSet;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::evidence::EvidenceById;
use super::{Job, JobState, Ledger, Refusal, Writing, refuse};
use crate::money::Decimal;
use crate::trade::evidence::{Lesson, Took};
use crate::trade::rates::backtest::{Predicted, Rejudge, backtest};
use crate::trade::rates::check::Judgement;
use crate::trade::rates::{Observation, Observations, Rates};
use crate::trade::{EntryId, JobId};

/// The history as it would have been predicted, record by record.
#[derive(Clone, Debug)]
pub struct Backtest {
    /// The evidence in force, doubted observations too.
    pub observations: Observations,
    /// What its owner calls each of them.
    pub numbers: Vec<String>,
    /// What was predicted of each.
    pub predicted: Vec<Predicted>,
}

impl Ledger {
    /// Predicts every finished record from the jobs before it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn backtest(&self) -> Result<Backtest> {
        let EvidenceById {
            ids,
            mut observations,
        } = self.evidence_by_id()?;
        let mut known = self.numbers_of_observations()?;
        let number = |id: &i64| known.remove(id).unwrap_or_default();
        let mut numbers: Vec<String> = ids.iter().map(number).collect();
        let mut predicted = backtest(&self.basis()?, &observations, Rejudge::Nothing);
        self.look_at_open_jobs(&mut observations, &mut numbers, &mut predicted)?;
        Ok(Backtest {
            observations,
            numbers,
            predicted,
        })
    }

    /// Adds what looks like a slip in jobs that aren't closed yet.
    fn look_at_open_jobs(
        &self,
        observations: &mut Observations,
        numbers: &mut Vec<String>,
        predicted: &mut Vec<Predicted>,
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
                let number = self.entry_number(lesson.entries[0].entry)?;
                let place = observations.len();
                predicted.push(Predicted::unfinished(place, &lesson.observation, judgement));
                observations.push(&lesson.observation);
                numbers.push(number);
            }
        }
        Ok(())
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
            .find(|lesson| lesson.entries.iter().any(|took| took.entry == entry));
        let Some(lesson) = about.filter(|_| !job.is_closed()) else {
            return Ok(None);
        };
        let judgement = self.doubt_so_far(&self.rates()?, &lesson)?;
        Ok(judgement.map(|judgement| (lesson.observation, judgement)))
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

    /// Tells whether what its owner confirmed settles a doubt: what was logged beside it is usual.
    pub(super) fn is_settled(&self, lesson: &Lesson) -> Result<bool> {
        let mut rest = Decimal::ZERO;
        let mut is_any_confirmed = false;
        for Took { entry, quantity } in &lesson.entries {
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

    pub(super) fn is_confirmed(&self, entry: EntryId) -> Result<bool> {
        Ok(self
            .connection
            .prepare_cached("SELECT 1 FROM entry_confirmation WHERE entry_id = :entry")?
            .exists(named_params! { ":entry": entry })?)
    }

    /// Returns the entries behind what looks like a slip on a job that isn't closed, without those that were confirmed.
    fn doubted_so_far(&self, job: &Job) -> Result<BTreeSet<EntryId>> {
        let (rates, mut doubted) = (self.rates()?, BTreeSet::new());
        for lesson in self.lessons_of(job)? {
            if self.doubt_so_far(&rates, &lesson)?.is_some() {
                for took in &lesson.entries {
                    if !self.is_confirmed(took.entry)? {
                        doubted.insert(took.entry);
                    }
                }
            }
        }
        Ok(doubted)
    }

    /// Returns the same of a closed job: what its evidence sets aside.
    fn doubted_of_closed(&self, job: JobId) -> Result<BTreeSet<EntryId>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT DISTINCT entry_id FROM observation
             JOIN observation_entry ON observation_id = observation.id
             WHERE job_id = :job AND word = 'doubted' AND entry_id NOT IN (SELECT entry_id FROM entry_confirmation)
             ORDER BY entry_id",
        )?;
        let entries = statement.query_map(named_params! { ":job": job }, |row| row.get(0))?;
        Ok(entries.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the job that an entry is evidence of; `None`: it is no evidence.
    fn job_of_evidence(&self, entry: EntryId) -> Result<Option<JobId>> {
        Ok(self
            .connection
            .prepare_cached(
                "SELECT job_id FROM entry
                 WHERE id = :entry AND kind IN ('use', 'hours') AND on_the_road = 0 AND job_id IS NOT NULL",
            )?
            .query_row(named_params! { ":entry": entry }, |row| row.get(0))
            .optional()?)
    }

    /// Returns how many finished records wait for their owner's answer.
    pub(super) fn doubted(&self) -> Result<usize> {
        let count: i64 = self
            .connection
            .prepare_cached(
                "SELECT COUNT(*) FROM observation WHERE word = 'doubted' AND voided_at IS NULL",
            )?
            .query_row([], |row| row.get(0))?;
        Ok(usize::try_from(count)?)
    }
}

impl Writing<'_> {
    /// Looks for slips among what was finished on a day or later, and sets them aside.
    pub(super) fn rejudge_since(&self, day: NaiveDate) -> Result<()> {
        self.rejudge(Rejudge::Since(day))
    }

    pub(super) fn rejudge(&self, which: Rejudge<'_>) -> Result<()> {
        let EvidenceById { ids, observations } = self.evidence_by_id()?;
        for predicted in backtest(&self.basis()?, &observations, which) {
            if observations.at(predicted.place).status != predicted.status {
                self.connection
                    .prepare_cached("UPDATE observation SET word = :word WHERE id = :id")?
                    .execute(
                        named_params! { ":word": predicted.status, ":id": ids[predicted.place] },
                    )?;
            }
        }
        Ok(())
    }

    /// Notes that everything that looks like a slip on a job is right; returns its entries.
    ///
    /// # Errors
    /// Refuses a job of which nothing looks like a slip.
    pub fn confirm_job(&self, job: &Job) -> Result<Vec<String>> {
        let doubted = match job.is_closed() {
            true => self.doubted_of_closed(job.id)?,
            false => self.doubted_so_far(job)?,
        };
        if doubted.is_empty() {
            return Err(
                Refusal::new(format!("nothing on {} looks like a slip", job.number))
                    .hint("gritledger rate check")
                    .into(),
            );
        }
        let numbers = doubted.iter().map(|entry| self.entry_number(*entry));
        let numbers: Vec<String> = numbers.collect::<Result<_>>()?;
        numbers.iter().try_for_each(|number| self.confirm(number))?;
        Ok(numbers)
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
            self.rejudge_since(self.finished_on(row)?)?; // What is predicted of later records may change with it.
        } else {
            let entry = self.entry(number)?;
            if !self.is_live(entry)? {
                refuse!("{number} was voided");
            }
            let Some(job) = self.job_of_evidence(entry)? else {
                refuse!(
                    "{number} is neither a use nor hours of work on a job: nothing is learned from it"
                );
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
}
