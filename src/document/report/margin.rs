//! Margins by job, room, client or month.

use std::collections::BTreeMap;
use std::fmt::{self, Write as _};

use serde::ser::{Serialize, SerializeMap as _, Serializer};

use super::NotRecorded;
use crate::document::figures::{Amount, Percent};
use crate::document::list::{Columns, InColumns, joined};
use crate::document::{Answer, List, Page, count, inert, or_blank};
use crate::ledger::JobMargin;
use crate::trade::job_cost::{Missing, Outcome};
use crate::trade::quote::margin_percent;

/// How margins are grouped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// A row a job.
    Job,
    /// A row a room.
    Room,
    /// A row a client.
    Client,
    /// A row a month.
    Month,
}

impl By {
    /// Returns the key of its rows in JSON, and the heading above them.
    const fn words(self) -> (&'static str, &'static str) {
        match self {
            By::Job => ("jobs", "Job"),
            By::Room => ("rooms", "Room"),
            By::Client => ("clients", "Client"),
            By::Month => ("months", "Month"),
        }
    }
}

/// What a row is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(untagged)]
enum Whose {
    Job {
        job: String,
        client: String,
    },
    Room {
        job: String,
        client: String,
        room: String,
    },
    Client {
        client: String,
    },
    Month {
        month: String,
    },
}

/// All that a row can be about, so that its columns are the same whatever margins are grouped by.
impl InColumns for Whose {
    fn columns(key: &str, to: &mut Columns) {
        for part in ["job", "client", "room", "month"] {
            to.add(&joined(key, part));
        }
    }
}

impl fmt::Display for Whose {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Whose::Job { job, client } => write!(f, "{job} {client}"),
            Whose::Room { job, room, .. } => write!(f, "{job} {room}"),
            Whose::Client { client: name } | Whose::Month { month: name } => f.write_str(name),
        }
    }
}

/// A row of margins.
#[derive(Debug)]
struct Row {
    whose: Whose,
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
        whose: &'a Whose,
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
        margin: Amount = page.amount(outcome.margin()),
        margin_percent: Percent = Percent(margin_percent(outcome.revenue(), outcome.actual)),
        quoted_margin_percent: Percent = Percent(margin_percent(outcome.estimated_revenue(), outcome.estimated)),
        not_recorded: NotRecorded = NotRecorded::new(outcome.missing, page),
        .. { estimated, unestimated, actual, late, missing }
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

    fn cells(&self, name: String) -> [String; 8] {
        [
            name,
            self.price.to_string(),
            self.variations.to_string(),
            or_blank(self.estimated_cost),
            self.actual_cost.to_string(),
            self.margin.to_string(),
            self.quoted_margin_percent.to_string(),
            self.margin_percent.to_string(),
        ]
    }
}

/// Margins by job, room, client or month, gathered job by job: only what is shown of a job is kept, and it becomes text
/// or JSON row by row.
#[derive(Debug)]
pub struct Margins {
    by: By,
    page: Page,
    rows: Vec<Row>,
    /// Where the row of a client or month is; finished jobs and others never share one.
    places: BTreeMap<(Whose, bool), usize>,
    /// What finished jobs leave out of their records.
    gaps: Vec<(String, Missing)>,
    /// Jobs on the owner's own floors, which have no margin.
    own: usize,
}

impl Margins {
    /// Returns no margins yet.
    pub fn by(by: By, page: Page) -> Margins {
        Margins {
            by,
            page,
            rows: Vec::new(),
            places: BTreeMap::new(),
            gaps: Vec::new(),
            own: 0,
        }
    }

    /// Says how many jobs are left out because they are the owner's own floors.
    pub fn leave_out(&mut self, own: usize) {
        self.own = own;
    }

    /// Adds a job.
    pub fn add(&mut self, margin: JobMargin) {
        let month = margin.month();
        let JobMargin {
            job,
            outcome,
            rooms,
        } = margin;
        let (so_far, cancelled) = (!job.is_over(), job.cancelled.is_some());
        if !so_far && outcome.missing.is_gap() {
            self.gaps.push((job.number.clone(), outcome.missing));
        }
        let (job, client) = (job.number, job.client);
        match self.by {
            By::Job => self.push(Whose::Job { job, client }, so_far, cancelled, outcome),
            By::Room => {
                for (room, outcome) in rooms {
                    let (job, client) = (job.clone(), client.clone());
                    self.push(
                        Whose::Room { job, client, room },
                        so_far,
                        cancelled,
                        outcome,
                    );
                }
            }
            By::Client => self.add_up(Whose::Client { client }, so_far, outcome),
            By::Month => self.add_up(Whose::Month { month }, so_far, outcome),
        }
    }

