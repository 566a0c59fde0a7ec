//! Buying: the cheapest packs and cans that hold what is needed, and the fewest or cheapest sticks to cut it from.
//!
//! **Packs.** Need = area × coats ÷ spread, and what is bought is the cheapest cover of pack sizes that holds at least
//! as much ([`Shelf`], on the [`Stairs`] of `cover`): exact for every need up to the one it was made for.
//!
//! **Sticks.** Trim and thresholds are cut from stock lengths. Pieces `p` fit a stick `L` with saw loss `k` between
//! them if `Σ (p + k) ≤ L + k`. The plan is searched by completing sticks: the longest piece left goes into a stick of
//! each length together with every set of other pieces that leaves no room for one more, and a branch ends where no
//! rest can beat the best plan so far (Martello and Toth 1990; Korf 2002). Two bounds say that:
//!
//! * the pieces' whole length, saw loss included, covered by sticks as if it could be poured;
//! * for each length `t`, the pieces of at least `t`: a stick holds no more than `⌊(L + k) ÷ (t + k)⌋` of them.
//!
//! The search ends after a set number of branches; a plan that it could not prove to be the best says so.

use std::collections::HashMap;

use thiserror::Error;

use crate::money::{Decimal, Money, quantity};
use crate::trade::cover::Stairs;

/// Millionths in a unit.
const MICRO: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);
/// Branches that a search for a cutting list takes at most.
const MOST_BRANCHES: usize = 60_000;
/// Sets of pieces that are tried for one stick at most.
const MOST_FILLS: usize = 400;
/// Most pieces that are cut together.
pub const MOST_PIECES: usize = 500;

/// A size that an item is sold in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PackSize {
    /// Units in it; above zero.
    pub size: Decimal,
    /// Its price.
    pub price: Money,
}

/// Packs that hold what is needed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Basket {
    /// What is needed, in item units.
    pub need: Decimal,
    /// Packs by size, largest first, how many of each, at what price each.
    pub packs: Vec<(Decimal, u32, Money)>,
    /// What they cost.
    pub total: Money,
}

impl Basket {
    /// Returns how much is in the packs.
    pub fn content(&self) -> Decimal {
        let packs = self.packs.iter();
        packs
            .map(|(size, count, _)| size * Decimal::from(*count))
            .sum()
    }
}

/// Why nothing can be bought.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum BuyError {
    /// The book knows no pack.
    #[error("no pack of it is known")]
    NoPack,
    /// More packs than anybody carries.
    #[error("that would be more packs than can be worked out")]
    TooMany,
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

/// An item's packs, worked out for every need up to one.
#[derive(Clone, Debug)]
pub struct Shelf {
    packs: Vec<PackSize>,
    stairs: Stairs,
}

impl Shelf {
    /// Works out the cheapest packs for needs up to `most` units.
    ///
    /// # Errors
    /// Refuses an item without packs, and needs of more packs than anybody carries.
    pub fn new(packs: &[PackSize], most: Decimal) -> Result<Shelf, BuyError> {
        if packs.is_empty() {
            return Err(BuyError::NoPack);
        }
        let mut packs = packs.to_vec();
        packs.sort_by_key(|pack| std::cmp::Reverse(pack.size));
        let offers: Vec<(i64, Money)> = packs
            .iter()
            .map(|pack| Some((micro(pack.size)?, pack.price)))
            .collect::<Option<_>>()
            .ok_or(BuyError::TooMany)?;
        let next = |reach: i64, choice: usize| {
            let (size, price) = offers[choice];
            Some((reach.checked_add(size)?, price))
        };
        let most = micro(most).ok_or(BuyError::TooMany)?;
        let stairs = Stairs::climb(most, packs.len(), next).ok_or(BuyError::TooMany)?;
        Ok(Shelf { packs, stairs })
    }

    /// Returns the cheapest packs that hold a need within what was worked out; of equal price, those that hold most.
    pub fn basket(&self, need: Decimal) -> Basket {
        let place = self.stairs.place(micro(need).unwrap_or(i64::MAX));
        let counts = self.stairs.counts(place);
        let packs = self.packs.iter().zip(counts);
        Basket {
            need,
            packs: packs
                .filter(|(_, count)| *count > 0)
                .map(|(pack, count)| (pack.size, count, pack.price))
                .collect(),
            total: self.stairs.stairs()[place].price,
        }
    }

