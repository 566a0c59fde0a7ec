-- What `report year 2025` says of each month, in one query: what was invoiced, what jobs cost and what belongs to no job, as
-- somebody would ask for it who knows the tables. `benches/reports.py` runs it beside the program, and compares the figures.

WITH
own AS MATERIALIZED (
    SELECT job.id FROM job JOIN quote ON quote.id = job.quote_id WHERE own = 1
),
figure AS (
    SELECT issued_on AS day, CASE WHEN credits_id IS NULL THEN net_minor ELSE -net_minor END AS revenue, 0 AS cost, 0 AS overhead
    FROM invoice WHERE issued_on BETWEEN '2025-01-01' AND '2025-12-31'
    UNION ALL
    SELECT happened_on, 0, amount_minor, 0
    FROM job_cost
    WHERE until IS NULL AND happened_on BETWEEN '2025-01-01' AND '2025-12-31' AND job_id NOT IN own
    UNION ALL
    SELECT happened_on, 0, 0, amount_minor
    FROM live_entry
    WHERE job_id IS NULL AND kind IN ('hours', 'spent', 'drive') AND happened_on BETWEEN '2025-01-01' AND '2025-12-31'
)
SELECT substr(day, 1, 7) AS month, SUM(revenue), SUM(cost), SUM(overhead)
FROM figure GROUP BY month ORDER BY month
