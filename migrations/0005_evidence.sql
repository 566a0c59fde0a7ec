-- Evidence for the rates: what finished rooms took.
-- Written when a job is closed and written again when an entry of a closed job is voided: it is derived from the day
-- book and the job's quotes, so these two tables may be rewritten. Notebook history (import past-rooms) has no job.

CREATE TABLE observation (
    id             INTEGER PRIMARY KEY,
    kind           TEXT    NOT NULL CHECK (kind IN ('item', 'hours')),
    job_id         INTEGER REFERENCES job (id),                   -- NULL: from the notebook
    job_label      TEXT    NOT NULL,                              -- `J1`, or the notebook's name for the job
    finished_on    TEXT    NOT NULL CHECK (finished_on IS date(finished_on)),
    recorded_at    TEXT    NOT NULL,
    quantity_micro INTEGER NOT NULL CHECK (quantity_micro >= 0)   -- items or hours, over all its parts
) STRICT;
CREATE INDEX observation_job ON observation (job_id);

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
