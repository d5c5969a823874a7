-- name: plans
-- The check plans of the catalogue as known at $1.
SELECT body FROM catalogue_at($1::bigint) WHERE kind = 'check_plan' ORDER BY code;

-- name: standing
-- Live trees of lots by place and stage: of the lots with the ids $1 (null: all), at the moment of
-- the legs $2 to $4 with the lots $5 that were something else then; $6 sites or null, $7.. one or null each: site,
-- place.
WITH later AS (
    SELECT account_id, sum(delta)::bigint AS delta
    FROM legs_after($2::date, $3::bigint[], $4::bigint) a
    WHERE $1::bigint[] IS NULL OR a.lot_id = ANY ($1)
    GROUP BY account_id
)
SELECT l.code AS lot, b.site, b.place, b.stage,
       sum(b.balance - coalesce(later.delta, 0))::bigint AS trees
FROM balances b
LEFT JOIN later ON later.account_id = b.account_id
CROSS JOIN LATERAL (
    SELECT x.code FROM lots_at($4, $5::jsonb) x WHERE x.lot_id = b.lot_id OFFSET 0
) l
WHERE b.kind = 'trees' AND b.stage IN ('grafted', 'pushed', 'ready')
  AND b.balance - coalesce(later.delta, 0) > 0
  AND ($1 IS NULL OR b.lot_id = ANY ($1))
  AND ($6::text[] IS NULL OR b.site = ANY ($6))
  AND ($7::text IS NULL OR b.site = $7)
  AND ($8::text IS NULL OR b.place = $8)
GROUP BY 1, 2, 3, 4;

-- name: lots
-- What the checks of the lots $1 hang on, as known at $2 with the lots $3 that were something else.
SELECT l.code, l.cultivar, l.rootstock, l.method, l.day, c.body ->> 'crop' AS crop
FROM lots_at($2::bigint, $3::jsonb) l
LEFT JOIN catalogue_at($2) c ON c.kind = 'cultivar' AND c.code = l.cultivar
WHERE l.code = ANY ($1::text[]);

-- name: history
-- The unvoided events of these lots, the forcing of the liner lots they stand on, and (if $2) looks
-- at places where they stand or stood; in order of occurrence. What several lots share is looked
-- up once. Only events of days up to $3 (at the sites $4 only before it), known at $5; $6 the lots
-- that were something else then. $7 types that have nothing to say here.
WITH stock_lots AS (
    SELECT l.code AS lot, substr(parent.token, 5) AS stock_lot
    FROM lots_at($5::bigint, $6::jsonb) l
    CROSS JOIN LATERAL unnest(l.parents) AS parent (token)
    WHERE l.code = ANY ($1::text[]) AND parent.token LIKE 'lot:%'
),
forced AS MATERIALIZED (
    SELECT s.code, s.occurred_at, s.position
    FROM subjects s
    JOIN events e ON e.position = s.position AND e.type IN ('tops.forced', 'tops.removed')
    WHERE s.kind = 'lot' AND s.code IN (SELECT stock_lot FROM stock_lots)
),
stood AS (
    SELECT DISTINCT l.code AS lot, b.place
    FROM lots l
    JOIN balances b ON b.lot_id = l.lot_id AND b.kind = 'trees'
    WHERE l.code = ANY ($1) AND $2::boolean
),
looked AS MATERIALIZED (
    SELECT s.code, s.occurred_at, s.position
    FROM subjects s
    JOIN events e ON e.position = s.position AND e.type = 'place.checked'
    WHERE s.kind = 'place' AND s.code IN (SELECT place FROM stood)
),
named AS (
    SELECT s.code AS lot, s.occurred_at, s.position
    FROM subjects s
    WHERE s.kind = 'lot' AND s.code = ANY ($1)
    UNION
    SELECT o.lot, f.occurred_at, f.position
    FROM stock_lots o JOIN forced f ON f.code = o.stock_lot
    UNION
    SELECT o.lot, k.occurred_at, k.position
    FROM stood o JOIN looked k ON k.code = o.place
)
SELECT n.lot, e.position, e.type, e.site, e.occurred, e.occurred_day,
       newest_data(e.type, e.version, e.data) AS data
