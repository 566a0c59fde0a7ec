//! An issued invoice or credit note as UBL 2.1 (OASIS, ISO/IEC 19845), as EN 16931 has it, for programs to read.
//!
//! It says what was issued and nothing that came after, so what was paid isn't in it. Units are those of UN/ECE
//! Recommendation 20. Tax is in the categories of EN 16931: what is taxed is standard, what isn't is exempt for the reason
//! that the papers give, else zero-rated; of a firm without a tax number whose invoice has no tax it is outside of tax.
//! The client is taken to be in the ledger's country.

use chrono::NaiveDate;
use quick_xml::Writer;
use quick_xml::escape::escape;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

use crate::ledger::{Invoice, Letterhead};
use crate::money::{Currency, Decimal, Money};
use crate::notation::Country;
use crate::trade::invoice::{Allowance, InvoiceLine};
use crate::trade::tax::TaxAtRate;

/// How every file of an invoice begins.
pub const BEGINS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>";

/// The rules that a document follows (BT-24).
const RULES: &str = "urn:cen.eu:en16931:2017";

/// What the standard asks for and the ledger doesn't know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    /// The ledger's country (BT-40, BT-55).
    Country,
    /// The firm's postal address (BG-5).
    FirmAddress,
    /// The firm's tax number, where its invoice has tax or an exemption (BT-31, BT-32).
    FirmTaxNumber,
    /// The client's postal address (BG-8).
    ClientAddress,
}

/// An invoice with what it is written with.
#[derive(Debug)]
pub struct Electronic<'a> {
    /// The invoice; issued.
    pub invoice: &'a Invoice,
    /// The firm, as it was issued with.
    pub firm: &'a Letterhead,
    /// The ledger's country.
    pub country: Option<Country>,
    /// The ledger's currency.
    pub currency: Currency,
    /// Of a credit note: when its invoice was issued.
    pub credits_issued_on: Option<NaiveDate>,
}

/// An element: its name, and what is in it.
struct Element {
    name: &'static str,
    attribute: Option<(&'static str, String)>,
    inside: Inside,
}

enum Inside {
    Text(String),
    Elements(Vec<Element>),
}

/// Returns an element with a text.
fn text(name: &'static str, text: impl Into<String>) -> Element {
    Element {
        name,
        attribute: None,
        inside: Inside::Text(text.into()),
    }
}

/// Returns an element with a text, if there is one.
fn if_said(name: &'static str, said: &str) -> Option<Element> {
    (!said.is_empty()).then(|| text(name, said))
}

/// Returns an element with others in it.
fn group(name: &'static str, elements: impl IntoIterator<Item = Element>) -> Element {
    Element {
        name,
        attribute: None,
        inside: Inside::Elements(elements.into_iter().collect()),
    }
}

/// Returns an element that says by what law a party or an amount is taxed.
fn tax_scheme(id: &str) -> Element {
    group("cac:TaxScheme", [text("cbc:ID", id)])
}

impl Electronic<'_> {
    /// Returns what the standard asks for and isn't known.
    pub fn missing(&self) -> Vec<Missing> {
        let Electronic { invoice, firm, .. } = self;
        let needs_number = !invoice.tax.is_zero() || !invoice.exemption.is_empty();
        let asked = [
            (Missing::Country, self.country.is_none()),
            (Missing::FirmAddress, firm.address.is_empty()),
            (
                Missing::FirmTaxNumber,
                needs_number && firm.tax_number.is_empty(),
            ),
            (Missing::ClientAddress, invoice.client_address.is_empty()),
        ];
        let missing = asked.into_iter().filter(|(_, is_missing)| *is_missing);
        missing.map(|(what, _)| what).collect()
    }

