//! How sure a quote is, and what it takes: risk, rentals, the shopping list, options side by side.

use std::fmt::Write as _;

use super::cover::{PackFacts, PlanFacts, StickFacts, packs_short, pieces_of, sticks_words};
use super::figures::{Amount, Number, Percent, Quantity, SetPercent};
use super::{Answer, List, Page, View, count, inert, or_blank};
use crate::ledger::{AS_DRAFTED, QuoteHeader, QuoteOption, QuoteStatus, ToBuy};
use crate::money::{Decimal, Money};
use crate::trade::Unit;
use crate::trade::quote::{Cause, Outlook, PlannedRental, Quote, QuotedRoom, Risk, margin_percent};

/// How many parts of the risk people are shown.
const SHOWN_RISKS: usize = 5;

answer! {
    /// A part of a quote's risk.
    pub(super) struct RiskFacts from risk: Risk on page {
        pub(super) operation: String,
        pub(super) share_percent: Percent,
        cause: Cause,
        rooms: usize,
        pub(super) advice: String = advice(risk.cause, risk.rooms),
    }
}

/// Says the one thing to measure or ask that would make a risk less.
fn advice(cause: Cause, rooms: usize) -> String {
    let advice = match cause {
        Cause::Rate if rooms == 0 => "no room of yours is behind its rate: time it in one room",
        Cause::Rate => {
            let rooms = count(rooms, "finished room");
            return format!("only {rooms} behind its rate: log it on its own in the next one");
        }
        Cause::Job => "floors differ: ask for the age and make of the finish, sand a test patch",
        Cause::Room => "rooms differ: walk the worst one again, and measure it",
        Cause::Contingency => "find out before you name a price: sand a test patch there",
        Cause::Rental => {
            "its hours are near the end of a rental period: ask the yard what a little longer costs"
        }
        Cause::Pack => "ask the store for a smaller can",
    };
    advice.to_owned()
}

answer! {
    /// A machine to rent.
    struct RentalFacts from rental: PlannedRental on page {
        #[serde(flatten)]
        plan: PlanFacts,
        machine: String = rental.name,
        hours: Number,
        .. { machine, name }
    }

    /// An item to buy.
    struct ToBuyFacts from line: ToBuy on page {
        item: String,
        unit: Unit,
        confidence_percent: Percent = Percent::of_one(line.confidence),
        expected: Number,
        in_stock: Number,
        need: Number = Number(line.basket.need),
        #[serde(skip)]
        enough: Decimal = up(line.basket.need + line.in_stock),
        packs: Vec<PackFacts> = page.each(line.basket.packs, PackFacts::new),
        hand_back: bool = line.returnable,
        cut: Option<Vec<StickFacts>> = line.cut.map(|list| StickFacts::all(list.sticks, line.unit, page)),
        total: Amount = page.amount(line.basket.total),
        .. { confidence, basket, returnable, cut }
    }
}

/// Rounds what is enough up to what is printed: less of it wouldn't be.
fn up(quantity: Decimal) -> Decimal {
    (quantity * Decimal::ONE_HUNDRED).ceil() / Decimal::ONE_HUNDRED
}

answer! {
    /// A shopping list.
    #[serde(transparent)]
    pub(super) struct ShoppingList of (lines: Vec<ToBuy>) on page {
        #[serde(skip)]
        total: Amount = page.amount(total(&lines)),
        lines: Vec<ToBuyFacts>,
    }

    /// A shopping list, and what it is for.
    pub struct ShoppingAnswer of (of: String, buy: Vec<ToBuy>) on page {
        r#for: String = of,
        currency: &'static str = page.currency.code(),
        buy: ShoppingList,
        total: Amount = page.amount(total(&buy)),
    }
}

fn total(lines: &[ToBuy]) -> Money {
    lines.iter().map(|line| line.basket.total).sum()
}

impl ShoppingList {
    /// Lists what is to be bought for what is named.
    pub(super) fn text(&self, of: &str, page: &Page) -> String {
        if self.lines.is_empty() {
            return format!("Nothing to buy for {of}: what it needs is in stock, or used already.");
        }
        let mut table = page
            .table(["Item", "Needed", "In stock", "Buy", "Total"])
            .numbers([1, 2, 4]);
        for line in &self.lines {
            let needed = Quantity {
                quantity: Number(line.enough),
                unit: line.unit,
            };
            let packs = packs_short(&line.packs);
            table.line([&line.item, &needed, &line.in_stock, &packs, &line.total]);
        }
        let first = format!(
            "To buy for {of}: {} for {}.",
            count(self.lines.len(), "item"),
            self.total.with_currency()
        );
        let mut text = format!("{}\n\n{table}\n", page.prose(&first));
        for line in &self.lines {
            if let Some(sticks) = &line.cut {
                let pieces = count(pieces_of(sticks), "piece");
                let (item, cut) = (inert(&line.item), sticks_words(sticks));
                let cut = format!("Cut {pieces} of {item} so: {cut}.");
                let _ = write!(text, "\n{}", page.prose(&cut));
            }
        }
        let _ = write!(text, "\n{}", page.prose(&self.notes()));
        text
    }

