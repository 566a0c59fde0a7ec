//! A quote for its owner, with cost and margin, and for its client, without.
//!
//! Both views are drawn from one [`QuoteAnswer`], so they can't disagree. `decision.rs` is what the owner decides on,
//! `why.rs` says why it takes what it takes,
//! `list.rs` lists quotes, `change.rs` says what a variation changes.

mod change;
mod decision;
pub mod list;
mod why;

use std::fmt::Write as _;

use chrono::NaiveDate;
use serde::ser::Error as _;
use serde::{Serialize, Serializer};

use self::change::ChangeFacts;
pub use self::change::VariationsAnswer;
use self::why::Why;
use super::figures::{
    Amount, Days, Number, Percent, Quantity, Run, SetPercent, UnitPrice, range_text,
};
use super::floor::Floors;
use super::invoice::{Tax, no_tax, tax_lines};
use super::letterhead::Firm;
use super::list::{Columns, InColumns};
use super::outlook::{OptionFacts, OutlookFacts};
use super::plan::dates::{Stage, stages_table};
use super::{Answer, List, Page, Table, View, count, inert, or_blank};
use crate::ledger::{QuoteHeader, QuoteRecord, QuoteSheet, QuoteStatus, Varied};
use crate::measure::Length;
use crate::money::Decimal;
use crate::trade::cautions::Caution;
use crate::trade::contract::Cancellation;
use crate::trade::operation::SET_UP;
use crate::trade::parts::MeasuredPart;
use crate::trade::quote::{
    Costs, Discount, ItemLine, Line, LineKind, Outlook, Quote, QuotedRoom, WorkLine, price_for,
};
use crate::trade::takeoff::Contingency;
use crate::trade::{FloorCondition, RoomId, Species, Unit};

answer! {
    /// A part of a room in another condition.
    struct PartFacts from part: MeasuredPart on page {
        condition: FloorCondition,
        area: Quantity = page.measured(part.area, Unit::SquareFoot),
        edge: Run = page.run(Length::from_feet(part.edge)),
        .. { area, edge }
    }

    /// A room as it was measured, with its share of the price.
    struct RoomFacts from room: QuotedRoom on page {
        #[serde(skip)]
        id: RoomId = room.id,
        name: String,
        area: Quantity = page.measured(room.area, Unit::SquareFoot),
        edge: Run = page.run(Length::from_feet(room.edge)),
        steps: Option<u32>,
        condition: FloorCondition = room.class.condition,
        parts: Vec<PartFacts> = page.each(room.parts, PartFacts::new),
        species: Species = room.class.species,
        price: Amount,
        /// As the client reads it, where that is with tax.
        price_with_tax: Option<Amount> = None,
        .. { id, area, edge, class, parts }
    }
}

impl RoomFacts {
    /// Returns what is told of a quote's rooms.
    fn all(quote: &Quote, page: &Page) -> Vec<RoomFacts> {
        let mut rooms = page.each(quote.rooms.clone(), RoomFacts::new);
        if quote.terms.tax_included {
            for (room, told) in rooms.iter_mut().zip(quote.told_rooms()) {
                room.price_with_tax = Some(page.amount(told));
            }
        }
        rooms
    }

    /// Returns the price as prices are told.
    fn told(&self) -> Amount {
        self.price_with_tax.unwrap_or(self.price)
    }

    fn size(&self) -> String {
        match self.steps {
            Some(steps) => count(steps, "step"),
            None => format!("{}, edge {}", self.area, self.edge),
        }
    }

    fn floor(&self) -> String {
        let parts = self.parts.iter().map(|part| part.condition.as_str());
        let conditions: Vec<&str> = [self.condition.as_str()].into_iter().chain(parts).collect();
        format!("{} {}", conditions.join(" + "), self.species)
    }

    fn heading(&self) -> String {
        let (name, size) = (inert(&self.name), self.size());
        let mut text = format!("{name}: {size}; {} {}", self.condition, self.species);
        for PartFacts {
            condition,
            area,
            edge,
        } in &self.parts
        {
            let _ = write!(text, "\nPart: {condition}, {area}, edge {edge}");
        }
        text
    }
}

