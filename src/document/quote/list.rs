//! Quotes in a list, and those that wait for an answer.

use chrono::NaiveDate;

use crate::document::figures::Amount;
use crate::document::{Answer, List, Page, agree, count, or_blank};
use crate::ledger::{QuoteHeader, QuoteStatus};
use crate::money::Money;

answer! {
    /// A quote in a list.
    pub(in crate::document) struct QuoteRow of (header: QuoteHeader) on page {
        number: String = header.number,
        status: QuoteStatus = header.status,
        own: bool = header.own,
        client: String = header.client,
        site: String = header.site,
        drafted_on: NaiveDate = header.drafted_on,
        sent_on: Option<NaiveDate> = header.sent_on,
        valid_until: Option<NaiveDate> = header.valid_until,
        replaced_by: Option<String> = header.replaced_by.clone(),
        price: Amount = page.amount(header.price),
        tax: Amount = page.amount(header.tax),
        total: Amount = page.amount(header.price + header.tax + header.rounding),
    }
}

impl QuoteRow {
    /// Says where it stands, and what replaces it if something does.
    fn stands(&self) -> String {
        match &self.replaced_by {
            Some(newer) => format!("{}, replaced by {newer}", self.status),
            None => self.status.to_string(),
        }
    }

    /// Writes its price; the owner's own floors have none.
    fn price_words(&self) -> String {
        match self.own {
            true => "at cost".to_owned(),
            false => self.price.to_string(),
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

answer! {
    /// The quotes.
    pub struct QuoteList of (quotes: Vec<QuoteHeader>) on page {
        currency: &'static str = page.currency.code(),
        quotes: Vec<QuoteRow>,
    }
}

listed! { QuoteList, quotes, answer: by_rows, by_day: true }

impl QuoteList {
    /// Says how many there are, and what waits for an answer.
    fn answer(&self, page: &Page) -> String {
        let waiting = self.quotes.iter();
        let waiting = waiting.filter(|quote| quote.status == QuoteStatus::Sent);
        let prices: Vec<Money> = waiting.map(|quote| quote.price.money).collect();
        let worth = match prices.len() {
            0 => String::new(),
            _ => format!(
                ": {}",
                page.amount(prices.iter().copied().sum()).with_currency()
            ),
        };
        let wait = agree(prices.len(), "waits for an answer", "wait for an answer");
        format!("{}; {wait}{worth}.", count(self.quotes.len(), "quote"))
    }
}

impl Answer for QuoteList {
    fn text(&self, page: &Page) -> String {
        if self.quotes.is_empty() {
            return "No quotes yet.".to_owned();
        }
        let mut table = page
            .table(["Quote", "Status", "Client", "Site", "Valid until", "Price"])
            .numbers([5])
            .makes_room([4]);
        for quote in &self.quotes {
            table.line([
                &quote.number,
                &quote.stands(),
                &quote.client,
                &quote.site,
                &or_blank(quote.valid_until),
                &quote.price_words(),
            ]);
        }
        page.led(&self.answer(page), table)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.quotes)
    }
}
