//! Settings: dated facts, the newest counts.

use std::collections::BTreeMap;

use anyhow::{Context, Result};
use chrono::{NaiveDate, Weekday};
use rusqlite::{OptionalExtension, named_params};
use rust_decimal::prelude::ToPrimitive;

use super::names::near_names;
use super::rows::{Columns, Rows};
use super::{Ledger, Refusal, Writing, refuse};
use crate::measure::{Area, Length, Units};
use crate::money::{Decimal, Money, number, quantity};
use crate::trade::bounds::check_day;
use crate::trade::contract::{Cancellation, ContractLaw, Share};
use crate::trade::plan::Calendar;
use crate::trade::rates::Trust;

/// Every setting with its default, as embedded.
const SEED: &str = include_str!("../../seed-data/settings.csv");

/// What a setting that may be left open is set to then.
const NONE: &str = "none";

/// The fewest and the most times that a job is drawn.
const LEAST_DRAWS: Decimal = Decimal::from_parts(1_000, 0, 0, false, 0);
const MOST_DRAWS: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);

/// The most that a saw takes, in nanometres: one inch.
const WIDEST_SAW: i64 = 25_400_000;

/// The least of what must be above zero.
const SMALLEST: Decimal = Decimal::from_parts(1, 0, 0, false, 6);

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

/// Returns name, value, description and source of every setting as embedded.
fn seeds() -> Result<Vec<Setting>> {
    let columns = Columns {
        kind: "settings",
        required: &["setting", "value", "description", "source"],
        optional: &[],
    };
    let rows = Rows::read("settings.csv", SEED.as_bytes(), columns)?;
    let seed = |row: super::rows::Row<'_>| Setting {
        name: row.text("setting").to_owned(),
        value: row.text("value").to_owned(),
        description: row.text("description").to_owned(),
        source: row.text("source").to_owned(),
    };
    Ok(rows.iter().map(seed).collect())
}

/// Returns the names of all settings.
pub(super) fn names() -> Result<Vec<String>> {
    Ok(seeds()?.into_iter().map(|seed| seed.name).collect())
}

impl Ledger {
    /// Returns the value of a setting, as typed.
    ///
    /// # Errors
    /// Refuses an unknown name.
    pub fn setting(&self, name: &str) -> Result<String> {
        let value = self
            .connection
            .prepare_cached(
                "SELECT value FROM setting WHERE name = :name ORDER BY id DESC LIMIT 1",
            )?
            .query_row(
                named_params! { ":name": name.trim().to_lowercase() },
                |row| row.get(0),
            )
            .optional()?;
        match value {
            Some(value) => Ok(value),
            None => Err(unknown(name)?),
        }
    }

