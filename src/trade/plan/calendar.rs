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

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Weekday};
use thiserror::Error;

use crate::notation::count;
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

/// A moment: a day, and a minute of the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Moment {
    pub(super) day: Day,
    pub(super) minute: i64,
}

impl Moment {
    /// A moment that never comes.
    pub(super) const NEVER: Moment = Moment {
        day: Day::MAX,
        minute: 0,
    };

    /// Returns the moment at which a day begins.
    pub(super) fn midnight(day: Day) -> Moment {
        Moment { day, minute: 0 }
    }

    /// Returns the moment so many minutes later.
    fn later(self, minutes: i64) -> Moment {
        let minute = self.minute + minutes;
        let days = i32::try_from(minute.div_euclid(DAY)).unwrap_or(i32::MAX / 2);
        Moment {
            day: self.day + days,
            minute: minute.rem_euclid(DAY),
        }
    }

    /// Returns the moment as it is told.
    pub(super) fn told(self) -> NaiveDateTime {
        date(self.day).and_time(NaiveTime::MIN) + TimeDelta::minutes(self.minute)
    }
}

/// Days, from a first to a last one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) first: Day,
    pub(super) last: Day,
}

impl Span {
    /// Tells whether a day is one of them.
    pub(super) fn has(self, day: Day) -> bool {
        (self.first..=self.last).contains(&day)
    }

    /// Returns the days one by one.
    pub(super) fn days(self) -> RangeInclusive<Day> {
        self.first..=self.last
    }
}

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
#[error("`{coat}` takes {} at once, and the crew has {day_hours} in a working day", count(.hours, "hour"))]
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
    /// From the day on which something begins to harden to the one on which work goes on.
    pub(super) hardening: Option<Span>,
    /// When the first coat begins.
    pub(super) first_coat: Option<Moment>,
    /// The day of the last coat.
    pub(super) last_coat: Option<Day>,
    /// From the first day to the last on which machines are used that coats take.
    pub(super) coat_machines: Option<Span>,
    /// From when the floor is walked on.
    pub(super) light_use: Moment,
    /// When the crew is done.
    pub(super) done: Moment,
    /// The day on which the furniture is back.
    pub(super) furniture: Day,
    /// The day of the full cure.
    pub(super) cure: Option<Day>,
}

impl Times {
    /// Tells whether a day is spent waiting for something to harden.
    pub(super) fn waits_on(&self, day: Day) -> bool {
        self.hardening
            .is_some_and(|wait| wait.first < day && day < wait.last)
    }

    /// Returns the days on which a coat closes the floor at some time of the working day.
    pub(super) fn wet_days(&self) -> Option<Span> {
        let Moment { day, minute } = self.light_use;
        let last = if minute > BEGINS { day } else { day - 1 };
        let first = self.first_coat?.day;
        Some(Span {
            first,
            last: last.max(first),
        })
    }

    /// Returns the nights in which a coat closes the floor, by the day on which they begin.
    pub(super) fn wet_nights(&self) -> Option<Span> {
        let Moment { day, minute } = self.light_use;
        let in_the_night = minute > i64::from(EVENING) * HOUR;
        let last = if in_the_night { day } else { day - 1 };
        let first = self.first_coat?.day;
        (first <= last).then_some(Span { first, last })
    }

    /// Returns the same nights, one by one.
    pub(super) fn nights(&self) -> impl Iterator<Item = Day> + use<> {
        self.wet_nights().into_iter().flat_map(Span::days)
    }
}

impl Calendar {
    /// Tells whether the crew works on a day.
    pub fn works_on(&self, day: NaiveDate) -> bool {
        self.working_days.contains(&day.weekday()) && !self.holidays.contains_key(&day)
    }

