//! What jobs under way are expected to move in money, week by week.
//!
//! Out go the wages, items, rentals and all else that is still to come of each job, spread evenly over the days on which it
//! is done; overhead is no job's own money, and is left out. In comes what is invoiced and not paid when it falls due (what
//! is late, at once), and the rest of the price, tax included, when the job's last day is over and its invoice falls due.
//!
//! The days of a job:
//!
//! - a plan of its house has them, as long as one of them is to come;
//! - one that is to begin on a day is done from then on, others one after another from today, those that are begun first; each
//!   takes as many working days as its hours are a crew's days.
//!
//! The limits: nothing of this is promised. A deposit or stage that isn't asked for yet comes with the rest, in the end; what
//! of an invoice is to be held comes when the rest does; what is on the shelf already is paid again; and jobs that nobody
//! has accepted yet have no money.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, NaiveDate};

use crate::money::{Decimal, Money};
use crate::trade::plan::Calendar;
use crate::trade::quote::Costs;

/// What a job is still to cost and to bring in.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobCash {
    /// Its working days by the plan of its house; none: there is no plan.
    pub planned: Vec<NaiveDate>,
    /// When it is to begin; `None`: nobody said.
    pub begins: Option<NaiveDate>,
    /// Hours that are left.
    pub hours: Decimal,
    /// What is still to come of its cost.
    pub costs: Costs,
    /// What is invoiced and not paid, with the day on which it falls due.
    pub owed: Vec<(NaiveDate, Money)>,
    /// What is still to be invoiced, tax included.
    pub to_invoice: Money,
}

/// By what the days of a job are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DaysBy {
    /// The plan of its house.
    Plan,
    /// The day on which it is to begin, and its hours.
    Beginning,
    /// Its hours alone: it comes after the others that have no dates.
    Turn,
}

/// When a job is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Done {
    /// By what that is known.
    pub by: DaysBy,
    /// Its days from today on, in order; one at least.
    pub days: Vec<NaiveDate>,
}

/// What moves in a week.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct WeekCash {
    /// Wages, with what an hour costs over its wage.
    pub wages: Money,
    /// Discs, finish and other items.
    pub consumables: Money,
    /// Rented machines.
    pub rental: Money,
    /// Driving and money spent otherwise.
    pub other: Money,
    /// What is invoiced already.
    pub invoiced: Money,
    /// What is still to be invoiced.
    pub to_invoice: Money,
}

impl WeekCash {
    /// Returns what goes out.
    pub fn out(&self) -> Money {
        self.wages + self.consumables + self.rental + self.other
    }

    /// Adds another week, part by part.
    pub fn add(&mut self, other: &WeekCash) {
        self.wages += other.wages;
        self.consumables += other.consumables;
        self.rental += other.rental;
        self.other += other.other;
        self.invoiced += other.invoiced;
        self.to_invoice += other.to_invoice;
    }

    /// Returns what comes in.
    pub fn come(&self) -> Money {
        self.invoiced + self.to_invoice
    }
}

/// When the firm works, and when it is paid.
#[derive(Clone, Copy, Debug)]
pub struct Pace<'a> {
    /// The first day that is looked at.
    pub today: NaiveDate,
    /// When the crew works.
    pub calendar: &'a Calendar,
    /// Days from an invoice to its due date.
    pub payment_days: u32,
}

/// Returns when each job is done, in the order given, which is the order in which those without dates take their turn.
pub fn days_of(jobs: &[JobCash], pace: &Pace<'_>) -> Vec<Done> {
    let mut turn = pace.today;
    let done = jobs.iter().map(|job| {
        let planned = job.planned.iter().filter(|day| **day >= pace.today);
        let planned: Vec<NaiveDate> = planned.copied().collect();
        let (by, days) = match job.begins.filter(|begins| *begins > pace.today) {
            _ if !planned.is_empty() => (DaysBy::Plan, planned),
            Some(begins) => (DaysBy::Beginning, pace.working_days(begins, job.hours)),
            None => {
                let days = pace.working_days(turn, job.hours);
                turn = days.last().map_or(turn, |last| *last + Days::new(1));
                (DaysBy::Turn, days)
            }
        };
        Done { by, days }
    });
    done.collect()
}

/// Returns what moves in each week in which something does, by its Monday.
pub fn by_week(jobs: &[JobCash], days: &[Done], pace: &Pace<'_>) -> BTreeMap<NaiveDate, WeekCash> {
    let mut weeks: BTreeMap<NaiveDate, WeekCash> = BTreeMap::new();
    for (job, Done { days, .. }) in jobs.iter().zip(days) {
        let evenly = vec![Decimal::ONE; days.len()];
        let Costs {
            labour,
            consumables,
            rental,
            other,
            overhead: _,
        } = job.costs;
        let spread = |amount: Money| days.iter().copied().zip(amount.spread(&evenly));
        type Of = fn(&mut WeekCash) -> &mut Money;
        let kinds: [(Money, Of); 4] = [
            (labour, |week| &mut week.wages),
            (consumables, |week| &mut week.consumables),
            (rental, |week| &mut week.rental),
            (other, |week| &mut week.other),
        ];
        for (amount, of) in kinds {
            for (day, part) in spread(amount) {
                *of(weeks.entry(monday(day)).or_default()) += part;
            }
        }
        for (due, owed) in &job.owed {
            let due = (*due).max(pace.today);
            weeks.entry(monday(due)).or_default().invoiced += *owed;
        }
        if let Some(last) = days.last() {
            let due = *last + Days::new(pace.payment_days.into());
            weeks.entry(monday(due)).or_default().to_invoice += job.to_invoice;
        }
    }
    weeks.retain(|_, week| *week != WeekCash::default());
    weeks
}

