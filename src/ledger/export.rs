//! Taking rows out: CSV (RFC 4180) that [`Writing::import`](super::Writing::import) reads back to the same rows.

use std::collections::BTreeMap;
use std::convert::Infallible;

use anyhow::Result;
use rusqlite::named_params;

use super::columns::{Micro, Nano};
use super::csv::defused;
use super::settings::Key;
use super::{InBook, Ledger, Transfer, UsedFor, numbered};
use crate::measure::Units;
use crate::money::{Currency, Decimal, Money, plain, round};
use crate::trade::operation::Operation;
use crate::trade::parts;
use crate::trade::rates::RateKind;
use crate::trade::{JobId, OperationId, Unit};

/// Decimals that exported quantities and rates keep: all that are stored.
const ALL_DECIMALS: u32 = 9;

/// Decimals of a quantity as it is stored.
const MICRO_DECIMALS: u32 = 6;

type Cells = Vec<String>;

/// The rows of a kind as they are written, one after the other: none of them is held.
pub(super) struct Sheet(csv::Writer<Vec<u8>>);

impl Sheet {
    fn new(kind: Transfer) -> Result<Sheet> {
        let columns = kind.columns();
        Sheet::headed(columns.required.iter().chain(columns.optional))
    }

    pub(super) fn headed(headings: impl IntoIterator<Item = impl AsRef<[u8]>>) -> Result<Sheet> {
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(Vec::new());
        writer.write_record(headings)?;
        Ok(Sheet(writer))
    }

    /// Writes a row, which has as many cells as there are headings.
    pub(super) fn row(&mut self, cells: Cells) -> Result<()> {
        Ok(self
            .0
            .write_record(cells.iter().map(|cell| defused(cell)))?)
    }

    fn rows<E>(&mut self, rows: impl Iterator<Item = Result<Cells, E>>) -> Result<()>
    where
        anyhow::Error: From<E>,
    {
        for cells in rows {
            self.row(cells?)?;
        }
        Ok(())
    }

    pub(super) fn text(self) -> Result<String> {
        let bytes = self.0.into_inner().map_err(|error| error.into_error())?;
        Ok(String::from_utf8(bytes)?)
    }
}

