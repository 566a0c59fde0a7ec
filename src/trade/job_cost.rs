//! What a job really cost, and how that is shared over its rooms.
//!
//! The day book says what was used, worked, rented and spent; [`Logged`] is one such cost in trade words.
//! A cost that names one room is that room's. One that names several, or the whole job, is spread over the rooms where
//! the quote planned it, by planned quantity, then by direct cost for what no room was planned for. An item without its
//! operation is spread over the operations that were to take it in the same way.
//! Parts always add up to what was logged, in money and in quantity.

use std::collections::BTreeMap;

use crate::money::{Decimal, Money, quantity};
use crate::trade::operation::Task;
use crate::trade::quote::{Costs, Line, WorkLine, work_of};
use crate::trade::rental::{Away, Tariff};
use crate::trade::{CostKind, EntryId, ItemId, MachineId, OperationId, RoomId, Unit};

/// One cost from the day book.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Logged {
    /// The entry that caused it.
    pub entry: EntryId,
    /// The rooms it names; none: the whole job.
    pub rooms: Vec<RoomId>,
    /// What it was for.
    pub what: What,
    /// Items, hours, days, miles; zero for a correction of cost alone.
    pub quantity: Decimal,
    /// What it cost.
    pub cost: Money,
    /// It came after the job was closed: a call-back or a late receipt.
    pub late: bool,
    /// It corrects a cost (a receipt that came later) and says nothing about a quantity.
    pub correction: bool,
}

/// What money was for that is counted in miles or kilometres, and what hours on the road are logged on.
pub const DRIVING: &str = "driving";

/// What a cost was for.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// Hours on a task, perhaps one operation of it, or on nothing said.
    Hours {
        /// The task.
        task: Option<Task>,
        /// The operation.
        operation: Option<OperationId>,
    },
    /// Hours on the road, of the whole job.
    OnTheRoad,
    /// An item used, perhaps for a known operation.
    Item {
        /// The item.
        item: ItemId,
        /// Its name.
        name: String,
        /// Its unit.
        unit: Unit,
        /// The operation.
        operation: Option<OperationId>,
    },
    /// What was left in opened packs of an item that doesn't keep: paid for, and thrown away.
    LeftOver {
        /// The item.
        item: ItemId,
        /// Its name.
        name: String,
        /// Its unit.
        unit: Unit,
    },
    /// A rental day.
    Rental {
        /// The machine.
        machine: MachineId,
        /// Its name.
        name: String,
        /// Which day of which rental it was.
        day: Box<DayRented>,
    },
    /// Money spent otherwise, or [driving](DRIVING).
    Other {
        /// What it was for.
        label: String,
        /// The unit of its quantity.
        unit: Unit,
    },
}

/// One day of a machine's time away.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct DayRented {
    /// All of the time.
    pub away: Away,
    /// The tariff with which the machine went out.
    pub tariff: Tariff,
    /// Which of its days this is, from 0 on.
    pub position: usize,
}

impl What {
    /// Returns the kind of cost.
    pub const fn kind(&self) -> CostKind {
        match self {
            What::Hours { .. } | What::OnTheRoad => CostKind::Labour,
            What::Item { .. } | What::LeftOver { .. } => CostKind::Consumables,
            What::Rental { .. } => CostKind::Rental,
            What::Other { .. } => CostKind::Other,
        }
    }

    /// Returns the operation that it names.
    pub const fn operation(&self) -> Option<OperationId> {
        match self {
            What::Hours { operation, .. } | What::Item { operation, .. } => *operation,
            What::OnTheRoad | What::LeftOver { .. } | What::Rental { .. } | What::Other { .. } => {
                None
            }
        }
    }

    /// Returns the operation of a planned line that its part there is for: an item is some operation's even if none is
    /// named, hours on a task are the task's.
    fn operation_at(&self, line: &WorkLine) -> Option<OperationId> {
        match self {
            What::Item { .. } => Some(line.operation),
            What::Hours { .. }
            | What::OnTheRoad
            | What::LeftOver { .. }
            | What::Rental { .. }
            | What::Other { .. } => self.operation(),
        }
    }

    /// Tells whether a planned line is the same kind of thing: what its quantity can be compared with.
    fn planned_by(&self, line: &WorkLine) -> Option<Decimal> {
        match self {
            What::Hours {
                operation: Some(operation),
                ..
            } => (line.operation == *operation).then_some(line.hours),
            What::Hours {
                task: Some(task), ..
            } => (line.task == *task).then_some(line.hours),
            What::Item {
                item, operation, ..
            } => {
                let needed = line.item.as_ref().filter(|needed| needed.id == *item)?;
                operation
                    .is_none_or(|operation| operation == line.operation)
                    .then_some(needed.expected)
            }
            What::Hours { .. }
            | What::OnTheRoad
            | What::LeftOver { .. }
            | What::Rental { .. }
            | What::Other { .. } => None,
        }
    }
}

