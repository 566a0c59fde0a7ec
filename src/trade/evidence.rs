//! Evidence: what rates are learned from in a finished job, and what its record leaves out.
//!
//! Only what was logged is evidence. A room and operation without an entry is *not recorded*, which is not zero; a true
//! zero is typed. Items are evidence of their operation, hours of their task. Entries that overlap (the landing alone, then
//! landing and bedroom together) can't be told apart room by room, so each group of overlapping entries is one observation
//! over all the rooms and operations that it touches. Hours that name no task are a cost, and no evidence; so are hours on the road.
//!
//! A part of a room in another condition is to its room what a room is to its job: an entry over the room is one observation
//! with a part for each condition, as one over two rooms would be.
//!
//! What only might turn up is no evidence, since nobody measured how much of it there was. Where it did turn up, hours
//! that name only its task are none either: an unknown part of them was for it. The same holds for a job without a quote:
//! its record names what was done, but hours that name only a task may have been for more than that.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::NaiveDate;

use crate::money::Decimal;
use crate::trade::job_cost::{Logged, What};
use crate::trade::operation::Task;
use crate::trade::quote::WorkLine;
use crate::trade::rates::{FloorClass, Observation, ObservedPart, RateKind, Status};
use crate::trade::{EntryId, FloorCondition, OperationId, RoomId};

/// A room as evidence needs it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FinishedRoom {
    /// Identity in the ledger.
    pub id: RoomId,
    /// Its name.
    pub name: String,
    /// The floor as it was quoted.
    pub class: FloorClass,
}

/// A finished job.
#[derive(Clone, Debug)]
pub struct FinishedJob {
    /// Its number, as shown.
    pub number: String,
    /// When it was closed.
    pub finished_on: NaiveDate,
    /// Its rooms.
    pub rooms: Vec<FinishedRoom>,
    /// What was planned: the work lines of its quote and variations, or what its record names.
    pub work: Vec<WorkLine>,
    /// It has a quote, so `work` is all that was to be done.
    pub is_quoted: bool,
    /// What was logged before it was closed.
    pub logged: Vec<Logged>,
}

/// What is missing from a job's record, for its owner to mend or accept.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Gaps {
    /// Rooms where counted items were planned and none was logged.
    pub rooms_without_discs: Vec<String>,
    /// Planned operations without any entry.
    pub operations_without_entries: Vec<String>,
    /// Hours that name no task.
    pub hours_on_nothing: Decimal,
}

/// A room (or the job) and an operation: the smallest thing that an entry can be about.
type RoomWork = (Option<RoomId>, OperationId);

/// Entries and the places that they cover, in the order of the places.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Covered {
    places: BTreeSet<RoomWork>,
    entries: Vec<Took>,
}

/// An entry and what it took.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Took {
    /// How much, or how many hours.
    pub quantity: Decimal,
    /// The entry.
    pub entry: EntryId,
}

/// An observation and the entries that it rests on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lesson {
    /// What was observed.
    pub observation: Observation,
    /// The entries and what each took, the largest first.
    pub entries: Vec<Took>,
}

/// Returns the observations of a job, in a fixed order: items by operation, then hours by task.
pub fn lessons(job: &FinishedJob) -> Vec<Lesson> {
    let label: Arc<str> = job.number.as_str().into();
    let mut found = Vec::new();
    for ((kind, _), entries) in by_subject(job) {
        for covered in merge_overlapping(entries) {
            found.push(lesson(job, &label, kind, covered));
        }
    }
    found
}

/// Returns what each entry covers that is evidence, by what it is about.
fn by_subject(job: &FinishedJob) -> BTreeMap<(RateKind, Subject), Vec<Covered>> {
    let mut found: BTreeMap<(RateKind, Subject), Vec<Covered>> = BTreeMap::new();
    for logged in job
        .logged
        .iter()
        .filter(|logged| !logged.late && !logged.correction)
    {
        let Some((kind, subject)) = subject(job, logged) else {
            continue;
        };
        let places = places(job, logged, &subject);
        let holds_more =
            is_of_unnamed_work(job, logged) || holds_what_turned_up(job, logged, &subject);
        if places.is_empty() || holds_more {
            continue;
        }
        let took = Took {
            quantity: logged.quantity,
            entry: logged.entry,
        };
        found.entry((kind, subject)).or_default().push(Covered {
            places,
            entries: vec![took],
        });
    }
    found
}

