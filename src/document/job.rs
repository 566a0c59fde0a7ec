//! Jobs: the list, one job with its day book, what closing found, and the lines that day-book commands answer with.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::report::NotRecorded;
use super::{Page, count, inert};
use crate::ledger::{
    Agreed, AwaitingReceipt, CloseOut, DayBook, DayCharged, Entry, Job, Recorded, Rental, Returned,
    StockLine,
};
use crate::money::plain;

fn job_json(job: &Job) -> Value {
    json!({
        "number": job.number,
        "own_name": job.before.as_ref().map(|before| &before.name),
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
            job.title(),
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
pub fn show_json(job: &Job, agreed: &Agreed, book: &DayBook, page: &Page) -> Value {
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
        book.entries
            .iter()
            .map(|entry| entry_json(entry, page))
            .collect(),
    );
    value["overhead"] = page.money_json(book.overhead);
    value["cost"] = page.money_json(book.total());
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
        "shares": shares_json(&entry.days, page),
        "late": entry.late,
        "voided": entry.voided,
    })
}

/// Renders the days of a return, each with the job that it is charged to; `null`: it is none.
fn shares_json(days: &[DayCharged], page: &Page) -> Value {
    let shares = days.iter().map(|day| {
        json!({
            "date": day.began_on,
            "job": day.job,
            "charge": page.money_json(day.charge),
        })
    });
    match days.is_empty() {
        true => Value::Null,
        false => Value::Array(shares.collect()),
    }
}

/// Writes the days of a return that jobs shared: `2026-02-26 J1 33.33, 2026-02-27 J2 33.34`; `None`: one job had it.
fn shares_text(days: &[DayCharged], page: &Page) -> Option<String> {
    let first = days.first()?;
    let words = |day: &DayCharged| format!("{} {}", day_words(day), page.money(day.charge));
    let shared = days.iter().any(|day| day.job_id != first.job_id);
    shared.then(|| days.iter().map(words).collect::<Vec<_>>().join(", "))
}

fn day_words(day: &DayCharged) -> String {
    format!("{} {}", day.began_on, day.job)
}

/// Renders a job with its quotes and day book as text.
pub fn show_text(job: &Job, agreed: &Agreed, book: &DayBook, page: &Page) -> String {
    let title = format!(
        "{}, {}: {}, {}",
        job.title(),
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
    if let Some(before) = &agreed.before {
        let cost = before
            .cost
            .map(|cost| format!(", to cost {}", page.money(cost)));
        let (price, cost) = (page.money(before.price), cost.unwrap_or_default());
        let _ = writeln!(
            text,
            "Agreed for {price} {}{cost} on {}, before the ledger",
            page.currency.code(),
            job.agreed_on
        );
    }
    if book.entries.is_empty() {
        text.push_str("Nothing is logged yet.\n");
        return text;
    }
    let mut table = page
        .table(["Entry", "Date", "What", "For", "Quantity", "Amount"])
        .numbers([4, 5]);
    let mut shared = Vec::new();
    for entry in &book.entries {
        let mut what = format!("{} {}", entry.kind, entry.subject);
        if entry.voided {
            what.push_str(" (voided)");
        }
        if entry.late {
            what.push_str(" (after close-out)");
        }
        if let Some(shares) = shares_text(&entry.days, page) {
            what.push_str(" (shared)");
            shared.push(format!("{} {}: {shares}", entry.number, entry.subject));
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
    let blank = String::new;
    let mut sum = |what: &str, amount| {
        let what = what.to_owned();
        table.row([blank(), blank(), what, blank(), blank(), page.money(amount)]);
    };
    if !book.overhead.is_zero() {
        sum("overhead", book.overhead);
    }
    sum("Cost", book.total());
    let _ = write!(text, "\n{table}");
    text.push_str(&shared_text(&shared, page));
    text
}

/// Lists the rentals that jobs shared, day by day, below a table.
fn shared_text(shared: &[String], page: &Page) -> String {
    let points: String = shared.iter().map(|line| page.point(line)).collect();
    match points.trim_end() {
        "" => String::new(),
        points => {
            format!("\n\nShared, each day charged to the job that had the machine:\n{points}")
        }
    }
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
        "not_recorded": NotRecorded::new(found.missing, page),
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
    let gaps = gaps_text(found, page);
    if gaps.is_empty() {
        text.push_str("Nothing is missing from its record.\n");
    } else {
        let _ = write!(
            text,
            "\nNot recorded (not logged is not known: nothing is learned of it, and nothing was saved; log a zero if it took none):\n{gaps}"
        );
    }
    text
}

fn gaps_text(found: &CloseOut, page: &Page) -> String {
    let CloseOut {
        gaps,
        awaiting,
        missing,
        ..
    } = found;
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
    if missing.is_gap() {
        line(
            "of what was quoted",
            &[NotRecorded::new(*missing, page).to_string()],
        );
    }
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
        "instead_of": recorded.instead_of,
    })
}

/// Renders a return as JSON.
pub fn returned_json(returned: &Returned, page: &Page) -> Value {
    json!({
        "entry": returned.recorded.number,
        "currency": page.currency.code(),
        "amount": page.money_json(returned.recorded.amount),
        "by_tariff": page.money_json(returned.by_tariff),
        "days": shares_json(&returned.days, page),
    })
}

/// Renders a return as text.
pub fn returned_text(returned: &Returned, machine: &str, page: &Page) -> String {
    let days: Vec<String> = returned
        .days
        .iter()
        .map(|day| format!("{} {}", day_words(day), page.money(day.charge)))
        .collect();
    let tariff = match returned.by_tariff == returned.recorded.amount {
        true => String::new(),
        false => {
            let asked = page.money(returned.by_tariff);
            format!(" The tariff with which it went out asks {asked}.")
        }
    };
    format!(
        "{}: {} back after {}, {}.{tariff}\n{}",
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
            "back_at": rental.back.as_ref().map(|back| back.at.format("%Y-%m-%dT%H:%M").to_string()),
            "days": rental.back.as_ref().map_or(0, |back| back.days.len()),
            "charge": rental.back.as_ref().map(|back| page.money(back.charge)),
            "moved": rental.moved.iter().map(|moved| json!({ "date": moved.on, "job": moved.job })).collect::<Vec<_>>(),
            "by_tariff": rental.back.as_ref().map(|back| back.by_tariff),
            "shares": shares_json(rental.back.as_ref().map_or(&[], |back| &back.days), page),
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
    let mut shared = Vec::new();
    for rental in rentals {
        let back = rental.back.as_ref();
        let days = back.map_or(&[][..], |back| &back.days);
        let shares = shares_text(days, page);
        shared
            .extend(shares.map(|shares| format!("{} {}: {shares}", rental.entry, rental.machine)));
        let moment = |at: chrono::NaiveDateTime| at.format("%Y-%m-%d %H:%M").to_string();
        table.row([
            rental.entry.clone(),
            rental.machine.clone(),
            rental.jobs().join(", "),
            moment(rental.out_at),
            back.map_or_else(|| "still out".to_owned(), |back| moment(back.at)),
            back.map(|back| back.days.len().to_string())
                .unwrap_or_default(),
            back.map(|back| page.money(back.charge)).unwrap_or_default(),
        ]);
    }
    format!("{table}{}", shared_text(&shared, page))
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
