//! The ledger as a file: made, checked, copied, put back, and what the log says.

use chrono::NaiveDateTime;
use serde::{Serialize, Serializer};

use super::quote::QuoteAnswer;
use super::rate::RateList;
use super::report::margin::Margins;
use super::report::variance::VarianceAnswer;
use super::{Answer, List, Page, count, inert};
use crate::ledger::{Identity, Transfer};
use crate::notation::{Country, Notation};

answer! {
    /// A ledger that was just made.
    pub struct InitAnswer of (ledger: String, identity: &Identity) on page
    let Identity { business, currency, units, country, notation: Notation { decimal_mark, date_order }, copy } = identity;
    {
        ledger: String,
        business: String = business.clone(),
        currency: &'static str = currency.code(),
        units: &'static str = units.as_str(),
        country: Option<String> = country.map(Country::code),
        decimal_mark: &'static str = decimal_mark.as_str(),
        date_order: &'static str = date_order.as_str(),
        copy: i64 = *copy,
    }
}

impl InitAnswer {
    /// Says it in a sentence.
    pub fn sentence(&self) -> String {
        let (business, ledger) = (inert(&self.business), inert(&self.ledger));
        format!("Opened the ledger of {business} at {ledger}.")
    }
}

/// The demo, walked through: each part is the whole answer of the command that it names.
#[derive(Debug, Serialize)]
pub struct DemoAnswer {
    /// Where it is.
    pub ledger: String,
    /// The firm's name.
    pub business: String,
    /// How many jobs are finished.
    pub jobs: usize,
    /// The rooms of those.
    #[serde(skip)]
    pub rooms: usize,
    /// The number of a quote that waits for its answer.
    pub quote: Option<String>,
    /// That quote.
    #[serde(skip)]
    pub waiting: Option<QuoteAnswer>,
    /// The number of the job that left its quote furthest.
    pub variance: Option<String>,
    /// Its variance.
    #[serde(skip)]
    pub furthest: Option<VarianceAnswer>,
    /// The numbers of the last jobs.
    #[serde(skip)]
    pub last: Vec<String>,
    /// What those made.
    #[serde(skip)]
    pub margins: Margins,
    /// Rates that were learned.
    #[serde(skip)]
    pub learned: RateList,
}

impl Answer for DemoAnswer {
    fn text(&self, page: &Page) -> String {
        let quote = self.quote.iter().zip(&self.waiting).map(|(number, quote)| {
            let heading = "A quote waits for its answer: gritledger quote show";
            (format!("{heading} {number}"), quote.text(page))
        });
        let variance = self.variance.iter().zip(&self.furthest);
        let variance = variance.map(|(job, variance)| {
            let heading = "Where a job left its quote: gritledger report variance";
            (format!("{heading} {job}"), variance.text(page))
        });
        let heading = "What the last jobs made: gritledger report margin";
        let margins = format!("{heading} {}", self.last.join(" "));
        let learned = "What the rates learned: gritledger rate list --learned".to_owned();
        let rest = [
            (margins, self.margins.text(page)),
            (learned, self.learned.text(page)),
        ];
        let parts = quote.chain(variance).chain(rest);
        let parts = parts.map(|(heading, body)| format!("\n== {heading}\n\n{}\n", body.trim_end()));
        format!(
            "{}: {} with {} are finished.\n{}",
            inert(&self.business),
            count(self.jobs, "job"),
            count(self.rooms, "room"),
            parts.collect::<String>()
        )
    }
}

/// What checking the ledger found.
#[derive(Debug, Serialize)]
pub struct CheckAnswer {
    ok: bool,
    problems: Vec<String>,
}

impl CheckAnswer {
    /// Returns the answer about these problems.
    pub fn new(problems: Vec<String>) -> CheckAnswer {
        CheckAnswer {
            ok: problems.is_empty(),
            problems,
        }
    }

    /// Lists the problems.
    pub fn text(&self) -> String {
        match self.ok {
            true => "The ledger is sound.".to_owned(),
            false => lines(self.problems.iter().map(|problem| inert(problem))),
        }
    }
}

fn lines(lines: impl Iterator<Item = String>) -> String {
    lines.collect::<Vec<_>>().join("\n")
}

/// A copy that was made, and found sound.
#[derive(Debug, Serialize)]
pub struct BackupAnswer {
    backup: String,
    ok: bool,
}

impl BackupAnswer {
    /// Returns the answer about a sound copy.
    pub fn new(backup: String) -> BackupAnswer {
        BackupAnswer { backup, ok: true }
    }

    /// Says it in a sentence.
    pub fn sentence(&self) -> String {
        let backup = inert(&self.backup);
        format!("Copied the ledger to {backup}; the copy is sound.")
    }
}

/// A backup that was put in the place of the ledger.
#[derive(Debug, Serialize)]
pub struct RestoreAnswer {
    /// Where the ledger is.
    pub ledger: String,
    /// The backup.
    pub restored_from: String,
    /// What was there before.
    pub kept: Option<String>,
}

impl RestoreAnswer {
    /// Says it in a sentence.
    pub fn sentence(&self) -> String {
        let (ledger, from) = (inert(&self.ledger), inert(&self.restored_from));
        match &self.kept {
            Some(kept) => {
                let kept = inert(kept);
                format!("Restored {ledger} from {from}; what was there is kept as {kept}.")
            }
            None => format!("Restored {ledger} from {from}."),
        }
    }
}

columns! {
    /// A sentence of the log.
    #[derive(Debug, Serialize)]
    struct LogLine {
        #[serde(serialize_with = "to_the_second")]
        recorded_at: NaiveDateTime,
        sentence: String,
    }
}

fn to_the_second<S: Serializer>(at: &NaiveDateTime, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(&at.format("%Y-%m-%dT%H:%M:%S"))
}

/// Sentences of the log, the newest first; people read them in the order in which they were written.
#[derive(Debug, Serialize)]
#[serde(transparent)]
pub struct LogAnswer {
    lines: Vec<LogLine>,
    /// How many there are before them.
    #[serde(skip)]
    earlier: usize,
}

impl LogAnswer {
    /// Returns the answer about these sentences, before which there are so many.
    pub fn new(sentences: Vec<(NaiveDateTime, String)>, earlier: usize) -> LogAnswer {
        let sentences = sentences.into_iter();
        let lines = sentences.map(|(recorded_at, sentence)| LogLine {
            recorded_at,
            sentence,
        });
        LogAnswer {
            lines: lines.collect(),
            earlier,
        }
    }
}

impl Answer for LogAnswer {
    fn text(&self, _: &Page) -> String {
        let sentences = self.lines.iter().map(|line| {
            let at = line.recorded_at.format("%Y-%m-%d %H:%M");
            format!("{at}  {}", inert(&line.sentence))
        });
        let shown = self.lines.len();
        let answer = match self.earlier {
            0 => format!("{}, the newest first:", count(shown, "sentence")),
            earlier => format!("The newest {shown} of {} sentences:", shown + earlier),
        };
        format!("{answer}\n\n{}", lines(sentences))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.lines)
    }
}

/// Rows that were brought in.
#[derive(Debug, Serialize)]
pub struct ImportAnswer {
    /// What they are.
    pub kind: Transfer,
    /// How many.
    pub rows: usize,
    /// The lines of those that the day book had already.
    pub again: Vec<u64>,
}

impl ImportAnswer {
    /// Says it in a sentence.
    pub fn sentence(&self) -> String {
        format!("Imported {} of {}.", count(self.rows, "row"), self.kind)
    }
}
