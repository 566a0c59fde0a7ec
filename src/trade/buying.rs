//! Buying: the cheapest packs and cans that hold what is needed.
//!
//! A need of finish is area × coats ÷ spread. What is bought for a need are the cheapest packs that hold at least as much
//! ([`Shelf`], on the [`Stairs`] of `cover`).

use rust_decimal::prelude::ToPrimitive;
use thiserror::Error;

use crate::measure::{Length, Units};
use crate::money::{Decimal, Money, counted, product, quantity, round};
use crate::trade::Unit;
use crate::trade::cover::{Stairs, Step, greatest_common_divisor};
use crate::trade::cutting::{Aim, CuttingList, Stick, Stock, cut};

/// Millionths in a unit.
const MICRO: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);

/// Most covers that are looked at; a need that takes more is of more packs than anybody carries.
const MOST_COVERS: usize = 200_000;

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
    /// Its packs by size, largest first.
    pub packs: Vec<Packs>,
    /// What they cost.
    pub total: Money,
}

/// So many packs of a size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Packs {
    /// Units in one.
    pub size: Decimal,
    /// How many there are.
    pub count: u32,
    /// The price of one.
    pub price: Money,
}

impl Basket {
    /// Returns how much is in the packs.
    pub fn content(&self) -> Decimal {
        let packs = self.packs.iter();
        packs
            .map(|packs| packs.size * Decimal::from(packs.count))
            .sum()
    }

    /// Returns how much of that is left over.
    pub fn left(&self) -> Decimal {
        self.content() - self.need
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

/// An item's packs, and which of them are cheapest for every need up to a largest one.
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
        let sizes = sizes(&packs).ok_or(BuyError::TooMany)?;
        let next = |reach: i64, choice: usize| {
            Some(Step {
                reach: reach.checked_add(sizes[choice])?,
                price: packs[choice].price,
            })
        };
        let most = micro(most).ok_or(BuyError::TooMany)?;
        let stairs =
            Stairs::climb(most, MOST_COVERS, packs.len(), next).ok_or(BuyError::TooMany)?;
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
                .map(|(pack, count)| Packs {
                    size: pack.size,
                    count,
                    price: pack.price,
                })
                .collect(),
            total: self.stairs.stairs()[place].price,
        }
    }

    /// Returns every cover worth having; what they hold and what they cost both rise.
    pub fn covers(&self) -> impl Iterator<Item = PackCover> {
        let stairs = self.stairs.stairs().iter();
        stairs.map(|stair| PackCover {
            holds: Decimal::from(stair.reach) / MICRO,
            price: stair.price,
        })
    }
}

/// Packs that may be bought together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PackCover {
    /// Units in them.
    pub holds: Decimal,
    /// What they cost.
    pub price: Money,
}

/// Returns the cheapest packs that hold a need.
///
/// # Errors
/// Refuses an item without packs, and a need of more packs than anybody carries.
pub fn cheapest_packs(need: Decimal, packs: &[PackSize]) -> Result<Basket, BuyError> {
    let Some(bulk) = bulk(need, packs) else {
        return Ok(Shelf::new(packs, need)?.basket(need));
    };
    let rest = need - bulk.size * Decimal::from(bulk.count);
    let mut basket = Shelf::new(packs, rest)?.basket(rest);
    basket.need = need;
    basket.total += bulk.price.times(Decimal::from(bulk.count));
    let mut packs = basket.packs.iter_mut();
    match packs.find(|packs| packs.size == bulk.size) {
        Some(known) => known.count += bulk.count,
        None => basket.packs.push(bulk),
    }
    basket
        .packs
        .sort_by_key(|packs| std::cmp::Reverse(packs.size));
    Ok(basket)
}

