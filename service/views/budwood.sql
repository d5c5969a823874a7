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
WHERE g.position > $1 AND g.position <= $2;

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

-- name: fill
-- What is left in the bags of these lots; $2 crops with $3 the days their wood keeps, $4 its source.
INSERT INTO budwood_on_hand
    (bag, place, lot, site, cultivar, crop, source, buds, basis, sticks, pieces, cut_on,
     received_on, keep_days, keep_days_source, use_by)
SELECT bag.code, b.place, l.code, b.site, l.cultivar, c.body ->> 'crop', l.source, b.balance,
       bag.basis, bag.sticks, bag.pieces, l.day, e.occurred_day, keeps.days,
       CASE WHEN keeps.days IS NOT NULL THEN $4::text END,
       coalesce(l.day, e.occurred_day) + keeps.days
FROM lots l
JOIN balances b ON b.lot_id = l.lot_id AND b.kind = 'bag' AND b.balance > 0
JOIN bags bag ON bag.code = b.ref
JOIN events e ON e.position = bag.position
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = l.cultivar
LEFT JOIN unnest($2::text[], $3::integer[]) AS keeps (crop, days) ON keeps.crop = c.body ->> 'crop'
WHERE l.code = ANY ($1::text[]);

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
