//! What clients owe, by age, and what happened between the firm and one of them.

use chrono::NaiveDate;
use serde::Serialize;

use super::figures::{Amount, SetPercent};
use super::letterhead::Firm;
use super::{Answer, List, Page, count, inert, or_blank};
use crate::ledger::{Letterhead, Owing, Receivables, Statement, StatementLine};
use crate::money::{Decimal, Money};
use crate::trade::ageing::ByAge;

columns! {
    /// What is owed, by age.
    #[derive(Clone, Copy, Debug, Serialize)]
    struct Buckets {
        days_0_30: Amount,
        days_31_60: Amount,
        days_61_90: Amount,
        over_90: Amount,
    }
}

impl Buckets {
    fn new(owed: ByAge, page: &Page) -> Buckets {
        let [days_0_30, days_31_60, days_61_90, over_90] = owed.0.map(|part| page.amount(part));
        Buckets {
            days_0_30,
            days_31_60,
            days_61_90,
            over_90,
        }
    }

    fn cells(&self, page: &Page) -> [String; 4] {
        let Buckets {
            days_0_30,
            days_31_60,
            days_61_90,
            over_90,
        } = *self;
        [days_0_30, days_31_60, days_61_90, over_90].map(|part| match part.money.is_zero() {
            true => String::new(),
            false => page.amount(part.money).to_string(),
        })
    }
}

answer! {
    /// What a client owes.
    struct OwingFacts from owing: Owing on page {
        client: String,
        buckets: Buckets = Buckets::new(owing.owed, page),
        total: Amount = page.amount(owing.owed.total()),
        credit: Amount,
        .. { owed }
    }

    /// What all clients owe, as it stood on a day.
    pub struct ReceivablesAnswer of (receivables: Receivables) on page
    let owed = all_owed(&receivables.clients);
    {
        as_of: NaiveDate = receivables.as_of,
        currency: &'static str = page.currency.code(),
        buckets: Buckets = Buckets::new(owed, page),
        total: Amount = page.amount(owed.total()),
        overdue: Amount = page.amount(receivables.overdue),
        credit: Amount = page.amount(receivables.clients.iter().map(|client| client.credit).sum()),
        allowance: Amount = page.amount(owed.allowance(receivables.lost)),
        #[serde(skip)]
        owing: usize = receivables.clients.iter().filter(|client| !client.owed.total().is_zero()).count(),
        #[serde(skip)]
        lost: Vec<SetPercent> = receivables.lost.iter().map(|share| SetPercent(*share * Decimal::ONE_HUNDRED)).collect(),
        clients: Vec<OwingFacts> = page.each(receivables.clients, OwingFacts::new),
    }
}

/// Returns what all of them owe, by age.
fn all_owed(clients: &[Owing]) -> ByAge {
    let mut all = ByAge::default();
    for client in clients {
        all.add_all(client.owed);
    }
    all
}

impl ReceivablesAnswer {
    /// Says what is owed, by how many, and what of it is late.
    fn first(&self) -> String {
        let by = count(self.owing, "client");
        let late = match self.overdue.money {
            nothing if nothing.is_zero() => "nothing of it is late".to_owned(),
            all if all == self.total.money => "all of it is late".to_owned(),
            _ => format!("{} of it is late", self.overdue),
        };
        match self.total.money.is_zero() {
            true => format!("Nothing is owed on {}.", self.as_of),
            false => format!(
                "{} is owed by {by} on {}: {late}.",
                self.total.with_currency(),
                self.as_of
            ),
        }
    }
}

