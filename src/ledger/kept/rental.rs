//! A planned rental as quotes and plans keep it.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::{Broken, Minor, Shape, shape};
use crate::trade::rental::{Cover, Need, Period, Periods, Plan};

shape! {
    /// A rental as it is planned.
    RentalPlanShape of Plan {
        need: HalfDays,
        from: Option<NaiveDate>,
        cover: CoverShape,
        one_day_more: Minor,
    }
}

shape! {
    /// The periods of a rental, with what they cost.
    CoverShape of Cover {
        periods: Vec<PeriodsShape>,
        charge: Minor,
        waiver: Minor,
        cleaning: Minor,
    }
}

/// Which period, how many of it, at what price each.
#[derive(Serialize, Deserialize)]
pub(super) struct PeriodsShape(Period, u32, Minor);

impl Shape<Periods> for PeriodsShape {
    fn keep(of: &Periods) -> Self {
        PeriodsShape(of.period, of.count, Minor::keep(&of.price))
    }

    fn give(self) -> Result<Periods, Broken> {
        Ok(Periods {
            period: self.0,
            count: self.1,
            price: self.2.give()?,
        })
    }
}

/// How long a machine is needed, in half days.
#[derive(Serialize, Deserialize)]
pub(super) struct HalfDays(u32);

impl Shape<Need> for HalfDays {
    fn keep(of: &Need) -> Self {
        HalfDays(of.in_half_days())
    }

    fn give(self) -> Result<Need, Broken> {
        let need = Need::half_days(self.0);
        if need > Need::LONGEST {
            return Err(Broken("a machine is needed longer than anybody rents"));
        }
        Ok(need)
    }
}
