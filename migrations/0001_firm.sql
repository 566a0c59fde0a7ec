-- The firm and the people and places it works for.
--
-- Conventions of every migration
--   * Tables are STRICT. Ids start at (copy number) * 2^40, so that rows written by two copies of a ledger never collide.
--   * `_minor` is money in minor units (cents); `_micro` is a quantity in millionths; `_nm` is a length in nanometres.
--   * Dates are ISO 8601 text. `happened_on` is when a thing happened, `recorded_at` when the ledger was told.
--   * A column without NOT NULL says beside it what NULL means.
--   * Nothing is deleted. What is no longer wanted gets a `voided_on`, or a row that takes it back.

CREATE TABLE ledger (
    id         INTEGER PRIMARY KEY CHECK (id = 1),
    business   TEXT    NOT NULL CHECK (business <> ''),
    currency   TEXT    NOT NULL CHECK (length(currency) = 3),
    units      TEXT    NOT NULL CHECK (units IN ('us', 'metric')),
    -- Whose laws are named, by its ISO 3166-1 code; NULL: none's are, and local rules are referred to.
    country    TEXT    CHECK (length(country) = 2),
    -- How figures and dates are typed here; nothing is kept or printed so.
    decimal_mark TEXT  NOT NULL CHECK (decimal_mark IN ('point', 'comma')),
    date_order TEXT    NOT NULL CHECK (date_order IN ('month-day', 'day-month')),
    -- Which copy of the ledger this file is: 0 is the first; each copy hands out ids and numbers of its own.
    copy       INTEGER NOT NULL DEFAULT 0 CHECK (copy BETWEEN 0 AND 1000),
    created_at TEXT    NOT NULL
) STRICT;

-- Settings are dated facts: the newest row of a name counts, older ones stay in the record.
CREATE TABLE setting (
    id          INTEGER PRIMARY KEY,
    name        TEXT NOT NULL,
    value       TEXT NOT NULL,
    source      TEXT NOT NULL,
    recorded_at TEXT NOT NULL
) STRICT;
CREATE INDEX setting_newest ON setting (name, id);

-- How the firm stands on its papers: a row for each wording that a quote was sent or an invoice issued with.
CREATE TABLE letterhead (
    id            INTEGER PRIMARY KEY,
    name          TEXT NOT NULL CHECK (name <> ''),
    address       TEXT NOT NULL,
    phone         TEXT NOT NULL,
    email         TEXT NOT NULL,
    tax_number    TEXT NOT NULL,
    registration  TEXT NOT NULL,
    account       TEXT NOT NULL,
    quote_terms   TEXT NOT NULL,
    payment_terms TEXT NOT NULL,
    recorded_at   TEXT NOT NULL
) STRICT;
CREATE TRIGGER letterhead_stays BEFORE UPDATE ON letterhead BEGIN SELECT RAISE(ABORT, 'what went out stays as it was'); END;
CREATE TRIGGER letterhead_kept BEFORE DELETE ON letterhead BEGIN SELECT RAISE(ABORT, 'what went out stays as it was'); END;

-- One sentence for every write.
CREATE TABLE log (
    id          INTEGER PRIMARY KEY,
    recorded_at TEXT NOT NULL,
    sentence    TEXT NOT NULL CHECK (sentence <> '')
) STRICT;

CREATE TABLE tax_area (
    id          INTEGER PRIMARY KEY,
    name        TEXT NOT NULL,
    recorded_at TEXT NOT NULL
) STRICT;
CREATE UNIQUE INDEX tax_area_name ON tax_area (name COLLATE NOCASE);

-- A rate holds from its date until the area's next one for the same kind of line, or for the whole price. What is bought
-- is taxed as a cost of the firm's.
CREATE TABLE tax_rate (
    id          INTEGER PRIMARY KEY,
    tax_area_id INTEGER NOT NULL REFERENCES tax_area (id),
    applies_to  TEXT    NOT NULL DEFAULT 'price' CHECK (applies_to IN ('price', 'labour', 'materials', 'rental', 'bought')),
    percent_micro INTEGER NOT NULL CHECK (percent_micro BETWEEN 0 AND 100000000),
    valid_from  TEXT    NOT NULL CHECK (valid_from IS date(valid_from)),
    recorded_at TEXT    NOT NULL
) STRICT;
CREATE INDEX tax_rate_area ON tax_rate (tax_area_id, valid_from);

