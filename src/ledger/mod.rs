//! The ledger: one SQLite file, and the only code that knows there is a database.
//!
//! Methods are questions and events in the trade's words. Questions are methods of [`Ledger`]. Events are methods of
//! [`Writing`], which exists only inside [`Ledger::write`]: one transaction for everything that must be true together,
//! with one sentence in the log for each event. An error, a panic or `--dry-run` rolls everything back.
//!
//! # Invariants
//! * What was sent, issued or logged never changes: triggers in `migrations/` refuse it, whoever asks.
//! * Nothing is deleted. Only what follows from other rows is rewritten (evidence, fit, stories, lists of what is open), and
//!   the steps, hazards and packs of a sequence, schedule, operation or item that its owner redefines: quotes keep copies
//!   of what they were priced with.
//! * Ids that this file hands out start at copy × 2^40, so rows of two copies never collide.
//! * The clock is given; nothing here asks the machine for the time.

mod accounts;
mod archive;
mod as_it_stood;
mod before;
mod book;
mod books;
mod budgets;
mod causes;
mod check;
mod clients;
mod closing;
mod columns;
mod corrections;
mod csv;
mod day_book;
mod demo;
mod doorways;
mod doubts;
mod entries;
mod evidence;
mod explained;
mod export;
mod file;
mod findings;
mod fit;
mod groups;
mod house_brief;
mod house_sheet;
mod import;
mod in_use;
mod interest;
mod invoices;
mod items;
mod jobs;
mod kept;
mod letterhead;
mod logged;
mod losses;
mod machines;
mod methods;
mod names;
mod offer;
mod operations;
mod overheads;
mod own;
mod payments;
mod plans;
mod postings;
mod promises;
mod quote_lines;
mod quote_rows;
mod quoted;
mod quotes;
mod rates;
mod readings;
mod receivables;
mod records;
mod refusal;
mod rentals;
mod reports;
mod rooms;
mod rows;
mod seals;
mod seed;
mod settings;
mod shopping;
mod slips;
mod stock;
mod stories;
mod tax;
mod today;
mod trips;
mod variations;
mod work_in_hand;
mod workers;
mod year;

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::ops::Deref;
use std::path::PathBuf;
use std::rc::Rc;

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use rusqlite::{Connection, named_params};

pub use self::accounts::AccountRow;
pub use self::before::*;
pub use self::book::*;
pub use self::books::*;
pub use self::budgets::*;
pub use self::clients::*;
pub use self::closing::Closed;
pub use self::corrections::*;
pub use self::csv::defused;
pub use self::day_book::*;
pub use self::doorways::*;
pub use self::doubts::*;
pub use self::entries::*;
pub use self::evidence::*;
pub use self::explained::*;
pub use self::file::*;
pub use self::findings::*;
pub use self::groups::*;
pub use self::house_brief::*;
pub use self::house_sheet::*;
pub use self::import::*;
pub use self::in_use::*;
pub use self::invoices::*;
pub use self::items::*;
pub use self::jobs::*;
pub use self::letterhead::*;
pub use self::machines::*;
pub use self::methods::*;
pub(crate) use self::names::{can_be_shown, key as name_key, near_names, same};
pub use self::offer::*;
pub use self::operations::*;
pub use self::overheads::*;
pub use self::payments::*;
pub use self::plans::*;
pub use self::postings::AccountLine;
pub use self::quotes::*;
pub use self::readings::*;
pub use self::receivables::*;
pub use self::records::Records;
pub(crate) use self::refusal::refuse;
pub use self::refusal::{Refusal, typed};
pub use self::rentals::*;
pub use self::reports::*;
pub use self::rooms::*;
pub use self::settings::*;
pub use self::shopping::*;
pub use self::stock::*;
pub use self::stories::RateHistory;
pub use self::tax::*;
pub use self::today::*;
pub use self::trips::DrivingLeftOut;
pub use self::variations::*;
pub use self::work_in_hand::*;
pub use self::workers::*;
pub use self::year::*;
use crate::measure::Units;
use crate::money::Currency;
use crate::notation::{Country, Notation};
use crate::trade::{Unit, bounds};

/// How far apart the ids of two copies are.
const COPY_STRIDE_BITS: u32 = 40;

/// What time it is, as far as the ledger is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clock {
    /// The date that entries without one get.
    pub today: NaiveDate,
    /// The moment of recording.
    pub now: NaiveDateTime,
}

impl Clock {
    /// Returns the clock at the start of a day.
    pub fn at(today: NaiveDate) -> Clock {
        Clock {
            today,
            now: today.and_time(NaiveTime::MIN),
        }
    }
}

/// What a ledger is: its business, currency, units and copy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identity {
    /// The firm's name.
    pub business: String,
    /// The currency of every amount.
    pub currency: Currency,
    /// The units of bare numbers and of what is printed.
    pub units: Units,
    /// The country whose laws are named; `None`: no country's are.
    pub country: Option<Country>,
    /// How figures and dates are typed.
    pub notation: Notation,
    /// Which copy of the ledger this file is.
    pub copy: i64,
}

