-- name: lock_site
-- One writer of a site's given forecasts at a time: their version numbers are dense.
SELECT pg_advisory_xact_lock(hashtextextended('forecasts of ' || $1::text, 0));

-- name: in_force
-- The forecast of a site ($1) that was given last, by a moment ($2; null: now) and up to a version
-- ($3; null: any).
SELECT version, recorded_at, recorded_by, source, issued_at, days, min_c, max_c
FROM forecast_versions
WHERE site = $1 AND ($2::timestamptz IS NULL OR recorded_at <= $2)
    AND ($3::bigint IS NULL OR version <= $3)
ORDER BY version DESC
LIMIT 1;

-- name: add
-- A forecast under the site's next version.
INSERT INTO forecast_versions
    (site, version, recorded_at, recorded_by, source, issued_at, days, min_c, max_c)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9);
