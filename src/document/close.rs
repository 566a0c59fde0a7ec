//! What closing a job found: what it came to, what it taught, and what its record leaves out.

use super::figures::{Amount, Number, SetPercent};
use super::job::AwaitingFacts;
use super::rate::moved::RateMovedFacts;
use super::report::NotRecorded;
use super::report::margin::Sums;
use super::report::variance::{Line, VarianceAnswer};
use super::{Answer, Page, count, or_blank};
use crate::ledger::{CloseOut, Finding, Job, JobState};
use crate::money::Decimal;

/// How many of the lines that left the quote furthest are told, and of the rates that moved most.
const MOST_TOLD: usize = 3;

/// Says how sure a quote was of what may turn up: `Den: replace-boards, 40 % likely`.
pub fn quoted_chance(finding: &Finding, operation: &str) -> String {
    let chance = SetPercent::of_one(finding.chance.unwrap_or(Decimal::ONE));
    format!("{}: {operation}, {chance} likely", finding.room)
}

answer! {
    /// What closing a job found.
    pub struct CloseAnswer from found: CloseOut with (job: Job, moved: Vec<RateMovedFacts>) on page {
        job: String = job.number,
        state: JobState = job.state,
        currency: &'static str = page.currency.code(),
        cost: Amount = page.amount(found.outcome.actual),
        quoted_cost: Option<Amount> = found.outcome.quoted_cost().map(|cost| page.amount(cost)),
        margin: Option<Sums> = (!job.own).then(|| Sums::new(found.outcome, page)),
        furthest: Vec<Line> = VarianceAnswer::new(found.variance, page).furthest(MOST_TOLD),
        observations: usize,
        moved: Vec<RateMovedFacts> = moved,
        rooms_without_discs: Vec<String> = found.gaps.rooms_without_discs,
        operations_without_entries: Vec<String> = found.gaps.operations_without_entries,
        hours_on_nothing: Number = Number(found.gaps.hours_on_nothing),
        not_recorded: NotRecorded = NotRecorded::new(found.outcome.missing, page),
        #[serde(skip)]
        is_gap: bool = found.outcome.missing.is_gap(),
        awaiting_receipt: Vec<AwaitingFacts> = page.each(found.awaiting, AwaitingFacts::new),
        .. { gaps, outcome, variance, awaiting }
    }
}

impl CloseAnswer {
    /// Says what the job came to: its margin, or the cost of work that nobody pays for.
    fn came_to(&self) -> String {
        let gaps = if self.is_gap { ", with gaps" } else { "" };
        match &self.margin {
            Some(margin) => margin.words(gaps),
            None => {
                let quoted = self.quoted_cost.map(|cost| format!(", quoted at {cost}"));
                format!("cost {}{gaps}{}", self.cost, or_blank(quoted))
            }
        }
    }

    /// Names the lines that left the quote furthest, each in a line.
    fn furthest_text(&self, page: &Page) -> String {
        let lines = self.furthest.iter();
        let lines: String = lines.map(|line| page.point(&line.words())).collect();
        match lines.is_empty() {
            true => lines,
            false => format!("Furthest from the quote:\n{lines}"),
        }
    }

    /// Names the rates that moved most, each in a line.
    fn moved_text(&self, page: &Page) -> String {
        if self.moved.is_empty() {
            return "No rate moved by 1 %.\n".to_owned();
        }
        let most = self.moved.iter().take(MOST_TOLD);
        most.map(|moved| page.point(moved.words())).collect()
    }

    /// Lists what the record leaves out.
    fn gaps(&self, page: &Page) -> String {
        let hours = self.hours_on_nothing;
        let hours = (!hours.0.is_zero()).then(|| format!("{hours} h"));
        let receipts = self.awaiting_receipt.iter().map(AwaitingFacts::much_in);
        let missing = self.is_gap.then_some(self.not_recorded);
        let gaps = [
            ("rooms without discs", self.rooms_without_discs.join(", ")),
            (
                "quoted operations without entries",
                self.operations_without_entries.join(", "),
            ),
            ("hours on no task (cost only, no evidence)", or_blank(hours)),
            ("receipts awaited", receipts.collect::<Vec<_>>().join(", ")),
            ("of what was quoted", or_blank(missing)),
        ];
        let gaps = gaps.iter().filter(|(_, names)| !names.is_empty());
        gaps.map(|(what, names)| page.point(&format!("{what}: {names}")))
            .collect()
    }
}

impl Answer for CloseAnswer {
    fn text(&self, page: &Page) -> String {
        let gaps = match self.gaps(page) {
            none if none.is_empty() => "Nothing is missing from its record.\n".to_owned(),
            gaps => format!(
                "\nNot recorded (not logged is not known: nothing is learned of it, and nothing was saved; log a zero if it took none):\n{gaps}"
            ),
        };
        let (came_to, learned) = (self.came_to(), count(self.observations, "thing"));
        format!(
            "Closed {}: {came_to}.\n{}It taught the rates {learned}.\n{}{gaps}",
            self.job,
            self.furthest_text(page),
            self.moved_text(page)
        )
    }
}
