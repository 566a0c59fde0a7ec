//! Seals: a digest of every row that must stay as it was written, chained in each copy.
//!
//! Ids are handed out at one door, [`Writing::new_id`], which remembers those of tables that are sealed; at the end of a
//! write their rows are read back and sealed in that order. So no event seals anything itself, but for an invoice, which
//! is sealed when it is issued.
//!
//! A digest is made of the names and values of all columns that have a value, so a column that comes later, empty in older
//! rows, changes none of them.

use std::collections::HashMap;
use std::hash::Hasher;

use anyhow::Result;
use rusqlite::types::ValueRef;
use rusqlite::{OptionalExtension, Rows, named_params};
use siphasher::sip::SipHasher13;

use super::{Ledger, Writing, numbered};

/// A table whose rows are sealed.
struct Sealed {
    table: &'static str,
    /// What a row is called: the letter of its number (or nothing), that number's id, the number, and words after it.
    called: &'static str,
    /// The rows that are part of it.
    parts: &'static [&'static str],
    /// Columns that aren't sealed: they say who a client is and where, and must be able to be forgotten.
    leaves_out: &'static [&'static str],
}

/// A row by itself.
const ROW: Sealed = Sealed {
    table: "",
    called: "",
    parts: &[],
    leaves_out: &[],
};

/// The firm's own row, for which no id is handed out.
pub(super) const FIRM: (&str, i64) = ("ledger", 1);

/// Invoices, which are sealed when they are issued.
pub(super) const INVOICE: &str = "invoice";

