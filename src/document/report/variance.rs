//! Where a job's cost left its quote, by price and by quantity.

use std::cmp::Reverse;
use std::fmt::Write as _;

use serde::Serialize;

use super::NotRecorded;
use crate::document::figures::{Amount, Number, UnitPrice};
use crate::document::{Answer, List, Page, count, inert, or_blank};
use crate::ledger::JobVariance;
use crate::trade::variance::flexible::{Flexible, Reasons};
use crate::trade::variance::rental::RentalPart;
use crate::trade::variance::{LineKind, Subject, Variance, VarianceLine, favour};
use crate::trade::{RoomId, Unit};

answer! {
    /// One line, quoted beside actual.
    pub(in crate::document) struct Line of (line: VarianceLine, flexible: Flexible, room: Option<String>) on page
    let (verdict, compared) = (line.verdict(), line.compared().copied());
    let VarianceLine { subject, quoted, quoted_unit_price, actual: _ } = line;
    let Subject { kind, room: room_id, operation, item, part, unit } = subject;
    let side = compared.map(|compared| compared.side);
    let split = compared.map(|compared| compared.split).unwrap_or_default();
    {
        kind: LineKind = kind,
        #[serde(skip)]
        room_id: Option<RoomId> = room_id,
        room: Option<String>,
        operation: Option<String>,
        item: Option<String>,
        part: Option<RentalPart> = part,
        unit: Unit,
        recorded: bool = compared.is_some(),
        quoted_quantity: Number = Number(quoted.quantity),
        actual_quantity: Option<Number> = side.map(|side| Number(side.quantity)),
        quoted_unit_price: Option<UnitPrice>,
        actual_unit_price: Option<UnitPrice> = compared.and_then(|compared| compared.unit_price).map(|price| page.price_of_one(price)),
        quoted_cost: Amount = page.amount(quoted.cost),
        actual_cost: Amount = page.amount(side.unwrap_or_default().cost),
        price_variance: Amount = page.amount(split.price),
        quantity_variance: Amount = page.amount(split.quantity),
        /// Of the quantity's: what the size of the room explains, what the condition of its floor does, and the rest.
        size_variance: Amount = page.amount(flexible.size),
        condition_variance: Amount = page.amount(flexible.condition),
        rest_variance: Amount = page.amount(flexible.rest),
        total_variance: Amount = page.amount(split.total()),
        verdict: &'static str,
    }
}

impl Line {
    /// Returns what it is about: the operation of an item, the task of hours, the machine, what money was for.
    fn subject(&self) -> String {
        match (self.kind, &self.operation, &self.item) {
            (LineKind::Labour, Some(task), _) => format!("{task}, labour"),
            (LineKind::Labour, None, _) => "labour, no task said".to_owned(),
            (LineKind::Rental, _, Some(machine)) => {
                let part = self.part.map_or("rental", part_words);
                format!("{machine}, {part}")
            }
            (_, Some(name), _) | (_, None, Some(name)) => name.clone(),
            (_, None, None) => String::new(),
        }
    }

    /// Writes one side of it: `6.37 discs at 2.10`. A rental has no unit price: `2 days, 160.00`.
    fn side(&self, quantity: Number, price: Option<UnitPrice>, cost: Amount) -> String {
        let none = quantity.0.is_zero();
        let words = quantity.of(self.unit).to_string();
        match (self.kind, price) {
            (LineKind::Rental, _) if none && cost.money.is_zero() => String::new(),
            (LineKind::Rental, _) if none => cost.to_string(),
            (LineKind::Rental, _) => format!("{words}, {cost}"),
            (_, Some(price)) if !none => format!("{words} at {price}"),
            _ => words,
        }
    }

