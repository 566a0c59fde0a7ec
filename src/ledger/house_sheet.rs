//! A planned house with what it costs, beside other ways to do it.

use std::collections::BTreeMap;

use anyhow::Result;

use super::house_brief::Gathered;
use super::{Asking, HouseRequest, Ledger, LeftOut, Room, Site, ToBuy};
use crate::money::{Decimal, Money};
use crate::trade::plan::promised::{Promise, Twice};
use crate::trade::plan::{Answer, HousePlan, Phase, Places, Remark, Way, plan};
use crate::trade::pricing::price;
use crate::trade::quote::{Line, LineKind, Priced, Quote};
use crate::trade::trips::Visits;
use crate::trade::{RoomId, Unit};

/// What a phase takes of items: name, quantity and unit.
pub type Takes = Vec<(String, Decimal, Unit)>;

/// A way to do the house, with its cost.
#[derive(Clone, Debug)]
pub struct PricedWay {
    /// The plan, or why there is none.
    pub way: Way,
    /// What it costs the firm and the household together; `None`: there is no plan.
    pub cost: Option<Money>,
}

/// A planned house with all that is shown beside it.
#[derive(Clone, Debug)]
pub struct HouseSheet {
    /// The site's address.
    pub site: String,
    /// What was asked for.
    pub request: HouseRequest,
    /// The names of the rooms and ways.
    pub names: BTreeMap<RoomId, String>,
    /// The answer.
    pub chosen: PricedWay,
    /// What each phase of it costs; they add up to the whole.
    pub phase_costs: Vec<Money>,
    /// What it is compared with, by name.
    pub others: Vec<(&'static str, PricedWay)>,
    /// No plan costs less.
    pub bound: Option<Money>,
    /// Whether every plan was tried: then it is the cheapest, or there is none.
    pub proven: bool,
    /// The quote that it would become; `None`: no plan is feasible.
    pub priced: Option<Priced>,
    /// What each phase is expected to take of each item, by name and unit.
    pub takes: Vec<Takes>,
    /// What would have to be bought for all of it.
    pub shopping: Vec<ToBuy>,
    /// Rooms that are left out because they are in a job, with its number.
    pub in_jobs: LeftOut,
    /// What the plan promises for days on which that of a job does too.
    pub promised_twice: Vec<Twice>,
    /// What is unusual in how rooms are sanded.
    pub warnings: Vec<String>,
}

impl Gathered<'_> {
    /// Prices a plan: set-up for each phase, the machines as they are rented, everything else as in any quote.
    fn quote(&self, ledger: &Ledger, plan: &HousePlan) -> Result<Priced> {
        let mut offer = self.offer.clone();
        let (set_up, rooms): (Vec<_>, Vec<_>) =
            offer.work.into_iter().partition(|work| work.room.is_none());
        let phases = plan.phases.iter();
        offer.work = phases.flat_map(|_| set_up.clone()).chain(rooms).collect();
        offer.rentals = Some(plan.rentals.clone());
        offer.start = plan.first_day();
        offer.visits = Visits::of_plan(plan);
        Ok(price(offer, &self.rates, ledger.currency())?)
    }
}

impl Ledger {
    /// Plans a house.
    ///
    /// # Errors
    /// Refuses unknown rooms and methods, a start that isn't worked on, rooms without a way out, and keeps that no plan
    /// can honour.
    pub fn plan_house(
        &self,
        site: &Site,
        request: &HouseRequest,
        asking: &Asking,
        progress: &dyn Fn(u32),
    ) -> Result<HouseSheet> {
        let mut gathered = self.gather(site, request, &[], None, progress)?;
        gathered.offer.terms.named = asking.price;
        gathered.offer.discounts.clone_from(&asking.discounts);
        self.check_dates(&self.settings()?.calendar(), request)?;
        let brief = gathered.brief(request)?;
        let named = request.phases.as_deref();
        let named = named.map(|lists| gathered.phases(lists)).transpose()?;
        let mut answer = plan(&brief, named.as_deref());
        let house = &gathered.house;
        if let (Some(name), Some(_)) = (&request.furniture_room, &answer.chosen.plan) {
            let place = gathered.place(name)?;
            if house.refinished().has(place) {
                let room = house.names(Places::one(place));
                answer.chosen.why.push(Remark::OwnFurniture { room });
            }
        }
        let beside = gathered.others.remarks(house, answer.chosen.plan.as_ref());
        answer.chosen.why.extend(beside);
        self.sheet_of(site, request, &gathered, answer)
    }

