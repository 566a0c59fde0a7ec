//! A plan of a house, what was asked for, and the days that were lost.

use std::num::NonZeroU32;

use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};

use super::rental::RentalPlanShape;
use super::{Broken, Kept, Minor, Shape, shape};
use crate::ledger::{Chosen, HouseRequest, KeepRequest, MethodsRequest, PartSequence};
use crate::money::Decimal;
use crate::trade::plan::{
    Coat, Doing, Hardening, HousePlan, Needs, Phase, PlanCosts, Rental, Stretch, WorkingDay,
};
use crate::trade::{FloorCondition, MachineId, RoomId};

impl Kept for HousePlan {
    type Shape = HousePlanShape;
    const NAME: &'static str = "plan";
    const FORMAT: u32 = 1;
}

impl Kept for HouseRequest {
    type Shape = HouseRequestShape;
    const NAME: &'static str = "request";
    const FORMAT: u32 = 1;
}

/// Days that were lost.
impl Kept for Vec<NaiveDate> {
    type Shape = Vec<NaiveDate>;
    const NAME: &'static str = "list of lost days";
    const FORMAT: u32 = 1;
}

shape! {
    /// The whole plan.
    HousePlanShape of HousePlan {
        day: WorkingDayShape,
        phases: Vec<PhaseShape>,
        rentals: Vec<RentalShape>,
        costs: PlanCostsShape,
        finish: NaiveDate,
    }
}

shape! {
    /// What a working day was.
    WorkingDayShape of WorkingDay {
        crew_minutes: i64,
        day_minutes: i64,
    }
}

shape! {
    /// A set of rooms done together.
    PhaseShape of Phase {
        rooms: Vec<RoomId>,
        coating_order: Vec<RoomId>,
        exit: RoomId,
        work: Vec<StretchShape>,
        needs: NeedsShape,
        light_use: NaiveDateTime,
        furniture: NaiveDate,
        cure: Option<NaiveDate>,
        days_closed: u32,
        nights_away: Vec<NaiveDate>,
        nights_relied_on: Vec<NaiveDate>,
        costs: PlanCostsShape,
    }
}

shape! {
    /// A stretch of work within one day.
    StretchShape of Stretch {
        day: NaiveDate,
        doing: DoingShape,
        from: i64,
        to: i64,
    }
}

/// What is done in a stretch.
#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum DoingShape {
    Sand,
    Coat(usize),
    Trim,
}

impl Shape<Doing> for DoingShape {
    fn keep(of: &Doing) -> Self {
        match *of {
            Doing::Sand => DoingShape::Sand,
            Doing::Coat(number) => DoingShape::Coat(number),
            Doing::Trim => DoingShape::Trim,
        }
    }

    fn give(self) -> Result<Doing, Broken> {
        Ok(match self {
            DoingShape::Sand => Doing::Sand,
            DoingShape::Coat(number) => Doing::Coat(number),
            DoingShape::Trim => Doing::Trim,
        })
    }
}

shape! {
    /// What a phase takes.
    NeedsShape of Needs {
        before: i64,
        hardening: Option<HardeningShape>,
        coats: Vec<CoatShape>,
        light_use: i64,
        after: i64,
        furniture_days: Option<i64>,
        cure_days: Option<i64>,
        sands_by_machine: bool,
        sands_with_coating_machines: bool,
    }
}

shape! {
    /// What hardens meanwhile.
    HardeningShape of Hardening {
        after: i64,
        lasts: i64,
    }
}

shape! {
    /// A coat over a set of rooms.
    CoatShape of Coat {
        name: String,
        minutes: i64,
        recoat: i64,
        by_machine: bool,
    }
}

shape! {
    /// A machine, out and back.
    RentalShape of Rental {
        machine: MachineId,
        name: String,
        phase: usize,
        out: NaiveDate,
        last_day: NaiveDate,
        plan: RentalPlanShape,
    }
}

shape! {
    /// What depends on a plan.
    PlanCostsShape of PlanCosts {
        set_up: Minor,
        rental: Minor,
        days_closed: Minor,
        nights_away: Minor,
    }
}

