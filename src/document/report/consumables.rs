//! Quoted against used, by item and operation, over jobs.

use crate::document::figures::{Amount, Number, Percent};
use crate::document::{Answer, List, Page, inert, or_blank};
use crate::ledger::ConsumableLine;
use crate::money::{Decimal, Money};
use crate::trade::Unit;

answer! {
    /// Quoted and used of one item in one operation.
    struct Line from line: ConsumableLine on page {
        item: String,
        operation: Option<String>,
        unit: Unit,
        jobs: usize,
        quoted_quantity: Number = Number(line.quoted.quantity + line.not_recorded.quantity),
        used_quantity: Option<Number> = line.used.map(|used| Number(used.quantity)),
        used_percent: Percent = Percent(line.used.and_then(|used| percent(used.quantity, line.quoted.quantity))),
        quoted_cost: Amount = page.amount(line.quoted.cost + line.not_recorded.cost),
        used_cost: Amount = page.amount(line.used.unwrap_or_default().cost),
        recorded: bool = line.used.is_some(),
        not_recorded_quantity: Number = Number(line.not_recorded.quantity),
        not_recorded_cost: Amount = page.amount(line.not_recorded.cost),
        /// Quoted, where something was recorded: what the used quantity is compared with.
        #[serde(skip)]
        compared_quantity: Number = Number(line.quoted.quantity),
        #[serde(skip)]
        compared_cost: Amount = page.amount(line.quoted.cost),
        .. { quoted, used, not_recorded }
    }
}

fn percent(used: Decimal, quoted: Decimal) -> Option<Decimal> {
    (used * Decimal::ONE_HUNDRED).checked_div(quoted)
}

impl Line {
    /// Says what nothing is recorded of: `6 disc of disc-7in-36 (rotary-36)`; `None`: something is, everywhere.
    fn not_recorded(&self) -> Option<String> {
        let quantity = self.not_recorded_quantity;
        let nothing = quantity.0.is_zero() && self.not_recorded_cost.money.is_zero();
        let operation = self.operation.as_ref();
        let operation = or_blank(operation.map(|operation| format!(" ({operation})")));
        (!nothing).then(|| format!("{quantity} {} of {}{operation}", self.unit, self.item))
    }
}

answer! {
    /// Quoted against used.
    pub struct ConsumablesAnswer of (lines: Vec<ConsumableLine>) on page {
        currency: &'static str = page.currency.code(),
        lines: Vec<Line>,
    }
}

impl Answer for ConsumablesAnswer {
    fn text(&self, page: &Page) -> String {
        if self.lines.is_empty() {
            return "No closed job quoted or used any; a job that is named shows how it stands so far."
                .to_owned();
        }
        let headings = [
            "Item",
            "Operation",
            "Jobs",
            "Quoted",
            "Used",
            "Ratio",
            "Quoted at",
            "Cost",
        ];
        let mut table = page.table(headings).numbers(2..=7).goes([2, 6]);
        for line in &self.lines {
            let Some(used) = line.used_quantity else {
                continue;
            };
            table.line([
                &line.item,
                &or_blank(line.operation.as_ref()),
                &line.jobs,
                &format!("{} {}", line.compared_quantity, line.unit),
                &format!("{used} {}", line.unit),
                &line.used_percent,
                &line.compared_cost,
                &line.used_cost,
            ]);
        }
        let sum = |cost: fn(&Line) -> Amount| {
            let costs = self.lines.iter().map(|line| cost(line).money);
            page.amount(costs.sum::<Money>())
        };
        let [quoted, used] = [sum(|line| line.compared_cost), sum(|line| line.used_cost)];
        table.line([&"Total", &"", &"", &"", &"", &"", &quoted, &used]);
        let without: Vec<String> = self.lines.iter().filter_map(Line::not_recorded).collect();
        if without.is_empty() {
            return table.to_string();
        }
        let words = format!(
            "Not recorded, in none of these figures, and quoted at {}: {}.",
            sum(|line| line.not_recorded_cost),
            without.join(", ")
        );
        format!("{table}\n\n{}", page.prose(&inert(&words)))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.lines)
    }
}
