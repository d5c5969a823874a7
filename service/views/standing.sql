-- name: head
-- The newest position and when it was recorded.
SELECT position, recorded_at FROM log_head;

-- name: lag
-- How far each live view is behind: in events, and in seconds of age (at $1) of the oldest event that
-- it has not seen.
SELECT c.view, h.position - c.position AS events,
       coalesce(extract(epoch FROM $1 - e.recorded_at), 0)::float8 AS seconds
FROM view_checkpoints c
CROSS JOIN log_head h
LEFT JOIN events e ON e.position = c.position + 1
WHERE c.live
ORDER BY c.view;

-- name: faults
-- What each view has set aside.
SELECT view, count(*) AS subjects FROM view_faults GROUP BY view;

-- name: open_alerts
-- Alerts that are not closed, whether or not somebody has seen them.
SELECT kind, level::int AS level, count(*) AS alerts
FROM alerts
WHERE closed_at IS NULL
GROUP BY kind, level;

-- name: to_put_right
-- What was refused and waits to be put right.
SELECT count(*) FROM to_put_right WHERE state = 'open';

-- name: ticks
-- The newest ended tick of each kind of job; the site and the reason stand behind the slash.
SELECT DISTINCT ON (split_part(job, '/', 1))
       split_part(job, '/', 1) AS job, tick, outcome LIKE 'failed:%' AS failed,
       extract(epoch FROM ended_at - started_at)::float8 AS seconds
FROM ticks
WHERE ended_at IS NOT NULL
ORDER BY split_part(job, '/', 1), ended_at DESC;
