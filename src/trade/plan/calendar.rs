//! The calendar of a phase: on which days a set of rooms is sanded, coated and given back.
//!
//! The crew works so many hours of labour in a working day, all together. They fill the clock's working day evenly, so
//! that half of the labour is done by half of the day; drying goes by the clock, day and night, weekends and holidays.
//!
//! A phase takes, in this order:
//!
//! * what comes before the coats (set-up, repairs, sanding, vacuuming), over as many working days as it needs; where filler
//!   or glue has to harden first, it waits for that by the clock, once: after the first cut and the repairs, before the
//!   finer cuts. That is when filler is put in. Plugs could be glued in before anything is sanded; put in with the
//!   filler, they harden meanwhile, and a phase never waits twice;
//! * each coat with the abrading before it, as soon as the coat below has dried, within one working day: a wet edge
//!   doesn't wait for the morning;
//! * trim, once the floor can be walked on;
//! * the furniture, after the days that the schedule states, and the full cure.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Weekday};
use thiserror::Error;

use crate::trade::rental::MORNING;

/// The hour from which it is night at home: who can't get to bed then is away for the night.
pub const EVENING: u32 = 20;

/// Minutes in an hour.
pub(super) const HOUR: i64 = 60;
/// Minutes in a day of the clock.
pub(super) const DAY: i64 = 24 * HOUR;
/// The minute at which a working day begins.
const BEGINS: i64 = MORNING as i64 * HOUR;

/// A date, as days of the common era: cheap to count with.
pub(super) type Day = i32;

/// When the crew works.
#[derive(Clone, Debug)]
pub struct Calendar {
    /// The days of the week that are worked.
    pub working_days: Vec<Weekday>,
    /// Days that aren't worked, each with its name, which may be empty.
    pub holidays: BTreeMap<NaiveDate, String>,
    /// What a working day is.
    pub day: WorkingDay,
}

/// How much the crew does in a working day, and how long that is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WorkingDay {
    /// Minutes of labour, of all together; above zero.
    pub crew_minutes: i64,
    /// Minutes on the clock; above zero.
    pub day_minutes: i64,
}

/// What a set of rooms takes when it is done together.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Needs {
    /// Minutes of labour before the first coat.
    pub before: i64,
    /// What hardens meanwhile; `None`: nothing does.
    pub hardening: Option<Hardening>,
    /// The coats, each with what is abraded before it.
    pub coats: Vec<Coat>,
    /// Minutes on the clock from the end of the last coat until the floor is walked on.
    pub light_use: i64,
    /// Minutes of labour after that.
    pub after: i64,
    /// Days from the last coat until the furniture is back; `None`: it comes back when the floor is walked on.
    pub furniture_days: Option<i64>,
    /// Days from the last coat to full cure; `None`: the book doesn't say.
    pub cure_days: Option<i64>,
    /// Whether sanding takes rented machines that no coat takes.
    pub sands_by_machine: bool,
    /// Whether sanding takes machines that coats take too; then they are out from the first day.
    pub sands_with_coating_machines: bool,
}

/// Filler or glue that hardens before a set of rooms is sanded on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hardening {
    /// How many of the minutes before the coats come first: the first cut, and the repairs; above zero.
    pub after: i64,
    /// How many minutes on the clock it takes.
    pub lasts: i64,
}

/// A coat over a set of rooms.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Coat {
    /// The operations that lay it, such as `oil-coat`.
    pub name: String,
    /// Minutes of labour, abrading included.
    pub minutes: i64,
    /// Minutes on the clock from its end until the next coat's abrading can begin.
    pub recoat: i64,
    /// Whether it takes rented machines.
    pub by_machine: bool,
}

/// Why a set of rooms can't be done together.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
#[error("`{coat}` takes {hours} hours at once, and the crew has {day_hours} in a working day")]
pub struct CoatTooLong {
    /// The coat.
    pub coat: String,
    /// How long it takes, in hours of labour.
    pub hours: crate::money::Decimal,
    /// What the crew does in a working day, in the same.
    pub day_hours: crate::money::Decimal,
}

/// What is done in a stretch of a working day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doing {
    /// Set-up, repairs, sanding, vacuuming.
    Sand,
    /// The coat of that number, from 0 on.
    Coat(usize),
    /// Trim.
    Trim,
}

/// A stretch of work within one working day, in minutes of labour from its beginning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The day.
    pub day: NaiveDate,
    /// What is done.
    pub doing: Doing,
    /// From which minute of labour of that day.
    pub from: i64,
    /// To which.
    pub to: i64,
}

