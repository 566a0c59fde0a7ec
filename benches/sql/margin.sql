-- What `report margin` says of each job, in one query: every figure of its answer, as somebody would ask for it who knows
-- the tables. `benches/reports.py` runs it beside the program, and compares the figures where the two are to be the same.
--
-- Overhead is rounded half away from zero, as the program rounds it; labour times overhead fits 64 bits for any real job.
-- What isn't here: a lump of money that is quoted by name and spent under that name (`--other`), which the program tells
-- apart in every alphabet, and SQLite in none but the Latin one.

WITH
agreed AS MATERIALIZED (
    SELECT job.id AS job_id, quote.id AS quote_id, quote.id AS by_id, quote.price_minor, quote.overhead_micro, 0 AS is_variation
    FROM job JOIN quote ON quote.id = job.quote_id
    WHERE EXISTS (SELECT 1 FROM quote_event WHERE quote_event.quote_id = quote.id AND what = 'accepted')
    UNION ALL
    SELECT quote.job_id, quote.id, COALESCE(quote.varies_id, quote.id), quote.price_minor, quote.overhead_micro, 1
    FROM quote
    WHERE quote.job_id IS NOT NULL
      AND EXISTS (SELECT 1 FROM quote_event WHERE quote_event.quote_id = quote.id AND what = 'accepted')
),
live AS (
    SELECT entry.* FROM entry
    WHERE entry.job_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id)
),
-- A room of 0 is every room.
worked AS MATERIALIZED (
    SELECT DISTINCT live.job_id, COALESCE(room_id, 0) AS room_id, task_id, operation_id
    FROM live LEFT JOIN entry_room ON entry_id = live.id WHERE live.kind = 'hours'
),
used AS MATERIALIZED (
    SELECT DISTINCT live.job_id, COALESCE(room_id, 0) AS room_id, item_id, COALESCE(operation_id, 0) AS operation_id
    FROM live LEFT JOIN entry_room ON entry_id = live.id WHERE live.kind = 'use' AND left_over = 0
),
-- Each quoted line that no variation has replaced, with the quote whose prices it has, and whether something is written down about its hours and its items.
line AS MATERIALIZED (
    SELECT job_id, by_id AS quote_id, kind, operation_id, machine_id, item_id, item_cost_minor, labour_cost_minor, other_cost_minor,
           COALESCE(chance_micro, 1000000) < 1000000 AS might,
           CASE WHEN kind <> 'work' THEN NULL
                WHEN (job_id, room_id, operation_id) IN (SELECT job_id, room_id, operation_id FROM worked) THEN 1
                WHEN (job_id, room_id, task_id) IN (SELECT job_id, room_id, task_id FROM worked WHERE operation_id IS NULL) THEN 1
                WHEN (job_id, 0, operation_id) IN (SELECT job_id, room_id, operation_id FROM worked) THEN 1
                WHEN (job_id, 0, task_id) IN (SELECT job_id, room_id, task_id FROM worked WHERE operation_id IS NULL) THEN 1
                ELSE 0 END AS is_worked,
           CASE WHEN kind <> 'work' OR item_id IS NULL THEN NULL
                WHEN (job_id, room_id, item_id, operation_id) IN (SELECT job_id, room_id, item_id, operation_id FROM used) THEN 1
                WHEN (job_id, 0, item_id, operation_id) IN (SELECT job_id, room_id, item_id, operation_id FROM used) THEN 1
                WHEN (job_id, room_id, item_id, 0) IN (SELECT job_id, room_id, item_id, operation_id FROM used) THEN 1
                WHEN (job_id, 0, item_id, 0) IN (SELECT job_id, room_id, item_id, operation_id FROM used) THEN 1
                ELSE 0 END AS is_used
    FROM agreed CROSS JOIN quote_line USING (quote_id)
    WHERE NOT EXISTS (SELECT 1 FROM replaced_line JOIN quote_event USING (quote_id) WHERE line_id = quote_line.id AND what = 'accepted')
),
priced AS MATERIALIZED (
    SELECT job_id, SUM(CASE is_variation WHEN 0 THEN price_minor ELSE 0 END) AS price,
           SUM(CASE is_variation WHEN 1 THEN price_minor ELSE 0 END) AS variations
    FROM agreed GROUP BY job_id
),
-- What the overhead of each quote was charged on, and its part on hours that nobody wrote down.
charged AS MATERIALIZED (
    SELECT job_id, quote_id, SUM(item_cost_minor + labour_cost_minor + other_cost_minor) AS cost,
           SUM(labour_cost_minor) AS labour,
           SUM(CASE kind WHEN 'overhead' THEN other_cost_minor ELSE 0 END) AS overhead,
           SUM(CASE WHEN is_worked = 0 THEN labour_cost_minor ELSE 0 END) AS unworked,
           SUM(CASE WHEN is_worked = 0 AND might THEN labour_cost_minor ELSE 0 END) AS unworked_might
    FROM line GROUP BY job_id, quote_id
),
quoted AS MATERIALIZED (
    SELECT charged.job_id, SUM(cost) AS estimated,
           SUM(labour) AS labour, SUM(labour * overhead_micro) AS labour_at_overhead, MIN(overhead_micro) AS least_overhead,
           SUM(unworked) + COALESCE(SUM((2 * overhead * unworked + labour) / (2 * labour)), 0) AS missing,
           SUM(unworked_might) + COALESCE(SUM((2 * overhead * unworked_might + labour) / (2 * labour)), 0) AS missing_might
    FROM charged JOIN agreed USING (quote_id) GROUP BY charged.job_id
),
lacking AS MATERIALIZED (
    SELECT job_id, COUNT(DISTINCT CASE WHEN is_worked = 0 OR is_used = 0 THEN operation_id END) AS operations,
           SUM(CASE WHEN is_used = 0 THEN item_cost_minor ELSE 0 END) AS missing,
           SUM(CASE WHEN is_used = 0 AND might THEN item_cost_minor ELSE 0 END) AS missing_might
    FROM line WHERE kind = 'work' GROUP BY job_id
),
-- Rentals and opened packs by what they are of.
others AS MATERIALIZED (
    SELECT job_id, COUNT(*) AS others, SUM(cost) AS missing FROM (
        SELECT job_id, SUM(other_cost_minor) AS cost FROM line
        WHERE kind = 'rental' AND NOT EXISTS (
            SELECT 1 FROM rental_day JOIN entry AS back ON back.id = rental_day.entry_id
            WHERE rental_day.job_id = line.job_id AND back.machine_id = line.machine_id
              AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = back.id))
        GROUP BY job_id, machine_id
        UNION ALL
        SELECT job_id, SUM(other_cost_minor) FROM line
        WHERE kind = 'opened' AND NOT EXISTS (
            SELECT 1 FROM live WHERE live.job_id = line.job_id AND live.item_id = line.item_id AND left_over = 1)
        GROUP BY job_id, item_id
        UNION ALL
        SELECT job_id, SUM(other_cost_minor) FROM line WHERE kind = 'other' GROUP BY job_id, quote_id)
    GROUP BY job_id
),
closed AS MATERIALIZED (
    SELECT job_id, recorded_at FROM job_event AS event
    WHERE what = 'closed' AND id = (SELECT MAX(id) FROM job_event WHERE job_event.job_id = event.job_id)
),
-- Every cost, whether it is labour, and whether it came late.
cost AS (
    SELECT live.job_id, live.kind = 'hours' AS is_labour, late, COALESCE(amount_minor, awaiting_minor - value_minor) AS minor
    FROM live
    LEFT JOIN stock_effect AS effect ON effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = live.id)
    WHERE live.kind IN ('use', 'hours', 'spent', 'drive')
    UNION ALL
    SELECT used.job_id, 0, used.late OR COALESCE(stood.recorded_at > closed.recorded_at, 0), paid_minor - settled.value_minor
    FROM stock_settlement AS settled
    JOIN stock_effect AS effect ON effect.id = settled.effect_id
    JOIN entry AS bought ON bought.id = effect.entry_id
    JOIN entry AS stood ON stood.id = bought.place_id
    JOIN entry AS used ON used.id = settled.used_id
    LEFT JOIN closed ON closed.job_id = used.job_id
    WHERE used.job_id IS NOT NULL AND effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = effect.entry_id)
      AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id IN (used.id, bought.id))
    UNION ALL
    SELECT back.job_id, 0, back.late OR COALESCE(stood.recorded_at > closed.recorded_at, 0),
           awaiting_minor - value_minor - back.amount_minor
    FROM live AS back
    JOIN entry AS stood ON stood.id = back.place_id
    JOIN stock_effect AS effect ON effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = back.id)
    LEFT JOIN closed ON closed.job_id = back.job_id
    WHERE back.kind = 'hand-back' AND back.amount_minor IS NOT NULL
    UNION ALL
    SELECT day.job_id, 0, COALESCE(began_on > date(closed.recorded_at), 0), charge_minor
    FROM rental_day AS day
    LEFT JOIN closed ON closed.job_id = day.job_id
    WHERE NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = day.entry_id)
),
spent AS MATERIALIZED (
    SELECT job_id, SUM(minor) AS actual, SUM(is_labour * minor) AS labour,
           SUM(late * minor) AS late, SUM(late * is_labour * minor) AS late_labour
    FROM cost GROUP BY job_id
)
SELECT job.number, party.client, price, variations, estimated,
       actual + (2 * spent.labour * labour_at_overhead + 1000000 * quoted.labour) / (2000000 * quoted.labour) AS actual,
       late + (2 * late_labour * labour_at_overhead + 1000000 * quoted.labour) / (2000000 * quoted.labour) AS late,
       operations, COALESCE(others, 0) AS others,
       quoted.missing + lacking.missing + COALESCE(others.missing, 0) AS not_recorded,
       quoted.missing_might + lacking.missing_might AS might_turn_up,
       state.what <> 'closed' AS so_far
FROM job
JOIN job_party AS party ON party.job_id = job.id
JOIN job_state AS state ON state.job_id = job.id
LEFT JOIN priced ON priced.job_id = job.id
LEFT JOIN quoted ON quoted.job_id = job.id
LEFT JOIN lacking ON lacking.job_id = job.id
LEFT JOIN others ON others.job_id = job.id
LEFT JOIN spent ON spent.job_id = job.id
WHERE NOT EXISTS (SELECT 1 FROM quote WHERE quote.id = job.quote_id AND own)
ORDER BY job.id
