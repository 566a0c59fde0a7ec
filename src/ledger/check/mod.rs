//! `check`: the file's integrity, and every invariant of the ledger recomputed from its rows.
//!
//! Each file asks one question of all rows: what would another row contradict, if this one were changed? A question that
//! can't be answered, because something can't even be read, is a problem among others and never the end of the check.
//! What no row contradicts is told by [`super::seals`].

mod book;
mod closing;
mod day_book;
mod events;
mod evidence;
mod file;
mod invoices;
mod numbers;
mod open;
mod places;
mod quotes;
mod rentals;
mod stock;

use anyhow::Result;
use rusqlite::Row;

use super::{Ledger, numbered};
use crate::money::{Money, within};

/// Problems as they are found, in words.
type Problems = Vec<String>;

/// What is asked, and how.
type Question = (&'static str, fn(&Ledger, &mut Problems) -> Result<()>);

const QUESTIONS: &[Question] = &[
    ("file", Ledger::check_file),
    ("schema", Ledger::check_schema),
    ("moments", Ledger::check_moments),
    ("numbers", Ledger::check_numbers),
    ("clients, sites and rooms", Ledger::check_places),
    ("settings", Ledger::check_settings),
    ("book", Ledger::check_book),
    ("quotes", Ledger::check_quotes),
    ("what happened to quotes and jobs", Ledger::check_events),
    ("day book", Ledger::check_day_book),
    ("stock", Ledger::check_stock),
    ("rentals", Ledger::check_rentals),
    ("invoices", Ledger::check_invoices),
    ("payments", Ledger::check_payments),
    ("closed times", Ledger::check_closing),
    ("rates", Ledger::check_evidence),
    ("what is open", Ledger::check_open),
    ("seals", Ledger::check_seals),
];

impl Ledger {
    /// Returns every problem found, in words; none: the ledger is sound.
    ///
    /// # Errors
    /// Fails only if the file can't be read at all.
    pub fn problems(&self) -> Result<Vec<String>> {
        // What is asked last holds all evidence: no pages are to be held beside it, and no question reads them twice.
        self.in_passing(|| self.answers())
    }

    fn answers(&self) -> Result<Vec<String>> {
        let mut problems = Vec::new();
        for (name, question) in QUESTIONS {
            let answered = within(|| question(self, &mut problems));
            if let Err(error) = answered.map_err(Into::into).flatten() {
                problems.push(format!("{name}: can't be read ({error:#})"));
            }
        }
        Ok(problems)
    }

    /// Returns what was read; what can't be read is one problem among others.
    fn legible<T>(read: Result<T>, problems: &mut Problems) -> Option<T> {
        read.map_err(|error| problems.push(format!("{error:#}")))
            .ok()
    }

    fn check_seals(&self, problems: &mut Problems) -> Result<()> {
        problems.extend(self.broken_seals()?);
        Ok(())
    }

    /// Adds a problem for each row that a query selects.
    fn each(
        &self,
        problems: &mut Problems,
        sql: &str,
        words: impl Fn(&Row<'_>) -> rusqlite::Result<String>,
    ) -> Result<()> {
        let mut statement = self.connection.prepare(sql)?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            problems.push(words(row)?);
        }
        Ok(())
    }

    /// Adds a problem for each row that a query selects and a test finds something in.
    fn each_that(
        &self,
        problems: &mut Problems,
        sql: &str,
        test: impl Fn(&Row<'_>) -> Result<Option<String>>,
    ) -> Result<()> {
        let mut statement = self.connection.prepare(sql)?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            problems.extend(test(row)?);
        }
        Ok(())
    }

    /// Returns words for two amounts that should be one, if they aren't.
    fn unlike(&self, subject: &str, what: &str, is: Money, should: Money) -> Option<String> {
        let currency = self.currency();
        (is != should).then(|| {
            format!(
                "{subject}: {what} {}, not {}",
                currency.text(should),
                currency.text(is)
            )
        })
    }
}

/// Returns the number of a row that has it in `id` and `number`.
fn called(letter: char, row: &Row<'_>) -> rusqlite::Result<String> {
    Ok(numbered(letter, row.get("id")?, row.get("number")?))
}