/// Returns the observation of entries over all the places that they cover.
fn lesson(job: &FinishedJob, label: &Arc<str>, kind: RateKind, covered: Covered) -> Lesson {
    let Covered {
        places,
        mut entries,
    } = covered;
    entries.sort_by_key(|took| (Reverse(took.quantity), took.entry));
    let parts = places.iter().flat_map(|place| parts(job, *place));
    let observation = Observation {
        kind,
        job: label.clone(),
        from_notebook: false,
        finished_on: job.finished_on,
        quantity: entries.iter().map(|took| took.quantity).sum(),
        parts: parts.collect(),
        status: Status::Good,
    };
    Lesson {
        observation,
        entries,
    }
}

/// What an observation is about: items of one operation, or hours of one task.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Subject {
    Operation(OperationId),
    Task(Task),
}

/// Returns what an entry is evidence for; `None`: nothing.
fn subject(job: &FinishedJob, logged: &Logged) -> Option<(RateKind, Subject)> {
    match &logged.what {
        What::Hours {
            task: Some(task), ..
        } => Some((RateKind::Hours, Subject::Task(task.clone()))),
        What::Item {
            operation: Some(operation),
            ..
        } => Some((RateKind::Item, Subject::Operation(*operation))),
        What::Item {
            item,
            operation: None,
            ..
        } => {
            let mut users: Vec<OperationId> = job
                .work
                .iter()
                .filter(|work| work.item.as_ref().is_some_and(|needed| needed.id == *item))
                .map(|work| work.operation)
                .collect();
            users.dedup();
            match users[..] {
                [only] => Some((RateKind::Item, Subject::Operation(only))),
                _ => None,
            }
        }
        What::Hours { task: None, .. }
        | What::OnTheRoad
        | What::LeftOver { .. }
        | What::Rental { .. }
        | What::Other { .. } => None,
    }
}

/// Tells whether hours are of work that nobody names: they name their task alone, and no quote says what belonged to it.
fn is_of_unnamed_work(job: &FinishedJob, logged: &Logged) -> bool {
    let names_operation = logged.what.operation().is_some();
    !job.is_quoted && matches!(logged.what, What::Hours { .. }) && !names_operation
}

/// Tells whether hours on a task may hold some of what turned up there: an entry names its operation or its item.
fn holds_what_turned_up(job: &FinishedJob, logged: &Logged, subject: &Subject) -> bool {
    let Subject::Task(task) = subject else {
        return false;
    };
    if let What::Hours {
        operation: Some(_), ..
    } = logged.what
    {
        return false;
    }
    let in_rooms = |rooms: &[RoomId], work: &WorkLine| {
        rooms.is_empty() || work.room.is_some_and(|room| rooms.contains(&room))
    };
    let mut may = job.work.iter().filter(|work| {
        work.contingency.is_some() && work.task == *task && in_rooms(&logged.rooms, work)
    });
    may.any(|work| {
        job.logged.iter().any(|other| {
            in_rooms(&other.rooms, work)
                && match &other.what {
                    What::Hours { operation, .. } => *operation == Some(work.operation),
                    What::Item {
                        item, operation, ..
                    } => match operation {
                        Some(operation) => *operation == work.operation,
                        None => work.item.as_ref().is_some_and(|used| used.id == *item),
                    },
                    What::OnTheRoad
                    | What::LeftOver { .. }
                    | What::Rental { .. }
                    | What::Other { .. } => false,
                }
        })
    })
}

/// Returns the planned places that an entry is about.
fn places(job: &FinishedJob, logged: &Logged, subject: &Subject) -> BTreeSet<RoomWork> {
    let only = match &logged.what {
        What::Hours { operation, .. } => *operation,
        What::OnTheRoad
        | What::Item { .. }
        | What::LeftOver { .. }
        | What::Rental { .. }
        | What::Other { .. } => None,
    };
    job.work
        .iter()
        .filter(|work| work.contingency.is_none())
        .filter(|work| match subject {
            Subject::Operation(operation) => work.operation == *operation,
            Subject::Task(task) => {
                work.task == *task && only.is_none_or(|only| only == work.operation)
            }
        })
        .filter(|work| {
            logged.rooms.is_empty() || work.room.is_some_and(|room| logged.rooms.contains(&room))
        })
        .map(|work| (work.room, work.operation))
        .collect()
}

