//! A quote for its owner, with cost and margin, and for its client, without.
//!
//! Both are drawn from one [`QuoteSheet`], so they can't disagree.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::cover::{cover_words, days_words};
use super::outlook::{options_json, outlook_json, outlook_text};
use super::plan::{stages_json, stages_text};
use super::rate::{Rated, sentence};
use super::{Page, Table, View, inert, percent_json, range_text, rate_text};
use crate::ledger::{QuoteHeader, QuoteOption, QuoteRecord, QuoteSheet, QuoteStatus, QuotedRate};
use crate::measure::Length;
use crate::money::{Decimal, Money, plain, round};
use crate::trade::operation::SET_UP;
use crate::trade::quote::{Costs, Line, Outlook, Quote, QuotedRoom, WorkLine, price_for};
use crate::trade::rates::RateKind;
use crate::trade::{RoomId, Unit};

/// Returns a length in feet the way people write it: `23 ft 10 in`.
pub fn length(feet: Decimal, page: &Page) -> String {
    use rust_decimal::prelude::ToPrimitive;
    let nanometres = round(feet * Decimal::from(304_800_000), 0)
        .to_i64()
        .unwrap_or_default();
    Length::from_nanometres(nanometres).text(page.units)
}

/// Renders a quote as JSON, each line with why it takes what it takes.
pub fn json_with_why(sheet: &QuoteSheet, rates: &[QuotedRate], page: &Page) -> Value {
    let mut value = json(sheet, View::Owner, page);
    let quote = &sheet.record.quote;
    for (place, line) in quote.lines.iter().enumerate() {
        value["lines"][place]["why"] = match line {
            Line::Work(work) => {
                let of = |kind| why(quote, work, kind, rates, page);
                json!({ "item": of(RateKind::Item), "hours": of(RateKind::Hours), "cost": null })
            }
            Line::Rental { .. }
            | Line::Opened { .. }
            | Line::Other { .. }
            | Line::Overhead { .. } => {
                json!({ "item": null, "hours": null, "cost": lump_why(line, quote, &sheet.outlook, page) })
            }
        };
    }
    value
}

/// Explains a line that is no operation's.
fn lump_why(line: &Line, quote: &Quote, outlook: &Outlook, page: &Page) -> Option<String> {
    match line {
        Line::Work(_) => None,
        Line::Rental {
            machine,
            days,
            cost,
            ..
        } => {
            let mut plans = outlook.rentals.iter();
            let plan = plans.find(|rental| rental.machine == *machine);
            let planned = plan.map_or_else(String::new, |rental| {
                format!(
                    " Planned, for the {} that {} of such jobs don't exceed: {}; {}; {} together.",
                    page.quantity(rental.hours, Unit::Hour),
                    rate_text(quote.terms.confidence * Decimal::ONE_HUNDRED),
                    days_words(rental.plan.need.in_days()),
                    cover_words(&rental.plan.cover, page),
                    page.money(rental.plan.cover.total()),
                )
            });
            Some(format!(
                "{}: the mean, over {} draws, of what the tariff asks for the days that the hours take; {} on the \
                 mean.{planned}",
                page.money(*cost),
                outlook.draws,
                days_words(*days),
            ))
        }
        Line::Opened {
            unit, left, cost, ..
        } => Some(format!(
            "{}: an opened pack doesn't keep, so it is paid for whole; {} of it stay unused on the mean.",
            page.money(*cost),
            page.quantity(*left, *unit)
        )),
        Line::Other { cost, .. } => Some(format!(
            "{}, as it was given for the draft.",
            page.money(*cost)
        )),
        Line::Overhead { cost } => Some(format!(
            "{}: {} of the labour.",
            page.money(*cost),
            rate_text(quote.terms.overhead * Decimal::ONE_HUNDRED)
        )),
    }
}