/// Sums costs by kind, with overhead as a share of labour.
pub fn totals<'a>(logged: impl IntoIterator<Item = &'a Logged>, overhead: Decimal) -> Costs {
    let mut costs = Costs::default();
    for cost in logged {
        costs.add(cost.what.kind(), cost.cost);
    }
    costs.overhead = costs.labour.times(overhead);
    costs
}

/// One place's part of a logged cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CostPart {
    /// The room; `None`: the job as a whole.
    pub room: Option<RoomId>,
    /// The operation; `None`: none is known.
    pub operation: Option<OperationId>,
    /// Its part of the quantity.
    pub quantity: Decimal,
    /// Its part of the cost.
    pub cost: Money,
}

/// Spreads a logged cost over the rooms and operations where work planned it; what nobody planned stays with the rooms
/// it names in equal parts, or with the job.
pub fn spread(logged: &Logged, work: &[&WorkLine]) -> Vec<CostPart> {
    let mut places: BTreeMap<(Option<RoomId>, Option<OperationId>), Decimal> = BTreeMap::new();
    for line in work {
        let named =
            logged.rooms.is_empty() || line.room.is_some_and(|room| logged.rooms.contains(&room));
        if let Some(quantity) = logged.what.planned_by(line).filter(|_| named) {
            let place = (line.room, logged.what.operation_at(line));
            *places.entry(place).or_default() += quantity;
        }
    }
    if places.is_empty() {
        let operation = logged.what.operation();
        let named = logged.rooms.iter().map(|room| Some(*room));
        places.extend(named.map(|room| ((room, operation), Decimal::ONE)));
        if places.is_empty() {
            places.insert((None, operation), Decimal::ONE);
        }
    }
    if places.len() == 1 {
        // Nearly always: then nothing is shared.
        let whole = places.into_keys().map(|(room, operation)| CostPart {
            room,
            operation,
            quantity: logged.quantity,
            cost: logged.cost,
        });
        return whole.collect();
    }
    let weights: Vec<Decimal> = places.values().copied().collect();
    let costs = logged.cost.spread(&weights);
    let quantities = spread_quantity(logged.quantity, &weights);
    let parts = places.into_keys().zip(quantities).zip(costs);
    parts
        .map(|(((room, operation), quantity), cost)| CostPart {
            room,
            operation,
            quantity,
            cost,
        })
        .collect()
}

/// Spreads a quantity by weight; the last part takes what rounding leaves, so the parts add up.
fn spread_quantity(total: Decimal, weights: &[Decimal]) -> Vec<Decimal> {
    let sum: Decimal = weights.iter().sum();
    let mut left = total;
    let last = weights.len().saturating_sub(1);
    let share = |weight: &Decimal| {
        if sum.is_zero() {
            total / Decimal::from(weights.len())
        } else {
            total * weight / sum
        }
    };
    weights
        .iter()
        .enumerate()
        .map(|(position, weight)| {
            let part = if position == last {
                left
            } else {
                quantity(share(weight))
            };
            left -= part;
            part
        })
        .collect()
}

/// What was quoted and has nothing recorded about it: no cost yet, and no saving.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Missing {
    /// Operations that lack an item or hours somewhere.
    pub operations: usize,
    /// Rentals, opened packs and lumps of money.
    pub others: usize,
    /// What all of it was quoted at.
    pub quoted: Money,
    /// The part of that which only might turn up.
    pub might: Money,
}

impl Missing {
    /// Tells whether something is missing that was sure to come: what only might turn up leaves no gap.
    pub fn is_gap(&self) -> bool {
        let of_unknown_cost = self.others > 0 && self.quoted.is_zero();
        self.quoted != self.might || of_unknown_cost
    }

    /// Adds what another job lacks.
    pub fn add(&mut self, other: Missing) {
        self.operations += other.operations;
        self.others += other.others;
        self.quoted += other.quoted;
        self.might += other.might;
    }
}

