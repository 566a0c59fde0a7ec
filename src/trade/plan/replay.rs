//! The replay of a plan: the house, walked through day by day.
//!
//! It shares no code with the search: it reads a plan as somebody would who has it on paper, with the calendar, the
//! tariff and a floor plan in hand, and says what is wrong with it. The tests replay every plan that they make; the check
//! of a ledger [walks](walk()) through those that are kept, long after the calendar, the tariff and the house have changed.

mod walk;

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use thiserror::Error;

pub use self::walk::walk;
use super::calendar::EVENING;
use super::{
    Answer, Brief, Doing, HousePlan, NightAway, Phase, Places, PlanCosts, Wet, WorkingDay,
};
use crate::money::{Decimal, Money, counted};
use crate::trade::RoomId;
use crate::trade::rental::{Away, MORNING};

/// What a plan says that isn't so.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
#[error("it doesn't hold on {day}: {what}")]
pub struct Flaw {
    /// When.
    pub day: NaiveDate,
    /// What.
    pub what: String,
}

/// Walks through a plan beside what was asked for.
///
/// # Errors
/// Returns the first thing that isn't as the plan says, or that the brief doesn't allow.
pub fn replay(brief: &Brief<'_>, plan: &HousePlan) -> Result<(), Flaw> {
    walk(plan)?;
    let day = plan.day == brief.calendar.day;
    check(brief.start, day, "other hours than the crew's")?;
    let places = brief.house.places().iter();
    let wanted = places
        .filter(|place| place.refinished)
        .map(|place| place.id);
    let done: BTreeSet<RoomId> = plan
        .phases
        .iter()
        .flat_map(|phase| phase.rooms.iter().copied())
        .collect();
    check(
        brief.start,
        done == wanted.collect(),
        "other rooms are done than are to be",
    )?;
    let mut before = None;
    for (number, phase) in plan.phases.iter().enumerate() {
        replay_phase(brief, (number, phase), before)?;
        before = Some(phase);
    }
    live_through(brief, plan)?;
    check_machines(brief, plan)?;
    check_costs(brief, plan)
}

/// Walks through every plan of an answer.
///
/// # Errors
/// Returns the first thing that isn't so.
pub fn replay_all(brief: &Brief<'_>, answer: &Answer) -> Result<(), Flaw> {
    let ways = [&answer.chosen, &answer.one_by_one, &answer.all_at_once];
    let mut plans = ways
        .into_iter()
        .chain(&answer.cheapest)
        .filter_map(|way| way.plan.as_ref());
    plans.try_for_each(|plan| replay(brief, plan))
}

/// Checks a phase on its days, after the one before.
fn replay_phase(
    brief: &Brief<'_>,
    (number, phase): (usize, &Phase),
    before: Option<&Phase>,
) -> Result<(), Flaw> {
    let rooms = places_of(brief, &phase.rooms);
    let first = phase.work[0].day;
    let stays = match brief.begun.get(number) {
        Some(begun) => first >= begun.first && rooms == begun.rooms,
        None => first >= brief.anew_from,
    };
    check(first, stays, "what has begun doesn't stay")?;
    check(
        first,
        phase.needs == (brief.needs)(rooms),
        "it takes something else",
    )?;
    for stretch in &phase.work {
        let day = stretch.day;
        check(
            day,
            brief.calendar.works_on(day),
            "nobody works on that day",
        )?;
        let wet = |wet: &Wet| wet.from <= day && at(day, MORNING) < wet.until;
        check(
            day,
            !brief.wet.iter().any(wet),
            "another job's coat is wet in the house",
        )?;
    }
    let free_from = before.map_or(at(brief.start, MORNING), |before| free_from(brief, before));
    if at(first, MORNING) < free_from {
        check_sealed(brief, before, phase, first)?;
    }
    check_coating_order(brief, phase, first)?;
    check_limits(brief, phase, first)?;
    if brief.begun.len() <= number {
        check_dust(brief, phase)?;
    }
    check(
        first,
        brief.end.is_none_or(|end| phase.furniture <= end),
        "it ends too late",
    )
}

/// Returns from when on another phase can begin that isn't sealed off.
fn free_from(brief: &Brief<'_>, phase: &Phase) -> NaiveDateTime {
    let trimmed = phase
        .work
        .iter()
        .filter(|stretch| stretch.doing == Doing::Trim);
    let free = trimmed
        .map(|stretch| clock(brief.calendar.day, stretch.day, stretch.to))
        .fold(phase.light_use, NaiveDateTime::max);
    match brief.furniture_first {
        true => free.max(phase.furniture.and_time(NaiveTime::MIN)),
        false => free,
    }
}

fn flaw<T>(day: NaiveDate, what: &str) -> Result<T, Flaw> {
    Err(Flaw {
        day,
        what: what.to_owned(),
    })
}

fn check(day: NaiveDate, holds: bool, what: &str) -> Result<(), Flaw> {
    if holds { Ok(()) } else { flaw(day, what) }
}

fn at(day: NaiveDate, hour: u32) -> NaiveDateTime {
    day.and_time(NaiveTime::MIN) + TimeDelta::hours(i64::from(hour))
}