/// Names a line that is no operation's.
fn lump_name(line: &Line) -> String {
    match line {
        Line::Work(work) => work.name.clone(),
        Line::Rental { name, days, .. } => {
            format!("{name}, rented: {} expected", days_words(*days))
        }
        Line::Opened {
            name, unit, left, ..
        } => format!(
            "{name}, left in opened packs: {} {unit} expected",
            plain(*left, 2)
        ),
        Line::Other { what, .. } => what.clone(),
        Line::Overhead { .. } => "overhead".to_owned(),
    }
}

/// Explains every quantity of a quote: the rate it was priced with, where that came from, and the rooms that taught it.
pub fn why_text(sheet: &QuoteSheet, rates: &[QuotedRate], page: &Page) -> String {
    let QuoteRecord { header, quote } = &sheet.record;
    let mut text = format!("Why {} takes what it takes:", header.number);
    for work in quote.work() {
        let place = work
            .room
            .and_then(|id| room_name(quote, id))
            .map_or_else(|| "the job".to_owned(), inert);
        let _ = write!(text, "\n\n{place}, {}:", work.name);
        for kind in RateKind::ALL.iter().copied() {
            if let Some(why) = why(quote, work, kind, rates, page) {
                let _ = write!(text, "\n{}", page.prose(&format!("  {why}")));
            }
        }
    }
    for line in &quote.lines {
        if let Some(why) = lump_why(line, quote, &sheet.outlook, page) {
            let name = inert(&lump_name(line));
            let _ = write!(text, "\n\n{name}:\n{}", page.prose(&format!("  {why}")));
        }
    }
    text
}

/// Explains one quantity in a sentence or two; `None`: the line has none.
fn why(
    quote: &Quote,
    work: &WorkLine,
    kind: RateKind,
    rates: &[QuotedRate],
    page: &Page,
) -> Option<String> {
    let class = quote.class_of(work)?;
    let quantity = match (kind, &work.item) {
        (RateKind::Hours, _) => page.quantity(work.hours, Unit::Hour),
        (RateKind::Item, Some(item)) => page.quantity(item.expected, item.unit),
        (RateKind::Item, None) => return None,
    };
    let rate = rates
        .iter()
        .find(|rate| (rate.operation, rate.kind, rate.class) == (work.operation, kind, class))?;
    let passes = match work.passes {
        1 => String::new(),
        passes => format!(" in {passes} passes"),
    };
    let done = match page.quantity(work.quantity, work.driver.unit()) {
        done if work.driver.unit() == Unit::Each => format!("{done} ({})", work.driver),
        done => done,
    };
    let taught: Vec<String> = rate
        .rate
        .newest
        .iter()
        .map(|taught| {
            let place = format!("{} {}", taught.job, taught.room);
            format!("{} ({})", place.trim_end(), taught.finished_on)
        })
        .collect();
    let taught = if taught.is_empty() {
        String::new()
    } else {
        format!(
            " Taught by {}{}.",
            inert(&taught.join(", ")),
            if rate.rate.rooms > taught.len() {
                " and others"
            } else {
                ""
            }
        )
    };
    let likely = work
        .contingency
        .filter(|contingency| contingency.chance < Decimal::ONE)
        .map_or_else(String::new, |contingency| {
            format!(
                ", {} likely",
                rate_text(contingency.chance * Decimal::ONE_HUNDRED)
            )
        });
    Some(format!(
        "{quantity} for {done}{passes}{likely}: {}{taught}",
        sentence(&rate.rate, &Rated::from(work), page)
    ))
}

