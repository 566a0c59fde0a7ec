//! Whether the bands hold on the firm's own finished jobs, and which records look like slips.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::{self, Write as _};

use chrono::NaiveDate;
use serde::{Serialize, Serializer};

use super::{Operations, Rated, rooms};
use crate::document::figures::{Number, Quantity};
use crate::document::{Answer, List, Page, count, inert, or_blank};
use crate::ledger::Backtest;
use crate::trade::Unit;
use crate::trade::operation::Operation;
use crate::trade::rates::backtest::{Predicted, Score};
use crate::trade::rates::{Consumption, Observation, RateKind, Status};

/// An estimate in percent: a JSON number of one decimal; for people, whole.
#[derive(Clone, Copy, Debug)]
struct Estimate(f64);

impl fmt::Display for Estimate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.0} %", self.0)
    }
}

in_a_column! { Estimate }

impl Serialize for Estimate {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let number = format!("{:.1}", self.0).parse::<serde_json::Number>();
        number.ok().serialize(serializer)
    }
}

columns! {
    /// How far expectations were off, in percent of the book's figure.
    #[derive(Debug, Serialize)]
    struct Errors {
        learned: Option<Estimate>,
        book: Option<Estimate>,
        plain_average: Option<Estimate>,
    }
}

answer! {
    /// How often the bands held; without records, nobody knows.
    struct ScoreFacts of (score: &Score) on page
    let number = |value| (score.records > 0).then_some(Estimate(value));
    let [learned, book, plain_average] = score.errors.map(number);
    {
        records: usize = score.records,
        inside_80_percent: Option<Estimate> = number(score.inside),
        at_or_below_80_percent: Option<Estimate> = number(score.below),
        mean_error_percent: Errors = Errors { learned, book, plain_average },
        verdict: &'static str = score.verdict().as_str(),
    }
}

impl ScoreFacts {
    /// Says how the bands hold, of each finished job as the earlier ones foretold it.
    fn sentence(&self) -> String {
        let inside = or_blank(self.inside_80_percent);
        let records = count(self.records, "record");
        format!(
            "All in all, {}: {inside} of {records} were inside the 80 % band.\n\
             Each is of a finished job, foretold from earlier jobs only.",
            self.verdict
        )
    }

    fn cells(&self, of: &str) -> [String; 8] {
        let errors = &self.mean_error_percent;
        [
            of.to_owned(),
            self.records.to_string(),
            or_blank(self.inside_80_percent),
            or_blank(self.at_or_below_80_percent),
            or_blank(errors.learned),
            or_blank(errors.book),
            or_blank(errors.plain_average),
            self.verdict.to_owned(),
        ]
    }
}

/// Records that the proof is summed up for: those of a year, or of one kind of consumption.
#[derive(Debug, Serialize)]
struct Group {
    #[serde(flatten)]
    score: ScoreFacts,
    of: String,
}

answer! {
    /// A record that looks like a slip.
    struct SlipFacts of (found: &Predicted, backtest: &Backtest, operations: &Operations) on page
    let observation = backtest.observations.get(found.place);
    let (operation, unit) = work_of(&observation, operations);
    {
        id: String = backtest.numbers[found.place].clone(),
        finished_on: NaiveDate = observation.finished_on,
        job: String = observation.job.to_string(),
        room: String = rooms(&observation),
        operation: String,
        kind: RateKind = observation.kind,
        quantity: Number = Number(observation.quantity),
        #[serde(skip)]
        took: Quantity = page.measured(observation.quantity, unit),
        low: Number = Number(found.band.low),
        high: Number = Number(found.band.high),
        reason: Option<String> = found.slip.as_ref().map(ToString::to_string),
    }

    /// The proof and the slips.
    pub struct ProofAnswer of (backtest: &Backtest, operations: &Operations) on page
    let predicted = || backtest.predicted.iter();
    let score = |belongs: &dyn Fn(&Predicted) -> bool| {
        let found = predicted().filter(|found| belongs(found));
        ScoreFacts::new(&Score::of(&backtest.observations, found), page)
    };
    let kinds = Consumption::ALL.iter().map(|kind| Group {
        score: score(&|found| found.consumption == *kind),
        of: kind.to_string(),
    });
    let years = predicted().map(|found| found.year).collect::<BTreeSet<i32>>();
    let years = years.into_iter().map(|year| Group {
        score: score(&|found| found.year == year),
        of: year.to_string(),
    });
    let slips = predicted().filter(|found| found.status == Status::Doubted);
    {
        #[serde(flatten)]
        score: ScoreFacts = score(&|_| true),
        by: Vec<Group> = kinds.chain(years).collect(),
        slips: Vec<SlipFacts> = slips.map(|found| SlipFacts::new(found, backtest, operations, page)).collect(),
        #[serde(skip)]
        is_empty: bool = backtest.predicted.is_empty(),
    }
}