impl Ledger {
    /// Returns the rows of a kind as CSV.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn export(&self, kind: Transfer) -> Result<String> {
        let mut sheet = Sheet::new(kind)?;
        let rows = &mut sheet;
        match kind {
            Transfer::Clients => self.client_rows(rows)?,
            Transfer::Sites => self.site_rows(rows)?,
            Transfer::Rooms => self.room_rows(rows)?,
            Transfer::Readings => self.reading_rows(rows)?,
            Transfer::PastJobs => self.past_job_rows(rows)?,
            Transfer::Items => self.item_rows(rows)?,
            Transfer::Purchases => self.purchase_rows(rows)?,
            Transfer::Usage => self.usage_rows(rows)?,
            Transfer::Hours => self.hours_rows(rows)?,
            Transfer::Spent => self.spent_rows(rows)?,
            Transfer::Drives => self.drive_rows(rows)?,
            Transfer::Rentals => self.rental_rows(rows)?,
            Transfer::PastRooms => self.past_room_rows(rows)?,
            Transfer::Operations => self.operation_rows(rows)?,
            Transfer::BookRates => self.book_rate_rows(rows)?,
        }
        sheet.text()
    }

    fn client_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let clients = self.clients()?.into_iter().map(|client| {
            let details = client.details;
            vec![
                details.name,
                details.phone,
                details.email,
                details.address,
                details.tax_number,
                details.exempt,
                details.note,
            ]
        });
        sheet.rows(clients.map(Ok::<_, Infallible>))
    }

    fn site_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let sites = self.sites()?.into_iter().map(|site| {
            let year = site
                .year_built
                .map(|year| year.to_string())
                .unwrap_or_default();
            vec![
                site.client,
                site.address,
                year,
                site.tax_area.map(|(_, name)| name).unwrap_or_default(),
                site.distance.map(exact).unwrap_or_default(),
                beside(site.distance, self.road()),
                site.note,
            ]
        });
        sheet.rows(sites.map(Ok::<_, Infallible>))
    }

    fn room_rows(&self, sheet: &mut Sheet) -> Result<()> {
        for site in self.sites()? {
            for room in self.rooms_of(site.id)? {
                let doors = room
                    .doors
                    .iter()
                    .filter(|door| door.entered_here)
                    .map(|door| {
                        let to = door
                            .to
                            .as_ref()
                            .map_or("outside", |(_, name)| name.as_str());
                        format!("{to}:{}", door.width.exact_text())
                    });
                sheet.row(vec![
                    site.address.clone(),
                    room.name.clone(),
                    room.floor.to_string(),
                    room.condition.to_string(),
                    room.species.to_string(),
                    room.layout.to_string(),
                    yes_no(room.refinished),
                    doors.collect::<Vec<_>>().join("; "),
                    room.note.clone(),
                    parts::list(&room.parts),
                ])?;
            }
        }
        Ok(())
    }

    fn reading_rows(&self, sheet: &mut Sheet) -> Result<()> {
        for site in self.sites()? {
            for placed in self.readings_of(site.id)? {
                let reading = placed.reading;
                let layer = reading.layer.map(|layer| layer.to_string());
                sheet.row(vec![
                    reading.on.to_string(),
                    site.address.clone(),
                    reading.kind.to_string(),
                    reading.value.exact_text(),
                    placed.room.map(|(_, name)| name).unwrap_or_default(),
                    layer.unwrap_or_default(),
                    reading.place,
                    reading.by,
                ])?;
            }
        }
        Ok(())
    }

    fn item_rows(&self, sheet: &mut Sheet) -> Result<()> {
        for item in self.items()? {
            let row = |pack: String, price: String, source: String| {
                vec![
                    item.name.clone(),
                    item.unit.to_string(),
                    item.description.clone(),
                    yes_no(item.kept),
                    yes_no(item.returnable),
                    pack,
                    price,
                    source,
                    yes_no(item.active),
                ]
            };
            if item.packs.is_empty() {
                sheet.row(row(String::new(), String::new(), String::new()))?;
            }
            for pack in &item.packs {
                sheet.row(row(
                    exact(pack.size),
                    self.currency().text(pack.price),
                    pack.source.clone(),
                ))?;
            }
        }
        Ok(())
    }

    fn purchase_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT happened_on, item.name AS item, quantity_micro, amount_minor, what
             FROM live_entry JOIN item ON item.id = item_id
             WHERE kind = 'buy' ORDER BY live_entry.place_id",
        )?;
        let rows = statement.query_map([], |row| {
            let (bought, paid): (Micro, Money) =
                (row.get("quantity_micro")?, row.get("amount_minor")?);
            let date: chrono::NaiveDate = row.get("happened_on")?;
            Ok(vec![
                date.to_string(),
                row.get("item")?,
                exact(bought.0),
                self.currency().text(paid),
                row.get("what")?,
            ])
        })?;
        sheet.rows(rows)
    }

    fn usage_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT happened_on, job.id AS job_id, job.number, job.own_name, site.address AS site, item.name AS item, quantity_micro,
                    (SELECT GROUP_CONCAT(name, '; ') FROM (SELECT room.name FROM entry_room JOIN room ON room.id = room_id
                     WHERE entry_id = live_entry.id ORDER BY room.id)) AS rooms,
                    CASE WHEN left_over = 1 THEN :left_over ELSE operation.name END AS operation, what
             FROM live_entry
             JOIN job ON job.id = live_entry.job_id
             JOIN site ON site.id = job.site_id
             JOIN item ON item.id = live_entry.item_id
             LEFT JOIN operation ON operation.id = live_entry.operation_id
             WHERE kind = 'use' ORDER BY live_entry.place_id",
        )?;
        let word = named_params! { ":left_over": UsedFor::LEFT_OVER };
        let rows = statement.query_map(word, |row| {
            let date: chrono::NaiveDate = row.get("happened_on")?;
            let used: Micro = row.get("quantity_micro")?;
            let blank = |text: Option<String>| text.unwrap_or_default();
            Ok(vec![
                date.to_string(),
                label_from_row(row)?,
                row.get("site")?,
                row.get("item")?,
                exact(used.0),
                blank(row.get("rooms")?),
                blank(row.get("operation")?),
                row.get("what")?,
            ])
        })?;
        sheet.rows(rows)
    }

    fn hours_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT happened_on, job.id AS job_id, job.number, job.own_name, site.address AS site, worker.name AS worker,
                    quantity_micro,
                    (SELECT GROUP_CONCAT(name, '; ') FROM (SELECT room.name FROM entry_room JOIN room ON room.id = room_id
                     WHERE entry_id = live_entry.id ORDER BY room.id)) AS rooms,
                    COALESCE(operation.name, task.name, IIF(on_the_road, 'driving', NULL)) AS worked_on, amount_minor,
                    what
             FROM live_entry
             LEFT JOIN job ON job.id = live_entry.job_id
             LEFT JOIN site ON site.id = job.site_id
             JOIN worker ON worker.id = live_entry.worker_id
             LEFT JOIN task ON task.id = live_entry.task_id
             LEFT JOIN operation ON operation.id = live_entry.operation_id
             WHERE kind = 'hours' ORDER BY live_entry.place_id",
        )?;
        let burden = self.settings()?.burden;
        let rows = statement.query_map([], |row| {
            let date: chrono::NaiveDate = row.get("happened_on")?;
            let (hours, cost): (Micro, Money) =
                (row.get("quantity_micro")?, row.get("amount_minor")?);
            let blank = |text: Option<String>| text.unwrap_or_default();
            Ok(vec![
                date.to_string(),
                label_or_none(row)?,
                blank(row.get("site")?),
                row.get("worker")?,
                exact(hours.0),
                blank(row.get("rooms")?),
                blank(row.get("worked_on")?),
                self.currency()
                    .text(wage_of(self.currency(), cost, hours.0 * burden)),
                row.get("what")?,
                no_job(row)?,
            ])
        })?;
        sheet.rows(rows)
    }

    /// Those from before the ledger: what became of quotes follows from them.
    fn past_job_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT own_name, site.address AS site, price_minor, cost_minor,
                    (SELECT MIN(happened_on) FROM job_event WHERE job_id = job.id AND what = 'agreed') AS agreed_on,
                    (SELECT MIN(happened_on) FROM job_event WHERE job_id = job.id AND what = 'closed') AS closed_on
             FROM job JOIN site ON site.id = job.site_id
             WHERE own_name IS NOT NULL ORDER BY job.id",
        )?;
        let rows = statement.query_map([], |row| {
            let (price, cost): (Money, Option<Money>) =
                (row.get("price_minor")?, row.get("cost_minor")?);
            let cost = cost.map(|cost| self.currency().text(cost));
            Ok(vec![
                row.get("own_name")?,
                row.get("site")?,
                row.get("agreed_on")?,
                self.currency().text(price),
                row.get("closed_on")?,
                cost.unwrap_or_default(),
            ])
        })?;
        sheet.rows(rows)
    }

    fn spent_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT happened_on, job.id AS job_id, job.number, job.own_name, site.address AS site, amount_minor, what,
                    (SELECT GROUP_CONCAT(name, '; ') FROM (SELECT room.name FROM entry_room JOIN room ON room.id = room_id
                     WHERE entry_id = live_entry.id ORDER BY room.id)) AS rooms
             FROM live_entry
             LEFT JOIN job ON job.id = live_entry.job_id
             LEFT JOIN site ON site.id = job.site_id
             WHERE kind = 'spent' ORDER BY live_entry.place_id",
        )?;
        let rows = statement.query_map([], |row| {
            let blank = |text: Option<String>| text.unwrap_or_default();
            Ok(vec![
                row.get("happened_on")?,
                label_or_none(row)?,
                blank(row.get("site")?),
                self.currency().text(row.get("amount_minor")?),
                row.get("what")?,
                blank(row.get("rooms")?),
                no_job(row)?,
            ])
        })?;
        sheet.rows(rows)
    }

    fn drive_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT happened_on, job.id AS job_id, job.number, job.own_name, site.address AS site, quantity_micro,
                    price_micro, what,
                    (SELECT GROUP_CONCAT(name, '; ') FROM (SELECT room.name FROM entry_room JOIN room ON room.id = room_id
                     WHERE entry_id = live_entry.id ORDER BY room.id)) AS rooms
             FROM live_entry
             LEFT JOIN job ON job.id = live_entry.job_id
             LEFT JOIN site ON site.id = job.site_id
             WHERE kind = 'drive' ORDER BY live_entry.place_id",
        )?;
        let rows = statement.query_map([], |row| {
            let blank = |text: Option<String>| text.unwrap_or_default();
            let (driven, rate): (Micro, Micro) =
                (row.get("quantity_micro")?, row.get("price_micro")?);
            Ok(vec![
                row.get("happened_on")?,
                label_or_none(row)?,
                blank(row.get("site")?),
                exact(driven.0),
                self.road().to_string(),
                blank(row.get("rooms")?),
                exact(rate.0),
                row.get("what")?,
                no_job(row)?,
            ])
        })?;
        sheet.rows(rows)
    }

    fn rental_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let price = |price: Option<Money>| {
            let text = price.map(|price| self.currency().text(price));
            text.unwrap_or_default()
        };
        for rental in self.rentals()? {
            let job = self.job_by_id(rental.job_id)?;
            let moment = |at: chrono::NaiveDateTime| at.format("%Y-%m-%d %H:%M").to_string();
            let back = rental.back.as_ref();
            let stated = back.filter(|back| !back.by_tariff);
            let moved = rental.moved.iter().map(|moved| {
                let job = self.job_by_id(moved.job_id)?;
                Ok(format!("{} {}", moved.on, job.label()))
            });
            let moved: Vec<String> = moved.collect::<Result<_>>()?;
            let tariff = rental.tariff;
            sheet.row(vec![
                rental.machine,
                moment(rental.out_at),
                job.label().to_owned(),
                self.address_of(job.site_id)?,
                back.map(|back| moment(back.at)).unwrap_or_default(),
                price(stated.map(|back| back.charge)),
                moved.join("; "),
                price(tariff.half_day),
                price(Some(tariff.day)),
                price(tariff.weekend),
                price(tariff.week),
                price(tariff.four_weeks),
                plain(tariff.waiver_percent, ALL_DECIMALS),
                price(Some(tariff.cleaning)),
            ])?;
        }
        Ok(())
    }

    /// Notebook rows only: what this ledger's own jobs taught follows from their day book.
    fn past_room_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let mut statement = self.connection.prepare_cached(
            "SELECT finished_on, job_label, room_label, operation.name AS operation, operation.driver, floor_condition,
                    part.species, area_micro, edge_micro, driver_micro,
                    MAX(CASE WHEN kind = 'item' THEN quantity_micro END) AS items,
                    MAX(CASE WHEN kind = 'hours' THEN quantity_micro END) AS hours
             FROM observation
             JOIN observation_part AS part ON part.observation_id = observation.id AND observation.voided_at IS NULL
             JOIN operation ON operation.id = part.operation_id
             WHERE job_id IS NULL
             GROUP BY job_label, room_label, operation.id
             ORDER BY MIN(observation.id)",
        )?;
        let rows = statement.query_map([], |row| {
            let date: chrono::NaiveDate = row.get("finished_on")?;
            let driver: crate::trade::operation::Driver = row.get("driver")?;
            let counted = matches!(
                driver,
                crate::trade::operation::Driver::Count | crate::trade::operation::Driver::Length
            );
            let value = |column: &str| {
                let value: Option<Micro> = row.get(column)?;
                Ok::<_, rusqlite::Error>(value.map(|value| value.0))
            };
            let cell =
                |column| Ok::<_, rusqlite::Error>(value(column)?.map(exact).unwrap_or_default());
            let (area, edge) = (value("area_micro")?, value("edge_micro")?);
            let done = value("driver_micro")?.filter(|_| counted);
            let told = |figure: Option<Decimal>, unit| {
                let told =
                    figure.map(|figure| in_units(figure, unit, self.units(), MICRO_DECIMALS));
                told.unwrap_or_default()
            };
            let named = |figure, unit: Unit| beside(figure, unit.in_units(self.units()).0);
            Ok(vec![
                date.to_string(),
                row.get("job_label")?,
                row.get("room_label")?,
                row.get("operation")?,
                row.get("floor_condition")?,
                row.get("species")?,
                told(area, Unit::SquareFoot),
                told(edge, Unit::Foot),
                cell("items")?,
                cell("hours")?,
                told(done, driver.unit()),
                named(area, Unit::SquareFoot),
                named(edge, Unit::Foot),
                named(done, driver.unit()),
            ])
        })?;
        sheet.rows(rows)
    }

    fn operation_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let machines: BTreeMap<_, _> = self
            .machines()?
            .into_iter()
            .map(|machine| (machine.id, machine.name))
            .collect();
        let out = self.out_of_use(InBook::Operation)?;
        let rows = self.operations()?.into_iter().map(|operation| {
            let active = yes_no(!out.contains(&operation.id.0));
            let Operation {
                name,
                task,
                driver,
                item,
                set_size,
                family,
                splits,
                machine,
                grit,
                harden_hours,
                answers,
                ..
            } = operation;
            let number =
                |value: Option<u32>| value.map(|value| value.to_string()).unwrap_or_default();
            let hazards: Vec<&str> = operation
                .hazards
                .iter()
                .map(|hazard| hazard.as_str())
                .collect();
            vec![
                name,
                task.name,
                driver.to_string(),
                item.map(|item| item.name).unwrap_or_default(),
                number(set_size),
                family,
                splits.to_string(),
                machine
                    .and_then(|machine| machines.get(&machine).cloned())
                    .unwrap_or_default(),
                number(grit),
                harden_hours
                    .map(|hours| hours.to_string())
                    .unwrap_or_default(),
                answers.unwrap_or_default(),
                hazards.join(" "),
                operation.description,
                operation.source,
                active,
            ]
        });
        sheet.rows(rows.map(Ok::<_, Infallible>))
    }

    fn book_rate_rows(&self, sheet: &mut Sheet) -> Result<()> {
        let operations = self.operations_by_id()?;
        let settings = self.settings()?;
        let mut statement = self.connection.prepare_cached(
            "SELECT operation_id, floor_condition, species, kind, driver_per_item_nano, fixed_micro, source
             FROM book_rate
             WHERE id IN (SELECT MAX(id) FROM book_rate GROUP BY operation_id, floor_condition, species, kind)
             ORDER BY operation_id, kind DESC, floor_condition, species",
        )?;
        let rows = statement.query_map(named_params! {}, |row| {
            let (rate, fixed): (Nano, Option<Micro>) =
                (row.get("driver_per_item_nano")?, row.get("fixed_micro")?);
            let blank = |text: Option<String>| text.unwrap_or_default();
            let kind: RateKind = row.get("kind")?;
            let operation: OperationId = row.get("operation_id")?;
            let known = operations.get(&operation);
            let trusted = known.map(|known| settings.trusted(Key::of_trust(known, kind)));
            let measured = known.map_or(Unit::Each, |known| known.driver.unit());
            let (units, area) = (self.units(), Unit::SquareFoot);
            Ok(vec![
                known.map(|known| known.name.clone()).unwrap_or_default(),
                blank(row.get("floor_condition")?),
                blank(row.get("species")?),
                kind.to_string(),
                in_units(rate.0, measured, units, ALL_DECIMALS),
                fixed.map(|fixed| exact(fixed.0)).unwrap_or_default(),
                in_units(trusted.unwrap_or_default(), area, units, MICRO_DECIMALS),
                measured.in_units(units).0.to_string(),
                beside(trusted, area.in_units(units).0),
                row.get("source")?,
            ])
        })?;
        sheet.rows(rows)
    }
}

