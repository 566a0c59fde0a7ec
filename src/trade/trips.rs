//! Driving: how often somebody drives for a job, and what that costs.
//!
//! A **visit** is a day on which something is done at the site: load-in and sanding, coats on other days, trim. It is a
//! round trip from where the firm is. Rented machines take a round trip to the rental place when they are fetched, and
//! another when they are brought back; what is rented together is fetched together (common practice, no source).
//!
//! ```text
//! cost  = trips × distance there and back × rate
//! hours = trips × distance there and back ÷ speed, at wage and burden, if the firm counts them
//! ```

use std::collections::BTreeSet;

use super::plan::{HousePlan, Phase};
use super::quote::Terms;
use super::{Unit, closed_set};
use crate::money::{Currency, Decimal, Money, product, quantity, round};

/// Decimals that hours are rounded to before they are priced.
const HOURS_DECIMALS: u32 = 2;

closed_set! {
    /// Where somebody drives to.
    Destination, "destination" {
        /// Where the work is.
        Site = "site",
        /// Where machines are rented.
        RentalPlace = "rental-place",
    }
}

/// How far it is, and what driving costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Road {
    /// Miles or kilometres.
    pub unit: Unit,
    /// What one costs, major units.
    pub rate: Decimal,
    /// How many are driven in an hour; `None`: driving isn't counted as hours.
    pub speed: Option<Decimal>,
    /// How far it is to the site, one way.
    pub to_site: Decimal,
    /// How far it is to the rental place, one way; `None`: the firm doesn't say, and fetching isn't counted.
    pub to_rental_place: Option<Decimal>,
}

/// How often somebody drives.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Visits {
    /// To the site.
    pub to_site: u32,
    /// To the rental place.
    pub to_rental_place: u32,
}

/// What driving to one place costs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trips {
    /// Where to.
    pub to: Destination,
    /// How often.
    pub trips: u32,
    /// How far one trip is, there and back.
    pub distance: Decimal,
    /// Miles or kilometres.
    pub unit: Unit,
    /// What one of them costs, major units.
    pub rate: Decimal,
    /// What all of them cost.
    pub cost: Money,
    /// Hours on the road; zero, if they aren't counted.
    pub hours: Decimal,
    /// What the hours cost.
    pub labour: Money,
}

impl Visits {
    /// Returns how often somebody drives for a planned house: on every day with work, and on every morning on which
    /// machines go out or back.
    pub fn of_plan(plan: &HousePlan) -> Visits {
        let rentals = plan.rentals.iter();
        let mornings: BTreeSet<_> = rentals
            .flat_map(|rental| [Some(rental.out), rental.last_day.succ_opt()])
            .flatten()
            .collect();
        Visits {
            to_site: plan.phases.iter().map(Visits::of_phase).sum(),
            to_rental_place: count(mornings.len()),
        }
    }

    /// Returns the days with work of a phase; none is of two phases.
    pub fn of_phase(phase: &Phase) -> u32 {
        let days: BTreeSet<_> = phase.work.iter().map(|stretch| stretch.day).collect();
        count(days.len())
    }
}

fn count(days: usize) -> u32 {
    u32::try_from(days).unwrap_or(u32::MAX)
}

impl Road {
    /// Returns what driving so often costs, a line for each place; what is no way away has none.
    pub fn trips(&self, visits: Visits, terms: &Terms, currency: Currency) -> Vec<Trips> {
        let site = (Destination::Site, visits.to_site, Some(self.to_site));
        let yard = (
            Destination::RentalPlace,
            visits.to_rental_place,
            self.to_rental_place,
        );
        let driven = [site, yard].into_iter().filter_map(|(to, trips, away)| {
            let distance = quantity(product([Decimal::TWO, away?]));
            let hours = self.speed.map_or(Decimal::ZERO, |speed| {
                product([trips.into(), distance]) / speed
            });
            let one = Trips {
                to,
                trips,
                distance,
                unit: self.unit,
                rate: self.rate,
                cost: Money::ZERO,
                hours: round(hours, HOURS_DECIMALS).normalize(),
                labour: Money::ZERO,
            };
            (trips > 0 && !distance.is_zero()).then(|| one.priced(terms, currency))
        });
        driven.collect()
    }
}