/// Names what an observation is about, and the unit of what it took.
fn work_of(observation: &Observation, operations: &Operations) -> (String, Unit) {
    let parts = observation.parts.iter();
    let done: Vec<&Operation> = parts
        .filter_map(|part| operations.get(&part.operation))
        .collect();
    let names: BTreeSet<&str> = done.iter().map(|done| done.name.as_str()).collect();
    let first = done.first();
    // Hours over several operations are on their task.
    let operation = match (observation.kind, first) {
        (RateKind::Hours, Some(first)) if names.len() > 1 => first.task.name.clone(),
        _ => names.into_iter().collect::<Vec<_>>().join(", "),
    };
    let unit = match (observation.kind, first) {
        (RateKind::Hours, _) => Unit::Hour,
        (kind, Some(first)) => Rated::from(*first).counted_in(kind),
        (_, None) => Unit::Each,
    };
    (operation, unit)
}

impl Answer for ProofAnswer {
    fn text(&self, page: &Page) -> String {
        if self.is_empty {
            return "No finished room yet: nothing to check.".to_owned();
        }
        let headings = [
            "Of", "Records", "Inside", "Below", "Off", "Book", "Average", "Verdict",
        ];
        let mut table = page.table(headings).numbers(1..=6);
        let groups = self
            .by
            .iter()
            .map(|group| (group.of.as_str(), &group.score));
        for (of, score) in std::iter::once(("all", &self.score)).chain(groups) {
            if score.records > 0 {
                table.row(score.cells(of));
            }
        }
        let mut text = if table.is_empty() {
            "No finished room yet.".to_owned()
        } else {
            let legend = page.prose(
                "80 % should be inside the 80 % band, and at or below the 80 % line; counts on the border are inside in part.\n\
                 Off: mean distance from what was expected, in percent of the book's figure; beside it that of the book alone \
                 and of the plain average.",
            );
            let answer = page.prose(&self.score.sentence());
            format!("{answer}\n\n{table}\n\n{legend}")
        };
        if !self.slips.is_empty() {
            text.push_str("\n\nThese look like slips; they are set aside until you answer:");
        }
        for slip in &self.slips {
            let number = &slip.id;
            let words = format!(
                "{number}: {} for {} in {} of {}; rooms like this take {} to {}: {}?",
                slip.took,
                slip.operation,
                inert(&slip.room),
                inert(&slip.job),
                slip.low,
                slip.high,
                or_blank(slip.reason.as_ref())
            );
            let _ = write!(
                text,
                "\n{}\n  gritledger rate confirm {number}\n  gritledger void {number} --reason \"...\"",
                page.prose(&words)
            );
        }
        for job in self.jobs_with_several_slips() {
            let words = format!("If all that is doubted of {job} is right:");
            let _ = write!(
                text,
                "\n\n{}\n  gritledger rate confirm {job}",
                page.prose(&words)
            );
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.slips)
    }
}

impl ProofAnswer {
    /// Returns what looks like a slip, job by job.
    pub fn slips_by_job(&self) -> BTreeMap<String, Vec<String>> {
        let mut slips: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for slip in &self.slips {
            slips
                .entry(slip.job.clone())
                .or_default()
                .push(slip.id.clone());
        }
        slips
    }

    /// Returns the jobs of which several records look like slips; rows of a notebook are of none.
    fn jobs_with_several_slips(&self) -> Vec<String> {
        let is_job = |job: &String| !job.contains(char::is_whitespace);
        let is_several = |slips: &Vec<String>| slips.len() > 1 && slips[0].contains('E');
        let slips = self.slips_by_job().into_iter();
        let several = slips.filter(|(job, slips)| is_job(job) && is_several(slips));
        several.map(|(job, _)| job).collect()
    }
}