/// When a phase does what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Times {
    /// The last day before the coats; the first day, if nothing comes before them.
    pub(super) last_sanding: Day,
    /// The day on which something begins to harden, and the one on which work goes on.
    pub(super) hardening: Option<(Day, Day)>,
    /// The day of the first coat, and the minute of the clock at which it begins.
    pub(super) first_coat: Option<Day>,
    pub(super) first_coat_minute: i64,
    /// The day of the last coat.
    pub(super) last_coat: Option<Day>,
    /// The first and the last day on which coats take machines.
    pub(super) coat_machines: Option<(Day, Day)>,
    /// From when the floor is walked on: day and minute of the clock.
    pub(super) light_use: (Day, i64),
    /// When the crew is done: day and minute of the clock.
    pub(super) done: (Day, i64),
    /// The day on which the furniture is back.
    pub(super) furniture: Day,
    /// The day of the full cure.
    pub(super) cure: Option<Day>,
}

impl Times {
    /// Tells whether a day is spent waiting for something to harden.
    pub(super) fn waits_on(&self, day: Day) -> bool {
        self.hardening
            .is_some_and(|(from, until)| from < day && day < until)
    }

    /// Returns the days on which a coat closes the floor at some time of the working day, first and last.
    pub(super) fn wet_days(&self) -> Option<(Day, Day)> {
        let (day, minute) = self.light_use;
        let last = if minute > BEGINS { day } else { day - 1 };
        self.first_coat.map(|first| (first, last.max(first)))
    }

    /// Returns the nights in which a coat closes the floor, by the day on which they begin, first and last.
    pub(super) fn wet_nights(&self) -> Option<(Day, Day)> {
        let (day, minute) = self.light_use;
        let in_the_night = minute > i64::from(EVENING) * HOUR;
        let last = if in_the_night { day } else { day - 1 };
        let first = self.first_coat.filter(|first| *first <= last);
        first.map(|first| (first, last))
    }

    /// Returns the same nights, one by one.
    pub(super) fn nights(&self) -> impl Iterator<Item = Day> + use<> {
        let nights = self.wet_nights().into_iter();
        nights.flat_map(|(first, last)| first..=last)
    }
}

impl Calendar {
    /// Tells whether the crew works on a day.
    pub fn works_on(&self, day: NaiveDate) -> bool {
        self.working_days.contains(&day.weekday()) && !self.holidays.contains_key(&day)
    }

    /// Returns it as it is counted with.
    pub(super) fn table(&self) -> Table {
        let mut working = [false; 7];
        for day in &self.working_days {
            working[day.num_days_from_monday() as usize] = true;
        }
        Table {
            working,
            holidays: self
                .holidays
                .keys()
                .map(Datelike::num_days_from_ce)
                .collect(),
            crew: self.day.crew_minutes,
            day: self.day.day_minutes,
        }
    }
}

/// A calendar to count with.
#[derive(Clone, Debug)]
pub(super) struct Table {
    /// From Monday on.
    working: [bool; 7],
    /// In rising order.
    holidays: Vec<Day>,
    crew: i64,
    day: i64,
}

/// A time in a working day: the day, and minutes of labour since it began.
#[derive(Clone, Copy)]
struct LabourTime(Day, i64);

impl Table {
    /// Tells whether the crew works on a day.
    pub(super) fn works(&self, day: Day) -> bool {
        // The first day of the common era is a Monday of the calendar that is counted with.
        self.working[(day - 1).rem_euclid(7) as usize]
            && (self.holidays.is_empty() || self.holidays.binary_search(&day).is_err())
    }

    /// Returns the first working day from a day on.
    pub(super) fn working_from(&self, day: Day) -> Day {
        let mut day = day;
        while !self.works(day) {
            day += 1;
        }
        day
    }

    /// Returns the last holiday up to a day.
    pub(super) fn last_holiday(&self, until: Day) -> Option<Day> {
        let place = self.holidays.partition_point(|day| *day <= until);
        place.checked_sub(1).map(|last| self.holidays[last])
    }

    /// Returns the same crew without weekends and holidays: nothing takes longer than with them.
    pub(super) fn without_rest(&self) -> Table {
        Table {
            working: [true; 7],
            holidays: Vec::new(),
            ..*self
        }
    }

    /// Returns the minute of the clock at a place in a working day.
    fn clock(&self, labour: i64) -> i64 {
        // The crew is never early: part minutes count whole.
        BEGINS + (labour * self.day + self.crew - 1) / self.crew
    }