FROM named n
JOIN events e ON e.position = n.position
WHERE ($5 IS NULL OR e.position <= $5)
  AND ($3::date IS NULL OR e.occurred_day < $3
       OR (e.occurred_day = $3 AND e.site <> ALL ($4::text[])))
  AND NOT EXISTS (
      SELECT FROM voids v
      WHERE v.voided_position = e.position AND ($5 IS NULL OR v.by_position <= $5))
  AND e.type <> ALL ($7::text[])
ORDER BY n.lot, n.occurred_at, n.position;

-- name: looks
-- Places with live trees, and of each: the last unvoided event of the types $5 by which somebody saw
-- it, and since when trees of the lots there have stood there: of each account its first leg is
-- enough. Of the places $1 (null: all), at the moment of the legs $2 to $4 and of events at the
-- sites $6 only before the day $2; $7 sites or null, $8.. one or null each: site, place.
WITH later AS (
    SELECT account_id, sum(delta)::bigint AS delta
    FROM legs_after($2::date, $3::bigint[], $4::bigint)
    GROUP BY account_id
),
live AS (
    SELECT b.place, b.site, sum(b.balance - coalesce(later.delta, 0))::bigint AS trees,
           array_agg(DISTINCT b.lot_id) AS lots
    FROM balances b
    LEFT JOIN later ON later.account_id = b.account_id
    WHERE ($1::text[] IS NULL OR b.place = ANY ($1))
      AND b.kind = 'trees' AND b.stage IN ('grafted', 'pushed', 'ready')
      AND b.balance - coalesce(later.delta, 0) > 0
      AND ($7::text[] IS NULL OR b.site = ANY ($7))
      AND ($8::text IS NULL OR b.site = $8)
      AND ($9::text IS NULL OR b.place = $9)
    GROUP BY b.place, b.site
),
seen AS (
    SELECT live.*, look.day AS last_look
    FROM live
    LEFT JOIN LATERAL (
        SELECT e.occurred_day AS day
        FROM subjects s
        JOIN events e ON e.position = s.position AND e.type = ANY ($5::text[])
        WHERE s.kind = 'place' AND s.code = live.place
          -- no zone is two days off: what came later need not be met
          AND ($2 IS NULL OR s.occurred_at < ($2 + 2)::timestamptz)
          AND ($4 IS NULL OR e.position <= $4)
          AND ($2 IS NULL OR e.occurred_day < $2
               OR (e.occurred_day = $2 AND e.site <> ALL ($6::text[])))
          AND NOT EXISTS (
              SELECT FROM voids v
              WHERE v.voided_position = e.position AND ($4 IS NULL OR v.by_position <= $4))
        ORDER BY s.occurred_at DESC, s.position DESC
        LIMIT 1
    ) AS look ON true
),
arrived AS (
    -- One lot that came before the last look is enough: then the look counts.
    SELECT seen.*, coalesce(
        (SELECT seen.last_look FROM arrivals(seen.lots, seen.place, $2, $3, $4) a
         WHERE a.day <= seen.last_look LIMIT 1),
        (SELECT min(a.day) FROM arrivals(seen.lots, seen.place, $2, $3, $4) a)
    ) AS since
    FROM seen
    OFFSET 0
)
SELECT arrived.place,
       arrived.site,
       arrived.trees,
       coalesce((site.body -> 'norms' ->> 'look_every_days')::integer, 14) AS every_days,
       arrived.since,
       arrived.last_look
FROM arrived
LEFT JOIN catalogue_at($4) site ON site.kind = 'site' AND site.code = arrived.site
WHERE arrived.since IS NOT NULL;