columns! {
    /// A line; what it has nothing to say about is `None`.
    #[derive(Debug, Default, Serialize)]
    struct LineFacts {
        kind: LineKind,
        #[serde(skip)]
        room_id: Option<RoomId>,
        room: Option<String>,
        /// The condition of the room's part; `None`: all of the room.
        part: Option<FloorCondition>,
        operation: Option<String>,
        task: Option<String>,
        driver: Option<Quantity>,
        passes: Option<u32>,
        item: Option<String>,
        item_quantity: Option<Number>,
        item_unit: Option<Unit>,
        load_quantity: Option<Number>,
        unit_price: Option<UnitPrice>,
        hours: Option<Number>,
        machine: Option<String>,
        days: Option<Days>,
        trips: Option<u32>,
        /// Of one trip, there and back.
        distance: Option<Quantity>,
        what: Option<String>,
        chance_percent: Percent,
        least: Option<Quantity>,
        most: Option<Quantity>,
        why: Option<Why>,
        cost: Option<Amount>,
    }
}

impl LineFacts {
    fn new(line: Line, rooms: &[RoomFacts], page: &Page) -> LineFacts {
        let (kind, cost) = (line.kind(), page.amount(line.cost()));
        let facts = match line {
            Line::Work(work) => LineFacts::of_work(work, rooms, page),
            Line::Rental {
                machine: _,
                name,
                days,
                cost: _,
                once: _,
                tariff: _,
            } => LineFacts {
                machine: Some(name),
                days: Some(Days(days)),
                ..LineFacts::default()
            },
            Line::Opened {
                item: _,
                name,
                unit,
                left,
                cost: _,
            } => LineFacts {
                item: Some(name),
                item_unit: Some(unit),
                item_quantity: Some(Number(left)),
                ..LineFacts::default()
            },
            Line::Trips(trips) => LineFacts {
                trips: Some(trips.trips),
                distance: Some(page.measured(trips.distance, trips.unit)),
                unit_price: Some(page.price_of_one(trips.rate)),
                hours: (!trips.hours.is_zero()).then_some(Number(trips.hours)),
                what: Some(trips.to.to_string()),
                ..LineFacts::default()
            },
            Line::Other { what, cost: _ } => LineFacts {
                what: Some(what),
                ..LineFacts::default()
            },
            Line::Overhead { cost: _ } => LineFacts::default(),
        };
        LineFacts {
            kind,
            cost: Some(cost),
            ..facts
        }
    }

    fn of_work(work: WorkLine, rooms: &[RoomFacts], page: &Page) -> LineFacts {
        let WorkLine {
            room: room_id,
            part,
            operation: _,
            name,
            task,
            driver,
            quantity,
            passes,
            contingency,
            item,
            hours,
            labour: _,
        } = work;
        let room = rooms.iter().find(|room| Some(room.id) == room_id);
        let measured = |quantity| page.measured(quantity, driver.unit());
        let mut facts = LineFacts {
            room_id,
            room: room.map(|room| room.name.clone()),
            part,
            operation: Some(name),
            task: Some(task.name),
            driver: Some(measured(quantity)),
            passes: Some(passes),
            hours: Some(Number(hours)),
            ..LineFacts::default()
        };
        if let Some(Contingency { chance, low, high }) = contingency {
            facts.chance_percent = Percent::of_one(Some(chance));
            facts.least = Some(measured(low));
            facts.most = Some(measured(high));
        }
        if let Some(item) = item {
            let ItemLine {
                id: _,
                name,
                unit,
                expected,
                load,
                unit_price,
                cost: _,
            } = item;
            facts.item = Some(name);
            facts.item_unit = Some(unit);
            facts.item_quantity = Some(Number(expected));
            facts.load_quantity = Some(Number(load));
            facts.unit_price = Some(page.price_of_one(unit_price));
        }
        facts
    }

