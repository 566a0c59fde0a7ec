//! A quote for its owner, with cost and margin, and for its client, without.
//!
//! Both are drawn from one [`QuoteRecord`], so they can't disagree.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde_json::{Value, json};

use super::rate::sentence;
use super::{Page, Table, inert, percent_json, percent_text, rate_text};
use crate::ledger::{QuoteHeader, QuoteRecord, QuoteStatus, QuotedRate};
use crate::measure::Length;
use crate::money::{Decimal, Money, plain, round};
use crate::trade::operation::{Operation, SET_UP};
use crate::trade::quote::{Costs, Line, Quote, QuotedRoom, WorkLine};
use crate::trade::rates::RateKind;
use crate::trade::rental::Period;
use crate::trade::{OperationId, RoomId, Unit};

/// Whose eyes a quote is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// The firm: cost and margin.
    Owner,
    /// The client: rooms and prices.
    Client,
}

/// Returns a length in feet the way people write it: `23 ft 10 in`.
pub fn length(feet: Decimal, page: &Page) -> String {
    use rust_decimal::prelude::ToPrimitive;
    let nanometres = round(feet * Decimal::from(304_800_000), 0)
        .to_i64()
        .unwrap_or_default();
    Length::from_nanometres(nanometres).text(page.units)
}

/// Renders a quote as JSON, each line with why it takes what it takes.
pub fn json_with_why(
    record: &QuoteRecord,
    rates: &[QuotedRate],
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> Value {
    let mut value = json(record, View::Owner, page);
    for (place, line) in record.quote.lines.iter().enumerate() {
        if let Line::Work(work) = line {
            let of = |kind| why(&record.quote, work, kind, rates, operations, page);
            value["lines"][place]["why"] = json!({
                "item": of(RateKind::Item),
                "hours": of(RateKind::Hours),
            });
        }
    }
    value
}

/// Explains every quantity of a quote: the rate it was priced with, where that came from, and the rooms that taught it.
pub fn why_text(
    record: &QuoteRecord,
    rates: &[QuotedRate],
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> String {
    let quote = &record.quote;
    let mut text = format!("Why {} takes what it takes:", record.header.number);
    for work in quote.work() {
        let place = work
            .room
            .and_then(|id| room_name(quote, id))
            .map_or_else(|| "the job".to_owned(), inert);
        let _ = write!(text, "\n\n{place}, {}:", work.name);
        for kind in RateKind::ALL.iter().copied() {
            if let Some(why) = why(quote, work, kind, rates, operations, page) {
                let _ = write!(text, "\n{}", page.prose(&format!("  {why}")));
            }
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
    operations: &BTreeMap<OperationId, Operation>,
    page: &Page,
) -> Option<String> {
    let class = quote.class_of(work)?;
    let operation = operations.get(&work.operation)?;
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
    Some(format!(
        "{quantity} for {done}{passes}: {}{taught}",
        sentence(&rate.rate, operation, page)
    ))
}

/// Renders a quote as JSON.
pub fn json(record: &QuoteRecord, view: View, page: &Page) -> Value {
    let QuoteRecord { header, quote } = record;
    let owner = |value: Value| {
        if view == View::Owner {
            value
        } else {
            Value::Null
        }
    };
    let costs = quote.costs();
    json!({
        "number": header.number,
        "status": header.status.as_str(),
        "variation": header.variation_of.is_some(),
        "site": header.site,
        "client": header.client,
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
        "tax_percent": percent_json(Some(quote.terms.tax_percent)),
        "tax": page.money_json(quote.tax),
        "total": page.money_json(quote.total()),
        "margin_percent": owner(percent_json(quote.margin_percent())),
        "cautions": quote.cautions.iter().map(|caution| json!({
            "caution": caution.text,
            "source": caution.source,
        })).collect::<Vec<_>>(),
    })
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
        "machine": null, "days": null, "what": null, "why": null, "cost": owner(page.money_json(line.cost())),
    });
    match line {
        Line::Work(work) => {
            value["operation"] = json!(work.name);
            value["task"] = json!(work.task.name);
            value["driver"] = page.quantity_json(work.quantity, work.driver.unit());
            value["passes"] = json!(work.passes);
            value["hours"] = owner(json!(plain(work.hours, 4)));
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
            value["days"] = owner(json!(days));
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
pub fn text(record: &QuoteRecord, view: View, page: &Page) -> String {
    let mut text = heading(&record.header, &record.quote);
    match view {
        View::Owner => owner_text(&mut text, &record.quote, page),
        View::Client => client_text(&mut text, &record.quote, page),
    }
    text.push_str("\nCautions\n");
    for caution in &record.quote.cautions {
        text.push_str(&page.point(&format!("{} ({})", caution.text, caution.source)));
    }
    text
}

fn heading(header: &QuoteHeader, quote: &Quote) -> String {
    let kind = if header.variation_of.is_some() {
        "Variation"
    } else {
        "Quote"
    };
    let mut text = format!(
        "{kind} {} for {}, {}\n",
        header.number,
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
    text
}

fn owner_text(text: &mut String, quote: &Quote, page: &Page) {
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
            let what = match line {
                Line::Rental { name, days, .. } => {
                    format!(
                        "{name}, rented for {}",
                        super::count(*days as usize, Period::Day.as_str())
                    )
                }
                Line::Other { what, .. } => what.clone(),
                Line::Overhead { .. } => "overhead".to_owned(),
                Line::Work(_) => continue,
            };
            table.row([what, page.money(line.cost())]);
        }
        let _ = write!(text, "\n{table}\n");
    }
    let _ = write!(text, "\n{}\n", cost_table(quote, page));
}

fn cost_table(quote: &Quote, page: &Page) -> Table {
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
    table.row(["Cost".to_owned(), page.money(costs.total())]);
    table.row([
        format!("Margin {}", percent_text(quote.margin_percent())),
        page.money(quote.price - costs.total()),
    ]);
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
        table.row([
            format!("{}{times}", work.name),
            page.quantity(work.quantity, work.driver.unit()),
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
        let words = format!("{}{times}", work.name);
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

/// Renders a quote's heading and prices, without its cautions.
pub fn summary_text(record: &QuoteRecord, view: View, page: &Page) -> String {
    let mut text = heading(&record.header, &record.quote);
    match view {
        View::Owner => {
            let _ = write!(text, "\n{}\n", cost_table(&record.quote, page));
        }
        View::Client => client_text(&mut text, &record.quote, page),
    }
    text
}
