//! The firm's book: how it starts, and its rates. What it holds beside them is in `items.rs`, `machines.rs`,
//! `operations.rs` and `methods.rs`.
//!
//! It starts from `seed-data/` (`seed.rs`), read by the same readers as a person's imports, and is edited ever after.

use anyhow::Result;
use rusqlite::named_params;

use super::columns::{Micro, NamedRow, Nano};
use super::import::seed_price;
use super::names::{named, same};
use super::seed;
use super::{Ledger, Transfer, Writing, refuse};
use crate::measure::Units;
use crate::money::{Decimal, round};
use crate::trade::Unit;
use crate::trade::bounds::{LEAST_RATE, MOST_FIXED};
use crate::trade::rates::{Book, BookRate, RateKind};

/// What the owner's own figures say of their source.
pub const OWN_FIGURE: &str = "own figure";

/// Decimals of a book rate as it is kept.
const RATE_DECIMALS: u32 = 9;

/// The most driver units that one item or hour can do: beyond it a slip is likelier than a floor.
const LARGEST_RATE: i64 = 1_000_000_000;

impl Ledger {
    /// Returns the book of rates: the newest row of each operation, floor and kind.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn book(&self) -> Result<Book> {
        let mut statement = self.connection.prepare_cached(
            "SELECT operation_id, floor_condition, species, kind, driver_per_item_nano, fixed_micro, source
             FROM book_rate
             WHERE id IN (SELECT MAX(id) FROM book_rate GROUP BY operation_id, floor_condition, species, kind)
             ORDER BY id",
        )?;
        let rates = statement.query_map([], |row| {
            let row = NamedRow::of(row);
            Ok(BookRate {
                operation: row.get("operation_id")?,
                condition: row.get("floor_condition")?,
                species: row.get("species")?,
                kind: row.get("kind")?,
                driver_per_item: row.get::<Nano>("driver_per_item_nano")?.0,
                fixed: row
                    .get::<Option<Micro>>("fixed_micro")?
                    .map(|fixed| fixed.0),
                source: row.get("source")?,
            })
        })?;
        Ok(Book::new(rates.collect::<rusqlite::Result<Vec<_>>>()?))
    }
}

impl Writing<'_> {
    /// Fills a new ledger's book from the embedded files.
    pub(super) fn seed_book(&self) -> Result<()> {
        self.seed_settings()?;
        let units = self.units();
        let items = seed::items(units)?;
        self.import_items("items.csv", items.as_bytes(), seed_price)?;
        self.seed_machines()?;
        self.import_quietly(
            Transfer::Operations,
            "operations.csv",
            seed::operations(units)?.as_bytes(),
            Units::Us,
        )?;
        self.import_quietly(
            Transfer::BookRates,
            "book-rates.csv",
            seed::book_rates(units)?.as_bytes(),
            Units::Us,
        )?;
        self.seed_sequences()?;
        self.seed_schedules()
    }

    /// Sets a book rate; the one before stays in the record.
    ///
    /// # Errors
    /// Refuses a rate of zero, rates and fixed amounts that can't be meant, and a fixed amount below zero.
    pub fn set_rate(&self, rate: &BookRate) -> Result<()> {
        self.insert_rate(rate)?;
        let operations = self.operations_by_id()?;
        let operation = &operations[&rate.operation]; // The row that was just written refers to it.
        let item = operation.item.as_ref().map_or(Unit::Each, |item| item.unit);
        let (unit, one) = operation.driver.unit().in_units(self.units());
        self.log(&format!(
            "Set the {} rate of {} to {} per {}.",
            rate.kind,
            operation.name,
            unit.told(rate.driver_per_item * one, 4),
            match rate.kind {
                RateKind::Item => item,
                RateKind::Hours => Unit::Hour,
            }
        ))
    }

    pub(super) fn insert_rate(&self, rate: &BookRate) -> Result<()> {
        if round(rate.driver_per_item, RATE_DECIMALS) <= Decimal::ZERO {
            refuse!(
                "a rate is above zero: `{}`",
                rate.driver_per_item.normalize()
            );
        }
        if rate.driver_per_item < LEAST_RATE {
            refuse!(
                "`{}` is too small a rate: {LEAST_RATE} at least",
                rate.driver_per_item.normalize()
            );
        }
        if rate.driver_per_item > Decimal::from(LARGEST_RATE) {
            refuse!("`{}` is too large a rate", rate.driver_per_item.normalize());
        }
        if let Some(fixed) = rate.fixed.filter(|fixed| *fixed > MOST_FIXED) {
            refuse!(
                "`{}` is too large a fixed amount: {MOST_FIXED} at most",
                fixed.normalize()
            );
        }
        if let Some(fixed) = rate.fixed.filter(|fixed| *fixed < Decimal::ZERO) {
            refuse!("a fixed amount is not below zero: `{}`", fixed.normalize());
        }
        self.connection
            .prepare_cached(
                "INSERT INTO book_rate (id, operation_id, floor_condition, species, kind, driver_per_item_nano,
                                        fixed_micro, source, recorded_at)
                 VALUES (:id, :operation, :condition, :species, :kind, :rate, :fixed, :source, :now)",
            )?
            .execute(named_params! {
                ":id": self.new_id("book_rate")?, ":operation": rate.operation, ":condition": rate.condition,
                ":species": rate.species, ":kind": rate.kind, ":rate": Nano(rate.driver_per_item),
                ":fixed": rate.fixed.map(Micro), ":source": rate.source, ":now": self.now(),
            })?;
        Ok(())
    }

    /// Returns the name of something new in the book, as it is kept: an item, a machine, an operation and so on.
    pub(super) fn new_name(&self, noun: &str, name: &str) -> Result<String> {
        let name = named(noun, name)?;
        let mut statement = self
            .connection
            .prepare_cached(&format!("SELECT name FROM {noun}"))?;
        let taken = statement.query_map([], |row| row.get::<_, String>(0))?;
        for taken in taken {
            if same(&taken?, &name) {
                refuse!("there is already the {noun} `{name}`");
            }
        }
        Ok(name)
    }
}
