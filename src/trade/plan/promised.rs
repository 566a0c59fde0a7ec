//! What several plans promise for the same days: the crew's hours, and machines.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::HousePlan;

/// What is promised.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Promised {
    /// More hours than the crew has.
    Crew,
    /// A machine, by its name.
    Machine(String),
}

/// Something that several plans promise for the same days.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Twice {
    /// What.
    pub what: Promised,
    /// To whom, in the order of the plans.
    pub to: Vec<String>,
    /// The days, in order.
    pub days: Vec<NaiveDate>,
}

/// Returns what several plans, each with the name of whom it is for, promise for the same days, from a day on; the crew does
/// so many minutes of labour in a day.
pub fn promised_twice(
    plans: &[(&str, &HousePlan)],
    from: NaiveDate,
    crew_minutes: i64,
) -> Vec<Twice> {
    let mut crew: BTreeMap<NaiveDate, BTreeMap<usize, i64>> = BTreeMap::new();
    let mut machines: BTreeMap<(&str, NaiveDate), Vec<usize>> = BTreeMap::new();
    for (number, (_, plan)) in plans.iter().enumerate() {
        for stretch in plan.phases.iter().flat_map(|phase| &phase.work) {
            let day = crew.entry(stretch.day).or_default();
            *day.entry(number).or_default() += stretch.to - stretch.from;
        }
        for rental in &plan.rentals {
            let days = rental.out.iter_days();
            for day in days.take_while(|day| *day <= rental.last_day) {
                let out = machines.entry((&rental.name, day)).or_default();
                if !out.contains(&number) {
                    out.push(number);
                }
            }
        }
    }
    let crew = crew.into_iter().filter_map(|(day, minutes)| {
        let too_many = minutes.values().sum::<i64>() > crew_minutes;
        too_many.then(|| (Promised::Crew, day, minutes.into_keys().collect()))
    });
    let machines = machines
        .into_iter()
        .map(|((name, day), to)| (Promised::Machine(name.to_owned()), day, to));
    let mut twice: BTreeMap<(Promised, Vec<usize>), Vec<NaiveDate>> = BTreeMap::new();
    for (what, day, to) in crew.chain(machines) {
        if to.len() > 1 && day >= from {
            twice.entry((what, to)).or_default().push(day);
        }
    }
    let named = |to: Vec<usize>| to.into_iter().map(|number| plans[number].0.to_owned());
    let twice = twice.into_iter().map(|((what, to), days)| Twice {
        what,
        to: named(to).collect(),
        days,
    });
    twice.collect()
}
