-- What no other row says again is told by a digest when it is changed behind the program's back.
--
-- Every row that must stay as it was written (the day book, invoices as they were issued, payments, quotes, jobs and what
-- happened to them, dated facts of the book, the firm's own row) has a seal: a digest of its columns and of the rows that
-- are part of it, and of the seal before it in its copy. A seal says nothing of clients, sites, rooms and workers, which
-- may be edited, or forgotten. It finds damage and slips of the pen; who wants to deceive can write seals too.

CREATE TABLE seal (
    id     INTEGER PRIMARY KEY,
    sealed TEXT    NOT NULL CHECK (sealed <> ''),                  -- the table of the row
    row_id INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

CREATE TRIGGER seal_stays BEFORE UPDATE ON seal BEGIN SELECT RAISE(ABORT, 'a seal never changes'); END;
CREATE TRIGGER seal_kept BEFORE DELETE ON seal BEGIN SELECT RAISE(ABORT, 'a seal never changes'); END;

CREATE TRIGGER ledger_stays BEFORE UPDATE ON ledger BEGIN SELECT RAISE(ABORT, 'a ledger keeps its firm, currency and units'); END;
CREATE TRIGGER ledger_kept BEFORE DELETE ON ledger BEGIN SELECT RAISE(ABORT, 'a ledger keeps its firm, currency and units'); END;
