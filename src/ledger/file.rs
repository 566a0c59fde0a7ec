//! The ledger as a file: making, opening, copying, putting back, and bringing an older one up to date.
//!
//! A ledger is made beside the name that it gets and renamed when it is whole, with its book in it and its first sentence
//! in the log ([`Unfinished`]); so is the demo, and so is a backup. A file that has no sentence in its log was cut short by an
//! earlier program: it holds nothing that anybody wrote, `open` refuses it and `create` makes it anew.
//!
//! SQLite keeps an unfinished write in a journal beside the file. Opening the ledger takes such a write back; a file that
//! is put under the same name must not meet the journal of the one before, so that journals go where their file goes.

use std::cell::{Cell, RefCell};
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context, Result, bail};
use rusqlite::backup::{Backup, StepResult};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags, Row, TransactionBehavior, ffi, named_params};

use super::{Clock, Identity, Ledger, Refusal, refuse, seals, typed};
use crate::files::{FileError, Unfinished, beside_database, target_of};
use crate::measure::Units;
use crate::money::Currency;
use crate::notation::{Country, Notation};

/// Marks the file as a ledger of this program ("grLd").
pub(super) const APPLICATION_ID: i32 = 0x6772_4c64;

/// How much of a file SQLite holds in memory, in kibibytes (which it takes as a number below zero). With its own 2 MB, an
/// answer about every job of an old firm reads most pages several times.
const PAGE_CACHE: i32 = -32_000;

/// How much of it while pages are read that aren't asked for again.
const PASSING_CACHE: i32 = -2_000;

/// How long a write or a copy waits for another process to finish its own.
const BUSY_TIMEOUT: Duration = Duration::from_secs(10);

/// Every migration in order; the position of the last one applied is the file's `user_version`.
/// Rewritten in place until 0.1.0, append-only from then on.
pub(super) const MIGRATIONS: &[(&str, &str)] = &[
    ("0001_firm", include_str!("../../migrations/0001_firm.sql")),
    ("0002_book", include_str!("../../migrations/0002_book.sql")),
    (
        "0003_quotes",
        include_str!("../../migrations/0003_quotes.sql"),
    ),
    (
        "0004_day_book",
        include_str!("../../migrations/0004_day_book.sql"),
    ),
    (
        "0005_evidence",
        include_str!("../../migrations/0005_evidence.sql"),
    ),
    (
        "0006_billing",
        include_str!("../../migrations/0006_billing.sql"),
    ),
    (
        "0007_seals",
        include_str!("../../migrations/0007_seals.sql"),
    ),
    (
        "0008_readings",
        include_str!("../../migrations/0008_readings.sql"),
    ),
    (
        "0009_accounts",
        include_str!("../../migrations/0009_accounts.sql"),
    ),
];

/// What has the name that a ledger is to get, held so that nobody writes in it meanwhile.
enum Held {
    /// Nothing.
    Nothing,
    /// A database.
    Locked(Connection),
    /// A file that SQLite can't read, and that nobody can write in either.
    Unreadable,
}

/// A ledger that was put back.
#[derive(Debug)]
pub struct Restored {
    /// The ledger.
    pub ledger: Ledger,
    /// Where what was there before is kept; `None`: nothing was there.
    pub kept: Option<PathBuf>,
}

impl Ledger {
    /// Creates a ledger with the starting book in it; the file is readable by its owner alone.
    ///
    /// # Errors
    /// Refuses a path where something is already, and what the file system refuses.
    pub fn create(path: &Path, identity: Identity, clock: Clock) -> Result<Ledger> {
        Self::could_be_made(path)?;
        let made = make(path, is_unfinished, |part| {
            Self::fill(part, identity, clock).map(drop)
        })?;
        match made {
            true => Ledger::open(path, clock),
            false => Err(taken(path)),
        }
    }