    /// Says how far it left the quote: `Landing, rotary-36: 5.82 more (6 discs at 3.20; quoted 6.37 discs at 2.10)`.
    pub(in crate::document) fn words(&self) -> String {
        let room = self.room.as_ref().map(|room| format!("{room}, "));
        let [what, quoted, actual, _, _, _, _] = self.cells();
        let total = self.total_variance.money;
        let more = if total.is_negative() { "less" } else { "more" };
        let quoted = match quoted.is_empty() {
            true => "not quoted".to_owned(),
            false => format!("quoted {quoted}"),
        };
        format!(
            "{}{what}: {} {more} ({actual}; {quoted})",
            or_blank(room),
            self.total_variance.size()
        )
    }

    /// Says the same with why, in a sentence: `…: 0.60 by price, 3.07 by use.`
    pub(in crate::document::report) fn sentence(&self) -> String {
        let (price, rest) = match self.kind {
            LineKind::Labour => ("by rate", "by efficiency"),
            LineKind::Item => ("by price", "by use"),
            // What a part of a rental is, its name says.
            LineKind::Rental | LineKind::Other => return format!("{}.", self.words()),
        };
        let why = [
            (self.price_variance, price),
            (self.size_variance, "by the room's size"),
            (self.condition_variance, "by the floor's condition"),
            (self.rest_variance, rest),
        ];
        let why = why.into_iter().filter(|(part, _)| !part.money.is_zero());
        let why: Vec<(Amount, &str)> = why.collect();
        match &why[..] {
            [(_, all)] => format!("{}, all of it {all}.", self.words()),
            several => {
                let parts = several.iter().map(|(part, why)| format!("{part} {why}"));
                format!(
                    "{}: {}.",
                    self.words(),
                    parts.collect::<Vec<_>>().join(", ")
                )
            }
        }
    }

    /// Tells whether it is a part of a rental in which there is nothing to tell.
    fn is_empty_part(&self) -> bool {
        let nothing = |quantity: Number, cost: Amount| quantity.0.is_zero() && cost.money.is_zero();
        let actual = self.actual_quantity;
        self.part.is_some_and(|part| part != RentalPart::Days)
            && nothing(self.quoted_quantity, self.quoted_cost)
            && actual.is_some_and(|actual| nothing(actual, self.actual_cost))
    }

    fn cells(&self) -> [String; 7] {
        let parts = [
            self.price_variance,
            self.quantity_variance,
            self.total_variance,
        ];
        let actual = self.actual_quantity.map(|quantity| {
            let actual = self.side(quantity, self.actual_unit_price, self.actual_cost);
            (actual, parts.map(|part| part.to_string()))
        });
        let (actual, [price, quantity, total]) =
            actual.unwrap_or_else(|| ("not recorded".to_owned(), Default::default()));
        [
            self.subject(),
            self.side(
                self.quoted_quantity,
                self.quoted_unit_price,
                self.quoted_cost,
            ),
            actual,
            price,
            quantity,
            total,
            self.actual_quantity
                .map_or_else(String::new, |_| self.verdict.to_owned()),
        ]
    }
}

/// Returns the words for a part of a rental's difference.
const fn part_words(part: RentalPart) -> &'static str {
    match part {
        RentalPart::Days => "rental days",
        RentalPart::Tariff => "tariff",
        RentalPart::Once => "waiver and cleaning",
        RentalPart::Rest => "billed otherwise",
    }
}

/// Lines that are shown where nobody asks for all.
pub const FURTHEST: usize = 10;

fn reasons_of(variance: &Variance, flexible: &[Flexible]) -> Reasons {
    let mut reasons = Reasons::default();
    reasons.add(variance, flexible);
    reasons
}

/// A part of a difference.
#[derive(Clone, Copy, Debug, Serialize)]
pub(in crate::document::report) struct Reason {
    /// What cost more or less.
    what: &'static str,
    /// Why.
    why: &'static str,
    difference: Amount,
}

