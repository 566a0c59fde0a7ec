-- The firm's book: what can be done, with what, at what rates and prices.
-- It starts from seed-data/ and is edited ever after. Quotes copy what they were priced with, so an edit never reaches back.

CREATE TABLE task (
    id   INTEGER PRIMARY KEY,
    name TEXT NOT NULL CHECK (name <> '')
) STRICT;
CREATE UNIQUE INDEX task_name ON task (name COLLATE NOCASE);

CREATE TABLE item (
    id          INTEGER PRIMARY KEY,
    name        TEXT    NOT NULL CHECK (name <> ''),
    description TEXT    NOT NULL DEFAULT '',
    unit        TEXT    NOT NULL CHECK (unit IN ('disc', 'gal', 'l', 'each', 'ft', 'm', 'sqft', 'm2')),
    kept        INTEGER NOT NULL DEFAULT 1 CHECK (kept IN (0, 1)),        -- 0: an opened container doesn't keep
    returnable  INTEGER NOT NULL DEFAULT 0 CHECK (returnable IN (0, 1)),  -- 1: unopened packs can be handed back
    active      INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1)),      -- 0: out of use
    recorded_at TEXT    NOT NULL
) STRICT;
CREATE UNIQUE INDEX item_name ON item (name COLLATE NOCASE);

-- The packs an item is sold in. The lowest position is the pack usually bought: its price per unit is the book price.
CREATE TABLE item_pack (
    id          INTEGER PRIMARY KEY,
    item_id     INTEGER NOT NULL REFERENCES item (id),
    position    INTEGER NOT NULL,
    size_micro  INTEGER NOT NULL CHECK (size_micro > 0),
    price_minor INTEGER NOT NULL CHECK (price_minor >= 0),
    source      TEXT    NOT NULL,
    UNIQUE (item_id, position)
) STRICT;

-- A machine and its rental yard's tariff. A NULL price means that the yard doesn't offer the period.
CREATE TABLE machine (
    id               INTEGER PRIMARY KEY,
    name             TEXT    NOT NULL CHECK (name <> ''),
    description      TEXT    NOT NULL DEFAULT '',
    half_day_minor   INTEGER CHECK (half_day_minor >= 0),
    day_minor        INTEGER NOT NULL CHECK (day_minor >= 0),
    weekend_minor    INTEGER CHECK (weekend_minor >= 0),
    week_minor       INTEGER CHECK (week_minor >= 0),
    four_weeks_minor INTEGER CHECK (four_weeks_minor >= 0),
    waiver_micro     INTEGER NOT NULL DEFAULT 0 CHECK (waiver_micro BETWEEN 0 AND 100000000),  -- percent of the charge
    cleaning_minor   INTEGER NOT NULL DEFAULT 0 CHECK (cleaning_minor >= 0),
    active           INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1)),  -- 0: out of use
    source           TEXT    NOT NULL,
    recorded_at      TEXT    NOT NULL
) STRICT;
CREATE UNIQUE INDEX machine_name ON machine (name COLLATE NOCASE);

CREATE TABLE operation (
    id          INTEGER PRIMARY KEY,
    name        TEXT    NOT NULL CHECK (name <> ''),
    task_id     INTEGER NOT NULL REFERENCES task (id),
    driver      TEXT    NOT NULL CHECK (driver IN ('area', 'edge', 'count', 'length', 'room', 'job')),
    item_id     INTEGER REFERENCES item (id),                     -- NULL: labour only
    set_size    INTEGER CHECK (set_size > 0),                     -- how many are changed at once; NULL: measured, or no item
    family      TEXT    NOT NULL,                                 -- operations that share a fixed amount and a grain
    splits      TEXT    NOT NULL CHECK (splits IN ('none', 'condition', 'species', 'both')),
    machine_id  INTEGER REFERENCES machine (id),                  -- NULL: no rented machine
    grit        INTEGER CHECK (grit > 0),                         -- NULL: cuts nothing
    harden_hours_micro INTEGER CHECK (harden_hours_micro > 0),    -- how long until it can be sanded; NULL: at once
    active      INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1)), -- 0: out of use
    answers     TEXT,                                             -- the kind of finding it answers; NULL: none
    description TEXT    NOT NULL DEFAULT '',
    source      TEXT    NOT NULL,
    recorded_at TEXT    NOT NULL
) STRICT;
CREATE UNIQUE INDEX operation_name ON operation (name COLLATE NOCASE);
CREATE UNIQUE INDEX operation_answers ON operation (answers) WHERE answers IS NOT NULL;

