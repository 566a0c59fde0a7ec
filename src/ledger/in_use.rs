//! What of the firm's book and people is in use, and what isn't any more.
//!
//! What is out of use stays in the book, since old quotes and jobs name it, and can be put back. Lists leave it out, it is
//! meant only by its whole name, and it is neither quoted nor rented anew.

use std::collections::BTreeSet;

use anyhow::Result;
use rusqlite::named_params;

use super::names::{Names, key};
use super::{Ledger, Refusal, Writing, typed};

/// Kinds of things that can be taken out of use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "kinds need no words")]
pub enum InBook {
    Worker,
    Item,
    Machine,
    Operation,
}

impl InBook {
    /// Returns its noun, which is the command for it.
    pub const fn noun(self) -> &'static str {
        match self {
            InBook::Worker => "worker",
            InBook::Item => "item",
            InBook::Machine => "machine",
            InBook::Operation => "operation",
        }
    }

    /// Returns the query of those that are out of use, and the statement that changes one.
    const fn statements(self) -> (&'static str, &'static str) {
        match self {
            InBook::Worker => (
                "SELECT id, name FROM worker WHERE active = 0",
                "UPDATE worker SET active = :active WHERE id = :id",
            ),
            InBook::Item => (
                "SELECT id, name FROM item WHERE active = 0",
                "UPDATE item SET active = :active WHERE id = :id",
            ),
            InBook::Machine => (
                "SELECT id, name FROM machine WHERE active = 0",
                "UPDATE machine SET active = :active WHERE id = :id",
            ),
            InBook::Operation => (
                "SELECT id, name FROM operation WHERE active = 0",
                "UPDATE operation SET active = :active WHERE id = :id",
            ),
        }
    }
}

impl Ledger {
    /// Returns the identities of what is out of use.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn out_of_use(&self, kind: InBook) -> Result<BTreeSet<i64>> {
        let (query, _) = kind.statements();
        let mut statement = self.connection.prepare_cached(query)?;
        let ids = statement.query_map([], |row| row.get(0))?;
        Ok(ids.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns the whole name of what is to be put back in use, found among what is out of use by how its name begins; what
    /// fits none of them stays as it was typed.
    ///
    /// # Errors
    /// Refuses to choose between several.
    pub fn back_in_use(&self, kind: InBook, wanted: &str) -> Result<String> {
        let (query, _) = kind.statements();
        let mut statement = self.connection.prepare_cached(query)?;
        let names = statement.query_map([], |row| row.get::<_, String>("name"))?;
        let mut names: Vec<String> = names.collect::<rusqlite::Result<_>>()?;
        names.retain(|name| key(name).starts_with(&key(wanted)));
        match names.is_empty() {
            true => Ok(wanted.to_owned()),
            false => {
                let names = names.into_iter().map(|name| (name.clone(), name));
                Names::new(kind.noun(), names).find(wanted).cloned()
            }
        }
    }

    /// Refuses to begin anything with what is out of use.
    ///
    /// # Errors
    /// Says how it is put back.
    pub fn refuse_out_of_use(&self, kind: InBook, id: i64, name: &str) -> Result<()> {
        if !self.out_of_use(kind)?.contains(&id) {
            return Ok(());
        }
        let noun = kind.noun();
        Err(Refusal::new(format!("{noun} `{name}` is out of use"))
            .hint(format!("gritledger {noun} edit {} --active", typed(name)))
            .into())
    }
}

impl Writing<'_> {
    /// Takes something out of use, or puts it back.
    ///
    /// # Errors
    /// Fails if the file can't be written.
    pub fn set_in_use(&self, kind: InBook, id: i64, name: &str, active: bool) -> Result<()> {
        self.write_in_use(kind, id, active)?;
        let noun = kind.noun();
        self.log(&match active {
            true => format!("Put {noun} {name} back in use."),
            false => format!("Took {noun} {name} out of use."),
        })
    }

    pub(super) fn write_in_use(&self, kind: InBook, id: i64, active: bool) -> Result<()> {
        let (_, change) = kind.statements();
        let mut statement = self.connection.prepare_cached(change)?;
        statement.execute(named_params! { ":active": i64::from(active), ":id": id })?;
        Ok(())
    }
}
