//! Which operation, floor and date stands where in the trees.

use std::collections::BTreeMap;

use super::book::best_fit;
use super::fit::Filed;
use super::float::float;
use super::records::Placed;
use super::tree::{BookPart, Prior, Priors, TypicalRoom};
use super::{Book, BookRate, Change, FloorClass, Observation, Observations, RateKind};
use crate::money::Decimal;
use crate::trade::operation::{Driver, Operation, Splits};
use crate::trade::{FloorCondition, OperationId, Species, TaskId, Unit, closed_set};
use chrono::NaiveDate;

closed_set! {
    /// The three kinds of consumption, each learned by a tree of its own.
    Consumption, "kind of consumption" {
        /// Counted items, in sets.
        Discs = "discs",
        /// Measured items, in gallons.
        Finish = "finish",
        /// Hours.
        Hours = "hours",
    }
}

/// US gallons in a litre: 1 / 3.785411784 (NIST Handbook 44, appendix C).
const GALLONS_PER_LITRE: f64 = 1.0 / 3.785_411_784;

impl Consumption {
    /// Returns what an operation's rate of that kind belongs to.
    pub fn of(operation: &Operation, kind: RateKind) -> Consumption {
        match (kind, operation.set_size) {
            (RateKind::Hours, _) => Consumption::Hours,
            (RateKind::Item, Some(_)) => Consumption::Discs,
            (RateKind::Item, None) => Consumption::Finish,
        }
    }

    /// Returns the priors of its hyperparameters: judged from the ranges that the trade knows, without a published source.
    pub(super) fn priors(self) -> Priors {
        let prior = |median, sd| Prior { median, sd };
        let room = |units| TypicalRoom {
            driver: 180.0,
            units,
        };
        match self {
            Consumption::Discs => Priors {
                fixed: prior(0.30, 0.7),
                dispersion: prior(0.30, 0.5),
                room: prior(0.15, 0.4),
                job: prior(0.12, 0.4),
                class: prior(0.18, 0.4),
                step: prior(0.12, 0.4),
                typical: room(2.4),
            },
            Consumption::Finish => Priors {
                fixed: prior(0.06, 0.5),
                dispersion: prior(0.001, 1.0),
                room: prior(0.10, 0.4),
                job: prior(0.06, 0.4),
                class: prior(0.07, 0.4),
                step: prior(0.07, 0.4),
                typical: room(0.45),
            },
            Consumption::Hours => Priors {
                fixed: prior(0.30, 0.6),
                dispersion: prior(0.005, 1.0),
                room: prior(0.20, 0.4),
                job: prior(0.13, 0.4),
                class: prior(0.13, 0.4),
                step: prior(0.12, 0.4),
                typical: room(2.25),
            },
        }
    }
}

/// What a step is about: items are learned per operation, hours per task.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Subject {
    Operation(OperationId),
    Task(TaskId),
}

impl Subject {
    fn of(operation: &Operation, kind: RateKind) -> Subject {
        match kind {
            RateKind::Item => Subject::Operation(operation.id),
            RateKind::Hours => Subject::Task(operation.task.id),
        }
    }
}

/// The number of a floor, as far as its cell tells floors apart.
pub(super) type Code = usize;

/// The cell of records over several floors.
const MIXED: Code = (FloorCondition::ALL.len() + 1) * (Species::ALL.len() + 1);
/// How many codes there are.
pub(super) const CODES: usize = MIXED + 1;

/// Returns the code of a floor; `None`: any.
pub(super) fn code(condition: Option<FloorCondition>, species: Option<Species>) -> Code {
    let condition = condition.map_or(0, |condition| condition as usize + 1);
    let species = species.map_or(0, |species| species as usize + 1);
    condition * (Species::ALL.len() + 1) + species
}

/// Returns the floor of a code.
pub(super) fn floor_of(code: Code) -> (Option<FloorCondition>, Option<Species>) {
    let (condition, species) = (
        code / (Species::ALL.len() + 1),
        code % (Species::ALL.len() + 1),
    );
    let named = |place: usize| place.checked_sub(1);
    (
        named(condition).and_then(|place| FloorCondition::ALL.get(place).copied()),
        named(species).and_then(|place| Species::ALL.get(place).copied()),
    )
}

/// What the book expects of one driver unit and of one pass on a floor, in units of the tree.
#[derive(Clone, Copy, Debug)]
struct Expected {
    per_driver: f64,
    /// In multiples of the family's fixed amount.
    fixed: f64,
}