/// Renders a quote as JSON.
pub fn json(sheet: &QuoteSheet, view: View, page: &Page) -> Value {
    let QuoteRecord { header, quote } = &sheet.record;
    let owner = |value: Value| {
        if view == View::Owner {
            value
        } else {
            Value::Null
        }
    };
    let costs = quote.costs();
    let mut value = json!({
        "number": header.number,
        "option": header.option,
        "option_name": header.option_name,
        "status": header.status.as_str(),
        "variation": header.variation_of.is_some(),
        "site": header.site,
        "client": header.client,
        "client_address": header.client_address,
        "currency": page.currency.code(),
        "sequence": quote.sequence,
        "schedule": quote.schedule,
        "drafted_on": header.drafted_on,
        "sent_on": header.sent_on,
        "valid_until": header.valid_until,
        "rooms": quote.rooms.iter().map(|room| json!({
            "name": room.name,
            "area": page.quantity_json(room.area, Unit::SquareFoot),
            "edge": page.quantity_json(room.edge, Unit::Foot),
            "steps": room.steps,
            "condition": room.class.condition.as_str(),
            "species": room.class.species.as_str(),
            "price": page.money_json(room.price),
        })).collect::<Vec<_>>(),
        "lines": quote.lines.iter().map(|line| line_json(line, quote, view, page)).collect::<Vec<_>>(),
        "hours": owner(json!(plain(quote.hours(), 4))),
        "cost": costs_json(costs, view, page),
        "price": page.money_json(quote.price),
        "tax_percent": super::rate_json(quote.terms.tax_percent),
        "tax": page.money_json(quote.tax),
        "total": page.money_json(quote.total()),
        "margin_percent": owner(percent_json(quote.margin_percent())),
        "cautions": quote.cautions.iter().map(|caution| json!({
            "caution": caution.text,
            "source": caution.source,
        })).collect::<Vec<_>>(),
        "start_on": header.start_on,
        "options": options_json(&sheet.options, view, page),
        "phases": sheet.plan.as_ref().map(stages_json),
        "cancel_within_days": sheet.cancellation.as_ref().map(|right| right.days),
    });
    let outlook = outlook_json(quote, &sheet.outlook, &sheet.shopping, page);
    for (key, figure) in outlook.as_object().into_iter().flatten() {
        value[key] = owner(figure.clone());
    }
    value
}

fn costs_json(costs: Costs, view: View, page: &Page) -> Value {
    let money = |amount: Money| {
        if view == View::Owner {
            page.money_json(amount)
        } else {
            Value::Null
        }
    };
    json!({
        "labour": money(costs.labour),
        "consumables": money(costs.consumables),
        "rental": money(costs.rental),
        "other": money(costs.other),
        "overhead": money(costs.overhead),
        "total": money(costs.total()),
    })
}

fn line_json(line: &Line, quote: &Quote, view: View, page: &Page) -> Value {
    let owner = |value: Value| {
        if view == View::Owner {
            value
        } else {
            Value::Null
        }
    };
    let room = line.room().and_then(|id| room_name(quote, id));
    let mut value = json!({
        "kind": "work", "room": room, "operation": null, "task": null, "driver": null, "passes": null, "item": null,
        "item_quantity": null, "item_unit": null, "load_quantity": null, "unit_price": null, "hours": null,
        "machine": null, "days": null, "what": null, "chance_percent": null, "least": null, "most": null, "why": null,
        "cost": owner(page.money_json(line.cost())),
    });
    match line {
        Line::Work(work) => {
            value["operation"] = json!(work.name);
            value["task"] = json!(work.task.name);
            value["driver"] = page.quantity_json(work.quantity, work.driver.unit());
            value["passes"] = json!(work.passes);
            value["hours"] = owner(json!(plain(work.hours, 4)));
            if let Some(contingency) = work.contingency {
                let unit = work.driver.unit();
                value["chance_percent"] =
                    percent_json(Some(contingency.chance * Decimal::ONE_HUNDRED));
                value["least"] = page.quantity_json(contingency.low, unit);
                value["most"] = page.quantity_json(contingency.high, unit);
            }
            if let Some(item) = &work.item {
                value["item"] = json!(item.name);
                value["item_unit"] = json!(item.unit.as_str());
                value["item_quantity"] = owner(json!(plain(item.expected, 4)));
                value["load_quantity"] = owner(json!(plain(item.load, 4)));
                value["unit_price"] = owner(json!(page.unit_price(item.unit_price)));
            }
        }
        Line::Rental { name, days, .. } => {
            value["kind"] = json!("rental");
            value["machine"] = json!(name);
            value["days"] = owner(percent_json(Some(*days)));
        }
        Line::Opened {
            name, unit, left, ..
        } => {
            value["kind"] = json!("opened");
            value["item"] = json!(name);
            value["item_unit"] = json!(unit.as_str());
            value["item_quantity"] = owner(json!(plain(*left, 4)));
        }
        Line::Other { what, .. } => {
            value["kind"] = json!("other");
            value["what"] = json!(what);
        }
        Line::Overhead { .. } => value["kind"] = json!("overhead"),
    }
    value
}

