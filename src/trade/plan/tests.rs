//! Plans of random houses, against every plan that there is.

use std::collections::{BTreeMap, HashMap};
use std::rc::Rc;

use chrono::{Days, NaiveDate, Weekday};
use proptest::prelude::*;
use rust_decimal_macros::dec;

use super::bound::least_in_groups;
use super::calendar::{self, Day, Moment};
use super::replay::replay;
use super::*;
use crate::trade::rental::{Away, MORNING};

/// A house and its owner's wishes, as drawn.
#[derive(Clone, Debug)]
struct Drawn {
    /// Minutes before the coats, of each room.
    before: Vec<i64>,
    /// Minutes of a coat.
    coat: Vec<i64>,
    /// Minutes of trim.
    after: Vec<i64>,
    /// Rooms whose doorway leads to an earlier one, by draw; beyond all: outside.
    links: Vec<usize>,
    more: Vec<(usize, usize)>,
    /// A place that isn't refinished, next to which room.
    bath: usize,
    /// A room in which something hardens, after how many hundredths of all that is sanded, and for how many hours.
    hardening: Option<(usize, i64, i64)>,
    hours_between: i64,
    coats: usize,
    light_use: i64,
    keeps: Vec<(u64, u32)>,
    night_away: NightAway,
    day_closed: i64,
    most_rooms: Option<u32>,
    furniture_first: bool,
    sealed: bool,
    /// Whether no machine is rented for sanding.
    by_hand: bool,
    together: Option<(usize, usize)>,
    apart: Option<(usize, usize)>,
    start: u64,
    holiday: Option<u64>,
    away: Option<(u64, u64)>,
    /// A room of another job, from which day on it is wet, and for how many nights.
    wet: Option<(usize, u64, u64)>,
    /// From which day on another job makes dust, and for how many days.
    dust: Option<(u64, u64)>,
    week: i64,
    weekend: Option<i64>,
    crew: i64,
}

impl Drawn {
    /// Whether some day isn't as it is every week.
    fn is_special(&self) -> bool {
        self.away.is_some() || self.holiday.is_some() || self.wet.is_some() || self.dust.is_some()
    }
}

fn drawn(rooms: std::ops::RangeInclusive<usize>) -> impl Strategy<Value = Drawn> {
    let by_room = |most: i64, rooms: usize| proptest::collection::vec(0..most, rooms);
    rooms.prop_flat_map(move |rooms| {
        (
            (
                proptest::collection::vec(60_i64..700, rooms),
                proptest::collection::vec(20_i64..120, rooms),
                prop_oneof![Just(vec![0_i64; rooms]), by_room(40, rooms)],
                proptest::collection::vec(0_usize..100, rooms),
                proptest::collection::vec((0..rooms, 0..rooms), 0..3),
                (
                    0..rooms,
                    proptest::option::weighted(
                        0.4,
                        (
                            0..rooms,
                            1_i64..=100,
                            prop_oneof![Just(4_i64), Just(24), Just(40)],
                        ),
                    ),
                ),
                prop_oneof![Just(3_i64), Just(24)],
                1_usize..4,
                prop_oneof![Just(24_i64), Just(72)],
            ),
            (
                proptest::collection::vec((1_u64..1 << (rooms + 1), 1_u32..3), 0..3),
                proptest::option::of(0_i64..20_000),
                prop_oneof![Just(0_i64), 0_i64..4000],
                proptest::option::of(1_u32..4),
                any::<bool>(),
                any::<bool>(),
                proptest::option::weighted(0.2, (0..rooms, 0..rooms)),
                proptest::option::weighted(0.2, (0..rooms, 0..rooms)),
            ),
            (
                0_u64..5,
                proptest::option::weighted(0.3, 1_u64..12),
                proptest::option::weighted(0.2, (0_u64..8, 0_u64..6)),
                (
                    proptest::option::weighted(0.3, (0..=rooms, 0_u64..8, 1_u64..4)),
                    proptest::option::weighted(0.3, (0_u64..8, 1_u64..4)),
                ),
                20_000_i64..60_000,
                proptest::option::of(9_000_i64..20_000),
                prop_oneof![Just(480_i64), Just(960)],
            ),
        )
            .prop_map(|(rooms, wishes, world)| {
                let (
                    before,
                    coat,
                    after,
                    links,
                    more,
                    (bath, hardening),
                    hours_between,
                    coats,
                    light_use,
                ) = rooms;
                let (
                    keeps,
                    night_away,
                    day_closed,
                    most_rooms,
                    furniture_first,
                    sealed,
                    together,
                    apart,
                ) = wishes;
                let (start, holiday, away, (wet, dust), week, weekend, crew) = world;
                Drawn {
                    before,
                    coat,
                    after,
                    links,
                    more,
                    bath,
                    hardening,
                    hours_between,
                    coats,
                    light_use,
                    keeps,
                    night_away: night_away.map_or(NightAway::Refused, |price| {
                        NightAway::Costs(Money::from_minor(price))
                    }),
                    day_closed,
                    most_rooms,
                    furniture_first,
                    sealed,
                    by_hand: false,
                    together,
                    apart,
                    start,
                    holiday,
                    away,
                    wet,
                    dust,
                    week,
                    weekend,
                    crew,
                }
            })
    })
}

