//! What the rest of a plan costs at least, by how long the sanding machines have been out.
//!
//! A phase is known by its [`Least`], taken from a calendar without weekends and holidays, since on no date does it take
//! less: what it costs beside the sanding machines, for how many days it has those, and after how many days the next phase can begin.
//! After a phase the machines go back, which costs what a rental of so many days costs at the cheapest time of the week,
//! or they are kept, and then they are out until the next phase can begin and for its days as well. So for a set of rooms
//! that are left, and machines that have been out for so many days when its first phase begins, the least that any order
//! of phases costs follows from the sets within it: a [`Rest`].
//!
//! Within the budget of steps, 39 of 40 drawn houses of nine rooms are proven with it, 4 without it, and 31 if it doesn't
//! know for how long machines have been out (`benches/README.md`).

use std::rc::Rc;

use super::calendar::Day;
use super::facts::Facts;
use super::label::{Label, NOT_OUT};
use super::search::Search;
use super::ways::Places;

/// More than anything costs: what can't be done.
pub(super) const NEVER: i64 = i64::MAX / 8;
/// Up to so many days it is told apart for how long machines have been out. If it is longer, it counts as so many, which
/// costs no more.
const KEPT: usize = 40;
/// Steps that are counted for each phase of each set of rooms that is left: as long as it takes beside the comparison of
/// two labels.
const PAIR: usize = 8;

/// What a phase takes at least, whatever its dates.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Least {
    /// What it costs beside the sanding machines.
    pub(super) cost: i64,
    /// Days of the sanding machines; none: it has no need of them.
    pub(super) sanding: usize,
    /// Days until the next phase can begin.
    pub(super) until_next: usize,
}

impl Least {
    /// Returns a phase without sanding machines.
    pub(super) fn of_cost(cost: i64) -> Least {
        Least {
            cost,
            ..Least::default()
        }
    }
}

/// What is left costs at least so much, by the days for which the sanding machines have been out when it begins; what they
/// cost for those is included. At 0, none are out.
#[derive(Clone, Debug)]
pub(super) struct Rest([i64; KEPT + 1]);

impl Rest {
    /// Nothing is left, and no machine out.
    pub(super) fn nothing() -> Rest {
        let mut rest = Rest([NEVER; KEPT + 1]);
        rest.0[0] = 0;
        rest
    }

    /// A set of rooms of which no phase is known yet.
    fn unknown() -> Rest {
        Rest([NEVER; KEPT + 1])
    }

    /// Returns the least if no machine is out.
    pub(super) fn fresh(&self) -> i64 {
        self.0[0]
    }

    /// Returns the least if machines have been out for so many days and are kept.
    pub(super) fn kept(&self, days: usize) -> i64 {
        self.0[days.clamp(1, KEPT)]
    }

    /// Returns the least of a phase with this rest after it, if machines have been out for so many days before; 0: none
    /// are. Prices are the least of a rental by its days.
    pub(super) fn after(&self, phase: &Least, out: usize, prices: &[i64]) -> i64 {
        let next = out + phase.until_next;
        if phase.sanding == 0 {
            let rest = if out == 0 {
                self.fresh()
            } else {
                self.kept(next)
            };
            return phase.cost + rest;
        }
        let days = (out + phase.sanding).min(prices.len() - 1);
        phase.cost + (prices[days] + self.fresh()).min(self.kept(next))
    }

    /// Returns the least of a phase with this rest after it.
    pub(super) fn with(&self, phase: &Least, prices: &[i64]) -> Rest {
        Rest(std::array::from_fn(|out| {
            self.after(phase, out, prices).min(NEVER)
        }))
    }

    /// Lowers the least to that of another order of phases.
    fn lower(&mut self, other: &Rest) {
        for (least, other) in self.0.iter_mut().zip(&other.0) {
            *least = (*least).min(*other);
        }
    }
}

/// Returns what is least for each set of rooms (as bits, the first of them empty), over all orders of phases that they can
/// be divided into; `None`: the set can't be a phase.
pub(super) fn least_of_rests(phases: &[Option<Least>], prices: &[i64]) -> Vec<Rest> {
    let mut rests = vec![Rest::nothing()];
    for rest in 1..phases.len() {
        let mut least = Rest::unknown();
        for phase in subsets(rest) {
            if let Some(first) = &phases[phase] {
                least.lower(&rests[rest & !phase].with(first, prices));
            }
        }
        rests.push(least);
    }
    rests
}

