//! What the commands about the firm's book share: what is in use, and prices.

use anyhow::Result;
use clap::Args;

use super::read::read_money;
use super::ui::Context;
use crate::ledger::{InBook, Ledger, Writing, refuse};
use crate::money::Money;

/// What a list leaves out, unless it is asked for.
#[derive(Debug, Args)]
#[group(skip)]
pub(super) struct AllArgs {
    /// Those too that are out of use
    #[arg(long)]
    pub(super) all: bool,
}

/// Whether something is in use.
#[derive(Debug, Args)]
#[group(skip)]
pub(super) struct InUseArgs {
    /// Take it out of use: old jobs keep it, and it is neither listed, guessed, quoted nor rented any more
    #[arg(long, conflicts_with = "active")]
    inactive: bool,
    /// Put it back in use
    #[arg(long)]
    active: bool,
}

impl InUseArgs {
    /// Returns the name that is meant: of what is put back in use, a beginning does.
    pub(super) fn meant(&self, ledger: &Ledger, kind: InBook, name: &str) -> Result<String> {
        match self.active {
            true => ledger.back_in_use(kind, name),
            false => Ok(name.to_owned()),
        }
    }
}

/// Takes something out of use or puts it back, if that was typed.
pub(super) fn change_use(
    writing: &Writing<'_>,
    typed: &InUseArgs,
    (kind, id, name): (InBook, i64, &str),
) -> Result<()> {
    match typed.active || typed.inactive {
        true => writing.set_in_use(kind, id, name, typed.active),
        false => Ok(()),
    }
}

/// Reads what something is bought or rented for; asks about what would cost nothing.
pub(super) fn read_price_of(
    context: &Context,
    ledger: &Ledger,
    what: &str,
    text: &str,
) -> Result<Money> {
    let price = read_price(ledger, text)?;
    if price.is_zero() {
        context.confirm(&format!(
            "{what} at `{}` costs nothing; `none` would take it out of the book",
            text.trim()
        ))?;
    }
    Ok(price)
}

pub(super) fn read_price(ledger: &Ledger, text: &str) -> Result<Money> {
    let price = read_money(ledger, text)?;
    if price.is_negative() {
        refuse!("a price is not below zero: `{}`", text.trim());
    }
    Ok(price)
}
