//! Draws against values that `tests/vectors/simulate.py` works out otherwise.

use rust_decimal_macros::dec;

use super::draws::{MeanLeft, mean};
use super::*;
use crate::trade::buying::whole_sets;
use crate::trade::quote::Cause;
use crate::trade::rates::float;

const DRAWS: usize = 200_000;
const LEVELS: [(&str, Decimal); 4] = [
    ("p0.1", dec!(0.1)),
    ("p0.5", dec!(0.5)),
    ("p0.8", dec!(0.8)),
    ("p0.9", dec!(0.9)),
];

/// Returns a value that `tests/vectors/simulate.py` worked out with scipy and mpmath.
fn vector(case: &str, what: &str) -> f64 {
    let text = include_str!("../../../tests/vectors/simulate.csv");
    let line = text
        .lines()
        .find_map(|line| line.strip_prefix(&format!("{case},{what},")));
    line.unwrap().parse().unwrap()
}

/// A quantity of that mean whose variance over mean is `dispersion`, and nothing of it shared.
fn spread(mean: f64, dispersion: f64) -> Spread {
    Spread {
        tree: 0,
        step: 0,
        cell: 0,
        slope: mean,
        fixed: 0.0,
        known: [0.0; 3],
        job: 0.0,
        room: 0.0,
        dispersion,
        shares: vec![1.0],
    }
}

fn of(operation: usize) -> Use {
    Use {
        operation,
        machine: None,
    }
}

fn quantity(spread: Spread, stream: u64) -> Quantity {
    Quantity {
        spread,
        stream: 1 << 60 | stream,
        room: None,
        contingency: None,
        item: None,
        unit_cost: dec!(1000),
        uses: vec![of(0)],
    }
}

fn model(quantities: Vec<Quantity>) -> Model {
    Model {
        quantities,
        operations: 1,
        ..Model::default()
    }
}

#[track_caller]
fn near(found: f64, expected: f64, within: f64, what: &str) {
    assert!(
        (found - expected).abs() <= within * expected.abs() + 1e-9,
        "{what}: {found}, not {expected}"
    );
}

/// Compares costs of 1,000 a unit with the vectors of a case.
fn compare(case: &str, model: &Model) {
    let draws = model.draw(DRAWS, 7).unwrap();
    let costs: Vec<f64> = draws.costs.iter().map(|cost| cost / 1000.0).collect();
    near(
        mean(&costs),
        vector(case, "mean"),
        0.004,
        &format!("{case}, mean"),
    );
    for (what, level) in LEVELS {
        let found = float(Decimal::from(draws.cost_at(level).minor())) / 1000.0;
        near(found, vector(case, what), 0.008, &format!("{case}, {what}"));
    }
    if case != "same grain" {
        let middle = mean(&costs);
        let squares: f64 = costs.iter().map(|cost| (cost - middle).powi(2)).sum();
        let variance = squares / DRAWS as f64;
        near(
            variance,
            vector(case, "variance"),
            0.02,
            &format!("{case}, variance"),
        );
    }
}

#[test]
fn sums_of_independent_gammas() {
    let parts = [(2.4, 0.3), (6.37, 0.6), (0.9, 0.05)];
    let quantities = (1..)
        .zip(parts)
        .map(|(at, (mean, dispersion))| quantity(spread(mean, dispersion), at));
    compare("gammas", &model(quantities.collect()));
    let parts = [1.0, 0.3, 4.5, 0.2];
    let quantities = (1..)
        .zip(parts)
        .map(|(at, mean)| quantity(spread(mean, 0.4), at));
    compare("same grain", &model(quantities.collect()));
}

#[test]
fn rates_are_shared_by_all_rooms() {
    let shared = |mean| Spread {
        known: [0.02, 0.015, 0.03],
        job: 0.0169,
        ..spread(mean, 0.0)
    };
    let quantities = [2.0, 3.0, 4.0].map(|mean| quantity(shared(mean), mean as u64));
    compare("shared", &model(quantities.to_vec()));
}

#[test]
fn what_may_turn_up() {
    let may = |chance, (low, high), spread| Model {
        contingencies: vec![Contingency {
            chance,
            low,
            high,
            stream: 5 << 50,
        }],
        ..model(vec![Quantity {
            contingency: Some(0),
            ..quantity(spread, 1)
        }])
    };
    compare(
        "may turn up",
        &may(dec!(0.4), (dec!(12), dec!(12)), spread(3.0, 0.5)),
    );
    compare(
        "extent",
        &may(dec!(1), (dec!(8), dec!(16)), spread(12.0, 0.0)),
    );
}

