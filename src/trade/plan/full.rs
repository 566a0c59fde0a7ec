//! What the search chose, worked out in full: every stretch of work, every rental, and what each phase costs.

use super::calendar::{self, Day, Span, Times};
use super::facts::Facts;
use super::search::{Chosen, ChosenPhase, Search};
use super::{HousePlan, Machine, Phase, PlanCosts, Rental, Stretch};
use crate::money::Money;
use crate::trade::rental::{Need, Plan as RentalPlan};

/// Works out a plan.
pub(super) fn in_full(search: &Search<'_>, chosen: &Chosen) -> HousePlan {
    let mut plan = HousePlan {
        day: search.brief.calendar.day,
        phases: Vec::new(),
        rentals: Vec::new(),
        costs: PlanCosts::default(),
        finish: calendar::date(chosen.finish),
    };
    for (number, phase) in chosen.phases.iter().enumerate() {
        let facts = search.facts(phase.rooms);
        let mut work = Vec::new();
        let tell = |day, doing, from, to| {
            let day = calendar::date(day);
            work.push(Stretch {
                day,
                doing,
                from,
                to,
            });
        };
        let went = search.table.go_through(&facts.needs, phase.start, tell);
        let Ok(times) = went else {
            continue; // A phase that was chosen has no coat that is longer than a day.
        };
        let rentals = rentals_of(search, chosen, number, &facts, &times);
        let phase = phase_of(search, *phase, &facts, work, &times, &rentals);
        plan.costs.add(phase.costs);
        plan.rentals.extend(rentals);
        plan.phases.push(phase);
    }
    plan
}

/// Returns the rentals that go out in a phase, by its number: the sanding machines, and those that only coats take.
fn rentals_of(
    search: &Search<'_>,
    chosen: &Chosen,
    number: usize,
    facts: &Facts,
    times: &Times,
) -> Vec<Rental> {
    let brief = search.brief;
    let start = chosen.phases[number].start;
    let outings = chosen.outings.iter();
    let outings = outings.filter(|outing| outing.out == start && facts.needs.sands_by_machine);
    let sanding = outings.map(|outing| Span {
        first: outing.out,
        last: outing.back,
    });
    let all = |span: Span, machines: &'_ [Machine]| -> Vec<Rental> {
        let rental = |machine| rental(machine, number, span);
        machines.iter().map(rental).collect()
    };
    let sanding = sanding.flat_map(|span| all(span, brief.sanding_machines));
    let coating = times.coat_machines.into_iter();
    let coating = coating.flat_map(|span| all(span, brief.coating_machines));
    sanding.chain(coating).collect()
}

fn rental(machine: &Machine, phase: usize, days: Span) -> Rental {
    let need = Need::half_days(2 * (days.last - days.first + 1).unsigned_abs());
    let out = calendar::date(days.first);
    Rental {
        machine: machine.id,
        name: machine.name.clone(),
        phase,
        out,
        last_day: calendar::date(days.last),
        plan: RentalPlan::new(&machine.tariff, need, Some(out)),
    }
}

fn phase_of(
    search: &Search<'_>,
    ChosenPhase { rooms, start }: ChosenPhase,
    facts: &Facts,
    work: Vec<Stretch>,
    times: &Times,
    rentals: &[Rental],
) -> Phase {
    let brief = search.brief;
    let failing = search.failing_nights(facts, times);
    let (relied_on, nights): (Vec<Day>, Vec<Day>) =
        failing.partition(|night| search.is_away(*night));
    let dates = |days: Vec<Day>| days.into_iter().map(calendar::date).collect();
    let days_closed = search.closed_days(&facts.needs, times, start);
    let way_out = brief.house.coating_order(rooms);
    let id = |place: usize| brief.house.places()[place].id;
    let costs = PlanCosts {
        set_up: brief.set_up,
        rental: rentals.iter().map(|rental| rental.plan.cover.total()).sum(),
        days_closed: times_over(brief.day_closed, days_closed * i64::from(rooms.count())),
        nights_away: times_over(brief.night_away.price(), nights.len() as i64),
    };
    Phase {
        rooms: rooms.numbers().map(id).collect(),
        coating_order: way_out.order.into_iter().map(id).collect(),
        exit: id(way_out.exit),
        work,
        needs: facts.needs.clone(),
        light_use: times.light_use.told(),
        furniture: calendar::date(times.furniture),
        cure: times.cure.map(calendar::date),
        days_closed: u32::try_from(days_closed).unwrap_or(u32::MAX),
        nights_away: dates(nights),
        nights_relied_on: dates(relied_on),
        costs,
    }
}

fn times_over(amount: Money, times: i64) -> Money {
    Money::from_minor(amount.minor() * times)
}
