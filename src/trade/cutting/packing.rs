//! Packing all pieces into the sticks of a purchase.
//!
//! The longest piece left goes into every filling of a stick that is left, the least loss first. A filling loses what its
//! stick holds more than its pieces are worth, by each measure, and it may lose no more than is spare. One that leaves room
//! for one more piece is never needed: a piece can be moved into it.
//!
//! What is left where many fillings were tried in vain is put to the linear program. If its pieces can't be cut from its
//! sticks even in parts, the worths that show it are one more measure, which may end much of the rest of the search.
//!
//! In haste, without the program, only a few fillings are tried that lose little: a way to find some plan, not to prove one.

use std::collections::HashSet;

use super::filling::{Item, Worth};
use super::measures::{Measure, Purchases};
use super::worths::Program;
use super::{Plan, Problem};

/// How often packing is tried in vain before the linear program is asked.
const PATIENCE: u64 = 100;
/// Parts of what is spare that losses are compared in.
const PARTS: i64 = 1 << 10;
/// How many times its share of what is spare a filling may lose in haste.
const HASTY_SHARES: i64 = 4;
/// How many fillings of a stick are tried in haste.
const HASTY_FILLINGS: usize = 20;

/// What became of a purchase.
pub(super) enum Packed {
    /// All pieces, in its sticks.
    All(Plan),
    /// It is not enough.
    Never,
    /// The search took too long.
    GivenUp,
}

/// A filling of a stick; its pieces lie between two places.
#[derive(Clone, Copy)]
struct Filled {
    /// What it loses of what is spare, by all measures together.
    lost: i64,
    stick: usize,
    from: usize,
    to: usize,
}

/// The search for a packing.
pub(super) struct Packing<'a, 'b> {
    problem: &'a Problem,
    measures: &'b mut Vec<Measure>,
    /// None: in haste.
    program: Option<&'b mut Program<'a>>,
    /// Pieces and sticks left.
    left: Vec<u32>,
    sticks: Vec<i64>,
    /// The fillings so far.
    plan: Vec<Filled>,
    /// What was left when it couldn't be packed.
    failed: HashSet<Vec<u32>>,
    /// How often something was left to be packed.
    tries: u64,
    /// Fillings that are being tried, and the places of all their pieces.
    found: Vec<Filled>,
    pieces: Vec<usize>,
    /// How many fillings are enough for now.
    enough: usize,
    /// Lengths that the next filling is made of, how many are left of them, and the shortest.
    items: Vec<(Item<i64>, u32)>,
    shortest: i64,
    /// The places of the pieces that are in it.
    filling: Vec<usize>,
}

impl<'a, 'b> Packing<'a, 'b> {
    pub(super) fn new(
        problem: &'a Problem,
        purchases: &'b mut Purchases<'a>,
        program: Option<&'b mut Program<'a>>,
        sticks: &[i64],
    ) -> Packing<'a, 'b> {
        Packing {
            problem,
            measures: &mut purchases.measures,
            program,
            left: problem.counts.clone(),
            sticks: sticks.to_vec(),
            plan: Vec::new(),
            failed: HashSet::new(),
            tries: 0,
            found: Vec::new(),
            pieces: Vec::new(),
            enough: usize::MAX,
            items: Vec::new(),
            shortest: 0,
            filling: Vec::new(),
        }
    }

    /// Searches, as far as the work allows.
    pub(super) fn run(mut self) -> Packed {
        match self.pack() {
            true => Packed::All(self.plan()),
            false if self.problem.work.is_done() || self.program.is_none() => Packed::GivenUp,
            false => Packed::Never,
        }
    }

    fn plan(&self) -> Plan {
        let each = self.plan.iter().map(|filled| {
            let mut counts = vec![0; self.left.len()];
            for place in &self.pieces[filled.from..filled.to] {
                counts[*place] += 1;
            }
            (filled.stick, counts)
        });
        each.collect()
    }

    /// Packs what is left; tells whether it could.
    fn pack(&mut self) -> bool {
        let Some(longest) = self.left.iter().position(|count| *count > 0) else {
            return true;
        };
        let spare = |measure: &Measure| measure.spare(self.problem, &self.left, &self.sticks);
        let spare: Vec<i64> = self.measures.iter().map(spare).collect();
        self.problem
            .work
            .spend(30 + (spare.len() * self.left.len() / 8) as u64);
        if spare.iter().any(|spare| *spare < 0) {
            return false;
        }
        let sticks = self.sticks.iter().map(|count| *count as u32);
        let state: Vec<u32> = self.left.iter().copied().chain(sticks).collect();
        if self.failed.contains(&state) {
            return false;
        }
        self.tries += 1;
        let (found, pieces) = (self.found.len(), self.pieces.len());
        self.find(longest, &spare);
        self.found[found..].sort_unstable_by_key(|filled| (filled.lost, filled.from));
        if self.try_found(found) {
            return true;
        }
        self.found.truncate(found);
        self.pieces.truncate(pieces);
        if !self.problem.work.is_done() {
            self.failed.insert(state);
        }
        false
    }

