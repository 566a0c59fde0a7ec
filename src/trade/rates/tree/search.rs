//! The hyperparameters, by penalised marginal likelihood: their mode, and how well they are known.

use super::merging::Node;
use super::passes::Tree;
use super::{Hyper, Parts, Prior, Round};

/// What a step of the search shrinks by after each sweep.
const SHRINK: f64 = 0.7;

/// Step of the second difference that tells how well a hyperparameter is known.
const CURVATURE_STEP: f64 = 0.25;

/// One hyperparameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Parameter {
    Fixed(usize),
    Dispersion(usize),
    Room,
    Job,
    Class,
    Step,
}

/// A value of a hyperparameter that was tried.
#[derive(Clone, Copy, Debug)]
struct Tried {
    value: f64,
    objective: f64,
}

/// What is known at the present hyperparameters: what trying others begins with.
pub(super) struct Here {
    /// The groups of each cell.
    pub(super) groups: Vec<Vec<Node>>,
    cells: Vec<Option<Node>>,
    pub(super) log_likelihood: f64,
}

impl Hyper {
    pub(super) fn at(&self, parameter: Parameter) -> f64 {
        match parameter {
            Parameter::Fixed(family) => self.fixed[family],
            Parameter::Dispersion(family) => self.dispersion[family],
            Parameter::Room => self.room,
            Parameter::Job => self.job,
            Parameter::Class => self.class,
            Parameter::Step => self.step,
        }
    }

    fn at_mut(&mut self, parameter: Parameter) -> &mut f64 {
        match parameter {
            Parameter::Fixed(family) => &mut self.fixed[family],
            Parameter::Dispersion(family) => &mut self.dispersion[family],
            Parameter::Room => &mut self.room,
            Parameter::Job => &mut self.job,
            Parameter::Class => &mut self.class,
            Parameter::Step => &mut self.step,
        }
    }
}

