-- name: lock_site
-- One writer of a site's temperatures at a time: its version numbers are dense.
SELECT pg_advisory_xact_lock(hashtextextended('temperatures of ' || $1::text, 0));

-- name: newest_version
-- The newest version of a site's record ($1); no row before the first.
SELECT version, recorded_at
FROM temperature_versions
WHERE site = $1
ORDER BY version DESC
LIMIT 1;

-- name: version_known_at
-- The version of a site's record ($1) in force at a moment ($2; null: now); 0 before the first.
SELECT coalesce(max(version), 0)
FROM temperature_versions
WHERE site = $1 AND ($2::timestamptz IS NULL OR recorded_at <= $2);

-- name: history
-- Every recorded day of a site ($1) as known at a version ($2). Withdrawn days are left out.
SELECT day, min_c, max_c
FROM (
    SELECT DISTINCT ON (day) day, min_c, max_c
    FROM temperatures
    WHERE site = $1 AND version <= $2
    ORDER BY day, version DESC
) AS in_force
WHERE min_c IS NOT NULL
ORDER BY day;

-- name: add_version
-- One change of a site's record: site, version, recorded at, by, source, number of days.
INSERT INTO temperature_versions (site, version, recorded_at, recorded_by, source, days)
VALUES ($1, $2, $3, $4, $5, $6);

-- name: add_days
-- The days of one version, as three arrays of one length ($6 days, $7 minima, $8 maxima).
INSERT INTO temperatures (site, version, recorded_at, recorded_by, source, day, min_c, max_c)
SELECT $1, $2, $3, $4, $5, given.*
FROM unnest($6::date[], $7::double precision[], $8::double precision[]) AS given (day, min_c, max_c);
