-- name: days_told
-- The first and last day of which the log was told anything, and the last on which it was told.
SELECT min(occurred_day) AS first, max(occurred_day) AS last,
       (SELECT recorded_at FROM log_head) AS recorded_at
FROM events
WHERE type <> 'catalogue.changed';
