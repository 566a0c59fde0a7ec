//! What rented machines cost, by machine and rental, with the days on which nobody worked with them.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use crate::document::figures::Amount;
use crate::document::job::{RentalFacts, rentals_text};
use crate::document::{Answer, List, Page, or_blank};
use crate::ledger::{Rental, Unworked};
use crate::money::{Decimal, Money};
use crate::trade::rental::DayUse;

/// What rentals of one machine come to; what is still out has no days and no charge yet.
#[derive(Debug, Serialize)]
struct MachineRentals {
    machine: String,
    rentals: usize,
    days: usize,
    charge: Amount,
}

impl MachineRentals {
    /// Returns those of each machine, in the order in which they first went out.
    fn all(rentals: &[Rental], page: &Page) -> Vec<MachineRentals> {
        let mut machines: Vec<MachineRentals> = Vec::new();
        for rental in rentals {
            let mut known = machines.iter();
            let place = known.position(|known| known.machine == rental.machine);
            let place = place.unwrap_or_else(|| {
                machines.push(MachineRentals {
                    machine: rental.machine.clone(),
                    rentals: 0,
                    days: 0,
                    charge: page.amount(Money::ZERO),
                });
                machines.len() - 1
            });
            let known = &mut machines[place];
            known.rentals += 1;
            if let Some(back) = &rental.back {
                known.days += back.days.len();
                known.charge.money += back.charge;
            }
        }
        machines
    }
}

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
    pub struct RentalsAnswer of (rentals: Vec<Rental>, unworked: Vec<Unworked>) on page {
        currency: &'static str = page.currency.code(),
        machines: Vec<MachineRentals> = MachineRentals::all(&rentals, page),
        rentals: Vec<RentalFacts>,
        unworked_days: Vec<UnworkedDay> = page.each(unworked.clone(), UnworkedDay::new),
        idle_charge: Amount = page.amount(charge(&unworked, DayUse::Idle)),
        day_off_charge: Amount = page.amount(charge(&unworked, DayUse::DayOff)),
        not_recorded_charge: Amount = page.amount(charge(&unworked, DayUse::NotRecorded)),
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

impl Answer for RentalsAnswer {
    fn text(&self, page: &Page) -> String {
        if self.rentals.is_empty() {
            return "No machine was rented yet.".to_owned();
        }
        let mut table = page
            .table(["Machine", "Rentals", "Days", "Charge", "A day"])
            .numbers(1..=4);
        for line in &self.machines {
            let share = |days| line.charge.money.share(Decimal::ONE, Decimal::from(days));
            let a_day = (line.days > 0).then(|| page.amount(share(line.days)));
            table.line([
                &line.machine,
                &line.rentals,
                &line.days,
                &line.charge,
                &or_blank(a_day),
            ]);
        }
        let text = format!("{table}\n\n{}", rentals_text(&self.rentals, page));
        match self.unworked_days.is_empty() {
            true => text,
            false => format!("{text}\n\n{}", self.unworked(page)),
        }
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.rentals)
    }
}