/// An open ledger.
#[derive(Debug)]
pub struct Ledger {
    connection: Connection,
    /// The file, as it is called where it is told of.
    path: PathBuf,
    identity: Identity,
    clock: Cell<Clock>,
    /// What the writes of this run have put into the log.
    said: RefCell<Vec<String>>,
    /// The settings, as the transaction that is open has read them.
    settings: RefCell<Option<Rc<Settings>>>,
}

/// The right to write, inside one transaction.
///
/// What an event is handed may be older than the transaction: what its refusals rest on (a job's state, what an invoice
/// owes, an answer to a quote) is read again inside it.
#[derive(Debug)]
pub struct Writing<'ledger> {
    ledger: &'ledger Ledger,
    /// Rows that are sealed before the write is over: their tables and ids.
    unsealed: RefCell<Vec<(&'static str, i64)>>,
    /// The last id of each table that this write gave a row: nobody else writes meanwhile.
    last_ids: RefCell<BTreeMap<&'static str, i64>>,
}

impl Deref for Writing<'_> {
    type Target = Ledger;

    fn deref(&self) -> &Ledger {
        self.ledger
    }
}

impl Ledger {
    /// Answers questions from one snapshot: what others write meanwhile is not seen.
    ///
    /// # Errors
    /// Fails with whatever `questions` fails with; refuses while another program holds the ledger.
    pub fn read<T>(&self, questions: impl FnOnce(&Ledger) -> Result<T>) -> Result<T> {
        self.settings.take();
        let snapshot = rusqlite::Transaction::new_unchecked(
            &self.connection,
            rusqlite::TransactionBehavior::Deferred,
        )?;
        let answer = questions(self).map_err(|error| self.in_words(error))?;
        // A fit that was made on the way is kept, if the file can be written just now: else it is made again.
        let _ = snapshot.commit();
        Ok(answer)
    }

    /// Does something in one transaction; with `dry_run` the work is done and rolled back.
    ///
    /// Nobody else writes from its beginning to its end: what `events` looks up through its [`Writing`] still holds when
    /// it is written. What was looked up before may not.
    ///
    /// # Errors
    /// Fails with whatever `events` fails with, and then nothing was written; refuses while another program holds the
    /// ledger.
    pub fn write<T>(
        &self,
        dry_run: bool,
        events: impl FnOnce(&Writing<'_>) -> Result<T>,
    ) -> Result<T> {
        let write = || {
            let (writing, transaction) = self.begin()?;
            let outcome = events(&writing)?;
            writing.end(transaction, dry_run)?;
            Ok(outcome)
        };
        write().map_err(|error| self.in_words(error))
    }

    fn begin(&self) -> Result<(Writing<'_>, rusqlite::Transaction<'_>)> {
        self.said.take();
        self.settings.take();
        let transaction = rusqlite::Transaction::new_unchecked(
            &self.connection,
            rusqlite::TransactionBehavior::Immediate,
        )?;
        let writing = Writing {
            ledger: self,
            unsealed: RefCell::default(),
            last_ids: RefCell::default(),
        };
        Ok((writing, transaction))
    }

    /// Returns the sentences that were written to the log since it was asked last.
    pub fn take_said(&self) -> Vec<String> {
        self.said.take()
    }

    /// Says in words what the file itself won't do, wherever in the work it came up.
    fn in_words(&self, error: anyhow::Error) -> anyhow::Error {
        file::in_words(&self.path, error)
    }

    /// Returns what the ledger is.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }

    /// Returns the ledger's currency.
    pub fn currency(&self) -> Currency {
        self.identity.currency
    }

    /// Returns the units of bare numbers and of what is printed.
    pub fn units(&self) -> Units {
        self.identity.units
    }

    /// Returns what driving is counted in.
    pub fn road(&self) -> Unit {
        Unit::of_roads(self.units())
    }

    /// Returns how figures and dates are typed.
    pub fn notation(&self) -> Notation {
        self.identity.notation
    }

    /// Returns today's date.
    pub fn today(&self) -> NaiveDate {
        self.clock.get().today
    }

    fn now(&self) -> NaiveDateTime {
        self.clock.get().now
    }

    /// Returns the newest sentences of the log, newest first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn log_lines(
        &self,
        count: u32,
        days: Days,
    ) -> Result<(Vec<(NaiveDateTime, String)>, usize)> {
        let begun = |day: NaiveDate| day.and_time(NaiveTime::MIN);
        let first = begun(days.from.unwrap_or(bounds::FIRST_DAY));
        let after = days.to.map(|last| begun(last + chrono::Days::new(1)));
        let mut statement = self.connection.prepare_cached(
            "SELECT recorded_at, sentence FROM log
             WHERE recorded_at >= :first AND (:after IS NULL OR recorded_at < :after)
             ORDER BY id DESC LIMIT :count",
        )?;
        let asked = named_params! { ":count": count, ":first": first, ":after": after };
        let lines = statement.query_map(asked, |row| {
            Ok((row.get("recorded_at")?, row.get("sentence")?))
        })?;
        let lines: Vec<(NaiveDateTime, String)> = lines.collect::<rusqlite::Result<_>>()?;
        let all: usize = self.connection.query_row(
            "SELECT COUNT(*) FROM log WHERE recorded_at >= :first AND (:after IS NULL OR recorded_at < :after)",
            named_params! { ":first": first, ":after": after },
            |row| Ok(row.get::<_, i64>(0)?.try_into().unwrap_or_default()),
        )?;
        let earlier = all - lines.len();
        Ok((lines, earlier))
    }
}

