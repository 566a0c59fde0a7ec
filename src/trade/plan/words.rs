//! Why a plan is as it is, or why there is none.

use chrono::{NaiveDate, NaiveDateTime};

use super::calendar::{self, CoatTooLong, Day, Span};
use super::facts::Obstacle;
use super::full::in_full;
use super::search::{Chosen, ChosenPhase, Outing, Search};
use super::ways::{Places, and};
use super::{Brief, HousePlan, NightAway, Way};
use crate::money::Money;

/// Something worth knowing about a plan, with the names of what it is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Remark {
    /// More rooms than can be emptied at once.
    TooMany {
        /// The rooms.
        rooms: String,
        /// How many can be.
        most: u32,
    },
    /// Rooms that go together are torn apart.
    Torn {
        /// The rooms that go together.
        rooms: String,
    },
    /// Rooms that must not share a phase do.
    Apart {
        /// The rooms.
        rooms: String,
    },
    /// A coat doesn't fit into a working day.
    CoatTooLong {
        /// The rooms.
        rooms: String,
        /// The coat.
        coat: CoatTooLong,
    },
    /// A keep fails while rooms are closed.
    Closes {
        /// The rooms.
        rooms: String,
        /// What can't be reached.
        keep: String,
        /// On which nights at home; none: whenever it is.
        nights: Vec<NaiveDate>,
    },
    /// Each of two rooms could be closed, but not both.
    CantShare {
        /// The rooms.
        rooms: String,
        /// What must stay in use.
        keep: String,
    },
    /// Two rooms share no phase, since that would cost a night away.
    SharesNone {
        /// The rooms.
        rooms: String,
        /// What must stay in use.
        keep: String,
    },
    /// The plan isn't done in time.
    TooLate {
        /// When it has to be.
        end: NaiveDate,
        /// By when it can be done at the earliest, as far as is known; `None`: never.
        earliest: Option<NaiveDate>,
    },
    /// The room that takes the furniture of the others is done itself.
    OwnFurniture {
        /// The room.
        room: String,
    },
    /// Nights away were refused, but no plan was found without.
    NightsAfterAll {
        /// How many there are.
        nights: usize,
        /// Whether no plan has fewer.
        fewest: bool,
    },
    /// A keep fails while rooms are closed, on nights when the household is away anyway.
    ReliesOnAway {
        /// The rooms.
        rooms: String,
        /// What can't be reached.
        keep: String,
        /// The nights.
        nights: Vec<NaiveDate>,
    },
    /// Because of days that were lost, a phase that has begun can't have begun when it was planned to.
    BegunLater {
        /// Its rooms.
        rooms: String,
        /// When it was planned to begin.
        planned: NaiveDate,
        /// The first day on which it can have.
        start: NaiveDate,
    },
    /// Working days are spent waiting for filler or glue to harden.
    Hardens {
        /// The rooms of the phase.
        rooms: String,
        /// The days.
        days: Vec<NaiveDate>,
    },
    /// Rooms of another job in the house are wet, so nobody works then.
    WetBeside {
        /// The job's number.
        job: String,
        /// The rooms.
        rooms: String,
        /// The day of the first coat.
        from: NaiveDate,
        /// From when on they are walked on.
        until: NaiveDateTime,
    },
    /// Another job sands in the house or trims, so no coat is wet then.
    DustBeside {
        /// The job's number.
        job: String,
        /// The days.
        days: Vec<NaiveDate>,
    },
    /// Nobody knows the days of another job in the house.
    Undated {
        /// The job's number.
        job: String,
    },
    /// Work begins later than it could.
    StartsLater {
        /// When it does.
        start: NaiveDate,
        /// The first day on which it could.
        first: NaiveDate,
        /// What the same phases would cost more from then on; `None`: they aren't possible then.
        more: Option<Money>,
        /// How many more nights away they would take, where nights have no price.
        nights: usize,
    },
    /// The sanding machines are kept between phases.
    Kept {
        /// The machines.
        machines: String,
        /// The last day of sanding before, and the first after.
        between: (NaiveDate, NaiveDate),
        /// What a second rental would cost more.
        saves: Money,
    },
    /// The sanding machines go back between phases.
    Returned {
        /// The machines.
        machines: String,
        /// The last day of sanding before, and the first after.
        between: (NaiveDate, NaiveDate),
        /// What keeping them would cost more.
        saves: Money,
    },
    /// Nights away that would make it feasible.
    WouldMend {
        /// The nights.
        nights: Vec<NaiveDate>,
    },
    /// No nights away would.
    NothingMends {
        /// Whether every order was tried.
        all_tried: bool,
    },
}

