-- name: forget
DELETE FROM push_observations WHERE lot = ANY ($1::text[]);

-- name: put
INSERT INTO push_observations
SELECT * FROM jsonb_populate_recordset(NULL::push_observations, $1::jsonb);

-- name: page
-- Observations by lot. $1 sites or null; $2.. one or null: site, place, lot, cultivar, rootstock,
-- method, outcome, first and last day of grafting; $11 and $12 the key of the last row of the page
-- before: lot, number; $13 limit.
SELECT p.*, c.body ->> 'crop' AS crop,
       p.after_day - p.grafted_on AS after_days,
       p.by_day - p.grafted_on AS by_days
FROM push_observations p
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = p.cultivar
WHERE ($1::text[] IS NULL OR p.site = ANY ($1))
  AND ($2::text IS NULL OR p.site = $2)
  AND ($3::text IS NULL OR p.place = $3)
  AND ($4::text IS NULL OR p.lot = $4)
  AND ($5::text IS NULL OR p.cultivar = $5)
  AND ($6::text IS NULL OR p.rootstock = $6)
  AND ($7::text IS NULL OR p.method = $7)
  AND ($8::text IS NULL OR p.outcome = $8)
  AND ($9::date IS NULL OR p.grafted_on >= $9)
  AND ($10::date IS NULL OR p.grafted_on <= $10)
  AND ($11::text IS NULL OR (p.lot, p.number) > ($11, $12::bigint))
ORDER BY p.lot, p.number
LIMIT $13;
