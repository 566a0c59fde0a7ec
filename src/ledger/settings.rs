//! Settings: dated facts, the newest counts.
//!
//! What can be set is one table, `settings!`: a line for each setting, and its row in `seed-data/settings.csv` with
//! its default, its words and its source. Whatever is typed, seeded or kept is read by the same line.

use std::collections::BTreeMap;
use std::rc::Rc;

use anyhow::{Context, Result, bail};
use chrono::{NaiveDate, Weekday};
use rusqlite::named_params;
use rust_decimal::prelude::ToPrimitive;

use super::names::near_names;
use super::rows::{Columns, Rows};
use super::{Identity, Ledger, Refusal, Writing, refuse};
use crate::measure::{Area, Length, Units};
use crate::money::{Currency, Decimal, Money, counted, number, plain, quantity};
use crate::notation::Country;
use crate::trade::bounds::{MOST_DRIVEN, check_day};
use crate::trade::contract::{Cancellation, ContractLaw, Share};
use crate::trade::operation::Operation;
use crate::trade::plan::{Calendar, WorkingDay};
use crate::trade::rates::{PriorWeights, RateKind};
use crate::trade::reading::{self, Temperature};
use crate::trade::sandable::{Limit, Limits};
use crate::trade::{Unit, closed_set};

/// Every setting with its default, as embedded.
const SEED: &str = include_str!("../../seed-data/settings.csv");

/// What a setting that may be left open is set to then.
const NONE: &str = "none";

