//! What a quote is asked for, gathered from the ledger into an offer that can be priced.
//!
//! A request names what it wants; what it leaves out comes from the settings. A variation offers what is new: what its job
//! has agreed to already is taken off.

use std::collections::BTreeSet;

use anyhow::Result;
use chrono::NaiveDate;

use super::trips::visits;
use super::{InBook, Ledger, Refusal, Room, Settings, Site, adding_a_room, names, refuse};
use crate::money::{Decimal, Money};
use crate::trade::bounds::check_day;
use crate::trade::cautions::{Rules, cautions};
use crate::trade::operation::{Operation, SET_UP, skipped_grades};
use crate::trade::parts::{begun_with, chain};
use crate::trade::plan::Machine;
use crate::trade::pricing::{Luck, LumpSum, Offer, Stocking, seed_of};
use crate::trade::quote::{Discount, Quote, Terms, WorkLine};
use crate::trade::rates::Rates;
use crate::trade::takeoff::{MeasuredRoom, Methods, Work, take_off};
use crate::trade::trips::Visits;
use crate::trade::{FloorCondition, JobId, QuoteId};

/// What the first option of a quote is called, where there are others.
pub const AS_DRAFTED: &str = "As drafted";

/// What is asked for, in the place of what a cost asks for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asking {
    /// The price, as prices are told; `None`: the cost asks for one.
    pub price: Option<Money>,
    /// What is taken off it.
    pub discounts: Vec<Discount>,
}

/// What a draft is asked for; what is left out comes from the settings.
#[derive(Clone, Debug, Default)]
pub struct DraftRequest {
    /// The rooms to be done, by name; none: every room of the site that is refinished.
    pub rooms: Vec<String>,
    /// How they are sanded and coated.
    pub methods: MethodsRequest,
    /// The margin to keep, as a fraction; `None`: the setting.
    pub margin: Option<Decimal>,
    /// The price before tax, whatever the cost asks for; `None`: what the cost asks for.
    pub price: Option<Money>,
    /// With what confidence, as a fraction; `None`: the setting.
    pub confidence: Option<Decimal>,
    /// When the work is to begin; `None`: not known yet.
    pub start: Option<NaiveDate>,
    /// Whose wage prices the hours; `None`: the mean of the active workers.
    pub worker: Option<String>,
    /// What is paid for at once.
    pub others: Vec<LumpSum>,
    /// The share of invoices that isn't asked for until it is released, as a fraction.
    pub retention: Decimal,
    /// What is taken off the price, of each option alike.
    pub discounts: Vec<Discount>,
    /// The quote that this is another version of.
    pub revises: Option<QuoteId>,
    /// The job that this is a variation of.
    pub variation_of: Option<JobId>,
    /// The floors are the owner's own: nobody pays.
    pub own: bool,
    /// What else the client may choose.
    pub options: Vec<OptionRequest>,
}

/// How floors are to be sanded and coated, as it is asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MethodsRequest {
    /// The sanding sequence.
    pub sequence: Chosen,
    /// The coating schedule.
    pub schedule: Chosen,
    /// What parts of rooms begin with; of other parts the book decides.
    pub parts: Vec<PartSequence>,
}

/// What parts of rooms in a condition begin with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartSequence {
    /// Their condition.
    pub condition: FloorCondition,
    /// The sequence, by its name.
    pub sequence: String,
}

/// A sequence or schedule, as it is asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Chosen {
    /// Nothing is said of it.
    #[default]
    LeftOut,
    /// There is to be none.
    None,
    /// One, by its name.
    Named(String),
}

impl Chosen {
    /// Returns its name, or the one that is set, if it is left out; `None`: there is to be none.
    fn name<'a>(&'a self, set: Option<&'a str>) -> Option<&'a str> {
        match self {
            Chosen::LeftOut => set,
            Chosen::None => None,
            Chosen::Named(name) => Some(name),
        }
    }

    /// Returns the same, or another if it is left out.
    fn or(&self, other: &Chosen) -> Chosen {
        match self {
            Chosen::LeftOut => other.clone(),
            said => said.clone(),
        }
    }
}

