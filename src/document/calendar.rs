//! The plan as a calendar that other programs read (RFC 5545).
//!
//! Every step of a phase is an event of whole days, whose end is the day after its last (section 3.6.1: the end is
//! exclusive). An event's UID is made of the quote's number, the phase and the step, so a plan that was made again moves
//! the events that are known; its SEQUENCE says how often. A step that a newer plan doesn't have any more is cancelled.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};
use icalendar::{Calendar, Component, Event as IcsEvent, EventLike, EventStatus, Property};

use super::plan::{Event, agenda};
use crate::ledger::{KeptPlan, QuoteStatus};

/// Who made the calendar, as the standard wants to know.
const MADE_BY: &str = "-//gritledger//house plan//EN";

/// Renders a plan as a calendar.
pub fn ics(kept: &KeptPlan) -> String {
    let header = &kept.quote.header;
    let mut calendar = Calendar::empty();
    calendar
        .append_property(Property::new("VERSION", "2.0"))
        .append_property(Property::new("PRODID", MADE_BY))
        .append_property(Property::new("CALSCALE", "GREGORIAN"))
        .name(&format!("{} {}", header.number, header.site));
    let mut known = BTreeSet::new();
    for (number, phase) in kept.plan.phases.iter().enumerate() {
        let rooms = phase
            .coating_order
            .iter()
            .filter_map(|room| kept.names.get(room));
        let rooms = rooms.map(String::as_str).collect::<Vec<_>>().join(", ");
        let exit = kept.names.get(&phase.exit).map_or("", String::as_str);
        for Span {
            event,
            number: of_kind,
            last,
        } in merged(agenda(&kept.plan, number))
        {
            let uid = uid(kept, number, event.kind, of_kind);
            let mut entry = entry(kept, &uid, event.date, last);
            entry
                .summary(&format!("{}: {rooms}", event.what))
                .description(&match phase.needs.coats.is_empty() {
                    true => format!("Phase {}.", number + 1),
                    false => format!(
                        "Phase {}. Coat in this order: {rooms}; out by {exit}.",
                        number + 1
                    ),
                })
                .status(match kept.quote.header.status {
                    QuoteStatus::Accepted => EventStatus::Confirmed,
                    QuoteStatus::Declined | QuoteStatus::Withdrawn => EventStatus::Cancelled,
                    QuoteStatus::Draft | QuoteStatus::Sent | QuoteStatus::Expired => {
                        EventStatus::Tentative
                    }
                });
            calendar.push(entry.done());
            known.insert(uid);
        }
    }
    // What a newer plan doesn't have any more is taken out of calendars that have it.
    for plan in kept.earlier.iter().rev() {
        for number in 0..plan.phases.len() {
            for Span {
                event,
                number: of_kind,
                last,
            } in merged(agenda(plan, number))
            {
                let uid = uid(kept, number, event.kind, of_kind);
                if known.contains(&uid) {
                    continue;
                }
                let mut entry = entry(kept, &uid, event.date, last);
                entry
                    .summary(&format!("{} (no longer planned)", event.what))
                    .status(EventStatus::Cancelled);
                calendar.push(entry.done());
                known.insert(uid);
            }
        }
    }
    calendar.to_string()
}

/// Returns an event of whole days, its end the day after its last.
fn entry(kept: &KeptPlan, uid: &str, date: NaiveDate, last: NaiveDate) -> IcsEvent {
    let mut entry = IcsEvent::new();
    entry
        .uid(uid)
        .location(&kept.quote.header.site)
        .starts(date)
        .ends(last + Days::new(1))
        .timestamp(kept.recorded_at.and_utc())
        .sequence(kept.revision);
    entry.done()
}

fn uid(kept: &KeptPlan, phase: usize, what: &str, number: usize) -> String {
    let quote = &kept.quote.header;
    format!(
        "{}-{}-phase-{}-{what}-{number}@gritledger",
        quote.number,
        quote.id.0,
        phase + 1
    )
}

/// A step of a phase, with the number of its kind and its last day.
struct Span {
    event: Event,
    number: usize,
    last: NaiveDate,
}

/// Returns the steps of a phase: days of one kind that follow each other are one step.
fn merged(events: Vec<Event>) -> Vec<Span> {
    let mut merged: Vec<Span> = Vec::new();
    for event in events {
        let of_kind = merged.iter().filter(|span| span.event.kind == event.kind);
        let number = of_kind.count() + 1;
        let before = merged
            .iter_mut()
            .rev()
            .find(|span| span.event.kind == event.kind);
        if let Some(span) = before {
            let follows = (event.date - span.last).num_days() <= 1;
            if follows && matches!(event.kind, "sand" | "trim" | "night-away" | "away-anyway") {
                span.last = event.date;
                continue;
            }
        }
        merged.push(Span {
            number,
            last: event.date,
            event,
        });
    }
    merged
}