    fn push(&mut self, whose: Whose, so_far: bool, cancelled: bool, outcome: Outcome) {
        self.rows.push(Row {
            whose,
            so_far,
            cancelled,
            outcome,
        });
    }

    fn add_up(&mut self, whose: Whose, so_far: bool, outcome: Outcome) {
        match self.places.get(&(whose.clone(), so_far)) {
            Some(place) => self.rows[*place].outcome.add(&outcome),
            None => {
                let place = self.rows.len();
                self.places.insert((whose.clone(), so_far), place);
                self.push(whose, so_far, false, outcome);
            }
        }
    }

    /// Returns the rows in the order in which they are shown.
    fn rows(&self) -> Vec<&Row> {
        let mut rows: Vec<&Row> = self.rows.iter().collect();
        if self.by == By::Month {
            rows.sort_by_key(|row| &row.whose);
        }
        rows
    }

    fn shown_rows(&self) -> impl Iterator<Item = ShownRow<'_>> {
        let rows = self.rows().into_iter();
        rows.map(|row| ShownRow {
            whose: &row.whose,
            so_far: row.so_far,
            cancelled: row.cancelled,
            sums: Sums::new(row.outcome, &self.page),
        })
    }

    /// Returns what the finished rows come to.
    fn finished(&self) -> Outcome {
        let mut total = Outcome::default();
        for row in self.rows.iter().filter(|row| !row.so_far) {
            total.add(&row.outcome);
        }
        total
    }

    /// Returns whose finished record has gaps: clients and months, else jobs, since a room doesn't hold what is the job's.
    fn gaps(&self, done: &[&Row]) -> Vec<(String, Missing)> {
        match self.by {
            By::Job | By::Room => self.gaps.clone(),
            By::Client | By::Month => {
                let rows = done.iter().filter(|row| row.outcome.missing.is_gap());
                rows.map(|row| (row.whose.to_string(), row.outcome.missing))
                    .collect()
            }
        }
    }
}

impl Serialize for Margins {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let total = Sums::new(self.finished(), &self.page);
        let mut answer = serializer.serialize_map(Some(3))?;
        answer.serialize_entry("currency", self.page.currency.code())?;
        answer.serialize_entry(self.by.words().0, &Rows(self))?;
        answer.serialize_entry("total", &total)?;
        answer.end()
    }
}

struct Rows<'a>(&'a Margins);

impl Serialize for Rows<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.shown_rows())
    }
}

impl Answer for Margins {
    fn text(&self, page: &Page) -> String {
        let rows = self.rows();
        if rows.is_empty() {
            return match self.own {
                0 => "No jobs yet.".to_owned(),
                own => {
                    let jobs = count(own, "job");
                    format!("No margins yet: {jobs} on your own floors, at cost.")
                }
            };
        }
        let headings = [
            self.by.words().1,
            "Price",
            "Variations",
            "Quoted cost",
            "Actual cost",
            "Margin",
            "Quoted %",
            "Actual %",
        ];
        let mut table = page.table(headings).numbers(1..=7).goes([2, 3]);
        let (so_far, done): (Vec<&Row>, Vec<&Row>) = rows.into_iter().partition(|row| row.so_far);
        let cells =
            |row: &Row, mark| Sums::new(row.outcome, page).cells(format!("{}{mark}", row.whose));
        for row in &done {
            let gaps = row.outcome.missing.is_gap();
            let mark = match (row.cancelled, gaps) {
                (true, _) => ", cancelled",
                (false, true) => ", gaps",
                (false, false) => "",
            };
            table.row(cells(row, mark));
        }
        let total = self.finished();
        if done.len() > 1 {
            table.row(Sums::new(total, page).cells("Total".to_owned()));
        }
        for row in so_far {
            table.row(cells(row, ", so far"));
        }
        let mut text = format!("{table}\n");
        let gaps = self.gaps(&done);
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
        List::of(self.shown_rows())
    }
}
