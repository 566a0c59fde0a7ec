//! The search for the cheapest plan: over sets of rooms that are done, days, and how long the machines have been out.
//!
//! A plan is built phase by phase. What has been done is a **label** of the set of finished rooms: what it has cost, from
//! which day on the next phase can begin, and since when the sanding machines are out, if they were kept. A label is
//! dropped when another of the same set is no worse in all of that: whatever follows costs no more after the other,
//! because a phase can always wait, what may begin beside wet rooms may begin beside fewer, and a rental that began later
//! never costs more for the same return. It is dropped too when even the
//! least that the [rest](super::rest) can cost makes it dearer than a plan that is known.
//!
//! How long a phase waits: without holidays and nights away every week is like the next, so a wait of seven days or more
//! could be cut by a week. All waits are tried up to six days after the first possible day, the last night away, or the
//! last holiday of the eight weeks that follow, whichever is latest; nobody waits longer for a holiday to be over.

use std::cell::RefCell;
use std::collections::{BTreeSet, HashMap};
use std::rc::Rc;

use super::calendar::{self, CoatTooLong, Day, Needs, Table, Times};
use super::kit::Kit;
use super::rest::{Least, NEVER, Rest, least_of_rests};
use super::ways::Places;
use super::work::Steps;
use super::{Brief, Wet};
use crate::money::{Decimal, Money, round};

/// Days from the first possible one within which a holiday may be waited for.
const FARTHEST_HOLIDAY: Day = 56;
/// Steps that are counted for finding out about a set of rooms, for a date of it, for each set of rooms that is left after
/// another, and for setting a search up: as long as they take beside the comparison of two labels.
const FACTS: usize = 500;
const DATE: usize = 20;
const REST: usize = 8;
const SET_UP: usize = 100_000;
/// A day, and a minute of the clock.
type Moment = (Day, i64);

/// No rental is under way.
const NOT_OUT: Day = Day::MAX;

/// A plan as the search knows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Chosen {
    /// The phases in order, with the day on which each begins.
    pub(super) phases: Vec<(Places, Day)>,
    /// When the sanding machines go out, and the last day on which they are used.
    pub(super) out: Vec<(Day, Day)>,
    /// What depends on the plan: set-up, rental, losses.
    pub(super) cost: Money,
    /// The day on which the last furniture is back.
    pub(super) finish: Day,
}

/// Why rooms can't be done together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Obstacle {
    /// They are more than may be emptied at once.
    TooMany,
    /// These go together, and some are missing.
    Torn(Places),
    /// These must not share a phase.
    Apart(Places),
    /// A coat doesn't fit into a day.
    Coat(CoatTooLong),
    /// A keep, by its number, fails while they are closed.
    Keep(usize),
}

/// What is known of a set of rooms.
pub(super) struct Facts {
    places: Places,
    pub(super) needs: Needs,
    /// Why it can't be a phase at all.
    pub(super) obstacle: Option<Obstacle>,
    /// The keep that fails in its wet nights.
    pub(super) fails: Option<usize>,
    /// What it takes at least.
    least: Least,
    /// The same if nobody is away, whenever it is.
    calm: Least,
    /// Worked out dates, by days since the first; outside is what isn't worked out yet, inside what can't be.
    dated: RefCell<Vec<Option<Option<Dated>>>>,
}

/// A phase on a certain day.
#[derive(Clone, Copy, Debug)]
struct Dated {
    /// What it costs beside the sanding machines.
    cost: i64,
    /// The last day on which those are used.
    last_sanding: Day,
    /// The first day on which another can begin.
    ready: Day,
    /// The same, if it is in rooms that this one is sealed off from.
    sealed: Day,
    /// When the first coat begins, and from when the rooms are walked on.
    first_coat: Moment,
    light_use: Moment,
    /// The day on which its furniture is back.
    finish: Day,
}

#[derive(Clone, Copy, Debug)]
struct Label {
    cost: i64,
    /// When the machines went out that may be kept.
    out: Day,
    /// The last day on which they were used.
    back: Day,
    ready: Day,
    /// The first day on which a phase can begin beside wet rooms, which, and until when they are wet.
    sealed: Day,
    wet: Places,
    until: Moment,
    finish: Day,
    /// How it came about: the step that made it.
    step: usize,
}

/// What is left at least after a phase.
pub(super) struct Left {
    rooms: i64,
    least: Rest,
    /// The same if nobody is away; `None`: nobody is.
    calm: Option<Rest>,
}

