//! Bringing rows in: this file names the kinds and their columns; [`places`] brings in clients, sites, rooms and readings,
//! [`jobs`] jobs from before the ledger, [`day_book`] what happened on jobs, [`book`] the book and a notebook.
//!
//! All of a file or nothing of it: the caller's transaction is rolled back by the first mistake, which is told as
//! `file:line: column: what`. Imported history counts as recorded when it happened.
//!
//! A file may be long: what its rows name is read once ([`Importing`]), and what follows from them (stock, evidence) is
//! worked out when all of them are written, with the same result as if each had been typed.

mod book;
mod cases;
mod day_book;
mod jobs;
mod known;
mod places;

use anyhow::Result;
use chrono::NaiveDate;

pub(super) use self::book::seed_price;
pub use self::cases::Case;
use self::known::Importing;
use super::rows::{Columns, Rows};
use super::{Clock, Writing};
use crate::measure::Units;
use crate::notation::count;
use crate::trade::closed_set;

closed_set! {
    /// What the rows of a file are.
    Transfer, "kind of file" {
        /// Who pays.
        Clients = "clients",
        /// Addresses with floors.
        Sites = "sites",
        /// Floors at a site, with their doorways.
        Rooms = "rooms",
        /// What was read of floors: measured, tested, looked for.
        Readings = "readings",
        /// Jobs from before the ledger, each with one price.
        PastJobs = "past-jobs",
        /// Consumables and materials with their packs.
        Items = "items",
        /// What was bought.
        Purchases = "purchases",
        /// What was used on jobs.
        Usage = "usage",
        /// Hours worked on jobs.
        Hours = "hours",
        /// Money spent on jobs.
        Spent = "spent",
        /// What was driven for jobs.
        Drives = "drives",
        /// Machines out and back.
        Rentals = "rentals",
        /// What finished rooms took, from a notebook.
        PastRooms = "past-rooms",
        /// What can be done.
        Operations = "operations",
        /// Book rates and the trust in them.
        BookRates = "book-rates",
    }
}

impl Transfer {
    /// Returns the columns of its files.
    pub(super) const fn columns(self) -> Columns {
        let (kind, required, optional): (&str, &[&str], &[&str]) = match self {
            Transfer::Clients => (
                "clients",
                &["client"],
                &["phone", "email", "address", "tax_number", "exempt", "note"],
            ),
            Transfer::Sites => (
                "sites",
                &["client", "site"],
                &[
                    "year_built",
                    "tax_area",
                    "distance",
                    "distance_unit",
                    "note",
                ],
            ),
            Transfer::Rooms => (
                "rooms",
                &["site", "room", "shape", "condition", "species"],
                &["layout", "refinished", "doors", "note", "parts"],
            ),
            Transfer::Readings => (
                "readings",
                &["date", "site", "kind", "value"],
                &["room", "layer", "place", "by"],
            ),
            Transfer::PastJobs => (
                "past-jobs",
                &["job", "site", "agreed_on", "price", "closed_on"],
                &["cost"],
            ),
            Transfer::Items => (
                "items",
                &["item", "unit"],
                &[
                    "description",
                    "kept",
                    "returnable",
                    "pack",
                    "price",
                    "source",
                    "active",
                ],
            ),
            Transfer::Purchases => (
                "purchases",
                &["date", "item", "quantity", "cost"],
                &["note"],
            ),
            Transfer::Usage => (
                "usage",
                &["date", "job", "site", "item", "quantity"],
                &["room", "operation", "note"],
            ),
            Transfer::Hours => (
                "hours",
                &["date", "job", "site", "worker", "hours"],
                &["room", "on", "wage", "note", "no_job"],
            ),
            Transfer::Spent => (
                "spent",
                &["date", "job", "site", "amount", "what"],
                &["room", "no_job"],
            ),
            Transfer::Drives => (
                "drives",
                &["date", "job", "site", "distance"],
                &["distance_unit", "room", "rate", "note", "no_job"],
            ),
            Transfer::Rentals => (
                "rentals",
                &["machine", "out_at", "job", "site"],
                &[
                    "back_at",
                    "charge",
                    "moved",
                    "half_day",
                    "day",
                    "weekend",
                    "week",
                    "four_weeks",
                    "waiver_percent",
                    "cleaning",
                ],
            ),
            Transfer::PastRooms => (
                "past-rooms",
                &[
                    "finished_on",
                    "job",
                    "room",
                    "operation",
                    "condition",
                    "species",
                    "area",
                    "edge",
                    "item_quantity",
                    "hours",
                ],
                &["quantity", "area_unit", "edge_unit", "quantity_unit"],
            ),
            Transfer::Operations => (
                "operations",
                &[
                    "operation",
                    "task",
                    "driver",
                    "item",
                    "set_size",
                    "group",
                    "rates_by",
                ],
                &[
                    "machine",
                    "grit",
                    "harden_hours",
                    "for_finding",
                    "hazards",
                    "description",
                    "source",
                    "active",
                ],
            ),
            Transfer::BookRates => (
                "book-rates",
                &[
                    "operation",
                    "condition",
                    "species",
                    "kind",
                    "driver_per_item",
                    "fixed_items",
                    "own_work",
                ],
                &["driver_unit", "own_work_unit", "source"],
            ),
        };
        Columns {
            kind,
            required,
            optional,
        }
    }
}

