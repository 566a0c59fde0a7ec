-- Quotes and the jobs they become.
-- A quote is written once, with everything it was priced with; another draft is another version.
-- What happens to it afterwards (sent, accepted, declined) is a row beside it, so nothing in it ever changes.
-- A draft follows what its client, site and rooms are called; what is sent has copies of those words, and so has a job
-- that is closed.

CREATE TABLE quote (
    id              INTEGER PRIMARY KEY,
    number          INTEGER NOT NULL CHECK (number > 0),
    version         INTEGER NOT NULL DEFAULT 1 CHECK (version > 0),
    option          INTEGER NOT NULL DEFAULT 1 CHECK (option > 0),     -- one row for each option that a version offers
    option_name     TEXT    NOT NULL DEFAULT '',                       -- '': the version has no other option
    site_id         INTEGER NOT NULL REFERENCES site (id),
    job_id          INTEGER REFERENCES job (id),                  -- the job this is a variation of; NULL: not a variation
    varies_id       INTEGER REFERENCES quote (id),                -- the quote at whose rates and prices it changes the job; NULL: its own
    sequence        TEXT,                                         -- names as they were; NULL: no sanding
    schedule        TEXT,                                         -- NULL: no coats
    start_on        TEXT CHECK (start_on IS date(start_on)),           -- when the work is to begin; NULL: not known
    margin_micro    INTEGER NOT NULL CHECK (margin_micro < 1000000),   -- the share of the price kept
    confidence_micro INTEGER NOT NULL CHECK (confidence_micro BETWEEN 1 AND 999999), -- with which it is kept
    minimum_minor   INTEGER NOT NULL CHECK (minimum_minor >= 0),       -- the least that a job is done for
    step_minor      INTEGER NOT NULL CHECK (step_minor >= 0),          -- what prices are rounded up to; 0: nothing
    named_minor     INTEGER CHECK (named_minor > 0),                   -- the price that its owner named; NULL: it follows from the cost
    wage_micro      INTEGER NOT NULL CHECK (wage_micro >= 0),          -- mean wage in major units per hour
    burden_micro    INTEGER NOT NULL CHECK (burden_micro >= 0),
    overhead_micro  INTEGER NOT NULL CHECK (overhead_micro >= 0),      -- as a share of labour
    -- Tax on the price, percent: on labour and all that is neither of the others, on items, on rented machines.
    tax_labour_micro    INTEGER NOT NULL CHECK (tax_labour_micro BETWEEN 0 AND 100000000),
    tax_materials_micro INTEGER NOT NULL CHECK (tax_materials_micro BETWEEN 0 AND 100000000),
    tax_rental_micro    INTEGER NOT NULL CHECK (tax_rental_micro BETWEEN 0 AND 100000000),
    tax_included    INTEGER NOT NULL CHECK (tax_included IN (0, 1)), -- 1: prices are told with tax, the named one, minimum and step, too
    retention_micro INTEGER NOT NULL CHECK (retention_micro BETWEEN 0 AND 999999), -- the share of invoices that isn't asked for until it is released
    own             INTEGER NOT NULL CHECK (own IN (0, 1)),       -- 1: the owner's own floors; nobody pays, hours cost nothing
    -- What is to be paid before tax, discounts taken off; below zero: something is taken off a job.
    price_minor     INTEGER NOT NULL CHECK (price_minor >= 0 OR varies_id IS NOT NULL),
    -- What the price is taken apart by for tax: the costs of the lines that it was written with.
    taxed_labour_minor    INTEGER NOT NULL,
    taxed_materials_minor INTEGER NOT NULL,
    taxed_rental_minor    INTEGER NOT NULL,
    tax_minor       INTEGER NOT NULL CHECK (tax_minor >= 0 OR varies_id IS NOT NULL),
    rounding_minor  INTEGER NOT NULL DEFAULT 0,                   -- what price and tax are short of a total that is told with tax
    outlook         TEXT    NOT NULL CHECK (json_valid(outlook)),      -- seed, draws' summary, risks, rentals, needs
    drafted_on      TEXT    NOT NULL CHECK (drafted_on IS date(drafted_on)),
    recorded_at     TEXT    NOT NULL,
    CHECK (own = 0 OR (price_minor = 0 AND tax_minor = 0 AND wage_micro = 0 AND job_id IS NULL)),
    CHECK (tax_included = 1 OR rounding_minor = 0),
    CHECK (varies_id IS NULL OR job_id IS NOT NULL),
    CHECK (named_minor IS NULL OR (own = 0 AND varies_id IS NULL))
) STRICT;
CREATE UNIQUE INDEX quote_number ON quote (id >> 40, number, version, option);
CREATE INDEX quote_site ON quote (site_id);
CREATE INDEX quote_job ON quote (job_id) WHERE job_id IS NOT NULL;

