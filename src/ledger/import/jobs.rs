//! Bringing in jobs from before the ledger.

use anyhow::Result;

use super::known::Importing;
use crate::ledger::Before;
use crate::ledger::before::own_name;
use crate::ledger::rows::Rows;

impl Importing<'_> {
    /// Uses, hours, rentals and money spent of these jobs come after them, by their names.
    pub(super) fn import_jobs(&self, rows: &Rows) -> Result<()> {
        let mut names = self.jobs_by_name()?;
        for row in rows.iter() {
            let before = Before {
                name: row.find("job", |text| own_name(&names, text))?,
                price: row.read("price", |text| self.amount(text))?,
                cost: row.maybe("cost", |text| self.amount(text))?,
            };
            let site = row.find("site", |name| self.site(name))?;
            let agreed_on = row.date("agreed_on", self.today())?;
            let closed_on = row.date("closed_on", self.today())?;
            if closed_on < agreed_on {
                let what = format!("`{closed_on}` is before it was agreed on, {agreed_on}");
                return Err(row.wrong("closed_on", what));
            }
            let id = self.bring_in_job(site.id, &before, (agreed_on, closed_on))?;
            names.add(before.name, id);
        }
        Ok(())
    }
}