/// What an import brought in.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Imported {
    /// How many rows the file had.
    pub rows: usize,
    /// The lines of those that the day book had already: all that they say is what an earlier entry says.
    pub again: Vec<u64>,
    /// What only a person can say is right, with file, line and column.
    pub doubts: Vec<String>,
}

impl Writing<'_> {
    /// Imports a file; `units` are those of its bare figures, where no column beside them says theirs.
    ///
    /// # Errors
    /// Refuses the first mistake, with file, line and column.
    pub fn import(
        &self,
        kind: Transfer,
        file: &str,
        text: &[u8],
        units: Units,
    ) -> Result<Imported> {
        let imported = self.import_quietly(kind, file, text, units)?;
        let rows = count(imported.rows, "row");
        self.log(&format!("Imported {rows} of {kind} from {file}."))?;
        Ok(imported)
    }

    pub(super) fn import_quietly(
        &self,
        kind: Transfer,
        file: &str,
        text: &[u8],
        units: Units,
    ) -> Result<Imported> {
        let rows = Rows::read(file, text, kind.columns())?;
        let importing = Importing::new(self);
        let mut doubts = Vec::new();
        match kind {
            Transfer::Clients => importing.import_clients(&rows)?,
            Transfer::Sites => importing.import_sites(&rows, units)?,
            Transfer::Rooms => doubts = importing.import_rooms(&rows, units)?,
            Transfer::Readings => importing.import_readings(&rows, units)?,
            Transfer::PastJobs => importing.import_jobs(&rows)?,
            Transfer::Items => self.import_items(file, text, book::exact_price)?,
            Transfer::Purchases => importing.import_purchases(&rows)?,
            Transfer::Usage => importing.import_usage(&rows)?,
            Transfer::Hours => importing.import_hours(&rows)?,
            Transfer::Spent => importing.import_spent(&rows)?,
            Transfer::Drives => importing.import_drives(&rows, units)?,
            Transfer::Rentals => importing.import_rentals(&rows)?,
            Transfer::PastRooms => self.import_past_rooms(&rows, units)?,
            Transfer::Operations => self.import_operations(file, text)?,
            Transfer::BookRates => self.import_book_rates(&rows, units)?,
        }
        Ok(Imported {
            rows: rows.len(),
            again: importing.said_before()?,
            doubts,
        })
    }

    /// Does something as of a past day, so that it counts as recorded then.
    pub(super) fn as_of<T>(&self, day: NaiveDate, event: impl FnOnce() -> Result<T>) -> Result<T> {
        let now = self.ledger.clock.get();
        self.set_clock(Clock::at(day));
        let outcome = event();
        self.set_clock(now);
        outcome
    }
}

#[cfg(test)]
mod tests {
    use tempfile::TempDir;

    use super::*;
    use crate::ledger::{DraftRequest, Identity, Ledger, NewRoom, Worker};
    use crate::money::{Currency, Decimal, Money};
    use crate::notation::{Country, Notation};
    use crate::trade::room::Floor;
    use crate::trade::{FloorCondition, Layout, Species};

    const NOTEBOOK: &str =
        "finished_on,job,room,operation,condition,species,area,edge,quantity,item_quantity,hours\n";
    const RATES: &str = "operation,condition,species,kind,driver_per_item,fixed_items,own_work\n";
    const OPERATIONS: &str =
        "operation,task,driver,item,set_size,group,rates_by,machine,grit,for_finding\n";
    const HOURS: &str = "date,job,site,worker,hours,wage\n";

