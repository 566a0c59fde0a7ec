-- Invoices and payments. A draft has no number; issuing gives the next one, without gaps, and freezes it.

CREATE TABLE invoice (
    id           INTEGER PRIMARY KEY,
    job_id       INTEGER NOT NULL REFERENCES job (id),
    kind         TEXT    NOT NULL CHECK (kind IN ('deposit', 'progress', 'final', 'credit')),
    number       INTEGER CHECK (number > 0),                      -- NULL: a draft
    drafted_on   TEXT    NOT NULL CHECK (drafted_on IS date(drafted_on)),
    issued_on    TEXT CHECK (issued_on IS date(issued_on)),       -- NULL: a draft
    due_on       TEXT CHECK (due_on IS date(due_on)),             -- NULL: a draft
    withdrawn_on TEXT CHECK (withdrawn_on IS date(withdrawn_on)), -- a draft that another replaced; NULL: stands
    tax_micro    INTEGER NOT NULL,                                -- percent
    net_minor    INTEGER NOT NULL,
    tax_minor    INTEGER NOT NULL,
    recorded_at  TEXT    NOT NULL,
    CHECK ((number IS NULL) = (issued_on IS NULL) AND (number IS NULL) = (due_on IS NULL)),
    CHECK (number IS NULL OR withdrawn_on IS NULL)
) STRICT;
CREATE UNIQUE INDEX invoice_number ON invoice (id >> 40, number) WHERE number IS NOT NULL;
CREATE UNIQUE INDEX invoice_one_draft ON invoice (job_id) WHERE number IS NULL AND withdrawn_on IS NULL;
CREATE INDEX invoice_job ON invoice (job_id);

CREATE TABLE invoice_line (
    id             INTEGER PRIMARY KEY,
    invoice_id     INTEGER NOT NULL REFERENCES invoice (id),
    position       INTEGER NOT NULL,
    what           TEXT    NOT NULL CHECK (what <> ''),
    quantity_micro INTEGER NOT NULL DEFAULT 1000000,
    unit           TEXT    NOT NULL DEFAULT 'each',
    unit_price_micro INTEGER NOT NULL,
    net_minor      INTEGER NOT NULL,
    UNIQUE (invoice_id, position)
) STRICT;

CREATE TABLE payment (
    id           INTEGER PRIMARY KEY,
    number       INTEGER NOT NULL CHECK (number > 0),
    invoice_id   INTEGER NOT NULL REFERENCES invoice (id),
    amount_minor INTEGER NOT NULL CHECK (amount_minor > 0),
    happened_on  TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at  TEXT    NOT NULL,
    note         TEXT    NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX payment_number ON payment (id >> 40, number);
CREATE INDEX payment_invoice ON payment (invoice_id);

-- A payment taken back (a bounced check, a slip), by a row of its own.
CREATE TABLE payment_void (
    id          INTEGER PRIMARY KEY,
    payment_id  INTEGER NOT NULL UNIQUE REFERENCES payment (id),
    reason      TEXT    NOT NULL,
    happened_on TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at TEXT    NOT NULL
) STRICT;

CREATE VIEW live_payment AS
SELECT payment.*
FROM payment
LEFT JOIN payment_void ON payment_void.payment_id = payment.id
WHERE payment_void.id IS NULL;

CREATE TRIGGER invoice_frozen BEFORE UPDATE ON invoice WHEN OLD.number IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'an issued invoice never changes'); END;
CREATE TRIGGER invoice_kept BEFORE DELETE ON invoice BEGIN SELECT RAISE(ABORT, 'invoices stay in the record'); END;
CREATE TRIGGER invoice_line_stays BEFORE UPDATE ON invoice_line BEGIN SELECT RAISE(ABORT, 'invoice lines never change'); END;
CREATE TRIGGER invoice_line_kept BEFORE DELETE ON invoice_line BEGIN SELECT RAISE(ABORT, 'invoice lines never change'); END;
CREATE TRIGGER invoice_line_sealed BEFORE INSERT ON invoice_line
WHEN (SELECT number FROM invoice WHERE id = NEW.invoice_id) IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'an issued invoice takes no more lines'); END;
-- The database itself keeps the numbers without gaps: a number is issued only as the successor of the copy's last one.
CREATE TRIGGER invoice_gapless BEFORE UPDATE OF number ON invoice
WHEN NEW.number IS NOT NULL AND NEW.number <> 1 + COALESCE(
    (SELECT MAX(number) FROM invoice WHERE number IS NOT NULL AND id >> 40 = NEW.id >> 40), 0)
BEGIN SELECT RAISE(ABORT, 'invoice numbers run without gaps'); END;
CREATE TRIGGER invoice_drafted BEFORE INSERT ON invoice WHEN NEW.number IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'an invoice starts as a draft'); END;
CREATE TRIGGER payment_stays BEFORE UPDATE ON payment BEGIN SELECT RAISE(ABORT, 'payments never change: void the payment'); END;
CREATE TRIGGER payment_kept BEFORE DELETE ON payment BEGIN SELECT RAISE(ABORT, 'payments never change: void the payment'); END;
CREATE TRIGGER payment_void_stays BEFORE UPDATE ON payment_void BEGIN SELECT RAISE(ABORT, 'payments never change'); END;
CREATE TRIGGER payment_void_kept BEFORE DELETE ON payment_void BEGIN SELECT RAISE(ABORT, 'payments never change'); END;
