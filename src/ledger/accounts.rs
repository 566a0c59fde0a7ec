//! The chart of accounts: what the firm calls each, and what it holds.

use std::collections::BTreeMap;

use anyhow::Result;
use rusqlite::named_params;

use super::names::{Names, named, same};
use super::{Ledger, Refusal, Writing, typed};
use crate::trade::accounts::Account;

/// What accounts are called to begin with, and what they hold.
const CHART: &str = include_str!("../../seed-data/accounts.csv");

/// An account of the chart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AccountRow {
    /// The account.
    pub account: Account,
    /// What the firm calls it.
    pub name: String,
    /// Whether it is what there is (`have`), what is owed (`owe`), the owner's (`owner`), `income` or `cost`.
    pub kind: String,
    /// What it holds.
    pub what: String,
}

impl Ledger {
    /// Returns the accounts in the order of the chart.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn accounts(&self) -> Result<Vec<AccountRow>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT account, name FROM account_name ORDER BY id")?;
        let names = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let mut names: BTreeMap<Account, String> = names.collect::<rusqlite::Result<_>>()?;
        let mut chart = csv::Reader::from_reader(CHART.as_bytes());
        let rows = chart.records().map(|row| {
            let row = row?;
            let cell = |place| row.get(place).unwrap_or_default().to_owned();
            let account: Account = cell(0).parse()?;
            Ok(AccountRow {
                account,
                name: names.remove(&account).unwrap_or_else(|| cell(1)),
                kind: cell(2),
                what: cell(3),
            })
        });
        rows.collect()
    }

    /// Returns the account that is meant by its word, or by what the firm calls it.
    ///
    /// # Errors
    /// Refuses what fits none or several.
    pub fn account(&self, wanted: &str) -> Result<AccountRow> {
        let accounts = self.accounts()?;
        let by_word = |row: &&AccountRow| same(row.account.as_str(), wanted.trim());
        if let Some(row) = accounts.iter().find(by_word) {
            return Ok(row.clone());
        }
        let named = accounts.into_iter().map(|row| (row.name.clone(), row));
        Names::new("account", named).find(wanted).cloned()
    }
}

impl Writing<'_> {
    /// Calls an account something else from now on; returns it.
    ///
    /// # Errors
    /// Refuses a name that another account has.
    pub fn rename_account(&self, account: Account, name: &str) -> Result<AccountRow> {
        let name = named("account", name)?;
        let is_taken = |row: &AccountRow| row.account != account && same(&row.name, &name);
        if let Some(taken) = self.accounts()?.into_iter().find(is_taken) {
            let words = format!(
                "the account {} is called `{}` already",
                taken.account, taken.name
            );
            return Err(Refusal::new(words)
                .hint(format!(
                    "gritledger account rename {} {}",
                    taken.account,
                    typed("ANOTHER NAME")
                ))
                .into());
        }
        self.connection.execute(
            "INSERT INTO account_name (id, account, name, recorded_at) VALUES (:id, :account, :name, :now)",
            named_params! {
                ":id": self.new_id("account_name")?, ":account": account, ":name": name, ":now": self.now(),
            },
        )?;
        self.log(&format!("Called the account {account} {name}."))?;
        self.account(account.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chart_has_every_account_once() {
        let mut chart = csv::Reader::from_reader(CHART.as_bytes());
        let words: Vec<String> = chart
            .records()
            .map(|row| row.unwrap()[0].to_owned())
            .collect();
        let all: Vec<&str> = Account::ALL
            .iter()
            .map(|account| account.as_str())
            .collect();
        assert_eq!(words.len(), all.len());
        assert!(
            all.iter()
                .all(|account| words.iter().any(|word| word == account))
        );
    }
}