impl Trips {
    /// Returns how far is driven in all.
    pub fn driven(&self) -> Decimal {
        product([self.trips.into(), self.distance])
    }

    /// Returns the same at what it costs.
    #[must_use]
    pub fn priced(self, terms: &Terms, currency: Currency) -> Trips {
        Trips {
            cost: currency.amount(product([self.driven(), self.rate])),
            labour: currency.amount(product([self.hours, terms.wage, terms.burden])),
            ..self
        }
    }

    /// Returns the same for the part of the hours of work that is left, in whole trips: one falls away, and one comes, with a
    /// whole trip's share of the hours. `None`: nothing is left.
    pub fn for_part(
        &self,
        left: Decimal,
        of: Decimal,
        terms: &Terms,
        currency: Currency,
    ) -> Option<Trips> {
        if left.is_zero() || of.is_zero() {
            return None;
        }
        let trips = Decimal::from(self.trips) * left / of;
        let trips = if left > of {
            trips.floor()
        } else {
            trips.ceil()
        };
        let hours = round(
            self.hours * trips / Decimal::from(self.trips),
            HOURS_DECIMALS,
        );
        let left = Trips {
            trips: u32::try_from(trips).unwrap_or(self.trips),
            hours: hours.normalize(),
            ..self.clone()
        };
        Some(left.priced(terms, currency))
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal_macros::dec;

    use super::*;

    fn usd() -> Currency {
        Currency::from_code("USD").unwrap()
    }

    fn terms(wage: Decimal) -> Terms {
        Terms {
            wage,
            ..Terms::at_cost(dec!(0.8), dec!(1.4235), Decimal::ZERO)
        }
    }

    /// The rate is that of IRS Notice 2026-10, 72.5 cents a mile. By hand: 5 visits of 2 × 12.4 mi are 124 mi, 124 × 0.725 =
    /// 89.90; at 31 mi an hour that is 4 h, 4 × 28.00 × 1.4235 = 159.432, so 159.43. Fetched and brought back, 9.3 mi away:
    /// 2 × 18.6 = 37.2 mi, 26.97; 1.2 h are 47.8296, so 47.83.
    #[test]
    fn trips_cost_their_distance_and_their_hours() {
        let road = Road {
            unit: Unit::Mile,
            rate: dec!(0.725),
            speed: Some(dec!(31)),
            to_site: dec!(12.4),
            to_rental_place: Some(dec!(9.3)),
        };
        let visits = Visits {
            to_site: 5,
            to_rental_place: 2,
        };
        let terms = terms(dec!(28));
        let told = |road: Road| {
            let trips = road.trips(visits, &terms, usd());
            let told = trips.iter().map(|one| {
                let Trips {
                    trips,
                    hours,
                    cost,
                    labour,
                    ..
                } = one;
                (*trips, one.driven(), cost.minor(), *hours, labour.minor())
            });
            told.collect::<Vec<_>>()
        };
        let both = [
            (5, dec!(124), 8_990, dec!(4), 15_943),
            (2, dec!(37.2), 2_697, dec!(1.2), 4_783),
        ];
        assert_eq!(told(road), both);
        let not_fetched = Road {
            speed: None,
            to_rental_place: None,
            ..road
        };
        assert_eq!(told(not_fetched), [(5, dec!(124), 8_990, dec!(0), 0)]);
        let next_door = Road {
            to_site: Decimal::ZERO,
            ..not_fetched
        };
        assert_eq!(told(next_door), []);
        // Of 40 hours 17 are left: 5 × 17 / 40 = 2.125 visits are 3.
        let site = &road.trips(visits, &terms, usd())[0];
        let left = site.for_part(dec!(17), dec!(40), &terms, usd()).unwrap();
        assert_eq!(
            (left.trips, left.cost.minor(), left.hours),
            (3, 5_394, dec!(2.4))
        );
        // 41 h are 5 × 41 / 40 = 5.125 visits, of which 5 are whole, and 48 h are 6.
        let visits = |left| site.for_part(left, dec!(40), &terms, usd()).unwrap().trips;
        assert_eq!([dec!(40), dec!(41), dec!(48)].map(visits), [5, 5, 6]);
        assert_eq!(site.for_part(Decimal::ZERO, dec!(40), &terms, usd()), None);
    }
}
