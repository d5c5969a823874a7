-- name: treatments
-- Treatments recorded before position $1 (null: the newest of all), the newest first, $2 of them.
-- Those that were voided are marked. A caller stops where they were recorded too long ago.
SELECT e.position, e.id::text AS id, e.site, e.occurred, e.occurred_day, e.occurred_at, e.recorded_at,
       coalesce(e.actor, e.recorded_by) AS actor, newest_data(e.type, e.version, e.data) AS data,
       EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position) AS voided
FROM events e
WHERE e.type = 'treatment.applied' AND ($1::bigint IS NULL OR e.position < $1)
ORDER BY e.position DESC
LIMIT $2;

-- name: places
-- The site $1's places with the house that each is in.
SELECT code, body ->> 'structure' AS structure FROM catalogue WHERE kind = 'place' AND site = $1;

-- name: zone
-- The site $1's IANA time zone.
SELECT body ->> 'time_zone' FROM catalogue WHERE kind = 'site' AND code = $1;
