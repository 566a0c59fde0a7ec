-- Invoices and payments. A draft has no number; issuing gives the next one, without gaps, and freezes it.

CREATE TABLE invoice (
    id           INTEGER PRIMARY KEY,
    job_id       INTEGER NOT NULL REFERENCES job (id),
    kind         TEXT    NOT NULL CHECK (kind IN ('deposit', 'progress', 'final', 'release', 'interest', 'credit')),
    number       INTEGER CHECK (number > 0),                      -- NULL: a draft
    drafted_on   TEXT    NOT NULL CHECK (drafted_on IS date(drafted_on)),
    issued_on    TEXT CHECK (issued_on IS date(issued_on)),       -- NULL: a draft
    due_on       TEXT CHECK (due_on IS date(due_on)),             -- NULL: a draft
    withdrawn_on TEXT CHECK (withdrawn_on IS date(withdrawn_on)), -- a draft that another replaced; NULL: stands
    -- The tax in force at the site when it was drafted, percent: whoever issues it is told if that has changed since.
    tax_labour_micro    INTEGER NOT NULL CHECK (tax_labour_micro BETWEEN 0 AND 100000000),
    tax_materials_micro INTEGER NOT NULL CHECK (tax_materials_micro BETWEEN 0 AND 100000000),
    tax_rental_micro    INTEGER NOT NULL CHECK (tax_rental_micro BETWEEN 0 AND 100000000),
    net_minor    INTEGER NOT NULL,                                -- the sum of its lines less its allowances
    tax_minor    INTEGER NOT NULL,                                -- the sum of its rows in invoice_tax
    rounding_minor INTEGER NOT NULL DEFAULT 0,                    -- what net and tax are short of what it comes to: cents (BT-114)
    total_minor  INTEGER GENERATED ALWAYS AS (net_minor + tax_minor + rounding_minor) VIRTUAL,
    -- Whom it was issued to, for which address and by whom, in the words of that day; NULL: a draft, which follows its client.
    client_id      INTEGER REFERENCES client (id),
    client         TEXT,
    client_address TEXT,
    site           TEXT,
    letterhead_id  INTEGER REFERENCES letterhead (id),
    client_tax_number TEXT,
    exemption      TEXT,                                          -- why no tax is asked of the client; empty: it is
    tax_area       TEXT,                                          -- where it is taxed; empty: by the setting, NULL: a draft
    -- A credit note takes back another invoice, or a part of it, for a reason. Its amounts are above zero, too.
    credits_id     INTEGER REFERENCES invoice (id),
    reason         TEXT NOT NULL DEFAULT '',
    -- Interest is on another invoice that is paid late, to the end of a day.
    late_id      INTEGER REFERENCES invoice (id),
    late_until   TEXT CHECK (late_until IS date(late_until)),
    -- What of a credit note is off the price of its job, before tax; the rest is asked for again by the final invoice. Of a
    -- final invoice: its allowances that no quote agreed to.
    off_price_minor INTEGER NOT NULL DEFAULT 0
        CHECK (off_price_minor = 0 OR off_price_minor > 0 AND (kind = 'final' OR off_price_minor <= net_minor)),
    recorded_at  TEXT    NOT NULL,
    CHECK ((kind = 'credit') = (credits_id IS NOT NULL) AND (kind = 'credit') = (reason <> '')),
    CHECK (kind = 'credit' OR kind = 'final' OR off_price_minor = 0),
    CHECK ((kind = 'interest') = (late_id IS NOT NULL) AND (kind = 'interest') = (late_until IS NOT NULL)),
    CHECK ((number IS NULL) = (issued_on IS NULL) AND (number IS NULL) = (due_on IS NULL)),
    CHECK ((number IS NULL) = (client_id IS NULL) AND (number IS NULL) = (client IS NULL)
           AND (number IS NULL) = (client_address IS NULL) AND (number IS NULL) = (site IS NULL)
           AND (number IS NULL) = (letterhead_id IS NULL)
           AND (number IS NULL) = (client_tax_number IS NULL) AND (number IS NULL) = (exemption IS NULL)
           AND (number IS NULL) = (tax_area IS NULL)),
    CHECK (number IS NULL OR withdrawn_on IS NULL)
) STRICT;
CREATE UNIQUE INDEX invoice_number ON invoice (id >> 40, number) WHERE number IS NOT NULL;
CREATE UNIQUE INDEX invoice_one_draft ON invoice (job_id) WHERE number IS NULL AND withdrawn_on IS NULL;
CREATE INDEX invoice_job ON invoice (job_id);
-- What was issued in a time?
CREATE INDEX invoice_issued ON invoice (issued_on) WHERE issued_on IS NOT NULL;
-- What was a client asked for?
CREATE INDEX invoice_client ON invoice (client_id) WHERE client_id IS NOT NULL;
-- What interest was asked on an invoice?
CREATE INDEX invoice_late ON invoice (late_id) WHERE late_id IS NOT NULL;
CREATE INDEX invoice_credits ON invoice (credits_id) WHERE credits_id IS NOT NULL;

