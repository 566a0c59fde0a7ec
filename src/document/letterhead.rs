//! How the firm stands on its papers.

use super::inert;
use crate::ledger::Letterhead;

answer! {
    /// The firm, as a paper says it; what is empty isn't said.
    pub(super) struct Firm from firm: Letterhead on page {
        name: String,
        address: String,
        phone: String,
        email: String,
        tax_number: String,
        registration: String,
        account: String,
        pub(super) quote_terms: String,
        payment_terms: String,
        .. {}
    }
}

impl Firm {
    /// Writes who it is and how it is reached, a line for each.
    pub(super) fn head(&self) -> String {
        let reached = said([("", &self.phone), ("", &self.email)]);
        let known_as = said([
            ("Tax number ", &self.tax_number),
            ("Registration ", &self.registration),
        ]);
        let lines = [&self.name, &self.address, &reached, &known_as].map(|line| inert(line));
        let said = lines.into_iter().filter(|line| !line.is_empty());
        said.map(|line| line + "\n").collect()
    }

    /// Writes how an invoice is paid; nothing is said of what isn't set.
    pub(super) fn paying(&self) -> String {
        let pay_to = said([("Pay to ", &self.account)]);
        let lines = [&pay_to, &self.payment_terms].map(|line| inert(line));
        let said = lines.into_iter().filter(|line| !line.is_empty());
        said.collect::<Vec<_>>().join("\n")
    }
}

/// Joins what is said, each with the words before it.
fn said<const N: usize>(parts: [(&str, &String); N]) -> String {
    let said = parts.into_iter().filter(|(_, part)| !part.is_empty());
    said.map(|(before, part)| format!("{before}{part}"))
        .collect::<Vec<_>>()
        .join(", ")
}
