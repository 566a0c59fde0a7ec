-- The accounts, and the times whose figures are fixed.
--
-- Where something counts in the accounts follows from its own day (`happened_on`, `issued_on`) and from `posted_on`: NULL
-- nearly always, for on its own day. A row whose day was in a closed time when it was recorded counts on a later day, its
-- `posted_on`. Of what takes another row back NULL means that both count nowhere; a day is the one on which it is taken back.

-- What the firm calls an account. The newest row of an account counts; without one it has the name that it starts with.
CREATE TABLE account_name (
    id          INTEGER PRIMARY KEY,
    account     TEXT    NOT NULL CHECK (account IN ('money', 'owed', 'shelf', 'work', 'interest', 'rounding', 'labour', 'consumables',
                    'rental', 'driving', 'other', 'overhead-labour', 'overhead-driving', 'overhead', 'lost', 'shelf-loss',
                    'tax', 'wages', 'awaiting', 'vehicle', 'own')),
    name        TEXT    NOT NULL CHECK (name <> ''),
    recorded_at TEXT    NOT NULL
) STRICT;

-- A time whose figures are fixed, and with it everything before it: the next one begins on the day after it.
CREATE TABLE closed_period (
    id            INTEGER PRIMARY KEY,
    from_on       TEXT    NOT NULL CHECK (from_on IS date(from_on)),
    to_on         TEXT    NOT NULL UNIQUE CHECK (to_on IS date(to_on) AND to_on >= from_on),
    last_entry_id INTEGER NOT NULL CHECK (last_entry_id >= 0),    -- the last entry that was in the day book by then; 0: none was
    recorded_at   TEXT    NOT NULL
) STRICT;

-- What each account came to in a closed time, and altogether by its end: debits less credits, as they were filed.
CREATE TABLE filed_total (
    period_id     INTEGER NOT NULL REFERENCES closed_period (id),
    account       TEXT    NOT NULL,
    moved_minor   INTEGER NOT NULL,
    balance_minor INTEGER NOT NULL,
    PRIMARY KEY (period_id, account)
) STRICT, WITHOUT ROWID;

-- Until which day is everything closed? No row: nothing is.
CREATE VIEW closed_until AS SELECT to_on FROM closed_period ORDER BY to_on DESC LIMIT 1;

CREATE TRIGGER account_name_stays BEFORE UPDATE ON account_name BEGIN SELECT RAISE(ABORT, 'a name is replaced by a new row'); END;
CREATE TRIGGER account_name_kept BEFORE DELETE ON account_name BEGIN SELECT RAISE(ABORT, 'names stay in the record'); END;
CREATE TRIGGER closed_period_stays BEFORE UPDATE ON closed_period BEGIN SELECT RAISE(ABORT, 'a closed time stays closed'); END;
CREATE TRIGGER closed_period_kept BEFORE DELETE ON closed_period BEGIN SELECT RAISE(ABORT, 'a closed time stays closed'); END;
CREATE TRIGGER filed_total_stays BEFORE UPDATE ON filed_total BEGIN SELECT RAISE(ABORT, 'filed figures never change'); END;
CREATE TRIGGER filed_total_kept BEFORE DELETE ON filed_total BEGIN SELECT RAISE(ABORT, 'filed figures never change'); END;
CREATE TRIGGER closed_period_follows BEFORE INSERT ON closed_period
WHEN EXISTS (SELECT 1 FROM closed_until WHERE NEW.from_on <> date(to_on, '+1 day'))
BEGIN SELECT RAISE(ABORT, 'a closed time begins after the one before it'); END;

CREATE TRIGGER entry_posted BEFORE INSERT ON entry
WHEN NEW.kind <> 'void' AND COALESCE(NEW.posted_on, NEW.happened_on) <= (SELECT to_on FROM closed_until)
BEGIN SELECT RAISE(ABORT, 'a closed time takes nothing more'); END;
CREATE TRIGGER entry_void_posted BEFORE INSERT ON entry
WHEN NEW.kind = 'void' AND COALESCE(NEW.posted_on, (SELECT COALESCE(posted_on, happened_on) FROM entry WHERE id = NEW.voids_id))
     <= (SELECT to_on FROM closed_until)
BEGIN SELECT RAISE(ABORT, 'what is closed is taken back on a later day'); END;
CREATE TRIGGER invoice_posted BEFORE UPDATE OF number ON invoice
WHEN NEW.issued_on <= (SELECT to_on FROM closed_until)
BEGIN SELECT RAISE(ABORT, 'a closed time takes nothing more'); END;
CREATE TRIGGER payment_posted BEFORE INSERT ON payment
WHEN COALESCE(NEW.posted_on, NEW.happened_on) <= (SELECT to_on FROM closed_until)
BEGIN SELECT RAISE(ABORT, 'a closed time takes nothing more'); END;
CREATE TRIGGER payment_application_posted BEFORE INSERT ON payment_application
WHEN COALESCE(NEW.posted_on, NEW.happened_on) <= (SELECT to_on FROM closed_until)
BEGIN SELECT RAISE(ABORT, 'a closed time takes nothing more'); END;
CREATE TRIGGER payment_void_posted BEFORE INSERT ON payment_void
WHEN COALESCE(NEW.posted_on, (SELECT COALESCE(posted_on, happened_on) FROM payment WHERE id = NEW.payment_id))
     <= (SELECT to_on FROM closed_until)
BEGIN SELECT RAISE(ABORT, 'what is closed is taken back on a later day'); END;
CREATE TRIGGER write_off_posted BEFORE INSERT ON write_off
WHEN NEW.happened_on <= (SELECT to_on FROM closed_until)
BEGIN SELECT RAISE(ABORT, 'a closed time takes nothing more'); END;
CREATE TRIGGER write_off_void_posted BEFORE INSERT ON write_off_void
WHEN COALESCE(NEW.posted_on, (SELECT happened_on FROM write_off WHERE id = NEW.write_off_id)) <= (SELECT to_on FROM closed_until)
BEGIN SELECT RAISE(ABORT, 'what is closed is taken back on a later day'); END;
