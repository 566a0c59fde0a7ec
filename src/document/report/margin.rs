//! Margins: what jobs, rooms, clients, times and floor conditions left over, those first that were furthest over the quote.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde::ser::{Serialize, Serializer};

use super::NotRecorded;
use super::groups::{Others, Whose, report, words};
use crate::document::figures::{Amount, Percent};
use crate::document::showing::{NoSuchColumn, Showing};
use crate::document::{Answer, List, Page, count, inert, or_blank};
use crate::ledger::{Group, Grouping, JobMargin};
use crate::money::Money;
use crate::trade::job_cost::{Missing, Outcome};
use crate::trade::quote::margin_percent;

/// A row of margins.
#[derive(Debug)]
struct Row {
    group: Group,
    /// Its jobs aren't finished: what they cost so far says nothing of their margin yet.
    so_far: bool,
    /// The job was taken back: its income is what was invoiced.
    cancelled: bool,
    outcome: Outcome,
}

columns! {
    /// A row as it is shown; only one exists at a time.
    #[derive(serde::Serialize)]
    struct ShownRow<'a> {
        #[serde(flatten)]
        whose: Whose<'a>,
        so_far: bool,
        cancelled: bool,
        #[serde(flatten)]
        sums: Sums,
    }
}

answer! {
    /// What jobs came to.
    pub(in crate::document) struct Sums from outcome: Outcome on page {
        price: Amount,
        variations: Amount,
        #[serde(skip)]
        revenue: Amount = page.amount(outcome.revenue()),
        estimated_cost: Option<Amount> = outcome.quoted_cost().map(|cost| page.amount(cost)),
        actual_cost: Amount = page.amount(outcome.actual),
        late_cost: Amount = page.amount(outcome.late),
        over_quote: Amount = page.amount(outcome.over),
        margin: Amount = page.amount(outcome.margin()),
        margin_percent: Percent = Percent(margin_percent(outcome.revenue(), outcome.actual)),
        quoted_margin_percent: Percent = Percent(margin_percent(outcome.estimated_revenue(), outcome.estimated)),
        not_recorded: NotRecorded = NotRecorded::new(outcome.missing, page),
        .. { estimated, unestimated, actual, late, missing, over }
    }
}

impl Sums {
    /// Says what a job left over: `margin 31.2 %, with gaps, quoted 42.6 %: 410.02 of 1314.14`.
    pub(in crate::document) fn words(&self, gaps: &str) -> String {
        let quoted = match self.quoted_margin_percent {
            Percent(None) => String::new(),
            percent => format!(", quoted {percent}"),
        };
        format!(
            "margin {}{gaps}{quoted}: {} of {}",
            self.margin_percent, self.margin, self.revenue
        )
    }

    fn cells(&self, name: String) -> [String; 9] {
        [
            name,
            self.revenue.to_string(),
            self.variations.to_string(),
            or_blank(self.estimated_cost),
            self.actual_cost.to_string(),
            or_blank(self.estimated_cost.map(|_| self.over_quote)),
            self.margin.to_string(),
            self.quoted_margin_percent.to_string(),
            self.margin_percent.to_string(),
        ]
    }
}

/// Margins, gathered job by job: only what is shown of a job is kept, and it becomes text or JSON row by row.
#[derive(Debug)]
pub struct Margins {
    by: Grouping,
    page: Page,
    rows: Vec<Row>,
    /// Where the row of a group is that several jobs add to; finished jobs and others never share one.
    places: BTreeMap<(Group, bool), usize>,
    /// What finished jobs leave out of their records.
    gaps: Vec<(String, Missing)>,
    /// Rows that aren't shown.
    others: Vec<Row>,
    /// Finished jobs, those that aren't, and those on the owner's own floors, which have no margin.
    finished: usize,
    open: usize,
    own: usize,
}

impl Margins {
    /// Returns no margins yet.
    pub fn by(by: Grouping, page: Page) -> Margins {
        Margins {
            by,
            page,
            rows: Vec::new(),
            places: BTreeMap::new(),
            gaps: Vec::new(),
            others: Vec::new(),
            finished: 0,
            open: 0,
            own: 0,
        }
    }

