//! The plan as a calendar that other programs read (RFC 5545).
//!
//! Every step of a phase is an event of whole days, whose end is the day after its last (section 3.6.1: the end is
//! exclusive). An event's UID is made of the quote's number, the phase and the step, so a plan that was made again moves
//! the events that are known; its SEQUENCE says how often. A step that a newer plan doesn't have any more is cancelled.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};

use super::plan::{Event, agenda};
use crate::ledger::{KeptPlan, QuoteStatus};

/// Who made the calendar, as the standard wants to know.
const MADE_BY: &str = "-//gritledger//house plan//EN";

/// Bytes of a line at most, but for its end (section 3.1).
const LONGEST_LINE: usize = 75;

/// A calendar in the making, line by line.
#[derive(Default)]
struct Calendar(String);

impl Calendar {
    /// Adds a line; what doesn't fit goes on in the next one, behind a space.
    fn line(&mut self, line: &str) {
        let mut room = LONGEST_LINE;
        for character in line.chars() {
            if character.len_utf8() > room {
                self.0.push_str("\r\n ");
                room = LONGEST_LINE - 1;
            }
            room -= character.len_utf8();
            self.0.push(character);
        }
        self.0.push_str("\r\n");
    }

    /// Adds a property whose value is a text (section 3.3.11).
    fn text(&mut self, name: &str, text: &str) {
        let mut line = format!("{name}:");
        for character in text.chars() {
            match character {
                '\\' | ';' | ',' => line.extend(['\\', character]),
                '\n' => line.push_str("\\n"),
                _ => line.push(character),
            }
        }
        self.line(&line);
    }

    /// Adds an event of whole days, its end the day after its last.
    fn event(&mut self, kept: &KeptPlan, uid: &str, days: &Span, says: Says<'_>) {
        let Says {
            summary,
            description,
            status,
        } = says;
        self.line("BEGIN:VEVENT");
        self.text("UID", uid);
        let written = kept.recorded_at.format("%Y%m%dT%H%M%SZ");
        self.line(&format!("DTSTAMP:{written}"));
        self.line(&format!("SEQUENCE:{}", kept.revision));
        let (first, end) = (days.event.date, days.last + Days::new(1));
        self.line(&format!("DTSTART;VALUE=DATE:{}", first.format("%Y%m%d")));
        self.line(&format!("DTEND;VALUE=DATE:{}", end.format("%Y%m%d")));
        self.line(&format!("STATUS:{status}"));
        self.text("SUMMARY", summary);
        if let Some(description) = description {
            self.text("DESCRIPTION", description);
        }
        self.text("LOCATION", &kept.quote.header.site);
        self.line("END:VEVENT");
    }
}

/// What an event says.
struct Says<'a> {
    summary: &'a str,
    description: Option<&'a str>,
    status: &'static str,
}

/// Renders a plan as a calendar.
pub fn ics(kept: &KeptPlan) -> String {
    let header = &kept.quote.header;
    let mut calendar = Calendar::default();
    let name = format!("{} {}", header.number, header.site);
    calendar.line("BEGIN:VCALENDAR");
    calendar.line("VERSION:2.0");
    calendar.text("PRODID", MADE_BY);
    calendar.line("CALSCALE:GREGORIAN");
    calendar.text("NAME", &name);
    calendar.text("X-WR-CALNAME", &name);
    let status = match header.status {
        QuoteStatus::Accepted => "CONFIRMED",
        QuoteStatus::Declined | QuoteStatus::Withdrawn => "CANCELLED",
        QuoteStatus::Draft | QuoteStatus::Sent | QuoteStatus::Expired => "TENTATIVE",
    };
    let mut known = BTreeSet::new();
    for (number, phase) in kept.plan.phases.iter().enumerate() {
        let rooms = phase
            .coating_order
            .iter()
            .filter_map(|room| kept.names.get(room));
        let rooms = rooms.map(String::as_str).collect::<Vec<_>>().join(", ");
        let exit = kept.names.get(&phase.exit).map_or("", String::as_str);
        let description = match phase.needs.coats.is_empty() {
            true => format!("Phase {}.", number + 1),
            false => format!(
                "Phase {}. Coat in this order: {rooms}; out by {exit}.",
                number + 1
            ),
        };
        for days in merged(agenda(&kept.plan, number)) {
            let uid = uid(kept, number, &days);
            let says = Says {
                summary: &format!("{}: {rooms}", days.event.what),
                description: Some(&description),
                status,
            };
            calendar.event(kept, &uid, &days, says);
            known.insert(uid);
        }
    }
    // What a newer plan doesn't have any more is taken out of calendars that have it.
    for plan in kept.earlier.iter().rev() {
        for number in 0..plan.phases.len() {
            for days in merged(agenda(plan, number)) {
                let uid = uid(kept, number, &days);
                if known.contains(&uid) {
                    continue;
                }
                let says = Says {
                    summary: &format!("{} (no longer planned)", days.event.what),
                    description: None,
                    status: "CANCELLED",
                };
                calendar.event(kept, &uid, &days, says);
                known.insert(uid);
            }
        }
    }
    calendar.line("END:VCALENDAR");
    calendar.0
}

fn uid(kept: &KeptPlan, phase: usize, days: &Span) -> String {
    let quote = &kept.quote.header;
    format!(
        "{}-{}-phase-{}-{}-{}@gritledger",
        quote.number,
        quote.id.0,
        phase + 1,
        days.event.kind,
        days.number
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_escaped_and_a_long_line_folded_between_characters() {
        let mut calendar = Calendar::default();
        calendar.text("SUMMARY", "Anna's; \\ 3, or\nnone");
        calendar.text("NAME", &"ä".repeat(40));
        let (first, rest) = ("ä".repeat(35), "ä".repeat(5));
        assert_eq!(
            calendar.0,
            format!("SUMMARY:Anna's\\; \\\\ 3\\, or\\nnone\r\nNAME:{first}\r\n {rest}\r\n")
        );
    }

    #[test]
    fn a_line_is_as_long_as_it_may_be_before_it_goes_on() {
        let mut calendar = Calendar::default();
        calendar.line(&"x".repeat(LONGEST_LINE));
        calendar.line(&"x".repeat(2 * LONGEST_LINE));
        let lengths: Vec<usize> = calendar.0.lines().map(str::len).collect();
        assert_eq!(lengths, [75, 75, 75, 2]);
    }
}
