//! The year, or any other time: what came in, what it cost and what is left, by the postings of its days.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::NaiveDate;
use rusqlite::Row;

use super::columns::Micro;
use super::postings::{Moved, POSTINGS, Seen};
use super::{Days, Ledger, numbered};
use crate::money::{Decimal, Money, product};
use crate::trade::accounts::Account;
use crate::trade::bounds::FIRST_DAY;
use crate::trade::{ClientId, JobId, Unit};

/// What accounts came to, debits less credits.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sums(BTreeMap<Account, Money>);

impl Sums {
    fn add(&mut self, moved: &Moved) {
        *self.0.entry(moved.account).or_default() += moved.amount;
    }

    /// Returns what an account came to.
    pub fn of(&self, account: Account) -> Money {
        self.0.get(&account).copied().unwrap_or_default()
    }

    fn all(&self, accounts: &[Account]) -> Money {
        accounts.iter().map(|account| self.of(*account)).sum()
    }

    /// Returns what was invoiced before tax, less what was credited.
    pub fn revenue(&self) -> Money {
        -self.of(Account::Work)
    }

    /// Returns what jobs cost.
    pub fn costs(&self) -> Money {
        self.all(&Account::OF_JOBS)
    }

    /// Returns what was logged of no job.
    pub fn overheads(&self) -> Money {
        self.all(&Account::OVERHEADS)
    }

    /// Returns what is left of all that.
    pub fn result(&self) -> Money {
        let of_result = self.0.iter().filter(|(account, _)| account.is_of_result());
        -of_result.map(|(_, amount)| *amount).sum::<Money>()
    }
}

/// The part of a time that a month or a client has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartOfYear {
    /// `2026-01`, or the client's name; empty: of no client.
    pub name: String,
    /// What it came to.
    pub sums: Sums,
}

/// Tax on invoices of an area at a rate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TaxCollected {
    /// The area, as it was called; empty: by the setting.
    pub area: String,
    /// The rate.
    pub percent: Decimal,
    /// What was taxed, credit notes taken off.
    pub net: Money,
    /// The tax.
    pub tax: Money,
}

/// What somebody worked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wages {
    /// Who.
    pub worker: String,
    /// How long.
    pub hours: Decimal,
    /// Their wage for it.
    pub wage: Money,
    /// What it cost, with what comes on top of a wage.
    pub cost: Money,
}

/// What was driven at a rate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Driven {
    /// How much a mile or kilometre costs.
    pub rate: Decimal,
    /// How far.
    pub distance: Decimal,
    /// What it came to.
    pub amount: Money,
}

/// What is on the shelf at the end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OnShelf {
    /// The item.
    pub item: String,
    /// How much there is.
    pub quantity: Decimal,
    /// Its unit.
    pub unit: Unit,
    /// What it cost.
    pub value: Money,
}

/// A time's figures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Year {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// What was recorded by the end of this day is seen.
    pub as_of: NaiveDate,
    /// It is part of what is closed.
    pub closed: bool,
    /// What it came to.
    pub sums: Sums,
    /// What the jobs' labour brought for the firm itself, at the share that was quoted.
    pub recovered: Money,
    /// By month.
    pub months: Vec<PartOfYear>,
    /// By client, the largest first.
    pub clients: Vec<PartOfYear>,
    /// Tax by area and rate.
    pub taxes: Vec<TaxCollected>,
    /// Hours by worker.
    pub wages: Vec<Wages>,
    /// What was driven.
    pub driven: Vec<Driven>,
    /// What is on the shelf.
    pub shelf: Vec<OnShelf>,
    /// What is of closed times, and counts here.
    pub corrections: Vec<OfClosed>,
}

/// What is of a closed time, and counts in a later one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OfClosed {
    /// The day on which it counts.
    pub date: NaiveDate,
    /// Its document.
    pub document: String,
    /// The day that it is of.
    pub of: NaiveDate,
    /// What it is, and what it corrects.
    pub note: String,
    /// What it does to the result.
    pub result: Money,
}