    /// Returns the first place in a working day that isn't before a moment.
    fn place(&self, (day, minute): (Day, i64)) -> LabourTime {
        if !self.works(day) {
            return LabourTime(self.working_from(day + 1), 0);
        }
        let labour = ((minute - BEGINS).max(0) * self.crew + self.day - 1) / self.day;
        if labour < self.crew {
            LabourTime(day, labour)
        } else {
            LabourTime(self.working_from(day + 1), 0)
        }
    }

    /// Goes through a phase that begins on a working day, and tells of every stretch of work.
    ///
    /// # Errors
    /// Returns the number of a coat that takes more than a working day.
    pub(super) fn go_through(
        &self,
        needs: &Needs,
        start: Day,
        mut tell: impl FnMut(Day, Doing, i64, i64),
    ) -> Result<Times, usize> {
        let first = needs.hardening.map_or(needs.before, |first| first.after);
        let mut at = self.labour(LabourTime(start, 0), first, Doing::Sand, &mut tell);
        let (mut last_sanding, mut hardening) = (at.0, None);
        let finer = needs.before - first;
        if let Some(Hardening { lasts, .. }) = needs.hardening
            && (finer > 0 || !needs.coats.is_empty())
        {
            at = self.place(later((at.0, self.clock(at.1)), lasts));
            hardening = Some((last_sanding, at.0));
            at = self.labour(at, finer, Doing::Sand, &mut tell);
            if finer > 0 {
                last_sanding = at.0;
            }
        }
        let (mut first_coat, mut last_coat, mut first_coat_minute) = (None, None, BEGINS);
        let from_first_day = needs.sands_with_coating_machines && needs.before > 0;
        let mut coat_machines = from_first_day.then_some((start, last_sanding));
        let mut dry = (at.0, self.clock(at.1));
        for (number, coat) in needs.coats.iter().enumerate() {
            if coat.minutes > self.crew {
                return Err(number);
            }
            if first_coat.is_some() {
                at = self.place(dry);
            }
            if at.1 + coat.minutes > self.crew {
                at = LabourTime(self.working_from(at.0 + 1), 0);
            }
            tell(at.0, Doing::Coat(number), at.1, at.1 + coat.minutes);
            if first_coat.is_none() {
                first_coat_minute = self.clock(at.1);
            }
            at.1 += coat.minutes;
            first_coat = first_coat.or(Some(at.0));
            last_coat = Some(at.0);
            if coat.by_machine {
                let first = coat_machines.map_or(at.0, |(first, _)| first);
                coat_machines = Some((first, at.0));
            }
            dry = later((at.0, self.clock(at.1)), coat.recoat);
        }
        let ended = (at.0, self.clock(at.1));
        let light_use = match last_coat {
            Some(_) => later(ended, needs.light_use),
            None => ended,
        };
        let mut done = light_use;
        if needs.after > 0 {
            at = self.place(light_use);
            at = self.labour(at, needs.after, Doing::Trim, &mut tell);
            done = (at.0, self.clock(at.1));
        }
        let days_after = |days: Option<i64>| Some(last_coat? + i32::try_from(days?).ok()?);
        let furniture = days_after(needs.furniture_days).unwrap_or(done.0);
        Ok(Times {
            last_sanding,
            hardening,
            first_coat,
            first_coat_minute,
            last_coat,
            coat_machines,
            light_use,
            done,
            furniture: furniture.max(done.0),
            cure: days_after(needs.cure_days),
        })
    }

    /// Does so much labour from a place on, day after day, and tells of every stretch of it. Returns where it ends.
    fn labour(
        &self,
        from: LabourTime,
        minutes: i64,
        doing: Doing,
        tell: &mut impl FnMut(Day, Doing, i64, i64),
    ) -> LabourTime {
        let (mut at, mut left) = (from, minutes);
        while left > 0 {
            if at.1 >= self.crew {
                at = LabourTime(self.working_from(at.0 + 1), 0);
            }
            let part = left.min(self.crew - at.1);
            tell(at.0, doing, at.1, at.1 + part);
            at.1 += part;
            left -= part;
        }
        at
    }

    /// Returns the first working day on whose morning a phase can follow one that is done then.
    pub(super) fn next_start(&self, (day, minute): (Day, i64)) -> Day {
        self.working_from(if minute > BEGINS { day + 1 } else { day })
    }
}

/// Returns the moment so many minutes after another.
fn later((day, minute): (Day, i64), minutes: i64) -> (Day, i64) {
    let minute = minute + minutes;
    (
        day + i32::try_from(minute.div_euclid(DAY)).unwrap_or(i32::MAX / 2),
        minute.rem_euclid(DAY),
    )
}

/// Returns the date that a day is.
pub(super) fn date(day: Day) -> NaiveDate {
    NaiveDate::from_num_days_from_ce_opt(day).unwrap_or(NaiveDate::MAX)
}

