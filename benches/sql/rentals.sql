-- What `report rentals` says of every rental, in one query: a row for each rental day that was charged, and one for each
-- machine that is out. `benches/reports.py` runs it beside the program, and compares the figures.
--
-- A day is worked if its job has hours on the date on which it began, or on the next one if it lasted to noon of it. The
-- firm works from Monday to Friday and has no holidays, as in the demo.

WITH
live AS MATERIALIZED (
    SELECT id, number, kind, job_id, machine_id, rental_id, at, amount_minor, by_tariff, happened_on
    FROM entry
    WHERE kind IN ('rental-out', 'rental-back', 'hours')
      AND NOT EXISTS (SELECT 1 FROM entry AS void WHERE void.voids_id = entry.id)
),
worked AS MATERIALIZED (
    SELECT DISTINCT job_id, happened_on FROM live WHERE kind = 'hours'
),
recorded AS MATERIALIZED (
    SELECT DISTINCT job_id FROM worked
),
back AS MATERIALIZED (
    SELECT * FROM live WHERE kind = 'rental-back'
),
day AS (
    SELECT rental_day.*, went.number, went.machine_id, went.at AS out_at, back.at AS back_at, back.by_tariff,
           back.amount_minor,
           date(began_on, '+1 day') AS next_on,
           MIN(julianday(went.at) + position, julianday(back.at)) > julianday(date(began_on, '+1 day')) + 0.5 AS to_noon
    FROM back
    CROSS JOIN rental_day ON rental_day.entry_id = back.id
    JOIN live AS went ON went.id = back.rental_id
)
SELECT 'E' || day.number AS rental, machine.name AS machine, out_at, back_at, by_tariff, amount_minor,
       began_on, 'J' || job.number AS job, charge_minor,
       CASE WHEN (day.job_id, began_on) IN (SELECT job_id, happened_on FROM worked)
              OR to_noon AND (day.job_id, next_on) IN (SELECT job_id, happened_on FROM worked) THEN NULL
            WHEN strftime('%w', began_on) IN ('0', '6') AND NOT (to_noon AND strftime('%w', next_on) NOT IN ('0', '6'))
            THEN 'day off'
            WHEN day.job_id NOT IN (SELECT job_id FROM recorded) THEN 'hours not recorded'
            ELSE 'idle' END AS use
FROM day
JOIN machine ON machine.id = day.machine_id
JOIN job ON job.id = day.job_id
UNION ALL
SELECT 'E' || went.number, machine.name, went.at, NULL, NULL, NULL, NULL, 'J' || job.number, NULL, NULL
FROM live AS went
JOIN machine ON machine.id = went.machine_id
JOIN job ON job.id = went.job_id
WHERE went.kind = 'rental-out' AND went.id NOT IN (SELECT rental_id FROM back);
