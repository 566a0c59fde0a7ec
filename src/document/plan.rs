//! The plan of a house: phases, dates, rentals, what it costs beside other ways, and why it is as it is.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chrono::{Datelike, Days, NaiveDate, NaiveDateTime};
use serde_json::{Value, json};

use super::cover::{cover_words, plan_json, units_words};
use super::outlook::{buy_text, shopping_json};
use super::{Page, count, inert};
use crate::ledger::{HouseSheet, KeptPlan, PricedWay};
use crate::money::{Money, plain};
use crate::trade::RoomId;
use crate::trade::plan::promised::{Promised, Twice};
use crate::trade::plan::{Doing, HousePlan, Phase, Remark, Rental};
use crate::trade::quote::{Quote, margin_percent};
use crate::trade::rental::MORNING;

/// Columns that the strip's labels take.
const LABEL: usize = 9;

/// A plan that was made again.
#[derive(Clone, Debug)]
pub struct Moved {
    /// What it was before.
    pub before: HousePlan,
    /// Why it is as it is now.
    pub why: Vec<Remark>,
}

/// Something that happens on a day of a phase.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Event {
    /// The day.
    pub(super) date: NaiveDate,
    /// What kind of thing.
    pub(super) kind: &'static str,
    /// In words.
    pub(super) what: String,
}

type Names = BTreeMap<RoomId, String>;

/// Returns what happens in a phase, day by day.
pub(super) fn events(phase: &Phase) -> Vec<Event> {
    let mut events: Vec<Event> = Vec::new();
    for stretch in &phase.work {
        let (kind, what) = match stretch.doing {
            Doing::Sand => ("sand", "repair and sand".to_owned()),
            Doing::Coat(number) => {
                let of = phase.needs.coats.len();
                let coat = phase.needs.coats.get(number);
                let name = coat.map_or("", |coat| coat.name.as_str());
                ("coat", format!("coat {} of {of} ({name})", number + 1))
            }
            Doing::Trim => ("trim", "trim".to_owned()),
        };
        events.push(Event {
            date: stretch.day,
            kind,
            what,
        });
    }
    events.push(Event {
        date: phase.light_use.date(),
        kind: "light-use",
        what: format!("walked on from {}", phase.light_use.format("%H:%M")),
    });
    events.push(Event {
        date: phase.furniture,
        kind: "furniture",
        what: "furniture may go back".to_owned(),
    });
    if let Some(cure) = phase.cure {
        events.push(Event {
            date: cure,
            kind: "cure",
            what: "full cure".to_owned(),
        });
    }
    events.sort_by_key(|event| event.date);
    events
}

/// Returns what happens in a phase with its machines fetched and taken back, and its nights away, day by day.
pub(super) fn agenda(plan: &HousePlan, number: usize) -> Vec<Event> {
    let Some(phase) = plan.phases.get(number) else {
        return Vec::new();
    };
    let mut events = events(phase);
    let (mut fetched, mut taken_back) = (BTreeMap::new(), BTreeMap::new());
    for rental in plan.rentals.iter().filter(|rental| rental.phase == number) {
        let back = rental.last_day + Days::new(1);
        for (machines, day) in [(&mut fetched, rental.out), (&mut taken_back, back)] {
            let machines: &mut Vec<&str> = machines.entry(day).or_default();
            machines.push(&rental.name);
        }
    }
    events.extend(fetched.into_iter().map(|(date, machines)| Event {
        date,
        kind: "fetch",
        what: format!("fetch {} by {MORNING:02}:00", machines.join(", ")),
    }));
    events.extend(taken_back.into_iter().map(|(date, machines)| Event {
        date,
        kind: "take-back",
        what: format!(
            "take {} back by {MORNING:02}:00, or the evening before",
            machines.join(", ")
        ),
    }));
    let nights = [
        (&phase.nights_away, "night-away", "night away"),
        (
            &phase.nights_relied_on,
            "away-anyway",
            "night away, as told",
        ),
    ];
    for (nights, kind, what) in nights {
        events.extend(nights.iter().map(|night| Event {
            date: *night,
            kind,
            what: what.to_owned(),
        }));
    }
    // Machines are fetched before the work, and taken back before what else is done on that day.
    let order = |event: &Event| match event.kind {
        "fetch" | "take-back" => 0,
        "night-away" | "away-anyway" => 2,
        _ => 1,
    };
    events.sort_by_key(|event| (event.date, order(event)));
    events
}