/// A drive, as a log of them has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drive {
    /// The day on which it counts.
    pub date: NaiveDate,
    /// The entry: of a drive that was taken back after its time was closed, what takes it back.
    pub entry: String,
    /// How far; below zero: it is taken back.
    pub distance: Decimal,
    /// What a mile or kilometre cost.
    pub rate: Decimal,
    /// What it came to.
    pub amount: Money,
    /// The job's number; empty: of none.
    pub job: String,
    /// Where; empty: of no job.
    pub place: String,
    /// What for.
    pub purpose: String,
}

impl Ledger {
    /// Returns the figures of a time, as they were known at the end of a day.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn year(&self, from: NaiveDate, to: NaiveDate, as_of: NaiveDate) -> Result<Year> {
        let seen = Seen { from, to, as_of };
        let moved = self.moved(seen)?;
        let mut sums = Sums::default();
        let mut months: BTreeMap<NaiveDate, Sums> = BTreeMap::new();
        for moved in &moved {
            sums.add(moved);
            months.entry(moved.month).or_default().add(moved);
        }
        let months = months.into_iter().map(|(month, sums)| PartOfYear {
            name: month.format("%Y-%m").to_string(),
            sums,
        });
        let jobs = self.jobs_of_postings(seen)?;
        Ok(Year {
            from,
            to,
            as_of,
            closed: self.closed_until()?.is_some_and(|until| to <= until),
            recovered: recovered(&moved, &jobs),
            months: months.collect(),
            clients: self.by_client(&moved, &jobs)?,
            sums,
            taxes: self.taxes_collected(seen)?,
            wages: self.wages(seen)?,
            driven: self.driven(seen)?,
            shelf: self.on_shelf(seen)?,
            corrections: self.corrections(seen)?,
        })
    }

    /// Returns who pays for each job of postings, and its overhead as a share of labour.
    fn jobs_of_postings(&self, seen: Seen) -> Result<BTreeMap<JobId, (ClientId, Decimal)>> {
        let overhead = self.settings()?.overhead;
        let sql = format!(
            "{POSTINGS}
             SELECT job.id, job_party.client_id, overhead_micro
             FROM job JOIN job_party ON job_party.job_id = job.id LEFT JOIN quote ON quote.id = job.quote_id
             WHERE job.id IN (SELECT job_id FROM posting)"
        );
        let jobs = self.of_postings(&sql, seen, |row| {
            let own: Option<Micro> = row.get("overhead_micro")?;
            let overhead = own.map_or(overhead, |own| own.0);
            Ok((row.get("id")?, (row.get("client_id")?, overhead)))
        })?;
        Ok(jobs.into_iter().collect())
    }

    /// Adds up by client what is of one; the largest revenue first.
    fn by_client(
        &self,
        moved: &[Moved],
        jobs: &BTreeMap<JobId, (ClientId, Decimal)>,
    ) -> Result<Vec<PartOfYear>> {
        let mut clients: BTreeMap<Option<ClientId>, Sums> = BTreeMap::new();
        for moved in moved.iter().filter(|moved| moved.account.is_of_result()) {
            let of_job = moved.job.and_then(|job| jobs.get(&job));
            let client = moved.client.or(of_job.map(|(client, _)| *client));
            clients.entry(client).or_default().add(moved);
        }
        let mut statement = self
            .connection
            .prepare_cached("SELECT name FROM client WHERE id = :client")?;
        let parts = clients.into_iter().map(|(client, sums)| {
            let name = match client {
                Some(client) => statement
                    .query_row(rusqlite::named_params! { ":client": client }, |row| {
                        row.get(0)
                    })?,
                None => String::new(),
            };
            Ok(PartOfYear { name, sums })
        });
        let mut parts: Vec<PartOfYear> = parts.collect::<Result<_>>()?;
        parts.sort_by_key(|part| (part.name.is_empty(), std::cmp::Reverse(part.sums.revenue())));
        Ok(parts)
    }

    fn taxes_collected(&self, seen: Seen) -> Result<Vec<TaxCollected>> {
        let sql = format!(
            "{POSTINGS}
             SELECT tax_area, tax_micro, SUM(IIF(credits_id IS NULL, invoice_tax.net_minor, -invoice_tax.net_minor)) AS net,
                    SUM(IIF(credits_id IS NULL, invoice_tax.tax_minor, -invoice_tax.tax_minor)) AS tax
             FROM invoice_of_work AS invoice JOIN invoice_tax ON invoice_tax.invoice_id = invoice.id
             WHERE issued_on BETWEEN :from AND :to AND issued_on < :before
             GROUP BY tax_area, tax_micro ORDER BY tax_area = '', tax_area, tax_micro"
        );
        self.of_postings(&sql, seen, |row| {
            Ok(TaxCollected {
                area: row.get("tax_area")?,
                percent: row.get::<_, Micro>("tax_micro")?.0,
                net: row.get("net")?,
                tax: row.get("tax")?,
            })
        })
    }

    fn wages(&self, seen: Seen) -> Result<Vec<Wages>> {
        let sql = format!(
            "{POSTINGS}
             SELECT worker.name, sign, quantity_micro, price_micro, amount_minor
             FROM entry_told CROSS JOIN entry ON entry.id = entry_id AND kind = 'hours'
             JOIN worker ON worker.id = worker_id
             WHERE job_id IS NULL OR job_id NOT IN own_job
             ORDER BY worker.id"
        );
        let hours = self.of_postings(&sql, seen, |row| {
            let (sign, cost): (i64, Money) = (row.get("sign")?, row.get("amount_minor")?);
            let (hours, wage): (Micro, Micro) =
                (row.get("quantity_micro")?, row.get("price_micro")?);
            let signed = |money: Money| if sign < 0 { -money } else { money };
            Ok(Wages {
                worker: row.get("name")?,
                hours: hours.0 * Decimal::from(sign),
                wage: signed(self.currency().amount(product([hours.0, wage.0]))),
                cost: signed(cost),
            })
        })?;
        let mut wages: Vec<Wages> = Vec::new();
        for part in hours {
            match wages.last_mut().filter(|last| last.worker == part.worker) {
                Some(last) => {
                    last.hours += part.hours;
                    last.wage += part.wage;
                    last.cost += part.cost;
                }
                None => wages.push(part),
            }
        }
        Ok(wages)
    }

    fn driven(&self, seen: Seen) -> Result<Vec<Driven>> {
        let sql = format!(
            "{POSTINGS}
             SELECT price_micro, SUM(sign * quantity_micro) AS distance, SUM(sign * amount_minor) AS amount
             FROM entry_told CROSS JOIN entry ON entry.id = entry_id AND kind = 'drive'
             WHERE job_id IS NULL OR job_id NOT IN own_job
             GROUP BY price_micro ORDER BY MIN(on_day), price_micro"
        );
        self.of_postings(&sql, seen, |row| {
            Ok(Driven {
                rate: row.get::<_, Micro>("price_micro")?.0,
                distance: row.get::<_, Micro>("distance")?.0,
                amount: row.get("amount")?,
            })
        })
    }

    /// Returns what was on the shelf at the end of a time.
    fn on_shelf(&self, seen: Seen) -> Result<Vec<OnShelf>> {
        let sql = format!(
            "{POSTINGS}
             SELECT name, unit, SUM(sign * quantity_micro) AS quantity, SUM(sign * value_minor) AS value
             FROM effect_told CROSS JOIN stock_effect AS effect ON effect.id = effect_id
             JOIN item ON item.id = effect.item_id
             GROUP BY item.id HAVING SUM(sign * quantity_micro) <> 0 OR SUM(sign * value_minor) <> 0 ORDER BY name"
        );
        let from = FIRST_DAY;
        self.of_postings(&sql, Seen { from, ..seen }, |row| {
            Ok(OnShelf {
                item: row.get("name")?,
                quantity: row.get::<_, Micro>("quantity")?.0,
                unit: row.get("unit")?,
                value: row.get("value")?,
            })
        })
    }

    /// Returns what of a time is of a closed one.
    fn corrections(&self, seen: Seen) -> Result<Vec<OfClosed>> {
        if self.closed_until()?.is_none() {
            return Ok(Vec::new());
        }
        let Seen { from, to, as_of } = seen;
        let days = Days {
            from: Some(from),
            to: Some(to),
        };
        let mut corrections: Vec<OfClosed> = Vec::new();
        for line in self.account_lines(days, as_of)? {
            let Some(of) = line.of_closed else { continue };
            let result = match line.account.is_of_result() {
                true => -line.amount,
                false => Money::ZERO,
            };
            match corrections.last_mut() {
                Some(last) if (last.date, &last.document) == (line.date, &line.document) => {
                    last.result += result;
                }
                _ => corrections.push(OfClosed {
                    date: line.date,
                    document: line.document,
                    of,
                    note: line.note,
                    result,
                }),
            }
        }
        Ok(corrections)
    }

    /// Returns what was driven in a time, day by day, as it was known at the end of a day.
    ///
    /// # Errors
    /// Fails if the file can't be read.
    pub fn drives(&self, from: NaiveDate, to: NaiveDate, as_of: NaiveDate) -> Result<Vec<Drive>> {
        let sql = format!(
            "{POSTINGS}
             SELECT on_day, own_day, sign, doc_id, said.number AS doc_number, entry.number, entry.id, entry.quantity_micro,
                    entry.price_micro, entry.amount_minor, entry.what, job.id AS job_id, job.number AS job_number,
                    COALESCE(job_party.site, '') AS site
             FROM entry_told CROSS JOIN entry ON entry.id = entry_told.entry_id AND entry.kind = 'drive'
             JOIN entry AS said ON said.id = doc_id
             LEFT JOIN job ON job.id = entry.job_id
             LEFT JOIN job_party ON job_party.job_id = entry.job_id
             WHERE entry.job_id IS NULL OR entry.job_id NOT IN own_job
             ORDER BY on_day, doc_id"
        );
        self.of_postings(&sql, Seen { from, to, as_of }, drive_from_row)
    }
}