/// Reads what a job is called in files: the name that its firm had for it, which another ledger can bring it in by, or its
/// number.
fn label_from_row(row: &rusqlite::Row<'_>) -> rusqlite::Result<String> {
    let (own, job): (Option<String>, JobId) = (row.get("own_name")?, row.get("job_id")?);
    let number = row.get("number")?;
    Ok(own.unwrap_or_else(|| numbered('J', job.0, number)))
}

/// Reads the same of what may belong to no job; empty: it does.
fn label_or_none(row: &rusqlite::Row<'_>) -> rusqlite::Result<String> {
    match row.get::<_, Option<JobId>>("job_id")? {
        Some(_) => label_from_row(row),
        None => Ok(String::new()),
    }
}

/// Returns the word that says that a row belongs to no job; empty: it belongs to one.
fn no_job(row: &rusqlite::Row<'_>) -> rusqlite::Result<String> {
    let job: Option<JobId> = row.get("job_id")?;
    Ok(job.map_or_else(|| yes_no(true), |_| String::new()))
}

/// Returns the wage that made hours cost what they did: the roundest of those that give the same cost.
///
/// A worker's wage now is not what an hour cost before the last raise. The hours are counted with their burden.
fn wage_of(currency: Currency, cost: Money, burdened_hours: Decimal) -> Money {
    let wage = currency.decimal(cost) / burdened_hours;
    (0..=currency.decimals())
        .map(|decimals| currency.amount(round(wage, decimals)))
        .find(|wage| currency.amount(currency.decimal(*wage) * burdened_hours) == cost)
        .unwrap_or(currency.amount(wage))
}

fn yes_no(truth: bool) -> String {
    if truth { "yes" } else { "no" }.to_owned()
}

/// Writes a figure that is kept in a unit, to so many decimals, in such units: as short as it can be read back the same.
fn in_units(figure: Decimal, unit: Unit, units: Units, kept: u32) -> String {
    let (_, one) = unit.in_units(units);
    let told = (0..Decimal::MAX_SCALE)
        .map(|decimals| round(figure * one, decimals))
        .find(|told| round(told / one, kept) == figure);
    plain(told.unwrap_or(figure * one), Decimal::MAX_SCALE)
}

/// Returns the unit of a figure, if there is one.
fn beside(figure: Option<Decimal>, unit: Unit) -> String {
    figure.map(|_| unit.to_string()).unwrap_or_default()
}

pub(super) fn exact(quantity: Decimal) -> String {
    plain(quantity, ALL_DECIMALS)
}
