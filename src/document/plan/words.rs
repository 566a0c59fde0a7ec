//! What a plan's remarks say, and what is promised twice.

use chrono::NaiveDate;
use serde::{Serialize, Serializer};

use super::short;
use crate::document::{Page, count};
use crate::money::Money;
use crate::trade::plan::Remark;
use crate::trade::plan::promised::{Promised, Twice};

/// Why a plan is as it is, a sentence each: one text for programs, points for people.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Why(pub(super) Vec<String>);

impl Why {
    pub(super) fn new(remarks: &[Remark], page: &Page) -> Why {
        let remarks = remarks.iter();
        Why(remarks.map(|remark| sentence(remark, page)).collect())
    }

    pub(super) fn points(&self, page: &Page) -> String {
        self.0.iter().map(|sentence| page.point(sentence)).collect()
    }
}

in_a_column! { Why }

impl Serialize for Why {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let text = Some(self.0.join(" ")).filter(|text| !text.is_empty());
        text.serialize(serializer)
    }
}

answer! {
    /// Something that several plans promise for the same days.
    pub(in crate::document) struct TwiceFacts from twice: Twice on page {
        what: String = match &twice.what {
            Promised::Crew => "crew".to_owned(),
            Promised::Machine(name) => name.clone(),
            Promised::Air => "air".to_owned(),
        },
        to: Vec<String>,
        days: Vec<NaiveDate>,
        #[serde(skip)]
        pub(in crate::document) words: String = twice_words(&twice),
        .. { what }
    }
}

/// Writes days or nights as people tell them: `2026-12-01 to 2026-12-03, 2026-12-07`.
pub(super) fn nights_words(nights: &[NaiveDate]) -> String {
    let mut spans: Vec<(NaiveDate, NaiveDate)> = Vec::new();
    for night in nights {
        match spans.last_mut() {
            Some((_, last)) if last.succ_opt() == Some(*night) => *last = *night,
            _ => spans.push((*night, *night)),
        }
    }
    let spans = spans.iter().map(|(first, last)| match first == last {
        true => first.to_string(),
        false => format!("{first} to {last}"),
    });
    spans.collect::<Vec<_>>().join(", ")
}

/// Says what is promised twice.
pub fn twice_words(twice: &Twice) -> String {
    let to: Vec<&str> = twice.to.iter().map(String::as_str).collect();
    let (to, days) = (to.join(" and "), nights_words(&twice.days));
    match &twice.what {
        Promised::Crew => format!("More hours than the crew has are promised to {to}: {days}."),
        Promised::Machine(name) => format!("{name} is promised to {to}: {days}."),
        Promised::Air => {
            let [dusty, wet] = [0, 1].map(|number| twice.to.get(number).map_or("", String::as_str));
            format!("While coats of {wet} are wet, {dusty} makes dust in the same house: {days}.")
        }
    }
}

/// Says a remark.
fn sentence(remark: &Remark, page: &Page) -> String {
    match remark {
        Remark::TooMany { rooms, most } => {
            format!(
                "{rooms} can't share a phase: {} can be emptied at once.",
                count(*most, "room")
            )
        }
        Remark::Torn { rooms } => format!("{rooms} are done together, and here they are not."),
        Remark::Apart { rooms } => format!("{rooms} can't share a phase: they must be done apart."),
        Remark::CoatTooLong { rooms, coat } => format!("{rooms} can't be coated in a day: {coat}."),
        Remark::Closes {
            rooms,
            keep,
            nights,
        } if nights.is_empty() => {
            format!("While {rooms} can't be walked on, {keep} can't be reached at night.")
        }
        Remark::Closes {
            rooms,
            keep,
            nights,
        } => format!(
            "While {rooms} can't be walked on, {keep} can't be reached: {} away ({}).",
            count(nights.len(), "night"),
            nights_words(nights)
        ),
        Remark::CantShare { rooms, keep } => {
            format!("{rooms} can't share a phase: {keep} must stay in use.")
        }
        Remark::TooLate {
            end,
            earliest: Some(finish),
        } => format!("It can't be done by {end}; it can by {finish} (--end {finish})."),
        Remark::SharesNone { rooms, keep } => format!(
            "{rooms} share no phase: while both were closed, {keep} couldn't be reached at night."
        ),
        Remark::TooLate { end, .. } => format!("It can't be done by {end}."),
        Remark::OwnFurniture { room } => {
            format!("While {room} itself is done, its own furniture needs another place.")
        }
        Remark::NightsAfterAll {
            nights,
            fewest: true,
        } => format!(
            "No plan without a night away is left: {} at least.",
            count(*nights, "night")
        ),
        Remark::NightsAfterAll { nights, .. } => format!(
            "No plan without a night away was found, and not every one could be tried: this one has {}.",
            count(*nights, "night")
        ),
        Remark::ReliesOnAway {
            rooms,
            keep,
            nights,
        } => format!(
            "While {rooms} can't be walked on, {keep} can't be reached: the plan relies on the household being away ({}).",
            nights_words(nights)
        ),
        Remark::BegunLater {
            rooms,
            planned,
            start,
        } => format!(
            "{rooms} can't have begun on {planned} with the days that were lost: {start} is the first day on which it could."
        ),
        Remark::Hardens { rooms, days } => format!(
            "Nobody works on {rooms} on {}: filler or glue has to harden before it is sanded.",
            nights_words(days)
        ),
        Remark::WetBeside {
            job,
            rooms,
            from,
            until,
        } => format!(
            "{rooms} of {job} can't be walked on from {from} until {}: nobody works in this house then, and they count as closed at night.",
            until.format("%Y-%m-%d %H:%M")
        ),
        Remark::DustBeside { job, days } => format!(
            "{job} makes dust in this house ({}): no coat is wet then.",
            nights_words(days)
        ),
        Remark::Undated { job } => format!(
            "{job} is in this house too and was not made from a plan, so nobody knows when it is wet."
        ),
        Remark::StartsLater {
            start,
            first,
            nights,
            ..
        } if *nights > 0 => format!(
            "Work begins on {}: from {first} on the same phases take {} away more.",
            start.format("%a %Y-%m-%d"),
            count(*nights, "night")
        ),
        Remark::StartsLater {
            start, first, more, ..
        } => {
            let begins = format!("Work begins on {}", start.format("%a %Y-%m-%d"));
            match more {
                Some(Money::ZERO) => format!("{begins}: from {first} on it costs as much."),
                Some(more) => {
                    format!(
                        "{begins}: from {first} on the same phases cost {} more.",
                        page.amount(*more)
                    )
                }
                None => format!("{begins}: the same phases can't begin on {first}."),
            }
        }
        Remark::Kept {
            machines,
            between,
            saves,
        } => format!(
            "{machines}: kept from {} to {}. A second rental would cost {} more.",
            short(between.0),
            short(between.1),
            page.amount(*saves)
        ),
        Remark::Returned {
            machines,
            between,
            saves,
        } => format!(
            "{machines}: returned after {} and out again on {}. Keeping would cost {} more.",
            short(between.0),
            short(between.1),
            page.amount(*saves)
        ),
        Remark::WouldMend { nights } => format!(
            "It would be feasible with {} away: {} (--away FROM TO, or --night-away with what one costs).",
            count(nights.len(), "night"),
            nights_words(nights)
        ),
        Remark::NothingMends { all_tried: true } => "No order of rooms is feasible.".to_owned(),
        Remark::NothingMends { all_tried: false } => {
            "No order of rooms was found that is feasible, and not all could be tried.".to_owned()
        }
    }
}
