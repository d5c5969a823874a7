-- name: lock_view
-- One recomputation at a time; the rows of two would mix.
SELECT pg_advisory_xact_lock(hashtextextended('ready dates', 0));

-- name: head_position
-- The log's newest position, read before the rest: everything up to it is reflected.
SELECT position FROM log_head;

-- name: lots_growing_on
-- Per tree lot (ids $1; null: all) and site ($2) with trees not yet ready: facts and the first push.
-- A push read at the site itself counts before one read where the trees stood earlier; none counts
-- while no tree at the site is booked as pushed. Liners under the grafts are not counted.
-- The moment: the legs $3 to $5, the lots $6 that were something else then, events of the sites $7
-- only before the day $3. One value or null each: $8 cultivar, $9 rootstock.
WITH later AS (
    SELECT account_id, sum(delta)::bigint AS delta
    FROM legs_after($3::date, $4::bigint[], $5::bigint)
    GROUP BY account_id
),
standing AS (
    SELECT
        b.lot_id,
        b.site,
        sum(b.balance - coalesce(later.delta, 0))::bigint AS trees,
        bool_or(b.stage = 'pushed') AS any_pushed,
        array_agg(DISTINCT b.place) AS places,
        array_agg(DISTINCT b.size) AS sizes
    FROM balances AS b
    LEFT JOIN later ON later.account_id = b.account_id
    WHERE b.kind = 'trees' AND b.stage IN ('grafted', 'pushed')
        AND b.balance - coalesce(later.delta, 0) > 0
        AND b.site = ANY($2::text[])
        AND ($1::bigint[] IS NULL OR b.lot_id = ANY($1))
    GROUP BY b.lot_id, b.site
),
growing AS (
    SELECT
        l.code, l.site, l.cultivar, l.rootstock, l.method, l.day,
        st.site AS stands_at, st.trees, st.any_pushed, st.places, st.sizes
    FROM standing AS st
    -- one by one: few of all lots grow, and OFFSET keeps the planner from reading all
    CROSS JOIN LATERAL (
        SELECT x.* FROM lots_at($5, $6::jsonb) AS x WHERE x.lot_id = st.lot_id OFFSET 0
    ) AS l
    WHERE l.kind = 'tree'
        AND ($8::text IS NULL OR l.cultivar = $8)
        AND ($9::text IS NULL OR l.rootstock = $9)
)
SELECT
    g.code AS lot,
    g.stands_at AS site,
    coalesce(g.cultivar, '') AS cultivar,
    coalesce(g.rootstock, '') AS rootstock,
    coalesce(c.body ->> 'crop', '') AS crop,
    g.site AS made_at,
    g.method AS graft_method,
    g.day AS grafted_on,
    g.trees,
    g.places,
    g.sizes,
    CASE WHEN g.any_pushed THEN coalesce(
        (SELECT p.day FROM pushes_of(g.code, $3, $7::text[], $5) AS p
         WHERE p.site = g.stands_at ORDER BY p.at LIMIT 1),
        (SELECT min(p.day) FROM pushes_of(g.code, $3, $7, $5) AS p)
    ) END AS pushed_on,
    g.any_pushed
FROM growing AS g
LEFT JOIN catalogue_at($5) AS c ON c.kind = 'cultivar' AND c.code = g.cultivar
ORDER BY g.code, g.stands_at;

-- name: lots_touched
-- Lots whose stock or history the events of a batch ($1 < position <= $2) may have changed, and
-- those of a cultivar or at a site that the catalogue changed.
SELECT l.code
FROM legs AS g
JOIN lots AS l USING (lot_id)
WHERE g.position > $1 AND g.position <= $2 AND l.kind = 'tree'
UNION
SELECT code FROM heirs_of_remade($1, $2) WHERE kind = 'tree'
UNION
SELECT s.code
FROM subjects AS s
WHERE s.kind = 'lot' AND s.position > $1 AND s.position <= $2
UNION
SELECT s.code
FROM voids AS v
JOIN subjects AS s ON s.position = v.voided_position
WHERE s.kind = 'lot' AND v.by_position > $1 AND v.by_position <= $2
UNION
SELECT r.lot
FROM events AS e
CROSS JOIN LATERAL (SELECT newest_data(e.type, e.version, e.data) -> 'entry') AS told (entry)
JOIN ready_dates AS r ON (told.entry ->> 'kind' = 'cultivar' AND r.cultivar = told.entry ->> 'code')
    OR (told.entry ->> 'kind' = 'site' AND r.site = told.entry ->> 'code')
WHERE e.type = 'catalogue.changed' AND e.position > $1 AND e.position <= $2;

-- name: tree_lots
-- Every tree lot.
SELECT code FROM lots WHERE kind = 'tree' ORDER BY code;

-- name: put
-- Rows as they were worked out. (COPY is refused on tables with row-level security.)
INSERT INTO ready_dates SELECT * FROM jsonb_populate_recordset(NULL::ready_dates, $1::jsonb);

-- name: clear
-- Before rows are written anew: those of lots ($1; null: all) at sites ($2).
DELETE FROM ready_dates
WHERE site = ANY($2::text[]) AND ($1::text[] IS NULL OR lot = ANY($1));

-- name: page
-- Ready dates in order of the expected day (unknown last), lot, site. Filters, null for any: $1
-- sites, $2 lot, $3 cultivar, $4 rootstock, $5 size, $6 expected on that day or later, $7 on that day or earlier.
-- After: $8 expected (null: unknown), $9 lot (null: from the start), $10 site. At most $11 rows.
SELECT *
FROM ready_dates
WHERE ($1::text[] IS NULL OR site = ANY($1))
    AND ($2::text IS NULL OR lot = $2)
    AND ($3::text IS NULL OR cultivar = $3)
    AND ($4::text IS NULL OR rootstock = $4)
    AND ($5::text IS NULL OR $5 = ANY(sizes))
    AND ($6::date IS NULL OR expected >= $6)
    AND ($7::date IS NULL OR expected <= $7)
    AND (
        $9::text IS NULL
        OR (coalesce(expected, 'infinity'::date), lot, site)
            > (coalesce($8::date, 'infinity'::date), $9, $10::text)
    )
ORDER BY coalesce(expected, 'infinity'::date), lot, site
LIMIT $11;
