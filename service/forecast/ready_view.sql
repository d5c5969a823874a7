-- name: lock_view
-- One recomputation at a time; the rows of two would mix.
SELECT pg_advisory_xact_lock(hashtextextended('ready dates', 0));

-- name: head_position
-- The log's newest position, read before the rest: everything up to it is reflected.
SELECT position FROM log_head;

-- name: lots_growing_on
-- Per tree lot ($1; null: all) and site ($2) with trees not yet ready: facts and the first push.
-- A push read at the site itself counts before one read where the trees stood earlier; none counts
-- while no tree at the site is booked as pushed. Liners under the grafts are not counted.
WITH standing AS (
    SELECT
        b.lot_id,
        b.site,
        sum(b.balance)::bigint AS trees,
        bool_or(b.stage = 'pushed') AS any_pushed,
        array_agg(DISTINCT b.place) AS places,
        array_agg(DISTINCT b.size) AS sizes
    FROM balances AS b
    JOIN lots AS l USING (lot_id)
    WHERE b.kind = 'trees' AND b.stage IN ('grafted', 'pushed') AND b.balance > 0
        AND b.site = ANY($2::text[])
        AND l.kind = 'tree'
        AND ($1::text[] IS NULL OR l.code = ANY($1))
    GROUP BY b.lot_id, b.site
),
pushes AS (
    SELECT s.code, e.site, min(e.occurred_day) AS first_day
    FROM subjects AS s
    JOIN events AS e ON e.position = s.position
    WHERE s.kind = 'lot'
        AND s.code IN (SELECT l.code FROM standing JOIN lots AS l USING (lot_id))
        AND e.type = 'push.counted'
        AND (newest_data(e.type, e.version, e.data) ->> 'pushed')::bigint > 0
        AND NOT EXISTS (SELECT FROM voids AS v WHERE v.voided_position = e.position)
    GROUP BY s.code, e.site
)
SELECT
    l.code AS lot,
    st.site,
    coalesce(l.cultivar, '') AS cultivar,
    coalesce(l.rootstock, '') AS rootstock,
    coalesce(c.body ->> 'crop', '') AS crop,
    l.site AS made_at,
    l.method AS graft_method,
    l.day AS grafted_on,
    st.trees,
    st.places,
    st.sizes,
    CASE WHEN st.any_pushed THEN coalesce(
        (SELECT p.first_day FROM pushes AS p WHERE p.code = l.code AND p.site = st.site),
        (SELECT min(p.first_day) FROM pushes AS p WHERE p.code = l.code)
    ) END AS pushed_on,
    st.any_pushed
FROM standing AS st
JOIN lots AS l USING (lot_id)
LEFT JOIN catalogue AS c ON c.kind = 'cultivar' AND c.code = l.cultivar
ORDER BY l.code, st.site;

-- name: lots_touched
-- Lots whose stock or history the events of a batch ($1 < position <= $2) may have changed, and
-- those of a cultivar or at a site that the catalogue changed.
SELECT l.code
FROM legs AS g
JOIN lots AS l USING (lot_id)
WHERE g.position > $1 AND g.position <= $2 AND l.kind = 'tree'
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

-- name: sites_with_zones
-- Every site and its time zone; today is a matter of the site.
SELECT code, body ->> 'time_zone' AS time_zone
FROM catalogue
WHERE kind = 'site'
ORDER BY code;

-- name: page
-- Ready dates in order of the expected day (unknown last), lot, site. Filters, null for any: $1
-- sites, $2 lot, $3 cultivar, $4 rootstock, $5 size, $6 expected by that day. After: $7 expected
-- (null: unknown), $8 lot (null: from the start), $9 site. At most $10 rows.
SELECT *
FROM ready_dates
WHERE ($1::text[] IS NULL OR site = ANY($1))
    AND ($2::text IS NULL OR lot = $2)
    AND ($3::text IS NULL OR cultivar = $3)
    AND ($4::text IS NULL OR rootstock = $4)
    AND ($5::text IS NULL OR $5 = ANY(sizes))
    AND ($6::date IS NULL OR expected <= $6)
    AND (
        $8::text IS NULL
        OR (coalesce(expected, 'infinity'::date), lot, site)
            > (coalesce($7::date, 'infinity'::date), $8, $9::text)
    )
ORDER BY coalesce(expected, 'infinity'::date), lot, site
LIMIT $10;
