//! The words that lists and reports share: from when to when, whose, which are open, how many, and in which order.

use anyhow::Result;
use clap::Args;

use super::read::read_date;
use super::ui::Context;
use crate::document::showing::{Listed, NoSuchColumn, Showing};
use crate::ledger::{Days, Ledger, refuse};
use crate::trade::{ClientId, SiteId};

/// From which day to which.
#[derive(Debug, Args)]
pub(super) struct DaysArgs {
    /// The first day (default: the first that there is)
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
    /// The last day (default: today)
    #[arg(long, value_name = "DATE")]
    to: Option<String>,
}

impl DaysArgs {
    /// Tells whether any was named.
    pub(super) fn narrow(&self) -> bool {
        self.from.is_some() || self.to.is_some()
    }

    pub(super) fn read(&self, context: &Context, ledger: &Ledger) -> Result<Days> {
        read_days(context, ledger, self.from.as_deref(), self.to.as_deref())
    }
}

/// Reads from which day to which.
pub(super) fn read_days(
    context: &Context,
    ledger: &Ledger,
    from: Option<&str>,
    to: Option<&str>,
) -> Result<Days> {
    let day = |text: Option<&str>| text.map(|text| read_date(context, ledger, Some(text)));
    let (from, to) = (day(from).transpose()?, day(to).transpose()?);
    if let Some((from, to)) = from.zip(to).filter(|(from, to)| from > to) {
        refuse!("{from} is after {to}: no day is in that time");
    }
    Ok(Days { from, to })
}

/// Whose.
#[derive(Debug, Args)]
pub(super) struct OfClientArgs {
    /// Only what is this client's
    #[arg(long)]
    client: Option<String>,
}

impl OfClientArgs {
    /// Tells whether one was named.
    pub(super) fn narrows(&self) -> bool {
        self.client.is_some()
    }

    pub(super) fn read(&self, ledger: &Ledger) -> Result<Option<ClientId>> {
        let client = self.client.as_deref();
        client.map(|name| Ok(ledger.client(name)?.id)).transpose()
    }

    /// Returns the client's sites; `None`: no client was named.
    pub(super) fn sites(&self, ledger: &Ledger) -> Result<Option<Vec<SiteId>>> {
        let Some(client) = self.read(ledger)? else {
            return Ok(None);
        };
        let sites = ledger.sites_of(client)?;
        Ok(Some(sites.iter().map(|site| site.id).collect()))
    }
}

/// How many rows, and in which order.
#[derive(Debug, Args)]
pub(super) struct RowsArgs {
    /// How many rows, from the first on; of what stands by its days, the newest first
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..))]
    top: Option<u32>,
    /// What the rows are sorted by: a column as `--json` calls it, numbers from the largest down
    #[arg(long, value_name = "COLUMN")]
    sort: Option<String>,
}

impl RowsArgs {
    pub(super) fn showing(&self) -> Showing {
        Showing {
            sort: self.sort.clone(),
            top: self.top.map(|top| top as usize),
        }
    }
}

/// What is said where nothing is as it was asked for.
pub(super) const NONE: &str = "None is as you asked for.";

/// Gives a list: the rows that were asked for, and how many more there are; `narrowed` tells whether others were left out.
pub(super) fn give_list<L: Listed + 'static>(
    context: &Context,
    ledger: &Ledger,
    mut list: L,
    rows: &RowsArgs,
    narrowed: bool,
) -> Result<()> {
    let page = context.page(ledger);
    let answer = list.answer(&page);
    let more = sorted(list.show(&rows.showing()))?;
    context.give_in_words(ledger, list, |list| {
        let text = list.text(&page);
        let text = text.trim_end();
        let left_out = match more {
            _ if narrowed && list.is_empty() => return NONE.to_owned(),
            0 => return text.to_owned(),
            1 => "1 more isn't shown; the first line counts it.".to_owned(),
            more => format!("{more} more aren't shown; the first line counts them."),
        };
        let rows = text.split_once("\n\n").filter(|_| answer.is_some());
        let rows = rows.map_or(text, |(_, rows)| rows);
        let answer = answer.map(|answer| page.prose(&answer) + "\n\n");
        format!("{}{rows}\n\n{left_out}", answer.unwrap_or_default())
    })
}

/// Refuses a column that rows don't have.
pub(super) fn sorted<T>(sorted: Result<T, NoSuchColumn>) -> Result<T> {
    match sorted {
        Ok(sorted) => Ok(sorted),
        Err(NoSuchColumn { typed, columns }) => {
            refuse!(
                "no column is called `{typed}`: sort by {}",
                columns.join(", ")
            )
        }
    }
}
