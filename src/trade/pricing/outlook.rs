//! What the draws say beside a quote: what to rent, what to have at hand, and what drives the risk.

use super::drawing::class_of;
use super::subjects::{RentedMachine, Subjects, UsedItem};
use super::{Offer, Supply};
use crate::money::{Decimal, quantity};
use crate::trade::buying::whole_sets;
use crate::trade::operation::Operation;
use crate::trade::plan::Rental;
use crate::trade::quote::{Cause, ItemNeed, PlannedRental, Risk};
use crate::trade::rates::{RateKind, Rates};
use crate::trade::rental::{Need, Plan};
use crate::trade::simulate::{Draws, Model};

/// Decimals of a share of risk, in percent.
const SHARE_DECIMALS: u32 = 1;

impl Subjects<'_> {
    /// Returns what to rent for the hours at the confidence.
    pub(super) fn planned_rentals(&self, draws: &Draws, offer: &Offer) -> Vec<PlannedRental> {
        let machines = self.machines.iter().enumerate();
        machines
            .map(|(place, RentedMachine { machine, .. })| {
                let hours = draws.machine_hours_at(place, offer.terms.confidence);
                let need = Need::for_hours(hours, offer.day_hours);
                PlannedRental {
                    machine: machine.id,
                    name: machine.name.clone(),
                    hours,
                    plan: Plan::new(&machine.tariff, need, offer.start),
                }
            })
            .filter(|rental| rental.hours > Decimal::ZERO)
            .collect()
    }

    /// Returns what to rent as it was planned. A machine's hours at the confidence are shared out over its rentals by days.
    pub(super) fn dated_rentals(
        &self,
        draws: &Draws,
        rentals: &[Rental],
        offer: &Offer,
    ) -> Vec<PlannedRental> {
        let days = |rental: &Rental| Decimal::from(rental.days());
        let planned = rentals.iter().map(|rental| {
            let of_machine = rentals
                .iter()
                .filter(|other| other.machine == rental.machine);
            let all: Decimal = of_machine.map(days).sum();
            let hours = self.machine(rental.machine).map_or(Decimal::ZERO, |place| {
                draws.machine_hours_at(place, offer.terms.confidence)
            });
            PlannedRental {
                machine: rental.machine,
                name: rental.name.clone(),
                hours: quantity(hours * days(rental) / all),
                plan: rental.plan.clone(),
            }
        });
        planned.collect()
    }

    /// Returns how much of each item to have at hand.
    pub(super) fn needs(&self, draws: &Draws, offer: &Offer) -> Vec<ItemNeed> {
        let items = self.items.iter().enumerate();
        items
            .map(|(place, used)| {
                let confidence = confidence_of(offer.items.get(&used.item.id), offer);
                ItemNeed {
                    item: used.item.id,
                    expected: expected_of(used, offer),
                    need: in_sets(draws.item_at(place, confidence), &used.users),
                    confidence,
                }
            })
            .filter(|need| need.need > Decimal::ZERO)
            .collect()
    }

    /// Returns what drives the risk, the largest share first.
    pub(super) fn risks(
        &self,
        draws: &Draws,
        model: &Model,
        offer: &Offer,
        rates: &Rates,
    ) -> Vec<Risk> {
        let operations = self.operations.iter().zip(model.causes());
        let operations = operations.map(|(operation, cause)| Risk {
            rooms: rooms_behind(operation, offer, rates),
            ..risk(operation.name.clone(), cause)
        });
        let machines = self.machines.iter();
        let machines = machines
            .map(|rented| risk(format!("rental of {}", rented.machine.name), Cause::Rental));
        let items = self.items.iter();
        let items = items.map(|used| risk(format!("opened {}", used.item.name), Cause::Pack));
        // In the order of the shares.
        let risks = operations.chain(machines).chain(items);
        let mut risks: Vec<Risk> = risks
            .zip(percents(&draws.shares()))
            .map(|(risk, share_percent)| Risk {
                share_percent,
                ..risk
            })
            .filter(|risk| risk.share_percent > Decimal::ZERO)
            .collect();
        risks.sort_by_key(|risk| std::cmp::Reverse(risk.share_percent));
        risks
    }
}

/// Returns a risk of which neither its share nor what is behind it is known yet.
fn risk(operation: String, cause: Cause) -> Risk {
    Risk {
        operation,
        share_percent: Decimal::ZERO,
        cause,
        rooms: 0,
    }
}

/// Returns with what chance enough of an item is to be at hand.
fn confidence_of(supply: Option<&Supply>, offer: &Offer) -> Decimal {
    match supply.is_some_and(|supply| supply.returnable) {
        true => offer.stocking.returnable,
        false => offer.stocking.other,
    }
}

/// Returns how much of an item is expected to be used.
fn expected_of(used: &UsedItem<'_>, offer: &Offer) -> Decimal {
    let works = offer.work.iter().filter(|work| {
        let item = work.operation.item.as_ref();
        item.is_some_and(|item| item.id == used.item.id)
    });
    works.filter_map(|work| Some(work.item?.expected)).sum()
}

/// Returns how many finished rooms the rate rests on that an operation's cost depends on most: its hours, if it has any.
fn rooms_behind(operation: &Operation, offer: &Offer, rates: &Rates) -> usize {
    let work = offer
        .work
        .iter()
        .find(|work| work.operation.id == operation.id);
    let class = work.and_then(|work| class_of(work, &offer.rooms));
    let row = class.and_then(|class| rates.row_for(operation, RateKind::Hours, class));
    row.map_or(0, |row| row.rooms)
}

/// Rounds a need to whole sets, if the operations that take the item change it in sets.
fn in_sets(units: Decimal, users: &[&Operation]) -> Decimal {
    let mut sizes = users.iter().map(|operation| operation.set_size);
    let Some(Some(first)) = sizes.next() else {
        return units;
    };
    // Where operations change the same item in sets of different sizes, the need is rounded to single units.
    let all_alike = sizes.all(|size| size == Some(first));
    whole_sets(units, if all_alike { first } else { 1 })
}

/// Returns shares as percents of one decimal that sum to 100: the largest remainders are rounded up. A part that tends to
/// be cheap when the whole is dear has a share below zero, which counts as none.
fn percents(shares: &[Decimal]) -> Vec<Decimal> {
    let steps = Decimal::from(100 * 10_i64.pow(SHARE_DECIMALS));
    let total: Decimal = shares.iter().map(|share| (*share).max(Decimal::ZERO)).sum();
    if total.is_zero() {
        return vec![Decimal::ZERO; shares.len()];
    }
    let exact: Vec<Decimal> = shares
        .iter()
        .map(|share| (*share).max(Decimal::ZERO) * steps / total)
        .collect();
    let mut whole: Vec<Decimal> = exact.iter().map(Decimal::floor).collect();
    let mut missing = steps - whole.iter().sum::<Decimal>();
    let mut by_rest: Vec<usize> = (0..exact.len()).collect();
    by_rest.sort_by_key(|place| std::cmp::Reverse(exact[*place].fract()));
    for place in by_rest {
        if missing < Decimal::ONE {
            break;
        }
        whole[place] += Decimal::ONE;
        missing -= Decimal::ONE;
    }
    let scale = Decimal::from(10_i64.pow(SHARE_DECIMALS));
    whole.into_iter().map(|steps| steps / scale).collect()
}