/// Says why phases in that order aren't feasible.
pub(super) fn why_not(search: &Search<'_>, phases: &[Places]) -> Vec<Remark> {
    let brief = search.brief;
    let mut remarks: Vec<Remark> = Vec::new();
    for phase in phases {
        let facts = search.facts(*phase);
        let remark = facts
            .obstacle
            .as_ref()
            .map(|obstacle| obstacle_to(brief, *phase, obstacle));
        // A group that is torn is torn in every phase that has some of it.
        remarks.extend(remark.filter(|remark| !remarks.contains(remark)));
    }
    let only_keeps = remarks
        .iter()
        .all(|remark| matches!(remark, Remark::Closes { .. }));
    if !only_keeps {
        return remarks;
    }
    let dear = brief.with_nights();
    let lifted = Search::new(&dear, search.work);
    match lifted.of_phases(phases, None) {
        Some(mended) => {
            let plan = in_full(&lifted, &mended);
            if remarks.is_empty() {
                remarks.extend(closed_nights(&lifted, &mended, &plan));
            }
            remarks.push(would_mend(&plan));
        }
        None => remarks.push(too_late(search, true, |search| {
            search.of_phases(phases, None)
        })),
    }
    remarks
}

/// Says that a plan has nights away though they were refused, and whether none has fewer.
pub(super) fn nights_after_all(brief: &Brief<'_>, chosen: &Way, fewest: bool) -> Option<Remark> {
    let nights = chosen.plan.iter().flat_map(HousePlan::nights_away);
    let nights = nights.filter(|night| *night >= brief.anew_from).count();
    (brief.night_away == NightAway::Fewest && nights > 0)
        .then_some(Remark::NightsAfterAll { nights, fewest })
}

/// Says why there is no plan, and what would mend that.
pub(super) fn what_would_mend(search: &Search<'_>, rooms: Places, proven: bool) -> Vec<Remark> {
    let brief = search.brief;
    let dear = brief.with_nights();
    let lifted = Search::new(&dear, search.work);
    let cheapest = |search: &Search<'_>| super::best(search, rooms, None, &[]);
    let mended = cheapest(&lifted);
    if let Some(found) = mended.plan {
        let plan = in_full(&lifted, &found);
        let ones = rooms.numbers().map(Places::one);
        let closing = ones.filter_map(|room| {
            let keep = &brief.keeps[search.facts(room).fails?];
            Some(Remark::Closes {
                rooms: brief.house.names(room),
                keep: keep.words(brief.house),
                nights: Vec::new(),
            })
        });
        let mut remarks: Vec<Remark> = closing.collect();
        if remarks.is_empty() {
            remarks = closed_nights(&lifted, &found, &plan);
        }
        remarks.push(would_mend(&plan));
        return remarks;
    }
    // Rooms that can't be done even alone are in the way of any plan.
    let mut remarks: Vec<Remark> = Vec::new();
    for unit in search.units(rooms) {
        match &search.facts(unit).obstacle {
            Some(Obstacle::Keep(_)) | None => {}
            Some(obstacle) => remarks.push(obstacle_to(brief, unit, obstacle)),
        }
    }
    if remarks.is_empty() {
        let all_tried = proven && mended.proven;
        remarks.push(too_late(search, all_tried, |search| cheapest(search).plan));
    }
    remarks
}