shape! {
    /// What was asked for.
    HouseRequestShape of HouseRequest {
        rooms: Vec<String>,
        methods: MethodsShape,
        margin: Option<Decimal>,
        confidence: Option<Decimal>,
        worker: Option<String>,
        start: NaiveDate,
        end: Option<NaiveDate>,
        keeps: Vec<KeepShape>,
        away: Vec<(NaiveDate, NaiveDate)>,
        night_away: Option<Minor>,
        day_closed: Minor,
        max_rooms: Option<NonZeroU32>,
        furniture_room: Option<String>,
        together: Vec<Vec<String>>,
        apart: Vec<Vec<String>>,
        phases: Option<Vec<Vec<String>>>,
    }
}

shape! {
    /// How floors are to be sanded and coated.
    MethodsShape of MethodsRequest {
        sequence: Option<String>,
        schedule: Option<String>,
        parts: Vec<PartSequenceShape>,
    }
}

shape! {
    /// What parts begin with.
    PartSequenceShape of PartSequence {
        condition: FloorCondition,
        sequence: String,
    }
}

/// A sequence or schedule: null where it is left out, `none` where there is to be none, else its name.
impl Shape<Chosen> for Option<String> {
    fn keep(of: &Chosen) -> Self {
        match of {
            Chosen::LeftOut => None,
            Chosen::None => Some("none".to_owned()),
            Chosen::Named(name) => Some(name.clone()),
        }
    }

    fn give(self) -> Result<Chosen, Broken> {
        Ok(match self {
            None => Chosen::LeftOut,
            Some(name) if name == "none" => Chosen::None,
            Some(name) => Chosen::Named(name),
        })
    }
}

