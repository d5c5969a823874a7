-- name: lots
-- These lots and all that they came of.
WITH asked AS (SELECT ancestry FROM lots WHERE code = ANY ($1::text[]) AND NOT voided)
SELECT l.lot_id, l.code, l.kind, l.site, l.cultivar, l.rootstock, l.source, l.method, l.day,
       l.attempt, l.basis, l.identified, l.grown_for, l.parents, l.ancestry, l.position,
       l.changed_position, l.voided
FROM lots l
WHERE l.code IN (
    SELECT substr(token, 5) FROM asked, unnest(asked.ancestry) AS token WHERE token LIKE 'lot:%'
);

-- name: bags
-- The bags of these budwood lots.
SELECT b.code, l.code AS lot, b.buds, b.sticks, b.basis, b.parent, b.pieces, b.buds_per_piece,
       b.position, b.voided
FROM lots l JOIN bags b ON b.lot_id = l.lot_id
WHERE l.code = ANY ($1::text[]) AND NOT b.voided;

-- name: makings
-- The standing events of types $2 that made these lots or added to them; told: of a site of $3
-- (null: all).
SELECT s.code, e.position, e.id::text AS id, e.type, e.version, e.site, e.occurred, e.actor,
       e.happened, e.replaces::text AS replaces, e.data, e.occurred_day AS day,
       ($3::text[] IS NULL OR e.sites && $3) AS told
FROM subjects s
JOIN events e ON e.position = s.position
LEFT JOIN voids v ON v.voided_position = e.position
WHERE s.kind = 'lot' AND s.code = ANY ($1::text[]) AND e.type = ANY ($2::text[])
  AND v.voided_position IS NULL
ORDER BY e.position;

-- name: entries
-- Entries of the catalogue by kind and code.
SELECT c.kind, c.code, c.body
FROM unnest($1::text[], $2::text[]) AS w (kind, code)
JOIN catalogue c ON c.kind = w.kind AND c.code = w.code;
