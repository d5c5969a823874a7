-- name: touched
-- Lots that the events after $1 up to $2 speak of.
SELECT DISTINCT l.code
FROM subjects s
JOIN lots l ON l.code = s.code
WHERE s.kind = 'lot' AND s.position > $1 AND s.position <= $2;

-- name: everything
-- Every lot.
SELECT code FROM lots ORDER BY code;

-- name: forget
-- Rows of these lots and their bags.
DELETE FROM lineage WHERE lot = ANY ($1::text[]);

-- name: fill
-- What these lots came of, and the bags filled from them. A bag of prepared pieces comes of the
-- bag that the wood was taken out of.
INSERT INTO lineage (child, parent, lot)
SELECT 'lot:' || l.code, parent.token, l.code
FROM lots l
CROSS JOIN LATERAL unnest(l.parents) AS parent (token)
WHERE l.code = ANY ($1::text[]) AND NOT l.voided
UNION
SELECT 'bag:' || b.code, coalesce('bag:' || b.parent, 'lot:' || l.code), l.code
FROM lots l
JOIN bags b ON b.lot_id = l.lot_id
WHERE l.code = ANY ($1) AND NOT l.voided AND NOT b.voided;

-- name: walk
-- All that $1 came of ($3 true) or that came of $1 ($3 false), itself first, with the parents of
-- each and the fewest steps to it. Lots that
-- events after $2 (what the table reflects) speak of are read from the books instead, so that the
-- answer is of one moment.
WITH RECURSIVE fresh AS MATERIALIZED (
    SELECT DISTINCT l.code, l.lot_id, l.parents, l.voided
    FROM subjects s
    JOIN lots l ON l.code = s.code
    -- Where the table has caught up nothing need be looked for.
    WHERE s.kind = 'lot' AND s.position > $2 AND $2 < (SELECT h.position FROM log_head h)
), edges (child, parent) AS MATERIALIZED (
    SELECT 'lot:' || f.code, unnest(f.parents) FROM fresh f WHERE NOT f.voided
    UNION
    SELECT 'bag:' || b.code, coalesce('bag:' || b.parent, 'lot:' || f.code)
    FROM fresh f
    JOIN bags b ON b.lot_id = f.lot_id
    WHERE NOT f.voided AND NOT b.voided
), walk (token, depth) AS (
    SELECT $1::text, 0
    UNION
    SELECT next.token, w.depth + 1
    FROM walk w
    CROSS JOIN LATERAL (
        SELECT e.parent AS token FROM lineage e
        WHERE $3::boolean AND e.child = w.token AND e.lot NOT IN (SELECT f.code FROM fresh f)
        UNION ALL
        SELECT e.child FROM lineage e
        WHERE NOT $3 AND e.parent = w.token AND e.lot NOT IN (SELECT f.code FROM fresh f)
        UNION ALL
        SELECT e.parent FROM edges e WHERE $3 AND e.child = w.token
        UNION ALL
        SELECT e.child FROM edges e WHERE NOT $3 AND e.parent = w.token
    ) next
    WHERE w.depth < 100
)
SELECT w.token, min(w.depth) AS depth,
       ARRAY(
           SELECT e.parent FROM lineage e
           WHERE e.child = w.token AND e.lot NOT IN (SELECT f.code FROM fresh f)
           UNION
           SELECT e.parent FROM edges e WHERE e.child = w.token
           ORDER BY 1
       ) AS parents
FROM walk w
GROUP BY w.token
ORDER BY depth, w.token;

-- name: lots
-- These lots, with whether anything of them is, was or was made at the sites $2 (null: all).
SELECT l.code, l.kind, l.cultivar, l.rootstock, l.day,
       ($2::text[] IS NULL OR l.site = ANY ($2) OR EXISTS (
           SELECT FROM balances b WHERE b.lot_id = l.lot_id AND b.site = ANY ($2)
       )) AS seen
FROM lots l
WHERE l.code = ANY ($1::text[]) AND NOT l.voided;

-- name: bags
-- The lots of these bags.
SELECT b.code, l.code AS lot
FROM bags b
JOIN lots l ON l.lot_id = b.lot_id
WHERE b.code = ANY ($1::text[]) AND NOT b.voided;

-- name: source_tree
-- Whether the source tree is in the catalogue.
SELECT EXISTS (SELECT FROM catalogue WHERE kind = 'source_tree' AND code = $1);

-- name: whereabouts
-- Where what became of these lots ($1) and bags ($2) is now, at the sites $3 (null: all). Buds in
-- bags are told under the bag alone. Each is found by its own code: together in one condition they
-- would read every account of the nursery.
WITH found AS (
    SELECT 'lot:' || l.code AS token, b.kind, b.ref, b.site, b.place, b.stage, b.commodity, b.balance
    FROM lots l
    JOIN balances b ON b.lot_id = l.lot_id
    WHERE l.code = ANY ($1::text[]) AND b.kind <> 'bag'
    UNION ALL
    SELECT 'bag:' || g.code, b.kind, b.ref, b.site, b.place, b.stage, b.commodity, b.balance
    FROM bags g
    JOIN balances b ON b.lot_id = g.lot_id AND b.kind = 'bag' AND b.ref = g.code
    WHERE g.code = ANY ($2::text[])
)
SELECT token,
       CASE
           WHEN kind = 'trees' AND stage = 'failed' THEN 'failed'
           WHEN kind IN ('trees', 'liners', 'bag') THEN 'here'
           WHEN kind = 'transit' THEN 'moving'
           WHEN kind = 'customer' THEN 'sold'
           WHEN kind = 'lost' AND ref = 'culled' THEN 'culled'
           WHEN kind = 'lost' THEN 'dead'
           ELSE kind
       END AS state,
       site, place, stage, commodity, sum(balance)::bigint AS quantity
FROM found
WHERE balance > 0 AND kind NOT IN ('source', 'variance')
  AND ($3::text[] IS NULL OR site = ANY ($3))
GROUP BY 1, 2, 3, 4, 5, 6
ORDER BY 1, 2, 3, 4, 5, 6;