impl Reason {
    /// Returns every reason, in the order of kinds: they come to the whole difference.
    pub(in crate::document::report) fn all(reasons: &Reasons, page: &Page) -> Vec<Reason> {
        let Reasons {
            item_price,
            items,
            labour_rate,
            labour,
            rental_days,
            rental_tariff,
            rental_fixed,
            rental_rest,
            other,
            not_recorded,
        } = *reasons;
        let reason = |(what, why, difference)| Reason {
            what,
            why,
            difference: page.amount(difference),
        };
        let all = [
            ("items", "price", item_price),
            ("items", "room size", items.size),
            ("items", "floor condition", items.condition),
            ("items", "use", items.rest),
            ("labour", "rate", labour_rate),
            ("labour", "room size", labour.size),
            ("labour", "floor condition", labour.condition),
            ("labour", "efficiency", labour.rest),
            ("rental", "days", rental_days),
            ("rental", "tariff", rental_tariff),
            ("rental", "fixed charges", rental_fixed),
            ("rental", "billed otherwise", rental_rest),
            ("other", "driving, lumps, overhead", other),
            ("not recorded", "quoted, and nothing logged", not_recorded),
        ];
        all.map(reason).to_vec()
    }

    /// Returns the table of those that are something.
    pub(in crate::document::report) fn table(
        reasons: &[Reason],
        total: Amount,
        page: &Page,
    ) -> String {
        let mut table = page.table(["What", "Why", "Difference"]).numbers([2]);
        for reason in reasons
            .iter()
            .filter(|reason| !reason.difference.money.is_zero())
        {
            table.line([&reason.what, &reason.why, &reason.difference]);
        }
        table.line([&"Total", &"", &total]);
        table.to_string()
    }
}

answer! {
    /// A job's lines, quoted beside actual, and what the whole difference is made of.
    pub struct VarianceAnswer of (variance: JobVariance) on page
    let JobVariance { job, variance, flexible, rooms } = variance;
    let reasons = reasons_of(&variance, &flexible);
    let (recorded, missing) = (variance.recorded(), variance.missing());
    let (so_far, total) = (!job.is_closed(), variance.difference());
    let free_hours = variance.free_hours();
    {
        currency: &'static str = page.currency.code(),
        job: String = job.number,
        #[serde(skip)]
        site: String = job.site,
        so_far: bool,
        lines: Vec<Line> = page.each(variance.lines.into_iter().zip(flexible).collect(), |(line, flexible), page| {
            let room = line.subject.room.and_then(|room| rooms.get(&room));
            Line::new(line, flexible, room.cloned(), page)
        }),
        reasons: Vec<Reason> = Reason::all(&reasons, page),
        price_variance: Amount = page.amount(recorded.price),
        quantity_variance: Amount = page.amount(recorded.quantity),
        total_variance: Amount = page.amount(recorded.total()),
        /// Hours that cost nothing: as planned, and as they were.
        #[serde(skip)]
        free_hours: Option<(Number, Number)> = free_hours.map(|(quoted, actual)| (Number(quoted), Number(actual))),
        not_recorded: NotRecorded = NotRecorded::new(missing, page),
        not_recorded_difference: Amount = page.amount(-missing.quoted),
        total_difference: Amount = page.amount(total),
    }
}

impl VarianceAnswer {
    /// Returns so many of the lines that left the quote, those that did it furthest first.
    pub(in crate::document) fn furthest(self, count: usize) -> Vec<Line> {
        let mut lines = self.lines;
        lines.retain(|line| line.recorded && !line.total_variance.money.is_zero());
        lines.sort_by_key(|line| Reverse(line.total_variance.money.abs()));
        lines.truncate(count);
        lines
    }

    /// The first line: how far the job left its quote.
    fn answer(&self) -> String {
        let so_far = if self.so_far { ", so far" } else { "" };
        let (job, site) = (&self.job, inert(&self.site));
        if self.lines.is_empty() {
            return format!("{job}, {site}: nothing was quoted and nothing is logged.");
        }
        let total = self.total_variance;
        let more = match total.money.is_negative() {
            true => "less",
            false => "more",
        };
        let of = match self.not_recorded.is_nothing() {
            true => "",
            false => " by what is recorded",
        };
        format!(
            "{job}, {site}: {} {} {more} than quoted{of}{so_far}.",
            total.size(),
            self.currency
        )
    }

