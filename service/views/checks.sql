-- name: touched
-- Lots and places that the events after $1 up to $2 may have changed: those they speak of or move,
-- those a voided event of theirs did, places somebody saw (by the types $3) or trees came to or
-- left, and if $4 (some plan counts a look at the whole place) the lots that live where one was.
WITH spoken AS (
    SELECT e.position, e.type
    FROM events e
    WHERE e.position > $1 AND e.position <= $2
    UNION
    SELECT v.voided_position, w.type
    FROM voids v
    JOIN events w ON w.position = v.voided_position
    WHERE v.by_position > $1 AND v.by_position <= $2
),
said AS (
    SELECT DISTINCT s.kind, s.code, p.type
    FROM spoken p
    JOIN subjects s ON s.position = p.position
    WHERE s.kind IN ('lot', 'place')
)
SELECT 'lot:' || code AS subject FROM said WHERE kind = 'lot'
UNION
SELECT 'place:' || code FROM said WHERE kind = 'place' AND type = ANY ($3::text[])
UNION
SELECT 'lot:' || l.code
FROM legs g
JOIN lots l ON l.lot_id = g.lot_id
WHERE g.position > $1 AND g.position <= $2 AND l.kind = 'tree'
UNION
SELECT 'place:' || b.place
FROM legs g
JOIN balances b ON b.lot_id = g.lot_id AND b.account_id = g.account_id
WHERE g.position > $1 AND g.position <= $2 AND b.kind = 'trees'
UNION
SELECT 'lot:' || l.code
FROM said
JOIN balances b ON b.place = said.code AND b.balance > 0 AND b.kind = 'trees'
JOIN lots l ON l.lot_id = b.lot_id
WHERE said.kind = 'place' AND said.type = 'place.checked' AND $4::boolean
UNION
SELECT 'lot:' || code FROM heirs_of_remade($1, $2) WHERE kind = 'tree';

-- name: plans_changed
-- Whether the events after $1 up to $2 changed something that every lot's checks may hang on.
SELECT EXISTS (
    SELECT FROM events
    WHERE position > $1 AND position <= $2
      AND type = 'catalogue.changed'
      AND newest_data(type, version, data) -> 'entry' ->> 'kind' IN ('check_plan', 'site', 'cultivar')
);

-- name: everything
-- Every lot and place where live trees stand, and those with rows.
SELECT 'lot:' || l.code AS subject
FROM lots l
WHERE EXISTS (
    SELECT FROM balances b
    WHERE b.lot_id = l.lot_id AND b.kind = 'trees' AND b.balance > 0 AND b.stage <> 'failed'
)
UNION
SELECT 'place:' || b.place
FROM balances b
WHERE b.kind = 'trees' AND b.balance > 0 AND b.stage <> 'failed'
UNION
SELECT CASE WHEN lot = '' THEN 'place:' || place ELSE 'lot:' || lot END FROM checks_due;

-- name: forget
-- Rows of these lots, and of looks at these places.
DELETE FROM checks_due
WHERE lot = ANY ($1::text[]) OR (lot = '' AND place = ANY ($2::text[]));

-- name: put
-- Rows as they were worked out. (COPY is refused on tables with row-level security.)
INSERT INTO checks_due SELECT * FROM jsonb_populate_recordset(NULL::checks_due, $1::jsonb);

-- name: page
-- Checks by due day, with the state they have on each site's day ($1 sites, $2 days).
-- $3 sites or null, $4.. one or null: site, place, lot, check, state; $9.. the key of the last
-- row of the page before: due day, site, place, lot, check; $14 limit.
SELECT c.*,
       today.day AS today,
       CASE
           WHEN today.day >= c.overdue_on THEN 'overdue'
           WHEN today.day >= c.due_on THEN 'due'
           ELSE 'upcoming'
       END AS state,
       greatest(today.day - c.overdue_on + 1, 0) AS days_overdue
FROM checks_due c
JOIN unnest($1::text[], $2::date[]) AS today (site, day) ON today.site = c.site
WHERE ($3::text[] IS NULL OR c.site = ANY ($3))
  AND ($4::text IS NULL OR c.site = $4)
  AND ($5::text IS NULL OR c.place = $5)
  AND ($6::text IS NULL OR c.lot = $6)
  AND ($7::text IS NULL OR c.check_name = $7)
  AND ($8::text IS NULL
       OR ($8 = 'overdue' AND today.day >= c.overdue_on)
       OR ($8 = 'due' AND today.day >= c.due_on AND today.day < c.overdue_on)
       OR ($8 = 'upcoming' AND today.day < c.due_on))
  AND ($9::date IS NULL
       OR (c.due_on, c.site, c.place, c.lot, c.check_name) > ($9, $10, $11, $12, $13))
ORDER BY c.due_on, c.site, c.place, c.lot, c.check_name
LIMIT $14;