/// Defines the settings: the closed set of their names, a field for the value of each, and the kind of value that it is.
macro_rules! settings {
    ($($key:ident = $name:literal, $field:ident: $type:ty = $kind:ident($($of:expr)?);)+) => {
        closed_set! {
            /// What can be set.
            Key, "setting" { $(#[doc = concat!("`", $name, "`.")] $key = $name),+ }
        }

        impl Key {
            /// Refuses a value that isn't of the setting's kind.
            fn check(self, typed: &Typed<'_>) -> Result<()> {
                match self { $(Key::$key => typed.$kind($($of)?).map(drop)),+ }
            }
        }

        /// The settings as they stand, read.
        #[derive(Clone, Debug, PartialEq)]
        pub struct Settings { $(#[doc = concat!("`", $name, "`.")] pub $field: $type),+ }

        impl Settings {
            /// Reads what is typed for each setting.
            fn read<'a>(typed: impl Fn(Key) -> Result<Typed<'a>>) -> Result<Settings> {
                Ok(Settings { $($field: {
                    let typed = typed(Key::$key)?;
                    typed.$kind($($of)?).with_context(|| format!("the setting {} is `{}`", $name, typed.text))?
                }),+ })
            }
        }
    };
}

settings! {
    Margin = "margin", margin: Decimal = margin();
    Confidence = "confidence", confidence: Decimal = fraction(&CONFIDENCE);
    Draws = "draws", draws: u32 = count(&DRAWS);
    MinimumCharge = "minimum-charge", minimum_charge: Money = amount();
    PriceStep = "price-step", price_step: Money = amount();
    Burden = "burden", burden: Decimal = figure(&BURDEN);
    Overhead = "overhead", overhead: Decimal = fraction(&OVERHEAD);
    DayHours = "day-hours", day_hours: Decimal = figure(&DAY_HOURS);
    CrewHours = "crew-hours", crew_hours: Decimal = figure(&CREW_HOURS);
    WorkingDays = "working-days", working_days: Vec<Weekday> = weekdays();
    SealRooms = "seal-rooms", seal_rooms: bool = yes();
    Holidays = "holidays", holidays: BTreeMap<NaiveDate, String> = dates();
    MileRate = "mile-rate", mile_rate: Option<Decimal> = if_set(|it| it.figure(&ROAD_RATE));
    KmRate = "km-rate", km_rate: Option<Decimal> = if_set(|it| it.figure(&ROAD_RATE));
    DriveSpeed = "drive-speed", drive_speed: Option<Decimal> = if_set(Typed::speed);
    RentalDistance = "rental-distance", rental_distance: Option<Decimal> = if_set(Typed::distance);
    QuoteValidDays = "quote-valid-days", quote_valid_days: u32 = count(&DAYS);
    PaymentDays = "payment-days", payment_days: u32 = count(&DAYS);
    LateInterest = "late-interest", late_interest: Option<Decimal> = if_set(|it| it.percent(&PERCENTAGE));
    AgeFromInvoice = "age-from-invoice", age_from_invoice: bool = yes();
    Allowance30 = "allowance-30", allowance_30: Decimal = fraction(&PERCENTAGE);
    Allowance60 = "allowance-60", allowance_60: Decimal = fraction(&PERCENTAGE);
    Allowance90 = "allowance-90", allowance_90: Decimal = fraction(&PERCENTAGE);
    AllowanceOlder = "allowance-older", allowance_older: Decimal = fraction(&PERCENTAGE);
    Deposit = "deposit", deposit: Decimal = fraction(&PERCENTAGE);
    DefaultSequence = "default-sequence", default_sequence: Option<String> = method();
    DefaultSchedule = "default-schedule", default_schedule: Option<String> = method();
    OwnWorkDiscs = "own-work-discs", own_work_discs: Decimal = own_work();
    OwnWorkFinish = "own-work-finish", own_work_finish: Decimal = own_work();
    OwnWorkHours = "own-work-hours", own_work_hours: Decimal = own_work();
    TaxPercent = "tax-percent", tax_percent: Decimal = percent(&PERCENTAGE);
    TaxIncluded = "tax-included", tax_included: bool = yes();
    BuyConfidenceReturnable = "buy-confidence-returnable", buy_confidence_returnable: Decimal = fraction(&CONFIDENCE);
    BuyConfidence = "buy-confidence", buy_confidence: Decimal = fraction(&CONFIDENCE);
    SawLoss = "saw-loss", saw_loss: Length = saw_loss();
    DepositLimit = "deposit-limit", deposit_limit: Option<Share> = if_set(Typed::share);
    DepositLimitAmount = "deposit-limit-amount", deposit_limit_amount: Option<Money> = if_set(Typed::amount);
    CancellationDays = "cancellation-days", cancellation_days: Option<u32> = if_set(|it| it.count(&DAYS));
    ContractLawSource = "contract-law", contract_law_source: Option<String> = if_set(Typed::words);
    SandingCut = "sanding-cut", sanding_cut: Length = thin();
    WoodKept = "wood-kept", wood_kept: Length = thin();
    TopLayer = "top-layer", top_layer: (Length, Length) = between(|it| it.thin());
    PlankWidth = "plank-width", plank_width: Length = thin();
    CoatingTemperature = "coating-temperature", coating_temperature: (Temperature, Temperature) = between(|it| it.warm());
    CoatingHumidity = "coating-humidity", coating_humidity: (Decimal, Decimal) = between(|it| it.humid());
    LeadYear = "lead-year", lead_year: Option<i32> = if_set(Typed::year);
    AsbestosYear = "asbestos-year", asbestos_year: Option<i32> = if_set(Typed::year);
    LeadFirm = "lead-firm", lead_firm: Option<String> = if_set(Typed::words);
    FirmName = "firm-name", firm_name: Option<String> = if_set(Typed::words);
    FirmAddress = "firm-address", firm_address: Option<String> = if_set(Typed::words);
    FirmPhone = "firm-phone", firm_phone: Option<String> = if_set(Typed::words);
    FirmEmail = "firm-email", firm_email: Option<String> = if_set(Typed::mail);
    FirmTaxNumber = "firm-tax-number", firm_tax_number: Option<String> = if_set(Typed::words);
    FirmRegistration = "firm-registration", firm_registration: Option<String> = if_set(Typed::words);
    FirmAccount = "firm-account", firm_account: Option<String> = if_set(Typed::account);
    QuoteTerms = "quote-terms", quote_terms: Option<String> = if_set(Typed::words);
    PaymentTerms = "payment-terms", payment_terms: Option<String> = if_set(Typed::words);
}

/// Returns what driving is counted in, and what is typed to set its rate.
pub(super) const fn no_road_rate(units: Units) -> (&'static str, &'static str) {
    match units {
        Units::Us => ("mile", "gritledger setting set mile-rate 0.70"),
        Units::Metric => ("kilometre", "gritledger setting set km-rate 0.50"),
    }
}

impl Settings {
    /// Returns what a mile or a kilometre costs, in major units; `None`: nobody has said.
    pub(super) fn road_rate(&self, road: Unit) -> Option<Decimal> {
        match road {
            Unit::Kilometre => self.km_rate,
            _ => self.mile_rate,
        }
    }
}

/// What a figure is at least and at most, and what it is called where it isn't that.
struct Bounds {
    least: Decimal,
    most: Decimal,
    called: &'static str,
}

const fn bounds(least: Decimal, most: u32, called: &'static str) -> Bounds {
    let most = Decimal::from_parts(most, 0, 0, false, 0);
    Bounds {
        least,
        most,
        called,
    }
}

/// The least of what must be above zero.
const SMALLEST: Decimal = Decimal::from_parts(1, 0, 0, false, 6);

const MARGIN: Bounds = bounds(Decimal::ZERO, 100, "a margin");
const PERCENTAGE: Bounds = bounds(Decimal::ZERO, 100, "a percentage between 0 and 100");
const OVERHEAD: Bounds = bounds(Decimal::ZERO, 1_000, "a percentage between 0 and 1000");
/// Nothing is quite sure, in the decimals that a percentage has.
const CONFIDENCE: Bounds = Bounds {
    least: SMALLEST,
    most: Decimal::from_parts(99_999_999, 0, 0, false, 6),
    ..PERCENTAGE
};
const DRAWS: Bounds = bounds(
    Decimal::ONE_THOUSAND,
    1_000_000,
    "a whole number between 1000 and 1000000",
);
const DAYS: Bounds = bounds(Decimal::ZERO, 3_650, "a number of days");
const BURDEN: Bounds = bounds(
    SMALLEST,
    100,
    "a factor such as 1.4: what an hour costs over its wage",
);
const DAY_HOURS: Bounds = bounds(SMALLEST, 24, "a number of hours of a day");
const CREW_HOURS: Bounds = bounds(
    SMALLEST,
    2_400,
    "the hours of labour of a crew in a day, such as 16 for two people",
);
const HUMIDITY: Bounds = bounds(Decimal::ZERO, 100, "a humidity between 0 and 100 %");
const YEAR: Bounds = bounds(Decimal::ONE_THOUSAND, 2_200, "a year, such as 1978");
const SPEED: Bounds = bounds(Decimal::ONE, 200, "a speed on the road, from 1 to 200");
const DISTANCE: Bounds = Bounds {
    least: Decimal::ZERO,
    most: MOST_DRIVEN,
    called: "a distance one way, from 0 to 5000",
};
const ROAD_RATE: Bounds = bounds(Decimal::ZERO, 1_000_000, "a number between 0 and 1000000");

/// The most that a saw takes, in nanometres: one inch.
const WIDEST_SAW: i64 = 25_400_000;

/// The widest that a board, and what is left or cut of one, may be, in inches.
const WIDEST_BOARD: Decimal = Decimal::from_parts(24, 0, 0, false, 0);

/// Decimals of a percentage: fractions are kept in millionths.
const PERCENT_DECIMALS: u32 = 4;

/// A value as it was typed, in a ledger's units and currency.
struct Typed<'a> {
    text: &'a str,
    units: Units,
    currency: Currency,
}

impl Typed<'_> {
    fn figure(&self, bounds: &Bounds) -> Result<Decimal> {
        self.within(bounds, number(self.text))
    }

    /// Reads how far it is in what the ledger counts driving in: `9`, `9 mi`.
    fn distance(&self) -> Result<Decimal> {
        let road = Unit::of_roads(self.units).as_str();
        self.within(&DISTANCE, number(self.bare(&[road])))
    }

    /// Reads how far is driven in an hour: `30`, `30 mph`.
    fn speed(&self) -> Result<Decimal> {
        let an_hour: &[&str] = match self.units {
            Units::Us => &["mph", "mi/h"],
            Units::Metric => &["km/h", "kmh"],
        };
        self.within(&SPEED, number(self.bare(an_hour)))
    }

    /// Returns the figure without its unit, if that is one of these.
    fn bare(&self, units: &[&str]) -> &str {
        let text = self.text.trim();
        let without = units.iter().find_map(|unit| text.strip_suffix(unit));
        without.unwrap_or(text).trim_end()
    }

    fn count(&self, bounds: &Bounds) -> Result<u32> {
        let whole = number(self.text).filter(Decimal::is_integer);
        let count = self.within(bounds, whole)?;
        Ok(count.to_u32().unwrap_or(u32::MAX))
    }

    /// Reads a percentage, with or without its sign.
    fn percent(&self, bounds: &Bounds) -> Result<Decimal> {
        self.check_meant()?;
        self.within(bounds, self.hundredths())
    }

    /// Reads a percentage as a fraction of one.
    fn fraction(&self, bounds: &Bounds) -> Result<Decimal> {
        Ok(self.percent(bounds)? / Decimal::ONE_HUNDRED)
    }

    fn margin(&self) -> Result<Decimal> {
        match self.hundredths() {
            Some(margin) if margin >= Decimal::ONE_HUNDRED => refuse!(
                "a margin of {} % cannot be kept: it must be below 100 %",
                margin.normalize()
            ),
            _ => self.fraction(&MARGIN),
        }
    }

    fn hundredths(&self) -> Option<Decimal> {
        number(self.text.strip_suffix('%').unwrap_or(self.text))
            .filter(|percent| percent.normalize().scale() <= PERCENT_DECIMALS)
    }

    /// Refuses a bare number that may be meant as a fraction or as a percentage.
    fn check_meant(&self) -> Result<()> {
        if number(self.text).is_some() {
            read_percent(self.text, PERCENTAGE.called)?;
        }
        Ok(())
    }

    fn within(&self, bounds: &Bounds, read: Option<Decimal>) -> Result<Decimal> {
        match read.filter(|read| (bounds.least..=bounds.most).contains(read)) {
            Some(read) => Ok(read),
            None => refuse!("`{}` is not {}", self.text, bounds.called),
        }
    }

    fn amount(&self) -> Result<Money> {
        let amount = self.currency.parse(self.text)?;
        if amount.is_negative() {
            refuse!("`{}` is not an amount of money from 0 on", self.text);
        }
        Ok(amount)
    }

    /// Reads a share of a price: `10%`, or a fraction such as `1/3`.
    fn share(&self) -> Result<Share> {
        self.check_meant()?;
        let above_zero = |text: &str| number(text).filter(|part| *part > Decimal::ZERO);
        let share = match self.text.split_once('/') {
            Some((part, of)) => above_zero(part).zip(above_zero(of)),
            None => {
                let percent = self.text.strip_suffix('%').unwrap_or(self.text).trim_end();
                above_zero(percent).map(|percent| (percent, Decimal::ONE_HUNDRED))
            }
        };
        match share {
            Some((part, of)) if part <= of => Ok(Share { part, of }),
            _ => refuse!(
                "`{}` is not a share of a price, such as 10% or 1/3",
                self.text
            ),
        }
    }

    fn saw_loss(&self) -> Result<Length> {
        read_saw_loss(self.text, self.units)
    }

    /// Reads an area of own work as square feet: `300 sqft`, `28 m2`, or a bare number in the ledger's unit.
    fn own_work(&self) -> Result<Decimal> {
        match Area::parse(self.text, self.units).map(|area| quantity(area.square_feet())) {
            Ok(trust) if trust > Decimal::ZERO => Ok(trust),
            _ => {
                let example = match self.units {
                    Units::Us => "300 sqft",
                    Units::Metric => "28 m2",
                };
                refuse!(
                    "`{}` is not an area of your own work, such as {example}",
                    self.text
                )
            }
        }
    }

    /// Reads days of the week: `mon, tue, wed`.
    fn weekdays(&self) -> Result<Vec<Weekday>> {
        let mut days: Vec<Weekday> = Vec::new();
        for word in self.text.split([',', ' ']).filter(|word| !word.is_empty()) {
            let Ok(day) = word.parse::<Weekday>() else {
                return Err(Refusal::new(format!("`{word}` is not a day of the week"))
                    .hint("gritledger setting set working-days \"mon, tue, wed, thu, fri\"")
                    .into());
            };
            if !days.contains(&day) {
                days.push(day);
            }
        }
        if days.is_empty() {
            refuse!("somebody has to work on some day of the week");
        }
        days.sort_by_key(Weekday::num_days_from_monday);
        Ok(days)
    }

    /// Reads dates that aren't worked, each perhaps with a name: `2026-12-25 Christmas Day, 2027-01-01`.
    fn dates(&self) -> Result<BTreeMap<NaiveDate, String>> {
        let mut dates = BTreeMap::new();
        let parts = set(self.text).into_iter().flat_map(|text| text.split(','));
        for part in parts.map(str::trim) {
            let (date, name) = part.split_once(' ').unwrap_or((part, ""));
            let Ok(date) = date.parse::<NaiveDate>() else {
                return Err(Refusal::new(format!("`{part}` does not begin with a date"))
                    .hint(
                        "gritledger setting set holidays \"2026-12-25 Christmas Day, 2027-01-01\"",
                    )
                    .into());
            };
            dates.insert(date, name.trim().to_owned());
        }
        Ok(dates)
    }

    fn yes(&self) -> Result<bool> {
        match self.text {
            "yes" => Ok(true),
            "no" => Ok(false),
            text => refuse!("`{text}` is neither yes nor no"),
        }
    }

    /// Reads the name of a sequence or schedule; `None`: there is to be none.
    fn method(&self) -> Result<Option<String>> {
        Ok((self.text != NONE).then(|| self.text.to_owned()))
    }

    /// Reads what a board has, or loses, with its unit: `3/32 in`, `2.5 mm`.
    fn thin(&self) -> Result<Length> {
        let length = reading::with_unit(self.text, self.units)?;
        match length.inches() > WIDEST_BOARD {
            true => refuse!("`{}` is more than a board is wide", self.text),
            false => Ok(length),
        }
    }

    fn warm(&self) -> Result<Temperature> {
        match Temperature::parse(self.text, self.units) {
            Some(temperature) => Ok(temperature),
            None => refuse!("`{}` is not a temperature, such as 68 F or 20 C", self.text),
        }
    }

    fn humid(&self) -> Result<Decimal> {
        let digits = self.text.strip_suffix('%').unwrap_or(self.text);
        self.within(&HUMIDITY, number(digits))
    }

    /// Reads from how much to how much, `60 to 80 F`: the unit at the end is that of both.
    fn between<T: PartialOrd>(&self, kind: impl Fn(&Typed<'_>) -> Result<T>) -> Result<(T, T)> {
        let Some((from, to)) = self.text.split_once(" to ") else {
            refuse!(
                "`{}` doesn't say from what to what, such as 2 to 3 mm",
                self.text
            );
        };
        let (from, to) = (from.trim(), to.trim());
        let figure = |sign: char| sign.is_ascii_digit() || "./ ".contains(sign);
        let both = match from.chars().all(figure) {
            true => format!("{from} {}", to.trim_start_matches(figure)),
            false => from.to_owned(),
        };
        let read = |text: &str| kind(&Typed { text, ..*self });
        let (from, to) = (read(both.trim_end())?, read(to)?);
        match from < to {
            true => Ok((from, to)),
            false => refuse!("`{}` ends before it begins", self.text),
        }
    }

    fn year(&self) -> Result<i32> {
        self.count(&YEAR).map(u32::cast_signed)
    }

    /// Takes words as they are.
    fn words(&self) -> Result<String> {
        Ok(self.text.to_owned())
    }

    fn mail(&self) -> Result<String> {
        match self.text.split_once('@') {
            Some((name, place)) if !name.is_empty() && !place.is_empty() => self.words(),
            _ => refuse!(
                "`{}` is not a mail address, such as floors@example.com",
                self.text
            ),
        }
    }

    /// Takes the account that clients pay into; one that looks like an IBAN must have the right check digits.
    fn account(&self) -> Result<String> {
        let signs = self.text.chars().filter(|sign| !sign.is_whitespace());
        let number: String = signs.collect();
        match is_iban(&number) {
            Some(false) => refuse!("`{}` is not an IBAN: its check digits don't fit", self.text),
            Some(true) | None => self.words(),
        }
    }

    /// Reads a value that may be left open; `None`: it is.
    fn if_set<T>(&self, kind: impl FnOnce(&Self) -> Result<T>) -> Result<Option<T>> {
        set(self.text)
            .map(|text| kind(&Self { text, ..*self }))
            .transpose()
    }
}

/// Tells whether the check digits of an IBAN fit (ISO 13616: ISO 7064, modulo 97 over 10); `None`: it doesn't look like one.
fn is_iban(text: &str) -> Option<bool> {
    let signs: Vec<u32> = text.chars().map_while(|sign| sign.to_digit(36)).collect();
    let looks_so = matches!(signs[..], [10..=35, 10..=35, 0..=9, 0..=9, ..])
        && (15..=34).contains(&signs.len())
        && signs.len() == text.chars().count();
    looks_so.then(|| {
        let turned = signs[4..].iter().chain(&signs[..4]);
        turned.fold(0, |rest, sign| {
            (rest * if *sign < 10 { 10 } else { 100 } + sign) % 97
        }) == 1
    })
}

/// Returns a value that may be left open; `None`: it is.
fn set(text: &str) -> Option<&str> {
    Some(text.trim()).filter(|text| !text.is_empty() && !text.eq_ignore_ascii_case(NONE))
}

/// Reads what a saw takes between two pieces: up to an inch.
///
/// # Errors
/// Refuses what is no length, and more than a saw takes.
pub fn read_saw_loss(value: &str, units: Units) -> Result<Length> {
    let bare = number(value.trim());
    if bare.is_some_and(|loss| loss.is_zero()) {
        return Ok(Length::ZERO);
    }
    if bare.is_some_and(|loss| loss.is_sign_negative()) {
        refuse!("`{value}`: a saw takes no less than nothing");
    }
    let loss = Length::parse(value, units)?;
    if loss.nanometres() > WIDEST_SAW {
        let most = match units {
            Units::Us => "1 in",
            Units::Metric => "25.4 mm",
        };
        refuse!("`{value}` is more than a saw takes: up to {most}");
    }
    Ok(loss)
}

/// Reads a share: `35%`, `35` or `35 %`, as a fraction of one; `what` names it in the refusal.
///
/// # Errors
/// Refuses what is no number, one that could be meant as a fraction, and one finer than is kept.
pub fn read_percent(text: &str, what: &str) -> Result<Decimal> {
    let text = text.trim();
    let digits = text.strip_suffix('%').unwrap_or(text).trim_end();
    let Some(percent) = number(digits) else {
        refuse!("`{digits}` is not {what}");
    };
    if digits == text && !percent.is_zero() && percent.abs() < Decimal::ONE {
        let fraction = plain(percent * Decimal::ONE_HUNDRED, 4);
        return Err(
            Refusal::new(format!("`{text}` could be {text} % or {fraction} %"))
                .hint(format!("write {text}% or {fraction}%"))
                .into(),
        );
    }
    if percent.normalize().scale() > PERCENT_DECIMALS {
        refuse!("`{text}` is finer than a percentage is kept: {PERCENT_DECIMALS} decimals at most");
    }
    Ok(percent / Decimal::ONE_HUNDRED)
}

impl Key {
    /// Tells whether ledgers in such units have the setting: a road is counted in one unit.
    pub(super) fn is_of(self, units: Units) -> bool {
        match self {
            Key::MileRate => units == Units::Us,
            Key::KmRate => units == Units::Metric,
            _ => true,
        }
    }

    /// Returns the setting that says how far the book's rate of an operation is trusted.
    pub(super) fn of_trust(operation: &Operation, kind: RateKind) -> Key {
        match (kind, operation.set_size) {
            (RateKind::Hours, _) => Key::OwnWorkHours,
            (RateKind::Item, Some(_)) => Key::OwnWorkDiscs,
            (RateKind::Item, None) => Key::OwnWorkFinish,
        }
    }
}

impl Settings {
    /// Returns how far the book is trusted.
    pub fn prior_weights(&self) -> PriorWeights {
        PriorWeights {
            discs: self.own_work_discs,
            finish: self.own_work_finish,
            hours: self.own_work_hours,
        }
    }

    /// Returns the figure of a trust.
    pub(super) fn trusted(&self, trust: Key) -> Decimal {
        match trust {
            Key::OwnWorkDiscs => self.own_work_discs,
            Key::OwnWorkFinish => self.own_work_finish,
            _ => self.own_work_hours,
        }
    }

    /// Returns when the crew works.
    pub fn calendar(&self) -> Calendar {
        let minutes = |hours: Decimal| counted((hours * Decimal::from(60)).ceil().to_i64());
        Calendar {
            working_days: self.working_days.clone(),
            holidays: self.holidays.clone(),
            day: WorkingDay {
                crew_minutes: minutes(self.crew_hours),
                day_minutes: minutes(self.day_hours),
            },
        }
    }

    /// Returns the thresholds of a floor, each with where it comes from.
    fn limits(&self, country: Option<Country>, source: impl Fn(Key) -> String) -> Limits {
        fn of<T>(at: T, source: String) -> Limit<T> {
            Limit { at, source }
        }
        Limits {
            sanding_cut: of(self.sanding_cut, source(Key::SandingCut)),
            wood_kept: of(self.wood_kept, source(Key::WoodKept)),
            top_layer: of(self.top_layer, source(Key::TopLayer)),
            plank_width: of(self.plank_width, source(Key::PlankWidth)),
            temperature: of(self.coating_temperature, source(Key::CoatingTemperature)),
            humidity: of(self.coating_humidity, source(Key::CoatingHumidity)),
            lead_year: of(self.lead_year, source(Key::LeadYear)),
            asbestos_year: of(self.asbestos_year, source(Key::AsbestosYear)),
            country,
            lead_firm: self.lead_firm.clone(),
        }
    }

    /// Returns the law on deposits and cancellation as the firm has set it.
    pub fn contract_law(&self) -> ContractLaw {
        let source = &self.contract_law_source;
        ContractLaw {
            deposit_share: self.deposit_limit,
            deposit_amount: self.deposit_limit_amount,
            cancellation: self.cancellation_days.map(|days| Cancellation {
                days,
                source: source.clone(),
            }),
            source: source.clone(),
        }
    }
}

/// A setting as it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting {
    /// Its name.
    pub name: String,
    /// Its value, as typed.
    pub value: String,
    /// What it is.
    pub description: String,
    /// Where the value comes from.
    pub source: String,
}

/// Returns every setting that a ledger has, as it starts: of the rows of one, the last that is for such a ledger.
fn seeds(identity: &Identity) -> Result<Vec<Setting>> {
    let columns = Columns {
        kind: "settings",
        required: &["setting", "where", "value", "description", "source"],
        optional: &[],
    };
    let rows = Rows::read("settings.csv", SEED.as_bytes(), columns)?;
    let country = identity.country.map(Country::code).unwrap_or_default();
    let places = ["", identity.units.as_str(), &country];
    let mut seeds: Vec<Setting> = Vec::new();
    for row in rows
        .iter()
        .filter(|row| places.contains(&row.text("where")))
    {
        let name = row.text("setting").to_owned();
        if !key(&name)?.is_of(identity.units) {
            continue;
        }
        seeds.pop_if(|last| last.name == name);
        seeds.push(Setting {
            name,
            value: row.text("value").to_owned(),
            description: row.text("description").to_owned(),
            source: row.text("source").to_owned(),
        });
    }
    Ok(seeds)
}

/// Returns the setting of that name.
///
/// # Errors
/// Refuses an unknown name, with the near ones.
fn key(name: &str) -> Result<Key> {
    let wanted = name.trim().to_lowercase();
    if let Some(key) = Key::ALL.iter().find(|key| key.as_str() == wanted) {
        return Ok(*key);
    }
    Err(no_setting(name))
}

/// Returns the refusal of a name that no setting has, with the near ones.
fn no_setting(name: &str) -> anyhow::Error {
    let wanted = name.trim().to_lowercase();
    let near = near_names(&wanted, Key::ALL.iter().map(|key| key.as_str()));
    let refusal = Refusal::new(format!("no setting `{}`", name.trim()));
    match near[..] {
        [] => refusal.hint("gritledger setting list"),
        _ => refusal.hint(format!("near names: {}", near.join(", "))),
    }
    .into()
}

impl Ledger {
    /// Returns the settings, read once for each snapshot or write.
    ///
    /// # Errors
    /// Fails if one of them is damaged.
    pub fn settings(&self) -> Result<Rc<Settings>> {
        // Outside a transaction another program may set them meanwhile.
        let alone = !self.connection.is_autocommit();
        if let Some(read) = self.settings.borrow().as_ref().filter(|_| alone) {
            return Ok(Rc::clone(read));
        }
        let kept = self.kept_settings()?;
        let read = Rc::new(Settings::read(|key| match kept.get(key.as_str()) {
            Some((value, _)) => Ok(self.as_typed(value)),
            None if !key.is_of(self.units()) => Ok(self.as_typed(NONE)),
            None => bail!("the setting {key} has no value"),
        })?);
        if alone {
            self.settings.replace(Some(Rc::clone(&read)));
        }
        Ok(read)
    }

    /// Returns what a floor is judged by.
    pub(super) fn sanding_limits(&self) -> Result<Limits> {
        let kept = self.kept_settings()?;
        let source = |key: Key| kept.get(key.as_str()).map(|(_, source)| source.clone());
        let source = |key: Key| source(key).unwrap_or_default();
        Ok(self.settings()?.limits(self.identity.country, source))
    }

    /// Returns every setting as it stands, in the order that the book lists them.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn setting_list(&self) -> Result<Vec<Setting>> {
        let mut kept = self.kept_settings()?;
        let mut settings = seeds(&self.identity)?;
        for setting in &mut settings {
            if let Some(newest) = kept.remove(&setting.name) {
                (setting.value, setting.source) = newest;
            }
        }
        Ok(settings)
    }

    /// Returns the settings with a word in their names, as they stand.
    ///
    /// # Errors
    /// Refuses a word that no name has in it.
    pub fn settings_named(&self, word: &str) -> Result<Vec<Setting>> {
        let wanted = word.trim().to_lowercase();
        let mut settings = self.setting_list()?;
        settings.retain(|setting| setting.name.contains(&wanted));
        match settings.is_empty() {
            true => Err(no_setting(word)),
            false => Ok(settings),
        }
    }

    /// Returns a setting as it stands.
    ///
    /// # Errors
    /// Refuses an unknown name.
    pub fn setting(&self, name: &str) -> Result<Setting> {
        let key = key(name)?;
        let mut settings = self.setting_list()?.into_iter();
        let setting = settings.find(|setting| setting.name == key.as_str());
        match setting {
            Some(setting) => Ok(setting),
            None => Err(self.of_other_units(key)),
        }
    }

    /// Returns the newest value of each name, and its source: beside `MAX`, columns are those of its row.
    pub(super) fn kept_settings(&self) -> Result<BTreeMap<String, (String, String)>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT name, value, source, MAX(id) FROM setting GROUP BY name ORDER BY name",
        )?;
        let kept = statement.query_map([], |row| {
            Ok((row.get("name")?, (row.get("value")?, row.get("source")?)))
        })?;
        Ok(kept.collect::<rusqlite::Result<_>>()?)
    }

    /// Returns a value as it is kept: a sequence or schedule by its whole name, since a beginning may fit others later.
    ///
    /// # Errors
    /// Refuses a value that doesn't fit the setting.
    pub(super) fn fitting(&self, key: Key, value: &str) -> Result<String> {
        let typed = self.as_typed(value);
        key.check(&typed)?;
        Ok(match key {
            Key::DefaultSequence => self.sequence(value)?.name,
            Key::DefaultSchedule => self.schedule(value)?.name,
            Key::WorkingDays => {
                let days = typed.weekdays()?.into_iter();
                let words = days.map(|day| day.to_string().to_lowercase());
                words.collect::<Vec<_>>().join(", ")
            }
            Key::Holidays => {
                for day in typed.dates()?.keys() {
                    check_day(*day, self.today())?;
                }
                value.to_owned()
            }
            _ => value.to_owned(),
        })
    }

    /// Returns the refusal of a setting that only ledgers in the other units have.
    fn of_other_units(&self, key: Key) -> anyhow::Error {
        let units = self.units().as_str();
        Refusal::new(format!("there is no {key} in a ledger with {units} units"))
            .hint(no_road_rate(self.units()).1)
            .into()
    }

    fn as_typed<'a>(&self, text: &'a str) -> Typed<'a> {
        Typed {
            text,
            units: self.units(),
            currency: self.currency(),
        }
    }
}