const SEALED: &[Sealed] = &[
    Sealed {
        table: "entry",
        called: "SELECT 'E', id, number, '' FROM entry WHERE id = :id",
        parts: &[
            "SELECT * FROM entry_room WHERE entry_id = :id ORDER BY room_id",
            "SELECT * FROM rental_tariff WHERE entry_id = :id",
        ],
        ..ROW
    },
    Sealed {
        table: INVOICE,
        called: "SELECT 'I', id, number, '' FROM invoice WHERE id = :id",
        parts: &[
            // A deposit's line names the site.
            "SELECT invoice_line.*, CASE kind WHEN 'deposit' THEN NULL ELSE what END AS said FROM invoice_line
             JOIN invoice ON invoice.id = invoice_id WHERE invoice_id = :id ORDER BY position",
            "SELECT * FROM invoice_allowance WHERE invoice_id = :id ORDER BY position",
            "SELECT * FROM invoice_tax WHERE invoice_id = :id ORDER BY tax_micro",
        ],
        leaves_out: &["client", "client_address", "client_tax_number", "site", "what"],
    },
    Sealed {
        table: "write_off",
        called: "SELECT 'I', invoice.id, invoice.number, ' written off' FROM write_off
                 JOIN invoice ON invoice.id = invoice_id WHERE write_off.id = :id",
        ..ROW
    },
    Sealed {
        table: "write_off_void",
        called: "SELECT 'I', invoice.id, invoice.number, ', the loss taken back' FROM write_off_void
                 JOIN write_off ON write_off.id = write_off_id JOIN invoice ON invoice.id = invoice_id
                 WHERE write_off_void.id = :id",
        ..ROW
    },
    Sealed {
        table: "payment",
        called: "SELECT 'P', id, number, '' FROM payment WHERE id = :id",
        ..ROW
    },
    Sealed {
        table: "payment_void",
        called: "SELECT 'P', payment.id, payment.number, ' taken back' FROM payment_void
                 JOIN payment ON payment.id = payment_id WHERE payment_void.id = :id",
        ..ROW
    },
    Sealed {
        table: "payment_application",
        called: "SELECT 'P', payment.id, payment.number, ' applied' FROM payment_application
                 JOIN payment ON payment.id = payment_id WHERE payment_application.id = :id",
        ..ROW
    },
    Sealed {
        table: "quote",
        called: "SELECT 'Q', id, number, CASE WHEN version > 1 THEN '.' || version ELSE '' END ||
                        CASE WHEN option_name <> '' THEN ' (' || option_name || ')' ELSE '' END
                 FROM quote WHERE id = :id",
        parts: &[
            "SELECT * FROM quote_room WHERE quote_id = :id ORDER BY position",
            "SELECT * FROM quote_line WHERE quote_id = :id ORDER BY position",
            "SELECT * FROM replaced_line WHERE quote_id = :id ORDER BY line_id",
            "SELECT * FROM quote_tariff WHERE quote_id = :id ORDER BY machine_id",
            "SELECT * FROM quote_rate WHERE quote_id = :id ORDER BY operation_id, kind, floor_condition, species",
            "SELECT * FROM quote_caution WHERE quote_id = :id ORDER BY position",
            "SELECT * FROM quote_discount WHERE quote_id = :id ORDER BY position",
        ],
        ..ROW
    },
    Sealed {
        table: "quote_event",
        called: "SELECT 'Q', quote.id, quote.number, ' ' || what FROM quote_event
                 JOIN quote ON quote.id = quote_id WHERE quote_event.id = :id",
        parts: &["SELECT * FROM sent_room WHERE quote_event_id = :id ORDER BY room_id"],
        leaves_out: &["client", "client_address", "site"],
    },
    Sealed {
        table: "house_plan",
        called: "SELECT 'Q', quote.id, quote.number, ', plan ' || revision FROM house_plan
                 JOIN quote ON quote.id = quote_id WHERE house_plan.id = :id",
        ..ROW
    },
    Sealed {
        table: "job",
        called: "SELECT 'J', id, number, '' FROM job WHERE id = :id",
        ..ROW
    },
    Sealed {
        table: "job_event",
        called: "SELECT 'J', job.id, job.number, ' ' || what FROM job_event
                 JOIN job ON job.id = job_id WHERE job_event.id = :id",
        parts: &["SELECT * FROM closed_room WHERE job_event_id = :id ORDER BY room_id"],
        leaves_out: &["client", "site"],
    },
    Sealed {
        table: "reading",
        called: "SELECT '', 0, 0, 'reading ' || id || ' (' || kind || ')' FROM reading WHERE id = :id",
        leaves_out: &["by_whom"],
        ..ROW
    },
    Sealed {
        table: "reading_void",
        called: "SELECT '', 0, 0, 'reading ' || reading_id || ' taken back' FROM reading_void WHERE id = :id",
        ..ROW
    },
    Sealed {
        table: "setting",
        called: "SELECT '', 0, 0, 'setting ' || name FROM setting WHERE id = :id",
        ..ROW
    },
    Sealed {
        table: "account_name",
        called: "SELECT '', 0, 0, 'name of the account ' || account FROM account_name WHERE id = :id",
        ..ROW
    },
    Sealed {
        table: "closed_period",
        called: "SELECT '', 0, 0, 'closed ' || from_on || ' to ' || to_on FROM closed_period WHERE id = :id",
        parts: &["SELECT * FROM filed_total WHERE period_id = :id ORDER BY account"],
        ..ROW
    },
    Sealed {
        table: "letterhead",
        called: "SELECT '', 0, 0, 'letterhead ' || id FROM letterhead WHERE id = :id",
        ..ROW
    },
    Sealed {
        table: "tax_rate",
        called: "SELECT '', 0, 0, 'tax rate of ' || name || ' from ' || valid_from FROM tax_rate
                 JOIN tax_area ON tax_area.id = tax_area_id WHERE tax_rate.id = :id",
        ..ROW
    },
    Sealed {
        table: "book_rate",
        called: "SELECT '', 0, 0, 'book rate of ' || name || ' (' || kind || ')' FROM book_rate
                 JOIN operation ON operation.id = operation_id WHERE book_rate.id = :id",
        ..ROW
    },
    Sealed {
        table: "rate_change",
        called: "SELECT '', 0, 0, 'change of ' || name || ' since ' || since FROM rate_change
                 JOIN operation ON operation.id = operation_id WHERE rate_change.id = :id",
        ..ROW
    },
    Sealed {
        table: FIRM.0,
        called: "SELECT '', 0, 0, 'the firm' FROM ledger WHERE id = :id",
        ..ROW
    },
];

