//! A planned rental as quotes and plans keep it.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::{Broken, Minor, Shape, shape};
use crate::money::Money;
use crate::trade::rental::{Cover, Need, Period, Plan};

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

impl Shape<(Period, u32, Money)> for PeriodsShape {
    fn keep((period, count, price): &(Period, u32, Money)) -> Self {
        PeriodsShape(*period, *count, Minor::keep(price))
    }

    fn give(self) -> Result<(Period, u32, Money), Broken> {
        Ok((self.0, self.1, self.2.give()?))
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
