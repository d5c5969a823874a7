-- name: site
-- A site ($1) as the catalogue had it by a moment ($2; null: now): what the weather needs of it.
SELECT
    e.entry ->> 'time_zone' AS time_zone,
    (e.entry ->> 'latitude')::double precision AS latitude,
    e.entry -> 'climate_normal' AS climate_normal
FROM (
    SELECT newest_data(type, version, data) -> 'entry' AS entry, position
    FROM events
    WHERE type = 'catalogue.changed' AND site = $1
        AND ($2::timestamptz IS NULL OR recorded_at <= $2)
) AS e
WHERE e.entry ->> 'kind' = 'site' AND e.entry ->> 'code' = $1
ORDER BY e.position DESC
LIMIT 1;
