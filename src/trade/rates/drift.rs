//! Drift: has the level of what is used moved, for the whole crew or for one step?
//!
//! Old jobs are not forgotten: that would lose the rare floors, whose ratio to the rest hasn't changed. Instead their ratios
//! are divided by the level of their time, today's being 1. Three models of the level are compared by their evidence:
//!
//! * no drift: one level;
//! * one change after some date (3 dates before it at least, 2 after): with d = m1/m2 − 1 the relative difference of the
//!   weighted means before and after, V = (1/a1 + 1/a2)/m2² its variance for the weights a1 and a2, and a prior variance
//!   of 0.09, ln BF = −½ ln(1 + 0.09/V) + ½ d² (1/V − 1/(V + 0.09)); the evidence is the logarithm of the mean over all
//!   dates, less a penalty;
//! * for the crew only, a random walk: a local-level Kalman filter (Harvey 1989), less a penalty that grows with its pace.

use chrono::NaiveDate;
use libm::{exp, log};

/// Prior variance of the relative size of a sudden change.
const CHANGE_VARIANCE: f64 = 0.09;
/// Standard deviations of the walk that are tried, per square root of a year.
const PACES: [f64; 3] = [0.05, 0.10, 0.20];
/// Log odds against drift of the crew, and of one step.
const AGAINST_CREW: f64 = 1.5;
const AGAINST_STEP: f64 = 1.0;
/// Evidence above this, though not enough, deserves a question.
const WORTH_ASKING: f64 = -1.0;
/// Fewest dates for a change.
const FEWEST_DATES: usize = 6;
const DAYS_PER_YEAR: f64 = 365.25;

/// What was found about a level.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Drift {
    /// Nothing speaks for a change.
    #[default]
    None,
    /// One change is likely enough to ask about; nothing is divided by it.
    Suspected {
        /// The first day after it.
        since: NaiveDate,
        /// Relative change: −0.24 for 24 % less.
        change: f64,
    },
    /// One change; what came before it counts at today's pace.
    Changed {
        /// The first day after it.
        since: NaiveDate,
        /// Relative change: −0.24 for 24 % less.
        change: f64,
    },
    /// The level wanders; all counts at today's pace.
    Wandering {
        /// Relative change since the first record.
        change: f64,
    },
}

impl Drift {
    /// Tells whether old records are divided by a level.
    pub(super) fn is_level(self) -> bool {
        matches!(self, Drift::Changed { .. } | Drift::Wandering { .. })
    }
}

/// A level over time.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Level {
    /// The level of each day, today's being 1.
    pub(super) of_days: Vec<f64>,
    /// Variance of today's level beyond what a constant one would have.
    pub(super) variance: f64,
    pub(super) drift: Drift,
}

/// What a group of records says of the level of its time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Member {
    /// Its ratio to what was expected.
    pub(super) ratio: f64,
    /// One over the variance of the ratio.
    pub(super) weight: f64,
}

/// What the members of each day say of its level, added up.
#[derive(Clone, Debug)]
pub(super) struct Series<'a> {
    days: &'a [NaiveDate],
    sums: Vec<Weighted>,
}

