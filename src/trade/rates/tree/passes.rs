//! Up the tree, from records to the root; and down again, from the book to the cells.

use super::evidence::{Cell, Evidence, Taken};
use super::merging::{Logs, Merging, Node};
use super::{ByBook, CellState, Hyper, Posterior, Prior, Priors, StepState, Weighed};
use crate::trade::rates::Drift;

/// Least reference multiplier.
const LEAST_REFERENCE: f64 = 0.05;

/// Least multiplier of a cell.
pub(super) const LEAST_MULTIPLIER: f64 = 0.02;

/// The state of a fit.
#[derive(Clone, Debug)]
pub(in crate::trade::rates) struct Tree<'a, T> {
    pub(super) evidence: &'a Evidence<T>,
    pub(super) priors: Priors,
    pub(super) fixed: &'a [Option<Prior>],
    pub(super) prior_variance: f64,
    pub(super) hyper: Hyper,
    /// Standard deviations of the logarithms of the hyperparameters.
    pub(super) sd: Hyper,
    pub(super) references: References,
    /// L of each step's groups, by their day.
    pub(super) levels: Vec<Vec<f64>>,
    pub(super) level_variance: LevelVariance,
    pub(super) crew_drift: Drift,
    pub(super) step_drift: Vec<Drift>,
}

/// Reference multipliers: the estimates of the pass before.
#[derive(Clone, Debug)]
pub(super) struct References {
    /// R_s of each step.
    pub(super) steps: Vec<f64>,
    /// R_0.
    pub(super) root: f64,
}

/// Extra variance of today's level, which rests on the time since it moved.
#[derive(Clone, Debug)]
pub(super) struct LevelVariance {
    /// V_L.
    pub(super) crew: f64,
    /// V_S of each step.
    pub(super) steps: Vec<f64>,
}

/// The upward pass: every node above the groups.
#[derive(Clone, Debug)]
pub(super) struct Upward {
    /// `None`: nothing below.
    pub(super) cells: Vec<Option<Node>>,
    pub(super) steps: Vec<Option<Node>>,
    pub(super) root: Option<Node>,
}

/// What merging the cells of a tree comes to.
#[derive(Clone, Debug)]
pub(super) struct Climbed {
    steps: Vec<Option<Node>>,
    root: Option<Node>,
    /// The working log likelihood, constants dropped.
    pub(super) log_likelihood: f64,
}

impl LevelVariance {
    /// Returns that of a level that never moved.
    pub(super) fn none(steps: usize) -> LevelVariance {
        LevelVariance {
            crew: 0.0,
            steps: vec![0.0; steps],
        }
    }
}

impl<'a, T: Taken> Tree<'a, T> {
    pub(super) fn new(
        evidence: &'a Evidence<T>,
        priors: &Priors,
        fixed: &'a [Option<Prior>],
        prior_weight: f64,
    ) -> Tree<'a, T> {
        let all = |of: fn(Prior) -> f64| Hyper {
            fixed: fixed.iter().map(|fixed| fixed.map_or(0.0, of)).collect(),
            dispersion: vec![of(priors.dispersion); fixed.len()],
            room: of(priors.room),
            job: of(priors.job),
            class: of(priors.class),
            step: of(priors.step),
        };
        Tree {
            evidence,
            priors: *priors,
            fixed,
            prior_variance: priors.prior_variance(prior_weight),
            hyper: all(|prior| prior.median),
            sd: all(|prior| prior.sd),
            references: References {
                steps: vec![1.0; evidence.steps],
                root: 1.0,
            },
            levels: evidence.no_levels(),
            level_variance: LevelVariance::none(evidence.steps),
            crew_drift: Drift::None,
            step_drift: vec![Drift::None; evidence.steps],
        }
    }

    /// Carries the hyperparameters over to more evidence, whose levels aren't known yet.
    pub(super) fn over<'b>(&self, evidence: &'b Evidence<ByBook>) -> Tree<'b, ByBook>
    where
        'a: 'b,
    {
        Tree {
            evidence,
            priors: self.priors,
            fixed: self.fixed,
            prior_variance: self.prior_variance,
            hyper: self.hyper.clone(),
            sd: self.sd.clone(),
            references: self.references.clone(),
            levels: evidence.no_levels(),
            level_variance: LevelVariance::none(evidence.steps),
            crew_drift: Drift::None,
            step_drift: vec![Drift::None; evidence.steps],
        }
    }
}

