//! The model against its worked example, a published one, a dense solve, and what must always hold.

use proptest::prelude::*;

use chrono::NaiveDate;

use super::merging::Merging;
use super::passes::{LEAST_MULTIPLIER, References, weigh};
use super::*;
use crate::trade::rates::predictive::{Moments, Row, Support, at_least, at_most, quantile, total};
use crate::trade::rates::scheme::Consumption;

// The worked example that came with the model when it was studied (numpy 2.4, scipy 1.17, nine decimals): eight records of three jobs,
// two steps of one family, three classes of floor each, three discs a set.
const RECORDS: [(usize, usize, f64, f64, i32); 8] = [
    (1, 0, 180.0, 12.0, 548),
    (1, 0, 96.0, 6.0, 548),
    (1, 3, 180.0, 9.0, 548),
    (2, 1, 240.0, 12.0, 329),
    (2, 1, 60.0, 3.0, 329),
    (2, 4, 240.0, 6.0, 329),
    (3, 0, 150.0, 15.0, 73),
    (3, 2, 42.0, 6.0, 73),
];
const STEP_OF: [usize; 6] = [0, 0, 0, 1, 1, 1];
const SET: f64 = 3.0;

fn slope(cell: usize, area: f64) -> f64 {
    let harder = [1.3, 1.0, 1.7][cell % 3];
    let goes = [25.0, 40.0][cell / 3];
    harder / goes / SET * area
}

fn part(cell: usize, area: f64) -> BookPart {
    BookPart {
        family: 0,
        slope: slope(cell, area),
        passes: 1.0,
    }
}

/// Returns evidence of records of cell, job, day, area and units.
fn evidence(
    step_of: &[usize],
    steps: usize,
    records: impl Iterator<Item = (usize, usize, NaiveDate, BookPart, f64)>,
) -> Evidence<Parts> {
    let mut evidence = Evidence::new(steps, 1);
    for step in step_of {
        evidence.open_cell(*step);
    }
    for (cell, job, day, part, quantity) in records {
        let parts = vec![part];
        evidence.add(cell, job as u32, day, Parts { quantity, parts });
    }
    evidence
}

fn example() -> Evidence<Parts> {
    let records = RECORDS.iter().map(|(job, cell, area, discs, age)| {
        let day = NaiveDate::from_ymd_opt(2025, 7, 1).unwrap() - chrono::Days::new(*age as u64);
        (*cell, *job, day, part(*cell, *area), discs / SET)
    });
    evidence(&STEP_OF, 2, records)
}

fn priors() -> Priors {
    Consumption::Discs.priors()
}

/// Returns the tree of the example with its spreads held at the prior medians, and known.
fn held<'a>(evidence: &'a Evidence<Parts>, fixed: &'a [Option<Prior>]) -> Tree<'a, Parts> {
    let mut tree = Tree::new(evidence, &priors(), fixed, 300.0);
    tree.sd = Hyper {
        fixed: vec![0.0],
        dispersion: vec![0.0],
        room: 0.0,
        job: 0.0,
        class: 0.0,
        step: 0.0,
    };
    tree
}

#[track_caller]
fn close(found: f64, expected: f64) {
    assert!(
        (found - expected).abs() <= 1e-7 * expected.abs() + 1e-9,
        "{found} is not {expected}"
    );
}

#[track_caller]
fn all_close(found: impl IntoIterator<Item = f64>, expected: &[f64]) {
    let found: Vec<f64> = found.into_iter().collect();
    assert_eq!(found.len(), expected.len());
    for (found, expected) in found.iter().zip(expected) {
        close(*found, *expected);
    }
}

#[test]
fn trust_is_the_variance_that_so_much_work_would_leave() {
    for (consumption, trust, expected) in [
        (Consumption::Discs, 300.0, 0.09714),
        (Consumption::Finish, 300.0, 0.009493333),
        (Consumption::Hours, 300.0, 0.035473333),
        (Consumption::Discs, 1000.0, 0.029142),
    ] {
        close(consumption.priors().prior_variance(trust), expected);
    }
}

