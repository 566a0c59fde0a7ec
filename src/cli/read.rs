//! How dates, moments, numbers, percentages and names of rooms are read, and what of them must be meant.

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use clap::Args;

use super::ui::Context;
use crate::ledger::{
    self, Chosen, Job, Ledger, MethodsRequest, PartSequence, Refusal, Room, refuse,
};
use crate::measure::Length;
use crate::money::{Decimal, Money, number, product, quantity};
use crate::notation::{FigureError, Notation};
use crate::trade::{SiteId, Unit, bounds};

/// Reads a date that has come, as [`Notation::past_day`] does; today if none is given. What wasn't written in full is told.
///
/// [`Notation::past_day`]: crate::notation::Notation::past_day
pub(super) fn read_date(
    context: &Context,
    ledger: &Ledger,
    text: Option<&str>,
) -> Result<NaiveDate> {
    let Some(text) = text else {
        return Ok(ledger.today());
    };
    let Some(date) = ledger.notation().past_day(text, ledger.today()) else {
        return Err(not_a_date(text));
    };
    bounds::check_day(date, ledger.today())?;
    tell_day(context, text, date);
    Ok(date)
}

/// Says which day was taken for what was typed, unless that was the day itself.
fn tell_day(context: &Context, text: &str, date: NaiveDate) {
    let said = text.trim().to_lowercase();
    if said != date.to_string() && !matches!(&*said, "today" | "yesterday" | "tomorrow") {
        context.status(&format!(
            "{} is {}.",
            text.trim(),
            date.format("%a %Y-%m-%d")
        ));
    }
}

fn not_a_date(text: &str) -> anyhow::Error {
    Refusal::new(format!("`{}` is not a date", text.trim()))
        .hint("dates are written 2026-03-02, today, yesterday, 3 days ago or mon")
        .into()
}

/// How floors are to be sanded and coated.
#[derive(Debug, Args)]
pub(super) struct MethodArgs {
    /// The sanding sequence, or `none` (default: the setting default-sequence)
    #[arg(long)]
    sequence: Option<String>,
    /// Begin parts of rooms in a condition with the first cuts of this sequence (can be repeated; default: what the book has
    /// for the condition)
    #[arg(long = "part-sequence", value_name = "CONDITION=SEQUENCE")]
    part_sequences: Vec<String>,
    /// The coating schedule, or `none` (default: the setting default-schedule)
    #[arg(long)]
    schedule: Option<String>,
}

impl MethodArgs {
    pub(super) fn read(&self) -> Result<MethodsRequest> {
        let parts = self.part_sequences.iter();
        Ok(MethodsRequest {
            sequence: read_method(self.sequence.as_deref()),
            schedule: read_method(self.schedule.as_deref()),
            parts: parts
                .map(|text| read_part_sequence(text))
                .collect::<Result<_>>()?,
        })
    }
}