/// How an operation's rate of one kind is learned: its place in the tree, and what the book expects.
#[derive(Clone, Debug)]
pub(super) struct Learning {
    pub(super) consumption: Consumption,
    /// Its place among the plans.
    pub(super) index: usize,
    /// The first of its steps; every change that its owner dated begins the next.
    first_step: usize,
    changes: Vec<NaiveDate>,
    /// What cells tell apart.
    pub(super) splits: Splits,
    pub(super) family: usize,
    /// Items a unit: the discs of a set, the litres of a gallon, else 1.
    pub(super) items_per_unit: f64,
    /// Whether it goes over a floor or along its edge: then a pass takes its family's fixed amount where the book states
    /// none.
    pub(super) covers_floor: bool,
    /// What the book expects on each floor, in the order of [`floors`].
    expected: Vec<Option<Expected>>,
}

impl Learning {
    /// Returns the step that work on that date belongs to; `None`: as things are now.
    pub(super) fn step(&self, on: Option<NaiveDate>) -> usize {
        let changes = &self.changes;
        let epoch = on.map_or(changes.len(), |on| {
            changes.partition_point(|since| *since <= on)
        });
        self.first_step + epoch
    }

    pub(super) fn code(&self, class: FloorClass) -> Code {
        code(
            self.splits.by_condition().then_some(class.condition),
            self.splits.by_species().then_some(class.species),
        )
    }
}

/// A family of operations in one tree.
#[derive(Clone, Debug, Default)]
struct Family {
    /// Fixed amounts above zero that its book states, in units.
    stated: Vec<f64>,
    /// Whether the book states no fixed amount for some of its work over a floor or along its edge.
    is_open: bool,
}

/// The families of the three trees, numbered as they come.
#[derive(Default)]
struct Families<'a> {
    places: [BTreeMap<&'a str, usize>; 3],
    of: [Vec<Family>; 3],
}

impl<'a> Families<'a> {
    fn place(&mut self, consumption: Consumption, name: &'a str) -> usize {
        let families = &mut self.of[consumption as usize];
        let places = &mut self.places[consumption as usize];
        *places.entry(name).or_insert_with(|| {
            families.push(Family::default());
            families.len() - 1
        })
    }

    /// Returns the prior of the fixed amount of each family of a tree.
    fn priors(&self, consumption: Consumption) -> Vec<Option<Prior>> {
        let typical = consumption.priors().fixed;
        let families = self.of[consumption as usize].iter();
        families.map(|family| family.prior(typical)).collect()
    }
}

/// The steps and families of one tree.
#[derive(Clone, Debug, Default)]
pub(super) struct Pool {
    /// The first step of each subject.
    first_steps: BTreeMap<Subject, usize>,
    steps: usize,
    /// Prior of each family's fixed amount; `None`: it has none.
    pub(super) fixed: Vec<Option<Prior>>,
}

impl Pool {
    pub(super) fn steps(&self) -> usize {
        self.steps
    }
}

/// The place of every operation in the trees.
#[derive(Clone, Debug)]
pub(super) struct Scheme {
    plans: BTreeMap<(OperationId, RateKind), Learning>,
    pools: [Pool; 3],
}

/// Where a quantity belongs.
#[derive(Clone, Copy, Debug)]
pub(super) struct CellAt {
    pub(super) consumption: Consumption,
    pub(super) step: usize,
    pub(super) code: Code,
    pub(super) items_per_unit: f64,
}

/// One room's or one part's work, as the book measures it.
#[derive(Clone, Copy, Debug)]
pub(super) struct BookWork {
    pub(super) operation: OperationId,
    pub(super) class: FloorClass,
    pub(super) driver: Decimal,
    pub(super) passes: u32,
}