/// Returns the moment at which so much labour of a day is done, rounded up to the minute.
fn clock(of: WorkingDay, day: NaiveDate, labour: i64) -> NaiveDateTime {
    let share =
        Decimal::from(labour) * Decimal::from(of.day_minutes) / Decimal::from(of.crew_minutes);
    let minutes = counted(i64::try_from(share.ceil()).ok());
    at(day, MORNING) + TimeDelta::minutes(minutes)
}

/// Checks a phase that begins while the one before is wet: it is sealed off, and reached without crossing wet rooms.
fn check_sealed(
    brief: &Brief<'_>,
    before: Option<&Phase>,
    phase: &Phase,
    first: NaiveDate,
) -> Result<(), Flaw> {
    let Some(before) = before.filter(|_| brief.sealed && !brief.furniture_first) else {
        return flaw(first, "it begins before the one before is done");
    };
    let done = before
        .work
        .last()
        .map(|stretch| (stretch.day, stretch.doing));
    let coated = matches!(done, Some((day, Doing::Coat(_))) if day < first);
    check(
        first,
        coated,
        "it begins before the one before is coated and trimmed",
    )?;
    let reached = reach(brief, places_of(brief, &before.rooms));
    let rooms = places_of(brief, &phase.rooms);
    check(
        first,
        rooms.is_within(reached),
        "it is reached over wet rooms only",
    )
}

/// Checks that each room is left through rooms that aren't coated yet, to the exit.
fn check_coating_order(brief: &Brief<'_>, phase: &Phase, first: NaiveDate) -> Result<(), Flaw> {
    let mut coated = Places::NONE;
    for room in &phase.coating_order {
        let Some(place) = brief
            .house
            .places()
            .iter()
            .position(|place| place.id == *room)
        else {
            return flaw(first, "a room that isn't in the house");
        };
        check(
            first,
            reach(brief, coated).has(place),
            "somebody is painted into a corner",
        )?;
        coated = coated.with(Places::one(place));
    }
    let rooms = places_of(brief, &phase.rooms);
    let exit = places_of(brief, &[phase.exit]);
    let last = places_of(brief, &phase.coating_order[phase.coating_order.len() - 1..]);
    let open = reach(brief, rooms.without(last));
    check(first, exit.is_within(open), "the exit can't be reached")
}

/// Checks that no coat is wet at any hour of work of a day on which another job makes dust in the house.
fn check_dust(brief: &Brief<'_>, phase: &Phase) -> Result<(), Flaw> {
    let coats = phase
        .work
        .iter()
        .filter(|stretch| matches!(stretch.doing, Doing::Coat(_)));
    let Some(from) = coats.map(|stretch| stretch.day).min() else {
        return Ok(());
    };
    let mut dusty = brief.dusty.iter();
    match dusty.find(|day| **day == from || **day > from && at(**day, MORNING) < phase.light_use) {
        Some(day) => flaw(*day, "another job's dust falls on a wet coat"),
        None => Ok(()),
    }
}

fn check_limits(brief: &Brief<'_>, phase: &Phase, first: NaiveDate) -> Result<(), Flaw> {
    let rooms = places_of(brief, &phase.rooms);
    check(
        first,
        brief.most_rooms.is_none_or(|most| rooms.count() <= most),
        "too many rooms are empty",
    )?;
    for together in &brief.together {
        let some = rooms.shared(*together);
        check(
            first,
            some.is_empty() || some == *together,
            "rooms that go together don't",
        )?;
    }
    for apart in &brief.apart {
        check(
            first,
            rooms.shared(*apart).count() <= 1,
            "rooms that go apart don't",
        )?;
    }
    Ok(())
}

fn places_of(brief: &Brief<'_>, rooms: &[RoomId]) -> Places {
    let places = brief.house.places().iter().enumerate();
    places
        .filter(|(_, place)| rooms.contains(&place.id))
        .map(|(number, _)| number)
        .collect()
}

