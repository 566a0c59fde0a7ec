//! gritledger: a local ledger and estimator for people who sand and finish wooden floors with rented machines.
//!
//! The library exists for the program of the same name and promises no stable API.
//!
//! # The map, in reading order
//! * [`money`]: amounts, quantities, and the one rounding rule.
//! * [`measure`]: lengths and areas, exact.
//! * [`files`]: how a file leaves the program: whole or not at all, and never over a ledger.
//! * [`trade`]: what a floor refinisher measures, decides, quotes, logs and learns; pure.
//! * [`ledger`]: the SQLite file; the only code that knows there is a database.
//! * [`document`]: what leaves the program: tables, words and JSON; pure.
//! * [`cli`]: the command line; the only code that knows there is a terminal.
//!
//! Arrows point one way: `cli` → `document`, `ledger` → `trade` → `money`, `measure`; `cli` and `ledger` use `files`.
//!
//! # Files on disk
//! * The ledger: `--ledger FILE`, else `GRITLEDGER_PATH`, else `gritledger/ledger.db` in the platform's data directory;
//!   SQLite keeps a journal beside it while it writes.
//! * What a person names: files to import, backups, the demo's ledger.
//! * `migrations/` and `seed-data/` are embedded when the program is built.

pub mod money;

pub mod measure;

pub mod notation;

pub mod files;

pub mod trade;

pub mod ledger;

pub mod document;

pub mod cli;