    /// Returns every cover worth having: units that it holds, and its price; both rise.
    pub fn covers(&self) -> impl Iterator<Item = (Decimal, Money)> {
        let stairs = self.stairs.stairs().iter();
        stairs.map(|stair| (Decimal::from(stair.reach) / MICRO, stair.price))
    }
}

/// Returns the cheapest packs that hold a need.
///
/// # Errors
/// Refuses an item without packs, and a need of more packs than anybody carries.
pub fn cheapest_packs(need: Decimal, packs: &[PackSize]) -> Result<Basket, BuyError> {
    let Some((bulk, count)) = bulk(need, packs) else {
        return Ok(Shelf::new(packs, need)?.basket(need));
    };
    let rest = need - bulk.size * Decimal::from(count);
    let mut basket = Shelf::new(packs, rest)?.basket(rest);
    basket.need = need;
    basket.total += bulk.price.times(Decimal::from(count));
    match basket
        .packs
        .iter_mut()
        .find(|(size, ..)| *size == bulk.size)
    {
        Some((_, known, _)) => *known += count,
        None => basket.packs.push((bulk.size, count, bulk.price)),
    }
    basket
        .packs
        .sort_by_key(|(size, ..)| std::cmp::Reverse(*size));
    Ok(basket)
}

/// Returns a pack and how many of it the cheapest cover of a large need holds at least; `None`: the need isn't large.
///
/// Of the packs that are cheapest by the unit, some cheapest cover holds all but a few: if `s` is that size in units that
/// divide all sizes, any `s` other packs hold some whose content is a multiple of `s`, and can be exchanged for it.
fn bulk(need: Decimal, packs: &[PackSize]) -> Option<(PackSize, u32)> {
    use rust_decimal::prelude::ToPrimitive;
    let by_unit = |one: &&PackSize, another: &&PackSize| {
        let (one, another) = (
            (Decimal::from(one.price.minor()) / one.size, one.size),
            (
                Decimal::from(another.price.minor()) / another.size,
                another.size,
            ),
        );
        one.cmp(&another)
    };
    let best = packs.iter().min_by(by_unit)?;
    let sizes: Vec<i64> = packs
        .iter()
        .map(|pack| micro(pack.size))
        .collect::<Option<_>>()?;
    let divisor = sizes.iter().copied().fold(0, greatest_common_divisor);
    let largest = sizes.iter().max()?;
    let others = (micro(best.size)? / divisor).checked_mul(*largest)?;
    let count = (micro(need)?.checked_sub(others)? / micro(best.size)?).to_u32()?;
    (count > 0).then_some((*best, count))
}

fn greatest_common_divisor(one: i64, another: i64) -> i64 {
    match another {
        0 => one,
        _ => greatest_common_divisor(another, one % another),
    }
}

/// Rounds a need to whole sets of a size, as sets are counted when they are used: to the nearest, and one at least if any
/// is needed.
pub fn whole_sets(units: Decimal, size: u32) -> Decimal {
    if units <= Decimal::ZERO {
        return Decimal::ZERO;
    }
    let (size, half) = (Decimal::from(size), Decimal::new(5, 1));
    (units / size - half).ceil().max(Decimal::ONE) * size
}

/// Returns millionths, rounded as quantities are; `None`: too many.
fn micro(units: Decimal) -> Option<i64> {
    use rust_decimal::prelude::ToPrimitive;
    quantity(units).checked_mul(MICRO)?.to_i64()
}

/// What a cutting list is to be best at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// The lowest price.
    Cheapest,
    /// The fewest sticks, and of those plans the cheapest.
    Fewest,
}

/// A stock length. Lengths are whole numbers of any one unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stick {
    /// Its length.
    pub length: i64,
    /// Its price.
    pub price: Money,
}

