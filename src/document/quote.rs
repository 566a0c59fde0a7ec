//! A quote for its owner, with cost and margin, and for its client, without.
//!
//! Both views are drawn from one [`QuoteAnswer`], so they can't disagree.

use std::fmt::Write as _;

use chrono::NaiveDate;
use serde::Serialize;
use serde_json::{Map, Value};

use super::cover::{cover_words, days_words};
use super::figures::{
    Amount, Days, Number, Percent, Quantity, Run, SetPercent, UnitPrice, range_text,
};
use super::outlook::{options_json, outlook_json, outlook_text};
use super::plan::dates::{Stage, stages_table};
use super::rate::RateAnswer;
use super::{Answer, Page, Table, View, count, inert, or_blank};
use crate::ledger::{QuoteHeader, QuoteRecord, QuoteSheet, QuoteStatus, QuotedRate};
use crate::measure::Length;
use crate::money::Decimal;
use crate::trade::cautions::Caution;
use crate::trade::contract::Cancellation;
use crate::trade::operation::SET_UP;
use crate::trade::quote::{
    Costs, ItemLine, Line, Outlook, Quote, QuotedRoom, Terms, WorkLine, price_for,
};
use crate::trade::rates::{FloorClass, RateKind};
use crate::trade::takeoff::Contingency;
use crate::trade::{FloorCondition, RoomId, Species, Unit};

/// A room as it was measured, with its share of the price.
#[derive(Debug, Serialize)]
struct RoomFacts {
    #[serde(skip)]
    id: RoomId,
    name: String,
    area: Quantity,
    edge: Run,
    steps: Option<u32>,
    condition: FloorCondition,
    species: Species,
    price: Amount,
}

impl RoomFacts {
    fn new(room: QuotedRoom, page: &Page) -> RoomFacts {
        let QuotedRoom {
            id,
            name,
            area,
            edge,
            steps,
            class: FloorClass { condition, species },
            price,
        } = room;
        RoomFacts {
            id,
            name,
            area: page.measured(area, Unit::SquareFoot),
            edge: page.run(Length::from_feet(edge)),
            steps,
            condition,
            species,
            price: page.amount(price),
        }
    }

    fn heading(&self) -> String {
        let size = match self.steps {
            Some(steps) => count(steps as usize, "step"),
            None => format!("{}, edge {}", self.area, self.edge),
        };
        let name = inert(&self.name);
        format!("{name}: {size}; {} {}", self.condition, self.species)
    }
}

/// What a line is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
enum Kind {
    #[default]
    Work,
    Rental,
    Opened,
    Other,
    Overhead,
}

/// Why a line takes what it takes, a sentence for each of its figures.
#[derive(Debug, Serialize)]
struct Why {
    item: Option<String>,
    hours: Option<String>,
    cost: Option<String>,
}

/// A line; what it has nothing to say about is `None`.
#[derive(Debug, Default, Serialize)]
struct LineFacts {
    kind: Kind,
    #[serde(skip)]
    room_id: Option<RoomId>,
    room: Option<String>,
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
    what: Option<String>,
    chance_percent: Percent,
    least: Option<Quantity>,
    most: Option<Quantity>,
    why: Option<Why>,
    cost: Option<Amount>,
}

impl LineFacts {
    fn new(line: Line, rooms: &[RoomFacts], page: &Page) -> LineFacts {
        let cost = page.amount(line.cost());
        let mut facts = match line {
            Line::Work(work) => LineFacts::of_work(work, rooms, page),
            Line::Rental {
                machine: _,
                name,
                days,
                cost: _,
                once: _,
                tariff: _,
            } => LineFacts {
                kind: Kind::Rental,
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
                kind: Kind::Opened,
                item: Some(name),
                item_unit: Some(unit),
                item_quantity: Some(Number(left)),
                ..LineFacts::default()
            },
            Line::Other { what, cost: _ } => LineFacts {
                kind: Kind::Other,
                what: Some(what),
                ..LineFacts::default()
            },
            Line::Overhead { cost: _ } => LineFacts {
                kind: Kind::Overhead,
                ..LineFacts::default()
            },
        };
        facts.cost = Some(cost);
        facts
    }

