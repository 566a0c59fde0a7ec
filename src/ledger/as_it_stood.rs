//! The ledger as it stood on a day: every question, answered from the rows that had happened and were recorded by then.
//!
//! What happens is never changed and has two dates, so an earlier day is a matter of leaving rows out. For as long as a
//! question is answered, views of SQLite's temporary schema stand before the tables, under their names: the statements are
//! the same for every day, and a statement that is new needs nothing of its own. All of it is rolled back afterwards.
//!
//! The limits: what is edited in place keeps no older value. Names, measures, findings, wages, prices, tariffs and the book's
//! own rates are those of today, and a job that was opened again since teaches nothing on the days before that.

use anyhow::Result;
use chrono::{Days, NaiveDate, NaiveTime};
use rusqlite::named_params;

use super::{Clock, Ledger};

/// What stands before the tables: rows that had happened and were recorded by the day that is seen.
const SEEN: &str = "
    CREATE TEMP TABLE seen (day TEXT NOT NULL, next_day TEXT NOT NULL);
    CREATE TEMP VIEW setting AS
        SELECT * FROM main.setting WHERE recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW quote AS
        SELECT * FROM main.quote WHERE recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW quote_event AS
        SELECT * FROM main.quote_event
        WHERE happened_on <= (SELECT day FROM seen) AND recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW house_plan AS
        SELECT * FROM main.house_plan WHERE recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW job AS
        SELECT * FROM main.job WHERE recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW job_event AS
        SELECT * FROM main.job_event
        WHERE happened_on <= (SELECT day FROM seen) AND recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW job_under_way AS
        SELECT job_id FROM job_state WHERE what NOT IN ('closed', 'cancelled');
    CREATE TEMP VIEW entry AS
        SELECT * FROM main.entry
        WHERE happened_on <= (SELECT day FROM seen) AND recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW stock_effect AS
        SELECT * FROM main.stock_effect AS effect
        WHERE EXISTS (SELECT 1 FROM main.entry AS cause
                      WHERE cause.id = effect.cause_id AND cause.recorded_at < (SELECT next_day FROM seen));
    CREATE TEMP VIEW invoice AS
        SELECT * FROM main.invoice WHERE number IS NOT NULL AND issued_on <= (SELECT day FROM seen);
    CREATE TEMP VIEW write_off AS
        SELECT * FROM main.write_off
        WHERE happened_on <= (SELECT day FROM seen) AND recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW write_off_void AS
        SELECT * FROM main.write_off_void
        WHERE happened_on <= (SELECT day FROM seen) AND recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW payment AS
        SELECT * FROM main.payment
        WHERE happened_on <= (SELECT day FROM seen) AND recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW payment_void AS
        SELECT * FROM main.payment_void
        WHERE happened_on <= (SELECT day FROM seen) AND recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW payment_application AS
        SELECT * FROM main.payment_application
        WHERE happened_on <= (SELECT day FROM seen) AND recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW rate_change AS
        SELECT * FROM main.rate_change WHERE recorded_at < (SELECT next_day FROM seen);
    CREATE TEMP VIEW observation AS
        SELECT id, kind, job_id, job_label, finished_on, recorded_at, quantity_micro, number, word, digest,
               IIF(voided_at < (SELECT next_day FROM seen), voided_at, NULL) AS voided_at, void_reason
        FROM main.observation AS taught
        WHERE IIF(job_id IS NULL, recorded_at < (SELECT next_day FROM seen),
                  (SELECT what FROM job_state WHERE job_state.job_id = taught.job_id) IS 'closed');";

impl Ledger {
    /// Answers questions from what had happened and was recorded by the end of a day; today, from all that there is.
    ///
    /// # Errors
    /// Fails if the file can't be read, and with whatever the questions fail with.
    pub fn as_it_stood<T>(
        &self,
        on: NaiveDate,
        questions: impl FnOnce(&Ledger) -> Result<T>,
    ) -> Result<T> {
        if on >= self.today() {
            return questions(self);
        }
        let clock = self.clock.get();
        self.connection.execute_batch("SAVEPOINT as_it_stood")?;
        self.clock.set(Clock {
            today: on,
            now: on.and_time(NaiveTime::MIN),
        });
        self.settings.take();
        let answer = self.stand_before_tables(on).and_then(|()| questions(self));
        self.settings.take();
        self.clock.set(clock);
        self.connection
            .execute_batch("ROLLBACK TO as_it_stood; RELEASE as_it_stood")?;
        answer
    }

    fn stand_before_tables(&self, on: NaiveDate) -> Result<()> {
        self.connection.execute_batch(SEEN)?;
        self.connection.execute(
            "INSERT INTO seen (day, next_day) VALUES (:day, :next_day)",
            named_params! { ":day": on, ":next_day": on + Days::new(1) },
        )?;
        // The file's own views look at its tables, whatever stands before those: they are made again where they see it.
        let mut views = self
            .connection
            .prepare("SELECT sql FROM main.sqlite_schema WHERE type = 'view' ORDER BY rowid")?;
        let views = views.query_map([], |row| row.get::<_, String>(0))?;
        for view in views.collect::<rusqlite::Result<Vec<String>>>()? {
            let view = view.replacen("CREATE VIEW", "CREATE TEMP VIEW", 1);
            self.connection.execute_batch(&view)?;
        }
        Ok(())
    }
}
