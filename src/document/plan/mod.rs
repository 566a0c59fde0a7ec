//! The plan of a house: phases, dates and rentals, as they are shown wherever there is a plan.
//!
//! `house.rs` answers what a plan costs beside other ways; `dates.rs` shows one that is kept, and what clients see of it;
//! `words.rs` says why a plan is as it is.

pub mod dates;
pub mod house;
pub mod words;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use chrono::{Datelike, Days, NaiveDate, NaiveDateTime, TimeDelta, Timelike};
use serde::Serialize;

use super::cover::PlanFacts;
use super::figures::{Amount, Moment, Number};
use super::{Page, count, or_blank};
use crate::money::Decimal;
use crate::trade::plan::{Doing, HousePlan, Phase, Rental};
use crate::trade::rental::MORNING;
use crate::trade::{RoomId, Unit};

/// Columns that the strip's labels take.
const LABEL: usize = 10;

/// People are told moments to so many minutes.
const HALF_HOUR: u32 = 30;

type Names = BTreeMap<RoomId, String>;

/// Something that happens on a day of a phase.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub(super) struct Event {
    /// The day.
    pub(super) date: NaiveDate,
    /// What kind of thing.
    #[serde(skip)]
    pub(super) kind: &'static str,
    /// In words.
    #[serde(rename = "work")]
    pub(super) what: String,
}

impl Event {
    fn new(date: NaiveDate, kind: &'static str, what: impl Into<String>) -> Event {
        Event {
            date,
            kind,
            what: what.into(),
        }
    }
}

