//! Jobs: the list, one job with its day book, what closing found, and the lines that day-book commands answer with.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::{Page, count, inert};
use crate::ledger::{
    Agreed, AwaitingReceipt, CloseOut, Entry, Job, Recorded, Rental, Returned, StockLine,
};
use crate::money::plain;
use crate::trade::evidence::Gaps;

fn job_json(job: &Job) -> Value {
    json!({
        "number": job.number,
        "state": job.state.as_str(),
        "client": job.client,
        "site": job.site,
        "agreed_on": job.agreed_on,
        "started_on": job.started_on,
        "closed_on": job.closed_on,
    })
}

/// Renders the list of jobs as JSON.
pub fn list_json(jobs: &[Job]) -> Value {
    Value::Array(jobs.iter().map(job_json).collect())
}

/// Renders the list of jobs as text.
pub fn list_text(jobs: &[Job], page: &Page) -> String {
    if jobs.is_empty() {
        return "No jobs yet.".to_owned();
    }
    let mut table = page.table(["Job", "State", "Client", "Site", "Started", "Closed"]);
    for job in jobs {
        let date =
            |date: Option<chrono::NaiveDate>| date.map(|date| date.to_string()).unwrap_or_default();
        table.row([
            job.number.clone(),
            job.state.as_str().to_owned(),
            job.client.clone(),
            job.site.clone(),
            date(job.started_on),
            date(job.closed_on.filter(|_| job.is_closed())),
        ]);
    }
    table.to_string()
}

/// Renders a job with its quotes and day book as JSON.
pub fn show_json(job: &Job, agreed: &Agreed, entries: &[Entry], page: &Page) -> Value {
    let mut value = job_json(job);
    value["currency"] = json!(page.currency.code());
    value["quotes"] = json!(
        agreed
            .quotes
            .iter()
            .map(|record| &record.header.number)
            .collect::<Vec<_>>()
    );
    value["price"] = page.money_json(agreed.price());
    value["variations"] = page.money_json(agreed.variations());
    value["entries"] = Value::Array(
        entries
            .iter()
            .map(|entry| entry_json(entry, page))
            .collect(),
    );
    value
}

fn entry_json(entry: &Entry, page: &Page) -> Value {
    json!({
        "number": entry.number,
        "kind": entry.kind,
        "date": entry.happened_on,
        "rooms": entry.rooms,
        "subject": entry.subject,
        "on": entry.on,
        "quantity": entry.quantity.map(|quantity| plain(quantity, 4)),
        "unit": entry.unit.map(crate::trade::Unit::as_str),
        "amount": entry.amount.map(|amount| page.money(amount)),
        "late": entry.late,
        "voided": entry.voided,
    })
}

/// Renders a job with its quotes and day book as text.
pub fn show_text(job: &Job, agreed: &Agreed, entries: &[Entry], page: &Page) -> String {
    let title = format!(
        "{}, {}: {}, {}",
        job.number,
        job.state.as_str(),
        job.client,
        job.site
    );
    let mut text = format!("{}\n", page.prose(&inert(&title)));
    let quotes: Vec<&str> = agreed
        .quotes
        .iter()
        .map(|record| record.header.number.as_str())
        .collect();
    if !quotes.is_empty() {
        let price = page.money(agreed.price() + agreed.variations());
        let _ = writeln!(
            text,
            "Agreed for {price} {} ({})",
            page.currency.code(),
            quotes.join(", ")
        );
    }
    if entries.is_empty() {
        text.push_str("Nothing is logged yet.\n");
        return text;
    }
    let mut table = page
        .table(["Entry", "Date", "What", "For", "Quantity", "Amount"])
        .numbers([4, 5]);
    for entry in entries {
        let mut what = format!("{} {}", entry.kind, entry.subject);
        if entry.voided {
            what.push_str(" (voided)");
        }
        if entry.late {
            what.push_str(" (after close-out)");
        }
        let places = [entry.on.clone().unwrap_or_default(), entry.rooms.join(", ")];
        let quantity = entry
            .quantity
            .map(|quantity| plain(quantity, 2))
            .unwrap_or_default();
        let unit = entry
            .unit
            .map(|unit| format!(" {unit}"))
            .unwrap_or_default();
        table.row([
            entry.number.clone(),
            entry.happened_on.to_string(),
            what,
            places
                .into_iter()
                .filter(|place| !place.is_empty())
                .collect::<Vec<_>>()
                .join("; "),
            format!("{quantity}{unit}"),
            entry
                .amount
                .map(|amount| page.money(amount))
                .unwrap_or_default(),
        ]);
    }
    let _ = write!(text, "\n{table}");
    text
}

