//! Cutting: which pieces of trim are cut from which stock lengths, at the least price or from the fewest sticks.
//!
//! Pieces `p` fit a stick `L` with saw loss `k` between them if `Σ (p + k) ≤ L + k`: every piece takes its saw loss along,
//! and every stick has room for one more.
//!
//! Up to [`EXACT_PIECES`] pieces every list is looked at: the best list of a set of pieces is a stick with the longest of
//! them and some others, and the best list of what is left.
//!
//! More pieces are laid one by one by best fit: the longest first, each where it costs and leaves least. Many starts
//! disturb that order more and more. Each is mended: a few pieces are taken off a few sticks and laid anew, all lists looked
//! at; the best is mended on. Seed and rounds are fixed, so the same pieces have the same list on any machine. No list costs
//! less than sticks that only are as long as all pieces together; one that costs no more is proven. Off-cuts in stock are
//! sticks that cost nothing, each there once. Of lists that cost the same, that with the longest off-cuts left is taken.

#[cfg(test)]
mod tests;

use std::cmp::Reverse;

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

use crate::money::Money;
use crate::trade::cover::{Stairs, Step};

/// Up to how many pieces every list is looked at.
pub const EXACT_PIECES: usize = 12;
/// How many lists are begun. In the last of them a piece seems up to twice as long as it is.
const STARTS: usize = 200;
/// How many pieces are laid anew together, on as many sticks; how often after each start; twenty times as often last.
const MENDED: usize = 6;
const MENDINGS: usize = 50;
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

/// Every stick with its pieces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CuttingList {
    /// The sticks, off-cuts first.
    pub sticks: Vec<CutStick>,
    /// What they cost.
    pub total: Money,
    /// What no list can do with less of, by length alone: minor units of money, or with [`Aim::Fewest`] sticks to buy.
    pub at_least: i64,
    /// Whether no other list can be better.
    pub proven: bool,
}

/// A piece that is longer than anything sold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooLong(pub i64);

/// Plans which pieces are cut from which sticks.
///
/// Pieces, sticks and saw loss are in one unit; all lengths are above zero, the saw loss is not below.
///
/// # Errors
/// Refuses a piece that is longer than anything sold.
pub fn cut(pieces: &[i64], stock: Stock<'_>, aim: Aim) -> Result<CuttingList, TooLong> {
    let bench = Bench::new(stock, aim, pieces.len());
    let longest = bench.sold.iter().map(|stick| stick.length).max();
    let mut pieces: Vec<i64> = pieces.iter().map(|piece| piece + stock.saw_loss).collect();
    pieces.sort_unstable_by_key(|piece| Reverse(*piece));
    if let Some(piece) = pieces.first().filter(|piece| Some(**piece) > longest) {
        return Err(TooLong(piece - stock.saw_loss));
    }
    let list = match pieces.len() {
        0..=EXACT_PIECES => bench.best(&pieces, bench.off_cuts.clone()),
        _ => bench.good(&pieces),
    };
    let bound = bench.bound(&pieces);
    let proven = pieces.len() <= EXACT_PIECES || bench.merit_of(&list).0 == bound;
    let used = list.into_iter().filter(|laid| !laid.pieces.is_empty());
    let mut sticks: Vec<CutStick> = used.filter_map(|laid| bench.cut_stick(laid)).collect();
    sticks.sort_by_cached_key(|cut| Reverse((cut.off_cut, cut.stick.length, cut.pieces.clone())));
    Ok(CuttingList {
        total: sticks.iter().map(|cut| cut.stick.price).sum(),
        sticks,
        at_least: bound / bench.one_stick.max(1),
        proven,
    })
}

/// What sticks cost, and the squares of what is left on them, as much as it is less: of equals the longest off-cuts count.
type Merit = (i64, i128);

/// A stick on the bench, and what has been laid on it.
#[derive(Clone, Default)]
struct Laid {
    /// An off-cut; `None`: it is the cheapest sold stick that is long enough.
    off_cut: Option<Stick>,
    pieces: Vec<i64>,
}

impl Laid {
    fn new(off_cut: Option<Stick>, pieces: Vec<i64>) -> Laid {
        Laid { off_cut, pieces }
    }

    fn used(&self) -> i64 {
        self.pieces.iter().sum()
    }
}

/// What is cut from. Sticks and pieces have a saw loss each: then everything fits that adds up.
struct Bench {
    saw_loss: i64,
    /// What a stick counts for beside its price: nothing, or more than any difference in price.
    one_stick: i64,
    /// The sold sticks with what each counts for, the cheapest first, and of equals the longest.
    sold: Vec<Stick>,
    /// The off-cuts, with nothing on them yet.
    off_cuts: Vec<Laid>,
}

