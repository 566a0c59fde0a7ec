-- The day book: one row for each thing that was done, in one series of numbers, never changed.
-- An entry is taken back by another entry of kind `void`; it then counts nowhere, and both stay in the record.

CREATE TABLE entry (
    id             INTEGER PRIMARY KEY,
    number         INTEGER NOT NULL CHECK (number > 0),
    kind           TEXT    NOT NULL CHECK (kind IN ('use', 'hours', 'spent', 'drive', 'buy', 'hand-back', 'count',
                       'rental-out', 'rental-day', 'rental-back', 'void')),
    job_id         INTEGER REFERENCES job (id),                   -- NULL: belongs to the firm (purchases, counts, costs of no job)
    happened_on    TEXT    NOT NULL CHECK (happened_on IS date(happened_on)),
    recorded_at    TEXT    NOT NULL,
    -- Where it counts in the accounts, if not on its own day; see 0009. NULL: there.
    posted_on      TEXT CHECK (posted_on IS date(posted_on)),
    voids_id       INTEGER UNIQUE REFERENCES entry (id),          -- the entry a `void` takes back; NULL: other kinds
    -- Where it stands in the order of its day: at its own id, or, typed again for a slip, at that of the first slip.
    place_id       INTEGER NOT NULL REFERENCES entry (id),
    worker_id      INTEGER REFERENCES worker (id),                -- who worked; NULL: not hours
    task_id        INTEGER REFERENCES task (id),                  -- what hours were for; NULL: nothing said, or not hours
    operation_id   INTEGER REFERENCES operation (id),             -- what an item or hours were for, hours beside its task; NULL: not said
    item_id        INTEGER REFERENCES item (id),                  -- NULL: no item
    machine_id     INTEGER REFERENCES machine (id),               -- NULL: no machine
    rental_id      INTEGER REFERENCES entry (id),                 -- the `rental-out` that a day or return belongs to; NULL: others
    quantity_micro INTEGER CHECK (quantity_micro >= 0),           -- items, hours, miles; NULL: none
    -- What it costs the job or the firm (hours, spent, drive, rental-back), was paid (buy) or was said to be refunded (hand-back);
    -- NULL: no money was typed. What a use or a count comes to follows from the stock, see `stock_effect`.
    amount_minor   INTEGER,
    book_price_micro INTEGER CHECK (book_price_micro >= 0),       -- of a unit, as it stood; NULL: not from the stock
    -- What an hour or a mile was paid with, as it stood: the wage or the rate, major units; NULL: neither.
    price_micro    INTEGER CHECK (price_micro >= 0),
    burden_micro   INTEGER CHECK (burden_micro >= 0),             -- what an hour cost over its wage, as it stood; NULL: not hours
    at             TEXT,                                          -- date and time of a machine out or back; NULL: others
    by_tariff      INTEGER CHECK (by_tariff IN (0, 1)),           -- 1: a return charged by tariff; NULL: not a return
    left_over      INTEGER NOT NULL DEFAULT 0 CHECK (left_over IN (0, 1)), -- 1: a use of what didn't keep in an opened pack
    on_the_road    INTEGER NOT NULL DEFAULT 0 CHECK (on_the_road IN (0, 1)), -- 1: hours of driving: of no task, and of no room
    late           INTEGER NOT NULL DEFAULT 0 CHECK (late IN (0, 1)),  -- 1: the job was closed already (a call-back)
    what           TEXT    NOT NULL DEFAULT '',                   -- what money was spent for, why an entry was voided, a note
    CHECK ((kind = 'void') = (voids_id IS NOT NULL)),
    CHECK ((kind IN ('hours')) = (worker_id IS NOT NULL)),
    CHECK ((kind IN ('use', 'buy', 'hand-back', 'count')) = (item_id IS NOT NULL)),
    CHECK ((kind IN ('rental-out', 'rental-day', 'rental-back')) = (machine_id IS NOT NULL)),
    CHECK ((kind IN ('rental-day', 'rental-back')) = (rental_id IS NOT NULL)),
    CHECK ((kind IN ('use', 'hours', 'drive', 'buy', 'hand-back', 'count')) = (quantity_micro IS NOT NULL)),
    CHECK ((kind IN ('hours', 'drive')) = (price_micro IS NOT NULL)),
    CHECK ((kind = 'hours') = (burden_micro IS NOT NULL)),
    CHECK ((kind IN ('rental-out', 'rental-back')) = (at IS NOT NULL)),
    CHECK ((kind = 'rental-back') = (by_tariff IS NOT NULL)),
    CHECK (left_over = 0 OR (kind = 'use' AND operation_id IS NULL)),
    CHECK (on_the_road = 0 OR (kind = 'hours' AND task_id IS NULL AND operation_id IS NULL)),
    CHECK (kind NOT IN ('use', 'rental-out', 'rental-day') OR job_id IS NOT NULL),
    CHECK (job_id IS NOT NULL OR (task_id IS NULL AND operation_id IS NULL AND late = 0)),
    CHECK (kind <> 'hours' OR (quantity_micro > 0 AND quantity_micro <= 24000000)),
    CHECK (kind = 'hand-back' OR (kind IN ('use', 'count', 'rental-out', 'rental-day', 'void')) = (amount_minor IS NULL)),
    CHECK ((kind IN ('use', 'hand-back', 'count')) = (book_price_micro IS NOT NULL))
) STRICT;
CREATE UNIQUE INDEX entry_number ON entry (id >> 40, number);
CREATE INDEX entry_job ON entry (job_id, kind);
CREATE INDEX entry_item ON entry (item_id, happened_on, place_id) WHERE item_id IS NOT NULL;
CREATE INDEX entry_place ON entry (place_id);
CREATE INDEX entry_void ON entry (id) WHERE kind = 'void';
CREATE INDEX entry_worker_day ON entry (worker_id, happened_on) WHERE worker_id IS NOT NULL;
CREATE INDEX entry_rental ON entry (rental_id) WHERE rental_id IS NOT NULL;
-- What counts on another day than its own, and what was taken back of a closed time?
CREATE INDEX entry_posted ON entry (posted_on) WHERE posted_on IS NOT NULL;
-- What else was logged on a day?
CREATE INDEX entry_day ON entry (happened_on, kind);
CREATE INDEX entry_machine ON entry (machine_id, kind) WHERE machine_id IS NOT NULL;
-- What belongs to no job? (A job's entries are many, these are few.)
CREATE INDEX entry_of_no_job ON entry (happened_on) WHERE job_id IS NULL AND kind IN ('hours', 'spent', 'drive');

-- The rooms an entry names; none: the whole job.
-- A job from before the ledger has no quote that says what they were like, so the entry does; NULL: another job.
CREATE TABLE entry_room (
    entry_id   INTEGER NOT NULL REFERENCES entry (id),
    room_id    INTEGER NOT NULL REFERENCES room (id),
    area_micro INTEGER CHECK (area_micro > 0),                    -- sq ft
    edge_micro INTEGER CHECK (edge_micro >= 0),                   -- ft
    steps      INTEGER CHECK (steps > 0),                         -- NULL: not a stair, too
    floor_condition TEXT,
    parts      TEXT,                                              -- in other conditions, as in `quote_room`
    species    TEXT,
    PRIMARY KEY (entry_id, room_id),
    CHECK ((area_micro IS NULL) = (edge_micro IS NULL) AND (area_micro IS NULL) = (floor_condition IS NULL)
           AND (area_micro IS NULL) = (parts IS NULL) AND (area_micro IS NULL) = (species IS NULL) AND (steps IS NULL OR area_micro IS NOT NULL))
) STRICT, WITHOUT ROWID;

-- Entries that count: neither voids nor voided. (A void is known by its kind: asked for entries whose `voids_id` is NULL,
-- SQLite takes the index of `voids_id`, which has a value once at most but NULL nearly always.)
CREATE VIEW live_entry AS
SELECT entry.*
FROM entry
LEFT JOIN entry AS void ON void.voids_id = entry.id
WHERE entry.kind <> 'void' AND void.id IS NULL;

-- What an entry does to the stock of its item, worked out from what was typed in the order of date and place.
-- Where an entry is voided or comes before others, those after it are worked out again: a new row for each that comes to
-- something else. The newest row of an entry that counts is in force; older ones stay, so that the stock can be seen as it
-- was known at any time.
CREATE TABLE stock_effect (
    id             INTEGER PRIMARY KEY,
    entry_id       INTEGER NOT NULL REFERENCES entry (id),
    cause_id       INTEGER NOT NULL REFERENCES entry (id),        -- the entry it was worked out for: itself, or a later one
    item_id        INTEGER NOT NULL REFERENCES item (id),
    quantity_micro INTEGER NOT NULL,                              -- change of the shelf
    value_minor    INTEGER NOT NULL,                              -- change of what is on it
    awaiting_micro INTEGER NOT NULL CHECK (awaiting_micro >= 0),  -- what left beyond the shelf, before its receipt
    awaiting_minor INTEGER NOT NULL,                              -- what that is assumed to cost
    on_hand_micro  INTEGER NOT NULL CHECK (on_hand_micro >= 0),   -- the shelf after it
    worth_minor    INTEGER NOT NULL,
    -- On which day it takes the place of what was worked out before; NULL: on that of its entry.
    posted_on      TEXT CHECK (posted_on IS date(posted_on))
) STRICT;
CREATE INDEX stock_effect_entry ON stock_effect (entry_id);
CREATE INDEX stock_effect_posted ON stock_effect (posted_on) WHERE posted_on IS NOT NULL;

-- What awaits a receipt now? The last line of what `stock_effect` works out for an item: what left beyond its shelf and isn't
-- settled yet.
CREATE TABLE awaiting_receipt (
    entry_id       INTEGER PRIMARY KEY REFERENCES entry (id),     -- the use, or the hand-back
    item_id        INTEGER NOT NULL REFERENCES item (id),
    quantity_micro INTEGER NOT NULL CHECK (quantity_micro > 0),
    value_minor    INTEGER NOT NULL
) STRICT;
CREATE INDEX awaiting_receipt_item ON awaiting_receipt (item_id);

-- A purchase (whose effect it is part of) settles some of what awaits: `paid - value` corrects the cost of the job.
CREATE TABLE stock_settlement (
    id             INTEGER PRIMARY KEY,
    effect_id      INTEGER NOT NULL REFERENCES stock_effect (id),
    used_id        INTEGER NOT NULL REFERENCES entry (id),
    quantity_micro INTEGER NOT NULL CHECK (quantity_micro > 0),
    value_minor    INTEGER NOT NULL,
    paid_minor     INTEGER NOT NULL
) STRICT;
CREATE INDEX stock_settlement_effect ON stock_settlement (effect_id);
CREATE INDEX stock_settlement_used ON stock_settlement (used_id);

-- Effects with the time for which they held: from `recorded_at` until `until` (NULL: in force).
CREATE VIEW stock_value AS
SELECT effect.*, entry.kind, entry.job_id, entry.happened_on, entry.place_id,
       MAX(cause.recorded_at, entry.recorded_at) AS recorded_at,
       COALESCE((SELECT cause.recorded_at FROM stock_effect AS later JOIN entry AS cause ON cause.id = later.cause_id
                 WHERE later.entry_id = effect.entry_id AND later.id > effect.id ORDER BY later.id LIMIT 1),
                (SELECT recorded_at FROM entry AS void WHERE void.voids_id = effect.entry_id)) AS until
FROM stock_effect AS effect
JOIN entry ON entry.id = effect.entry_id
JOIN entry AS cause ON cause.id = effect.cause_id;

-- The tariff with which a machine went out. Its return is charged by it, whatever the yard asks by then.
CREATE TABLE rental_tariff (
    entry_id         INTEGER PRIMARY KEY REFERENCES entry (id),   -- the `rental-out`
    half_day_minor   INTEGER CHECK (half_day_minor >= 0),         -- NULL: not offered; so for each period
    day_minor        INTEGER NOT NULL CHECK (day_minor >= 0),
    weekend_minor    INTEGER CHECK (weekend_minor >= 0),
    week_minor       INTEGER CHECK (week_minor >= 0),
    four_weeks_minor INTEGER CHECK (four_weeks_minor >= 0),
    waiver_micro     INTEGER NOT NULL CHECK (waiver_micro BETWEEN 0 AND 100000000),  -- percent of the charge
    cleaning_minor   INTEGER NOT NULL CHECK (cleaning_minor >= 0)
) STRICT;

-- Which machines are out? They follow from the entries: those that went out and didn't come back.
CREATE TABLE machine_out (
    entry_id INTEGER PRIMARY KEY REFERENCES entry (id)            -- the `rental-out`
) STRICT;
CREATE VIEW machine_not_back AS
SELECT went.id AS entry_id
FROM live_entry AS went
WHERE went.kind = 'rental-out'
      AND NOT EXISTS (SELECT 1 FROM live_entry AS back WHERE back.rental_id = went.id AND back.kind = 'rental-back');
CREATE TRIGGER entry_machine_out AFTER INSERT ON entry WHEN NEW.kind IN ('rental-out', 'rental-back', 'void')
BEGIN
    DELETE FROM machine_out
    WHERE entry_id IN (NEW.id, NEW.rental_id, NEW.voids_id, (SELECT rental_id FROM entry WHERE id = NEW.voids_id));
    INSERT INTO machine_out SELECT entry_id FROM machine_not_back
    WHERE entry_id IN (NEW.id, NEW.rental_id, NEW.voids_id, (SELECT rental_id FROM entry WHERE id = NEW.voids_id));
END;

-- One machine, one day, one job: how a returned rental is charged.
CREATE TABLE rental_day (
    id           INTEGER PRIMARY KEY,
    entry_id     INTEGER NOT NULL REFERENCES entry (id),          -- the `rental-back` that charged it
    position     INTEGER NOT NULL CHECK (position > 0),
    began_on     TEXT    NOT NULL CHECK (began_on IS date(began_on)),
    job_id       INTEGER NOT NULL REFERENCES job (id),
    charge_minor INTEGER NOT NULL,
    UNIQUE (entry_id, position)
) STRICT;
CREATE INDEX rental_day_job ON rental_day (job_id);

-- Everything that a job cost, a row for each cause, with the time for which the ledger knew it so (`until` NULL: still).
CREATE VIEW job_cost AS
SELECT entry.job_id, entry.id AS entry_id, entry.kind, entry.happened_on, entry.recorded_at, void.recorded_at AS until,
       entry.amount_minor
FROM entry
LEFT JOIN entry AS void ON void.voids_id = entry.id
WHERE entry.kind IN ('hours', 'spent', 'drive') AND entry.job_id IS NOT NULL
UNION ALL
SELECT job_id, entry_id, kind, happened_on, recorded_at, until, awaiting_minor - value_minor
FROM stock_value
WHERE kind = 'use'
UNION ALL
SELECT used.job_id, used.id, used.kind, bought.happened_on, bought.recorded_at, bought.until,
       settled.paid_minor - settled.value_minor
FROM stock_settlement AS settled
JOIN stock_value AS bought ON bought.id = settled.effect_id
JOIN entry AS used ON used.id = settled.used_id
WHERE used.job_id IS NOT NULL
UNION ALL
SELECT day.job_id, returned.id, 'rental', returned.happened_on, returned.recorded_at, void.recorded_at, day.charge_minor
FROM rental_day AS day
JOIN entry AS returned ON returned.id = day.entry_id
LEFT JOIN entry AS void ON void.voids_id = returned.id
UNION ALL
SELECT back.job_id, back.entry_id, back.kind, back.happened_on, back.recorded_at, back.until,
       back.awaiting_minor - back.value_minor - entry.amount_minor
FROM stock_value AS back
JOIN entry ON entry.id = back.entry_id
WHERE back.kind = 'hand-back' AND back.job_id IS NOT NULL AND entry.amount_minor IS NOT NULL;

CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'the day book never changes: void the entry'); END;
CREATE TRIGGER entry_kept BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'the day book never changes: void the entry'); END;
CREATE TRIGGER entry_room_of_job BEFORE INSERT ON entry_room WHEN (SELECT job_id FROM entry WHERE id = NEW.entry_id) IS NULL
BEGIN SELECT RAISE(ABORT, 'rooms belong to a job'); END;
CREATE TRIGGER entry_room_stays BEFORE UPDATE ON entry_room BEGIN SELECT RAISE(ABORT, 'the day book never changes: void the entry'); END;
CREATE TRIGGER entry_room_kept BEFORE DELETE ON entry_room BEGIN SELECT RAISE(ABORT, 'the day book never changes: void the entry'); END;
CREATE TRIGGER stock_effect_stays BEFORE UPDATE ON stock_effect BEGIN SELECT RAISE(ABORT, 'stock is worked out in new rows'); END;
CREATE TRIGGER stock_effect_kept BEFORE DELETE ON stock_effect BEGIN SELECT RAISE(ABORT, 'stock is worked out in new rows'); END;
CREATE TRIGGER stock_settlement_stays BEFORE UPDATE ON stock_settlement BEGIN SELECT RAISE(ABORT, 'stock is worked out in new rows'); END;
CREATE TRIGGER stock_settlement_kept BEFORE DELETE ON stock_settlement BEGIN SELECT RAISE(ABORT, 'stock is worked out in new rows'); END;
CREATE TRIGGER rental_tariff_of_out BEFORE INSERT ON rental_tariff
WHEN (SELECT kind FROM entry WHERE id = NEW.entry_id) IS NOT 'rental-out'
BEGIN SELECT RAISE(ABORT, 'a tariff is kept for a machine that goes out'); END;
CREATE TRIGGER rental_tariff_stays BEFORE UPDATE ON rental_tariff BEGIN SELECT RAISE(ABORT, 'a machine is charged at the tariff with which it went out'); END;
CREATE TRIGGER rental_tariff_kept BEFORE DELETE ON rental_tariff BEGIN SELECT RAISE(ABORT, 'a machine is charged at the tariff with which it went out'); END;
CREATE TRIGGER rental_day_stays BEFORE UPDATE ON rental_day BEGIN SELECT RAISE(ABORT, 'rental days never change: void the return'); END;
CREATE TRIGGER rental_day_kept BEFORE DELETE ON rental_day BEGIN SELECT RAISE(ABORT, 'rental days never change: void the return'); END;
CREATE TRIGGER void_of_void BEFORE INSERT ON entry
WHEN NEW.voids_id IS NOT NULL AND (SELECT kind FROM entry WHERE id = NEW.voids_id) = 'void'
BEGIN SELECT RAISE(ABORT, 'a void cannot be voided'); END;
