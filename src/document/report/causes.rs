//! What made quotes and reality differ, over many jobs: a sentence for each cause, the largest first.

use std::fmt::Write as _;

use serde::Serialize;

use crate::document::figures::{Amount, Number, Percent};
use crate::document::showing::{NoSuchColumn, Showing};
use crate::document::{Answer, List, Page, count, inert, or_blank};
use crate::ledger::typed;
use crate::money::{Decimal, Money};
use crate::trade::variance::causes::{Cause, Causes, RateAsked, Source};
use crate::trade::variance::favour;
use crate::trade::variance::rental::RentalPart;
use crate::trade::{FloorCondition, Unit};

/// Causes that are told where nobody says how many.
const LARGEST: usize = 10;

columns! {
    /// One cause.
    #[derive(Debug, Serialize)]
    struct CauseFacts {
        kind: &'static str,
        item: Option<String>,
        operation: Option<String>,
        condition: Option<FloorCondition>,
        part: Option<RentalPart>,
        unit: Option<Unit>,
        jobs: usize,
        quoted_quantity: Option<Number>,
        actual_quantity: Option<Number>,
        quoted_cost: Amount,
        actual_cost: Amount,
        percent: Percent,
        difference: Amount,
        verdict: &'static str,
        counted_on: Option<bool>,
        sentence: String,
    }
}

impl CauseFacts {
    fn new(cause: Cause, page: &Page) -> CauseFacts {
        let (kind, item, operation, condition, part, unit) = match cause.source.clone() {
            Source::Item {
                item,
                operation,
                condition,
                unit,
            } => ("item", Some(item), operation, condition, None, Some(unit)),
            Source::Hours { task, condition } => {
                ("hours", None, task, condition, None, Some(Unit::Hour))
            }
            Source::Price { item } => ("price", Some(item), None, None, None, None),
            Source::Wage => ("wage", None, None, None, None, None),
            Source::Rental { machine, part } => {
                let days = (part == RentalPart::Days).then_some(Unit::Day);
                ("rental", Some(machine), None, None, Some(part), days)
            }
            Source::Other { what, unit } => {
                let unit = Some(unit).filter(|unit| *unit != Unit::Each);
                ("other", Some(what), None, None, None, unit)
            }
        };
        let quantity = |quantity| unit.map(|_| Number(quantity));
        CauseFacts {
            kind,
            item,
            operation,
            condition,
            part,
            unit,
            jobs: cause.jobs,
            quoted_quantity: quantity(cause.quoted.quantity),
            actual_quantity: quantity(cause.actual.quantity),
            quoted_cost: page.amount(cause.quoted.cost),
            actual_cost: page.amount(cause.actual.cost),
            percent: Percent(percent(&cause, unit)),
            difference: page.amount(cause.difference()),
            verdict: favour(cause.difference()),
            counted_on: cause.is_counted_on(),
            sentence: sentence(&cause, unit, page),
        }
    }
}

/// Returns what it came to, in percent of the quote: of quantities where there are some, else of money.
fn percent(cause: &Cause, unit: Option<Unit>) -> Option<Decimal> {
    let (quoted, actual) = match unit {
        Some(_) => (cause.quoted.quantity, cause.actual.quantity),
        None => {
            let minor = |money: Money| Decimal::from(money.minor());
            (minor(cause.quoted.cost), minor(cause.actual.cost))
        }
    };
    (actual * Decimal::ONE_HUNDRED).checked_div(quoted)
}

/// Says it: `disc-7in-36 for rotary-36 on worn film took 118 % of the quote in 15 jobs: 263.78 more; the rates count on it
/// now`.
fn sentence(cause: &Cause, unit: Option<Unit>, page: &Page) -> String {
    let floor = |condition: Option<FloorCondition>| {
        or_blank(condition.map(|floor| format!(" on {}", floor.as_str().replace('-', " "))))
    };
    let mut wasnt = "wasn't";
    let (subject, verb) = match &cause.source {
        Source::Item {
            item,
            operation: None,
            ..
        } => (item.clone(), "took"),
        Source::Item {
            item,
            operation: Some(operation),
            condition,
            ..
        } => (format!("{operation}{}, {item},", floor(*condition)), "took"),
        Source::Hours { task, condition } => {
            let task = task.as_deref().unwrap_or("no task");
            wasnt = "weren't";
            (format!("hours of {task}{}", floor(*condition)), "took")
        }
        Source::Price { item } => (format!("the price of {item}"), "was"),
        Source::Wage => ("the wage of an hour".to_owned(), "was"),
        Source::Rental { machine, part } => {
            let what = match part {
                RentalPart::Days => "days of",
                RentalPart::Tariff => "the tariff of",
                RentalPart::Once => "waiver and cleaning of",
                RentalPart::Rest => "what was billed otherwise for",
            };
            (format!("{what} {machine}"), "came to")
        }
        Source::Other { what, .. } => (what.clone(), "came to"),
    };
    let jobs = count(cause.jobs, "job");
    let ratio = percent(cause, unit).map(|percent| crate::money::round(percent, 0));
    let came = match ratio {
        Some(percent) => format!("{verb} {percent} % of the quote in {jobs}"),
        None => format!("{wasnt} quoted in {jobs}"),
    };
    let difference = page.amount(cause.difference());
    let more = if difference.money.is_negative() {
        "less"
    } else {
        "more"
    };
    let (size, counted) = (difference.size(), counted(cause));
    format!("{subject} {came}: {size} {more}; {counted}")
}

