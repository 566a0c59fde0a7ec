//! How far it is to a site, and how often somebody drives there for a quote.

use anyhow::Result;
use rust_decimal::prelude::ToPrimitive;

use super::settings::no_road_rate;
use super::{Ledger, QuoteHeader, QuoteStatus, Settings, Site, refuse, typed};
use crate::money::{Decimal, plain, quantity};
use crate::trade::RoomId;
use crate::trade::bounds::MOST_DRIVEN;
use crate::trade::plan::labour::{Labour, LabourError};
use crate::trade::plan::{MOST_PLACES, Places};
use crate::trade::pricing::Offer;
use crate::trade::quote::WorkLine;
use crate::trade::rates::Rates;
use crate::trade::takeoff::{MeasuredRoom, Methods};
use crate::trade::trips::{Road, Visits};

/// Why driving isn't in a draft, or not all of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DrivingLeftOut {
    /// Why it isn't; `None`: nobody has said how far it is, as of many sites.
    pub why: Option<String>,
    /// What to type.
    pub remedy: String,
}

impl Ledger {
    /// Returns what driving to a site takes; `None`: nobody has said how far it is, or neither what driving costs nor how
    /// many are driven in an hour.
    pub(super) fn road_to(&self, site: &Site, settings: &Settings) -> Option<Road> {
        let rate = settings.road_rate(self.road());
        rate.or(settings.drive_speed)?;
        Some(Road {
            unit: self.road(),
            rate: quantity(rate.unwrap_or_default()),
            speed: settings.drive_speed,
            to_site: site.distance?,
            to_rental_place: settings.rental_distance,
        })
    }

    /// Returns what a draft leaves out of driving; `None`: nothing, or it can't count it any more.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn driving_left_out(&self, header: &QuoteHeader) -> Result<Option<DrivingLeftOut>> {
        if header.status != QuoteStatus::Draft || header.varies.is_some() {
            return Ok(None);
        }
        match self.site_in_use(header.site_id)? {
            Some(site) => self.driving_left_out_of("price", &site),
            None => Ok(None),
        }
    }

    /// Returns what work on one's own floors leaves out of driving; `None`: nothing.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn own_driving_left_out(&self, site: &Site) -> Result<Option<DrivingLeftOut>> {
        self.driving_left_out_of("cost", site)
    }

    fn driving_left_out_of(&self, sum: &str, site: &Site) -> Result<Option<DrivingLeftOut>> {
        let has_rate = self.settings()?.road_rate(self.road()).is_some();
        Ok(match (site.distance, has_rate) {
            (None, _) => Some(DrivingLeftOut {
                why: None,
                remedy: format!(
                    "gritledger site edit {} --distance 12",
                    typed(&site.address)
                ),
            }),
            (Some(_), false) => {
                let (road, remedy) = no_road_rate(self.units());
                Some(DrivingLeftOut {
                    why: Some(format!(
                        "nobody has said what a {road} costs: none is in the {sum}"
                    )),
                    remedy: remedy.to_owned(),
                })
            }
            (Some(_), true) => None,
        })
    }
}

/// Refuses a distance that nobody drives to work.
pub(super) fn check_distance(distance: Option<Decimal>) -> Result<()> {
    match distance {
        Some(distance) if !(Decimal::ZERO..=MOST_DRIVEN).contains(&distance) => {
            refuse!(
                "`{}` is not how far a site is away: from 0 to {MOST_DRIVEN}",
                plain(distance, 6)
            )
        }
        _ => Ok(()),
    }
}

/// Returns how often somebody drives for an offer: on each day that its rooms take together, at the confidence, and for
/// machines that are rented. What is added to a job is done on its days, as far as they have room.
pub(super) fn visits(
    offer: &Offer,
    methods: &Methods,
    rates: &Rates,
    settings: &Settings,
    agreed: &[WorkLine],
) -> Visits {
    let is_rented = |machine| {
        let machine = offer.machines.get(&machine);
        machine.is_some_and(|machine| !machine.tariff.day.is_zero())
    };
    let rents = offer
        .work
        .iter()
        .filter(|work| work.operation.machine.is_some_and(is_rented));
    let is_new = |operation| !agreed.iter().any(|known| known.operation == operation);
    let fetched = rents.into_iter().any(|work| is_new(work.operation.id));
    Visits {
        to_site: match agreed {
            [] => visits_to_site(offer, methods, rates, settings),
            agreed => {
                let before: Decimal = agreed.iter().map(|work| work.hours).sum();
                let added = hours_of(&offer.rooms, offer, methods, rates);
                whole_days(before + added, settings) - whole_days(before, settings)
            }
        },
        to_rental_place: if fetched { 2 } else { 0 },
    }
}

/// Returns the days on which somebody works at the site: those of one phase, or of as many as there can be places in one.
fn visits_to_site(offer: &Offer, methods: &Methods, rates: &Rates, settings: &Settings) -> u32 {
    let calendar = settings.calendar();
    let phases = offer.rooms.chunks(MOST_PLACES);
    let days = phases.map(|rooms| match labour_in(rooms, offer, methods, rates) {
        Ok(labour) => calendar.visits(&labour.needs(Places::first(rooms.len())), offer.start),
        // The schedule doesn't say when its last coat is walked on, so trim has no day.
        Err(_) => whole_days(hours_of(rooms, offer, methods, rates), settings),
    });
    days.sum()
}

/// Returns what rooms of an offer take, at the confidence; the numbers of rooms are their places.
fn labour_in(
    rooms: &[MeasuredRoom],
    offer: &Offer,
    methods: &Methods,
    rates: &Rates,
) -> std::result::Result<Labour, LabourError> {
    let places: Vec<RoomId> = rooms.iter().map(|room| room.id).collect();
    let confidence = offer.terms.confidence;
    Labour::new(&places, rooms, &offer.work, methods, rates, confidence, &[])
}

/// Returns the hours of all work in rooms, at the confidence, however coats dry.
fn hours_of(rooms: &[MeasuredRoom], offer: &Offer, methods: &Methods, rates: &Rates) -> Decimal {
    let undried = Methods {
        schedule: None,
        ..methods.clone()
    };
    let hours = rooms.chunks(MOST_PLACES).map(|rooms| {
        let labour = labour_in(rooms, offer, &undried, rates).expect("no coat has to dry");
        labour.hours(Places::first(rooms.len()))
    });
    hours.sum()
}

/// Returns the days that the crew has so many hours of labour in.
fn whole_days(hours: Decimal, settings: &Settings) -> u32 {
    (hours / settings.crew_hours)
        .ceil()
        .to_u32()
        .unwrap_or(u32::MAX)
}
