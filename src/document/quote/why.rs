//! Why a quote takes what it takes: the rate that each quantity was priced with, where that came from, and the rooms that
//! taught it.

use std::fmt::Write as _;

use serde::Serialize;

use super::{LineFacts, QuoteAnswer};
use crate::document::cover::PlanFacts;
use crate::document::figures::{Days, SetPercent};
use crate::document::rate::RateAnswer;
use crate::document::{Page, View, inert, or_blank};
use crate::ledger::{QuoteSheet, QuotedRate};
use crate::money::Decimal;
use crate::trade::Unit;
use crate::trade::quote::{Line, LineKind, Outlook, Quote, WorkLine};
use crate::trade::rates::RateKind;
use crate::trade::trips::Destination;

columns! {
    /// Why a line takes what it takes, a sentence for each of its figures.
    #[derive(Debug, Serialize)]
    pub(super) struct Why {
        item: Option<String>,
        hours: Option<String>,
        cost: Option<String>,
    }
}

impl Why {
    fn new(
        line: &Line,
        quote: &Quote,
        outlook: &Outlook,
        rates: &[QuotedRate],
        page: &Page,
    ) -> Why {
        let of = |kind| match line {
            Line::Work(work) => work_why(quote, work, kind, rates, page),
            Line::Rental { .. }
            | Line::Trips(_)
            | Line::Opened { .. }
            | Line::Other { .. }
            | Line::Overhead { .. } => None,
        };
        Why {
            item: of(RateKind::Item),
            hours: of(RateKind::Hours),
            cost: lump_why(line, quote, outlook, page),
        }
    }
}

/// Explains a line that is no operation's.
fn lump_why(line: &Line, quote: &Quote, outlook: &Outlook, page: &Page) -> Option<String> {
    let why = match line {
        Line::Work(_) => return None,
        Line::Rental { machine, days, .. } => {
            let mut plans = outlook.rentals.iter();
            let plan = plans.find(|rental| rental.machine == *machine);
            let planned = plan.map(|rental| {
                let plan = PlanFacts::new(rental.plan.clone(), page);
                format!(
                    " Planned, for the {} that {} of such jobs don't exceed: {}; {}; {} together.",
                    page.measured(rental.hours, Unit::Hour),
                    SetPercent::of_one(quote.terms.confidence),
                    plan.days,
                    plan.cover,
                    plan.cover.total,
                )
            });
            format!(
                ": the mean, over {} draws, of what the tariff asks for the days that the hours take; {} on the mean.{}",
                outlook.draws,
                Days(*days),
                or_blank(planned)
            )
        }
        Line::Trips(trips) => {
            let each = match trips.to {
                Destination::Site => "a day with work each, at the confidence",
                Destination::RentalPlace => "to fetch machines and to bring them back",
            };
            let road = page.measured(trips.driven(), trips.unit);
            let hours = match trips.hours.is_zero() {
                true => String::new(),
                false => format!(
                    "; {} on the road at wage and burden",
                    page.measured(trips.hours, Unit::Hour)
                ),
            };
            format!(
                ": {each}; {road} there and back at {}{hours}.",
                page.price_of_one(trips.rate)
            )
        }
        Line::Opened { unit, left, .. } => format!(
            ": an opened pack doesn't keep, so it is paid for whole; {} of it stay unused on the mean.",
            page.measured(*left, *unit)
        ),
        Line::Other { .. } => ", as it was given for the draft.".to_owned(),
        Line::Overhead { .. } => format!(
            ": {} of the labour.",
            SetPercent::of_one(quote.terms.overhead)
        ),
    };
    Some(format!("{}{why}", page.amount(line.cost())))
}

/// Explains one quantity of an operation in a sentence or two; `None`: it has none.
fn work_why(
    quote: &Quote,
    work: &WorkLine,
    kind: RateKind,
    rates: &[QuotedRate],
    page: &Page,
) -> Option<String> {
    let class = quote.class_of(work)?;
    let quantity = match kind {
        RateKind::Hours => page.measured(work.hours, Unit::Hour),
        RateKind::Item => {
            let item = work.item.as_ref()?;
            page.measured(item.expected, item.unit)
        }
    };
    let QuotedRate { rate, .. } = rates
        .iter()
        .find(|rate| (rate.operation, rate.kind, rate.class) == (work.operation, kind, class))?;
    let passes = match work.passes {
        1 => String::new(),
        passes => format!(" in {passes} passes"),
    };
    let done = match page.measured(work.quantity, work.driver.unit()) {
        done if done.unit == Unit::Each => format!("{done} ({})", work.driver),
        done => done.to_string(),
    };
    let taught: Vec<String> = rate
        .newest
        .iter()
        .map(|taught| {
            let place = format!("{} {}", taught.job, taught.room);
            format!("{} ({})", place.trim_end(), taught.finished_on)
        })
        .collect();
    let others = if rate.rooms > taught.len() {
        " and others"
    } else {
        ""
    };
    let taught = match taught[..] {
        [] => String::new(),
        _ => format!(" Taught by {}{others}.", inert(&taught.join(", "))),
    };
    let chance = work.contingency.map(|contingency| contingency.chance);
    let likely = chance
        .filter(|chance| *chance < Decimal::ONE)
        .map(|chance| format!(", {} likely", SetPercent::of_one(chance)));
    Some(format!(
        "{quantity} for {done}{passes}{}: {}{taught}",
        or_blank(likely),
        RateAnswer::new(rate, work.into(), page).sentence()
    ))
}

impl QuoteAnswer {
    /// Returns the answer for the owner, each line with why it takes what it takes.
    pub fn with_why(sheet: QuoteSheet, rates: &[QuotedRate], page: &Page) -> QuoteAnswer {
        let (quote, outlook) = (&sheet.record.quote, &sheet.outlook);
        let of = |line| Why::new(line, quote, outlook, rates, page);
        let whys: Vec<Why> = quote.lines.iter().map(of).collect();
        let mut answer = QuoteAnswer::new(sheet, View::Owner, page);
        for (line, why) in answer.lines.iter_mut().zip(whys) {
            line.why = Some(why);
        }
        answer
    }

    /// Explains every quantity: the rate it was priced with, where that came from, and the rooms that taught it.
    pub fn why_text(&self, page: &Page) -> String {
        let hours = self.hours.map(|hours| format!(" {hours} h"));
        let cost = self.cost.get().map(|cost| cost.total.with_currency());
        let takes = match (hours, cost) {
            (Some(hours), Some(cost)) => format!("{hours} and {cost}"),
            (hours, cost) => or_blank(hours.or(cost)),
        };
        let mut text = format!("{} takes{takes}, line by line:", self.number);
        let is_work = |line: &&LineFacts| line.kind == LineKind::Work;
        let lumps = self.lines.iter().filter(|line| !is_work(line));
        for line in self.lines.iter().filter(is_work).chain(lumps) {
            let name = match (line.kind, &line.room) {
                (LineKind::Work, None) => format!("the job, {}", or_blank(line.operation.as_ref())),
                (_, Some(room)) => {
                    let part = line.part.map(|part| format!(" ({part})"));
                    let operation = or_blank(line.operation.as_ref());
                    format!("{room}, {operation}{}", or_blank(part))
                }
                (_, None) => line.lump(),
            };
            let _ = write!(text, "\n\n{}:", inert(&name));
            let why = line.why.iter();
            let whys = why.flat_map(|why| [&why.item, &why.hours, &why.cost]);
            for why in whys.flatten() {
                let _ = write!(text, "\n{}", page.prose(&format!("  {why}")));
            }
        }
        text
    }
}
