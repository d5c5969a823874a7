-- name: plan_for_values
-- Plan each statement for the values at hand: filters and groups that are not asked for fall away,
-- and with them the join to the lots.
SET LOCAL plan_cache_mode = force_custom_plan;

-- name: stock_now
-- Stock by the books as they are, grouped; failed counts trees whose scion is dead.
-- $1 groups, $2 kinds, $3 sites or null, $4.. one value or null each: site, place, cultivar,
-- rootstock, size, stage, grade, lot.
SELECT b.kind,
       b.commodity,
       CASE WHEN 'site' = ANY ($1::text[]) THEN b.site END AS site,
       CASE WHEN 'place' = ANY ($1) THEN b.place END AS place,
       CASE WHEN 'cultivar' = ANY ($1) THEN l.cultivar END AS cultivar,
       CASE WHEN 'rootstock' = ANY ($1) THEN l.rootstock END AS rootstock,
       CASE WHEN 'size' = ANY ($1) THEN b.size END AS size,
       CASE WHEN 'stage' = ANY ($1) THEN b.stage END AS stage,
       CASE WHEN 'grade' = ANY ($1) THEN b.grade END AS grade,
       CASE WHEN 'lot' = ANY ($1) THEN l.code END AS lot,
       sum(b.balance)::bigint AS quantity,
       coalesce(sum(b.balance) FILTER (WHERE b.stage = 'failed'), 0)::bigint AS failed
FROM balances b
LEFT JOIN lots l ON l.lot_id = b.lot_id
WHERE b.kind = ANY ($2::text[])
  AND b.balance > 0
  AND ($3::text[] IS NULL OR b.site = ANY ($3))
  AND ($4::text IS NULL OR b.site = $4)
  AND ($5::text IS NULL OR b.place = $5)
  AND ($6::text IS NULL OR l.cultivar = $6)
  AND ($7::text IS NULL OR l.rootstock = $7)
  AND ($8::text IS NULL OR b.size = $8)
  AND ($9::text IS NULL OR b.stage = $9)
  AND ($10::text IS NULL OR b.grade = $10)
  AND ($11::text IS NULL OR l.code = $11)
GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
ORDER BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10;

-- name: stock_then
-- Stock at the end of day $12 (null: now) as known at position $13 (null: now): the balances minus
-- what came after, which is the shorter sum. Both are grouped before they meet. (Summing the legs
-- by account first was slower: within a month most accounts have one leg. Account ids are unique in
-- the whole book; naming the lot too in the join makes the planner expect a single row.)
WITH later AS (
    SELECT lot_id, account_id, delta FROM legs WHERE occurred_day > $12::date
    UNION ALL
    SELECT lot_id, account_id, delta FROM legs
    WHERE position > $13::bigint AND ($12 IS NULL OR occurred_day <= $12)
),
grouped AS (
    SELECT b.kind,
           b.commodity,
           CASE WHEN 'site' = ANY ($1::text[]) THEN b.site END AS site,
           CASE WHEN 'place' = ANY ($1) THEN b.place END AS place,
           CASE WHEN 'cultivar' = ANY ($1) THEN l.cultivar END AS cultivar,
           CASE WHEN 'rootstock' = ANY ($1) THEN l.rootstock END AS rootstock,
           CASE WHEN 'size' = ANY ($1) THEN b.size END AS size,
           CASE WHEN 'stage' = ANY ($1) THEN b.stage END AS stage,
           CASE WHEN 'grade' = ANY ($1) THEN b.grade END AS grade,
           CASE WHEN 'lot' = ANY ($1) THEN l.code END AS lot,
           sum(b.balance) AS quantity,
           sum(b.balance) FILTER (WHERE b.stage = 'failed') AS failed
    FROM balances b
    LEFT JOIN lots l ON l.lot_id = b.lot_id
    WHERE b.kind = ANY ($2::text[])
      AND b.balance > 0
      AND ($3::text[] IS NULL OR b.site = ANY ($3))
      AND ($4::text IS NULL OR b.site = $4)
      AND ($5::text IS NULL OR b.place = $5)
      AND ($6::text IS NULL OR l.cultivar = $6)
      AND ($7::text IS NULL OR l.rootstock = $7)
      AND ($8::text IS NULL OR b.size = $8)
      AND ($9::text IS NULL OR b.stage = $9)
      AND ($10::text IS NULL OR b.grade = $10)
      AND ($11::text IS NULL OR l.code = $11)
    GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
    UNION ALL
    SELECT b.kind,
           b.commodity,
           CASE WHEN 'site' = ANY ($1::text[]) THEN b.site END AS site,
           CASE WHEN 'place' = ANY ($1) THEN b.place END AS place,
           CASE WHEN 'cultivar' = ANY ($1) THEN l.cultivar END AS cultivar,
           CASE WHEN 'rootstock' = ANY ($1) THEN l.rootstock END AS rootstock,
           CASE WHEN 'size' = ANY ($1) THEN b.size END AS size,
           CASE WHEN 'stage' = ANY ($1) THEN b.stage END AS stage,
           CASE WHEN 'grade' = ANY ($1) THEN b.grade END AS grade,
           CASE WHEN 'lot' = ANY ($1) THEN l.code END AS lot,
           -sum(later.delta) AS quantity,
           -sum(later.delta) FILTER (WHERE b.stage = 'failed') AS failed
    FROM later
    JOIN balances b ON b.account_id = later.account_id
    LEFT JOIN lots l ON l.lot_id = b.lot_id
    WHERE b.kind = ANY ($2)
      AND ($3::text[] IS NULL OR b.site = ANY ($3))
      AND ($4::text IS NULL OR b.site = $4)
      AND ($5::text IS NULL OR b.place = $5)
      AND ($6::text IS NULL OR l.cultivar = $6)
      AND ($7::text IS NULL OR l.rootstock = $7)
      AND ($8::text IS NULL OR b.size = $8)
      AND ($9::text IS NULL OR b.stage = $9)
      AND ($10::text IS NULL OR b.grade = $10)
      AND ($11::text IS NULL OR l.code = $11)
    GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
)
SELECT kind, commodity, site, place, cultivar, rootstock, size, stage, grade, lot,
       sum(quantity)::bigint AS quantity,
       coalesce(sum(failed), 0)::bigint AS failed
FROM grouped
GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
HAVING sum(quantity) <> 0
ORDER BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10;

-- name: position_at
-- The newest position recorded by a time. Positions are dense and recorded_at never runs back, so
-- halving the range finds it in a few look-ups.
WITH RECURSIVE search (low, high) AS (
    SELECT 0::bigint, position FROM log_head
    UNION ALL
    SELECT CASE WHEN e.recorded_at <= $1::timestamptz THEN e.position ELSE s.low END,
           CASE WHEN e.recorded_at <= $1 THEN s.high ELSE e.position - 1 END
    FROM search s
    JOIN events e ON e.position = (s.low + s.high + 1) / 2
    WHERE s.low < s.high
)
SELECT low FROM search WHERE low = high;
