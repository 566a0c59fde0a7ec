//! The ratio tree: what the records say of the book, level by level.
//!
//! Pure numbers: steps, cells, families and jobs are places in lists here; [`super`] says which operation is which. Every
//! quantity is in *units*: sets of discs, gallons, hours.
//!
//! # The model
//! For record i of cell c (a step on one class of floor), step s, job j, and the families f of its parts:
//!
//! ```text
//! B_i = Σ (b·A + n·F_f)                   book quantity: b units a driver unit, n rooms and passes, F_f the family's fixed amount
//! z_i = q_i / (B_i L_g)                   ratio; L_g the level of that time, 1 without drift
//! z_i = M_c + job + room + grain
//! root    M_0 ~ (1,   t0²)                trust in the book
//! step    M_s ~ (M_0, τ_s² R_0²)
//! cell    M_c ~ (M_s, τ_c² R_s²)
//! group g = (job, cell): ~ (M_c, σ_j² R_s²)
//! record  z_i ~ (group, φ R_s / (B_i L_g) + ψ² R_s²)     φ: mean of the parts' grains, weighted by book quantity
//! ```
//!
//! Brackets are (mean, variance). Everything is linear, so means and variances are all that is needed (linear Bayes), and
//! the working likelihood is the normal one. R_s and R_0 are reference multipliers, the step's and the root's estimates
//! of the pass before, that put the coefficients of variation on the scale of the rates.
//!
//! This is hierarchical Bühlmann-Straub credibility in its multiplicative form (Bühlmann and Straub 1970; Jewell 1975;
//! Ohlsson 2005, 2008). The hyperparameters are found by penalised marginal likelihood, whose penalties keep every spread
//! off zero (Chung, Rabe-Hesketh, Dorie, Gelman and Liu 2013).

use std::ops::Range;

use chrono::NaiveDate;

use super::drift::{Drift, Level, Series};

/// Least reference multiplier.
const LEAST_REFERENCE: f64 = 0.05;
/// Least multiplier of a cell.
const LEAST_MULTIPLIER: f64 = 0.02;
/// Spreads are known well enough from that many records; the search looks at the newest ones only.
const SEARCHED: usize = 2_000;
/// First step of the search on the logarithm of a hyperparameter, and sweeps: before and after the first look for drift.
const ROUNDS: [(f64, usize); 2] = [(0.6, 6), (0.3, 4)];
/// What a step of the search shrinks by after each sweep.
const SHRINK: f64 = 0.7;
/// Step of the second difference that tells how well a hyperparameter is known.
const CURVATURE_STEP: f64 = 0.25;
/// Fewest groups of a step whose level is looked at on its own.
const FEWEST_GROUPS: usize = 6;

/// A log-normal prior: the median, and the standard deviation of the logarithm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Prior {
    pub(super) median: f64,
    pub(super) sd: f64,
}

/// Where the search starts and what holds it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Priors {
    /// F: units for each room and pass.
    pub(super) fixed: Prior,
    /// φ: variance over mean, in units.
    pub(super) grain: Prior,
    /// ψ: how rooms differ.
    pub(super) room: Prior,
    /// σ_j: how jobs differ.
    pub(super) job: Prior,
    /// τ_c: how the classes of floor of a step differ, beyond the book.
    pub(super) class: Prior,
    /// τ_s: how steps differ, beyond the book.
    pub(super) step: Prior,
    /// Driver units of a typical room, and the units that the book expects of it.
    pub(super) typical: (f64, f64),
}

impl Priors {
    /// Returns t0²: the relative variance that `trust` driver units of typical rooms would leave.
    pub(super) fn trust_variance(&self, trust: f64) -> f64 {
        let (size, units) = self.typical;
        let typical =
            self.grain.median / units + self.room.median.powi(2) + self.job.median.powi(2);
        size / trust * typical
    }
}

/// A part of a record: what one operation of it takes by the book.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct BookPart {
    pub(super) family: usize,
    /// b·A: units that follow the driver.
    pub(super) slope: f64,
    /// n: how often the family's fixed amount comes on top.
    pub(super) passes: f64,
}