/// Returns the cheapest packs that pieces can be cut from, with the cutting list; what they hold beside is cut off.
///
/// `None`: the item isn't sold by length, or a piece is longer than anything sold and will be joined.
pub fn packs_to_cut(
    (packs, unit): (&[PackSize], Unit),
    pieces: &[Length],
    saw_loss: Length,
) -> Option<(Basket, CuttingList)> {
    let sticks = sticks(packs, unit)?;
    let stock = Stock {
        sticks: &sticks,
        off_cuts: &[],
        saw_loss: saw_loss.nanometres(),
    };
    let lengths: Vec<i64> = pieces.iter().map(|piece| piece.nanometres()).collect();
    let list = cut(&lengths, stock, Aim::Cheapest).ok()?;
    let bought = packs.iter().zip(&sticks).map(|(pack, stick)| {
        let cut = list.sticks.iter().filter(|cut| cut.stick == *stick);
        Packs {
            size: pack.size,
            count: cut.count() as u32,
            price: pack.price,
        }
    });
    let mut bought: Vec<Packs> = bought.filter(|packs| packs.count > 0).collect();
    bought.sort_by_key(|packs| std::cmp::Reverse(packs.size));
    let sum: Length = pieces.iter().copied().sum();
    let basket = Basket {
        need: quantity(match unit {
            Unit::Metre => sum.metres(),
            _ => sum.feet(),
        }),
        packs: bought,
        total: list.total,
    };
    Some((basket, list))
}

/// Returns the lengths that an item is sold in, in the order of its packs; `None`: it isn't sold by length.
pub fn sticks(packs: &[PackSize], unit: Unit) -> Option<Vec<Stick>> {
    let stick = |pack: &PackSize| {
        Some(Stick {
            length: nanometres(pack.size, unit)?,
            price: pack.price,
        })
    };
    packs.iter().map(stick).collect()
}

/// Returns how long so much of an item is; `None`: it isn't sold by length.
fn nanometres(quantity: Decimal, unit: Unit) -> Option<i64> {
    let one = match unit {
        Unit::Foot => Length::parse("1 ft", Units::Us),
        Unit::Metre => Length::parse("1 m", Units::Metric),
        _ => return None,
    };
    let exact = product([Decimal::from(one.ok()?.nanometres()), quantity]);
    Some(counted(round(exact, 0).to_i64()))
}

/// Returns packs that some cheapest cover of a large need holds at least; `None`: the need isn't large.
///
/// They are of the size that is cheapest by the unit; let `s` be that size in units of the greatest common divisor of all
/// sizes. Among any `s` packs of other sizes are some that together hold a multiple of that size, and they can be exchanged
/// for packs of it, which are no dearer. So some cheapest cover has fewer than `s` packs of other sizes.
fn bulk(need: Decimal, packs: &[PackSize]) -> Option<Packs> {
    let by_unit = |pack: &&PackSize| (Decimal::from(pack.price.minor()) / pack.size, pack.size);
    let best = packs.iter().min_by_key(by_unit)?;
    let sizes = sizes(packs)?;
    let divisor = sizes.iter().copied().fold(0, greatest_common_divisor);
    let largest = sizes.iter().max()?;
    let others = (micro(best.size)? / divisor).checked_mul(*largest)?;
    let count = (micro(need)?.checked_sub(others)? / micro(best.size)?).to_u32()?;
    (count > 0).then_some(Packs {
        size: best.size,
        count,
        price: best.price,
    })
}

/// Returns the sizes of packs in millionths; `None`: one is too large.
fn sizes(packs: &[PackSize]) -> Option<Vec<i64>> {
    packs.iter().map(|pack| micro(pack.size)).collect()
}

/// Rounds a need to whole sets of a size, as sets are counted when they are used: to the nearest number of them, and to one
/// at least, if anything is needed.
pub fn whole_sets(units: Decimal, size: u32) -> Decimal {
    if units <= Decimal::ZERO {
        return Decimal::ZERO;
    }
    let (size, half) = (Decimal::from(size), Decimal::new(5, 1));
    (units / size - half).ceil().max(Decimal::ONE) * size
}

/// Returns millionths, rounded as quantities are; `None`: too many.
fn micro(units: Decimal) -> Option<i64> {
    quantity(units).checked_mul(MICRO)?.to_i64()
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
            .map(|packs| (packs.size, packs.count))
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
            let sum: Money = basket.packs.iter().map(|packs| packs.price.times(Decimal::from(packs.count))).sum();
            prop_assert_eq!(sum, basket.total);
        }
    }
}
