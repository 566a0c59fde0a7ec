//! Covers: which periods to rent, which packs to buy, what to cut from which stick.

use std::fmt::{self, Write as _};

use chrono::NaiveDate;
use serde::{Serialize, Serializer};

use super::figures::{Amount, Days, Moment, Number, Run};
use super::{Answer, Page, count, inert};
use crate::ledger::{BookItem, BookMachine};
use crate::measure::Length;
use crate::money::{Decimal, plain};
use crate::trade::Unit;
use crate::trade::buying::{Basket, Packs};
use crate::trade::cutting::{AtLeast, CutStick, CuttingList, Stick};
use crate::trade::rental::{Cover, Period, Plan};

/// So many periods of a tariff, each at its price.
#[derive(Debug, Serialize)]
struct PeriodFacts {
    period: Period,
    count: u32,
    price: Amount,
}

impl fmt::Display for PeriodFacts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.count;
        let what = match (self.period, number) {
            (Period::FourWeeks, 1) => "four weeks".to_owned(),
            (Period::FourWeeks, number) => format!("{number} x four weeks"),
            (period, number) => count(number as usize, &period.as_str().replace('-', " ")),
        };
        let each = if number > 1 { " each" } else { "" };
        write!(f, "{what} {}{each}", self.price)
    }
}

/// What is rented, and what the yard will ask.
#[derive(Debug, Serialize)]
pub(super) struct CoverFacts {
    cover: Vec<PeriodFacts>,
    waiver: Amount,
    cleaning: Amount,
    pub(super) total: Amount,
}

