-- name: remade
-- Codes of lots that events after position $1 made, added to, filled further bags of, or, as
-- voids, took back, and that were known by then. $2: the types of events that make.
WITH later AS (
    SELECT newest_data(e.type, e.version, e.data) AS data
    FROM events e WHERE e.type = ANY ($2::text[]) AND e.position > $1
    UNION ALL
    SELECT newest_data(w.type, w.version, w.data)
    FROM voids v
    JOIN events w ON w.position = v.voided_position
    WHERE v.by_position > $1 AND v.voided_position <= $1 AND w.type = ANY ($2)
),
codes AS (
    SELECT later.data ->> 'lot' AS code FROM later
    UNION
    SELECT line.value ->> 'lot'
    FROM later
    CROSS JOIN LATERAL jsonb_array_elements(later.data -> 'lines') AS line
    WHERE later.data -> 'lot' IS NULL
)
SELECT c.code
FROM codes c
WHERE EXISTS (
    SELECT FROM subjects s
    JOIN events e ON e.position = s.position
    WHERE s.kind = 'lot' AND s.code = c.code AND s.position <= $1 AND e.type = ANY ($2)
);

-- name: heirs
-- The lots of these codes, and what descends from them.
SELECT l.lot_id, l.code FROM lots l
WHERE l.code = ANY ($1::text[]) OR l.ancestry && $2::text[];

-- name: makings
-- What made these lots, or was said to: events of the types $3 by position $2 that speak of them,
-- with the void that took them back by then.
SELECT DISTINCT ON (e.position)
       e.position, e.id::text AS id, e.type, e.version, e.site, e.occurred, e.actor, e.happened,
       e.replaces::text AS replaces, e.data, v.by_position
FROM subjects s
JOIN events e ON e.position = s.position
LEFT JOIN voids v ON v.voided_position = e.position AND v.by_position <= $2
WHERE s.kind = 'lot' AND s.code = ANY ($1::text[]) AND s.position <= $2 AND e.type = ANY ($3::text[])
ORDER BY e.position;

-- name: lot_ids
-- Ids by code.
SELECT code, lot_id FROM lots WHERE code = ANY ($1::text[]);