/// What one record took.
#[derive(Clone, Copy, Debug)]
pub(super) struct Record<'a> {
    pub(super) cell: usize,
    pub(super) job: usize,
    /// Days since some fixed date.
    pub(super) day: NaiveDate,
    /// Units.
    pub(super) quantity: f64,
    pub(super) parts: &'a [BookPart],
}

/// The records of one kind, arranged for the passes: by cell, then by job.
#[derive(Clone, Debug)]
pub(super) struct Evidence {
    steps: usize,
    families: usize,
    /// The step of each cell.
    step_of: Vec<usize>,
    quantities: Vec<f64>,
    parts: Vec<BookPart>,
    /// Where the parts of each record are.
    parts_of: Vec<Range<u32>>,
    groups: Vec<Group>,
    /// Where the groups of each cell are.
    groups_of: Vec<Range<usize>>,
    /// The cells that each family has records in.
    cells_of: Vec<Vec<usize>>,
}

/// The records of one job in one cell.
#[derive(Clone, Debug)]
struct Group {
    cell: usize,
    /// The day of its first record.
    day: NaiveDate,
    records: Range<usize>,
}

impl Evidence {
    /// Arranges records that are given in their canonical order, oldest first.
    pub(super) fn new(
        step_of: &[usize],
        steps: usize,
        families: usize,
        records: &[Record<'_>],
    ) -> Evidence {
        let order = by_cell_and_job(step_of.len(), records);
        let mut evidence = Evidence {
            steps,
            families,
            step_of: step_of.to_vec(),
            quantities: Vec::with_capacity(records.len()),
            parts: Vec::with_capacity(records.len()),
            parts_of: Vec::with_capacity(records.len()),
            groups: Vec::new(),
            groups_of: vec![0..0; step_of.len()],
            cells_of: vec![Vec::new(); families],
        };
        let mut last = None;
        for (at, place) in order.into_iter().enumerate() {
            let record = &records[place];
            if last != Some((record.cell, record.job)) {
                evidence.open_group(record, at);
                last = Some((record.cell, record.job));
            }
            evidence.add(record, at);
        }
        evidence
    }

    fn open_group(&mut self, record: &Record<'_>, at: usize) {
        let place = self.groups.len();
        self.groups.push(Group {
            cell: record.cell,
            day: record.day,
            records: at..at,
        });
        let groups = &mut self.groups_of[record.cell];
        if groups.start == groups.end {
            *groups = place..place;
        }
        groups.end = place + 1;
    }

    fn add(&mut self, record: &Record<'_>, at: usize) {
        if let Some(group) = self.groups.last_mut() {
            group.records.end = at + 1;
        }
        self.quantities.push(record.quantity);
        let start = self.parts.len() as u32;
        self.parts.extend_from_slice(record.parts);
        self.parts_of.push(start..self.parts.len() as u32);
        for part in record.parts {
            let cells = &mut self.cells_of[part.family];
            if cells.last() != Some(&record.cell) {
                cells.push(record.cell);
            }
        }
    }

    fn is_empty(&self) -> bool {
        self.quantities.is_empty()
    }
}

/// Returns the places of records by cell, then by job, else in the order that they came in.
fn by_cell_and_job(cells: usize, records: &[Record<'_>]) -> Vec<usize> {
    let mut ends = vec![0; cells + 1];
    for record in records {
        ends[record.cell + 1] += 1;
    }
    for cell in 0..cells {
        ends[cell + 1] += ends[cell];
    }
    let mut order = vec![0; records.len()];
    let mut next = ends.clone();
    for (place, record) in records.iter().enumerate() {
        order[next[record.cell]] = place;
        next[record.cell] += 1;
    }
    for cell in 0..cells {
        order[ends[cell]..ends[cell + 1]].sort_by_key(|place| records[*place].job);
    }
    order
}

/// The hyperparameters.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Hyper {
    /// F of each family.
    pub(crate) fixed: Vec<f64>,
    /// φ of each family.
    pub(crate) grain: Vec<f64>,
    /// ψ.
    pub(crate) room: f64,
    /// σ_j.
    pub(crate) job: f64,
    /// τ_c.
    pub(crate) class: f64,
    /// τ_s.
    pub(crate) step: f64,
}

/// One hyperparameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Parameter {
    Fixed(usize),
    Grain(usize),
    Room,
    Job,
    Class,
    Step,
}