    /// Takes out what only the owner sees.
    fn without_costs(self) -> LineFacts {
        LineFacts {
            item_quantity: None,
            load_quantity: None,
            unit_price: None,
            hours: None,
            days: None,
            trips: None,
            distance: None,
            cost: None,
            ..self
        }
    }

    /// Returns its operation with how often it is done: `oil-coat x2`.
    fn operation(&self) -> String {
        let name = self.operation.as_deref().unwrap_or_default();
        match self.passes {
            Some(passes) if passes > 1 => format!("{name} x{passes}"),
            _ => name.to_owned(),
        }
    }

    /// Returns its operation with the part that it is for: `rotary-24 (paint)`.
    fn work(&self) -> String {
        let part = self.part.map(|part| format!(" ({part})"));
        format!("{}{}", self.operation(), or_blank(part))
    }

    /// Returns how likely it is; `None`: it is sure.
    fn likely(&self) -> Option<SetPercent> {
        let chance = self.chance_percent.0.map(SetPercent);
        chance.filter(|SetPercent(percent)| *percent < Decimal::ONE_HUNDRED)
    }

    /// Returns how much of it there is to do.
    fn measure(&self) -> String {
        match (self.least, self.most) {
            (Some(least), Some(most)) => range_text(least, most),
            _ => or_blank(self.driver),
        }
    }

    /// Returns a quantity of its item, with the unit.
    fn of_item(&self, quantity: Option<Number>) -> Option<Quantity> {
        let quantity = quantity.zip(self.item_unit);
        quantity.map(|(quantity, unit)| quantity.of(unit))
    }

    /// Names a line that is no operation's.
    fn lump(&self) -> String {
        match self.kind {
            LineKind::Work => or_blank(self.operation.as_ref()),
            LineKind::Rental => {
                let (machine, days) = (or_blank(self.machine.as_ref()), or_blank(self.days));
                format!("{machine}, rented: {days} expected")
            }
            LineKind::Opened => format!(
                "{}, left in opened packs: {} expected",
                or_blank(self.item.as_ref()),
                or_blank(self.of_item(self.item_quantity)),
            ),
            LineKind::Trips => {
                let hours = self.hours.map(|hours| format!(", {hours} h on the road"));
                format!(
                    "driving to the {}: {} of {}{}",
                    or_blank(self.what.as_ref()).replace('-', " "),
                    count(self.trips.unwrap_or_default(), "trip"),
                    or_blank(self.distance),
                    or_blank(hours)
                )
            }
            LineKind::Other => or_blank(self.what.as_ref()),
            LineKind::Overhead => "overhead".to_owned(),
        }
    }
}

/// What only the owner is told: the client's answer has the same keys, each `null`.
#[derive(Debug)]
struct ForOwner<T> {
    facts: T,
    view: View,
}

impl<T> ForOwner<T> {
    /// Returns it, if this is for the owner.
    fn get(&self) -> Option<&T> {
        (self.view == View::Owner).then_some(&self.facts)
    }
}

impl<T: InColumns> InColumns for ForOwner<T> {
    fn columns(key: &str, to: &mut Columns) {
        T::columns(key, to);
    }
}

impl<T: Serialize> Serialize for ForOwner<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if let Some(facts) = self.get() {
            return facts.serialize(serializer);
        }
        let facts = serde_json::to_value(&self.facts).map_err(S::Error::custom)?;
        let keys = facts.as_object().into_iter().flat_map(|facts| facts.keys());
        serializer.collect_map(keys.map(|key| (key, ())))
    }
}

