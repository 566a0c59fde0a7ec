//! How a quote sits in its rows: written once, when it is drafted; triggers keep them as they are. `quote_lines.rs` has the
//! rows of its lines, `quoted.rs` the queries that read them all.

use std::collections::BTreeSet;

use anyhow::Result;
use rusqlite::named_params;

use super::columns::{KeptParts, Micro, NamedRow};
use super::quote_lines::LineRow;
use super::{DraftRequest, QuotedRate, Site, Writing, kept};
use crate::trade::cautions::Caution;
use crate::trade::quote::{Discount, Line, Priced, Quote, QuotedRoom, Terms};
use crate::trade::rates::{FloorClass, RateKind, Rates};
use crate::trade::rental::Tariff;
use crate::trade::tax::{TaxRates, TaxedCosts};
use crate::trade::{MachineId, QuoteId};

/// Where a quote stands among others.
pub(super) struct QuotePlace<'a> {
    pub(super) id: QuoteId,
    pub(super) number: i64,
    pub(super) version: i64,
    pub(super) option: u32,
    pub(super) option_name: &'a str,
    pub(super) varies: Option<QuoteId>,
}

impl Writing<'_> {
    pub(super) fn insert_quote(
        &self,
        place: &QuotePlace<'_>,
        site: &Site,
        request: &DraftRequest,
        priced: &Priced,
        rates: &Rates,
    ) -> Result<()> {
        let Priced { quote, outlook } = priced;
        let (id, terms) = (place.id, quote.terms);
        self.connection
            .prepare_cached(
                "INSERT INTO quote (id, number, version, option, option_name, site_id, job_id, varies_id, sequence,
                                    schedule, start_on, margin_micro, confidence_micro, minimum_minor, step_minor,
                                    named_minor, wage_micro, burden_micro, overhead_micro, tax_labour_micro,
                                    tax_materials_micro, tax_rental_micro, tax_included, retention_micro, own, price_minor,
                                    taxed_labour_minor, taxed_materials_minor, taxed_rental_minor, tax_minor, rounding_minor, outlook, drafted_on, recorded_at)
                 VALUES (:id, :number, :version, :option, :option_name, :site, :job, :varies, :sequence, :schedule,
                         :start, :margin, :confidence, :minimum, :step, :named, :wage, :burden, :overhead, :tax_labour,
                         :tax_materials, :tax_rental, :tax_included, :retention, :own, :price, :by_labour, :by_materials, :by_rental, :tax, :rounding, :outlook,
                         :today, :now)",
            )?
            .execute(named_params! {
                ":id": id, ":number": place.number, ":version": place.version, ":option": place.option,
                ":option_name": place.option_name, ":site": site.id, ":job": request.variation_of, ":varies": place.varies,
                ":sequence": quote.sequence, ":schedule": quote.schedule, ":start": request.start,
                ":margin": Micro(terms.margin), ":confidence": Micro(terms.confidence), ":minimum": terms.minimum,
                ":step": terms.step, ":named": terms.named, ":outlook": kept::text(outlook)?,
                ":wage": Micro(terms.wage), ":burden": Micro(terms.burden), ":overhead": Micro(terms.overhead),
                ":tax_labour": Micro(terms.tax.labour), ":tax_materials": Micro(terms.tax.materials),
                ":tax_rental": Micro(terms.tax.rental), ":retention": Micro(terms.retention),
                ":own": terms.own, ":price": quote.price, ":tax": quote.tax, ":rounding": quote.rounding, ":by_labour": quote.taxed_by.labour,
                ":by_materials": quote.taxed_by.materials, ":by_rental": quote.taxed_by.rental,
                ":tax_included": terms.tax_included,
                ":today": self.today(), ":now": self.now(),
            })?;
        for (position, room) in (1..).zip(&quote.rooms) {
            self.insert_quoted_room(id, position, room)?;
        }
        for (position, line) in (1..).zip(&quote.lines) {
            if let Line::Rental {
                machine, tariff, ..
            } = line
            {
                self.insert_quote_tariff(id, *machine, tariff)?;
            }
            let line_id = self.new_id("quote_line")?;
            LineRow::of(line).insert(&self.connection, line_id, id, position)?;
        }
        if place.varies.is_none() {
            self.insert_quote_rates(id, quote, rates)?;
        }
        for (position, caution) in (1..).zip(&quote.cautions) {
            self.insert_caution(id, position, caution)?;
        }
        for (position, discount) in (1..).zip(&quote.discounts) {
            self.insert_discount(id, position, discount)?;
        }
        Ok(())
    }

    fn insert_discount(&self, quote: QuoteId, position: i64, discount: &Discount) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO quote_discount (quote_id, position, reason, amount_minor, told_minor)
                 VALUES (:quote, :position, :reason, :amount, :told)",
            )?
            .execute(named_params! {
                ":quote": quote, ":position": position, ":reason": discount.reason, ":amount": discount.amount,
                ":told": discount.told,
            })?;
        Ok(())
    }

    /// Keeps the rates that the quote is priced with: its figures can be explained when the rates have moved on.
    fn insert_quote_rates(&self, id: QuoteId, quote: &Quote, rates: &Rates) -> Result<()> {
        let mut kept = BTreeSet::new();
        for work in quote.work() {
            let Some(class) = quote.class_of(work) else {
                continue;
            };
            let Some(operation) = rates.operations().get(&work.operation) else {
                continue;
            };
            for kind in RateKind::ALL.iter().copied() {
                let row = rates.row_for(operation, kind, class);
                let Some(row) = row.filter(|_| kept.insert((operation.id, kind, class))) else {
                    continue;
                };
                let operation = operation.id;
                let rate = QuotedRate {
                    operation,
                    kind,
                    class,
                    rate: row,
                };
                self.insert_quote_rate(id, &rate)?;
            }
        }
        Ok(())
    }

    pub(super) fn insert_quote_rate(&self, quote: QuoteId, rate: &QuotedRate) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO quote_rate (quote_id, operation_id, kind, floor_condition, species, rate)
                 VALUES (:quote, :operation, :kind, :condition, :species, :rate)",
            )?
            .execute(named_params! {
                ":quote": quote, ":operation": rate.operation, ":kind": rate.kind,
                ":condition": rate.class.condition, ":species": rate.class.species, ":rate": kept::text(&rate.rate)?,
            })?;
        Ok(())
    }

    fn insert_quoted_room(&self, quote: QuoteId, position: i64, room: &QuotedRoom) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO quote_room (id, quote_id, position, room_id, area_micro, edge_micro, steps,
                                         floor_condition, parts, species, price_minor)
                 VALUES (:id, :quote, :position, :room, :area, :edge, :steps, :condition, :parts, :species, :price)",
            )?
            .execute(named_params! {
                ":id": self.new_id("quote_room")?, ":quote": quote, ":position": position,
                ":room": room.id, ":area": Micro(room.area), ":edge": Micro(room.edge), ":steps": room.steps,
                ":condition": room.class.condition, ":parts": KeptParts(room.parts.clone()),
                ":species": room.class.species, ":price": room.price,
            })?;
        Ok(())
    }

    fn insert_caution(&self, quote: QuoteId, position: i64, caution: &Caution) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO quote_caution (quote_id, position, caution, source)
                 VALUES (:quote, :position, :caution, :source)",
            )?
            .execute(named_params! {
                ":quote": quote, ":position": position, ":caution": caution.text, ":source": caution.source,
            })?;
        Ok(())
    }

    /// Keeps the tariff that a rental is priced with: a later one never reaches back.
    fn insert_quote_tariff(
        &self,
        quote: QuoteId,
        machine: MachineId,
        tariff: &Tariff,
    ) -> Result<()> {
        let Tariff {
            half_day,
            day,
            weekend,
            week,
            four_weeks,
            waiver_percent,
            cleaning,
        } = tariff;
        self.connection
            .prepare_cached(
                "INSERT INTO quote_tariff (quote_id, machine_id, half_day_minor, day_minor, weekend_minor, week_minor,
                                           four_weeks_minor, waiver_micro, cleaning_minor)
                 VALUES (:quote, :machine, :half_day, :day, :weekend, :week, :four_weeks, :waiver, :cleaning)",
            )?
            .execute(named_params! {
                ":quote": quote, ":machine": machine, ":half_day": half_day, ":day": day, ":weekend": weekend,
                ":week": week, ":four_weeks": four_weeks, ":waiver": Micro(*waiver_percent), ":cleaning": cleaning,
            })?;
        Ok(())
    }
}

