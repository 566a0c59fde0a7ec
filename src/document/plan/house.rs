//! A house as it is planned: what the plan costs beside other ways, and why it is as it is.

use std::fmt::Write as _;

use chrono::NaiveDate;

use super::words::{TwiceFacts, Why};
use super::{Names, PhaseFacts, Phases, Take, short, walked_on};
use crate::document::figures::{Amount, Percent, SetPercent};
use crate::document::outlook::ShoppingList;
use crate::document::{Answer, List, Page, inert, or_blank};
use crate::ledger::{HouseSheet, PricedWay, Takes};
use crate::money::{Decimal, Money};
use crate::trade::plan::{Doing, HousePlan, PlanCosts};
use crate::trade::quote::Priced;

answer! {
    /// A way to do the house, as far as it is compared.
    struct WayFacts from way: PricedWay on page {
        feasible: bool = way.way.plan.is_some(),
        why: Why = Why::new(&way.way.why, page),
        cost: Option<Amount>,
        finish: Option<NaiveDate> = way.way.plan.as_ref().map(|plan| plan.finish),
        #[serde(skip)]
        phases: Option<usize> = way.way.plan.as_ref().map(|plan| plan.phases.len()),
        .. { way }
    }

    /// What the plan is compared with.
    struct Alternative of (other: (&'static str, PricedWay)) on page
    let (name, way) = other;
    {
        name: &'static str,
        #[serde(flatten)]
        way: WayFacts,
    }

    /// A room that is left out, and the job that it is in.
    struct LeftOut of (left_out: (String, String)) on page
    let (room, job) = left_out;
    {
        room: String,
        job: String,
    }
}

/// What the plan costs by kind, and how the price comes about: words for the owner.
#[derive(Debug)]
struct Pricing {
    costs: [(&'static str, Amount); 7],
    total: Amount,
    margin: SetPercent,
    confidence: SetPercent,
    expected_margin: Percent,
    /// Where the price was named, or discounts are taken off it: how often it keeps the margin, and what the cost asks for.
    asked: Option<(Percent, Amount)>,
}

impl Pricing {
    fn new(priced: &Priced, plan: PlanCosts, page: &Page) -> Pricing {
        let Priced { quote, outlook } = priced;
        let costs = quote.costs();
        let rows = [
            ("Labour, set-up for each phase included", costs.labour),
            ("Consumables", costs.consumables),
            ("Rental", costs.rental),
            ("Other", costs.other),
            ("Overhead", costs.overhead),
            ("Rooms closed, for the household", plan.days_closed),
            ("Nights away, for the household", plan.nights_away),
        ];
        Pricing {
            costs: rows.map(|(what, money)| (what, page.amount(money))),
            total: page.amount(costs.total() + plan.households()),
            margin: SetPercent::of_one(quote.terms.margin),
            confidence: SetPercent::of_one(quote.terms.confidence),
            expected_margin: Percent(quote.margin_percent()),
            asked: (quote.terms.named.is_some() || !quote.discounts.is_empty()).then(|| {
                let asked = quote
                    .terms
                    .asked_for(outlook.cost_at_confidence, &quote.taxed_by);
                let kept = Decimal::ONE - outlook.below_margin;
                (Percent::of_one(Some(kept)), page.amount(asked))
            }),
        }
    }
}

answer! {
    /// A planned house with all that is shown beside it; `quote`: what was drafted from it.
    pub struct HouseAnswer of (sheet: HouseSheet, quote: Option<String>) on page
    let HouseSheet {
        site, request, names, chosen, phase_costs, others, bound, proven, priced, takes, shopping, in_jobs, promised_twice,
        warnings: _,
    } = sheet;
    let plan = chosen.way.plan.clone();
    let costs = plan.as_ref().map(|plan| plan.costs);
    let quoted = priced.as_ref().map(|Priced { quote, outlook: _ }| quote);
    {
        site: String,
        start: NaiveDate = request.start,
        currency: &'static str = page.currency.code(),
        #[serde(flatten)]
        chosen: WayFacts,
        #[serde(skip)]
        chosen_name: &'static str = match request.phases {
            Some(_) => "as named",
            None => "this plan",
        },
        #[serde(flatten)]
        plan: Phases = phases(plan, &names, phase_costs, takes, page),
        alternatives: Vec<Alternative> = page.each(others, Alternative::new),
        bound: Option<Amount>,
        proven: bool,
        expected_cost: Option<Amount> = quoted.map(|quote| page.amount(quote.expected_cost())),
        household_loses: Option<Amount> = costs.map(|costs| page.amount(costs.households())),
        price: Option<Amount> = quoted.map(|quote| page.amount(quote.price)),
        tax: Option<Amount> = quoted.map(|quote| page.amount(quote.tax)),
        #[serde(skip)]
        pricing: Option<Pricing> = priced.as_ref().zip(costs).map(|(priced, costs)| Pricing::new(priced, costs, page)),
        promised_twice: Vec<TwiceFacts>,
        buy: ShoppingList = ShoppingList::new(shopping, page),
        left_out: Vec<LeftOut> = page.each(in_jobs, LeftOut::new),
        quote: Option<String>,
    }
}

/// Returns the phases of a plan, each with what it costs and takes; none: there is no plan.
fn phases(
    plan: Option<HousePlan>,
    names: &Names,
    costs: Vec<Money>,
    takes: Vec<Takes>,
    page: &Page,
) -> Phases {
    let plan = plan.map(|plan| Phases::new(plan, names, page));
    let mut plan = plan.unwrap_or_default();
    for (phase, cost) in plan.phases.iter_mut().zip(costs) {
        phase.cost = Some(page.amount(cost));
    }
    for (phase, takes) in plan.phases.iter_mut().zip(takes) {
        phase.takes = Some(page.each(takes, Take::new));
    }
    plan
}

impl HouseAnswer {
    fn phases(&self, page: &Page) -> String {
        let phases = &self.plan.phases;
        let rooms = match phases.iter().any(PhaseFacts::is_coated) {
            true => "Coat in order",
            false => "Rooms",
        };
        let headings = ["", rooms, "Sand", "Coats", "Walk on", "Furniture", "Cost"];
        let mut table = page.table(headings).numbers([0, 6]).makes_room([6, 2]);
        let mut after = String::new();
        for (number, phase) in (1_usize..).zip(phases) {
            table.line([
                &number,
                &phase.coating_order.join(", "),
                &phase.dates(|doing| doing == Doing::Sand),
                &phase.dates(|doing| matches!(doing, Doing::Coat(_))),
                &walked_on(phase.light_use),
                &short(phase.furniture_back),
                &or_blank(phase.cost),
            ]);
            let cure = phase.full_cure.map(|cure| format!(", cured by {cure}"));
            let line = match phase.is_coated() {
                false => format!("Phase {number}: no coat."),
                true => format!(
                    "Phase {number}: coat towards the way out by {}{}.",
                    or_blank(phase.exit.as_ref()),
                    or_blank(cure)
                ),
            };
            let _ = write!(after, "\n{}", page.prose(&inert(&line)));
        }
        format!("{table}\n{after}")
    }

    fn takes(&self, page: &Page) -> String {
        let mut text = String::new();
        for (number, phase) in (1_usize..).zip(&self.plan.phases) {
            let takes = phase.takes.iter().flatten().map(|take| {
                let Take {
                    item,
                    quantity,
                    unit,
                } = take;
                format!("{item} {}", quantity.of(*unit))
            });
            let takes = takes.collect::<Vec<_>>().join("; ");
            let line = format!("Phase {number} takes {takes}");
            let _ = writeln!(text, "{}", page.prose(&inert(&line)));
        }
        format!("{text}\n{}", self.buy.text("the whole plan", page))
    }

    /// Says the answer: what it is offered for, how long it takes, and what other ways would cost.
    fn answer(&self, page: &Page) -> String {
        let households = self.household_loses.filter(|loss| !loss.money.is_zero());
        let households = households.map(|loss| format!(", {loss} of it the household's"));
        let amount = match (self.price, self.chosen.cost) {
            (Some(price), Some(cost)) => {
                let price = price.with_currency();
                format!("{price} (cost {cost}{})", or_blank(households))
            }
            (price, cost) => or_blank(price.or(cost).map(Amount::with_currency)),
        };
        let (site, words) = (inert(&self.site), self.plan.words());
        let beside = self
            .alternatives
            .iter()
            .map(|other| self.beside(other, page));
        let beside: Vec<String> = beside.collect();
        let answer = page.prose(&format!("{site}: {amount}, {words}."));
        let beside = page.prose(&inert(&format!("Otherwise: {}.", beside.join("; "))));
        match self.alternatives.is_empty() {
            true => answer,
            false => format!("{answer}\n{beside}"),
        }
    }

    /// Says what another way would cost: `all at once costs 445.59 more, done 2026-03-29`.
    fn beside(&self, other: &Alternative, page: &Page) -> String {
        let Alternative { name, way } = other;
        let costs = way.cost.zip(self.chosen.cost).zip(way.finish);
        let Some(((cost, own), finish)) = costs else {
            return format!("{name} can't be done");
        };
        let more = cost.money - own.money;
        let difference = match more {
            Money::ZERO => "costs the same".to_owned(),
            less if less.is_negative() => format!("costs {} less", page.amount(-less)),
            more => format!("costs {} more", page.amount(more)),
        };
        format!("{name} {difference}, done {finish}")
    }

    fn costs(&self, pricing: &Pricing, page: &Page) -> String {
        let mut table = page.table(["Cost", "Expected"]).numbers([1]);
        for (what, amount) in pricing.costs {
            if !amount.money.is_zero() {
                table.line([&what, &amount]);
            }
        }
        table.line([&"Total", &pricing.total]);
        let price = format!(
            "Price {} {} before tax, {} of tax",
            or_blank(self.price),
            self.currency,
            or_blank(self.tax),
        );
        let (margin, expected) = (pricing.margin, pricing.expected_margin);
        let keeps = match pricing.asked {
            Some((kept, asked)) => format!(
                "the margin of {margin} is kept {kept} of the time, {expected} is expected; the cost asks for {asked}"
            ),
            None => format!(
                "the margin of {margin} is kept with {} confidence, {expected} is expected",
                pricing.confidence
            ),
        };
        let price = format!("{price}: {keeps}.");
        format!("{table}\n\n{}", page.prose(&price))
    }

    fn ways(&self, page: &Page) -> String {
        let mut table = page
            .table(["Way", "Phases", "Cost", "Difference", "Done"])
            .numbers([1, 2, 3]);
        let others = self
            .alternatives
            .iter()
            .map(|other| (other.name, &other.way));
        for (name, way) in std::iter::once((self.chosen_name, &self.chosen)).chain(others) {
            let costs = way.cost.zip(self.chosen.cost);
            let difference = costs.map(|(cost, own)| page.amount(cost.money - own.money));
            let cost = way.cost.map(|cost| cost.to_string());
            let phases = way.phases.map(|phases| phases.to_string());
            table.line([
                &name,
                &phases.as_deref().unwrap_or("-"),
                &cost.as_deref().unwrap_or("not feasible"),
                &or_blank(difference),
                &or_blank(way.finish),
            ]);
        }
        table.to_string()
    }

    fn remarks(&self, page: &Page) -> String {
        let mut text = self.chosen.why.points(page);
        for Alternative { name, way } in &self.alternatives {
            if !way.feasible && self.chosen.why != way.why {
                for sentence in &way.why.0 {
                    text.push_str(&page.point(&format!("{name}: {sentence}")));
                }
            }
        }
        if let (true, false, Some(bound)) = (self.chosen.feasible, self.proven, self.bound) {
            text.push_str(&page.point(&format!(
                "Not every plan could be tried: this one is good, and none costs less than {bound}."
            )));
        }
        for twice in &self.promised_twice {
            text.push_str(&page.point(&twice.words));
        }
        for LeftOut { room, job } in &self.left_out {
            text.push_str(&page.point(&format!("{room} is left out: it is in {job}.")));
        }
        match text.is_empty() {
            true => text,
            false => format!("\n{text}"),
        }
    }
}

impl HouseAnswer {
    /// Writes what each phase takes, and what to buy for all of them.
    pub fn shopping(&self, page: &Page) -> String {
        match self.chosen.feasible {
            true => format!("{}\n", self.takes(page)),
            false => String::new(),
        }
    }
}

impl Answer for HouseAnswer {
    fn text(&self, page: &Page) -> String {
        let why = self.remarks(page);
        let why = Some(why.trim().to_owned()).filter(|why| !why.is_empty());
        if !self.chosen.feasible {
            let none = match self.proven {
                true => "no plan is feasible",
                false => "no plan was found, and none is proven impossible,",
            };
            let title = format!("{}: {none} as it was asked for.", self.site);
            let title = page.prose(&inert(&title));
            let parts = [Some(title), why, Some(self.ways(page))];
            return parts.into_iter().flatten().collect::<Vec<_>>().join("\n\n") + "\n";
        }
        let plan = [self.answer(page), self.phases(page), self.plan.strip(page)];
        let pricing = self.pricing.as_ref();
        let costs = pricing.map(|pricing| self.costs(pricing, page));
        let parts = plan.into_iter().chain(why).chain([self.ways(page)]);
        let parts = parts.chain(costs).chain([self.plan.rentals(page)]);
        parts.collect::<Vec<_>>().join("\n\n") + "\n"
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.plan.phases)
    }
}