answer! {
    /// What a quote is expected to cost.
    struct CostFacts of (quote: &Quote, outlook: &Outlook, varied: Option<&Varied>) on page
    let Costs { labour, consumables, rental, other, overhead } = quote.costs();
    {
        labour: Amount,
        consumables: Amount,
        rental: Amount,
        other: Amount,
        overhead: Amount,
        total: Amount = page.amount(quote.expected_cost()),
        /// What is added to it to make the price, for people.
        #[serde(skip)]
        beside: Vec<(String, Amount)> = beside(quote, outlook, varied, page),
    }

    /// What is taken off the price.
    struct DiscountFacts from discount: Discount on page {
        reason: String,
        amount: Amount,
        #[serde(skip)]
        told: Amount,
    }

    /// Something to mind, and the rule or publication behind it.
    struct CautionFacts from caution: Caution on page {
        caution: String = caution.text,
        source: String,
        .. { text }
    }

    /// A quote with all that is shown beside it.
    pub struct QuoteAnswer of (sheet: QuoteSheet, view: View) on page
    let QuoteSheet { record: QuoteRecord { header, quote }, outlook, options, shopping, floors, plan, cancellation, varied, firm, days } = sheet;
    let cost = CostFacts::new(&quote, &outlook, varied.as_ref(), page);
    let outlook = OutlookFacts::new(outlook, &quote, shopping, page);
    let (hours, total, margin, taxes) = (quote.hours(), quote.total(), quote.margin_percent(), quote.taxes());
    let QuoteHeader {
        id: _, number, option, option_name, options: _, start_on, site_id: _, site, client, client_address, exemption, variation_of,
        varies: _, own: _, status, drafted_on, sent_on, valid_until, decided_on, replaced_by, price: _, tax: _, rounding: _,
    } = header;
    let told = quote.told();
    let facts = RoomFacts::all(&quote, page);
    let change = varied.map(|varied| ChangeFacts::new(varied, &quote, &facts, page));
    let Quote { sequence, schedule, rooms: _, lines, replaced, cautions, terms, discounts, price, taxed_by: _, tax, rounding } = quote;
    let rooms = facts;
    let [lines, replaced] = [lines, replaced].map(|lines| {
        let lines = page.each(lines, |line, page| LineFacts::new(line, &rooms, page));
        match view {
            View::Owner => lines,
            View::Client => lines.into_iter().map(LineFacts::without_costs).collect(),
        }
    });
    {
        number: String,
        option: u32,
        option_name: String,
        status: QuoteStatus,
        variation: bool = variation_of.is_some(),
        own: bool = terms.own,
        site: String,
        client: String,
        client_address: String,
        exemption: String,
        firm: Firm,
        currency: &'static str = page.currency.code(),
        sequence: Option<String>,
        schedule: Option<String>,
        drafted_on: NaiveDate,
        sent_on: Option<NaiveDate>,
        valid_until: Option<NaiveDate>,
        #[serde(skip)]
        decided_on: Option<NaiveDate>,
        replaced_by: Option<String>,
        rooms: Vec<RoomFacts> = rooms,
        lines: Vec<LineFacts> = lines,
        #[serde(skip)]
        days: Number = Number(days),
        replaced: Vec<LineFacts> = replaced,
        varies: Option<String> = change.as_ref().map(|change| change.quote.clone()),
        #[serde(skip)]
        change: Option<ChangeFacts> = change,
        hours: Option<Number> = view.owner().map(|()| Number(hours)),
        cost: ForOwner<CostFacts> = ForOwner { facts: cost, view },
        discounts: Vec<DiscountFacts>,
        price: Amount,
        tax_percent: Option<SetPercent> = terms.tax.one().map(SetPercent),
        tax: Amount,
        taxes: Vec<Tax> = page.each(taxes, Tax::new),
        rounding: Amount,
        total: Amount,
        tax_included: bool = terms.tax_included,
        /// The price as prices are told, for people.
        #[serde(skip)]
        told: Amount,
        margin_percent: Percent = Percent(view.owner().and(margin)),
        retention_percent: SetPercent = SetPercent::of_one(terms.retention),
        cautions: Vec<CautionFacts>,
        start_on: Option<NaiveDate>,
        options: Vec<OptionFacts> = OptionFacts::all(options, view, page),
        phases: Option<Vec<Stage>> = plan.map(|plan| Stage::all(&plan, page)),
        floors: Option<Floors> = view.owner().and_then(|()| Floors::of(floors, page)),
        cancel_within_days: Option<u32> = cancellation.as_ref().map(|right| right.days),
        #[serde(skip)]
        cancellation: Option<Cancellation> = cancellation,
        #[serde(flatten)]
        outlook: ForOwner<OutlookFacts> = ForOwner { facts: outlook, view },
        #[serde(skip)]
        view: View = view,
    }
}