    /// Returns every setting, in the order that the book lists them.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn settings(&self) -> Result<Vec<Setting>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT value, source FROM setting WHERE name = :name ORDER BY id DESC LIMIT 1",
        )?;
        let mut settings = Vec::new();
        for seed in seeds()? {
            let newest = statement.query_row(named_params! { ":name": seed.name }, |row| {
                Ok((row.get("value")?, row.get("source")?))
            });
            let (value, source) = newest
                .optional()?
                .unwrap_or((seed.value.clone(), seed.source.clone()));
            settings.push(Setting {
                value,
                source,
                ..seed
            });
        }
        Ok(settings)
    }

    pub(super) fn decimal_setting(&self, name: &str) -> Result<Decimal> {
        let value = self.setting(name)?;
        read_decimal(&value).with_context(|| format!("the setting {name} is `{value}`"))
    }

    fn share_setting(&self, name: &str) -> Result<Decimal> {
        Ok(self.decimal_setting(name)? / Decimal::ONE_HUNDRED)
    }

    fn count_setting(&self, name: &str) -> Result<u32> {
        self.decimal_setting(name)?
            .to_u32()
            .with_context(|| format!("the setting {name} is not a whole number"))
    }

    pub(super) fn trust_setting(&self, name: &str) -> Result<Decimal> {
        let value = self.setting(name)?;
        read_trust(&value, self.units()).with_context(|| format!("the setting {name} is `{value}`"))
    }

    /// Returns the margin that quotes keep, as a fraction.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn margin(&self) -> Result<Decimal> {
        self.share_setting("margin")
    }

    /// Returns with what confidence quotes keep their margin, as a fraction.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn confidence(&self) -> Result<Decimal> {
        self.share_setting("confidence")
    }

    /// Returns how many times a job is drawn to see what it may cost.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn draws(&self) -> Result<u32> {
        self.count_setting("draws")
    }

    /// Returns the least that a job is done for.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn minimum_charge(&self) -> Result<Money> {
        self.money_setting("minimum-charge")
    }

    /// Returns what prices are rounded up to multiples of; nothing: they aren't.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn price_step(&self) -> Result<Money> {
        self.money_setting("price-step")
    }

    /// Returns with what confidence enough is bought of what can be handed back, as a fraction.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn buy_confidence_returnable(&self) -> Result<Decimal> {
        self.share_setting("buy-confidence-returnable")
    }

    /// Returns with what confidence enough is bought of what can't be handed back, as a fraction.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn buy_confidence(&self) -> Result<Decimal> {
        self.share_setting("buy-confidence")
    }

    /// Returns what a saw takes between two pieces.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn saw_loss(&self) -> Result<Length> {
        let value = self.setting("saw-loss")?;
        read_saw_loss(&value, self.units())
            .with_context(|| format!("the setting saw-loss is `{value}`"))
    }

    /// Returns the law on deposits and cancellation as the firm has set it.
    ///
    /// # Errors
    /// Fails if the settings are damaged.
    pub fn contract_law(&self) -> Result<ContractLaw> {
        let [share, amount, days] = ["deposit-limit", "deposit-limit-amount", "cancellation-days"]
            .map(|name| self.setting(name));
        let (share, amount, days) = (share?, amount?, days?);
        let source = if_set(&self.setting("contract-law")?).map(str::to_owned);
        Ok(ContractLaw {
            deposit_share: if_set(&share).map(read_share).transpose()?,
            deposit_amount: if_set(&amount)
                .map(|amount| self.currency().parse(amount))
                .transpose()?,
            cancellation: match if_set(&days) {
                Some(days) => Some(Cancellation {
                    days: days.parse()?,
                    source: source.clone(),
                }),
                None => None,
            },
            source,
        })
    }

    /// Returns a value as it is kept; a sequence or schedule by its whole name, since a beginning may fit others later.
    pub(super) fn fitting(&self, name: &str, value: &str) -> Result<String> {
        match name {
            "default-sequence" => return Ok(self.sequence(value)?.name),
            "default-schedule" => return Ok(self.schedule(value)?.name),
            "trust-discs" | "trust-finish" | "trust-hours" => {
                match read_trust(value, self.units()) {
                    Ok(trust) if trust > Decimal::ZERO => {}
                    _ => refuse!("`{value}` is not an area of your own work, such as 300 sqft"),
                }
            }
            "minimum-charge" | "price-step" => self.check_amount(value)?,
            "deposit-limit-amount" => {
                if let Some(amount) = if_set(value) {
                    self.check_amount(amount)?;
                }
            }
            "saw-loss" => {
                read_saw_loss(value, self.units())?;
            }
            "deposit-limit" => {
                if let Some(share) = if_set(value) {
                    read_share(share)?;
                }
            }
            "contract-law" => {}
            "working-days" => {
                let days = read_working_days(value)?;
                return Ok(days
                    .iter()
                    .map(|day| word_of(*day))
                    .collect::<Vec<_>>()
                    .join(", "));
            }
            "holidays" => {
                for day in read_holidays(value)?.keys() {
                    check_day(*day, self.today())?;
                }
            }
            "seal-rooms" => {
                if !matches!(value, "yes" | "no") {
                    refuse!("`{value}` is neither yes nor no");
                }
            }
            "cancellation-days" if if_set(value).is_none() => {}
            _ => check_figure(name, value)?,
        }
        Ok(value.to_owned())
    }

    fn check_amount(&self, value: &str) -> Result<()> {
        if self.currency().parse(value)?.is_negative() {
            refuse!("`{value}` is not an amount of money from 0 on");
        }
        Ok(())
    }

    fn money_setting(&self, name: &str) -> Result<Money> {
        let value = self.setting(name)?;
        self.currency()
            .parse(&value)
            .with_context(|| format!("the setting {name} is `{value}`"))
    }

    /// Returns what an hour costs over its wage, as a factor.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn burden(&self) -> Result<Decimal> {
        self.decimal_setting("burden")
    }

    /// Returns overhead as a fraction of labour.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn overhead(&self) -> Result<Decimal> {
        self.share_setting("overhead")
    }

    /// Returns the working hours of a day.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn day_hours(&self) -> Result<Decimal> {
        self.decimal_setting("day-hours")
    }

    /// Returns when the crew works.
    ///
    /// # Errors
    /// Fails if the settings are damaged.
    pub fn calendar(&self) -> Result<Calendar> {
        let minutes = |hours: Decimal| {
            let minutes = (hours * Decimal::from(60)).ceil().to_i64();
            minutes.context("hours that are no number of minutes")
        };
        Ok(Calendar {
            working_days: read_working_days(&self.setting("working-days")?)?,
            holidays: read_holidays(&self.setting("holidays")?)?,
            crew_minutes: minutes(self.decimal_setting("crew-hours")?)?,
            day_minutes: minutes(self.day_hours()?)?,
        })
    }

    /// Tells whether wet rooms are sealed off, so that others are sanded meanwhile.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn seals_rooms(&self) -> Result<bool> {
        Ok(self.setting("seal-rooms")? == "yes")
    }

    /// Returns what a mile costs, in major units.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn mile_rate(&self) -> Result<Decimal> {
        self.decimal_setting("mile-rate")
    }

    /// Returns for how many days a sent quote can be accepted.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn quote_valid_days(&self) -> Result<u32> {
        self.count_setting("quote-valid-days")
    }

    /// Returns how many days after its issue an invoice falls due.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn payment_days(&self) -> Result<u32> {
        self.count_setting("payment-days")
    }

    /// Returns the share of the price that deposits ask for, as a fraction.
    ///
    /// # Errors
    /// Fails if the setting is damaged.
    pub fn deposit_share(&self) -> Result<Decimal> {
        self.share_setting("deposit")
    }

    /// Returns how far the book is trusted.
    ///
    /// # Errors
    /// Fails if the settings are damaged.
    pub fn trust(&self) -> Result<Trust> {
        Ok(Trust {
            discs: self.trust_setting("trust-discs")?,
            finish: self.trust_setting("trust-finish")?,
            hours: self.trust_setting("trust-hours")?,
        })
    }

    /// Returns the sequence that quotes use unless another is named.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn default_sequence(&self) -> Result<String> {
        self.setting("default-sequence")
    }

    /// Returns the schedule that quotes use unless another is named.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn default_schedule(&self) -> Result<String> {
        self.setting("default-schedule")
    }
}