fn drive_from_row(row: &Row<'_>) -> rusqlite::Result<Drive> {
    let sign: i64 = row.get("sign")?;
    let (distance, amount): (Micro, Money) = (row.get("quantity_micro")?, row.get("amount_minor")?);
    let (on, own): (NaiveDate, NaiveDate) = (row.get("on_day")?, row.get("own_day")?);
    let (job, what): (Option<JobId>, String) = (row.get("job_id")?, row.get("what")?);
    let job = job.map(|job| Ok::<_, rusqlite::Error>(numbered('J', job.0, row.get("job_number")?)));
    let purpose = match (sign, on == own) {
        (1, true) => what,
        (1, false) => format!("{what}; of {own}, which was closed"),
        _ => format!(
            "takes back {} of {own}",
            numbered('E', row.get("id")?, row.get("number")?)
        ),
    };
    Ok(Drive {
        date: on,
        entry: numbered('E', row.get("doc_id")?, row.get("doc_number")?),
        distance: distance.0 * Decimal::from(sign),
        rate: row.get::<_, Micro>("price_micro")?.0,
        amount: if sign < 0 { -amount } else { amount },
        job: job.transpose()?.unwrap_or_default(),
        place: row.get("site")?,
        purpose,
    })
}

/// Returns what the labour of jobs brought for the firm itself, each job's at its own share.
fn recovered(moved: &[Moved], jobs: &BTreeMap<JobId, (ClientId, Decimal)>) -> Money {
    let mut labour: BTreeMap<JobId, Money> = BTreeMap::new();
    for moved in moved
        .iter()
        .filter(|moved| moved.account == Account::Labour)
    {
        if let Some(job) = moved.job {
            *labour.entry(job).or_default() += moved.amount;
        }
    }
    let shares = labour.into_iter().map(|(job, labour)| {
        let overhead = jobs
            .get(&job)
            .map_or(Decimal::ZERO, |(_, overhead)| *overhead);
        labour.times(overhead)
    });
    shares.sum()
}