/// Says what is added to the expected cost of a quote to make its price, or its cost at the confidence where nobody pays.
fn beside(
    quote: &Quote,
    outlook: &Outlook,
    varied: Option<&Varied>,
    page: &Page,
) -> Vec<(String, Amount)> {
    if let Some(varied) = varied {
        let words = format!("Charged beside it by {}", varied.quote);
        return vec![(words, page.amount(quote.price - quote.expected_cost()))];
    }
    let terms = &quote.terms;
    let sure = SetPercent::of_one(terms.confidence);
    let contingency = format!("Contingency, to be {sure} sure");
    let mut beside = vec![(contingency, outlook.contingency())];
    beside.push(match terms.own {
        true => (format!("Cost, {sure} sure"), outlook.cost_at_confidence),
        false => {
            let margin = SetPercent::of_one(terms.margin);
            (format!("Margin {margin}"), outlook.kept_margin(terms))
        }
    });
    let raised_by = outlook.raised_by(quote);
    if !raised_by.is_zero() {
        let asked = terms.told(
            price_for(outlook.cost_at_confidence, terms.margin),
            &quote.taxed_by,
        );
        let raised = if terms.named.is_some() {
            "Because the price is named"
        } else if asked >= terms.minimum {
            "Rounded up to the step"
        } else if quote.told_full() == terms.minimum {
            "Raised to the minimum charge"
        } else {
            "Raised to minimum charge and step"
        };
        beside.push((raised.to_owned(), raised_by));
    }
    page.each(beside, |(what, money), page| (what, page.amount(money)))
}

impl QuoteAnswer {
    fn heading(&self, page: &Page) -> String {
        let kind = match (self.own, self.variation) {
            (true, _) => "Plan of work",
            (false, true) => "Variation",
            (false, false) => "Quote",
        };
        let option = match self.option_name.as_str() {
            "" => String::new(),
            name => format!(" (option {}: {})", self.option, inert(name)),
        };
        let (client, site) = (inert(&self.client), inert(&self.site));
        let mut text = match (&self.change, self.view) {
            (Some(change), _) => format!(
                "{kind} {} {}: {client}, {site}\n",
                self.number,
                change.words()
            ),
            (None, View::Owner) => format!("{kind} {}{option} for {client}, {site}\n", self.number),
            (None, View::Client) => format!(
                "{kind} {}{option}: {}\nFor {client}, {site}\n",
                self.number,
                self.total.with_currency()
            ),
        };
        let status = self.status.as_str();
        let _ = match (self.status, self.valid_until, self.decided_on) {
            _ if self.own => writeln!(text, "Your own floors, at cost, since {}.", self.drafted_on),
            (QuoteStatus::Draft, ..) => {
                writeln!(text, "Drafted {}; not sent yet.", self.drafted_on)
            }
            (QuoteStatus::Sent, Some(last), _) => writeln!(text, "Sent; valid until {last}."),
            (QuoteStatus::Expired, Some(last), _) => writeln!(text, "Sent; expired after {last}."),
            (_, _, Some(on)) => {
                let (first, rest) = status.split_at(1);
                writeln!(text, "{}{rest} on {on}.", first.to_uppercase())
            }
            _ => writeln!(text, "{status}"),
        };
        if let Some(newer) = &self.replaced_by {
            let _ = writeln!(text, "{newer} replaces it.");
        }
        let methods = [("Sanding", &self.sequence), ("Coating", &self.schedule)];
        for (what, name) in methods {
            if let Some(name) = name {
                let _ = writeln!(text, "{what}: {}", inert(name));
            }
        }
        format!("{}\n", page.prose(&text))
    }

