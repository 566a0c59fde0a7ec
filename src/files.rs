//! How a file leaves the program: whole or not at all, and never over a ledger.
//!
//! A file is made beside the one that it will be, brought to the disk, and renamed, so that whoever looks sees what was
//! there before or all of the new one. A making that is cut short leaves at most the file beside it, under a name that
//! only this program uses; the next making of the same file takes it over.
//!
//! [`Outlet`] judges where a document may go and writes it there; [`Unfinished`] is the file in the making, which the ledger
//! uses for its own files as well.
//!
//! # What is never written over
//! * The ledger in use, and whatever begins like an SQLite database: other ledgers, backups, other programs' databases.
//!   What counts is the file that a name leads to, through links of both kinds.
//! * A journal of one: a name that SQLite would take for it, and a file that begins like one.
//! * A link, and a file that doesn't begin like those of its kind, unless replacing was asked for; then the link itself is
//!   replaced, and not what it leads to.

use std::ffi::OsString;
use std::fs::{self, File, Metadata, OpenOptions, TryLockError};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;

/// How every SQLite database begins.
const DATABASE: &[u8] = b"SQLite format 3\0";

/// How SQLite's journals begin: a rollback journal, and the two byte orders of a write-ahead log.
const JOURNALS: [&[u8]; 3] = [
    &[0xd9, 0xd5, 0x05, 0xf9, 0x20, 0xa1, 0x63, 0xd7],
    &[0x37, 0x7f, 0x06, 0x82],
    &[0x37, 0x7f, 0x06, 0x83],
];

/// What SQLite appends to a database's name for the files beside it.
const BESIDE: [&str; 3] = ["-journal", "-wal", "-shm"];

/// Why a file isn't written.
#[derive(Debug, Error)]
pub enum FileError {
    /// The ledger in use.
    #[error("`{0}` is the ledger itself: choose another file")]
    ThisLedger(String),
    /// Another ledger, a backup, some database.
    #[error("`{0}` is a database, perhaps another ledger: choose another file")]
    Database(String),
    /// A journal, which SQLite would read.
    #[error("`{0}` is the name or the contents of a database's journal: choose another file")]
    Journal(String),
    /// A link.
    #[error("`{0}` is a link to another file")]
    Link(String),
    /// A file of another kind.
    #[error("`{0}` already exists and is something else")]
    SomethingElse(String),
    /// A file where a new one was to be.
    #[error("`{0}` already exists")]
    Exists(String),
    /// A directory.
    #[error("`{0}` is a directory")]
    Directory(String),
    /// Another process is making the same file.
    #[error("`{0}` is being written by another program")]
    BeingWritten(String),
    /// What the file system says.
    #[error("failed to write `{0}`")]
    Io(String, #[source] io::Error),
}

impl FileError {
    /// Tells whether it would be written if replacing were asked for.
    pub fn can_be_replaced(&self) -> bool {
        matches!(self, FileError::Link(_) | FileError::SomethingElse(_))
    }
}

/// Where a document goes.
#[derive(Clone, Copy, Debug)]
pub struct Outlet<'a> {
    /// The file that was named.
    pub to: &'a Path,
    /// How files of its kind begin: such a one is an earlier writing of the same, and is replaced.
    pub begins: &'a [u8],
    /// Whatever is there is replaced, but for what is never written over.
    pub replace: bool,
    /// Only its owner may read it, since it names people.
    pub private: bool,
    /// The ledger in use.
    pub ledger: &'a Path,
}

/// How the named file is to be written.
enum Way {
    /// There is none yet.
    New,
    /// It is replaced.
    Replace,
    /// A device or a pipe: nothing to rename.
    Through,
}