    /// Tries the fillings from a place on; tells whether the rest could be packed after one of them.
    fn try_found(&mut self, from: usize) -> bool {
        let mut ask_at = self.tries + PATIENCE;
        for at in from..self.found.len() {
            let filled = self.found[at];
            let known = self.measures.len();
            self.take(filled);
            if self.pack() {
                return true;
            }
            self.put_back();
            if self.problem.work.is_done() || self.is_ruled_out_since(known) {
                return false;
            }
            if self.tries > ask_at {
                if self.is_ruled_out_by_new_worths() {
                    return false;
                }
                ask_at = self.tries + PATIENCE;
            }
        }
        false
    }

    fn take(&mut self, filled: Filled) {
        for place in &self.pieces[filled.from..filled.to] {
            self.left[*place] -= 1;
        }
        self.sticks[filled.stick] -= 1;
        self.plan.push(filled);
    }

    fn put_back(&mut self) {
        if let Some(filled) = self.plan.pop() {
            for place in &self.pieces[filled.from..filled.to] {
                self.left[*place] += 1;
            }
            self.sticks[filled.stick] += 1;
        }
    }

    /// Tells whether what is left is ruled out by a measure that is new.
    fn is_ruled_out_since(&self, known: usize) -> bool {
        let mut new = self.measures[known..].iter();
        new.any(|measure| measure.spare(self.problem, &self.left, &self.sticks) < 0)
    }

    /// Asks the linear program whether what is left is ruled out.
    fn is_ruled_out_by_new_worths(&mut self) -> bool {
        let known = self.measures.len();
        let program = self.program.as_mut();
        if let Some(worths) = program.and_then(|program| program.against(&self.left, &self.sticks))
        {
            self.measures.push(Measure::new(self.problem, &worths));
        }
        self.is_ruled_out_since(known)
    }

    /// Finds the fillings around a piece that lose no more than is spare and have no room for one more piece.
    fn find(&mut self, longest: usize, spare: &[i64]) {
        // Pieces are taken by the measure that leaves least to lose.
        let tightest = self
            .measures
            .iter()
            .zip(spare)
            .min_by(|(one, its), (another, others)| {
                let its = i128::from(**its) * i128::from(another.needed);
                its.cmp(&(i128::from(**others) * i128::from(one.needed)))
            });
        let Some((measure, most)) = tightest else {
            return;
        };
        let most = match self.program {
            Some(_) => *most,
            None => (most / self.sticks.iter().sum::<i64>().max(1) * HASTY_SHARES).min(*most),
        };
        self.left[longest] -= 1;
        let items = measure
            .items
            .iter()
            .map(|item| (*item, self.left[item.place]));
        self.items.clear();
        self.items.extend(items.filter(|(_, count)| *count > 0));
        self.left[longest] += 1;
        self.shortest = i64::MAX;
        for (item, _) in self.items.iter_mut().rev() {
            self.shortest = self.shortest.min(item.length);
            item.shortest = self.shortest;
        }
        let missing: Vec<i64> = measure
            .holds
            .iter()
            .map(|holds| holds - most - measure.worths[longest])
            .collect();
        self.filling.clear();
        self.filling.push(longest);
        for (stick, missing) in missing.into_iter().enumerate() {
            let room = self.problem.rooms[stick] - self.problem.lengths[longest];
            if self.sticks[stick] > 0 && room >= 0 {
                self.enough = match self.program {
                    Some(_) => usize::MAX,
                    None => self.found.len() + HASTY_FILLINGS,
                };
                self.fill(stick, 0, room, missing, spare);
            }
        }
    }

    /// Fills a room with pieces from one on that are worth what is missing at least.
    fn fill(&mut self, stick: usize, from: usize, room: i64, missing: i64, spare: &[i64]) {
        if self.problem.work.is_done() || self.found.len() >= self.enough {
            return;
        }
        self.problem.work.spend(3);
        let mut items = self.items.iter();
        let has_room =
            room >= self.shortest && items.any(|(item, count)| *count > 0 && item.length <= room);
        if !has_room {
            if missing <= 0 {
                self.note(stick, spare);
            }
            return;
        }
        for next in from..self.items.len() {
            let (item, count) = self.items[next];
            let reaches = (item.worth).of_room_exceeds(item.length, room, missing - 1);
            if item.shortest > room || !reaches {
                return;
            }
            if item.length > room || count == 0 {
                continue;
            }
            self.items[next].1 -= 1;
            self.filling.push(item.place);
            self.fill(stick, next, room - item.length, missing - item.worth, spare);
            self.filling.pop();
            self.items[next].1 += 1;
        }
    }

    /// Notes a filling, if it loses no more than is spare by any measure.
    fn note(&mut self, stick: usize, spare: &[i64]) {
        let mut lost_together = 0;
        for (measure, spare) in self.measures.iter().zip(spare) {
            let pieces = self.filling.iter().map(|place| measure.worths[*place]);
            let lost = measure.holds[stick] - pieces.sum::<i64>();
            if lost > *spare {
                return;
            }
            lost_together += lost / (spare / PARTS + 1);
        }
        let from = self.pieces.len();
        self.pieces.extend_from_slice(&self.filling);
        self.found.push(Filled {
            lost: lost_together,
            stick,
            from,
            to: self.pieces.len(),
        });
    }
}