    fn of_work(work: WorkLine, rooms: &[RoomFacts], page: &Page) -> LineFacts {
        let WorkLine {
            room: room_id,
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

    /// Names a line that is no operation's.
    fn lump(&self) -> String {
        match self.kind {
            Kind::Work => or_blank(self.operation.as_ref()),
            Kind::Rental => {
                let (machine, days) = (or_blank(self.machine.as_ref()), or_blank(self.days));
                format!("{machine}, rented: {days} expected")
            }
            Kind::Opened => format!(
                "{}, left in opened packs: {} {} expected",
                or_blank(self.item.as_ref()),
                or_blank(self.item_quantity),
                or_blank(self.item_unit)
            ),
            Kind::Other => or_blank(self.what.as_ref()),
            Kind::Overhead => "overhead".to_owned(),
        }
    }
}

/// What a quote is expected to cost; `None`: that isn't for the client.
#[derive(Debug, Default, Serialize)]
struct CostFacts {
    labour: Option<Amount>,
    consumables: Option<Amount>,
    rental: Option<Amount>,
    other: Option<Amount>,
    overhead: Option<Amount>,
    total: Option<Amount>,
}

impl CostFacts {
    fn new(costs: Costs, page: &Page) -> CostFacts {
        let total = costs.total();
        let Costs {
            labour,
            consumables,
            rental,
            other,
            overhead,
        } = costs;
        let amount = |money| Some(page.amount(money));
        CostFacts {
            labour: amount(labour),
            consumables: amount(consumables),
            rental: amount(rental),
            other: amount(other),
            overhead: amount(overhead),
            total: amount(total),
        }
    }
}

/// How the price comes about from the cost, and how sure all of it is: words for the owner.
#[derive(Debug)]
struct Pricing {
    confidence: SetPercent,
    contingency: Amount,
    margin: SetPercent,
    kept_margin: Amount,
    raised_by: Amount,
    raised_why: &'static str,
    outlook: String,
}

impl Pricing {
    fn new(quote: &Quote, outlook: &Outlook, outlook_words: String, page: &Page) -> Pricing {
        let terms = &quote.terms;
        let asked = price_for(outlook.cost_at_confidence, terms.margin);
        let raised_why = if asked >= terms.minimum {
            "Rounded up to the step"
        } else if quote.price == terms.minimum {
            "Raised to the minimum charge"
        } else {
            "Raised to minimum charge and step"
        };
        Pricing {
            confidence: SetPercent::of_one(terms.confidence),
            contingency: page.amount(outlook.contingency()),
            margin: SetPercent::of_one(terms.margin),
            kept_margin: page.amount(outlook.kept_margin(terms)),
            raised_by: page.amount(outlook.raised_by(quote)),
            raised_why,
            outlook: outlook_words,
        }
    }
}

/// Something to mind, and the rule or publication behind it.
#[derive(Debug, Serialize)]
struct CautionFacts {
    caution: String,
    source: String,
}

/// A quote with all that is shown beside it.
#[derive(Debug, Serialize)]
pub struct QuoteAnswer {
    number: String,
    option: u32,
    option_name: String,
    status: QuoteStatus,
    variation: bool,
    site: String,
    client: String,
    client_address: String,
    currency: &'static str,
    sequence: Option<String>,
    schedule: Option<String>,
    drafted_on: NaiveDate,
    sent_on: Option<NaiveDate>,
    valid_until: Option<NaiveDate>,
    #[serde(skip)]
    decided_on: Option<NaiveDate>,
    rooms: Vec<RoomFacts>,
    lines: Vec<LineFacts>,
    hours: Option<Number>,
    cost: CostFacts,
    price: Amount,
    tax_percent: SetPercent,
    tax: Amount,
    total: Amount,
    margin_percent: Percent,
    cautions: Vec<CautionFacts>,
    start_on: Option<NaiveDate>,
    options: Value,
    #[serde(skip)]
    option_count: usize,
    phases: Option<Vec<Stage>>,
    cancel_within_days: Option<u32>,
    #[serde(skip)]
    cancellation: Option<Cancellation>,
    #[serde(flatten)]
    outlook: Map<String, Value>,
    /// `None`: this is for the client.
    #[serde(skip)]
    pricing: Option<Pricing>,
}

impl QuoteAnswer {
    /// Returns the answer about a quote for those eyes.
    pub fn new(sheet: QuoteSheet, view: View, page: &Page) -> QuoteAnswer {
        let QuoteSheet {
            record: QuoteRecord { header, quote },
            outlook,
            options,
            shopping,
            plan,
            cancellation,
        } = sheet;
        let words = outlook_text(&quote, &outlook, &shopping, &header.number, page);
        let pricing = Pricing::new(&quote, &outlook, words, page);
        let outlook = match outlook_json(&quote, &outlook, &shopping, page) {
            Value::Object(outlook) => outlook,
            _ => Map::new(),
        };
        let (hours, costs) = (quote.hours(), quote.costs());
        let (total, margin) = (quote.total(), quote.margin_percent());
        let QuoteHeader {
            id: _,
            number,
            option,
            option_name,
            options: _,
            start_on,
            site_id: _,
            site,
            client,
            client_address,
            variation_of,
            status,
            drafted_on,
            sent_on,
            valid_until,
            decided_on,
            price: _,
            tax: _,
        } = header;
        let Quote {
            sequence,
            schedule,
            rooms,
            lines,
            cautions,
            terms: Terms { tax_percent, .. },
            price,
            tax,
        } = quote;
        let rooms = rooms.into_iter().map(|room| RoomFacts::new(room, page));
        let rooms: Vec<RoomFacts> = rooms.collect();
        let lines = lines.into_iter();
        let lines = lines.map(|line| LineFacts::new(line, &rooms, page));
        let cautions = cautions
            .into_iter()
            .map(|Caution { text, source }| CautionFacts {
                caution: text,
                source,
            });
        let answer = QuoteAnswer {
            number,
            option,
            option_name,
            status,
            variation: variation_of.is_some(),
            site,
            client,
            client_address,
            currency: page.currency.code(),
            sequence,
            schedule,
            drafted_on,
            sent_on,
            valid_until,
            decided_on,
            lines: lines.collect(),
            rooms,
            hours: Some(Number(hours)),
            cost: CostFacts::new(costs, page),
            price: page.amount(price),
            tax_percent: SetPercent(tax_percent),
            tax: page.amount(tax),
            total: page.amount(total),
            margin_percent: Percent(margin),
            cautions: cautions.collect(),
            start_on,
            options: options_json(&options, view, page),
            option_count: options.len(),
            phases: plan.map(|plan| Stage::all(&plan)),
            cancel_within_days: cancellation.as_ref().map(|right| right.days),
            cancellation,
            outlook,
            pricing: Some(pricing),
        };
        match view {
            View::Owner => answer,
            View::Client => answer.without_costs(),
        }
    }

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

    /// Takes out what only the owner sees.
    fn without_costs(mut self) -> QuoteAnswer {
        for figure in self.outlook.values_mut() {
            *figure = Value::Null;
        }
        let lines = self.lines.into_iter();
        QuoteAnswer {
            lines: lines.map(LineFacts::without_costs).collect(),
            hours: None,
            cost: CostFacts::default(),
            margin_percent: Percent::default(),
            pricing: None,
            ..self
        }
    }

    /// Explains every quantity: the rate it was priced with, where that came from, and the rooms that taught it.
    pub fn why_text(&self, page: &Page) -> String {
        let mut text = format!("Why {} takes what it takes:", self.number);
        let is_work = |line: &&LineFacts| line.kind == Kind::Work;
        let lumps = self.lines.iter().filter(|line| !is_work(line));
        for line in self.lines.iter().filter(is_work).chain(lumps) {
            let name = match (line.kind, &line.room) {
                (Kind::Work, None) => format!("the job, {}", or_blank(line.operation.as_ref())),
                (_, Some(room)) => format!("{room}, {}", or_blank(line.operation.as_ref())),
                (_, None) => line.lump(),
            };
            let _ = write!(text, "\n\n{}:", inert(&name));
            let why = line.why.iter();
            for why in why.flat_map(|why| [&why.item, &why.hours, &why.cost]) {
                if let Some(why) = why {
                    let _ = write!(text, "\n{}", page.prose(&format!("  {why}")));
                }
            }
        }
        text
    }

    /// Writes the heading and the prices for the owner, without what follows them.
    pub fn summary(&self, page: &Page) -> String {
        let mut text = self.heading(page);
        if let Some(pricing) = &self.pricing {
            let _ = write!(text, "\n{}\n", self.cost_table(pricing, page));
        }
        text
    }

    fn heading(&self, page: &Page) -> String {
        let kind = match self.variation {
            true => "Variation",
            false => "Quote",
        };
        let option = match self.option_name.as_str() {
            "" => String::new(),
            name => format!(" (option {}: {})", self.option, inert(name)),
        };
        let (client, site) = (inert(&self.client), inert(&self.site));
        let mut text = format!("{kind} {}{option} for {client}, {site}\n", self.number);
        let status = self.status.as_str();
        let _ = match (self.status, self.valid_until, self.decided_on) {
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
        let methods = [("Sanding", &self.sequence), ("Coating", &self.schedule)];
        for (what, name) in methods {
            if let Some(name) = name {
                let _ = writeln!(text, "{what}: {}", inert(name));
            }
        }
        format!("{}\n", page.prose(&text))
    }

    fn owner_text(&self, text: &mut String, pricing: &Pricing, page: &Page) {
        let work_in = |room: Option<RoomId>| {
            let lines = self.lines.iter().filter(|line| line.kind == Kind::Work);
            lines
                .filter(|line| line.room_id == room)
                .collect::<Vec<_>>()
        };
        let job = work_in(None);
        if !job.is_empty() {
            let _ = write!(text, "\nOnce for the job\n{}\n", work_table(&job, page));
        }
        for room in &self.rooms {
            let table = work_table(&work_in(Some(room.id)), page);
            let _ = write!(text, "\n{}\n{table}\n", room.heading());
        }
        let mut table = page.table(["For the whole job", "Cost"]).numbers([1]);
        for line in self.lines.iter().filter(|line| line.kind != Kind::Work) {
            table.row([line.lump(), or_blank(line.cost)]);
        }
        if !table.is_empty() {
            let _ = write!(text, "\n{table}\n");
        }
        let _ = write!(text, "\n{}\n", self.cost_table(pricing, page));
        text.push_str(&pricing.outlook);
    }

    fn cost_table(&self, pricing: &Pricing, page: &Page) -> Table {
        let mut table = page.table(["Cost and price", self.currency]).numbers([1]);
        for (what, amount) in [
            ("Labour", self.cost.labour),
            ("Consumables", self.cost.consumables),
            ("Rental", self.cost.rental),
            ("Other", self.cost.other),
            ("Overhead", self.cost.overhead),
            ("Expected cost", self.cost.total),
        ] {
            table.row([what.to_owned(), or_blank(amount)]);
        }
        table.row([
            format!("Contingency, to be {} sure", pricing.confidence),
            pricing.contingency.to_string(),
        ]);
        table.row([
            format!("Margin {}", pricing.margin),
            pricing.kept_margin.to_string(),
        ]);
        if !pricing.raised_by.money.is_zero() {
            table.row([pricing.raised_why.to_owned(), pricing.raised_by.to_string()]);
        }
        self.totals(&mut table);
        table
    }

    fn totals(&self, table: &mut Table) {
        table.row(["Price".to_owned(), self.price.to_string()]);
        table.row([format!("Tax {}", self.tax_percent), self.tax.to_string()]);
        table.row(["Total".to_owned(), self.total.to_string()]);
    }

    fn client_text(&self, text: &mut String, page: &Page) {
        if !self.client_address.is_empty() {
            let _ = writeln!(text, "To {}", inert(&self.client_address));
        }
        let mut table = page.table(["Room", "Size", "Work", "Price"]).numbers([3]);
        for room in &self.rooms {
            let size = match room.steps {
                Some(steps) => count(steps as usize, "step"),
                None => room.area.to_string(),
            };
            let work = self.work_words(room.id);
            table.row([room.name.clone(), size, work, room.price.to_string()]);
        }
        let _ = write!(text, "\n{table}\n");
        let mut table = page.table(["", self.currency]).numbers([1]);
        self.totals(&mut table);
        let _ = write!(text, "\n{table}\n");
    }

    /// Returns what is done in a room, task by task: `sand: rotary-36, rotary-50; coat: oil-coat x2`.
    fn work_words(&self, room: RoomId) -> String {
        let mut tasks: Vec<(&str, Vec<String>)> = Vec::new();
        for line in self.lines.iter().filter(|line| line.room_id == Some(room)) {
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
                Some((_, operations)) => operations.push(words),
                None => tasks.push((task, vec![words])),
            }
        }
        let tasks = tasks
            .into_iter()
            .map(|(task, operations)| format!("{task}: {}", operations.join(", ")));
        tasks.collect::<Vec<_>>().join("; ")
    }
}

impl Answer for QuoteAnswer {
    fn text(&self, page: &Page) -> String {
        let mut text = self.heading(page);
        if let Some(stages) = &self.phases {
            let _ = writeln!(text, "\n{}", stages_table(stages, page));
        }
        match &self.pricing {
            Some(pricing) => self.owner_text(&mut text, pricing, page),
            None => self.client_text(&mut text, page),
        }
        if self.option_count > 1 {
            let options = self.option_count;
            let words = match self.pricing {
                Some(_) => format!(
                    "{options} options: gritledger quote compare {}",
                    self.number
                ),
                None => format!("{options} options to choose from."),
            };
            let _ = write!(text, "\n{words}\n");
        }
        if let Some(right) = &self.cancellation {
            let words = format!(
                "An acceptance can be taken back within {}{}.",
                count(right.days as usize, "business day"),
                right.cited()
            );
            let _ = write!(text, "\n{}\n", page.prose(&words));
        }
        text.push_str("\nCautions\n");
        for CautionFacts { caution, source } in &self.cautions {
            text.push_str(&page.point(&format!("{caution} ({source})")));
        }
        text
    }
}

fn work_table(lines: &[&LineFacts], page: &Page) -> Table {
    let headings = [
        "Operation",
        "Measure",
        "Item",
        "Expect",
        "Load",
        "Hours",
        "Cost",
    ];
    let mut table = page.table(headings).numbers([1, 3, 4, 5, 6]);
    for line in lines {
        let likely = line.likely().map(|chance| format!(" ({chance} likely)"));
        let of_item = |quantity: Option<Number>| {
            let quantity = quantity.zip(line.item_unit);
            or_blank(quantity.map(|(quantity, unit)| format!("{quantity} {unit}")))
        };
        table.row([
            format!("{}{}", line.operation(), or_blank(likely)),
            line.measure(),
            or_blank(line.item.as_ref()),
            of_item(line.item_quantity),
            of_item(line.load_quantity),
            or_blank(line.hours),
            or_blank(line.cost),
        ]);
    }
    table
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
                format!(
                    " Planned, for the {} that {} of such jobs don't exceed: {}; {}; {} together.",
                    page.measured(rental.hours, Unit::Hour),
                    SetPercent::of_one(quote.terms.confidence),
                    days_words(rental.plan.need.in_days()),
                    cover_words(&rental.plan.cover, page),
                    page.amount(rental.plan.cover.total()),
                )
            });
            format!(
                ": the mean, over {} draws, of what the tariff asks for the days that the hours take; {} on the mean.{}",
                outlook.draws,
                Days(*days),
                or_blank(planned)
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
        RateAnswer::new(rate, work, page).sentence()
    ))
}

