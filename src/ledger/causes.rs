//! What makes quotes and reality differ over many jobs, and whether the rates in force and today's book count on it.

use std::collections::BTreeMap;

use anyhow::Result;

use super::books::JobRecord;
use super::{Job, Ledger, Span};
use crate::money::{Currency, Decimal, Money, product, round};
use crate::trade::job_cost::What;
use crate::trade::operation::Splits;
use crate::trade::quote::WorkLine;
use crate::trade::rates::{FloorClass, RateKind, Rates};
use crate::trade::rental::Tariff;
use crate::trade::variance::causes::{Causes, Known, RateAsked};
use crate::trade::variance::rental::{self, RentalPart};
use crate::trade::variance::{LineKind, Subject, VarianceLine};
use crate::trade::{FloorCondition, MachineId, RoomId};

/// What one of everything costs by today's book.
struct Prices {
    currency: Currency,
    items: BTreeMap<String, Decimal>,
    hour: Option<Decimal>,
    tariffs: BTreeMap<MachineId, Tariff>,
}

impl Prices {
    /// Tells what what was taken of a line would cost.
    fn of(&self, subject: &Subject, taken: Decimal) -> Option<Money> {
        let one = match subject.kind {
            LineKind::Item => subject.item.as_ref().and_then(|name| self.items.get(name)),
            LineKind::Labour => self.hour.as_ref(),
            LineKind::Rental | LineKind::Other => None,
        };
        one.map(|one| self.currency.amount(product([taken, *one])))
    }

    /// Returns what today's tariffs would come to beyond the quoted ones, for the time that the machines of a job were out.
    fn of_machines(&self, record: &JobRecord) -> BTreeMap<Subject, Money> {
        let mut logged = record.logged.clone();
        for cost in &mut logged {
            if let What::Rental { machine, day, .. } = &mut cost.what
                && let Some(tariff) = self.tariffs.get(machine)
            {
                day.tariff = tariff.clone();
            }
        }
        let lines = rental::lines(&record.agreed.quoted(), &logged).into_iter();
        let of_book = |line: &VarianceLine| {
            let part = line.subject.part;
            // What comes once goes by how long a machine is out, too, of which the book says nothing.
            part == Some(RentalPart::Tariff)
        };
        let lines = lines.filter(of_book);
        lines
            .filter_map(|line| Some((line.subject.clone(), line.compared()?.side.cost)))
            .collect()
    }
}

/// What was planned for a job, with the floor of each line, to be asked of the rates in force.
pub(super) struct Planned<'a> {
    rates: &'a Rates,
    work: Vec<(&'a WorkLine, FloorClass)>,
    conditions: BTreeMap<RoomId, FloorCondition>,
}