fn named(rooms: &[RoomId], names: &Names) -> Vec<String> {
    rooms
        .iter()
        .map(|room| names.get(room).cloned().unwrap_or_default())
        .collect()
}

fn from(phase: &Phase) -> Option<NaiveDate> {
    phase.work.first().map(|stretch| stretch.day)
}

fn moment(at: NaiveDateTime) -> String {
    at.format("%Y-%m-%dT%H:%M").to_string()
}

fn short(day: NaiveDate) -> String {
    day.format("%a %m-%d").to_string()
}

fn rental_json(rental: &Rental, page: &Page) -> Value {
    let mut value = plan_json(&rental.plan, page);
    value["machine"] = json!(rental.name);
    value["out"] = json!(rental.out);
    value["back"] = json!(rental.last_day + Days::new(1));
    value
}

fn phase_json(
    number: usize,
    phase: &Phase,
    cost: Option<Money>,
    plan: &HousePlan,
    names: &Names,
    page: &Page,
) -> Value {
    let rentals = plan.rentals.iter().filter(|rental| rental.phase == number);
    json!({
        "rooms": named(&phase.rooms, names),
        "coating_order": named(&phase.coating_order, names),
        "exit": names.get(&phase.exit),
        "from": from(phase),
        "light_use": moment(phase.light_use),
        "furniture_back": phase.furniture,
        "full_cure": phase.cure,
        "days_closed": phase.days_closed,
        "nights_away": phase.nights_away,
        "nights_relied_on": phase.nights_relied_on,
        "days": events(phase).iter().map(|event| json!({ "date": event.date, "work": event.what })).collect::<Vec<_>>(),
        "rental": rentals.map(|rental| rental_json(rental, page)).collect::<Vec<_>>(),
        "cost": cost.map(|cost| page.money_json(cost)),
    })
}

fn why_json(why: &[Remark], page: &Page) -> Value {
    if why.is_empty() {
        return Value::Null;
    }
    let sentences = why.iter().map(|remark| sentence(remark, page));
    json!(sentences.collect::<Vec<_>>().join(" "))
}

fn way_json(name: &str, way: &PricedWay, page: &Page) -> Value {
    json!({
        "name": name,
        "feasible": way.way.plan.is_some(),
        "why": why_json(&way.way.why, page),
        "cost": way.cost.map(|cost| page.money_json(cost)),
        "finish": way.way.plan.as_ref().map(|plan| plan.finish),
    })
}

/// Renders a planned house as JSON.
pub fn json(sheet: &HouseSheet, quote: Option<&str>, page: &Page) -> Value {
    let plan = sheet.chosen.way.plan.as_ref();
    let phases = plan.into_iter().flat_map(|plan| {
        let costs = sheet
            .phase_costs
            .iter()
            .copied()
            .map(Some)
            .chain(std::iter::repeat(None));
        let phases = plan.phases.iter().zip(costs).zip(&sheet.takes).enumerate();
        phases.map(move |(number, ((phase, cost), takes))| {
            let mut value = phase_json(number, phase, cost, plan, &sheet.names, page);
            value["takes"] = takes
                .iter()
                .map(|(item, quantity, unit)| {
                    json!({ "item": item, "quantity": plain(*quantity, 4), "unit": unit.as_str() })
                })
                .collect();
            value
        })
    });
    let priced = sheet.priced.as_ref().map(|priced| &priced.quote);
    let losses = plan.map(|plan| plan.costs.days_closed + plan.costs.nights_away);
    json!({
        "site": sheet.site,
        "start": sheet.request.start,
        "currency": page.currency.code(),
        "feasible": plan.is_some(),
        "why": why_json(&sheet.chosen.way.why, page),
        "cost": sheet.chosen.cost.map(|cost| page.money_json(cost)),
        "finish": plan.map(|plan| plan.finish),
        "phases": phases.collect::<Vec<_>>(),
        "alternatives": sheet.others.iter().map(|(name, way)| way_json(name, way, page)).collect::<Vec<_>>(),
        "bound": sheet.bound.map(|bound| page.money_json(bound)),
        "proven": sheet.proven,
        "expected_cost": priced.map(|quote| page.money_json(quote.expected_cost())),
        "household_loses": losses.map(|losses| page.money_json(losses)),
        "price": priced.map(|quote| page.money_json(quote.price)),
        "tax": priced.map(|quote| page.money_json(quote.tax)),
        "promised_twice": twice_json(&sheet.promised_twice),
        "buy": shopping_json(&sheet.shopping, page),
        "left_out": sheet.in_jobs.iter().map(|(room, job)| json!({ "room": room, "job": job })).collect::<Vec<_>>(),
        "quote": quote,
    })
}

