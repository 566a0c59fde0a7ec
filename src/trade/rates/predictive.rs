//! What a sum of rooms will take: mean, variance, quantiles.
//!
//! With B the book quantity of a row, M and V its cell's multiplier and variance, μ = M·B:
//!
//! ```text
//! mean     = Σ μ
//! variance = Σ φ' μ                                              dispersion
//!          + Σ ψ'² (1 + σ_j'²) (M² + V) B²                       rooms differ
//!          + Σ_jobs σ_j'² [(Σ_job μ)² + Σ_job V B²]              the rooms of a job are alike
//!          + Σ_c v_c B_c² + Σ_s v_s G_s² + V_0 (Σ_s (1 − Z_s) G_s)²   the rates are not known: shared by all rows
//!            B_c = Σ B of the cell's rows, G_s = Σ_c (1 − Z_c) B_c
//! ```
//!
//! Quantiles are those of a gamma distribution with that mean and variance. Sets of discs are whole: the same gamma with
//! the variance of rounding taken off (Sheppard's 1/12), then rounded.

use std::collections::BTreeMap;

use cdflib::special::{dinvnr, try_gamma_inc, try_gamma_inc_inv};

use super::tree::{BookPart, Posterior, Weighed};

/// Variance of rounding to whole units (Sheppard's correction).
const ROUNDING: f64 = 1.0 / 12.0;
/// A count that is this close to a whole number is that number.
const WHOLE: f64 = 1e-9;

/// What is known of a cell: enough to predict from, and where that comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Standing {
    /// M_c.
    pub(super) multiplier: f64,
    /// Z_c, v_c.
    pub(super) cell: Weighed,
    /// Z_s, v_s.
    pub(super) step: Weighed,
    /// W_0.
    pub(super) book_weight: f64,
    /// V_0.
    pub(super) root_variance: f64,
}

impl Standing {
    /// Returns V_c, the variance of the multiplier.
    pub(super) fn variance(&self) -> f64 {
        let (cell, step) = (self.cell, self.step);
        cell.variance
            + (1.0 - cell.credibility).powi(2)
                * (step.variance + (1.0 - step.credibility).powi(2) * self.root_variance)
    }

    /// Returns the weights of own rooms like this, other rooms of the step, all work, and the book; they sum to 1.
    pub(super) fn shares(&self) -> [f64; 4] {
        let (cell, step, book) = (
            self.cell.credibility,
            self.step.credibility,
            self.book_weight,
        );
        let (above, beyond) = (1.0 - cell, (1.0 - cell) * (1.0 - step));
        [cell, above * step, beyond * (1.0 - book), beyond * book]
    }

    /// Returns the quantile of the multiplier.
    pub(super) fn quantile(&self, level: f64) -> f64 {
        let moments = Moments {
            mean: self.multiplier,
            variance: self.variance(),
        };
        gamma_quantile(moments, level)
    }
}

impl Posterior {
    /// Returns what is known of a cell; `None`: a cell without records, which has its step's multiplier.
    pub(super) fn standing(&self, step: usize, cell: Option<usize>) -> Standing {
        let of_step = self.steps[step];
        let cell = cell.map(|cell| self.cells[cell]);
        Standing {
            multiplier: cell.map_or(of_step.multiplier, |cell| cell.multiplier),
            cell: Weighed {
                credibility: cell.map_or(0.0, |cell| cell.credibility),
                variance: cell.map_or(self.class_variance * of_step.reference.powi(2), |cell| {
                    cell.variance
                }),
            },
            step: Weighed {
                credibility: of_step.credibility,
                variance: of_step.variance,
            },
            book_weight: self.book_weight,
            root_variance: self.root_variance,
        }
    }
}

/// One row of a sum: a room, or a record over several.
#[derive(Clone, Debug)]
pub(super) struct Row<'a> {
    pub(super) step: usize,
    /// What tells cells apart: the same for rows of one cell only.
    pub(super) cell: usize,
    pub(super) standing: Standing,
    pub(super) job: usize,
    pub(super) parts: &'a [BookPart],
    /// Items a unit: the discs of a set, where sums go over sets of several sizes; else 1.
    pub(super) scale: f64,
}

