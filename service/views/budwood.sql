-- name: touched
-- Budwood lots that the events after $1 up to $2 speak of or move.
SELECT l.code
FROM subjects s
JOIN lots l ON l.code = s.code AND l.kind = 'budwood'
WHERE s.kind = 'lot' AND s.position > $1 AND s.position <= $2
UNION
SELECT l.code
FROM legs g
JOIN lots l ON l.lot_id = g.lot_id AND l.kind = 'budwood'
WHERE g.position > $1 AND g.position <= $2
UNION
SELECT code FROM heirs_of_remade($1, $2) WHERE kind = 'budwood';

-- name: everything
-- Every budwood lot.
SELECT code FROM lots WHERE kind = 'budwood' ORDER BY code;

-- name: cultivars_changed
-- Whether a cultivar's entry changed in the events after $1 up to $2: its crop may be another.
SELECT EXISTS (
    SELECT FROM events
    WHERE position > $1 AND position <= $2
      AND type = 'catalogue.changed'
      AND newest_data(type, version, data) -> 'entry' ->> 'kind' = 'cultivar'
);

-- name: forget
-- Rows of these lots.
DELETE FROM budwood_on_hand WHERE lot = ANY ($1::text[]);

-- name: left
-- What is left in bags: of the lots with the ids $1 (null: all), at the moment of the legs $2 to $4 with the lots
-- $5 and bags $6 that were something else then. $7 crops with $8 the days their wood keeps, $9 its
-- source. $10 sites or null, $11.. one or null each: site, place, cultivar, bag.
WITH later AS (
    SELECT account_id, sum(delta)::bigint AS delta
    FROM legs_after($2::date, $3::bigint[], $4::bigint)
    GROUP BY account_id
),
standing AS (
    SELECT b.lot_id, b.site, b.place, b.ref, b.balance - coalesce(later.delta, 0) AS buds
    FROM balances b
    LEFT JOIN later ON later.account_id = b.account_id
    WHERE b.kind = 'bag'
      AND ($1::bigint[] IS NULL OR b.lot_id = ANY ($1))
      AND b.balance - coalesce(later.delta, 0) > 0
      AND ($10::text[] IS NULL OR b.site = ANY ($10))
      AND ($11::text IS NULL OR b.site = $11)
      AND ($12::text IS NULL OR b.place = $12)
      AND ($14::text IS NULL OR b.ref = $14)
)
SELECT bag.code AS bag, s.place, l.code AS lot, s.site, l.cultivar, c.body ->> 'crop' AS crop,
       l.source, s.buds, bag.basis, bag.sticks, bag.pieces, l.day AS cut_on,
       e.occurred_day AS received_on, keeps.days AS keep_days,
       CASE WHEN keeps.days IS NOT NULL THEN $9::text END AS keep_days_source,
       coalesce(l.day, e.occurred_day) + keeps.days AS use_by
FROM standing s
-- one by one: few of all bags have wood left, and OFFSET keeps the planner from reading all
CROSS JOIN LATERAL (
    SELECT x.* FROM lots_at($4, $5::jsonb) x WHERE x.lot_id = s.lot_id OFFSET 0
) l
CROSS JOIN LATERAL (
    SELECT x.* FROM bags_at($4, $6::jsonb) x WHERE x.code = s.ref OFFSET 0
) bag
JOIN events e ON e.position = bag.position
LEFT JOIN catalogue_at($4) c ON c.kind = 'cultivar' AND c.code = l.cultivar
LEFT JOIN unnest($7::text[], $8::integer[]) AS keeps (crop, days) ON keeps.crop = c.body ->> 'crop'
WHERE ($13::text IS NULL OR l.cultivar = $13);

-- name: put
-- Rows as they were worked out.
INSERT INTO budwood_on_hand SELECT * FROM jsonb_populate_recordset(NULL::budwood_on_hand, $1::jsonb);

-- name: page
-- Bags, the first to be used on top. $1 sites with $2 their days, $3 sites or null, $4.. one or
-- null: site, place, cultivar, lot, bag, past use-by; $10.. key of the last row: use-by day or the
-- end of time, bag, place; $13 limit.
SELECT b.*,
       today.day - coalesce(b.cut_on, b.received_on) AS age_days,
       coalesce(today.day > b.use_by, false) AS past_use_by
FROM budwood_on_hand b
JOIN unnest($1::text[], $2::date[]) AS today (site, day) ON today.site = b.site
WHERE ($3::text[] IS NULL OR b.site = ANY ($3))
  AND ($4::text IS NULL OR b.site = $4)
  AND ($5::text IS NULL OR b.place = $5)
  AND ($6::text IS NULL OR b.cultivar = $6)
  AND ($7::text IS NULL OR b.lot = $7)
  AND ($8::text IS NULL OR b.bag = $8)
  AND ($9::boolean IS NULL OR coalesce(today.day > b.use_by, false) = $9)
  AND ($10::date IS NULL
       OR (coalesce(b.use_by, '9999-12-31'), b.bag, b.place) > ($10, $11::text, $12::text))
ORDER BY coalesce(b.use_by, '9999-12-31'), b.bag, b.place
LIMIT $13;