impl Series<'_> {
    /// Makes a series without members, over days in their order.
    pub(super) fn new(days: &[NaiveDate]) -> Series<'_> {
        Series {
            days,
            sums: vec![Weighted::default(); days.len()],
        }
    }

    /// Adds what a group of records says of the level of a day.
    pub(super) fn add(&mut self, day: usize, Member { ratio, weight }: Member) {
        self.sums[day].weight += weight;
        self.sums[day].sum += weight * ratio;
    }

    /// Returns the crew's level.
    ///
    /// `extra` is added to the variance of every date: half of a job's effect is common to its steps.
    pub(super) fn level_of_crew(&self, extra: f64) -> Level {
        let dates = self.dates(extra);
        let still = local_level(&dates, 0.0).log_likelihood;
        let mut walk: Option<Walk> = None;
        for pace in PACES {
            let evidence = local_level(&dates, pace).log_likelihood
                - still
                - AGAINST_CREW
                - 0.25 * (pace / 0.1).powi(2);
            if evidence > walk.map_or(0.0, |walk| walk.evidence) {
                walk = Some(Walk { evidence, pace });
            }
        }
        let least = walk.map_or(0.0, |walk| walk.evidence);
        match (change_point(&dates, AGAINST_CREW), walk) {
            (Some(change), _) if change.evidence > least => self.changed(&dates, &change),
            (_, Some(walk)) => self.wandering(&dates, walk.pace),
            (change, None) => self.unchanged(&dates, change),
        }
    }

    /// Returns one step's level on top of the crew's.
    pub(super) fn level_of_step(&self) -> Level {
        let dates = self.dates(0.0);
        match change_point(&dates, AGAINST_STEP) {
            Some(change) if change.evidence > 0.0 => self.changed(&dates, &change),
            change => self.unchanged(&dates, change),
        }
    }

    /// Returns the days that have members.
    fn dates(&self, extra: f64) -> Vec<Date> {
        let mut before = None;
        let days = self.sums.iter().zip(self.days).enumerate();
        days.filter(|(_, (sums, _))| sums.weight > 0.0)
            .map(|(place, (Weighted { weight, sum }, day))| Date {
                place,
                ratio: sum / weight,
                variance: 1.0 / weight + extra,
                years: (*day - before.replace(*day).unwrap_or(*day)).num_days() as f64
                    / DAYS_PER_YEAR,
            })
            .collect()
    }

    /// Returns the level without a change, though one may be worth asking about.
    fn unchanged(&self, dates: &[Date], suspected: Option<Change>) -> Level {
        let drift = match suspected {
            Some(change) if change.evidence > WORTH_ASKING => Drift::Suspected {
                since: self.days[dates[change.last_before + 1].place],
                change: 1.0 / (1.0 + change.difference) - 1.0,
            },
            _ => Drift::None,
        };
        Level {
            of_days: vec![1.0; self.days.len()],
            variance: 0.0,
            drift,
        }
    }

    fn changed(&self, dates: &[Date], change: &Change) -> Level {
        let before = (1.0 + change.difference).max(0.1);
        let since = dates[change.last_before + 1].place;
        let mut of_days = vec![1.0; self.days.len()];
        of_days[..since].fill(before);
        Level {
            of_days,
            variance: change.variance,
            drift: Drift::Changed {
                since: self.days[since],
                change: 1.0 / before - 1.0,
            },
        }
    }

    fn wandering(&self, dates: &[Date], pace: f64) -> Level {
        let smoothed = local_level(dates, pace).smoothed(dates, pace);
        let today = smoothed.last().copied().unwrap_or(Estimate {
            mean: 1.0,
            variance: 0.0,
        });
        let mut of_days = vec![1.0; self.days.len()];
        for (date, level) in dates.iter().zip(&smoothed) {
            of_days[date.place] = level.mean / today.mean;
        }
        Level {
            of_days,
            variance: today.variance,
            drift: Drift::Wandering {
                change: today.mean / smoothed[0].mean - 1.0,
            },
        }
    }
}

/// A sum of ratios by their weights.
#[derive(Clone, Copy, Debug, Default)]
struct Weighted {
    weight: f64,
    sum: f64,
}

/// What the records of one date say of the level.
#[derive(Clone, Copy, Debug)]
struct Date {
    /// Its place among the days.
    place: usize,
    ratio: f64,
    variance: f64,
    /// Years since the date before.
    years: f64,
}

/// One change of the level.
#[derive(Clone, Copy, Debug)]
struct Change {
    /// Logarithm of the mean Bayes factor over all dates, less the log odds against a change.
    evidence: f64,
    /// The last date of the old level.
    last_before: usize,
    /// Shrunken relative difference of before to after.
    difference: f64,
    /// Extra variance of today's level, which rests on the later dates only.
    variance: f64,
}

