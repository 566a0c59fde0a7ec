//! Cutting: which pieces of trim are cut from which stock lengths, at the least price or from the fewest sticks.
//!
//! Pieces `p` fit a stick `L` with saw loss `k` between them if `Σ (p + k) ≤ L + k`: every piece takes its saw loss along,
//! and every stick has room for one more.
//!
//! Up to [`EXACT_PIECES`] pieces every list is looked at: the best list of a set of pieces is a stick with the longest of
//! them and some others, and the best list of what is left (`Bench::best`).
//!
//! More pieces are laid by best fit: the longest first, each where it leaves least, on a new stick where it fits nowhere.
//! Many starts disturb the order a little. Of the best list, some pieces are taken off a few sticks at a time and laid
//! anew, as well as can be. All of it has a fixed seed and a fixed number of rounds, so the same pieces have the same list
//! on any machine. No list costs less than sticks that only are as long as all pieces together; one that costs no more is
//! proven by that.
//!
//! Off-cuts in stock are sticks that cost nothing, each there once. Of lists that cost the same, the one that leaves the
//! longest off-cuts is taken.

#[cfg(test)]
mod tests;

use std::cmp::Reverse;

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use thiserror::Error;

use crate::money::Money;
use crate::trade::cover::Stairs;

/// Most pieces that are cut together.
pub const MOST_PIECES: usize = 200;
/// Most off-cuts that are used up together.
pub const MOST_OFF_CUTS: usize = 30;
/// Up to how many pieces every list is looked at.
pub const EXACT_PIECES: usize = 12;
/// How many lists are begun, and by how many hundredths a piece seems longer at most in the last of them.
const STARTS: usize = 300;
const DISTURBANCE: usize = 100;
/// How many pieces are laid anew together, on how many sticks, and how often.
const MENDED_PIECES: usize = 7;
const MENDED_STICKS: usize = 8;
const MENDINGS: usize = 3_000;
/// How many covers the bound by length looks at.
const MOST_STAIRS: usize = 20_000;

/// What a cutting list is to be best at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// The lowest price.
    Cheapest,
    /// The fewest sticks to buy, and of those lists the cheapest.
    Fewest,
}

/// A stock length. Lengths are whole numbers of any one unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stick {
    /// Its length.
    pub length: i64,
    /// Its price; an off-cut has none.
    pub price: Money,
}

/// What there is to cut from.
#[derive(Clone, Copy, Debug)]
pub struct Stock<'a> {
    /// The lengths that are sold.
    pub sticks: &'a [Stick],
    /// Lengths in stock, each there once.
    pub off_cuts: &'a [i64],
    /// What the saw takes between two pieces.
    pub saw_loss: i64,
}

/// One stick and what is cut from it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CutStick {
    /// The stick.
    pub stick: Stick,
    /// Whether it is an off-cut in stock.
    pub off_cut: bool,
    /// The pieces, longest first.
    pub pieces: Vec<i64>,
    /// What is left after the last cut.
    pub left: i64,
}

/// What no list can do with less of, by length alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AtLeast {
    /// So much money.
    Price(Money),
    /// So many sticks to buy.
    Sticks(i64),
}

/// Every stick with its pieces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CuttingList {
    /// The sticks, off-cuts first.
    pub sticks: Vec<CutStick>,
    /// What they cost.
    pub total: Money,
    /// The bound, by the aim.
    pub at_least: AtLeast,
    /// Whether no other list can be better.
    pub proven: bool,
}

/// Why pieces can't be cut.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum CutError {
    /// The item has no stock length.
    #[error("there is no stock length")]
    NoStick,
    /// A piece that no stock length gives.
    #[error("no stock length gives a piece of {0}")]
    TooLong(i64),
}

