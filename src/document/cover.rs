//! Covers: which periods to rent, which packs to buy, what to cut from which stick.

use std::fmt::{self, Write as _};

use chrono::NaiveDate;
use serde::{Serialize, Serializer};

use super::figures::{Amount, Days, Moment, Number, Run};
use super::{Answer, List, Page, count, inert};
use crate::ledger::{BookItem, BookMachine};
use crate::measure::Length;
use crate::money::{Decimal, Money};
use crate::trade::Unit;
use crate::trade::buying::{Basket, Packs};
use crate::trade::cutting::{Aim, CutStick, CuttingList};
use crate::trade::rental::{Cover, Period, Periods, Plan};

answer! {
    /// So many periods of a tariff, each at its price.
    struct PeriodFacts from periods: Periods on page {
        period: Period,
        count: u32,
        price: Amount,
    }
}

impl fmt::Display for PeriodFacts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.count;
        let what = match (self.period, number) {
            (Period::FourWeeks, 1) => "four weeks".to_owned(),
            (Period::FourWeeks, number) => format!("{number} x four weeks"),
            (period, number) => count(number, &period.as_str().replace('-', " ")),
        };
        let each = if number > 1 { " each" } else { "" };
        write!(f, "{what} {}{each}", self.price)
    }
}

answer! {
    /// What is rented, and what the yard will ask.
    pub(super) struct CoverFacts from cover: Cover on page {
        cover: Vec<PeriodFacts> = page.each(cover.periods.clone(), PeriodFacts::new),
        waiver: Amount,
        cleaning: Amount,
        pub(super) total: Amount = page.amount(cover.total()),
        .. { periods, charge }
    }
}

impl fmt::Display for CoverFacts {
    /// Writes it in one line: `1 week 280.00, 2 days 80.00 each; waiver 44.00, cleaning 25.00`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let periods: Vec<String> = self.cover.iter().map(ToString::to_string).collect();
        f.write_str(&periods.join(", "))?;
        let fees = [("waiver", self.waiver), ("cleaning", self.cleaning)];
        let fees = fees.into_iter().filter(|(_, fee)| !fee.money.is_zero());
        let fees: Vec<String> = fees.map(|(what, fee)| format!("{what} {fee}")).collect();
        match fees.is_empty() {
            true => Ok(()),
            false => write!(f, "; {}", fees.join(", ")),
        }
    }
}

answer! {
    /// A planned rental.
    pub(super) struct PlanFacts from plan: Plan on page {
        pub(super) days: Days = Days(plan.need.in_days()),
        from: Option<NaiveDate>,
        back_by: Option<Moment> = plan.back_by().map(Moment),
        #[serde(flatten)]
        pub(super) cover: CoverFacts,
        one_day_more: Amount,
        .. { need }
    }
}

impl PlanFacts {
    /// Says what a day more costs, and by when the machine must be back.
    pub(super) fn words(&self) -> String {
        let more = match self.one_day_more {
            nothing if nothing.money.is_zero() => "One day more costs nothing".to_owned(),
            more => format!("One day more costs {more}"),
        };
        match self.back_by.zip(self.from) {
            Some((back, from)) => format!(
                "Back by {} (24 hours a day from {}). {more}.",
                back.0.format("%a %Y-%m-%d %H:%M"),
                from.format("%a %Y-%m-%d 08:00")
            ),
            None => format!("{more}. Without a start date no weekend rate is counted on."),
        }
    }
}

answer! {
    /// The cheapest cover of a machine's rental.
    pub struct CoverAnswer of (machine: BookMachine, plan: Plan) on page {
        #[serde(flatten)]
        plan: PlanFacts,
        machine: String = machine.name,
        currency: &'static str = page.currency.code(),
    }
}

impl Answer for CoverAnswer {
    fn text(&self, page: &Page) -> String {
        let PlanFacts { days, cover, .. } = &self.plan;
        let (machine, total) = (inert(&self.machine), cover.total.with_currency());
        let words = self.plan.words();
        page.prose(&format!("{machine} for {days}: {total}\n{cover}.\n{words}"))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.plan.cover.cover)
    }
}

answer! {
    /// Packs of one size.
    pub(super) struct PackFacts from packs: Packs on page {
        size: Number,
        count: u32,
        price: Amount,
    }
}

/// Says which packs are bought, each at what price: `3 x 1 gal at 52.00, 1 x 0.25 gal at 18.50`.
pub(super) fn packs_words(packs: &[PackFacts], unit: Unit) -> String {
    let packs = packs.iter().map(|pack| {
        let size = units_words(pack.size.0, unit);
        format!("{} x {size} at {}", pack.count, pack.price)
    });
    packs.collect::<Vec<_>>().join(", ")
}

/// Says which packs are bought, without what they cost: `1 x 30, 2 x 3`; each stays whole in a table.
pub(super) fn packs_short(packs: &[PackFacts]) -> String {
    let packs = packs
        .iter()
        .map(|pack| format!("{}\u{a0}x\u{a0}{}", pack.count, pack.size));
    packs.collect::<Vec<_>>().join(", ")
}

/// Writes a quantity in item units; pieces have no word.
pub(super) fn units_words(quantity: Decimal, unit: Unit) -> String {
    unit.told(quantity, 4)
}

answer! {
    /// The cheapest packs of an item.
    pub struct BasketAnswer from basket: Basket with (item: BookItem) on page {
        item: String = item.name,
        unit: Unit = item.unit,
        currency: &'static str = page.currency.code(),
        need: Number,
        packs: Vec<PackFacts>,
        content: Number = Number(basket.content()),
        #[serde(skip)]
        left: Decimal = basket.left(),
        #[serde(skip)]
        kept: bool = item.kept,
        hand_back: bool = item.returnable,
        total: Amount,
    }
}

