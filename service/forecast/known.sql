-- But for the first two, each statement gives one row: its columns as arrays of one length, null when
-- empty. A million rows one by one would take the reader several times as long.

-- name: room_to_sort
-- Joins and sorts of a million rows stay in memory.
SET LOCAL work_mem = '64MB';

-- name: position
-- The newest position that all of these views ($1) and the books reflect.
SELECT least(h.position, (
    SELECT min(coalesce(c.position, 0))
    FROM unnest($1::text[]) AS v (view)
    LEFT JOIN view_checkpoints c ON c.view = v.view AND c.live
))
FROM log_head h;

-- name: lots
-- Every tree lot in order of code. Tops of stocks that were forced before they were grafted count.
WITH told AS MATERIALIZED (
    SELECT newest_data(e.type, e.version, e.data) ->> 'lot' AS lot, min(e.occurred_day) AS day
    FROM events e
    WHERE e.type = 'tops.forced'
      AND NOT EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position)
    GROUP BY 1
),
forced AS (
    SELECT f.lot_id, min(f.day) AS day
    FROM (
        SELECT l.lot_id, t.day FROM lots l JOIN told t ON t.lot = l.code WHERE l.kind = 'tree'
        UNION ALL
        SELECT l.lot_id, t.day
        FROM lots l
        CROSS JOIN LATERAL unnest(l.parents) AS p (token)
        JOIN told t ON 'lot:' || t.lot = p.token AND t.day <= l.day
        WHERE l.kind = 'tree'
    ) f
    GROUP BY 1
),
counted AS (
    SELECT line ->> 'lot' AS lot, max(e.occurred_day) AS day
    FROM events e
    CROSS JOIN LATERAL jsonb_array_elements(newest_data(e.type, e.version, e.data) -> 'lines') AS line
    WHERE e.type = 'stock.counted' AND line ->> 'stage' = 'ready'
      AND NOT EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position)
    GROUP BY 1
),
told_of AS (
    SELECT l.lot_id, l.code, coalesce(c.body ->> 'crop', '') AS crop,
           coalesce(l.cultivar, '') AS cultivar, coalesce(l.rootstock, '') AS rootstock,
           coalesce(l.method, '') AS method, l.site, coalesce(g.grafter, '') AS grafter,
           coalesce(l.day - DATE '0001-01-01' + 1, 0) AS grafted_on,
           coalesce(f.day - DATE '0001-01-01' + 1, 0) AS forced_on,
           l.attempt::integer AS attempt, l.grown_for IS NOT NULL AS grown_for,
           coalesce(n.day - DATE '0001-01-01' + 1, 0) AS counted_on
    FROM lots l
    LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = l.cultivar
    LEFT JOIN take_grafters g ON g.lot = l.code AND g.alone
    LEFT JOIN forced f ON f.lot_id = l.lot_id
    LEFT JOIN counted n ON n.lot = l.code
    WHERE l.kind = 'tree' AND NOT l.voided
    ORDER BY l.code COLLATE "C"
)
SELECT array_agg(lot_id) AS lot_id, array_agg(code) AS code, array_agg(crop) AS crop,
       array_agg(cultivar) AS cultivar, array_agg(rootstock) AS rootstock,
       array_agg(method) AS method, array_agg(site) AS site, array_agg(grafter) AS grafter,
       array_agg(grafted_on) AS grafted_on, array_agg(forced_on) AS forced_on,
       array_agg(attempt) AS attempt, array_agg(grown_for) AS grown_for,
       array_agg(counted_on) AS counted_on
FROM told_of;