/// Ids, a bit for each: they follow each other, and there are many.
#[derive(Debug, Default)]
struct Ids(HashMap<i64, u64>);

impl Ids {
    fn place(id: i64) -> (i64, u64) {
        (id >> 6, 1 << (id & 63))
    }

    /// Adds an id; `false`: it was there.
    fn insert(&mut self, id: i64) -> bool {
        let (word, bit) = Ids::place(id);
        let bits = self.0.entry(word).or_default();
        let is_new = *bits & bit == 0;
        *bits |= bit;
        is_new
    }

    fn has(&self, id: i64) -> bool {
        let (word, bit) = Ids::place(id);
        self.0.get(&word).is_some_and(|bits| bits & bit != 0)
    }
}

fn sealed(table: &str) -> Option<&'static Sealed> {
    SEALED.iter().find(|sealed| sealed.table == table)
}

/// Tells whether the rows of a table are sealed as soon as they are there.
pub(super) fn is_sealed_when_made(table: &str) -> bool {
    table != INVOICE && sealed(table).is_some()
}

impl Writing<'_> {
    /// Remembers a row that is to be sealed at the end of the write.
    pub(super) fn seal(&self, table: &'static str, row: i64) {
        self.unsealed.borrow_mut().push((table, row));
    }

    /// Seals what was written.
    pub(super) fn seal_what_was_written(&self) -> Result<()> {
        let unsealed = self.unsealed.take();
        if unsealed.is_empty() {
            return Ok(());
        }
        let first = self.first_id("seal")?;
        let last: Option<i64> = self
            .connection
            .prepare_cached("SELECT digest FROM seal WHERE id = :id - 1")?
            .query_row(named_params! { ":id": first }, |row| row.get(0))
            .optional()?;
        let mut before = last.unwrap_or_default();
        for (id, (table, row)) in (first..).zip(unsealed) {
            let Some(digest) = self.digest_of(table, row, before)? else {
                continue;
            };
            self.connection
                .prepare_cached("INSERT INTO seal (id, sealed, row_id, digest) VALUES (:id, :table, :row, :digest)")?
                .execute(named_params! { ":id": id, ":table": table, ":row": row, ":digest": digest })?;
            before = digest;
        }
        Ok(())
    }
}

impl Ledger {
    /// Returns the digest of a row, with what is part of it, after another; `None`: there is no such row.
    fn digest_of(&self, table: &str, row: i64, before: i64) -> Result<Option<i64>> {
        let Some(sealed) = sealed(table) else {
            return Ok(None);
        };
        let mut hasher = SipHasher13::new();
        hasher.write(&before.to_le_bytes());
        let own = format!("SELECT * FROM {} WHERE id = :id", sealed.table);
        let mut statement = self.connection.prepare_cached(&own)?;
        if hash(
            &mut hasher,
            sealed.leaves_out,
            statement.query(named_params! { ":id": row })?,
        )? == 0
        {
            return Ok(None);
        }
        for part in sealed.parts {
            let mut statement = self.connection.prepare_cached(part)?;
            let rows = hash(
                &mut hasher,
                sealed.leaves_out,
                statement.query(named_params! { ":id": row })?,
            )?;
            hasher.write(&rows.to_le_bytes());
        }
        Ok(Some(hasher.finish().cast_signed()))
    }