    /// Writes it.
    pub fn xml(&self) -> String {
        let (root, namespace) = match self.invoice.credits {
            None => (
                "Invoice",
                "urn:oasis:names:specification:ubl:schema:xsd:Invoice-2",
            ),
            Some(_) => (
                "CreditNote",
                "urn:oasis:names:specification:ubl:schema:xsd:CreditNote-2",
            ),
        };
        let mut writer = Writer::new_with_indent(Vec::new(), b' ', 2);
        let start = BytesStart::new(root).with_attributes([
            ("xmlns", namespace),
            (
                "xmlns:cac",
                "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
            ),
            (
                "xmlns:cbc",
                "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
            ),
        ]);
        put(
            &mut writer,
            Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)),
        );
        put(&mut writer, Event::Start(start));
        for element in self.elements() {
            write(&mut writer, &element);
        }
        put(&mut writer, Event::End(BytesEnd::new(root)));
        let xml = String::from_utf8(writer.into_inner()).expect("it was written as UTF-8");
        xml + "\n"
    }

    /// Returns all that it says, in the order of the schema.
    fn elements(&self) -> Vec<Element> {
        let Electronic { invoice, firm, .. } = self;
        let is_credit = invoice.credits.is_some();
        let day = |day: Option<NaiveDate>| day.map(|day| day.to_string()).unwrap_or_default();
        let mut elements = vec![
            text("cbc:CustomizationID", RULES),
            text("cbc:ProfileID", "billing"), // BT-23: what the document is part of, in no one's code.
            text("cbc:ID", invoice.name()),
            text("cbc:IssueDate", day(invoice.issued_on)),
        ];
        // A credit note falls due on no day.
        match is_credit {
            false => elements.extend([
                text("cbc:DueDate", day(invoice.due_on)),
                text("cbc:InvoiceTypeCode", "380"),
            ]),
            true => elements.push(text("cbc:CreditNoteTypeCode", "381")),
        }
        elements.extend(if_said("cbc:Note", &invoice.reason));
        elements.push(text("cbc:DocumentCurrencyCode", self.currency.code()));
        elements.extend(invoice.credits.as_ref().map(|(_, number)| {
            let of = [
                text("cbc:ID", number),
                text("cbc:IssueDate", day(self.credits_issued_on)),
            ];
            group(
                "cac:BillingReference",
                [group("cac:InvoiceDocumentReference", of)],
            )
        }));
        elements.extend([self.seller(), self.buyer(), self.delivered_to()]);
        if !is_credit && !firm.account.is_empty() {
            let account = group("cac:PayeeFinancialAccount", [text("cbc:ID", &firm.account)]);
            // UNCL 4461: 30 is a credit transfer.
            elements.push(group(
                "cac:PaymentMeans",
                [text("cbc:PaymentMeansCode", "30"), account],
            ));
        }
        if !is_credit {
            let terms = if_said("cbc:Note", &firm.payment_terms);
            elements.extend(terms.map(|note| group("cac:PaymentTerms", [note])));
        }
        elements.extend(invoice.allowances.iter().map(|off| self.allowance(off)));
        elements.push(self.tax_total());
        elements.push(self.monetary_total());
        elements.extend(
            (1..)
                .zip(&invoice.lines)
                .map(|(place, line)| self.line(place, line)),
        );
        elements
    }

    fn address(&self, name: &'static str, street: &str) -> Element {
        let country = self.country.map(Country::code).unwrap_or_default();
        let country = group("cac:Country", [text("cbc:IdentificationCode", country)]);
        group(
            name,
            if_said("cbc:StreetName", street)
                .into_iter()
                .chain([country]),
        )
    }

    /// Returns how a party is taxed: under a VAT identifier, which begins with a country (BT-31, BT-48), or another number.
    fn taxed_as(&self, number: &str) -> Option<Element> {
        let country = self.country.map(Country::code).unwrap_or_default();
        let scheme = match number.starts_with(&country) {
            true => "VAT",
            false => "TAX",
        };
        let taxed = |id| group("cac:PartyTaxScheme", [id, tax_scheme(scheme)]);
        if_said("cbc:CompanyID", number).map(taxed)
    }

    fn seller(&self) -> Element {
        let Electronic { invoice, firm, .. } = self;
        let registered = [text("cbc:RegistrationName", &firm.name)].into_iter();
        let registered = registered.chain(if_said("cbc:CompanyID", &firm.registration));
        let reached: Vec<Element> = if_said("cbc:Telephone", &firm.phone)
            .into_iter()
            .chain(if_said("cbc:ElectronicMail", &firm.email))
            .collect();
        let mut party = vec![
            group("cac:PartyName", [text("cbc:Name", &firm.name)]),
            self.address("cac:PostalAddress", &firm.address),
        ];
        if !self.is_outside(invoice) {
            party.extend(self.taxed_as(&firm.tax_number));
        }
        party.push(group("cac:PartyLegalEntity", registered));
        if !reached.is_empty() {
            party.push(group("cac:Contact", reached));
        }
        group("cac:AccountingSupplierParty", [group("cac:Party", party)])
    }

    fn buyer(&self) -> Element {
        let invoice = self.invoice;
        let mut party = vec![self.address("cac:PostalAddress", &invoice.client_address)];
        if !self.is_outside(invoice) {
            party.extend(self.taxed_as(&invoice.client_tax_number).filter(|_| {
                let country = self.country.map(Country::code).unwrap_or_default();
                invoice.client_tax_number.starts_with(&country)
            }));
        }
        let name = text("cbc:RegistrationName", &invoice.client);
        party.push(group("cac:PartyLegalEntity", [name]));
        group("cac:AccountingCustomerParty", [group("cac:Party", party)])
    }

    fn delivered_to(&self) -> Element {
        let at = self.address("cac:Address", &self.invoice.site);
        group("cac:Delivery", [group("cac:DeliveryLocation", [at])])
    }

    /// Tells whether nothing of it is subject to tax: none is asked, for no reason given, by a firm without a tax number.
    fn is_outside(&self, invoice: &Invoice) -> bool {
        let is_untaxed = invoice.taxes.iter().all(|part| part.percent.is_zero());
        is_untaxed && invoice.exemption.is_empty() && self.firm.tax_number.is_empty()
    }

    /// Returns the category of what is taxed at a rate (UNCL 5305).
    fn category(&self, percent: Decimal) -> &'static str {
        match percent.is_zero() {
            false => "S",
            true if self.is_outside(self.invoice) => "O",
            true if !self.invoice.exemption.is_empty() => "E",
            true => "Z",
        }
    }

    /// Returns the category of a rate, with why it is exempt where its total is told.
    fn tax_category(&self, name: &'static str, percent: Decimal, is_total: bool) -> Element {
        let category = self.category(percent);
        let mut elements = vec![text("cbc:ID", category)];
        if category != "O" {
            elements.push(text("cbc:Percent", percent.normalize().to_string()));
        }
        match category {
            "O" if is_total => elements.push(text("cbc:TaxExemptionReason", "Not subject to tax")),
            "E" if is_total => {
                elements.push(text("cbc:TaxExemptionReason", &self.invoice.exemption));
            }
            _ => {}
        }
        elements.push(tax_scheme("VAT"));
        group(name, elements)
    }

    fn amount(&self, name: &'static str, amount: Money) -> Element {
        Element {
            attribute: Some(("currencyID", self.currency.code().to_owned())),
            ..text(name, self.currency.text(amount))
        }
    }

    /// Returns what is taken off the whole document (BG-20).
    fn allowance(&self, off: &Allowance) -> Element {
        group(
            "cac:AllowanceCharge",
            [
                text("cbc:ChargeIndicator", "false"),
                text("cbc:AllowanceChargeReason", &off.reason),
                self.amount("cbc:Amount", off.amount),
                self.tax_category("cac:TaxCategory", off.tax_percent, false),
            ],
        )
    }

    fn tax_total(&self) -> Element {
        let invoice = self.invoice;
        let subtotal = |part: &TaxAtRate| {
            group(
                "cac:TaxSubtotal",
                [
                    self.amount("cbc:TaxableAmount", part.net),
                    self.amount("cbc:TaxAmount", part.tax),
                    self.tax_category("cac:TaxCategory", part.percent, true),
                ],
            )
        };
        let total = [self.amount("cbc:TaxAmount", invoice.tax)].into_iter();
        group(
            "cac:TaxTotal",
            total.chain(invoice.taxes.iter().map(subtotal)),
        )
    }

    fn monetary_total(&self) -> Element {
        let invoice = self.invoice;
        let lines = invoice.lines.iter().map(|line| line.net).sum();
        let mut totals = vec![
            self.amount("cbc:LineExtensionAmount", lines),
            self.amount("cbc:TaxExclusiveAmount", invoice.net),
            self.amount("cbc:TaxInclusiveAmount", invoice.net + invoice.tax),
        ];
        if !invoice.allowances.is_empty() {
            let off = invoice.allowances.iter().map(|off| off.amount).sum();
            totals.push(self.amount("cbc:AllowanceTotalAmount", off));
        }
        if !invoice.rounding.is_zero() {
            totals.push(self.amount("cbc:PayableRoundingAmount", invoice.rounding));
        }
        totals.push(self.amount("cbc:PayableAmount", invoice.total()));
        group("cac:LegalMonetaryTotal", totals)
    }

    /// Returns a line: one of what it says, so many times taken off as it is below zero, since a price never is (BR-27).
    fn line(&self, place: u32, line: &InvoiceLine) -> Element {
        let (line_name, quantity_name) = match self.invoice.credits {
            None => ("cac:InvoiceLine", "cbc:InvoicedQuantity"),
            Some(_) => ("cac:CreditNoteLine", "cbc:CreditedQuantity"),
        };
        let times = if line.net.is_negative() { "-1" } else { "1" };
        let quantity = Element {
            attribute: Some(("unitCode", "EA".to_owned())), // UN/ECE Recommendation 20: each.
            ..text(quantity_name, times)
        };
        let item = [
            text("cbc:Name", &line.what),
            self.tax_category("cac:ClassifiedTaxCategory", line.tax_percent, false),
        ];
        group(
            line_name,
            [
                text("cbc:ID", place.to_string()),
                quantity,
                self.amount("cbc:LineExtensionAmount", line.net),
                group("cac:Item", item),
                group(
                    "cac:Price",
                    [self.amount("cbc:PriceAmount", line.net.abs())],
                ),
            ],
        )
    }
}

fn write(writer: &mut Writer<Vec<u8>>, element: &Element) {
    let mut start = BytesStart::new(element.name);
    if let Some((name, value)) = &element.attribute {
        start.push_attribute((*name, value.as_str()));
    }
    put(writer, Event::Start(start));
    match &element.inside {
        Inside::Text(said) => {
            let shown = said.chars().filter(|sign| !sign.is_control());
            let shown: String = shown.collect();
            put(
                writer,
                Event::Text(BytesText::from_escaped(escape(shown.as_str()))),
            );
        }
        Inside::Elements(elements) => elements.iter().for_each(|inner| write(writer, inner)),
    }
    put(writer, Event::End(BytesEnd::new(element.name)));
}

fn put(writer: &mut Writer<Vec<u8>>, event: Event<'_>) {
    writer.write_event(event).expect("memory can be written to");
}
