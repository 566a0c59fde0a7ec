//! What rented machines cost, by machine and rental or by what was asked for, with the days on which nobody worked with them.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::ser::{Serialize, SerializeMap as _, Serializer};

use super::groups::{Others, Row, Whose, report, words};
use crate::document::figures::Amount;
use crate::document::job::{RentalFacts, rentals_text};
use crate::document::list::{Columns, InColumns, joined};
use crate::document::showing::{NoSuchColumn, Showing};
use crate::document::{Answer, List, Page, Table, count, inert, or_blank};
use crate::ledger::{Grouping, Rental, RentalSum, Unworked};
use crate::money::{Decimal, Money};
use crate::trade::rental::DayUse;

columns! {
    /// What rentals come to.
    #[derive(Clone, Copy, Debug, serde::Serialize)]
    struct Sums {
        rentals: usize,
        days: usize,
        charge: Amount,
    }
}

impl InColumns for Row<'_, Sums> {
    fn columns(key: &str, to: &mut Columns) {
        Whose::columns(key, to);
        to.add(&joined(key, "machine"));
        Sums::columns(key, to);
    }
}

impl Sums {
    fn of(sums: &[RentalSum], page: &Page) -> Sums {
        Sums {
            rentals: sums.iter().map(|sum| sum.rentals).sum(),
            days: sums.iter().map(|sum| sum.days).sum(),
            charge: page.amount(sums.iter().map(|sum| sum.charge).sum()),
        }
    }

    /// Returns its cells: how often, how long, for how much, and how much a day.
    fn cells(&self, page: &Page) -> [String; 4] {
        let share = |days| self.charge.money.share(Decimal::ONE, Decimal::from(days));
        let a_day = (self.days > 0).then(|| page.amount(share(self.days)));
        [
            self.rentals.to_string(),
            self.days.to_string(),
            self.charge.to_string(),
            or_blank(a_day),
        ]
    }
}

/// Rentals by what was asked for: those that cost most first, but times in their order.
#[derive(Debug)]
pub struct RentalSums {
    page: Page,
    by: Grouping,
    shown: Vec<RentalSum>,
    others: Vec<RentalSum>,
    total: Sums,
}

impl RentalSums {
    /// Returns the answer about sums.
    ///
    /// # Errors
    /// Returns the column that they were to be sorted by, if they don't have it.
    pub fn new(
        by: Grouping,
        mut sums: Vec<RentalSum>,
        showing: &Showing,
        page: &Page,
    ) -> Result<RentalSums, NoSuchColumn> {
        if !by.is_time() {
            sums.sort_by_key(|sum| Reverse(sum.charge));
        }
        showing.sort(&mut sums, |sum| serde_json::to_value(row(sum, page)))?;
        let total = Sums::of(&sums, page);
        let others = showing.cut(&mut sums);
        Ok(RentalSums {
            page: *page,
            by,
            shown: sums,
            others,
            total,
        })
    }

    /// The first line: what all of it cost, and what of it most.
    fn answer(&self) -> String {
        let all = self.shown.iter().chain(&self.others);
        let most = all.max_by_key(|sum| sum.charge);
        let most = most.filter(|_| self.shown.len() > 1).map(|sum| {
            let charge = self.page.amount(sum.charge);
            format!("; most of it {}, {charge}", Whose(&sum.group))
        });
        format!(
            "Rentals: {} for {} {}{}.",
            count(self.total.days, "day"),
            self.total.charge,
            self.page.currency.code(),
            or_blank(most)
        )
    }

    /// Lists them; a rental that jobs share is counted with each, so how many there are isn't added up.
    fn table(&self, page: &Page) -> Table {
        let headings = [words(self.by).1, "Rentals", "Days", "Charge", "A day"];
        let mut table = page.table(headings).numbers(1..=4);
        for sum in &self.shown {
            let [rentals, days, charge, a_day] = row(sum, page).sums.cells(page);
            table.row([Whose(&sum.group).to_string(), rentals, days, charge, a_day]);
        }
        let others = Sums::of(&self.others, page);
        let others = (!self.others.is_empty()).then(|| (count(self.others.len(), "other"), others));
        for (name, sums) in others.into_iter().chain([("Total".to_owned(), self.total)]) {
            let [_, days, charge, a_day] = sums.cells(page);
            table.row([name, String::new(), days, charge, a_day]);
        }
        table
    }
}

fn row<'a>(sum: &'a RentalSum, page: &Page) -> Row<'a, Sums> {
    Row {
        whose: Whose(&sum.group),
        sums: Sums::of(std::slice::from_ref(sum), page),
    }
}

