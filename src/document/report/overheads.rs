//! What belongs to no job: the entries, and their sums by what they were for and by month.

use chrono::NaiveDate;
use serde::Serialize;

use crate::document::figures::{Amount, Number};
use crate::document::{Answer, List, Page, agree, inert, or_blank};
use crate::ledger::{Overhead, same};
use crate::money::Money;
use crate::trade::Unit;

answer! {
    /// An entry that belongs to no job.
    struct OverheadFacts from overhead: Overhead on page {
        entry: String,
        date: NaiveDate,
        kind: String,
        what_for: String,
        worker: Option<String>,
        quantity: Option<Number>,
        unit: Option<Unit>,
        cost: Amount,
    }

    /// What was logged of no job in a time.
    pub struct OverheadsAnswer of (from: Option<NaiveDate>, to: Option<NaiveDate>, entries: Vec<Overhead>) on page {
        currency: &'static str = page.currency.code(),
        from: Option<NaiveDate> = from,
        to: Option<NaiveDate> = to,
        by_what_for: Vec<Sum> = Sum::all(&entries, |entry| entry.what_for.trim().to_owned(), page),
        by_month: Vec<Sum> = Sum::all(&entries, |entry| entry.date.format("%Y-%m").to_string(), page),
        total: Amount = page.amount(entries.iter().map(|entry| entry.cost).sum()),
        entries: Vec<OverheadFacts>,
    }
}

/// What entries of one kind come to.
#[derive(Debug, Serialize)]
struct Sum {
    name: String,
    entries: usize,
    cost: Amount,
}

impl Sum {
    /// Returns the sums in the order in which each name first comes; names that differ by case or accents only are one.
    fn all(entries: &[Overhead], name: fn(&Overhead) -> String, page: &Page) -> Vec<Sum> {
        let mut sums: Vec<Sum> = Vec::new();
        for entry in entries {
            let name = name(entry);
            let is_same = |sum: &Sum| same(&sum.name, &name);
            let place = sums.iter().position(is_same).unwrap_or_else(|| {
                sums.push(Sum {
                    name,
                    entries: 0,
                    cost: page.amount(Money::ZERO),
                });
                sums.len() - 1
            });
            sums[place].entries += 1;
            sums[place].cost.money += entry.cost;
        }
        sums
    }

    fn table(sums: &[Sum], heading: &str, page: &Page) -> String {
        let mut table = page.table([heading, "Entries", "Cost"]).numbers([1, 2]);
        for sum in sums {
            table.line([&inert(&sum.name), &sum.entries, &sum.cost]);
        }
        table.to_string()
    }
}

listed! { OverheadsAnswer, entries, answer: made, by_day: true }

impl Answer for OverheadsAnswer {
    fn text(&self, page: &Page) -> String {
        if self.entries.is_empty() {
            return "Nothing is logged there that belongs to no job.".to_owned();
        }
        let mut table = page
            .table(["Entry", "Date", "For", "Who", "How much", "Cost"])
            .numbers([4, 5]);
        for entry in &self.entries {
            let unit = entry.unit.as_ref();
            let much = entry.quantity.as_ref().zip(unit);
            let much = much.map(|(quantity, unit)| quantity.of(*unit));
            table.line([
                &entry.entry,
                &entry.date,
                &inert(&entry.what_for),
                &or_blank(entry.worker.as_ref()),
                &or_blank(much),
                &entry.cost,
            ]);
        }
        table.line([&"Total", &"", &"", &"", &"", &self.total]);
        let sums = [(&self.by_what_for, "For"), (&self.by_month, "Month")];
        let sums = sums.map(|(sums, heading)| Sum::table(sums, heading, page));
        let entries: usize = self.by_month.iter().map(|sum| sum.entries).sum();
        let entries = agree(entries, "entry belongs", "entries belong");
        let answer = format!(
            "{} in all; {entries} to no job.",
            self.total.with_currency()
        );
        page.led(&answer, format!("{table}\n\n{}", sums.join("\n\n")))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.entries)
    }
}