/// Mean and variance of a quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moments {
    pub(super) mean: f64,
    pub(super) variance: f64,
}

/// What the rows of one job add up to.
#[derive(Clone, Copy, Debug, Default)]
struct OfJob {
    /// Σ μ.
    expected: f64,
    /// Σ V B².
    unknown: f64,
}

/// What the rows of one cell, or the cells of one step, add up to.
#[derive(Clone, Copy, Debug)]
struct Shared {
    /// B_c of a cell, G_s of a step.
    book: f64,
    step: usize,
    standing: Standing,
}

/// Returns mean and variance of a sum of rows.
pub(super) fn total(posterior: &Posterior, rows: &[Row<'_>]) -> Moments {
    let (mut mean, mut variance) = (0.0, 0.0);
    let mut jobs: BTreeMap<usize, OfJob> = BTreeMap::new();
    let mut cells: BTreeMap<usize, Shared> = BTreeMap::new();
    let rooms = posterior.room_variance * (1.0 + posterior.job_variance);
    for row in rows {
        let Standing { multiplier, .. } = row.standing;
        let (mut book, mut dispersion) = (0.0, 0.0);
        for part in row.parts {
            let units = row.scale * (part.slope + posterior.hyper.fixed[part.family] * part.passes);
            book += units;
            dispersion += row.scale * posterior.dispersion[part.family] * units;
        }
        let expected = multiplier * book;
        let unknown = row.standing.variance() * book.powi(2);
        mean += expected;
        variance += multiplier * dispersion + rooms * (expected.powi(2) + unknown);
        let job = jobs.entry(row.job).or_default();
        job.expected += expected;
        job.unknown += unknown;
        let cell = cells.entry(row.cell).or_insert(Shared {
            book: 0.0,
            step: row.step,
            standing: row.standing,
        });
        cell.book += book;
    }
    for OfJob { expected, unknown } in jobs.values() {
        variance += posterior.job_variance * (expected.powi(2) + unknown);
    }
    let mut steps: BTreeMap<usize, Shared> = BTreeMap::new();
    for cell in cells.values() {
        let Weighed {
            credibility,
            variance: of_cell,
        } = cell.standing.cell;
        variance += of_cell * cell.book.powi(2);
        let step = steps
            .entry(cell.step)
            .or_insert(Shared { book: 0.0, ..*cell });
        step.book += (1.0 - credibility) * cell.book;
    }
    let mut root = 0.0;
    for Shared { book, standing, .. } in steps.values() {
        variance += standing.step.variance * book.powi(2);
        root += (1.0 - standing.step.credibility) * book;
    }
    Moments {
        mean,
        variance: variance + posterior.root_variance * root.powi(2),
    }
}

/// What values a predicted quantity may have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Support {
    /// In whole units.
    Whole,
    /// In any amount.
    Measured,
    /// In whole items of sets of several sizes: any amount, rounded.
    Mixed,
}

/// Returns the quantile of a predicted quantity, in units.
pub(super) fn quantile(predicted: Moments, support: Support, level: f64) -> f64 {
    match support {
        Support::Measured => gamma_quantile(predicted, level),
        Support::Mixed => rounded(gamma_quantile(predicted, level)),
        Support::Whole => rounded(gamma_quantile(predicted.unrounded(), level)),
    }
}

/// Returns the chance that a predicted quantity is at most that large.
pub(super) fn at_most(predicted: Moments, support: Support, quantity: f64) -> f64 {
    let border = (quantity + WHOLE).floor() + 0.5;
    match support {
        Support::Measured => gamma_below(predicted, quantity),
        Support::Mixed | Support::Whole if quantity < -WHOLE => 0.0,
        Support::Mixed => gamma_below(predicted, border),
        Support::Whole => gamma_below(predicted.unrounded(), border),
    }
}

