//! A quote as its owner decides on it: the answer first, what stands behind it in a line or a row each.

use std::fmt::Write as _;

use super::{CautionFacts, CostFacts, QuoteAnswer, SetPercent};
use crate::document::outlook::OutlookFacts;
use crate::document::{Page, count, or_blank};

/// A caution without a name of its own is known by its first word.
const LONGEST_NAME: usize = 20;

impl QuoteAnswer {
    /// Writes what the decision needs: price and risk, rooms, rentals, margin; everything else is named with what to type.
    pub(super) fn decision(&self, cost: &CostFacts, outlook: &OutlookFacts, page: &Page) -> String {
        let mut text = format!("{}\n", page.prose(&self.answer(cost, outlook)));
        text.push_str(&self.heading(page));
        text.push_str(&self.floors_and_days(page));
        // Nobody pays for the owner's own floors.
        let heading = match (self.own, self.tax_included) {
            (true, _) => "",
            (false, true) => "With tax",
            (false, false) => "Price",
        };
        let table = page.table(["Room", "Size", "Floor", heading]);
        let mut table = table.numbers([3]).goes([2]);
        for room in &self.rooms {
            let price = or_blank((!self.own).then_some(room.told()));
            table.line([&room.name, &room.size(), &room.floor(), &price]);
        }
        let _ = write!(text, "\n{table}\n");
        text.push_str(&outlook.rental_text(page));
        let risk = outlook.risk.first().map(|risk| {
            format!(
                "Risk: {} makes {} of it; {}.",
                risk.operation, risk.share_percent, risk.advice
            )
        });
        let lines = format!(
            "Every operation and what it costs: gritledger quote show {} --lines",
            self.typed()
        );
        // What raised the price above the margin stands behind contingency and margin.
        let raised = cost.beside.get(2).filter(|_| outlook.named_price.is_none());
        let raised = raised.map(|(what, amount)| format!("{what}: {amount}."));
        let margin = self.margin_words(cost, outlook);
        let buy = outlook.buy_words(&self.typed());
        text.push('\n');
        let lines = [
            loss_expected(cost, outlook),
            Some(margin),
            raised,
            risk,
            buy,
            Some(lines),
        ];
        for line in lines.into_iter().flatten() {
            let _ = writeln!(text, "{}", page.prose(&line));
        }
        text
    }

    /// The first line: what it is offered for, what it may cost, how long it takes, and what can go wrong.
    fn answer(&self, cost: &CostFacts, outlook: &OutlookFacts) -> String {
        let at_most = format!(
            "cost {} at most, {} sure",
            outlook.at_confidence,
            SetPercent(outlook.confidence_percent.0.unwrap_or_default()),
        );
        let days = count(self.days, "day");
        let what = match self.own {
            true => format!("{}: {} expected", self.number, cost.total.with_currency()),
            false if self.tax_included => {
                format!("{}: {} with tax", self.number, self.told.with_currency())
            }
            false => format!("{}: {}", self.number, self.told.with_currency()),
        };
        let loss = match outlook.chance_of_loss_percent.0 {
            Some(_) => format!(", chance of a loss {}", outlook.chance_of_loss_percent),
            None => String::new(),
        };
        let risk = outlook.risk.first();
        let risk = risk.map(|risk| format!(", risk {}", risk.operation));
        format!(
            "{what}; {at_most}, {days} of work{loss}{}.",
            risk.unwrap_or_default()
        )
    }

    /// Returns it as it is typed: of several options, this one.
    fn typed(&self) -> String {
        match self.options.len() {
            0 | 1 => self.number.clone(),
            _ => format!("{} --option {}", self.number, self.option),
        }
    }

    /// Says why the margin that was asked for isn't the one that is expected.
    fn margin_words(&self, cost: &CostFacts, outlook: &OutlookFacts) -> String {
        let sure = SetPercent(outlook.confidence_percent.0.unwrap_or_default());
        if self.own {
            return format!(
                "Expected {}; {} more to be {sure} sure.",
                cost.total, outlook.contingency
            );
        }
        let asked = SetPercent(outlook.target_margin_percent.0.unwrap_or_default());
        let price = match outlook.named_price {
            _ if !self.discounts.is_empty() => format!("{} is left after discounts", self.told),
            Some(named) => format!("{named} is named"),
            None => String::new(),
        };
        if !price.is_empty() {
            return format!(
                "Margin: {price}; {} of it is kept {sure} of the time, the {asked} that you ask for {} of the time, and \
                 {} is expected. The cost asks for {}.",
                outlook.margin_at_confidence_percent,
                outlook.chance_of_margin_percent,
                outlook.expected_margin_percent,
                outlook.asked_price
            );
        }
        format!(
            "Margin: {asked} is kept {sure} of the time; {} is expected, since of the cost {} is set aside for what may go \
             wrong.",
            outlook.expected_margin_percent, outlook.contingency
        )
    }

    /// Names the cautions in a line.
    pub(super) fn cautions_named(&self, page: &Page) -> String {
        let mut names: Vec<&str> = Vec::new();
        for CautionFacts { caution, .. } in &self.cautions {
            let name = caution.split_once(':').map(|(name, _)| name);
            let first = caution.split(' ').next().unwrap_or_default();
            let name = name
                .filter(|name| name.len() <= LONGEST_NAME)
                .unwrap_or(first);
            if !names.contains(&name) && !caution.starts_with("Follow ") {
                names.push(name);
            }
        }
        match names.is_empty() {
            true => String::new(),
            false => {
                let line = format!(
                    "Cautions: {}; read them: gritledger quote show {} --cautions",
                    names.join(", "),
                    self.typed()
                );
                format!("\n{}\n", page.prose(&line))
            }
        }
    }

    /// Writes every operation, or those of one room, and what the quote is made of.
    pub fn lines_text(&self, room: Option<&str>, page: &Page) -> String {
        let mut text = String::new();
        if let Some((cost, outlook)) = self.cost.get().zip(self.outlook.get()) {
            text = format!("{}\n", page.prose(&self.answer(cost, outlook)));
        }
        text.push_str(&self.heading(page));
        match room {
            Some(room) => {
                let rooms = self.rooms.iter().filter(|known| known.name == room);
                for room in rooms {
                    text.push_str(&self.room_text(room, page));
                }
            }
            None => self.owner_text(&mut text, page),
        }
        text
    }

    /// Writes the cautions, whole, with their sources.
    pub fn cautions_text(&self, page: &Page) -> String {
        let number = count(self.cautions.len(), "caution");
        let mut text = format!("{}: {number}\n\n", self.number);
        text.push_str(&self.cautions_points(page));
        text
    }

    pub(super) fn cautions_points(&self, page: &Page) -> String {
        let cautions = self.cautions.iter();
        let points = cautions
            .map(|caution| page.point(&format!("{} ({})", caution.caution, caution.source)));
        points.collect()
    }
}

/// Says that the job is expected to lose money at the price that was named, or that discounts have left.
fn loss_expected(cost: &CostFacts, outlook: &OutlookFacts) -> Option<String> {
    let loss = outlook.expected_loss?;
    Some(format!(
        "A loss of {loss} is expected: the job costs {}, which is more than its price.",
        cost.total
    ))
}