/// Another way to do what a draft is asked for, and what is different in it.
#[derive(Clone, Debug, Default)]
pub struct OptionRequest {
    /// What the client calls it.
    pub name: String,
    /// Another sanding sequence; left out, it is that of the request.
    pub sequence: Chosen,
    /// Another coating schedule; left out, it is that of the request.
    pub schedule: Chosen,
    /// Rooms that are done as well.
    pub with: Vec<String>,
    /// Rooms that are left out.
    pub without: Vec<String>,
    /// A price of its own; `None`: what its cost asks for, whatever the request names.
    pub price: Option<Money>,
}

impl Ledger {
    /// Returns what a request would offer, before it is priced.
    pub(super) fn offer(
        &self,
        site: &Site,
        request: &DraftRequest,
        rates: &Rates,
    ) -> Result<(Offer, Vec<String>)> {
        let rooms = self.rooms_to_quote(site, request)?;
        let methods = self.methods(&request.methods)?;
        refuse_other_parts(&methods, &rooms)?;
        let name = |used: Option<&String>| used.cloned();
        let names = (
            name(methods.sequence.as_ref().map(|used| &used.name)),
            name(methods.schedule.as_ref().map(|used| &used.name)),
        );
        if let Some(start) = request.start {
            check_day(start, self.today())?;
        }
        let mut measured = self.measured(&rooms)?;
        let warnings = warnings(&measured, &methods);
        let agreed = self.agreed_work(request)?;
        leave_out_findings(&mut measured, &agreed, &methods.operations);
        let mut work = take_off(&measured, &methods, rates)?;
        work.retain(|work| !is_set_up_already(work, &agreed));
        if work.is_empty() && request.others.is_empty() {
            refuse!("nothing in it is new: all of it is in the job already");
        }
        self.refuse_work_out_of_use(&work)?;
        let parts = rooms.iter().flat_map(|room| &room.parts);
        let conditions: Vec<_> = rooms
            .iter()
            .map(|room| room.condition)
            .chain(parts.map(|part| part.condition))
            .collect();
        let hazards: Vec<_> = work
            .iter()
            .flat_map(|line| line.operation.hazards.iter().copied())
            .collect();
        let machines = self
            .machines()?
            .into_iter()
            .map(|machine| Machine {
                id: machine.id,
                name: machine.name,
                tariff: machine.tariff,
            })
            .map(|machine| (machine.id, machine));
        let settings = self.settings()?;
        let rules = Rules {
            country: self.identity().country,
            units: self.units(),
            lead_year: settings.lead_year,
            asbestos_year: settings.asbestos_year,
        };
        let mut offer = Offer {
            sequence: names.0,
            schedule: names.1,
            rooms: measured,
            work,
            others: request.others.clone(),
            discounts: request.discounts.clone(),
            machines: machines.collect(),
            items: self
                .items()?
                .into_iter()
                .map(|item| (item.id, item.supply()))
                .collect(),
            day_hours: settings.day_hours,
            start: request.start,
            rentals: None,
            road: self.road_to(site, &settings),
            visits: Visits::default(),
            cautions: cautions(site.year_built, rules, &conditions, &hazards),
            terms: self.terms(site, request, &settings)?,
            luck: Luck {
                draws: settings.draws,
                seed: seed_of(&site.address),
            },
            stocking: Stocking {
                returnable: settings.buy_confidence_returnable,
                other: settings.buy_confidence,
            },
        };
        offer = offer.with_tax_on_items(self.tax_on_bought(site.id)?);
        if offer.road.is_some() {
            offer.visits = visits(&offer, &methods, rates, &settings, &agreed);
        }
        Ok((offer, warnings))
    }

    /// Returns what is asked for with an option.
    pub(super) fn changed(
        &self,
        site: &Site,
        request: &DraftRequest,
        option: &OptionRequest,
    ) -> Result<DraftRequest> {
        let mut rooms = self.rooms_to_quote(site, request)?;
        for name in &option.without {
            let room = self.room(name, Some(site.id))?;
            let Some(place) = rooms.iter().position(|known| known.id == room.id) else {
                refuse!(
                    "`{}` is not in the quote, so no option is without it",
                    room.name
                );
            };
            rooms.remove(place);
        }
        for name in &option.with {
            let room = self.room(name, Some(site.id))?;
            if option
                .without
                .iter()
                .any(|without| names::same(without, name))
            {
                refuse!("`{}` is with `{}` and without it", option.name, room.name);
            }
            if rooms.iter().any(|known| known.id == room.id) {
                refuse!("`{}` is in the quote already", room.name);
            }
            rooms.push(room);
        }
        if rooms.is_empty() {
            refuse!("`{}` leaves no room to be done", option.name);
        }
        let same = |one: &OptionRequest| names::same(&one.name, &option.name);
        if names::same(&option.name, AS_DRAFTED)
            || request.options.iter().filter(|one| same(one)).count() > 1
        {
            refuse!("there are two options called `{}`", option.name);
        }
        Ok(DraftRequest {
            rooms: rooms.into_iter().map(|room| room.name).collect(),
            methods: MethodsRequest {
                sequence: option.sequence.or(&request.methods.sequence),
                schedule: option.schedule.or(&request.methods.schedule),
                parts: match option.sequence {
                    Chosen::None => Vec::new(),
                    _ => request.methods.parts.clone(),
                },
            },
            price: option.price,
            ..request.clone()
        })
    }