/// The cheapest plan, as far as every plan was tried.
pub(super) struct Best {
    pub(super) plan: Option<Chosen>,
    /// Whether every plan was tried that could be cheaper.
    pub(super) proven: bool,
    /// No plan costs less.
    pub(super) bound: Money,
}

/// Rooms of another job that are wet, and on which nights, first and last.
struct WetNights {
    rooms: Places,
    first: Day,
    last: Day,
}

/// A phase that was added to a label, and how that left it.
#[derive(Clone, Copy, Debug)]
struct Step {
    /// The step before; `None`: there was no phase yet.
    before: Option<usize>,
    phase: Places,
    start: Day,
    out: Day,
    back: Day,
}

impl Label {
    /// Tells whether whatever follows costs no more and ends no later than after the other.
    fn is_no_worse(&self, other: &Label) -> bool {
        let beside_less = || {
            self.wet.is_within(other.wet)
                && self.sealed <= other.sealed
                && self.ready <= other.ready
                && self.until <= other.until
        };
        self.cost <= other.cost
            && (self.ready <= other.sealed || beside_less())
            && self.out >= other.out
            && (self.back <= other.back || self.out == NOT_OUT)
            && self.finish <= other.finish
    }
}

/// A plan in the making.
pub(super) struct Search<'a> {
    pub(super) brief: &'a Brief<'a>,
    pub(super) work: &'a Steps<'a>,
    pub(super) table: Table,
    no_rest: Table,
    pub(super) sanding: Kit,
    coating: Kit,
    start: Day,
    end: Day,
    /// The last day on which something is as it isn't every week: a night away, a wet room or the dust of another job.
    last_special: Day,
    /// Days on which the household is away anyway.
    away: Vec<Day>,
    /// Nights on which nothing more is lost: the household is away, or a keep fails for another job.
    spared: Vec<Day>,
    /// Rooms of other jobs while they are wet.
    wet: Vec<WetNights>,
    /// Days on which other jobs make dust, in order.
    dusty: Vec<Day>,
    /// Price of a night on which a keep fails; `None`: none may fail.
    night_away: Option<i64>,
    facts: RefCell<HashMap<Places, Rc<Facts>>>,
}

impl WetNights {
    /// Returns the nights of wet rooms; `None`: they are wet in none.
    fn of(wet: &Wet) -> Option<WetNights> {
        let nights = calendar::nights(wet.from, wet.until)?;
        Some(WetNights {
            rooms: wet.rooms,
            first: nights.0,
            last: nights.1,
        })
    }
}

