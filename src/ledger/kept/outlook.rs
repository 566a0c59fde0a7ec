//! What the simulation said of a quote.

use super::rental::RentalPlanShape;
use super::{Kept, Minor, shape};
use crate::money::Decimal;
use crate::trade::quote::{Cause, ItemNeed, Outlook, PlannedRental, Risk};
use crate::trade::{ItemId, MachineId};

impl Kept for Outlook {
    type Shape = OutlookShape;
    const NAME: &'static str = "outlook";
    const FORMAT: u32 = 1;
}

shape! {
    /// The whole of it.
    OutlookShape of Outlook {
        draws: u32,
        seed: u64,
        expected_cost: Minor,
        cost_at_confidence: Minor,
        p10: Minor,
        p50: Minor,
        p80: Minor,
        p90: Minor,
        loss: Decimal,
        below_margin: Decimal,
        risks: Vec<RiskShape>,
        rentals: Vec<PlannedRentalShape>,
        needs: Vec<ItemNeedShape>,
        room_by_room: Option<Minor>,
    }
}

shape! {
    /// A part of the risk.
    RiskShape of Risk {
        operation: String,
        share_percent: Decimal,
        cause: Cause,
        rooms: usize,
    }
}

shape! {
    /// A machine to rent.
    PlannedRentalShape of PlannedRental {
        machine: MachineId,
        name: String,
        hours: Decimal,
        plan: RentalPlanShape,
    }
}

shape! {
    /// How much of an item to have at hand.
    ItemNeedShape of ItemNeed {
        item: ItemId,
        expected: Decimal,
        need: Decimal,
        confidence: Decimal,
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;
    use rust_decimal_macros::dec;

    use super::super::tests::golden;
    use super::*;
    use crate::ledger::kept;
    use crate::money::Money;
    use crate::trade::rental::{Cover, Need, Period, Periods, Plan};

    const KEPT: &str = concat!(
        r#"{"format":1,"kept":{"draws":20000,"seed":18446744073709551615,"expected_cost":84341,"#,
        r#""cost_at_confidence":91210,"p10":79000,"p50":84100,"p80":91210,"p90":95500,"loss":"0.0125","below_margin":"0.2","#,
        r#""risks":[{"operation":"rotary-36","share_percent":"61.2","cause":"rate","rooms":3}],"#,
        r#""rentals":[{"machine":2,"name":"rotary-sander","hours":"7.35","plan":{"need":3,"from":"2026-03-09","#,
        r#""cover":{"periods":[["day",1,8200],["half-day",1,5600]],"charge":13800,"waiver":1932,"cleaning":1500},"#,
        r#""one_day_more":2600}}],"#,
        r#""needs":[{"item":5,"expected":"11.4","need":"15","confidence":"0.8"}],"room_by_room":99900}}"#,
    );

    fn outlook() -> Outlook {
        let money = Money::from_minor;
        Outlook {
            draws: 20_000,
            seed: u64::MAX,
            expected_cost: money(84_341),
            cost_at_confidence: money(91_210),
            p10: money(79_000),
            p50: money(84_100),
            p80: money(91_210),
            p90: money(95_500),
            loss: dec!(0.0125),
            below_margin: dec!(0.2),
            risks: vec![Risk {
                operation: "rotary-36".to_owned(),
                share_percent: dec!(61.2),
                cause: Cause::Rate,
                rooms: 3,
            }],
            rentals: vec![PlannedRental {
                machine: MachineId(2),
                name: "rotary-sander".to_owned(),
                hours: dec!(7.35),
                plan: Plan {
                    need: Need::half_days(3),
                    from: NaiveDate::from_ymd_opt(2026, 3, 9),
                    cover: Cover {
                        periods: vec![
                            Periods {
                                period: Period::Day,
                                count: 1,
                                price: money(8_200),
                            },
                            Periods {
                                period: Period::HalfDay,
                                count: 1,
                                price: money(5_600),
                            },
                        ],
                        charge: money(13_800),
                        waiver: money(1_932),
                        cleaning: money(1_500),
                    },
                    one_day_more: money(2_600),
                },
            }],
            needs: vec![ItemNeed {
                item: ItemId(5),
                expected: dec!(11.4),
                need: dec!(15),
                confidence: dec!(0.8),
            }],
            room_by_room: Some(money(99_900)),
        }
    }

    #[test]
    fn an_outlook_is_kept_in_this_text() {
        golden(&outlook(), KEPT);
    }

    #[test]
    fn a_need_that_nobody_rents_is_refused() {
        let longer = KEPT.replace(r#""need":3"#, r#""need":1461"#);
        let refusal = kept::read::<Outlook>(&longer, "quote Q2").unwrap_err();
        assert_eq!(
            refusal.message,
            "the outlook of quote Q2 can't be read: a machine is needed longer than anybody rents"
        );
    }
}