    /// Says whether a ledger could be made there, and makes none.
    ///
    /// # Errors
    /// Refuses a path where something is already.
    pub fn could_be_made(path: &Path) -> Result<()> {
        let free = match path.symlink_metadata() {
            Err(_) => true,
            Ok(there) => {
                there.is_file()
                    && connect(path).is_ok_and(|it| matches!(is_unfinished(&it), Ok(true)))
            }
        };
        match free {
            true => Ok(()),
            false => Err(taken(path)),
        }
    }

    /// Fills an empty file: the schema, the firm's row, and the starting book with the first sentence of the log.
    pub(super) fn fill(path: &Path, identity: Identity, clock: Clock) -> Result<Ledger> {
        let mut connection = connect(path)?;
        // Nobody sees the file before it has its name; what is in it reaches the disk just before that.
        connection.pragma_update(None, "journal_mode", "MEMORY")?;
        connection.pragma_update(None, "synchronous", "OFF")?;
        migrate(&mut connection, path)?;
        connection.execute(
            "INSERT INTO ledger (id, business, currency, units, country, decimal_mark, date_order, copy, created_at)
             VALUES (1, :business, :currency, :units, :country, :decimal_mark, :date_order, :copy, :now)",
            named_params! {
                ":business": identity.business, ":currency": identity.currency.code(), ":units": identity.units,
                ":country": identity.country,
                ":decimal_mark": identity.notation.decimal_mark.as_str(),
                ":date_order": identity.notation.date_order.as_str(), ":copy": identity.copy, ":now": clock.now,
            },
        )?;
        let ledger = Ledger {
            connection,
            path: target_of(path),
            identity,
            clock: Cell::new(clock),
            said: RefCell::default(),
            settings: RefCell::default(),
        };
        ledger.write(false, |writing| {
            writing.seal(seals::FIRM.0, seals::FIRM.1);
            writing.seed_book()?;
            writing.log(&format!(
                "Opened the ledger of {}.",
                writing.identity.business
            ))
        })?;
        Ok(ledger)
    }

    /// Opens a ledger, bringing an older one up to date.
    ///
    /// # Errors
    /// Refuses a missing file, a file that isn't a ledger or not a whole one, one that is held or can't be read, and one
    /// written by a newer version.
    pub fn open(path: &Path, clock: Clock) -> Result<Ledger> {
        Self::open_as(path, path, clock)
    }

    /// Opens a ledger that is told of by another name.
    fn open_as(path: &Path, name: &Path, clock: Clock) -> Result<Ledger> {
        let mut connection = reach(path)?;
        recognise(&connection, name)?;
        migrate(&mut connection, name)?;
        let Some(identity) = identity_in(&connection).map_err(|error| trouble(name, error))? else {
            return Err(unfinished(name));
        };
        let (business, currency, units, country, notation, copy) = identity;
        let Some(currency) = Currency::from_code(&currency) else {
            bail!("unknown currency `{currency}`")
        };
        // Not before the file is known to be a ledger, since SQLite reads it for this.
        connection
            .pragma_update(None, "cache_size", PAGE_CACHE)
            .map_err(|error| trouble(name, error))?;
        Ok(Ledger {
            connection,
            path: name.to_owned(),
            identity: Identity {
                business,
                currency,
                units,
                country,
                notation,
                copy,
            },
            clock: Cell::new(clock),
            said: RefCell::default(),
            settings: RefCell::default(),
        })
    }

    /// Reads pages that aren't asked for again: SQLite holds few of them. What a transaction has written stays in memory,
    /// since writing it before its end would shut other readers out.
    pub(super) fn in_passing<T>(&self, read: impl FnOnce() -> Result<T>) -> Result<T> {
        let cache = |row: &Row<'_>| row.get(0);
        let held: i32 = self
            .connection
            .pragma_query_value(None, "cache_size", cache)?;
        if held == PASSING_CACHE {
            return read();
        }
        let hold = |spill: &str, cache: i32| {
            self.connection
                .pragma_update(None, "cache_spill", spill)
                .and_then(|()| self.connection.pragma_update(None, "cache_size", cache))
        };
        hold("OFF", PASSING_CACHE)?;
        let found = read();
        hold("ON", PAGE_CACHE)?;
        found
    }