    /// Says how often what is bought is enough, what can be handed back, and what packs are.
    fn notes(&self) -> String {
        let how_sure = |hand_back: bool| {
            let lines = self
                .lines
                .iter()
                .filter(move |line| line.hand_back == hand_back);
            let sure: Option<SetPercent> = lines
                .clone()
                .find_map(|line| line.confidence_percent.0.map(SetPercent));
            let names = lines.map(|line| inert(&line.item));
            (sure, names.collect::<Vec<_>>().join(", "))
        };
        let ((most, kept), (least, not_kept)) = (how_sure(true), how_sure(false));
        let enough = |sure: Option<SetPercent>| {
            sure.map(|sure| format!(", and what is bought is enough in {sure} of jobs like this"))
        };
        let mut notes = String::new();
        if !kept.is_empty() {
            let _ = writeln!(
                notes,
                "Unopened packs can be handed back{}.",
                or_blank(enough(most))
            );
        }
        if !not_kept.is_empty() {
            let _ = writeln!(
                notes,
                "Not to be handed back{}: {not_kept}.",
                or_blank(enough(least))
            );
        }
        notes
            + "Packs are cash and stock, not the job's cost: what is left over goes to the next job."
    }
}

impl Answer for ShoppingAnswer {
    fn text(&self, page: &Page) -> String {
        self.buy.text(&self.r#for, page)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.buy.lines)
    }
}

answer! {
    /// The cost that isn't exceeded so many times in a hundred.
    struct CostAt of (outlook: &Outlook) on page {
        p10: Amount = page.amount(outlook.p10),
        p50: Amount = page.amount(outlook.p50),
        p80: Amount = page.amount(outlook.p80),
        p90: Amount = page.amount(outlook.p90),
    }

    /// How sure a quote is: all of it is for its owner.
    pub(super) struct OutlookFacts from outlook: Outlook with (quote: &Quote, buy: Vec<ToBuy>) on page {
        pub(super) target_margin_percent: Percent = Percent::of_one(Some(quote.terms.margin)),
        pub(super) confidence_percent: Percent = Percent::of_one(Some(quote.terms.confidence)),
        expected_cost: Amount = page.amount(quote.expected_cost()),
        pub(super) contingency: Amount = page.amount(outlook.contingency()),
        cost_at: CostAt = CostAt::new(&outlook, page),
        /// The cost that isn't exceeded with the confidence, for people.
        #[serde(skip)]
        pub(super) at_confidence: Amount = page.amount(outlook.cost_at_confidence),
        raised_by: Amount = page.amount(outlook.raised_by(quote)),
        /// The price that its owner named; none: it follows from the cost.
        pub(super) named_price: Option<Amount> = quote.terms.named.map(|price| page.amount(price)),
        /// What the job is expected to cost beyond that price, for people.
        #[serde(skip)]
        pub(super) expected_loss: Option<Amount> = {
            let loss = quote.expected_cost() - quote.price;
            (!quote.terms.own && loss > Money::ZERO).then(|| page.amount(loss))
        },
        /// What the cost asks for at the margin, the minimum charge and the step.
        pub(super) asked_price: Amount = page.amount(quote.terms.asked_for(outlook.cost_at_confidence, &quote.taxed_by)),
        /// What the price keeps of the margin, as surely as was asked for.
        pub(super) margin_at_confidence_percent: Percent =
            Percent(margin_percent(quote.price, outlook.cost_at_confidence)),
        pub(super) chance_of_margin_percent: Percent =
            Percent::of_one((!quote.terms.own).then_some(Decimal::ONE - outlook.below_margin)),
        pub(super) expected_margin_percent: Percent = Percent(quote.margin_percent()),
        pub(super) chance_of_loss_percent: Percent = Percent::of_one((!quote.terms.own).then_some(outlook.loss)),
        draws: u32,
        seed: String = outlook.seed.to_string(),
        pub(super) risk: Vec<RiskFacts> = page.each(outlook.risks, RiskFacts::new),
        rental: Vec<RentalFacts> = page.each(outlook.rentals, RentalFacts::new),
        buy: ShoppingList = ShoppingList::new(buy, page),
        .. { seed, expected_cost, cost_at_confidence, p10, p50, p80, p90, loss, below_margin, risks, rentals, needs, room_by_room }
    }
}

impl OutlookFacts {
    /// Says how sure the quote is, what drives its risk, and what to rent.
    pub(super) fn text(&self, page: &Page) -> String {
        let mut table = page
            .table(["How sure", "10 %", "50 %", "80 %", "90 %"])
            .numbers([1, 2, 3, 4]);
        let CostAt { p10, p50, p80, p90 } = &self.cost_at;
        table.line([&"the cost is at most", p10, p50, p80, p90]);
        let sure = match self.chance_of_loss_percent.0 {
            None => format!("By {} draws of the job.", self.draws),
            Some(_) => format!(
                "Expected margin {}, chance of a loss {}, by {} draws of the job.",
                self.expected_margin_percent, self.chance_of_loss_percent, self.draws,
            ),
        };
        let mut text = format!("\n{table}\n{}\n", page.prose(&sure));
        if !self.risk.is_empty() {
            let mut table = page
                .table(["What drives the risk", "Share", "What would make it less"])
                .numbers([1]);
            for risk in self.risk.iter().take(SHOWN_RISKS) {
                table.line([&risk.operation, &risk.share_percent, &risk.advice]);
            }
            let _ = write!(text, "\n{table}\n");
        }
        text + &self.rental_text(page)
    }