impl Outlet<'_> {
    /// Says whether it would be written, and writes nothing.
    ///
    /// # Errors
    /// Whatever [`Outlet::write`] would refuse before it begins.
    pub fn judge(&self) -> Result<(), FileError> {
        self.way().map(drop)
    }

    /// Writes the document: all of it, or nothing.
    ///
    /// # Errors
    /// Refuses what is never written over, and what would have to be replaced; fails with the file system.
    pub fn write(&self, document: &[u8]) -> Result<(), FileError> {
        match self.way()? {
            Way::Through => OpenOptions::new()
                .append(true)
                .open(self.to)
                .and_then(|mut stream| {
                    stream.write_all(document)?;
                    stream.flush()
                })
                .map_err(|error| FileError::Io(shown(self.to), error)),
            Way::New => self.part(document)?.keep(),
            Way::Replace => self.part(document)?.replace(),
        }
    }

    fn part(&self, document: &[u8]) -> Result<Unfinished, FileError> {
        let mut part = Unfinished::beside(self.to, self.private)?;
        part.file
            .write_all(document)
            .map_err(|error| FileError::Io(shown(self.to), error))?;
        Ok(part)
    }

    fn way(&self) -> Result<Way, FileError> {
        let name = || shown(self.to);
        let failed = |error| FileError::Io(name(), error);
        if is_beside_a_database(self.to) {
            return Err(FileError::Journal(name()));
        }
        let there = match fs::symlink_metadata(self.to) {
            Ok(there) => there,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Way::New),
            Err(error) => return Err(failed(error)),
        };
        let replaceable = |refusal: FileError| match self.replace {
            true => Ok(Way::Replace),
            false => Err(refusal),
        };
        let led_to = match fs::metadata(self.to) {
            Ok(led_to) => led_to,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                return replaceable(FileError::Link(name()));
            }
            Err(error) => return Err(failed(error)),
        };
        if led_to.is_dir() {
            return Err(FileError::Directory(name()));
        }
        if !led_to.is_file() {
            return Ok(Way::Through);
        }
        if fs::metadata(self.ledger).is_ok_and(|ledger| same_file(&ledger, &led_to)) {
            return Err(FileError::ThisLedger(name()));
        }
        let beginning =
            beginning(self.to, DATABASE.len().max(self.begins.len())).map_err(failed)?;
        if beginning.starts_with(DATABASE) {
            return Err(FileError::Database(name()));
        }
        if JOURNALS.iter().any(|magic| beginning.starts_with(magic)) {
            return Err(FileError::Journal(name()));
        }
        // `/dev/stdout` may lead to a file that the shell has opened for this answer.
        if self.to.starts_with("/dev") {
            return Ok(Way::Through);
        }
        if there.is_symlink() {
            return replaceable(FileError::Link(name()));
        }
        if beginning.is_empty() || beginning.starts_with(self.begins) {
            return Ok(Way::Replace);
        }
        replaceable(FileError::SomethingElse(name()))
    }
}

/// What stands before and after a file's name while it is made.
const HIDDEN: (&str, &str) = (".", ".being-written");

/// Returns the name that a file in the making gets; that of any other is its own.
pub fn target_of(path: &Path) -> PathBuf {
    let name = path.file_name().and_then(|name| name.to_str());
    let name = name.and_then(|name| name.strip_prefix(HIDDEN.0)?.strip_suffix(HIDDEN.1));
    name.map_or_else(|| path.to_owned(), |name| path.with_file_name(name))
}

/// A file in the making, beside the one that it will be. Dropped before it is kept, it goes away again.
#[derive(Debug)]
pub struct Unfinished {
    target: PathBuf,
    path: PathBuf,
    /// Holds the lock that tells a making from what a killed one left.
    file: File,
    named: bool,
}

