//! The filling of one stick that is worth most: a knapsack.

use std::cmp::Ordering;
use std::ops::{Add, Sub};

use super::Problem;

/// A worth of pieces: floats propose, whole numbers decide.
pub(super) trait Worth: Copy + PartialOrd + Add<Output = Self> + Sub<Output = Self> {
    /// What nothing is worth.
    const NOTHING: Self;

    /// Tells whether a room is worth more than so much, if pieces of that length and worth could fill it.
    fn of_room_exceeds(self, length: i64, room: i64, least: Self) -> bool;

    /// Compares worths per length.
    fn compare(one: (Self, i64), another: (Self, i64)) -> Ordering;
}

impl Worth for f64 {
    const NOTHING: f64 = 0.0;

    fn of_room_exceeds(self, length: i64, room: i64, least: f64) -> bool {
        self * room as f64 > least * length as f64
    }

    fn compare(one: (f64, i64), another: (f64, i64)) -> Ordering {
        (one.0 / one.1 as f64).total_cmp(&(another.0 / another.1 as f64))
    }
}

impl Worth for i64 {
    const NOTHING: i64 = 0;

    fn of_room_exceeds(self, length: i64, room: i64, least: i64) -> bool {
        i128::from(self) * i128::from(room) > i128::from(least) * i128::from(length)
    }

    fn compare(one: (i64, i64), another: (i64, i64)) -> Ordering {
        let of = |worth: i64, length: i64| i128::from(worth) * i128::from(length);
        of(one.0, another.1).cmp(&of(another.0, one.1))
    }
}

/// Pieces of one length.
#[derive(Clone, Copy)]
pub(super) struct Item<W> {
    /// Which length it is.
    pub(super) place: usize,
    /// The length.
    pub(super) length: i64,
    /// What a piece is worth.
    pub(super) worth: W,
    /// The shortest length from here on.
    pub(super) shortest: i64,
}

/// Returns all lengths by worth per length, the best first.
pub(super) fn by_rate<W: Worth>(problem: &Problem, worths: &[W]) -> Vec<Item<W>> {
    let each = problem.lengths.iter().zip(worths).enumerate();
    let mut items: Vec<Item<W>> = each
        .map(|(place, (length, worth))| Item {
            place,
            length: *length,
            worth: *worth,
            shortest: *length,
        })
        .collect();
    let rate = |item: &Item<W>| (item.worth, item.length);
    items.sort_by(|one, another| W::compare(rate(another), rate(one)));
    let mut shortest = i64::MAX;
    for item in items.iter_mut().rev() {
        shortest = shortest.min(item.length);
        item.shortest = shortest;
    }
    items
}

/// Looks for the filling of a stick that is worth most: pieces by worth per length, with the rest at the next one's.
pub(super) struct Filling<'a, W> {
    problem: &'a Problem,
    items: Vec<Item<W>>,
    /// Pieces left by item.
    left: Vec<u32>,
    /// What the best filling so far is worth.
    best: W,
    /// The places of the pieces so far.
    pieces: Vec<usize>,
    steps: u64,
}

impl<'a, W: Worth> Filling<'a, W> {
    pub(super) fn new(problem: &'a Problem, worths: &[W]) -> Filling<'a, W> {
        let items = by_rate(problem, worths);
        let left = items.iter().map(|item| problem.counts[item.place]);
        Filling {
            problem,
            left: left.collect(),
            items,
            best: W::NOTHING,
            pieces: Vec::new(),
            steps: 0,
        }
    }

    /// Looks in so many steps for fillings of a room that are worth more than so much, each more than the one before, and
    /// hands out the places of their pieces. Returns what the last one is worth; without one, what it had to exceed.
    pub(super) fn improve(
        &mut self,
        room: i64,
        above: W,
        steps: u64,
        found: &mut impl FnMut(&[usize]),
    ) -> W {
        (self.best, self.steps) = (above, steps);
        self.search(0, room, W::NOTHING, found);
        self.problem.work.spend(2 * (steps - self.steps) + 1);
        self.best
    }

    /// Returns a filling with a piece of that place that is worth as much as is found in so many steps.
    pub(super) fn around(&mut self, place: usize, room: i64, steps: u64) -> Vec<usize> {
        let mut best = Vec::new();
        if let Some(item) = self.items.iter().position(|item| item.place == place) {
            let rest = room - self.items[item].length;
            self.left[item] -= 1;
            self.improve(rest, W::NOTHING, steps, &mut |pieces| {
                best.clear();
                best.extend_from_slice(pieces);
            });
            self.left[item] += 1;
        }
        best.push(place);
        best
    }

    fn search(&mut self, from: usize, room: i64, worth: W, found: &mut impl FnMut(&[usize])) {
        for next in from..self.items.len() {
            let item = self.items[next];
            if item.shortest > room
                || !item
                    .worth
                    .of_room_exceeds(item.length, room, self.best - worth)
                || self.steps == 0
            {
                return;
            }
            if item.length > room || self.left[next] == 0 {
                continue;
            }
            self.steps -= 1;
            let with = worth + item.worth;
            self.pieces.push(item.place);
            if with > self.best {
                self.best = with;
                found(&self.pieces);
            }
            let rest = room - item.length;
            if rest >= item.shortest {
                self.left[next] -= 1;
                self.search(next, rest, with, found);
                self.left[next] += 1;
            }
            self.pieces.pop();
        }
    }
}

impl Filling<'_, i64> {
    /// Returns what no filling of a room is worth more than, at least so much: what the best one is, if it is found in so
    /// many steps.
    pub(super) fn most(&mut self, room: i64, least: i64, steps: u64) -> i64 {
        let best = self.improve(room, least, steps, &mut |_| {});
        match (self.steps, self.items.first()) {
            (0, Some(item)) => {
                let worth = i128::from(item.worth) * i128::from(room);
                best.max((worth / i128::from(item.length)) as i64 + 1)
            }
            _ => best,
        }
    }
}