/// Plans which pieces are cut from which sticks.
///
/// Pieces, sticks and saw loss are in one unit; all lengths are above zero, the saw loss is not below.
///
/// # Errors
/// Refuses where nothing is sold, and a piece that is longer than anything sold.
pub fn cut(pieces: &[i64], stock: Stock<'_>, aim: Aim) -> Result<CuttingList, CutError> {
    let bench = Bench::new(stock, aim, pieces.len());
    let longest = bench.sold.last().ok_or(CutError::NoStick)?.room;
    let mut pieces: Vec<i64> = pieces.iter().map(|piece| piece + stock.saw_loss).collect();
    pieces.sort_unstable_by_key(|piece| Reverse(*piece));
    if let Some(piece) = pieces.first().filter(|piece| **piece > longest) {
        return Err(CutError::TooLong(piece - stock.saw_loss));
    }
    let all_tried = pieces.len() <= EXACT_PIECES;
    let list = match all_tried {
        true => bench.best(&pieces, bench.off_cuts()),
        false => bench.good(&pieces),
    };
    Ok(bench.list(list, bench.bound(&pieces), all_tried))
}

/// What sticks cost, and, of equals, how much less is left on them, each length squared: two short off-cuts are worth less
/// than a long one.
type Merit = (i64, i128);

fn sum(one: Merit, another: Merit) -> Merit {
    (one.0 + another.0, one.1 + another.1)
}

/// A stick that is sold.
struct Sold {
    stick: Stick,
    room: i64,
    cost: i64,
}

/// A stick on the bench, and what has been laid on it.
#[derive(Clone, Default)]
struct Laid {
    /// Which off-cut it is; `None`: the cheapest sold one that is long enough.
    off_cut: Option<usize>,
    pieces: Vec<i64>,
    used: i64,
}

impl Laid {
    fn lay(&mut self, piece: i64) {
        self.pieces.push(piece);
        self.used += piece;
    }
}

/// What is cut from. Rooms and pieces have a saw loss each: then everything fits that adds up.
struct Bench<'a> {
    stock: Stock<'a>,
    /// What a stick counts for beside its price: nothing, or more than any difference in price.
    one_stick: i64,
    /// The sold sticks worth having, the shortest and cheapest first.
    sold: Vec<Sold>,
}