impl Hyper {
    fn at(&self, parameter: Parameter) -> f64 {
        match parameter {
            Parameter::Fixed(family) => self.fixed[family],
            Parameter::Grain(family) => self.grain[family],
            Parameter::Room => self.room,
            Parameter::Job => self.job,
            Parameter::Class => self.class,
            Parameter::Step => self.step,
        }
    }

    fn at_mut(&mut self, parameter: Parameter) -> &mut f64 {
        match parameter {
            Parameter::Fixed(family) => &mut self.fixed[family],
            Parameter::Grain(family) => &mut self.grain[family],
            Parameter::Room => &mut self.room,
            Parameter::Job => &mut self.job,
            Parameter::Class => &mut self.class,
            Parameter::Step => &mut self.step,
        }
    }
}

/// A node of the tree before it is weighed against the one above it: precision and value of what is below.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Node {
    precision: f64,
    value: f64,
    /// What merging its children adds to the log likelihood.
    log_likelihood: f64,
}

/// Merges children of known precision.
///
/// P = Σp, z̄ = Σpz/P, and the log likelihood gains ½(Σ ln p − ln P) − ½ Σ p (z − z̄)².
#[derive(Clone, Copy, Debug)]
struct Merging {
    precision: f64,
    first: f64,
    moved: f64,
    squared: f64,
    logs: Logs,
}

impl Merging {
    fn new(first: f64) -> Merging {
        Merging {
            precision: 0.0,
            first,
            moved: 0.0,
            squared: 0.0,
            logs: Logs::default(),
        }
    }

    #[inline]
    fn add(&mut self, precision: f64, value: f64) {
        let apart = value - self.first; // Sums about the first child lose no digits.
        self.precision += precision;
        self.moved += precision * apart;
        self.squared += precision * apart * apart;
        self.logs.add(precision);
    }

    fn node(self) -> Node {
        let moved = self.moved / self.precision;
        let spread = (self.squared - self.moved * moved).max(0.0);
        Node {
            precision: self.precision,
            value: self.first + moved,
            log_likelihood: 0.5 * (self.logs.sum() - libm::log(self.precision) - spread),
        }
    }
}

/// A sum of logarithms, taken of products as far as they fit: a logarithm costs as much as ten multiplications.
#[derive(Clone, Copy, Debug)]
struct Logs {
    sum: f64,
    product: f64,
}

impl Default for Logs {
    fn default() -> Logs {
        Logs {
            sum: 0.0,
            product: 1.0,
        }
    }
}

impl Logs {
    #[inline]
    fn add(&mut self, value: f64) {
        self.product *= value;
        if !(1e-100..1e100).contains(&self.product) {
            self.sum += libm::log(self.product);
            self.product = 1.0;
        }
    }

    fn sum(self) -> f64 {
        self.sum + libm::log(self.product)
    }
}

/// The upward pass: every node, and the working log likelihood (constants dropped).
#[derive(Clone, Debug)]
struct Upward {
    groups: Vec<Node>,
    /// `None`: nothing below.
    cells: Vec<Option<Node>>,
    steps: Vec<Option<Node>>,
    root: Option<Node>,
    log_likelihood: f64,
}

/// A step after the downward pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct StepState {
    /// R_s.
    pub(crate) reference: f64,
    /// Z_s.
    pub(crate) credibility: f64,
    /// M_s.
    pub(crate) multiplier: f64,
    /// v_s, with the extra variance of its own drift.
    pub(crate) variance: f64,
}

/// A cell after the downward pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct CellState {
    /// Z_c.
    pub(crate) credibility: f64,
    /// M_c.
    pub(crate) multiplier: f64,
    /// v_c.
    pub(crate) variance: f64,
}

