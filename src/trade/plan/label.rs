//! How far a plan has come: labels, what a phase makes of them, and which of them are worth keeping.
//!
//! A **label** stands for the phases so far: what they cost, from which day on the next one can begin, and since when the
//! sanding machines are out, if they were kept. Of two labels of the same set of rooms, one is dropped if the other is no
//! worse in all of that. Whatever follows the one can follow the other for no more, because a phase can always wait, what
//! may begin beside wet rooms may begin beside fewer of them, and a rental that began later never costs more for the same
//! return.
//!
//! How long a phase waits: without holidays and nights away every week is like the next, so a wait of seven days or more
//! could be cut by a week. All waits are tried up to six days after the first possible day, the last night away, or the
//! last holiday of the eight weeks that follow, whichever is latest; nobody waits longer for a holiday to be over.

use std::ops::RangeInclusive;

use super::calendar::{Day, Moment};
use super::facts::{Dated, Facts, Next};
use super::search::{Chosen, ChosenPhase, Outing, Search};
use super::ways::Places;
use crate::money::Money;

/// Days from the first possible one within which a holiday may be waited for.
const FARTHEST_HOLIDAY: Day = 56;
/// No rental is under way.
pub(super) const NOT_OUT: Day = Day::MAX;

/// What the phases so far lead to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Label {
    pub(super) cost: i64,
    /// When the machines went out that may be kept.
    pub(super) out: Day,
    /// The last day on which they were used.
    pub(super) back: Day,
    /// The first day on which any phase can begin.
    pub(super) ready: Day,
    /// The first day on which a phase can begin beside wet rooms, which rooms those are, and until when they are wet.
    pub(super) sealed: Day,
    pub(super) wet: Places,
    pub(super) until: Moment,
    /// The day on which the last furniture so far is back.
    pub(super) finish: Day,
    /// The step that led to it, by its number in the [`Trail`]; `None`: there was no phase yet.
    pub(super) step: Option<usize>,
}

impl Label {
    /// Returns where every plan begins: nothing is done, no machine is out.
    pub(super) fn first(start: Day, working: Day) -> Label {
        Label {
            cost: 0,
            out: NOT_OUT,
            back: start,
            ready: working,
            sealed: working,
            wet: Places::NONE,
            until: Moment::midnight(start),
            finish: start,
            step: None,
        }
    }

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

    /// Returns the label after a phase, with the machines as they were before it.
    fn after(&self, rooms: Places, dated: &Dated) -> Label {
        let Next { ready, sealed } = dated.next;
        let overlaps = sealed < ready;
        Label {
            cost: self.cost + dated.cost,
            ready,
            sealed,
            wet: if overlaps { rooms } else { Places::NONE },
            until: dated.light_use,
            finish: dated.finish.max(self.finish),
            ..*self
        }
    }
}

/// A phase that was added to a label, and since when and until when the machines were out then.
#[derive(Clone, Copy, Debug)]
struct Step {
    /// The step before; `None`: there was no phase yet.
    before: Option<usize>,
    phase: ChosenPhase,
    outing: Outing,
}

/// All steps that led to labels, each by its number.
#[derive(Default)]
pub(super) struct Trail(Vec<Step>);

impl Trail {
    /// Adds the phase that led to a label, and returns the label as it knows of it.
    fn add(&mut self, label: Label, phase: ChosenPhase) -> Label {
        self.0.push(Step {
            before: label.step,
            phase,
            outing: Outing {
                out: label.out,
                back: label.back,
            },
        });
        Label {
            step: Some(self.0.len() - 1),
            ..label
        }
    }

    /// Keeps the machines of a label out until a day.
    pub(super) fn keep_until(&mut self, label: &mut Label, back: Day) {
        label.back = back;
        if let Some(step) = label.step {
            self.0[step].outing.back = back;
        }
    }

    /// Returns the steps that led to a label, in order.
    fn to(&self, label: &Label) -> Vec<&Step> {
        let last = label.step.map(|step| &self.0[step]);
        let back = std::iter::successors(last, |step| step.before.map(|before| &self.0[before]));
        let mut steps: Vec<&Step> = back.collect();
        steps.reverse();
        steps
    }
}