/// One stick and what is cut from it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CutStick {
    /// The stock length.
    pub stick: Stick,
    /// The pieces, longest first.
    pub pieces: Vec<i64>,
    /// What is left after the last cut.
    pub left: i64,
}

/// Every stick with its pieces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CuttingList {
    /// The sticks.
    pub sticks: Vec<CutStick>,
    /// What they cost.
    pub total: Money,
    /// Whether no other plan can be better.
    pub proven: bool,
}

/// Plans which pieces are cut from which stock lengths.
///
/// Pieces, sticks and saw loss are in one unit; all lengths are above zero, the saw loss is not below.
///
/// # Errors
/// Refuses an item without stock lengths, and a piece that none of them gives.
pub fn cut(
    pieces: &[i64],
    sticks: &[Stick],
    saw_loss: i64,
    aim: Aim,
) -> Result<CuttingList, CutError> {
    let longest = sticks.iter().map(|stick| stick.length).max();
    let longest = longest.ok_or(CutError::NoStick)?;
    if let Some(piece) = pieces.iter().find(|piece| **piece > longest) {
        return Err(CutError::TooLong(*piece));
    }
    let mut search = Search::new(pieces, sticks, saw_loss, aim);
    let mut counts = search.counts.clone();
    let bound = search.bound(&counts);
    search.plan_by_longest_first();
    if search.best.as_ref().is_none_or(|best| best.0 > bound) {
        search.complete(&mut counts, 0, bound);
    }
    Ok(search.list())
}

/// A set of pieces: how many of each length.
type Counts = Vec<u32>;

struct Search {
    /// Stock lengths, longest first.
    sticks: Vec<Stick>,
    /// What a stick costs in the order of the aim: price, or one stick and then price.
    costs: Vec<i128>,
    lengths: Vec<i64>,
    counts: Counts,
    saw_loss: i64,
    /// Sticks as if pieces could be poured.
    poured: Option<Stairs>,
    /// The best plan so far and what it costs.
    best: Option<(i128, Vec<(usize, Counts)>)>,
    plan: Vec<(usize, Counts)>,
    /// The least that was paid before pieces were left like that.
    seen: HashMap<Counts, i128>,
    branches: usize,
    cut_short: bool,
}

/// More than all sticks of any plan cost: sticks are counted in this unit if the fewest are wanted.
const ONE_STICK: i128 = 1 << 70;

impl Search {
    fn new(pieces: &[i64], offered: &[Stick], saw_loss: i64, aim: Aim) -> Search {
        let mut sticks = offered.to_vec();
        sticks.sort_by_key(|stick| (std::cmp::Reverse(stick.length), stick.price));
        // Of two sticks the longer one that costs no more is always as good.
        let price = |stick: &Stick| match aim {
            Aim::Cheapest => i128::from(stick.price.minor()),
            Aim::Fewest => ONE_STICK + i128::from(stick.price.minor()),
        };
        let mut kept: Vec<Stick> = Vec::new();
        for stick in sticks {
            if kept
                .iter()
                .all(|longer| longer.price.minor() > stick.price.minor())
            {
                kept.push(stick);
            }
        }
        let mut lengths = pieces.to_vec();
        lengths.sort_unstable_by_key(|piece| std::cmp::Reverse(*piece));
        let mut counts: Counts = Vec::new();
        let mut distinct: Vec<i64> = Vec::new();
        for piece in lengths {
            match (distinct.last(), counts.last_mut()) {
                (Some(last), Some(count)) if *last == piece => *count += 1,
                _ => {
                    distinct.push(piece);
                    counts.push(1);
                }
            }
        }
        let whole: i64 = pieces.iter().map(|piece| piece + saw_loss).sum();
        let poured = match aim {
            Aim::Cheapest => Stairs::climb(whole, kept.len(), |reach, choice| {
                Some((reach + kept[choice].length + saw_loss, kept[choice].price))
            }),
            Aim::Fewest => None,
        };
        Search {
            costs: kept.iter().map(price).collect(),
            sticks: kept,
            lengths: distinct,
            counts,
            saw_loss,
            poured,
            best: None,
            plan: Vec::new(),
            seen: HashMap::new(),
            branches: 0,
            cut_short: false,
        }
    }

