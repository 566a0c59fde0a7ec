//! Phases on their days, worked out by hand.

use super::*;

fn calendar() -> Calendar {
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
    assert_eq!(times.light_use.told().to_string(), "2026-11-05 09:30:00");
    assert_eq!(date(times.furniture).to_string(), "2026-11-07");
    assert_eq!(times.cure.map(date).unwrap().to_string(), "2026-11-11");
    assert_eq!(
        times.wet_nights(),
        Some(Span {
            first: day("2026-11-03".parse().unwrap()),
            last: day("2026-11-04".parse().unwrap()),
        })
    );
    needs.coats = vec![coat(60, 24), coat(60, 24)];
    let (stretches, times) = told(&calendar(), &needs, "2026-11-02");
    assert_eq!(
        stretches[2..],
        ["2026-11-03 Coat(0) 120-180", "2026-11-04 Coat(1) 180-240"]
    );
    assert_eq!(times.light_use.told().to_string(), "2026-11-05 12:00:00");
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
    assert_eq!(times.done.told().to_string(), "2026-11-11 09:30:00");
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
        let days = day("2026-11-01".parse().unwrap())..times.light_use.day;
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
        assert_eq!(times.light_use.told().to_string(), light_use);
        assert_eq!(waited(&times), days);
    }
    // Where nothing follows at all, nobody waits.
    let bare = Needs {
        coats: Vec::new(),
        ..needs(300, 24)
    };
    let (told, times) = told(&calendar(), &bare, "2026-11-02");
    assert_eq!(told, ["2026-11-02 Sand 0-300"]);
    assert_eq!(times.done.told().to_string(), "2026-11-02 13:00:00");
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