CREATE TABLE invoice_line (
    id             INTEGER PRIMARY KEY,
    invoice_id     INTEGER NOT NULL REFERENCES invoice (id),
    position       INTEGER NOT NULL,
    quote_id       INTEGER REFERENCES quote (id),                 -- the quote it was agreed with; NULL: invoiced before
    room_id        INTEGER REFERENCES room (id),                  -- NULL: not for one room
    credits        INTEGER CHECK (credits > 0),                   -- on a credit note: the position of the line it takes back
    what           TEXT    NOT NULL CHECK (what <> ''),
    quantity_micro INTEGER NOT NULL DEFAULT 1000000,
    unit           TEXT    NOT NULL DEFAULT 'each',
    unit_price_micro INTEGER NOT NULL,
    net_minor      INTEGER NOT NULL,
    tax_micro      INTEGER NOT NULL CHECK (tax_micro BETWEEN 0 AND 100000000), -- percent
    UNIQUE (invoice_id, position)
) STRICT;

-- What is taken off a whole invoice, each for a reason: document allowances, no lines. A credit note for all of an invoice
-- takes back its allowances with its lines.
CREATE TABLE invoice_allowance (
    invoice_id   INTEGER NOT NULL REFERENCES invoice (id),
    position     INTEGER NOT NULL,
    quote_id     INTEGER REFERENCES quote (id),                   -- the quote that agreed to it; NULL: goodwill, off the price
    reason       TEXT    NOT NULL CHECK (reason <> ''),
    amount_minor INTEGER NOT NULL CHECK (amount_minor > 0),
    tax_micro    INTEGER NOT NULL CHECK (tax_micro BETWEEN 0 AND 100000000), -- percent
    PRIMARY KEY (invoice_id, position)
) STRICT, WITHOUT ROWID;

-- What an invoice asks for at each rate of tax: a row for each rate that its lines or allowances have.
CREATE TABLE invoice_tax (
    invoice_id INTEGER NOT NULL REFERENCES invoice (id),
    tax_micro  INTEGER NOT NULL CHECK (tax_micro BETWEEN 0 AND 100000000), -- percent
    net_minor  INTEGER NOT NULL,
    tax_minor  INTEGER NOT NULL,
    PRIMARY KEY (invoice_id, tax_micro)
) STRICT, WITHOUT ROWID;

-- What of each invoice was taken back by credit notes that were issued?
CREATE VIEW invoice_credited AS
SELECT credits_id AS invoice_id, SUM(net_minor) AS net_minor, SUM(tax_minor) AS tax_minor, SUM(total_minor) AS total_minor
FROM invoice
WHERE credits_id IS NOT NULL AND number IS NOT NULL
GROUP BY credits_id;
-- Which issued invoices ask for something? Credit notes don't, nor does what was credited in whole.
CREATE VIEW standing_invoice AS
SELECT invoice.*
FROM invoice
WHERE number IS NOT NULL AND credits_id IS NULL
      AND total_minor <> COALESCE(
          (SELECT SUM(total_minor) FROM invoice AS note WHERE note.credits_id = invoice.id AND note.number IS NOT NULL), 0);

-- What was asked for the work of a job? All but interest, and what takes that back.
CREATE VIEW invoice_of_work AS
SELECT invoice.*
FROM invoice
LEFT JOIN invoice AS credited ON credited.id = invoice.credits_id
WHERE invoice.kind <> 'interest' AND credited.kind IS NOT 'interest';