fn room_name(quote: &Quote, id: RoomId) -> Option<&str> {
    quote
        .rooms
        .iter()
        .find(|room| room.id == id)
        .map(|room| room.name.as_str())
}

/// Renders a quote as text.
pub fn text(sheet: &QuoteSheet, view: View, page: &Page) -> String {
    let record = &sheet.record;
    let mut text = heading(&record.header, &record.quote, page);
    if let Some(plan) = &sheet.plan {
        let _ = writeln!(text, "\n{}", stages_text(plan, page));
    }
    match view {
        View::Owner => {
            owner_text(&mut text, &record.quote, &sheet.outlook, page);
            text.push_str(&outlook_text(
                &record.quote,
                &sheet.outlook,
                &sheet.shopping,
                &record.header.number,
                page,
            ));
        }
        View::Client => {
            if !record.header.client_address.is_empty() {
                let _ = writeln!(text, "To {}", inert(&record.header.client_address));
            }
            client_text(&mut text, &record.quote, page);
        }
    }
    if sheet.options.len() > 1 {
        let (options, number) = (sheet.options.len(), &record.header.number);
        let words = match view {
            View::Owner => format!("{options} options: gritledger quote compare {number}"),
            View::Client => format!("{options} options to choose from."),
        };
        let _ = write!(text, "\n{words}\n");
    }
    if let Some(right) = &sheet.cancellation {
        let words = format!(
            "An acceptance can be taken back within {}{}.",
            super::count(right.days as usize, "business day"),
            right.cited()
        );
        let _ = write!(text, "\n{}\n", page.prose(&words));
    }
    text.push_str("\nCautions\n");
    for caution in &record.quote.cautions {
        text.push_str(&page.point(&format!("{} ({})", caution.text, caution.source)));
    }
    text
}

fn heading(header: &QuoteHeader, quote: &Quote, page: &Page) -> String {
    let kind = if header.variation_of.is_some() {
        "Variation"
    } else {
        "Quote"
    };
    let mut text = format!(
        "{kind} {}{} for {}, {}\n",
        header.number,
        match header.option_name.as_str() {
            "" => String::new(),
            name => format!(" (option {}: {})", header.option, inert(name)),
        },
        inert(&header.client),
        inert(&header.site)
    );
    let status = header.status.as_str();
    let _ = match (header.status, header.valid_until, header.decided_on) {
        (QuoteStatus::Draft, ..) => writeln!(text, "Drafted {}; not sent yet.", header.drafted_on),
        (QuoteStatus::Sent, Some(last), _) => writeln!(text, "Sent; valid until {last}."),
        (QuoteStatus::Expired, Some(last), _) => writeln!(text, "Sent; expired after {last}."),
        (_, _, Some(on)) => writeln!(
            text,
            "{}{} on {on}.",
            status[..1].to_uppercase(),
            &status[1..]
        ),
        _ => writeln!(text, "{status}"),
    };
    let methods = [("Sanding", &quote.sequence), ("Coating", &quote.schedule)];
    for (what, name) in methods {
        if let Some(name) = name {
            let _ = writeln!(text, "{what}: {}", inert(name));
        }
    }
    format!("{}\n", page.prose(&text))
}