/// Renders what closing found as JSON.
pub fn close_json(job: &Job, found: &CloseOut, page: &Page) -> Value {
    json!({
        "job": job.number,
        "state": job.state.as_str(),
        "currency": page.currency.code(),
        "observations": found.observations,
        "rooms_without_discs": found.gaps.rooms_without_discs,
        "operations_without_entries": found.gaps.operations_without_entries,
        "hours_on_nothing": plain(found.gaps.hours_on_nothing, 4),
        "awaiting_receipt": awaiting_json(&found.awaiting, page),
    })
}

/// Renders what closing found as text.
pub fn close_text(job: &Job, found: &CloseOut, page: &Page) -> String {
    let mut text = format!(
        "Closed {}: it taught the rates {}.\n",
        job.number,
        count(found.observations, "thing")
    );
    let gaps = gaps_text(&found.gaps, &found.awaiting, page);
    if gaps.is_empty() {
        text.push_str("Nothing is missing from its record.\n");
    } else {
        let _ = write!(
            text,
            "\nNot recorded (nothing logged teaches nothing; a true zero is typed):\n{gaps}"
        );
    }
    text
}

fn gaps_text(gaps: &Gaps, awaiting: &[AwaitingReceipt], page: &Page) -> String {
    let mut text = String::new();
    let mut line = |what: &str, names: &[String]| {
        if !names.is_empty() {
            text.push_str(&page.point(&format!("{what}: {}", names.join(", "))));
        }
    };
    line("rooms without discs", &gaps.rooms_without_discs);
    line(
        "quoted operations without entries",
        &gaps.operations_without_entries,
    );
    if !gaps.hours_on_nothing.is_zero() {
        line(
            "hours on no task (cost only, no evidence)",
            &[format!("{} h", plain(gaps.hours_on_nothing, 2))],
        );
    }
    let receipts: Vec<String> = awaiting
        .iter()
        .map(|line| {
            format!(
                "{} {} of {} ({})",
                plain(line.quantity, 2),
                line.unit,
                line.item,
                line.entry
            )
        })
        .collect();
    line("receipts awaited", &receipts);
    text
}

fn awaiting_json(awaiting: &[AwaitingReceipt], page: &Page) -> Value {
    let lines = awaiting.iter().map(|line| {
        json!({
            "entry": line.entry,
            "job": line.job,
            "item": line.item,
            "quantity": plain(line.quantity, 4),
            "unit": line.unit.as_str(),
            "assumed_cost": page.money_json(line.value),
        })
    });
    Value::Array(lines.collect())
}

/// Renders an entry that was just written as JSON.
pub fn recorded_json(recorded: &Recorded, what: &str, page: &Page) -> Value {
    json!({
        "entry": recorded.number,
        "what": what,
        "currency": page.currency.code(),
        "amount": page.money_json(recorded.amount),
    })
}

/// Renders a return as JSON.
pub fn returned_json(returned: &Returned, page: &Page) -> Value {
    json!({
        "entry": returned.recorded.number,
        "currency": page.currency.code(),
        "amount": page.money_json(returned.recorded.amount),
        "days": returned.days.iter().map(|(date, job, charge)| json!({
            "date": date,
            "job": job,
            "charge": page.money_json(*charge),
        })).collect::<Vec<_>>(),
    })
}