/// Returns the chance that a predicted quantity is at least that large.
pub(super) fn at_least(predicted: Moments, support: Support, quantity: f64) -> f64 {
    match support {
        Support::Measured => 1.0 - at_most(predicted, support, quantity),
        Support::Mixed | Support::Whole if quantity < 1.0 => 1.0,
        Support::Mixed | Support::Whole => 1.0 - at_most(predicted, support, quantity - 1.0),
    }
}

impl Moments {
    /// Returns those of the quantity before it was rounded to whole units.
    fn unrounded(self) -> Moments {
        Moments {
            variance: (self.variance - ROUNDING).max(0.02 * self.mean + 0.01),
            ..self
        }
    }
}

fn rounded(quantile: f64) -> f64 {
    (quantile - 0.5 - 1e-12).ceil().max(0.0)
}

/// Returns the quantile of the gamma distribution with that mean and variance.
pub(super) fn gamma_quantile(Moments { mean, variance }: Moments, level: f64) -> f64 {
    if mean <= 0.0 {
        return 0.0;
    }
    let (shape, scale) = (mean.powi(2) / variance, variance / mean);
    scale * standard_quantile(shape, level)
}

/// Returns P⁻¹(k, p), the inverse of the regularised lower incomplete gamma function.
fn standard_quantile(shape: f64, level: f64) -> f64 {
    match try_gamma_inc_inv(shape, -1.0, level, 1.0 - level) {
        Ok((quantile, _)) if quantile.is_finite() => quantile,
        // Wilson and Hilferty (1931): as good as exact for the large shapes that the library gives up on.
        _ => {
            let ninth = 1.0 / (9.0 * shape);
            shape * (1.0 - ninth + dinvnr(level, 1.0 - level) * ninth.sqrt()).powi(3)
        }
    }
}