impl Scheme {
    pub(super) fn new(
        book: &Book,
        operations: &BTreeMap<OperationId, Operation>,
        changes: &[Change],
    ) -> Scheme {
        let mut scheme = Scheme {
            plans: BTreeMap::new(),
            pools: Default::default(),
        };
        let dates = dates_of_changes(operations, changes);
        let mut families = Families::default();
        for operation in operations.values() {
            for kind in RateKind::ALL.iter().copied() {
                if kind == RateKind::Item && operation.item.is_none() {
                    continue;
                }
                let consumption = Consumption::of(operation, kind);
                let subject = Subject::of(operation, kind);
                let changes = dates.get(&subject).cloned().unwrap_or_default();
                let pool = &mut scheme.pools[consumption as usize];
                let plan = Learning {
                    consumption,
                    index: scheme.plans.len(),
                    first_step: pool.steps_of(subject, changes.len() + 1),
                    changes,
                    splits: splits(operation, kind, operations),
                    family: families.place(consumption, &operation.family),
                    items_per_unit: items_per_unit(operation, kind),
                    covers_floor: covers_floor(operation),
                    expected: Vec::new(),
                };
                families.of[consumption as usize][plan.family].note(
                    book,
                    operation,
                    kind,
                    plan.items_per_unit,
                );
                scheme.plans.insert((operation.id, kind), plan);
            }
        }
        for consumption in Consumption::ALL.iter().copied() {
            scheme.pools[consumption as usize].fixed = families.priors(consumption);
        }
        for (operation, kind) in scheme.plans.keys().copied().collect::<Vec<_>>() {
            scheme.expect(book, operation, kind);
        }
        scheme
    }

    /// Works out what the book expects of an operation on every floor.
    fn expect(&mut self, book: &Book, operation: OperationId, kind: RateKind) {
        let Some(plan) = self.plans.get_mut(&(operation, kind)) else {
            return;
        };
        let at = plan.consumption as usize;
        let fixed = self.pools[at].fixed[plan.family];
        let rows = book.rows_of(operation, kind);
        let expected = rows.iter().map(|row| Expected {
            per_driver: 1.0 / float(row.driver_per_item) / plan.items_per_unit,
            fixed: match (fixed, row.fixed) {
                (Some(prior), Some(stated)) => float(stated) / plan.items_per_unit / prior.median,
                (Some(_), None) if plan.covers_floor => 1.0,
                (None, _) | (Some(_), None) => 0.0,
            },
        });
        let expected: Vec<Expected> = expected.collect();
        let floors = floors().map(|class| best_fit(rows, class).map(|place| expected[place]));
        plan.expected = floors.collect();
    }

    pub(super) fn pool(&self, consumption: Consumption) -> &Pool {
        &self.pools[consumption as usize]
    }

    pub(super) fn plan(&self, operation: OperationId, kind: RateKind) -> Option<&Learning> {
        self.plans.get(&(operation, kind))
    }

    /// Returns which operation and kind each plan is for, by its index.
    pub(super) fn by_index(&self) -> Vec<(OperationId, RateKind)> {
        let mut plans: Vec<_> = self.plans.iter().collect();
        plans.sort_by_key(|(_, plan)| plan.index);
        plans.into_iter().map(|(key, _)| *key).collect()
    }

    /// Returns where work belongs, and puts what the book expects of it into `parts`.
    ///
    /// Returns `None` if the book has no rate for some of it, if it expects nothing, or if it belongs to several steps.
    pub(super) fn place(
        &self,
        kind: RateKind,
        on: Option<NaiveDate>,
        work: impl Iterator<Item = BookWork>,
        parts: &mut Vec<BookPart>,
    ) -> Option<CellAt> {
        let mut place: Option<CellAt> = None;
        let mut units = 0.0;
        for work in work {
            let plan = self.plan(work.operation, kind)?;
            let expected = plan.expected[floor(work.class)]?;
            let part = BookPart {
                family: plan.family,
                slope: expected.per_driver * float(work.driver),
                passes: expected.fixed * f64::from(work.passes),
            };
            let fixed = self.pool(plan.consumption).fixed[plan.family];
            units += part.slope + fixed.map_or(0.0, |fixed| fixed.median * part.passes);
            parts.push(part);
            let here = CellAt {
                consumption: plan.consumption,
                step: plan.step(on),
                code: plan.code(work.class),
                items_per_unit: plan.items_per_unit,
            };
            match &mut place {
                None => place = Some(here),
                Some(first) if (first.consumption, first.step) != (here.consumption, here.step) => {
                    return None;
                }
                Some(first) if first.code != here.code => first.code = MIXED,
                Some(_) => {}
            }
        }
        place.filter(|_| units > 0.0)
    }
}