    pub(super) fn rental_text(&self, page: &Page) -> String {
        if self.rental.is_empty() {
            return String::new();
        }
        let mut table = page
            .table(["Rent", "Hours", "Days", "Cover", "Total"])
            .numbers([1, 2, 4]);
        let mut points = String::new();
        for RentalFacts {
            plan,
            machine,
            hours,
        } in &self.rental
        {
            let (days, cover) = (Number(plan.days.0), &plan.cover);
            table.line([machine, hours, &days, cover, &cover.total]);
            points.push_str(&page.point(&format!("{machine}: {}", plan.words())));
        }
        format!("\n{table}\n{points}")
    }

    /// Says how much there is to buy; `None`: nothing.
    pub(super) fn buy_words(&self, quote: &str) -> Option<String> {
        let lines = Some(self.buy.lines.len()).filter(|lines| *lines > 0)?;
        Some(format!(
            "To buy: {} for {}, less what is in stock: gritledger quote buy {quote}",
            count(lines, "item"),
            self.buy.total
        ))
    }
}

answer! {
    /// A room of an option.
    struct OptionRoom of (room: QuotedRoom) on page {
        name: String = room.name,
        price: Amount = page.amount(room.price),
    }

    /// An option of a quote, short; what is for its owner alone is not told to the client.
    pub(super) struct OptionFacts of (header: QuoteHeader, quote: Quote, outlook: Outlook, first: Money, view: View) on page {
        option: u32 = header.option,
        name: String = header.option_name,
        accepted: bool = header.status == QuoteStatus::Accepted,
        sequence: Option<String> = quote.sequence.clone(),
        schedule: Option<String> = quote.schedule.clone(),
        rooms: Vec<OptionRoom> = page.each(quote.rooms.clone(), OptionRoom::new),
        hours: Option<Number> = view.owner().map(|()| Number(quote.hours())),
        expected_cost: Option<Amount> = view.owner().map(|()| page.amount(quote.expected_cost())),
        contingency: Option<Amount> = view.owner().map(|()| page.amount(outlook.contingency())),
        expected_margin_percent: Percent = Percent(view.owner().and_then(|()| quote.margin_percent())),
        chance_of_loss_percent: Percent = Percent::of_one(view.owner().map(|()| outlook.loss)),
        chance_of_margin_percent: Percent = Percent::of_one(view.owner().map(|()| Decimal::ONE - outlook.below_margin)),
        named_price: Option<Amount> =
            view.owner().and(quote.terms.named).map(|price| page.amount(price)),
        asked_price: Option<Amount> =
            view.owner().map(|()| page.amount(quote.terms.asked_for(outlook.cost_at_confidence, &quote.taxed_by))),
        price: Amount = page.amount(quote.price),
        tax: Amount = page.amount(quote.tax),
        total: Amount = page.amount(quote.total()),
        difference: Amount = page.amount(quote.price - first),
        room_by_room: Option<Amount> = outlook.room_by_room.map(|apart| page.amount(apart)),
        saves: Option<Amount> = outlook.room_by_room.map(|apart| page.amount(apart - quote.told())),
    }
}

impl OptionFacts {
    /// Returns what is told of the options of a quote; the first is what the others differ from.
    pub(super) fn all(options: Vec<QuoteOption>, view: View, page: &Page) -> Vec<OptionFacts> {
        let first = options.first().map(|option| option.record.quote.price);
        let first = first.unwrap_or(Money::ZERO);
        page.each(options, |QuoteOption { record, outlook }, page| {
            OptionFacts::new(record.header, record.quote, outlook, first, view, page)
        })
    }