CREATE TABLE operation_hazard (
    operation_id INTEGER NOT NULL REFERENCES operation (id),
    hazard       TEXT    NOT NULL CHECK (hazard IN ('dust', 'oily-rags', 'solvent', 'noise', 'acid', 'cables', 'filler', 'glue')),
    PRIMARY KEY (operation_id, hazard)
) STRICT, WITHOUT ROWID;

CREATE TABLE sequence (
    id          INTEGER PRIMARY KEY,
    name        TEXT NOT NULL CHECK (name <> ''),
    recorded_at TEXT NOT NULL
) STRICT;
CREATE UNIQUE INDEX sequence_name ON sequence (name COLLATE NOCASE);

CREATE TABLE sequence_step (
    sequence_id  INTEGER NOT NULL REFERENCES sequence (id),
    position     INTEGER NOT NULL,
    operation_id INTEGER NOT NULL REFERENCES operation (id),
    source       TEXT    NOT NULL,
    PRIMARY KEY (sequence_id, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE schedule (
    id          INTEGER PRIMARY KEY,
    name        TEXT NOT NULL CHECK (name <> ''),
    recorded_at TEXT NOT NULL
) STRICT;
CREATE UNIQUE INDEX schedule_name ON schedule (name COLLATE NOCASE);

-- Times are those after the step's coat; NULL: the step is not a coat (it abrades between coats).
CREATE TABLE schedule_step (
    schedule_id        INTEGER NOT NULL REFERENCES schedule (id),
    position           INTEGER NOT NULL,
    operation_id       INTEGER NOT NULL REFERENCES operation (id),
    recoat_hours_micro INTEGER CHECK (recoat_hours_micro >= 0),
    light_use_micro    INTEGER CHECK (light_use_micro >= 0),
    furniture_days_micro INTEGER CHECK (furniture_days_micro >= 0),
    cure_days_micro    INTEGER CHECK (cure_days_micro >= 0),
    source             TEXT    NOT NULL,
    PRIMARY KEY (schedule_id, position)
) STRICT, WITHOUT ROWID;

-- Book rates are dated facts like settings: the newest row of (operation, condition, species, kind) counts.
-- `driver_per_item` is kept in thousand-millionths: 24.7 sq ft per set of three is 8.233333333 per disc.
CREATE TABLE book_rate (
    id                   INTEGER PRIMARY KEY,
    operation_id         INTEGER NOT NULL REFERENCES operation (id),
    floor_condition      TEXT,                                     -- NULL: any condition
    species              TEXT,                                     -- NULL: any species
    kind                 TEXT    NOT NULL CHECK (kind IN ('item', 'hours')),
    driver_per_item_nano INTEGER NOT NULL CHECK (driver_per_item_nano > 0),
    fixed_micro          INTEGER CHECK (fixed_micro >= 0),         -- NULL: not stated; the family's, where a floor is covered
    source               TEXT    NOT NULL,
    recorded_at          TEXT    NOT NULL
) STRICT;
CREATE INDEX book_rate_operation ON book_rate (operation_id, kind, id);

CREATE TRIGGER book_rate_stays BEFORE UPDATE ON book_rate BEGIN SELECT RAISE(ABORT, 'a book rate is replaced by a new row'); END;
CREATE TRIGGER book_rate_kept BEFORE DELETE ON book_rate BEGIN SELECT RAISE(ABORT, 'book rates stay in the record'); END;