#[test]
fn the_book_quantity_of_a_record() {
    for (record, sets) in [(0, 3.42), (6, 2.9), (7, 1.252)] {
        let (_, cell, area, ..) = RECORDS[record];
        close(slope(cell, area) + priors().fixed.median, sets);
    }
}

#[test]
fn spreads_that_are_not_known_count_for_more() {
    // A variance is replaced by its posterior mean: 0.12² exp(2 · 0.4²), and the dispersion by 0.3 exp(0.5²/2).
    let evidence = Evidence::new(1, 1);
    let fixed = [Some(priors().fixed)];
    let posterior = Tree::searched(&evidence, &priors(), &fixed, 300.0).into_posterior();
    all_close(
        [posterior.job_variance, posterior.dispersion[0]],
        &[0.01983064, 0.339944536],
    );
    all_close([posterior.root, posterior.root_variance], &[1.0, 0.09714]);
}

#[test]
fn the_upward_pass() {
    let (evidence, fixed) = (example(), [Some(priors().fixed)]);
    let tree = held(&evidence, &fixed);
    let (here, up) = (tree.here(), tree.upward());
    close(here.log_likelihood, -2.573902623);
    // Groups by cell, then job.
    all_close(
        here.groups.iter().flatten().map(|node| node.value),
        &[
            1.111188992,
            1.724137931,
            1.080154515,
            1.597444089,
            1.333333333,
            0.869565217,
        ],
    );
    all_close(
        up.cells
            .iter()
            .map(|node| node.map_or(0.0, |node| node.precision)),
        &[
            19.310787113,
            10.685108411,
            3.616419237,
            5.87429019,
            5.976043859,
            0.0,
        ],
    );
    all_close(
        up.cells
            .iter()
            .map(|node| node.map_or(0.0, |node| node.value)),
        &[
            1.337349744,
            1.080154515,
            1.597444089,
            1.333333333,
            0.869565217,
            0.0,
        ],
    );
    all_close(
        up.steps.iter().flatten().map(|node| node.precision),
        &[23.053038431, 9.941661447],
    );
    all_close(
        up.steps.iter().flatten().map(|node| node.value),
        &[1.285318999, 1.099778846],
    );
    let root = up.root.unwrap();
    all_close([root.precision, root.value], &[26.004206611, 1.223268356]);
}

fn check_downward(
    posterior: &Posterior,
    root: [f64; 3],
    steps: [[f64; 2]; 3],
    cells: [[f64; 6]; 3],
) {
    all_close(
        [
            posterior.book_weight,
            posterior.root,
            posterior.root_variance,
        ],
        &root,
    );
    all_close(
        posterior.steps.iter().map(|step| step.credibility),
        &steps[0],
    );
    all_close(
        posterior.steps.iter().map(|step| step.multiplier),
        &steps[1],
    );
    all_close(posterior.steps.iter().map(|step| step.variance), &steps[2]);
    all_close(
        posterior.cells.iter().map(|cell| cell.credibility),
        &cells[0],
    );
    all_close(
        posterior.cells.iter().map(|cell| cell.multiplier),
        &cells[1],
    );
    all_close(posterior.cells.iter().map(|cell| cell.variance), &cells[2]);
}

#[test]
fn the_downward_pass_and_what_references_do_to_it() {
    let (evidence, fixed) = (example(), [Some(priors().fixed)]);
    let mut tree = held(&evidence, &fixed);
    check_downward(
        &tree.downward(&tree.upward()),
        [0.283603576, 1.159948652, 0.027549251],
        [
            [0.249228819, 0.125231756],
            [1.191194556, 1.152413482],
            [0.010811105, 0.012596663],
        ],
        [
            [
                0.38486882,
                0.257166953,
                0.104882673,
                0.15989472,
                0.162215111,
                0.0,
            ],
            [
                1.24744513,
                1.162638727,
                1.233803092,
                1.181341611,
                1.106531219,
                1.152413482,
            ],
            [
                0.01993025,
                0.024067791,
                0.029001801,
                0.027219411,
                0.02714423,
                0.0324,
            ],
        ],
    );
    tree.refresh(3);
    all_close(tree.references.steps.clone(), &[1.182955795, 1.141149675]);
    close(tree.references.root, 1.147653912);
    close(tree.here().log_likelihood, -3.016689226);
    check_downward(
        &tree.downward(&tree.upward()),
        [0.333902936, 1.147638147, 0.032435331],
        [
            [0.253373297, 0.136123201],
            [1.182968397, 1.141133929],
            [0.014160803, 0.016384613],
        ],
        [
            [
                0.412391871,
                0.279678586,
                0.119180069,
                0.174061382,
                0.17646943,
                0.0,
            ],
            [
                1.24708774,
                1.153910511,
                1.232365639,
                1.174588423,
                1.093210353,
                1.141133929,
            ],
            [
                0.026642185,
                0.032659413,
                0.039936424,
                0.034848012,
                0.034746411,
                0.042192012,
            ],
        ],
    );
}

