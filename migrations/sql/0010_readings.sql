-- Hourly readings of bench loggers and forecasts given for the days ahead, each in versions.
-- Run as graftlog_owner.

CREATE TABLE reading_versions (
    site text NOT NULL,
    version bigint NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by text NOT NULL,
    readings bigint NOT NULL CHECK (readings > 0),
    PRIMARY KEY (site, version)
);
COMMENT ON TABLE reading_versions IS 'Each change of a site''s logger readings, dense from 1; recorded_at never runs back.';
COMMENT ON COLUMN reading_versions.readings IS 'How many readings it wrote.';

CREATE TABLE readings (
    site text NOT NULL,
    sensor text NOT NULL,
    taken_at timestamptz NOT NULL,
    version bigint NOT NULL,
    celsius double precision,
    PRIMARY KEY (site, sensor, taken_at, version)
);
COMMENT ON TABLE readings IS 'Degrees Celsius, to 0.01, as loggers told them, what cannot be too. The value of a moment as known at a version is that of the highest version up to it; null: withdrawn. Rows are only added.';

CREATE TABLE forecast_versions (
    site text NOT NULL,
    version bigint NOT NULL,
    recorded_at timestamptz NOT NULL,
    recorded_by text NOT NULL,
    source text NOT NULL,
    issued_at timestamptz,
    days date[] NOT NULL,
    min_c double precision[] NOT NULL,
    max_c double precision[] NOT NULL,
    PRIMARY KEY (site, version),
    CHECK (cardinality(days) = cardinality(min_c) AND cardinality(days) = cardinality(max_c))
);
COMMENT ON TABLE forecast_versions IS 'Weather forecasts that were given for a site''s next days: daily minimum and maximum, degrees Celsius. The newest alone counts; one without days withdraws the one before.';

-- Readings of a site in force at a version, from one moment to before another, and what is doubtful
-- of each. Never counted: impossible (no air at a bench is so), spike (far off the reading before
-- and after it, both near in time, to one side), stuck (the same to a hundredth for a day). A jump
-- (far off the one before, and it stays there) is counted: doors open and fronts pass.
CREATE FUNCTION readings_between(of_site text, known bigint, since timestamptz, until timestamptz)
RETURNS TABLE (sensor text, taken_at timestamptz, celsius double precision, doubt text)
LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT judged.sensor, judged.taken_at, judged.celsius, CASE
        WHEN NOT judged.possible THEN 'impossible'
        WHEN max(judged.taken_at) OVER same - min(judged.taken_at) OVER same >= interval '24 hours'
            THEN 'stuck'
        WHEN judged.alone THEN 'spike'
        -- the way back from a spike is none
        WHEN abs(judged.rise) > 15 AND NOT lag(judged.alone, 1, false) OVER line THEN 'jump'
    END
    FROM (
        SELECT
            *,
            count(*) FILTER (WHERE NOT goes_on) OVER line AS run,
            coalesce(
                (near.rise > 10 AND near.fall > 10) OR (near.rise < -10 AND near.fall < -10), false
            ) AS alone
        FROM (
            SELECT
                told.*,
                CASE WHEN told.taken_at - lag(told.taken_at) OVER line <= interval '2 hours'
                    THEN told.celsius - lag(told.celsius) OVER line END AS rise,
                CASE WHEN lead(told.taken_at) OVER line - told.taken_at <= interval '2 hours'
                    THEN told.celsius - lead(told.celsius) OVER line END AS fall,
                told.celsius IS NOT DISTINCT FROM lag(told.celsius) OVER line
                    AND told.taken_at - lag(told.taken_at) OVER line <= interval '3 hours'
                    AS goes_on
            FROM (
                SELECT DISTINCT ON (r.sensor, r.taken_at)
                    r.sensor, r.taken_at, r.celsius, r.celsius BETWEEN -60 AND 60 AS possible
                FROM readings AS r
                WHERE r.site = of_site AND r.version <= known
                    AND r.taken_at >= since AND r.taken_at < until
                ORDER BY r.sensor, r.taken_at, r.version DESC
            ) AS told
            WHERE told.celsius IS NOT NULL
            WINDOW line AS (PARTITION BY told.sensor, told.possible ORDER BY told.taken_at)
        ) AS near
        WINDOW line AS (PARTITION BY near.sensor, near.possible ORDER BY near.taken_at)
    ) AS judged
    WINDOW
        same AS (PARTITION BY judged.sensor, judged.possible, judged.run),
        line AS (PARTITION BY judged.sensor, judged.possible ORDER BY judged.taken_at)
$$;
COMMENT ON FUNCTION readings_between IS 'What a spike or jump is may hang on readings outside the stretch: ask for a day more to either side.';

-- The same by calendar day of a time zone and hour of that day, counted from its midnight: a day has
-- 23 or 25 of them when the clocks change.
CREATE FUNCTION reading_hours(
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
        taken.doubt IS NULL OR taken.doubt = 'jump'
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

SELECT wall('reading_versions', 'site = ANY ((SELECT seen_sites())::text[])');
SELECT wall('readings', 'site = ANY ((SELECT seen_sites())::text[])');
SELECT wall('forecast_versions', 'site = ANY ((SELECT seen_sites())::text[])');
GRANT SELECT ON reading_versions, readings, forecast_versions TO graftlog_writer, graftlog_reader;
GRANT INSERT ON reading_versions, readings, forecast_versions TO graftlog_writer;
