-- What the morning round asks of loggers, and coolers kept out of the degree-days of the benches.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

-- The last day of a site's readings is found without reading all of them. Only loggers wait while
-- it is built, half a second a million readings.
-- squawk-ignore require-concurrent-index-creation
CREATE INDEX readings_taken ON readings (site, taken_at);

-- Readings by calendar day and hour, as before; those of loggers that stand in a cooler by the
-- catalogue are told and never counted: wood is kept cold there, nothing grows.
CREATE OR REPLACE FUNCTION reading_hours(
    of_site text, known bigint, zone text, since timestamptz, until timestamptz
)
RETURNS TABLE (
    day date, hours_of_day double precision, hour bigint, sensor text, celsius double precision,
    counts boolean
)
LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT
        taken.day,
        extract(epoch FROM taken.ends - taken.starts)::double precision / 3600,
        floor(extract(epoch FROM taken.taken_at - taken.starts) / 3600)::bigint,
        taken.sensor,
        taken.celsius,
        (taken.doubt IS NULL OR taken.doubt = 'jump') AND taken.sensor <> ALL (ARRAY(
            SELECT jsonb_array_elements_text(c.body -> 'sensors')
            FROM catalogue AS c
            WHERE c.kind = 'place' AND c.site = of_site
                AND c.body ->> 'place_kind' = 'cooler'
                AND jsonb_typeof(c.body -> 'sensors') = 'array'
        ))
    FROM (
        SELECT local.*,
            local.day::timestamp AT TIME ZONE zone AS starts,
            (local.day + 1)::timestamp AT TIME ZONE zone AS ends
        FROM (
            SELECT r.*, (r.taken_at AT TIME ZONE zone)::date AS day
            FROM readings_between(
                of_site, known, since - interval '25 hours', until + interval '25 hours'
            ) AS r
        ) AS local
        WHERE local.taken_at >= since AND local.taken_at < until
    ) AS taken
$$;
COMMENT ON FUNCTION reading_hours IS 'counts: neither impossible, spike nor stuck, and not of a logger in a cooler.';