impl<T> Evidence<T> {
    fn no_levels(&self) -> Vec<Vec<f64>> {
        vec![vec![1.0; self.days.len()]; self.steps]
    }
}

// Upward.

impl<T: Taken> Tree<'_, T> {
    /// Returns the groups of a cell, each with its records merged.
    pub(super) fn groups(&self, cell: &Cell<T>, hyper: &Hyper) -> impl Iterator<Item = Node> {
        let reference = self.references.steps[cell.step];
        let levels = &self.levels[cell.step];
        cell.groups()
            .map(move |(day, records)| group(records, hyper, reference, levels[day]))
    }

    /// Merges the groups of a cell of that step.
    pub(super) fn cell(
        &self,
        step: usize,
        hyper: &Hyper,
        groups: impl Iterator<Item = Node>,
    ) -> Option<Node> {
        let job = (hyper.job * self.references.steps[step]).powi(2);
        let mut merging: Option<Merging> = None;
        let mut below = 0.0;
        for node in groups {
            below += node.log_likelihood;
            merging
                .get_or_insert_with(|| Merging::new(node.value))
                .add(1.0 / (1.0 / node.precision + job), node.value);
        }
        let mut node = merging?.node();
        node.log_likelihood += below;
        Some(node)
    }

    /// Merges cells into steps, steps into the root.
    pub(super) fn climb(&self, cells: &[Option<Node>], hyper: &Hyper) -> Climbed {
        let mut log_likelihood = 0.0;
        let mut steps: Vec<Option<Merging>> = vec![None; self.evidence.steps];
        for (cell, node) in cells.iter().enumerate() {
            let Some(node) = node else { continue };
            let step = self.evidence.cells[cell].step;
            let class = (hyper.class * self.references.steps[step]).powi(2);
            log_likelihood += node.log_likelihood;
            steps[step]
                .get_or_insert_with(|| Merging::new(node.value))
                .add(1.0 / (class + 1.0 / node.precision), node.value);
        }
        let between = (hyper.step * self.references.root).powi(2);
        let mut root: Option<Merging> = None;
        let steps: Vec<Option<Node>> = steps
            .into_iter()
            .map(|merging| {
                let node = merging?.node();
                log_likelihood += node.log_likelihood;
                root.get_or_insert_with(|| Merging::new(node.value))
                    .add(1.0 / (between + 1.0 / node.precision), node.value);
                Some(node)
            })
            .collect();
        let root = root.map(Merging::node);
        if let Some(root) = root {
            let variance = self.prior_variance + 1.0 / root.precision;
            log_likelihood += root.log_likelihood
                - 0.5 * libm::log(variance)
                - 0.5 * (root.value - 1.0).powi(2) / variance;
        }
        Climbed {
            steps,
            root,
            log_likelihood,
        }
    }

    pub(super) fn upward(&self) -> Upward {
        let cells = self.evidence.cells.iter().map(|cell| {
            let groups = self.groups(cell, &self.hyper);
            self.cell(cell.step, &self.hyper, groups)
        });
        let cells: Vec<Option<Node>> = cells.collect();
        let Climbed { steps, root, .. } = self.climb(&cells, &self.hyper);
        Upward { cells, steps, root }
    }
}

/// Merges the records of a group, whose step has that reference multiplier, and whose time that level.
fn group<T: Taken>(records: &[T], hyper: &Hyper, reference: f64, level: f64) -> Node {
    let room = (hyper.room * reference).powi(2);
    let mut jacobian = Logs::default();
    let mut merging: Option<Merging> = None;
    for record in records {
        let ByBook {
            quantity,
            book,
            dispersion,
        } = record.by_book(hyper);
        let levelled = book * level;
        let value = quantity / levelled;
        let precision = 1.0 / (dispersion * reference / levelled + room);
        jacobian.add(levelled);
        merging
            .get_or_insert_with(|| Merging::new(value))
            .add(precision, value);
    }
    let mut node = merging.map_or(Node::default(), Merging::node);
    node.log_likelihood -= jacobian.sum(); // From quantities to ratios: what lets F be learned.
    node
}

