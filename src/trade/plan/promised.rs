//! What several plans promise for the same days: the crew's hours, machines, and floors that can't take each other.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::HousePlan;
use crate::trade::SiteId;

/// What is promised.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Promised {
    /// More hours than the crew has.
    Crew,
    /// A machine, by its name.
    Machine(String),
    /// Clean air in one house: what is sanded or trimmed, and what is wet meanwhile.
    Air,
}

/// Something that several plans promise for the same days.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Twice {
    /// What.
    pub what: Promised,
    /// To whom, in the order of the plans; of air, who makes the dust, and whose coats are wet.
    pub to: Vec<String>,
    /// The days, in order.
    pub days: Vec<NaiveDate>,
}

/// A plan, with the name of whom it is for and where.
#[derive(Clone, Copy, Debug)]
pub struct Promise<'a> {
    /// For whom.
    pub to: &'a str,
    /// Where.
    pub site: SiteId,
    /// What.
    pub plan: &'a HousePlan,
}

/// What several plans, by their numbers, promise for one day.
struct OnDay {
    what: Promised,
    day: NaiveDate,
    to: Vec<usize>,
}

/// Returns what several plans promise for the same days, from a day on; the crew does so many minutes of labour in a day,
/// and rooms may be sealed off so well that dust does no harm.
pub fn promised_twice(
    promises: &[Promise<'_>],
    from: NaiveDate,
    crew_minutes: i64,
    sealed: bool,
) -> Vec<Twice> {
    let hours = too_many_hours(promises, crew_minutes);
    let machines = machines_out(promises);
    let mut twice: BTreeMap<(Promised, Vec<usize>), Vec<NaiveDate>> = BTreeMap::new();
    let air = dust_on_wet_coats(promises).filter(|_| !sealed);
    for OnDay { what, day, to } in hours.chain(machines).chain(air) {
        if to.len() > 1 && day >= from {
            twice.entry((what, to)).or_default().push(day);
        }
    }
    let named = |to: Vec<usize>| to.into_iter().map(|number| promises[number].to.to_owned());
    let twice = twice.into_iter().map(|((what, to), days)| Twice {
        what,
        to: named(to).collect(),
        days,
    });
    twice.collect()
}

/// Returns the days on which plans promise more hours than the crew has.
fn too_many_hours(promises: &[Promise<'_>], crew_minutes: i64) -> impl Iterator<Item = OnDay> {
    let mut days: BTreeMap<NaiveDate, BTreeMap<usize, i64>> = BTreeMap::new();
    for (number, Promise { plan, .. }) in promises.iter().enumerate() {
        for stretch in plan.phases.iter().flat_map(|phase| &phase.work) {
            let day = days.entry(stretch.day).or_default();
            *day.entry(number).or_default() += stretch.to - stretch.from;
        }
    }
    days.into_iter().filter_map(move |(day, minutes)| {
        let too_many = minutes.values().sum::<i64>() > crew_minutes;
        too_many.then(|| OnDay {
            what: Promised::Crew,
            day,
            to: minutes.into_keys().collect(),
        })
    })
}

/// Returns the days on which a machine is out, and for which plans.
fn machines_out(promises: &[Promise<'_>]) -> impl Iterator<Item = OnDay> {
    let mut days: BTreeMap<(&str, NaiveDate), BTreeSet<usize>> = BTreeMap::new();
    for (number, Promise { plan, .. }) in promises.iter().enumerate() {
        for rental in &plan.rentals {
            let out = rental.out.iter_days();
            for day in out.take_while(|day| *day <= rental.last_day) {
                days.entry((&rental.name, day)).or_default().insert(number);
            }
        }
    }
    days.into_iter().map(|((name, day), to)| OnDay {
        what: Promised::Machine(name.to_owned()),
        day,
        to: to.into_iter().collect(),
    })
}

/// Returns the days on which one plan makes dust in a house while coats of another are wet there.
fn dust_on_wet_coats(promises: &[Promise<'_>]) -> impl Iterator<Item = OnDay> {
    let places = 0..promises.len();
    let pairs = places.flat_map(|dusty| (0..promises.len()).map(move |wet| (dusty, wet)));
    let pairs =
        pairs.filter(|(dusty, wet)| dusty != wet && promises[*dusty].site == promises[*wet].site);
    pairs.flat_map(|(dusty, wet)| {
        let dust = promises[dusty].plan.dusty_days();
        let wet_days = promises[wet]
            .plan
            .phases
            .iter()
            .flat_map(|phase| phase.wet_days());
        let both = wet_days.filter(move |day| dust.contains(day));
        both.map(move |day| OnDay {
            what: Promised::Air,
            day,
            to: vec![dusty, wet],
        })
    })
}