/// Returns the distribution function of the gamma distribution with that mean and variance.
fn gamma_below(Moments { mean, variance }: Moments, quantity: f64) -> f64 {
    if quantity <= 0.0 || mean <= 0.0 {
        return if mean <= 0.0 { 1.0 } else { 0.0 };
    }
    let (shape, scale) = (mean.powi(2) / variance, variance / mean);
    match try_gamma_inc(shape, quantity / scale) {
        Ok((below, _)) => below,
        Err(_) => f64::from(u8::from(quantity >= mean)), // The shape is so large that all the mass is at the mean.
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Checks a value to 1e-7, relatively, or to the nine decimals that are printed.
    fn close(found: f64, expected: f64) {
        assert!(
            (found - expected).abs() <= 1e-7 * expected.abs() + 1e-9,
            "{found} is not {expected}"
        );
    }

    #[test]
    fn the_incomplete_gamma_function_and_its_inverse() {
        // scipy.special.gammainc and gammaincinv 1.17, printed to nine decimals.
        for (shape, at, below) in [
            (0.5, 0.25, 0.520499878),
            (2.5, 1.0, 0.150854964),
            (10.0, 12.0, 0.757607838),
            (100.0, 90.0, 0.158220989),
        ] {
            let moments = Moments {
                mean: shape,
                variance: shape,
            };
            close(gamma_below(moments, at), below);
        }
        for (shape, level, at) in [
            (0.5, 0.1, 0.007895387),
            (2.5, 0.5, 2.175730096),
            (10.0, 0.8, 12.51875282),
            (100.0, 0.9, 113.01052386),
        ] {
            close(standard_quantile(shape, level), at);
        }
    }

    #[test]
    fn quantiles_of_measured_quantities() {
        // scipy.stats.gamma.ppf 1.17 for mean and variance, printed to nine decimals.
        let levels = [0.1, 0.5, 0.8, 0.9];
        for ((mean, variance), expected) in [
            (
                (0.52, 0.0049),
                [0.432550259, 0.51686237, 0.57781265, 0.611483637],
            ),
            (
                (3.2, 0.61),
                [2.248712676, 3.136687543, 3.832071948, 4.232817289],
            ),
        ] {
            for (level, expected) in levels.into_iter().zip(expected) {
                let moments = Moments { mean, variance };
                close(quantile(moments, Support::Measured, level), expected);
            }
        }
    }

    #[test]
    fn a_huge_shape_is_answered() {
        for level in [0.001, 0.1, 0.5, 0.9, 0.999] {
            for shape in [1e3, 1e7, 1e12, 1e18] {
                let found = standard_quantile(shape, level);
                assert!(
                    (found / shape - 1.0).abs() < 4.0 / shape.sqrt(),
                    "{shape} {level}: {found}"
                );
            }
        }
    }

    /// Gaver and O'Muircheartaigh (1987), table 1: failures of ten pumps, and thousands of hours they ran.
    const PUMPS: [(f64, f64); 10] = [
        (5.0, 94.32),
        (1.0, 15.72),
        (5.0, 62.88),
        (14.0, 125.76),
        (3.0, 5.24),
        (19.0, 31.44),
        (1.0, 1.048),
        (1.0, 1.048),
        (4.0, 2.096),
        (22.0, 10.48),
    ];

    /// Returns the marginal log likelihood of gamma-Poisson counts.
    fn pumps_log_likelihood(shape: f64, rate: f64) -> f64 {
        use cdflib::special::gamma_log;
        PUMPS
            .iter()
            .map(|(failures, hours)| {
                gamma_log(shape + failures) - gamma_log(shape) - gamma_log(failures + 1.0)
                    + shape * libm::log(rate / (rate + hours))
                    + failures * libm::log(hours / (rate + hours))
            })
            .sum()
    }

    #[test]
    fn pump_failures() {
        // Gamma-Poisson by marginal maximum likelihood, in 40 digits (mpmath).
        let (shape, rate) = (0.822268649688646, 1.25895444337072);
        for ((shape, rate), expected) in [
            ((shape, rate), -32.2630670449524),
            ((1.0, 1.0), -33.0163425412182),
            ((0.8, 1.2), -32.2659945938977),
        ] {
            let found = pumps_log_likelihood(shape, rate);
            assert!(
                (found - expected).abs() < 1e-11,
                "{found} is not {expected}"
            );
        }
        // The mode: every step away is worse.
        let best = pumps_log_likelihood(shape, rate);
        for (one, other) in [(1.001, 1.0), (0.999, 1.0), (1.0, 1.001), (1.0, 0.999)] {
            assert!(pumps_log_likelihood(shape * one, rate * other) < best);
        }
        // A posterior mean is a credibility-weighted one: own rate by t / (t + rate), the collective's by the rest.
        let expected = [
            0.0609158018,
            0.1073251392,
            0.0907758585,
            0.1166933606,
            0.5881359353,
            0.6062049685,
            0.7899023125,
            0.7899023125,
            1.437357416,
            1.944148328,
        ];
        for ((failures, hours), expected) in PUMPS.iter().zip(expected) {
            let own = hours / (hours + rate);
            close(
                own * failures / hours + (1.0 - own) * shape / rate,
                expected,
            );
        }
    }

    #[test]
    fn what_trust_is_named_after() {
        use cdflib::special::beta_inc;
        // Conjugate gamma-Poisson: a book of 25 sq ft a disc worth 500 sq ft, then 31 discs on 620 sq ft (scipy 1.17).
        let (shape, rate) = (500.0 / 25.0 + 31.0, 500.0 + 620.0);
        close(rate / shape, 21.960784314);
        let area = 180.0;
        close(shape * area / rate, 8.196428571);
        close(shape * area / rate * (1.0 + area / rate), 9.513711735);
        let at_most = |discs: f64| {
            let chance = rate / (rate + area);
            beta_inc(shape, discs + 1.0, chance, 1.0 - chance).0
        };
        close(at_most(8.0), 0.567367617);
        close(at_most(10.0), 0.782541651);
        for (level, discs) in [(0.5, 8.0), (0.8, 11.0), (0.9, 12.0)] {
            assert!(at_most(discs) >= level && at_most(discs - 1.0) < level);
        }
    }
}