    fn owner_text(&self, text: &mut String, page: &Page) {
        if let Some((change, cost)) = self.change.as_ref().zip(self.cost.get()) {
            let _ = write!(text, "\n{}\n", change.table(page));
            let _ = write!(text, "\n{}\n", self.cost_table(cost, page));
            let _ = write!(text, "\n{}\n", page.prose(&change.stays()));
            return;
        }
        let job = self.work_in(None);
        if !job.is_empty() {
            let _ = write!(text, "\nOnce for the job\n{}\n", work_table(&job, page));
        }
        for room in &self.rooms {
            text.push_str(&self.room_text(room, page));
        }
        let mut table = page.table(["For the whole job", "Cost"]).numbers([1]);
        for line in self.lines.iter().filter(|line| line.kind != LineKind::Work) {
            table.line([&line.lump(), &or_blank(line.cost)]);
        }
        if !table.is_empty() {
            let _ = write!(text, "\n{table}\n");
        }
        if let Some((cost, outlook)) = self.cost.get().zip(self.outlook.get()) {
            let _ = write!(text, "\n{}\n", self.cost_table(cost, page));
            text.push_str(&outlook.text(page));
        }
    }

    fn work_in(&self, room: Option<RoomId>) -> Vec<&LineFacts> {
        let lines = self.lines.iter().filter(|line| line.kind == LineKind::Work);
        lines.filter(|line| line.room_id == room).collect()
    }

    fn room_text(&self, room: &RoomFacts, page: &Page) -> String {
        let table = work_table(&self.work_in(Some(room.id)), page);
        format!("\n{}\n{table}\n", room.heading())
    }

    /// Says what the floors say before a price is named, and on which days a planned house is done.
    fn floors_and_days(&self, page: &Page) -> String {
        let mut text = String::new();
        if let Some(floors) = &self.floors {
            let _ = write!(text, "\n{}\n", page.prose(&floors.text(&self.site)));
        }
        if let Some(stages) = &self.phases {
            let _ = writeln!(text, "\n{}", stages_table(stages, page));
        }
        text
    }

    fn cost_table(&self, cost: &CostFacts, page: &Page) -> Table {
        let mut table = page.table(["Cost and price", self.currency]).numbers([1]);
        table.line([&"Labour", &cost.labour]);
        table.line([&"Consumables", &cost.consumables]);
        table.line([&"Rental", &cost.rental]);
        table.line([&"Other", &cost.other]);
        table.line([&"Overhead", &cost.overhead]);
        table.line([&"Expected cost", &cost.total]);
        for (what, amount) in &cost.beside {
            table.line([what, amount]);
        }
        if !self.own {
            self.totals(&mut table);
        }
        table
    }

    fn totals(&self, table: &mut Table) {
        for DiscountFacts { reason, amount, .. } in &self.discounts {
            table.line([
                &format!("Discount: {}", inert(reason)),
                &format!("-{amount}"),
            ]);
        }
        let price = if self.tax_included {
            "Price before tax"
        } else {
            "Price"
        };
        table.line([&price, &self.price]);
        tax_lines(&self.taxes, self.rounding, table);
        table.line([&"Total", &self.total]);
    }

    /// Writes what is to be paid for rooms whose prices are told with tax, then what tax is in it.
    fn totals_with_tax(&self, table: &mut Table) {
        for DiscountFacts { reason, told, .. } in &self.discounts {
            table.line([&format!("Discount: {}", inert(reason)), &format!("-{told}")]);
        }
        table.line([&"Total, tax included", &self.total]);
        table.line([&"Of that before tax", &self.price]);
        tax_lines(&self.taxes, self.rounding, table);
    }

    fn client_text(&self, text: &mut String, page: &Page) {
        let _ = write!(text, "\n{}", self.firm.head());
        if !self.client_address.is_empty() {
            let _ = writeln!(text, "To {}", inert(&self.client_address));
        }
        let mut table = page.table(["Room", "Size", "Work", "Price"]).numbers([3]);
        for room in &self.rooms {
            let size = match room.steps {
                Some(steps) => count(steps, "step"),
                None => room.area.to_string(),
            };
            let work = match self.change {
                Some(_) => self.changed_words(room.id),
                None => work_words(self.lines.iter(), room.id),
            };
            table.line([&room.name, &size, &work, &room.told()]);
        }
        let _ = write!(text, "\n{table}\n");
        let mut table = page.table(["", self.currency]).numbers([1]);
        match self.tax_included {
            true => self.totals_with_tax(&mut table),
            false => self.totals(&mut table),
        }
        let _ = write!(text, "\n{table}\n");
        for words in [&no_tax(&self.exemption, self.tax), &self.firm.quote_terms] {
            if !words.is_empty() {
                let _ = write!(text, "\n{}\n", page.prose(&inert(words)));
            }
        }
    }
}