/// A quote in a list.
#[derive(Debug, Serialize)]
pub(super) struct QuoteRow {
    number: String,
    status: QuoteStatus,
    client: String,
    site: String,
    drafted_on: NaiveDate,
    sent_on: Option<NaiveDate>,
    valid_until: Option<NaiveDate>,
    price: Amount,
    tax: Amount,
    total: Amount,
}

impl QuoteRow {
    pub(super) fn new(header: QuoteHeader, page: &Page) -> QuoteRow {
        let QuoteHeader {
            id: _,
            number,
            option: _,
            option_name: _,
            options: _,
            start_on: _,
            site_id: _,
            site,
            client,
            client_address: _,
            variation_of: _,
            status,
            drafted_on,
            sent_on,
            valid_until,
            decided_on: _,
            price,
            tax,
        } = header;
        QuoteRow {
            number,
            status,
            client,
            site,
            drafted_on,
            sent_on,
            valid_until,
            price: page.amount(price),
            tax: page.amount(tax),
            total: page.amount(price + tax),
        }
    }

    /// Says what waits for an answer, and for how long yet: `Q3: Ada Pell, 2400.00 USD, 3 days left`.
    pub(super) fn waiting(&self, today: NaiveDate) -> String {
        let left = self.valid_until.map_or(0, |last| (last - today).num_days());
        let until = match usize::try_from(left) {
            Err(_) => "expired".to_owned(),
            Ok(0) => "last day".to_owned(),
            Ok(left) => format!("{} left", count(left, "day")),
        };
        let price = self.price.with_currency();
        format!("{}: {}, {price}, {until}", self.number, self.client)
    }
}

/// The quotes.
#[derive(Debug, Serialize)]
pub struct QuoteList {
    currency: &'static str,
    quotes: Vec<QuoteRow>,
}

impl QuoteList {
    /// Returns the answer about these quotes.
    pub fn new(quotes: Vec<QuoteHeader>, page: &Page) -> QuoteList {
        let quotes = quotes.into_iter().map(|quote| QuoteRow::new(quote, page));
        QuoteList {
            currency: page.currency.code(),
            quotes: quotes.collect(),
        }
    }
}

impl Answer for QuoteList {
    fn text(&self, page: &Page) -> String {
        if self.quotes.is_empty() {
            return "No quotes yet.".to_owned();
        }
        let mut table = page
            .table(["Quote", "Status", "Client", "Site", "Valid until", "Price"])
            .numbers([5]);
        for quote in &self.quotes {
            table.row([
                quote.number.clone(),
                quote.status.to_string(),
                quote.client.clone(),
                quote.site.clone(),
                or_blank(quote.valid_until),
                quote.price.to_string(),
            ]);
        }
        table.to_string()
    }
}