    /// Returns every row that isn't as it was sealed, was never sealed, or is gone, in words.
    ///
    /// A row that was changed is named alone: those after it are digested with what its seal says.
    pub(super) fn broken_seals(&self) -> Result<Vec<String>> {
        let mut broken = Vec::new();
        let mut seen: HashMap<&str, Ids> = HashMap::new();
        // What may stand before the next seal: what the one before says, and what it should say.
        let mut last: Option<(i64, [i64; 2])> = None;
        let mut statement = self
            .connection
            .prepare_cached("SELECT id, sealed, row_id, digest FROM seal ORDER BY id")?;
        let mut seals = statement.query([])?;
        while let Some(seal) = seals.next()? {
            let (id, table, row, digest): (i64, String, i64, i64) =
                (seal.get(0)?, seal.get(1)?, seal.get(2)?, seal.get(3)?);
            let before = match last {
                Some((before, digests)) if before == id - 1 => digests,
                _ if id & ((1 << super::COPY_STRIDE_BITS) - 1) == 1 => [0, 0],
                _ => {
                    broken.push(format!("seals: the one before seal {id} is gone"));
                    last = Some((id, [digest; 2]));
                    continue;
                }
            };
            let [said, meant] = before;
            let found = self.digest_of(&table, row, said)?;
            let fits = found == Some(digest)
                || (said != meant && self.digest_of(&table, row, meant)? == Some(digest));
            if !fits {
                let name = self.name_of_sealed(&table, row)?;
                broken.push(match found {
                    Some(_) => format!("{name}: it isn't as it was written"),
                    None => format!("{name}: it is gone"),
                });
            }
            if let Some(sealed) = sealed(&table)
                && !seen.entry(sealed.table).or_default().insert(row)
            {
                let name = self.name_of_sealed(&table, row)?;
                broken.push(format!("{name}: it was sealed twice"));
            }
            last = Some((id, [digest, found.unwrap_or(digest)]));
        }
        for sealed in SEALED {
            let drafts = if sealed.table == INVOICE {
                " WHERE number IS NOT NULL"
            } else {
                ""
            };
            let sql = format!("SELECT id FROM {}{drafts} ORDER BY id", sealed.table);
            let mut statement = self.connection.prepare_cached(&sql)?;
            let mut rows = statement.query([])?;
            let known = seen.remove(sealed.table).unwrap_or_default();
            while let Some(row) = rows.next()? {
                let row: i64 = row.get(0)?;
                if !known.has(row) {
                    let name = self.name_of_sealed(sealed.table, row)?;
                    broken.push(format!("{name}: it has no seal, so another hand wrote it"));
                }
            }
        }
        Ok(broken)
    }

    fn name_of_sealed(&self, table: &str, row: i64) -> Result<String> {
        let Some(sealed) = sealed(table) else {
            return Ok(format!("{table}, row {row}"));
        };
        let name = self
            .connection
            .prepare_cached(sealed.called)?
            .query_row(named_params! { ":id": row }, |called| {
                let (letter, id, number): (String, i64, i64) =
                    (called.get(0)?, called.get(1)?, called.get(2)?);
                let number = letter
                    .chars()
                    .next()
                    .map(|letter| numbered(letter, id, number));
                Ok(format!(
                    "{}{}",
                    number.unwrap_or_default(),
                    called.get::<_, String>(3)?
                ))
            })
            .optional();
        // A row that is damaged so far that it can't be named is still told of.
        Ok(name
            .ok()
            .flatten()
            .unwrap_or_else(|| format!("{table}, row {row}")))
    }
}

/// Digests rows column by column; returns how many there were. Bytes are little-endian, so that a file means the same everywhere.
fn hash(hasher: &mut SipHasher13, leaves_out: &[&str], mut rows: Rows<'_>) -> Result<u64> {
    let mut count = 0;
    while let Some(row) = rows.next()? {
        let columns: &rusqlite::Statement<'_> = row.as_ref();
        for column in 0..columns.column_count() {
            let value = row.get_ref(column)?;
            let name = columns.column_name(column)?;
            if value == ValueRef::Null || leaves_out.contains(&name) {
                continue;
            }
            let mut text = |tag: u8, text: &[u8]| {
                hasher.write_u8(tag);
                hasher.write(&(text.len() as u64).to_le_bytes());
                hasher.write(text);
            };
            text(0, name.as_bytes());
            match value {
                ValueRef::Integer(number) => text(1, &number.to_le_bytes()),
                ValueRef::Real(number) => text(2, &number.to_le_bytes()),
                ValueRef::Text(value) => text(3, value),
                ValueRef::Blob(value) => text(4, value),
                ValueRef::Null => {}
            }
        }
        count += 1;
    }
    Ok(count)
}
