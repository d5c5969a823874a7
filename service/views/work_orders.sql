-- name: head
-- The newest position: the books are never behind it.
SELECT position FROM log_head;

-- name: page
-- Work orders by their day. $1 sites or null; one or null: $2 site, $3 cultivar, $4 rootstock,
-- $5 grafter (named in it, or nobody is), $6 latest day, $7 state (to_do: open or late); $8 sites
-- with $9 their days; $10, $11 key of the last row; $12 limit; $13 code or null.
SELECT * FROM (
    SELECT o.code, o.site, o.cultivar, o.rootstock, o.liner_lot, o.method, o.place, o.grafters,
           o.customer, o.reservation, o.note, o.made_day, o.needed_by, o.wanted, o.done,
           greatest(o.wanted - o.done, 0) AS left,
           CASE WHEN o.ended IS NOT NULL THEN 'ended' WHEN o.done >= o.wanted THEN 'filled'
                WHEN today.day > o.needed_by THEN 'late' ELSE 'open' END AS state,
           o.ended, o.ended_day, o.position, o.changed_position
    FROM work_orders o
    JOIN unnest($8::text[], $9::date[]) AS today (site, day) ON today.site = o.site
    WHERE ($1::text[] IS NULL OR o.site = ANY ($1))
      AND ($2::text IS NULL OR o.site = $2)
      AND ($3::text IS NULL OR o.cultivar = $3)
      AND ($4::text IS NULL OR o.rootstock = $4)
      AND ($5::text IS NULL OR o.grafters = '{}' OR $5 = ANY (o.grafters))
      AND ($6::date IS NULL OR o.needed_by <= $6)
      AND ($13::text IS NULL OR o.code = $13)
      AND ($10::date IS NULL OR (o.needed_by, o.code) > ($10, $11::text))
) found
WHERE $7::text IS NULL OR state = $7 OR ($7 = 'to_do' AND state IN ('open', 'late'))
ORDER BY needed_by, code
LIMIT $12;

-- name: done
-- Graftings for orders $1 by day, those that were voided too; with who grafted.
SELECT d.work_order, e.id::text AS id, d.position, d.day, d.lot, d.count, d.counts,
       d.voided_by IS NOT NULL AS voided, coalesce(newest_data(e.type, e.version, e.data) -> 'grafters', '[]') AS grafters
FROM work_done d JOIN events e ON e.position = d.position
WHERE d.work_order = ANY ($1::text[])
ORDER BY d.day, d.position;

-- name: bags
-- Bags with buds in them at site $1 of cultivars $2. Where a bag came from another site its filling
-- may not be seen: then its day is the lot's, if that is known.
SELECT b.ref AS bag, l.code AS lot, b.place, l.cultivar, b.balance AS buds, g.basis,
       g.buds_per_piece, coalesce(l.day, e.occurred_day) AS day, c.body ->> 'crop' AS crop,
       l.ancestry
FROM balances b
JOIN lots l ON l.lot_id = b.lot_id
JOIN bags g ON g.code = b.ref
LEFT JOIN events e ON e.position = g.position
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = l.cultivar
WHERE b.kind = 'bag' AND b.site = $1 AND b.balance > 0
  AND l.cultivar = ANY ($2::text[]) AND NOT l.voided
ORDER BY b.ref, b.place;

-- name: parents
-- Which bags the pieces in bags of lots $1 were cut from.
SELECT g.code, g.parent FROM bags g JOIN lots l ON l.lot_id = g.lot_id
WHERE l.code = ANY ($1::text[]) AND g.parent IS NOT NULL;

-- name: liners
-- Liners at site $1 of rootstocks $2.
SELECT l.code AS lot, b.place, b.size, l.rootstock, l.day, b.balance AS count, l.ancestry
FROM balances b JOIN lots l ON l.lot_id = b.lot_id
WHERE b.kind = 'liners' AND b.site = $1 AND b.balance > 0
  AND l.rootstock = ANY ($2::text[]) AND NOT l.voided
ORDER BY l.code, b.place, b.size;

-- name: site_name
-- What people call site $1.
SELECT body ->> 'name' FROM catalogue WHERE kind = 'site' AND code = $1;
