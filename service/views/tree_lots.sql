-- name: touched
-- Tree lots that the events after $1 up to $2 speak of, or that voided events of theirs did.
SELECT l.code
FROM subjects s
JOIN lots l ON l.code = s.code AND l.kind = 'tree'
WHERE s.kind = 'lot' AND s.position > $1 AND s.position <= $2
UNION
SELECT l.code
FROM voids v
JOIN subjects s ON s.position = v.voided_position AND s.kind = 'lot'
JOIN lots l ON l.code = s.code AND l.kind = 'tree'
WHERE v.by_position > $1 AND v.by_position <= $2
UNION
SELECT code FROM heirs_of_remade($1, $2) WHERE kind = 'tree';

-- name: everything
-- Every tree lot, those made together side by side.
SELECT code FROM lots WHERE kind = 'tree' ORDER BY lot_id;

-- name: lots
-- What these tree lots are; not of lots that were voided, nor of trees whose label was lost.
SELECT code, site, cultivar, rootstock, method, day, attempt
FROM lots
WHERE code = ANY ($1::text[]) AND kind = 'tree' AND NOT voided AND identified;

-- name: history
-- The unvoided events of the types $2 that speak of these lots, in order of occurrence; on one day
-- what makes the lot comes first.
SELECT s.code AS lot, e.type, e.site, e.occurred, e.occurred_day,
       newest_data(e.type, e.version, e.data)::text AS data
FROM subjects s
JOIN events e ON e.position = s.position AND e.type = ANY ($2::text[])
WHERE s.kind = 'lot' AND s.code = ANY ($1::text[])
  AND NOT EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position)
ORDER BY s.code, e.occurred_day,
         e.type IN ('stock.opened', 'trees.received', 'trees.grafted', 'trees.regrafted')
             AND coalesce(newest_data(e.type, e.version, e.data) ->> 'lot', s.code) = s.code
             DESC,
         s.occurred_at, e.position;