    /// Returns what pieces left can't cost less than.
    fn bound(&self, counts: &[u32]) -> i128 {
        let each = || self.lengths.iter().zip(counts);
        let whole: i64 = each()
            .map(|(length, count)| (length + self.saw_loss) * i64::from(*count))
            .sum();
        if whole == 0 {
            return 0;
        }
        let mut bound = match &self.poured {
            Some(poured) => i128::from(poured.stairs()[poured.place(whole)].price.minor()),
            None => {
                // As many of the longest stick as hold the whole length, each at the least that a stick costs.
                let capacity = self.sticks[0].length + self.saw_loss;
                let sticks = i128::from((whole + capacity - 1) / capacity);
                sticks * self.costs.iter().copied().min().unwrap_or(0)
            }
        };
        let mut pieces = 0;
        for (length, count) in each() {
            pieces += i128::from(*count);
            if *count == 0 {
                continue;
            }
            // The least that a piece's place costs, over all sticks that hold one: a fraction, rounded up at the end.
            let places = self
                .sticks
                .iter()
                .zip(&self.costs)
                .filter_map(|(stick, cost)| {
                    let held = (stick.length + self.saw_loss) / (length + self.saw_loss);
                    (held > 0).then_some((*cost, i128::from(held)))
                });
            if let Some((cost, held)) =
                places.min_by(|one, another| (one.0 * another.1).cmp(&(another.0 * one.1)))
            {
                bound = bound.max((pieces * cost + held - 1) / held);
            }
        }
        bound
    }

    /// Makes a first plan: each piece, the longest first, into the first stick that has room; then each stick as short
    /// and cheap as its pieces allow.
    fn plan_by_longest_first(&mut self) {
        let capacity = self.sticks[0].length + self.saw_loss;
        let mut bins: Vec<(i64, Counts)> = Vec::new();
        for (place, count) in self.counts.iter().enumerate() {
            let taken = self.lengths[place] + self.saw_loss;
            for _ in 0..*count {
                let at = match bins.iter().position(|(used, _)| used + taken <= capacity) {
                    Some(at) => at,
                    None => {
                        bins.push((0, vec![0; self.lengths.len()]));
                        bins.len() - 1
                    }
                };
                bins[at].0 += taken;
                bins[at].1[place] += 1;
            }
        }
        let plan: Vec<(usize, Counts)> = bins
            .into_iter()
            .map(|(used, counts)| {
                let fitting = (0..self.sticks.len())
                    .filter(|stick| self.sticks[*stick].length + self.saw_loss >= used);
                let cheapest = fitting.min_by_key(|stick| self.costs[*stick]).unwrap_or(0);
                (cheapest, counts)
            })
            .collect();
        let cost = plan.iter().map(|(stick, _)| self.costs[*stick]).sum();
        self.best = Some((cost, plan));
    }

    /// Completes sticks until no piece is left, keeping the best plan.
    fn complete(&mut self, counts: &mut Counts, paid: i128, bound: i128) {
        let Some(longest) = counts.iter().position(|count| *count > 0) else {
            if self.best.as_ref().is_none_or(|best| paid < best.0) {
                self.best = Some((paid, self.plan.clone()));
            }
            return;
        };
        self.branches += 1;
        if self.branches > MOST_BRANCHES {
            self.cut_short = true;
            return;
        }
        match self.seen.get_mut(counts) {
            Some(before) if *before <= paid => return,
            Some(before) => *before = paid,
            None => {
                self.seen.insert(counts.clone(), paid);
            }
        }
        let mut fills: Vec<(i128, i64, usize, Counts)> = Vec::new();
        for stick in 0..self.sticks.len() {
            let capacity = self.sticks[stick].length + self.saw_loss;
            let first = self.lengths[longest] + self.saw_loss;
            if first > capacity {
                continue;
            }
            let mut fill = vec![0; counts.len()];
            fill[longest] = 1;
            counts[longest] -= 1;
            let mut found = Vec::new();
            self.fill(
                counts,
                longest,
                longest,
                capacity - first,
                &mut fill,
                &mut found,
            );
            counts[longest] += 1;
            self.cut_short |= found.len() >= MOST_FILLS;
            for (left, fill) in found {
                for (count, taken) in counts.iter_mut().zip(&fill) {
                    *count -= taken;
                }
                let rest = self.costs[stick] + self.bound(counts);
                for (count, taken) in counts.iter_mut().zip(&fill) {
                    *count += taken;
                }
                fills.push((rest, left, stick, fill));
            }
        }
        fills.sort_by(|one, another| (one.0, one.1, one.2).cmp(&(another.0, another.1, another.2)));
        for (rest, _, stick, fill) in fills {
            let best = self.best.as_ref().map_or(i128::MAX, |best| best.0);
            if best <= bound || paid + rest >= best || self.branches > MOST_BRANCHES {
                return; // The others promise no more than this one.
            }
            for (count, taken) in counts.iter_mut().zip(&fill) {
                *count -= taken;
            }
            self.plan.push((stick, fill));
            self.complete(counts, paid + self.costs[stick], bound);
            if let Some((_, fill)) = self.plan.pop() {
                for (count, taken) in counts.iter_mut().zip(&fill) {
                    *count += taken;
                }
            }
        }
    }

