-- name: ensure_checkpoint
-- Begin a view that nobody has followed yet.
INSERT INTO view_checkpoints (view, generation, position, live)
VALUES ($1, 1, 0, true)
ON CONFLICT DO NOTHING;

-- name: may_make_tables
-- Whether this role may make temporary tables here; everybody may, unless it was taken away.
SELECT has_database_privilege(current_database(), 'TEMPORARY');

-- name: grant_tables
-- What would allow it.
SELECT format('GRANT TEMPORARY ON DATABASE %I TO %I', current_database(), current_user);

-- name: settings
-- Room for the temporary tables and for joining whole tables; before the first of them is made.
SELECT set_config('temp_buffers', '64MB', false), set_config('work_mem', '64MB', false);

-- name: build_alone
-- Who builds a view for keeps holds this until the session ends; false while somebody else does.
SELECT pg_try_advisory_lock(hashtextextended('build ' || $1, 0));

-- name: stop_the_runner
-- The runner's steps hold it shared; until this session ends none begins.
SELECT pg_advisory_lock(hashtextextended('view ' || $1, 0));

-- name: let_go
-- The locks end now: a session that is closed may keep them a moment longer.
SELECT pg_advisory_unlock_all();

-- name: hold_checkpoint
-- The view's place in the log.
SELECT position, generation FROM view_checkpoints WHERE view = $1 AND live FOR UPDATE;

-- name: live_names
-- In this transaction, names mean the live tables.
SELECT set_config('search_path', 'public, pg_temp', true);

-- name: built_names
-- Names mean the tables beside them again, where there are such.
SELECT set_config('search_path', 'pg_temp, public', true);

-- name: join_by_hash
-- Whole tables are compared: row by row (nested loops) would take the square of the time, and the
-- planner knows too little of tables that were just filled. 'off' forbids it, 'on' ends that.
SELECT set_config('enable_nestloop', $1, true);

-- name: columns
-- The columns of the primary key of table $1, and the others but those in $2.
WITH key AS (
    SELECT i.indkey::int2[] AS numbers FROM pg_index i
    WHERE i.indrelid = ('public.' || quote_ident($1))::regclass AND i.indisprimary
)
SELECT array_agg(a.attname::text) FILTER (WHERE a.attnum = ANY (key.numbers)) AS keys,
       coalesce(array_agg(a.attname::text) FILTER (
           WHERE a.attnum <> ALL (key.numbers) AND NOT a.attname::text = ANY ($2::text[])
       ), '{}') AS rest
FROM key
JOIN pg_attribute a ON a.attrelid = ('public.' || quote_ident($1))::regclass
WHERE a.attnum > 0 AND NOT a.attisdropped;

-- name: set_aside_now
-- How many subjects could not be computed.
SELECT count(*) FROM pg_temp.view_faults;

-- name: forget_faults
-- Every subject was met anew.
DELETE FROM public.view_faults WHERE view = $1;

-- name: take_faults
-- What was set aside while building is set aside in generation $1.
INSERT INTO public.view_faults (view, generation, subject, position, error, at)
SELECT view, $1, subject, max(position), max(error), max(at)
FROM pg_temp.view_faults
GROUP BY view, subject;

-- name: new_generation
-- The new rows are the view, as of position $2.
UPDATE view_checkpoints
SET generation = generation + 1, position = $2, outdated = false, updated_at = clock_timestamp()
WHERE view = $1 AND live;