-- The rooms as they were when the quote was drafted. `price_minor` is the room's share of the price, before
-- discounts are taken off.
CREATE TABLE quote_room (
    id              INTEGER PRIMARY KEY,
    quote_id        INTEGER NOT NULL REFERENCES quote (id),
    position        INTEGER NOT NULL,
    room_id         INTEGER NOT NULL REFERENCES room (id),
    area_micro      INTEGER NOT NULL CHECK (area_micro > 0),      -- sq ft
    edge_micro      INTEGER NOT NULL CHECK (edge_micro >= 0),     -- ft
    steps           INTEGER CHECK (steps > 0),                    -- NULL: not a stair
    floor_condition TEXT    NOT NULL,
    -- Parts in other conditions with their sq ft and ft of edge: `paint 48 49; bare 80 0`.
    parts           TEXT    NOT NULL,
    species         TEXT    NOT NULL,
    price_minor     INTEGER NOT NULL,
    UNIQUE (quote_id, position),
    UNIQUE (quote_id, room_id)
) STRICT;
CREATE INDEX quote_room_room ON quote_room (room_id);

CREATE TABLE quote_line (
    id              INTEGER PRIMARY KEY,
    quote_id        INTEGER NOT NULL REFERENCES quote (id),
    position        INTEGER NOT NULL,
    kind            TEXT    NOT NULL CHECK (kind IN ('work', 'rental', 'trips', 'opened', 'other', 'overhead')),
    room_id         INTEGER REFERENCES room (id),                 -- NULL: done once for the job
    -- The condition of the part that it is done on, which may be the room's own; NULL: all of the room.
    part            TEXT CHECK (part IN ('bare', 'sound-film', 'worn-film', 'oil-wax', 'paint', 'glue')),
    -- What is done, with what, as the book had it then: an edit of the book changes no quote.
    operation_id    INTEGER REFERENCES operation (id),            -- NULL: not work
    operation       TEXT,                                         -- NULL: not work
    task_id         INTEGER REFERENCES task (id),                 -- NULL: not work
    task            TEXT,                                         -- NULL: not work
    driver          TEXT CHECK (driver IN ('area', 'edge', 'count', 'length', 'room', 'job')), -- NULL: not work
    item_id         INTEGER REFERENCES item (id),                 -- NULL: labour only, or not work
    item            TEXT,                                         -- NULL: no item
    unit            TEXT,                                         -- of the item, or of what is driven; NULL: neither
    machine_id      INTEGER REFERENCES machine (id),              -- NULL: not a rental
    machine         TEXT,                                         -- NULL: not a rental
    what            TEXT    NOT NULL DEFAULT '',                  -- what an `other` line is for, where trips go
    driver_micro    INTEGER CHECK (driver_micro >= 0),            -- sq ft, ft or count, all passes; of a trip, there and back; NULL: neither
    passes          INTEGER CHECK (passes > 0),                   -- how often the sequence or schedule does it, or trips; NULL: neither
    chance_micro    INTEGER CHECK (chance_micro BETWEEN 1 AND 1000000), -- how likely it turns up; NULL: it is sure
    low_micro       INTEGER CHECK (low_micro >= 0),               -- the least of it, driver units; NULL: it is sure
    high_micro      INTEGER CHECK (high_micro >= low_micro),      -- the most of it; NULL: it is sure
    item_micro      INTEGER CHECK (item_micro >= 0),              -- expected items, or those left in opened packs; NULL: no item
    load_micro      INTEGER CHECK (load_micro >= 0),              -- items in whole sets; NULL: no item
    unit_price_micro INTEGER CHECK (unit_price_micro >= 0),       -- per item, mile or kilometre, major units; NULL: neither
    item_cost_minor INTEGER NOT NULL DEFAULT 0,
    hours_micro     INTEGER CHECK (hours_micro >= 0),             -- NULL: neither work nor trips
    labour_cost_minor INTEGER NOT NULL DEFAULT 0,
    days_micro      INTEGER CHECK (days_micro >= 0),              -- expected rental days; NULL: not a rental
    other_cost_minor INTEGER NOT NULL DEFAULT 0,                  -- cost of a rental, trips (their hours aside), opened, other or overhead line
    once_minor      INTEGER NOT NULL DEFAULT 0 CHECK (once_minor >= 0), -- what of a rental's cost is waiver and cleaning
    UNIQUE (quote_id, position),
    CHECK ((kind = 'work') = (operation_id IS NOT NULL)),
    CHECK (part IS NULL OR (kind = 'work' AND room_id IS NOT NULL)),
    CHECK ((operation_id IS NULL) = (operation IS NULL) AND (operation_id IS NULL) = (task_id IS NULL)
           AND (operation_id IS NULL) = (task IS NULL) AND (operation_id IS NULL) = (driver IS NULL)),
    CHECK ((item_id IS NULL) = (item IS NULL) AND (item_id IS NULL AND kind <> 'trips') = (unit IS NULL)),
    CHECK (kind <> 'trips' OR (driver_micro IS NOT NULL AND passes IS NOT NULL AND unit_price_micro IS NOT NULL
                               AND hours_micro IS NOT NULL)),
    CHECK ((machine_id IS NULL) = (machine IS NULL)),
    CHECK ((kind = 'rental') = (machine_id IS NOT NULL)),
    CHECK (once_minor <= CASE kind WHEN 'rental' THEN other_cost_minor ELSE 0 END),
    CHECK (kind <> 'opened' OR item_id IS NOT NULL),
    CHECK ((chance_micro IS NULL) = (low_micro IS NULL) AND (chance_micro IS NULL) = (high_micro IS NULL))
) STRICT;