/// Renders a planned house as text.
pub fn text(sheet: &HouseSheet, page: &Page) -> String {
    let mut text = String::new();
    match &sheet.chosen.way.plan {
        None => {
            let title = format!(
                "{}: {} as it was asked for.",
                sheet.site,
                match sheet.proven {
                    true => "no plan is feasible",
                    false => "no plan was found, and none is proven impossible,",
                }
            );
            let _ = writeln!(text, "{}", page.prose(&inert(&title)));
        }
        Some(plan) => {
            let _ = writeln!(text, "{}", page.prose(&title(&sheet.site, plan)));
            let _ = writeln!(
                text,
                "\n{}",
                phases_table(plan, &sheet.phase_costs, &sheet.names, page)
            );
            let _ = writeln!(text, "\n{}", strip(plan, page));
            let _ = writeln!(text, "\n{}", rentals_text(plan, page));
            let _ = writeln!(text, "\n{}", takes_text(sheet, page));
            if let Some(priced) = &sheet.priced {
                let _ = writeln!(text, "\n{}", costs_text(plan, &priced.quote, page));
            }
        }
    }
    let _ = writeln!(text, "\n{}", ways_text(sheet, page));
    let _ = write!(text, "{}", remarks_text(sheet, page));
    text
}

fn title(site: &str, plan: &HousePlan) -> String {
    let begins = plan.phases.first().and_then(from);
    format!(
        "{}: {}, from {} to {}",
        inert(site),
        count(plan.phases.len(), "phase"),
        begins
            .map(|day| day.format("%a %Y-%m-%d").to_string())
            .unwrap_or_default(),
        plan.finish.format("%a %Y-%m-%d"),
    )
}

/// Writes dates of one kind: `Tue 12-01, Wed 12-02`.
fn dates(phase: &Phase, wanted: fn(Doing) -> bool) -> String {
    let stretches = phase.work.iter().filter(|stretch| wanted(stretch.doing));
    let mut days: Vec<NaiveDate> = stretches.map(|stretch| stretch.day).collect();
    days.dedup();
    match days[..] {
        [] => "-".to_owned(),
        [first, .., last] if days.len() > 2 => format!("{} to {}", short(first), short(last)),
        _ => days
            .iter()
            .map(|day| short(*day))
            .collect::<Vec<_>>()
            .join(", "),
    }
}