pub(super) fn terms_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Terms> {
    Ok(Terms {
        margin: row.micro("margin_micro")?,
        confidence: row.micro("confidence_micro")?,
        minimum: row.get("minimum_minor")?,
        step: row.get("step_minor")?,
        named: row.get("named_minor")?,
        wage: row.micro("wage_micro")?,
        burden: row.micro("burden_micro")?,
        overhead: row.micro("overhead_micro")?,
        tax: TaxRates {
            labour: row.micro("tax_labour_micro")?,
            materials: row.micro("tax_materials_micro")?,
            rental: row.micro("tax_rental_micro")?,
        },
        tax_included: row.get("tax_included")?,
        retention: row.micro("retention_micro")?,
        own: row.get("own")?,
    })
}

pub(super) fn taxed_by_from_row(row: &NamedRow<'_>) -> rusqlite::Result<TaxedCosts> {
    Ok(TaxedCosts {
        labour: row.get("taxed_labour_minor")?,
        materials: row.get("taxed_materials_minor")?,
        rental: row.get("taxed_rental_minor")?,
    })
}

pub(super) fn room_from_row(row: &NamedRow<'_>) -> rusqlite::Result<QuotedRoom> {
    Ok(QuotedRoom {
        id: row.get("room_id")?,
        name: row.get("name")?,
        area: row.micro("area_micro")?,
        edge: row.micro("edge_micro")?,
        steps: row.get("steps")?,
        class: FloorClass {
            condition: row.get("floor_condition")?,
            species: row.get("species")?,
        },
        parts: row.get::<KeptParts>("parts")?.0,
        price: row.get("price_minor")?,
    })
}

pub(super) fn discount_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Discount> {
    Ok(Discount {
        reason: row.get("reason")?,
        amount: row.get("amount_minor")?,
        told: row.get("told_minor")?,
    })
}

pub(super) fn caution_from_row(row: &NamedRow<'_>) -> rusqlite::Result<Caution> {
    Ok(Caution {
        text: row.get("caution")?,
        source: row.get("source")?,
    })
}