impl CoverFacts {
    fn new(cover: Cover, page: &Page) -> CoverFacts {
        let total = page.amount(cover.total());
        let Cover {
            periods,
            charge: _,
            waiver,
            cleaning,
        } = cover;
        let periods = periods.into_iter();
        let periods = periods.map(|periods| PeriodFacts {
            period: periods.period,
            count: periods.count,
            price: page.amount(periods.price),
        });
        CoverFacts {
            cover: periods.collect(),
            waiver: page.amount(waiver),
            cleaning: page.amount(cleaning),
            total,
        }
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

/// A planned rental.
#[derive(Debug, Serialize)]
pub(super) struct PlanFacts {
    pub(super) days: Days,
    from: Option<NaiveDate>,
    back_by: Option<Moment>,
    #[serde(flatten)]
    pub(super) cover: CoverFacts,
    one_day_more: Amount,
}

impl PlanFacts {
    /// Returns what is told of a planned rental.
    pub(super) fn new(plan: Plan, page: &Page) -> PlanFacts {
        let back_by = plan.back_by().map(Moment);
        let Plan {
            need,
            from,
            cover,
            one_day_more,
        } = plan;
        PlanFacts {
            days: Days(need.in_days()),
            from,
            back_by,
            cover: CoverFacts::new(cover, page),
            one_day_more: page.amount(one_day_more),
        }
    }

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

/// The cheapest cover of a machine's rental.
#[derive(Debug, Serialize)]
pub struct CoverAnswer {
    #[serde(flatten)]
    plan: PlanFacts,
    machine: String,
    currency: &'static str,
}

impl CoverAnswer {
    /// Returns the answer about a machine's rental.
    pub fn new(machine: BookMachine, plan: Plan, page: &Page) -> CoverAnswer {
        CoverAnswer {
            plan: PlanFacts::new(plan, page),
            machine: machine.name,
            currency: page.currency.code(),
        }
    }
}

impl Answer for CoverAnswer {
    fn text(&self, page: &Page) -> String {
        let PlanFacts { days, cover, .. } = &self.plan;
        let (machine, total) = (inert(&self.machine), cover.total.with_currency());
        let words = self.plan.words();
        page.prose(&format!("{machine} for {days}: {total}\n{cover}.\n{words}"))
    }
}

/// Packs of one size.
#[derive(Debug, Serialize)]
pub(super) struct PackFacts {
    size: Number,
    count: u32,
    price: Amount,
}

impl PackFacts {
    /// Returns what is told of a basket's packs.
    pub(super) fn all(packs: Vec<Packs>, page: &Page) -> Vec<PackFacts> {
        page.each(packs, |packs, page| PackFacts {
            size: Number(packs.size),
            count: packs.count,
            price: page.amount(packs.price),
        })
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

/// Writes a quantity in item units; pieces have no word.
pub(super) fn units_words(quantity: Decimal, unit: Unit) -> String {
    match unit {
        Unit::Each => plain(quantity, 4),
        unit => format!("{} {unit}", plain(quantity, 4)),
    }
}

/// The cheapest packs of an item.
#[derive(Debug, Serialize)]
pub struct BasketAnswer {
    item: String,
    unit: Unit,
    currency: &'static str,
    need: Number,
    packs: Vec<PackFacts>,
    content: Number,
    #[serde(skip)]
    left: Decimal,
    #[serde(skip)]
    kept: bool,
    hand_back: bool,
    total: Amount,
}

impl BasketAnswer {
    /// Returns the answer about the packs of an item.
    pub fn new(item: BookItem, basket: Basket, page: &Page) -> BasketAnswer {
        let (content, left) = (basket.content(), basket.left());
        let Basket { need, packs, total } = basket;
        BasketAnswer {
            item: item.name,
            unit: item.unit,
            currency: page.currency.code(),
            need: Number(need),
            packs: PackFacts::all(packs, page),
            content: Number(content),
            left,
            kept: item.kept,
            hand_back: item.returnable,
            total: page.amount(total),
        }
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

/// A stick and what is cut from it.
#[derive(Debug, Serialize)]
pub(super) struct StickFacts {
    length: SoldLength,
    off_cut: bool,
    price: Amount,
    pieces: Vec<SoldLength>,
    left: SoldLength,
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

    fn new(cut: CutStick, unit: Unit, page: &Page) -> StickFacts {
        let CutStick {
            stick: Stick { length, price },
            off_cut,
            pieces,
            left,
        } = cut;
        StickFacts {
            length: SoldLength::new(length, unit, page),
            off_cut,
            price: page.amount(price),
            pieces: page.each(pieces, |piece, page| SoldLength::new(piece, unit, page)),
            left: SoldLength::new(left, unit, page),
        }
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

/// A cutting list.
#[derive(Debug, Serialize)]
pub struct CuttingAnswer {
    item: String,
    unit: Unit,
    currency: &'static str,
    sticks: Vec<StickFacts>,
    proven: bool,
    at_least: Least,
    total: Amount,
    #[serde(skip)]
    saw_loss: Run,
}

impl CuttingAnswer {
    /// Returns the answer about what is cut from an item.
    pub fn new(item: BookItem, list: CuttingList, saw_loss: Length, page: &Page) -> CuttingAnswer {
        let BookItem { name, unit, .. } = item;
        let CuttingList {
            sticks,
            total,
            at_least,
            proven,
        } = list;
        CuttingAnswer {
            item: name,
            unit,
            currency: page.currency.code(),
            sticks: StickFacts::all(sticks, unit, page),
            proven,
            at_least: match at_least {
                AtLeast::Price(price) => Least::Price(page.amount(price)),
                AtLeast::Sticks(sticks) => Least::Sticks(sticks),
            },
            total: page.amount(total),
            saw_loss: page.run(saw_loss),
        }
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
        table.line([&count(bought, "stick"), &"", &"", &self.total]);
        let mut text = format!("Cut from {}\n\n{table}\n", inert(&self.item));
        let saw = match self.saw_loss.length.nanometres() {
            0 => "The saw is taken to lose nothing.".to_owned(),
            _ => format!("The saw takes {} between two pieces.", self.saw_loss),
        };
        let _ = write!(text, "\n{}", page.prose(&saw));
        if !self.proven {
            let least = match self.at_least {
                Least::Price(price) => price.to_string(),
                Least::Sticks(sticks) => count(sticks.unsigned_abs() as usize, "stick"),
            };
            let doubt = format!(
                "There may be a better list; by length alone, none takes less than {least}."
            );
            let _ = write!(text, "\n{}", page.prose(&doubt));
        }
        text
    }
}
