use proptest::prelude::*;

use super::worths::Worths;
use super::*;

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
    let nothing = cut(&[], &six_feet, 1, Aim::Cheapest).unwrap();
    assert!(nothing.sticks.is_empty() && nothing.proven);
    // The fewest sticks may cost more than the cheapest.
    let both = [stick(100, 100), stick(200, 250)];
    let pieces = [100, 100];
    let cheapest = cut(&pieces, &both, 0, Aim::Cheapest).unwrap();
    let fewest = cut(&pieces, &both, 0, Aim::Fewest).unwrap();
    assert_eq!((cheapest.sticks.len(), cheapest.total.minor()), (2, 200));
    assert_eq!((fewest.sticks.len(), fewest.total.minor()), (1, 250));
    // The largest amount that is read, and the most pieces.
    let dear = [stick(1000, 10_000_000_000), stick(900, 9_999_999_999)];
    for aim in [Aim::Cheapest, Aim::Fewest] {
        let list = cut(&[450; MOST_PIECES], &dear, 0, aim).unwrap();
        assert_eq!((list.sticks.len(), list.proven), (MOST_PIECES / 2, true));
    }
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

/// Pieces, sticks and saw loss that can be cut, and which aim is tried.
fn cases() -> impl Strategy<Value = (Vec<i64>, Vec<Stick>, i64, Aim)> {
    let sticks = proptest::collection::vec((20_i64..80, 0_i64..60), 1..5);
    let pieces = proptest::collection::vec(1_i64..80, 0..7);
    let fitting = (pieces, sticks, 0_i64..3, proptest::bool::ANY);
    fitting.prop_map(|(mut pieces, sticks, saw, fewest)| {
        let sticks: Vec<Stick> = sticks
            .into_iter()
            .map(|(length, price)| stick(length, price))
            .collect();
        let longest = sticks.iter().map(|stick| stick.length).max().unwrap_or(0);
        pieces.retain(|piece| *piece <= longest);
        let aim = if fewest { Aim::Fewest } else { Aim::Cheapest };
        (pieces, sticks, saw, aim)
    })
}

/// Returns what a list costs, and what the best costs, if a stick counts for more than any price by the aim.
fn compare(list: &CuttingList, pieces: &[i64], sticks: &[Stick], saw: i64, aim: Aim) -> (i64, i64) {
    let each = if aim == Aim::Fewest { 1_000_000 } else { 0 };
    let cost = each * list.sticks.len() as i64 + list.total.minor();
    (cost, lowest(pieces, sticks, saw, &mut Vec::new(), each))
}

/// Checks that a list holds just the pieces, in sticks that are long enough.
fn check(list: &CuttingList, pieces: &[i64], saw: i64) {
    let each = list.sticks.iter().flat_map(|stick| stick.pieces.clone());
    let (mut cut, mut wanted): (Vec<i64>, Vec<i64>) = (each.collect(), pieces.to_vec());
    cut.sort_unstable();
    wanted.sort_unstable();
    assert_eq!(cut, wanted);
    for stick in &list.sticks {
        let used: i64 = stick.pieces.iter().map(|piece| piece + saw).sum();
        assert!(used <= stick.stick.length + saw);
        assert_eq!(stick.left, (stick.stick.length - used).max(0));
    }
    let prices = list.sticks.iter().map(|stick| stick.stick.price);
    assert_eq!(list.total, prices.sum());
}

/// Returns how many sticks of each length a plan takes.
fn bought(problem: &Problem, plan: &[(usize, Vec<u32>)]) -> Vec<i64> {
    let taken = |stick| plan.iter().filter(|(taken, _)| *taken == stick).count() as i64;
    (0..problem.sticks.len()).map(taken).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4_000))]

    #[test]
    fn no_cutting_list_is_better((pieces, sticks, saw, aim) in cases()) {
        let list = cut(&pieces, &sticks, saw, aim).unwrap();
        check(&list, &pieces, saw);
        prop_assert!(list.proven);
        let (cost, best) = compare(&list, &pieces, &sticks, saw, aim);
        prop_assert_eq!(cost, best);
    }

    #[test]
    fn no_measure_rules_out_the_best((pieces, sticks, saw, aim) in cases(), worths in proptest::collection::vec(0.0_f64..90.0, 11)) {
        let problem = Problem::new(&pieces, &sticks, saw, aim);
        let (best, _) = problem.solve();
        let (cost, bought) = (problem.cost(&best), bought(&problem, &best));
        // Whatever the worths are.
        let (of_pieces, of_sticks) = worths.split_at(problem.lengths.len());
        let worths = Worths {
            pieces: of_pieces.to_vec(),
            sticks: of_sticks[..problem.sticks.len()].to_vec(),
        };
        let measure = Measure::new(&problem, &worths);
        prop_assert!(measure.spare(&problem, &problem.counts, &bought) >= 0);
        // The cheapest purchase that is left is a bound.
        let mut purchases = Purchases::new(&problem);
        let mut program = Program::new(&problem);
        while let Some(purchase) = purchases.next(cost + 1) {
            prop_assert!(purchase.0 <= cost);
            let Some(worths) = program.against(&problem.counts, &purchase.1) else {
                break;
            };
            purchases.measures.push(Measure::new(&problem, &worths));
            for measure in &purchases.measures {
                prop_assert!(measure.spare(&problem, &problem.counts, &bought) >= 0);
            }
            if purchases.next(cost + 1).as_ref() == Some(&purchase) {
                break;
            }
        }
        prop_assert!(purchases.next(cost + 1).is_some());
    }

    #[test]
    fn a_search_that_is_cut_short_says_so((pieces, sticks, saw, aim) in cases(), work in 0_u64..3_000) {
        let mut problem = Problem::new(&pieces, &sticks, saw, aim);
        problem.work = Work::new(work);
        let (plan, proven) = problem.solve();
        let list = problem.list(plan, proven);
        check(&list, &pieces, saw);
        let (cost, best) = compare(&list, &pieces, &sticks, saw, aim);
        prop_assert!(cost == best || cost > best && !list.proven);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn pieces_of_whole_sticks_cost_no_more_than_they(
        sticks in proptest::collection::vec((0_usize..3, proptest::collection::vec(1_i64..60, 1..6)), 1..8),
    ) {
        // Each stick is divided by weight, to the millimetre.
        let lengths = [(2438, 960), (3658, 1480), (4877, 2050)];
        let mut pieces = Vec::new();
        let mut planted = 0;
        for (taken, weights) in &sticks {
            let (length, price) = lengths[*taken];
            let together: i64 = weights.iter().sum();
            let mut cut: Vec<i64> = weights.iter().map(|weight| weight * length / together).collect();
            cut[0] += length - cut.iter().sum::<i64>();
            pieces.extend(cut);
            planted += price;
        }
        let offered = lengths.map(|(length, price)| stick(length, price));
        for aim in [Aim::Cheapest, Aim::Fewest] {
            let list = cut(&pieces, &offered, 0, aim).unwrap();
            check(&list, &pieces, 0);
            match (list.proven, aim) {
                (true, Aim::Cheapest) => prop_assert!(list.total.minor() <= planted),
                (true, Aim::Fewest) => prop_assert!(list.sticks.len() <= sticks.len()),
                _ => {}
            }
        }
    }
}
