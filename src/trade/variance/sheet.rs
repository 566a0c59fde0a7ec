//! How the two sides of a job's lines are gathered.

use std::collections::{BTreeMap, BTreeSet};

use super::{Actual, LineKind, Side, Subject, Variance, VarianceLine, rental};
use crate::money::{Currency, Decimal, Money, product};
use crate::trade::job_cost::{CostPart, DRIVING, Logged, Quoted, What, spread, totals};
use crate::trade::operation::Task;
use crate::trade::quote::{Line, LineKind as QuoteLine, WorkLine};
use crate::trade::trips::Trips;
use crate::trade::{CostKind, ItemId, OperationId, RoomId, TaskId, Unit};

/// Compares the lines of a job's quotes with what was logged on it, line by line, by kind and room.
///
/// `overhead` is charged on the labour that was logged; `operation_names` names operations that were logged but not
/// quoted.
pub fn compare(
    quotes: &[Quoted<'_>],
    logged: &[Logged],
    overhead: Decimal,
    operation_names: impl Fn(OperationId) -> String,
    currency: Currency,
) -> Variance {
    let work: Vec<&WorkLine> = quotes.iter().flat_map(Quoted::work).collect();
    let parts: Vec<(&Logged, CostPart)> = logged
        .iter()
        .flat_map(|cost| {
            spread(cost, &work)
                .into_iter()
                .map(move |part| (cost, part))
        })
        .collect();
    let mut sheet = Sheet {
        by_operation: named_by_operation(&parts, &work),
        work,
        pairs: BTreeMap::new(),
        lumps: BTreeMap::new(),
        currency,
    };
    for quoted in quotes {
        for line in quoted.lines {
            sheet.add_quoted(line, quoted.hour);
        }
    }
    for (cost, part) in &parts {
        sheet.add_logged(cost, *part, &operation_names);
    }
    sheet.place_lumps();
    let overhead = sheet.overhead(quotes, logged, overhead);
    let pairs = sheet.pairs.into_values();
    let mut lines: Vec<VarianceLine> = pairs
        .flat_map(|pair| pair.into_lines(currency))
        .chain(overhead)
        .chain(rental::lines(quotes, logged))
        .collect();
    lines.sort_by(|one, other| one.subject.cmp(&other.subject));
    Variance { lines }
}

/// A task in a room (or the job).
type TaskAt = (Option<RoomId>, TaskId);

/// Returns where every logged hour of a task names its operation.
fn named_by_operation(parts: &[(&Logged, CostPart)], work: &[&WorkLine]) -> BTreeSet<TaskAt> {
    let mut named: BTreeMap<TaskAt, bool> = BTreeMap::new();
    for (cost, part) in parts {
        if let Some(task) = task_of(&cost.what, work) {
            *named.entry((part.room, task.id)).or_insert(true) &= part.operation.is_some();
        }
    }
    let all = named.into_iter().filter(|(_, all)| *all);
    all.map(|(place, _)| place).collect()
}

/// Returns the task of logged hours: of a planned operation the one that it was quoted under.
fn task_of<'a>(what: &'a What, work: &[&'a WorkLine]) -> Option<&'a Task> {
    let What::Hours { task, operation } = what else {
        return None;
    };
    let planned = work.iter().find(|line| Some(line.operation) == *operation);
    planned.map(|line| &line.task).or(task.as_ref())
}

/// What tells one line from another: identities, since names change.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Key {
    Item(Option<RoomId>, Option<OperationId>, ItemId, Unit),
    Labour(Option<RoomId>, Option<TaskId>, Option<OperationId>),
    Opened(ItemId),
    /// Hours on the road, of the whole job.
    Road,
    /// What it was for, in small letters: `Disposal` is `disposal`.
    Other(Option<RoomId>, String, Unit),
}

/// The two sides of a line while they are gathered.
#[derive(Clone, Debug)]
struct Pair {
    subject: Subject,
    quoted: Side,
    /// The quoted quantities at their unit prices, not rounded.
    at_unit_prices: Decimal,
    operations: BTreeSet<OperationId>,
    might: Money,
    /// `None`: nothing was logged.
    actual: Option<Side>,
    /// Corrections of cost, which say nothing about a quantity.
    corrected: Money,
}

impl Pair {
    fn new(subject: Subject) -> Pair {
        Pair {
            subject,
            quoted: Side::default(),
            at_unit_prices: Decimal::ZERO,
            operations: BTreeSet::new(),
            might: Money::ZERO,
            actual: None,
            corrected: Money::ZERO,
        }
    }

    fn plan(&mut self, quantity: Decimal, unit_price: Decimal, cost: Money) {
        self.quoted.add(Side { quantity, cost });
        self.at_unit_prices += product([quantity, unit_price]);
    }

    fn plan_work(&mut self, line: &WorkLine, quantity: Decimal, unit_price: Decimal, cost: Money) {
        self.plan(quantity, unit_price, cost);
        self.operations.insert(line.operation);
        if only_might(line) {
            self.might += cost;
        }
    }

    fn plan_at_cost(&mut self, quantity: Decimal, cost: Money, currency: Currency) {
        self.quoted.add(Side { quantity, cost });
        self.at_unit_prices += currency.decimal(cost);
    }

    /// Plans a lump of money.
    fn plan_lump(&mut self, cost: Money, currency: Currency) {
        self.plan_at_cost(Decimal::ONE, cost, currency);
    }

    fn into_lines(self, currency: Currency) -> Vec<VarianceLine> {
        let quoted = self.quoted;
        let standard = (!quoted.quantity.is_zero()).then(|| self.at_unit_prices / quoted.quantity);
        let Some(mut side) = self.actual else {
            let mut lines = Vec::new();
            if quoted != Side::default() {
                lines.push(VarianceLine {
                    subject: self.subject.clone(),
                    quoted,
                    quoted_unit_price: standard,
                    actual: Actual::NotRecorded {
                        operations: self.operations,
                        might: self.might,
                    },
                });
            }
            if !self.corrected.is_zero() {
                // Handed back and never used: a cost of its own, and no word on what was used.
                let subject = self.subject.of_operation(HANDED_BACK);
                let side = Side {
                    quantity: Decimal::ZERO,
                    cost: self.corrected,
                };
                let nothing = Side::default();
                lines.push(VarianceLine::recorded(
                    subject, nothing, None, side, currency,
                ));
            }
            return lines;
        };
        side.cost += self.corrected;
        vec![VarianceLine::recorded(
            self.subject,
            quoted,
            standard,
            side,
            currency,
        )]
    }
}

/// Everything that is compared, by what it is.
struct Sheet<'a> {
    work: Vec<&'a WorkLine>,
    by_operation: BTreeSet<TaskAt>,
    pairs: BTreeMap<Key, Pair>,
    /// Lumps that were quoted for the job, with the words that the quote has for them.
    lumps: BTreeMap<String, (&'a str, Money)>,
    currency: Currency,
}

impl<'a> Sheet<'a> {
    fn pair(&mut self, key: Key, subject: impl FnOnce() -> Subject) -> &mut Pair {
        self.pairs
            .entry(key)
            .or_insert_with(|| Pair::new(subject()))
    }

    fn labour_key(&self, line: &WorkLine) -> Key {
        let place = (line.room, line.task.id);
        let operation = self.by_operation.contains(&place).then_some(line.operation);
        Key::Labour(line.room, Some(line.task.id), operation)
    }

    fn add_quoted(&mut self, line: &'a Line, hour: Decimal) {
        let currency = self.currency;
        match line {
            Line::Work(work) => self.add_work(work, hour),
            Line::Opened {
                item,
                name,
                unit,
                left,
                cost,
            } => {
                let pair = self.pair(Key::Opened(*item), || opened_subject(name, *unit));
                pair.plan_at_cost(*left, *cost, currency);
            }
            Line::Trips(trips) => self.add_trips(trips, hour),
            Line::Other { what, cost } => {
                let (_, lump) = self
                    .lumps
                    .entry(what.to_lowercase())
                    .or_insert((what, Money::ZERO));
                *lump += *cost;
            }
            Line::Rental { .. } | Line::Overhead { .. } => {}
        }
    }

    /// Adds what is driven, which is compared with all that was driven for the job, and the hours on the road.
    fn add_trips(&mut self, trips: &Trips, hour: Decimal) {
        let driven = trips.driven();
        let key = Key::Other(None, DRIVING.to_owned(), trips.unit);
        let pair = self.pair(key, || other_subject(None, DRIVING, trips.unit));
        pair.plan(driven, trips.rate, trips.cost);
        if !trips.hours.is_zero() {
            self.pair(Key::Road, road_subject)
                .plan(trips.hours, hour, trips.labour);
        }
    }

    fn add_work(&mut self, work: &WorkLine, hour: Decimal) {
        if let Some(item) = &work.item {
            let key = Key::Item(work.room, Some(work.operation), item.id, item.unit);
            let subject =
                || item_subject(work.room, Some(work.name.clone()), &item.name, item.unit);
            self.pair(key, subject)
                .plan_work(work, item.expected, item.unit_price, item.cost);
        }
        let key = self.labour_key(work);
        let by_operation = matches!(key, Key::Labour(.., Some(_)));
        let name = if by_operation {
            &work.name
        } else {
            &work.task.name
        };
        self.pair(key, || labour_subject(work.room, Some(name.clone())))
            .plan_work(work, work.hours, hour, work.labour);
    }

    fn add_logged(
        &mut self,
        cost: &Logged,
        part: CostPart,
        operation_names: &impl Fn(OperationId) -> String,
    ) {
        let name_of = |operation: OperationId| {
            let planned = self.work.iter().find(|line| line.operation == operation);
            planned.map_or_else(|| operation_names(operation), |line| line.name.clone())
        };
        let (room, named) = (part.room, part.operation.map(name_of));
        let (key, subject) = match &cost.what {
            What::Hours { .. } => {
                let task = task_of(&cost.what, &self.work);
                let apart = task.is_some_and(|task| self.by_operation.contains(&(room, task.id)));
                let operation = part.operation.filter(|_| apart);
                let name = named
                    .filter(|_| apart)
                    .or_else(|| task.map(|task| task.name.clone()));
                let key = Key::Labour(room, task.map(|task| task.id), operation);
                (key, labour_subject(room, name))
            }
            What::OnTheRoad => (Key::Road, road_subject()),
            What::Item {
                item, name, unit, ..
            } => (
                Key::Item(room, part.operation, *item, *unit),
                item_subject(room, named, name, *unit),
            ),
            What::LeftOver { item, name, unit } => {
                (Key::Opened(*item), opened_subject(name, *unit))
            }
            What::Rental { .. } => return,
            What::Other { label, unit } => {
                let quoted = Key::Other(None, label.to_lowercase(), *unit);
                // What is driven was quoted for the job, whatever room it is logged in.
                let of_job = *unit != Unit::Each && self.pairs.contains_key(&quoted);
                let room = room.filter(|_| !of_job);
                (
                    Key::Other(room, label.to_lowercase(), *unit),
                    other_subject(room, label, *unit),
                )
            }
        };
        let one_thing = matches!(key, Key::Other(.., Unit::Each));
        let pair = self.pair(key, || subject);
        if cost.correction {
            pair.corrected += part.cost;
            return;
        }
        let side = pair.actual.get_or_insert_default();
        side.add(Side {
            quantity: part.quantity,
            cost: part.cost,
        });
        if one_thing {
            // Money spent twice for one thing is still one thing: only its price differs.
            side.quantity = Decimal::ONE;
        }
    }

    /// Puts each lump that was quoted for the job where it was spent, by what was spent there.
    fn place_lumps(&mut self) {
        for (label, (what, cost)) in std::mem::take(&mut self.lumps) {
            let spent: Vec<(Key, Decimal)> = self
                .pairs
                .iter()
                .filter(
                    |(key, _)| matches!(key, Key::Other(_, spent, Unit::Each) if *spent == label),
                )
                .filter_map(|(key, pair)| {
                    let spent = pair.actual?.cost;
                    Some((key.clone(), Decimal::from(spent.minor())))
                })
                .collect();
            if spent.is_empty() {
                let currency = self.currency;
                let key = Key::Other(None, label, Unit::Each);
                self.pair(key, || other_subject(None, what, Unit::Each))
                    .plan_lump(cost, currency);
                continue;
            }
            let weights: Vec<Decimal> = spent.iter().map(|(_, weight)| *weight).collect();
            for ((key, _), share) in spent.into_iter().zip(cost.spread(&weights)) {
                if let Some(pair) = self.pairs.get_mut(&key) {
                    pair.subject.item = Some(what.to_owned());
                    pair.plan_lump(share, self.currency);
                }
            }
        }
    }

    /// Returns the lines of overhead: that on hours which were logged beside what it came to, and that on the others.
    fn overhead(
        &self,
        quotes: &[Quoted<'_>],
        logged: &[Logged],
        overhead: Decimal,
    ) -> Vec<VarianceLine> {
        let [mut on_logged, mut on_sure, mut on_might] = [Money::ZERO; 3];
        let mut operations = BTreeSet::new();
        for quoted in quotes {
            let mut labour = [Money::ZERO; 3];
            for line in quoted.work() {
                let pair = self.pairs.get(&self.labour_key(line));
                let logged = pair.is_some_and(|pair| pair.actual.is_some());
                if !logged {
                    operations.insert(line.operation);
                }
                labour[match (logged, only_might(line)) {
                    (true, _) => 0,
                    (false, false) => 1,
                    (false, true) => 2,
                }] += line.labour;
            }
            let driving = quoted
                .lines
                .iter()
                .filter(|line| line.kind() == QuoteLine::Trips);
            let on_the_road = self.pairs.get(&Key::Road);
            let logged = on_the_road.is_some_and(|pair| pair.actual.is_some());
            labour[usize::from(!logged)] += driving.map(Line::labour).sum();
            let weights = labour.map(|labour| Decimal::from(labour.minor()));
            let charged = quoted.lines.iter().map(|line| match line {
                Line::Overhead { cost } => *cost,
                Line::Work(_)
                | Line::Rental { .. }
                | Line::Trips(_)
                | Line::Opened { .. }
                | Line::Other { .. } => Money::ZERO,
            });
            if let [logged, sure, might] = charged.sum::<Money>().spread(&weights)[..] {
                on_logged += logged;
                on_sure += sure;
                on_might += might;
            }
        }
        let once = |cost: Money| Side {
            quantity: if cost.is_zero() {
                Decimal::ZERO
            } else {
                Decimal::ONE
            },
            cost,
        };
        let (quoted, actual) = (once(on_logged), once(totals(logged, overhead).overhead));
        let mut lines = Vec::new();
        if (quoted, actual) != (Side::default(), Side::default()) {
            let standard = quoted.unit_price(self.currency);
            lines.push(VarianceLine::recorded(
                overhead_subject(),
                quoted,
                standard,
                actual,
                self.currency,
            ));
        }
        let quoted = once(on_sure + on_might);
        if quoted != Side::default() {
            lines.push(VarianceLine {
                subject: overhead_subject(),
                quoted,
                quoted_unit_price: quoted.unit_price(self.currency),
                actual: Actual::NotRecorded {
                    operations,
                    might: on_might,
                },
            });
        }
        lines
    }
}

/// Tells whether work may turn out not to be needed; where it is there and only its extent isn't known, it is.
fn only_might(line: &WorkLine) -> bool {
    line.contingency
        .as_ref()
        .is_some_and(|contingency| contingency.chance < Decimal::ONE)
}

/// Where an operation is named: what is left in the opened packs of an item that doesn't keep.
const OPENED: &str = "opened";

/// Where an operation is named: what handing back an item that was never used cost.
const HANDED_BACK: &str = "handed back";

impl Subject {
    fn of_operation(&self, operation: &str) -> Subject {
        Subject {
            operation: Some(operation.to_owned()),
            ..self.clone()
        }
    }
}

fn item_subject(
    room: Option<RoomId>,
    operation: Option<String>,
    item: &str,
    unit: Unit,
) -> Subject {
    Subject {
        kind: LineKind::Item,
        room,
        operation,
        item: Some(item.to_owned()),
        part: None,
        unit,
    }
}

fn labour_subject(room: Option<RoomId>, task: Option<String>) -> Subject {
    Subject {
        kind: LineKind::Labour,
        room,
        operation: task,
        item: None,
        part: None,
        unit: Unit::Hour,
    }
}

fn road_subject() -> Subject {
    labour_subject(None, Some(DRIVING.to_owned()))
}

/// What is left in opened packs is no operation's.
fn opened_subject(item: &str, unit: Unit) -> Subject {
    item_subject(None, Some(OPENED.to_owned()), item, unit)
}

fn other_subject(room: Option<RoomId>, what: &str, unit: Unit) -> Subject {
    Subject {
        kind: LineKind::Other,
        room,
        operation: None,
        item: Some(what.to_owned()),
        part: None,
        unit,
    }
}

fn overhead_subject() -> Subject {
    other_subject(None, CostKind::Overhead.as_str(), Unit::Each)
}
