//! The dates of a plan that is kept, and the stages that a quote shows of it.

use std::fmt::Write as _;

use chrono::NaiveDate;

use super::words::{Why, nights_words};
use super::{Event, Names, Phases, agenda, long, named, short, walked_on};
use crate::document::figures::{Amount, Moment};
use crate::document::{Answer, List, Page, count, inert, or_blank};
use crate::ledger::KeptPlan;
use crate::money::Money;
use crate::trade::RoomId;
use crate::trade::plan::{HousePlan, Phase, PlanCosts, Remark};

/// A plan that was made again.
#[derive(Clone, Debug)]
pub struct Moved {
    /// What it was before.
    pub before: HousePlan,
    /// Why it is as it is now.
    pub why: Vec<Remark>,
}

answer! {
    /// What a plan that was made again costs more than before.
    struct CostsMore of (now: PlanCosts, before: PlanCosts) on page {
        firm: Amount = page.amount(now.firms() - before.firms()),
        household: Amount = page.amount(now.households() - before.households()),
    }

    /// The days of a room that moved when a plan was made again; none: it isn't planned any more, or wasn't before.
    struct RoomMoved of (room: String, now: Option<&Phase>, before: Option<&Phase>) on page {
        room: String,
        from: Option<NaiveDate> = now.and_then(Phase::first_day),
        from_before: Option<NaiveDate> = before.and_then(Phase::first_day),
        light_use: Option<Moment> = now.map(|phase| Moment(phase.light_use)),
        light_use_before: Option<Moment> = before.map(|phase| Moment(phase.light_use)),
    }

    /// A plan that is kept, and perhaps was just made again.
    pub struct DatesAnswer of (kept: KeptPlan, moved: Option<Moved>) on page
    let KeptPlan { quote, revision, plan, request: _, lost, names, recorded_at: _, earlier: _ } = kept;
    let (before, why) = moved.map(|Moved { before, why }| (before, why)).unzip();
    let costs = plan.costs;
    {
        quote: String = quote.header.number,
        site: String = quote.header.site,
        revision: u32,
        lost_days: Vec<NaiveDate> = lost,
        finish: NaiveDate = plan.finish,
        /// What happens in each phase, day by day.
        #[serde(skip)]
        agenda: Vec<(usize, Event)> = whole_agenda(&plan),
        rooms_moved: Vec<RoomMoved> = before.as_ref().map_or_else(Vec::new, |before| rooms_moved(&plan, before, &names, page)),
        #[serde(flatten)]
        plan: Phases = Phases::new(plan, &names, page),
        costs_more: Option<CostsMore> = before.as_ref().map(|before| CostsMore::new(costs, before.costs, page)),
        finish_before: Option<NaiveDate> = before.as_ref().map(|before| before.finish),
        why: Why = Why::new(&why.unwrap_or_default(), page),
    }
}

/// Returns what happens in every phase of a plan, day by day.
fn whole_agenda(plan: &HousePlan) -> Vec<(usize, Event)> {
    let phases = 0..plan.phases.len();
    let events = phases.flat_map(|number| {
        let events = agenda(plan, number).into_iter();
        events.map(move |event| (number, event))
    });
    let mut events: Vec<(usize, Event)> = events.collect();
    events.sort_by_key(|(number, event)| (event.date, *number));
    events
}

/// Returns the rooms whose days are others in a plan than in the one before.
fn rooms_moved(now: &HousePlan, before: &HousePlan, names: &Names, page: &Page) -> Vec<RoomMoved> {
    fn phase_of(plan: &HousePlan, room: RoomId) -> Option<&Phase> {
        plan.phases.iter().find(|phase| phase.rooms.contains(&room))
    }
    let days = |phase: Option<&Phase>| phase.map(|phase| (phase.first_day(), phase.light_use));
    let rooms = names.iter().map(|(id, name)| {
        let [now, before] = [now, before].map(|plan| phase_of(plan, *id));
        (name, now, before)
    });
    rooms
        .filter(|(_, now, before)| days(*now) != days(*before))
        .map(|(name, now, before)| RoomMoved::new(name.clone(), now, before, page))
        .collect()
}

impl DatesAnswer {
    /// Lists what the household was told otherwise: the days of rooms that moved.
    fn moved_rooms(&self, page: &Page) -> String {
        let headings = ["Room", "From", "Before", "Walk on", "Before"];
        let mut table = page.table(headings);
        for room in &self.rooms_moved {
            let [from, from_before] =
                [room.from, room.from_before].map(|day| or_blank(day.map(short)));
            let moments = [room.light_use, room.light_use_before];
            let [walk_on, walk_on_before] = moments.map(|moment| or_blank(moment.map(walked_on)));
            table.line([&room.room, &from, &from_before, &walk_on, &walk_on_before]);
        }
        table.to_string()
    }