/// Returns the day that a date is.
pub(super) fn day(date: NaiveDate) -> Day {
    date.num_days_from_ce()
}

/// Returns the nights, first and last, in which what is coated on a day is wet until a moment.
pub(super) fn nights(from: NaiveDate, until: NaiveDateTime) -> Option<(Day, Day)> {
    let in_the_night = until > until.date().and_time(evening());
    let last = day(until.date()) - i32::from(!in_the_night);
    let first = day(from);
    (first <= last).then_some((first, last))
}

fn evening() -> NaiveTime {
    NaiveTime::MIN + TimeDelta::hours(i64::from(EVENING))
}

/// Returns the moment of a day and minute of the clock.
pub(super) fn moment((day, minute): (Day, i64)) -> NaiveDateTime {
    date(day).and_time(chrono::NaiveTime::MIN) + TimeDelta::minutes(minute)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub(in crate::trade::plan) fn calendar() -> Calendar {
        Calendar {
            working_days: vec![
                Weekday::Mon,
                Weekday::Tue,
                Weekday::Wed,
                Weekday::Thu,
                Weekday::Fri,
            ],
            holidays: BTreeMap::new(),
            day: WorkingDay {
                crew_minutes: 480,
                day_minutes: 480,
            },
        }
    }

    fn coat(minutes: i64, recoat_hours: i64) -> Coat {
        Coat {
            name: "coat".to_owned(),
            minutes,
            recoat: recoat_hours * HOUR,
            by_machine: false,
        }
    }

    /// Stretches as text: date, what, from and to in minutes.
    fn told(calendar: &Calendar, needs: &Needs, start: &str) -> (Vec<String>, Times) {
        let mut told = Vec::new();
        let start = day(start.parse().unwrap());
        let tell = |day, doing, from, to| told.push(format!("{} {doing:?} {from}-{to}", date(day)));
        let times = calendar.table().go_through(needs, start, tell).unwrap();
        (told, times)
    }

    #[test]
    fn waterborne_coats_two_a_day_and_oil_one() {
        // Drying times of the book: oil-modified one coat a day, waterborne two to three (a contractors' survey); a floor
        // is walked on after 24 hours.
        let mut needs = Needs {
            before: 600,
            coats: vec![coat(60, 3), coat(60, 4), coat(90, 4)],
            light_use: 24 * HOUR,
            furniture_days: Some(3),
            cure_days: Some(7),
            ..Needs::default()
        };
        // 2 November 2026 is a Monday.
        let (stretches, times) = told(&calendar(), &needs, "2026-11-02");
        assert_eq!(
            stretches,
            [
                "2026-11-02 Sand 0-480",
                "2026-11-03 Sand 0-120",
                "2026-11-03 Coat(0) 120-180",
                "2026-11-03 Coat(1) 360-420",
                "2026-11-04 Coat(2) 0-90",
            ]
        );
        assert_eq!(moment(times.light_use).to_string(), "2026-11-05 09:30:00");
        assert_eq!(date(times.furniture).to_string(), "2026-11-07");
        assert_eq!(times.cure.map(date).unwrap().to_string(), "2026-11-11");
        assert_eq!(
            times.wet_nights(),
            Some((
                day("2026-11-03".parse().unwrap()),
                day("2026-11-04".parse().unwrap())
            ))
        );
        needs.coats = vec![coat(60, 24), coat(60, 24)];
        let (stretches, times) = told(&calendar(), &needs, "2026-11-02");
        assert_eq!(
            stretches[2..],
            ["2026-11-03 Coat(0) 120-180", "2026-11-04 Coat(1) 180-240"]
        );
        assert_eq!(moment(times.light_use).to_string(), "2026-11-05 12:00:00");
    }

    #[test]
    fn weekends_and_holidays_stop_the_crew_and_not_the_drying() {
        let mut calendar = calendar();
        let monday: NaiveDate = "2026-11-09".parse().unwrap();
        calendar.holidays.insert(monday, "Founding day".to_owned());
        let needs = Needs {
            before: 480,
            coats: vec![coat(60, 24), coat(60, 24)],
            light_use: 24 * HOUR,
            after: 30,
            ..Needs::default()
        };
        let (stretches, times) = told(&calendar, &needs, "2026-11-05");
        assert_eq!(
            stretches,
            [
                "2026-11-05 Sand 0-480",
                "2026-11-06 Coat(0) 0-60",
                "2026-11-10 Coat(1) 0-60",
                "2026-11-11 Trim 60-90",
            ]
        );
        assert_eq!(moment(times.done).to_string(), "2026-11-11 09:30:00");
        assert!(!calendar.works_on(monday));
        // A crew of two does twice the labour in the same day.
        calendar.day.crew_minutes = 960;
        let (stretches, _) = told(&calendar, &needs, "2026-11-05");
        assert_eq!(
            stretches[..2],
            ["2026-11-05 Sand 0-480", "2026-11-05 Coat(0) 480-540"]
        );
    }

    #[test]
    fn what_hardens_is_waited_for_by_the_clock_before_the_finer_cuts() {
        // A day of 8 to 16 o'clock, an hour of labour in an hour. Two hours of the first cut and filling, three of the
        // finer cuts, an hour of the coat.
        let needs = |after, hours: i64| Needs {
            before: 300,
            hardening: Some(Hardening {
                after,
                lasts: hours * HOUR,
            }),
            coats: vec![coat(60, 24)],
            light_use: 24 * HOUR,
            ..Needs::default()
        };
        let waited = |times: &Times| -> Vec<String> {
            let days = day("2026-11-01".parse().unwrap())..times.light_use.0;
            let waited = days.filter(|day| times.waits_on(*day));
            waited.map(|day| date(day).to_string()).collect()
        };
        for (start, needs, stretches, light_use, days) in [
            // Filled by 10:00 and hard at 14:00, so that two of the three hours are left of that day.
            (
                "2026-11-02",
                needs(120, 4),
                vec![
                    "2026-11-02 Sand 0-120",
                    "2026-11-02 Sand 360-480",
                    "2026-11-03 Sand 0-60",
                    "2026-11-03 Coat(0) 60-120",
                ],
                "2026-11-04 10:00:00",
                vec![],
            ),
            // Glued by 10:00 and cured at 10:00 on the next day.
            (
                "2026-11-02",
                needs(120, 24),
                vec![
                    "2026-11-02 Sand 0-120",
                    "2026-11-03 Sand 120-300",
                    "2026-11-03 Coat(0) 300-360",
                ],
                "2026-11-04 14:00:00",
                vec![],
            ),
            // The same on a Friday: it cures over the weekend.
            (
                "2026-11-06",
                needs(120, 24),
                vec![
                    "2026-11-06 Sand 0-120",
                    "2026-11-09 Sand 0-180",
                    "2026-11-09 Coat(0) 180-240",
                ],
                "2026-11-10 12:00:00",
                vec!["2026-11-07", "2026-11-08"],
            ),
            // 10:00 and 46 hours are 8:00 two days later: one day is spent waiting.
            (
                "2026-11-02",
                needs(120, 46),
                vec![
                    "2026-11-02 Sand 0-120",
                    "2026-11-04 Sand 0-180",
                    "2026-11-04 Coat(0) 180-240",
                ],
                "2026-11-05 12:00:00",
                vec!["2026-11-03"],
            ),
            // Nothing finer follows, so the coat waits: 13:00 and 4 hours are 17:00, when nobody works any more.
            (
                "2026-11-02",
                needs(300, 4),
                vec!["2026-11-02 Sand 0-300", "2026-11-03 Coat(0) 0-60"],
                "2026-11-04 09:00:00",
                vec![],
            ),
        ] {
            let (told, times) = told(&calendar(), &needs, start);
            assert_eq!(told, stretches);
            assert_eq!(moment(times.light_use).to_string(), light_use);
            assert_eq!(waited(&times), days);
        }
        // Where nothing follows at all, nobody waits.
        let bare = Needs {
            coats: Vec::new(),
            ..needs(300, 24)
        };
        let (told, times) = told(&calendar(), &bare, "2026-11-02");
        assert_eq!(told, ["2026-11-02 Sand 0-300"]);
        assert_eq!(moment(times.done).to_string(), "2026-11-02 13:00:00");
    }

    #[test]
    fn a_coat_is_laid_within_a_day() {
        let needs = Needs {
            before: 10,
            coats: vec![coat(481, 24)],
            ..Needs::default()
        };
        let start = day("2026-11-02".parse().unwrap());
        let went = calendar()
            .table()
            .go_through(&needs, start, |_, _, _, _| ());
        assert_eq!(went, Err(0));
    }

    #[test]
    fn days_of_the_common_era_have_the_calendars_weekdays() {
        let calendar = calendar();
        let table = calendar.table();
        for offset in 0..400 {
            let date: NaiveDate = "2026-01-01".parse().unwrap();
            let date = date + TimeDelta::days(offset);
            assert_eq!(table.works(day(date)), calendar.works_on(date), "{date}");
        }
    }
}
