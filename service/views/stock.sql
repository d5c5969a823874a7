-- name: grouped
-- What the rows `accounts` add up to, in groups; failed counts trees whose scion is dead. Put behind
-- one of the statements below, which say what they are. $1 groups, $2 kinds, $3 sites or null, $4..
-- one value or null each: site, place, cultivar, rootstock, size, stage, grade, lot.
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
WHERE kind = ANY ($2::text[])
  AND ($3::text[] IS NULL OR site = ANY ($3))
  AND ($4::text IS NULL OR site = $4)
  AND ($5::text IS NULL OR place = $5)
  AND ($6::text IS NULL OR cultivar = $6)
  AND ($7::text IS NULL OR rootstock = $7)
  AND ($8::text IS NULL OR size = $8)
  AND ($9::text IS NULL OR stage = $9)
  AND ($10::text IS NULL OR grade = $10)
  AND ($11::text IS NULL OR lot = $11)
GROUP BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
HAVING sum(quantity) <> 0
ORDER BY 1, 2, 3, 4, 5, 6, 7, 8, 9, 10;

-- name: books_now
-- The books as they are.
SELECT b.kind, b.commodity, b.site, b.place, b.size, b.stage, b.grade,
       l.cultivar, l.rootstock, l.code AS lot, b.balance AS quantity
FROM balances b
LEFT JOIN lots l ON l.lot_id = b.lot_id
WHERE b.balance > 0;

-- name: books_then
-- The books as they were: $12 to $14 the legs that came after, $15 the lots that were something else.
-- The balances minus what came after is the shorter sum. (Account ids are unique in the whole book;
-- naming the lot too in the join makes the planner expect a single row. The lots are joined by
-- themselves, so that the join falls away with what asks for it.)
SELECT b.kind, b.commodity, b.site, b.place, b.size, b.stage, b.grade,
       CASE WHEN c.lot_id IS NULL THEN l.cultivar ELSE c.cultivar END AS cultivar,
       CASE WHEN c.lot_id IS NULL THEN l.rootstock ELSE c.rootstock END AS rootstock,
       l.code AS lot,
       b.balance - coalesce(later.delta, 0) AS quantity
FROM balances b
LEFT JOIN (
    SELECT account_id, sum(delta)::bigint AS delta
    FROM legs_after($12::date, $13::bigint[], $14::bigint)
    GROUP BY account_id
) AS later ON later.account_id = b.account_id
LEFT JOIN lots l ON l.lot_id = b.lot_id
LEFT JOIN jsonb_populate_recordset(NULL::lots, $15::jsonb) c ON c.lot_id = b.lot_id
WHERE b.balance - coalesce(later.delta, 0) <> 0;

-- name: sums
-- The view's sums, which reflect position $15, with the legs since, less those that came after ($12 to
-- $14): no part of it grows with the history. Nothing of places and lots is in them.
SELECT s.kind, s.commodity, s.site, NULL AS place, s.size, s.stage, s.grade,
       s.cultivar, s.rootstock, NULL AS lot, s.quantity
FROM stock_sums s
UNION ALL
SELECT b.kind, b.commodity, b.site, NULL, b.size, b.stage, b.grade,
       coalesce(l.cultivar, ''), coalesce(l.rootstock, ''), NULL, moved.delta
FROM (
    SELECT lot_id, account_id, sum(delta)::bigint AS delta
    FROM (
        SELECT g.lot_id, g.account_id, g.delta FROM legs g WHERE g.position > $15::bigint
        UNION ALL
        SELECT a.lot_id, a.account_id, -a.delta
        FROM legs_after($12::date, $13::bigint[], $14::bigint) a
    ) AS each
    GROUP BY lot_id, account_id
) AS moved
JOIN balances b ON b.lot_id = moved.lot_id AND b.account_id = moved.account_id
JOIN lots l ON l.lot_id = b.lot_id;

-- name: sums_then
-- The view's sums, which reflect position $13, less what it has of the days after $12, with the legs
-- since of days up to that: as `sums`, of a past day as known now, in far fewer rows than legs.
SELECT s.kind, s.commodity, s.site, NULL AS place, s.size, s.stage, s.grade,
       s.cultivar, s.rootstock, NULL AS lot, s.quantity
FROM stock_sums s
UNION ALL
SELECT d.kind, d.commodity, d.site, NULL, d.size, d.stage, d.grade,
       d.cultivar, d.rootstock, NULL, -d.delta
FROM stock_by_day d
WHERE d.kind IN ('bag', 'liners', 'trees', 'transit') AND d.day > $12::date
UNION ALL
SELECT b.kind, b.commodity, b.site, NULL, b.size, b.stage, b.grade,
       coalesce(l.cultivar, ''), coalesce(l.rootstock, ''), NULL, g.delta
FROM legs g
JOIN balances b ON b.lot_id = g.lot_id AND b.account_id = g.account_id
JOIN lots l ON l.lot_id = b.lot_id
WHERE g.position > $13::bigint AND g.occurred_day <= $12;

-- name: sums_reflect
-- The position that the view $1 reflects, where its sums can be built on: it is near the head, nothing
-- of it was set aside, and no lot was made anew since, which would be of another cultivar in them.
SELECT c.position
FROM view_checkpoints c
CROSS JOIN log_head h
WHERE c.view = $1 AND c.live AND NOT c.outdated AND h.position - c.position < 10000
  AND NOT EXISTS (SELECT FROM view_faults f WHERE f.view = c.view AND f.generation = c.generation)
  AND (c.position = h.position OR NOT EXISTS (SELECT FROM heirs_of_remade(c.position, h.position)));