impl Answer for ReceivablesAnswer {
    fn text(&self, page: &Page) -> String {
        let mut text = page.prose(&self.first());
        if self.clients.is_empty() {
            return text;
        }
        let headings = ["Client", "0–30 days", "31–60", "61–90", "Over 90", "Owed"];
        let mut table = page.table(headings).numbers(1..=5);
        let row = |name: &str, buckets: &Buckets, total: Amount| {
            let [young, older, old, oldest] = buckets.cells(page);
            [
                inert(name).to_string(),
                young,
                older,
                old,
                oldest,
                total.to_string(),
            ]
        };
        for client in &self.clients {
            table.row(row(&client.client, &client.buckets, client.total));
        }
        if self
            .clients
            .first()
            .is_some_and(|only| only.total != self.total)
        {
            table.row(row("Total", &self.buckets, self.total));
        }
        text.push_str(&format!("\n\n{table}"));
        if !self.credit.money.is_zero() {
            text.push_str(&format!("\n\nKept as credit: {}", self.credit));
        }
        if !self.allowance.money.is_zero() {
            let shares = self.lost.iter().map(ToString::to_string);
            let words = format!(
                "Allowance for what will not come in, at {}: {}",
                shares.collect::<Vec<_>>().join(", "),
                self.allowance
            );
            text.push_str(&format!("\n\n{}", page.prose(&words)));
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.clients)
    }
}

listed! { ReceivablesAnswer, clients, answer: made, by_day: false }

told_as_it_is!(ReceivablesAnswer);

answer! {
    /// A line of a statement, with what was owed after it.
    struct StatementFacts of (line: (StatementLine, Money)) on page {
        date: NaiveDate = line.0.on,
        what: String = line.0.what.clone(),
        amount: Amount = page.amount(line.0.amount),
        balance: Amount = page.amount(line.1),
    }

    /// What happened between the firm and a client.
    pub struct StatementAnswer of (statement: Statement, firm: Letterhead, address: String) on page
    let (lines, balance) = with_balances(statement.before, statement.lines);
    {
        client: String = statement.client,
        currency: &'static str = page.currency.code(),
        from: Option<NaiveDate> = statement.from,
        to: NaiveDate = statement.to,
        before: Amount = page.amount(statement.before),
        lines: Vec<StatementFacts> = page.each(lines, StatementFacts::new),
        balance: Amount = page.amount(balance),
        written_off: Amount = page.amount(statement.written_off),
        firm: Firm,
        #[serde(skip)]
        address: String,
    }
}

/// Returns each line with what is owed after it, and what is owed in the end.
fn with_balances(
    mut balance: Money,
    lines: Vec<StatementLine>,
) -> (Vec<(StatementLine, Money)>, Money) {
    let after = lines.into_iter().map(|line| {
        balance += line.amount;
        (line, balance)
    });
    let after: Vec<(StatementLine, Money)> = after.collect();
    (after, balance)
}

impl Answer for StatementAnswer {
    fn text(&self, page: &Page) -> String {
        let (client, to) = (inert(&self.client), self.to);
        let balance = self.balance.money;
        let first = match balance {
            nothing if nothing.is_zero() => format!("{client} owes nothing on {to}."),
            credit if credit.is_negative() => {
                format!(
                    "{client} is owed {} on {to}.",
                    page.amount(-credit).with_currency()
                )
            }
            _ => format!("{client} owes {} on {to}.", self.balance.with_currency()),
        };
        let mut head = format!("{}\n\n{}", page.prose(&first), self.firm.head());
        if !self.address.is_empty() {
            head.push_str(&format!("To {client}, {}\n", inert(&self.address)));
        }
        let mut table = page
            .table(["Date", "What", "Amount", "Balance"])
            .numbers([2, 3]);
        if self.from.is_some() || !self.before.money.is_zero() {
            table.line([
                &or_blank(self.from),
                &"What was owed before",
                &"",
                &self.before,
            ]);
        }
        for line in &self.lines {
            table.line([&line.date, &inert(&line.what), &line.amount, &line.balance]);
        }
        let lost = match self.written_off.money.is_zero() {
            true => String::new(),
            false => format!(
                "\n\nWritten off, not owed any more by your books: {}",
                self.written_off
            ),
        };
        format!("{head}\n{table}{lost}")
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.lines)
    }
}

told_as_it_is!(StatementAnswer);
