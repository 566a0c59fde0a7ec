//! Does the evidence say what the day book says, and is what is kept of the rates what it gives?

use anyhow::Result;

use super::super::columns::Micro;
use super::super::numbered;
use super::{Ledger, Problems, called};

/// Rows (id, number of an entry) that contradict another, and what is wrong.
const CONTRADICTIONS: &[(&str, &str)] = &[
    (
        "it is evidence of another job than its own",
        "SELECT entry.id, entry.number FROM observation_entry
         JOIN observation ON observation.id = observation_id JOIN entry ON entry.id = entry_id
         WHERE observation.job_id IS NOT entry.job_id",
    ),
    (
        "it was taken back, and is evidence still",
        "SELECT entry.id, entry.number FROM observation_entry JOIN entry ON entry.id = entry_id
         JOIN entry AS void ON void.voids_id = entry.id",
    ),
    (
        "it is confirmed, and no rate learns of it",
        "SELECT entry.id, entry.number FROM entry_confirmation JOIN entry ON entry.id = entry_id
         WHERE entry.kind NOT IN ('use', 'hours')",
    ),
    (
        "hours are evidence of items, or items of hours",
        "SELECT entry.id, entry.number FROM observation_entry
         JOIN observation ON observation.id = observation_id JOIN entry ON entry.id = entry_id
         WHERE (observation.kind = 'hours') <> (entry.kind = 'hours')",
    ),
];

impl Ledger {
    pub(super) fn check_evidence(&self, problems: &mut Problems) -> Result<()> {
        for number in self.wrong_digests()? {
            problems.push(format!(
                "rates: {number} isn't the observation that was written"
            ));
        }
        for (words, sql) in CONTRADICTIONS {
            self.each(problems, sql, |row| {
                Ok(format!("{}: {words}", called('E', row)?))
            })?;
        }
        self.each(
            problems,
            "SELECT DISTINCT job.id, job.number FROM observation JOIN job ON job.id = observation.job_id
             JOIN job_state ON job_state.job_id = job.id WHERE job_state.what <> 'closed'",
            |row| {
                Ok(format!(
                    "{}: it is evidence, and isn't closed",
                    called('J', row)?
                ))
            },
        )?;
        self.each_that(
            problems,
            "SELECT observation.id, observation.job_label, observation.quantity_micro, job.id AS job_id,
                    job.number AS job_number,
                    (SELECT COALESCE(SUM(entry.quantity_micro), 0) FROM observation_entry JOIN entry ON entry.id = entry_id
                     WHERE observation_id = observation.id) AS logged_micro
             FROM observation JOIN job ON job.id = observation.job_id",
            |row| {
                let (learned, logged): (Micro, Micro) =
                    (row.get("quantity_micro")?, row.get("logged_micro")?);
                let job = numbered('J', row.get("job_id")?, row.get("job_number")?);
                let label: String = row.get("job_label")?;
                Ok(if learned != logged {
                    Some(format!(
                        "rates: {} are learned from {job} where {} were logged",
                        learned.0, logged.0
                    ))
                } else if label != job {
                    Some(format!("rates: what {job} taught is said to be of {label}"))
                } else {
                    None
                })
            },
        )?;
        if !self.kept_fit_holds()? {
            problems.push("rates: what is kept of them isn't what the evidence gives".to_owned());
        }
        for operation in self.wrong_stories()? {
            problems.push(format!(
                "rates: how that of {operation} came about is kept otherwise than the evidence gives it"
            ));
        }
        Ok(())
    }
}