#[test]
fn rentals_are_paid_in_steps() {
    let dollars = [0, 62, 80, 142, 160, 222, 240, 302, 320, 382, 400];
    let totals = dollars.map(|dollars| Money::from_minor(dollars * 100));
    let model = Model {
        machines: vec![MachineModel {
            totals: totals.to_vec(),
            day_hours: dec!(8),
        }],
        ..model(vec![Quantity {
            uses: vec![Use {
                machine: Some(0),
                ..of(0)
            }],
            ..quantity(spread(9.0, 0.4), 1)
        }])
    };
    let draws = model.draw(DRAWS, 7).unwrap();
    let MeanRental { cost, days, chance } = draws.rental(0);
    assert_eq!(chance, dec!(1), "no draw has no hours");
    near(
        cost.minor() as f64,
        vector("rental", "mean cost"),
        0.004,
        "cost",
    );
    near(float(days), vector("rental", "mean days"), 0.004, "days");
    let hours = float(draws.machine_hours_at(0, dec!(0.8)));
    near(hours, vector("rental", "p0.8"), 0.008, "hours");
}

fn item(opened: Option<Vec<PackSize>>) -> ItemModel {
    ItemModel {
        opened,
        unit_cost: dec!(11800),
    }
}

#[test]
fn cans_that_do_not_keep_are_paid_for_whole() {
    let can = |size, dollars: i64| PackSize {
        size,
        price: Money::from_minor(dollars * 100),
    };
    let packs = vec![can(dec!(1), 118), can(dec!(2.5), 280)];
    let model = |opened| Model {
        items: vec![item(opened)],
        ..model(vec![Quantity {
            item: Some(0),
            ..quantity(spread(0.6, 0.05), 1)
        }])
    };
    let draws = model(Some(packs)).draw(DRAWS, 7).unwrap();
    let MeanLeft { cost, units: left } = draws.left(0);
    near(
        cost.minor() as f64,
        vector("opened", "mean cost"),
        0.004,
        "opened",
    );
    assert!(left > dec!(0.4) && left < dec!(0.5), "{left}");
    // One that keeps costs what is used.
    let kept = model(None).draw(DRAWS, 7).unwrap();
    assert_eq!(kept.left(0).cost, Money::ZERO);
    let none = model(Some(vec![])).draw(10, 7).unwrap_err();
    assert_eq!(
        (none.item, none.source.to_string().as_str()),
        (0, "no pack of it is known")
    );
}

#[test]
fn sets_and_packs_are_as_negative_binomial_ones() {
    let rate = Spread {
        known: [0.0, 0.0, 1.0 / 51.0],
        ..spread(vector("discs", "mean"), 1.0)
    };
    let model = Model {
        items: vec![item(None)],
        ..model(vec![Quantity {
            item: Some(0),
            ..quantity(rate, 1)
        }])
    };
    let draws = model.draw(DRAWS, 7).unwrap();
    // What is bought for is above the median; in the lower tail the two differ by a disc.
    for (what, level) in LEVELS.into_iter().skip(1) {
        let discs = whole_sets(draws.item_at(0, level), 1);
        assert_eq!(float(discs), vector("discs", what), "{what}");
        let packs = float((discs / dec!(5)).ceil());
        assert_eq!(
            packs,
            vector("discs", &what.replace('p', "packs")),
            "{what}"
        );
    }
}

#[test]
fn the_same_seed_gives_the_same_figures_and_rooms_keep_their_luck() {
    let parts = |count: u64| {
        (1..=count)
            .map(|at| quantity(spread(at as f64, 0.3), at))
            .collect()
    };
    let all = |draws: Draws| {
        draws
            .costs
            .iter()
            .map(|cost| cost.to_bits())
            .collect::<Vec<_>>()
    };
    let once = model(parts(3)).draw(1000, 7).unwrap();
    let again = model(parts(3)).draw(1000, 7).unwrap();
    let other = model(parts(3)).draw(1000, 8).unwrap();
    assert_eq!(all(once), all(again));
    assert_ne!(all(model(parts(3)).draw(1000, 7).unwrap()), all(other));
}

#[test]
fn shares_of_the_variance_sum_to_one() {
    let mut two = model(vec![
        quantity(spread(4.0, 0.5), 1),
        quantity(spread(1.0, 0.1), 2),
    ]);
    two.operations = 2;
    two.quantities[1].uses = vec![of(1)];
    let shares = two.draw(DRAWS, 7).unwrap().shares;
    let shares: Vec<f64> = shares.all().copied().collect();
    // Independent parts: variances 2 and 0.1.
    near(shares[0], 2.0 / 2.1, 0.01, "first");
    near(shares.iter().sum(), 1.0, 1e-9, "all");
    assert_eq!(two.causes(), [Cause::Room, Cause::Room]);
}
