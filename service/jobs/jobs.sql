-- name: take_tick
-- Win a tick of a job, or learn that another process has it (no row).
INSERT INTO ticks (job, tick) VALUES ($1, $2) ON CONFLICT DO NOTHING RETURNING job;

-- name: end_tick
-- What became of it.
UPDATE ticks SET ended_at = clock_timestamp(), outcome = $3 WHERE job = $1 AND tick = $2;

-- name: sweep_keys
-- Idempotency keys that no client will send again.
DELETE FROM idempotency WHERE recorded_at < $1;

-- name: sweep_ticks
-- Ticks of long ago.
DELETE FROM ticks WHERE tick < $1;

-- name: sweep_deliveries
-- What webhooks tried long ago.
DELETE FROM webhook_deliveries WHERE at < $1;

-- name: head
-- How far the log is, and when that was recorded.
SELECT position, recorded_at FROM log_head;

-- name: reached
-- How far the log is, and each of its views, as text to compare.
SELECT concat_ws(' ', (SELECT position FROM log_head),
    (SELECT string_agg(view || ' ' || position, ' ' ORDER BY view) FROM view_checkpoints WHERE live));

-- name: zones
-- Every site with its IANA time zone.
SELECT code, body ->> 'time_zone' AS time_zone FROM catalogue WHERE kind = 'site' ORDER BY code;