    fn sheet_of(
        &self,
        site: &Site,
        request: &HouseRequest,
        gathered: &Gathered<'_>,
        answer: Answer,
    ) -> Result<HouseSheet> {
        let Answer {
            chosen,
            cheapest,
            one_by_one,
            all_at_once,
            bound,
            proven,
        } = answer;
        let planned = match &chosen.plan {
            Some(plan) => Some((plan.clone(), gathered.quote(self, plan)?)),
            None => None,
        };
        let instead = cheapest.iter().chain([&one_by_one, &all_at_once]);
        let base = match (
            &planned,
            instead.into_iter().find_map(|way| way.plan.as_ref()),
        ) {
            (Some((plan, priced)), _) => Some(base_of(plan, priced)),
            (None, Some(plan)) => Some(base_of(plan, &gathered.quote(self, plan)?)),
            (None, None) => None,
        };
        let with_cost = |way: Way| PricedWay {
            cost: base
                .zip(way.plan.as_ref())
                .map(|(base, plan)| base + plan.costs.total()),
            way,
        };
        let best = match proven {
            true => "cheapest plan",
            false => "best plan found",
        };
        let others = cheapest.into_iter().map(|way| (best, way)).chain([
            ("one room at a time", one_by_one),
            ("all at once", all_at_once),
        ]);
        let mut sheet = HouseSheet {
            site: site.address.clone(),
            request: request.clone(),
            names: names_of(&gathered.rooms),
            chosen: with_cost(chosen),
            phase_costs: Vec::new(),
            others: others.map(|(name, way)| (name, with_cost(way))).collect(),
            bound: base.map(|base| base + bound),
            proven,
            priced: None,
            takes: Vec::new(),
            shopping: Vec::new(),
            in_jobs: gathered.in_jobs.clone(),
            promised_twice: Vec::new(),
            warnings: gathered.warnings.clone(),
        };
        if let Some((plan, priced)) = planned {
            sheet.phase_costs = costs_by_phase(&plan, &priced);
            sheet.takes = takes_by_phase(&plan, &priced.quote);
            sheet.shopping = self.shopping_for(&priced.quote, &priced.outlook)?;
            sheet.promised_twice = self.promised_by(Promise {
                to: "this plan",
                site: site.id,
                plan: &plan,
            })?;
            sheet.priced = Some(priced);
        }
        Ok(sheet)
    }
}

/// Returns what of a plan's quote doesn't depend on the plan.
fn base_of(plan: &HousePlan, priced: &Priced) -> Money {
    priced.quote.expected_cost() - plan.costs.set_up - plan.costs.rental
}

pub(super) fn names_of(rooms: &[Room]) -> BTreeMap<RoomId, String> {
    rooms
        .iter()
        .map(|room| (room.id, room.name.clone()))
        .collect()
}

/// Shares out what is the same for every plan by what the rooms cost, and driving by the days of the phases, and adds what
/// each phase costs beside that.
fn costs_by_phase(plan: &HousePlan, priced: &Priced) -> Vec<Money> {
    let driving = priced.quote.lines.iter();
    let driving = driving.filter(|line| line.kind() == LineKind::Trips);
    let driving: Money = driving.map(Line::cost).sum();
    let days = plan.phases.iter().map(Visits::of_phase).map(Decimal::from);
    let driving_of = driving.spread(&days.collect::<Vec<_>>());
    let cost_of = |phase: &Phase| -> Decimal {
        let lines = priced.quote.lines.iter();
        let lines =
            lines.filter(|line| line.room().is_some_and(|room| phase.rooms.contains(&room)));
        lines.map(|line| Decimal::from(line.cost().minor())).sum()
    };
    let weights: Vec<Decimal> = plan.phases.iter().map(cost_of).collect();
    let shares = (base_of(plan, priced) - driving).spread(&weights);
    plan.phases
        .iter()
        .zip(shares.into_iter().zip(driving_of))
        .map(|(phase, (share, driving))| share + driving + phase.costs.total())
        .collect()
}

/// Returns what the rooms of each phase are expected to take of each item.
fn takes_by_phase(plan: &HousePlan, quote: &Quote) -> Vec<Takes> {
    let of_phase = |phase: &Phase| {
        let mut takes: Takes = Vec::new();
        let lines = quote
            .work()
            .filter(|work| work.room.is_some_and(|room| phase.rooms.contains(&room)));
        for item in lines.filter_map(|work| work.item.as_ref()) {
            match takes.iter_mut().find(|(name, ..)| *name == item.name) {
                Some((_, quantity, _)) => *quantity += item.expected,
                None => takes.push((item.name.clone(), item.expected, item.unit)),
            }
        }
        takes
    };
    plan.phases.iter().map(of_phase).collect()
}