/// A random walk of the level.
#[derive(Clone, Copy, Debug)]
struct Walk {
    /// What its log likelihood is above that of a constant level, less the log odds against it.
    evidence: f64,
    /// Standard deviation per square root of a year.
    pace: f64,
}

/// Weighs one change of the level at every date that leaves three before and two after; `None`: there are too few.
fn change_point(dates: &[Date], against: f64) -> Option<Change> {
    if dates.len() < FEWEST_DATES {
        return None;
    }
    let mut all = Weighted::default();
    let up_to: Vec<Weighted> = dates
        .iter()
        .map(|date| {
            all.weight += 1.0 / date.variance;
            all.sum += date.ratio / date.variance;
            all
        })
        .collect();
    let tried: Vec<Change> = (2..dates.len() - 2)
        .map(|last| {
            let (before, after) = (up_to[last].weight, all.weight - up_to[last].weight);
            let mean_before = (up_to[last].sum / before).max(0.05);
            let mean_after = ((all.sum - up_to[last].sum) / after).max(0.05);
            let difference = mean_before / mean_after - 1.0;
            let variance = (1.0 / before + 1.0 / after) / mean_after.powi(2);
            let log_factor = -0.5 * log(1.0 + CHANGE_VARIANCE / variance)
                + 0.5 * difference.powi(2) * (1.0 / variance - 1.0 / (variance + CHANGE_VARIANCE));
            Change {
                evidence: log_factor,
                last_before: last,
                difference: difference * CHANGE_VARIANCE / (CHANGE_VARIANCE + variance),
                variance: 1.0 / after - 1.0 / all.weight,
            }
        })
        .collect();
    let mut best = tried[0];
    for change in &tried[1..] {
        if change.evidence > best.evidence {
            best = *change;
        }
    }
    let factors = tried
        .iter()
        .map(|change| exp(change.evidence - best.evidence));
    let mean = factors.sum::<f64>() / tried.len() as f64;
    Some(Change {
        evidence: best.evidence + log(mean) - against,
        ..best
    })
}

/// What is known of the level at one date.
#[derive(Clone, Copy, Debug)]
struct Estimate {
    mean: f64,
    variance: f64,
}

/// A filtered random walk.
#[derive(Clone, Debug)]
struct Filtered {
    log_likelihood: f64,
    /// The level at each date, from the dates up to it.
    levels: Vec<Estimate>,
}

/// Runs the Kalman filter of a level that starts at N(1, 0.25) and moves by `pace` per square root of a year.
fn local_level(dates: &[Date], pace: f64) -> Filtered {
    let (mut mean, mut variance, mut log_likelihood) = (1.0, 0.25, 0.0);
    let levels = dates
        .iter()
        .map(|date| {
            variance += pace.powi(2) * date.years;
            let spread = variance + date.variance;
            let surprise = date.ratio - mean;
            log_likelihood -= 0.5 * (log(spread) + surprise.powi(2) / spread);
            let gain = variance / spread;
            mean += gain * surprise;
            variance *= 1.0 - gain;
            Estimate { mean, variance }
        })
        .collect();
    Filtered {
        log_likelihood,
        levels,
    }
}