fn example_posterior() -> Posterior {
    let (evidence, fixed) = (example(), [Some(priors().fixed)]);
    let mut tree = held(&evidence, &fixed);
    tree.refresh(3);
    tree.into_posterior()
}

fn sum(posterior: &Posterior, rooms: &[(usize, f64, usize)]) -> Moments {
    let parts: Vec<[BookPart; 1]> = rooms
        .iter()
        .map(|(cell, area, _)| [part(*cell, *area)])
        .collect();
    let rows: Vec<Row<'_>> = rooms
        .iter()
        .zip(&parts)
        .map(|((cell, _, job), parts)| Row {
            step: STEP_OF[*cell],
            cell: *cell,
            standing: posterior.standing(STEP_OF[*cell], (*cell < 5).then_some(*cell)),
            job: *job,
            parts,
            scale: 1.0,
        })
        .collect();
    total(posterior, &rows)
}

#[test]
fn sums_of_rooms() {
    let posterior = example_posterior();
    let house = [(0, 200.0, 0), (0, 150.0, 0), (1, 100.0, 0), (2, 42.0, 0)];
    let in_two_jobs = [(0, 200.0, 0), (0, 150.0, 0), (1, 100.0, 1), (2, 42.0, 1)];
    for (rooms, mean, variance, discs) in [
        (
            &house[..1],
            4.697363819,
            2.786455226,
            [9.0, 15.0, 18.0, 21.0],
        ),
        (
            &[(5, 120.0, 0)],
            2.282267857,
            1.222026992,
            [3.0, 6.0, 9.0, 12.0],
        ),
        (
            &house[..],
            11.741560546,
            9.057621153,
            [24.0, 33.0, 42.0, 48.0],
        ),
        (
            &in_two_jobs[..],
            11.741560546,
            8.236903586,
            [24.0, 36.0, 42.0, 48.0],
        ),
    ] {
        let moments = sum(&posterior, rooms);
        all_close([moments.mean, moments.variance], &[mean, variance]);
        let levels = [0.1, 0.5, 0.8, 0.9];
        all_close(
            levels.map(|level| SET * quantile(moments, Support::Whole, level)),
            &discs,
        );
    }
    let room = sum(&posterior, &house[..1]);
    all_close(
        [3.0, 4.0, 6.0].map(|sets| at_most(room, Support::Whole, sets)),
        &[0.247704928, 0.498258628, 0.863184554],
    );
}

#[test]
fn the_entry_check_looks_at_both_tails() {
    let room = sum(&example_posterior(), &[(0, 200.0, 0)]);
    for (discs, below, above) in [
        (120.0, 1.0, 0.0),
        (15.0, 0.718467829, 0.501741372),
        (3.0, 0.004429158, 0.999997432),
    ] {
        close(at_most(room, Support::Whole, discs / SET), below);
        close(at_least(room, Support::Whole, discs / SET), above);
    }
}