CREATE TABLE client (
    id          INTEGER PRIMARY KEY,
    name        TEXT NOT NULL CHECK (name <> ''),
    phone       TEXT NOT NULL DEFAULT '',
    email       TEXT NOT NULL DEFAULT '',
    address     TEXT NOT NULL DEFAULT '',
    tax_number  TEXT NOT NULL DEFAULT '',                          -- the number that they are taxed under
    exempt      TEXT NOT NULL DEFAULT '',                          -- why no tax is asked of them; empty: it is
    note        TEXT NOT NULL DEFAULT '',
    recorded_at TEXT NOT NULL,
    voided_on   TEXT CHECK (voided_on IS date(voided_on))          -- NULL: in use
) STRICT;
CREATE UNIQUE INDEX client_name ON client (name COLLATE NOCASE) WHERE voided_on IS NULL;
CREATE INDEX client_accented ON client (name) WHERE name GLOB '*[^ -~]*';

CREATE TABLE site (
    id          INTEGER PRIMARY KEY,
    client_id   INTEGER NOT NULL REFERENCES client (id),
    address     TEXT    NOT NULL CHECK (address <> ''),
    year_built  INTEGER CHECK (year_built BETWEEN 1500 AND 2200),  -- NULL: not known, treated as old by the cautions
    tax_area_id INTEGER REFERENCES tax_area (id),                  -- NULL: the setting `tax-percent` applies
    distance_micro INTEGER CHECK (distance_micro >= 0),            -- miles or kilometres one way, as the ledger counts; NULL: not known
    note        TEXT    NOT NULL DEFAULT '',
    recorded_at TEXT    NOT NULL,
    voided_on   TEXT CHECK (voided_on IS date(voided_on))          -- NULL: in use
) STRICT;
CREATE UNIQUE INDEX site_address ON site (address COLLATE NOCASE) WHERE voided_on IS NULL;
CREATE INDEX site_accented ON site (address) WHERE address GLOB '*[^ -~]*';
CREATE INDEX site_client ON site (client_id);

CREATE TABLE room (
    id              INTEGER PRIMARY KEY,
    site_id         INTEGER NOT NULL REFERENCES site (id),
    name            TEXT    NOT NULL CHECK (name <> ''),
    -- Base shape and parts as they were typed, bare numbers in the ledger's unit: `14 x 12; plus 5 x 2; less 4' x 1'6"`,
    -- `walls 14' r 11'6" r ...`.
    shape           TEXT    NOT NULL,
    floor_condition TEXT    NOT NULL CHECK (floor_condition IN ('bare', 'sound-film', 'worn-film', 'oil-wax', 'paint', 'glue')),
    species         TEXT    NOT NULL CHECK (species IN ('red-oak', 'white-oak', 'hard-maple', 'birch', 'beech', 'ash',
                        'hickory', 'walnut', 'cherry', 'heart-pine', 'pine', 'douglas-fir', 'other')),
    -- Parts of its floor in a condition of their own, as they were typed like the shape: `border 1': paint; 3 x 12: worn-film`.
    parts           TEXT    NOT NULL DEFAULT '',
    layout          TEXT    NOT NULL DEFAULT 'strip' CHECK (layout IN ('strip', 'plank', 'parquet', 'herringbone')),
    -- 0: a place that is only a way through the house (a tiled bath), never sanded.
    refinished      INTEGER NOT NULL DEFAULT 1 CHECK (refinished IN (0, 1)),
    note            TEXT    NOT NULL DEFAULT '',
    recorded_at     TEXT    NOT NULL,
    voided_on       TEXT CHECK (voided_on IS date(voided_on))      -- NULL: in use
) STRICT;
-- Which rooms does a site have, or had it? Jobs keep those that it has no longer.
CREATE INDEX room_site ON room (site_id);
CREATE UNIQUE INDEX room_name ON room (site_id, name COLLATE NOCASE) WHERE voided_on IS NULL;

-- An opening known from both sides: its width comes off the edge of the room and of the other room.
CREATE TABLE doorway (
    id            INTEGER PRIMARY KEY,
    room_id       INTEGER NOT NULL REFERENCES room (id),
    other_room_id INTEGER REFERENCES room (id) CHECK (other_room_id <> room_id),  -- NULL: leads outside
    width_nm      INTEGER NOT NULL CHECK (width_nm > 0),
    voided_on     TEXT CHECK (voided_on IS date(voided_on))        -- NULL: in use
) STRICT;
CREATE INDEX doorway_room ON doorway (room_id);
CREATE INDEX doorway_other_room ON doorway (other_room_id);

