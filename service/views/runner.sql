-- name: ensure_checkpoint
-- Begin a view at nothing when it is met for the first time; one live generation each, by a unique
-- index.
INSERT INTO view_checkpoints (view, generation, position, live)
VALUES ($1, 1, 0, true)
ON CONFLICT DO NOTHING;

-- name: take_checkpoint
-- The view's place in the log, locked; no row when another process works on it now, or a rebuild
-- is being put in place. Outdated: a revision of the tables said to build the view anew.
SELECT position, generation, outdated FROM view_checkpoints
WHERE view = $1 AND live
  AND pg_try_advisory_xact_lock_shared(hashtextextended('view ' || $1, 0))
FOR UPDATE SKIP LOCKED;

-- name: head
-- The newest position. Positions are dense in order of commit, so none up to it is missing.
SELECT position FROM log_head;

-- name: reached
-- How far these views have come: the least of them.
SELECT coalesce(min(coalesce(c.position, 0)), 0)
FROM unnest($1::text[]) AS v (view)
LEFT JOIN view_checkpoints c ON c.view = v.view AND c.live;

-- name: advance
-- Move the checkpoint, in the transaction that wrote the view's rows.
UPDATE view_checkpoints SET position = $2, updated_at = clock_timestamp()
WHERE view = $1 AND live;

-- name: set_aside
-- Remember a subject that could not be applied.
INSERT INTO view_faults (view, generation, subject, position, error)
VALUES ($1, $2, $3, $4, $5)
ON CONFLICT (view, generation, subject)
DO UPDATE SET position = excluded.position, error = excluded.error, at = clock_timestamp();

-- name: mend
-- Forget faults of subjects that came out right this time; how many there were.
WITH mended AS (
    DELETE FROM view_faults WHERE view = $1 AND subject = ANY ($2) RETURNING 1
)
SELECT count(*) FROM mended;
