-- What `report consumables` says of every closed job, in one query: every figure of its answer, as somebody would ask for it
-- who knows the tables. `benches/reports.py` runs it beside the program, and compares the figures.
--
-- What isn't here, and isn't in the demo: an item used without its operation where several operations take it, and one that
-- was handed back by a job that used some of it; the program shares both by what was planned.

WITH
closed AS MATERIALIZED (
    SELECT job_id FROM job_event AS event
    WHERE what = 'closed' AND id = (SELECT MAX(id) FROM job_event WHERE job_event.job_id = event.job_id)
),
agreed AS MATERIALIZED (
    SELECT job.id AS job_id, quote.id AS quote_id
    FROM closed JOIN job ON job.id = closed.job_id JOIN quote ON quote.id = job.quote_id
    WHERE EXISTS (SELECT 1 FROM quote_event WHERE quote_event.quote_id = quote.id AND what = 'accepted')
    UNION ALL
    SELECT quote.job_id, quote.id
    FROM closed JOIN quote ON quote.job_id = closed.job_id
    WHERE EXISTS (SELECT 1 FROM quote_event WHERE quote_event.quote_id = quote.id AND what = 'accepted')
),
live AS MATERIALIZED (
    SELECT entry.id, entry.job_id, item_id, operation_id, left_over, quantity_micro
    FROM closed JOIN entry ON entry.job_id = closed.job_id
    WHERE kind = 'use' AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id)
),
-- A room of 0 is every room, an operation of 0 any.
used AS MATERIALIZED (
    SELECT DISTINCT live.job_id, COALESCE(room_id, 0) AS room_id, item_id, COALESCE(operation_id, 0) AS operation_id
    FROM live LEFT JOIN entry_room ON entry_id = live.id WHERE left_over = 0
),
line AS (
    SELECT job_id, item_id, operation_id, item_micro AS micro, item_cost_minor AS minor,
           CASE WHEN (job_id, room_id, item_id, operation_id) IN (SELECT job_id, room_id, item_id, operation_id FROM used) THEN 1
                WHEN (job_id, 0, item_id, operation_id) IN (SELECT job_id, room_id, item_id, operation_id FROM used) THEN 1
                WHEN (job_id, room_id, item_id, 0) IN (SELECT job_id, room_id, item_id, operation_id FROM used) THEN 1
                WHEN (job_id, 0, item_id, 0) IN (SELECT job_id, room_id, item_id, operation_id FROM used) THEN 1
                ELSE 0 END AS is_used
    FROM agreed CROSS JOIN quote_line USING (quote_id) WHERE kind = 'work' AND item_id IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM replaced_line JOIN quote_event USING (quote_id) WHERE line_id = quote_line.id AND what = 'accepted')
    UNION ALL
    SELECT job_id, item_id, -1, item_micro, other_cost_minor,
           EXISTS (SELECT 1 FROM entry WHERE entry.job_id = agreed.job_id AND kind = 'use' AND entry.item_id = quote_line.item_id
                   AND left_over = 1 AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id))
    FROM agreed CROSS JOIN quote_line USING (quote_id) WHERE kind = 'opened' AND NOT EXISTS (
        SELECT 1 FROM replaced_line JOIN quote_event USING (quote_id) WHERE line_id = quote_line.id AND what = 'accepted')
),
cost AS (
    SELECT live.job_id, live.item_id, CASE left_over WHEN 1 THEN -1 ELSE COALESCE(operation_id, 0) END AS operation_id,
           live.quantity_micro AS micro, awaiting_minor - value_minor AS minor
    FROM live
    JOIN stock_effect AS effect ON effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = live.id)
    UNION ALL
    SELECT live.job_id, live.item_id, CASE left_over WHEN 1 THEN -1 ELSE COALESCE(operation_id, 0) END, 0,
           paid_minor - settled.value_minor
    FROM live
    CROSS JOIN stock_settlement AS settled ON settled.used_id = live.id
    CROSS JOIN stock_effect AS effect ON effect.id = settled.effect_id
    WHERE effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = effect.entry_id)
      AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = effect.entry_id)
    UNION ALL
    -- Handed back, and never used.
    SELECT back.job_id, back.item_id, -2, 0, awaiting_minor - value_minor - amount_minor
    FROM closed
    JOIN entry AS back ON back.job_id = closed.job_id AND back.kind = 'hand-back'
    JOIN stock_effect AS effect ON effect.id = (SELECT MAX(id) FROM stock_effect WHERE entry_id = back.id)
    WHERE amount_minor IS NOT NULL AND awaiting_minor - value_minor <> amount_minor
      AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = back.id)
      AND NOT EXISTS (SELECT 1 FROM live WHERE live.job_id = back.job_id AND live.item_id = back.item_id)
),
side AS (
    SELECT job_id, item_id, operation_id, CASE is_used WHEN 1 THEN micro ELSE 0 END AS quoted_micro,
           CASE is_used WHEN 1 THEN minor ELSE 0 END AS quoted_minor, 0 AS used_micro, 0 AS used_minor,
           CASE is_used WHEN 0 THEN micro ELSE 0 END AS missing_micro, CASE is_used WHEN 0 THEN minor ELSE 0 END AS missing_minor
    FROM line WHERE is_used = 1 OR micro <> 0 OR minor <> 0
    UNION ALL
    SELECT job_id, item_id, operation_id, 0, 0, micro, minor, 0, 0 FROM cost
)
SELECT item.name AS item, CASE side.operation_id WHEN -1 THEN 'opened' WHEN -2 THEN 'handed back' ELSE operation.name END AS operation, item.unit,
       COUNT(DISTINCT job_id) AS jobs, SUM(quoted_micro + missing_micro) AS quoted_micro,
       SUM(quoted_minor + missing_minor) AS quoted_minor,
       SUM(used_micro) AS used_micro, SUM(used_minor) AS used_minor, SUM(missing_micro) AS missing_micro,
       SUM(missing_minor) AS missing_minor
FROM side
JOIN item ON item.id = side.item_id
LEFT JOIN operation ON operation.id = side.operation_id
GROUP BY side.item_id, side.operation_id
ORDER BY 1, 2, 3