    /// Returns its name, or the words for the one that has none.
    fn title(&self) -> &str {
        match self.name.as_str() {
            "" => AS_DRAFTED,
            name => name,
        }
    }
}

answer! {
    /// The options of a quote, side by side.
    pub struct CompareAnswer of (options: Vec<QuoteOption>, view: View) on page
    let header = options.first().map(|option| &option.record.header);
    {
        number: Option<String> = header.map(|header| header.number.clone()),
        #[serde(skip)]
        title: String = or_blank(header.map(|header| {
            format!("For {}, {}", inert(&header.client), inert(&header.site))
        })),
        currency: &'static str = page.currency.code(),
        options: Vec<OptionFacts> = OptionFacts::all(options, view, page),
    }
}

impl CompareAnswer {
    /// Says what the cheapest and the dearest ask: `Q22: 1864.63 USD (As drafted) to 1998.98 (Three coats).`
    fn answer(&self) -> String {
        let number = or_blank(self.number.as_ref());
        let least = self.options.iter().min_by_key(|option| option.total.money);
        let most = self
            .options
            .iter()
            .rev()
            .max_by_key(|option| option.total.money);
        let Some((least, most)) = least.zip(most) else {
            return format!("{number}: no options.");
        };
        let (asked, title) = (least.total.with_currency(), least.title());
        match least.total.money == most.total.money {
            true if self.options.len() == 1 => format!("{number}: {asked}, its only option."),
            true => format!("{number}: {asked}, whichever option."),
            false => format!(
                "{number}: {asked} ({title}) to {} ({}).",
                most.total,
                most.title()
            ),
        }
    }

    /// Writes what only the owner is told.
    fn owner_text(&self, page: &Page) -> String {
        let mut table = page
            .table([
                "",
                "Hours",
                "Expected cost",
                "Contingency",
                "Margin",
                "Chance of a loss",
            ])
            .numbers([1, 2, 3, 4, 5]);
        for option in self.options.iter().filter(|option| option.hours.is_some()) {
            table.line([
                &option.option,
                &or_blank(option.hours),
                &or_blank(option.expected_cost),
                &or_blank(option.contingency),
                &option.expected_margin_percent,
                &option.chance_of_loss_percent,
            ]);
        }
        match table.is_empty() {
            true => String::new(),
            false => format!("\n{table}\n"),
        }
    }
}

impl Answer for CompareAnswer {
    fn text(&self, page: &Page) -> String {
        let mut table = page
            .table([
                "", "Option", "Rooms", "Sanding", "Coating", "Price", "Tax", "Total",
            ])
            .numbers([0, 5, 6, 7])
            .makes_room([6, 2]);
        let mut points = String::new();
        for option in &self.options {
            let rooms: Vec<&str> = option.rooms.iter().map(|room| &*room.name).collect();
            table.line([
                &option.option,
                &option.title(),
                &rooms.join(", "),
                &option.sequence.as_deref().unwrap_or("none"),
                &option.schedule.as_deref().unwrap_or("none"),
                &option.price,
                &option.tax,
                &option.total,
            ]);
            if let (Some(_), Some(asked)) = (option.named_price, option.asked_price) {
                let (title, chance) = (option.title(), option.chance_of_margin_percent);
                points.push_str(&page.point(&format!(
                    "{title}: its price is named, and the margin is kept {chance} of the time; its cost asks for {asked}."
                )));
            }
            let apart = option.room_by_room.zip(option.saves);
            // A price that was named may be above what the rooms would be offered for.
            if let Some((apart, saved)) = apart.filter(|(_, saved)| !saved.money.is_negative()) {
                let title = option.title();
                points.push_str(&page.point(&format!(
                    "{title}: room by room it would be {apart}; together saves {saved}."
                )));
            }
        }
        let owner = self.owner_text(page);
        let answer = page.prose(&inert(&self.answer()));
        format!(
            "{answer}\n{}\n\n{table}\n{owner}{points}",
            page.prose(&self.title)
        )
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.options)
    }
}
