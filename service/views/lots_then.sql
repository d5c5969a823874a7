-- name: page
-- Lots of kind $1 after code $2 as they were, with what stood of them at the sites $3 (null: all);
-- $4 cultivar, $5 rootstock, $6 site, $7 true: only those of which something stood; at most $8. The
-- moment: $9 to $11 as for legs_after; $12 null, or the one code that is wanted. $13 ids of lots that
-- were something else then: those are asked for by themselves, with them in the place of the table.
-- What stood is added up from each lot's own legs, and lots are met in order of code, so the cost is
-- the page's.
SELECT l.lot_id, l.code, l.kind, l.site, l.cultivar, l.rootstock, l.source, l.method, l.day,
       l.attempt, l.basis, l.identified, l.grown_for, l.parents, l.position,
       (SELECT max(s.position) FROM subjects s
        WHERE s.kind = 'lot' AND s.code = l.code
          AND ($11 IS NULL OR s.position <= $11)) AS changed_position,
       coalesce(b.on_hand, 0)::bigint AS on_hand, coalesce(b.failed, 0)::bigint AS failed,
       coalesce(b.in_transit, 0)::bigint AS in_transit
FROM lots l
LEFT JOIN LATERAL (
    SELECT count(DISTINCT x.account_id) AS accounts,
           sum(g.delta) FILTER (WHERE x.kind IN ('bag', 'liners')
                                OR (x.kind = 'trees' AND x.stage <> 'failed')) AS on_hand,
           sum(g.delta) FILTER (WHERE x.kind = 'trees' AND x.stage = 'failed') AS failed,
           sum(g.delta) FILTER (WHERE x.kind = 'transit') AS in_transit
    FROM balances x
    JOIN legs g ON g.lot_id = x.lot_id AND g.account_id = x.account_id
    WHERE x.lot_id = l.lot_id
      AND ($3::text[] IS NULL OR x.site = ANY ($3))
      AND ($6::text IS NULL OR x.site = $6)
      AND ($11::bigint IS NULL OR g.position <= $11)
      AND ($9::date IS NULL OR g.occurred_day < $9
           OR (g.occurred_day = $9 AND g.position <> ALL ($10::bigint[])))
) b ON true
WHERE l.kind = $1 AND l.code > $2 AND NOT l.voided
  AND ($12::text IS NULL OR l.code = $12)
  AND ($11 IS NULL OR l.position <= $11)
  AND ($13::bigint[] IS NULL OR l.lot_id <> ALL ($13))
  AND ($9 IS NULL OR EXISTS (
      SELECT FROM legs g
      WHERE g.lot_id = l.lot_id
        AND (g.occurred_day < $9 OR (g.occurred_day = $9 AND g.position <> ALL ($10)))
        AND ($11 IS NULL OR g.position <= $11)
        AND NOT EXISTS (
            SELECT FROM voids v
            WHERE (v.voided_position = g.position OR v.by_position = g.position)
              AND ($11 IS NULL OR v.by_position <= $11))))
  AND ($3 IS NULL OR l.site = ANY ($3) OR b.accounts > 0)
  AND ($4::text IS NULL OR l.cultivar = $4)
  AND ($5::text IS NULL OR l.rootstock = $5)
  AND ($6 IS NULL OR b.accounts > 0)
  -- Of what is empty now something stood only if something came after.
  AND (NOT $7::boolean OR l.lot_id IN (
      SELECT y.lot_id FROM balances y
      WHERE y.kind IN ('bag', 'liners', 'trees') AND y.balance > 0
      UNION
      SELECT a.lot_id FROM legs_after($9, $10, $11) a))
  AND (NOT $7 OR b.on_hand > 0)
ORDER BY l.code
LIMIT $8;

-- name: balances_of
-- All accounts of the lot $1 but source that were not empty, at the sites $2 (null: all); $3 to $5
-- the moment.
SELECT b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref, b.commodity,
       (b.balance - coalesce(sum(a.delta), 0))::bigint AS balance
FROM balances b
LEFT JOIN legs_after($3::date, $4::bigint[], $5::bigint) a
    ON a.lot_id = b.lot_id AND a.account_id = b.account_id
WHERE b.lot_id = $1 AND b.kind <> 'source'
  AND ($2::text[] IS NULL OR b.site = ANY ($2))
GROUP BY b.lot_id, b.account_id
HAVING b.balance - coalesce(sum(a.delta), 0) <> 0
ORDER BY b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref;

-- name: bags_of
-- The bags of the budwood lot $1 that were filled by then: of days up to $2 (at the sites $3 only
-- before it), known at $4, with the bags $5 that were something else.
SELECT b.code, b.buds, b.sticks, b.basis, b.parent, b.pieces, b.buds_per_piece
FROM bags_at($4::bigint, $5::jsonb) b
JOIN events e ON e.position = b.position
WHERE b.lot_id = $1 AND NOT b.voided
  AND ($2::date IS NULL OR e.occurred_day < $2
       OR (e.occurred_day = $2 AND e.site <> ALL ($3::text[])))
ORDER BY b.code;

-- name: history
-- What had happened to the lot $1, at the sites $2 (null: all), of days up to $3 (at the sites $4
-- only before it), known at $5; in order of occurrence; at most $6.
SELECT e.position, e.id, e.type, e.version, e.site, e.sites, e.occurred, e.occurred_at, e.actor,
       e.happened, e.replaces, e.recorded_at, e.recorded_by, e.remarks, e.data,
       v.by_position AS voided_by
FROM subjects s
JOIN events e ON e.position = s.position
LEFT JOIN voids v ON v.voided_position = e.position AND ($5::bigint IS NULL OR v.by_position <= $5)
WHERE s.kind = 'lot' AND s.code = $1
  AND ($2::text[] IS NULL OR e.sites && $2)
  AND ($5 IS NULL OR e.position <= $5)
  AND ($3::date IS NULL OR e.occurred_day < $3
       OR (e.occurred_day = $3 AND e.site <> ALL ($4::text[])))
ORDER BY s.occurred_at, s.position
LIMIT $6;