/// What a job or a room brought in and cost.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Outcome {
    /// Quoted price.
    pub price: Money,
    /// Price of the accepted variations.
    pub variations: Money,
    /// Quoted cost, variations included.
    pub estimated: Money,
    /// The part of the price that was agreed without saying what the work was to cost.
    pub unestimated: Money,
    /// Actual cost, late costs included.
    pub actual: Money,
    /// The part of the actual cost that came after close-out.
    pub late: Money,
    /// The part of the quoted cost that the actual cost says nothing about.
    pub missing: Missing,
    /// By how much the actual cost is above what was quoted for the same; nothing where no cost was quoted.
    pub over: Money,
}

impl Outcome {
    /// Returns price and variations.
    pub fn revenue(&self) -> Money {
        self.price + self.variations
    }

    /// Returns what is left.
    pub fn margin(&self) -> Money {
        self.revenue() - self.actual
    }

    /// Returns the quoted cost; `None`: nothing of it was quoted.
    pub fn quoted_cost(&self) -> Option<Money> {
        let is_known = self.unestimated.is_zero() || self.unestimated != self.revenue();
        is_known.then_some(self.estimated)
    }

    /// Returns the price of what was quoted with its cost.
    pub fn estimated_revenue(&self) -> Money {
        self.revenue() - self.unestimated
    }

    /// Sets what was left of the quote from the rest of it.
    #[must_use]
    pub fn compared(self) -> Outcome {
        let over = match self.unestimated.is_zero() {
            true => self.actual - (self.estimated - self.missing.quoted),
            false => Money::ZERO,
        };
        Outcome { over, ..self }
    }

    /// Adds another outcome, part by part.
    pub fn add(&mut self, other: &Outcome) {
        self.price += other.price;
        self.variations += other.variations;
        self.estimated += other.estimated;
        self.unestimated += other.unestimated;
        self.actual += other.actual;
        self.late += other.late;
        self.missing.add(other.missing);
        self.over += other.over;
    }
}

/// One quote or variation of a job: its rooms, its lines, and what an hour was quoted at.
#[derive(Clone, Debug)]
pub struct Quoted<'a> {
    /// The rooms that it prices.
    pub rooms: Vec<RoomId>,
    /// Its lines.
    pub lines: &'a [Line],
    /// What one of its hours costs, wage and burden, in major units.
    pub hour: Decimal,
}

impl Quoted<'_> {
    fn direct_cost(&self, room: RoomId) -> Money {
        self.lines
            .iter()
            .filter(|line| line.room() == Some(room))
            .map(Line::cost)
            .sum()
    }

    /// Returns its work lines.
    pub fn work(&self) -> impl Iterator<Item = &WorkLine> {
        work_of(self.lines)
    }
}

