-- name: plans_changed
-- Whether the events after $1 up to $2 changed a check plan: every lot may hang on it.
SELECT EXISTS (
    SELECT FROM events
    WHERE position > $1 AND position <= $2 AND type = 'catalogue.changed'
      AND newest_data(type, version, data) -> 'entry' ->> 'kind' = 'check_plan'
);

-- name: touched
-- Codes of tree lots that the events after $1 up to $2, of days up to $3 (null: any), may have
-- changed: those they speak of or move, those a voided event of theirs did, those grafted on liners
-- whose tops they bent, and if $4 (some plan counts a look at the whole place) those that stood
-- where one was. And the lots of cultivars that changed. $5: the types of events that count as done
-- to a lot: those name it as their lot; all else that matters moves trees.
WITH said AS MATERIALIZED (
    SELECT e.type, newest_data(e.type, e.version, e.data) AS data
    FROM events e
    WHERE e.position > $1 AND e.position <= $2 AND e.type = ANY ($5::text[])
      AND ($3::date IS NULL OR e.occurred_day <= $3)
    UNION ALL
    SELECT w.type, newest_data(w.type, w.version, w.data)
    FROM voids v
    JOIN events w ON w.position = v.voided_position
    WHERE v.by_position > $1 AND v.by_position <= $2 AND w.type = ANY ($5)
      AND ($3 IS NULL OR w.occurred_day <= $3)
),
named AS (
    SELECT DISTINCT type, data ->> 'lot' AS lot FROM said
),
grafted_on AS (
    SELECT DISTINCT newest_data(e.type, e.version, e.data) ->> 'lot' AS lot
    FROM named
    JOIN lots l ON l.code = named.lot AND l.kind = 'liner'
    JOIN subjects s ON s.kind = 'lot' AND s.code = named.lot
    JOIN events e ON e.position = s.position AND e.type = 'trees.grafted'
    WHERE named.type IN ('tops.forced', 'tops.removed')
)
SELECT l.code
FROM (SELECT lot FROM named UNION SELECT lot FROM grafted_on) AS n
JOIN lots l ON l.code = n.lot
WHERE l.kind = 'tree'
UNION
SELECT l.code
FROM (
    SELECT DISTINCT g.lot_id FROM legs g
    WHERE g.position > $1 AND g.position <= $2 AND ($3 IS NULL OR g.occurred_day <= $3)
) AS moved
JOIN lots l ON l.lot_id = moved.lot_id
WHERE l.kind = 'tree'
UNION
SELECT l.code
FROM said
JOIN balances b ON b.place = said.data ->> 'place' AND b.kind = 'trees'
JOIN lots l ON l.lot_id = b.lot_id
WHERE $4::boolean AND said.type = 'place.checked'
UNION
SELECT l.code
FROM events e
JOIN lots l ON l.cultivar = newest_data(e.type, e.version, e.data) -> 'entry' ->> 'code'
WHERE e.position > $1 AND e.position <= $2 AND e.type = 'catalogue.changed'
  AND newest_data(e.type, e.version, e.data) -> 'entry' ->> 'kind' = 'cultivar'
  AND l.kind = 'tree';

-- name: heirs
-- Codes of tree lots that came of what the events after $1 up to $2 made anew.
SELECT code FROM heirs_of_remade($1, $2) WHERE kind = 'tree';

-- name: everything
-- Every tree lot, and those with rows.
SELECT code FROM lots WHERE kind = 'tree'
UNION
SELECT lot FROM check_spells;

-- name: nets
-- By how much each day changed the living trees of these lots ($1, ids), by place and stage.
SELECT l.code AS lot, g.occurred_day AS day, b.site, b.place, b.stage, sum(g.delta)::bigint AS net
FROM lots l
JOIN balances b ON b.lot_id = l.lot_id
JOIN legs g ON g.lot_id = b.lot_id AND g.account_id = b.account_id
WHERE l.lot_id = ANY ($1::bigint[])
  AND b.kind = 'trees' AND b.stage IN ('grafted', 'pushed', 'ready')
GROUP BY 1, 2, 3, 4, 5
HAVING sum(g.delta) <> 0;

-- name: kept
-- The rows of these lots.
SELECT * FROM check_spells WHERE lot = ANY ($1::text[]);

-- name: forget
-- Rows by their keys: lots $1, places $2, checks $3, first days $4.
DELETE FROM check_spells s
USING unnest($1::text[], $2::text[], $3::text[], $4::date[]) AS k (lot, place, check_name, from_day)
WHERE s.lot = k.lot AND s.place = k.place AND s.check_name = k.check_name
  AND s.from_day = k.from_day;

-- name: put
-- Rows as they were worked out.
INSERT INTO check_spells SELECT * FROM jsonb_populate_recordset(NULL::check_spells, $1::jsonb);

-- name: at_the_borders
-- Codes of lots whose checks or trees changed on day $1.
SELECT lot AS code FROM check_spells WHERE from_day = $1::date OR until_day = $1
UNION
SELECT l.code FROM legs g JOIN lots l ON l.lot_id = g.lot_id WHERE g.occurred_day = $1;

-- name: set_aside
-- Lots whose rows could not be worked out.
SELECT f.subject AS code
FROM view_faults f
JOIN view_checkpoints c ON c.view = f.view AND c.generation = f.generation AND c.live
WHERE f.view = $1;

-- name: page
-- Checks of lots as they stood at the end of day $1, by due day; of lots but those of the codes $2.
-- Each site's ($3) day ($4) decides on their state. $5 sites or null, $6.. one or null: site, place,
-- check, state; $10.. the key of the last row of the page before: due day, site, place, lot, check;
-- $15 limit.
SELECT c.*
FROM check_spells c
JOIN unnest($3::text[], $4::date[]) AS today (site, day) ON today.site = c.site
WHERE c.until_day > $1::date AND c.from_day <= $1
  AND c.lot <> ALL ($2::text[])
  AND ($5::text[] IS NULL OR c.site = ANY ($5))
  AND ($6::text IS NULL OR c.site = $6)
  AND ($7::text IS NULL OR c.place = $7)
  AND ($8::text IS NULL OR c.check_name = $8)
  AND ($9::text IS NULL
       OR ($9 = 'overdue' AND today.day >= c.overdue_on)
       OR ($9 = 'due' AND today.day >= c.due_on AND today.day < c.overdue_on)
       OR ($9 = 'upcoming' AND today.day < c.due_on))
  AND ($10::date IS NULL
       OR (c.due_on, c.site COLLATE "C", c.place COLLATE "C", c.lot COLLATE "C",
           c.check_name COLLATE "C") > ($10, $11, $12, $13, $14))
ORDER BY c.due_on, c.site COLLATE "C", c.place COLLATE "C", c.lot COLLATE "C",
         c.check_name COLLATE "C"
LIMIT $15;