    /// Says how far hours left the quote that cost nothing.
    fn free_words(&self, page: &Page) -> String {
        let Some((quoted, actual)) = &self.free_hours else {
            return String::new();
        };
        let words = format!(
            "Of hours that cost nothing, {actual} were worked and {quoted} were planned for it."
        );
        format!("{}\n", page.prose(&words))
    }

    /// Says what the whole difference is made of; what isn't recorded gets no verdict.
    fn together(&self) -> String {
        let missing = self.not_recorded;
        if self.lines.iter().all(|line| !line.recorded) {
            return format!("Nothing of it is recorded: {missing}.");
        }
        let total = self.total_variance;
        let parts = format!(
            "{} by price and {} by quantity: {total}, {}",
            self.price_variance,
            self.quantity_variance,
            favour(total.money)
        );
        if missing.is_nothing() {
            return format!("Together {parts}.");
        }
        format!(
            "Recorded: {parts}. Not recorded, and so no saving: {missing}. Actual less quoted: {total} recorded + {} not \
             recorded = {}.",
            self.not_recorded_difference, self.total_difference
        )
    }

    /// Writes every line, room by room.
    pub fn all_text(&self, page: &Page) -> String {
        let mut text = format!("{}\n", page.prose(&self.answer()));
        let mut lines: Vec<&Line> = self.lines.iter().collect();
        lines.sort_by_key(|line| line.room_id);
        for lines in lines.chunk_by(|one, other| one.room_id == other.room_id) {
            let room = match lines[0].room_id {
                None => "Whole job",
                Some(_) => lines[0].room.as_deref().unwrap_or_default(),
            };
            let headings = [
                room,
                "Quoted",
                "Actual",
                "By price",
                "By quantity",
                "Total",
                "",
            ];
            let table = page.table(headings).numbers(1..=5).goes([6]);
            let mut table = table.makes_room([3, 4]);
            for line in lines.iter().filter(|line| !line.is_empty_part()) {
                table.row(line.cells());
            }
            let _ = write!(text, "\n{table}\n");
        }
        if !self.lines.is_empty() {
            let _ = write!(
                text,
                "\n{}\n{}",
                page.prose(&self.together()),
                self.free_words(page)
            );
        }
        text
    }
}

impl Answer for VarianceAnswer {
    /// Writes what it comes to, and the lines that left the quote furthest.
    fn text(&self, page: &Page) -> String {
        let mut text = format!("{}\n", page.prose(&self.answer()));
        if self.lines.is_empty() {
            return text;
        }
        let differs = |line: &&Line| line.recorded && !line.total_variance.money.is_zero();
        let mut worst: Vec<&Line> = self.lines.iter().filter(differs).collect();
        worst.sort_by_key(|line| Reverse(line.total_variance.money.abs()));
        let mut table = page
            .table(["Room", "What", "By price", "By quantity", "Total", ""])
            .numbers(2..=4)
            .makes_room([5, 2, 3]);
        for line in worst.iter().take(FURTHEST) {
            let [subject, _, _, price, quantity, total, verdict] = line.cells();
            let room = line.room.as_deref().unwrap_or("whole job").to_owned();
            table.row([room, subject, price, quantity, total, verdict]);
        }
        if !table.is_empty() {
            let _ = write!(text, "\n{table}\n");
        }
        let _ = write!(
            text,
            "\n{}\n{}",
            page.prose(&self.together()),
            self.free_words(page)
        );
        let shown = self
            .lines
            .iter()
            .filter(|line| !line.is_empty_part())
            .count();
        let rest = shown - worst.len().min(FURTHEST);
        if rest > 0 {
            let words = format!(
                "{} more, room by room: gritledger report variance {} --all",
                count(rest, "line"),
                self.job
            );
            let _ = writeln!(text, "{}", page.prose(&words));
        }
        let told = worst.iter().take(FURTHEST).map(|line| line.sentence());
        let told: String = told.map(|sentence| page.point(&sentence)).collect();
        if !told.is_empty() {
            let _ = write!(text, "\n{told}");
        }
        text
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.lines)
    }
}