impl<'a> Search<'a> {
    pub(super) fn new(brief: &'a Brief<'a>, work: &'a Steps<'a>) -> Search<'a> {
        work.count(SET_UP);
        let start = calendar::day(brief.start);
        let table = brief.calendar.table();
        let away = brief.away.iter().flat_map(|(from, to)| {
            let (from, to) = (calendar::day(*from), calendar::day(*to));
            from..=to
        });
        let away: BTreeSet<Day> = away.collect();
        let wet: Vec<WetNights> = brief.wet.iter().filter_map(WetNights::of).collect();
        let dusty: Vec<Day> = brief
            .dusty
            .iter()
            .map(|date| calendar::day(*date))
            .collect();
        let last = [
            away.last().copied(),
            wet.iter().map(|wet| wet.last).max(),
            dusty.last().copied(),
        ];
        let mut search = Search {
            no_rest: table.without_rest(),
            sanding: Kit::new(brief.sanding_machines, start),
            coating: Kit::new(brief.coating_machines, start),
            start,
            end: brief.end.map_or(Day::MAX, calendar::day),
            last_special: last.into_iter().flatten().max().unwrap_or(start),
            spared: Vec::new(),
            night_away: brief.night_away.weight().map(Money::minor),
            facts: RefCell::default(),
            away: away.iter().copied().collect(),
            wet,
            dusty,
            table,
            brief,
            work,
        };
        let wet = search.wet.iter().flat_map(|wet| wet.first..=wet.last);
        let lost = wet.filter(|night| search.fails_beside(Places::NONE, *night));
        let spared: BTreeSet<Day> = lost.chain(away).collect();
        search.spared = spared.into_iter().collect();
        search
    }

    pub(super) fn is_away(&self, day: Day) -> bool {
        self.away.binary_search(&day).is_ok()
    }

    /// Returns the rooms of other jobs that are wet in a night.
    pub(super) fn wet_beside(&self, night: Day) -> Places {
        let wet = self.wet.iter();
        let wet = wet.filter(|wet| (wet.first..=wet.last).contains(&night));
        wet.fold(Places::NONE, |rooms, wet| rooms.with(wet.rooms))
    }

    /// Tells whether a keep fails in a night while these rooms are closed beside those of other jobs.
    fn fails_beside(&self, rooms: Places, night: Day) -> bool {
        let closed = rooms.with(self.wet_beside(night));
        let reachable = self.brief.house.reachable(closed);
        self.brief.keeps.iter().any(|keep| !keep.holds(reachable))
    }

    /// Returns the most that the nights and days away from a day on can save so many rooms of what they lose at home: one
    /// phase is wet at a time, and where rooms are sealed off, all others may be sanded beside it.
    fn saved_from(&self, day: Day, rooms: i64) -> i64 {
        let from = |days: &[Day]| (days.len() - days.partition_point(|known| *known < day)) as i64;
        let most = match (self.brief.sealed, self.brief.most_rooms) {
            (false, Some(most)) => rooms.min(i64::from(most)),
            _ => rooms,
        };
        from(&self.spared) * self.night_away.unwrap_or(0)
            + from(&self.away) * self.brief.day_closed.minor() * most
    }

    /// Returns the same for all of the plan.
    pub(super) fn saved(&self, rooms: Places) -> i64 {
        self.saved_from(self.start, i64::from(rooms.count()))
    }

    /// Returns what is known of a set of rooms.
    pub(super) fn facts(&self, rooms: Places) -> Rc<Facts> {
        if let Some(facts) = self.facts.borrow().get(&rooms) {
            return Rc::clone(facts);
        }
        let facts = Rc::new(self.find_out(rooms));
        self.facts.borrow_mut().insert(rooms, Rc::clone(&facts));
        facts
    }

    fn find_out(&self, rooms: Places) -> Facts {
        self.work.count(FACTS);
        let brief = self.brief;
        let needs = (brief.needs)(rooms);
        let reachable = brief.house.reachable(rooms);
        let fails = brief.keeps.iter().position(|keep| !keep.holds(reachable));
        let went = self.without_rest(&needs);
        let obstacle = self.obstacle_to(rooms, &needs, went.err()).or_else(|| {
            let nobody_may_leave = self.night_away.is_none() && self.away.is_empty();
            let by_night = went.is_ok_and(|times| least_nights(&needs, &times) > 0);
            fails
                .filter(|_| nobody_may_leave && by_night)
                .map(Obstacle::Keep)
        });
        let calm = went.map_or_else(
            |_| Least::default(),
            |times| self.least_of(rooms, &needs, &times, fails),
        );
        let least = match (self.spared.is_empty(), went) {
            (false, Ok(times)) => Least {
                cost: self.least_once(&times),
                ..calm
            },
            _ => calm,
        };
        Facts {
            obstacle,
            fails,
            places: rooms,
            least,
            calm,
            dated: RefCell::default(),
            needs,
        }
    }

    fn obstacle_to(&self, rooms: Places, needs: &Needs, coat: Option<usize>) -> Option<Obstacle> {
        let brief = self.brief;
        let torn = brief
            .together
            .iter()
            .find(|together| !rooms.shared(**together).is_empty() && !together.is_within(rooms));
        if let Some(together) = torn {
            return Some(Obstacle::Torn(*together));
        }
        let mut apart = brief.apart.iter().map(|apart| rooms.shared(*apart));
        if let Some(apart) = apart.find(|apart| apart.count() > 1) {
            return Some(Obstacle::Apart(apart));
        }
        if brief.most_rooms.is_some_and(|most| rooms.count() > most) {
            return Some(Obstacle::TooMany);
        }
        coat.map(|number| {
            let coat = &needs.coats[number];
            let hours = |minutes: i64| round(Decimal::from(minutes) / Decimal::from(60), 2);
            Obstacle::Coat(CoatTooLong {
                coat: coat.name.clone(),
                hours: hours(coat.minutes).normalize(),
                day_hours: hours(brief.calendar.day.crew_minutes).normalize(),
            })
        })
    }

    /// Returns when rooms are done what if nothing has to harden, in a calendar without weekends and holidays that begins
    /// on day 0. No phase has its machines for a shorter time, closes its rooms on fewer days, or is done sooner; but it
    /// may be wet in fewer nights, since after a wait its coats are laid at other hours.
    ///
    /// # Errors
    /// Returns the number of a coat that takes more than a working day.
    pub(super) fn without_rest(&self, needs: &Needs) -> Result<Times, usize> {
        let needs = Needs {
            hardening: None,
            ..needs.clone()
        };
        self.no_rest.go_through(&needs, 0, |_, _, _, _| ())
    }

    /// Returns the least that is paid once for a phase: set-up, and a day of the machines that only coats take.
    pub(super) fn least_once(&self, times: &Times) -> i64 {
        let set_up = self.brief.set_up.minor();
        if times.coat_machines.is_none() {
            return set_up;
        }
        // A weekend may draw coats together, so that one day is all that is sure.
        let day = self.coating.prices.iter().map(|prices| prices[1]).min();
        set_up + day.unwrap_or(0)
    }

    /// Returns for how long a phase has the sanding machines at least, and until the next one, from its dates without
    /// weekends.
    pub(super) fn least_of_machines(&self, needs: &Needs, times: &Times) -> Least {
        let (_, next) = self.next(&self.no_rest, needs, times);
        Least {
            cost: 0,
            sanding: match needs.sands_by_machine {
                true => (times.last_sanding + 1).unsigned_abs() as usize,
                false => 0,
            },
            until_next: usize::try_from(next).unwrap_or(0),
        }
    }

    /// Returns what a phase takes at least if nobody is away, from its dates without weekends.
    fn least_of(&self, rooms: Places, needs: &Needs, times: &Times, fails: Option<usize>) -> Least {
        let closed = least_closed(needs, times) * i64::from(rooms.count());
        let mut cost = self.least_once(times) + closed * self.brief.day_closed.minor();
        if let (Some(_), Some(night)) = (fails, self.night_away) {
            cost += night * least_nights(needs, times);
        }
        Least {
            cost,
            ..self.least_of_machines(needs, times)
        }
    }

    /// Returns a phase on a certain day; `None`: it ends too late, a keep fails on a night at home, or another job's dust
    /// would fall on its coats.
    fn dated(&self, facts: &Facts, start: Day) -> Option<Dated> {
        let place = usize::try_from(start - self.start).ok()?;
        if let Some(Some(known)) = facts.dated.borrow().get(place) {
            return *known;
        }
        self.work.count(DATE);
        let dated = self.date(facts, start);
        let mut known = facts.dated.borrow_mut();
        if known.len() <= place {
            known.resize(place + 1, None);
        }
        known[place] = Some(dated);
        dated
    }

    fn date(&self, facts: &Facts, start: Day) -> Option<Dated> {
        let brief = self.brief;
        let times = self
            .table
            .go_through(&facts.needs, start, |_, _, _, _| ())
            .ok()?;
        if times.furniture > self.end || self.is_dusted(facts.places, &times) {
            return None;
        }
        let mut cost = brief.set_up.minor();
        if let Some((first, last)) = times.coat_machines {
            cost += self.coating.price(first, last)?;
        }
        if !brief.day_closed.is_zero() {
            cost += self.closed_days(&facts.needs, &times, start)
                * i64::from(facts.places.count())
                * brief.day_closed.minor();
        }
        if facts.fails.is_some() || !self.wet.is_empty() {
            let nights = self.failing_nights(facts, &times);
            let nights = nights.filter(|night| !self.is_away(*night)).count() as i64;
            cost += match self.night_away {
                Some(price) => price * nights,
                None if nights == 0 => 0,
                None => return None,
            };
        }
        let (ready, sealed) = self.next(&self.table, &facts.needs, &times);
        Some(Dated {
            cost,
            last_sanding: times.last_sanding,
            ready,
            sealed,
            first_coat: times
                .first_coat
                .map_or((Day::MAX, 0), |day| (day, times.first_coat_minute)),
            light_use: times.light_use,
            finish: times.furniture,
        })
    }

    /// Tells whether a coat would be wet on a day on which another job makes dust. What has begun can't help it.
    fn is_dusted(&self, rooms: Places, times: &Times) -> bool {
        let Some((first, last)) = times.wet_days() else {
            return false;
        };
        let next = self.dusty.partition_point(|day| *day < first);
        let mut begun = self.brief.begun.iter();
        self.dusty.get(next).is_some_and(|day| *day <= last)
            && !begun.any(|begun| begun.rooms == rooms)
    }

    /// Returns the first day on which a phase can begin after another, and the first on which one can beside wet rooms that
    /// it is sealed off from.
    fn next(&self, table: &Table, needs: &Needs, times: &Times) -> (Day, Day) {
        let brief = self.brief;
        let mut ready = table.next_start(times.done);
        if brief.furniture_first {
            ready = ready.max(table.working_from(times.furniture));
        }
        let sealed = match times.last_coat {
            Some(day) if brief.sealed && !brief.furniture_first && needs.after == 0 => {
                table.working_from(day + 1).min(ready)
            }
            _ => ready,
        };
        (ready, sealed)
    }

    /// Counts the days on which the rooms of a phase are closed at some time while somebody is at home.
    pub(super) fn closed_days(&self, needs: &Needs, times: &Times, start: Day) -> i64 {
        let sanding = match needs.before {
            0 => start..start,
            _ => start..times.last_sanding + 1,
        };
        let wet = times.wet_days();
        let is_wet = |day: &Day| wet.is_some_and(|(first, last)| (first..=last).contains(day));
        let sanded =
            sanding.filter(|day| self.table.works(*day) && !times.waits_on(*day) && !is_wet(day));
        let wet = wet.into_iter().flat_map(|(first, last)| first..=last);
        sanded.chain(wet).filter(|day| !self.is_away(*day)).count() as i64
    }

    /// Returns the nights of a phase on which a keep fails for it, whoever is at home.
    pub(super) fn failing_nights(&self, facts: &Facts, times: &Times) -> impl Iterator<Item = Day> {
        let (rooms, fails) = (facts.places, facts.fails.is_some());
        times.nights().filter(move |night| {
            // Where it fails without this phase, another job has seen to that.
            match self.wet_beside(*night).is_empty() {
                true => fails,
                false => {
                    self.fails_beside(rooms, *night) && !self.fails_beside(Places::NONE, *night)
                }
            }
        })
    }

    /// Returns the cheapest plan of phases in this order, the earliest among equals; `None`: none is feasible, or none that
    /// costs at most so much.
    pub(super) fn of_phases(&self, phases: &[Places], most: Option<Money>) -> Option<Chosen> {
        self.in_order(phases, most, None)
    }

    /// Returns the same if the first phase begins on a certain day.
    pub(super) fn of_phases_from(&self, phases: &[Places], start: Day) -> Option<Chosen> {
        self.in_order(phases, None, Some(start))
    }

    fn in_order(
        &self,
        phases: &[Places],
        most: Option<Money>,
        begins: Option<Day>,
    ) -> Option<Chosen> {
        let most = most.map_or(NEVER, Money::minor);
        let facts: Vec<Rc<Facts>> = phases.iter().map(|phase| self.facts(*phase)).collect();
        // What is least after each phase, the last first.
        let mut lefts: Vec<Left> = Vec::new();
        for place in (0..phases.len()).rev() {
            let next = facts.get(place + 1).zip(lefts.last());
            lefts.push(match next {
                Some((facts, left)) => self.left_before(left, facts),
                None => self.nothing_left(),
            });
        }
        let mut steps = Vec::new();
        let mut labels = self.begun(&mut steps);
        let mut on = begins;
        for ((phase, facts), left) in phases.iter().zip(&facts).zip(lefts.iter().rev()) {
            let mut next = Vec::new();
            for label in &labels {
                self.extend(label, facts, on, |label, start| {
                    if self.least_after(&label, left) <= most {
                        self.add(&mut next, &mut steps, label, *phase, start);
                    }
                });
            }
            labels = next;
            on = None;
        }
        self.best(&labels, &steps)
    }

    /// Returns the labels after the phases that have begun: on the days on which they did, or the first on which they can.
    fn begun(&self, steps: &mut Vec<Step>) -> Vec<Label> {
        let mut labels = vec![Label {
            cost: 0,
            out: NOT_OUT,
            back: self.start,
            ready: self.table.working_from(self.start),
            sealed: self.table.working_from(self.start),
            wet: Places::NONE,
            until: (self.start, 0),
            finish: self.start,
            step: usize::MAX,
        }];
        let anew = calendar::day(self.brief.anew_from);
        for begun in &self.brief.begun {
            let facts = self.facts(begun.rooms);
            let mut next = Vec::new();
            for label in &labels {
                let first = calendar::day(begun.first).max(label.sealed);
                let latest = self.table.working_from(first.max(label.ready));
                for on in first..=latest {
                    self.extend(label, &facts, Some(on), |after, start| {
                        // Machines that were kept until then weren't returned before.
                        if label.out == NOT_OUT || after.out == label.out {
                            self.add(&mut next, steps, after, begun.rooms, start);
                        }
                    });
                    if !next.is_empty() {
                        break;
                    }
                }
            }
            // What went back before today can't be kept any more.
            for label in next.iter_mut().filter(|_| begun.returned) {
                if label.out != NOT_OUT && label.back < anew {
                    label.cost = self.total(label).unwrap_or(NEVER);
                    label.out = NOT_OUT;
                }
            }
            labels = next;
        }
        if self.brief.begun.is_empty() {
            return labels;
        }
        for label in &mut labels {
            let working = self.table.working_from(anew);
            label.ready = label.ready.max(working);
            label.sealed = label.sealed.max(working);
            // What is out still hasn't gone back before today.
            if label.out != NOT_OUT && label.back < anew - 1 {
                label.back = anew - 1;
                if let Some(step) = steps.get_mut(label.step) {
                    step.back = label.back;
                }
            }
        }
        labels
    }

    fn nothing_left(&self) -> Left {
        Left {
            rooms: 0,
            least: Rest::nothing(),
            calm: (!self.spared.is_empty()).then(Rest::nothing),
        }
    }

    /// Returns what is left at least before a phase.
    fn left_before(&self, left: &Left, facts: &Facts) -> Left {
        let prices = &self.sanding.one;
        let calm = left.calm.as_ref();
        Left {
            rooms: left.rooms + i64::from(facts.places.count()),
            least: left.least.with(&facts.least, prices),
            calm: calm.map(|calm| calm.with(&facts.calm, prices)),
        }
    }

    /// Returns what is least for each set of rooms that is left.
    fn lefts(&self, facts: &[Rc<Facts>]) -> Vec<Left> {
        let least_of = |of: fn(&Facts) -> Least| {
            let phases: Vec<Option<Least>> = facts
                .iter()
                .map(|facts| facts.obstacle.is_none().then(|| of(facts)))
                .collect();
            let pairs = 3_usize.pow(phases.len().ilog2());
            self.work.count(pairs * REST);
            least_of_rests(&phases, &self.sanding.one)
        };
        let calm = (!self.spared.is_empty()).then(|| least_of(|facts| facts.calm));
        let mut calm = calm.into_iter().flatten();
        let least = least_of(|facts| facts.least).into_iter();
        let lefts = least.zip(facts).map(|(least, facts)| Left {
            rooms: i64::from(facts.places.count()),
            least,
            calm: calm.next(),
        });
        lefts.collect()
    }

    /// Returns the cheapest plan of all, the earliest among equals, for at most so many rooms at once, as far as the work
    /// allows. A plan that is known may shorten the search.
    pub(super) fn best_of_all(&self, rooms: Places, known: Option<Money>) -> Best {
        let places: Vec<usize> = rooms.numbers().collect();
        let full = (1_usize << places.len()) - 1;
        let sets: Vec<Places> = (0..=full)
            .map(|bits| {
                Places(bits as u64)
                    .numbers()
                    .map(|bit| places[bit])
                    .collect()
            })
            .collect();
        let facts: Vec<Rc<Facts>> = sets.iter().map(|set| self.facts(*set)).collect();
        let lefts = self.lefts(&facts);
        // Where all furniture waits alike, the last phase's is back last: no other's need be told apart.
        let waits = facts[1..].iter().map(|facts| facts.needs.furniture_days);
        let alike = waits.clone().min() == waits.max();
        let mut most = known.map_or(NEVER / 2, Money::minor);
        let mut steps = Vec::new();
        let mut labels: Vec<Vec<Label>> = vec![Vec::new(); full + 1];
        labels[0] = self.begun(&mut steps);
        let mut proven = true;
        // What isn't tried any more costs at least so much.
        let mut untried = NEVER;
        'all: for done in 0..full {
            let rest = full & !done;
            let mut here = std::mem::take(&mut labels[done]);
            here.retain(|label| self.least_after(label, &lefts[rest]) <= most);
            if here.is_empty() {
                continue;
            }
            let mut phase = rest;
            while phase != 0 {
                if !self.work.is_left() {
                    labels[done] = here;
                    let open = labels.iter().enumerate();
                    let open = open.flat_map(|(done, labels)| {
                        let left = &lefts[full & !done];
                        labels.iter().map(|label| self.least_after(label, left))
                    });
                    untried = open.min().unwrap_or(NEVER);
                    proven = false;
                    break 'all;
                }
                self.work.count(here.len());
                let (of_phase, then) = (&facts[phase], done | phase);
                let left = &lefts[full & !then];
                if of_phase.obstacle.is_none() {
                    let before = self.left_fresh(left, of_phase);
                    for label in &here {
                        if self.least_with(label, of_phase, left, before) > most {
                            continue;
                        }
                        self.extend(label, of_phase, None, |mut label, start| {
                            if self.least_after(&label, left) <= most {
                                if alike && then != full {
                                    label.finish = 0;
                                }
                                if then == full {
                                    most = most.min(self.total(&label).unwrap_or(NEVER));
                                }
                                self.add(&mut labels[then], &mut steps, label, sets[phase], start);
                            }
                        });
                    }
                }
                phase = (phase - 1) & rest;
            }
        }
        let plan = self.best(&labels[full], &steps);
        let least = plan.as_ref().map_or(NEVER, |plan| plan.cost.minor());
        let bound = Money::from_minor(least.min(untried).min(most));
        Best {
            plan,
            proven,
            bound,
        }
    }

    /// Returns the rooms one by one, those that go together as one.
    pub(super) fn units(&self, rooms: Places) -> Vec<Places> {
        let mut left = rooms;
        let mut units = Vec::new();
        while let Some(room) = left.numbers().next() {
            let unit = Places::one(room).with_groups(&self.brief.together);
            units.push(unit.shared(rooms));
            left = left.without(unit);
        }
        units
    }

    /// Returns what a label costs when its machines go back; `None`: they were out for too long.
    fn total(&self, label: &Label) -> Option<i64> {
        match label.out {
            NOT_OUT => Some(label.cost),
            out => Some(label.cost + self.sanding.price(out, label.back)?),
        }
    }

    /// Returns the least that a label costs in the end, by the least of what is left.
    fn least_after(&self, label: &Label, left: &Left) -> i64 {
        let by = |rest: &Rest| self.least_in_the_end(label, rest.fresh(), |days| rest.kept(days));
        let least = by(&left.least);
        let calm = left.calm.as_ref();
        let calm = calm.map(|calm| by(calm) - self.saved_from(label.sealed, left.rooms));
        least.max(calm.unwrap_or(least))
    }

    /// Returns what a phase and what is left after it cost at least if no machine is out before, and the same if nobody is
    /// away.
    fn left_fresh(&self, left: &Left, facts: &Facts) -> (i64, i64) {
        let prices = &self.sanding.one;
        let calm = left.calm.as_ref();
        (
            left.least.after(&facts.least, 0, prices),
            calm.map_or(0, |calm| calm.after(&facts.calm, 0, prices)),
        )
    }

    /// Returns the least that a label costs in the end with a phase next and the rest after it, which cost so much at least
    /// if no machine is out before.
    fn least_with(&self, label: &Label, facts: &Facts, left: &Left, fresh: (i64, i64)) -> i64 {
        let by = |rest: &Rest, phase: &Least, fresh| {
            let kept = |days| rest.after(phase, days, &self.sanding.one);
            self.least_in_the_end(label, fresh, kept)
        };
        let least = by(&left.least, &facts.least, fresh.0);
        let calm = left.calm.as_ref().map(|calm| {
            let rooms = left.rooms + i64::from(facts.places.count());
            by(calm, &facts.calm, fresh.1) - self.saved_from(label.sealed, rooms)
        });
        least.max(calm.unwrap_or(least))
    }

    /// Returns the least that a label costs in the end: its machines go back before what follows, or are kept until then.
    fn least_in_the_end(&self, label: &Label, fresh: i64, kept: impl FnOnce(usize) -> i64) -> i64 {
        label.cost
            + match label.out {
                NOT_OUT => fresh,
                out => {
                    let returned = self.sanding.price(out, label.back).unwrap_or(NEVER);
                    let days = (label.sealed - out).max(1).unsigned_abs() as usize;
                    (returned + fresh).min(kept(days))
                }
            }
    }

    /// Tells of every label that a phase after a label can lead to, with the day on which the phase begins; it may be
    /// known.
    fn extend(
        &self,
        label: &Label,
        facts: &Facts,
        on: Option<Day>,
        mut tell: impl FnMut(Label, Day),
    ) {
        if facts.obstacle.is_some() {
            return;
        }
        let holiday = self.table.last_holiday(label.ready + FARTHEST_HOLIDAY);
        let special = holiday.map_or(self.last_special, |day| day.max(self.last_special));
        let latest = label.ready.max(special.saturating_add(1)) + 6;
        let days = match on {
            Some(day) => day..=day,
            None => label.sealed..=latest.min(self.end),
        };
        self.work
            .count((days.end() - days.start()).max(0).unsigned_abs() as usize);
        let mut beside = None;
        for start in days {
            if !self.table.works(start) {
                continue;
            }
            let Some(dated) = self.dated(facts, start) else {
                continue;
            };
            if start < label.ready {
                // Beside wet rooms: one gets there without crossing them, and coats only when they are dry.
                let reached = *beside.get_or_insert_with(|| {
                    let reachable = self.brief.house.reachable(label.wet);
                    facts.places.is_within(reachable)
                });
                if !reached || dated.first_coat < label.until {
                    continue;
                }
            }
            let next = Label {
                cost: label.cost + dated.cost,
                sealed: dated.sealed,
                wet: if dated.sealed < dated.ready {
                    facts.places
                } else {
                    Places::NONE
                },
                until: dated.light_use,
                ready: dated.ready,
                finish: dated.finish.max(label.finish),
                ..*label
            };
            if !facts.needs.sands_by_machine {
                tell(next, start);
                continue;
            }
            let next = Label {
                back: dated.last_sanding,
                ..next
            };
            match label.out {
                NOT_OUT => tell(Label { out: start, ..next }, start),
                out => {
                    if self.sanding.price(out, dated.last_sanding).is_some() {
                        tell(next, start);
                    }
                    if let Some(price) = self.sanding.price(out, label.back) {
                        let returned = Label {
                            cost: next.cost + price,
                            out: start,
                            ..next
                        };
                        tell(returned, start);
                    }
                }
            }
        }
    }

    /// Adds a label that a phase led to, unless another is no worse; drops those that it is no worse than.
    fn add(
        &self,
        labels: &mut Vec<Label>,
        steps: &mut Vec<Step>,
        label: Label,
        phase: Places,
        start: Day,
    ) {
        self.work.count(1 + labels.len());
        if labels.iter().any(|known| known.is_no_worse(&label)) {
            return;
        }
        labels.retain(|known| !label.is_no_worse(known));
        let before = Some(label.step).filter(|step| *step != usize::MAX);
        let Label { out, back, .. } = label;
        steps.push(Step {
            before,
            phase,
            start,
            out,
            back,
        });
        labels.push(Label {
            step: steps.len() - 1,
            ..label
        });
    }

    /// Returns the plan that led to the cheapest of finished labels, the earliest among equals.
    fn best(&self, labels: &[Label], steps: &[Step]) -> Option<Chosen> {
        let totals = labels
            .iter()
            .filter_map(|label| Some((self.total(label)?, label)));
        let (cost, last) =
            totals.min_by_key(|(total, label)| (*total, label.finish, label.ready))?;
        let mut taken: Vec<&Step> = Vec::new();
        let mut step = steps.get(last.step);
        while let Some(this) = step {
            taken.push(this);
            step = this.before.and_then(|before| steps.get(before));
        }
        taken.reverse();
        let mut out: Vec<(Day, Day)> = Vec::new();
        for step in taken.iter().filter(|step| step.out != NOT_OUT) {
            match out.last_mut() {
                Some(rental) if rental.0 == step.out => rental.1 = step.back,
                _ => out.push((step.out, step.back)),
            }
        }
        Some(Chosen {
            phases: taken.iter().map(|step| (step.phase, step.start)).collect(),
            out,
            cost: Money::from_minor(cost),
            finish: last.finish,
        })
    }
}

/// Returns the least days on which a phase closes its rooms, from its dates without weekends.
pub(super) fn least_closed(needs: &Needs, times: &Times) -> i64 {
    let wet = times.wet_days().map_or(0, |(first, last)| {
        let shared = i64::from(first == times.last_sanding && needs.before > 0);
        i64::from(last - first + 1) - shared
    });
    let sanding = match needs.before {
        0 => 0,
        _ => times.last_sanding + 1,
    };
    i64::from(sanding) + wet
}

/// Returns the least nights in which a phase is wet, from its dates without weekends.
fn least_nights(needs: &Needs, times: &Times) -> i64 {
    match needs.hardening {
        None => times.nights().count() as i64,
        Some(_) => least_nights_at_any_hour(needs),
    }
}

/// Returns in how many nights a phase is wet at least, at whatever hour of a day its first coat is laid.
pub(super) fn least_nights_at_any_hour(needs: &Needs) -> i64 {
    let Some((_, below)) = needs.coats.split_last() else {
        return 0;
    };
    let drying: i64 = below.iter().map(|coat| coat.recoat).sum();
    (drying + needs.light_use) / calendar::DAY
}
