-- name: newest
-- The newest forecast: what it reflects.
SELECT position, weather, made_at FROM forecasts ORDER BY forecast DESC LIMIT 1;

-- name: concerned
-- The head of the log, and whether an event after $1 can change a forecast: all can but those whose
-- type begins with one of $2.
SELECT h.position, EXISTS (
    SELECT FROM events e
    WHERE e.position > $1 AND split_part(e.type, '.', 1) <> ALL($2::text[])
) AS concerned
FROM log_head h;

-- name: growing
-- Where the trees of each lot stand that are not ready yet, and in which sizes.
SELECT l.code AS lot, b.site, array_agg(DISTINCT b.place) AS places, array_agg(DISTINCT b.size) AS sizes
FROM balances b
JOIN lots l USING (lot_id)
WHERE b.kind = 'trees' AND b.stage IN ('grafted', 'pushed') AND b.balance > 0
GROUP BY l.code, b.site;

-- name: gone
-- What went out of each item, by site.
SELECT cultivar, rootstock, size, grade, site, total FROM item_out;

-- name: one_at_a_time
-- Forecasts of two processes are told one after the other.
SELECT pg_advisory_xact_lock(hashtextextended('forecast', 0));

-- name: is_newer
-- Whether a forecast is told that reflects more than one of position $1 made at $2. A clock that once
-- ran far ahead must not keep out what reflects more of the log.
SELECT EXISTS (SELECT FROM forecasts WHERE position > $1 OR (position = $1 AND made_at > $2));

-- name: add_forecast
INSERT INTO forecasts (made_at, position, days, weather, draws, seconds, remarks)
VALUES ($1, $2, $3, $4, $5, $6, $7);

-- name: clear_ready_dates
DELETE FROM ready_dates;

-- name: put_ready_dates
INSERT INTO ready_dates SELECT * FROM jsonb_populate_recordset(NULL::ready_dates, $1::jsonb);

-- name: clear_supply
DELETE FROM supply;

-- name: put_supply
INSERT INTO supply SELECT * FROM jsonb_populate_recordset(NULL::supply, $1::jsonb);

-- name: clear_lead_times
DELETE FROM lead_times;

-- name: put_lead_times
INSERT INTO lead_times SELECT * FROM jsonb_populate_recordset(NULL::lead_times, $1::jsonb);

-- name: clear_learned
DELETE FROM learned;

-- name: put_learned
INSERT INTO learned SELECT * FROM jsonb_populate_recordset(NULL::learned, $1::jsonb);

-- name: clear_take_rates
DELETE FROM take_rates;

-- name: put_take_rates
INSERT INTO take_rates SELECT * FROM jsonb_populate_recordset(NULL::take_rates, $1::jsonb);

-- name: clear_push_curves
DELETE FROM push_curves;

-- name: put_push_curves
INSERT INTO push_curves SELECT * FROM jsonb_populate_recordset(NULL::push_curves, $1::jsonb);

-- name: keep
-- What was just told, as the last of each site's day ($1 sites, $2 days) so far; $3 position, $4 made
-- at. A site without rows was told that there are none.
INSERT INTO foretold_before (what, site, day, position, made_at, rows)
SELECT told.what, d.site, d.day, $3, $4, coalesce(told.rows, '[]')
FROM unnest($1::text[], $2::date[]) AS d (site, day)
CROSS JOIN LATERAL (
    SELECT 'ready_dates' AS what, jsonb_agg(to_jsonb(r)) AS rows FROM ready_dates r WHERE r.site = d.site
    UNION ALL
    SELECT 'supply', jsonb_agg(to_jsonb(s)) FROM supply s WHERE s.site = d.site
) AS told
ON CONFLICT (what, site, day)
DO UPDATE SET position = excluded.position, made_at = excluded.made_at, rows = excluded.rows;

-- name: forget
-- What was told on days before $1.
DELETE FROM foretold_before WHERE day < $1;

-- name: forget_forecasts
DELETE FROM forecasts WHERE made_at < $1;

-- name: reflect
-- Say which position ($2) the newest forecast reflects, under the name $1. It never runs back.
INSERT INTO view_checkpoints AS c (view, generation, position, live) VALUES ($1, 1, $2, true)
ON CONFLICT (view, generation)
DO UPDATE SET position = greatest(c.position, excluded.position), updated_at = clock_timestamp();

-- name: weather_marks
-- By site the newest versions of what is known of its weather: it changed when one of them did.
SELECT site, array_agg(version ORDER BY what) AS versions
FROM (
    SELECT 'temperatures' AS what, site, max(version) AS version FROM temperature_versions GROUP BY site
    UNION ALL
    SELECT 'readings', site, max(version) FROM reading_versions GROUP BY site
    UNION ALL
    SELECT 'given forecasts', site, max(version) FROM forecast_versions GROUP BY site
) AS newest
GROUP BY site;
