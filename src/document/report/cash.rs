//! What jobs under way are expected to move in money, week by week.

use chrono::NaiveDate;
use serde::Serialize;

use crate::document::figures::{Amount, Number};
use crate::document::{Answer, List, Page, count};
use crate::ledger::CashInHand;
use crate::money::Money;
use crate::trade::cash::{DaysBy, Done, WeekCash};

answer! {
    /// What moves in a week.
    struct WeekFacts of (week: (NaiveDate, WeekCash), after: Money) on page
    let (monday, week) = week;
    {
        week: NaiveDate = monday,
        wages: Amount = page.amount(week.wages),
        consumables: Amount = page.amount(week.consumables),
        rental: Amount = page.amount(week.rental),
        other: Amount = page.amount(week.other),
        invoiced: Amount = page.amount(week.invoiced),
        to_invoice: Amount = page.amount(week.to_invoice),
        net: Amount = page.amount(week.come() - week.out()),
        balance: Amount = page.amount(after),
    }
}

/// What moves, week by week.
#[derive(Debug, Serialize)]
#[serde(transparent)]
pub struct CashAnswer {
    weeks: Vec<WeekFacts>,
    #[serde(skip)]
    as_of: NaiveDate,
    #[serde(skip)]
    sums: WeekCash,
    /// The week after which the least is left, and how much that is.
    #[serde(skip)]
    lowest: Option<(NaiveDate, Money)>,
    #[serde(skip)]
    assumed: Vec<String>,
}

listed! { CashAnswer, weeks, answer: made, by_day: false }

impl CashAnswer {
    /// Returns the answer about these weeks.
    pub fn new(cash: CashInHand, page: &Page) -> CashAnswer {
        let CashInHand {
            as_of,
            weeks,
            jobs,
            before,
            crew_hours,
        } = cash;
        let (mut sums, mut after) = (WeekCash::default(), Money::ZERO);
        let mut lowest: Option<(NaiveDate, Money)> = None;
        let told = weeks.into_iter().map(|(monday, week)| {
            sums.add(&week);
            after += week.come() - week.out();
            if lowest.is_none_or(|(_, least)| after < least) {
                lowest = Some((monday, after));
            }
            WeekFacts::new((monday, week), after, page)
        });
        CashAnswer {
            weeks: told.collect(),
            as_of,
            sums,
            lowest,
            assumed: assumed(&jobs, &before, Number(crew_hours)),
        }
    }

    /// Says what goes out and comes in, and how far the firm is out of pocket at most.
    fn first(&self, page: &Page) -> String {
        let amount = |money: Money| page.amount(money);
        let least = self.lowest.filter(|(_, least)| least.is_negative());
        let least = least.map_or_else(
            || "never more out than in".to_owned(),
            |(week, least)| format!("{} out of pocket in the week of {week}", amount(-least)),
        );
        format!(
            "From {} on jobs in hand take {} and bring {} in {}: {least}.",
            self.as_of,
            amount(self.sums.out()),
            amount(self.sums.come()).with_currency(),
            count(self.weeks.len(), "week"),
        )
    }
}

/// Says what was assumed of the days of jobs.
fn assumed(jobs: &[(String, Done)], before: &[String], crew_hours: Number) -> Vec<String> {
    let of = |by: DaysBy| {
        let those = jobs.iter().filter(move |(_, done)| done.by == by);
        let told = those.map(|(job, done)| match (done.days.first(), done.days.last()) {
            (Some(first), Some(last)) if first != last => format!("{job} {first} to {last}"),
            (Some(only), _) => format!("{job} {only}"),
            (None, _) => job.clone(),
        });
        told.collect::<Vec<_>>().join(", ")
    };
    let said = [
        ("As planned".to_owned(), of(DaysBy::Plan)),
        (
            format!(
                "From the day they are to begin, at {crew_hours} hours of labour a working day"
            ),
            of(DaysBy::Beginning),
        ),
        (
            format!(
                "Without dates, one after another at {crew_hours} hours of labour a working day"
            ),
            of(DaysBy::Turn),
        ),
        (
            "Agreed before the ledger, and left out".to_owned(),
            before.join(", "),
        ),
    ];
    let said = said.into_iter().filter(|(_, jobs)| !jobs.is_empty());
    said.map(|(how, jobs)| format!("{how}: {jobs}.")).collect()
}

impl Answer for CashAnswer {
    fn text(&self, page: &Page) -> String {
        let mut parts = match self.weeks.is_empty() {
            true => vec![format!("No money is to move from {} on.", self.as_of)],
            false => vec![page.prose(&self.first(page)), self.table(page)],
        };
        if !self.assumed.is_empty() {
            let assumed = self.assumed.iter().map(|words| page.prose(words));
            parts.push(assumed.collect::<Vec<_>>().join("\n"));
        }
        parts.join("\n\n")
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.weeks)
    }
}

impl CashAnswer {
    fn table(&self, page: &Page) -> String {
        let headings = [
            "Week of",
            "Wages",
            "Items",
            "Rental",
            "Other",
            "Invoiced",
            "To invoice",
            "In less out",
            "So far",
        ];
        let mut table = page.table(headings).numbers(1..=8);
        let cell = |amount: Amount| match amount.money.is_zero() {
            true => String::new(),
            false => amount.to_string(),
        };
        for week in &self.weeks {
            table.row([
                week.week.to_string(),
                cell(week.wages),
                cell(week.consumables),
                cell(week.rental),
                cell(week.other),
                cell(week.invoiced),
                cell(week.to_invoice),
                week.net.to_string(),
                week.balance.to_string(),
            ]);
        }
        let sums = &self.sums;
        let amount = |money: Money| cell(page.amount(money));
        table.row([
            "Total".to_owned(),
            amount(sums.wages),
            amount(sums.consumables),
            amount(sums.rental),
            amount(sums.other),
            amount(sums.invoiced),
            amount(sums.to_invoice),
            page.amount(sums.come() - sums.out()).to_string(),
            String::new(),
        ]);
        table.to_string()
    }
}