/// Renders a return as text.
pub fn returned_text(returned: &Returned, machine: &str, page: &Page) -> String {
    let days: Vec<String> = returned
        .days
        .iter()
        .map(|(date, job, charge)| format!("{date} {job} {}", page.money(*charge)))
        .collect();
    format!(
        "{}: {} back after {}, {}.\n{}",
        returned.recorded.number,
        inert(machine),
        count(returned.days.len(), "rental day"),
        page.money(returned.recorded.amount),
        days.join("\n")
    )
}

/// Renders the rentals as JSON.
pub fn rentals_json(rentals: &[Rental], page: &Page) -> Value {
    json!({
        "currency": page.currency.code(),
        "rentals": rentals.iter().map(|rental| json!({
            "entry": rental.entry,
            "machine": rental.machine,
            "job": rental.job,
            "out_at": rental.out_at.format("%Y-%m-%dT%H:%M").to_string(),
            "back_at": rental.back_at.map(|back| back.format("%Y-%m-%dT%H:%M").to_string()),
            "days": rental.days,
            "charge": rental.charge.map(|charge| page.money(charge)),
        })).collect::<Vec<_>>(),
    })
}

/// Renders the rentals as text.
pub fn rentals_text(rentals: &[Rental], page: &Page) -> String {
    if rentals.is_empty() {
        return "No machine was rented yet.".to_owned();
    }
    let mut table = page
        .table(["Entry", "Machine", "Job", "Out", "Back", "Days", "Charge"])
        .numbers([5, 6]);
    for rental in rentals {
        let moment = |at: chrono::NaiveDateTime| at.format("%Y-%m-%d %H:%M").to_string();
        table.row([
            rental.entry.clone(),
            rental.machine.clone(),
            rental.job.clone(),
            moment(rental.out_at),
            rental
                .back_at
                .map_or_else(|| "still out".to_owned(), moment),
            if rental.days == 0 {
                String::new()
            } else {
                rental.days.to_string()
            },
            rental
                .charge
                .map(|charge| page.money(charge))
                .unwrap_or_default(),
        ]);
    }
    table.to_string()
}

/// Renders the stock as JSON.
pub fn stock_json(lines: &[StockLine], awaiting: &[AwaitingReceipt], page: &Page) -> Value {
    json!({
        "currency": page.currency.code(),
        "items": lines.iter().map(|line| json!({
            "item": line.item,
            "unit": line.unit.as_str(),
            "on_hand": plain(line.on_hand, 4),
            "value": page.money_json(line.value),
            "awaiting_receipt": plain(line.awaiting, 4),
            "awaiting_cost": page.money_json(line.awaiting_value),
        })).collect::<Vec<_>>(),
        "awaiting_receipt": awaiting_json(awaiting, page),
    })
}

/// Renders the stock as text.
pub fn stock_text(lines: &[StockLine], awaiting: &[AwaitingReceipt], page: &Page) -> String {
    if lines.is_empty() {
        return "Nothing is in stock.".to_owned();
    }
    let mut table = page
        .table(["Item", "In stock", "Average", "Value", "Awaiting receipt"])
        .numbers([1, 2, 3, 4]);
    for line in lines {
        let average = if line.on_hand.is_zero() {
            String::new()
        } else {
            page.unit_price(page.currency.decimal(line.value) / line.on_hand)
        };
        let awaiting = if line.awaiting.is_zero() {
            String::new()
        } else {
            format!("{} {}", plain(line.awaiting, 2), line.unit)
        };
        table.row([
            line.item.clone(),
            format!("{} {}", plain(line.on_hand, 2), line.unit),
            average,
            page.money(line.value),
            awaiting,
        ]);
    }
    let mut text = table.to_string();
    if !awaiting.is_empty() {
        text.push_str("\n\nUsed at book price until the receipt comes:\n");
        for line in awaiting {
            let quantity = format!("{} {} of {}", plain(line.quantity, 2), line.unit, line.item);
            let _ = writeln!(
                text,
                "* {}: {quantity} on {}, {}",
                line.entry,
                line.job,
                page.money(line.value)
            );
        }
    }
    text
}