fn owner_text(text: &mut String, quote: &Quote, outlook: &Outlook, page: &Page) {
    let job: Vec<&WorkLine> = quote.work().filter(|work| work.room.is_none()).collect();
    if !job.is_empty() {
        let _ = write!(text, "\nOnce for the job\n{}\n", work_table(&job, page));
    }
    for room in &quote.rooms {
        let lines: Vec<&WorkLine> = quote
            .work()
            .filter(|work| work.room == Some(room.id))
            .collect();
        let _ = write!(
            text,
            "\n{}\n{}\n",
            room_heading(room, page),
            work_table(&lines, page)
        );
    }
    let lumps: Vec<&Line> = quote
        .lines
        .iter()
        .filter(|line| !matches!(line, Line::Work(_)))
        .collect();
    if !lumps.is_empty() {
        let mut table = page.table(["For the whole job", "Cost"]).numbers([1]);
        for line in lumps {
            table.row([lump_name(line), page.money(line.cost())]);
        }
        let _ = write!(text, "\n{table}\n");
    }
    let _ = write!(text, "\n{}\n", cost_table(quote, outlook, page));
}

fn cost_table(quote: &Quote, outlook: &Outlook, page: &Page) -> Table {
    let costs = quote.costs();
    let mut table = page
        .table(["Cost and price", page.currency.code()])
        .numbers([1]);
    for (what, amount) in [
        ("Labour", costs.labour),
        ("Consumables", costs.consumables),
        ("Rental", costs.rental),
        ("Other", costs.other),
        ("Overhead", costs.overhead),
    ] {
        table.row([what.to_owned(), page.money(amount)]);
    }
    table.row(["Expected cost".to_owned(), page.money(costs.total())]);
    let percent = |fraction: Decimal| rate_text(fraction * Decimal::ONE_HUNDRED);
    table.row([
        format!(
            "Contingency, to be {} sure",
            percent(quote.terms.confidence)
        ),
        page.money(outlook.contingency()),
    ]);
    table.row([
        format!("Margin {}", percent(quote.terms.margin)),
        page.money(outlook.kept_margin(&quote.terms)),
    ]);
    if !outlook.raised_by(quote).is_zero() {
        let terms = &quote.terms;
        let asked = price_for(outlook.cost_at_confidence, terms.margin);
        let why = if asked >= terms.minimum {
            "Rounded up to the step"
        } else if quote.price == terms.minimum {
            "Raised to the minimum charge"
        } else {
            "Raised to minimum charge and step"
        };
        table.row([why.to_owned(), page.money(outlook.raised_by(quote))]);
    }
    totals(&mut table, quote, page);
    table
}

fn totals(table: &mut Table, quote: &Quote, page: &Page) {
    table.row(["Price".to_owned(), page.money(quote.price)]);
    table.row([
        format!("Tax {}", rate_text(quote.terms.tax_percent)),
        page.money(quote.tax),
    ]);
    table.row(["Total".to_owned(), page.money(quote.total())]);
}

fn room_heading(room: &QuotedRoom, page: &Page) -> String {
    let size = match room.steps {
        Some(steps) => super::count(steps as usize, "step"),
        None => {
            format!(
                "{}, edge {}",
                page.quantity(room.area, Unit::SquareFoot),
                length(room.edge, page)
            )
        }
    };
    format!(
        "{}: {size}; {} {}",
        inert(&room.name),
        room.class.condition,
        room.class.species
    )
}

fn work_table(lines: &[&WorkLine], page: &Page) -> Table {
    let mut table = page
        .table([
            "Operation",
            "Measure",
            "Item",
            "Expect",
            "Load",
            "Hours",
            "Cost",
        ])
        .numbers([1, 3, 4, 5, 6]);
    for work in lines {
        let times = if work.passes > 1 {
            format!(" x{}", work.passes)
        } else {
            String::new()
        };
        let (item, expect, load) = match &work.item {
            Some(item) => {
                let quantity = |quantity: Decimal| format!("{} {}", plain(quantity, 2), item.unit);
                (
                    item.name.clone(),
                    quantity(item.expected),
                    quantity(item.load),
                )
            }
            None => (String::new(), String::new(), String::new()),
        };
        let (likely, measure) = match work.contingency {
            Some(contingency) => (
                match contingency.chance < Decimal::ONE {
                    true => format!(
                        " ({} likely)",
                        rate_text(contingency.chance * Decimal::ONE_HUNDRED)
                    ),
                    false => String::new(),
                },
                range_text(contingency.low, contingency.high, work.driver.unit(), page),
            ),
            None => (
                String::new(),
                page.quantity(work.quantity, work.driver.unit()),
            ),
        };
        table.row([
            format!("{}{times}{likely}", work.name),
            measure,
            item,
            expect,
            load,
            plain(work.hours, 2),
            page.money(work.labour + work.item_cost()),
        ]);
    }
    table
}