/// Everything that a brief borrows.
struct World {
    house: House,
    calendar: Calendar,
    machines: Vec<Machine>,
    buffer: Vec<Machine>,
    drawn: Drawn,
}

impl World {
    fn new(drawn: Drawn) -> World {
        let rooms = drawn.before.len();
        let mut places: Vec<Place> = (0..rooms)
            .map(|room| Place {
                id: RoomId(room as i64 + 1),
                name: format!("Room {room}"),
                refinished: true,
            })
            .collect();
        places.push(Place {
            id: RoomId(100),
            name: "Bath".to_owned(),
            refinished: false,
        });
        let mut doorways: Vec<(usize, Option<usize>)> = vec![(0, None), (rooms, Some(drawn.bath))];
        for (room, link) in drawn.links.iter().enumerate().skip(1) {
            // One room in six has a door to the outside too.
            doorways.push((room, Some(link % room)));
            if link % 6 == 0 {
                doorways.push((room, None));
            }
        }
        let more = drawn.more.iter().filter(|(one, another)| one != another);
        doorways.extend(more.map(|(one, another)| (*one, Some(*another))));
        let machine = |id, day: i64, week, weekend| Machine {
            id: MachineId(id),
            name: format!("machine {id}"),
            tariff: Tariff {
                half_day: None,
                day: Money::from_minor(day),
                weekend,
                week: Some(week),
                four_weeks: None,
                waiver_percent: dec!(10),
                cleaning: Money::from_minor(1500),
            },
        };
        let week = Money::from_minor(drawn.week);
        let weekend = drawn.weekend.map(Money::from_minor);
        let mut world = World {
            house: House::new(places, &doorways).unwrap(),
            calendar: Calendar {
                working_days: vec![
                    Weekday::Mon,
                    Weekday::Tue,
                    Weekday::Wed,
                    Weekday::Thu,
                    Weekday::Fri,
                ],
                holidays: BTreeMap::new(),
                day: WorkingDay {
                    crew_minutes: drawn.crew,
                    day_minutes: 480,
                },
            },
            machines: vec![
                machine(1, 8000, week, weekend),
                machine(2, 4500, Money::from_minor(15_000), None),
            ],
            buffer: vec![machine(3, 4000, Money::from_minor(13_600), weekend)],
            drawn,
        };
        let holidays = world.holidays();
        world.calendar.holidays = holidays;
        world
    }

    fn start(&self) -> NaiveDate {
        let monday: NaiveDate = "2026-11-02".parse().unwrap();
        monday + Days::new(self.drawn.start)
    }

