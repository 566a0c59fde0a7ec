//! The whole house: in what order its rooms are done, on which days, with the machines out for how long.
//!
//! A **phase** is a set of rooms done together: emptied, repaired, sanded, vacuumed, coated coat by coat, walked on, and
//! furnished again (its [`calendar`]). Phases follow each other, since no floor is sanded while a coat is wet in the same
//! house: a phase begins on a working morning, once the one before can be walked on and its trim is done; where the
//! furniture needs the room, once it is back. Where rooms are sealed off, sanding may begin on the working day after the
//! last coat, in rooms that are reached without crossing the wet ones, if nothing is left to be trimmed; the first coat
//! waits until the others are walked on, so that one phase is wet at a time.
//!
//! Sanding closes rooms by day: a sanded floor is walked on in socks at night. From the first coat until light use they
//! are closed day and night. The household lives on: what it **keeps** must be reachable from outside every night (its
//! [`ways`]) without crossing a closed room. A night on which that fails is a night away; either it has a price, or the
//! household is away anyway, or the plan isn't feasible.
//!
//! What depends on the plan:
//!
//! * the set-up, once for each phase;
//! * the sanding machines: they go out together on the first morning of a phase and back together on the morning after the
//!   last day of sanding, of that phase or of a later one, whichever is cheaper; machines that only the coats need are
//!   out from the first day to the last that they are used in a phase;
//! * what the household loses: so much for each room and day that it is closed, and for each night away.
//!
//! Everything else (labour, discs, finish) is the same however the house is divided. Days follow from the hours at the
//! confidence; money is expected cost.
//!
//! [`plan`] returns the cheapest feasible plan, the earliest finish among equals. Where not every plan can be tried, because
//! there are more than twelve rooms or it takes too many steps, it returns a good one with a bound on what any plan costs.
//! Every plan can be [replayed](replay) day by day; programs built with debug assertions do so with each that they make.

mod bound;
pub mod calendar;
mod every;
mod facts;
mod full;
mod good;
mod kit;
mod label;
pub mod labour;
pub mod promised;
pub mod replay;
mod rest;
mod search;
pub mod ways;
mod words;
mod work;

#[cfg(test)]
mod tests;

use std::collections::BTreeSet;
use std::rc::Rc;

use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};

pub use self::calendar::{Calendar, Coat, Doing, Hardening, Needs, Stretch, WorkingDay};
use self::every::Best;
use self::good::Ordered;
use self::search::{Chosen, Search};
pub use self::ways::{House, HouseError, Keep, MOST_PLACES, Place, Places};
pub use self::words::Remark;
use self::work::Steps;
use crate::money::Money;
use crate::trade::rental::{MORNING, Plan as RentalPlan, Tariff};
use crate::trade::{MachineId, RoomId};

/// Up to how many rooms every plan is tried, if the steps suffice.
const EXACT_ROOMS: u32 = 12;

/// Hundredths of the steps: for the best order of the rooms one by one, for a good plan, for trying every plan, for a good
/// plan that begins with nights away, and, where there is no plan, for what would mend that.
const FOR_ONE_BY_ONE: u64 = 5;
const FOR_GOOD: u64 = 10;
const FOR_ALL: u64 = 60;
const FOR_NIGHTS: u64 = 10;
const FOR_WORDS: u64 = 100;

/// What a house is planned by.
pub struct Brief<'a> {
    /// The house.
    pub house: &'a House,
    /// When the crew works.
    pub calendar: &'a Calendar,
    /// What a set of rooms takes when it is done together.
    pub needs: Rc<dyn Fn(Places) -> Needs + 'a>,
    /// The first day on which work can begin.
    pub start: NaiveDate,
    /// Phases that have begun, in order: they stay.
    pub begun: Vec<Begun>,
    /// The first day on which anything else can begin: today, where phases have begun.
    pub anew_from: NaiveDate,
    /// The day by which everything is back in place; `None`: no matter.
    pub end: Option<NaiveDate>,
    /// What must stay in use.
    pub keeps: Vec<Keep>,
    /// Rooms of other jobs in the same house, which are wet for some time. That nobody works meanwhile is for the calendar.
    pub wet: Vec<Wet>,
    /// Days on which other jobs make dust in the same house: nothing else may be wet there then. None, where rooms are sealed
    /// off.
    pub dusty: BTreeSet<NaiveDate>,
    /// Nights that the household is away anyway, first and last.
    pub away: Vec<(NaiveDate, NaiveDate)>,
    /// What becomes of a night on which a keep fails.
    pub night_away: NightAway,
    /// What a room that is closed costs a day.
    pub day_closed: Money,
    /// How many rooms can be emptied at once; `None`: any number.
    pub most_rooms: Option<u32>,
    /// Whether rooms are sealed off so well that others are sanded while their coats are wet.
    pub sealed: bool,
    /// Whether a phase waits until the furniture of the one before is back.
    pub furniture_first: bool,
    /// Rooms that are done together.
    pub together: Vec<Places>,
    /// Rooms of which no two are done together.
    pub apart: Vec<Places>,
    /// What setting up for a phase costs.
    pub set_up: Money,
    /// The machines that sanding takes; they go out and back together.
    pub sanding_machines: &'a [Machine],
    /// The machines that only the coats take.
    pub coating_machines: &'a [Machine],
    /// Told now and then how many hundredths of the steps are used that a plan may take.
    pub progress: &'a dyn Fn(u32),
}