/// Goes through every day and night: who can get where, and what is lost.
fn live_through(brief: &Brief<'_>, plan: &HousePlan) -> Result<(), Flaw> {
    let away = |day: NaiveDate| {
        brief
            .away
            .iter()
            .any(|(from, to)| *from <= day && day <= *to)
    };
    let (mut nights, mut relied_on) = (Vec::new(), Vec::new());
    let mut closed_days: Vec<u32> = vec![0; plan.phases.len()];
    let mut day = brief.start;
    while day <= plan.finish {
        let mut closed_tonight = Places::NONE;
        for (number, phase) in plan.phases.iter().enumerate() {
            let first_coat = phase
                .work
                .iter()
                .find(|stretch| matches!(stretch.doing, Doing::Coat(_)));
            let wet_from = first_coat.map(|stretch| stretch.day);
            let sanded = phase
                .work
                .iter()
                .any(|stretch| stretch.day == day && stretch.doing == Doing::Sand);
            let wet = wet_from.is_some_and(|from| {
                from == day || from < day && phase.light_use > at(day, MORNING)
            });
            if (sanded || wet) && !away(day) {
                closed_days[number] += 1;
            }
            if wet_from.is_some_and(|from| from <= day) && phase.light_use > at(day, EVENING) {
                closed_tonight = closed_tonight.with(places_of(brief, &phase.rooms));
            }
        }
        let beside = brief.wet.iter();
        let beside = beside.filter(|wet| wet.from <= day && wet.until > at(day, EVENING));
        let beside = beside.fold(Places::NONE, |rooms, wet| rooms.with(wet.rooms));
        // What fails already for another job is no more lost for this one.
        let fails = fails(brief, closed_tonight.with(beside)) && !fails(brief, beside);
        if fails && away(day) {
            relied_on.push(day);
        }
        if fails && !away(day) {
            check(
                day,
                brief.night_away != NightAway::Refused,
                "something that must stay in use can't be reached",
            )?;
            nights.push(day);
        }
        day = day + Days::new(1);
    }
    let told = |nights: fn(&Phase) -> &Vec<NaiveDate>| -> Vec<NaiveDate> {
        let phases = plan.phases.iter();
        phases.flat_map(|phase| nights(phase).clone()).collect()
    };
    check(
        brief.start,
        told(|phase| &phase.nights_away) == nights,
        "other nights away than it says",
    )?;
    check(
        brief.start,
        told(|phase| &phase.nights_relied_on) == relied_on,
        "it relies on other nights than it says",
    )?;
    let told: Vec<u32> = plan.phases.iter().map(|phase| phase.days_closed).collect();
    check(
        brief.start,
        told == closed_days,
        "other closed days than it says",
    )
}

fn fails(brief: &Brief<'_>, closed: Places) -> bool {
    let reachable = reach(brief, closed);
    brief.keeps.iter().any(|keep| {
        let reached = keep.places.numbers();
        let reached = reached.filter(|place| reachable.has(*place));
        reached.count() < keep.least as usize
    })
}

/// Checks that each machine is there on the days that it is used, once, and costs what its cover says.
fn check_machines(brief: &Brief<'_>, plan: &HousePlan) -> Result<(), Flaw> {
    for phase in &plan.phases {
        let needs = &phase.needs;
        for stretch in &phase.work {
            let (sanding, coating) = match stretch.doing {
                Doing::Sand => (needs.sands_by_machine, needs.sands_with_coating_machines),
                Doing::Coat(number) => (false, needs.coats[number].by_machine),
                Doing::Trim => (false, false),
            };
            let sanding = brief.sanding_machines.iter().filter(|_| sanding);
            let coating = brief.coating_machines.iter().filter(|_| coating);
            for machine in sanding.chain(coating) {
                let here = plan.rentals.iter().filter(|rental| {
                    rental.machine == machine.id
                        && rental.out <= stretch.day
                        && stretch.day <= rental.last_day
                });
                check(
                    stretch.day,
                    here.count() == 1,
                    "a machine isn't there, or is there twice",
                )?;
            }
        }
    }
    let all = || brief.sanding_machines.iter().chain(brief.coating_machines);
    for rental in &plan.rentals {
        let Some(machine) = all().find(|machine| machine.id == rental.machine) else {
            return flaw(rental.out, "a machine that nobody needs");
        };
        let back = at(rental.last_day + Days::new(1), MORNING);
        let away = Away::new(at(rental.out, MORNING), back);
        let cover = away.map(|away| away.cover(&machine.tariff));
        check(
            rental.out,
            cover.as_ref() == Some(&rental.plan.cover),
            "a rental isn't charged as the yard charges it",
        )?;
    }
    Ok(())
}

/// Checks that everything costs what it was said to.
fn check_costs(brief: &Brief<'_>, plan: &HousePlan) -> Result<(), Flaw> {
    let count = |amount: Money, times: usize| Money::from_minor(amount.minor() * times as i64);
    for phase in &plan.phases {
        let PlanCosts {
            set_up,
            rental: _,
            days_closed,
            nights_away,
        } = phase.costs;
        let days = phase.days_closed as usize * phase.rooms.len();
        for (is, should, what) in [
            (set_up, brief.set_up, "set-up costs something else"),
            (
                days_closed,
                count(brief.day_closed, days),
                "closed days cost something else",
            ),
            (
                nights_away,
                count(brief.night_away.price(), phase.nights_away.len()),
                "nights away cost something else",
            ),
        ] {
            check(plan.finish, is == should, what)?;
        }
    }
    Ok(())
}

/// Returns the places that can be reached from outside without crossing a closed one: doorway after doorway, until none
/// leads any farther.
fn reach(brief: &Brief<'_>, closed: Places) -> Places {
    let mut reached = Places::NONE;
    loop {
        let before = reached;
        for (one, another) in brief.house.doorways() {
            let ends = [Some(*one), *another];
            let open = ends
                .iter()
                .any(|end| end.is_none_or(|place| reached.has(place)));
            for place in ends
                .into_iter()
                .flatten()
                .filter(|place| open && !closed.has(*place))
            {
                reached = reached.with(Places::one(place));
            }
        }
        if reached == before {
            return reached;
        }
    }
}
