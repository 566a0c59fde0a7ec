//! How far a job has come beside what was quoted for it.

use std::collections::BTreeMap;

use anyhow::Result;

use super::books::JobRecord;
use super::{Job, JobState, Ledger};
use crate::money::Money;
use crate::trade::budget::{Budget, Standing, budget};
use crate::trade::job_cost::Logged;
use crate::trade::{EntryId, RoomId};

/// A job's budget, with what is needed to print it.
#[derive(Clone, Debug)]
pub struct JobBudget {
    /// The job.
    pub job: Job,
    /// What was quoted and used.
    pub budget: Budget,
    /// Names of the rooms.
    pub rooms: BTreeMap<RoomId, String>,
    /// What it is expected to cost in the end, where that was asked for; `None`: nothing is logged yet, or the job is over.
    pub expected: Option<Money>,
    /// What it was quoted to cost, variations included.
    pub quoted: Money,
    logged: Vec<Logged>,
}

/// How far something has come that an entry logged.
#[derive(Clone, Debug)]
pub struct EntryBudget {
    /// The job's number.
    pub job: String,
    /// What was quoted and used.
    pub standing: Standing,
    /// The room that the entry names, if it names one.
    pub room: Option<String>,
}

impl Ledger {
    /// Returns a job's budget; `None`: nothing was quoted for it.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn budget_of(&self, job: &Job) -> Result<Option<JobBudget>> {
        self.budget_by(self.record_of(job)?)
    }

    /// Returns the same, with what the job is expected to cost.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn budget_and_cost_of(&self, job: &Job) -> Result<Option<JobBudget>> {
        let record = self.record_of(job)?;
        let is_under_way = record.job.state == JobState::Open && !record.logged.is_empty();
        let is_quoted = !record.agreed.quotes.is_empty() && record.agreed.before.is_none();
        let mut expected = None;
        if is_under_way && is_quoted {
            let estimate = self.estimate(&record, &self.estimating(false)?)?;
            expected = Some(estimate.cost_to_date + estimate.ahead.costs.total());
        }
        let budget = self.budget_by(record)?;
        Ok(budget.map(|budget| JobBudget { expected, ..budget }))
    }

    fn budget_by(&self, record: JobRecord) -> Result<Option<JobBudget>> {
        let JobRecord {
            job,
            agreed,
            logged,
        } = record;
        if agreed.quotes.is_empty() || agreed.before.is_some() {
            return Ok(None);
        }
        let names = self.operation_names()?;
        let name_of = |operation| names.get(&operation).cloned().unwrap_or_default();
        Ok(Some(JobBudget {
            budget: budget(&agreed.quoted(), &logged, name_of),
            expected: None,
            quoted: agreed.estimated(),
            rooms: agreed.room_names,
            job,
            logged,
        }))
    }
}

impl JobBudget {
    /// Returns how far that has come which an entry logged; `None`: it is nothing that is counted, or came after the job.
    pub fn after(&self, entry: EntryId) -> Option<EntryBudget> {
        let is_meant = |cost: &&Logged| cost.entry == entry && !cost.correction && !cost.late;
        let logged = self.logged.iter().find(is_meant)?;
        let room = match logged.rooms[..] {
            [only] => Some(only),
            _ => None,
        };
        let standing = self.budget.standing(&logged.what, room)?;
        let name = room.and_then(|room| self.rooms.get(&room).cloned());
        Some(EntryBudget {
            job: self.job.number.clone(),
            room: name.filter(|_| standing.there.is_some()),
            standing,
        })
    }
}