/// Reads what parts in a condition begin with: `paint=rotary-24-36-50-80`.
fn read_part_sequence(text: &str) -> Result<PartSequence> {
    let Some((condition, sequence)) = text.split_once('=') else {
        return Err(
            Refusal::new(format!("`{text}` is not a condition and a sequence"))
                .hint("--part-sequence paint=rotary-24-36-50-80")
                .into(),
        );
    };
    Ok(PartSequence {
        condition: condition.trim().parse()?,
        sequence: sequence.trim().to_owned(),
    })
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
pub(super) fn read_plan_date(context: &Context, ledger: &Ledger, text: &str) -> Result<NaiveDate> {
    let today = ledger.today();
    let Some(date) = ledger.notation().coming_day(text, today) else {
        return Err(not_a_date(text));
    };
    bounds::check_day(date, today)?;
    if date < today {
        refuse!("{date} is past: nothing can be planned for it");
    }
    tell_day(context, text, date);
    Ok(date)
}

/// Reads a moment: `2026-03-02 08:00`, `yesterday 08:00`, or `08:00` today; now if none is given.
pub(super) fn read_moment(
    context: &Context,
    ledger: &Ledger,
    text: Option<&str>,
) -> Result<NaiveDateTime> {
    let Some(text) = text.map(str::trim) else {
        return Ok(context.now());
    };
    let (date, time) = match text.rsplit_once([' ', 'T']) {
        Some((date, time)) => (Some(date), time),
        None => (None, text),
    };
    let Ok(time) = NaiveTime::parse_from_str(time, "%H:%M") else {
        return Err(Refusal::new(format!("`{text}` is not a time"))
            .hint("times are written 08:00, or with a date 2026-03-02 08:00")
            .into());
    };
    Ok(read_date(context, ledger, date)?.and_time(time))
}

/// Reads a figure; `what` names it in the refusal.
pub(super) fn read_number(ledger: &Ledger, text: &str, what: &str) -> Result<Decimal> {
    match ledger.notation().number(text) {
        Ok(value) => Ok(value),
        Err(FigureError::NotANumber(_)) => {
            Err(Refusal::new(format!("`{text}` is not {what}")).into())
        }
        Err(error) => Err(error.into()),
    }
}

/// Reads how far it is, in what the ledger counts driving in: `14`, `14 mi`.
pub(super) fn read_distance(ledger: &Ledger, text: &str) -> Result<Decimal> {
    let road = ledger.road();
    let bare = text.trim();
    let bare = bare.strip_suffix(road.as_str()).unwrap_or(bare);
    let what = format!("a number of {}", road.in_words());
    match read_number(ledger, bare.trim_end(), &what) {
        Ok(distance) => Ok(distance),
        Err(_) => refuse!("`{text}` is not {what}"),
    }
}

/// Reads an amount of the ledger's currency: `1234.50`, `1,234.50`, `$5`, `5 EUR`.
pub(super) fn read_money(ledger: &Ledger, text: &str) -> Result<Money> {
    let currency = ledger.currency();
    let bare = text.trim();
    let signs = [currency.sign(), currency.code().to_owned()];
    let without = |sign: &String| {
        bare.strip_prefix(&**sign)
            .or_else(|| bare.strip_suffix(&**sign))
    };
    let bare = signs.iter().find_map(without).unwrap_or(bare).trim();
    match ledger.notation().number(bare) {
        Ok(value) => Ok(currency.amount_of(value, text)?),
        Err(FigureError::NotANumber(_)) => Ok(currency.parse(text)?),
        Err(error) => Err(error.into()),
    }
}

/// Reads a percentage, as `ledger::read_percent` does, with the decimal mark that is usual here.
pub(super) fn read_percent(ledger: &Ledger, text: &str, what: &str) -> Result<Decimal> {
    ledger::read_percent(&ledger.notation().plain(text), what)
}

/// Reads a length in the ledger's units, with the decimal mark that is usual here.
pub(super) fn read_length(ledger: &Ledger, text: &str) -> Result<Length> {
    Ok(Length::parse(
        &ledger.notation().plain(text),
        ledger.units(),
    )?)
}

/// Reads hours: `1.5`, `1:30`, `1h30`, `90m`, `1 1/2`.
pub(super) fn read_hours(notation: Notation, text: &str) -> Result<Decimal> {
    let wrong = || {
        Refusal::new(format!("`{text}` is not a number of hours"))
            .hint("hours are written 1.5, 1:30, 1h30, 90m or 1 1/2")
    };
    let lower = text.trim().to_lowercase();
    let minutes = |text: &str| {
        let text = text
            .strip_suffix("min")
            .or(text.strip_suffix('m'))
            .unwrap_or(text)
            .trim();
        let whole = text.bytes().all(|byte| byte.is_ascii_digit()) && !text.is_empty();
        number(text).filter(|_| whole)
    };
    let parted = lower.split_once(':').or_else(|| lower.split_once('h'));
    let hours = match parted {
        Some((hours, "" | "ours" | "our" | "rs" | "r")) => {
            read_mixed(notation, hours).map_err(|_| wrong())?
        }
        Some((hours, rest)) => {
            let hours = number(hours.trim()).filter(Decimal::is_integer);
            let minutes = minutes(rest).filter(|minutes| *minutes < Decimal::from(60));
            let (hours, minutes) = hours.zip(minutes).ok_or_else(wrong)?;
            hours + minutes / Decimal::from(60)
        }
        None if lower.ends_with(['m', 'n']) => {
            minutes(&lower).ok_or_else(wrong)? / Decimal::from(60)
        }
        None => match read_mixed(notation, text) {
            Ok(hours) => hours,
            Err(error) => return Err(figure_or(error, wrong())),
        },
    };
    Ok(quantity(hours))
}

/// Reads how much of an item: a figure in its unit, or with a unit of the same kind: `6`, `1qt`, `1/2 gal`, `500 ml`.
pub(super) fn read_quantity(notation: Notation, text: &str, unit: Unit) -> Result<Decimal> {
    let text = text.trim();
    let at = text.find(char::is_alphabetic).unwrap_or(text.len());
    let (figure, word) = text.split_at(at);
    let wrong = || Refusal::new(format!("`{text}` is not a quantity"));
    let figure = match read_mixed(notation, figure) {
        Ok(figure) => figure,
        Err(error) => return Err(figure_or(error, wrong())),
    };
    let word = word.trim().to_lowercase();
    if word.is_empty() || word.trim_end_matches('s') == unit.as_str() {
        return Ok(figure);
    }
    match (measure_of(&word), measure_of(unit.as_str())) {
        (Some((kind, size)), Some((of_item, own))) if kind == of_item => {
            Ok(quantity(product([figure, size]) / own))
        }
        (Some(_), _) => Err(Refusal::new(format!(
            "`{text}` is no quantity of what is counted in `{unit}`"
        ))
        .into()),
        (None, _) => Err(wrong().into()),
    }
}

/// What a unit measures, and how much of that it is: litres, metres, square metres.
fn measure_of(word: &str) -> Option<(&'static str, Decimal)> {
    // The gallon is 231 cubic inches of 25.4 mm, the foot 0.3048 m (NIST Handbook 44, appendix C).
    const GALLON: Decimal = Decimal::from_parts(3_785_411_784, 0, 0, false, 9);
    let of_gallon = |parts: u32| ("volume", GALLON / Decimal::from(parts));
    let thousandths = |thousandths: i64| Decimal::new(thousandths, 3);
    Some(match word {
        "gal" | "gallon" | "gallons" => of_gallon(1),
        "qt" | "quart" | "quarts" => of_gallon(4),
        "pt" | "pint" | "pints" => of_gallon(8),
        "fl oz" | "floz" | "oz" => of_gallon(128),
        "l" | "litre" | "litres" | "liter" | "liters" => ("volume", Decimal::ONE),
        "ml" => ("volume", thousandths(1)),
        "ft" | "feet" | "foot" => ("length", Decimal::new(3048, 4)),
        "in" | "inch" | "inches" => ("length", Decimal::new(254, 4)),
        "m" | "metre" | "metres" => ("length", Decimal::ONE),
        "cm" => ("length", Decimal::new(1, 2)),
        "sqft" | "sq ft" => ("area", Decimal::new(9_290_304, 8)),
        "m2" | "sqm" => ("area", Decimal::ONE),
        _ => return None,
    })
}

/// Reads a figure that may have a fraction: `3`, `1/2`, `1 1/2`, `1½`.
fn read_mixed(notation: Notation, text: &str) -> Result<Decimal, FigureError> {
    let text = text.trim();
    let wrong = || FigureError::NotANumber(text.to_owned());
    let spelled = text
        .replace('½', " 1/2")
        .replace('¼', " 1/4")
        .replace('¾', " 3/4");
    let spelled = spelled.trim();
    let Some((before, below)) = spelled.split_once('/') else {
        return notation.number(spelled);
    };
    let (whole, above) = before.rsplit_once(' ').unwrap_or(("0", before));
    let part = |text: &str| number(text).filter(|part| part.is_integer() && *part >= Decimal::ZERO);
    let (whole, above, below) = (part(whole.trim()), part(above), part(below));
    let below = below.filter(|below| !below.is_zero());
    let (Some(whole), Some(above), Some(below)) = (whole, above, below) else {
        return Err(wrong());
    };
    Ok(whole + above / below)
}

/// Returns why a figure can't be read: that it could be two, or else what it isn't.
fn figure_or(error: FigureError, wrong: Refusal) -> anyhow::Error {
    match error {
        FigureError::NotANumber(_) => wrong.into(),
        FigureError::Ambiguous { .. } => error.into(),
    }
}

/// Reads a margin; one that is next to nothing must be meant.
pub(super) fn read_margin(context: &Context, ledger: &Ledger, text: &str) -> Result<Decimal> {
    let margin = read_percent(ledger, text, "a margin")?;
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
    for name in names_in(names)? {
        let room = ledger.room(&name, Some(site))?;
        if !rooms.iter().any(|known| known.id == room.id) {
            rooms.push(room);
        }
    }
    Ok(rooms)
}

/// Reads the rooms that a list names: `Kitchen, Dining room`.
pub(super) fn read_list(text: &str) -> Result<Vec<String>> {
    let names: Vec<String> = text.split(',').map(|name| name.trim().to_owned()).collect();
    if names.iter().any(String::is_empty) {
        refuse!("`{text}` names no room, or one too few");
    }
    Ok(names)
}

/// Returns every name of lists that were typed.
pub(super) fn names_in(lists: &[String]) -> Result<Vec<String>> {
    let names = lists.iter().map(|list| read_list(list));
    Ok(names.collect::<Result<Vec<_>>>()?.concat())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_read_as_people_write_them() {
        for (text, expected) in [
            ("1.5", Some("1.5")),
            ("1:30", Some("1.5")),
            ("0:45", Some("0.75")),
            ("1h30", Some("1.5")),
            ("1h30m", Some("1.5")),
            ("1 h", Some("1")),
            ("1.5h", Some("1.5")),
            ("2 hours", Some("2")),
            ("90m", Some("1.5")),
            ("90 min", Some("1.5")),
            ("20m", Some("0.333333")),
            ("1 1/2", Some("1.5")),
            ("3/4", Some("0.75")),
            ("1½", Some("1.5")),
            ("0", Some("0")),
            ("1:60", None),
            ("1:3.5", None),
            ("1.5:30", None),
            (":30", None),
            ("1h-5", None),
            ("m", None),
            ("h", None),
            ("1/0", None),
            ("soon", None),
            ("", None),
            ("1,5", None),
        ] {
            let read = read_hours(Notation::default(), text).ok();
            let read = read.map(|hours| hours.normalize().to_string());
            assert_eq!(read.as_deref(), expected, "{text:?}");
        }
    }

    /// A quart is a quarter of a gallon, a pint an eighth, a fluid ounce a 128th; a gallon is 3.785411784 l (NIST Handbook
    /// 44, appendix C), so half a litre is 0.132086 gal.
    #[test]
    fn quantities_may_have_a_unit_of_their_own() {
        let read = |text: &str, unit| {
            let read = read_quantity(Notation::default(), text, unit).ok();
            read.map(|quantity| quantity.normalize().to_string())
        };
        for (text, unit, expected) in [
            ("6", Unit::Disc, Some("6")),
            ("6 discs", Unit::Disc, Some("6")),
            ("1", Unit::Gallon, Some("1")),
            ("1qt", Unit::Gallon, Some("0.25")),
            ("2 Quarts", Unit::Gallon, Some("0.5")),
            ("1/2 gal", Unit::Gallon, Some("0.5")),
            ("1 1/2 gal", Unit::Gallon, Some("1.5")),
            ("500 ml", Unit::Gallon, Some("0.132086")),
            ("16 fl oz", Unit::Gallon, Some("0.125")),
            ("1 gal", Unit::Litre, Some("3.785412")),
            ("750ml", Unit::Litre, Some("0.75")),
            ("18 in", Unit::Foot, Some("1.5")),
            ("-3", Unit::Disc, Some("-3")),
            ("1qt", Unit::Disc, None),
            ("2 ft", Unit::Gallon, None),
            ("6 boxes", Unit::Disc, None),
            ("qt", Unit::Gallon, None),
            ("", Unit::Disc, None),
        ] {
            assert_eq!(read(text, unit).as_deref(), expected, "{text:?} in {unit}");
        }
    }
}
