//! The search for the cheapest plan: over the rooms that are done, the days, and how long the machines have been out.
//!
//! A plan is built phase by phase. What the phases so far lead to is a [label](super::label), and what is known of a set of
//! rooms are its [facts](super::facts), found out once. A label is dropped when another is no worse, and when even the least
//! that the [rest](super::rest) can cost makes it dearer than a plan that is known.
//!
//! [`Search::of_phases`] finds the best days for phases in their order, [`Search::best_of_all`](super::every) the best
//! phases.

use std::cell::RefCell;
use std::collections::{BTreeSet, HashMap};
use std::rc::Rc;

use super::calendar::{self, Day, Span, Table};
use super::facts::Facts;
use super::kit::Kit;
use super::label::{Label, NOT_OUT, Trail};
use super::rest::{Left, NEVER};
use super::ways::Places;
use super::work::Steps;
use super::{Begun, Brief, Wet};
use crate::money::Money;

/// Steps that are counted for setting a search up: as long as it takes beside the comparison of two labels.
const SET_UP: usize = 100_000;

/// A plan as the search knows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Chosen {
    /// The phases, in order.
    pub(super) phases: Vec<ChosenPhase>,
    /// When the sanding machines are out.
    pub(super) outings: Vec<Outing>,
    /// What depends on the plan: set-up, rental, losses.
    pub(super) cost: Money,
    /// The day on which the last furniture is back.
    pub(super) finish: Day,
}

impl Chosen {
    /// Returns by what plans are compared: the cheapest comes first, the earliest among equals.
    pub(super) fn rank(&self) -> (Money, Day) {
        (self.cost, self.finish)
    }
}

/// A phase, and the day on which it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct ChosenPhase {
    pub(super) rooms: Places,
    pub(super) start: Day,
}

/// The sanding machines, out and back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Outing {
    /// The day on whose morning they go out.
    pub(super) out: Day,
    /// The last day on which they are used.
    pub(super) back: Day,
}

/// Rooms of another job that are wet, and on which nights.
pub(super) struct WetNights {
    rooms: Places,
    nights: Span,
}

impl WetNights {
    /// Returns the nights of wet rooms; `None`: they are wet in none.
    fn of(wet: &Wet) -> Option<WetNights> {
        let nights = calendar::nights(wet.from, wet.until)?;
        let rooms = wet.rooms;
        Some(WetNights { rooms, nights })
    }
}