impl Answer for QuoteAnswer {
    fn text(&self, page: &Page) -> String {
        let decides = self.cost.get().zip(self.outlook.get());
        let decides = decides.filter(|_| self.change.is_none());
        let mut text = match decides {
            Some((cost, outlook)) => self.decision(cost, outlook, page),
            None => self.heading(page) + &self.floors_and_days(page),
        };
        match self.view {
            View::Client => self.client_text(&mut text, page),
            View::Owner if decides.is_none() => self.owner_text(&mut text, page),
            View::Owner => {}
        }
        if self.options.len() > 1 {
            let (options, number) = (self.options.len(), &self.number);
            let words = match self.view {
                View::Owner => format!("{options} options: gritledger quote compare {number}"),
                View::Client => format!("{options} options to choose from."),
            };
            let _ = write!(text, "\n{words}\n");
        }
        if !self.retention_percent.0.is_zero() {
            let words = format!(
                "Of progress and final invoices {} is held until it is released.",
                self.retention_percent
            );
            let _ = write!(text, "\n{}\n", page.prose(&words));
        }
        if let Some(right) = &self.cancellation {
            let words = format!(
                "An acceptance can be taken back within {}{}.",
                count(right.days, "business day"),
                right.cited()
            );
            let _ = write!(text, "\n{}\n", page.prose(&words));
        }
        match self.view {
            View::Owner => text.push_str(&self.cautions_named(page)),
            View::Client if self.cautions.is_empty() => {}
            View::Client => {
                let _ = write!(text, "\nCautions\n{}", self.cautions_points(page));
            }
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.lines)
    }
}

/// Returns what is done in a room, task by task: `sand: rotary-36, rotary-50; coat: oil-coat x2`.
fn work_words<'a>(lines: impl Iterator<Item = &'a LineFacts>, room: RoomId) -> String {
    let mut tasks: Vec<(&str, Vec<String>)> = Vec::new();
    for line in lines.filter(|line| line.room_id == Some(room)) {
        let task = line.task.as_deref().unwrap_or_default();
        if task == SET_UP {
            continue;
        }
        let if_needed = match line.likely() {
            Some(_) => " if needed",
            None => "",
        };
        let words = format!("{}{if_needed}", line.operation());
        match tasks.iter_mut().find(|(known, _)| *known == task) {
            Some((_, operations)) if operations.contains(&words) => {} // In another part.
            Some((_, operations)) => operations.push(words),
            None => tasks.push((task, vec![words])),
        }
    }
    let tasks = tasks
        .into_iter()
        .map(|(task, operations)| format!("{task}: {}", operations.join(", ")));
    tasks.collect::<Vec<_>>().join("; ")
}

fn work_table(lines: &[&LineFacts], page: &Page) -> Table {
    let headings = [
        "Operation",
        "Measure",
        "Item",
        "Expected",
        "Bring",
        "Hours",
        "Cost",
    ];
    let table = page.table(headings).numbers([1, 3, 4, 5, 6]);
    let mut table = table.makes_room([4, 1]);
    for line in lines {
        let likely = line.likely().map(|chance| format!(" ({chance} likely)"));
        table.line([
            &format!("{}{}", line.work(), or_blank(likely)),
            &line.measure(),
            &or_blank(line.item.as_ref()),
            &or_blank(line.of_item(line.item_quantity)),
            &or_blank(line.of_item(line.load_quantity)),
            &or_blank(line.hours),
            &or_blank(line.cost),
        ]);
    }
    table
}
