-- name: page
-- Printings before position $1, newest first, of the sites $2 (null: all); $3 site, $4 lot,
-- $5 paper; at most $6. Read along the index of their type, or of what is told of the lot.
SELECT e.position, e.id, e.type, e.version, e.site, e.sites, e.occurred, e.occurred_at, e.actor,
       e.happened, e.replaces, e.recorded_at, e.recorded_by, e.remarks, e.data,
       v.by_position AS voided_by
FROM events e
LEFT JOIN voids v ON v.voided_position = e.position
WHERE e.type = 'papers.printed' AND e.position < $1
  AND ($2::text[] IS NULL OR e.site = ANY ($2))
  AND ($3::text IS NULL OR e.site = $3)
  AND ($4::text IS NULL OR EXISTS (
      SELECT FROM subjects b WHERE b.kind = 'lot' AND b.code = $4 AND b.position = e.position))
  AND ($5::text IS NULL OR newest_data(e.type, e.version, e.data) ->> 'paper' = $5)
ORDER BY e.position DESC LIMIT $6;