/// Returns what happens in a phase, day by day.
fn events(phase: &Phase) -> Vec<Event> {
    let work = phase.work.iter().map(|stretch| match stretch.doing {
        Doing::Sand => Event::new(stretch.day, "sand", "repair and sand"),
        Doing::Coat(number) => {
            let of = phase.needs.coats.len();
            let coat = phase.needs.coats.get(number);
            let name = coat.map_or("", |coat| coat.name.as_str());
            let what = format!("coat {} of {of} ({name})", number + 1);
            Event::new(stretch.day, "coat", what)
        }
        Doing::Trim => Event::new(stretch.day, "trim", "trim"),
    });
    let mut events: Vec<Event> = work.collect();
    events.push(Event::new(
        up(phase.light_use).date(),
        "light-use",
        format!("walked on from {}", up(phase.light_use).format("%H:%M")),
    ));
    events.push(Event::new(
        phase.furniture,
        "furniture",
        "furniture may go back",
    ));
    events.extend(phase.cure.map(|day| Event::new(day, "cure", "full cure")));
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
        for (machines, day) in [(&mut fetched, rental.out), (&mut taken_back, back(rental))] {
            let machines: &mut Vec<&str> = machines.entry(day).or_default();
            machines.push(&rental.name);
        }
    }
    events.extend(fetched.into_iter().map(|(day, machines)| {
        let what = format!("fetch {} by {MORNING:02}:00", machines.join(", "));
        Event::new(day, "fetch", what)
    }));
    events.extend(taken_back.into_iter().map(|(day, machines)| {
        let what = format!(
            "take {} back by {MORNING:02}:00, or the evening before",
            machines.join(", ")
        );
        Event::new(day, "take-back", what)
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
        events.extend(nights.iter().map(|night| Event::new(*night, kind, what)));
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

/// Returns the day on whose morning a machine is back.
fn back(rental: &Rental) -> NaiveDate {
    rental.last_day + Days::new(1)
}

fn named(rooms: &[RoomId], names: &Names) -> Vec<String> {
    let names = rooms.iter().map(|room| names.get(room).cloned());
    names.map(Option::unwrap_or_default).collect()
}

fn short(day: NaiveDate) -> String {
    day.format("%a %m-%d").to_string()
}

fn long(day: NaiveDate) -> String {
    day.format("%a %Y-%m-%d").to_string()
}

/// Writes the moment from which floors are walked on: `Tue 12-01 18:00`.
fn walked_on(moment: Moment) -> String {
    up(moment.0).format("%a %m-%d %H:%M").to_string()
}

/// Rounds a moment up to the half hour: nobody steps on a floor a few minutes early.
fn up(moment: NaiveDateTime) -> NaiveDateTime {
    let over = moment.minute() % HALF_HOUR;
    let wait = if over == 0 { 0 } else { HALF_HOUR - over };
    moment + TimeDelta::minutes(i64::from(wait))
}

answer! {
    /// A rental of a plan.
    struct RentalFacts of (rental: &Rental) on page {
        #[serde(flatten)]
        plan: PlanFacts = PlanFacts::new(rental.plan.clone(), page),
        machine: String = rental.name.clone(),
        out: NaiveDate = rental.out,
        back: NaiveDate = back(rental),
        #[serde(skip)]
        days: u32 = rental.days(),
    }
}

answer! {
    /// What a phase takes of an item.
    struct Take of (takes: (String, Decimal, Unit)) on page
    let (item, quantity, unit) = takes;
    {
        item: String,
        quantity: Number,
        unit: Unit,
    }

    /// A set of rooms done together.
    struct PhaseFacts of (phase: Phase, rental: Vec<&Rental>, names: &Names) on page {
        rooms: Vec<String> = named(&phase.rooms, names),
        coating_order: Vec<String> = named(&phase.coating_order, names),
        exit: Option<String> = names.get(&phase.exit).cloned(),
        from: Option<NaiveDate> = phase.first_day(),
        light_use: Moment = Moment(phase.light_use),
        furniture_back: NaiveDate = phase.furniture,
        full_cure: Option<NaiveDate> = phase.cure,
        days_closed: u32 = phase.days_closed,
        nights_away: Vec<NaiveDate> = phase.nights_away.clone(),
        nights_relied_on: Vec<NaiveDate> = phase.nights_relied_on.clone(),
        days: Vec<Event> = events(&phase),
        rental: Vec<RentalFacts>,
        /// What it costs and takes; `None`: that is told when a house is planned, not of a plan that is kept.
        cost: Option<Amount> = None,
        #[serde(skip_serializing_if = "Option::is_none")]
        takes: Option<Vec<Take>> = None,
        /// Its days, for the strip.
        #[serde(skip)]
        phase: Phase = phase,
    }
}

impl PhaseFacts {
    fn is_coated(&self) -> bool {
        !self.phase.needs.coats.is_empty()
    }

    /// Writes the days of one kind: `Tue 12-01, Wed 12-02`.
    fn dates(&self, wanted: fn(Doing) -> bool) -> String {
        let work = self.phase.work.iter();
        let mut days: Vec<NaiveDate> = work
            .filter(|stretch| wanted(stretch.doing))
            .map(|stretch| stretch.day)
            .collect();
        days.dedup();
        match days[..] {
            [] => "-".to_owned(),
            [first, _, .., last] => format!("{} to {}", short(first), short(last)),
            _ => {
                let days: Vec<String> = days.into_iter().map(short).collect();
                days.join(", ")
            }
        }
    }

    /// Returns what it shows on a day.
    fn sign(&self, day: NaiveDate) -> char {
        let phase = &self.phase;
        let work = phase.work.iter().filter(|stretch| stretch.day == day);
        let here: Vec<Doing> = work.map(|stretch| stretch.doing).collect();
        let coats = here.iter().filter_map(|doing| match doing {
            Doing::Coat(number) => Some(*number),
            Doing::Sand | Doing::Trim => None,
        });
        let coats: Vec<usize> = coats.collect();
        let light_use = up(phase.light_use).date();
        let is_wet = |first: NaiveDate| first < day && day < light_use;
        match coats[..] {
            [_, _, ..] => '*',
            [number] => {
                let number = u32::try_from(number + 1).unwrap_or(9).min(9);
                char::from_digit(number, 10).unwrap_or('9')
            }
            [] if here.contains(&Doing::Sand) => 's',
            [] if here.contains(&Doing::Trim) => 't',
            [] if day == phase.furniture => 'f',
            [] if day == light_use => 'o',
            [] if phase.first_coat().is_some_and(is_wet) => '~',
            [] => '.',
        }
    }
}

answer! {
    /// A plan's phases, with its end and what its rentals come to for people; none of it: there is no plan.
    #[derive(Default)]
    struct Phases of (plan: HousePlan, names: &Names) on page
    let HousePlan { day: _, phases, rentals, costs, finish } = plan;
    let rentals_of = |number: usize| rentals.iter().filter(move |rental| rental.phase == number);
    {
        phases: Vec<PhaseFacts> = page.each(phases.into_iter().enumerate().collect(), |(number, phase), page| {
            PhaseFacts::new(phase, rentals_of(number).collect(), names, page)
        }),
        #[serde(skip)]
        finish: Option<NaiveDate> = Some(finish),
        #[serde(skip)]
        rental: Option<Amount> = Some(page.amount(costs.rental)),
    }
}

impl Phases {
    /// Says how long it takes: `2 phases, 13 days of work, 2 nights away, Mon 2026-03-09 to Mon 2026-03-30`.
    fn words(&self) -> String {
        let begins = self.phases.first().and_then(|phase| phase.from);
        let work = self.phases.iter().flat_map(|phase| &phase.phase.work);
        let days: BTreeSet<NaiveDate> = work.map(|stretch| stretch.day).collect();
        let nights: BTreeSet<NaiveDate> = self.nights().collect();
        let nights = match nights.len() {
            0 => "no night away".to_owned(),
            nights => format!("{} away", count(nights, "night")),
        };
        format!(
            "{}, {} of work, {nights}, {} to {}",
            count(self.phases.len(), "phase"),
            count(days.len(), "day"),
            or_blank(begins.map(long)),
            or_blank(self.finish.map(long)),
        )
    }

    /// Draws the calendar: a row for each phase, a column for each day, week by week as far as the page is wide.
    fn strip(&self, page: &Page) -> String {
        let first = self.phases.first().and_then(|phase| phase.from);
        let Some((first, last)) = first.zip(self.finish) else {
            return String::new();
        };
        let monday = first - Days::new(u64::from(first.weekday().num_days_from_monday()));
        let mondays = monday.iter_weeks().take_while(|week| *week <= last);
        let mondays: Vec<NaiveDate> = mondays.collect();
        let weeks = ((page.width.max(LABEL + 8) - LABEL) / 8).clamp(1, 8);
        let mut text = String::new();
        for weeks in mondays.chunks(weeks) {
            let mut heading = " ".repeat(LABEL);
            for week in weeks {
                let _ = write!(heading, "{:<8}", week.format("%b %d").to_string());
            }
            let _ = writeln!(text, "{}", heading.trim_end());
            let mut row = |label: &str, sign: &dyn Fn(NaiveDate) -> char| {
                let weeks = weeks.iter().map(|week| {
                    let days = week.iter_days().take(7);
                    days.map(sign).collect::<String>()
                });
                let signs = weeks.collect::<Vec<_>>().join(" ");
                let _ = writeln!(text, "{label:<LABEL$}{}", signs.trim_end());
            };
            for (number, phase) in self.phases.iter().enumerate() {
                row(&format!("Phase {}", number + 1), &|day| phase.sign(day));
            }
            row("Household", &|day| self.household(day));
            row("Machines", &|day| self.machines(day));
        }
        let key = "s sand, 1 2 3 coats, * several coats, ~ wet: keep off, o walk on, t trim, f furniture back; \
                   household: n night away; machines: how many are rented; weeks begin on Monday";
        let _ = write!(text, "{}", page.prose(key));
        text
    }

    /// Returns what the household does on a day.
    fn household(&self, day: NaiveDate) -> char {
        match self.nights().any(|night| night == day) {
            true => 'n',
            false => '.',
        }
    }

    /// Returns the nights on which the household is away, those that it had told included.
    fn nights(&self) -> impl Iterator<Item = NaiveDate> {
        let nights = |phase: &PhaseFacts| {
            let nights = phase.nights_away.iter().chain(&phase.nights_relied_on);
            nights.copied().collect::<Vec<_>>()
        };
        self.phases.iter().flat_map(nights)
    }

    /// Returns how many machines are out on a day.
    fn machines(&self, day: NaiveDate) -> char {
        let rentals = self.phases.iter().flat_map(|phase| &phase.rental);
        let out = rentals.filter(|rental| rental.out <= day && day < rental.back);
        match out.count() {
            0 => '.',
            some => u32::try_from(some)
                .ok()
                .and_then(|some| char::from_digit(some, 10))
                .unwrap_or('9'),
        }
    }

    fn rentals(&self, page: &Page) -> String {
        let mut table = page
            .table([
                "Machine",
                &format!("Out {MORNING:02}:00"),
                &format!("Back {MORNING:02}:00"),
                "Days",
                "Periods",
                "Total",
            ])
            .numbers([3, 5])
            .goes([3]);
        for rental in self.phases.iter().flat_map(|phase| &phase.rental) {
            let RentalFacts {
                plan: PlanFacts { cover, .. },
                machine,
                out,
                back,
                days,
            } = rental;
            let [out, back] = [out, back].map(|day| short(*day));
            table.line([machine, &out, &back, days, cover, &cover.total]);
        }
        if table.is_empty() {
            return "No machine is rented.".to_owned();
        }
        table.line([&"Total", &"", &"", &"", &"", &or_blank(self.rental)]);
        table.to_string()
    }
}