impl<'a> Brief<'a> {
    /// Returns the rooms that are in no phase yet.
    pub fn rooms_left(&self) -> Places {
        let begun = self.begun.iter();
        begun.fold(self.house.refinished(), |left, begun| {
            left.without(begun.rooms)
        })
    }

    /// Returns the same brief where nights away that were refused are no obstacle, but as few as can be.
    fn with_nights(&self) -> Brief<'a> {
        Brief {
            night_away: match self.night_away {
                NightAway::Refused => NightAway::Fewest,
                other => other,
            },
            needs: self.needs.clone(),
            begun: self.begun.clone(),
            keeps: self.keeps.clone(),
            wet: self.wet.clone(),
            dusty: self.dusty.clone(),
            away: self.away.clone(),
            together: self.together.clone(),
            apart: self.apart.clone(),
            ..*self
        }
    }
}

/// What becomes of a night on which a keep fails while the household is at home.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NightAway {
    /// There is none.
    Refused,
    /// There are as few as can be, whatever else that costs; they have no price.
    Fewest,
    /// It costs so much.
    Costs(Money),
}

impl NightAway {
    /// So high a price that a plan with a night away is dearer than any without.
    const DEAR: Money = Money::from_minor(1_000_000_000);

    /// Returns the price of such a night when plans are compared; `None`: a plan has none.
    fn weight(self) -> Option<Money> {
        match self {
            NightAway::Refused => None,
            NightAway::Fewest => Some(NightAway::DEAR),
            NightAway::Costs(price) => Some(price),
        }
    }

    /// Returns what the household loses by such a night.
    pub fn price(self) -> Money {
        match self {
            NightAway::Refused | NightAway::Fewest => Money::ZERO,
            NightAway::Costs(price) => price,
        }
    }
}

/// Rooms that are wet with the coats of another job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wet {
    /// The rooms.
    pub rooms: Places,
    /// The day of the first coat.
    pub from: NaiveDate,
    /// From when they are walked on.
    pub until: NaiveDateTime,
}

/// A phase that has begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Begun {
    /// Its rooms.
    pub rooms: Places,
    /// The day on which it was planned to begin. Days lost before may have made that impossible: then it is the first one
    /// on which it can.
    pub first: NaiveDate,
    /// Whether the sanding machines were planned to go back after it.
    pub returned: bool,
}

/// A machine that can be rented.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Identity in the ledger.
    pub id: MachineId,
    /// Its name.
    pub name: String,
    /// What the yard charges.
    pub tariff: Tariff,
}

/// A plan of the whole house.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HousePlan {
    /// What a working day was when it was made: its stretches of labour are told by that.
    pub day: WorkingDay,
    /// The phases, in order.
    pub phases: Vec<Phase>,
    /// The machines.
    pub rentals: Vec<Rental>,
    /// What depends on the plan.
    pub costs: PlanCosts,
    /// The day on which everything is back in place.
    pub finish: NaiveDate,
}

impl HousePlan {
    /// Returns its nights away, in order.
    pub fn nights_away(&self) -> impl Iterator<Item = NaiveDate> {
        self.phases
            .iter()
            .flat_map(|phase| phase.nights_away.iter().copied())
    }

    /// Returns the first day of work.
    pub fn first_day(&self) -> Option<NaiveDate> {
        self.phases.first()?.first_day()
    }

    /// Returns on how many days somebody works.
    pub fn days_of_work(&self) -> usize {
        let work = self.phases.iter().flat_map(|phase| &phase.work);
        let days: BTreeSet<NaiveDate> = work.map(|stretch| stretch.day).collect();
        days.len()
    }

    /// Returns the days on which something is sanded or trimmed, each once.
    pub fn dusty_days(&self) -> BTreeSet<NaiveDate> {
        let work = self.phases.iter().flat_map(|phase| &phase.work);
        let dusty = work.filter(|stretch| !matches!(stretch.doing, Doing::Coat(_)));
        dusty.map(|stretch| stretch.day).collect()
    }
}