    /// Says how many jobs are left out because they are the owner's own floors.
    pub fn leave_out(&mut self, own: usize) {
        self.own = own;
    }

    /// Adds a job.
    pub fn add(&mut self, margin: JobMargin) {
        let (job, missing) = (&margin.job, margin.outcome.missing);
        let (so_far, cancelled) = (!job.is_over(), job.cancelled.is_some());
        *(if so_far {
            &mut self.open
        } else {
            &mut self.finished
        }) += 1;
        if !so_far && missing.is_gap() {
            self.gaps.push((job.number.clone(), missing));
        }
        for (group, outcome) in margin.by(self.by) {
            match self.by {
                Grouping::Job | Grouping::Room => self.push(group, so_far, cancelled, outcome),
                _ => self.add_up(group, so_far, outcome),
            }
        }
    }

    fn push(&mut self, group: Group, so_far: bool, cancelled: bool, outcome: Outcome) {
        self.rows.push(Row {
            group,
            so_far,
            cancelled,
            outcome,
        });
    }

    fn add_up(&mut self, group: Group, so_far: bool, outcome: Outcome) {
        match self.places.get(&(group.clone(), so_far)) {
            Some(place) => self.rows[*place].outcome.add(&outcome),
            None => {
                let place = self.rows.len();
                self.places.insert((group.clone(), so_far), place);
                self.push(group, so_far, false, outcome);
            }
        }
    }

    /// Puts the rows in order, finished ones first, and leaves out those that aren't shown.
    ///
    /// # Errors
    /// Returns the column that they were to be sorted by, if they don't have it.
    pub fn show(&mut self, showing: &Showing) -> Result<(), NoSuchColumn> {
        match self.by.is_time() {
            true => self.rows.sort_by(|one, other| one.group.cmp(&other.group)),
            false => self.rows.sort_by_key(|row| Reverse(row.outcome.over)),
        }
        showing.sort(&mut self.rows, |row| {
            serde_json::to_value(row.shown(&self.page))
        })?;
        self.rows.sort_by_key(|row| row.so_far);
        self.others = showing.cut(&mut self.rows);
        Ok(())
    }

    /// Tells whether no job has a margin.
    pub fn is_empty(&self) -> bool {
        self.finished + self.open == 0
    }

    /// Returns what finished rows come to.
    fn finished<'a>(rows: impl IntoIterator<Item = &'a Row>) -> Outcome {
        let mut total = Outcome::default();
        for row in rows.into_iter().filter(|row| !row.so_far) {
            total.add(&row.outcome);
        }
        total
    }

    /// Returns what all finished rows come to.
    fn total(&self) -> Outcome {
        Margins::finished(self.rows.iter().chain(&self.others))
    }

    /// The first line: what is left of all finished jobs, and which row was furthest over its quote.
    fn answer(&self) -> String {
        if self.finished == 0 {
            let jobs = count(self.open, "job");
            return format!("No job is finished: {jobs} so far.");
        }
        let total = Sums::new(self.total(), &self.page);
        let gaps = if self.gaps.is_empty() {
            ""
        } else {
            ", with gaps"
        };
        let done = self.rows.iter().chain(&self.others);
        let done: Vec<&Row> = done.filter(|row| !row.so_far).collect();
        let furthest = done.iter().max_by_key(|row| row.outcome.over);
        let furthest = furthest.filter(|row| done.len() > 1 && row.outcome.over > Money::ZERO);
        let furthest = furthest.map(|row| {
            let over = self.page.amount(row.outcome.over);
            let whose = Whose(&row.group).to_string();
            format!("\nFurthest over its quote: {}, by {over}.", inert(&whose))
        });
        format!(
            "{} done: {} {}.{}",
            count(self.finished, "job"),
            total.words(gaps),
            self.page.currency.code(),
            or_blank(furthest)
        )
    }

    /// Returns which of what is shown has gaps in its finished record: of rooms their jobs, since a room doesn't hold what
    /// is the job's.
    fn gaps(&self) -> Vec<(String, Missing)> {
        let done = self.rows.iter().filter(|row| !row.so_far);
        let gaps = done.filter(|row| row.outcome.missing.is_gap());
        let named = |row: &Row| match &row.group {
            Group::Job { job, .. } => job.clone(),
            group => Whose(group).to_string(),
        };
        match self.by {
            Grouping::Room | Grouping::Condition => self.gaps.clone(),
            _ => gaps.map(|row| (named(row), row.outcome.missing)).collect(),
        }
    }
}

