-- name: plan_for_values
-- Plan each statement for the values at hand: filters and groups that are not asked for fall away,
-- and with them the join to the lots. Without helpers: they made no question quicker, and each took
-- a processor from somebody else.
SET LOCAL plan_cache_mode = force_custom_plan;
SET LOCAL max_parallel_workers_per_gather = 0;

-- name: head
-- The newest position.
SELECT position FROM log_head;

-- name: position_at
-- The newest position recorded by a time. Positions are dense and recorded_at never runs back, so
-- halving the range finds it in a few look-ups.
WITH RECURSIVE search (low, high) AS (
    SELECT 0::bigint, position FROM log_head
    UNION ALL
    SELECT CASE WHEN e.recorded_at <= $1::timestamptz THEN e.position ELSE s.low END,
           CASE WHEN e.recorded_at <= $1 THEN s.high ELSE e.position - 1 END
    FROM search s
    JOIN events e ON e.position = (s.low + s.high + 1) / 2
    WHERE s.low < s.high
)
SELECT low FROM search WHERE low = high;

-- name: recorded_at
-- When a position was recorded.
SELECT recorded_at FROM events WHERE position = $1;

-- name: left_out
-- Positions with legs on day $1 whose event belongs to a site of $2, where that day has not come.
-- A void's legs lie where the voided event happened.
SELECT DISTINCT g.position
FROM legs g
JOIN events e ON e.position = g.position
LEFT JOIN voids v ON v.by_position = g.position
LEFT JOIN events w ON w.position = v.voided_position
WHERE g.occurred_day = $1::date AND coalesce(w.site, e.site) = ANY ($2::text[]);

-- name: lot_ids
-- The ids of lots by their codes.
SELECT lot_id FROM lots WHERE code = ANY ($1::text[]);