/// A set of rooms done together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Phase {
    /// The rooms, in the order of the house.
    pub rooms: Vec<RoomId>,
    /// The rooms, in the order of coating.
    pub coating_order: Vec<RoomId>,
    /// The place through whose outside door one leaves after a coat.
    pub exit: RoomId,
    /// What is done when.
    pub work: Vec<Stretch>,
    /// What it takes: kept, so that its days are told as they were when more has been learned.
    pub needs: Needs,
    /// From when the floors are walked on.
    pub light_use: NaiveDateTime,
    /// The day on which the furniture is back.
    pub furniture: NaiveDate,
    /// The day of the full cure; `None`: the book doesn't say.
    pub cure: Option<NaiveDate>,
    /// Days on which the rooms are closed at some time while the household is at home.
    pub days_closed: u32,
    /// Nights on which something that must stay in use can't be reached.
    pub nights_away: Vec<NaiveDate>,
    /// Nights on which the same fails, while the household is away anyway.
    pub nights_relied_on: Vec<NaiveDate>,
    /// What of it depends on the plan; rentals count for the phase in which they go out.
    pub costs: PlanCosts,
}

impl Phase {
    /// Returns the first day of work; `None`: there is none.
    pub fn first_day(&self) -> Option<NaiveDate> {
        Some(self.work.first()?.day)
    }

    /// Returns the day of the first coat; `None`: there is none.
    pub fn first_coat(&self) -> Option<NaiveDate> {
        let mut work = self.work.iter();
        let coat = work.find(|stretch| matches!(stretch.doing, Doing::Coat(_)));
        coat.map(|stretch| stretch.day)
    }

    /// Returns the days on which a coat is wet at some time of the working day.
    pub fn wet_days(&self) -> impl Iterator<Item = NaiveDate> {
        let dry_by_morning = |day: &NaiveDate| {
            let morning = NaiveTime::MIN + TimeDelta::hours(i64::from(MORNING));
            self.light_use <= day.and_time(morning)
        };
        let coated = self.first_coat().into_iter();
        coated.flat_map(move |first| {
            let days = first.iter_days();
            days.take_while(move |day| *day == first || !dry_by_morning(day))
        })
    }
}

/// A machine, out and back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rental {
    /// The machine.
    pub machine: MachineId,
    /// Its name.
    pub name: String,
    /// The phase in which it goes out, from 0 on.
    pub phase: usize,
    /// The day on whose morning it goes out.
    pub out: NaiveDate,
    /// The last day on which it is used; it is back the morning after.
    pub last_day: NaiveDate,
    /// What the yard asks.
    pub plan: RentalPlan,
}

impl Rental {
    /// Returns the rental days.
    pub fn days(&self) -> u32 {
        (self.last_day - self.out).num_days().unsigned_abs() as u32 + 1
    }
}

/// What depends on a plan.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PlanCosts {
    /// Setting up.
    pub set_up: Money,
    /// Machines.
    pub rental: Money,
    /// What the household loses by closed rooms.
    pub days_closed: Money,
    /// What it loses by nights away.
    pub nights_away: Money,
}

impl PlanCosts {
    /// Returns what the firm pays.
    pub fn firms(self) -> Money {
        self.set_up + self.rental
    }

    /// Returns what the household loses.
    pub fn households(self) -> Money {
        self.days_closed + self.nights_away
    }

    /// Returns all of it.
    pub fn total(self) -> Money {
        self.firms() + self.households()
    }

    fn add(&mut self, more: PlanCosts) {
        self.set_up += more.set_up;
        self.rental += more.rental;
        self.days_closed += more.days_closed;
        self.nights_away += more.nights_away;
    }
}

/// A way to do the house.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// The plan; `None`: it isn't feasible.
    pub plan: Option<HousePlan>,
    /// Why it isn't, or what is worth knowing about it.
    pub why: Vec<Remark>,
}

/// The answer: a plan, and what it is compared with.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The cheapest plan, or the one that was named.
    pub chosen: Way,
    /// The cheapest plan; `None`: it is the chosen one.
    pub cheapest: Option<Way>,
    /// Each room a phase of its own.
    pub one_by_one: Way,
    /// All rooms one phase.
    pub all_at_once: Way,
    /// No plan costs less than this.
    pub bound: Money,
    /// Whether every plan was tried that could be better: then the cheapest one is, or there is none.
    pub proven: bool,
}

/// Plans a house: the cheapest way, or the phases that are named, in their order.
pub fn plan(brief: &Brief<'_>, named: Option<&[Places]>) -> Answer {
    plan_within(brief, named, work::BUDGET)
}

