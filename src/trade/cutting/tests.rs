use proptest::prelude::*;

use super::*;
use crate::trade::bounds::MOST_PIECES;

/// 150 random lists of 13 to 30 pieces, each with what the best list costs and the fewest sticks: found by a linear program
/// with a complete search of the purchases. `tests/vectors/cutting.py` finds the same with a general solver where it can.
const LISTS: &str = include_str!("../../../tests/vectors/cutting.csv");

fn stick(length: i64, price: i64) -> Stick {
    Stick {
        length,
        price: Money::from_minor(price),
    }
}

fn bought(sticks: &[Stick], saw_loss: i64) -> Stock<'_> {
    Stock {
        sticks,
        off_cuts: &[],
        saw_loss,
    }
}

#[test]
fn pieces_share_sticks_with_saw_loss_between_them() {
    // Lengths in eighths of an inch; the saw takes one. One stick does two openings of less than 36 in each
    // (floorone.com, MeasuringMolding): 35 7/8 in twice from 6 ft, and 36 in twice no more.
    let six_feet = [stick(576, 3800)];
    let six_feet = bought(&six_feet, 1);
    let list = cut(&[287, 287], six_feet, Aim::Cheapest).unwrap();
    assert_eq!(list.sticks.len(), 1);
    assert_eq!(list.sticks[0].left, 0);
    let list = cut(&[288, 288], six_feet, Aim::Cheapest).unwrap();
    assert_eq!((list.sticks.len(), list.proven), (2, true));
    assert_eq!(list.sticks[0].left, 287);
    // A piece as long as the stick takes no cut.
    let list = cut(&[576], six_feet, Aim::Cheapest).unwrap();
    assert_eq!(list.sticks[0].left, 0);
    let refused = cut(&[577], six_feet, Aim::Cheapest);
    assert_eq!(refused, Err(TooLong(577)));
    let refused = cut(&[1], bought(&[], 1), Aim::Cheapest);
    assert_eq!(refused, Err(TooLong(1)));
    let nothing = cut(&[], six_feet, Aim::Cheapest).unwrap();
    assert!(nothing.sticks.is_empty() && nothing.proven);
    // The fewest sticks may cost more than the cheapest.
    let both = [stick(100, 100), stick(200, 250)];
    let pieces = [100, 100];
    let cheapest = cut(&pieces, bought(&both, 0), Aim::Cheapest).unwrap();
    let fewest = cut(&pieces, bought(&both, 0), Aim::Fewest).unwrap();
    assert_eq!((cheapest.sticks.len(), cheapest.total.minor()), (2, 200));
    assert_eq!((fewest.sticks.len(), fewest.total.minor()), (1, 250));
    assert_eq!(cheapest.at_least, 200);
    assert_eq!(fewest.at_least, 1);
    // The largest amount that is read, and the most pieces.
    let dear = [stick(1000, 10_000_000_000), stick(900, 9_999_999_999)];
    for aim in [Aim::Cheapest, Aim::Fewest] {
        let list = cut(&[450; MOST_PIECES], bought(&dear, 0), aim).unwrap();
        assert_eq!(list.sticks.len(), MOST_PIECES / 2);
    }
}

#[test]
fn off_cuts_count_as_the_pieces_they_are() {
    let sold = [stick(96, 900)];
    let with = |off_cuts: &[i64], pieces: &[i64]| {
        let stock = Stock {
            sticks: &sold,
            off_cuts,
            saw_loss: 0,
        };
        let list = cut(pieces, stock, Aim::Cheapest).unwrap();
        let cut = list.sticks.iter();
        let cut = cut.map(|cut| (cut.stick.length, cut.off_cut, cut.left));
        (list.total.minor(), cut.collect::<Vec<_>>())
    };
    // Three off-cuts of 3 ft are 9 ft, but no piece of 4 ft is among them.
    let none = (900, vec![(96, false, 48)]);
    assert_eq!(with(&[36, 36, 36], &[48]), none);
    assert_eq!(with(&[36, 36, 36], &[30]), (0, vec![(36, true, 6)]));
    // Each is there once; the shorter one that will do is taken, since it leaves the longer one whole.
    let both = [(50, true, 0), (40, true, 4)];
    assert_eq!(with(&[40, 50], &[50, 36]), (0, both.to_vec()));
    let more = with(&[40, 50], &[50, 36, 36]);
    assert_eq!(more.0, 900);
    // Many pieces: what is there is used up first.
    let (total, sticks) = with(&[96; 10], &[32; 33]);
    assert_eq!((total, sticks.len()), (900, 11));
}

