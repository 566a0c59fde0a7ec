-- What was read, tested or looked for at a site before a price is named.
--
-- A reading is a fact of its day and never changes; a wrong one is taken back by a row of its own. Its value stands as exact
-- text with its unit, as a room's shape does.

CREATE TABLE reading (
    id          INTEGER PRIMARY KEY,
    site_id     INTEGER NOT NULL REFERENCES site (id),
    room_id     INTEGER REFERENCES room (id),                      -- NULL: of the whole house
    kind        TEXT    NOT NULL CHECK (kind IN ('wood-left', 'top-layer', 'board-width', 'board', 'board-bottom', 'subfloor',
                    'temperature', 'humidity', 'lead', 'asbestos', 'seen')),
    value       TEXT    NOT NULL CHECK (value <> ''),
    -- What a test was of; NULL: it isn't a test.
    layer       TEXT    CHECK (layer IN ('paint', 'finish', 'tile', 'sheet', 'backing', 'mastic')),
    place       TEXT    NOT NULL DEFAULT '',
    by_whom     TEXT    NOT NULL DEFAULT '',
    happened_on TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at TEXT    NOT NULL,
    CHECK ((kind IN ('lead', 'asbestos')) = (layer IS NOT NULL))
) STRICT;
-- What was read at a site?
CREATE INDEX reading_site ON reading (site_id);

-- A reading taken back.
CREATE TABLE reading_void (
    id          INTEGER PRIMARY KEY,
    reading_id  INTEGER NOT NULL UNIQUE REFERENCES reading (id),
    reason      TEXT    NOT NULL DEFAULT '',
    happened_on TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at TEXT    NOT NULL
) STRICT;

CREATE TRIGGER reading_stays BEFORE UPDATE ON reading BEGIN SELECT RAISE(ABORT, 'a reading never changes: void it'); END;
CREATE TRIGGER reading_kept BEFORE DELETE ON reading BEGIN SELECT RAISE(ABORT, 'a reading never changes: void it'); END;
CREATE TRIGGER reading_void_stays BEFORE UPDATE ON reading_void BEGIN SELECT RAISE(ABORT, 'a reading never changes'); END;
CREATE TRIGGER reading_void_kept BEFORE DELETE ON reading_void BEGIN SELECT RAISE(ABORT, 'a reading never changes'); END;
