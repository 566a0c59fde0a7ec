//! A plan walked through by itself, without the brief that it was made for.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate, NaiveDateTime, TimeDelta};

use super::{Flaw, at, check, clock, flaw};
use crate::money::Money;
use crate::trade::RoomId;
use crate::trade::plan::{
    Doing, Hardening, HousePlan, Needs, Phase, PlanCosts, Stretch, WorkingDay,
};
use crate::trade::rental::MORNING;

/// More minutes than any plan has: ten years of them.
const MOST_MINUTES: i64 = 10 * 366 * 24 * 60;

/// Walks through a plan by itself: whether it gives each phase what that needs, in its order, and adds up.
///
/// # Errors
/// Returns the first thing that isn't as the plan says.
pub fn walk(plan: &HousePlan) -> Result<(), Flaw> {
    // What is kept may be damaged, so nothing is counted before it can be.
    let of = plan.day;
    let hours = [of.crew_minutes, of.day_minutes];
    let figures = hours
        .into_iter()
        .chain(plan.phases.iter().flat_map(minutes));
    let mut figures = figures.chain(hours.map(|minutes| minutes - 1));
    let holds = figures.all(|minutes| (0..=MOST_MINUTES).contains(&minutes));
    check(plan.finish, holds, "it has minutes that nobody can count")?;
    let mut seen: BTreeSet<RoomId> = BTreeSet::new();
    let mut light_use = NaiveDateTime::MIN;
    for phase in &plan.phases {
        let Some(first) = phase.work.first().map(|stretch| stretch.day) else {
            return flaw(plan.finish, "a phase without work");
        };
        let once = phase.rooms.iter().all(|room| seen.insert(*room));
        check(first, once, "a room is done twice")?;
        let coated: BTreeSet<&RoomId> = phase.coating_order.iter().collect();
        let same =
            coated == phase.rooms.iter().collect() && coated.len() == phase.coating_order.len();
        check(first, same, "the order of coating isn't that of the rooms")?;
        let from = first_coat(plan.day, phase);
        let dry = from.is_none_or(|from| from >= light_use);
        check(first, dry, "two phases are wet at once")?;
        walk_phase(plan.day, phase, first)?;
        light_use = phase.light_use;
    }
    let furniture = plan.phases.iter().map(|phase| phase.furniture).max();
    check(
        plan.finish,
        furniture == Some(plan.finish),
        "it doesn't end when the last furniture is back",
    )?;
    add_up(plan)
}

/// Returns everything that a phase has in minutes.
fn minutes(phase: &Phase) -> impl Iterator<Item = i64> {
    let needs = &phase.needs;
    let hardening = needs.hardening.iter();
    let hardening = hardening.flat_map(|hardening| [hardening.after, hardening.lasts]);
    let coats = needs
        .coats
        .iter()
        .flat_map(|coat| [coat.minutes, coat.recoat]);
    let stretches = phase
        .work
        .iter()
        .flat_map(|stretch| [stretch.from, stretch.to]);
    let labour = [needs.before, needs.light_use, needs.after].into_iter();
    labour.chain(hardening).chain(coats).chain(stretches)
}

/// Returns when the first coat of a phase begins; `None`: it has none.
fn first_coat(of: WorkingDay, phase: &Phase) -> Option<NaiveDateTime> {
    let mut work = phase.work.iter();
    let coat = work.find(|stretch| matches!(stretch.doing, Doing::Coat(_)));
    coat.map(|stretch| clock(of, stretch.day, stretch.from))
}

/// Checks the hours of each day, what follows what, and that the one is dry before the other.
fn walk_phase(of: WorkingDay, phase: &Phase, first: NaiveDate) -> Result<(), Flaw> {
    let mut walked = Walked {
        of,
        needs: &phase.needs,
        labour: BTreeMap::new(),
        sanded: 0,
        trimmed: 0,
        coats: 0,
        dry: at(first, MORNING),
        hard: at(first, MORNING),
        light_use: None,
    };
    for stretch in &phase.work {
        walked.check_hours(stretch)?;
        match stretch.doing {
            Doing::Sand => walked.sand(stretch)?,
            Doing::Coat(number) => walked.coat(stretch, number)?,
            Doing::Trim => walked.trim(stretch)?,
        }
    }
    walked.check_done(first)?;
    check_dates(phase, walked.light_use.unwrap_or(walked.dry), first)
}

/// How far a phase has come.
struct Walked<'a> {
    of: WorkingDay,
    needs: &'a Needs,
    /// Up to which minute of labour each day is used.
    labour: BTreeMap<NaiveDate, i64>,
    /// Minutes of labour.
    sanded: i64,
    trimmed: i64,
    /// How many coats are laid.
    coats: usize,
    /// From when on what was done last is dry.
    dry: NaiveDateTime,
    /// From when on what was put in is hard.
    hard: NaiveDateTime,
    light_use: Option<NaiveDateTime>,
}