/// Plans a house with so much work at most, in steps.
fn plan_within(brief: &Brief<'_>, named: Option<&[Places]>, budget: u64) -> Answer {
    let work = Steps::new(budget, brief.progress);
    let search = Search::new(brief, &work);
    let rooms = brief.rooms_left();
    let whole: &[Places] = if rooms.is_empty() { &[] } else { &[rooms] };
    work.allow(FOR_ONE_BY_ONE);
    let all_at_once = search.of_phases(whole, None);
    let ones = one_by_one(&search, rooms);
    let by_hand = named.map(|phases| search.of_phases(phases, None));
    let Best {
        plan: found,
        proven,
        bound,
    } = best(&search, rooms, named, &[&all_at_once, &ones.plan]);
    work.allow(FOR_WORDS);
    let cheapest = match found {
        Some(found) => way(&search, &found),
        None => Way {
            plan: None,
            why: words::what_would_mend(&search, rooms, proven),
        },
    };
    let (mut chosen, cheapest) = match named.zip(by_hand) {
        Some((phases, by_hand)) => (planned(&search, phases, by_hand), Some(cheapest)),
        None => (cheapest, None),
    };
    let fewest = proven || named.is_some();
    chosen
        .why
        .splice(0..0, words::nights_after_all(brief, &chosen, fewest));
    let answer = Answer {
        chosen,
        cheapest,
        one_by_one: planned(&search, &ones.order, ones.plan),
        all_at_once: planned(&search, whole, all_at_once),
        bound,
        proven,
    };
    debug_assert_eq!(replay::replay_all(brief, &answer), Ok(()));
    answer
}

/// Looks for the cheapest plan. A good one comes first: it makes the search for the cheapest short, and is what remains
/// where there are too many rooms, or the steps don't suffice.
fn best(
    search: &Search<'_>,
    rooms: Places,
    named: Option<&[Places]>,
    known: &[&Option<Chosen>],
) -> Best {
    let work = search.work;
    work.allow(FOR_GOOD);
    let good = search.good_plan(rooms, named);
    let known = known.iter().filter_map(|plan| plan.as_ref()).chain(&good);
    let known = known.min_by_key(|plan| plan.rank()).cloned();
    work.allow(FOR_ALL);
    let mut best = match rooms.count() <= EXACT_ROOMS {
        true => search.best_of_all(rooms, known.as_ref().map(|plan| plan.cost)),
        false => Best {
            plan: None,
            proven: false,
            bound: bound::least_of_all(search, rooms),
        },
    };
    if !best.proven {
        let found = best.plan.into_iter().chain(known);
        let found = found.min_by_key(|plan| plan.rank());
        work.allow(FOR_NIGHTS);
        best.plan = found.or_else(|| good_plan_by_nights(search, rooms));
    }
    best
}

/// Looks for a good plan where nights away are refused and none was found: as long as they are dear instead of refused, a
/// plan can get rid of them step by step, at best of all.
fn good_plan_by_nights(search: &Search<'_>, rooms: Places) -> Option<Chosen> {
    let dear = search.brief.with_nights();
    let found = Search::new(&dear, search.work).good_plan(rooms, None)?;
    let phases = found.phases.iter().skip(dear.begun.len());
    let phases: Vec<Places> = phases.map(|phase| phase.rooms).collect();
    search.of_phases(&phases, None)
}

/// Rooms one by one, in the cheapest order that was tried.
struct OneByOne {
    order: Vec<Places>,
    /// `None`: none is feasible in the order of the house.
    plan: Option<Chosen>,
}

/// Plans the rooms one by one, in the cheapest order that is tried.
fn one_by_one(search: &Search<'_>, rooms: Places) -> OneByOne {
    let order = search.units(rooms);
    let Some(plan) = search.of_phases(&order, None) else {
        return OneByOne { order, plan: None };
    };
    // The order matters for weekends and for what is kept: rooms change places as long as that is cheaper.
    let mut best = Ordered { plan, order };
    loop {
        let places = 0..best.order.len();
        let swaps = places.flat_map(|later| (0..later).map(move |earlier| (earlier, later)));
        let swapped = swaps.map(|(earlier, later)| {
            let mut swapped = best.order.clone();
            swapped.swap(earlier, later);
            swapped
        });
        match search.better(&best.plan, swapped) {
            Some(better) => best = better,
            None => break,
        }
    }
    OneByOne {
        order: best.order,
        plan: Some(best.plan),
    }
}

/// Returns a way to do the house in these phases; where there is no plan, why not.
fn planned(search: &Search<'_>, phases: &[Places], plan: Option<Chosen>) -> Way {
    match plan {
        Some(plan) => way(search, &plan),
        None => Way {
            plan: None,
            why: words::why_not(search, phases),
        },
    }
}

fn way(search: &Search<'_>, chosen: &Chosen) -> Way {
    let plan = full::in_full(search, chosen);
    Way {
        why: words::worth_knowing(search, chosen, &plan),
        plan: Some(plan),
    }
}

/// Returns a small number as a word.
fn number_word(number: u32) -> String {
    let words = [
        "none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    ];
    let word = words.get(number as usize);
    word.map_or_else(|| number.to_string(), |word| (*word).to_owned())
}
