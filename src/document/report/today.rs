//! What today asks for.

use std::fmt::Write as _;

use chrono::Days;
use serde_json::{Value, json};

use crate::document::plan::words::{TwiceFacts, twice_words};
use crate::document::plan::{Event, agenda};
use crate::document::quote::QuoteRow;
use crate::document::{Page, count, invoice, job};
use crate::ledger::Today;
use crate::money::plain;

/// Days that `today` looks ahead for what is planned.
const AHEAD: u64 = 3;

/// A step of a job's plan.
struct Step<'a> {
    job: &'a str,
    /// The phase, from 1 on.
    phase: usize,
    rooms: Vec<&'a str>,
    event: Event,
}

/// Returns what the plans of jobs have for today and the days that follow.
fn planned(today: &Today) -> Vec<Step<'_>> {
    let soon = today.date..=today.date + Days::new(AHEAD);
    let mut steps = Vec::new();
    for (job, kept) in &today.plans {
        for (number, phase) in kept.plan.phases.iter().enumerate() {
            let rooms = phase
                .coating_order
                .iter()
                .filter_map(|room| kept.names.get(room));
            let rooms: Vec<&str> = rooms.map(String::as_str).collect();
            let events = agenda(&kept.plan, number).into_iter();
            let due = events.filter(|event| soon.contains(&event.date));
            steps.extend(due.map(|event| Step {
                job: &job.number,
                phase: number + 1,
                rooms: rooms.clone(),
                event,
            }));
        }
    }
    steps.sort_by_key(|step| step.event.date);
    steps
}

/// Renders what today asks for as JSON.
pub fn today_json(today: &Today, page: &Page) -> Value {
    json!({
        "date": today.date,
        "currency": page.currency.code(),
        "jobs": job::JobList::new(today.jobs.clone()),
        "machines": today.machines.iter().map(|machine| json!({
            "machine": machine.machine,
            "job": machine.job,
            "out_at": machine.out_at.format("%Y-%m-%dT%H:%M").to_string(),
            "planned_days": machine.planned_days,
            "due_back": machine.due.format("%Y-%m-%dT%H:%M").to_string(),
            "overdue": machine.overdue,
        })).collect::<Vec<_>>(),
        "coats": today.coats.iter().map(|coat| json!({
            "job": coat.job,
            "operation": coat.operation,
            "coat": coat.coat.0,
            "coats": coat.coat.1,
            "from": coat.from,
        })).collect::<Vec<_>>(),
        "planned": planned(today).iter().map(|step| json!({
            "job": step.job,
            "date": step.event.date,
            "phase": step.phase,
            "work": step.event.what,
            "rooms": step.rooms,
        })).collect::<Vec<_>>(),
        "promised_twice": TwiceFacts::all(today.promised_twice.clone()),
        "quotes": today.quotes.iter().map(|quote| QuoteRow::new(quote.clone(), page)).collect::<Vec<_>>(),
        "overdue": page.each(today.overdue.clone(), invoice::InvoiceFacts::new),
        "credits": today.credits.iter().map(|(credit, invoice)| {
            let mut value = json!(invoice::CreditFacts::new(credit.clone(), page));
            value["apply_to"] = json!(invoice);
            value
        }).collect::<Vec<_>>(),
        "awaiting_receipt": page.each(today.awaiting.clone(), job::AwaitingFacts::new),
        "doubted_records": today.doubted,
    })
}

/// Renders what today asks for as text.
pub fn today_text(today: &Today, page: &Page) -> String {
    let mut text = format!("{}\n", today.date.format("%A, %Y-%m-%d"));
    let mut section = |heading: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            let _ = writeln!(text, "\n{heading}");
            for line in lines {
                text.push_str(&page.point(&line));
            }
        }
    };
    section(
        "Machines out",
        today
            .machines
            .iter()
            .map(|machine| {
                let by = machine.due.format("%a %Y-%m-%d %H:%M");
                let planned = if machine.overdue {
                    "past its plan; another day begins"
                } else {
                    "back by"
                };
                format!("{} on {}: {planned} {by}", machine.machine, machine.job)
            })
            .collect(),
    );
    section(
        "Coats",
        today
            .coats
            .iter()
            .map(|coat| {
                let (number, of) = coat.coat;
                let when = if coat.from <= today.date {
                    "today".to_owned()
                } else {
                    format!("from {}", coat.from)
                };
                format!(
                    "{}: {}, coat {number} of {of}, {when}",
                    coat.job, coat.operation
                )
            })
            .collect(),
    );
    let steps = planned(today);
    let steps = steps.iter().map(|step| {
        let date = step.event.date;
        let when = match date == today.date {
            true => "today".to_owned(),
            false => date.format("%a %Y-%m-%d").to_string(),
        };
        let (job, what, rooms) = (step.job, &step.event.what, step.rooms.join(", "));
        format!("{job}, {when}: {what} ({rooms})")
    });
    section("Planned", steps.collect());
    let twice = today.promised_twice.iter();
    section("Promised twice", twice.map(twice_words).collect());
    section(
        "Jobs",
        today
            .jobs
            .iter()
            .map(|job| {
                format!(
                    "{} {}: {}, {}",
                    job.number,
                    job.state.as_str(),
                    job.client,
                    job.site
                )
            })
            .collect(),
    );
    section(
        "Quotes without an answer",
        today
            .quotes
            .iter()
            .map(|quote| QuoteRow::new(quote.clone(), page).waiting(today.date))
            .collect(),
    );
    section(
        "Money overdue",
        today
            .overdue
            .iter()
            .map(|invoice| {
                let late = invoice
                    .due_on
                    .map_or(0, |due| (today.date - due).num_days());
                let late = count(usize::try_from(late).unwrap_or_default(), "day");
                format!(
                    "{}: {} owes {} {}, {late} late",
                    invoice.name(),
                    invoice.client,
                    page.money(invoice.due()),
                    page.currency.code()
                )
            })
            .collect(),
    );
    section(
        "Credits kept",
        today
            .credits
            .iter()
            .map(|(credit, invoice)| {
                let apply = match invoice {
                    Some(invoice) => format!(": gritledger payment apply {invoice}"),
                    None => String::new(),
                };
                format!(
                    "{} of {} ({}){apply}",
                    page.money(credit.amount),
                    credit.client,
                    credit.payment
                )
            })
            .collect(),
    );
    section(
        "Receipts awaited",
        today
            .awaiting
            .iter()
            .map(|line| {
                format!(
                    "{}: {} {} of {} on {}",
                    line.entry,
                    plain(line.quantity, 2),
                    line.unit,
                    line.item,
                    line.job
                )
            })
            .collect(),
    );
    if today.doubted > 0 {
        section(
            "Slips?",
            vec![format!(
                "{} set aside until you answer: gritledger rate check",
                count(today.doubted, "record")
            )],
        );
    }
    if text.lines().count() == 1 {
        text.push_str("Nothing asks for you today.\n");
    }
    text
}
