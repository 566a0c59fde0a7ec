//! What is known of a set of rooms: whether it can be a phase, what it takes at least, and what it comes to on each date.

use std::cell::RefCell;
use std::rc::Rc;

use super::calendar::{CoatTooLong, DAY, Day, Moment, Needs, Span, Table, Times};
use super::rest::Least;
use super::search::Search;
use super::ways::Places;
use crate::money::{Decimal, round};

/// Steps that are counted for finding out about a set of rooms, and for a date of it: as long as they take beside the
/// comparison of two labels.
const FACTS: usize = 500;
const DATE: usize = 20;

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
    pub(super) places: Places,
    pub(super) needs: Needs,
    /// Why it can't be a phase at all.
    pub(super) obstacle: Option<Obstacle>,
    /// The keep that fails in its wet nights.
    pub(super) fails: Option<usize>,
    /// What it takes at least, on whatever day: nothing that is lost counts if somebody may be away then.
    pub(super) least: Least,
    /// What it takes at least while nobody is away.
    pub(super) calm: Least,
    /// The phase by the days from the first one on: `None` isn't worked out yet, `Some(None)` isn't possible.
    dated: RefCell<Vec<Option<Option<Dated>>>>,
}

/// A phase on a certain day.
#[derive(Clone, Copy, Debug)]
pub(super) struct Dated {
    /// What it costs beside the sanding machines.
    pub(super) cost: i64,
    /// The last day on which those are used.
    pub(super) last_sanding: Day,
    /// When another can begin.
    pub(super) next: Next,
    /// When the first coat begins; beyond all days: it has none.
    pub(super) first_coat: Moment,
    /// From when the rooms are walked on.
    pub(super) light_use: Moment,
    /// The day on which its furniture is back.
    pub(super) finish: Day,
}

/// The first day on which a phase can begin after another.
#[derive(Clone, Copy, Debug)]
pub(super) struct Next {
    /// Anywhere.
    pub(super) ready: Day,
    /// In rooms that the other is sealed off from, which may be wet still.
    pub(super) sealed: Day,
}

impl Search<'_> {
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
        let obstacle = self
            .obstacle_to(rooms, &needs, went.err())
            .or_else(|| self.closed_keep(&needs, went.ok()?, fails?));
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

    /// Returns what is in the way of a phase of these rooms on any day; one of its coats, by its number, may take more than
    /// a working day.
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

    /// Returns the keep that fails in the wet nights of a phase, if it is sure to have such nights and nobody can be away.
    fn closed_keep(&self, needs: &Needs, times: Times, fails: usize) -> Option<Obstacle> {
        let nobody_may_leave = self.night_away.is_none() && self.away.is_empty();
        let is_closed = nobody_may_leave && least_nights(needs, &times) > 0;
        is_closed.then_some(Obstacle::Keep(fails))
    }

    /// Returns when what is done if nothing has to harden, in a calendar without weekends and holidays that begins on day 0. No phase has its machines for a shorter time, closes its rooms on fewer days, or is done sooner; but it
    /// may be wet in fewer nights, since after a wait its coats are laid at other hours.
    ///
    /// # Errors
    /// Returns the number of a coat that takes more than a working day.
    pub(super) fn without_rest(&self, needs: &Needs) -> Result<Times, usize> {
        let needs = Needs {
            hardening: None,
            ..needs.clone()
        };
        self.no_rest.times(&needs, 0)
    }

    /// Returns the least that is paid once for a phase: set-up, and a day of the machines that only coats take.
    pub(super) fn least_once(&self, times: &Times) -> i64 {
        let set_up = self.brief.set_up.minor();
        if times.coat_machines.is_none() {
            return set_up;
        }
        // After a weekend, coats may be laid on one day that take two otherwise: one day is all that is sure.
        let day = self.coating.prices.iter().map(|prices| prices[1]).min();
        set_up + day.unwrap_or(0)
    }

    /// Returns for how long a phase has the sanding machines at least, and after how many days the next one can begin, from
    /// its dates without weekends.
    pub(super) fn least_of_machines(&self, needs: &Needs, times: &Times) -> Least {
        let next = self.next(&self.no_rest, needs, times);
        Least {
            cost: 0,
            sanding: match needs.sands_by_machine {
                true => (times.last_sanding + 1).unsigned_abs() as usize,
                false => 0,
            },
            until_next: usize::try_from(next.sealed).unwrap_or(0),
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
    pub(super) fn dated(&self, facts: &Facts, start: Day) -> Option<Dated> {
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
        let times = self.table.times(&facts.needs, start).ok()?;
        if times.furniture > self.end || self.is_dusted(facts.places, &times) {
            return None;
        }
        Some(Dated {
            cost: self.cost_on(facts, start, &times)?,
            last_sanding: times.last_sanding,
            next: self.next(&self.table, &facts.needs, &times),
            first_coat: times.first_coat.unwrap_or(Moment::NEVER),
            light_use: times.light_use,
            finish: times.furniture,
        })
    }

    /// Returns what a phase costs beside the sanding machines; `None`: a keep fails on a night at home, or machines would
    /// be out for too long.
    fn cost_on(&self, facts: &Facts, start: Day, times: &Times) -> Option<i64> {
        let brief = self.brief;
        let mut cost = brief.set_up.minor();
        if let Some(out) = times.coat_machines {
            cost += self.coating.price(out.first, out.last)?;
        }
        if !brief.day_closed.is_zero() {
            cost += self.closed_days(&facts.needs, times, start)
                * i64::from(facts.places.count())
                * brief.day_closed.minor();
        }
        if facts.fails.is_none() && self.wet.is_empty() {
            return Some(cost);
        }
        let nights = self.failing_nights(facts, times);
        let nights = nights.filter(|night| !self.is_away(*night)).count() as i64;
        match self.night_away {
            Some(price) => Some(cost + price * nights),
            None => (nights == 0).then_some(cost),
        }
    }

    /// Tells whether a coat would be wet on a day on which another job makes dust. What has begun can't help it.
    fn is_dusted(&self, rooms: Places, times: &Times) -> bool {
        let Some(wet) = times.wet_days() else {
            return false;
        };
        let next = self.dusty.partition_point(|day| *day < wet.first);
        let mut begun = self.brief.begun.iter();
        self.dusty.get(next).is_some_and(|day| *day <= wet.last)
            && !begun.any(|begun| begun.rooms == rooms)
    }

    /// Returns when a phase can begin after another.
    fn next(&self, table: &Table, needs: &Needs, times: &Times) -> Next {
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
        Next { ready, sealed }
    }

    /// Counts the days on which the rooms of a phase are closed at some time while somebody is at home.
    pub(super) fn closed_days(&self, needs: &Needs, times: &Times, start: Day) -> i64 {
        let sanding = match needs.before {
            0 => start..start,
            _ => start..times.last_sanding + 1,
        };
        let wet = times.wet_days();
        let is_wet = |day: &Day| wet.is_some_and(|wet| wet.has(*day));
        let sanded =
            sanding.filter(|day| self.table.works(*day) && !times.waits_on(*day) && !is_wet(day));
        let wet = wet.into_iter().flat_map(Span::days);
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
}

/// Returns the least days on which a phase closes its rooms, from its dates without weekends.
pub(super) fn least_closed(needs: &Needs, times: &Times) -> i64 {
    let wet = times.wet_days().map_or(0, |wet| {
        let is_shared = wet.first == times.last_sanding && needs.before > 0;
        i64::from(wet.last - wet.first + 1) - i64::from(is_shared)
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
    (drying + needs.light_use) / DAY
}