/// Joins entries that share a place into one.
fn merge_overlapping(entries: Vec<Covered>) -> Vec<Covered> {
    let mut groups: Vec<Covered> = Vec::new();
    for mut covered in entries {
        let (touching, apart): (Vec<_>, Vec<_>) = groups
            .into_iter()
            .partition(|other| !other.places.is_disjoint(&covered.places));
        for other in touching {
            covered.places.extend(other.places);
            covered.entries.extend(other.entries);
        }
        groups = apart;
        groups.push(covered);
    }
    groups.sort();
    groups
}

/// Returns what a place measures, in each condition that is planned there, over all its planned lines (a variation may plan
/// the same again).
fn parts(job: &FinishedJob, (room, operation): RoomWork) -> Vec<ObservedPart> {
    let place = match room {
        Some(room) => job.rooms.iter().find(|candidate| candidate.id == room),
        // Work done once for the job: its rates do not differ by floor, any room's will do.
        None => job.rooms.first(),
    };
    let Some(place) = place else {
        return Vec::new();
    };
    let name: Arc<str> = if room.is_some() { &place.name } else { "" }.into();
    let mut found: BTreeMap<Option<FloorCondition>, ObservedPart> = BTreeMap::new();
    for work in job.work.iter().filter(|work| {
        work.room == room && work.operation == operation && work.contingency.is_none()
    }) {
        let part = found.entry(work.part).or_insert_with(|| ObservedPart {
            operation,
            room: name.clone(),
            class: place.class.in_part(work.part),
            driver: Decimal::ZERO,
            passes: 0,
        });
        part.driver += work.quantity;
        part.passes += work.passes;
    }
    found.into_values().collect()
}

/// Returns what the job's record leaves out.
pub fn gaps(job: &FinishedJob) -> Gaps {
    let touched = |work: &WorkLine, items_only: bool| {
        job.logged.iter().any(|logged| {
            let names = logged.rooms.is_empty()
                || work.room.is_some_and(|room| logged.rooms.contains(&room));
            let is_item = matches!(logged.what, What::Item { .. });
            names && (is_item || !items_only) && covers(logged, work)
        })
    };
    let mut gaps = Gaps::default();
    for room in &job.rooms {
        let counted: Vec<&WorkLine> = job
            .work
            .iter()
            .filter(|work| work.room == Some(room.id))
            .filter(|work| {
                work.item
                    .as_ref()
                    .is_some_and(|item| item.unit == crate::trade::Unit::Disc)
            })
            .collect();
        if !counted.is_empty() && !counted.iter().any(|work| touched(work, true)) {
            gaps.rooms_without_discs.push(room.name.clone());
        }
    }
    for work in job.work.iter().filter(|work| work.contingency.is_none()) {
        let listed = gaps.operations_without_entries.contains(&work.name);
        let any_room = job
            .work
            .iter()
            .any(|other| other.operation == work.operation && touched(other, false));
        if !listed && !any_room {
            gaps.operations_without_entries.push(work.name.clone());
        }
    }
    gaps.hours_on_nothing = job
        .logged
        .iter()
        .filter(|logged| matches!(logged.what, What::Hours { task: None, .. }))
        .map(|logged| logged.quantity)
        .sum();
    gaps
}