    /// The holiday, and the days on which another job is wet.
    fn holidays(&self) -> BTreeMap<NaiveDate, String> {
        let drawn = self.drawn.holiday.into_iter();
        let drawn = drawn.map(|holiday| self.start() + Days::new(holiday));
        let wet = self.wet().into_iter().flat_map(|wet| {
            let days = wet.from.iter_days();
            days.take_while(move |day| *day <= wet.until.date())
        });
        drawn.chain(wet).map(|day| (day, String::new())).collect()
    }

    fn needs(&self, rooms: Places) -> Needs {
        let drawn = &self.drawn;
        let sum = |minutes: &[i64]| rooms.numbers().map(|room| minutes[room]).sum::<i64>();
        let coat = |number: usize| Coat {
            name: format!("coat {number}"),
            minutes: sum(&drawn.coat),
            recoat: drawn.hours_between * 60,
            by_machine: number > 0,
        };
        // Setting up takes three quarters of an hour.
        let before = 45 + sum(&drawn.before);
        let hardening = drawn.hardening.filter(|(room, ..)| rooms.has(*room));
        Needs {
            before,
            hardening: hardening.map(|(_, after, hours)| Hardening {
                after: before * after / 100,
                lasts: hours * 60,
            }),
            coats: (0..drawn.coats).map(coat).collect(),
            light_use: drawn.light_use * 60,
            after: sum(&drawn.after),
            furniture_days: Some(3),
            cure_days: None,
            // The first room is a stair, sanded by hand.
            sands_by_machine: rooms.0 != 1 && !drawn.by_hand,
            // So is every house that starts on a Wednesday: its last cut is the buffer's.
            sands_with_coating_machines: drawn.start == 2,
        }
    }

    /// A room of the house, or the bath, wet from the noon of a day to the ninth hour of another.
    fn wet(&self) -> Vec<Wet> {
        let start = self.start();
        let wet = self.drawn.wet.iter();
        let wet = wet.map(|(room, from, nights)| Wet {
            rooms: Places::one(*room),
            from: start + Days::new(*from),
            until: (start + Days::new(from + nights))
                .and_hms_opt(9, 0, 0)
                .unwrap(),
        });
        wet.collect()
    }

    fn dusty(&self) -> BTreeSet<NaiveDate> {
        let start = self.start();
        let dust = self.drawn.dust.into_iter();
        dust.flat_map(|(from, days)| (from..from + days).map(move |day| start + Days::new(day)))
            .collect()
    }

    fn brief(&self) -> Brief<'_> {
        let drawn = &self.drawn;
        let start = self.start();
        let pair = |pair: Option<(usize, usize)>| {
            let pair = pair.filter(|(one, another)| one != another);
            pair.map(|(one, another)| Places::one(one).with(Places::one(another)))
        };
        let away = drawn.away.map(|(from, nights)| {
            let from = start + Days::new(from);
            (from, from + Days::new(nights))
        });
        let keeps = drawn.keeps.iter().map(|(places, least)| Keep {
            places: Places(*places),
            least: (*least).min(places.count_ones()),
        });
        Brief {
            house: &self.house,
            calendar: &self.calendar,
            needs: Rc::new(|rooms| self.needs(rooms)),
            start,
            begun: Vec::new(),
            anew_from: start,
            end: None,
            keeps: keeps.collect(),
            wet: self.wet(),
            dusty: self.dusty(),
            away: away.into_iter().collect(),
            night_away: drawn.night_away,
            day_closed: Money::from_minor(drawn.day_closed),
            most_rooms: drawn.most_rooms,
            furniture_first: drawn.furniture_first,
            sealed: drawn.sealed,
            together: pair(drawn.together).into_iter().collect(),
            apart: pair(drawn.apart).into_iter().collect(),
            set_up: Money::from_minor(4000),
            sanding_machines: &self.machines,
            coating_machines: &self.buffer,
            progress: &|_| (),
        }
    }
}