impl Bench {
    fn new(stock: Stock<'_>, aim: Aim, pieces: usize) -> Bench {
        let prices = stock.sticks.iter().map(|stick| stick.price.minor());
        let more_than_all = (prices.max().unwrap_or(0) + 1) * (pieces as i64 + 1);
        let one_stick = i64::from(aim == Aim::Fewest) * more_than_all;
        let (saw_loss, mut sold) = (stock.saw_loss, stock.sticks.to_vec());
        for stick in &mut sold {
            stick.length += saw_loss;
            stick.price += Money::from_minor(one_stick);
        }
        sold.sort_unstable_by_key(|stick| (stick.price, Reverse(stick.length)));
        let off_cut = |length: &i64| {
            let (length, price) = (length + saw_loss, Money::ZERO);
            Laid::new(Some(Stick { length, price }), Vec::new())
        };
        let off_cuts = stock.off_cuts.iter().map(off_cut).collect();
        Bench {
            saw_loss,
            one_stick,
            sold,
            off_cuts,
        }
    }

    /// Returns the stick that so much more is cut from: an off-cut, or the cheapest sold one with room for it.
    fn stick(&self, laid: &Laid, more: i64) -> Option<Stick> {
        let used = laid.used() + more;
        let sold = || self.sold.iter().find(|sold| sold.length >= used);
        laid.off_cut.or_else(|| sold().copied())
    }

    /// Returns what it takes to cut so much more from a stick; `None`: it doesn't fit.
    fn merit(&self, laid: &Laid, more: i64) -> Option<Merit> {
        let (stick, used) = (self.stick(laid, more)?, laid.used() + more);
        let left = i128::from(stick.length - used);
        match used {
            0 => Some((0, 0)),
            _ => (left >= 0).then_some((stick.price.minor(), -left * left)),
        }
    }

    fn merit_of(&self, list: &[Laid]) -> Merit {
        let merits = list.iter().filter_map(|laid| self.merit(laid, 0));
        merits.fold((0, 0), |sum, merit| (sum.0 + merit.0, sum.1 + merit.1))
    }

    /// Returns the best list of a few pieces, laid on sticks of the bench beside what is on them, or on new ones.
    ///
    /// Sets are numbers, a bit a piece. First what each takes on new sticks alone, then with the first of the bench, and on.
    fn best(&self, pieces: &[i64], bench: Vec<Laid>) -> Vec<Laid> {
        let all = (1_usize << pieces.len()) - 1;
        let mut lengths = vec![0; all + 1];
        for set in 1..=all {
            lengths[set] = lengths[set & (set - 1)] + pieces[set.trailing_zeros() as usize];
        }
        let merits = |laid: &Laid| -> Vec<Option<Merit>> {
            lengths.iter().map(|more| self.merit(laid, *more)).collect()
        };
        let new = merits(&Laid::default());
        let mut layers = vec![vec![((0, 0), 0); all + 1]];
        for set in 1..=all {
            // The first piece of a set is on some stick: the others beside it are tried.
            let first = set & set.wrapping_neg();
            layers[0][set] = least((set, first), &new, &layers[0]);
        }
        for laid in &bench {
            let (before, merits) = (&layers[layers.len() - 1], merits(laid));
            let with = (0..=all).map(|set| least((set, 0), &merits, before));
            layers.push(with.collect());
        }
        let mut left = all;
        let mut lay = |mut laid: Laid, layer: &[(Merit, usize)]| {
            let part = layer[left].1;
            let places = (0..pieces.len()).filter(|place| part >> place & 1 == 1);
            laid.pieces.extend(places.map(|place| pieces[place]));
            left &= !part;
            laid
        };
        let on_bench = bench.into_iter().zip(&layers[1..]).rev();
        let mut list: Vec<Laid> = on_bench.map(|(laid, layer)| lay(laid, layer)).collect();
        let new = std::iter::repeat_with(|| lay(Laid::default(), &layers[0]));
        list.extend(new.take_while(|laid| !laid.pieces.is_empty()));
        list
    }

