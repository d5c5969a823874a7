-- name: lots
-- What lots $1 are.
SELECT l.code, l.kind, l.cultivar, l.rootstock, l.method, l.day, l.attempt, l.site,
       c.body ->> 'epithet' AS named, s.body ->> 'name' AS stock_named
FROM lots l
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = l.cultivar
LEFT JOIN catalogue s ON s.kind = 'rootstock' AND s.code = l.rootstock
WHERE l.code = ANY ($1::text[]);

-- name: holds
-- Holds in force on day $5 on lots $1 or what they came of, bags $2, place $3, site $4.
SELECT DISTINCT h.code, h.kind, h.from_day, h.target, l.code AS lot
FROM holds h
LEFT JOIN lots l ON l.code = ANY ($1::text[]) AND h.target || ':' || h.target_code = ANY (l.ancestry)
WHERE h.from_day <= $5 AND (h.lifted_day IS NULL OR h.lifted_day > $5)
  AND (l.code IS NOT NULL
       OR h.target = 'bag' AND h.target_code = ANY ($2::text[])
       OR h.target = 'place' AND h.target_code = $3
       OR h.target = 'site' AND h.target_code = $4)
ORDER BY h.code, l.code;

-- name: recent
-- The newest $3 events that speak of a place, lot or bag ($1 kind, $2 code), newest first.
SELECT e.position, e.id, e.type, e.version, e.site, e.sites, e.occurred, e.occurred_at, e.actor,
       e.happened, e.replaces, e.recorded_at, e.recorded_by, e.remarks, e.data,
       v.by_position AS voided_by
FROM (
    SELECT occurred_at, position FROM subjects
    WHERE kind = $1 AND code = $2
    ORDER BY occurred_at DESC, position DESC
    LIMIT $3
) s
JOIN events e ON e.position = s.position
LEFT JOIN voids v ON v.voided_position = e.position
ORDER BY s.occurred_at DESC, s.position DESC;

-- name: known_at
-- The log's newest position.
SELECT position FROM log_head;

-- name: bag
-- Bag $1: what it held, and what its lot is.
SELECT b.code, b.buds, b.sticks, b.basis, b.pieces, l.code AS lot, l.cultivar, l.day, l.source,
       c.body ->> 'epithet' AS named
FROM bags b
JOIN lots l ON l.lot_id = b.lot_id
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = l.cultivar
WHERE b.code = $1 AND NOT b.voided;

-- name: bag_lies
-- Where bag $1 of lot $2 lies by the book, and how many buds are in it.
SELECT b.site, b.place, b.balance AS count
FROM balances b JOIN lots l ON l.lot_id = b.lot_id
WHERE l.code = $2 AND b.kind = 'bag' AND b.ref = $1 AND b.balance > 0
ORDER BY b.balance DESC;

-- name: like
-- Places, lots and bags whose codes begin with $1 ($2: the first text after all of these), at most
-- $3 of each.
(SELECT 'table' AS what, code FROM catalogue
 WHERE kind = 'place' AND code >= $1 AND code < $2 ORDER BY code LIMIT $3)
UNION ALL
(SELECT 'lot', code FROM lots WHERE code >= $1 AND code < $2 AND NOT voided ORDER BY code LIMIT $3)
UNION ALL
(SELECT 'bag', b.code FROM bags b
 WHERE b.code >= $1 AND b.code < $2 AND NOT b.voided ORDER BY b.code LIMIT $3);

-- name: grades
-- Grades that trees of site $1 have by the book.
SELECT DISTINCT grade FROM balances
WHERE site = $1 AND kind = 'trees' AND grade <> '' AND balance > 0
ORDER BY grade;

-- name: tables
-- Places in use of site $1, by house.
SELECT code, body ->> 'structure' AS house, body ->> 'place_kind' AS kind
FROM catalogue
WHERE kind = 'place' AND site = $1 AND NOT coalesce((body ->> 'retired')::boolean, false)
ORDER BY 2, 1;
