-- name: there
-- The item's stock: trees at the sites that are seen, or on the way to them, with what a hold could
-- know them by. $1 cultivar, $2 rootstock; growing trees of any size, for nobody knows yet in which
-- they are sold.
SELECT b.kind, b.site, b.place, b.stage, b.size, b.grade, b.balance AS trees, l.code AS lot, l.ancestry,
       l.grown_for IS NOT NULL AS grown_for
FROM lots l JOIN balances b USING (lot_id)
WHERE l.cultivar = $1 AND l.rootstock = $2 AND NOT l.voided
  AND b.kind IN ('trees', 'transit') AND b.stage <> 'failed' AND b.balance > 0;

-- name: supply
-- What is foretold of the item $1 cultivar, $2 rootstock, $3 size: of any grade and of grade $4, at
-- all sites and at site $5 (null: each grade, each site that is seen); and how many went out since.
SELECT s.grade, s.site, s.first, s.levels, s.quantities, s.mean, s.trees, s.position, s.made_at,
       coalesce((
           SELECT sum(o.total) FROM item_out o
           WHERE o.cultivar = s.cultivar AND o.rootstock = s.rootstock AND o.size = s.size
             AND s.grade IN ('', o.grade) AND s.site IN ('', o.site)
       ), 0)::bigint - s.went_out AS gone
FROM supply s
WHERE s.cultivar = $1 AND s.rootstock = $2 AND s.size = $3
  AND ($4::text IS NULL OR s.grade IN ('', $4)) AND ($5::text IS NULL OR s.site IN ('', $5));

-- name: claimed
-- Open claims on the item $1 cultivar, $2 rootstock, $3 size that count at $4, and on lots of it. site
-- null: trees of any site will do. Trees grown for a customer are in no supply, so claims on them are not either.
SELECT split_part(c.item, '/', 4) AS grade, c.lot, c.site, c.needed_by, sum(c.open)::bigint AS open
FROM commitments c
JOIN reservations r ON r.code = c.reservation
LEFT JOIN lots l ON l.code = c.lot
WHERE c.cultivar = $1 AND c.open > 0 AND c.item LIKE concat_ws('/', $1::text, $2::text, $3::text, '%')
  AND l.grown_for IS NULL AND r.state = 'open' AND (c.expires_at IS NULL OR c.expires_at > $4)
GROUP BY 1, 2, 3, 4;

-- name: overrides
-- Somebody's word on the item $1 cultivar, $2 rootstock, $3 size, in force on day $4 or later, the
-- newest first; and how many went out since.
SELECT v.code, v.site, v.any_site, v.grade, v.quantity, v.from_day, v.until_day, v.reason,
       coalesce((
           SELECT sum(o.total) FROM item_out o
           WHERE o.cultivar = v.cultivar AND o.rootstock = v.rootstock AND o.size = v.size
             AND v.grade IN ('', o.grade) AND (v.any_site OR o.site = v.site)
       ), 0)::bigint - v.went_out AS gone
FROM promise_overrides v
WHERE v.cultivar = $1 AND v.rootstock = $2 AND v.size = $3 AND v.until_day >= $4
  AND v.ended_day IS NULL
ORDER BY v.position DESC;

-- name: learned
-- What was learned of the crop of cultivar $1 over all sites and methods.
SELECT l.what, l.middle, l.low, l.high, l.lot_low, l.lot_high, l.trees, l.lots, l.fallback,
    l.counting
FROM learned l
JOIN catalogue c ON c.kind = 'cultivar' AND c.code = $1 AND c.body ->> 'crop' = l.crop
WHERE l.method = '' AND l.site = ''
ORDER BY l.what, l.counting;
