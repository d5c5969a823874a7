-- name: head
SELECT position, next_code FROM log_head;

-- name: unit_goes_on
-- Whether the events at a position and the next one were judged together.
SELECT a.unit FROM events a JOIN events b ON b.position = a.position + 1 AND b.unit = a.unit
WHERE a.position = $1;

-- name: unit_positions
SELECT min(position) AS first, max(position) AS last FROM events WHERE unit = $1;

-- name: recorded_at
SELECT coalesce((SELECT recorded_at FROM events WHERE position = $1), '-infinity');

-- name: events
-- A portion of stored events, whole, in order of position.
SELECT position, id::text AS id, type, version, site, sites, occurred, occurred_at, occurred_day,
       recorded_at, recorded_by, actor, happened, replaces::text AS replaces, unit::text AS unit,
       encode(digest, 'hex') AS digest, remarks::text AS remarks, data::text AS data
FROM events
WHERE position > $1 AND position <= $2
ORDER BY position
LIMIT $3;

-- name: temperatures
-- Versions of sites' temperatures, each with the days that it wrote.
SELECT v.site, v.version, to_jsonb(v)::text AS body,
       (SELECT coalesce(jsonb_agg(to_jsonb(t) - ARRAY['site', 'version', 'source', 'recorded_at',
                                                      'recorded_by'] ORDER BY t.day), '[]')
        FROM temperatures t WHERE t.site = v.site AND t.version = v.version)::text AS days
FROM temperature_versions v
WHERE (v.site, v.version) > ($1::text, $2::bigint)
  AND ($4::boolean OR v.recorded_at <= $3::timestamptz)
ORDER BY v.site, v.version
LIMIT $5;

-- name: readings
-- Versions of sites' logger readings, each with what it wrote.
SELECT v.site, v.version, to_jsonb(v)::text AS body,
       (SELECT coalesce(jsonb_agg(jsonb_build_object('sensor', r.sensor, 'taken_at', r.taken_at,
                                                     'celsius', r.celsius)
                                  ORDER BY r.sensor, r.taken_at), '[]')
        FROM readings r WHERE r.site = v.site AND r.version = v.version)::text AS told
FROM reading_versions v
WHERE (v.site, v.version) > ($1::text, $2::bigint)
  AND ($4::boolean OR v.recorded_at <= $3::timestamptz)
ORDER BY v.site, v.version
LIMIT $5;

-- name: forecasts
-- Forecasts that were given for sites' next days.
SELECT v.site, v.version, to_jsonb(v)::text AS body
FROM forecast_versions v
WHERE (v.site, v.version) > ($1::text, $2::bigint)
  AND ($4::boolean OR v.recorded_at <= $3::timestamptz)
ORDER BY v.site, v.version
LIMIT $5;

-- name: to_put_right
SELECT id, to_jsonb(p)::text AS body FROM to_put_right p WHERE id > $1 ORDER BY id LIMIT $2;

-- name: put_right_earlier
SELECT item, attempt, to_jsonb(p)::text AS body FROM put_right_earlier p
WHERE (item, attempt) > ($1::bigint, $2::bigint) ORDER BY item, attempt LIMIT $3;

-- name: stored
-- Which of the ids the log has, and where.
SELECT id::text AS id, position, encode(digest, 'hex') AS digest
FROM events WHERE id = ANY($1::uuid[]);

-- name: add_temperatures
-- One version as it was, and its days.
WITH told AS (
    INSERT INTO temperature_versions
    SELECT (jsonb_populate_record(NULL::temperature_versions, $1::jsonb)).*
    RETURNING site, version, source, recorded_at, recorded_by
)
INSERT INTO temperatures
SELECT (jsonb_populate_record(NULL::temperatures, to_jsonb(told) || day)).*
FROM told, jsonb_array_elements($2::jsonb) AS day;

-- name: add_readings
-- One version as it was, and its readings.
WITH told AS (
    INSERT INTO reading_versions
    SELECT (jsonb_populate_record(NULL::reading_versions, $1::jsonb)).*
    RETURNING site, version
)
INSERT INTO readings
SELECT (jsonb_populate_record(NULL::readings, to_jsonb(told) || reading)).*
FROM told, jsonb_array_elements($2::jsonb) AS reading;

-- name: add_forecast
INSERT INTO forecast_versions
SELECT (jsonb_populate_record(NULL::forecast_versions, $1::jsonb)).*;

-- name: add_to_put_right
-- Rows as they were, their numbers too.
INSERT INTO to_put_right OVERRIDING SYSTEM VALUE
SELECT (jsonb_populate_record(NULL::to_put_right, one)).*
FROM unnest($1::jsonb[]) AS one;

-- name: add_put_right_earlier
INSERT INTO put_right_earlier
SELECT (jsonb_populate_record(NULL::put_right_earlier, one)).*
FROM unnest($1::jsonb[]) AS one;

-- name: number_on
-- The next row to put right gets the number after the last one's.
SELECT setval(pg_get_serial_sequence('to_put_right', 'id'), max(id)) FROM to_put_right;

-- name: is_empty
-- Whether nothing was ever sent to this log.
SELECT position = 0 AND NOT EXISTS (SELECT FROM temperature_versions)
       AND NOT EXISTS (SELECT FROM reading_versions) AND NOT EXISTS (SELECT FROM forecast_versions)
       AND NOT EXISTS (SELECT FROM to_put_right)
FROM log_head;

-- name: next_code
UPDATE log_head SET next_code = $1;
