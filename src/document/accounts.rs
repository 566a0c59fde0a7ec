//! The chart of accounts.

use super::{Answer, List, Page, count, inert};
use crate::ledger::AccountRow;
use crate::trade::accounts::Account;

answer! {
    /// An account of the chart.
    pub struct AccountAnswer from row: AccountRow on page {
        account: Account,
        name: String,
        kind: String,
        what: String,
    }
}

answer! {
    /// The chart of accounts.
    pub struct AccountList(Vec<AccountAnswer>) of (accounts: Vec<AccountRow>) on page;
}

told_as_it_is! { Account }
in_a_column! { Account }

impl Answer for AccountList {
    fn text(&self, page: &Page) -> String {
        let mut table = page.table(["Account", "Called", "Kind", "What it holds"]);
        for row in &self.0 {
            table.line([&row.account, &inert(&row.name), &row.kind, &row.what]);
        }
        format!("{}.\n\n{table}", count(self.0.len(), "account"))
    }

    fn list(&self) -> Option<List<'_>> {
        List::of(&self.0)
    }
}