#[test]
fn rates_are_shown_with_their_band_and_where_they_come_from() {
    let posterior = example_posterior();
    for (cell, goes, band, shares) in [
        (
            0,
            15.420542292,
            [12.805581232, 19.12763945],
            [0.412391871, 0.148884209, 0.292232715, 0.146491205],
        ),
        (
            1,
            21.665458246,
            [17.285461664, 28.41445207],
            [0.279678586, 0.182510211, 0.358234463, 0.17957674],
        ),
        (
            2,
            11.933051273,
            [9.377721938, 16.000147512],
            [0.119180069, 0.22317625, 0.438054525, 0.219589156],
        ),
    ] {
        let standing = posterior.standing(0, Some(cell));
        let per_disc = |multiplier: f64| 1.0 / (SET * slope(cell, 1.0) * multiplier);
        close(per_disc(standing.multiplier), goes);
        all_close(
            [0.9, 0.1].map(|level| per_disc(standing.quantile(level))),
            &band,
        );
        all_close(standing.shares(), &shares);
    }
}

#[test]
fn the_search_finds_the_mode() {
    let (evidence, fixed) = (example(), [Some(priors().fixed)]);
    let mut tree = Tree::new(&evidence, &priors(), &fixed, 300.0);
    for step in [0.6, 0.3] {
        tree.refresh(2);
        tree.search(Round { step, sweeps: 14 });
    }
    tree.refresh(3);
    tree.measure_curvature();
    let in_order = |of: &Hyper| {
        [
            of.fixed[0],
            of.dispersion[0],
            of.room,
            of.job,
            of.class,
            of.step,
        ]
    };
    let mode = [
        0.263976096,
        0.224758956,
        0.138568125,
        0.116340551,
        0.163060818,
        0.11651987,
    ];
    for (found, expected) in in_order(&tree.hyper).into_iter().zip(mode) {
        assert!(
            (found / expected - 1.0).abs() < 1e-7,
            "{found} is not {expected}"
        );
    }
    all_close(
        in_order(&tree.sd),
        &[
            0.61116051,
            0.443244144,
            0.371034603,
            0.385768051,
            0.369500819,
            0.389526996,
        ],
    );
    let penalties = tree.penalties(&tree.parameters());
    close(tree.here().log_likelihood - penalties, -2.779666133);
    let posterior = tree.into_posterior();
    close(posterior.root, 1.169022875);
    all_close(
        posterior.cells.iter().map(|cell| cell.multiplier),
        &[
            1.272094068,
            1.177068331,
            1.26402406,
            1.196035955,
            1.10992932,
            1.16086228,
        ],
    );
}

#[test]
fn hachemeisters_data() {
    // Hachemeister (1975), as solved in the vignette of the R package actuar: credibility of five states, one step, no
    // job effect, no trust in a book.
    let weights = [100155.0, 19895.0, 13735.0, 4152.0, 36110.0];
    let means = [2061.0, 1511.0, 1806.0, 1353.0, 1600.0];
    let (within, between) = (139120026.0, 89639.0);
    let mut merging = Merging::new(means[0]);
    let weighed: Vec<Weighed> = weights
        .iter()
        .zip(means)
        .map(|(weight, mean)| {
            let precision: f64 = weight / within;
            merging.add(1.0 / (between + 1.0 / precision), mean);
            weigh(between, between, precision)
        })
        .collect();
    let collective = merging.node().value;
    assert!((collective - 1683.756).abs() < 0.05, "{collective}");
    for ((Weighed { credibility, .. }, mean), (expected, premium)) in
        weighed.iter().zip(means).zip([
            (0.98474045, 2055.0),
            (0.92763542, 1524.0),
            (0.89847563, 1794.0),
            (0.72790981, 1443.0),
            (0.95879127, 1603.0),
        ])
    {
        assert!((credibility - expected).abs() < 5e-9, "{credibility}");
        let found = credibility * mean + (1.0 - credibility) * collective;
        assert!((found - premium).abs() < 0.5, "{found} is not {premium}");
    }
}

/// Steps of cells, and records of cell, job, area and quantity.
type SmallTree = (Vec<usize>, Vec<(usize, usize, f64, f64)>);

/// A small random tree: step of each cell, and records of cell, job, area and quantity.
fn small_trees() -> impl Strategy<Value = SmallTree> {
    let cells = proptest::collection::vec(0_usize..3, 1..6);
    cells.prop_flat_map(|step_of| {
        let record = (0..step_of.len(), 0_usize..4, 20.0..600.0_f64, 0.0..20.0_f64);
        (Just(step_of), proptest::collection::vec(record, 1..14))
    })
}