    /// Copies the ledger to a file that doesn't exist yet, and checks the copy before it gets its name.
    ///
    /// # Errors
    /// Refuses an existing file, a ledger that is held for too long, and a copy that isn't sound.
    pub fn backup(&self, path: &Path) -> Result<()> {
        if path.symlink_metadata().is_ok() {
            return Err(FileError::Exists(path.display().to_string()).into());
        }
        let part = Unfinished::beside(path, true)?;
        copy(&self.connection, &self.path, part.path())?;
        let copied = Ledger::open_as(part.path(), path, self.clock.get())?;
        if let Some(problem) = copied.problems()?.first() {
            return Err(Refusal::new(format!("the copy is not sound: {problem}"))
                .hint("gritledger check")
                .into());
        }
        drop(copied);
        Ok(part.keep()?)
    }

    /// Puts a backup in the place of the ledger, and keeps what was there beside it.
    ///
    /// # Errors
    /// Refuses a backup that isn't a ledger or isn't sound, and a ledger that another program is using.
    pub fn restore(path: &Path, backup: &Path, clock: Clock) -> Result<Restored> {
        if backup.try_exists().is_ok_and(|is_there| !is_there) {
            refuse!("no backup at `{}`", backup.display());
        }
        let source = reach(backup)?;
        recognise(&source, backup)?;
        if path
            .canonicalize()
            .is_ok_and(|path| backup.canonicalize().is_ok_and(|backup| path == backup))
        {
            refuse!("`{}` is the ledger itself", backup.display());
        }
        let part = Unfinished::beside(path, true)?;
        copy(&source, backup, part.path())?;
        drop(source);
        let restored = Ledger::open_as(part.path(), backup, clock)?;
        if let Some(problem) = restored.problems()?.first() {
            return Err(
                Refusal::new(format!("`{}` is not sound: {problem}", backup.display()))
                    .hint(format!(
                        "gritledger --ledger {} check",
                        typed(&backup.display().to_string())
                    ))
                    .into(),
            );
        }
        let held = hold(path)?;
        let kept = match held {
            Held::Nothing => None,
            Held::Locked(_) | Held::Unreadable => Some(free_name(path, clock)),
        };
        restored.write(false, |writing| {
            let kept = kept
                .as_ref()
                .map(|kept| format!("; what was there is kept as {}", kept.display()));
            writing.log(&format!(
                "Restored from {}{}.",
                backup.display(),
                kept.unwrap_or_default()
            ))
        })?;
        drop(restored);
        match &kept {
            Some(kept) => {
                set_aside(path, kept)?;
                part.replace()?;
            }
            None => part.keep()?,
        }
        // Only now may others go on: what they find is the new file.
        drop(held);
        Ok(Restored {
            ledger: Ledger::open(path, clock)?,
            kept,
        })
    }
}

fn taken(path: &Path) -> anyhow::Error {
    Refusal::new(format!("`{}` already exists", path.display()))
        .hint("choose another file with --ledger FILE, or move the old one away")
        .into()
}

fn unfinished(path: &Path) -> anyhow::Error {
    Refusal::new(format!(
        "`{}` is an unfinished ledger: its making was cut short",
        path.display()
    ))
    .hint("gritledger init --business \"YOUR FIRM\"")
    .into()
}