fn phases_table(plan: &HousePlan, costs: &[Money], names: &Names, page: &Page) -> String {
    let coated = plan
        .phases
        .iter()
        .any(|phase| !phase.needs.coats.is_empty());
    let mut table = page
        .table([
            "",
            if coated { "Coat in order" } else { "Rooms" },
            "Sand",
            "Coats",
            "Walk on",
            "Furniture",
            "Cost",
        ])
        .numbers([0, 6]);
    let mut after = String::new();
    for (number, phase) in plan.phases.iter().enumerate() {
        table.row([
            format!("{}", number + 1),
            named(&phase.coating_order, names).join(", "),
            dates(phase, |doing| doing == Doing::Sand),
            dates(phase, |doing| matches!(doing, Doing::Coat(_))),
            format!(
                "{} {}",
                short(phase.light_use.date()),
                phase.light_use.format("%H:%M")
            ),
            short(phase.furniture),
            costs
                .get(number)
                .map(|cost| page.money(*cost))
                .unwrap_or_default(),
        ]);
        let exit = names.get(&phase.exit).map_or("", String::as_str);
        let cure = phase
            .cure
            .map(|cure| format!(", cured by {cure}"))
            .unwrap_or_default();
        let line = match phase.needs.coats.is_empty() {
            true => format!("Phase {}: no coat.", number + 1),
            false => format!(
                "Phase {}: coat towards the way out by {exit}{cure}.",
                number + 1
            ),
        };
        let _ = write!(after, "\n{}", page.prose(&inert(&line)));
    }
    format!("{table}\n{after}")
}

/// Draws the calendar: a row for each phase, a column for each day, week by week as far as the page is wide.
fn strip(plan: &HousePlan, page: &Page) -> String {
    let Some(first) = plan.phases.first().and_then(from) else {
        return String::new();
    };
    let monday = first - Days::new(u64::from(first.weekday().num_days_from_monday()));
    let last = plan.finish;
    let weeks = ((page.width.max(LABEL + 8) - LABEL) / 8).clamp(1, 8);
    let mut text = String::new();
    let mut week = monday;
    while week <= last {
        let mut heading = " ".repeat(LABEL);
        let mut days: Vec<Option<NaiveDate>> = Vec::new();
        for _ in 0..weeks {
            if week > last {
                break;
            }
            let _ = write!(heading, "{:<8}", week.format("%b %d").to_string());
            days.extend((0..7).map(|day| Some(week + Days::new(day))));
            days.push(None);
            week = week + Days::new(7);
        }
        let _ = writeln!(text, "{}", heading.trim_end());
        for (number, phase) in plan.phases.iter().enumerate() {
            let signs: String = days
                .iter()
                .map(|day| day.map_or(' ', |day| sign(phase, day)))
                .collect();
            let _ = writeln!(
                text,
                "{:<LABEL$}{}",
                format!("Phase {}", number + 1),
                signs.trim_end()
            );
        }
    }
    let key = "s sand, 1 2 3 coats, * several coats, ~ wet: keep off, o walk on, t trim, f furniture back; weeks begin on Monday";
    let _ = write!(text, "{}", page.prose(key));
    text
}

/// Returns what a phase shows on a day.
fn sign(phase: &Phase, day: NaiveDate) -> char {
    let here = phase
        .work
        .iter()
        .filter(|stretch| stretch.day == day)
        .map(|stretch| stretch.doing);
    let here: Vec<Doing> = here.collect();
    let coats = here
        .iter()
        .filter(|doing| matches!(doing, Doing::Coat(_)))
        .count();
    let coat = here.iter().rev().find_map(|doing| match doing {
        Doing::Coat(number) => char::from_digit(u32::try_from(number + 1).unwrap_or(9).min(9), 10),
        Doing::Sand | Doing::Trim => None,
    });
    let first_coat = phase
        .work
        .iter()
        .find(|stretch| matches!(stretch.doing, Doing::Coat(_)));
    let wet = first_coat.is_some_and(|coat| coat.day < day && day < phase.light_use.date());
    if coats > 1 {
        '*'
    } else if let Some(coat) = coat {
        coat
    } else if here.contains(&Doing::Sand) {
        's'
    } else if here.contains(&Doing::Trim) {
        't'
    } else if day == phase.furniture {
        'f'
    } else if day == phase.light_use.date() {
        'o'
    } else if wet {
        '~'
    } else {
        '.'
    }
}