fn client_text(text: &mut String, quote: &Quote, page: &Page) {
    let mut table = page.table(["Room", "Size", "Work", "Price"]).numbers([3]);
    for room in &quote.rooms {
        let size = match room.steps {
            Some(steps) => super::count(steps as usize, "step"),
            None => page.quantity(room.area, Unit::SquareFoot),
        };
        table.row([
            room.name.clone(),
            size,
            work_words(quote, room.id),
            page.money(room.price),
        ]);
    }
    let _ = write!(text, "\n{table}\n");
    let mut table = page.table(["", page.currency.code()]).numbers([1]);
    totals(&mut table, quote, page);
    let _ = write!(text, "\n{table}\n");
}

/// Returns what is done in a room, task by task: `sand: rotary-36, rotary-50; coat: oil-coat x2`.
fn work_words(quote: &Quote, room: RoomId) -> String {
    let mut tasks: Vec<(String, Vec<String>)> = Vec::new();
    for work in quote
        .work()
        .filter(|work| work.room == Some(room) && work.task.name != SET_UP)
    {
        let times = if work.passes > 1 {
            format!(" x{}", work.passes)
        } else {
            String::new()
        };
        let if_needed = match work.contingency {
            Some(contingency) if contingency.chance < Decimal::ONE => " if needed",
            Some(_) | None => "",
        };
        let words = format!("{}{times}{if_needed}", work.name);
        match tasks.iter_mut().find(|(task, _)| *task == work.task.name) {
            Some((_, operations)) => operations.push(words),
            None => tasks.push((work.task.name.clone(), vec![words])),
        }
    }
    let tasks = tasks
        .into_iter()
        .map(|(task, operations)| format!("{task}: {}", operations.join(", ")));
    tasks.collect::<Vec<_>>().join("; ")
}

/// Renders the list of quotes as JSON.
pub fn list_json(quotes: &[QuoteHeader], page: &Page) -> Value {
    json!({
        "currency": page.currency.code(),
        "quotes": quotes.iter().map(|quote| json!({
            "number": quote.number,
            "status": quote.status.as_str(),
            "client": quote.client,
            "site": quote.site,
            "drafted_on": quote.drafted_on,
            "sent_on": quote.sent_on,
            "valid_until": quote.valid_until,
            "price": page.money_json(quote.price),
            "tax": page.money_json(quote.tax),
            "total": page.money_json(quote.price + quote.tax),
        })).collect::<Vec<_>>(),
    })
}

/// Renders the list of quotes as text.
pub fn list_text(quotes: &[QuoteHeader], page: &Page) -> String {
    if quotes.is_empty() {
        return "No quotes yet.".to_owned();
    }
    let mut table = page
        .table(["Quote", "Status", "Client", "Site", "Valid until", "Price"])
        .numbers([5]);
    for quote in quotes {
        table.row([
            quote.number.clone(),
            quote.status.as_str().to_owned(),
            quote.client.clone(),
            quote.site.clone(),
            quote
                .valid_until
                .map(|last| last.to_string())
                .unwrap_or_default(),
            page.money(quote.price),
        ]);
    }
    table.to_string()
}

/// Renders a quote's heading and prices for its owner, without its cautions.
pub fn summary_text(option: &QuoteOption, page: &Page) -> String {
    let QuoteOption { record, outlook } = option;
    let mut text = heading(&record.header, &record.quote, page);
    let _ = write!(text, "\n{}\n", cost_table(&record.quote, outlook, page));
    text
}