/// Returns every set within a set but the empty one, itself first; sets are bits.
pub(super) fn subsets(of: usize) -> impl Iterator<Item = usize> {
    let first = Some(of).filter(|set| *set != 0);
    std::iter::successors(first, move |set| {
        Some((set - 1) & of).filter(|set| *set != 0)
    })
}

/// What is left at least after a phase.
pub(super) struct Left {
    rooms: i64,
    least: Rest,
    /// The same if nobody is away; `None`: nobody is.
    calm: Option<Rest>,
}

/// What a phase and what is left after it cost at least if no machine is out before.
#[derive(Clone, Copy)]
pub(super) struct Fresh {
    least: i64,
    /// The same if nobody is away; `None`: nobody is.
    calm: Option<i64>,
}

impl Search<'_> {
    /// Returns what is left after the last phase.
    pub(super) fn nothing_left(&self) -> Left {
        Left {
            rooms: 0,
            least: Rest::nothing(),
            calm: (!self.spared.is_empty()).then(Rest::nothing),
        }
    }

    /// Returns what is left at least before a phase.
    pub(super) fn left_before(&self, left: &Left, facts: &Facts) -> Left {
        let prices = &self.sanding.one;
        let calm = left.calm.as_ref();
        Left {
            rooms: left.rooms + i64::from(facts.places.count()),
            least: left.least.with(&facts.least, prices),
            calm: calm.map(|calm| calm.with(&facts.calm, prices)),
        }
    }

    /// Returns what is least for each set of rooms that is left.
    pub(super) fn lefts(&self, facts: &[Rc<Facts>]) -> Vec<Left> {
        let least_of = |of: fn(&Facts) -> Least| {
            let phases = facts.iter();
            let phases = phases.map(|facts| facts.obstacle.is_none().then(|| of(facts)));
            let phases: Vec<Option<Least>> = phases.collect();
            let pairs = 3_usize.pow(phases.len().ilog2());
            self.work.count(pairs * PAIR);
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

    /// Returns the least that a label costs in the end, by the least of what is left.
    pub(super) fn least_after(&self, label: &Label, left: &Left) -> i64 {
        let by = |rest: &Rest| self.least_in_the_end(label, rest.fresh(), |days| rest.kept(days));
        let least = by(&left.least);
        let calm = left.calm.as_ref();
        let calm = calm.map(|calm| by(calm) - self.saved_from(label.sealed, left.rooms));
        least.max(calm.unwrap_or(least))
    }

    /// Returns what a phase and what is left after it cost at least if no machine is out before.
    pub(super) fn left_fresh(&self, left: &Left, facts: &Facts) -> Fresh {
        let prices = &self.sanding.one;
        let calm = left.calm.as_ref();
        Fresh {
            least: left.least.after(&facts.least, 0, prices),
            calm: calm.map(|calm| calm.after(&facts.calm, 0, prices)),
        }
    }

    /// Returns the least that a label costs in the end with a phase next and the rest after it, by what those cost if no
    /// machine is out before.
    pub(super) fn least_with(
        &self,
        label: &Label,
        facts: &Facts,
        left: &Left,
        fresh: Fresh,
    ) -> i64 {
        let by = |rest: &Rest, phase: &Least, fresh| {
            let kept = |days| rest.after(phase, days, &self.sanding.one);
            self.least_in_the_end(label, fresh, kept)
        };
        let least = by(&left.least, &facts.least, fresh.least);
        let calm = left.calm.as_ref().zip(fresh.calm);
        let calm = calm.map(|(calm, fresh)| {
            let rooms = left.rooms + i64::from(facts.places.count());
            by(calm, &facts.calm, fresh) - self.saved_from(label.sealed, rooms)
        });
        least.max(calm.unwrap_or(least))
    }

    /// Returns the least that a label costs in the end: its machines go back before what follows, or are kept until then.
    fn least_in_the_end(&self, label: &Label, fresh: i64, kept: impl FnOnce(usize) -> i64) -> i64 {
        let rest = match label.out {
            NOT_OUT => fresh,
            out => {
                let returned = self.sanding.price(out, label.back).unwrap_or(NEVER);
                let days = (label.sealed - out).max(1).unsigned_abs() as usize;
                (returned + fresh).min(kept(days))
            }
        };
        label.cost + rest
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
}