    fn ledger(folder: &TempDir, name: &str, currency: &str) -> Ledger {
        let identity = Identity {
            business: "Marsh End Floors".to_owned(),
            currency: Currency::from_code(currency).unwrap(),
            units: Units::Us,
            country: Some(Country::US),
            notation: Notation::default(),
            copy: 0,
        };
        let today = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
        let ledger = Ledger::create(&folder.path().join(name), identity, Clock::at(today)).unwrap();
        import(&ledger, Transfer::Clients, "client\nAda Quill\n").unwrap();
        import(
            &ledger,
            Transfer::Sites,
            "client,site\nAda Quill,4 Tannery Row\n",
        )
        .unwrap();
        let job = |writing: &Writing<'_>| {
            let site = writing.site("4 Tannery Row")?;
            writing.add_room(&NewRoom {
                site: site.id,
                name: "Hall".to_owned(),
                floor: Floor::parse("10 x 5", Units::Us)?,
                condition: FloorCondition::WornFilm,
                parts: Vec::new(),
                species: Species::RedOak,
                layout: Layout::Strip,
                refinished: true,
                note: String::new(),
            })?;
            writing.add_worker("Ruben Vale", Money::from_minor(2800))?;
            writing.draft_quote(&site, &DraftRequest::default())?;
            writing.send_quote(&writing.quote("Q1")?.header, 30)?;
            let id = writing.accept_quote(&writing.quote("Q1")?.header, false)?;
            writing.start_job(&writing.job_by_id(id)?, today)
        };
        ledger.write(false, job).unwrap();
        ledger
    }

    fn import(ledger: &Ledger, kind: Transfer, text: &str) -> Result<usize, String> {
        import_in(ledger, kind, text, Units::Us)
    }

    fn import_in(
        ledger: &Ledger,
        kind: Transfer,
        text: &str,
        units: Units,
    ) -> Result<usize, String> {
        ledger
            .write(false, |writing| {
                let imported = writing.import(kind, "f.csv", text.as_bytes(), units)?;
                Ok(imported.rows)
            })
            .map_err(|error| error.to_string())
    }

    /// Exports a kind, imports it into another ledger, and exports it from there.
    fn exchanged(from: &Ledger, to: &Ledger, kind: Transfer) -> (String, String) {
        let rows = from.export(kind).unwrap();
        import(to, kind, &rows).unwrap();
        (rows, to.export(kind).unwrap())
    }

    #[test]
    fn mistakes_are_told_with_their_column_and_value() {
        let folder = TempDir::new().unwrap();
        let ledger = ledger(&folder, "t.db", "USD");
        let cases = [
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,h,1,1\n",
                "unit: `h` is not a unit of items; one of: disc, gal, l, each, ft, m, sqft, m2",
            ),
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,each,0.0000001,1\n",
                "pack: `0.0000001` is not above zero",
            ),
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,each,1,1.005\n",
                "price: `1.005` has more decimals than USD has (2)",
            ),
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,each,,5\n",
                "pack: is empty, and there is a price",
            ),
            (
                Transfer::Items,
                "item,unit,pack,price\nfoo,each,5,\n",
                "price: is empty",
            ),
            (
                Transfer::Sites,
                "client,site,year_built\nAda Quill,7 Weir Road,1200\n",
                "year_built: `1200` is not a year that a building here can be from",
            ),
            (
                Transfer::Sites,
                "client,site\nAda Quill,4 tannery row\n",
                "site: there is already a site `4 tannery row`",
            ),
            (
                Transfer::Purchases,
                "date,item,quantity,cost\n2026-01-05,disc-7in-36,3,-5\n",
                "cost: `-5` is below zero",
            ),
            (
                Transfer::Hours,
                &format!("{HOURS}2026-01-05,J1,4 Tannery Row,Zed,3,-20.00\n"),
                "wage: `-20.00` is below zero",
            ),
            (
                Transfer::Hours,
                &format!("{HOURS}2026-01-05,J1,4 Tannery Row,Zed,25,20.00\n"),
                "hours: Zed would have 25 hours on 2026-01-05: a day has 24",
            ),
            (
                Transfer::Operations,
                &format!("{OPERATIONS}x,,count,,,,none,,,proud-nails\n"),
                "for_finding: set-nails puts `proud-nails` right already",
            ),
            (
                Transfer::BookRates,
                &format!("{RATES}rotary-36,,,item,0.0000000001,0,300\n"),
                "driver_per_item: a rate is above zero: `0.0000000001`",
            ),
            (
                Transfer::BookRates,
                &format!("{RATES}rotary-36,,,item,99999999999,0,300\n"),
                "driver_per_item: `99999999999` is too large a rate",
            ),
            (
                Transfer::BookRates,
                &format!("{RATES}load-in,,,item,9,0,300\n"),
                "kind: load-in takes no item",
            ),
            (
                Transfer::BookRates,
                &format!("{RATES}rotary-36,,,item,9,0,0\n"),
                "own_work: `0` is not above zero",
            ),
            (
                Transfer::PastRooms,
                &format!("{NOTEBOOK}2025-01-02,A,Hall,rotary-36,bare,ash,,,,3,1\n"),
                "area: is empty, and rotary-36 is measured by it",
            ),
            (
                Transfer::PastRooms,
                &format!("{NOTEBOOK}2025-01-02,A,Hall,set-nails,bare,ash,,,0,,1\n"),
                "quantity: `0` is not above zero",
            ),
            (
                Transfer::PastRooms,
                &format!("{NOTEBOOK}2025-01-02,A,Hall,rotary-36,bare,ash,0.0000001,,,3,1\n"),
                "area: `0.0000001` is not above zero",
            ),
            (
                Transfer::PastRooms,
                &format!("{NOTEBOOK}2025-01-02,A,Hall,edger-36,bare,ash,,40000.00000123,,3,1\n"),
                "edge: `40000.00000123` is finer than can be kept (a millionth of a millimetre)",
            ),
        ];
        for (kind, text, words) in cases {
            let before = ledger.export(kind).unwrap();
            let said = import(&ledger, kind, text);
            assert_eq!(said, Err(format!("f.csv:2: {words}")), "{text}");
            assert_eq!(ledger.export(kind).unwrap(), before, "nothing is imported");
        }
        let twice = format!(
            "{NOTEBOOK}2025-01-02,A,Hall,rotary-36,bare,ash,9,,,3,1\n\
             2025-01-02,a,HALL,rotary-36,bare,ash,9,,,3,1\n"
        );
        assert_eq!(
            import(&ledger, Transfer::PastRooms, &twice),
            Err("f.csv:3: operation: `HALL` of `a` has rotary-36 already".to_owned())
        );
    }

    #[test]
    fn a_notebook_in_metres_leaves_in_feet_and_comes_back() {
        let folder = TempDir::new().unwrap();
        let (first, second) = (
            ledger(&folder, "1.db", "USD"),
            ledger(&folder, "2.db", "USD"),
        );
        // 7.26 m is 23.81889763… ft: no whole number of nanometres once it is in millionths of a foot.
        let notebook = format!("{NOTEBOOK}2025-01-02,A,Hall,edger-36,bare,ash,9.1,7.26,,3,1\n");
        import_in(&first, Transfer::PastRooms, &notebook, Units::Metric).unwrap();
        let (out, back) = exchanged(&first, &second, Transfer::PastRooms);
        assert!(out.contains(",97.951585,23.818898,"), "{out}");
        assert_eq!(out, back);
    }

    #[test]
    fn hours_keep_what_they_cost_at_the_wage_of_their_day() {
        let folder = TempDir::new().unwrap();
        let (first, second) = (
            ledger(&folder, "1.db", "USD"),
            ledger(&folder, "2.db", "USD"),
        );
        let row = |day: &str, hours: &str, wage: &str| {
            format!("2026-01-{day},J1,4 Tannery Row,Una,{hours},{wage}\n")
        };
        let rows = [
            row("07", "2", "30.00"),
            row("05", "2", "20.00"),
            row("06", "0.25", "28.00"),
            row("06", "7.75", "28.35"),
        ];
        import(
            &first,
            Transfer::Hours,
            &format!("{HOURS}{}", rows.concat()),
        )
        .unwrap();
        assert_eq!(
            first.worker("Una").unwrap().wage,
            Money::from_minor(3000),
            "the newest day's"
        );
        let (out, back) = exchanged(&first, &second, Transfer::Hours);
        let wages: Vec<&str> = out
            .lines()
            .skip(1)
            .filter_map(|line| line.split(',').nth(7))
            .collect();
        assert_eq!(wages, ["30.00", "20.00", "28.00", "28.35"]);
        assert_eq!(out, back);
        let cost = |ledger: &Ledger| {
            let entries = ledger
                .day_book_of(&ledger.job("J1").unwrap())
                .unwrap()
                .entries
                .into_iter();
            entries.map(|entry| entry.amount).collect::<Vec<_>>()
        };
        assert_eq!(cost(&first), cost(&second));
        // A raise since then changes nothing that was worked before it.
        let raise = |writing: &Writing<'_>| {
            let una = writing.worker("Una")?;
            let wage = Money::from_minor(4000);
            writing.edit_worker(&Worker { wage, ..una })
        };
        first.write(false, raise).unwrap();
        assert_eq!(first.export(Transfer::Hours).unwrap(), out);
    }

    #[test]
    fn hours_of_an_ann_do_not_go_to_an_anna() {
        let folder = TempDir::new().unwrap();
        let ledger = ledger(&folder, "t.db", "USD");
        let row = |name: &str, wage: &str| {
            format!("{HOURS}2026-01-05,J1,4 Tannery Row,{name},1,{wage}\n")
        };
        import(&ledger, Transfer::Hours, &row("Anna", "20.00")).unwrap();
        import(&ledger, Transfer::Hours, &row("Ann", "22.00")).unwrap();
        let names: Vec<String> = ledger
            .workers()
            .unwrap()
            .into_iter()
            .map(|worker| worker.name)
            .collect();
        assert_eq!(names, ["Ann", "Anna", "Ruben Vale"]);
    }

    #[test]
    fn rows_of_the_book_replace_what_is_known_as_far_as_they_say() {
        let folder = TempDir::new().unwrap();
        let (first, second) = (
            ledger(&folder, "1.db", "USD"),
            ledger(&folder, "2.db", "USD"),
        );
        // `rotary-24` takes over what `set-nails`, further down, answered; `rotary-36` loses its machine and grit.
        let changed = format!(
            "{OPERATIONS}rotary-24,sand,area,disc-7in-36,3,rotary,condition,rotary,24,proud-nails\n\
             set-nails,repair,count,wood-filler,1,nail-setting,none,,,\n\
             rotary-36,sand,area,disc-7in-36,3,rotary,condition,,,\n"
        );
        import(&first, Transfer::Operations, &changed).unwrap();
        let rotary = first.operation("rotary-36").unwrap();
        assert_eq!((rotary.machine, rotary.grit), (None, None));
        assert!(
            !rotary.hazards.is_empty(),
            "a column that isn't there leaves it"
        );
        let items = "item,unit,description,kept\ndisc-7in-36,disc,other words,no\n";
        import(&first, Transfer::Items, items).unwrap();
        let disc = first.item("disc-7in-36").unwrap();
        assert_eq!(
            (disc.description.as_str(), disc.kept, disc.returnable),
            ("other words", false, true)
        );
        for kind in [Transfer::Items, Transfer::Operations, Transfer::BookRates] {
            let (out, back) = exchanged(&first, &second, kind);
            assert_eq!(out, back, "{kind}");
        }
    }

    #[test]
    fn a_trust_is_kept_however_small_and_in_whatever_unit() {
        let folder = TempDir::new().unwrap();
        let (first, second) = (
            ledger(&folder, "1.db", "USD"),
            ledger(&folder, "2.db", "USD"),
        );
        let rate = format!("{RATES}rotary-36,,,item,9,0,0.00001\n");
        import(&first, Transfer::BookRates, &rate).unwrap();
        assert_eq!(first.settings().unwrap().own_work_discs, Decimal::new(1, 5));
        first
            .write(false, |writing| {
                writing.set_setting("own-work-discs", "28 m2")
            })
            .unwrap();
        let (out, back) = exchanged(&first, &second, Transfer::BookRates);
        assert_eq!(out, back);
        import(&first, Transfer::BookRates, &out).unwrap();
        assert_eq!(
            first.setting("own-work-discs").unwrap().value,
            "28 m2",
            "kept as typed"
        );
    }

    #[test]
    fn a_currency_without_cents_starts_with_whole_prices() {
        let folder = TempDir::new().unwrap();
        let ledger = ledger(&folder, "t.db", "JPY");
        let disc = ledger.item("disc-7in-36").unwrap();
        assert!(disc.packs.iter().all(|pack| pack.price.minor() > 0));
    }
}