/// Since when the machines are out, and the last day on which they were used.
type Out = Option<(Day, Day)>;

/// How the phase before leaves the house: from when on anything can begin, from when on something beside it, which rooms
/// are wet, and until when.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Before {
    ready: Day,
    beside: Day,
    wet: Places,
    until: Moment,
}

/// Tries every plan that there is: every set of rooms next, on every day within three weeks, with the machines kept or
/// returned. Nothing is left out, and nothing compared but cost and finish.
struct Everything<'a> {
    brief: &'a Brief<'a>,
    known: HashMap<(Places, Before, Out), Option<(i64, Day)>>,
    dated: HashMap<(Places, Day), Option<(i64, calendar::Times)>>,
    rented: HashMap<(Day, Day), i64>,
    longest_wait: Day,
}

impl Everything<'_> {
    /// Returns the least that the rest costs, with its finish.
    fn rest(&mut self, rest: Places, before: Before, out: Out) -> Option<(i64, Day)> {
        if rest.is_empty() {
            let returned = out.map_or(0, |(out, back)| self.sanding_rental(out, back));
            return Some((returned, 0));
        }
        if let Some(known) = self.known.get(&(rest, before, out)) {
            return *known;
        }
        let mut best: Option<(i64, Day)> = None;
        let mut bits = rest.0;
        while bits != 0 {
            let phase = Places(bits);
            bits = (bits - 1) & rest.0;
            if !self.is_allowed(phase) {
                continue;
            }
            for start in before.beside..before.ready + self.longest_wait {
                let Some((cost, times)) = self.phase(phase, start) else {
                    continue;
                };
                let reached = self.brief.house.reachable(before.wet);
                let first_coat = times.first_coat.unwrap();
                let beside = phase.is_within(reached) && first_coat >= before.until;
                if start < before.ready && !beside {
                    continue;
                }
                let mut next = calendar::day(
                    self.first_working(calendar::date(times.done.day), times.done.minute > 480),
                );
                if self.brief.furniture_first {
                    next = next.max(calendar::day(
                        self.first_working(calendar::date(times.furniture), false),
                    ));
                }
                let needs = (self.brief.needs)(phase);
                let overlaps = self.brief.sealed && !self.brief.furniture_first && needs.after == 0;
                let after_coat = calendar::date(times.last_coat.unwrap());
                let beside = calendar::day(self.first_working(after_coat, true));
                let beside = if overlaps { beside.min(next) } else { next };
                let next = Before {
                    ready: next,
                    beside,
                    // What is dry by then makes no difference.
                    wet: if beside < next { phase } else { Places::NONE },
                    until: if beside < next {
                        times.light_use
                    } else {
                        Moment::midnight(0)
                    },
                };
                let sanded = needs.sands_by_machine;
                let mut ways: Vec<(i64, Option<(Day, Day)>)> = Vec::new();
                match (sanded, out) {
                    (false, out) => ways.push((cost, out)),
                    (true, None) => ways.push((cost, Some((start, times.last_sanding)))),
                    (true, Some((since, back))) => {
                        ways.push((cost, Some((since, times.last_sanding))));
                        let returned = self.sanding_rental(since, back);
                        ways.push((cost + returned, Some((start, times.last_sanding))));
                    }
                }
                for (cost, out) in ways {
                    if let Some((more, finish)) = self.rest(rest.without(phase), next, out) {
                        let way = (cost + more, finish.max(times.furniture));
                        best = Some(best.map_or(way, |best| best.min(way)));
                    }
                }
            }
        }
        self.known.insert((rest, before, out), best);
        best
    }

    fn is_allowed(&self, phase: Places) -> bool {
        let brief = self.brief;
        let whole =
            |together: &Places| phase.shared(*together).is_empty() || together.is_within(phase);
        brief.most_rooms.is_none_or(|most| phase.count() <= most)
            && brief.together.iter().all(whole)
            && brief
                .apart
                .iter()
                .all(|apart| phase.shared(*apart).count() < 2)
    }

    fn first_working(&self, day: NaiveDate, after: bool) -> NaiveDate {
        let mut day = if after { day + Days::new(1) } else { day };
        while !self.brief.calendar.works_on(day) {
            day = day + Days::new(1);
        }
        day
    }

    fn sanding_rental(&mut self, out: Day, back: Day) -> i64 {
        if let Some(known) = self.rented.get(&(out, back)) {
            return *known;
        }
        let rental = self.rental(self.brief.sanding_machines, out, back);
        self.rented.insert((out, back), rental);
        rental
    }

    fn rental(&self, machines: &[Machine], out: Day, back: Day) -> i64 {
        let at = |day| calendar::date(day).and_hms_opt(MORNING, 0, 0).unwrap();
        let away = Away::new(at(out), at(back + 1)).unwrap();
        let covers = machines.iter().map(|machine| away.cover(&machine.tariff));
        covers.map(|cover| cover.total().minor()).sum()
    }

    /// Returns what a phase costs beside the sanding machines; `None`: not on that day.
    fn phase(&mut self, phase: Places, start: Day) -> Option<(i64, calendar::Times)> {
        if let Some(known) = self.dated.get(&(phase, start)) {
            return *known;
        }
        let dated = self.date(phase, start);
        self.dated.insert((phase, start), dated);
        dated
    }

    fn date(&self, phase: Places, start: Day) -> Option<(i64, calendar::Times)> {
        let brief = self.brief;
        if !brief.calendar.works_on(calendar::date(start)) {
            return None;
        }
        let needs = (brief.needs)(phase);
        let mut sanded: Vec<Day> = Vec::new();
        let tell = |day, doing, _, _| {
            if doing == Doing::Sand {
                sanded.push(day);
            }
        };
        let times = brief
            .calendar
            .table()
            .go_through(&needs, start, tell)
            .ok()?;
        let mut cost = brief.set_up.minor();
        if let Some(out) = times.coat_machines {
            cost += self.rental(brief.coating_machines, out.first, out.last);
        }
        let away = |day: Day| {
            let day = calendar::date(day);
            brief
                .away
                .iter()
                .any(|(from, to)| (*from..=*to).contains(&day))
        };
        let fails = |closed: Places| {
            let reachable = brief.house.reachable(closed);
            let mut keeps = brief.keeps.iter();
            keeps.any(|keep| keep.places.shared(reachable).count() < keep.least)
        };
        let first_coat = times.first_coat.unwrap().day;
        let Moment { day: open, minute } = times.light_use;
        for day in start..=open {
            let wet = day >= first_coat && (day < open || minute > 8 * 60 || day == first_coat);
            if (wet || sanded.contains(&day)) && !away(day) {
                cost += brief.day_closed.minor() * i64::from(phase.count());
            }
            if wet && brief.dusty.contains(&calendar::date(day)) {
                return None;
            }
            let night = day >= first_coat && (day < open || minute > 20 * 60);
            let beside = brief.wet.iter().filter(|wet| {
                // They are dry at nine in the morning.
                wet.from <= calendar::date(day) && calendar::date(day) < wet.until.date()
            });
            let beside = beside.fold(Places::NONE, |all, wet| all.with(wet.rooms));
            let lost = fails(phase.with(beside)) && !fails(beside);
            if night && lost && !away(day) {
                cost += brief.night_away.weight()?.minor();
            }
        }
        Some((cost, times))
    }
}

