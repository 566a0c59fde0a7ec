//! Is the file whole, and its schema the one that this program made?

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Result;
use chrono::NaiveDateTime;
use rusqlite::Connection;
use rusqlite::types::FromSql;

use super::super::file::{APPLICATION_ID, migrate};
use super::{Ledger, Problems};

/// Type and name of a part of the schema, and its text.
type Schema = BTreeMap<(String, String), String>;

impl Ledger {
    pub(super) fn check_file(&self, problems: &mut Problems) -> Result<()> {
        self.each_that(problems, "PRAGMA integrity_check", |row| {
            let verdict: String = row.get(0)?;
            Ok((verdict != "ok").then(|| format!("file: {verdict}")))
        })?;
        self.each(
            problems,
            "SELECT \"table\", rowid, parent FROM pragma_foreign_key_check",
            |row| {
                let (table, id, parent): (String, Option<i64>, String) =
                    (row.get(0)?, row.get(1)?, row.get(2)?);
                let place = id.map(|id| format!(", row {id}")).unwrap_or_default();
                Ok(format!(
                    "broken reference in {table}{place}: its {parent} is gone"
                ))
            },
        )
    }

    /// Tables, views, indexes and triggers are those of a ledger made just now: what guards the rows guards them still.
    pub(super) fn check_schema(&self, problems: &mut Problems) -> Result<()> {
        let mut fresh = Connection::open_in_memory()?;
        migrate(&mut fresh, Path::new("a fresh ledger"))?;
        let (meant, mut found) = (schema_of(&fresh)?, schema_of(&self.connection)?);
        for ((kind, name), text) in &meant {
            match found.remove(&(kind.clone(), name.clone())) {
                None => problems.push(format!("schema: the {kind} `{name}` is gone")),
                Some(other) if other != *text => {
                    problems.push(format!("schema: the {kind} `{name}` was changed"));
                }
                Some(_) => {}
            }
        }
        // Somebody's own view or index changes nothing; a trigger may.
        let strange = found.into_keys().filter(|(kind, _)| kind == "trigger");
        problems.extend(
            strange
                .map(|(_, name)| format!("schema: the trigger `{name}` is none of the ledger's")),
        );
        for (pragma, means, meant) in [
            ("application_id", "the file's mark", APPLICATION_ID),
            ("user_version", "the schema's version", version_of(&fresh)?),
        ] {
            let found: i32 = self
                .connection
                .pragma_query_value(None, pragma, |row| row.get(0))?;
            if found != meant {
                problems.push(format!("schema: {means} is {found}, not {meant}"));
            }
        }
        Ok(())
    }

    /// Every moment that is kept can be read; days are looked after by the tables themselves.
    pub(super) fn check_moments(&self, problems: &mut Problems) -> Result<()> {
        let mut columns = self.connection.prepare(
            "SELECT tables.name, columns.name FROM pragma_table_list AS tables, pragma_table_info(tables.name) AS columns
             WHERE tables.type = 'table' AND tables.schema = 'main' AND tables.name NOT LIKE 'sqlite%'
                   AND (columns.name = 'at' OR columns.name LIKE '%\\_at' ESCAPE '\\')
             ORDER BY 1, 2",
        )?;
        let mut columns = columns.query([])?;
        while let Some(column) = columns.next()? {
            let (table, column): (String, String) = (column.get(0)?, column.get(1)?);
            let sql =
                format!("SELECT \"{column}\" FROM \"{table}\" WHERE \"{column}\" IS NOT NULL");
            let mut moments = self.connection.prepare(&sql)?;
            let mut moments = moments.query([])?;
            while let Some(moment) = moments.next()? {
                let kept = moment.get_ref(0)?;
                if NaiveDateTime::column_result(kept).is_err() {
                    let text = kept.as_str().unwrap_or_default();
                    problems.push(format!("{table}: `{text}` in {column} is not a moment"));
                }
            }
        }
        Ok(())
    }
}

fn schema_of(connection: &Connection) -> Result<Schema> {
    let mut statement = connection
        .prepare("SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite%'")?;
    let parts = statement.query_map([], |row| {
        Ok(((row.get(0)?, row.get(1)?), row.get::<_, String>(2)?))
    })?;
    Ok(parts.collect::<rusqlite::Result<_>>()?)
}

fn version_of(connection: &Connection) -> Result<i32> {
    Ok(connection.pragma_query_value(None, "user_version", |row| row.get(0))?)
}