    /// Returns the work that the job of a variation has agreed to already.
    pub(super) fn agreed_work(&self, request: &DraftRequest) -> Result<Vec<WorkLine>> {
        let Some(job) = request.variation_of else {
            return Ok(Vec::new());
        };
        let agreed = self.agreed(&self.job_by_id(job)?)?;
        let quotes = agreed.quotes.iter();
        Ok(quotes
            .flat_map(|record| record.quote.work().cloned())
            .collect())
    }

    /// Refuses work that is out of use, or takes what is.
    fn refuse_work_out_of_use(&self, work: &[Work]) -> Result<()> {
        let machines = self.machines()?;
        for Work { operation, .. } in work {
            self.refuse_out_of_use(InBook::Operation, operation.id.0, &operation.name)?;
            if let Some(item) = &operation.item {
                self.refuse_out_of_use(InBook::Item, item.id.0, &item.name)?;
            }
            let mut machines = machines.iter();
            let machine = machines.find(|machine| Some(machine.id) == operation.machine);
            if let Some(machine) = machine.filter(|machine| !machine.active) {
                self.refuse_out_of_use(InBook::Machine, machine.id.0, &machine.name)?;
            }
        }
        Ok(())
    }

    /// Returns the methods that a request names, or the settings.
    pub(super) fn methods(&self, request: &MethodsRequest) -> Result<Methods> {
        let settings = self.settings()?;
        let (sequence, schedule) = (&settings.default_sequence, &settings.default_schedule);
        let sequence = request.sequence.name(sequence.as_deref());
        let schedule = request.schedule.name(schedule.as_deref());
        Ok(Methods {
            operations: self.operations_in_use()?,
            sequence: sequence.map(|name| self.sequence(name)).transpose()?,
            sequences: self.sequences()?,
            begun_with: request
                .parts
                .iter()
                .map(|part| Ok((part.condition, self.sequence(&part.sequence)?)))
                .collect::<Result<_>>()?,
            schedule: schedule.map(|name| self.schedule(name)).transpose()?,
        })
    }

    fn rooms_to_quote(&self, site: &Site, request: &DraftRequest) -> Result<Vec<Room>> {
        if !request.rooms.is_empty() {
            return self.rooms_named(site, &request.rooms);
        }
        let mut rooms = self.rooms_of(site.id)?;
        rooms.retain(|room| room.refinished);
        if rooms.is_empty() {
            return Err(
                Refusal::new(format!("`{}` has no rooms to quote", site.address))
                    .hint(adding_a_room(&site.address))
                    .into(),
            );
        }
        Ok(rooms)
    }

    fn terms(&self, site: &Site, request: &DraftRequest, settings: &Settings) -> Result<Terms> {
        let confidence = request.confidence.unwrap_or(settings.confidence);
        if request.own {
            return Ok(Terms::at_cost(
                confidence,
                settings.burden,
                settings.overhead,
            ));
        }
        let wage = match &request.worker {
            Some(name) => self.currency().decimal(self.worker(name)?.wage),
            None => match self.mean_wage()? {
                Some(wage) => wage,
                None => {
                    return Err(self.nobody_works("nobody works here yet, so hours have no price")?);
                }
            },
        };
        Ok(Terms {
            margin: request.margin.unwrap_or(settings.margin),
            confidence,
            // The least that a job is done for; what is added to a job costs what it costs.
            minimum: match request.variation_of {
                Some(_) => Money::ZERO,
                None => settings.minimum_charge,
            },
            step: settings.price_step,
            named: request.price,
            wage,
            burden: settings.burden,
            overhead: settings.overhead,
            tax: self.tax_in_force(site.id)?,
            tax_included: settings.tax_included,
            retention: request.retention,
            own: false,
        })
    }
}