impl Tree<'_, Parts> {
    pub(super) fn here(&self) -> Here {
        let cells = self.evidence.cells.iter();
        let groups: Vec<Vec<Node>> = cells
            .map(|cell| self.groups(cell, &self.hyper).collect())
            .collect();
        let cells: Vec<Option<Node>> = (0..groups.len())
            .map(|cell| self.merged(cell, &groups, &self.hyper))
            .collect();
        Here {
            log_likelihood: self.climb(&cells, &self.hyper).log_likelihood,
            groups,
            cells,
        }
    }

    /// Searches along each hyperparameter in turn, on its logarithm, by parabolas.
    pub(super) fn search(&mut self, round: Round) {
        let parameters = self.parameters();
        let mut at = self.here();
        let mut penalties = self.penalties(&parameters);
        let mut best = at.log_likelihood - penalties;
        let mut step = round.step;
        for _ in 0..round.sweeps {
            for parameter in &parameters {
                let here = Tried {
                    value: self.hyper.at(*parameter),
                    objective: best,
                };
                let found = self.best_along(&at, penalties, *parameter, here, step);
                if found.value.to_bits() != here.value.to_bits() {
                    penalties += self.penalty(*parameter, found.value)
                        - self.penalty(*parameter, here.value);
                    self.accept(&mut at, *parameter, found.value);
                    best = found.objective;
                }
            }
            step *= SHRINK;
        }
    }

    /// Tries a hyperparameter a step above and below, and at the vertex of the parabola through the three; returns the best.
    fn best_along(
        &self,
        at: &Here,
        penalties: f64,
        parameter: Parameter,
        here: Tried,
        step: f64,
    ) -> Tried {
        let try_at = |value: f64| Tried {
            value,
            objective: self.objective_at(at, penalties, parameter, value),
        };
        let above = try_at(here.value * libm::exp(step));
        let below = try_at(here.value * libm::exp(-step));
        let bend = above.objective - 2.0 * here.objective + below.objective;
        let move_by = if bend < 0.0 {
            (0.5 * (below.objective - above.objective) / bend).clamp(-2.0, 2.0) * step
        } else if above.objective > below.objective {
            step
        } else {
            -step
        };
        let vertex = try_at(here.value * libm::exp(move_by));
        let mut best = here;
        for tried in [above, below, vertex] {
            if tried.objective > best.objective {
                best = tried;
            }
        }
        best
    }

    /// Measures how well each hyperparameter is known: the curvature of the objective at its mode.
    pub(super) fn measure_curvature(&mut self) {
        let known = self.here();
        let parameters = self.parameters();
        let penalties = self.penalties(&parameters);
        let here = known.log_likelihood - penalties;
        for parameter in parameters {
            let value = self.hyper.at(parameter);
            let at = |step: f64| {
                self.objective_at(&known, penalties, parameter, value * libm::exp(step))
            };
            let bend =
                (at(CURVATURE_STEP) - 2.0 * here + at(-CURVATURE_STEP)) / CURVATURE_STEP.powi(2);
            *self.sd.at_mut(parameter) =
                (1.0 / (-bend).max(1e-9).sqrt()).min(self.prior(parameter).sd);
        }
    }

    /// Returns the hyperparameters that the records can say something of, in the order of the search.
    pub(super) fn parameters(&self) -> Vec<Parameter> {
        let seen =
            (0..self.fixed.len()).filter(|family| !self.evidence.cells_of[*family].is_empty());
        let fixed = seen
            .clone()
            .filter(|family| self.fixed[*family].is_some())
            .map(Parameter::Fixed);
        fixed
            .chain(seen.map(Parameter::Dispersion))
            .chain([
                Parameter::Room,
                Parameter::Job,
                Parameter::Class,
                Parameter::Step,
            ])
            .collect()
    }

    fn prior(&self, parameter: Parameter) -> Prior {
        match parameter {
            Parameter::Fixed(family) => self.fixed[family].unwrap_or(self.priors.fixed),
            Parameter::Dispersion(_) => self.priors.dispersion,
            Parameter::Room => self.priors.room,
            Parameter::Job => self.priors.job,
            Parameter::Class => self.priors.class,
            Parameter::Step => self.priors.step,
        }
    }

    /// Returns what the priors take off the log likelihood at the present hyperparameters.
    pub(super) fn penalties(&self, parameters: &[Parameter]) -> f64 {
        parameters
            .iter()
            .map(|parameter| self.penalty(*parameter, self.hyper.at(*parameter)))
            .sum()
    }

    fn penalty(&self, parameter: Parameter, value: f64) -> f64 {
        let Prior { median, sd } = self.prior(parameter);
        0.5 * (libm::log(value / median) / sd).powi(2)
    }

    /// Returns the objective with one hyperparameter at another value, from what is known at the present ones.
    ///
    /// Only the cells that the parameter touches are merged again; a spread between classes or steps touches none.
    fn objective_at(&self, at: &Here, penalties: f64, parameter: Parameter, value: f64) -> f64 {
        let mut hyper = self.hyper.clone();
        *hyper.at_mut(parameter) = value;
        let cells = self.touched(at, parameter, &hyper);
        self.climb(&cells, &hyper).log_likelihood - penalties
            + self.penalty(parameter, self.hyper.at(parameter))
            - self.penalty(parameter, value)
    }

    /// Returns the cells with one hyperparameter at another value.
    fn touched(&self, at: &Here, parameter: Parameter, hyper: &Hyper) -> Vec<Option<Node>> {
        let mut cells = at.cells.clone();
        for cell in self.regrouped(parameter) {
            let of_cell = &self.evidence.cells[cell];
            cells[cell] = self.cell(of_cell.step, hyper, self.groups(of_cell, hyper));
        }
        if parameter == Parameter::Job {
            for (cell, node) in cells.iter_mut().enumerate() {
                *node = self.merged(cell, &at.groups, hyper);
            }
        }
        cells
    }

    /// Takes one hyperparameter to a new value, and what is known with it.
    fn accept(&mut self, at: &mut Here, parameter: Parameter, value: f64) {
        *self.hyper.at_mut(parameter) = value;
        for cell in self.regrouped(parameter) {
            let groups = self.groups(&self.evidence.cells[cell], &self.hyper);
            at.groups[cell] = groups.collect();
            at.cells[cell] = self.merged(cell, &at.groups, &self.hyper);
        }
        if parameter == Parameter::Job {
            at.cells = self.touched(at, parameter, &self.hyper);
        }
    }

    /// Returns the cells whose groups a hyperparameter touches.
    fn regrouped(&self, parameter: Parameter) -> Vec<usize> {
        match parameter {
            Parameter::Fixed(family) | Parameter::Dispersion(family) => {
                self.evidence.cells_of[family].clone()
            }
            Parameter::Room => (0..self.evidence.cells.len()).collect(),
            Parameter::Job | Parameter::Class | Parameter::Step => Vec::new(),
        }
    }

    fn merged(&self, cell: usize, groups: &[Vec<Node>], hyper: &Hyper) -> Option<Node> {
        let step = self.evidence.cells[cell].step;
        self.cell(step, hyper, groups[cell].iter().copied())
    }
}
