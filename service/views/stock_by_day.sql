-- name: add
-- Add the legs of the events after $1 up to $2 to the day's net of their kind of stock.
INSERT INTO stock_by_day AS s
    (site, kind, cultivar, rootstock, size, stage, grade, commodity, day, delta)
SELECT b.site, b.kind, coalesce(l.cultivar, ''), coalesce(l.rootstock, ''), b.size, b.stage,
       b.grade, b.commodity, g.occurred_day, sum(g.delta)
FROM legs g
JOIN balances b ON b.lot_id = g.lot_id AND b.account_id = g.account_id
JOIN lots l ON l.lot_id = g.lot_id
WHERE g.position > $1 AND g.position <= $2
  AND b.kind NOT IN ('source', 'variance')
GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9
HAVING sum(g.delta) <> 0
ON CONFLICT (site, kind, cultivar, rootstock, size, stage, grade, commodity, day)
DO UPDATE SET delta = s.delta + excluded.delta;

-- name: add_sums
-- The same without the day, for what is in the nursery.
INSERT INTO stock_sums AS s
    (site, kind, cultivar, rootstock, size, stage, grade, commodity, quantity)
SELECT b.site, b.kind, coalesce(l.cultivar, ''), coalesce(l.rootstock, ''), b.size, b.stage,
       b.grade, b.commodity, sum(g.delta)
FROM legs g
JOIN balances b ON b.lot_id = g.lot_id AND b.account_id = g.account_id
JOIN lots l ON l.lot_id = g.lot_id
WHERE g.position > $1 AND g.position <= $2
  AND b.kind IN ('bag', 'liners', 'trees', 'transit')
GROUP BY 1, 2, 3, 4, 5, 6, 7, 8
HAVING sum(g.delta) <> 0
ON CONFLICT (site, kind, cultivar, rootstock, size, stage, grade, commodity)
DO UPDATE SET quantity = s.quantity + excluded.quantity;

-- name: outdated
-- Whether legs before these events were added under a cultivar or rootstock that is another now.
SELECT EXISTS (SELECT FROM heirs_of_remade($1, $2));

-- name: sweep
-- A day whose changes cancel out is as if nothing had been: so a rebuild gives the same rows.
DELETE FROM stock_by_day WHERE delta = 0;

-- name: sweep_sums
-- And so is what is all gone.
DELETE FROM stock_sums WHERE quantity = 0;

-- name: by_day
-- Stock at the end of day $10 and of each later day with a change up to $11, grouped. Others:
-- $1 groups, $2 kinds, $3 sites or null, $4.. site, cultivar, rootstock, size, stage, grade.
WITH net AS (
    SELECT s.kind,
           s.commodity,
           CASE WHEN 'site' = ANY ($1::text[]) THEN s.site END AS site,
           CASE WHEN 'cultivar' = ANY ($1) THEN s.cultivar END AS cultivar,
           CASE WHEN 'rootstock' = ANY ($1) THEN s.rootstock END AS rootstock,
           CASE WHEN 'size' = ANY ($1) THEN s.size END AS size,
           CASE WHEN 'stage' = ANY ($1) THEN s.stage END AS stage,
           CASE WHEN 'grade' = ANY ($1) THEN s.grade END AS grade,
           greatest(s.day, $10::date) AS day,
           sum(s.delta) AS net,
           sum(s.delta) FILTER (WHERE s.day >= $10) AS change
    FROM stock_by_day s
    WHERE s.kind = ANY ($2::text[])
      AND s.day <= $11::date
      AND ($3::text[] IS NULL OR s.site = ANY ($3))
      AND ($4::text IS NULL OR s.site = $4)
      AND ($5::text IS NULL OR s.cultivar = $5)
      AND ($6::text IS NULL OR s.rootstock = $6)
      AND ($7::text IS NULL OR s.size = $7)
      AND ($8::text IS NULL OR s.stage = $8)
      AND ($9::text IS NULL OR s.grade = $9)
    GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9
)
SELECT kind, commodity, site, cultivar, rootstock, size, stage, grade, day,
       coalesce(change, 0)::bigint AS change,
       (sum(net) OVER (
           PARTITION BY kind, commodity, site, cultivar, rootstock, size, stage, grade
           ORDER BY day
       ))::bigint AS quantity
FROM net
ORDER BY day, kind, commodity, site, cultivar, rootstock, size, stage, grade;

-- name: by_day_back
-- The same of what is in the nursery, told backward from the sums: no part of it grows with the days
-- before $10. What was gone before then and never came back is left out.
WITH told AS (
    SELECT s.kind,
           s.commodity,
           CASE WHEN 'site' = ANY ($1::text[]) THEN s.site END AS site,
           CASE WHEN 'cultivar' = ANY ($1) THEN s.cultivar END AS cultivar,
           CASE WHEN 'rootstock' = ANY ($1) THEN s.rootstock END AS rootstock,
           CASE WHEN 'size' = ANY ($1) THEN s.size END AS size,
           CASE WHEN 'stage' = ANY ($1) THEN s.stage END AS stage,
           CASE WHEN 'grade' = ANY ($1) THEN s.grade END AS grade,
           s.day,
           sum(s.delta) AS delta,
           sum(s.quantity) AS quantity
    FROM (
        SELECT site, kind, cultivar, rootstock, size, stage, grade, commodity, day, delta,
               0::bigint AS quantity
        FROM stock_by_day
        WHERE day >= $10::date
        UNION ALL
        -- what there is now, of no day
        SELECT site, kind, cultivar, rootstock, size, stage, grade, commodity, NULL::date, 0::bigint,
               quantity
        FROM stock_sums
    ) s
    WHERE s.kind = ANY ($2::text[])
      AND ($3::text[] IS NULL OR s.site = ANY ($3))
      AND ($4::text IS NULL OR s.site = $4)
      AND ($5::text IS NULL OR s.cultivar = $5)
      AND ($6::text IS NULL OR s.rootstock = $6)
      AND ($7::text IS NULL OR s.size = $7)
      AND ($8::text IS NULL OR s.stage = $8)
      AND ($9::text IS NULL OR s.grade = $9)
    GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9
), parts AS (
    SELECT kind, commodity, site, cultivar, rootstock, size, stage, grade, day,
           delta AS net, delta AS change
    FROM told
    WHERE day <= $11::date
    UNION ALL
    SELECT kind, commodity, site, cultivar, rootstock, size, stage, grade, $10,
           quantity - delta, 0
    FROM told
), net AS (
    SELECT kind, commodity, site, cultivar, rootstock, size, stage, grade, day,
           sum(net) AS net, sum(change) AS change
    FROM parts
    GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9
    HAVING sum(net) <> 0 OR bool_or(change <> 0)
)
SELECT kind, commodity, site, cultivar, rootstock, size, stage, grade, day,
       change::bigint AS change,
       (sum(net) OVER (
           PARTITION BY kind, commodity, site, cultivar, rootstock, size, stage, grade
           ORDER BY day
       ))::bigint AS quantity
FROM net
ORDER BY day, kind, commodity, site, cultivar, rootstock, size, stage, grade;