impl Pace<'_> {
    /// Returns as many working days from a day on as hours take, one at least; where nobody ever works, every day is worked.
    fn working_days(&self, from: NaiveDate, hours: Decimal) -> Vec<NaiveDate> {
        let crew = Decimal::from(self.calendar.day.crew_minutes) / Decimal::from(60);
        let count: usize = (hours / crew).ceil().try_into().unwrap_or(usize::MAX);
        let worked = |day: &NaiveDate| self.calendar.works_on(*day);
        let is_never = self.calendar.working_days.is_empty();
        let days = from.iter_days().filter(|day| is_never || worked(day));
        days.take(count.clamp(1, LONGEST)).collect()
    }
}

/// The most days that a job's hours are spread over.
const LONGEST: usize = 366;

fn monday(day: NaiveDate) -> NaiveDate {
    day - Days::new(day.weekday().num_days_from_monday().into())
}

#[cfg(test)]
mod tests {
    use chrono::Weekday;
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;
    use crate::trade::plan::WorkingDay;

    fn calendar() -> Calendar {
        use Weekday::{Fri, Mon, Thu, Tue, Wed};
        Calendar {
            working_days: vec![Mon, Tue, Wed, Thu, Fri],
            holidays: BTreeMap::new(),
            day: WorkingDay {
                crew_minutes: 480,
                day_minutes: 480,
            },
        }
    }

    fn march(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, day).unwrap()
    }

    fn costs(labour: i64) -> Costs {
        Costs {
            labour: Money::from_minor(labour),
            overhead: Money::from_minor(9_999),
            ..Costs::default()
        }
    }

    fn minor(week: &WeekCash) -> [i64; 3] {
        [week.wages, week.invoiced, week.to_invoice].map(Money::minor)
    }

    #[test]
    fn jobs_take_their_turn_and_money_comes_when_it_falls_due() {
        let calendar = calendar();
        let pace = Pace {
            today: march(5), // A Thursday.
            calendar: &calendar,
            payment_days: 14,
        };
        let jobs = [
            // 20 h are three days: Thursday, Friday, Monday; the invoice of the ninth falls due on Monday the 23rd.
            JobCash {
                hours: dec!(20),
                costs: costs(60_000),
                to_invoice: Money::from_minor(100_000),
                owed: vec![(march(2), Money::from_minor(10_000))],
                ..JobCash::default()
            },
            // One day, on Tuesday: the other is over by then.
            JobCash {
                hours: dec!(8),
                costs: costs(24_000),
                owed: vec![(march(16), Money::from_minor(5000))],
                ..JobCash::default()
            },
            JobCash {
                begins: Some(march(18)),
                hours: dec!(1),
                costs: costs(3000),
                ..JobCash::default()
            },
            // Of a plan the days that are over have no money any more.
            JobCash {
                planned: vec![march(4), march(6), march(17)],
                costs: costs(8001),
                ..JobCash::default()
            },
        ];
        let done = days_of(&jobs, &pace);
        let said: Vec<(DaysBy, Vec<NaiveDate>)> = done
            .iter()
            .map(|done| (done.by, done.days.clone()))
            .collect();
        assert_eq!(
            said,
            [
                (DaysBy::Turn, vec![march(5), march(6), march(9)]),
                (DaysBy::Turn, vec![march(10)]),
                (DaysBy::Beginning, vec![march(18)]),
                (DaysBy::Plan, vec![march(6), march(17)]),
            ]
        );
        let weeks = by_week(&jobs, &done, &pace);
        let weeks: Vec<(NaiveDate, [i64; 3])> = weeks
            .iter()
            .map(|(monday, week)| (*monday, minor(week)))
            .collect();
        assert_eq!(
            weeks,
            [
                (march(2), [40_000 + 4000, 10_000, 0]),
                (march(9), [20_000 + 24_000, 0, 0]),
                (march(16), [3000 + 4001, 5000, 0]),
                (march(23), [0, 0, 100_000]),
            ]
        );
    }

    proptest! {
        #[test]
        fn nothing_is_lost_between_the_weeks(
            jobs in proptest::collection::vec((0_u32..200, 0_i64..100_000, 0_i64..100_000, 0_u32..40), 0..6),
        ) {
            let calendar = calendar();
            let pace = Pace { today: march(5), calendar: &calendar, payment_days: 30 };
            let jobs: Vec<JobCash> = jobs
                .into_iter()
                .map(|(hours, cost, price, begins)| JobCash {
                    begins: Some(march(1) + Days::new(begins.into())),
                    hours: hours.into(),
                    costs: Costs { rental: Money::from_minor(cost / 3), ..costs(cost) },
                    to_invoice: Money::from_minor(price),
                    ..JobCash::default()
                })
                .collect();
            let weeks = by_week(&jobs, &days_of(&jobs, &pace), &pace);
            let out: Money = weeks.values().map(WeekCash::out).sum();
            let come: Money = weeks.values().map(WeekCash::come).sum();
            prop_assert_eq!(out, jobs.iter().map(|job| job.costs.labour + job.costs.rental).sum());
            prop_assert_eq!(come, jobs.iter().map(|job| job.to_invoice).sum());
            prop_assert!(weeks.keys().all(|day| day.weekday() == Weekday::Mon));
        }
    }
}
