//! What rented machines cost, by machine and rental, with the days on which nobody worked with them.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::document::{Answer as _, Page, job};
use crate::ledger::{Rental, Unworked};
use crate::money::{Decimal, Money};
use crate::trade::JobId;
use crate::trade::rental::DayUse;

/// What rentals of one machine come to.
struct MachineRentals {
    machine: String,
    rentals: usize,
    days: usize,
    charge: Money,
}

fn by_machine(rentals: &[Rental]) -> Vec<MachineRentals> {
    let mut machines: Vec<MachineRentals> = Vec::new();
    for rental in rentals {
        let position = machines
            .iter()
            .position(|known| known.machine == rental.machine)
            .unwrap_or_else(|| {
                machines.push(MachineRentals {
                    machine: rental.machine.clone(),
                    rentals: 0,
                    days: 0,
                    charge: Money::ZERO,
                });
                machines.len() - 1
            });
        let known = &mut machines[position];
        known.rentals += 1;
        if let Some(back) = &rental.back {
            known.days += back.days.len();
            known.charge += back.charge;
        }
    }
    machines
}

/// Renders rentals by machine as JSON; what is still out has no charge yet.
pub fn rentals_json(rentals: &[Rental], unworked: &[Unworked], page: &Page) -> Value {
    let charge = |used| page.money_json(charge_of(unworked, used));
    json!({
        "currency": page.currency.code(),
        "machines": by_machine(rentals).into_iter().map(|line| json!({
            "machine": line.machine,
            "rentals": line.rentals,
            "days": line.days,
            "charge": page.money_json(line.charge),
        })).collect::<Vec<_>>(),
        "rentals": job::RentalList::new(rentals.to_vec(), page).rentals,
        "unworked_days": unworked.iter().map(|line| json!({
            "rental": line.rental,
            "machine": line.machine,
            "job": line.day.job,
            "date": line.day.began_on,
            "charge": page.money_json(line.day.charge),
            "use": line.used.as_str(),
        })).collect::<Vec<_>>(),
        "idle_charge": charge(DayUse::Idle),
        "day_off_charge": charge(DayUse::DayOff),
        "not_recorded_charge": charge(DayUse::NotRecorded),
    })
}

/// Returns what the days of one use cost.
fn charge_of(unworked: &[Unworked], used: DayUse) -> Money {
    let days = unworked.iter().filter(|line| line.used == used);
    days.map(|line| line.day.charge).sum()
}

/// Renders the days on which nobody worked with a machine, those of one machine on one job together.
fn unworked_text(unworked: &[Unworked], page: &Page) -> String {
    let mut stretches: Vec<(&Unworked, Vec<String>, Money)> = Vec::new();
    let mut places: BTreeMap<(&str, DayUse, JobId), usize> = BTreeMap::new();
    for line in unworked {
        let place = *places
            .entry((&line.machine, line.used, line.day.job_id))
            .or_insert_with(|| {
                stretches.push((line, Vec::new(), Money::ZERO));
                stretches.len() - 1
            });
        let (_, dates, charge) = &mut stretches[place];
        dates.push(line.day.began_on.to_string());
        *charge += line.day.charge;
    }
    stretches.sort_by_key(|(first, ..)| first.used);
    let mut table = page
        .table(["Without hours", "Job", "Days", "Dates", "Charge", ""])
        .numbers([2, 4]);
    for (first, dates, charge) in stretches {
        table.row([
            first.machine.clone(),
            first.day.job.clone(),
            dates.len().to_string(),
            dates.join(", "),
            page.money(charge),
            first.used.to_string(),
        ]);
    }
    let charge = |used| page.money(charge_of(unworked, used));
    let sums = format!(
        "Idle days cost {} {}; days on which the firm doesn't work {}; days of jobs without hours {}.",
        charge(DayUse::Idle),
        page.currency.code(),
        charge(DayUse::DayOff),
        charge(DayUse::NotRecorded)
    );
    format!("{table}\n\n{}", page.prose(&sums))
}

/// Renders rentals by machine as text.
pub fn rentals_text(rentals: &[Rental], unworked: &[Unworked], page: &Page) -> String {
    if rentals.is_empty() {
        return "No machine was rented yet.".to_owned();
    }
    let mut table = page
        .table(["Machine", "Rentals", "Days", "Charge", "A day"])
        .numbers(1..=4);
    for line in by_machine(rentals) {
        let a_day = if line.days == 0 {
            String::new()
        } else {
            page.money(line.charge.share(Decimal::ONE, Decimal::from(line.days)))
        };
        table.row([
            line.machine,
            line.rentals.to_string(),
            line.days.to_string(),
            page.money(line.charge),
            a_day,
        ]);
    }
    let mut text = format!(
        "{table}\n\n{}",
        job::RentalList::new(rentals.to_vec(), page).text(page)
    );
    if !unworked.is_empty() {
        let _ = write!(text, "\n\n{}", unworked_text(unworked, page));
    }
    text
}