impl Scheme {
    /// Returns an observation as a record of its tree, with its parts in `parts`; `None`: it belongs to none.
    pub(super) fn placed<'a>(
        &self,
        filed: Filed<'_>,
        parts: &'a mut Vec<BookPart>,
    ) -> Option<Placed<'a>> {
        let Filed {
            observations,
            place,
            job,
        } = filed;
        let observation = observations.at(place);
        let (kind, day) = (observation.kind, observation.finished_on);
        let at = self.place(kind, Some(day), observations.work_of(place), parts)?;
        Some(Placed {
            at,
            job,
            day,
            units: at.units(observation.quantity),
            parts,
        })
    }
}

/// Returns the days from which each subject is learned anew.
fn dates_of_changes(
    operations: &BTreeMap<OperationId, Operation>,
    changes: &[Change],
) -> BTreeMap<Subject, Vec<NaiveDate>> {
    let mut dates: BTreeMap<Subject, Vec<NaiveDate>> = BTreeMap::new();
    for change in changes {
        if let Some(operation) = operations.get(&change.operation) {
            let subject = Subject::of(operation, change.kind);
            dates.entry(subject).or_default().push(change.since);
        }
    }
    for dates in dates.values_mut() {
        dates.sort_unstable();
        dates.dedup();
    }
    dates
}

impl Observations {
    pub(super) fn work_of(&self, place: usize) -> impl Iterator<Item = BookWork> {
        self.parts_of(place).map(|part| BookWork {
            operation: part.operation,
            class: part.class,
            driver: part.driver,
            passes: part.passes,
        })
    }
}

impl Observation {
    pub(super) fn work(&self) -> impl Iterator<Item = BookWork> {
        self.parts.iter().map(|part| BookWork {
            operation: part.operation,
            class: part.class,
            driver: part.driver,
            passes: part.passes,
        })
    }
}

impl Pool {
    /// Returns the first of the `count` steps of a subject, making room for them when it is first asked for.
    fn steps_of(&mut self, subject: Subject, count: usize) -> usize {
        let next = self.steps;
        let first = *self.first_steps.entry(subject).or_insert(next);
        if first == next {
            self.steps += count;
        }
        first
    }
}

impl Family {
    fn note(&mut self, book: &Book, operation: &Operation, kind: RateKind, items_per_unit: f64) {
        let rows = book.rows_of(operation.id, kind);
        self.is_open |= covers_floor(operation) && rows.iter().any(|row| row.fixed.is_none());
        let stated = rows.iter().filter_map(|row: &BookRate| row.fixed);
        let stated = stated.map(|fixed| float(fixed) / items_per_unit);
        self.stated.extend(stated.filter(|fixed| *fixed > 0.0));
    }

    /// Returns the prior of the fixed amount: the mean of what the book states, else the typical one of work on floors of
    /// which the book says nothing.
    fn prior(&self, typical: Prior) -> Option<Prior> {
        let count = self.stated.len();
        if count > 0 {
            let median = self.stated.iter().sum::<f64>() / count as f64;
            return Some(Prior { median, ..typical });
        }
        self.is_open.then_some(typical)
    }
}

fn covers_floor(operation: &Operation) -> bool {
    matches!(operation.driver, Driver::Area | Driver::Edge)
}

/// Returns what cells tell apart; those of a task tell apart what those of any of its operations do.
fn splits(
    operation: &Operation,
    kind: RateKind,
    operations: &BTreeMap<OperationId, Operation>,
) -> Splits {
    match kind {
        RateKind::Item => operation.splits,
        RateKind::Hours => operations
            .values()
            .filter(|other| other.task.id == operation.task.id)
            .fold(operation.splits, |splits, other| splits.or(other.splits)),
    }
}

fn items_per_unit(operation: &Operation, kind: RateKind) -> f64 {
    match (kind, operation.set_size, &operation.item) {
        (RateKind::Item, Some(size), _) => f64::from(size),
        (RateKind::Item, None, Some(item)) if item.unit == Unit::Litre => 1.0 / GALLONS_PER_LITRE,
        (RateKind::Item | RateKind::Hours, ..) => 1.0,
    }
}

/// Returns every floor, in the order of [`floor`].
fn floors() -> impl Iterator<Item = FloorClass> {
    FloorCondition::ALL.iter().flat_map(|condition| {
        Species::ALL.iter().map(|species| FloorClass {
            condition: *condition,
            species: *species,
        })
    })
}

fn floor(class: FloorClass) -> usize {
    class.condition as usize * Species::ALL.len() + class.species as usize
}