/// Says that it can't be done in time, and by when it could: the cheapest plan is asked to end earlier until there is none,
/// or the work is used up.
fn too_late(
    search: &Search<'_>,
    all_tried: bool,
    cheapest: impl Fn(&Search<'_>) -> Option<Chosen>,
) -> Remark {
    let (brief, work) = (search.brief, search.work);
    let Some(end) = brief.end else {
        return Remark::NothingMends { all_tried };
    };
    let by = |end: Option<NaiveDate>| {
        let brief = Brief {
            end,
            ..brief.with_nights()
        };
        let found = cheapest(&Search::new(&brief, work));
        found.map(|found| calendar::date(found.finish))
    };
    let mut earliest = by(None);
    while work.is_left() {
        let before = earliest.and_then(|finish| finish.pred_opt());
        match before
            .filter(|before| *before > end)
            .and_then(|before| by(Some(before)))
        {
            Some(earlier) => earliest = Some(earlier),
            None => break,
        }
    }
    Remark::TooLate { end, earliest }
}

fn would_mend(plan: &HousePlan) -> Remark {
    Remark::WouldMend {
        nights: plan.nights_away().collect(),
    }
}

/// Says which phases close what, and when, those of other jobs beside them.
fn closed_nights(search: &Search<'_>, chosen: &Chosen, plan: &HousePlan) -> Vec<Remark> {
    let brief = search.brief;
    let mut remarks = Vec::new();
    for (ChosenPhase { rooms, .. }, phase) in chosen.phases.iter().zip(&plan.phases) {
        let words = |nights: &[NaiveDate]| {
            let beside = nights.iter().map(|night| calendar::day(*night));
            let beside = beside.map(|night| search.wet_beside(night));
            let closed = beside.fold(*rooms, Places::with);
            let reachable = brief.house.reachable(closed);
            let failing = brief.keeps.iter().filter(|keep| !keep.holds(reachable));
            let keeps: Vec<String> = failing.map(|keep| keep.words(brief.house)).collect();
            (brief.house.names(closed), keeps.join(", and "))
        };
        if !phase.nights_away.is_empty() {
            let (rooms, keep) = words(&phase.nights_away);
            remarks.push(Remark::Closes {
                rooms,
                keep,
                nights: phase.nights_away.clone(),
            });
        }
        if !phase.nights_relied_on.is_empty() {
            let (rooms, keep) = words(&phase.nights_relied_on);
            remarks.push(Remark::ReliesOnAway {
                rooms,
                keep,
                nights: phase.nights_relied_on.clone(),
            });
        }
    }
    remarks
}

fn obstacle_to(brief: &Brief<'_>, rooms: Places, obstacle: &Obstacle) -> Remark {
    let house = brief.house;
    match obstacle {
        Obstacle::TooMany => Remark::TooMany {
            rooms: house.names(rooms),
            most: brief.most_rooms.unwrap_or(u32::MAX),
        },
        Obstacle::Torn(together) => Remark::Torn {
            rooms: house.names(*together),
        },
        Obstacle::Apart(apart) => Remark::Apart {
            rooms: house.names(*apart),
        },
        Obstacle::Coat(coat) => Remark::CoatTooLong {
            rooms: house.names(rooms),
            coat: coat.clone(),
        },
        Obstacle::Keep(keep) => Remark::Closes {
            rooms: house.names(rooms),
            keep: brief.keeps[*keep].words(house),
            nights: Vec::new(),
        },
    }
}

/// Says what is worth knowing of a plan that was found.
pub(super) fn worth_knowing(search: &Search<'_>, chosen: &Chosen, plan: &HousePlan) -> Vec<Remark> {
    let mut remarks = Vec::new();
    remarks.extend(starts_later(search, chosen, plan));
    remarks.extend(begun_later(search.brief, plan));
    remarks.extend(closed_nights(search, chosen, plan));
    remarks.extend(days_waited(search, chosen));
    remarks.extend(cant_share(search, chosen));
    remarks.extend(kept_or_returned(search, chosen));
    remarks
}

/// Says that work begins later than it could, and what the same phases would cost more from the first day on.
fn starts_later(search: &Search<'_>, chosen: &Chosen, plan: &HousePlan) -> Option<Remark> {
    let brief = search.brief;
    let start = calendar::date(chosen.phases.first()?.start);
    if start <= brief.start || !brief.begun.is_empty() {
        return None;
    }
    let phases: Vec<Places> = chosen.phases.iter().map(|phase| phase.rooms).collect();
    let first = search.table.working_from(calendar::day(brief.start));
    let earlier = search.of_phases_from(&phases, first);
    let earlier = earlier.map(|earlier| in_full(search, &earlier));
    let unpriced = |plan: &HousePlan| match brief.night_away {
        NightAway::Costs(_) => 0,
        NightAway::Refused | NightAway::Fewest => plan.nights_away().count(),
    };
    Some(Remark::StartsLater {
        start,
        first: calendar::date(first),
        nights: earlier.as_ref().map_or(0, |earlier| {
            unpriced(earlier).saturating_sub(unpriced(plan))
        }),
        more: earlier.map(|earlier| earlier.costs.total() - plan.costs.total()),
    })
}

/// Says which phases that have begun can't have begun when they were planned to.
fn begun_later(brief: &Brief<'_>, plan: &HousePlan) -> Vec<Remark> {
    let begun = brief.begun.iter().zip(&plan.phases);
    let later = begun.filter_map(|(begun, phase)| {
        let start = phase.first_day().filter(|start| *start > begun.first)?;
        Some(Remark::BegunLater {
            rooms: brief.house.names(begun.rooms),
            planned: begun.first,
            start,
        })
    });
    later.collect()
}

/// Says on which working days nobody works on a phase because something hardens.
fn days_waited(search: &Search<'_>, chosen: &Chosen) -> Vec<Remark> {
    let phases = chosen.phases.iter().filter_map(|phase| {
        let needs = &search.facts(phase.rooms).needs;
        let times = search.table.times(needs, phase.start).ok()?;
        let days = phase.start..=times.light_use.day;
        let waited = days.filter(|day| times.waits_on(*day) && search.table.works(*day));
        let days: Vec<NaiveDate> = waited.map(calendar::date).collect();
        let rooms = search.brief.house.names(phase.rooms);
        (!days.is_empty()).then_some(Remark::Hardens { rooms, days })
    });
    phases.collect()
}

/// Says which pairs of rooms can't be closed together because of what must stay in use.
fn cant_share(search: &Search<'_>, chosen: &Chosen) -> Vec<Remark> {
    let brief = search.brief;
    let rooms: Vec<usize> = brief.house.refinished().numbers().collect();
    let fails = |rooms: Places| {
        let reachable = brief.house.reachable(rooms);
        brief.keeps.iter().find(|keep| !keep.holds(reachable))
    };
    // Where a night away pays for it, they can.
    let share = |both: Places| {
        let mut phases = chosen.phases.iter();
        phases.any(|phase| both.is_within(phase.rooms))
    };
    let mut remarks = Vec::new();
    for (place, one) in rooms.iter().enumerate() {
        for another in &rooms[place + 1..] {
            let (one, another) = (Places::one(*one), Places::one(*another));
            let both = one.with(another);
            let alone = fails(one).is_none() && fails(another).is_none();
            let Some(keep) = fails(both).filter(|_| alone && !share(both)) else {
                continue;
            };
            let (rooms, keep) = (brief.house.names(both), keep.words(brief.house));
            match search.facts(both).obstacle {
                Some(Obstacle::Keep(_)) => remarks.push(Remark::CantShare { rooms, keep }),
                None => remarks.push(Remark::SharesNone { rooms, keep }),
                Some(_) => {}
            }
        }
    }
    remarks
}

/// Says for each pause between phases with sanding whether the machines are kept, and what the other way costs more.
fn kept_or_returned(search: &Search<'_>, chosen: &Chosen) -> Vec<Remark> {
    if search.brief.sanding_machines.is_empty() {
        return Vec::new();
    }
    let sanded = chosen.phases.iter().filter_map(|phase| {
        let needs = &search.facts(phase.rooms).needs;
        let last = search.table.times(needs, phase.start).ok()?.last_sanding;
        let first = phase.start;
        needs.sands_by_machine.then_some(Span { first, last })
    });
    let sanded: Vec<Span> = sanded.collect();
    let pauses = sanded.windows(2);
    let remarks =
        pauses.filter_map(|pair| kept_between(search, chosen, pair[0].last, pair[1].first));
    remarks.collect()
}

/// Says whether the machines are kept between the last day of sanding and the next one, and what the other way costs more.
fn kept_between(search: &Search<'_>, chosen: &Chosen, last: Day, next: Day) -> Option<Remark> {
    let outing_over = |day: Day| {
        let mut outings = chosen.outings.iter();
        outings.find(|Outing { out, back }| (*out..=*back).contains(&day))
    };
    let (before, after) = (outing_over(last)?, outing_over(next)?);
    let price = |out: Day, back: Day| search.sanding.price(out, back);
    let kept = price(before.out, after.back)?;
    let apart = price(before.out, last)? + price(next, after.back)?;
    let more = Money::from_minor(apart - kept);
    let names = search.brief.sanding_machines.iter();
    let names: Vec<&str> = names.map(|machine| machine.name.as_str()).collect();
    let machines = and(&names);
    let between = (calendar::date(last), calendar::date(next));
    Some(match before == after {
        true => Remark::Kept {
            machines,
            between,
            saves: more,
        },
        false => Remark::Returned {
            machines,
            between,
            saves: Money::ZERO - more,
        },
    })
}
