//! What any plan costs at least, for more rooms than every plan can be tried for.
//!
//! Leave some rooms out of a plan of the house, and a plan of the others remains, which takes no longer and closes no more.
//! So the rooms are divided into groups small enough to try all their phases, and each group bears what is surely its own:
//!
//! * **closed rooms** by the least days on which its part of a phase closes them, in a calendar without weekends;
//! * **what a phase costs once** (set-up, a day of the coats' machines) and **the sanding machines** by the group's share of
//!   all rooms: a group with a quarter of the rooms bears a quarter of what a plan of it alone takes, which is no more
//!   than a quarter of what a plan of the house takes;
//! * **nights away** in one group alone, the one whose rooms by themselves close what must stay in use: every phase with
//!   such a room takes at least the nights that its drying takes.
//!
//! Where at most four rooms, say, can be emptied at once, there is a second bound: each room bears a quarter of what its
//! phase costs once, and the machines are out for the days of the group that takes longest. The higher of the two counts.
//! What the household loses is lowered by the most that it can save while it is away anyway; where that is too much, the
//! bound is what a plan costs without any loss.
//!
//! Of 40 drawn houses of 14 rooms the bound is 38 % below the plan on average; without any one of these parts it is at
//! least 43 % below, and up to 67 % (`benches/README.md`).

use super::Places;
use super::facts::{Obstacle, least_closed, least_nights_at_any_hour};
use super::rest::{Least, NEVER, Rest, least_of_rests};
use super::search::Search;
use crate::money::Money;

/// Rooms, or rooms that go together, in a group at most.
const GROUP: usize = 10;

/// What a part of a phase costs at least.
#[derive(Clone, Copy)]
struct PhasePart {
    rooms: i64,
    /// For every phase, however many rooms it has.
    once: i64,
    /// What is lost by it if nobody is away: by closed rooms, and by nights on which a keep fails.
    closed: i64,
    nights: i64,
    /// What it takes of the sanding machines, and until the next.
    least: Least,
}

impl PhasePart {
    /// Returns what is lost by it, nights included or not.
    fn own(&self, with_nights: bool) -> i64 {
        self.closed + if with_nights { self.nights } else { 0 }
    }
}

/// Returns the least that any plan of these rooms costs.
pub(super) fn least_of_all(search: &Search<'_>, rooms: Places) -> Money {
    least_in_groups(search, rooms, GROUP)
}

/// Returns the same by groups of so many units.
pub(super) fn least_in_groups(search: &Search<'_>, rooms: Places, size: usize) -> Money {
    let mut units = search.units(rooms);
    units.sort_by_key(|unit| {
        let facts = search.facts(*unit);
        (facts.fails.is_none(), -facts.needs.before)
    });
    let mut groups: Vec<Vec<Option<PhasePart>>> = units
        .chunks(size)
        .map(|units| parts_of(search, units))
        .collect();
    let calm = least_of_groups(search, rooms, &groups) - search.saved(rooms);
    for part in groups.iter_mut().flatten().flatten() {
        (part.closed, part.nights) = (0, 0);
    }
    let lossless = least_of_groups(search, rooms, &groups);
    Money::from_minor(calm.max(lossless))
}

fn least_of_groups(search: &Search<'_>, rooms: Places, groups: &[Vec<Option<PhasePart>>]) -> i64 {
    let all = i64::from(rooms.count());
    let groups = groups.iter().enumerate();
    let by_group: i64 = groups
        .clone()
        .map(|(number, parts)| by_group(parts, all, number == 0, &search.sanding.one))
        .sum();
    let by_part = search.brief.most_rooms.map(|most| {
        let most = i64::from(most.min(rooms.count()).max(1));
        let days = groups.clone().map(|(_, parts)| least_days(parts)).max();
        let costs = groups.map(|(number, parts)| by_part(parts, most, number == 0));
        search.sanding.least_for(days.unwrap_or(0)) + costs.sum::<i64>()
    });
    by_group.max(by_part.unwrap_or(0))
}

/// Returns what each set of a group's units costs at least as a part of a phase; `None`: no phase can have them together.
fn parts_of(search: &Search<'_>, units: &[Places]) -> Vec<Option<PhasePart>> {
    let sets = 0..1_usize << units.len();
    sets.map(|set| {
        let units = units.iter().enumerate();
        let units = units.filter(|(place, _)| set >> place & 1 == 1);
        let rooms = units.fold(Places::NONE, |rooms, (_, unit)| rooms.with(*unit));
        part(search, rooms)
    })
    .collect()
}

fn part(search: &Search<'_>, rooms: Places) -> Option<PhasePart> {
    let brief = search.brief;
    let facts = search.facts(rooms);
    // Whether a keep fails depends on the hours at which coats are laid, and a phase of more rooms has others.
    let together = matches!(facts.obstacle, None | Some(Obstacle::Keep(_)));
    let times = search
        .without_rest(&facts.needs)
        .ok()
        .filter(|_| together)?;
    let count = i64::from(rooms.count());
    Some(PhasePart {
        rooms: count,
        once: search.least_once(&times),
        closed: least_closed(&facts.needs, &times) * count * brief.day_closed.minor(),
        nights: match (facts.fails, brief.night_away.weight()) {
            (Some(_), Some(price)) => least_nights_at_any_hour(&facts.needs) * price.minor(),
            _ => 0,
        },
        least: search.least_of_machines(&facts.needs, &times),
    })
}

/// Returns the least that a plan of a whole group costs, where each part of a phase costs what `take` says; 0, if there is
/// no plan.
fn least_of_group(
    parts: &[Option<PhasePart>],
    prices: &[i64],
    take: impl Fn(&PhasePart) -> Least,
) -> i64 {
    let phases: Vec<Option<Least>> = parts.iter().map(|part| part.as_ref().map(&take)).collect();
    let rests = least_of_rests(&phases, prices);
    let least = rests.last().map(Rest::fresh);
    least.filter(|least| *least < NEVER).unwrap_or(0)
}

fn least_days(parts: &[Option<PhasePart>]) -> usize {
    let days = |part: &PhasePart| Least::of_cost(part.least.sanding as i64);
    least_of_group(parts, &[], days).unsigned_abs() as usize
}

/// Returns what a group bears at least with its share of all rooms.
fn by_group(parts: &[Option<PhasePart>], all: i64, with_nights: bool, prices: &[i64]) -> i64 {
    let group = parts.last().and_then(Option::as_ref);
    let share = group.map_or(0, |part| part.rooms);
    let prices: Vec<i64> = prices.iter().map(|price| price * share).collect();
    let take = |part: &PhasePart| Least {
        cost: part.once * share + part.own(with_nights) * all,
        ..part.least
    };
    least_of_group(parts, &prices, take) / all
}

/// Returns what a group bears at least without the sanding machines, where each room bears its share of as many as can be
/// emptied at once.
fn by_part(parts: &[Option<PhasePart>], most: i64, with_nights: bool) -> i64 {
    let take =
        |part: &PhasePart| Least::of_cost(part.once * part.rooms + part.own(with_nights) * most);
    least_of_group(parts, &[], take) / most
}
