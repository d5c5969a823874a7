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
-- The same as it was: $12 to $14 the legs that came after, $15 the lots that were something else.
-- The balances minus what came after is the shorter sum. (Account ids are unique in the whole book;
-- naming the lot too in the join makes the planner expect a single row. The lots are joined by
-- themselves, so that the join falls away with what asks for it.)
WITH later AS (
    SELECT account_id, sum(delta)::bigint AS delta
    FROM legs_after($12::date, $13::bigint[], $14::bigint)
    GROUP BY account_id
),
accounts AS (
    SELECT b.kind, b.commodity, b.site, b.place, b.size, b.stage, b.grade,
           CASE WHEN c.lot_id IS NULL THEN l.cultivar ELSE c.cultivar END AS cultivar,
           CASE WHEN c.lot_id IS NULL THEN l.rootstock ELSE c.rootstock END AS rootstock,
           l.code AS lot,
           b.balance - coalesce(later.delta, 0) AS quantity
    FROM balances b
    LEFT JOIN later ON later.account_id = b.account_id
    LEFT JOIN lots l ON l.lot_id = b.lot_id
    LEFT JOIN jsonb_populate_recordset(NULL::lots, $15::jsonb) c ON c.lot_id = b.lot_id
    WHERE b.kind = ANY ($2::text[])
      AND b.balance - coalesce(later.delta, 0) <> 0
      AND ($3::text[] IS NULL OR b.site = ANY ($3))
      AND ($4::text IS NULL OR b.site = $4)
      AND ($5::text IS NULL OR b.place = $5)
      AND ($8::text IS NULL OR b.size = $8)
      AND ($9::text IS NULL OR b.stage = $9)
      AND ($10::text IS NULL OR b.grade = $10)
)
SELECT kind,
       commodity,
       CASE WHEN 'site' = ANY ($1::text[]) THEN site END AS site,
       CASE WHEN 'place' = ANY ($1) THEN place END AS place,
       CASE WHEN 'cultivar' = ANY ($1) THEN cultivar END AS cultivar,
       CASE WHEN 'rootstock' = ANY ($1) THEN rootstock END AS rootstock,
       CASE WHEN 'size' = ANY ($1) THEN size END AS size,
       CASE WHEN 'stage' = ANY ($1) THEN stage END AS stage,
       CASE WHEN 'grade' = ANY ($1) THEN grade END AS grade,
       CASE WHEN 'lot' = ANY ($1) THEN lot END AS lot,
       sum(quantity)::bigint AS quantity,
       coalesce(sum(quantity) FILTER (WHERE stage = 'failed'), 0)::bigint AS failed
FROM accounts
WHERE ($6::text IS NULL OR cultivar = $6)
  AND ($7::text IS NULL OR rootstock = $7)
  AND ($11::text IS NULL OR lot = $11)
GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
ORDER BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10;