/// What is known after a fit: enough to predict from.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Posterior {
    pub(crate) hyper: Hyper,
    /// R_0.
    pub(crate) root_reference: f64,
    /// W_0.
    pub(crate) book_weight: f64,
    /// M_0.
    pub(crate) root: f64,
    /// V_0, with the extra variance of the crew's drift.
    pub(crate) root_variance: f64,
    pub(crate) steps: Vec<StepState>,
    pub(crate) cells: Vec<CellState>,
    /// τ_c'².
    pub(crate) class_variance: f64,
    /// ψ'².
    pub(crate) room_variance: f64,
    /// σ_j'².
    pub(crate) job_variance: f64,
    /// φ' of each family.
    pub(crate) grain: Vec<f64>,
    pub(crate) crew_drift: Drift,
    pub(crate) step_drift: Vec<Drift>,
}

/// Fits the tree: hyperparameters, levels, multipliers.
///
/// `fixed` is the prior of each family's fixed amount; `None`: work that has none. A family without records keeps its
/// prior. The search starts at the prior medians, looks at the newest [`SEARCHED`] records, and always takes the same way.
pub(super) fn fit(
    evidence: &Evidence,
    recent: Option<&Evidence>,
    priors: &Priors,
    fixed: &[Option<Prior>],
    trust: f64,
) -> Posterior {
    let mut tree = Tree::new(recent.unwrap_or(evidence), priors, fixed, trust);
    if !evidence.is_empty() {
        for (step, sweeps) in ROUNDS {
            tree.refresh(2);
            tree.search(step, sweeps);
            tree.find_levels();
        }
        tree.refresh(3);
        tree.measure_curvature();
        if recent.is_some() {
            tree = tree.over(evidence);
            tree.refresh(2);
            tree.find_levels();
            tree.refresh(3);
        }
    }
    tree.into_posterior()
}

/// Returns how many of the oldest records the search leaves out, of so many.
pub(super) fn left_out_of_search(records: usize) -> usize {
    records.saturating_sub(SEARCHED)
}

/// The state of a fit.
#[derive(Clone, Debug)]
struct Tree<'a> {
    evidence: &'a Evidence,
    priors: Priors,
    fixed: &'a [Option<Prior>],
    trust_variance: f64,
    hyper: Hyper,
    /// Standard deviations of the logarithms of the hyperparameters.
    sd: Hyper,
    /// R_s, R_0.
    references: (Vec<f64>, f64),
    /// L of each group.
    levels: Vec<f64>,
    /// V_L, V_S.
    level_variance: (f64, Vec<f64>),
    crew_drift: Drift,
    step_drift: Vec<Drift>,
}