-- What is off the price of each job, before tax, by what was issued? The goodwill of a final invoice is, unless all of that was
-- credited: it comes back with the rest.
CREATE VIEW job_off_price AS
SELECT job_id, SUM(off_price_minor) AS off_price_minor
FROM invoice
WHERE off_price_minor > 0 AND number IS NOT NULL
      AND (credits_id IS NOT NULL OR total_minor <> COALESCE(
          (SELECT SUM(total_minor) FROM invoice AS note WHERE note.credits_id = invoice.id AND note.number IS NOT NULL), 0))
GROUP BY job_id;

-- What is given up as lost of an invoice. A payment that comes after all is taken, and the loss is less by that.
CREATE TABLE write_off (
    id           INTEGER PRIMARY KEY,
    invoice_id   INTEGER NOT NULL REFERENCES invoice (id),
    amount_minor INTEGER NOT NULL CHECK (amount_minor > 0),
    reason       TEXT    NOT NULL CHECK (reason <> ''),
    happened_on  TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at  TEXT    NOT NULL
) STRICT;
CREATE INDEX write_off_invoice ON write_off (invoice_id);
-- A loss taken back, by a row of its own.
CREATE TABLE write_off_void (
    id           INTEGER PRIMARY KEY,
    write_off_id INTEGER NOT NULL UNIQUE REFERENCES write_off (id),
    reason       TEXT    NOT NULL CHECK (reason <> ''),
    happened_on  TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    posted_on    TEXT CHECK (posted_on IS date(posted_on)),       -- NULL: what it takes back counts nowhere
    recorded_at  TEXT    NOT NULL
) STRICT;
CREATE VIEW live_write_off AS
SELECT write_off.*
FROM write_off
LEFT JOIN write_off_void ON write_off_id = write_off.id
WHERE write_off_void.id IS NULL;