fn rentals_text(plan: &HousePlan, page: &Page) -> String {
    if plan.rentals.is_empty() {
        return "No machine is rented.".to_owned();
    }
    let mut table = page
        .table(["Machine", "Out", "Back by", "Days", "Cover", "Total"])
        .numbers([3, 5]);
    for rental in &plan.rentals {
        table.row([
            rental.name.clone(),
            format!("{} 08:00", short(rental.out)),
            format!("{} 08:00", short(rental.last_day + Days::new(1))),
            format!("{}", rental.days()),
            cover_words(&rental.plan.cover, page),
            page.money(rental.plan.cover.total()),
        ]);
    }
    table.row([
        "Total".to_owned(),
        String::new(),
        String::new(),
        String::new(),
        String::new(),
        page.money(plan.costs.rental),
    ]);
    table.to_string()
}

fn takes_text(sheet: &HouseSheet, page: &Page) -> String {
    let mut text = String::new();
    for (number, takes) in sheet.takes.iter().enumerate() {
        let takes = takes.iter().map(|(item, quantity, unit)| {
            format!(
                "{item} {}",
                units_words(crate::money::round(*quantity, 2), *unit)
            )
        });
        let line = format!(
            "Phase {} takes {}",
            number + 1,
            takes.collect::<Vec<_>>().join("; ")
        );
        let _ = writeln!(text, "{}", page.prose(&inert(&line)));
    }
    let _ = write!(
        text,
        "\n{}",
        buy_text("the whole plan", &sheet.shopping, page)
    );
    text
}

fn costs_text(plan: &HousePlan, quote: &Quote, page: &Page) -> String {
    let costs = quote.costs();
    let mut table = page.table(["Cost", "Expected"]).numbers([1]);
    let rows = [
        ("Labour, set-up for each phase included", costs.labour),
        ("Consumables", costs.consumables),
        ("Rental", costs.rental),
        ("Other", costs.other),
        ("Overhead", costs.overhead),
        ("Rooms closed, for the household", plan.costs.days_closed),
        ("Nights away, for the household", plan.costs.nights_away),
    ];
    for (what, amount) in rows.into_iter().filter(|(_, amount)| !amount.is_zero()) {
        table.row([what.to_owned(), page.money(amount)]);
    }
    let total = costs.total() + plan.costs.days_closed + plan.costs.nights_away;
    table.row(["Total".to_owned(), page.money(total)]);
    let margin = margin_percent(quote.price, quote.expected_cost());
    let price = format!(
        "Price {} {} before tax, {} of tax: the margin of {} is kept with {} confidence, {} is expected.",
        page.money(quote.price),
        page.currency.code(),
        page.money(quote.tax),
        super::rate_text(quote.terms.margin * crate::money::Decimal::ONE_HUNDRED),
        super::rate_text(quote.terms.confidence * crate::money::Decimal::ONE_HUNDRED),
        super::percent_text(margin),
    );
    format!("{table}\n\n{}", page.prose(&price))
}

fn ways_text(sheet: &HouseSheet, page: &Page) -> String {
    let mut table = page
        .table(["Way", "Phases", "Cost", "Difference", "Done"])
        .numbers([1, 2, 3]);
    let chosen = match sheet.request.phases {
        Some(_) => "as named",
        None => "this plan",
    };
    let own = sheet.chosen.cost;
    let others = sheet.others.iter().map(|(name, way)| (*name, way));
    for (name, way) in std::iter::once((chosen, &sheet.chosen)).chain(others) {
        let plan = way.way.plan.as_ref();
        let difference = way.cost.zip(own).map(|(cost, own)| cost - own);
        table.row([
            name.to_owned(),
            plan.map_or_else(|| "-".to_owned(), |plan| plan.phases.len().to_string()),
            way.cost
                .map_or_else(|| "not feasible".to_owned(), |cost| page.money(cost)),
            difference
                .map(|difference| page.money(difference))
                .unwrap_or_default(),
            plan.map(|plan| plan.finish.to_string()).unwrap_or_default(),
        ]);
    }
    table.to_string()
}

