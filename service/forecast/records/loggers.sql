-- name: site
-- What is watched at a site ($1): its zone, its norms, and the loggers that its places name.
SELECT s.body ->> 'time_zone' AS time_zone, s.body -> 'norms' -> 'watch' AS watch,
       coalesce((
           SELECT jsonb_agg(jsonb_build_object(
               'sensor', named.sensor, 'place', p.code, 'structure', p.body ->> 'structure',
               'cooler', p.body ->> 'place_kind' = 'cooler'
           ) ORDER BY p.code DESC)
           FROM catalogue p
           CROSS JOIN LATERAL jsonb_array_elements_text(p.body -> 'sensors') AS named (sensor)
           WHERE p.kind = 'place' AND p.site = $1
             AND jsonb_typeof(p.body -> 'sensors') = 'array'
             AND NOT coalesce((p.body ->> 'retired')::boolean, false)
       ), '[]') AS named
FROM catalogue s
WHERE s.kind = 'site' AND s.code = $1;

-- name: heard
-- Each logger of a site ($1) with the moment of its newest reading, from one to the next by the key.
WITH RECURSIVE loggers AS (
    (SELECT r.sensor FROM readings r WHERE r.site = $1 ORDER BY r.sensor LIMIT 1)
    UNION ALL
    SELECT (
        SELECT r.sensor FROM readings r
        WHERE r.site = $1 AND r.sensor > l.sensor ORDER BY r.sensor LIMIT 1
    )
    FROM loggers l
    WHERE l.sensor IS NOT NULL
)
SELECT l.sensor, newest.taken_at
FROM loggers l
CROSS JOIN LATERAL (
    SELECT r.taken_at FROM readings r
    WHERE r.site = $1 AND r.sensor = l.sensor ORDER BY r.taken_at DESC LIMIT 1
) AS newest;

-- name: recent
-- Readings of a site ($1) that can be, from the moment $2 to before $3. The same for a day is told too, as
-- stuck: a cooler may well be steady.
SELECT sensor, taken_at, celsius, doubt IS NOT DISTINCT FROM 'stuck' AS stuck
FROM readings_between(
    $1, 9223372036854775807, $2::timestamptz - interval '25 hours', $3::timestamptz
)
WHERE taken_at >= $2 AND (doubt IS NULL OR doubt IN ('jump', 'stuck'))
ORDER BY sensor, taken_at;