/// Makes a file beside its name, and gives it the name; one that has it goes, with its journals, if `goes` says so.
/// Returns whether it did.
pub(super) fn make(
    path: &Path,
    goes: impl FnOnce(&Connection) -> rusqlite::Result<bool>,
    fill: impl FnOnce(&Path) -> Result<()>,
) -> Result<bool> {
    let part = Unfinished::beside(path, true)?;
    let held = hold(path)?;
    match &held {
        Held::Nothing => {}
        Held::Locked(connection) if matches!(goes(connection), Ok(true)) => {}
        Held::Locked(_) | Held::Unreadable => return Ok(false),
    }
    fill(part.path()).map_err(|error| in_words(part.path(), error))?;
    if let Held::Nothing = held {
        return match part.keep() {
            Err(FileError::Exists(_)) => Ok(false),
            kept => Ok(kept.map(|()| true)?),
        };
    }
    for journal in beside_database(path) {
        remove(&journal)?;
    }
    part.replace()?;
    // Only now may others go on: what they find is the new file.
    drop(held);
    Ok(true)
}

fn remove(path: &Path) -> Result<()> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            Err(error).with_context(|| format!("failed to remove `{}`", path.display()))
        }
        _ => Ok(()),
    }
}

/// Tells whether nobody ever wrote in a file: it has no table at all, or a ledger's tables and no sentence in the log.
pub(super) fn is_unfinished(connection: &Connection) -> rusqlite::Result<bool> {
    let tables: i64 =
        connection.query_row("SELECT COUNT(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if tables == 0 {
        return Ok(true);
    }
    let id: i32 = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
    if id != APPLICATION_ID {
        return Ok(false);
    }
    connection.query_row("SELECT NOT EXISTS (SELECT 1 FROM log)", [], |row| {
        row.get(0)
    })
}

type IdentityRow = (String, String, Units, Option<Country>, Notation, i64);

/// Returns the firm's row; `None`: the file was never finished.
fn identity_in(connection: &Connection) -> rusqlite::Result<Option<IdentityRow>> {
    if is_unfinished(connection)? {
        return Ok(None);
    }
    connection
        .query_row(
            "SELECT business, currency, units, country, decimal_mark, date_order, copy FROM ledger",
            [],
            |row| {
                Ok((
                    row.get("business")?,
                    row.get("currency")?,
                    row.get("units")?,
                    row.get("country")?,
                    Notation {
                        decimal_mark: row.get("decimal_mark")?,
                        date_order: row.get("date_order")?,
                    },
                    row.get("copy")?,
                ))
            },
        )
        .map(Some)
}

/// Connects to a file that must be there.
fn reach(path: &Path) -> Result<Connection> {
    match path.try_exists() {
        Ok(true) => {}
        Ok(false) => {
            return Err(Refusal::new(format!("no ledger at `{}`", path.display()))
                .hint("gritledger init --business \"YOUR FIRM\"")
                .hint("gritledger demo")
                .into());
        }
        Err(error) => {
            return Err(
                anyhow::Error::new(error).context(format!("`{}` can't be reached", path.display()))
            );
        }
    }
    if path.is_dir() {
        refuse!("`{}` is a directory, not a ledger", path.display());
    }
    connect(path).map_err(|error| trouble(path, error))
}

/// Says whether a file is a ledger of this program.
fn recognise(connection: &Connection, path: &Path) -> Result<()> {
    let id: i32 = connection
        .pragma_query_value(None, "application_id", |row| row.get(0))
        .map_err(|error| trouble(path, error))?;
    if id == APPLICATION_ID {
        return Ok(());
    }
    if is_unfinished(connection).map_err(|error| trouble(path, error))? {
        return Err(unfinished(path));
    }
    refuse!("`{}` is not a ledger", path.display())
}

/// Puts what went wrong into words, if it is what SQLite says of a file.
pub(super) fn in_words(path: &Path, error: anyhow::Error) -> anyhow::Error {
    match error.downcast::<rusqlite::Error>() {
        Ok(error) => trouble(path, error),
        Err(error) => error,
    }
}