/// Returns what is unusual in how rooms and their parts are sanded: cuts that skip more than one grade, and parts for which
/// the book has no first cut.
fn warnings(rooms: &[MeasuredRoom], methods: &Methods) -> Vec<String> {
    let Some(sequence) = &methods.sequence else {
        return Vec::new();
    };
    let mut skipped = skipped_grades(sequence);
    let mut without = Vec::new();
    for room in rooms {
        for part in &room.parts {
            match methods.start(part.condition, room.class.condition, sequence) {
                Some(start) => skipped.extend(skipped_grades(&chain(&start, sequence))),
                None => without.push(format!(
                    "the sequences of the book that start coarser share no cut with {}: the {} in {} is cut as the room is",
                    sequence.name, part.condition, room.name
                )),
            }
        }
    }
    let mut warnings: Vec<String> = skipped.iter().map(ToString::to_string).collect();
    warnings.extend(without);
    let mut told = BTreeSet::new();
    warnings.retain(|words| told.insert(words.clone()));
    warnings
}

/// Refuses sequences for parts that aren't there, or that never meet that of their room.
fn refuse_other_parts(methods: &Methods, rooms: &[Room]) -> Result<()> {
    for (place, (condition, sequence)) in methods.begun_with.iter().enumerate() {
        let Some(whole) = &methods.sequence else {
            refuse!("without a sanding sequence, parts have none either");
        };
        let before = &methods.begun_with[..place];
        if before.iter().any(|(known, _)| known == condition) {
            refuse!("parts in `{condition}` begin with one sequence, and two are named");
        }
        let is_part = |room: &Room| room.parts.iter().any(|part| part.condition == *condition);
        if !rooms.iter().any(is_part) {
            refuse!("no room of it has a part in `{condition}`");
        }
        if begun_with(sequence, whole).is_none() {
            refuse!(
                "`{}` shares no cut of the floor with `{}`: the last cuts cover the room",
                sequence.name,
                whole.name
            );
        }
    }
    Ok(())
}

/// Takes what a job has agreed to repair already off the findings: a variation prices what is new.
fn leave_out_findings(rooms: &mut [MeasuredRoom], agreed: &[WorkLine], operations: &[Operation]) {
    for room in rooms {
        let id = room.id;
        let of_room = || agreed.iter().filter(move |work| work.room == Some(id));
        for found in &mut room.findings {
            let mut answers = operations.iter();
            let answer = answers.find(|known| known.answers.as_ref() == Some(&found.kind));
            let sure = of_room().filter(|work| {
                work.contingency.is_none() && answer.is_some_and(|known| known.id == work.operation)
            });
            let done: Decimal = sure.map(|work| work.quantity).sum();
            found.quantity = (found.quantity - done).max(Decimal::ZERO);
        }
        room.findings.retain(|found| !found.quantity.is_zero());
        room.contingencies.retain(|may| {
            !of_room().any(|work| {
                work.contingency == Some(may.contingency) && work.operation == may.operation
            })
        });
    }
}

/// Returns the rooms in which a variation does again what a job has agreed to do.
pub(super) fn done_again(quote: &Quote, agreed: &[WorkLine]) -> Vec<String> {
    let mut agreed = agreed.to_vec();
    agreed.retain(|known| known.task.name != "repair");
    works_again(quote, &agreed)
}

/// Returns the rooms of a quote in which it does again what is known of.
pub(super) fn works_again(quote: &Quote, known: &[WorkLine]) -> Vec<String> {
    let is_known = |work: &WorkLine| {
        let mut known = known.iter();
        known.any(|known| (known.room, known.operation) == (work.room, work.operation))
    };
    let rooms = quote.rooms.iter();
    let again = rooms.filter(|room| {
        let mut works = quote.work();
        works.any(|work| work.room == Some(room.id) && is_known(work))
    });
    again.map(|room| room.name.clone()).collect()
}

/// Tells whether setting up, for the job or in that room, is part of what a job has agreed already.
fn is_set_up_already(work: &Work, agreed: &[WorkLine]) -> bool {
    work.operation.task.name == SET_UP
        && agreed
            .iter()
            .any(|known| known.room == work.room && known.operation == work.operation.id)
}