// Downward.

impl<T: Taken> Tree<'_, T> {
    /// Takes the references from the estimates of a pass, so many times.
    pub(super) fn refresh(&mut self, times: usize) {
        for _ in 0..times {
            let posterior = self.downward(&self.upward());
            for (reference, step) in self.references.steps.iter_mut().zip(&posterior.steps) {
                *reference = step.multiplier.max(LEAST_REFERENCE);
            }
            self.references.root = posterior.root.max(LEAST_REFERENCE);
        }
    }

    /// Weighs every node against the one above it: credibility Z = own weight, 1 − Z the parent's.
    ///
    /// Means use the spreads as found; variances use their posterior means, σ² exp(2 s²) and φ exp(s²/2), because spreads
    /// are not known either.
    pub(super) fn downward(&self, up: &Upward) -> Posterior {
        let root = up.root.unwrap_or_default();
        let book_weight = 1.0 / (1.0 + self.prior_variance * root.precision);
        let root_multiplier = book_weight + (1.0 - book_weight) * root.value;
        let class_variance = inflated(self.hyper.class, self.sd.class);
        let steps = self.weigh_steps(up, root_multiplier);
        let dispersions = self.hyper.dispersion.iter().zip(&self.sd.dispersion);
        Posterior {
            hyper: self.hyper.clone(),
            root_reference: self.references.root,
            book_weight,
            root: root_multiplier,
            root_variance: self.prior_variance * book_weight
                + self.level_variance.crew * root_multiplier.powi(2),
            cells: self.weigh_cells(up, &steps, class_variance),
            steps,
            class_variance,
            room_variance: inflated(self.hyper.room, self.sd.room),
            job_variance: inflated(self.hyper.job, self.sd.job),
            dispersion: dispersions
                .map(|(mode, sd)| mode * libm::exp(0.5 * sd.powi(2)))
                .collect(),
            crew_drift: self.crew_drift,
            step_drift: self.step_drift.clone(),
        }
    }

    fn weigh_steps(&self, up: &Upward, root_multiplier: f64) -> Vec<StepState> {
        let reference = self.references.root.powi(2);
        let own = self.hyper.step.powi(2) * reference;
        let inflated = inflated(self.hyper.step, self.sd.step) * reference;
        let steps = up.steps.iter().enumerate();
        steps
            .map(|(place, node)| {
                let node = node.unwrap_or_default();
                let Weighed {
                    credibility,
                    variance,
                } = weigh(own, inflated, node.precision);
                StepState {
                    reference: self.references.steps[place],
                    credibility,
                    multiplier: credibility * node.value + (1.0 - credibility) * root_multiplier,
                    variance: variance + self.level_variance.steps[place],
                }
            })
            .collect()
    }

    fn weigh_cells(&self, up: &Upward, steps: &[StepState], class_variance: f64) -> Vec<CellState> {
        let cells = up.cells.iter().zip(&self.evidence.cells);
        cells
            .map(|(node, cell)| {
                let (node, step) = (node.unwrap_or_default(), steps[cell.step]);
                let reference = step.reference.powi(2);
                let own = self.hyper.class.powi(2) * reference;
                let Weighed {
                    credibility,
                    variance,
                } = weigh(own, class_variance * reference, node.precision);
                let multiplier = credibility * node.value + (1.0 - credibility) * step.multiplier;
                CellState {
                    credibility,
                    multiplier: multiplier.max(LEAST_MULTIPLIER),
                    variance,
                }
            })
            .collect()
    }

    pub(in crate::trade::rates) fn into_posterior(self) -> Posterior {
        self.downward(&self.upward())
    }
}

/// Returns the posterior mean of a variance from the mode of its spread, and the standard deviation of the logarithm.
fn inflated(mode: f64, sd: f64) -> f64 {
    mode.powi(2) * libm::exp(2.0 * sd.powi(2))
}

/// Weighs a node that was measured with that precision, and whose variance about its parent is `own` (`inflated` for the
/// variance).
pub(super) fn weigh(own: f64, inflated: f64, precision: f64) -> Weighed {
    Weighed {
        credibility: own * precision / (1.0 + own * precision),
        variance: inflated / (1.0 + inflated * precision),
    }
}