impl<'a> Tree<'a> {
    fn new(
        evidence: &'a Evidence,
        priors: &Priors,
        fixed: &'a [Option<Prior>],
        trust: f64,
    ) -> Tree<'a> {
        let all = |of: fn(Prior) -> f64| Hyper {
            fixed: fixed.iter().map(|fixed| fixed.map_or(0.0, of)).collect(),
            grain: vec![of(priors.grain); evidence.families],
            room: of(priors.room),
            job: of(priors.job),
            class: of(priors.class),
            step: of(priors.step),
        };
        Tree {
            evidence,
            priors: *priors,
            fixed,
            trust_variance: priors.trust_variance(trust),
            hyper: all(|prior| prior.median),
            sd: all(|prior| prior.sd),
            references: (vec![1.0; evidence.steps], 1.0),
            levels: vec![1.0; evidence.groups.len()],
            level_variance: (0.0, vec![0.0; evidence.steps]),
            crew_drift: Drift::None,
            step_drift: vec![Drift::None; evidence.steps],
        }
    }

    /// Carries the hyperparameters over to more evidence.
    fn over(self, evidence: &'a Evidence) -> Tree<'a> {
        Tree {
            evidence,
            levels: vec![1.0; evidence.groups.len()],
            ..self
        }
    }

    fn prior(&self, parameter: Parameter) -> Prior {
        match parameter {
            Parameter::Fixed(family) => self.fixed[family].unwrap_or(self.priors.fixed),
            Parameter::Grain(_) => self.priors.grain,
            Parameter::Room => self.priors.room,
            Parameter::Job => self.priors.job,
            Parameter::Class => self.priors.class,
            Parameter::Step => self.priors.step,
        }
    }

    /// Returns the hyperparameters that the records can say something of, in the order of the search.
    fn parameters(&self) -> Vec<Parameter> {
        let seen = (0..self.evidence.families)
            .filter(|family| !self.evidence.cells_of[*family].is_empty());
        let fixed = seen
            .clone()
            .filter(|family| self.fixed[*family].is_some())
            .map(Parameter::Fixed);
        fixed
            .chain(seen.map(Parameter::Grain))
            .chain([
                Parameter::Room,
                Parameter::Job,
                Parameter::Class,
                Parameter::Step,
            ])
            .collect()
    }

    // Upward.

    fn group(&self, place: usize, hyper: &Hyper) -> Node {
        let group = &self.evidence.groups[place];
        let reference = self.references.0[self.evidence.step_of[group.cell]];
        let level = self.levels[place];
        let room = (hyper.room * reference).powi(2);
        let mut jacobian = Logs::default();
        let mut merging: Option<Merging> = None;
        for record in group.records.clone() {
            let range = &self.evidence.parts_of[record];
            let (mut book, mut grain) = (0.0, 0.0);
            for part in &self.evidence.parts[range.start as usize..range.end as usize] {
                let units = part.slope + hyper.fixed[part.family] * part.passes;
                book += units;
                grain += hyper.grain[part.family] * units;
            }
            let levelled = book * level;
            let value = self.evidence.quantities[record] / levelled;
            let precision = 1.0 / (grain / book * reference / levelled + room);
            jacobian.add(levelled);
            merging
                .get_or_insert_with(|| Merging::new(value))
                .add(precision, value);
        }
        let mut node = merging.map_or(Node::default(), Merging::node);
        node.log_likelihood -= jacobian.sum(); // From quantities to ratios: what lets F be learned.
        node
    }

    /// Merges the groups of a cell.
    fn cell(&self, cell: usize, hyper: &Hyper, group: impl Fn(usize) -> Node) -> Option<Node> {
        let job = (hyper.job * self.references.0[self.evidence.step_of[cell]]).powi(2);
        let mut merging: Option<Merging> = None;
        let mut below = 0.0;
        for place in self.evidence.groups_of[cell].clone() {
            let node = group(place);
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
    fn climb(
        &self,
        cells: &[Option<Node>],
        hyper: &Hyper,
    ) -> (Vec<Option<Node>>, Option<Node>, f64) {
        let mut likelihood = 0.0;
        let mut steps: Vec<Option<Merging>> = vec![None; self.evidence.steps];
        for (cell, node) in cells.iter().enumerate() {
            let Some(node) = node else { continue };
            let step = self.evidence.step_of[cell];
            let class = (hyper.class * self.references.0[step]).powi(2);
            likelihood += node.log_likelihood;
            steps[step]
                .get_or_insert_with(|| Merging::new(node.value))
                .add(1.0 / (class + 1.0 / node.precision), node.value);
        }
        let between = (hyper.step * self.references.1).powi(2);
        let mut root: Option<Merging> = None;
        let steps: Vec<Option<Node>> = steps
            .into_iter()
            .map(|merging| {
                let node = merging?.node();
                likelihood += node.log_likelihood;
                root.get_or_insert_with(|| Merging::new(node.value))
                    .add(1.0 / (between + 1.0 / node.precision), node.value);
                Some(node)
            })
            .collect();
        let root = root.map(Merging::node);
        if let Some(root) = root {
            let variance = self.trust_variance + 1.0 / root.precision;
            likelihood += root.log_likelihood
                - 0.5 * libm::log(variance)
                - 0.5 * (root.value - 1.0).powi(2) / variance;
        }
        (steps, root, likelihood)
    }

    fn upward(&self) -> Upward {
        let groups: Vec<Node> = (0..self.evidence.groups.len())
            .map(|place| self.group(place, &self.hyper))
            .collect();
        let cells: Vec<Option<Node>> = (0..self.evidence.step_of.len())
            .map(|cell| self.cell(cell, &self.hyper, |place| groups[place]))
            .collect();
        let (steps, root, log_likelihood) = self.climb(&cells, &self.hyper);
        Upward {
            groups,
            cells,
            steps,
            root,
            log_likelihood,
        }
    }

    // Search.

    fn penalty(&self, parameter: Parameter, value: f64) -> f64 {
        let Prior { median, sd } = self.prior(parameter);
        0.5 * (libm::log(value / median) / sd).powi(2)
    }

    /// Returns the objective with one hyperparameter at another value, from what is known at the present ones.
    ///
    /// Only the cells that the parameter touches are merged again; a spread between classes or steps touches none.
    fn objective_at(&self, up: &Upward, penalties: f64, parameter: Parameter, value: f64) -> f64 {
        let mut hyper = self.hyper.clone();
        *hyper.at_mut(parameter) = value;
        let cells = self.touched(up, parameter, &hyper);
        let (_, _, likelihood) = self.climb(&cells, &hyper);
        likelihood - penalties + self.penalty(parameter, self.hyper.at(parameter))
            - self.penalty(parameter, value)
    }

    fn touched(&self, up: &Upward, parameter: Parameter, hyper: &Hyper) -> Vec<Option<Node>> {
        let mut cells = up.cells.clone();
        match parameter {
            Parameter::Fixed(family) | Parameter::Grain(family) => {
                for cell in &self.evidence.cells_of[family] {
                    cells[*cell] = self.cell(*cell, hyper, |place| self.group(place, hyper));
                }
            }
            Parameter::Room => {
                for (cell, node) in cells.iter_mut().enumerate() {
                    *node = self.cell(cell, hyper, |place| self.group(place, hyper));
                }
            }
            Parameter::Job => {
                for (cell, node) in cells.iter_mut().enumerate() {
                    *node = self.cell(cell, hyper, |place| up.groups[place]);
                }
            }
            Parameter::Class | Parameter::Step => {}
        }
        cells
    }

    /// Takes one hyperparameter to a new value, and what is known with it.
    fn accept(&mut self, up: &mut Upward, parameter: Parameter, value: f64) {
        *self.hyper.at_mut(parameter) = value;
        let again: Vec<usize> = match parameter {
            Parameter::Fixed(family) | Parameter::Grain(family) => {
                self.evidence.cells_of[family].clone()
            }
            Parameter::Room => (0..self.evidence.step_of.len()).collect(),
            Parameter::Job | Parameter::Class | Parameter::Step => Vec::new(),
        };
        for cell in again {
            for place in self.evidence.groups_of[cell].clone() {
                up.groups[place] = self.group(place, &self.hyper);
            }
            up.cells[cell] = self.cell(cell, &self.hyper, |place| up.groups[place]);
        }
        if parameter == Parameter::Job {
            up.cells = self.touched(up, parameter, &self.hyper);
        }
    }

    /// Searches along each hyperparameter in turn, on its logarithm, by parabolas.
    fn search(&mut self, mut step: f64, sweeps: usize) {
        let parameters = self.parameters();
        let mut up = self.upward();
        let mut penalties: f64 = parameters
            .iter()
            .map(|parameter| self.penalty(*parameter, self.hyper.at(*parameter)))
            .sum();
        let mut best = up.log_likelihood - penalties;
        for _ in 0..sweeps {
            for parameter in &parameters {
                let here = self.hyper.at(*parameter);
                let try_at =
                    |value: f64| (self.objective_at(&up, penalties, *parameter, value), value);
                let above = try_at(here * libm::exp(step));
                let below = try_at(here * libm::exp(-step));
                let bend = above.0 - 2.0 * best + below.0;
                let move_by = if bend < 0.0 {
                    (0.5 * (below.0 - above.0) / bend).clamp(-2.0, 2.0) * step
                } else if above.0 > below.0 {
                    step
                } else {
                    -step
                };
                let vertex = try_at(here * libm::exp(move_by));
                let (found, value) =
                    [above, below, vertex]
                        .into_iter()
                        .fold(
                            (best, here),
                            |best, tried| if tried.0 > best.0 { tried } else { best },
                        );
                if value.to_bits() != here.to_bits() {
                    penalties += self.penalty(*parameter, value) - self.penalty(*parameter, here);
                    self.accept(&mut up, *parameter, value);
                    best = found;
                }
            }
            step *= SHRINK;
        }
    }

    /// Measures how well each hyperparameter is known: the curvature of the objective at its mode.
    fn measure_curvature(&mut self) {
        let up = self.upward();
        let parameters = self.parameters();
        let penalties: f64 = parameters
            .iter()
            .map(|parameter| self.penalty(*parameter, self.hyper.at(*parameter)))
            .sum();
        let here = up.log_likelihood - penalties;
        for parameter in parameters {
            let value = self.hyper.at(parameter);
            let at =
                |step: f64| self.objective_at(&up, penalties, parameter, value * libm::exp(step));
            let bend =
                (at(CURVATURE_STEP) - 2.0 * here + at(-CURVATURE_STEP)) / CURVATURE_STEP.powi(2);
            *self.sd.at_mut(parameter) =
                (1.0 / (-bend).max(1e-9).sqrt()).min(self.prior(parameter).sd);
        }
    }

    // Downward.

    /// Takes the references from the estimates of a pass, so many times.
    fn refresh(&mut self, times: usize) {
        for _ in 0..times {
            let posterior = self.downward(&self.upward());
            for (reference, step) in self.references.0.iter_mut().zip(&posterior.steps) {
                *reference = step.multiplier.max(LEAST_REFERENCE);
            }
            self.references.1 = posterior.root.max(LEAST_REFERENCE);
        }
    }

    /// Weighs every node against the one above it: credibility Z = own weight, 1 − Z the parent's.
    ///
    /// Means use the spreads as found; variances use their posterior means, σ² exp(2 s²) and φ exp(s²/2), because spreads
    /// are not known either.
    fn downward(&self, up: &Upward) -> Posterior {
        let inflated = |mode: f64, sd: f64| mode.powi(2) * libm::exp(2.0 * sd.powi(2));
        let (class, step) = (
            inflated(self.hyper.class, self.sd.class),
            inflated(self.hyper.step, self.sd.step),
        );
        let known = |node: &Option<Node>| node.unwrap_or_default();
        let root = known(&up.root);
        let book_weight = 1.0 / (1.0 + self.trust_variance * root.precision);
        let root_multiplier = book_weight + (1.0 - book_weight) * root.value;
        let root_reference = self.references.1.powi(2);
        let steps: Vec<StepState> = up
            .steps
            .iter()
            .enumerate()
            .map(|(place, node)| {
                let node = known(node);
                let (credibility, variance) = weigh(
                    self.hyper.step.powi(2) * root_reference,
                    step * root_reference,
                    node.precision,
                );
                StepState {
                    reference: self.references.0[place],
                    credibility,
                    multiplier: credibility * node.value + (1.0 - credibility) * root_multiplier,
                    variance: variance + self.level_variance.1[place],
                }
            })
            .collect();
        let cells = up
            .cells
            .iter()
            .zip(&self.evidence.step_of)
            .map(|(node, step)| {
                let (node, step) = (known(node), steps[*step]);
                let reference = step.reference.powi(2);
                let (credibility, variance) = weigh(
                    self.hyper.class.powi(2) * reference,
                    class * reference,
                    node.precision,
                );
                let multiplier = credibility * node.value + (1.0 - credibility) * step.multiplier;
                CellState {
                    credibility,
                    multiplier: multiplier.max(LEAST_MULTIPLIER),
                    variance,
                }
            })
            .collect();
        let grains = self.hyper.grain.iter().zip(&self.sd.grain);
        Posterior {
            hyper: self.hyper.clone(),
            root_reference: self.references.1,
            book_weight,
            root: root_multiplier,
            root_variance: self.trust_variance * book_weight
                + self.level_variance.0 * root_multiplier.powi(2),
            steps,
            cells,
            class_variance: class,
            room_variance: inflated(self.hyper.room, self.sd.room),
            job_variance: inflated(self.hyper.job, self.sd.job),
            grain: grains
                .map(|(mode, sd)| mode * libm::exp(0.5 * sd.powi(2)))
                .collect(),
            crew_drift: self.crew_drift,
            step_drift: self.step_drift.clone(),
        }
    }

    fn into_posterior(self) -> Posterior {
        self.downward(&self.upward())
    }

    // Drift.

    /// Looks for a level that is common to the whole crew, then for one of each step on top of it.
    fn find_levels(&mut self) {
        let all: Vec<usize> = (0..self.evidence.groups.len()).collect();
        self.levels.fill(1.0);
        self.level_variance = (0.0, vec![0.0; self.evidence.steps]);
        self.crew_drift = Drift::None;
        self.step_drift.fill(Drift::None);
        let crew = self.days_of(&all);
        for _ in 0..4 {
            let ratios = self.ratios(None);
            let level = crew.level_of_crew(&ratios, 0.5 * self.hyper.job.powi(2));
            self.level_variance.0 = level.variance;
            self.crew_drift = level.drift;
            self.levels.fill(1.0);
            self.apply(&all, &level, None);
            if !level.drift.is_level() {
                break;
            }
        }
        let base = self.levels.clone();
        let by_step: Vec<(usize, Vec<usize>, Series)> = (0..self.evidence.steps)
            .map(|step| {
                let groups: Vec<usize> = all
                    .iter()
                    .copied()
                    .filter(|place| {
                        self.evidence.step_of[self.evidence.groups[*place].cell] == step
                    })
                    .collect();
                let days = self.days_of(&groups);
                (step, groups, days)
            })
            .filter(|(_, groups, _)| groups.len() >= FEWEST_GROUPS)
            .collect();
        for _ in 0..3 {
            let ratios = self.ratios(Some(&base));
            self.levels.clone_from(&base);
            for (step, groups, days) in &by_step {
                let ratios: Vec<(f64, f64)> = groups.iter().map(|place| ratios[*place]).collect();
                let level = days.level_of_step(&ratios);
                self.level_variance.1[*step] = level.variance;
                self.step_drift[*step] = level.drift;
                self.apply(groups, &level, Some(&base));
            }
        }
    }

    fn days_of(&self, groups: &[usize]) -> Series {
        Series::new(groups.iter().map(|place| self.evidence.groups[*place].day))
    }

    /// Returns ratio to the cell's multiplier, and weight, of each group; the level it was divided by is put back, as far
    /// as it isn't in `base`.
    fn ratios(&self, base: Option<&[f64]>) -> Vec<(f64, f64)> {
        let up = self.upward();
        let posterior = self.downward(&up);
        let groups = self.evidence.groups.iter().zip(&up.groups).enumerate();
        groups
            .map(|(place, (group, node))| {
                let multiplier = posterior.cells[group.cell].multiplier;
                let reference = self.references.0[self.evidence.step_of[group.cell]];
                let variance = (self.hyper.job * reference).powi(2) + 1.0 / node.precision;
                let level = self.levels[place] / base.map_or(1.0, |base| base[place]);
                (
                    node.value * level / multiplier,
                    multiplier.powi(2) / variance,
                )
            })
            .collect()
    }

    fn apply(&mut self, groups: &[usize], level: &Level, base: Option<&[f64]>) {
        for (place, at) in groups.iter().zip(&level.of_members) {
            self.levels[*place] = base.map_or(1.0, |base| base[*place]) * at;
        }
    }
}

/// Returns credibility and posterior variance of a node whose variance about its parent is `own` (`inflated` for the
/// variance), and which was measured with that precision.
fn weigh(own: f64, inflated: f64, precision: f64) -> (f64, f64) {
    (
        own * precision / (1.0 + own * precision),
        inflated / (1.0 + inflated * precision),
    )
}

#[cfg(test)]
mod tests;
