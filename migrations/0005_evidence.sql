-- Evidence for the rates: what finished rooms took.
-- Written when a job is closed and written again when an entry of a closed job is voided: it is derived from the day
-- book and the job's quotes, so the observations of jobs may be rewritten. Notebook history (import past-rooms) has no
-- job; its rows are numbered, and stay.

CREATE TABLE observation (
    id             INTEGER PRIMARY KEY,
    kind           TEXT    NOT NULL CHECK (kind IN ('item', 'hours')),
    job_id         INTEGER REFERENCES job (id),                   -- NULL: from the notebook
    job_label      TEXT    NOT NULL,                              -- `J1`, or the notebook's name for the job
    finished_on    TEXT    NOT NULL CHECK (finished_on IS date(finished_on)),
    recorded_at    TEXT    NOT NULL,
    quantity_micro INTEGER NOT NULL CHECK (quantity_micro >= 0),  -- items or hours, over all its parts
    number         INTEGER CHECK (number > 0),                    -- `N1`: a row of the notebook; NULL: from a job
    word           TEXT    NOT NULL CHECK (word IN ('good', 'doubted', 'confirmed')),  -- doubted: looks like a slip, set aside
    digest         INTEGER NOT NULL,                              -- of everything that the rates are learned from
    voided_at      TEXT,                                          -- when its owner took a row of the notebook back; NULL: never
    void_reason    TEXT,
    CHECK ((number IS NULL) = (job_id IS NOT NULL)),
    CHECK ((voided_at IS NULL) = (void_reason IS NULL)),
    CHECK (voided_at IS NULL OR number IS NOT NULL)
) STRICT;
CREATE INDEX observation_job ON observation (job_id);
CREATE UNIQUE INDEX observation_number ON observation (id >> 40, number);
CREATE INDEX observation_doubted ON observation (word) WHERE word = 'doubted';

-- What is the digest of all evidence in force? The count of the observations, and the sums of the halves of their digests.
CREATE TABLE evidence_digest (
    id    INTEGER PRIMARY KEY CHECK (id = 1),
    count INTEGER NOT NULL,
    low   INTEGER NOT NULL,
    high  INTEGER NOT NULL
) STRICT;
INSERT INTO evidence_digest (id, count, low, high) VALUES (1, 0, 0, 0);
CREATE TRIGGER observation_counted AFTER INSERT ON observation WHEN NEW.word <> 'doubted' AND NEW.voided_at IS NULL
BEGIN
    UPDATE evidence_digest SET count = count + 1, low = low + (NEW.digest & 0xffffffff), high = high + (NEW.digest >> 32);
END;
CREATE TRIGGER observation_uncounted AFTER DELETE ON observation WHEN OLD.word <> 'doubted' AND OLD.voided_at IS NULL
BEGIN
    UPDATE evidence_digest SET count = count - 1, low = low - (OLD.digest & 0xffffffff), high = high - (OLD.digest >> 32);
END;
CREATE TRIGGER observation_set_aside AFTER UPDATE OF word, voided_at ON observation
WHEN (OLD.word <> 'doubted' AND OLD.voided_at IS NULL) AND NOT (NEW.word <> 'doubted' AND NEW.voided_at IS NULL)
BEGIN
    UPDATE evidence_digest SET count = count - 1, low = low - (OLD.digest & 0xffffffff), high = high - (OLD.digest >> 32);
END;
CREATE TRIGGER observation_taken_up AFTER UPDATE OF word, voided_at ON observation
WHEN (NEW.word <> 'doubted' AND NEW.voided_at IS NULL) AND NOT (OLD.word <> 'doubted' AND OLD.voided_at IS NULL)
BEGIN
    UPDATE evidence_digest SET count = count + 1, low = low + (NEW.digest & 0xffffffff), high = high + (NEW.digest >> 32);
END;

-- The day-book entries that an observation rests on: those to be doubted first, the largest of them first.
CREATE TABLE observation_entry (
    observation_id INTEGER NOT NULL REFERENCES observation (id) ON DELETE CASCADE,
    position       INTEGER NOT NULL CHECK (position > 0),
    entry_id       INTEGER NOT NULL REFERENCES entry (id),
    PRIMARY KEY (observation_id, position)
) STRICT, WITHOUT ROWID;
CREATE INDEX observation_entry_entry ON observation_entry (entry_id);

-- Entries that looked like slips and that their owner says are right.
CREATE TABLE entry_confirmation (
    entry_id    INTEGER PRIMARY KEY REFERENCES entry (id),
    recorded_at TEXT NOT NULL
) STRICT;

-- Changes of supplier or technique that the owner has dated: rates are learned anew from then on.
CREATE TABLE rate_change (
    id           INTEGER PRIMARY KEY,
    operation_id INTEGER NOT NULL REFERENCES operation (id),
    kind         TEXT    NOT NULL CHECK (kind IN ('item', 'hours')),
    since        TEXT    NOT NULL CHECK (since IS date(since)),
    note         TEXT    NOT NULL CHECK (note <> ''),
    recorded_at  TEXT    NOT NULL,
    UNIQUE (operation_id, kind, since)
) STRICT;

-- What was learned, kept as long as evidence and book are what they were when it was: a copy of what can be worked out.
CREATE TABLE rate_fit (
    id     INTEGER PRIMARY KEY CHECK (id = 1),
    digest TEXT NOT NULL,
    fit    TEXT NOT NULL
) STRICT;

-- How did the rate of an operation on a floor come to be what it is? Kept as long as the fit is, and no observation was
-- written or set aside since: a copy of what can be worked out.
CREATE TABLE rate_story (
    operation_id    INTEGER NOT NULL REFERENCES operation (id),
    kind            TEXT    NOT NULL CHECK (kind IN ('item', 'hours')),
    floor_condition TEXT    NOT NULL,
    species         TEXT    NOT NULL,
    digest          TEXT    NOT NULL,
    story           TEXT    NOT NULL,
    PRIMARY KEY (operation_id, kind, floor_condition, species)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER observation_told AFTER INSERT ON observation BEGIN DELETE FROM rate_story; END;
CREATE TRIGGER observation_untold AFTER DELETE ON observation BEGIN DELETE FROM rate_story; END;
CREATE TRIGGER observation_retold AFTER UPDATE OF word, voided_at ON observation BEGIN DELETE FROM rate_story; END;

-- The rooms and operations that the quantity covers, with what each measures.
CREATE TABLE observation_part (
    id              INTEGER PRIMARY KEY,
    observation_id  INTEGER NOT NULL REFERENCES observation (id) ON DELETE CASCADE,
    operation_id    INTEGER NOT NULL REFERENCES operation (id),
    room_label      TEXT    NOT NULL,
    floor_condition TEXT    NOT NULL,
    species         TEXT    NOT NULL,
    driver_micro    INTEGER NOT NULL CHECK (driver_micro >= 0),   -- sq ft, ft or count, all passes
    passes          INTEGER NOT NULL CHECK (passes > 0),
    area_micro      INTEGER,                                      -- as in the notebook; NULL: not given there
    edge_micro      INTEGER                                       -- as in the notebook; NULL: not given there
) STRICT;
CREATE INDEX observation_part_observation ON observation_part (observation_id);