CREATE TABLE payment (
    id           INTEGER PRIMARY KEY,
    number       INTEGER NOT NULL CHECK (number > 0),
    invoice_id   INTEGER NOT NULL REFERENCES invoice (id),
    amount_minor INTEGER NOT NULL CHECK (amount_minor > 0),
    -- 1: what is beyond the invoice was to be kept as the client's credit; 0: nobody said so, and then there is none.
    kept_credit  INTEGER NOT NULL DEFAULT 0 CHECK (kept_credit IN (0, 1)),
    happened_on  TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    posted_on    TEXT CHECK (posted_on IS date(posted_on)),       -- NULL: it counts on its own day
    recorded_at  TEXT    NOT NULL,
    note         TEXT    NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX payment_number ON payment (id >> 40, number);
CREATE INDEX payment_invoice ON payment (invoice_id);
CREATE INDEX payment_day ON payment (happened_on);
CREATE INDEX payment_posted ON payment (posted_on) WHERE posted_on IS NOT NULL;

-- A payment taken back (a bounced check, a slip), by a row of its own.
CREATE TABLE payment_void (
    id          INTEGER PRIMARY KEY,
    payment_id  INTEGER NOT NULL UNIQUE REFERENCES payment (id),
    reason      TEXT    NOT NULL,
    happened_on TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    posted_on    TEXT CHECK (posted_on IS date(posted_on)),       -- NULL: what it takes back counts nowhere
    recorded_at TEXT    NOT NULL
) STRICT;

CREATE VIEW live_payment AS
SELECT payment.*
FROM payment
LEFT JOIN payment_void ON payment_void.payment_id = payment.id
WHERE payment_void.id IS NULL;

-- What was paid beyond one invoice, applied to another, which counts for as long as its payment does; or paid back to the
-- client, which counts even if the payment bounces: then it is owed again.
CREATE TABLE payment_application (
    id           INTEGER PRIMARY KEY,
    payment_id   INTEGER NOT NULL REFERENCES payment (id),
    invoice_id   INTEGER REFERENCES invoice (id),                 -- the invoice that it is applied to; NULL: paid back
    note         TEXT    NOT NULL DEFAULT '',
    amount_minor INTEGER NOT NULL CHECK (amount_minor > 0),
    posted_on    TEXT CHECK (posted_on IS date(posted_on)),       -- NULL: it counts on its own day
    happened_on  TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at  TEXT    NOT NULL
) STRICT;
CREATE INDEX payment_application_payment ON payment_application (payment_id);
CREATE INDEX payment_application_invoice ON payment_application (invoice_id);

CREATE VIEW live_application AS
SELECT application.id, payment_id, payment.invoice_id AS from_invoice_id, application.invoice_id,
       application.amount_minor, application.happened_on
FROM payment_application AS application
JOIN payment ON payment.id = payment_id
LEFT JOIN payment_void USING (payment_id)
WHERE payment_void.id IS NULL OR application.invoice_id IS NULL;

-- What counts as paid on each invoice: its payments, less what of them was applied elsewhere or paid back, and what was
-- applied to it.
CREATE VIEW invoice_paid AS
SELECT invoice.id AS invoice_id,
       (SELECT COALESCE(SUM(amount_minor), 0) FROM live_payment WHERE invoice_id = invoice.id)
       - (SELECT COALESCE(SUM(amount_minor), 0) FROM live_application WHERE from_invoice_id = invoice.id)
       + (SELECT COALESCE(SUM(amount_minor), 0) FROM live_application WHERE invoice_id = invoice.id) AS paid_minor
FROM invoice;
-- What does each issued invoice that isn't a credit note ask for, less what was credited, and what of that came or is lost?
CREATE VIEW invoice_balance AS
SELECT invoice_id, paid_minor,
       total_minor
       - (SELECT COALESCE(SUM(total_minor), 0) FROM invoice AS note
          WHERE note.credits_id = invoice.id AND note.number IS NOT NULL) AS asked_minor,
       (SELECT COALESCE(SUM(amount_minor), 0) FROM live_write_off WHERE invoice_id = invoice.id) AS lost_minor
FROM invoice
JOIN invoice_paid ON invoice_id = invoice.id
WHERE number IS NOT NULL AND credits_id IS NULL;

-- On which invoices is something owed, or paid beyond what they ask for? They follow from invoices and payments.
CREATE TABLE unsettled_invoice (
    invoice_id INTEGER PRIMARY KEY REFERENCES invoice (id)
) STRICT;
CREATE VIEW invoice_not_settled AS
SELECT invoice_id
FROM invoice_balance
WHERE paid_minor > asked_minor OR paid_minor + lost_minor < asked_minor;
-- Which finished jobs have no final invoice? They follow from what happened to jobs and from invoices.
CREATE TABLE job_to_bill (
    job_id INTEGER PRIMARY KEY REFERENCES job (id)
) STRICT;
CREATE VIEW job_not_billed AS
SELECT job_state.job_id
FROM job_state
JOIN job ON job.id = job_state.job_id
JOIN quote ON quote.id = job.quote_id AND NOT quote.own
WHERE what = 'closed'
      AND NOT EXISTS (SELECT 1 FROM standing_invoice WHERE standing_invoice.job_id = job.id AND kind IN ('final', 'release'));
CREATE TRIGGER job_event_to_bill AFTER INSERT ON job_event
BEGIN
    DELETE FROM job_to_bill WHERE job_id = NEW.job_id;
    INSERT INTO job_to_bill SELECT job_id FROM job_not_billed WHERE job_id = NEW.job_id;
END;
CREATE TRIGGER invoice_issued AFTER UPDATE OF number ON invoice
BEGIN
    DELETE FROM job_to_bill WHERE job_id = NEW.job_id;
    INSERT INTO job_to_bill SELECT job_id FROM job_not_billed WHERE job_id = NEW.job_id;
    DELETE FROM unsettled_invoice WHERE invoice_id = COALESCE(NEW.credits_id, NEW.id);
    INSERT INTO unsettled_invoice SELECT invoice_id FROM invoice_not_settled WHERE invoice_id = COALESCE(NEW.credits_id, NEW.id);
END;
CREATE TRIGGER invoice_written_off AFTER INSERT ON write_off
BEGIN
    DELETE FROM unsettled_invoice WHERE invoice_id = NEW.invoice_id;
    INSERT INTO unsettled_invoice SELECT invoice_id FROM invoice_not_settled WHERE invoice_id = NEW.invoice_id;
END;
CREATE TRIGGER write_off_taken_back AFTER INSERT ON write_off_void
BEGIN
    DELETE FROM unsettled_invoice WHERE invoice_id = (SELECT invoice_id FROM write_off WHERE id = NEW.write_off_id);
    INSERT INTO unsettled_invoice SELECT invoice_id FROM invoice_not_settled
    WHERE invoice_id = (SELECT invoice_id FROM write_off WHERE id = NEW.write_off_id);
END;
CREATE TRIGGER payment_received AFTER INSERT ON payment
BEGIN
    DELETE FROM unsettled_invoice WHERE invoice_id = NEW.invoice_id;
    INSERT INTO unsettled_invoice SELECT invoice_id FROM invoice_not_settled WHERE invoice_id = NEW.invoice_id;
END;
CREATE TRIGGER payment_applied AFTER INSERT ON payment_application
BEGIN
    DELETE FROM unsettled_invoice
    WHERE invoice_id IN (SELECT NEW.invoice_id UNION SELECT invoice_id FROM payment WHERE id = NEW.payment_id);
    INSERT INTO unsettled_invoice SELECT invoice_id FROM invoice_not_settled
    WHERE invoice_id IN (SELECT NEW.invoice_id UNION SELECT invoice_id FROM payment WHERE id = NEW.payment_id);
END;
CREATE TRIGGER payment_taken_back AFTER INSERT ON payment_void
BEGIN
    DELETE FROM unsettled_invoice
    WHERE invoice_id IN (SELECT invoice_id FROM payment WHERE id = NEW.payment_id
                         UNION SELECT invoice_id FROM payment_application WHERE payment_id = NEW.payment_id);
    INSERT INTO unsettled_invoice SELECT invoice_id FROM invoice_not_settled
    WHERE invoice_id IN (SELECT invoice_id FROM payment WHERE id = NEW.payment_id
                         UNION SELECT invoice_id FROM payment_application WHERE payment_id = NEW.payment_id);
END;

CREATE TRIGGER invoice_frozen BEFORE UPDATE ON invoice WHEN OLD.number IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'an issued invoice never changes'); END;
CREATE TRIGGER invoice_kept BEFORE DELETE ON invoice BEGIN SELECT RAISE(ABORT, 'invoices stay in the record'); END;
CREATE TRIGGER invoice_line_stays BEFORE UPDATE ON invoice_line BEGIN SELECT RAISE(ABORT, 'invoice lines never change'); END;
CREATE TRIGGER invoice_line_kept BEFORE DELETE ON invoice_line BEGIN SELECT RAISE(ABORT, 'invoice lines never change'); END;
CREATE TRIGGER invoice_line_sealed BEFORE INSERT ON invoice_line
WHEN (SELECT number FROM invoice WHERE id = NEW.invoice_id) IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'an issued invoice takes no more lines'); END;
CREATE TRIGGER invoice_allowance_stays BEFORE UPDATE ON invoice_allowance BEGIN SELECT RAISE(ABORT, 'allowances of an invoice never change'); END;
CREATE TRIGGER invoice_allowance_kept BEFORE DELETE ON invoice_allowance BEGIN SELECT RAISE(ABORT, 'allowances of an invoice never change'); END;
CREATE TRIGGER invoice_allowance_sealed BEFORE INSERT ON invoice_allowance
WHEN (SELECT number FROM invoice WHERE id = NEW.invoice_id) IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'an issued invoice takes no more allowances'); END;
CREATE TRIGGER invoice_tax_stays BEFORE UPDATE ON invoice_tax BEGIN SELECT RAISE(ABORT, 'the tax of an invoice never changes'); END;
CREATE TRIGGER invoice_tax_kept BEFORE DELETE ON invoice_tax BEGIN SELECT RAISE(ABORT, 'the tax of an invoice never changes'); END;
CREATE TRIGGER invoice_tax_sealed BEFORE INSERT ON invoice_tax
WHEN (SELECT number FROM invoice WHERE id = NEW.invoice_id) IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'an issued invoice takes no more tax'); END;
-- The database itself keeps the numbers without gaps: a number is issued only as the successor of the copy's last one.
CREATE TRIGGER invoice_gapless BEFORE UPDATE OF number ON invoice
WHEN NEW.number IS NOT NULL AND NEW.number <> 1 + COALESCE(
    (SELECT MAX(number) FROM invoice WHERE number IS NOT NULL AND id >> 40 = NEW.id >> 40), 0)