impl Writing<'_> {
    fn end(&self, transaction: rusqlite::Transaction<'_>, dry_run: bool) -> Result<()> {
        self.seal_what_was_written()?;
        if dry_run {
            transaction.rollback()?;
            self.said.take();
        } else {
            transaction.commit()?;
        }
        Ok(())
    }

    /// Adds a sentence to the log.
    fn log(&self, sentence: &str) -> Result<()> {
        self.connection
            .prepare_cached("INSERT INTO log (id, recorded_at, sentence) VALUES (:id, :now, :sentence)")?
            .execute(named_params! { ":id": self.new_id("log")?, ":now": self.now(), ":sentence": sentence })?;
        self.said.borrow_mut().push(sentence.to_owned());
        Ok(())
    }

    /// Returns the next id of a table in this copy's range.
    fn new_id(&self, table: &'static str) -> Result<i64> {
        let last = self.last_ids.borrow().get(table).copied();
        let id = last.map_or_else(|| self.first_id(table), |last| Ok(last + 1))?;
        self.last_ids.borrow_mut().insert(table, id);
        if seals::is_sealed_when_made(table) {
            self.seal(table, id);
        }
        Ok(id)
    }

    /// Returns the id after the last one of a table, as the file has it.
    fn first_id(&self, table: &str) -> Result<i64> {
        let base = self.identity.copy << COPY_STRIDE_BITS;
        let sql = format!(
            "SELECT COALESCE(MAX(id), :base) + 1 FROM {table} WHERE id >= :base AND id < :next"
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let next = base + (1 << COPY_STRIDE_BITS);
        Ok(
            statement.query_row(named_params! { ":base": base, ":next": next }, |row| {
                row.get(0)
            })?,
        )
    }

    /// Returns the next number of a series (quotes, jobs, entries, payments) in this copy.
    fn new_number(&self, table: &'static str) -> Result<i64> {
        let sql =
            format!("SELECT COALESCE(MAX(number), 0) + 1 FROM {table} WHERE id >> 40 = :copy");
        let mut statement = self.connection.prepare_cached(&sql)?;
        Ok(
            statement.query_row(named_params! { ":copy": self.identity.copy }, |row| {
                row.get(0)
            })?,
        )
    }

    /// Sets the clock while history is written: what happened then is recorded as of then.
    fn set_clock(&self, clock: Clock) {
        self.ledger.clock.set(clock);
    }
}

/// Writes a number of a series with its letter: `J1`, or `2-J1` for a row of copy 2.
fn numbered(letter: char, id: i64, number: i64) -> String {
    match id >> COPY_STRIDE_BITS {
        0 => format!("{letter}{number}"),
        copy => format!("{copy}-{letter}{number}"),
    }
}

/// Reads a number of a series: `J1`, `j1`, `1`, `2-J1`; returns copy and number.
fn read_number(letter: char, text: &str) -> Option<(i64, i64)> {
    let text = text.trim();
    let (copy, rest) = match text.split_once('-') {
        Some((copy, rest)) => (copy.parse().ok()?, rest),
        None => (0, text),
    };
    let digits = rest
        .strip_prefix([letter, letter.to_ascii_lowercase()])
        .unwrap_or(rest);
    let number = digits
        .bytes()
        .all(|byte| byte.is_ascii_digit())
        .then(|| digits.parse().ok())??;
    (number > 0).then_some((copy, number))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_they_are_written() {
        for (text, read) in [
            ("J1", Some((0, 1))),
            ("j12", Some((0, 12))),
            ("7", Some((0, 7))),
            ("2-J3", Some((2, 3))),
            ("J0", None),
            ("Jx", None),
            ("", None),
            ("J-1", None),
            ("Q1", None),
            ("J99999999999999999999", None),
        ] {
            assert_eq!(read_number('J', text), read, "{text}");
        }
        assert_eq!(numbered('J', (2 << 40) + 5, 3), "2-J3");
    }
}