/// Puts what SQLite says of a file into words; one in the making is told of by the name that it gets.
fn trouble(path: &Path, error: rusqlite::Error) -> anyhow::Error {
    let path = target_of(path);
    let path = path.display();
    let Some(said) = error.sqlite_error() else {
        return anyhow::Error::new(error).context(format!("failed to read `{path}`"));
    };
    let refusal = match (said.code, said.extended_code) {
        (ErrorCode::NotADatabase, _) => Refusal::new(format!("`{path}` is not a ledger")),
        (ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked, _) => Refusal::new(format!(
            "`{path}` is held by another program, and still was after {} seconds",
            BUSY_TIMEOUT.as_secs()
        ))
        .hint("nothing was written: try again when the other program is done"),
        (
            _,
            ffi::SQLITE_READONLY_ROLLBACK
            | ffi::SQLITE_READONLY_RECOVERY
            | ffi::SQLITE_READONLY_DIRECTORY
            | ffi::SQLITE_IOERR_DELETE,
        ) => {
            Refusal::new(format!(
                "`{path}` has an unfinished write beside it that has to be taken back first, and its folder can't be \
                 written"
            ))
            .hint("make the folder writable, or copy the ledger and its -journal together to one that is")
        }
        (_, ffi::SQLITE_READONLY_DBMOVED) => Refusal::new(format!(
            "`{path}` was replaced by another file meanwhile: nothing was written"
        ))
        .hint("type it again"),
        (ErrorCode::ReadOnly, _) => Refusal::new(format!("`{path}` can't be written: it is read-only")),
        (ErrorCode::CannotOpen | ErrorCode::PermissionDenied, _) => Refusal::new(format!(
            "`{path}` can't be opened: the file or its folder doesn't let this user in"
        )),
        (ErrorCode::DatabaseCorrupt, _) => Refusal::new(format!("`{path}` is damaged"))
            .hint("gritledger restore FILE"),
        (ErrorCode::DiskFull, _) => {
            Refusal::new(format!("the disk of `{path}` is full: nothing was written"))
        }
        _ => return anyhow::Error::new(error).context(format!("failed to use `{path}`")),
    };
    refusal.into()
}

/// Copies what one connection sees to another file.
fn copy(source: &Connection, name: &Path, to: &Path) -> Result<()> {
    let mut target = connect(to)?;
    target.pragma_update(None, "journal_mode", "MEMORY")?;
    target.pragma_update(None, "synchronous", "OFF")?;
    // A read first: it waits as long as any other would, where the copying itself would wait for ever.
    source
        .query_row("SELECT COUNT(*) FROM sqlite_schema", [], |_| Ok(()))
        .map_err(|error| trouble(name, error))?;
    let backup = Backup::new(source, &mut target)?;
    let told = |error: rusqlite::Error| match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => trouble(to, error),
        _ => trouble(name, error),
    };
    let mut waits = BUSY_TIMEOUT.as_millis() / WAIT.as_millis();
    loop {
        match backup.step(-1).map_err(told)? {
            StepResult::Done => return Ok(()),
            StepResult::Busy | StepResult::Locked if waits == 0 => {
                let busy = ffi::Error::new(ffi::SQLITE_BUSY);
                return Err(trouble(name, rusqlite::Error::SqliteFailure(busy, None)));
            }
            _ => {
                waits -= 1;
                std::thread::sleep(WAIT);
            }
        }
    }
}

/// How long a copy waits before it tries again.
const WAIT: Duration = Duration::from_millis(100);

/// Holds a file that is to be replaced, so that nobody writes in it meanwhile; what was left unfinished is taken back.
fn hold(path: &Path) -> Result<Held> {
    if path.symlink_metadata().is_err() {
        return Ok(Held::Nothing);
    }
    if !path.is_file() {
        return Err(taken(path));
    }
    let connection = connect(path).map_err(|error| trouble(path, error))?;
    match connection.execute_batch("BEGIN EXCLUSIVE") {
        Ok(()) => Ok(Held::Locked(connection)),
        Err(error)
            if matches!(
                error.sqlite_error_code(),
                Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt)
            ) =>
        {
            Ok(Held::Unreadable)
        }
        Err(error) => Err(trouble(path, error)),
    }
}

