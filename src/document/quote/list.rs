//! Quotes in a list, and those that wait for an answer.

use chrono::NaiveDate;
use serde::Serialize;

use crate::document::figures::Amount;
use crate::document::{Answer, Page, count, or_blank};
use crate::ledger::{QuoteHeader, QuoteStatus};

/// A quote in a list.
#[derive(Debug, Serialize)]
pub(in crate::document) struct QuoteRow {
    number: String,
    status: QuoteStatus,
    client: String,
    site: String,
    drafted_on: NaiveDate,
    sent_on: Option<NaiveDate>,
    valid_until: Option<NaiveDate>,
    price: Amount,
    tax: Amount,
    total: Amount,
}

impl QuoteRow {
    pub(in crate::document) fn new(header: QuoteHeader, page: &Page) -> QuoteRow {
        QuoteRow {
            number: header.number,
            status: header.status,
            client: header.client,
            site: header.site,
            drafted_on: header.drafted_on,
            sent_on: header.sent_on,
            valid_until: header.valid_until,
            price: page.amount(header.price),
            tax: page.amount(header.tax),
            total: page.amount(header.price + header.tax),
        }
    }

    /// Says what waits for an answer, and for how long yet: `Q3: Ada Pell, 2400.00 USD, 3 days left`.
    pub(in crate::document) fn waiting(&self, today: NaiveDate) -> String {
        let left = self.valid_until.map_or(0, |last| (last - today).num_days());
        let until = match usize::try_from(left) {
            Err(_) => "expired".to_owned(),
            Ok(0) => "last day".to_owned(),
            Ok(left) => format!("{} left", count(left, "day")),
        };
        let price = self.price.with_currency();
        format!("{}: {}, {price}, {until}", self.number, self.client)
    }
}

/// The quotes.
#[derive(Debug, Serialize)]
pub struct QuoteList {
    currency: &'static str,
    quotes: Vec<QuoteRow>,
}

impl QuoteList {
    /// Returns the answer about these quotes.
    pub fn new(quotes: Vec<QuoteHeader>, page: &Page) -> QuoteList {
        QuoteList {
            currency: page.currency.code(),
            quotes: page.each(quotes, QuoteRow::new),
        }
    }
}

impl Answer for QuoteList {
    fn text(&self, page: &Page) -> String {
        if self.quotes.is_empty() {
            return "No quotes yet.".to_owned();
        }
        let mut table = page
            .table(["Quote", "Status", "Client", "Site", "Valid until", "Price"])
            .numbers([5]);
        for quote in &self.quotes {
            table.line([
                &quote.number,
                &quote.status,
                &quote.client,
                &quote.site,
                &or_blank(quote.valid_until),
                &quote.price,
            ]);
        }
        table.to_string()
    }
}
