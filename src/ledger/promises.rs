//! What the plans of several jobs come to together: which rooms of a house are wet or dusty, what is promised twice.

use anyhow::Result;

use super::{Job, KeptPlan, Ledger, Site};
use crate::trade::JobId;
use crate::trade::plan::HousePlan;
use crate::trade::plan::promised::{Promise, Twice, promised_twice};

/// A job at a house that is planned, beside the one that is planned.
#[derive(Clone, Debug)]
pub(super) struct Beside {
    /// Its number.
    pub(super) job: String,
    /// Its plan; `None`: nobody knows its days.
    pub(super) plan: Option<HousePlan>,
}

impl Ledger {
    /// Returns the jobs that aren't closed, with the plans of those that have one.
    pub(super) fn planned_jobs(&self) -> Result<Vec<(Job, Option<KeptPlan>)>> {
        let jobs = self.jobs_not_closed()?.into_iter();
        jobs.map(|job| {
            let plan = self.plan_of_job(&job)?;
            Ok((job, plan))
        })
        .collect()
    }

    /// Returns the other jobs at a site.
    pub(super) fn jobs_beside(&self, site: &Site, own: Option<JobId>) -> Result<Vec<Beside>> {
        let jobs = self.planned_jobs()?.into_iter();
        let others = jobs.filter(|(job, _)| job.site_id == site.id && Some(job.id) != own);
        let beside = others.map(|(job, kept)| Beside {
            job: job.number,
            plan: kept.map(|kept| kept.plan),
        });
        Ok(beside.collect())
    }

    /// Returns what the plans of jobs promise twice, from today on.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn promised_twice(&self) -> Result<Vec<Twice>> {
        self.twice_with(None)
    }

    /// Returns what the plan of a job promises for days on which another does too, from today on.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn promised_beside(&self, job: &Job) -> Result<Vec<Twice>> {
        let mut twice = self.promised_twice()?;
        twice.retain(|twice| twice.to.contains(&job.number));
        Ok(twice)
    }

    /// Returns what a plan that belongs to no job yet would promise for days on which a job's does too.
    pub(super) fn promised_by(&self, promise: Promise<'_>) -> Result<Vec<Twice>> {
        let mut twice = self.twice_with(Some(promise))?;
        twice.retain(|twice| twice.to.iter().any(|to| to == promise.to));
        Ok(twice)
    }

    fn twice_with(&self, more: Option<Promise<'_>>) -> Result<Vec<Twice>> {
        let jobs = self.planned_jobs()?;
        let plans = jobs.iter().filter_map(|(job, kept)| {
            Some(Promise {
                to: &job.number,
                site: job.site_id,
                plan: &kept.as_ref()?.plan,
            })
        });
        let promises: Vec<Promise<'_>> = plans.chain(more).collect();
        let settings = self.settings()?;
        let crew = settings.calendar().day.crew_minutes;
        Ok(promised_twice(
            &promises,
            self.today(),
            crew,
            settings.seal_rooms,
        ))
    }
}