-- The agreed lines that a variation's own stand in the place of, or that nothing does: once it is accepted, they are
-- expected no longer.
CREATE TABLE replaced_line (
    quote_id INTEGER NOT NULL REFERENCES quote (id),
    line_id  INTEGER NOT NULL REFERENCES quote_line (id),
    PRIMARY KEY (quote_id, line_id)
) STRICT, WITHOUT ROWID;
-- Which variations replace a line?
CREATE INDEX replaced_line_line ON replaced_line (line_id);

-- What is taken off the price of a quote, each for a reason that the client reads.
CREATE TABLE quote_discount (
    quote_id     INTEGER NOT NULL REFERENCES quote (id),
    position     INTEGER NOT NULL,
    reason       TEXT    NOT NULL CHECK (reason <> ''),
    amount_minor INTEGER NOT NULL CHECK (amount_minor > 0),       -- before tax
    told_minor   INTEGER NOT NULL CHECK (told_minor > 0),         -- as the client reads it
    PRIMARY KEY (quote_id, position)
) STRICT, WITHOUT ROWID;

-- The tariffs that the quote's rentals were priced with.
CREATE TABLE quote_tariff (
    quote_id         INTEGER NOT NULL REFERENCES quote (id),
    machine_id       INTEGER NOT NULL REFERENCES machine (id),
    half_day_minor   INTEGER CHECK (half_day_minor >= 0),         -- NULL: not offered; so for each period
    day_minor        INTEGER NOT NULL CHECK (day_minor >= 0),
    weekend_minor    INTEGER CHECK (weekend_minor >= 0),
    week_minor       INTEGER CHECK (week_minor >= 0),
    four_weeks_minor INTEGER CHECK (four_weeks_minor >= 0),
    waiver_micro     INTEGER NOT NULL CHECK (waiver_micro BETWEEN 0 AND 100000000),  -- percent of the charge
    cleaning_minor   INTEGER NOT NULL CHECK (cleaning_minor >= 0),
    PRIMARY KEY (quote_id, machine_id)
) STRICT, WITHOUT ROWID;

-- The rates that the quote was priced with, and where they came from.
CREATE TABLE quote_rate (
    quote_id        INTEGER NOT NULL REFERENCES quote (id),
    operation_id    INTEGER NOT NULL REFERENCES operation (id),
    kind            TEXT    NOT NULL CHECK (kind IN ('item', 'hours')),
    floor_condition TEXT    NOT NULL,
    species         TEXT    NOT NULL,
    rate            TEXT    NOT NULL CHECK (json_valid(rate)),         -- as `ledger/kept` writes it, like every JSON here
    PRIMARY KEY (quote_id, operation_id, kind, floor_condition, species)
) STRICT, WITHOUT ROWID;

