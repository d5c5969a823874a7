-- name: licences
-- Of each protected cultivar, by holder: trees grafted, sold and returned and buds sold on the site
-- days $1 to $2 (null: any), at the sites $3 (null: all), at site $4, of holder $5. What was voided
-- does not count; a lot's cultivar is what it is known to be now. A row without a cultivar: trees of
-- which nobody can tell it.
WITH told AS (
    SELECT e.type, newest_data(e.type, e.version, e.data) AS data
    FROM events e
    LEFT JOIN voids v ON v.voided_position = e.position
    WHERE e.type IN ('trees.grafted', 'trees.regrafted', 'trees.sold', 'trees.returned',
                     'budwood.sold')
      AND v.voided_position IS NULL
      AND ($1::date IS NULL OR e.occurred_day >= $1)
      AND ($2::date IS NULL OR e.occurred_day <= $2)
      AND ($3::text[] IS NULL OR e.site = ANY ($3))
      AND ($4::text IS NULL OR e.site = $4)
), moved AS (
    SELECT 'grafted' AS what, data ->> 'lot' AS lot, (data ->> 'count')::bigint AS count
    FROM told WHERE type IN ('trees.grafted', 'trees.regrafted')
    UNION ALL
    SELECT CASE type WHEN 'trees.sold' THEN 'sold' WHEN 'trees.returned' THEN 'returned'
                     ELSE 'buds_sold' END,
           line ->> 'lot', coalesce(line ->> 'count', line ->> 'buds')::bigint
    FROM told
    CROSS JOIN LATERAL jsonb_array_elements(data -> 'lines') AS line
    WHERE type NOT IN ('trees.grafted', 'trees.regrafted')
), counted AS (
    SELECT l.cultivar,
           coalesce(sum(m.count) FILTER (WHERE m.what = 'grafted'), 0)::bigint AS grafted,
           coalesce(sum(m.count) FILTER (WHERE m.what = 'sold'), 0)::bigint AS sold,
           coalesce(sum(m.count) FILTER (WHERE m.what = 'returned'), 0)::bigint AS returned,
           coalesce(sum(m.count) FILTER (WHERE m.what = 'buds_sold'), 0)::bigint AS buds_sold
    FROM moved m
    JOIN lots l ON l.code = m.lot
    GROUP BY l.cultivar
)
SELECT c.code AS cultivar, c.body ->> 'epithet' AS epithet,
       c.body ->> 'licence_holder' AS licence_holder, c.body ->> 'licence_terms' AS licence_terms,
       c.body ->> 'licence_counts' AS counts,
       coalesce(n.grafted, 0) AS grafted, coalesce(n.sold, 0) AS sold,
       coalesce(n.returned, 0) AS returned, coalesce(n.buds_sold, 0) AS buds_sold
FROM catalogue c
LEFT JOIN counted n ON n.cultivar = c.code
WHERE c.kind = 'cultivar' AND c.body ->> 'licence_holder' IS NOT NULL
  AND ($5::text IS NULL OR c.body ->> 'licence_holder' = $5)
UNION ALL
SELECT NULL, NULL, NULL, NULL, NULL, n.grafted, n.sold, n.returned, n.buds_sold
FROM counted n
WHERE n.cultivar IS NULL
ORDER BY licence_holder NULLS LAST, cultivar;