BEGIN SELECT RAISE(ABORT, 'invoice numbers run without gaps'); END;
CREATE TRIGGER invoice_drafted BEFORE INSERT ON invoice WHEN NEW.number IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'an invoice starts as a draft'); END;
-- A credit note is for an issued invoice that is none itself, and never for more than it asked for.
CREATE TRIGGER invoice_credit_of BEFORE INSERT ON invoice
WHEN NEW.credits_id IS NOT NULL
     AND NOT EXISTS (SELECT 1 FROM invoice WHERE id = NEW.credits_id AND number IS NOT NULL AND credits_id IS NULL
                                                 AND job_id = NEW.job_id)
BEGIN SELECT RAISE(ABORT, 'a credit note is for an issued invoice of its job'); END;
CREATE TRIGGER invoice_late_of BEFORE INSERT ON invoice
WHEN NEW.late_id IS NOT NULL
     AND NOT EXISTS (SELECT 1 FROM invoice WHERE id = NEW.late_id AND number IS NOT NULL AND credits_id IS NULL
                                                 AND late_id IS NULL AND job_id = NEW.job_id)
BEGIN SELECT RAISE(ABORT, 'interest is on an issued invoice of its job'); END;
CREATE TRIGGER invoice_credit_within BEFORE UPDATE OF number ON invoice
WHEN NEW.credits_id IS NOT NULL
     AND NEW.total_minor > (SELECT asked_minor FROM invoice_balance WHERE invoice_id = NEW.credits_id)
