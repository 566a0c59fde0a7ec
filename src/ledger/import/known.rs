//! What the rows of a file name, read once for all of them.

use std::cell::{OnceCell, RefCell};
use std::collections::HashMap;
use std::ops::Deref;
use std::rc::Rc;

use anyhow::Result;

use crate::ledger::before::called;
use crate::ledger::names::{Names, key};
use crate::ledger::rooms::at_site;
use crate::ledger::{BookItem, BookMachine, Job, Room, Site, Writing};
use crate::trade::operation::{Operation, Task};
use crate::trade::{EntryId, JobId, SiteId};

/// A file being imported: it writes as [`Writing`] does, and finds by the same rules, in lists that are read once.
///
/// Nobody else writes meanwhile, so a list stays true for as long as the import doesn't add to it.
#[derive(Debug)]
pub(super) struct Importing<'a> {
    writing: &'a Writing<'a>,
    sites: OnceCell<Names<Site>>,
    rooms: RefCell<HashMap<SiteId, Rc<Names<Room>>>>,
    items: OnceCell<Names<BookItem>>,
    operations: OnceCell<Names<Operation>>,
    tasks: OnceCell<Names<Task>>,
    machines: OnceCell<Names<BookMachine>>,
    jobs_before: OnceCell<Names<JobId>>,
    jobs: RefCell<HashMap<String, Rc<Job>>>,
    /// The entries that rows became, with the lines of the rows.
    pub(super) entries: RefCell<Vec<(u64, EntryId)>>,
}

impl<'a> Deref for Importing<'a> {
    type Target = Writing<'a>;

    fn deref(&self) -> &Writing<'a> {
        self.writing
    }
}

impl<'a> Importing<'a> {
    pub(super) fn new(writing: &'a Writing<'a>) -> Importing<'a> {
        Importing {
            writing,
            sites: OnceCell::new(),
            rooms: RefCell::default(),
            items: OnceCell::new(),
            operations: OnceCell::new(),
            tasks: OnceCell::new(),
            machines: OnceCell::new(),
            jobs_before: OnceCell::new(),
            jobs: RefCell::default(),
            entries: RefCell::default(),
        }
    }

    pub(super) fn site(&self, address: &str) -> Result<&Site> {
        once(&self.sites, || self.sites_by_name())?.find(address)
    }

    pub(super) fn item(&self, name: &str) -> Result<&BookItem> {
        once(&self.items, || self.items_by_name())?.find(name)
    }

    pub(super) fn operation(&self, name: &str) -> Result<&Operation> {
        once(&self.operations, || self.operations_by_name())?.find(name)
    }

    /// Returns the task that has just that name.
    pub(super) fn task(&self, name: &str) -> Result<Option<&Task>> {
        Ok(once(&self.tasks, || self.tasks_by_name())?.exact(name))
    }

    pub(super) fn machine(&self, name: &str) -> Result<&BookMachine> {
        once(&self.machines, || self.machines_by_name())?.find(name)
    }

    /// Returns a room by `NAME` or `SITE/NAME`.
    pub(super) fn room(&self, name: &str, site: SiteId) -> Result<Room> {
        let at = |address: &str| self.site(address).map(|site| site.id);
        let (name, elsewhere) = at_site(name, None, at);
        self.rooms_at(elsewhere.unwrap_or(site))?
            .find(name)
            .cloned()
    }

    fn rooms_at(&self, site: SiteId) -> Result<Rc<Names<Room>>> {
        if let Some(rooms) = self.rooms.borrow().get(&site) {
            return Ok(rooms.clone());
        }
        let rooms = Rc::new(self.rooms_by_name(site)?);
        self.rooms.borrow_mut().insert(site, rooms.clone());
        Ok(rooms)
    }

    pub(super) fn job(&self, label: &str) -> Result<Rc<Job>> {
        if let Some(job) = self.jobs.borrow().get(&key(label)) {
            return Ok(job.clone());
        }
        let before = once(&self.jobs_before, || self.jobs_by_name())?;
        let job = Rc::new(match called(label, before)? {
            Some(id) => self.job_by_id(id)?,
            None => self.writing.job(label)?,
        });
        self.jobs.borrow_mut().insert(key(label), job.clone());
        Ok(job)
    }
}

/// Returns what a cell holds, read when it is asked for first.
fn once<T>(cell: &OnceCell<T>, read: impl FnOnce() -> Result<T>) -> Result<&T> {
    match cell.get() {
        Some(known) => Ok(known),
        None => {
            let new = read()?;
            Ok(cell.get_or_init(|| new))
        }
    }
}