impl Answer for BasketAnswer {
    fn text(&self, page: &Page) -> String {
        let BasketAnswer {
            item, unit, need, ..
        } = self;
        let left = units_words(self.left, *unit);
        let left = match (self.left.is_zero(), self.kept) {
            (true, _) => "Nothing is left over.".to_owned(),
            (false, true) => format!("{left} left over."),
            (false, false) => format!("{left} left over, which doesn't keep once opened."),
        };
        let hand_back = match self.hand_back {
            true => "Unopened packs can be handed back.",
            false => "",
        };
        let text = format!(
            "{} of {}: {}\n{}.\n{left}\n{hand_back}",
            units_words(need.0, *unit),
            inert(item),
            self.total.with_currency(),
            packs_words(&self.packs, *unit),
        );
        page.prose(&text)
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.packs)
    }
}

/// A length of what is sold by length: for programs in the unit of the item.
#[derive(Clone, Copy, Debug)]
struct SoldLength {
    run: Run,
    unit: Unit,
}

impl SoldLength {
    fn new(nanometres: i64, unit: Unit, page: &Page) -> SoldLength {
        SoldLength {
            run: page.run(Length::from_nanometres(nanometres)),
            unit,
        }
    }
}

impl fmt::Display for SoldLength {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.run.fmt(f)
    }
}

in_a_column! { SoldLength, Least }

impl Serialize for SoldLength {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let length = self.run.length;
        let units = match self.unit {
            Unit::Metre => length.metres(),
            _ => length.feet(),
        };
        Number(units).serialize(serializer)
    }
}

answer! {
    /// A stick and what is cut from it.
    pub(super) struct StickFacts from cut: CutStick with (unit: Unit) on page {
        length: SoldLength = SoldLength::new(cut.stick.length, unit, page),
        off_cut: bool,
        price: Amount = page.amount(cut.stick.price),
        pieces: Vec<SoldLength> = page.each(cut.pieces, |piece, page| SoldLength::new(piece, unit, page)),
        left: SoldLength = SoldLength::new(cut.left, unit, page),
        .. { stick, pieces, left }
    }
}

impl StickFacts {
    /// Returns what is told of the sticks of a list.
    pub(super) fn all(sticks: Vec<CutStick>, unit: Unit, page: &Page) -> Vec<StickFacts> {
        page.each(sticks, |cut, page| StickFacts::new(cut, unit, page))
    }

    fn pieces(&self) -> String {
        let pieces: Vec<String> = self.pieces.iter().map(SoldLength::to_string).collect();
        pieces.join(", ")
    }
}

/// Returns how many pieces are cut from some sticks.
pub(super) fn pieces_of(sticks: &[StickFacts]) -> usize {
    sticks.iter().map(|stick| stick.pieces.len()).sum()
}

/// Says what is cut from each of some sticks: `16' into 9', 6'6"; 8' into 7'2"`.
pub(super) fn sticks_words(sticks: &[StickFacts]) -> String {
    let sticks = sticks
        .iter()
        .map(|stick| format!("{} into {}", stick.length, stick.pieces()));
    sticks.collect::<Vec<_>>().join("; ")
}

/// What no cutting list can do with less of, by length alone.
#[derive(Debug, Serialize)]
#[serde(rename_all = "lowercase")]
enum Least {
    Price(Amount),
    Sticks(i64),
}

answer! {
    /// A cutting list.
    pub struct CuttingAnswer from list: CuttingList with (item: BookItem, saw_loss: Length, aim: Aim) on page {
        item: String = item.name,
        unit: Unit = item.unit,
        currency: &'static str = page.currency.code(),
        sticks: Vec<StickFacts> = StickFacts::all(list.sticks, item.unit, page),
        proven: bool,
        at_least: Least = match aim {
            Aim::Cheapest => Least::Price(page.amount(Money::from_minor(list.at_least))),
            Aim::Fewest => Least::Sticks(list.at_least),
        },
        total: Amount,
        #[serde(skip)]
        saw_loss: Length = saw_loss,
        #[serde(skip)]
        saw_loss_words: String = saw_loss.fine_text(page.units),
        .. { sticks, at_least }
    }
}

impl Answer for CuttingAnswer {
    fn text(&self, page: &Page) -> String {
        let mut table = page
            .table(["Stick", "Pieces", "Left", "Price"])
            .numbers([2, 3]);
        for cut in &self.sticks {
            let off_cut = if cut.off_cut { " off-cut" } else { "" };
            table.line([
                &format!("{}{off_cut}", cut.length),
                &cut.pieces(),
                &cut.left,
                &cut.price,
            ]);
        }
        let bought = self.sticks.iter().filter(|cut| !cut.off_cut).count();
        let sticks = count(bought, "stick");
        table.line([&sticks, &"", &"", &self.total]);
        let total = self.total.with_currency();
        let mut text = format!("{sticks} of {}: {total}\n\n{table}\n", inert(&self.item));
        let saw = match self.saw_loss.nanometres() {
            0 => "The saw is taken to lose nothing.".to_owned(),
            _ => format!("The saw takes {} between two pieces.", self.saw_loss_words),
        };
        let _ = write!(text, "\n{}", page.prose(&saw));
        if !self.proven {
            let least = match self.at_least {
                Least::Price(price) => price.to_string(),
                Least::Sticks(sticks) => count(sticks.unsigned_abs(), "stick"),
            };
            let doubt = format!(
                "There may be a better list; by length alone, none takes less than {least}."
            );
            let _ = write!(text, "\n{}", page.prose(&doubt));
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.sticks)
    }
}