impl Search<'_> {
    /// Returns what a label costs when its machines go back; `None`: they were out for too long.
    pub(super) fn total(&self, label: &Label) -> Option<i64> {
        match label.out {
            NOT_OUT => Some(label.cost),
            out => Some(label.cost + self.sanding.price(out, label.back)?),
        }
    }

    /// Returns the days on which a phase can begin after a label, working or not.
    pub(super) fn days_after(&self, label: &Label) -> RangeInclusive<Day> {
        let holiday = self.table.last_holiday(label.ready + FARTHEST_HOLIDAY);
        let special = holiday.map_or(self.last_special, |day| day.max(self.last_special));
        let latest = label.ready.max(special.saturating_add(1)) + 6;
        label.sealed..=latest.min(self.end)
    }

    /// Tells of every label that a phase leads to after a label if it begins on one of these days, with the day.
    pub(super) fn extend(
        &self,
        label: &Label,
        facts: &Facts,
        days: RangeInclusive<Day>,
        mut tell: impl FnMut(Label, Day),
    ) {
        if facts.obstacle.is_some() {
            return;
        }
        self.work
            .count((days.end() - days.start()).max(0).unsigned_abs() as usize);
        let mut is_reached = None;
        for start in days.filter(|day| self.table.works(*day)) {
            let Some(dated) = self.dated(facts, start) else {
                continue;
            };
            if start < label.ready {
                // Beside wet rooms: one gets there without crossing them, and coats only when they are dry.
                let is_reached = *is_reached.get_or_insert_with(|| self.is_reached(facts, label));
                if !is_reached || dated.first_coat < label.until {
                    continue;
                }
            }
            let next = label.after(facts.places, &dated);
            match facts.needs.sands_by_machine {
                true => self.rent(next, start, dated.last_sanding, &mut tell),
                false => tell(next, start),
            }
        }
    }

    /// Tells of the labels after a phase that needs the sanding machines: they are kept since before, or go back before it
    /// and out again.
    fn rent(&self, next: Label, start: Day, last_sanding: Day, tell: &mut impl FnMut(Label, Day)) {
        let kept = Label {
            back: last_sanding,
            ..next
        };
        let fresh = Label { out: start, ..kept };
        if next.out == NOT_OUT {
            tell(fresh, start);
            return;
        }
        if self.sanding.price(next.out, last_sanding).is_some() {
            tell(kept, start);
        }
        if let Some(price) = self.sanding.price(next.out, next.back) {
            let cost = next.cost + price;
            tell(Label { cost, ..fresh }, start);
        }
    }

    /// Tells whether a phase's rooms are reached while those of a label are wet.
    fn is_reached(&self, facts: &Facts, label: &Label) -> bool {
        let reachable = self.brief.house.reachable(label.wet);
        facts.places.is_within(reachable)
    }

    /// Adds a label that a phase led to, unless another is no worse; drops those that it is no worse than.
    pub(super) fn add(
        &self,
        labels: &mut Vec<Label>,
        trail: &mut Trail,
        label: Label,
        phase: ChosenPhase,
    ) {
        self.work.count(1 + labels.len());
        if labels.iter().any(|known| known.is_no_worse(&label)) {
            return;
        }
        labels.retain(|known| !label.is_no_worse(known));
        labels.push(trail.add(label, phase));
    }

    /// Returns the plan that led to the cheapest of finished labels, the earliest among equals.
    pub(super) fn cheapest(&self, labels: &[Label], trail: &Trail) -> Option<Chosen> {
        let totals = labels
            .iter()
            .filter_map(|label| Some((self.total(label)?, label)));
        let (cost, last) =
            totals.min_by_key(|(total, label)| (*total, label.finish, label.ready))?;
        let steps = trail.to(last);
        let mut outings: Vec<Outing> = Vec::new();
        let with_machines = steps.iter().filter(|step| step.outing.out != NOT_OUT);
        for Outing { out, back } in with_machines.map(|step| step.outing) {
            match outings.last_mut() {
                Some(outing) if outing.out == out => outing.back = back,
                _ => outings.push(Outing { out, back }),
            }
        }
        Some(Chosen {
            phases: steps.iter().map(|step| step.phase).collect(),
            outings,
            cost: Money::from_minor(cost),
            finish: last.finish,
        })
    }
}