fn remarks_text(sheet: &HouseSheet, page: &Page) -> String {
    let mut text = String::new();
    for remark in &sheet.chosen.way.why {
        text.push_str(&page.point(&sentence(remark, page)));
    }
    for (name, way) in &sheet.others {
        if way.way.plan.is_none() && sheet.chosen.way.why != way.way.why {
            for remark in &way.way.why {
                text.push_str(&page.point(&format!("{name}: {}", sentence(remark, page))));
            }
        }
    }
    if let (true, Some(bound)) = (
        sheet.chosen.way.plan.is_some() && !sheet.proven,
        sheet.bound,
    ) {
        text.push_str(&page.point(&format!(
            "Not every plan could be tried: this one is good, and none costs less than {}.",
            page.money(bound)
        )));
    }
    for twice in &sheet.promised_twice {
        text.push_str(&page.point(&twice_words(twice)));
    }
    for (room, job) in &sheet.in_jobs {
        text.push_str(&page.point(&format!("{room} is left out: it is in {job}.")));
    }
    if text.is_empty() {
        text
    } else {
        format!("\n{text}")
    }
}

/// Writes days or nights as people tell them: `2026-12-01 to 2026-12-03, 2026-12-07`.
fn nights_words(nights: &[NaiveDate]) -> String {
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

/// Renders what is promised twice as JSON.
pub(super) fn twice_json(twice: &[Twice]) -> Value {
    let twice = twice.iter().map(|twice| {
        let what = match &twice.what {
            Promised::Crew => "crew",
            Promised::Machine(name) => name,
            Promised::Air => "air",
        };
        json!({ "what": what, "to": twice.to, "days": twice.days })
    });
    twice.collect()
}

/// Says a remark.
pub fn sentence(remark: &Remark, page: &Page) -> String {
    match remark {
        Remark::TooMany { rooms, most } => {
            format!(
                "{rooms} can't share a phase: {} can be emptied at once.",
                count(*most as usize, "room")
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
                        page.money(*more)
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
            page.money(*saves)
        ),
        Remark::Returned {
            machines,
            between,
            saves,
        } => format!(
            "{machines}: returned after {} and out again on {}. Keeping would cost {} more.",
            short(between.0),
            short(between.1),
            page.money(*saves)
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

/// Renders the stages of a quote as JSON: no costs, since clients see them too.
pub(super) fn stages_json(kept: &KeptPlan) -> Value {
    let phases = kept.as_offered().phases.iter();
    let stages = phases.map(|phase| {
        json!({
            "rooms": named(&phase.rooms, &kept.names),
            "from": from(phase),
            "light_use": moment(phase.light_use),
            "furniture_back": phase.furniture,
            "full_cure": phase.cure,
            "nights_away": phase.nights_away,
            "nights_relied_on": phase.nights_relied_on,
        })
    });
    stages.collect()
}

/// Renders the stages of a quote as text.
pub(super) fn stages_text(kept: &KeptPlan, page: &Page) -> String {
    let mut table = page
        .table([
            "Phase",
            "Rooms",
            "From",
            "Walk on",
            "Furniture",
            "Cured",
            "Nights away",
        ])
        .numbers([0]);
    for (number, phase) in kept.as_offered().phases.iter().enumerate() {
        // Whether somebody is asked to leave or leaves anyway: these are the nights on which nobody can be there.
        let mut nights = [&phase.nights_away[..], &phase.nights_relied_on].concat();
        nights.sort_unstable();
        table.row([
            format!("{}", number + 1),
            named(&phase.rooms, &kept.names).join(", "),
            from(phase).map(short).unwrap_or_default(),
            format!(
                "{} {}",
                short(phase.light_use.date()),
                phase.light_use.format("%H:%M")
            ),
            short(phase.furniture),
            phase.cure.map(short).unwrap_or_default(),
            nights_words(&nights),
        ]);
    }
    table.to_string()
}

/// Renders a plan that is kept as JSON.
pub fn kept_json(kept: &KeptPlan, moved: Option<&Moved>, page: &Page) -> Value {
    let phases = kept.plan.phases.iter().enumerate();
    let phases = phases
        .map(|(number, phase)| phase_json(number, phase, None, &kept.plan, &kept.names, page));
    json!({
        "quote": kept.quote.header.number,
        "site": kept.quote.header.site,
        "revision": kept.revision,
        "lost_days": kept.lost,
        "finish": kept.plan.finish,
        "phases": phases.collect::<Vec<_>>(),
        "costs_more": moved.map(|moved| json!({
            "firm": page.money_json(firms_part(&kept.plan) - firms_part(&moved.before)),
            "household": page.money_json(households_part(&kept.plan) - households_part(&moved.before)),
        })),
        "finish_before": moved.map(|moved| moved.before.finish),
        "why": why_json(moved.map_or(&[], |moved| &moved.why), page),
    })
}

/// Returns what of a plan's dates the firm pays.
fn firms_part(plan: &HousePlan) -> Money {
    plan.costs.set_up + plan.costs.rental
}

/// Returns what of a plan's dates the household loses.
fn households_part(plan: &HousePlan) -> Money {
    plan.costs.days_closed + plan.costs.nights_away
}

/// Says what a plan that was made again costs more or less than before, and when it ends.
fn moved_text(plan: &HousePlan, before: &HousePlan, page: &Page) -> String {
    let change = |who: &str, change: Money| match change {
        Money::ZERO => None,
        less if less.is_negative() => Some(format!("{who} {} less", page.money(-less))),
        more => Some(format!("{who} {} more", page.money(more))),
    };
    let changes = [
        change(
            "set-up and rental cost",
            firms_part(plan) - firms_part(before),
        ),
        change(
            "the household loses",
            households_part(plan) - households_part(before),
        ),
    ];
    let changes: Vec<String> = changes.into_iter().flatten().collect();
    let costs = match changes.is_empty() {
        true => "it costs the same".to_owned(),
        false => changes.join(", "),
    };
    let ends = match plan.finish == before.finish {
        true => "and it ends on the same day".to_owned(),
        false => format!(
            "and it ends on {} instead of {}",
            plan.finish.format("%a %Y-%m-%d"),
            before.finish.format("%a %Y-%m-%d")
        ),
    };
    format!("Beside the plan before, {costs}, {ends}.")
}

/// Renders a plan that is kept as text.
pub fn kept_text(kept: &KeptPlan, moved: Option<&Moved>, page: &Page) -> String {
    let mut text = format!(
        "{}\n",
        page.prose(&title(&kept.quote.header.site, &kept.plan))
    );
    let _ = writeln!(text, "\n{}", dates_table(kept, page));
    let _ = writeln!(text, "\n{}", strip(&kept.plan, page));
    let _ = writeln!(text, "\n{}", rentals_text(&kept.plan, page));
    if !kept.lost.is_empty() {
        let lost = kept
            .lost
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join(", ");
        let times = count(kept.revision as usize, "time");
        let _ = writeln!(
            text,
            "\n{}",
            page.prose(&format!("Planned again {times}; lost: {lost}."))
        );
    }
    if let Some(moved) = moved {
        let change = moved_text(&kept.plan, &moved.before, page);
        let _ = writeln!(text, "\n{}", page.prose(&change));
        for remark in &moved.why {
            text.push_str(&page.point(&sentence(remark, page)));
        }
    }
    text
}

/// Lists what happens day by day.
fn dates_table(kept: &KeptPlan, page: &Page) -> String {
    let mut table = page.table(["Day", "Phase", "What", "Rooms"]).numbers([1]);
    let phases = kept.plan.phases.iter().enumerate();
    let events = phases.flat_map(|(number, phase)| {
        agenda(&kept.plan, number)
            .into_iter()
            .map(move |event| (number, phase, event))
    });
    let mut events: Vec<(usize, &Phase, Event)> = events.collect();
    events.sort_by_key(|(number, _, event)| (event.date, *number));
    for (number, phase, event) in events {
        table.row([
            event.date.format("%a %Y-%m-%d").to_string(),
            format!("{}", number + 1),
            event.what,
            named(&phase.coating_order, &kept.names).join(", "),
        ]);
    }
    table.to_string()
}
