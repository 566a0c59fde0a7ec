//! Why the jobs of a time left their quotes.

use chrono::NaiveDate;

use super::NotRecorded;
use super::variance::{Line, Reason};
use crate::document::figures::Amount;
use crate::document::{Answer, List, Page, count};
use crate::ledger::{Days, Explained, ExplainedLine};

columns! {
    /// A line of a job, quoted beside actual.
    #[derive(Debug, serde::Serialize)]
    struct JobLine {
        job: String,
        #[serde(flatten)]
        line: Line,
    }
}

impl JobLine {
    fn new(of: ExplainedLine, page: &Page) -> JobLine {
        let ExplainedLine {
            job,
            room,
            line,
            flexible,
        } = of;
        JobLine {
            job,
            line: Line::new(line, flexible, room, page),
        }
    }
}

answer! {
    /// What finished jobs of a time differ by from their quotes, and why.
    pub struct ExplainedAnswer of (explained: Explained, days: Days) on page
    let Explained { jobs, reasons, furthest, missing } = explained;
    {
        currency: &'static str = page.currency.code(),
        from: Option<NaiveDate> = days.from,
        to: Option<NaiveDate> = days.to,
        jobs: usize = jobs,
        reasons: Vec<Reason> = Reason::all(&reasons, page),
        total_variance: Amount = page.amount(reasons.recorded()),
        not_recorded: NotRecorded = NotRecorded::new(missing, page),
        not_recorded_difference: Amount = page.amount(reasons.not_recorded),
        total_difference: Amount = page.amount(reasons.total()),
        lines: Vec<JobLine> = page.each(furthest, JobLine::new),
    }
}

impl ExplainedAnswer {
    /// Says how far the jobs left their quotes together.
    fn first(&self) -> String {
        let jobs = count(self.jobs, "finished job");
        let more = match self.total_variance.money.is_negative() {
            true => "less",
            false => "more",
        };
        let of = match self.not_recorded.is_nothing() {
            true => "",
            false => " by what is recorded",
        };
        format!(
            "{jobs} cost {} {} {more} than quoted{of}.",
            self.total_variance.size(),
            self.currency
        )
    }
}

impl Answer for ExplainedAnswer {
    fn text(&self, page: &Page) -> String {
        if self.jobs == 0 {
            return "No job with a quote was finished in that time.".to_owned();
        }
        let mut parts = vec![
            page.prose(&self.first()),
            Reason::table(&self.reasons, self.total_difference, page),
        ];
        if !self.not_recorded.is_nothing() {
            let words = format!("Not recorded, and so no saving: {}.", self.not_recorded);
            parts.push(page.prose(&words));
        }
        let told = self
            .lines
            .iter()
            .map(|of| format!("{}, {}", of.job, of.line.sentence()));
        let told: String = told.map(|sentence| page.point(&sentence)).collect();
        if !told.is_empty() {
            parts.push(told);
        }
        parts.join("\n\n")
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.lines)
    }
}