impl Writing<'_> {
    /// Sets a setting.
    ///
    /// # Errors
    /// Refuses an unknown name and a value that doesn't fit it.
    pub fn set_setting(&self, name: &str, value: &str) -> Result<()> {
        let (name, value) = (name.trim().to_lowercase(), value.trim());
        if !seeds()?.iter().any(|seed| seed.name == name) {
            return Err(unknown(&name)?);
        }
        let value = &self.fitting(&name, value)?;
        self.insert_setting(&name, value, "own choice")?;
        self.log(&format!("Set {name} to {value}."))
    }

    pub(super) fn insert_setting(&self, name: &str, value: &str, source: &str) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO setting (id, name, value, source, recorded_at) VALUES (:id, :name, :value, :source, :now)",
            )?
            .execute(named_params! {
                ":id": self.new_id("setting")?, ":name": name, ":value": value, ":source": source, ":now": self.now(),
            })?;
        Ok(())
    }

    pub(super) fn seed_settings(&self) -> Result<()> {
        for seed in seeds()? {
            self.insert_setting(&seed.name, &seed.value, &seed.source)?;
        }
        Ok(())
    }
}

fn unknown(name: &str) -> Result<anyhow::Error> {
    let seeds = seeds()?;
    let near = near_names(
        &name.trim().to_lowercase(),
        seeds.iter().map(|seed| seed.name.as_str()),
    );
    let refusal = Refusal::new(format!("no setting `{}`", name.trim()));
    Ok(match near[..] {
        [] => refusal.hint("gritledger setting list"),
        _ => refusal.hint(format!("near names: {}", near.join(", "))),
    }
    .into())
}

/// Refuses a figure that doesn't fit its setting.
fn check_figure(name: &str, value: &str) -> Result<()> {
    let read = match name {
        "margin"
        | "confidence"
        | "buy-confidence"
        | "buy-confidence-returnable"
        | "overhead"
        | "deposit"
        | "tax-percent" => read_decimal(value).ok().filter(|share| {
            // Fractions are kept in millionths.
            share.normalize().scale() <= 4
        }),
        _ => number(value),
    };
    let within = |low: Decimal, high: i64| {
        read.is_some_and(|read| read >= low && read <= Decimal::from(high))
    };
    let (fits, what) = match name {
        "margin" => match read {
            Some(margin) if margin >= Decimal::ONE_HUNDRED => refuse!(
                "a margin of {} % cannot be kept: it must be below 100 %",
                margin.normalize()
            ),
            _ => (within(Decimal::ZERO, 100), "a margin"),
        },
        "overhead" => (
            within(Decimal::ZERO, 1000),
            "a percentage between 0 and 1000",
        ),
        "deposit" | "tax-percent" => (within(Decimal::ZERO, 100), "a percentage between 0 and 100"),
        "confidence" | "buy-confidence" | "buy-confidence-returnable" => (
            read.is_some_and(|read| read > Decimal::ZERO && read < Decimal::ONE_HUNDRED),
            "a percentage between 0 and 100",
        ),
        "draws" => (
            read.is_some_and(|read| {
                read.is_integer() && (LEAST_DRAWS..=MOST_DRAWS).contains(&read)
            }),
            "a whole number between 1000 and 1000000",
        ),
        "quote-valid-days" | "payment-days" | "cancellation-days" => (
            within(Decimal::ZERO, 3650) && read.is_some_and(|days| days.is_integer()),
            "a number of days",
        ),
        "burden" => (
            within(SMALLEST, 100),
            "a factor such as 1.4: what an hour costs over its wage",
        ),
        "day-hours" => (within(SMALLEST, 24), "a number of hours of a day"),
        "crew-hours" => (
            within(SMALLEST, 2400),
            "the hours of labour of a crew in a day, such as 16 for two people",
        ),
        _ => (
            within(Decimal::ZERO, 1_000_000),
            "a number between 0 and 1000000",
        ),
    };
    if !fits {
        refuse!("`{value}` is not {what}");
    }
    Ok(())
}