/// Spreads an outcome over the job's rooms; `missing` tells what each of them lacks.
///
/// Direct costs stay with their rooms; costs of the job as a whole go by direct cost, those of a quote or variation over
/// its own rooms. Prices go as the quote shared them, and what was credited of the whole job by price.
pub fn by_room(
    outcome: &Outcome,
    rooms: &[(RoomId, Money, Money)],
    quotes: &[Quoted<'_>],
    logged: &[Logged],
    missing: impl Fn(RoomId) -> Missing,
) -> Vec<(RoomId, Outcome)> {
    let position = |room: RoomId| rooms.iter().position(|(id, ..)| *id == room);
    let mut estimated = vec![Money::ZERO; rooms.len()];
    for quoted in quotes {
        let positions: Vec<usize> = quoted
            .rooms
            .iter()
            .filter_map(|room| position(*room))
            .collect();
        let mut parts: Vec<Money> = quoted
            .rooms
            .iter()
            .map(|room| quoted.direct_cost(*room))
            .collect();
        let direct = parts.clone();
        complete(
            &mut parts,
            quoted.lines.iter().map(Line::cost).sum(),
            &direct,
        );
        for (position, part) in positions.into_iter().zip(parts) {
            estimated[position] += part;
        }
    }
    let work: Vec<&WorkLine> = quotes.iter().flat_map(Quoted::work).collect();
    let mut actual = vec![Money::ZERO; rooms.len()];
    let mut late = vec![Money::ZERO; rooms.len()];
    for cost in logged {
        for part in spread(cost, &work) {
            if let Some(position) = part.room.and_then(position) {
                actual[position] += part.cost;
                if cost.late {
                    late[position] += part.cost;
                }
            }
        }
    }
    let prices: Vec<Money> = rooms.iter().map(|(_, price, _)| *price).collect();
    let mut varied: Vec<Money> = rooms.iter().map(|(.., varied)| *varied).collect();
    complete(&mut varied, outcome.variations, &prices);
    complete(&mut late, outcome.late, &actual);
    let direct_actual = actual.clone();
    complete(&mut actual, outcome.actual, &direct_actual);
    let missing: Vec<Missing> = rooms.iter().map(|(room, ..)| missing(*room)).collect();
    let mut over: Vec<Money> = (0..rooms.len())
        .map(|at| actual[at] - (estimated[at] - missing[at].quoted))
        .collect();
    complete(&mut over, outcome.over, &direct_actual);
    let outcomes = rooms
        .iter()
        .enumerate()
        .map(|(position, (room, price, _))| {
            let (estimated, actual, late) = (estimated[position], actual[position], late[position]);
            let (missing, over) = (missing[position], over[position]);
            (
                *room,
                Outcome {
                    price: *price,
                    variations: varied[position],
                    estimated,
                    unestimated: Money::ZERO,
                    actual,
                    late,
                    missing,
                    over,
                },
            )
        });
    outcomes.collect()
}

/// Adds to the parts what is missing from the total, by direct cost.
fn complete(parts: &mut [Money], total: Money, direct: &[Money]) {
    let rest = total - parts.iter().copied().sum();
    let weights: Vec<Decimal> = direct
        .iter()
        .map(|cost| Decimal::from(cost.minor().max(0)))
        .collect();
    for (part, share) in parts.iter_mut().zip(rest.spread(&weights)) {
        *part += share;
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;
    use crate::trade::TaskId;

    #[test]
    fn a_job_costs_what_was_logged_on_it() {
        // A public worked answer to a job-cost exercise: materials 2,108; 36 h at 18; 234 machine hours at 25 = 8,606.
        let log = |what, cents| Logged {
            entry: EntryId(1),
            rooms: vec![],
            what,
            quantity: dec!(1),
            cost: Money::from_minor(cents),
            late: false,
            correction: false,
        };
        let material = What::Item {
            item: ItemId(1),
            name: "material".into(),
            unit: Unit::Each,
            operation: None,
        };
        let hours = What::Hours {
            task: Some(Task {
                id: TaskId(1),
                name: "sand".into(),
            }),
            operation: None,
        };
        let out = chrono::NaiveDate::MIN.and_time(chrono::NaiveTime::MIN);
        let day = DayRented {
            away: Away::new(out, out + chrono::Days::new(1)).unwrap(),
            tariff: Tariff {
                half_day: None,
                day: Money::from_minor(2500),
                weekend: None,
                week: None,
                four_weeks: None,
                waiver_percent: dec!(0),
                cleaning: Money::ZERO,
            },
            position: 0,
        };
        let machine = What::Rental {
            machine: MachineId(1),
            name: "machine".into(),
            day: Box::new(day),
        };
        let logged = [
            log(material, 210_800),
            log(hours, 36 * 1800),
            log(machine, 234 * 2500),
        ];
        assert_eq!(totals(&logged, dec!(0)).total(), Money::from_minor(860_600));
        assert_eq!(
            totals(&logged, dec!(0.5)).overhead,
            Money::from_minor(32_400)
        );
    }

    #[test]
    fn job_overhead_by_department_adds_up() {
        // A public worked answer (pottery job 205): 320 machine hours at 5.40, 130 labour hours at 14.30,
        // materials 942 + 1,180, labour 750 + 960: 7,419 for 22 units, 337.23 each.
        let usd = crate::money::Currency::from_code("USD").unwrap();
        let rates = (
            dec!(218400) / dec!(84000) + dec!(2.80),
            dec!(531050) / dec!(55900) + dec!(4.80),
        );
        assert_eq!(rates, (dec!(5.40), dec!(14.30)));
        let overhead = usd.amount(dec!(320) * rates.0) + usd.amount(dec!(130) * rates.1);
        assert_eq!(overhead, Money::from_minor(358_700));
        let job = overhead
            + [942, 1180, 750, 960]
                .map(|dollars| Money::from_minor(dollars * 100))
                .into_iter()
                .sum();
        assert_eq!(job, Money::from_minor(741_900));
        assert_eq!(job.share(dec!(1), dec!(22)), Money::from_minor(33_723));
    }

    #[test]
    fn quantities_spread_without_loss() {
        let parts = spread_quantity(dec!(10), &[dec!(1), dec!(1), dec!(1)]);
        assert_eq!(parts.iter().sum::<Decimal>(), dec!(10));
        assert_eq!(
            spread_quantity(dec!(3), &[dec!(0), dec!(0)]),
            [dec!(1.5), dec!(1.5)]
        );
    }
}
