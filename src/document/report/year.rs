//! The year, or any other time: its result first, and what it is made of; and the log of what was driven.

use chrono::{Datelike, NaiveDate};

use crate::document::figures::{Amount, Number, SetPercent, UnitPrice};
use crate::document::showing::{Listed, NoSuchColumn, Showing};
use crate::document::{Answer, List, Page, inert};
use crate::ledger::{
    Drive, Driven, Grouping, OfClosed, OnShelf, PartOfYear, Sums, TaxCollected, Wages, Year,
};
use crate::money::Money;
use crate::trade::Unit;
use crate::trade::accounts::Account;

answer! {
    /// What came in, what it cost and what is left.
    #[derive(Clone, Copy)]
    struct YearFigures of (sums: Sums) on page
    let cost = |account| page.amount(sums.of(account));
    {
        revenue: Amount = page.amount(sums.revenue()),
        labour: Amount = cost(Account::Labour),
        consumables: Amount = cost(Account::Consumables),
        rental: Amount = cost(Account::Rental),
        driving: Amount = cost(Account::Driving),
        other: Amount = cost(Account::Other),
        job_costs: Amount = page.amount(sums.costs()),
        gross_margin: Amount = page.amount(sums.revenue() - sums.costs()),
        overhead_labour: Amount = cost(Account::OverheadLabour),
        overhead_driving: Amount = cost(Account::OverheadDriving),
        overhead_other: Amount = cost(Account::Overhead),
        overheads: Amount = page.amount(sums.overheads()),
        written_off: Amount = cost(Account::Lost),
        shelf_loss: Amount = cost(Account::ShelfLoss),
        interest: Amount = page.amount(-sums.of(Account::Interest)),
        rounding: Amount = page.amount(-sums.of(Account::Rounding)),
        result: Amount = page.amount(sums.result()),
    }

    /// What a month or a client has of it.
    struct PartFacts of (part: PartOfYear) on page {
        name: String = part.name,
        #[serde(flatten)]
        figures: YearFigures = YearFigures::new(part.sums, page),
    }

    /// Tax on invoices of an area at a rate.
    struct TaxFacts from tax: TaxCollected on page {
        area: String,
        percent: SetPercent,
        net: Amount,
        tax: Amount,
    }

    /// What somebody worked.
    struct WagesFacts from wages: Wages on page {
        worker: String,
        hours: Number,
        wage: Amount,
        on_top: Amount = page.amount(wages.cost - wages.wage),
        cost: Amount,
    }

    /// What was driven at a rate.
    struct DrivenFacts from driven: Driven on page {
        distance: Number,
        unit: Unit = page.road(),
        rate: UnitPrice,
        amount: Amount,
    }

    /// What is on the shelf.
    struct ShelfFacts from shelf: OnShelf on page {
        item: String,
        quantity: Number,
        unit: Unit,
        value: Amount,
    }

    /// What is of a closed time, and counts here.
    struct CorrectionFacts from correction: OfClosed on page {
        date: NaiveDate,
        document: String,
        of: NaiveDate,
        note: String,
        result: Amount,
    }

    /// A time's figures.
    pub struct YearAnswer of (year: Year, by: Option<Grouping>, today: NaiveDate) on page
    let own = year.sums.of(Account::Own);
    {
        currency: &'static str = page.currency.code(),
        from: NaiveDate = year.from,
        to: NaiveDate = year.to,
        as_of: NaiveDate = year.as_of,
        closed: bool = year.closed,
        #[serde(flatten)]
        figures: YearFigures = YearFigures::new(year.sums, page),
        overheads_recovered: Amount = page.amount(year.recovered),
        own_floors: Amount = page.amount(own),
        by_month: Vec<PartFacts> = page.each(year.months, PartFacts::new),
        by_client: Vec<PartFacts> = page.each(year.clients, PartFacts::new),
        tax: Vec<TaxFacts> = page.each(year.taxes, TaxFacts::new),
        wages: Vec<WagesFacts> = page.each(year.wages, WagesFacts::new),
        driven: Vec<DrivenFacts> = page.each(year.driven, DrivenFacts::new),
        shelf: Vec<ShelfFacts> = page.each(year.shelf, ShelfFacts::new),
        corrections: Vec<CorrectionFacts> = page.each(year.corrections, CorrectionFacts::new),
        #[serde(skip)]
        by: Option<Grouping> = by,
        #[serde(skip)]
        is_over: bool = year.to < today,
        #[serde(skip)]
        is_looked_back: bool = year.as_of < today,
    }
}

in_a_column! { Grouping }