impl<'a> Planned<'a> {
    pub(super) fn new(record: &'a JobRecord, rates: &'a Rates) -> Planned<'a> {
        let quotes = record.agreed.quotes.iter().map(|record| &record.quote);
        let work = quotes.flat_map(|quote| {
            let lines = quote.work();
            lines.filter_map(|work| Some((work, quote.class_of(work)?)))
        });
        let rooms = record.agreed.rooms().into_iter();
        Planned {
            rates,
            work: work.collect(),
            conditions: rooms
                .map(|(room, ..)| (room.id, room.class.condition))
                .collect(),
        }
    }

    /// Tells what is known of a line: a room counts as its own floor condition, whatever its parts are in.
    fn known(&self, subject: &Subject) -> Known {
        let kind = match subject.kind {
            LineKind::Item => RateKind::Item,
            LineKind::Labour => RateKind::Hours,
            LineKind::Rental | LineKind::Other => return Known::default(),
        };
        let mut planned = self.planned(subject);
        planned.sort_by_key(|(work, _)| std::cmp::Reverse(expected(work, kind)));
        let first = planned.first();
        let rate = first.map(|(work, class)| {
            let splits = self.splits(work, kind);
            RateAsked {
                operation: work.name.clone(),
                condition: splits.by_condition().then_some(class.condition),
                species: splits.by_species().then_some(class.species),
            }
        });
        let mut splits = planned.iter().map(|(work, _)| self.splits(work, kind));
        let differs = splits.any(Splits::by_condition);
        let now = planned
            .iter()
            .map(|(work, class)| self.now(work, kind, *class));
        Known {
            condition: subject
                .room
                .filter(|_| differs)
                .and_then(|room| self.conditions.get(&room).copied()),
            now: rate.is_some().then(|| now.sum()),
            rate,
            at_book: None,
        }
    }

    /// Returns what the rate of a planned line differs by.
    fn splits(&self, work: &WorkLine, kind: RateKind) -> Splits {
        let operation = self.rates.operations().get(&work.operation);
        operation.map_or(Splits::None, |known| self.rates.differ_by(known, kind))
    }

    /// Returns the planned lines that a line compares: of an item in an operation, of a task, or of an operation's hours.
    pub(super) fn planned(&self, subject: &Subject) -> Vec<(&'a WorkLine, FloorClass)> {
        let name = subject.operation.as_deref();
        let here = self
            .work
            .iter()
            .filter(|(work, _)| work.room == subject.room);
        let here: Vec<(&WorkLine, FloorClass)> = here.copied().collect();
        let only = |is: &dyn Fn(&WorkLine) -> bool| {
            let those = here.iter().filter(|(work, _)| is(work));
            those.copied().collect::<Vec<_>>()
        };
        if subject.kind == LineKind::Item {
            return only(&|work| {
                let item = work.item.as_ref().map(|item| item.name.as_str());
                Some(work.name.as_str()) == name && item == subject.item.as_deref()
            });
        }
        match only(&|work| Some(work.task.name.as_str()) == name) {
            of_task if !of_task.is_empty() => of_task,
            _ => only(&|work| Some(work.name.as_str()) == name),
        }
    }

    /// Returns what the rates in force ask for a line; as it was quoted, where they know nothing of it any more.
    fn now(&self, work: &WorkLine, kind: RateKind, class: FloorClass) -> Decimal {
        let operation = self.rates.operations().get(&work.operation);
        let rate = operation.and_then(|operation| self.rates.rate(operation, kind, class));
        let chance = work.contingency.as_ref();
        let chance = chance.map_or(Decimal::ONE, |contingency| contingency.chance);
        match rate {
            Some(rate) => round(chance * rate.expect(work.quantity, work.passes), 2),
            None => expected(work, kind),
        }
    }
}

/// Returns what a line was expected to take.
pub(super) fn expected(work: &WorkLine, kind: RateKind) -> Decimal {
    match kind {
        RateKind::Hours => work.hours,
        RateKind::Item => work
            .item
            .as_ref()
            .map_or(Decimal::ZERO, |item| item.expected),
    }
}

impl Ledger {
    /// Returns what made the quotes and the reality of those jobs of the spans differ that pass.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn causes(&self, spans: &[Span], passes: impl Fn(&Job) -> bool) -> Result<Causes> {
        let (judge, rates, prices) = (self.judge(spans)?, self.rates()?, self.prices()?);
        let mut causes = Causes::default();
        self.read_jobs(spans, |record| {
            if passes(&record.job) {
                let planned = Planned::new(&record, &rates);
                let machines = prices.of_machines(&record);
                causes.add(&judge.variance(&record), |subject, compared| {
                    let at_book = prices.of(subject, compared.side.quantity);
                    Known {
                        at_book: at_book.or(machines.get(subject).copied()),
                        ..planned.known(subject)
                    }
                });
            }
            Ok(())
        })?;
        Ok(causes)
    }

    fn prices(&self) -> Result<Prices> {
        let currency = self.currency();
        let items = self.items()?.into_iter().map(|item| {
            let price = item.unit_price(currency);
            (item.name, price)
        });
        let machines = self.machines()?.into_iter();
        let burden = self.settings()?.burden;
        Ok(Prices {
            currency,
            items: items.collect(),
            hour: self.mean_wage()?.map(|wage| product([wage, burden])),
            tariffs: machines
                .map(|machine| (machine.id, machine.tariff))
                .collect(),
        })
    }
}
