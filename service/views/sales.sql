-- name: page
-- Sales after position $1, of the sites $2 (null: all); $3 site, $4 customer, $5 order,
-- $6 reservation, $7 lot, $8 and $9 the first and last site day; at most $10. Each kind of sale is
-- read along its index.
SELECT s.*
FROM unnest(ARRAY['trees.sold', 'budwood.sold']) AS kind
CROSS JOIN LATERAL (
    SELECT e.position, e.id, e.type, e.version, e.site, e.sites, e.occurred, e.occurred_at, e.actor,
           e.happened, e.replaces, e.recorded_at, e.recorded_by, e.remarks, e.data,
           v.by_position AS voided_by
    FROM events e
    LEFT JOIN voids v ON v.voided_position = e.position
    CROSS JOIN LATERAL (SELECT newest_data(e.type, e.version, e.data) AS told) n
    WHERE e.type = kind AND e.position > $1
      AND ($2::text[] IS NULL OR e.site = ANY ($2))
      AND ($3::text IS NULL OR e.site = $3)
      AND ($4::text IS NULL OR n.told ->> 'customer' = $4)
      AND ($5::text IS NULL OR n.told ->> 'order' = $5)
      AND ($6::text IS NULL OR n.told ->> 'reservation' = $6)
      AND ($7::text IS NULL OR EXISTS (
          SELECT FROM subjects b WHERE b.kind = 'lot' AND b.code = $7 AND b.position = e.position))
      AND ($8::date IS NULL OR e.occurred_day >= $8)
      AND ($9::date IS NULL OR e.occurred_day <= $9)
    ORDER BY e.position LIMIT $10
) s
ORDER BY s.position
LIMIT $10;