impl Unfinished {
    /// Begins a file, empty; what a making that was cut short left is taken over.
    ///
    /// # Errors
    /// Refuses a file that another process is making; fails with the file system.
    pub fn beside(target: &Path, private: bool) -> Result<Unfinished, FileError> {
        let failed = |error| FileError::Io(shown(target), error);
        let Some(name) = target.file_name() else {
            return Err(FileError::Directory(shown(target)));
        };
        let mut hidden = OsString::from(HIDDEN.0);
        hidden.push(name);
        hidden.push(HIDDEN.1);
        let path = target.with_file_name(hidden);
        loop {
            if fs::symlink_metadata(&path).is_ok_and(|there| !there.is_file()) {
                return Err(FileError::BeingWritten(shown(target)));
            }
            let file = open(&path, private).map_err(failed)?;
            match file.try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => {
                    return Err(FileError::BeingWritten(shown(target)));
                }
                Err(TryLockError::Error(error)) => return Err(failed(error)),
            }
            // Whoever held it until now may have renamed it: then it is the finished file, and not ours.
            let ours = file.metadata().map_err(failed)?;
            if fs::metadata(&path).is_ok_and(|there| same_file(&ours, &there)) {
                if ours.len() > 0 {
                    // A making that was cut short between its two names left a second name of the finished file: the
                    // name goes, never what is in it.
                    fs::remove_file(&path).map_err(failed)?;
                    continue;
                }
                return Ok(Unfinished {
                    target: target.to_owned(),
                    path,
                    file,
                    named: false,
                });
            }
        }
    }

    /// Returns where it is made.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Gives it its name, where no file has it yet.
    ///
    /// # Errors
    /// Refuses a name that is taken; fails with the file system.
    pub fn keep(mut self) -> Result<(), FileError> {
        self.flush()?;
        match fs::hard_link(&self.path, &self.target) {
            // The name beside it goes when `self` does.
            Ok(()) => {
                sync_folder(&self.target);
                Ok(())
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                Err(FileError::Exists(shown(&self.target)))
            }
            // Not every file system has links.
            Err(_) if fs::symlink_metadata(&self.target).is_ok() => {
                Err(FileError::Exists(shown(&self.target)))
            }
            Err(_) => self.rename(),
        }
    }

    /// Gives it its name, in the place of the file that has it.
    ///
    /// # Errors
    /// Fails with the file system.
    pub fn replace(mut self) -> Result<(), FileError> {
        self.flush()?;
        self.rename()
    }

    fn flush(&self) -> Result<(), FileError> {
        self.file
            .sync_all()
            .map_err(|error| FileError::Io(shown(&self.target), error))
    }

    fn rename(&mut self) -> Result<(), FileError> {
        fs::rename(&self.path, &self.target)
            .map_err(|error| FileError::Io(shown(&self.target), error))?;
        self.named = true;
        sync_folder(&self.target);
        Ok(())
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        if !self.named {
            // What can't be removed now is taken over by the next making.
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// Returns the files that SQLite may have beside a database.
pub fn beside_database(path: &Path) -> impl Iterator<Item = PathBuf> {
    let path = path.as_os_str().to_owned();
    BESIDE.iter().map(move |suffix| {
        let mut name = path.clone();
        name.push(suffix);
        PathBuf::from(name)
    })
}

/// Tells whether a name is one that SQLite has or will look for beside a database.
fn is_beside_a_database(path: &Path) -> bool {
    let Some(name) = path.file_name().and_then(|name| name.to_str()) else {
        return false;
    };
    let mut bases = BESIDE.iter().filter_map(|suffix| name.strip_suffix(suffix));
    bases.any(|base| {
        beginning(&path.with_file_name(base), DATABASE.len())
            .is_ok_and(|beginning| beginning.starts_with(DATABASE))
    })
}

/// Tells whether two names lead to one file.
fn same_file(one: &Metadata, other: &Metadata) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        (one.dev(), one.ino()) == (other.dev(), other.ino())
    }
    #[cfg(not(unix))]
    {
        one.created().ok() == other.created().ok() && one.len() == other.len()
    }
}

fn open(path: &Path, private: bool) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    if private {
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    }
    let file = options.open(path)?;
    #[cfg(unix)]
    if private {
        // One that was left there may have been open to others.
        file.set_permissions(std::os::unix::fs::PermissionsExt::from_mode(0o600))?;
    }
    Ok(file)
}

fn beginning(path: &Path, length: usize) -> io::Result<Vec<u8>> {
    let mut beginning = Vec::new();
    File::open(path)?
        .take(length as u64)
        .read_to_end(&mut beginning)?;
    Ok(beginning)
}

/// Brings a new name to the disk. Not every file system can; then the name comes with its own next writing.
fn sync_folder(path: &Path) {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}

#[cfg(test)]
mod tests {
    use tempfile::TempDir;

    use super::*;

    #[test]
    fn a_file_is_made_by_one_alone() {
        let folder = TempDir::new().unwrap();
        let target = folder.path().join("t.db");
        let part = Unfinished::beside(&target, true).unwrap();
        let second = Unfinished::beside(&target, true).unwrap_err();
        let words = format!("`{}` is being written by another program", target.display());
        assert_eq!(second.to_string(), words);
        assert_eq!(target_of(part.path()), target);
        assert_eq!(target_of(&target), target);
    }

    #[test]
    fn a_second_name_of_a_finished_file_is_taken_away_and_the_file_stays() {
        let folder = TempDir::new().unwrap();
        let target = folder.path().join("t.db");
        let beside = folder.path().join(".t.db.being-written");
        fs::write(&target, "a year of work").unwrap();
        fs::hard_link(&target, &beside).unwrap();
        let part = Unfinished::beside(&target, true).unwrap();
        assert_eq!(fs::metadata(part.path()).unwrap().len(), 0);
        assert_eq!(fs::read_to_string(&target).unwrap(), "a year of work");
        // What was cut short before it had its name is begun anew.
        drop(part);
        fs::write(&beside, "half of a").unwrap();
        let part = Unfinished::beside(&target, true).unwrap();
        assert_eq!(fs::metadata(part.path()).unwrap().len(), 0);
        drop(part);
        assert_eq!(fs::read_to_string(&target).unwrap(), "a year of work");
        assert!(!beside.exists());
    }
}
