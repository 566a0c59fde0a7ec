//! Closed times: figures that were handed on, and stay as they were.
//!
//! Closing a time closes everything before it, and the next one begins on the day after it. What is recorded or taken back
//! later counts on a later day ([`Writing::counts_on`]); the database itself refuses anything else. What each account came to
//! is kept with the closing, so that `check` finds whatever moves a figure.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::{OptionalExtension, named_params};

use super::postings::Seen;
use super::{Ledger, Refusal, Writing, refuse};
use crate::money::Money;
use crate::trade::accounts::Account;
use crate::trade::bounds::FIRST_DAY;

/// A closed time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Closed {
    id: i64,
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// When it was closed.
    pub closed_on: NaiveDate,
}

/// What accounts came to in a time, and altogether by its end.
type Totals = BTreeMap<Account, (Money, Money)>;

impl Ledger {
    /// Returns the day until which everything is closed; `None`: nothing is.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn closed_until(&self) -> Result<Option<NaiveDate>> {
        let day = self
            .connection
            .prepare_cached("SELECT to_on FROM closed_until")?
            .query_row([], |row| row.get(0));
        Ok(day.optional()?)
    }

    /// Returns the closed times, the first one first.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn closed(&self) -> Result<Vec<Closed>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, from_on, to_on, date(recorded_at) AS closed_on FROM closed_period ORDER BY to_on",
        )?;
        let closed = statement.query_map([], |row| {
            Ok(Closed {
                id: row.get("id")?,
                from: row.get("from_on")?,
                to: row.get("to_on")?,
                closed_on: row.get("closed_on")?,
            })
        })?;
        Ok(closed.collect::<rusqlite::Result<_>>()?)
    }

    /// Adds up what accounts came to in a time and by its end, as all that is recorded has it.
    fn totals(&self, from: NaiveDate, to: NaiveDate) -> Result<Totals> {
        let mut totals = Totals::new();
        let as_of = self.today().max(to);
        for moved in self.moved(Seen {
            from: FIRST_DAY,
            to,
            as_of,
        })? {
            totals.entry(moved.account).or_default().1 += moved.amount;
        }
        for moved in self.moved(Seen { from, to, as_of })? {
            totals.entry(moved.account).or_default().0 += moved.amount;
        }
        totals.retain(|_, (moved, balance)| !moved.is_zero() || !balance.is_zero());
        Ok(totals)
    }

    /// Returns what accounts came to, as it was filed with a closing.
    fn filed(&self, closed: &Closed) -> Result<Totals> {
        let mut statement = self.connection.prepare_cached(
            "SELECT account, moved_minor, balance_minor FROM filed_total WHERE period_id = :period",
        )?;
        let filed = statement.query_map(named_params! { ":period": closed.id }, |row| {
            Ok((row.get(0)?, (row.get(1)?, row.get(2)?)))
        })?;
        Ok(filed.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns each filed figure that the rows don't come to any more, in words.
    pub(super) fn unlike_filed(&self) -> Result<Vec<String>> {
        let mut unlike = Vec::new();
        for closed in self.closed()? {
            let (filed, totals) = (self.filed(&closed)?, self.totals(closed.from, closed.to)?);
            for account in Account::ALL {
                let of = |totals: &Totals| totals.get(account).copied().unwrap_or_default();
                let ((was, stood), (is, stands)) = (of(&filed), of(&totals));
                let text = |amount| self.currency().text(amount);
                let time = format!("{} to {}", closed.from, closed.to);
                if was != is {
                    unlike.push(format!(
                        "{time}: {account} was filed at {}, and comes to {}",
                        text(was),
                        text(is)
                    ));
                }
                if stood != stands {
                    unlike.push(format!(
                        "{time}: {account} was filed to stand at {} in the end, and stands at {}",
                        text(stood),
                        text(stands)
                    ));
                }
            }
        }
        Ok(unlike)
    }

    /// Refuses to close a time that isn't over, is closed, or isn't the next.
    ///
    /// # Errors
    /// Refuses those.
    pub fn refuse_unclosable(&self, from: NaiveDate, to: NaiveDate) -> Result<()> {
        if to >= self.today() {
            refuse!("{from} to {to} isn't over: a time is closed when its last day is");
        }
        let Some(until) = self.closed_until()? else {
            return Ok(());
        };
        let next = until + chrono::Days::new(1);
        if to <= until {
            let words = format!(
                "everything to {until} is closed, for good: what was wrong in it is put right in the time after it"
            );
            return Err(Refusal::new(words)
                .hint(format!("gritledger report year --from {next}"))
                .into());
        }
        if from != next {
            let words = format!("everything to {until} is closed: the next time begins on {next}");
            return Err(Refusal::new(words)
                .hint(format!(
                    "gritledger report year --from {next} --to {to} --close"
                ))
                .into());
        }
        Ok(())
    }
}

impl Writing<'_> {
    /// Returns the day on which something counts that is of a closed day; `None`: its day is open, and it counts there.
    pub(super) fn counts_on(&self, day: NaiveDate) -> Result<Option<NaiveDate>> {
        let until = self.closed_until()?.filter(|until| day <= *until);
        Ok(until.map(|until| self.today().max(until + chrono::Days::new(1))))
    }

    /// Does something as of a past day, as [`Writing::as_of`] does, unless that day is closed: then it is recorded now.
    pub(super) fn as_of_open<T>(
        &self,
        day: NaiveDate,
        event: impl FnOnce() -> Result<T>,
    ) -> Result<T> {
        match self.counts_on(day)? {
            None => self.as_of(day, event),
            Some(_) => event(),
        }
    }

    /// Closes a time for good, with what each account came to.
    ///
    /// # Errors
    /// Refuses what [`Ledger::refuse_unclosable`] does.
    pub fn close(&self, from: NaiveDate, to: NaiveDate) -> Result<()> {
        self.refuse_unclosable(from, to)?;
        let id = self.new_id("closed_period")?;
        self.connection.execute(
            "INSERT INTO closed_period (id, from_on, to_on, last_entry_id, recorded_at)
             VALUES (:id, :from, :to, (SELECT COALESCE(MAX(id), 0) FROM entry), :now)",
            named_params! { ":id": id, ":from": from, ":to": to, ":now": self.now() },
        )?;
        for (account, (moved, balance)) in self.totals(from, to)? {
            self.connection
                .prepare_cached(
                    "INSERT INTO filed_total (period_id, account, moved_minor, balance_minor)
                     VALUES (:period, :account, :moved, :balance)",
                )?
                .execute(named_params! {
                    ":period": id, ":account": account, ":moved": moved, ":balance": balance,
                })?;
        }
        self.log(&format!("Closed {from} to {to}."))
    }
}