BEGIN SELECT RAISE(ABORT, 'no more is credited than was asked for'); END;
CREATE TRIGGER write_off_stays BEFORE UPDATE ON write_off BEGIN SELECT RAISE(ABORT, 'losses never change: take the loss back'); END;
CREATE TRIGGER write_off_kept BEFORE DELETE ON write_off BEGIN SELECT RAISE(ABORT, 'losses never change: take the loss back'); END;
CREATE TRIGGER write_off_void_stays BEFORE UPDATE ON write_off_void BEGIN SELECT RAISE(ABORT, 'losses never change'); END;
CREATE TRIGGER write_off_void_kept BEFORE DELETE ON write_off_void BEGIN SELECT RAISE(ABORT, 'losses never change'); END;
CREATE TRIGGER write_off_issued BEFORE INSERT ON write_off
WHEN NOT EXISTS (SELECT 1 FROM invoice_balance WHERE invoice_id = NEW.invoice_id)
BEGIN SELECT RAISE(ABORT, 'a loss is on an issued invoice'); END;
CREATE TRIGGER payment_stays BEFORE UPDATE ON payment BEGIN SELECT RAISE(ABORT, 'payments never change: void the payment'); END;
CREATE TRIGGER payment_kept BEFORE DELETE ON payment BEGIN SELECT RAISE(ABORT, 'payments never change: void the payment'); END;
CREATE TRIGGER payment_void_stays BEFORE UPDATE ON payment_void BEGIN SELECT RAISE(ABORT, 'payments never change'); END;
CREATE TRIGGER payment_void_kept BEFORE DELETE ON payment_void BEGIN SELECT RAISE(ABORT, 'payments never change'); END;
CREATE TRIGGER payment_application_stays BEFORE UPDATE ON payment_application BEGIN SELECT RAISE(ABORT, 'payments never change: void the payment'); END;
CREATE TRIGGER payment_application_kept BEFORE DELETE ON payment_application BEGIN SELECT RAISE(ABORT, 'payments never change: void the payment'); END;
CREATE TRIGGER payment_application_issued BEFORE INSERT ON payment_application
WHEN NEW.invoice_id IS NOT NULL AND (SELECT number FROM invoice WHERE id = NEW.invoice_id) IS NULL
BEGIN SELECT RAISE(ABORT, 'a payment is applied to an issued invoice'); END;
CREATE TRIGGER payment_application_within BEFORE INSERT ON payment_application
WHEN NEW.amount_minor + (SELECT COALESCE(SUM(amount_minor), 0) FROM payment_application WHERE payment_id = NEW.payment_id)
     > COALESCE((SELECT amount_minor FROM live_payment WHERE id = NEW.payment_id), 0)
BEGIN SELECT RAISE(ABORT, 'no more of a payment is applied than it is'); END;