impl Serialize for RentalSums {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let rows: Vec<_> = self.shown.iter().map(|sum| row(sum, &self.page)).collect();
        let others = (!self.others.is_empty()).then(|| Others {
            rows: self.others.len(),
            sums: Sums::of(&self.others, &self.page),
        });
        let rows = (words(self.by).0, rows);
        report(serializer, &self.page, rows, others, self.total)
    }
}

impl Answer for RentalSums {
    fn text(&self, page: &Page) -> String {
        match self.shown.is_empty() {
            true => NONE.to_owned(),
            false => format!(
                "{}\n\n{}",
                page.prose(&inert(&self.answer())),
                self.table(page)
            ),
        }
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(self.shown.iter().map(|sum| row(sum, &self.page)))
    }
}

/// What is said where there is nothing to list.
const NONE: &str = "No machine was rented yet.";

answer! {
    /// A rental day on which nobody worked on the job that had the machine.
    struct UnworkedDay from unworked: Unworked on page {
        rental: String,
        machine: String,
        job: String = unworked.day.job,
        date: NaiveDate = unworked.day.began_on,
        charge: Amount = page.amount(unworked.day.charge),
        r#use: DayUse = unworked.used,
        .. { day, used }
    }

    /// Rentals by machine and one by one.
    pub struct RentalsAnswer of (sums: RentalSums, rentals: Vec<Rental>, unworked: Vec<Unworked>) on page {
        currency: &'static str = page.currency.code(),
        #[serde(flatten)]
        machines: Machines = Machines(sums),
        rentals: Vec<RentalFacts>,
        unworked_days: Vec<UnworkedDay> = page.each(unworked.clone(), UnworkedDay::new),
        idle_charge: Amount = page.amount(charge(&unworked, DayUse::Idle)),
        day_off_charge: Amount = page.amount(charge(&unworked, DayUse::DayOff)),
        not_recorded_charge: Amount = page.amount(charge(&unworked, DayUse::NotRecorded)),
    }
}

in_a_column! { Machines }

/// The rows of machines alone, under their key.
#[derive(Debug)]
struct Machines(RentalSums);

impl Serialize for Machines {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let rows = self.0.shown.iter().map(|sum| row(sum, &self.0.page));
        let mut keys = serializer.serialize_map(Some(1))?;
        keys.serialize_entry(words(self.0.by).0, &rows.collect::<Vec<_>>())?;
        keys.end()
    }
}

impl RentalsAnswer {
    /// Lists the days on which nobody worked with a machine, those of one machine on one job together.
    fn unworked(&self, page: &Page) -> String {
        let mut stretches: Vec<(&UnworkedDay, Vec<String>, Amount)> = Vec::new();
        let mut places: BTreeMap<(&str, DayUse, &str), usize> = BTreeMap::new();
        for day in &self.unworked_days {
            let place = *places
                .entry((&day.machine, day.r#use, &day.job))
                .or_insert_with(|| {
                    stretches.push((day, Vec::new(), page.amount(Money::ZERO)));
                    stretches.len() - 1
                });
            let (_, dates, charge) = &mut stretches[place];
            dates.push(day.date.to_string());
            charge.money += day.charge.money;
        }
        stretches.sort_by_key(|(first, ..)| first.r#use);
        let mut table = page
            .table(["Without hours", "Job", "Days", "Dates", "Charge", ""])
            .numbers([2, 4]);
        for (first, dates, charge) in stretches {
            let (number, dates) = (dates.len(), dates.join(", "));
            table.line([
                &first.machine,
                &first.job,
                &number,
                &dates,
                &charge,
                &first.r#use,
            ]);
        }
        let sums = format!(
            "Idle days cost {} {}; days on which the firm doesn't work {}; days of jobs without hours {}.",
            self.idle_charge, self.currency, self.day_off_charge, self.not_recorded_charge
        );
        format!("{table}\n\n{}", page.prose(&sums))
    }
}

fn charge(unworked: &[Unworked], used: DayUse) -> Money {
    let days = unworked.iter().filter(|line| line.used == used);
    days.map(|line| line.day.charge).sum()
}

listed! { RentalsAnswer, rentals, answer: made, by_day: true }

impl Answer for RentalsAnswer {
    fn text(&self, page: &Page) -> String {
        if self.rentals.is_empty() {
            return NONE.to_owned();
        }
        let machines = self.machines.0.text(page);
        let text = format!("{machines}\n\n{}", rentals_text(&self.rentals, page));
        match self.unworked_days.is_empty() {
            true => text,
            false => format!("{text}\n\n{}", self.unworked(page)),
        }
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.rentals)
    }
}