/// Tells whether an entry says something about a planned line, rooms aside.
fn covers(logged: &Logged, work: &WorkLine) -> bool {
    match &logged.what {
        What::Hours {
            operation: Some(operation),
            ..
        } => *operation == work.operation,
        What::Hours {
            task: Some(task),
            operation: None,
        } => *task == work.task,
        What::Item {
            operation: Some(operation),
            ..
        } => *operation == work.operation,
        What::Item {
            item,
            operation: None,
            ..
        } => work.item.as_ref().is_some_and(|needed| needed.id == *item),
        What::Hours {
            task: None,
            operation: None,
        }
        | What::OnTheRoad
        | What::LeftOver { .. }
        | What::Rental { .. }
        | What::Other { .. } => false,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use rust_decimal_macros::dec;

    use super::*;
    use crate::money::Money;
    use crate::trade::operation::Driver;
    use crate::trade::quote::ItemLine;
    use crate::trade::{EntryId, ItemId, Species, TaskId, Unit};

    const LANDING: RoomId = RoomId(1);
    const BEDROOM: RoomId = RoomId(2);
    const ROTARY_36: OperationId = OperationId(1);
    const ROTARY_80: OperationId = OperationId(2);

    fn sand() -> Task {
        Task {
            id: TaskId(1),
            name: "sand".into(),
        }
    }

    fn planned(room: RoomId, operation: OperationId, area: Decimal) -> WorkLine {
        let id = ItemId(operation.0);
        let item = ItemLine {
            id,
            name: format!("disc-{}", id.0),
            unit: Unit::Disc,
            expected: dec!(6),
            load: dec!(6),
            unit_price: dec!(3),
            cost: Money::from_minor(1800),
        };
        WorkLine {
            room: Some(room),
            part: None,
            operation,
            name: format!("rotary-{}", operation.0),
            task: sand(),
            driver: Driver::Area,
            quantity: area,
            passes: 1,
            contingency: None,
            item: Some(item),
            hours: dec!(0.5),
            labour: Money::from_minor(2000),
        }
    }

    fn job(logged: Vec<Logged>) -> FinishedJob {
        let class = FloorClass {
            condition: FloorCondition::WornFilm,
            species: Species::RedOak,
        };
        let room = |id, name: &str| FinishedRoom {
            id,
            name: name.into(),
            class,
        };
        FinishedJob {
            number: "J1".into(),
            finished_on: NaiveDate::from_ymd_opt(2026, 3, 3).unwrap(),
            rooms: vec![room(LANDING, "Landing"), room(BEDROOM, "Back bedroom")],
            work: vec![
                planned(LANDING, ROTARY_36, dec!(45)),
                planned(LANDING, ROTARY_80, dec!(45)),
                planned(BEDROOM, ROTARY_36, dec!(146)),
                planned(BEDROOM, ROTARY_80, dec!(146)),
            ],
            is_quoted: true,
            logged,
        }
    }

    fn log(what: What, rooms: &[RoomId], quantity: Decimal) -> Logged {
        Logged {
            entry: EntryId(1),
            rooms: rooms.to_vec(),
            what,
            quantity,
            cost: Money::from_minor(100),
            late: false,
            correction: false,
        }
    }

    fn discs(operation: OperationId) -> What {
        What::Item {
            item: ItemId(operation.0),
            name: "disc".into(),
            unit: Unit::Disc,
            operation: None,
        }
    }

    fn observations(job: &FinishedJob) -> Vec<Observation> {
        lessons(job)
            .into_iter()
            .map(|lesson| lesson.observation)
            .collect()
    }

    fn hours(task: Option<Task>) -> What {
        What::Hours {
            task,
            operation: None,
        }
    }

    #[test]
    fn only_what_was_logged_teaches() {
        let found = observations(&job(vec![log(discs(ROTARY_36), &[LANDING], dec!(6))]));
        assert_eq!(found.len(), 1);
        assert_eq!(
            (found[0].kind, found[0].quantity),
            (RateKind::Item, dec!(6))
        );
        assert_eq!(found[0].parts.len(), 1);
        assert_eq!(
            (&*found[0].parts[0].room, found[0].parts[0].driver),
            ("Landing", dec!(45))
        );
    }

    #[test]
    fn a_typed_zero_is_a_record_and_late_or_aimless_entries_are_not() {
        let zero = log(discs(ROTARY_36), &[LANDING], dec!(0));
        let late = Logged {
            late: true,
            ..log(discs(ROTARY_80), &[LANDING], dec!(3))
        };
        let aimless = log(hours(None), &[LANDING], dec!(2));
        let job = job(vec![zero, late, aimless]);
        assert_eq!(
            observations(&job)
                .iter()
                .map(|found| found.quantity)
                .collect::<Vec<_>>(),
            [dec!(0)]
        );
        assert_eq!(gaps(&job).hours_on_nothing, dec!(2));
    }

    #[test]
    fn hours_on_a_task_cover_all_its_operations_in_the_rooms_named() {
        let found = observations(&job(vec![log(
            hours(Some(sand())),
            &[LANDING, BEDROOM],
            dec!(4),
        )]));
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].parts.len(), 4);
    }

    #[test]
    fn without_a_quote_hours_on_a_task_teach_nothing() {
        let of_one = |operation| What::Hours {
            task: Some(sand()),
            operation: Some(operation),
        };
        let job = FinishedJob {
            is_quoted: false,
            ..job(vec![
                log(discs(ROTARY_36), &[LANDING], dec!(6)),
                log(of_one(ROTARY_36), &[LANDING], dec!(1.5)),
                log(hours(Some(sand())), &[LANDING], dec!(4)),
            ])
        };
        let found = observations(&job);
        let taught: Vec<_> = found
            .iter()
            .map(|found| (found.kind, found.quantity, found.parts.len()))
            .collect();
        assert_eq!(
            taught,
            [
                (RateKind::Item, dec!(6), 1),
                (RateKind::Hours, dec!(1.5), 1)
            ]
        );
    }

    #[test]
    fn overlapping_entries_are_one_observation() {
        let found = observations(&job(vec![
            log(discs(ROTARY_36), &[LANDING], dec!(6)),
            log(discs(ROTARY_36), &[BEDROOM], dec!(12)),
            log(discs(ROTARY_36), &[], dec!(3)),
        ]));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].quantity, found[0].parts.len()), (dec!(21), 2));
    }

    #[test]
    fn gaps_name_rooms_and_operations() {
        let gaps = gaps(&job(vec![log(discs(ROTARY_36), &[LANDING], dec!(6))]));
        assert_eq!(gaps.rooms_without_discs, ["Back bedroom"]);
        assert_eq!(gaps.operations_without_entries, ["rotary-2"]);
    }

    proptest! {
        /// A part is to its room what a room is to its job: what is logged on the room teaches what it would on two rooms of
        /// those floors, logged together.
        #[test]
        fn a_room_with_a_part_teaches_as_two_rooms_do(
            (own, other) in (0..FloorCondition::ALL.len(), 0..FloorCondition::ALL.len()),
            areas in proptest::collection::vec((1_u32..400, any::<[bool; 2]>()), 1..5),
            took in proptest::collection::vec((0_usize..5, 1_u32..40, any::<bool>()), 1..6),
        ) {
            let [own, other] = [own, other].map(|place| FloorClass {
                condition: FloorCondition::ALL[place],
                species: Species::RedOak,
            });
            let two = job(Vec::new());
            let rooms = [own, other].into_iter().zip(&two.rooms);
            let rooms = rooms.map(|(class, room)| FinishedRoom { class, ..room.clone() }).collect();
            let mut two = FinishedJob { rooms, work: Vec::new(), ..two };
            for (operation, (area, done)) in (1..).zip(&areas) {
                for room in [LANDING, BEDROOM].into_iter().zip(done).filter_map(|(room, done)| done.then_some(room)) {
                    two.work.push(planned(room, OperationId(operation), Decimal::from(*area)));
                }
            }
            let logged = |rooms: &[RoomId]| {
                let logged = took.iter().map(|(operation, quantity, is_item)| {
                    let what = match is_item {
                        true => discs(OperationId(1 + *operation as i64)),
                        false => hours(Some(sand())),
                    };
                    log(what, rooms, Decimal::from(*quantity))
                });
                logged.collect::<Vec<_>>()
            };
            two.logged = logged(&[LANDING, BEDROOM]);
            let mut one = FinishedJob { rooms: two.rooms[..1].to_vec(), logged: logged(&[LANDING]), ..two.clone() };
            for work in one.work.iter_mut().filter(|work| work.room == Some(BEDROOM)) {
                work.room = Some(LANDING);
                work.part = Some(other.condition);
            }
            let nameless = |job: &FinishedJob| {
                let mut found = observations(job);
                for observation in &mut found {
                    for part in &mut observation.parts {
                        part.room = "".into();
                    }
                    observation.parts.sort_by_key(|part| (part.operation, part.class));
                }
                found
            };
            prop_assert_eq!(nameless(&one), nameless(&two));
        }
    }
}