/// Returns the lowest cost by trying every place for every piece.
fn lowest(pieces: &[i64], stock: Stock<'_>, rooms: &mut Vec<i64>, each: i64) -> i64 {
    let Some((piece, rest)) = pieces.split_first() else {
        return 0;
    };
    let piece = piece + stock.saw_loss;
    let mut best = i64::MAX / 4;
    for at in 0..rooms.len() {
        if rooms[at] >= piece {
            rooms[at] -= piece;
            best = best.min(lowest(rest, stock, rooms, each));
            rooms[at] += piece;
        }
    }
    for stick in stock.sticks {
        let room = stick.length + stock.saw_loss;
        if room >= piece {
            rooms.push(room - piece);
            best = best.min(each + stick.price.minor() + lowest(rest, stock, rooms, each));
            rooms.pop();
        }
    }
    best
}

/// Pieces, sticks, off-cuts and saw loss that can be cut, and which aim is tried.
fn cases() -> impl Strategy<Value = (Vec<i64>, Vec<Stick>, Vec<i64>, i64, Aim)> {
    let sticks = proptest::collection::vec((20_i64..80, 0_i64..60), 1..5);
    let pieces = proptest::collection::vec(1_i64..80, 0..7);
    let off_cuts = proptest::collection::vec(5_i64..60, 0..3);
    let fitting = (pieces, sticks, off_cuts, 0_i64..3, proptest::bool::ANY);
    fitting.prop_map(|(mut pieces, sticks, off_cuts, saw, fewest)| {
        let sticks = sticks
            .into_iter()
            .map(|(length, price)| stick(length, price));
        let sticks: Vec<Stick> = sticks.collect();
        let longest = sticks.iter().map(|stick| stick.length).max().unwrap_or(0);
        pieces.retain(|piece| *piece <= longest);
        let aim = if fewest { Aim::Fewest } else { Aim::Cheapest };
        (pieces, sticks, off_cuts, saw, aim)
    })
}

/// Checks that a list holds just the pieces, in sticks that are long enough and, if they are off-cuts, there.
fn check(list: &CuttingList, pieces: &[i64], stock: Stock<'_>) {
    let each = list.sticks.iter().flat_map(|stick| stick.pieces.clone());
    let (mut cut, mut wanted): (Vec<i64>, Vec<i64>) = (each.collect(), pieces.to_vec());
    cut.sort_unstable();
    wanted.sort_unstable();
    assert_eq!(cut, wanted);
    let mut there = stock.off_cuts.to_vec();
    for cut in &list.sticks {
        let pieces = cut.pieces.iter().map(|piece| piece + stock.saw_loss);
        let used: i64 = pieces.sum();
        assert!(used <= cut.stick.length + stock.saw_loss);
        assert_eq!(cut.left, (cut.stick.length - used).max(0));
        if cut.off_cut {
            let place = there.iter().position(|there| *there == cut.stick.length);
            there.swap_remove(place.expect("an off-cut is used once"));
        }
    }
    let prices = list.sticks.iter().map(|cut| cut.stick.price);
    assert_eq!(list.total, prices.sum());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn no_cutting_list_is_better((pieces, sticks, off_cuts, saw_loss, aim) in cases()) {
        let stock = Stock { sticks: &sticks, off_cuts: &off_cuts, saw_loss };
        let list = cut(&pieces, stock, aim).unwrap();
        check(&list, &pieces, stock);
        prop_assert!(list.proven);
        let each = if aim == Aim::Fewest { 1_000_000 } else { 0 };
        let sold = list.sticks.iter().filter(|cut| !cut.off_cut).count() as i64;
        let cost = each * sold + list.total.minor();
        let mut rooms: Vec<i64> = off_cuts.iter().map(|length| length + saw_loss).collect();
        prop_assert_eq!(cost, lowest(&pieces, stock, &mut rooms, each));
        let of_list = if aim == Aim::Fewest { sold } else { list.total.minor() };
        prop_assert!(list.at_least <= of_list);
    }
}

#[test]
fn a_good_list_is_hardly_dearer_than_the_best() {
    // Some of them: `cargo bench --bench pricing` cuts them all.
    for line in LISTS.lines().skip(1).step_by(15) {
        let fields: Vec<&str> = line.split(',').collect();
        let number = |text: &str| text.parse::<i64>().expect("a number");
        let sticks = fields[1].split(' ').filter_map(|text| text.split_once(':'));
        let sticks = sticks.map(|(length, price)| stick(number(length), number(price)));
        let sticks: Vec<Stick> = sticks.collect();
        let pieces: Vec<i64> = fields[2].split(' ').map(number).collect();
        let stock = bought(&sticks, number(fields[0]));
        let cheapest = cut(&pieces, stock, Aim::Cheapest).unwrap();
        let fewest = cut(&pieces, stock, Aim::Fewest).unwrap();
        for list in [&cheapest, &fewest] {
            check(list, &pieces, stock);
        }
        assert!(
            cheapest.total.minor() * 100 <= number(fields[3]) * 101,
            "{line}"
        );
        assert_eq!(fewest.sticks.len() as i64, number(fields[4]), "{line}");
        assert!(
            fewest.total.minor() * 100 <= number(fields[5]) * 101,
            "{line}"
        );
    }
}
