-- name: lock_site
-- One writer of a site's readings at a time: its version numbers are dense.
SELECT pg_advisory_xact_lock(hashtextextended('readings of ' || $1::text, 0));

-- name: newest_version
-- The newest version of a site's readings ($1); no row before the first.
SELECT version, recorded_at
FROM reading_versions
WHERE site = $1
ORDER BY version DESC
LIMIT 1;

-- name: version_known_at
-- The version of a site's readings ($1) in force at a moment ($2; null: now); 0 before the first.
SELECT coalesce(max(version), 0)
FROM reading_versions
WHERE site = $1 AND ($2::timestamptz IS NULL OR recorded_at <= $2);

-- name: changed
-- Which of the given readings ($2 sensors, $3 moments, $4 values, of one length) of a site ($1) say
-- something new: their places in the arrays, from 1.
SELECT given.place
FROM unnest($2::text[], $3::timestamptz[], $4::double precision[])
    WITH ORDINALITY AS given (sensor, taken_at, celsius, place)
LEFT JOIN LATERAL (
    SELECT r.celsius
    FROM readings AS r
    WHERE r.site = $1 AND r.sensor = given.sensor AND r.taken_at = given.taken_at
    ORDER BY r.version DESC
    LIMIT 1
) AS known ON true
WHERE known.celsius IS DISTINCT FROM given.celsius
ORDER BY given.place;

-- name: add_version
-- One change of a site's readings: site, version, recorded at, by, number of readings.
INSERT INTO reading_versions (site, version, recorded_at, recorded_by, readings)
VALUES ($1, $2, $3, $4, $5);

-- name: add_readings
-- The readings of one version ($2), as three arrays of one length.
INSERT INTO readings (site, version, sensor, taken_at, celsius)
SELECT $1, $2, given.*
FROM unnest($3::text[], $4::timestamptz[], $5::double precision[])
    AS given (sensor, taken_at, celsius);

-- name: doubts
-- Doubtful readings of sensors ($5; null: all) of a site ($1, at version $2) from $3 to before $4.
SELECT sensor, taken_at, celsius, doubt
FROM readings_between(
    $1, $2, $3::timestamptz - interval '25 hours', $4::timestamptz + interval '25 hours'
)
WHERE doubt IS NOT NULL AND ($5::text[] IS NULL OR sensor = ANY($5)) AND taken_at >= $3 AND taken_at < $4
ORDER BY sensor, taken_at;

-- name: gaps
-- Where sensors ($5) of a site ($1, at version $2) were silent for more than an hour and a half,
-- from $3 to before $4: the last reading before and the first one after.
SELECT sensor, before, taken_at AS after
FROM (
    SELECT
        sensor, taken_at, lag(taken_at) OVER (PARTITION BY sensor ORDER BY taken_at) AS before
    FROM readings_between($1, $2, $3, $4)
    WHERE sensor = ANY($5::text[]) AND doubt IS DISTINCT FROM 'impossible'
) AS line
WHERE taken_at - before > interval '90 minutes'
ORDER BY sensor, before;

-- name: days
-- By calendar day ($3: time zone) and sensor of a site ($1, at version $2), from $4 to before $5:
-- the hours of the day, those with a reading that counts and which, the range of what counts.
SELECT
    day,
    sensor,
    round(hours_of_day)::bigint AS hours_of_day,
    coalesce(array_agg(DISTINCT hour) FILTER (WHERE counts), '{}') AS hours,
    min(celsius) FILTER (WHERE counts) AS min_c,
    max(celsius) FILTER (WHERE counts) AS max_c,
    count(*) AS readings,
    count(*) FILTER (WHERE NOT counts) AS not_counted
FROM reading_hours($1, $2, $3, $4, $5)
GROUP BY day, sensor, hours_of_day
ORDER BY day, sensor;

-- name: stand_ins
-- Minimum and maximum of each day ($3: time zone) of a site ($1, at version $2) whose four quarters
-- were all seen: they stand in for a daily record that is missing.
SELECT day, min(celsius) AS min_c, max(celsius) AS max_c
FROM reading_hours($1, $2, $3, '-infinity', 'infinity')
WHERE counts
GROUP BY day
HAVING count(DISTINCT least(hour / 6, 3)) = 4
ORDER BY day;

-- name: hourly_sums
-- Degree-days of each day ($3: time zone) of a site ($1, at version $2) by ways of counting, as
-- arrays of one length ($4 lower, $5 upper thresholds, $6 cutoffs). In an hour the sensors count
-- alike, in a day the hours; a day that lacks more than four hours has no sum, and one of 23 or 25
-- hours counts as so much of a day.
WITH hours AS (
    SELECT
        day, hours_of_day, hour, array_agg(celsius) AS told,
        count(*) OVER (PARTITION BY day, hour) AS sensors
    FROM reading_hours($1, $2, $3, '-infinity', 'infinity')
    WHERE counts
    GROUP BY day, hours_of_day, hour, sensor
),
-- the shares of an hour's sensors add up to one hour; a join here would be planned badly
days AS (
    SELECT *, sum(1.0::double precision / sensors) OVER (PARTITION BY day) AS hours_seen
    FROM hours
),
weighed AS MATERIALIZED (
    SELECT
        d.day, one.celsius,
        d.hours_of_day / 24 / d.hours_seen / d.sensors / cardinality(d.told) AS share
    FROM days AS d
    CROSS JOIN LATERAL unnest(d.told) AS one (celsius)
    WHERE d.hours_seen > d.hours_of_day - 4.5
)
SELECT
    way.place,
    w.day,
    greatest(sum(w.share * CASE
        WHEN w.celsius <= way.lower THEN 0
        WHEN w.celsius <= way.upper THEN w.celsius - way.lower
        WHEN way.cutoff = 'horizontal' THEN way.upper - way.lower
        WHEN way.cutoff = 'intermediate' THEN 2 * way.upper - way.lower - w.celsius
        ELSE 0
    END), 0) AS degree_days
FROM weighed AS w
CROSS JOIN unnest($4::double precision[], $5::double precision[], $6::text[])
    WITH ORDINALITY AS way (lower, upper, cutoff, place)
GROUP BY way.place, w.day
ORDER BY way.place, w.day;