impl YearAnswer {
    /// Says what the time came to.
    fn first(&self) -> String {
        let (from, to) = (self.from, self.to);
        let is_year = from == first_of(from) && to == last_of(from);
        let time = match is_year {
            true => from.year().to_string(),
            false => format!("{from} to {to}"),
        };
        let so_far = if self.is_over { "" } else { " so far" };
        let seen = match self.is_looked_back {
            true => format!(", as it was known on {}", self.as_of),
            false => String::new(),
        };
        let result = self.figures.result;
        let invoiced = self.figures.revenue;
        let left = match result.money {
            loss if loss.is_negative() => {
                let loss = result.size().with_currency();
                format!("a loss of {loss}, with {invoiced} invoiced")
            }
            _ => format!(
                "{} is left of {invoiced} that was invoiced",
                result.with_currency()
            ),
        };
        let closed = if self.closed { " It is closed." } else { "" };
        format!("{time}{so_far}{seen}: {left}.{closed}")
    }

    fn summary(&self, page: &Page) -> String {
        let figures = &self.figures;
        let mut table = page.table(["", "Amount"]).numbers([1]);
        let minus = |amount: Amount| page.amount(-amount.money);
        let mut row = |what: &str, amount: Amount, always: bool| {
            if always || !amount.money.is_zero() {
                table.line([&what, &amount]);
            }
        };
        row("Invoiced before tax", figures.revenue, true);
        row("Labour", minus(figures.labour), true);
        row("Consumables", minus(figures.consumables), true);
        row("Rental", minus(figures.rental), true);
        row("Driving", minus(figures.driving), true);
        row("Other costs of jobs", minus(figures.other), true);
        row("Gross margin", figures.gross_margin, true);
        row("Hours of no job", minus(figures.overhead_labour), false);
        row("Driving of no job", minus(figures.overhead_driving), false);
        row(
            "Other costs of no job",
            minus(figures.overhead_other),
            false,
        );
        row("Written off", minus(figures.written_off), false);
        row("Lost from the shelf", minus(figures.shelf_loss), false);
        row("Interest on late payment", figures.interest, false);
        row("Rounding", figures.rounding, false);
        row("Result", figures.result, true);
        table.to_string()
    }

    /// Says what stands beside the result and is no part of it.
    fn beside(&self, page: &Page) -> String {
        let mut said = vec![format!(
            "The firm itself cost {}; the overhead in the quotes brought {} of that with the hours that were worked.",
            self.figures.overheads, self.overheads_recovered
        )];
        if !self.own_floors.money.is_zero() {
            said.push(format!(
                "Your own floors took {}; no result counts it.",
                self.own_floors
            ));
        }
        said.push("Tax that you paid is in what things cost, as you logged them.".to_owned());
        let said = said.iter().map(|line| page.prose(line));
        said.collect::<Vec<_>>().join("\n")
    }

    fn parts(&self, by: Grouping, page: &Page) -> String {
        let (parts, heading) = match by {
            Grouping::Client => (&self.by_client, "Client"),
            _ => (&self.by_month, "Month"),
        };
        let headings = [heading, "Invoiced", "Jobs cost", "No job", "Lost", "Result"];
        let mut table = page.table(headings).numbers(1..=5);
        for part in parts {
            let figures = &part.figures;
            let name = match part.name.as_str() {
                "" => "(of no client)".to_owned(),
                name => inert(name),
            };
            let lost = figures.written_off.money + figures.shelf_loss.money
                - figures.interest.money
                - figures.rounding.money;
            table.line([
                &name,
                &figures.revenue,
                &figures.job_costs,
                &figures.overheads,
                &page.amount(lost),
                &figures.result,
            ]);
        }
        table.to_string()
    }

    fn taxes(&self, page: &Page) -> String {
        let mut table = page
            .table(["Tax in", "Rate", "Taxed", "Tax"])
            .numbers([1, 2, 3]);
        for tax in &self.tax {
            let area = match tax.area.as_str() {
                "" => "(no tax area)".to_owned(),
                area => inert(area),
            };
            table.line([&area, &tax.percent, &tax.net, &tax.tax]);
        }
        table.to_string()
    }

    fn wages(&self, page: &Page) -> String {
        let headings = ["Worker", "Hours", "Wage", "On top", "Cost"];
        let mut table = page.table(headings).numbers(1..=4);
        for wages in &self.wages {
            let WagesFacts {
                worker,
                hours,
                wage,
                on_top,
                cost,
            } = wages;
            table.line([&inert(worker), hours, wage, on_top, cost]);
        }
        table.to_string()
    }

    fn driven(&self, page: &Page) -> String {
        let mut table = page.table(["Driven", "At", "Came to"]).numbers([0, 1, 2]);
        for driven in &self.driven {
            table.line([
                &driven.distance.of(driven.unit),
                &driven.rate,
                &driven.amount,
            ]);
        }
        table.to_string()
    }

