//! How the firm stands on its papers: what it has set, frozen into what is sent and issued.

use anyhow::Result;
use rusqlite::{OptionalExtension, Row, named_params};

use super::{Ledger, Writing};

/// What a paper says of the firm; what is empty isn't said.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Letterhead {
    /// Its name.
    pub name: String,
    /// Its postal address.
    pub address: String,
    /// Its telephone number.
    pub phone: String,
    /// Its mail address.
    pub email: String,
    /// The number that it is taxed under.
    pub tax_number: String,
    /// Its number in a register, or its licence.
    pub registration: String,
    /// The account that clients pay into.
    pub account: String,
    /// What a client agrees to with a quote.
    pub quote_terms: String,
    /// How an invoice is to be paid.
    pub payment_terms: String,
}

const WORDINGS: &str = "
    SELECT id, name, address, phone, email, tax_number, registration, account, quote_terms, payment_terms
    FROM letterhead";

fn letterhead_from_row(row: &Row<'_>) -> rusqlite::Result<Letterhead> {
    Ok(Letterhead {
        name: row.get("name")?,
        address: row.get("address")?,
        phone: row.get("phone")?,
        email: row.get("email")?,
        tax_number: row.get("tax_number")?,
        registration: row.get("registration")?,
        account: row.get("account")?,
        quote_terms: row.get("quote_terms")?,
        payment_terms: row.get("payment_terms")?,
    })
}

impl Ledger {
    /// Returns what a paper would say of the firm today.
    ///
    /// # Errors
    /// Fails if the settings can't be read.
    pub fn letterhead(&self) -> Result<Letterhead> {
        let settings = self.settings()?;
        let said = |text: &Option<String>| text.clone().unwrap_or_default();
        let business = &self.identity().business;
        Ok(Letterhead {
            name: settings.firm_name.clone().unwrap_or(business.clone()),
            address: said(&settings.firm_address),
            phone: said(&settings.firm_phone),
            email: said(&settings.firm_email),
            tax_number: said(&settings.firm_tax_number),
            registration: said(&settings.firm_registration),
            account: said(&settings.firm_account),
            quote_terms: said(&settings.quote_terms),
            payment_terms: said(&settings.payment_terms),
        })
    }

    /// Returns what a paper says of the firm: as it went out, or as it would go out today; `None`: it hasn't gone out.
    pub(super) fn letterhead_of(&self, frozen: Option<i64>) -> Result<Letterhead> {
        let Some(id) = frozen else {
            return self.letterhead();
        };
        let sql = format!("{WORDINGS} WHERE id = :id");
        let mut statement = self.connection.prepare_cached(&sql)?;
        Ok(statement.query_row(named_params! { ":id": id }, letterhead_from_row)?)
    }
}

impl Writing<'_> {
    /// Keeps what papers say of the firm today, for one that goes out; what went out with the same words before is kept once.
    pub(super) fn keep_letterhead(&self) -> Result<i64> {
        let today = self.letterhead()?;
        let newest = format!("{WORDINGS} ORDER BY recorded_at DESC, id DESC LIMIT 1");
        let newest = self
            .connection
            .prepare_cached(&newest)?
            .query_row([], |row| Ok((row.get("id")?, letterhead_from_row(row)?)))
            .optional()?;
        if let Some((id, _)) = newest.filter(|(_, kept)| *kept == today) {
            return Ok(id);
        }
        let id = self.new_id("letterhead")?;
        self.connection
            .prepare_cached(
                "INSERT INTO letterhead (id, name, address, phone, email, tax_number, registration, account, quote_terms,
                                         payment_terms, recorded_at)
                 VALUES (:id, :name, :address, :phone, :email, :tax_number, :registration, :account, :quote_terms,
                         :payment_terms, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":name": today.name, ":address": today.address, ":phone": today.phone, ":email": today.email,
                ":tax_number": today.tax_number, ":registration": today.registration, ":account": today.account,
                ":quote_terms": today.quote_terms, ":payment_terms": today.payment_terms, ":now": self.now(),
            })?;
        Ok(id)
    }
}