impl Filtered {
    /// Runs the Rauch-Tung-Striebel smoother: the level at each date, from all dates.
    fn smoothed(self, dates: &[Date], pace: f64) -> Vec<Estimate> {
        let mut levels = self.levels;
        for date in (0..levels.len().saturating_sub(1)).rev() {
            let Estimate { mean, variance } = levels[date];
            let predicted = variance + pace.powi(2) * dates[date + 1].years;
            let gain = variance / predicted;
            let later = levels[date + 1];
            levels[date] = Estimate {
                mean: mean + gain * (later.mean - mean),
                variance: variance + gain.powi(2) * (later.variance - predicted),
            };
        }
        levels
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn close(found: f64, expected: f64) {
        assert!(
            (found - expected).abs() <= 1e-7 * expected.abs() + 1e-9,
            "{found} is not {expected}"
        );
    }

    fn dates(ratios: &[f64], variances: &[f64], years: &[f64]) -> Vec<Date> {
        let each = ratios.iter().zip(variances).zip(years).enumerate();
        each.map(|(place, ((ratio, variance), years))| Date {
            place,
            ratio: *ratio,
            variance: *variance,
            years: *years,
        })
        .collect()
    }

    #[test]
    fn a_local_level_is_filtered_and_smoothed() {
        // The worked example that came with the model (numpy 2.4, nine decimals).
        let dates = dates(
            &[0.9, 1.05, 1.1, 1.3, 1.25],
            &[0.02, 0.01, 0.03, 0.02, 0.01],
            &[0.0, 0.3, 0.2, 0.5, 0.1],
        );
        for (pace, log_likelihood, means, variances) in [
            (0.0, 4.919684331, [1.128458498; 5], [0.002964427; 5]),
            (
                0.1,
                5.690750546,
                [
                    1.063512449,
                    1.088801465,
                    1.113421103,
                    1.177207047,
                    1.183824588,
                ],
                [
                    0.005659571,
                    0.004155802,
                    0.004361377,
                    0.004434422,
                    0.004573903,
                ],
            ),
            (
                0.2,
                6.06800425,
                [
                    0.998876462,
                    1.05814841,
                    1.10418177,
                    1.222053016,
                    1.230037869,
                ],
                [
                    0.009360357,
                    0.005645831,
                    0.007511272,
                    0.006472313,
                    0.006159343,
                ],
            ),
        ] {
            let filtered = local_level(&dates, pace);
            close(filtered.log_likelihood, log_likelihood);
            for (found, expected) in filtered
                .smoothed(&dates, pace)
                .iter()
                .zip(means.iter().zip(variances))
            {
                close(found.mean, *expected.0);
                close(found.variance, expected.1);
            }
        }
    }

    #[test]
    fn a_change_is_weighed_at_every_date() {
        // The worked example that came with the model (numpy 2.4, nine decimals).
        let ratios = [1.3, 1.25, 1.35, 1.28, 1.0, 0.95, 1.02, 0.98, 1.01];
        let dates = dates(&ratios, &[0.02; 9], &[0.0; 9]);
        let change = change_point(&dates, 0.0).unwrap();
        close(change.evidence, 2.230465418);
        assert_eq!(change.last_before, 3);
        close(change.difference, 0.277267763);
        close(change.variance, 0.001777778);
    }

    #[test]
    fn a_change_divides_what_came_before_it() {
        let day = |n: u64| NaiveDate::from_ymd_opt(2024, 1, 1).unwrap() + chrono::Days::new(30 * n);
        let days: Vec<NaiveDate> = (0..12).map(day).collect();
        let of = |ratio: fn(usize) -> f64| {
            let mut series = Series::new(&days);
            for day in 0..12 {
                let (ratio, weight) = (ratio(day), 60.0);
                series.add(day, Member { ratio, weight });
            }
            series
        };
        let level = of(|day| if day < 6 { 1.3 } else { 1.0 }).level_of_step();
        let Drift::Changed { since, change } = level.drift else {
            panic!("{:?}", level.drift);
        };
        assert_eq!(since, day(6));
        assert!((-0.24..-0.20).contains(&change), "{change}");
        assert!(level.of_days[..6].iter().all(|level| *level > 1.25));
        assert!(
            level.of_days[6..]
                .iter()
                .all(|level| (level - 1.0).abs() < 1e-12)
        );
        let steady = of(|_| 1.0).level_of_crew(0.007);
        assert_eq!(steady.drift, Drift::None);
    }
}