impl Walked<'_> {
    fn begins(&self, stretch: &Stretch) -> NaiveDateTime {
        clock(self.of, stretch.day, stretch.from)
    }

    fn ends(&self, stretch: &Stretch) -> NaiveDateTime {
        clock(self.of, stretch.day, stretch.to)
    }

    /// Checks that nobody does two things at once, or more than the crew can in a day.
    fn check_hours(&mut self, stretch: &Stretch) -> Result<(), Flaw> {
        let so_far = self.labour.entry(stretch.day).or_insert(0);
        let follows = stretch.from >= *so_far && stretch.to >= stretch.from;
        *so_far = stretch.to;
        check(stretch.day, follows, "stretches of work overlap")?;
        let fits = stretch.to <= self.of.crew_minutes;
        check(stretch.day, fits, "more hours than the crew has")
    }

    fn sand(&mut self, stretch: &Stretch) -> Result<(), Flaw> {
        let day = stretch.day;
        check(day, self.coats == 0, "sanding after a coat")?;
        let before = self.sanded;
        self.sanded += stretch.to - stretch.from;
        self.dry = self.ends(stretch);
        let Some(Hardening { after, lasts }) = self.needs.hardening else {
            return Ok(());
        };
        let goes_on = before >= after && self.begins(stretch) >= self.hard;
        let holds = self.sanded <= after || goes_on;
        check(day, holds, "sanding what isn't hard")?;
        if self.sanded == after {
            self.hard = self.dry + TimeDelta::minutes(lasts);
        }
        Ok(())
    }

    fn coat(&mut self, stretch: &Stretch, number: usize) -> Result<(), Flaw> {
        let (day, begins) = (stretch.day, self.begins(stretch));
        let coat = self.needs.coats.get(number);
        let Some(coat) = coat.filter(|_| number == self.coats) else {
            return flaw(day, "a coat out of turn");
        };
        let all = self.sanded == self.needs.before;
        check(day, all, "a coat before all is sanded")?;
        check(day, begins >= self.hard, "a coat over what isn't hard")?;
        // What is dry is known to the minute, and labour begins on its own minutes.
        let dry = begins >= self.dry || number == 0;
        check(day, dry, "a coat on a wet one")?;
        let same = stretch.to - stretch.from == coat.minutes;
        check(day, same, "a coat in other hours than it takes")?;
        let ends = self.ends(stretch);
        self.coats += 1;
        self.dry = ends + TimeDelta::minutes(coat.recoat);
        self.light_use = Some(ends + TimeDelta::minutes(self.needs.light_use));
        Ok(())
    }

    fn trim(&mut self, stretch: &Stretch) -> Result<(), Flaw> {
        let begins = self.begins(stretch);
        let walked_on = self.light_use.is_none_or(|from| begins >= from);
        let what = "trim on a floor that can't be walked on";
        check(stretch.day, walked_on, what)?;
        self.trimmed += stretch.to - stretch.from;
        Ok(())
    }

    /// Checks that nothing is missing in the end.
    fn check_done(&self, first: NaiveDate) -> Result<(), Flaw> {
        let needs = self.needs;
        let all = self.sanded == needs.before && self.trimmed == needs.after;
        check(first, all, "hours are missing")?;
        let coated = self.coats == needs.coats.len();
        check(first, coated, "a coat is missing")
    }
}

/// Checks when a phase says that its floors are walked on, its furniture is back, and its coats are cured.
fn check_dates(phase: &Phase, light_use: NaiveDateTime, first: NaiveDate) -> Result<(), Flaw> {
    let same = phase.light_use == light_use;
    check(first, same, "light use isn't when it says")?;
    let mut backwards = phase.work.iter().rev();
    let last_coat = backwards.find(|stretch| matches!(stretch.doing, Doing::Coat(_)));
    let after = |days: Option<i64>| {
        let days = u64::try_from(days?).ok()?;
        last_coat?.day.checked_add_days(Days::new(days))
    };
    let last = phase.work.last().map_or(first, |stretch| stretch.day);
    let done = last.max(light_use.date());
    let furniture = after(phase.needs.furniture_days).map_or(done, |day| day.max(done));
    let same = phase.furniture == furniture;
    check(first, same, "furniture isn't back when it says")?;
    let cure = after(phase.needs.cure_days);
    check(first, phase.cure == cure, "the cure isn't when it says")
}

/// Checks that every total is the sum of its parts.
fn add_up(plan: &HousePlan) -> Result<(), Flaw> {
    let mut sum = PlanCosts::default();
    for phase in &plan.phases {
        sum.add(phase.costs);
    }
    check(plan.finish, sum == plan.costs, "its phases don't add up")?;
    let rentals = plan.rentals.iter();
    let rental: Money = rentals.map(|rental| rental.plan.cover.total()).sum();
    check(
        plan.finish,
        rental == plan.costs.rental,
        "its rentals don't add up",
    )
}