/// Returns the first free name for a ledger that is set aside.
fn free_name(path: &Path, clock: Clock) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let extension = path
        .extension()
        .map(|extension| format!(".{}", extension.to_string_lossy()));
    let extension = extension.unwrap_or_default();
    let plain = format!("{stem}-before-{}", clock.today);
    let names = std::iter::once(format!("{plain}{extension}"))
        .chain((2..).map(|number| format!("{plain}-{number}{extension}")));
    names
        .map(|name| path.with_file_name(name))
        .find(|name| name.symlink_metadata().is_err())
        .expect("numbers don't end")
}

/// Gives a file another name beside its own, and takes its journals there: they belong to it and to no other.
fn set_aside(path: &Path, kept: &Path) -> Result<()> {
    let failed = || {
        format!(
            "failed to keep `{}` as `{}`",
            path.display(),
            kept.display()
        )
    };
    if std::fs::hard_link(path, kept).is_err() {
        std::fs::rename(path, kept).with_context(failed)?;
    }
    for (journal, beside) in beside_database(path).zip(beside_database(kept)) {
        match std::fs::rename(journal, beside) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(error).with_context(failed);
            }
            _ => {}
        }
    }
    Ok(())
}

fn connect(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    // A name is a name: SQLite would take `:memory:` and `file:…` for instructions.
    let path = match path.is_relative() {
        true => Path::new(".").join(path),
        false => path.to_owned(),
    };
    let connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(BUSY_TIMEOUT)?;
    connection.set_prepared_statement_cache_capacity(128);
    // A statement is planned once, whatever is bound to it. A build with histograms, as the bundled one is without
    // `.cargo/config.toml`, plans it again for each value, which was more than half of the time of an import.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    // Foreign keys are on by default in the bundled build; said here so that no other build changes it.
    connection.pragma_update(None, "foreign_keys", true)?;
    Ok(connection)
}

/// Applies the migrations that the file doesn't have yet, all in one transaction.
pub(super) fn migrate(connection: &mut Connection, path: &Path) -> Result<()> {
    let known = i64::try_from(MIGRATIONS.len()).expect("a handful of migrations");
    if applied(connection, path, known)? == MIGRATIONS.len() {
        return Ok(());
    }
    // Rebuilding a table that others refer to fails with keys on, and inside a transaction the pragma is ignored.
    connection.pragma_update(None, "foreign_keys", false)?;
    let transaction = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(|error| trouble(path, error))?;
    // Read again: another process may have migrated while this one waited.
    let applied = applied(&transaction, path, known)?;
    for (name, sql) in MIGRATIONS.iter().skip(applied) {
        transaction.execute_batch(sql).map_err(|error| {
            trouble(path, error).context(format!("failed to apply migration `{name}`"))
        })?;
    }
    let broken: i64 =
        transaction.query_row("SELECT COUNT(*) FROM pragma_foreign_key_check", [], |row| {
            row.get(0)
        })?;
    if broken > 0 {
        bail!("{broken} broken references after migrating");
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", known)?;
    transaction.commit().map_err(|error| trouble(path, error))?;
    connection.pragma_update(None, "foreign_keys", true)?;
    Ok(())
}

/// Returns how many migrations a file has.
fn applied(connection: &Connection, path: &Path, known: i64) -> Result<usize> {
    let version: i64 = connection
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .map_err(|error| trouble(path, error))?;
    match usize::try_from(version) {
        Ok(applied) if version <= known => Ok(applied),
        Ok(_) => refuse!(
            "`{}` was written by a newer gritledger (schema {version}, this one knows {known})",
            path.display()
        ),
        Err(_) => refuse!(
            "`{}` says that its schema is {version}: no gritledger wrote that",
            path.display()
        ),
    }
}