/// A plan in the making.
pub(super) struct Search<'a> {
    pub(super) brief: &'a Brief<'a>,
    pub(super) work: &'a Steps<'a>,
    pub(super) table: Table,
    /// The same crew without weekends and holidays.
    pub(super) no_rest: Table,
    /// The machines that sanding takes, and those that only coats take.
    pub(super) sanding: Kit,
    pub(super) coating: Kit,
    pub(super) start: Day,
    pub(super) end: Day,
    /// The last day that isn't as it is every week: with a night away, or a wet room or the dust of another job.
    pub(super) last_special: Day,
    /// Days on which the household is away anyway.
    pub(super) away: Vec<Day>,
    /// Nights on which nothing more is lost: the household is away, or a keep fails for another job.
    pub(super) spared: Vec<Day>,
    /// Rooms of other jobs while they are wet.
    pub(super) wet: Vec<WetNights>,
    /// Days on which other jobs make dust, in order.
    pub(super) dusty: Vec<Day>,
    /// Price of a night on which a keep fails; `None`: none may fail.
    pub(super) night_away: Option<i64>,
    pub(super) facts: RefCell<HashMap<Places, Rc<Facts>>>,
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
        let dusty = brief.dusty.iter().map(|date| calendar::day(*date));
        let dusty: Vec<Day> = dusty.collect();
        let last = [
            away.last().copied(),
            wet.iter().map(|wet| wet.nights.last).max(),
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
        let wet = search.wet.iter().flat_map(|wet| wet.nights.days());
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
        let wet = self.wet.iter().filter(|wet| wet.nights.has(night));
        wet.fold(Places::NONE, |rooms, wet| rooms.with(wet.rooms))
    }

    /// Tells whether a keep fails in a night while these rooms are closed beside those of other jobs.
    pub(super) fn fails_beside(&self, rooms: Places, night: Day) -> bool {
        let closed = rooms.with(self.wet_beside(night));
        let reachable = self.brief.house.reachable(closed);
        self.brief.keeps.iter().any(|keep| !keep.holds(reachable))
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
        mut begins: Option<Day>,
    ) -> Option<Chosen> {
        let most = most.map_or(NEVER, Money::minor);
        let facts: Vec<Rc<Facts>> = phases.iter().map(|phase| self.facts(*phase)).collect();
        let lefts = self.lefts_in_order(&facts);
        let mut trail = Trail::default();
        let mut labels = self.begun(&mut trail);
        for (facts, left) in facts.iter().zip(&lefts) {
            let mut next = Vec::new();
            let begins = begins.take();
            for label in &labels {
                let days = begins.map_or_else(|| self.days_after(label), |day| day..=day);
                self.extend(label, facts, days, |label, start| {
                    if self.least_after(&label, left) <= most {
                        let rooms = facts.places;
                        let phase = ChosenPhase { rooms, start };
                        self.add(&mut next, &mut trail, label, phase);
                    }
                });
            }
            labels = next;
        }
        self.cheapest(&labels, &trail)
    }

    /// Returns what is left at least after each of some phases in their order.
    fn lefts_in_order(&self, facts: &[Rc<Facts>]) -> Vec<Left> {
        let mut lefts: Vec<Left> = Vec::new();
        let mut left = self.nothing_left();
        for facts in facts.iter().rev() {
            let before = self.left_before(&left, facts);
            lefts.push(std::mem::replace(&mut left, before));
        }
        lefts.reverse();
        lefts
    }

    /// Returns the labels after the phases that have begun: on the days on which they did, or the first on which they can.
    pub(super) fn begun(&self, trail: &mut Trail) -> Vec<Label> {
        let mut labels = vec![Label::first(
            self.start,
            self.table.working_from(self.start),
        )];
        let anew = calendar::day(self.brief.anew_from);
        for begun in &self.brief.begun {
            labels = self.after_begun(&labels, begun, trail);
            if begun.returned {
                self.return_machines(&mut labels, anew);
            }
        }
        if self.brief.begun.is_empty() {
            return labels;
        }
        let working = self.table.working_from(anew);
        for label in &mut labels {
            label.ready = label.ready.max(working);
            label.sealed = label.sealed.max(working);
            // What is out still hasn't gone back before today.
            if label.out != NOT_OUT && label.back < anew - 1 {
                trail.keep_until(label, anew - 1);
            }
        }
        labels
    }

    /// Returns the labels after a phase that has begun, on the first of its days on which that is possible.
    fn after_begun(&self, labels: &[Label], begun: &Begun, trail: &mut Trail) -> Vec<Label> {
        let facts = self.facts(begun.rooms);
        let mut next = Vec::new();
        for label in labels {
            let first = calendar::day(begun.first).max(label.sealed);
            let latest = self.table.working_from(first.max(label.ready));
            for on in first..=latest {
                self.extend(label, &facts, on..=on, |after, start| {
                    // Machines that were kept until then weren't returned before.
                    if label.out == NOT_OUT || after.out == label.out {
                        let rooms = begun.rooms;
                        self.add(&mut next, trail, after, ChosenPhase { rooms, start });
                    }
                });
                if !next.is_empty() {
                    break;
                }
            }
        }
        next
    }

    /// Sends the machines of labels back that were last used before today: what has gone back can't be kept any more.
    fn return_machines(&self, labels: &mut [Label], today: Day) {
        for label in labels {
            if label.out != NOT_OUT && label.back < today {
                label.cost = self.total(label).unwrap_or(NEVER);
                label.out = NOT_OUT;
            }
        }
    }
}