    /// Lists what happens day by day.
    fn days(&self, page: &Page) -> String {
        let mut table = page.table(["Day", "Phase", "What", "Rooms"]).numbers([1]);
        for (number, event) in &self.agenda {
            let rooms = self.plan.phases[*number].coating_order.join(", ");
            table.line([&long(event.date), &(number + 1), &event.what, &rooms]);
        }
        table.to_string()
    }

    /// Says what it costs more or less than before it was made again, and when it ends; `None`: it wasn't.
    fn moved(&self, page: &Page) -> Option<String> {
        let (CostsMore { firm, household }, before) =
            self.costs_more.as_ref().zip(self.finish_before)?;
        let changes = [
            ("set-up and rental cost", firm),
            ("the household loses", household),
        ];
        let changes = changes.into_iter().filter_map(|(who, change)| {
            let (size, word) = match change.money {
                Money::ZERO => return None,
                less if less.is_negative() => (-less, "less"),
                more => (more, "more"),
            };
            Some(format!("{who} {} {word}", page.amount(size)))
        });
        let costs = match changes.collect::<Vec<_>>() {
            none if none.is_empty() => "it costs the same".to_owned(),
            changes => changes.join(", "),
        };
        let ends = match self.finish == before {
            true => "and it ends on the same day".to_owned(),
            false => format!(
                "and it ends on {} instead of {}",
                long(self.finish),
                long(before)
            ),
        };
        Some(format!("Beside the plan before, {costs}, {ends}."))
    }
}

impl Answer for DatesAnswer {
    fn text(&self, page: &Page) -> String {
        let answer = format!("{}: {}.", inert(&self.site), self.plan.words());
        let mut text = format!("{}\n", page.prose(&answer));
        let _ = writeln!(text, "\n{}", self.days(page));
        let _ = writeln!(text, "\n{}", self.plan.strip(page));
        let _ = writeln!(text, "\n{}", self.plan.rentals(page));
        if !self.lost_days.is_empty() {
            let lost: Vec<String> = self.lost_days.iter().map(ToString::to_string).collect();
            let times = count(self.revision, "time");
            let words = format!("Planned again {times}; lost: {}.", lost.join(", "));
            let _ = writeln!(text, "\n{}", page.prose(&words));
        }
        if !self.rooms_moved.is_empty() {
            let _ = writeln!(
                text,
                "\nRooms on other days than before:\n{}",
                self.moved_rooms(page)
            );
        }
        if let Some(moved) = self.moved(page) {
            let _ = writeln!(text, "\n{}", page.prose(&moved));
        }
        text.push_str(&self.why.points(page));
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.plan.phases)
    }
}

answer! {
    /// A phase as a quote shows it: no costs, since clients see it too.
    pub(in crate::document) struct Stage of (phase: &Phase, names: &Names) on page {
        rooms: Vec<String> = named(&phase.rooms, names),
        from: Option<NaiveDate> = phase.first_day(),
        light_use: Moment = Moment(phase.light_use),
        furniture_back: NaiveDate = phase.furniture,
        full_cure: Option<NaiveDate> = phase.cure,
        nights_away: Vec<NaiveDate> = phase.nights_away.clone(),
        nights_relied_on: Vec<NaiveDate> = phase.nights_relied_on.clone(),
    }
}

impl Stage {
    /// Returns the stages of a plan as it was offered.
    pub(in crate::document) fn all(kept: &KeptPlan, page: &Page) -> Vec<Stage> {
        let phases = kept.as_offered().phases.iter();
        phases
            .map(|phase| Stage::new(phase, &kept.names, page))
            .collect()
    }
}

/// Lists the stages of a quote.
pub(in crate::document) fn stages_table(stages: &[Stage], page: &Page) -> String {
    let headings = [
        "Phase",
        "Rooms",
        "From",
        "Walk on",
        "Furniture",
        "Cured",
        "Nights away",
    ];
    let mut table = page.table(headings).numbers([0]);
    for (number, stage) in (1_usize..).zip(stages) {
        // Whether somebody is asked to leave or leaves anyway: these are the nights on which nobody can be there.
        let mut nights = [&stage.nights_away[..], &stage.nights_relied_on].concat();
        nights.sort_unstable();
        table.line([
            &number,
            &stage.rooms.join(", "),
            &or_blank(stage.from.map(short)),
            &walked_on(stage.light_use),
            &short(stage.furniture_back),
            &or_blank(stage.full_cure.map(short)),
            &nights_words(&nights),
        ]);
    }
    table.to_string()
}
