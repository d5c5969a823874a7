-- name: lot
-- What kind of lot $1 is, and of which site.
SELECT kind, site FROM lots WHERE code = $1 AND NOT voided;

-- name: days
-- By how much each day changed what was in the nursery of lot $1, at the sites $2 (null: all), up to
-- day $3 (null: all) and as known at position $4 (null: all).
SELECT g.occurred_day AS day, b.kind, b.stage, sum(g.delta)::bigint AS delta
FROM lots l
JOIN legs g ON g.lot_id = l.lot_id
JOIN balances b ON b.lot_id = g.lot_id AND b.account_id = g.account_id
WHERE l.code = $1 AND b.kind IN ('bag', 'liners', 'trees', 'transit')
  AND ($2::text[] IS NULL OR b.site = ANY ($2))
  AND ($3::date IS NULL OR g.occurred_day <= $3)
  AND ($4::bigint IS NULL OR g.position <= $4)
GROUP BY 1, 2, 3
HAVING sum(g.delta) <> 0
ORDER BY 1, 2, 3;