-- Cautions as they were shown with the quote.
CREATE TABLE quote_caution (
    quote_id INTEGER NOT NULL REFERENCES quote (id),
    position INTEGER NOT NULL,
    caution  TEXT    NOT NULL,
    source   TEXT    NOT NULL,
    PRIMARY KEY (quote_id, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE quote_event (
    id          INTEGER PRIMARY KEY,
    quote_id    INTEGER NOT NULL REFERENCES quote (id),
    what        TEXT    NOT NULL CHECK (what IN ('sent', 'accepted', 'declined', 'withdrawn')), -- a draft is withdrawn unsent
    valid_until TEXT CHECK (valid_until IS date(valid_until)),    -- of `sent`; NULL: other events
    -- Whom it was sent to, for which address, by whom and on what terms, in the words of that day; NULL: other events.
    client         TEXT,
    client_address TEXT,
    site           TEXT,
    letterhead_id  INTEGER REFERENCES letterhead (id),
    exemption      TEXT,                                          -- why no tax is asked of the client; empty: it is
    cancellation_days   INTEGER CHECK (cancellation_days >= 0),   -- NULL: no such right was set, or another event
    cancellation_source TEXT,                                     -- where that is written; NULL: not said
    happened_on TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at TEXT    NOT NULL,
    UNIQUE (quote_id, what),
    CHECK ((what = 'sent') = (valid_until IS NOT NULL) AND (what = 'sent') = (client IS NOT NULL)
           AND (what = 'sent') = (client_address IS NOT NULL) AND (what = 'sent') = (site IS NOT NULL)
           AND (what = 'sent') = (letterhead_id IS NOT NULL) AND (what = 'sent') = (exemption IS NOT NULL)),
    CHECK (what = 'sent' OR (cancellation_days IS NULL AND cancellation_source IS NULL))
) STRICT;
-- Which quotes can still be answered, or could lately?
CREATE INDEX quote_event_valid ON quote_event (valid_until) WHERE what = 'sent';

-- What the rooms of a quote were called when it was sent.
CREATE TABLE sent_room (
    quote_event_id INTEGER NOT NULL REFERENCES quote_event (id),
    room_id        INTEGER NOT NULL REFERENCES room (id),
    name           TEXT    NOT NULL,
    PRIMARY KEY (quote_event_id, room_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE job (
    id          INTEGER PRIMARY KEY,
    number      INTEGER NOT NULL CHECK (number > 0),
    site_id     INTEGER NOT NULL REFERENCES site (id),
    quote_id    INTEGER REFERENCES quote (id),                    -- NULL: from before the ledger, without its quote
    -- Of a job from before the ledger: what the firm calls it, and what it agreed in one line; NULL: the quote says it.
    own_name    TEXT CHECK (own_name <> ''),
    price_minor INTEGER CHECK (price_minor >= 0),
    cost_minor  INTEGER CHECK (cost_minor >= 0),                  -- what it was to cost; NULL: not known, or the quote says it
    recorded_at TEXT    NOT NULL,
    CHECK ((quote_id IS NULL) = (own_name IS NOT NULL) AND (quote_id IS NULL) = (price_minor IS NOT NULL)),
    CHECK (cost_minor IS NULL OR quote_id IS NULL)
) STRICT;
CREATE UNIQUE INDEX job_own_name ON job (own_name) WHERE own_name IS NOT NULL;
CREATE UNIQUE INDEX job_number ON job (id >> 40, number);
CREATE UNIQUE INDEX job_quote ON job (quote_id) WHERE quote_id IS NOT NULL;
CREATE INDEX job_site ON job (site_id);

CREATE TABLE job_event (
    id          INTEGER PRIMARY KEY,
    job_id      INTEGER NOT NULL REFERENCES job (id),
    what        TEXT    NOT NULL CHECK (what IN ('agreed', 'started', 'closed', 'reopened', 'cancelled')),
    reason      TEXT CHECK (reason <> ''),                        -- of `cancelled`; NULL: other events
    -- Of `closed` and `cancelled`: whom it was for, and where, in the words of that day; NULL: other events.
    client_id   INTEGER REFERENCES client (id),
    client      TEXT,
    site        TEXT,
    happened_on TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at TEXT    NOT NULL,
    CHECK ((what IN ('closed', 'cancelled')) = (client_id IS NOT NULL) AND (client_id IS NULL) = (client IS NULL)
           AND (client_id IS NULL) = (site IS NULL)),
    CHECK ((what = 'cancelled') = (reason IS NOT NULL))
) STRICT;
CREATE INDEX job_event_job ON job_event (job_id, id);
-- Which jobs were done for a client?
CREATE INDEX job_event_client ON job_event (client_id) WHERE client_id IS NOT NULL;

-- What the rooms of the site were called when a job was closed or cancelled, and how its own had turned out to measure.
CREATE TABLE closed_room (
    job_event_id    INTEGER NOT NULL REFERENCES job_event (id),
    room_id         INTEGER NOT NULL REFERENCES room (id),
    name            TEXT    NOT NULL,
    -- NULL: the job did nothing in the room, or it wasn't measured.
    area_micro      INTEGER CHECK (area_micro > 0),               -- sq ft
    edge_micro      INTEGER CHECK (edge_micro >= 0),              -- ft
    steps           INTEGER CHECK (steps > 0),                    -- NULL: not a stair either
    floor_condition TEXT,
    parts           TEXT,                                         -- as in quote_room
    species         TEXT,
    PRIMARY KEY (job_event_id, room_id),
    CHECK ((area_micro IS NULL) = (edge_micro IS NULL) AND (area_micro IS NULL) = (floor_condition IS NULL)
           AND (area_micro IS NULL) = (parts IS NULL) AND (area_micro IS NULL) = (species IS NULL)),
    CHECK (area_micro IS NOT NULL OR steps IS NULL)
) STRICT, WITHOUT ROWID;

-- Where a job stands: its newest event.
CREATE VIEW job_state AS
SELECT job.id AS job_id, what, happened_on, event.recorded_at, event.id AS event_id
FROM job
JOIN job_event AS event ON event.id = (SELECT MAX(id) FROM job_event WHERE job_id = job.id);

-- Which jobs are neither closed nor cancelled? They follow from the events, and are few however many jobs there are.
CREATE TABLE job_under_way (
    job_id INTEGER PRIMARY KEY REFERENCES job (id)
) STRICT;
CREATE TRIGGER job_event_under_way AFTER INSERT ON job_event
BEGIN
    DELETE FROM job_under_way WHERE job_id = NEW.job_id;
    INSERT INTO job_under_way SELECT job_id FROM job_state WHERE job_id = NEW.job_id AND what NOT IN ('closed', 'cancelled');
END;

-- Whom a job is for, and where: as it was when it was closed or cancelled, or as they are called while it isn't.
CREATE VIEW job_party AS
SELECT job.id AS job_id, COALESCE(closed.client_id, site.client_id) AS client_id,
       COALESCE(closed.client, client.name) AS client, COALESCE(closed.site, site.address) AS site,
       closed.id AS closed_event_id
FROM job
JOIN site ON site.id = job.site_id
JOIN client ON client.id = site.client_id
LEFT JOIN job_event AS closed
    ON closed.id = (SELECT MAX(id) FROM job_event WHERE job_id = job.id) AND closed.what IN ('closed', 'cancelled');

-- What the rooms of a job are called, those that its site has no longer too.
CREATE VIEW job_room AS
SELECT job_party.job_id, room.id AS room_id, COALESCE(closed_room.name, room.name) AS name
FROM job
JOIN job_party ON job_party.job_id = job.id
JOIN room ON room.site_id = job.site_id
LEFT JOIN closed_room ON closed_room.job_event_id = closed_event_id AND closed_room.room_id = room.id;

-- In what order and on which days a house is done. A quote has one when it was drafted from a plan; when days are lost the
-- rest is planned again, and the newest row counts. `request` is what was asked for, so that it can be asked again.
CREATE TABLE house_plan (
    id              INTEGER PRIMARY KEY,
    quote_id        INTEGER NOT NULL REFERENCES quote (id),
    revision        INTEGER NOT NULL CHECK (revision >= 0),       -- 0: as quoted
    plan            TEXT    NOT NULL CHECK (json_valid(plan)),
    request         TEXT    NOT NULL CHECK (json_valid(request)),
    lost_days       TEXT    NOT NULL CHECK (json_valid(lost_days)),  -- every day that was lost until then
    recorded_at     TEXT    NOT NULL,
    UNIQUE (quote_id, revision)
) STRICT;
CREATE TRIGGER house_plan_stays BEFORE UPDATE ON house_plan BEGIN SELECT RAISE(ABORT, 'a plan never changes: it is planned again'); END;
CREATE TRIGGER house_plan_kept BEFORE DELETE ON house_plan BEGIN SELECT RAISE(ABORT, 'plans stay in the record'); END;

CREATE TRIGGER quote_stays BEFORE UPDATE ON quote BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_kept BEFORE DELETE ON quote BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_room_stays BEFORE UPDATE ON quote_room BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_room_kept BEFORE DELETE ON quote_room BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_line_stays BEFORE UPDATE ON quote_line BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_line_kept BEFORE DELETE ON quote_line BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER replaced_line_stays BEFORE UPDATE ON replaced_line BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER replaced_line_kept BEFORE DELETE ON replaced_line BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_tariff_stays BEFORE UPDATE ON quote_tariff BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_tariff_kept BEFORE DELETE ON quote_tariff BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_rate_stays BEFORE UPDATE ON quote_rate BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_rate_kept BEFORE DELETE ON quote_rate BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_caution_stays BEFORE UPDATE ON quote_caution BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_caution_kept BEFORE DELETE ON quote_caution BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_discount_stays BEFORE UPDATE ON quote_discount BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_discount_kept BEFORE DELETE ON quote_discount BEGIN SELECT RAISE(ABORT, 'a quote never changes: draft another version'); END;
CREATE TRIGGER quote_event_stays BEFORE UPDATE ON quote_event BEGIN SELECT RAISE(ABORT, 'what happened to a quote never changes'); END;
CREATE TRIGGER quote_event_kept BEFORE DELETE ON quote_event BEGIN SELECT RAISE(ABORT, 'what happened to a quote never changes'); END;
CREATE TRIGGER sent_room_stays BEFORE UPDATE ON sent_room BEGIN SELECT RAISE(ABORT, 'what was sent never changes'); END;
CREATE TRIGGER sent_room_kept BEFORE DELETE ON sent_room BEGIN SELECT RAISE(ABORT, 'what was sent never changes'); END;
CREATE TRIGGER quote_room_sealed BEFORE INSERT ON quote_room
WHEN EXISTS (SELECT 1 FROM quote_event WHERE quote_id = NEW.quote_id)
BEGIN SELECT RAISE(ABORT, 'a sent quote takes no more rooms'); END;
CREATE TRIGGER quote_line_sealed BEFORE INSERT ON quote_line
WHEN EXISTS (SELECT 1 FROM quote_event WHERE quote_id = NEW.quote_id)
BEGIN SELECT RAISE(ABORT, 'a sent quote takes no more lines'); END;
CREATE TRIGGER replaced_line_sealed BEFORE INSERT ON replaced_line
WHEN EXISTS (SELECT 1 FROM quote_event WHERE quote_id = NEW.quote_id)
BEGIN SELECT RAISE(ABORT, 'a sent quote replaces no more lines'); END;
CREATE TRIGGER quote_tariff_sealed BEFORE INSERT ON quote_tariff
WHEN EXISTS (SELECT 1 FROM quote_event WHERE quote_id = NEW.quote_id)
BEGIN SELECT RAISE(ABORT, 'a sent quote takes no more tariffs'); END;
CREATE TRIGGER quote_rate_sealed BEFORE INSERT ON quote_rate
WHEN EXISTS (SELECT 1 FROM quote_event WHERE quote_id = NEW.quote_id)
BEGIN SELECT RAISE(ABORT, 'a sent quote takes no more rates'); END;
CREATE TRIGGER quote_caution_sealed BEFORE INSERT ON quote_caution
WHEN EXISTS (SELECT 1 FROM quote_event WHERE quote_id = NEW.quote_id)
BEGIN SELECT RAISE(ABORT, 'a sent quote takes no more cautions'); END;
CREATE TRIGGER quote_discount_sealed BEFORE INSERT ON quote_discount
WHEN EXISTS (SELECT 1 FROM quote_event WHERE quote_id = NEW.quote_id)
BEGIN SELECT RAISE(ABORT, 'a sent quote takes no more discounts'); END;
CREATE TRIGGER job_stays BEFORE UPDATE ON job BEGIN SELECT RAISE(ABORT, 'a job keeps its number, site and quote'); END;
CREATE TRIGGER job_kept BEFORE DELETE ON job BEGIN SELECT RAISE(ABORT, 'jobs stay in the record'); END;
CREATE TRIGGER job_event_stays BEFORE UPDATE ON job_event BEGIN SELECT RAISE(ABORT, 'what happened to a job never changes'); END;
CREATE TRIGGER job_event_kept BEFORE DELETE ON job_event BEGIN SELECT RAISE(ABORT, 'what happened to a job never changes'); END;
CREATE TRIGGER closed_room_stays BEFORE UPDATE ON closed_room BEGIN SELECT RAISE(ABORT, 'what a closed job was called never changes'); END;
CREATE TRIGGER closed_room_kept BEFORE DELETE ON closed_room BEGIN SELECT RAISE(ABORT, 'what a closed job was called never changes'); END;