    /// Returns a good list of many pieces.
    fn good(&self, pieces: &[i64]) -> Vec<Laid> {
        let mut chance = ChaCha8Rng::seed_from_u64(0);
        let starts = (0..STARTS).map(|start| {
            let mut order = pieces.to_vec();
            order.sort_by_cached_key(|piece| {
                let more = below(&mut chance, 1 + 100 * start / STARTS);
                Reverse(piece * (100 + more as i64))
            });
            let list = self.laid(&order, self.sold[start % self.sold.len()].length);
            self.mended(list, MENDINGS, &mut chance)
        });
        let best = starts.min_by_key(|list| self.merit_of(list));
        self.mended(best.unwrap_or_default(), 20 * MENDINGS, &mut chance)
    }

    /// Lays pieces one by one where they leave least; new sticks are so long, or as long as a piece needs.
    fn laid(&self, pieces: &[i64], length: i64) -> Vec<Laid> {
        let mut list = self.off_cuts.clone();
        for piece in pieces {
            let left = |laid: &Laid| {
                let stick = self.stick(laid, 0).map_or(0, |stick| stick.length);
                let long = laid.off_cut.map_or(length, |off_cut| off_cut.length);
                long.max(stick) - laid.used() - piece
            };
            let fitting = list.iter_mut().filter(|laid| left(laid) >= 0);
            match fitting.min_by_key(|laid| left(laid)) {
                Some(laid) => laid.pieces.push(*piece),
                None => list.push(Laid::new(None, vec![*piece])),
            }
        }
        list
    }

    /// Takes some pieces off a few sticks and lays them anew, so many times; where they were is one of the ways.
    fn mended(&self, mut list: Vec<Laid>, times: usize, chance: &mut ChaCha8Rng) -> Vec<Laid> {
        for _ in 0..times {
            let sticks = (2 + below(chance, MENDED - 1)).min(list.len());
            let taken = (0..sticks).map(|_| list.swap_remove(below(chance, list.len())));
            let (mut bench, mut pieces): (Vec<Laid>, _) = (taken.collect(), Vec::new());
            for _ in 0..2 * MENDED {
                let laid = below(chance, bench.len());
                let laid = &mut bench[laid].pieces;
                if pieces.len() < MENDED && !laid.is_empty() {
                    pieces.push(laid.swap_remove(below(chance, laid.len())));
                }
            }
            bench.retain(|laid| laid.off_cut.is_some() || !laid.pieces.is_empty());
            list.extend(self.best(&pieces, bench));
        }
        list
    }

    /// Returns what sticks cost at least that are as long as all pieces together.
    fn bound(&self, pieces: &[i64]) -> i64 {
        let off_cuts = self.off_cuts.iter();
        let there: i64 = off_cuts.filter_map(|laid| Some(laid.off_cut?.length)).sum();
        let needed = (pieces.iter().sum::<i64>() - there).max(0);
        let next = |reach: i64, choice: usize| {
            Some(Step {
                reach: reach + self.sold[choice].length,
                price: self.sold[choice].price,
            })
        };
        let stairs = Stairs::climb(needed, MOST_STAIRS, self.sold.len(), next);
        stairs.map_or(0, |stairs| {
            stairs.stairs()[stairs.place(needed)].price.minor()
        })
    }

    fn cut_stick(&self, laid: Laid) -> Option<CutStick> {
        let (mut stick, used) = (self.stick(&laid, 0)?, laid.used());
        stick.length -= self.saw_loss;
        if laid.off_cut.is_none() {
            stick.price -= Money::from_minor(self.one_stick);
        }
        let mut pieces = laid.pieces;
        pieces.sort_unstable_by_key(|piece| Reverse(*piece));
        pieces.iter_mut().for_each(|piece| *piece -= self.saw_loss);
        Some(CutStick {
            left: (stick.length - used).max(0),
            stick,
            off_cut: laid.off_cut.is_some(),
            pieces,
        })
    }
}

/// Returns the least that a set takes and the part of it, with those in it that must be, on the stick; the rest is as before.
fn least(
    (set, must): (usize, usize),
    on_stick: &[Option<Merit>],
    before: &[(Merit, usize)],
) -> (Merit, usize) {
    let may = set & !must;
    let parts = std::iter::successors(Some(may), |part| (*part > 0).then(|| (part - 1) & may));
    let merits = parts.map(|part| part | must).filter_map(|part| {
        let (on, rest) = (on_stick[part]?, before[set & !part].0);
        Some(((on.0 + rest.0, on.1 + rest.1), part))
    });
    merits.min().unwrap_or_default()
}

/// Returns a whole number below another one, by chance.
fn below(chance: &mut ChaCha8Rng, number: usize) -> usize {
    (chance.next_u64() % number.max(1) as u64) as usize
}
