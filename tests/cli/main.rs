//! The one integration binary: the real program on real files.
//!
//! Where a new test goes (rules of the trade are tested beside their code):
//!
//! * the main job in `session.rs`;
//! * a refusal and its exact words in `refusals.rs`, many with what to type instead in `wording.rs`;
//! * which lines hint at a command, in `hints.rs` (whatever is hinted at in any test, `hinted.rs` types);
//! * whether every refusal has its words in a test, in `held.rs`;
//! * lists and reports as CSV in `csv.rs`, CSV in and out in `exchange.rs`, jobs from before the ledger in `before.rs`;
//! * what is kept as JSON in `kept.rs`;
//! * what the firm's book says, and that it is counted with, in `book.rs`;
//! * numbers beyond counting in `limits.rs`; files on the disk in `files.rs`;
//! * what `check` finds in `damage.rs`;
//! * what must always hold in `invariants.rs`, over random histories in `properties.rs`;
//! * a firm in another country, in other units, and names of any alphabet, in `anywhere.rs`;
//! * whole houses in `house.rs`, planned again or beside others in `replanning.rs`;
//! * one job worked by hand on paper, and how its answers read, in `on_paper.rs`;
//! * how the demo's answers read in `demo.rs`; what may be typed in `bounds.rs`;
//! * slips taken back and typed again in `voids.rs`;
//! * rooms with parts in other conditions in `parts.rs`;
//! * rented machines in `rentals.rs`;
//! * what driving costs in `trips.rs`;
//! * agreed work that is changed (taken away, measured again) in `varied.rs`;
//! * whether a floor can be sanded, before its price is named, in `sandable.rs`;
//! * two commands at once in `races.rs`;
//! * credit notes, invoices on the way, losses and refunds in `billing.rs`;
//! * what is asked for, owed and paid, and that what was written stays as it was, in `money.rs`;
//! * what was quoted beside what it came to in `variance.rs`, many jobs by what they are told by in `by.rs`, how far a job has come in `budget.rs` and all of them in
//!   `in_hand.rs`, and what belongs to no job in `overheads.rs`;
//! * a year's figures, what an accountant is handed and what is closed in `year.rs`, random histories of accounts in `postings.rs`;
//! * what the program looks like (help, tables, streams, exit codes) in `surface.rs`.

#![expect(
    clippy::unwrap_used,
    reason = "a test that can't go on says where it stopped"
)]

mod anywhere;
mod before;
mod billing;
mod book;
mod bounds;
mod budget;
mod by;
mod csv;
mod damage;
mod dead_ends;
mod demo;
mod exchange;
mod files;
mod harness;
mod held;
mod hinted;
mod hints;
mod house;
mod in_hand;
mod interest;
mod invariants;
mod kept;
mod life;
mod limits;
mod money;
mod on_paper;
mod overheads;
mod own;
mod parts;
mod postings;
mod pricing;
mod properties;
mod races;
mod rates;
mod refusals;
mod rentals;
mod replanning;
mod sandable;
mod session;
mod surface;
mod taxes;
mod trips;
mod variance;
mod varied;
mod voids;
mod walk;
mod wording;
mod working_day;
mod year;