impl Row {
    fn shown(&self, page: &Page) -> ShownRow<'_> {
        ShownRow {
            whose: Whose(&self.group),
            so_far: self.so_far,
            cancelled: self.cancelled,
            sums: Sums::new(self.outcome, page),
        }
    }

    /// Says what to know of it beside its name.
    fn mark(&self) -> &'static str {
        match (self.so_far, self.cancelled, self.outcome.missing.is_gap()) {
            (true, ..) => ", so far",
            (_, true, _) => ", cancelled",
            (_, _, true) => ", gaps",
            (false, false, false) => "",
        }
    }
}

impl Serialize for Margins {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let others = (!self.others.is_empty()).then(|| Others {
            rows: self.others.iter().filter(|row| !row.so_far).count(),
            sums: Sums::new(Margins::finished(&self.others), &self.page),
        });
        let total = Sums::new(self.total(), &self.page);
        let rows = (words(self.by).0, Rows(self));
        report(serializer, &self.page, rows, others, total)
    }
}

struct Rows<'a>(&'a Margins);

impl Serialize for Rows<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let rows = self.0.rows.iter();
        serializer.collect_seq(rows.map(|row| row.shown(&self.0.page)))
    }
}

impl Answer for Margins {
    fn text(&self, page: &Page) -> String {
        if self.is_empty() {
            return match self.own {
                0 => "No jobs yet.".to_owned(),
                own => {
                    let jobs = count(own, "job");
                    format!("No margins yet: {jobs} on your own floors, at cost.")
                }
            };
        }
        let headings = [
            words(self.by).1,
            "Price",
            "In it variations",
            "Quoted cost",
            "Actual cost",
            "Over quote",
            "Margin",
            "Quoted %",
            "Actual %",
        ];
        let mut table = page.table(headings).numbers(1..=8).goes([2, 3, 7]);
        let mut row = |name: String, outcome| table.row(Sums::new(outcome, page).cells(name));
        let (so_far, done): (Vec<&Row>, Vec<&Row>) = self.rows.iter().partition(|row| row.so_far);
        for line in &done {
            row(
                format!("{}{}", Whose(&line.group), line.mark()),
                line.outcome,
            );
        }
        let (open, others): (Vec<&Row>, Vec<&Row>) = self.others.iter().partition(|row| row.so_far);
        if !others.is_empty() {
            let name = count(others.len(), "other");
            row(name, Margins::finished(others.iter().copied()));
        }
        let total = self.total();
        if done.len() + others.len() > 1 {
            row("Total".to_owned(), total);
        }
        for line in so_far {
            row(
                format!("{}{}", Whose(&line.group), line.mark()),
                line.outcome,
            );
        }
        let mut text = format!("{}\n\n{table}\n", page.prose(&self.answer()));
        let gaps = self.gaps();
        if !gaps.is_empty() {
            text.push('\n');
        }
        for (name, missing) in gaps {
            let missing = NotRecorded::new(missing, page);
            let words = format!("{name}, of it not recorded: {missing}");
            let _ = writeln!(text, "{}", page.prose(&inert(&words)));
        }
        let mut note = |words: String| {
            let _ = writeln!(text, "\n{}", page.prose(&words));
        };
        if !open.is_empty() {
            let rows = count(open.len(), "row");
            note(format!("Not shown: {rows} of jobs that aren't finished."));
        }
        if !total.unestimated.is_zero() {
            note(format!(
                "Of the price, {} was agreed before the ledger without a cost, or invoiced for jobs that were cancelled: it is in no quoted figure.",
                page.amount(total.unestimated)
            ));
        }
        if !total.late.is_zero() {
            note(format!(
                "Of the actual cost, {} came after close-out (call-backs).",
                page.amount(total.late)
            ));
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(self.rows.iter().map(|row| row.shown(&self.page)))
    }
}
