//! How dates, moments, numbers, percentages and names of rooms are read, and what of them must be meant.

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};

use super::ui::Context;
pub(super) use crate::ledger::read_percent;
use crate::ledger::{Chosen, Job, Ledger, Refusal, Room, refuse};
use crate::money::{Decimal, number};
use crate::trade::{SiteId, bounds};

/// Reads a date: `2026-03-02`, `yesterday` or `today`; today if none is given.
pub(super) fn read_date(text: Option<&str>, today: NaiveDate) -> Result<NaiveDate> {
    let text = match text.map(str::trim) {
        None | Some("today") => return Ok(today),
        Some("yesterday") => return Ok(today.pred_opt().unwrap_or(today)),
        Some(text) => text,
    };
    let Ok(date) = NaiveDate::parse_from_str(text, "%Y-%m-%d") else {
        return Err(Refusal::new(format!("`{text}` is not a date"))
            .hint("dates are written 2026-03-02, today or yesterday")
            .into());
    };
    bounds::check_day(date, today)?;
    Ok(date)
}

/// Reads a sequence or schedule: its name, or `none`.
pub(super) fn read_method(text: Option<&str>) -> Chosen {
    match text {
        None => Chosen::LeftOut,
        Some("none") => Chosen::None,
        Some(name) => Chosen::Named(name.to_owned()),
    }
}

/// Has a day confirmed that is long past, or before its job began.
pub(super) fn confirm_day(context: &Context, on: NaiveDate, job: Option<&Job>) -> Result<()> {
    if bounds::is_long_ago(on, context.today()) {
        let ago = (context.today() - on).num_days();
        context.confirm(&format!("{on} is {ago} days ago"))?;
    }
    let begun = job.and_then(|job| Some((job, job.started_on?)));
    if let Some((job, begun)) = begun.filter(|(_, begun)| on < *begun) {
        context.confirm(&format!("{on} is before {} began, on {begun}", job.number))?;
    }
    Ok(())
}

/// Reads a date on which something is planned: not before today.
pub(super) fn read_plan_date(text: &str, today: NaiveDate) -> Result<NaiveDate> {
    let date = match text.trim() {
        "tomorrow" => today.succ_opt().unwrap_or(today),
        text => read_date(Some(text), today)?,
    };
    if date < today {
        return Err(Refusal::new(format!("{date} is past: nothing can be planned for it")).into());
    }
    Ok(date)
}

/// Reads a moment: `2026-03-02 08:00`, `yesterday 08:00`, or `08:00` today.
pub(super) fn read_moment(text: &str, today: NaiveDate) -> Result<NaiveDateTime> {
    let text = text.trim();
    let (date, time) = match text.rsplit_once([' ', 'T']) {
        Some((date, time)) => (Some(date), time),
        None => (None, text),
    };
    let Ok(time) = NaiveTime::parse_from_str(time, "%H:%M") else {
        return Err(Refusal::new(format!("`{text}` is not a time"))
            .hint("times are written 08:00, or with a date 2026-03-02 08:00")
            .into());
    };
    Ok(read_date(date, today)?.and_time(time))
}

/// Reads a plain number; `what` names it in the refusal.
pub(super) fn read_number(text: &str, what: &str) -> Result<Decimal> {
    match number(text) {
        Some(value) => Ok(value),
        None => Err(Refusal::new(format!("`{text}` is not {what}")).into()),
    }
}

/// Reads a margin; one that is next to nothing must be meant.
pub(super) fn read_margin(context: &Context, text: &str) -> Result<Decimal> {
    let margin = read_percent(text, "a margin")?;
    if margin < Decimal::ZERO {
        refuse!("a margin is not below zero");
    }
    if bounds::is_thin(margin) {
        let percent = (margin * Decimal::ONE_HUNDRED).normalize();
        context.confirm(&format!("a margin of {percent} % keeps next to nothing"))?;
    }
    Ok(margin)
}

/// Resolves the rooms that an entry names, at the job's site.
pub(super) fn rooms_named(ledger: &Ledger, names: &[String], site: SiteId) -> Result<Vec<Room>> {
    let mut rooms: Vec<Room> = Vec::new();
    for name in names {
        let room = ledger.room(name, Some(site))?;
        if !rooms.iter().any(|known| known.id == room.id) {
            rooms.push(room);
        }
    }
    Ok(rooms)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_and_moments_are_read_as_people_write_them() {
        let today = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        for (text, expected) in [
            ("08:00", Some("2026-03-02 08:00")),
            ("2026-03-01 07:45", Some("2026-03-01 07:45")),
            ("yesterday 15:00", Some("2026-03-01 15:00")),
            ("2026-03-01T07:45", Some("2026-03-01 07:45")),
            ("8am", None),
            ("2026-03-01", None),
            ("25:00", None),
            ("2026-02-30 08:00", None),
        ] {
            let read = read_moment(text, today)
                .ok()
                .map(|at| at.format("%Y-%m-%d %H:%M").to_string());
            assert_eq!(read.as_deref(), expected, "{text}");
        }
    }
}