impl Writing<'_> {
    /// Sets a setting.
    ///
    /// # Errors
    /// Refuses an unknown name and a value that doesn't fit it.
    pub fn set_setting(&self, name: &str, value: &str) -> Result<()> {
        let key = key(name)?;
        if !key.is_of(self.units()) {
            return Err(self.of_other_units(key));
        }
        let value = self.fitting(key, value.trim())?;
        self.insert_setting(key, &value, "own choice")?;
        self.log(&format!("Set {key} to {value}."))
    }

    pub(super) fn insert_setting(&self, key: Key, value: &str, source: &str) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO setting (id, name, value, source, recorded_at) VALUES (:id, :name, :value, :source, :now)",
            )?
            .execute(named_params! {
                ":id": self.new_id("setting")?, ":name": key.as_str(), ":value": value, ":source": source, ":now": self.now(),
            })?;
        self.settings.take();
        Ok(())
    }

    pub(super) fn seed_settings(&self) -> Result<()> {
        for seed in seeds(&self.identity)? {
            self.insert_setting(key(&seed.name)?, &seed.value, &seed.source)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Notation;

    fn typed(text: &str) -> Typed<'_> {
        Typed {
            text,
            units: Units::Us,
            currency: Currency::from_code("USD").unwrap(),
        }
    }

    #[test]
    fn every_row_of_the_book_is_a_setting_and_every_setting_has_its_row() {
        for units in [Units::Us, Units::Metric] {
            for country in [None, Some(Country::US), Some(Country::GB)] {
                let identity = Identity {
                    business: "Marsh End Floors".to_owned(),
                    currency: Currency::from_code("USD").unwrap(),
                    units,
                    country,
                    notation: Notation::default(),
                    copy: 0,
                };
                let seeds = seeds(&identity).unwrap();
                let rows: Vec<&str> = seeds.iter().map(|seed| seed.name.as_str()).collect();
                let keys = Key::ALL.iter().filter(|key| key.is_of(units));
                let keys: Vec<&str> = keys.map(|key| key.as_str()).collect();
                assert_eq!(rows, keys, "in one order");
                let read = Settings::read(|key| {
                    let seed = seeds.iter().find(|seed| seed.name == key.as_str());
                    let text = seed.map_or(NONE, |seed| seed.value.as_str());
                    Ok(Typed {
                        units,
                        ..typed(text)
                    })
                });
                let read = read.unwrap();
                assert_eq!(read.margin, Decimal::new(35, 2));
                assert_eq!(read.contract_law(), ContractLaw::default());
                // 40 CFR 745 subpart E, 29 CFR 1926.1101(g)(8)(i); theflooringgroup.co.uk, advice of the HSE.
                let years = match country {
                    Some(Country::US) => (Some(1978), Some(1980)),
                    Some(_) => (None, Some(1999)),
                    None => (None, None),
                };
                assert_eq!((read.lead_year, read.asbestos_year), years);
            }
        }
    }

    #[test]
    fn figures_that_do_not_fit_are_refused_in_words() {
        let refused = [
            (
                "burden",
                "142%",
                "`142%` is not a factor such as 1.4: what an hour costs over its wage",
            ),
            (
                "burden",
                "0",
                "`0` is not a factor such as 1.4: what an hour costs over its wage",
            ),
            (
                "burden",
                "99999999",
                "`99999999` is not a factor such as 1.4: what an hour costs over its wage",
            ),
            ("day-hours", "8%", "`8%` is not a number of hours of a day"),
            ("day-hours", "25", "`25` is not a number of hours of a day"),
            (
                "mile-rate",
                "-1",
                "`-1` is not a number between 0 and 1000000",
            ),
            ("margin", "35%%", "`35%%` is not a margin"),
            ("margin", "-1%", "`-1%` is not a margin"),
            (
                "margin",
                "100",
                "a margin of 100 % cannot be kept: it must be below 100 %",
            ),
            (
                "overhead",
                "-1%",
                "`-1%` is not a percentage between 0 and 1000",
            ),
            (
                "deposit",
                "101",
                "`101` is not a percentage between 0 and 100",
            ),
            ("payment-days", "1.5", "`1.5` is not a number of days"),
        ];
        for (name, value, words) in refused {
            let said = key(name)
                .unwrap()
                .check(&typed(value))
                .unwrap_err()
                .to_string();
            assert_eq!(said, words, "{name} {value}");
        }
        for (name, value) in [
            ("margin", "35%"),
            ("margin", "35"),
            ("margin", "0"),
            ("burden", "1.4235"),
            ("overhead", "120%"),
            ("mile-rate", "0.725"),
            ("payment-days", "0"),
            ("day-hours", "7.5"),
        ] {
            assert!(
                key(name).unwrap().check(&typed(value)).is_ok(),
                "{name} {value}"
            );
        }
    }
}