shape! {
    /// What must stay in use.
    KeepShape of KeepRequest {
        said: String,
        least: Option<u32>,
        rooms: Vec<String>,
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::super::tests::golden;
    use super::*;
    use crate::money::Money;
    use crate::trade::rental::{Cover, Need, Period, Periods, Plan};

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, day).unwrap()
    }

    fn stretch(on: u32, doing: Doing) -> Stretch {
        Stretch {
            day: day(on),
            doing,
            from: 0,
            to: 300,
        }
    }

    #[test]
    fn a_plan_is_kept_in_this_text() {
        let money = Money::from_minor;
        let costs = PlanCosts {
            set_up: money(4_800),
            rental: money(9_700),
            days_closed: money(10_000),
            nights_away: money(0),
        };
        let phase = Phase {
            rooms: vec![RoomId(1), RoomId(2)],
            coating_order: vec![RoomId(2), RoomId(1)],
            exit: RoomId(1),
            work: vec![
                stretch(9, Doing::Sand),
                stretch(10, Doing::Coat(0)),
                stretch(12, Doing::Trim),
            ],
            needs: Needs {
                before: 300,
                hardening: Some(Hardening {
                    after: 120,
                    lasts: 240,
                }),
                coats: vec![Coat {
                    name: "oil-coat".to_owned(),
                    minutes: 90,
                    recoat: 1_440,
                    by_machine: false,
                }],
                light_use: 1_440,
                after: 60,
                furniture_days: Some(3),
                cure_days: None,
                sands_by_machine: true,
                sands_with_coating_machines: false,
            },
            light_use: day(11).and_hms_opt(9, 30, 0).unwrap(),
            furniture: day(13),
            cure: None,
            days_closed: 4,
            nights_away: vec![day(10)],
            nights_relied_on: vec![day(11)],
            costs,
        };
        let rental = Rental {
            machine: MachineId(2),
            name: "rotary-sander".to_owned(),
            phase: 0,
            out: day(9),
            last_day: day(9),
            plan: Plan {
                need: Need::half_days(2),
                from: Some(day(9)),
                cover: Cover {
                    periods: vec![Periods {
                        period: Period::Day,
                        count: 1,
                        price: money(8_200),
                    }],
                    charge: money(8_200),
                    waiver: money(0),
                    cleaning: money(1_500),
                },
                one_day_more: money(8_200),
            },
        };
        let plan = HousePlan {
            day: WorkingDay {
                crew_minutes: 960,
                day_minutes: 480,
            },
            phases: vec![phase],
            rentals: vec![rental],
            costs,
            finish: day(13),
        };
        golden(
            &plan,
            concat!(
                r#"{"format":1,"kept":{"day":{"crew_minutes":960,"day_minutes":480},"phases":[{"rooms":[1,2],"coating_order":[2,1],"exit":1,"#,
                r#""work":[{"day":"2026-03-09","doing":"sand","from":0,"to":300},"#,
                r#"{"day":"2026-03-10","doing":{"coat":0},"from":0,"to":300},"#,
                r#"{"day":"2026-03-12","doing":"trim","from":0,"to":300}],"#,
                r#""needs":{"before":300,"hardening":{"after":120,"lasts":240},"#,
                r#""coats":[{"name":"oil-coat","minutes":90,"recoat":1440,"by_machine":false}],"#,
                r#""light_use":1440,"after":60,"furniture_days":3,"cure_days":null,"sands_by_machine":true,"#,
                r#""sands_with_coating_machines":false},"light_use":"2026-03-11T09:30:00","furniture":"2026-03-13","#,
                r#""cure":null,"days_closed":4,"nights_away":["2026-03-10"],"#,
                r#""nights_relied_on":["2026-03-11"],"#,
                r#""costs":{"set_up":4800,"rental":9700,"days_closed":10000,"nights_away":0}}],"#,
                r#""rentals":[{"machine":2,"name":"rotary-sander","phase":0,"out":"2026-03-09","last_day":"2026-03-09","#,
                r#""plan":{"need":2,"from":"2026-03-09","cover":{"periods":[["day",1,8200]],"charge":8200,"waiver":0,"#,
                r#""cleaning":1500},"one_day_more":8200}}],"#,
                r#""costs":{"set_up":4800,"rental":9700,"days_closed":10000,"nights_away":0},"finish":"2026-03-13"}}"#,
            ),
        );
    }

    #[test]
    fn a_request_and_lost_days_are_kept_in_these_texts() {
        let named = |name: &str| Some(name.to_owned());
        let list = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
        let request = HouseRequest {
            rooms: vec!["Hall".to_owned()],
            methods: MethodsRequest {
                sequence: Chosen::Named("rotary-36-50-80".to_owned()),
                schedule: Chosen::LeftOut,
                parts: vec![PartSequence {
                    condition: FloorCondition::Paint,
                    sequence: "rotary-24-36-50-80".to_owned(),
                }],
            },
            margin: Some(dec!(0.35)),
            confidence: None,
            worker: named("Ada"),
            start: day(9),
            end: Some(day(20)),
            keeps: vec![KeepRequest {
                said: "one of Bath, Hall".to_owned(),
                least: Some(1),
                rooms: list(&["Bath", "Hall"]),
            }],
            away: vec![(day(14), day(15))],
            night_away: Some(Money::from_minor(15_000)),
            day_closed: Money::from_minor(2_500),
            max_rooms: NonZeroU32::new(3),
            furniture_room: None,
            together: vec![list(&["Kitchen", "Hall"])],
            apart: Vec::new(),
            phases: None,
        };
        golden(
            &request,
            concat!(
                r#"{"format":1,"kept":{"rooms":["Hall"],"methods":{"sequence":"rotary-36-50-80","schedule":null,"#,
                r#""parts":[{"condition":"paint","sequence":"rotary-24-36-50-80"}]},"margin":"0.35","#,
                r#""confidence":null,"worker":"Ada","start":"2026-03-09","end":"2026-03-20","#,
                r#""keeps":[{"said":"one of Bath, Hall","least":1,"rooms":["Bath","Hall"]}],"#,
                r#""away":[["2026-03-14","2026-03-15"]],"night_away":15000,"day_closed":2500,"max_rooms":3,"#,
                r#""furniture_room":null,"together":[["Kitchen","Hall"]],"apart":[],"phases":null}}"#,
            ),
        );
        golden(
            &vec![day(11), day(12)],
            r#"{"format":1,"kept":["2026-03-11","2026-03-12"]}"#,
        );
    }
}