-- What the walk-through found. `kind` is a kind that some operation of the book answers.
CREATE TABLE finding (
    id             INTEGER PRIMARY KEY,
    room_id        INTEGER NOT NULL REFERENCES room (id),
    kind           TEXT    NOT NULL CHECK (kind <> ''),
    quantity_micro INTEGER NOT NULL CHECK (quantity_micro > 0),
    most_micro     INTEGER CHECK (most_micro > quantity_micro),    -- the most there may be; NULL: just the quantity
    unit           TEXT    NOT NULL CHECK (unit IN ('each', 'ft', 'sqft')),
    -- How likely it turns up, or takes more (below); NULL: it is sure.
    chance_micro   INTEGER CHECK (chance_micro BETWEEN 1 AND 1000000),
    -- What it takes beside its answer, with that chance, and from how much to how much; NULL: nothing else.
    if_so_operation_id INTEGER REFERENCES operation (id),
    if_so_low_micro    INTEGER CHECK (if_so_low_micro > 0),
    if_so_high_micro   INTEGER CHECK (if_so_high_micro >= if_so_low_micro),
    place          TEXT    NOT NULL DEFAULT '',
    note           TEXT    NOT NULL DEFAULT '',
    -- 1: what had the chance turned up, 0: it didn't; the log says when that was told. NULL: not known, or it is sure.
    turned_up      INTEGER CHECK (turned_up IN (0, 1)),
    recorded_at    TEXT    NOT NULL,
    voided_on      TEXT CHECK (voided_on IS date(voided_on)),      -- NULL: in use
    CHECK (turned_up IS NULL OR (chance_micro IS NOT NULL AND chance_micro < 1000000)),
    CHECK ((if_so_operation_id IS NULL) = (if_so_low_micro IS NULL)),
    CHECK ((if_so_operation_id IS NULL) = (if_so_high_micro IS NULL)),
    CHECK (if_so_operation_id IS NULL OR chance_micro IS NOT NULL)
) STRICT;
CREATE INDEX finding_room ON finding (room_id);
-- How often did what had a chance turn up?
CREATE INDEX finding_turned_up ON finding (kind) WHERE turned_up IS NOT NULL;

-- The pieces that a length was measured in, such as trim from corner to corner; no row: only the sum was measured.
CREATE TABLE finding_piece (
    id         INTEGER PRIMARY KEY,
    finding_id INTEGER NOT NULL REFERENCES finding (id),
    length_nm  INTEGER NOT NULL CHECK (length_nm > 0)
) STRICT;
CREATE INDEX finding_piece_finding ON finding_piece (finding_id);

CREATE TABLE worker (
    id          INTEGER PRIMARY KEY,
    name        TEXT    NOT NULL CHECK (name <> ''),
    wage_minor  INTEGER NOT NULL CHECK (wage_minor >= 0),          -- per hour, before burden
    active      INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1)),
    recorded_at TEXT    NOT NULL
) STRICT;
CREATE UNIQUE INDEX worker_name ON worker (name COLLATE NOCASE);
CREATE INDEX worker_accented ON worker (name) WHERE name GLOB '*[^ -~]*';

CREATE TRIGGER setting_stays BEFORE UPDATE ON setting BEGIN SELECT RAISE(ABORT, 'a setting is replaced by a new row'); END;
CREATE TRIGGER setting_kept BEFORE DELETE ON setting BEGIN SELECT RAISE(ABORT, 'settings stay in the record'); END;
CREATE TRIGGER log_stays BEFORE UPDATE ON log BEGIN SELECT RAISE(ABORT, 'the log never changes'); END;
CREATE TRIGGER log_kept BEFORE DELETE ON log BEGIN SELECT RAISE(ABORT, 'the log never changes'); END;
CREATE TRIGGER tax_rate_stays BEFORE UPDATE ON tax_rate BEGIN SELECT RAISE(ABORT, 'a tax rate is replaced by a later one'); END;
CREATE TRIGGER tax_rate_kept BEFORE DELETE ON tax_rate BEGIN SELECT RAISE(ABORT, 'tax rates stay in the record'); END;
CREATE TRIGGER client_kept BEFORE DELETE ON client BEGIN SELECT RAISE(ABORT, 'nothing is deleted: void the client'); END;
CREATE TRIGGER site_kept BEFORE DELETE ON site BEGIN SELECT RAISE(ABORT, 'nothing is deleted: void the site'); END;
CREATE TRIGGER room_kept BEFORE DELETE ON room BEGIN SELECT RAISE(ABORT, 'nothing is deleted: void the room'); END;
CREATE TRIGGER doorway_kept BEFORE DELETE ON doorway BEGIN SELECT RAISE(ABORT, 'nothing is deleted: void the doorway'); END;
CREATE TRIGGER finding_piece_stays BEFORE UPDATE ON finding_piece BEGIN SELECT RAISE(ABORT, 'a piece stays as it was measured'); END;
CREATE TRIGGER finding_piece_kept BEFORE DELETE ON finding_piece BEGIN SELECT RAISE(ABORT, 'nothing is deleted: void the finding'); END;
CREATE TRIGGER finding_kept BEFORE DELETE ON finding BEGIN SELECT RAISE(ABORT, 'nothing is deleted: void the finding'); END;
CREATE TRIGGER worker_kept BEFORE DELETE ON worker BEGIN SELECT RAISE(ABORT, 'nothing is deleted: set the worker inactive'); END;