    /// Returns on how many days the crew does something of a phase that begins on a day; without one, as if every day were
    /// worked. A coat that takes longer than a day has as many as it takes.
    pub fn visits(&self, needs: &Needs, start: Option<NaiveDate>) -> u32 {
        let (table, first) = match start {
            Some(start) => (self.table(), day(start)),
            None => (self.table().without_rest(), 1),
        };
        let mut days = BTreeSet::new();
        let first = table.working_from(first);
        let whole = table.go_through(needs, first, |day, _, _, _| {
            days.insert(day);
        });
        let count = match whole {
            Ok(_) => days.len(),
            Err(_) => {
                let coats = needs.coats.iter().map(|coat| coat.minutes);
                let minutes = [needs.before, needs.after].into_iter().chain(coats);
                let days = |minutes: i64| (minutes + table.crew - 1) / table.crew;
                usize::try_from(minutes.map(days).sum::<i64>()).unwrap_or_default()
            }
        };
        u32::try_from(count).unwrap_or(u32::MAX)
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

/// A time in a working day.
#[derive(Clone, Copy)]
struct LabourTime {
    day: Day,
    /// Minutes of labour since the day began.
    labour: i64,
}

impl LabourTime {
    /// Returns the morning of a working day.
    fn morning(day: Day) -> LabourTime {
        LabourTime { day, labour: 0 }
    }
}

/// What comes before the coats, done.
struct Sanded {
    ends: LabourTime,
    /// The last day on which something of it is done.
    last: Day,
    hardening: Option<Span>,
}

/// The coats, laid.
struct Coated {
    first: Option<Moment>,
    last: Option<Day>,
    /// From the first day to the last on which they take machines.
    machines: Option<Span>,
    ends: LabourTime,
}

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

    /// Returns the moment of a time in a working day.
    fn moment(&self, at: LabourTime) -> Moment {
        // The crew is never early: part minutes count whole.
        let minutes = (at.labour * self.day + self.crew - 1) / self.crew;
        Moment {
            day: at.day,
            minute: BEGINS + minutes,
        }
    }

    /// Returns the first time in a working day that isn't before a moment.
    fn from(&self, Moment { day, minute }: Moment) -> LabourTime {
        if !self.works(day) {
            return self.next_morning(day);
        }
        let labour = ((minute - BEGINS).max(0) * self.crew + self.day - 1) / self.day;
        match labour < self.crew {
            true => LabourTime { day, labour },
            false => self.next_morning(day),
        }
    }

    /// Returns the morning of the first working day after a day.
    fn next_morning(&self, day: Day) -> LabourTime {
        LabourTime::morning(self.working_from(day + 1))
    }

    /// Returns the times of a phase that begins on a working day.
    ///
    /// # Errors
    /// Returns the number of a coat that takes more than a working day.
    pub(super) fn times(&self, needs: &Needs, start: Day) -> Result<Times, usize> {
        self.go_through(needs, start, |_, _, _, _| ())
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
        let sanded = self.sand(needs, start, &mut tell);
        let coated = self.coat(&needs.coats, sanded.ends, &mut tell)?;
        let ended = self.moment(coated.ends);
        let light_use = match coated.last {
            Some(_) => ended.later(needs.light_use),
            None => ended,
        };
        let mut done = light_use;
        if needs.after > 0 {
            let trimmed = self.labour(self.from(light_use), needs.after, Doing::Trim, &mut tell);
            done = self.moment(trimmed);
        }
        let days_after = |days: Option<i64>| Some(coated.last? + i32::try_from(days?).ok()?);
        let furniture = days_after(needs.furniture_days).unwrap_or(done.day);
        let sands_with = needs.sands_with_coating_machines && needs.before > 0;
        let coat_machines = match sands_with {
            true => Some(Span {
                first: start,
                last: coated.machines.map_or(sanded.last, |span| span.last),
            }),
            false => coated.machines,
        };
        Ok(Times {
            last_sanding: sanded.last,
            hardening: sanded.hardening,
            first_coat: coated.first,
            last_coat: coated.last,
            coat_machines,
            light_use,
            done,
            furniture: furniture.max(done.day),
            cure: days_after(needs.cure_days),
        })
    }

    /// Does what comes before the coats, and waits for what hardens.
    fn sand(
        &self,
        needs: &Needs,
        start: Day,
        tell: &mut impl FnMut(Day, Doing, i64, i64),
    ) -> Sanded {
        let first = needs.hardening.map_or(needs.before, |first| first.after);
        let finer = needs.before - first;
        let ends = self.labour(LabourTime::morning(start), first, Doing::Sand, tell);
        let sanded = Sanded {
            ends,
            last: ends.day,
            hardening: None,
        };
        let Some(Hardening { lasts, .. }) = needs.hardening else {
            return sanded;
        };
        if finer == 0 && needs.coats.is_empty() {
            return sanded;
        }
        let hard = self.from(self.moment(ends).later(lasts));
        let ends = self.labour(hard, finer, Doing::Sand, tell);
        Sanded {
            ends,
            last: if finer > 0 { ends.day } else { sanded.last },
            hardening: Some(Span {
                first: sanded.last,
                last: hard.day,
            }),
        }
    }

    /// Lays the coats, each as soon as the one below has dried and within a working day.
    ///
    /// # Errors
    /// Returns the number of a coat that takes more than a working day.
    fn coat(
        &self,
        coats: &[Coat],
        from: LabourTime,
        tell: &mut impl FnMut(Day, Doing, i64, i64),
    ) -> Result<Coated, usize> {
        let mut coated = Coated {
            first: None,
            last: None,
            machines: None,
            ends: from,
        };
        let mut at = from;
        for (number, coat) in coats.iter().enumerate() {
            if coat.minutes > self.crew {
                return Err(number);
            }
            if at.labour + coat.minutes > self.crew {
                at = self.next_morning(at.day);
            }
            let ends = LabourTime {
                labour: at.labour + coat.minutes,
                ..at
            };
            tell(at.day, Doing::Coat(number), at.labour, ends.labour);
            coated.first = coated.first.or(Some(self.moment(at)));
            coated.last = Some(at.day);
            if coat.by_machine {
                let first = coated.machines.map_or(at.day, |span| span.first);
                let last = at.day;
                coated.machines = Some(Span { first, last });
            }
            coated.ends = ends;
            at = self.from(self.moment(ends).later(coat.recoat));
        }
        Ok(coated)
    }

    /// Does so much labour from a time on, day after day, and tells of every stretch of it. Returns when it ends.
    fn labour(
        &self,
        from: LabourTime,
        minutes: i64,
        doing: Doing,
        tell: &mut impl FnMut(Day, Doing, i64, i64),
    ) -> LabourTime {
        let (mut at, mut left) = (from, minutes);
        while left > 0 {
            if at.labour >= self.crew {
                at = self.next_morning(at.day);
            }
            let part = left.min(self.crew - at.labour);
            tell(at.day, doing, at.labour, at.labour + part);
            at.labour += part;
            left -= part;
        }
        at
    }

    /// Returns the first working day on whose morning a phase can follow one that is done then.
    pub(super) fn next_start(&self, done: Moment) -> Day {
        let morning = if done.minute > BEGINS {
            done.day + 1
        } else {
            done.day
        };
        self.working_from(morning)
    }
}

/// Returns the date that a day is.
pub(super) fn date(day: Day) -> NaiveDate {
    NaiveDate::from_num_days_from_ce_opt(day).unwrap_or(NaiveDate::MAX)
}

/// Returns the day that a date is.
pub(super) fn day(date: NaiveDate) -> Day {
    date.num_days_from_ce()
}

/// Returns the nights in which what is coated on a day is wet until a moment; `None`: there is none.
pub(super) fn nights(from: NaiveDate, until: NaiveDateTime) -> Option<Span> {
    let in_the_night = until > until.date().and_time(evening());
    let last = day(until.date()) - i32::from(!in_the_night);
    let first = day(from);
    (first <= last).then_some(Span { first, last })
}

fn evening() -> NaiveTime {
    NaiveTime::MIN + TimeDelta::hours(i64::from(EVENING))
}

#[cfg(test)]
mod tests;
