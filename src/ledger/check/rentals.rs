//! Are the days of a return those that it was out for, charged to who had the machine, and add up to what was paid?

use anyhow::Result;

use super::{Ledger, Problems, called};
use crate::money::{Decimal, Money};
use crate::notation::count;

/// Rows (id, number of an entry) that contradict another, and what is wrong.
const CONTRADICTIONS: &[(&str, &str)] = &[
    (
        "it isn't the machine that went out",
        "SELECT later.id, later.number FROM entry AS later JOIN entry AS went ON went.id = later.rental_id
         WHERE went.machine_id IS NOT later.machine_id OR went.kind <> 'rental-out'",
    ),
    (
        "the machine came back before it went out",
        "SELECT later.id, later.number FROM entry AS later JOIN entry AS went ON went.id = later.rental_id
         WHERE later.at <= went.at",
    ),
    (
        "another job had the machine before it went out",
        "SELECT later.id, later.number FROM entry AS later JOIN entry AS went ON went.id = later.rental_id
         WHERE later.kind = 'rental-day' AND later.happened_on < went.happened_on",
    ),
    (
        "the machine came back twice",
        "SELECT MAX(back.id) AS id, back.number FROM live_entry AS back WHERE back.kind = 'rental-back'
         GROUP BY rental_id HAVING COUNT(*) > 1",
    ),
    (
        "its going out was taken back, and it wasn't",
        "SELECT later.id, later.number FROM live_entry AS later
         WHERE later.rental_id IS NOT NULL AND later.rental_id NOT IN (SELECT id FROM live_entry)",
    ),
    (
        "it has no tariff",
        "SELECT id, number FROM live_entry
         WHERE kind = 'rental-out' AND id NOT IN (SELECT entry_id FROM rental_tariff)",
    ),
    (
        "it has days and is no return",
        "SELECT entry.id, entry.number FROM entry JOIN rental_day ON entry_id = entry.id WHERE kind <> 'rental-back'",
    ),
];

impl Ledger {
    pub(super) fn check_rentals(&self, problems: &mut Problems) -> Result<()> {
        for (words, sql) in CONTRADICTIONS {
            self.each(problems, sql, |row| {
                Ok(format!("rental {}: {words}", called('E', row)?))
            })?;
        }
        for rental in self.rentals()? {
            let Some(back) = &rental.back else {
                continue;
            };
            let name = format!("rental {}", rental.entry);
            let Some(away) = rental.away() else {
                problems.push(format!(
                    "{name}: it came back before it went out, or years later"
                ));
                continue;
            };
            let charged: Money = back.days.iter().map(|day| day.charge).sum();
            problems.extend(self.unlike(&name, "its days add up to", back.charge, charged));
            if back.by_tariff {
                let asked = away.cover(&rental.tariff).total();
                problems.extend(self.unlike(&name, "its tariff asks", back.charge, asked));
            }
            let begun = away.days();
            if begun.len() != back.days.len() {
                let (charged, begun) = (count(back.days.len(), "day"), begun.len());
                problems.push(format!("{name}: charged for {charged}, {begun} began"));
                continue;
            }
            let shares = back.charge.spread(&vec![Decimal::ONE; begun.len()]);
            for ((began, share), day) in begun.iter().zip(shares).zip(&back.days) {
                let began = began.began.date();
                if began != day.began_on {
                    let wrong = day.began_on;
                    problems.push(format!(
                        "{name}: a day that began on {began} is charged as {wrong}"
                    ));
                }
                let what = format!("its day of {began} costs");
                problems.extend(self.unlike(&name, &what, day.charge, share));
                let (holder, _) = rental.holder_on(began);
                if holder != day.job_id {
                    problems.push(format!(
                        "{name}: its day of {began} is charged to {}, which hadn't the machine",
                        day.job
                    ));
                }
            }
        }
        Ok(())
    }
}