fn arrange(step_of: &[usize], records: &[(usize, usize, f64, f64)]) -> (Evidence<Parts>, Vec<f64>) {
    let day = NaiveDate::from_ymd_opt(2025, 7, 1).unwrap();
    let books = records
        .iter()
        .map(|(_, _, area, _)| part(1, *area).slope + 0.3);
    let arranged = records
        .iter()
        .map(|(cell, job, area, quantity)| (*cell, *job, day, part(1, *area), *quantity));
    (evidence(step_of, 3, arranged), books.collect())
}

fn subtract(from: &mut [f64], times: f64, row: &[f64]) {
    for (value, other) in from.iter_mut().zip(row) {
        *value -= times * other;
    }
}

/// Solves A x = b for every column of b by Gauss-Jordan elimination with pivoting.
fn solve(mut a: Vec<Vec<f64>>, mut b: Vec<Vec<f64>>) -> Vec<Vec<f64>> {
    let size = a.len();
    for column in 0..size {
        let pivot = (column..size)
            .max_by(|one, another| a[*one][column].abs().total_cmp(&a[*another][column].abs()))
            .unwrap();
        a.swap(column, pivot);
        b.swap(column, pivot);
        for row in 0..size {
            if row != column {
                let times = a[row][column] / a[column][column];
                let (of_a, of_b) = (a[column].clone(), b[column].clone());
                subtract(&mut a[row], times, &of_a);
                subtract(&mut b[row], times, &of_b);
            }
        }
    }
    for row in 0..size {
        let pivot = a[row][row];
        for value in &mut b[row] {
            *value /= pivot;
        }
    }
    b
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// The tree is exactly a normal distribution over all ratios: its passes give what the dense solve gives.
    #[test]
    fn totals_equal_the_dense_solve((step_of, records) in small_trees(), references in [0.5..2.0_f64, 0.5..2.0, 0.5..2.0, 0.5..2.0]) {
        let fixed = [Some(priors().fixed)];
        let (evidence, books) = arrange(&step_of, &records);
        let mut tree = held(&evidence, &fixed);
        tree.references = References {
            steps: references[..3].to_vec(),
            root: references[3],
        };
        let posterior = tree.downward(&tree.upward());

        // Covariance of multipliers of cells, and of records, as the model's definition says.
        let hyper = &tree.hyper;
        let between = |one: usize, another: usize| {
            let mut covariance = tree.prior_variance;
            if step_of[one] == step_of[another] {
                covariance += (hyper.step * references[3]).powi(2);
            }
            if one == another {
                covariance += (hyper.class * references[step_of[one]]).powi(2);
            }
            covariance
        };
        let of_records: Vec<Vec<f64>> = (0..records.len()).map(|one| (0..records.len()).map(|another| {
            let (cell, job, ..) = records[one];
            let mut covariance = between(cell, records[another].0);
            let reference = references[step_of[cell]];
            if (cell, job) == (records[another].0, records[another].1) {
                covariance += (hyper.job * reference).powi(2);
            }
            if one == another {
                covariance += hyper.dispersion[0] * reference / books[one] + (hyper.room * reference).powi(2);
            }
            covariance
        }).collect()).collect();
        let cells = 0..step_of.len();
        let cross: Vec<Vec<f64>> = records.iter()
            .map(|record| cells.clone().map(|cell| between(record.0, cell)).collect()).collect();
        let gains = solve(of_records, cross.clone());
        let covariance = |one: usize, another: usize| {
            let explained: f64 = (0..records.len())
                .map(|place| gains[place][one] * cross[place][another])
                .sum();
            between(one, another) - explained
        };
        for one in cells.clone() {
            let mean: f64 = 1.0 + records.iter().enumerate()
                .map(|(place, record)| gains[place][one] * (record.3 / books[place] - 1.0)).sum::<f64>();
            let multiplier = posterior.cells[one].multiplier;
            prop_assert!((multiplier - mean.max(LEAST_MULTIPLIER)).abs() < 1e-10 * (1.0 + mean.abs()));
            let variance = posterior.standing(step_of[one], Some(one)).variance();
            prop_assert!((variance - covariance(one, one)).abs() < 1e-10);
        }

        // A total over all cells, in two jobs: what is shared is b' C b; the rest belongs to rooms and jobs.
        let parts: Vec<[BookPart; 1]> = cells.clone().map(|cell| [part(1, 60.0 + 90.0 * cell as f64)]).collect();
        let rows: Vec<Row<'_>> = cells.clone().map(|cell| Row {
            step: step_of[cell],
            cell,
            standing: posterior.standing(step_of[cell], Some(cell)),
            job: cell % 2,
            parts: &parts[cell],
            scale: 1.0,
        }).collect();
        let books: Vec<f64> = parts.iter().map(|[part]| part.slope + hyper.fixed[0]).collect();
        let expected: Vec<f64> = cells.clone().map(|cell| posterior.cells[cell].multiplier * books[cell]).collect();
        let (room, job) = (hyper.room.powi(2), hyper.job.powi(2));
        let mut variance = 0.0;
        for one in cells.clone() {
            let unknown = covariance(one, one) * books[one].powi(2);
            variance += hyper.dispersion[0] * expected[one];
            variance += room * (1.0 + job) * (expected[one].powi(2) + unknown) + job * unknown;
            for another in cells.clone() {
                variance += books[one] * books[another] * covariance(one, another);
                if one % 2 == another % 2 {
                    variance += job * expected[one] * expected[another];
                }
            }
        }
        let found = total(&posterior, &rows);
        let mean: f64 = expected.iter().sum();
        prop_assert!((found.mean - mean).abs() < 1e-10 * (1.0 + mean));
        prop_assert!((found.variance - variance).abs() < 1e-10 * (1.0 + variance), "{} is not {variance}", found.variance);
    }

    /// With spreads and references held, one more record never makes a rate less sure.
    #[test]
    fn one_more_record_never_raises_a_variance((step_of, records) in small_trees()) {
        let fixed = [Some(priors().fixed)];
        let variances = |records: &[(usize, usize, f64, f64)]| -> Vec<f64> {
            let (evidence, _) = arrange(&step_of, records);
            let tree = held(&evidence, &fixed);
            let posterior = tree.downward(&tree.upward());
            (0..step_of.len()).map(|cell| posterior.standing(step_of[cell], Some(cell)).variance()).collect()
        };
        let (before, after) = (variances(&records[1..]), variances(&records));
        for (before, after) in before.iter().zip(after) {
            prop_assert!(after <= before * (1.0 + 1e-12));
        }
    }

    /// For one cell, mean and upper quantiles never fall with area.
    #[test]
    fn more_floor_never_takes_less(area in 1.0..2000.0_f64, more in 0.0..500.0_f64) {
        let posterior = example_posterior();
        let (small, large) = (sum(&posterior, &[(0, area, 0)]), sum(&posterior, &[(0, area + more, 0)]));
        prop_assert!(large.mean >= small.mean);
        for support in [Support::Whole, Support::Measured] {
            for level in [0.5, 0.8, 0.9] {
                prop_assert!(quantile(large, support, level) >= quantile(small, support, level) - 1e-9);
            }
        }
    }

    /// A cell with very much evidence predicts its plain ratio.
    #[test]
    fn much_evidence_tends_to_the_plain_ratio(ratio in 0.3..3.0_f64) {
        let records: Vec<(usize, usize, f64, f64)> = (0..4_000)
            .map(|job| (0, job, 100.0, ratio * (slope(1, 100.0) + 0.3)))
            .collect();
        let fixed = [Some(priors().fixed)];
        let (evidence, _) = arrange(&[0], &records);
        let mut tree = held(&evidence, &fixed);
        tree.refresh(3);
        let multiplier = tree.into_posterior().cells[0].multiplier;
        prop_assert!((multiplier / ratio - 1.0).abs() < 2e-3, "{multiplier} is not {ratio}");
    }
}