    /// Finds the sets of pieces that leave no room for one more, beside a piece of the longest that is in already and
    /// no longer counted as left.
    fn fill(
        &self,
        counts: &[u32],
        longest: usize,
        from: usize,
        room: i64,
        fill: &mut Counts,
        found: &mut Vec<(i64, Counts)>,
    ) {
        if found.len() >= MOST_FILLS {
            return;
        }
        let next = (from..counts.len())
            .find(|place| counts[*place] > 0 && self.lengths[*place] + self.saw_loss <= room);
        let Some(place) = next else {
            // Nothing further on fits; it is complete if nothing that was passed over fits either.
            let passed_over = (0..counts.len()).any(|place| {
                let taken = fill[place] - u32::from(place == longest);
                counts[place] > taken && self.lengths[place] + self.saw_loss <= room
            });
            if !passed_over {
                found.push((room, fill.clone()));
            }
            return;
        };
        let taken = self.lengths[place] + self.saw_loss;
        let already = fill[place];
        let most = i64::from(counts[place]).min(room / taken);
        for more in (0..=most).rev() {
            fill[place] = already + more as u32;
            self.fill(counts, longest, place + 1, room - more * taken, fill, found);
        }
        fill[place] = already;
    }

    fn list(self) -> CuttingList {
        let bound = self.bound(&self.counts);
        let (cost, plan) = self.best.unwrap_or_default();
        let mut sticks: Vec<CutStick> = plan
            .into_iter()
            .map(|(stick, counts)| {
                let pieces: Vec<i64> = self
                    .lengths
                    .iter()
                    .zip(&counts)
                    .flat_map(|(length, count)| std::iter::repeat_n(*length, *count as usize))
                    .collect();
                let used: i64 = pieces.iter().map(|piece| piece + self.saw_loss).sum();
                CutStick {
                    left: (self.sticks[stick].length - used).max(0),
                    stick: self.sticks[stick],
                    pieces,
                }
            })
            .collect();
        sticks.sort_by(|one, another| {
            (another.stick.length, &another.pieces).cmp(&(one.stick.length, &one.pieces))
        });
        CuttingList {
            total: sticks.iter().map(|cut| cut.stick.price).sum(),
            sticks,
            proven: !self.cut_short || cost <= bound,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;

    fn pack(size: Decimal, cents: i64) -> PackSize {
        PackSize {
            size,
            price: Money::from_minor(cents),
        }
    }

    fn counts(need: Decimal, packs: &[PackSize]) -> Vec<(Decimal, u32)> {
        let basket = cheapest_packs(need, packs).unwrap();
        basket
            .packs
            .iter()
            .map(|(size, count, _)| (*size, *count))
            .collect()
    }

    #[test]
    fn cans_are_rounded_up_and_cheapest() {
        // Buying rule: need = area × coats ÷ spread, covered by gallons and quarts, which cost more a gallon (the sizes
        // are those of a finish maker's quantity guide; the prices are invented). 800 sq ft: one sealer coat at 400 and
        // two coats at 500.
        let cans = [pack(dec!(1), 5200), pack(dec!(0.25), 1850)];
        let sealer = dec!(800) / dec!(400);
        let coats = dec!(800) * dec!(2) / dec!(500);
        assert_eq!((sealer, coats), (dec!(2), dec!(3.2)));
        assert_eq!(counts(sealer, &cans), [(dec!(1), 2)]);
        assert_eq!(counts(coats, &cans), [(dec!(1), 3), (dec!(0.25), 1)]);
        let basket = cheapest_packs(coats, &cans).unwrap();
        assert_eq!(basket.content(), dec!(3.25));
        assert_eq!(basket.total, Money::from_minor(3 * 5200 + 1850));
        // A pail is cheaper than what it takes in gallons: what is left over doesn't matter.
        let pail = [pack(dec!(1), 5200), pack(dec!(5), 20_000)];
        assert_eq!(counts(dec!(4), &pail), [(dec!(5), 1)]);
        assert_eq!(counts(Decimal::ZERO, &cans), []);
        assert_eq!(cheapest_packs(dec!(1), &[]), Err(BuyError::NoPack));
        // Many of them are as exact as few; no two of these sizes have much in common.
        let nails = [pack(dec!(100), 950), pack(dec!(500), 3800)];
        assert_eq!(
            counts(dec!(1680101), &nails),
            [(dec!(500), 3360), (dec!(100), 2)]
        );
        let odd = [pack(dec!(0.000007), 7), pack(dec!(0.999983), 999_990)];
        assert_eq!(cheapest_packs(dec!(10), &odd), Err(BuyError::TooMany));
    }

    #[test]
    fn sticks_for_a_length_of_trim() {
        // floorone.com, MeasuringMolding: 80 ft from 8 ft sticks are 10; with 10 % waste 11 (computed).
        let eight = [pack(dec!(8), 960)];
        assert_eq!(counts(dec!(80), &eight), [(dec!(8), 10)]);
        assert_eq!(counts(dec!(88), &eight), [(dec!(8), 11)]);
        // onflooring.com, how to measure for flooring: 1,694 in from 94 in sticks: 18.02, so 19.
        let inches = [pack(dec!(94), 1)];
        assert_eq!(counts(dec!(1694), &inches), [(dec!(94), 19)]);
    }

    #[test]
    fn needs_are_in_whole_sets() {
        for (units, size, need) in [
            (dec!(0), 3, dec!(0)),
            (dec!(0.2), 3, dec!(3)),
            (dec!(4.5), 3, dec!(3)),
            (dec!(4.51), 3, dec!(6)),
            (dec!(11.4), 1, dec!(11)),
            (dec!(11.6), 1, dec!(12)),
        ] {
            assert_eq!(whole_sets(units, size), need, "{units} in sets of {size}");
        }
    }

    fn stick(length: i64, price: i64) -> Stick {
        Stick {
            length,
            price: Money::from_minor(price),
        }
    }

    #[test]
    fn pieces_share_sticks_with_saw_loss_between_them() {
        // Lengths in eighths of an inch; the saw takes one. One stick does two openings of less than 36 in each
        // (floorone.com, MeasuringMolding): 35 7/8 in twice from 6 ft, and 36 in twice no more.
        let six_feet = [stick(576, 3800)];
        let list = cut(&[287, 287], &six_feet, 1, Aim::Cheapest).unwrap();
        assert_eq!(list.sticks.len(), 1);
        assert_eq!(list.sticks[0].left, 0);
        let list = cut(&[288, 288], &six_feet, 1, Aim::Cheapest).unwrap();
        assert_eq!((list.sticks.len(), list.proven), (2, true));
        assert_eq!(list.sticks[0].left, 287);
        // A piece as long as the stick takes no cut.
        let list = cut(&[576], &six_feet, 1, Aim::Cheapest).unwrap();
        assert_eq!(list.sticks[0].left, 0);
        assert_eq!(
            cut(&[577], &six_feet, 1, Aim::Cheapest),
            Err(CutError::TooLong(577))
        );
        assert_eq!(cut(&[1], &[], 1, Aim::Cheapest), Err(CutError::NoStick));
        // The fewest sticks may cost more than the cheapest.
        let both = [stick(100, 100), stick(200, 250)];
        let pieces = [100, 100];
        let cheapest = cut(&pieces, &both, 0, Aim::Cheapest).unwrap();
        let fewest = cut(&pieces, &both, 0, Aim::Fewest).unwrap();
        assert_eq!((cheapest.sticks.len(), cheapest.total.minor()), (2, 200));
        assert_eq!((fewest.sticks.len(), fewest.total.minor()), (1, 250));
    }

    /// Returns the lowest cost by trying every place for every piece.
    fn lowest(pieces: &[i64], sticks: &[Stick], saw: i64, rooms: &mut Vec<i64>, each: i64) -> i64 {
        let Some((piece, rest)) = pieces.split_first() else {
            return 0;
        };
        let mut best = i64::MAX / 4;
        for at in 0..rooms.len() {
            if rooms[at] >= piece + saw {
                rooms[at] -= piece + saw;
                best = best.min(lowest(rest, sticks, saw, rooms, each));
                rooms[at] += piece + saw;
            }
        }
        for stick in sticks.iter().filter(|stick| stick.length >= *piece) {
            rooms.push(stick.length + saw - piece - saw);
            best = best.min(each + stick.price.minor() + lowest(rest, sticks, saw, rooms, each));
            rooms.pop();
        }
        best
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(3_000))]

        #[test]
        fn no_packs_are_cheaper(
            need in 0_i64..400,
            packs in proptest::collection::vec((1_i64..25, 0_i64..90), 1..4),
        ) {
            let sizes: Vec<PackSize> = packs.iter().map(|(size, price)| pack(Decimal::new(*size, 2), *price)).collect();
            // best[n]: the lowest price that holds n hundredths.
            let mut best = vec![0_i64];
            for held in 1..=need {
                let choices = packs.iter().map(|(size, price)| best[(held - size).max(0) as usize] + price);
                best.push(choices.min().unwrap());
            }
            let basket = cheapest_packs(Decimal::new(need, 2), &sizes).unwrap();
            prop_assert_eq!(basket.total.minor(), best[need as usize]);
            prop_assert!(basket.content() >= Decimal::new(need, 2));
            let sum: Money = basket.packs.iter().map(|(_, count, price)| price.times(Decimal::from(*count))).sum();
            prop_assert_eq!(sum, basket.total);
        }

        #[test]
        fn no_cutting_list_is_better(
            pieces in proptest::collection::vec(1_i64..40, 0..7),
            sticks in proptest::collection::vec((20_i64..80, 1_i64..60), 1..4),
            saw in 0_i64..3,
            fewest in proptest::bool::ANY,
        ) {
            let sticks: Vec<Stick> = sticks.iter().map(|(length, price)| stick(*length, *price)).collect();
            let longest = sticks.iter().map(|stick| stick.length).max().unwrap();
            prop_assume!(pieces.iter().all(|piece| *piece <= longest));
            let (aim, each) = if fewest { (Aim::Fewest, 1_000_000) } else { (Aim::Cheapest, 0) };
            let list = cut(&pieces, &sticks, saw, aim).unwrap();
            prop_assert!(list.proven);
            let cost = each * list.sticks.len() as i64 + list.total.minor();
            prop_assert_eq!(cost, lowest(&pieces, &sticks, saw, &mut Vec::new(), each));
            let mut cut: Vec<i64> = list.sticks.iter().flat_map(|stick| stick.pieces.clone()).collect();
            let mut wanted = pieces.clone();
            cut.sort_unstable();
            wanted.sort_unstable();
            prop_assert_eq!(cut, wanted);
            for stick in &list.sticks {
                let used: i64 = stick.pieces.iter().map(|piece| piece + saw).sum();
                prop_assert!(used <= stick.stick.length + saw);
                prop_assert_eq!(stick.left, (stick.stick.length - used).max(0));
            }
        }
    }
}
