//! What the plans of several jobs come to together: which rooms of a house are wet or dusty, what is promised twice.

use std::collections::BTreeSet;

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};

use super::house_brief::places_of;
use super::{Job, KeptPlan, Ledger, Site};
use crate::trade::JobId;
use crate::trade::plan::promised::{Promise, Twice, promised_twice};
use crate::trade::plan::{House, HousePlan, Remark, Wet};
use crate::trade::rental::MORNING;

/// The other jobs at a house that is planned, as far as they stand in the way of the plan.
#[derive(Clone, Debug, Default)]
pub(super) struct OtherJobs {
    /// Rooms while they are wet, with the number of the job.
    wet: Vec<(String, Wet)>,
    /// Days on which one of them is wet: nobody else works in the house.
    pub(super) wet_days: Vec<(NaiveDate, String)>,
    /// Days on which they make dust, by the number of the job; none, where rooms are sealed off.
    dusty: Vec<(String, BTreeSet<NaiveDate>)>,
    /// Those of which nobody knows the days.
    undated: Vec<String>,
}

impl OtherJobs {
    /// Returns the rooms that are wet with their coats.
    pub(super) fn wet(&self) -> Vec<Wet> {
        self.wet.iter().map(|(_, wet)| *wet).collect()
    }

    /// Returns the days on which they make dust.
    pub(super) fn dusty(&self) -> BTreeSet<NaiveDate> {
        let days = self.dusty.iter().flat_map(|(_, days)| days);
        days.copied().collect()
    }

    /// Says how they stand to a plan: when they are wet or make dust meanwhile, and that nobody knows.
    pub(super) fn remarks(&self, house: &House, plan: Option<&HousePlan>) -> Vec<Remark> {
        let meanwhile = |day: &NaiveDate| plan.is_none_or(|plan| *day <= plan.finish);
        let wet = self.wet.iter().filter(|(_, wet)| meanwhile(&wet.from));
        let wet = wet.map(|(job, wet)| Remark::WetBeside {
            job: job.clone(),
            rooms: house.names(wet.rooms),
            from: wet.from,
            until: wet.until,
        });
        let dusty = self.dusty.iter().map(|(job, days)| {
            let days = days.iter().copied().filter(meanwhile);
            (job.clone(), days.collect::<Vec<_>>())
        });
        let dusty = dusty.filter(|(_, days)| !days.is_empty());
        let dusty = dusty.map(|(job, days)| Remark::DustBeside { job, days });
        let undated = self.undated.iter();
        let undated = undated.map(|job| Remark::Undated { job: job.clone() });
        wet.chain(dusty).chain(undated).collect()
    }
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

    /// Returns the other jobs at a site, from a day on.
    pub(super) fn other_jobs(
        &self,
        site: &Site,
        own: Option<JobId>,
        house: &House,
        from: NaiveDate,
    ) -> Result<OtherJobs> {
        let sealed = self.settings()?.seal_rooms;
        let mut others = OtherJobs::default();
        for (job, kept) in self.planned_jobs()? {
            if job.site_id != site.id || Some(job.id) == own {
                continue;
            }
            let Some(KeptPlan { plan, .. }) = kept else {
                others.undated.push(job.number);
                continue;
            };
            for phase in &plan.phases {
                let coated = phase.first_coat();
                let Some(first) = coated.filter(|_| phase.light_use > morning(from)) else {
                    continue;
                };
                let closed = format!("{} is wet", job.number);
                let days = phase.wet_days().map(|day| (day, closed.clone()));
                others.wet_days.extend(days);
                let wet = Wet {
                    rooms: places_of(house, &phase.rooms),
                    from: first,
                    until: phase.light_use,
                };
                others.wet.push((job.number.clone(), wet));
            }
            if !sealed {
                let mut days = plan.dusty_days();
                days.retain(|day| *day >= from);
                others.dusty.push((job.number, days));
            }
        }
        Ok(others)
    }

    /// Returns what the plans of jobs promise twice, from today on.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn promised_twice(&self) -> Result<Vec<Twice>> {
        self.twice_among(&self.planned_jobs()?, None)
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
        let mut twice = self.twice_among(&self.planned_jobs()?, Some(promise))?;
        twice.retain(|twice| twice.to.iter().any(|to| to == promise.to));
        Ok(twice)
    }

    /// Returns what the plans of some jobs, and perhaps one more, promise twice.
    pub(super) fn twice_among(
        &self,
        jobs: &[(Job, Option<KeptPlan>)],
        more: Option<Promise<'_>>,
    ) -> Result<Vec<Twice>> {
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

fn morning(day: NaiveDate) -> NaiveDateTime {
    day.and_time(NaiveTime::MIN) + TimeDelta::hours(i64::from(MORNING))
}