    fn shelf(&self, page: &Page) -> String {
        let mut table = page
            .table(["On the shelf", "How much", "Worth"])
            .numbers([1, 2]);
        for shelf in &self.shelf {
            table.line([
                &inert(&shelf.item),
                &shelf.quantity.of(shelf.unit),
                &shelf.value,
            ]);
        }
        let worth: Money = self.shelf.iter().map(|shelf| shelf.value.money).sum();
        table.line([&"Total", &"", &page.amount(worth)]);
        table.to_string()
    }

    fn corrections(&self, page: &Page) -> String {
        let headings = ["Of closed times", "Date", "What", "To the result"];
        let mut table = page.table(headings).numbers([3]);
        for line in &self.corrections {
            table.line([&line.document, &line.date, &inert(&line.note), &line.result]);
        }
        table.to_string()
    }
}

fn first_of(day: NaiveDate) -> NaiveDate {
    NaiveDate::from_ymd_opt(day.year(), 1, 1).unwrap_or(day)
}

fn last_of(day: NaiveDate) -> NaiveDate {
    NaiveDate::from_ymd_opt(day.year(), 12, 31).unwrap_or(day)
}

impl Answer for YearAnswer {
    fn text(&self, page: &Page) -> String {
        let first = page.prose(&self.first());
        if let Some(by) = self.by {
            return format!("{first}\n\n{}", self.parts(by, page));
        }
        let mut parts = vec![first, self.summary(page), self.beside(page)];
        let tables = [
            (!self.corrections.is_empty(), self.corrections(page)),
            (!self.by_month.is_empty(), self.parts(Grouping::Month, page)),
            (
                !self.by_client.is_empty(),
                self.parts(Grouping::Client, page),
            ),
            (!self.tax.is_empty(), self.taxes(page)),
            (!self.wages.is_empty(), self.wages(page)),
            (!self.driven.is_empty(), self.driven(page)),
            (!self.shelf.is_empty(), self.shelf(page)),
        ];
        let tables = tables.into_iter().filter(|(is_told, _)| *is_told);
        parts.extend(tables.map(|(_, table)| table));
        parts.join("\n\n")
    }

    fn list(&self) -> Option<List<'_>> {
        match self.by {
            Some(Grouping::Client) => List::of(&self.by_client),
            _ => List::of(&self.by_month),
        }
    }
}

impl Listed for YearAnswer {
    /// The first line is about the whole time, whatever rows are shown.
    fn answer(&self, _page: &Page) -> Option<String> {
        None
    }

    fn is_empty(&self) -> bool {
        false
    }

    fn show(&mut self, showing: &Showing) -> Result<usize, NoSuchColumn> {
        let rows = match self.by {
            Some(Grouping::Client) => &mut self.by_client,
            _ => &mut self.by_month,
        };
        showing.sort(rows, |row| serde_json::to_value(row))?;
        Ok(showing.cut(rows).len())
    }
}

answer! {
    /// A drive.
    struct DriveFacts from drive: Drive on page {
        date: NaiveDate,
        entry: String,
        distance: Number,
        unit: Unit = page.road(),
        rate: UnitPrice,
        amount: Amount,
        job: String,
        place: String,
        purpose: String,
    }

    /// What was driven in a time.
    pub struct MileageAnswer of (drives: Vec<Drive>, from: NaiveDate, to: NaiveDate) on page {
        currency: &'static str = page.currency.code(),
        from: NaiveDate,
        to: NaiveDate,
        total: Amount = page.amount(drives.iter().map(|drive| drive.amount).sum()),
        distance: Number = Number(drives.iter().map(|drive| drive.distance).sum()),
        unit: Unit = page.road(),
        drives: Vec<DriveFacts>,
    }
}

listed! { MileageAnswer, drives, answer: made, by_day: true }

impl Answer for MileageAnswer {
    fn text(&self, page: &Page) -> String {
        let (from, to) = (self.from, self.to);
        if self.drives.is_empty() {
            return format!("Nothing was driven from {from} to {to}.");
        }
        let first = format!(
            "{} from {from} to {to}: {}.",
            self.distance.of(self.unit),
            self.total.with_currency()
        );
        let headings = [
            "Date", "Entry", "Driven", "At", "Amount", "Job", "Where", "What for",
        ];
        let mut table = page.table(headings).numbers([2, 3, 4]);
        for drive in &self.drives {
            table.line([
                &drive.date,
                &drive.entry,
                &drive.distance.of(drive.unit),
                &drive.rate,
                &drive.amount,
                &drive.job,
                &inert(&drive.place),
                &inert(&drive.purpose),
            ]);
        }
        format!("{}\n\n{table}", page.prose(&first))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.drives)
    }
}
