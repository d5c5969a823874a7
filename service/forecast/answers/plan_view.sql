-- name: lead_times
-- Lead times of the crop of cultivar $1 at the sites that are seen; $2 the level, counted from 1;
-- $3 sites or null, $4 methods or null.
SELECT t.site, t.method, t.grafted_on, t.nearly[$2] AS days, t.mean, t.correlation, t.take,
       t.push, t.survival, t.fit, t.lots, t.fallback, t.made_at
FROM lead_times t
JOIN catalogue c ON c.kind = 'cultivar' AND c.code = $1 AND c.body ->> 'crop' = t.crop
WHERE ($3::text[] IS NULL OR t.site = ANY ($3)) AND ($4::text[] IS NULL OR t.method = ANY ($4))
ORDER BY t.site, t.method, t.grafted_on;

-- name: crops
-- The crops of cultivar $1 and of rootstock $2.
SELECT (SELECT body ->> 'crop' FROM catalogue WHERE kind = 'cultivar' AND code = $1) AS cultivar,
       (SELECT body ->> 'crop' FROM catalogue WHERE kind = 'rootstock' AND code = $2) AS rootstock;

-- name: bag
-- What is in bag $1 at the sites that are seen, place by place.
SELECT b.site, b.place, b.balance AS buds, l.cultivar, g.buds_per_piece
FROM balances b
JOIN lots l ON l.lot_id = b.lot_id
JOIN bags g ON g.code = b.ref
WHERE b.kind = 'bag' AND b.ref = $1 AND b.balance > 0 AND NOT l.voided AND l.cultivar IS NOT NULL
ORDER BY b.site, b.place;