/// Says whether the next quote counts on it, and where to look if it doesn't.
fn counted(cause: &Cause) -> String {
    let (knows, look) = match (&cause.source, &cause.rate) {
        (Source::Item { .. }, Some(rate)) => (
            "the rates count",
            format!("{} --kind item", show_rate(rate)),
        ),
        (Source::Hours { .. }, Some(rate)) => (
            "the rates count",
            format!("{} --kind hours", show_rate(rate)),
        ),
        (Source::Price { item }, _) => (
            "the book's price counts",
            format!("item show {}", typed(item)),
        ),
        (Source::Wage, _) => ("the wages count", "worker list".to_owned()),
        (Source::Rental { machine, .. }, _) => (
            "the book's tariff counts",
            format!("machine show {}", typed(machine)),
        ),
        _ => return "no rate learns it".to_owned(),
    };
    match cause.is_counted_on() {
        Some(true) => format!("{knows} on it now"),
        Some(false) => format!("not yet: gritledger {look}"),
        None => format!("no rate learns it: gritledger {look}"),
    }
}

fn show_rate(rate: &RateAsked) -> String {
    let condition = rate.condition.map(|floor| format!(" --condition {floor}"));
    let species = rate.species.map(|wood| format!(" --species {wood}"));
    let (condition, species) = (or_blank(condition), or_blank(species));
    format!("rate show {}{condition}{species}", typed(&rate.operation))
}

/// The causes of jobs.
#[derive(Debug, Serialize)]
pub struct CausesAnswer {
    currency: &'static str,
    jobs: usize,
    causes: Vec<CauseFacts>,
    /// What the others come to.
    others: usize,
    others_difference: Amount,
    price_variance: Amount,
    quantity_variance: Amount,
    total_variance: Amount,
}

impl CausesAnswer {
    /// Returns the answer about the largest of causes, or the first in another order.
    ///
    /// # Errors
    /// Returns the column that they were to be sorted by, if they don't have it.
    pub fn new(
        causes: Causes,
        showing: &Showing,
        page: &Page,
    ) -> Result<CausesAnswer, NoSuchColumn> {
        let (jobs, recorded) = (causes.jobs, causes.recorded);
        let showing = Showing {
            top: showing.top.or(Some(LARGEST)),
            ..showing.clone()
        };
        let mut causes: Vec<CauseFacts> = page.each(causes.largest(), CauseFacts::new);
        showing.sort(&mut causes, |cause| serde_json::to_value(cause))?;
        let others = showing.cut(&mut causes);
        let difference = others.iter().map(|cause| cause.difference.money).sum();
        Ok(CausesAnswer {
            currency: page.currency.code(),
            jobs,
            causes,
            others: others.len(),
            others_difference: page.amount(difference),
            price_variance: page.amount(recorded.price),
            quantity_variance: page.amount(recorded.quantity),
            total_variance: page.amount(recorded.total()),
        })
    }

    /// The first line: how far the jobs left their quotes, and what did it most.
    fn answer(&self) -> String {
        let more = |amount: Amount| match amount.money.is_negative() {
            true => "less",
            false => "more",
        };
        let total = self.total_variance;
        format!(
            "{}: {} {} {} than quoted by what is recorded.\nBy quantity {}, by price {}.",
            count(self.jobs, "finished job"),
            total.size(),
            self.currency,
            more(total),
            self.quantity_variance,
            self.price_variance
        )
    }
}

impl Answer for CausesAnswer {
    fn text(&self, page: &Page) -> String {
        if self.jobs == 0 {
            return "No job with a quote is finished: nothing to compare yet.".to_owned();
        }
        let mut text = format!("{}\n\n", page.prose(&self.answer()));
        for cause in &self.causes {
            text.push_str(&page.point(&cause.sentence));
        }
        if self.others > 0 {
            let others = self.others_difference;
            let more = if others.money.is_negative() {
                "less"
            } else {
                "more"
            };
            let words = format!(
                "{} together: {} {more}",
                count(self.others, "other"),
                others.size()
            );
            text.push_str(&page.point(&inert(&words)));
        }
        let _ = write!(
            text,
            "\nAll together: {}, {}.",
            self.total_variance,
            favour(self.total_variance.money)
        );
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.causes)
    }
}
