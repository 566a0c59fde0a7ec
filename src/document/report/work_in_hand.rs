//! Work in hand: how far each job under way has come, what it has earned and what it will keep.

use chrono::NaiveDate;
use serde::Serialize;

use crate::document::figures::{Amount, Percent, SetPercent};
use crate::document::{Answer, List, Page, count, inert};
use crate::ledger::{JobInHand, WorkInHand};
use crate::money::Money;
use crate::trade::budget::today::OffBy;
use crate::trade::progress::Progress;

answer! {
    /// A job under way.
    struct InHandFacts from in_hand: JobInHand on page
    let progress = in_hand.progress;
    let OffBy { less, more } = in_hand.off_by;
    {
        job: String = in_hand.job.number.clone(),
        client: String = in_hand.job.client.clone(),
        site: String = in_hand.job.site.clone(),
        price: Amount = page.amount(progress.price),
        cost_to_date: Amount = page.amount(progress.cost_to_date),
        cost_to_complete: Amount = page.amount(progress.cost_to_complete),
        percent_complete: Percent = Percent::of_one(Some(progress.complete())),
        earned: Amount = page.amount(progress.earned()),
        invoiced: Amount = page.amount(progress.invoiced),
        over_billed: Amount = page.amount(progress.over_billed()),
        expected_margin: Amount = page.amount(progress.margin()),
        margin_low: Amount = page.amount(progress.margin() - more),
        margin_high: Amount = page.amount(progress.margin() + less),
        provision: Amount = page.amount(progress.provision()),
        .. { job, progress, ahead, off_by }
    }
}

/// What jobs come to together.
#[derive(Debug, Default)]
struct Sums {
    progress: Progress,
    earned: Money,
    provision: Money,
    losing: usize,
}

impl Sums {
    fn add(&mut self, progress: &Progress) {
        self.progress.add(progress);
        self.earned += progress.earned();
        self.provision += progress.provision();
        self.losing += usize::from(!progress.provision().is_zero());
    }

    fn over_billed(&self) -> Money {
        self.progress.invoiced - self.earned
    }
}

/// Every job under way.
#[derive(Debug, Serialize)]
#[serde(transparent)]
pub struct WorkInHandAnswer {
    jobs: Vec<InHandFacts>,
    #[serde(skip)]
    as_of: NaiveDate,
    #[serde(skip)]
    confidence: SetPercent,
    #[serde(skip)]
    before: Vec<String>,
    #[serde(skip)]
    count: usize,
    #[serde(skip)]
    sums: Sums,
}

listed! { WorkInHandAnswer, jobs, answer: made, by_day: false }

impl WorkInHandAnswer {
    /// Returns the answer about these jobs.
    pub fn new(in_hand: WorkInHand, page: &Page) -> WorkInHandAnswer {
        let WorkInHand {
            as_of,
            confidence,
            jobs,
            before,
        } = in_hand;
        let mut sums = Sums::default();
        for job in &jobs {
            sums.add(&job.progress);
        }
        WorkInHandAnswer {
            as_of,
            confidence: SetPercent::of_one(confidence),
            before,
            count: jobs.len(),
            sums,
            jobs: page.each(jobs, InHandFacts::new),
        }
    }

    /// Says how far all of it has come, and whether it is billed ahead or behind.
    fn first(&self, page: &Page) -> String {
        let Sums {
            progress,
            earned,
            provision,
            losing,
        } = &self.sums;
        let amount = |money: Money| page.amount(money);
        let (over, keeps) = (self.sums.over_billed(), progress.margin());
        let billed = match over {
            nothing if nothing.is_zero() => "as earned".to_owned(),
            over if over > Money::ZERO => format!("{} over-billed", amount(over)),
            under => format!("{} under-billed", amount(-under)),
        };
        let keeps = match keeps.is_negative() {
            true => format!("{} to be lost", amount(-keeps)),
            false => format!("{} to be kept", amount(keeps)),
        };
        let done = Percent::of_one(Some(progress.complete()));
        let loss = match losing {
            0 => String::new(),
            1 => format!(" A loss of {} is to be booked now.", amount(*provision)),
            _ => format!(" Losses of {} are to be booked now.", amount(*provision)),
        };
        format!(
            "{} in hand on {} for {}: {done} done by cost, {} earned, {} invoiced, {billed}; {keeps}.{loss}",
            count(self.count, "job"),
            self.as_of,
            amount(progress.price).with_currency(),
            amount(*earned),
            amount(progress.invoiced),
        )
    }

    fn table(&self, page: &Page) -> String {
        let between = format!("Between, {} sure", self.confidence);
        let headings = [
            "Job",
            "Client",
            "Price",
            "To date",
            "To come",
            "Done",
            "Earned",
            "Invoiced",
            "Over-billed",
            "Margin",
            &between,
            "Provision",
        ];
        let table = page.table(headings).numbers(2..=11).goes([1]);
        let mut table = table.makes_room([7, 4, 10]);
        for job in &self.jobs {
            let provision = job.provision;
            let provision = (!provision.money.is_zero()).then(|| provision.to_string());
            table.row([
                job.job.clone(),
                inert(&job.client).to_string(),
                job.price.to_string(),
                job.cost_to_date.to_string(),
                job.cost_to_complete.to_string(),
                job.percent_complete.to_string(),
                job.earned.to_string(),
                job.invoiced.to_string(),
                job.over_billed.to_string(),
                job.expected_margin.to_string(),
                format!("{} to {}", job.margin_low, job.margin_high),
                provision.unwrap_or_default(),
            ]);
        }
        if self.count > 1 {
            let Sums {
                progress,
                earned,
                provision,
                ..
            } = &self.sums;
            let amount = |money: Money| page.amount(money).to_string();
            let provision = (!provision.is_zero()).then(|| amount(*provision));
            table.row([
                "Total".to_owned(),
                String::new(),
                amount(progress.price),
                amount(progress.cost_to_date),
                amount(progress.cost_to_complete),
                Percent::of_one(Some(progress.complete())).to_string(),
                amount(*earned),
                amount(progress.invoiced),
                amount(self.sums.over_billed()),
                amount(progress.margin()),
                String::new(),
                provision.unwrap_or_default(),
            ]);
        }
        table.to_string()
    }
}

impl Answer for WorkInHandAnswer {
    fn text(&self, page: &Page) -> String {
        let mut parts = match self.count {
            0 => vec![format!("No job is in hand on {}.", self.as_of)],
            _ => vec![page.prose(&self.first(page)), self.table(page)],
        };
        if !self.before.is_empty() {
            let words = format!(
                "Agreed before the ledger, so nothing says what is left: {}.",
                self.before.join(", ")
            );
            parts.push(page.prose(&words));
        }
        parts.join("\n\n")
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.jobs)
    }
}