/// Reads days of the week: `mon, tue, wed`.
fn read_working_days(value: &str) -> Result<Vec<Weekday>> {
    let mut days: Vec<Weekday> = Vec::new();
    for word in value.split([',', ' ']).filter(|word| !word.is_empty()) {
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

/// Writes a day of the week as it is set: `mon`.
fn word_of(day: Weekday) -> String {
    day.to_string().to_lowercase()
}

/// Reads dates that aren't worked, each perhaps with a name: `2026-12-25 Christmas Day, 2027-01-01`.
fn read_holidays(value: &str) -> Result<BTreeMap<NaiveDate, String>> {
    let mut holidays = BTreeMap::new();
    let parts = if_set(value).into_iter().flat_map(|value| value.split(','));
    for part in parts.map(str::trim) {
        let (date, name) = part.split_once(' ').unwrap_or((part, ""));
        let Ok(date) = date.parse::<NaiveDate>() else {
            return Err(Refusal::new(format!("`{part}` does not begin with a date"))
                .hint("gritledger setting set holidays \"2026-12-25 Christmas Day, 2027-01-01\"")
                .into());
        };
        holidays.insert(date, name.trim().to_owned());
    }
    Ok(holidays)
}

/// Returns a value that may be left open; `None`: it is.
fn if_set(value: &str) -> Option<&str> {
    Some(value.trim()).filter(|value| !value.is_empty() && !value.eq_ignore_ascii_case(NONE))
}

/// Reads a share of a price: `10%`, or a fraction such as `1/3`.
fn read_share(value: &str) -> Result<Share> {
    let whole = |text: &str| number(text).filter(|part| *part > Decimal::ZERO);
    let share = match value.split_once('/') {
        Some((part, of)) => whole(part).zip(whole(of)),
        None => {
            let percent = value.strip_suffix('%').unwrap_or(value).trim_end();
            whole(percent).map(|percent| (percent, Decimal::ONE_HUNDRED))
        }
    };
    match share {
        Some((part, of)) if part <= of => Ok(Share { part, of }),
        _ => refuse!("`{value}` is not a share of a price, such as 10% or 1/3"),
    }
}

/// Reads what a saw takes between two pieces: up to an inch.
///
/// # Errors
/// Refuses what is no length, and more than a saw takes.
pub fn read_saw_loss(value: &str, units: Units) -> Result<Length> {
    if number(value.trim()).is_some_and(|loss| loss.is_zero()) {
        return Ok(Length::ZERO);
    }
    if number(value.trim()).is_some_and(|loss| loss.is_sign_negative()) {
        refuse!("`{value}`: a saw takes no less than nothing");
    }
    let loss = Length::parse(value, units)?;
    if loss.nanometres() > WIDEST_SAW {
        refuse!("`{value}` is more than a saw takes: up to 1 in");
    }
    Ok(loss)
}

/// Reads a number, with or without a percent sign.
fn read_decimal(value: &str) -> Result<Decimal> {
    let value = value.trim();
    match number(value.strip_suffix('%').unwrap_or(value)) {
        Some(value) => Ok(value),
        None => refuse!("`{value}` is not a number"),
    }
}

/// Reads a trust as square feet: `300 sqft`, `28 m2`, or a bare number in the ledger's unit.
fn read_trust(value: &str, units: Units) -> Result<Decimal> {
    Ok(quantity(Area::parse(value, units)?.square_feet()))
}

#[cfg(test)]
mod tests {
    use super::*;

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
            let said = check_figure(name, value).unwrap_err().to_string();
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
            assert!(check_figure(name, value).is_ok(), "{name} {value}");
        }
    }
}