-- name: pushes
-- Push observations of the lots $1 (codes; a row's lot is its place there after $2), in that order.
WITH lots AS (
    SELECT l.code, ($2 + l.number - 1)::integer AS lot
    FROM unnest($1::text[]) WITH ORDINALITY AS l (code, number)
),
told AS (
    SELECT l.lot, p.site, p.outcome, coalesce(p.after_day - DATE '0001-01-01' + 1, 0) AS after,
           coalesce(p.by_day - DATE '0001-01-01' + 1, 0) AS by, p.trees::integer AS trees
    FROM push_observations p
    JOIN lots l ON l.code = p.lot
    ORDER BY l.lot, p.number
)
SELECT array_agg(lot) AS lot, array_agg(site) AS site, array_agg(outcome) AS outcome,
       array_agg(after) AS after, array_agg(by) AS by, array_agg(trees) AS trees
FROM told;

-- name: growths
-- What became of the pushed trees of the lots $1, likewise.
WITH lots AS (
    SELECT l.code, ($2 + l.number - 1)::integer AS lot
    FROM unnest($1::text[]) WITH ORDINALITY AS l (code, number)
),
told AS (
    SELECT l.lot, g.site,
           CASE WHEN g.cause = 'not_found' THEN replace(g.outcome, 'gone', 'missing')
                ELSE g.outcome END AS outcome,
           coalesce(g.after_day - DATE '0001-01-01' + 1, 0) AS after,
           coalesce(g.by_day - DATE '0001-01-01' + 1, 0) AS by, g.started, g.size, g.grade,
           g.trees::integer AS trees
    FROM growth g
    JOIN lots l ON l.code = g.lot
    ORDER BY l.lot, g.number
)
SELECT array_agg(lot) AS lot, array_agg(site) AS site, array_agg(outcome) AS outcome,
       array_agg(after) AS after, array_agg(by) AS by, array_agg(started) AS started,
       array_agg(size) AS size, array_agg(grade) AS grade, array_agg(trees) AS trees
FROM told;

-- name: takes
-- The take of all of the lots $1, likewise; unread: how many of the grafted ones were not read.
WITH told AS (
    SELECT (l.number - 1)::integer AS lot, t.grafted, t.alive, t.failed, t.not_read, t.gone,
           t.not_read - t.not_read_pushed - t.not_read_failed AS unread
    FROM unnest($1::text[]) WITH ORDINALITY AS l (code, number)
    JOIN take t ON t.lot = l.code
    ORDER BY l.number
)
SELECT array_agg(lot) AS lot, array_agg(grafted) AS grafted, array_agg(alive) AS alive,
       array_agg(failed) AS failed, array_agg(not_read) AS not_read, array_agg(gone) AS gone,
       array_agg(unread) AS unread
FROM told;

-- name: standing
-- What stands, or is on the way to a site, of all of the lots $1 (ids), likewise. $2 and $3: sites,
-- and the tokens of what is kept from being sold there.
WITH stops AS MATERIALIZED (
    SELECT s.site, s.token FROM unnest($2::text[], $3::text[]) AS s (site, token)
),
stopped AS MATERIALIZED (
    SELECT DISTINCT s.site, l.lot_id
    FROM stops s
    JOIN lots l ON l.ancestry @> ARRAY[s.token]
    WHERE l.kind = 'tree'
),
told AS (
    SELECT (l.number - 1)::integer AS lot, b.site, b.stage, b.size, b.grade,
           h.lot_id IS NOT NULL OR EXISTS (
               SELECT FROM stops s
               WHERE s.site = b.site AND s.token IN ('place:' || b.place, 'site:' || b.site)
           ) AS held,
           sum(b.balance)::integer AS trees
    FROM unnest($1::bigint[]) WITH ORDINALITY AS l (lot_id, number)
    JOIN balances b ON b.lot_id = l.lot_id
    LEFT JOIN stopped h ON h.lot_id = b.lot_id AND h.site = b.site
    WHERE b.kind IN ('trees', 'transit') AND b.stage IN ('grafted', 'pushed', 'ready')
      AND b.balance > 0
    GROUP BY 1, 2, 3, 4, 5, 6
    ORDER BY 1, b.site COLLATE "C", b.stage COLLATE "C", b.size COLLATE "C",
             b.grade COLLATE "C", held
)
SELECT array_agg(lot) AS lot, array_agg(site) AS site, array_agg(stage) AS stage,
       array_agg(size) AS size, array_agg(grade) AS grade, array_agg(held) AS held,
       array_agg(trees) AS trees
FROM told;