fn everything(brief: &Brief<'_>, longest_wait: Day) -> Option<(i64, NaiveDate)> {
    let mut everything = Everything {
        brief,
        known: HashMap::new(),
        dated: HashMap::new(),
        rented: HashMap::new(),
        longest_wait,
    };
    let ready = calendar::day(everything.first_working(brief.start, false));
    let before = Before {
        ready,
        beside: ready,
        wet: Places::NONE,
        until: Moment::midnight(0),
    };
    let (cost, finish) = everything.rest(brief.house.refinished(), before, None)?;
    Some((cost, calendar::date(finish)))
}

fn told(way: &Way) -> Option<(i64, NaiveDate)> {
    way.plan
        .as_ref()
        .map(|plan| (plan.costs.total().minor(), plan.finish))
}

/// Checks an answer against itself: every plan holds, and none beats the best.
fn check(brief: &Brief<'_>, answer: &Answer) {
    let cheapest = answer.cheapest.as_ref().unwrap_or(&answer.chosen);
    for way in [
        &answer.chosen,
        cheapest,
        &answer.one_by_one,
        &answer.all_at_once,
    ] {
        if let Some(plan) = &way.plan {
            replay(brief, plan).unwrap();
            assert!(told(cheapest).unwrap() <= told(way).unwrap());
            assert!(plan.costs.total() >= answer.bound);
        } else {
            assert!(!way.why.is_empty());
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn no_plan_beats_the_best_of_a_small_house(drawn in drawn(1..=5)) {
        let world = World::new(drawn.clone());
        let brief = &world.brief();
        let answer = plan(brief, None);
        check(brief, &answer);
        // Waits beyond what a special date can make worth while.
        let longest = if drawn.is_special() { 22 } else { 9 };
        assert_eq!(told(&answer.chosen), everything(brief, longest));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn no_plan_beats_the_best_where_rooms_are_sealed(drawn in drawn(2..=5)) {
        let drawn = Drawn {
            sealed: true,
            furniture_first: false,
            most_rooms: Some(1),
            after: vec![0; drawn.after.len()],
            // Every room has a door of its own to the outside.
            links: vec![0; drawn.links.len()],
            together: None,
            keeps: Vec::new(),
            holiday: None,
            away: None,
            wet: None,
            dust: None,
            ..drawn
        };
        let world = World::new(drawn);
        let brief = &world.brief();
        let answer = plan(brief, None);
        check(brief, &answer);
        assert_eq!(told(&answer.chosen), everything(brief, 9));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2))]

    #[test]
    fn no_plan_beats_the_best_of_a_house_of_seven_rooms(drawn in drawn(7..=7)) {
        let drawn = Drawn { holiday: None, away: None, wet: None, dust: None, sealed: false, ..drawn };
        let world = World::new(drawn);
        let brief = &world.brief();
        let answer = plan(brief, None);
        check(brief, &answer);
        assert_eq!(told(&answer.chosen), everything(brief, 7));
    }

    #[test]
    fn no_plan_beats_the_best_of_a_house_sanded_by_hand(drawn in drawn(5..=7)) {
        let drawn = Drawn { holiday: None, away: None, wet: None, dust: None, by_hand: true, ..drawn };
        let world = World::new(drawn);
        let brief = &world.brief();
        let answer = plan(brief, None);
        check(brief, &answer);
        assert_eq!(told(&answer.chosen), everything(brief, 7));
    }

    #[test]
    fn a_large_house_has_a_plan_that_holds_and_a_bound(drawn in drawn(13..=14)) {
        let drawn = Drawn { crew: 960, ..drawn };
        let world = World::new(drawn);
        let brief = &world.brief();
        check(brief, &plan(brief, None));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn a_bound_by_groups_is_below_the_best(drawn in drawn(3..=6)) {
        let world = World::new(drawn);
        let brief = &world.brief();
        let answer = plan(brief, None);
        if let Some(plan) = answer.chosen.plan {
            for size in 1..=4 {
                let work = Steps::new(u64::MAX, &|_| ());
                let search = Search::new(brief, &work);
                let bound = least_in_groups(&search, brief.house.refinished(), size);
                assert!(bound <= plan.costs.total(), "groups of {size}: {bound:?}");
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20))]

    #[test]
    fn a_plan_named_by_hand_never_beats_the_best(
        drawn in drawn(2..=6),
        places in proptest::collection::vec(0_usize..6, 6),
    ) {
        let rooms = drawn.before.len();
        let mut phases = vec![Places::NONE; 6];
        for room in 0..rooms {
            phases[places[room]] = phases[places[room]].with(Places::one(room));
        }
        phases.retain(|phase| !phase.is_empty());
        let world = World::new(drawn);
        let brief = &world.brief();
        check(brief, &plan(brief, Some(&phases)));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn no_plan_has_fewer_nights_where_they_were_refused(drawn in drawn(2..=4)) {
        let drawn = Drawn { night_away: NightAway::Fewest, ..drawn };
        let world = World::new(drawn.clone());
        let brief = &world.brief();
        let answer = plan(brief, None);
        let longest = if drawn.is_special() { 22 } else { 9 };
        let best = everything(brief, longest).map(|(cost, finish)| {
            let dear = NightAway::DEAR.minor();
            (cost / dear, cost % dear, finish)
        });
        let told = answer.chosen.plan.map(|plan| {
            replay(brief, &plan).unwrap();
            let nights = plan.nights_away().count() as i64;
            (nights, plan.costs.total().minor(), plan.finish)
        });
        assert_eq!(told, best);
    }

    #[test]
    fn what_has_begun_stays_and_the_rest_comes_later(
        drawn in drawn(3..=5),
        lost in 0_u64..24,
        today in 0_u64..16,
    ) {
        let drawn = Drawn { night_away: NightAway::Fewest, ..drawn };
        let world = World::new(drawn);
        let brief = &world.brief();
        let Some(before) = plan(brief, None).chosen.plan else { return Ok(()) };
        let mut calendar = brief.calendar.clone();
        calendar.holidays.insert(brief.start + Days::new(lost), "lost".to_owned());
        let anew_from = brief.start + Days::new(today);
        let rooms = |phase: &Phase| -> Places {
            phase.rooms.iter().map(|room| room.0 as usize - 1).collect()
        };
        let phases = before.phases.iter().enumerate();
        let begun = phases.take_while(|(_, phase)| phase.work[0].day <= anew_from);
        let begun: Vec<Begun> = begun
            .map(|(number, phase)| {
                let rentals = before.rentals.iter();
                let until = rentals.filter(|rental| rental.machine != MachineId(3));
                let until = until.filter(|rental| rental.out <= phase.work[0].day);
                let until = until.map(|rental| rental.last_day).max();
                let next = before.phases.get(number + 1).map(|next| next.work[0].day);
                Begun {
                    rooms: rooms(phase),
                    first: phase.work[0].day,
                    returned: next.is_none_or(|next| until.is_none_or(|until| until < next)),
                }
            })
            .collect();
        // Where nothing has begun, all of it begins whenever it can.
        let anew_from = if begun.is_empty() { brief.start } else { anew_from };
        let again = Brief { calendar: &calendar, anew_from, begun, ..brief.with_nights() };
        let answer = plan(&again, None);
        let after = answer.chosen.plan.unwrap();
        replay(&again, &after).unwrap();
        for (number, begun) in again.begun.iter().enumerate() {
            assert_eq!(rooms(&after.phases[number]), begun.rooms);
        }
        // What went back before today, and before anything was lost, did so.
        for rental in &before.rentals {
            let ended = rental.last_day < anew_from && lost > today;
            let same = after.rentals.iter().any(|other| {
                (other.machine, other.out, other.last_day)
                    == (rental.machine, rental.out, rental.last_day)
            });
            assert!(!ended || same, "{rental:?} in {:?}", after.rentals);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn what_is_cut_short_holds_and_claims_nothing(drawn in drawn(2..=5), budget in 0_u64..60_000) {
        let world = World::new(drawn);
        let brief = &world.brief();
        let all = plan(brief, None);
        assert!(all.proven);
        let short = plan_within(brief, None, budget);
        check(brief, &short);
        assert_eq!(told(&short.chosen), told(&plan_within(brief, None, budget).chosen));
        let (best, found) = (told(&all.chosen), told(&short.chosen));
        if short.proven {
            assert_eq!(found, best);
        }
        if let Some(plan) = &all.chosen.plan {
            assert!(short.bound <= plan.costs.total(), "a bound that is above a plan");
        }
        if let Some(found) = found {
            assert!(Some(found) >= best);
        } else {
            let all_tried = short.chosen.why.contains(&Remark::NothingMends { all_tried: true });
            assert!(short.proven || !all_tried, "{:?}", short.chosen.why);
        }
    }
}

#[test]
fn work_is_counted_and_told_in_hundredths() {
    let told = std::cell::RefCell::new(Vec::new());
    let tell = |hundredths| told.borrow_mut().push(hundredths);
    let work = Steps::new(work::BUDGET, &tell);
    work.allow(50);
    let mut steps = 0;
    while work.is_left() {
        work.count(1_000);
        steps += 1_000;
    }
    assert_eq!(steps, work::BUDGET / 2);
    work.allow(80);
    while work.is_left() {
        work.count(1_000);
    }
    // Fifty hundredths and what is left after them, which isn't eighty.
    assert_eq!(*told.borrow(), (1..=100).collect::<Vec<u32>>());
}

/// Two rooms of a day's sanding each, both with a door of their own to the outside.
fn two_rooms() -> Drawn {
    Drawn {
        before: vec![400, 400],
        coat: vec![60, 60],
        after: vec![0, 0],
        links: vec![0, 0],
        more: Vec::new(),
        bath: 0,
        hardening: None,
        hours_between: 24,
        coats: 2,
        light_use: 72,
        keeps: Vec::new(),
        night_away: NightAway::Refused,
        day_closed: 0,
        most_rooms: Some(1),
        furniture_first: false,
        sealed: false,
        by_hand: false,
        together: None,
        apart: None,
        start: 0,
        holiday: None,
        away: None,
        wet: None,
        dust: None,
        week: 28_000,
        weekend: None,
        crew: 480,
    }
}

#[test]
fn a_plan_that_does_not_wait_for_what_hardens_does_not_hold() {
    let drawn = Drawn {
        hardening: Some((0, 50, 24)),
        ..two_rooms()
    };
    let waits = World::new(drawn.clone());
    let hasty = World::new(Drawn {
        hardening: None,
        ..drawn
    });
    let plan_of = |brief: &Brief<'_>| plan(brief, None).chosen.plan.unwrap();
    let (brief, hasty) = (&waits.brief(), &hasty.brief());
    let (patient, mut hasty) = (plan_of(brief), plan_of(hasty));
    assert_eq!(replay(brief, &patient), Ok(()));
    for phase in &mut hasty.phases {
        let rooms: Places = phase.rooms.iter().map(|room| room.0 as usize - 1).collect();
        phase.needs = (brief.needs)(rooms);
    }
    let flaw = replay(brief, &hasty).unwrap_err();
    assert_eq!(
        flaw.to_string(),
        "it doesn't hold on 2026-11-02: sanding what isn't hard"
    );
}

#[test]
fn a_sealed_room_dries_while_the_next_is_sanded() {
    let drawn = two_rooms();
    let finish = |sealed| {
        let drawn = Drawn {
            sealed,
            ..drawn.clone()
        };
        let world = World::new(drawn);
        let brief = &world.brief();
        let answer = plan(brief, None);
        check(brief, &answer);
        let plan = answer.chosen.plan.unwrap();
        let begins = plan.phases[1].work[0].day;
        (begins < plan.phases[0].light_use.date(), plan.finish)
    };
    let (apart, sealed) = (finish(false), finish(true));
    assert!(
        !apart.0 && sealed.0,
        "the second phase begins while the first is wet"
    );
    assert!(sealed.1 < apart.1);
}