impl<'a> Bench<'a> {
    fn new(stock: Stock<'a>, aim: Aim, pieces: usize) -> Bench<'a> {
        let prices = stock.sticks.iter().map(|stick| stick.price.minor());
        let one_stick = match aim {
            Aim::Cheapest => 0,
            Aim::Fewest => (prices.max().unwrap_or(0) + 1) * (pieces as i64 + 1),
        };
        let mut offered = stock.sticks.to_vec();
        offered.sort_by_key(|stick| (Reverse(stick.length), stick.price));
        // Of two sticks the longer one that costs no more is always as good.
        let mut sold: Vec<Sold> = Vec::new();
        for stick in offered {
            if sold.iter().all(|longer| longer.stick.price > stick.price) {
                let (room, cost) = (
                    stick.length + stock.saw_loss,
                    one_stick + stick.price.minor(),
                );
                sold.push(Sold { stick, room, cost });
            }
        }
        sold.reverse();
        Bench {
            stock,
            one_stick,
            sold,
        }
    }

    /// Returns the off-cuts, with nothing on them yet.
    fn off_cuts(&self) -> Vec<Laid> {
        let laid = |place| Laid {
            off_cut: Some(place),
            ..Laid::default()
        };
        (0..self.stock.off_cuts.len()).map(laid).collect()
    }

    /// Returns the cheapest sold stick with so much room.
    fn cheapest(&self, used: i64) -> Option<&Sold> {
        self.sold.iter().find(|sold| sold.room >= used)
    }

    /// Returns what it takes to cut so much from one stick; `None`: it doesn't fit.
    fn merit(&self, off_cut: Option<usize>, used: i64) -> Option<Merit> {
        let (room, cost) = match off_cut {
            _ if used == 0 => return Some((0, 0)),
            Some(place) => (self.stock.off_cuts[place] + self.stock.saw_loss, 0),
            None => self.cheapest(used).map(|sold| (sold.room, sold.cost))?,
        };
        let left = i128::from(room - used);
        (left >= 0).then_some((cost, -left * left))
    }

    fn merit_of(&self, list: &[Laid]) -> Merit {
        let merits = list
            .iter()
            .filter_map(|laid| self.merit(laid.off_cut, laid.used));
        merits.fold((0, 0), sum)
    }

    /// Returns the best list of a few pieces, laid on sticks of the bench beside what is on them, or on new ones.
    ///
    /// Sets of pieces are numbers, a bit for each piece. First what each set takes on new sticks alone, then with the first
    /// stick of the bench, and so on.
    fn best(&self, pieces: &[i64], bench: Vec<Laid>) -> Vec<Laid> {
        let all = (1_usize << pieces.len()) - 1;
        let mut lengths = vec![0; all + 1];
        for set in 1..=all {
            lengths[set] = lengths[set & (set - 1)] + pieces[set.trailing_zeros() as usize];
        }
        let merits = |laid: &Laid| -> Vec<Option<Merit>> {
            let used = lengths.iter().map(|length| laid.used + length);
            used.map(|used| self.merit(laid.off_cut, used)).collect()
        };
        let new = merits(&Laid::default());
        let mut without = vec![((0, 0), 0); all + 1];
        for set in 1..=all {
            // The first piece of a set is on some stick: the others beside it are tried.
            let first = set & set.wrapping_neg();
            without[set] = least(set & !first, |others| {
                let part = others | first;
                Some((sum(new[part]?, without[set & !part].0), part))
            });
        }
        let mut layers = vec![without];
        for laid in &bench {
            let (before, merits) = (&layers[layers.len() - 1], merits(laid));
            let with = |set| {
                least(set, |part| {
                    Some((sum(merits[part]?, before[set & !part].0), part))
                })
            };
            let with = (0..=all).map(with).collect();
            layers.push(with);
        }
        let mut list = Vec::new();
        let mut left = all;
        let mut lay = |mut laid: Laid, part: usize| {
            let on_it = pieces
                .iter()
                .enumerate()
                .filter(|(place, _)| part >> place & 1 == 1);
            on_it.for_each(|(_, piece)| laid.lay(*piece));
            list.push(laid);
        };
        for (laid, layer) in bench.into_iter().zip(&layers[1..]).rev() {
            lay(laid, layer[left].1);
            left &= !layer[left].1;
        }
        while left > 0 {
            lay(Laid::default(), layers[0][left].1);
            left &= !layers[0][left].1;
        }
        list
    }

    /// Returns a good list of many pieces.
    fn good(&self, pieces: &[i64]) -> Vec<Laid> {
        let mut chance = ChaCha8Rng::seed_from_u64(0);
        let starts = (0..STARTS).map(|start| {
            let mut order = pieces.to_vec();
            order.sort_by_cached_key(|piece| {
                let more = below(&mut chance, 1 + DISTURBANCE * start / STARTS);
                Reverse(piece * (100 + more as i64))
            });
            self.laid(&order, self.sold[start % self.sold.len()].room)
        });
        let best = starts.min_by_key(|list| self.merit_of(list));
        let mut list = best.unwrap_or_default();
        for _ in 0..MENDINGS {
            self.mend(&mut list, &mut chance);
        }
        list
    }

    /// Lays pieces one by one where they leave least; new sticks have so much room, or what a piece needs.
    fn laid(&self, pieces: &[i64], room: i64) -> Vec<Laid> {
        let off_cuts = self
            .stock
            .off_cuts
            .iter()
            .map(|length| length + self.stock.saw_loss);
        let mut bench: Vec<(i64, Laid)> = off_cuts.zip(self.off_cuts()).collect();
        for piece in pieces {
            let fitting = (0..bench.len()).filter(|place| bench[*place].0 >= *piece);
            let place = fitting
                .min_by_key(|place| bench[*place].0)
                .unwrap_or_else(|| {
                    let needed = self.cheapest(*piece).map_or(room, |sold| sold.room);
                    bench.push((room.max(needed), Laid::default()));
                    bench.len() - 1
                });
            bench[place].0 -= piece;
            bench[place].1.lay(*piece);
        }
        bench.into_iter().map(|(_, laid)| laid).collect()
    }

    /// Takes some pieces off a few sticks and lays them anew; where they were is one of the ways.
    fn mend(&self, list: &mut Vec<Laid>, chance: &mut ChaCha8Rng) {
        let sticks = (2 + below(chance, MENDED_STICKS - 1)).min(list.len());
        let taken = (0..sticks).map(|_| list.swap_remove(below(chance, list.len())));
        let (mut bench, mut pieces): (Vec<Laid>, _) = (taken.collect(), Vec::new());
        for _ in 0..2 * MENDED_PIECES {
            let laid = below(chance, bench.len());
            let laid = &mut bench[laid];
            if pieces.len() < MENDED_PIECES && !laid.pieces.is_empty() {
                let piece = laid.pieces.swap_remove(below(chance, laid.pieces.len()));
                laid.used -= piece;
                pieces.push(piece);
            }
        }
        bench.retain(|laid| laid.off_cut.is_some() || laid.used > 0);
        list.extend(self.best(&pieces, bench));
    }

    /// Returns what sticks cost at least that are as long as all pieces together.
    fn bound(&self, pieces: &[i64]) -> i64 {
        let there = self
            .stock
            .off_cuts
            .iter()
            .map(|length| length + self.stock.saw_loss);
        let needed = (pieces.iter().sum::<i64>() - there.sum::<i64>()).max(0);
        let next = |reach: i64, choice: usize| {
            let sold = &self.sold[choice];
            Some((reach + sold.room, Money::from_minor(sold.cost)))
        };
        let stairs = Stairs::climb(needed, MOST_STAIRS, self.sold.len(), next);
        stairs.map_or(0, |stairs| {
            stairs.stairs()[stairs.place(needed)].price.minor()
        })
    }

    fn list(&self, list: Vec<Laid>, bound: i64, all_tried: bool) -> CuttingList {
        let proven = all_tried || self.merit_of(&list).0 == bound;
        let used = list.into_iter().filter(|laid| laid.used > 0);
        let mut sticks: Vec<CutStick> = used.filter_map(|laid| self.cut_stick(laid)).collect();
        sticks.sort_by(|one, another| {
            let key = |cut: &CutStick| (cut.off_cut, cut.stick.length, cut.pieces.clone());
            key(another).cmp(&key(one))
        });
        CuttingList {
            total: sticks.iter().map(|cut| cut.stick.price).sum(),
            sticks,
            at_least: match self.one_stick {
                0 => AtLeast::Price(Money::from_minor(bound)),
                one => AtLeast::Sticks(bound / one),
            },
            proven,
        }
    }

    fn cut_stick(&self, laid: Laid) -> Option<CutStick> {
        let stick = match laid.off_cut {
            Some(place) => Stick {
                length: self.stock.off_cuts[place],
                price: Money::ZERO,
            },
            None => self.cheapest(laid.used)?.stick,
        };
        let pieces = laid.pieces.iter().map(|piece| piece - self.stock.saw_loss);
        let mut pieces: Vec<i64> = pieces.collect();
        pieces.sort_unstable_by_key(|piece| Reverse(*piece));
        Some(CutStick {
            off_cut: laid.off_cut.is_some(),
            left: (stick.length - laid.used).max(0),
            stick,
            pieces,
        })
    }
}

/// Returns the least of what is found of the parts of a set, and the part.
fn least(set: usize, of: impl Fn(usize) -> Option<(Merit, usize)>) -> (Merit, usize) {
    let mut parts = std::iter::successors(Some(set), |part| (*part > 0).then(|| (part - 1) & set));
    let first = parts.find_map(&of);
    parts
        .filter_map(&of)
        .fold(first.unwrap_or(((0, 0), 0)), Ord::min)
}

/// Returns a whole number below another one, by chance.
fn below(chance: &mut ChaCha8Rng, number: usize) -> usize {
    (chance.next_u64() % number.max(1) as u64) as usize
}
