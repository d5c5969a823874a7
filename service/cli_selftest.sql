-- name: server
-- Version, how many milliseconds its clock is ahead of $1, and how large the database is.
SELECT current_setting('server_version') AS version,
       extract(epoch FROM clock_timestamp() - $1::timestamptz)::float8 AS ahead,
       pg_database_size(current_database()) AS bytes;

-- name: rights
-- What writer $1 and reader $2 may do and must not: the log is only added to, a reader only reads,
-- and keys are none of its business.
SELECT format('%s may %s %s', role, lower(deed), relname) AS words,
       format('REVOKE %s ON %I FROM %I', deed, relname, role) AS remedy
FROM (
    SELECT $1::text AS role, deed, relname
    FROM unnest(ARRAY['UPDATE', 'DELETE', 'TRUNCATE']) AS deed,
         unnest(ARRAY['events', 'legs', 'subjects', 'voids']) AS relname
    UNION ALL
    SELECT $2, deed, relname::text
    FROM unnest(ARRAY['INSERT', 'UPDATE', 'DELETE', 'TRUNCATE']) AS deed,
         (SELECT c.relname FROM pg_class c
          WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')) AS t (relname)
    UNION ALL
    SELECT $2, 'SELECT', relname FROM unnest(ARRAY['keys', 'idempotency']) AS relname
) AS forbidden
WHERE has_table_privilege(role, format('public.%I', relname), deed)
ORDER BY 1;

-- name: guards
-- Triggers that keep the log from being changed and are not in force.
SELECT wanted FROM unnest(ARRAY['events_append_only', 'events_no_truncate']) AS wanted
WHERE NOT EXISTS (
    SELECT FROM pg_trigger
    WHERE tgrelid = 'public.events'::regclass AND tgname = wanted AND tgenabled IN ('O', 'A')
);

-- name: without_walls
-- Tables that the reader $1 may read and whose rows are not kept apart by site. Left open is what
-- holds nothing of any site.
SELECT c.relname::text AS name
FROM pg_class c
WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
  AND has_table_privilege($1, c.oid, 'SELECT')
  AND c.relname NOT IN ('log_head', 'voids', 'view_checkpoints', 'ticks', 'alembic_version')
  AND NOT (c.relrowsecurity AND c.relforcerowsecurity
           AND EXISTS (SELECT FROM pg_policy p WHERE p.polrelid = c.oid))
ORDER BY 1;

-- name: events_seen
-- Of a reader that has not said which sites it looks at: none.
SELECT count(*) FROM (SELECT FROM events LIMIT 1) AS seen;

-- name: head
-- Positions 1, 2, 3 ... up to the head, and what the head says beside it.
SELECT h.position AS head, h.recorded_at, count(e.position) AS events,
       coalesce(min(e.position), 0) AS first, coalesce(max(e.position), 0) AS last,
       max(e.recorded_at) AS newest,
       h.next_lot_id <= coalesce((SELECT max(lot_id) FROM lots), 0) AS lot_id_used,
       h.next_account_id <= coalesce((SELECT max(account_id) FROM balances), 0) AS account_id_used
FROM log_head h LEFT JOIN events e ON true
GROUP BY h.position, h.recorded_at, h.next_lot_id, h.next_account_id;

-- name: missing
-- The first positions that are not there, up to the newest.
SELECT n.position
FROM generate_series(1, greatest($1::bigint, $2::bigint)) AS n (position)
WHERE NOT EXISTS (SELECT FROM events e WHERE e.position = n.position)
LIMIT 20;

-- name: back_in_time
-- Events that were recorded before the one before them.
SELECT position, recorded_at, before
FROM (SELECT position, recorded_at, lag(recorded_at) OVER (ORDER BY position) AS before
      FROM events) AS e
WHERE recorded_at < before
ORDER BY position LIMIT 20;

-- name: sums
-- The legs of each event sum to zero for each commodity; here the events where they do not.
SELECT l.position, coalesce(e.type, 'no event') AS type, b.commodity, sum(l.delta)::bigint AS total,
       array_agg(DISTINCT lots.code ORDER BY lots.code) AS lots
FROM legs l
JOIN balances b USING (lot_id, account_id)
JOIN lots USING (lot_id)
LEFT JOIN events e ON e.position = l.position
GROUP BY l.position, e.type, b.commodity
HAVING sum(l.delta) <> 0
ORDER BY l.position LIMIT 20;

-- name: legs
-- How many legs each commodity has.
SELECT b.commodity, count(*) AS legs
FROM legs JOIN balances b USING (lot_id, account_id)
GROUP BY b.commodity ORDER BY b.commodity;

-- name: orphans
-- Legs without an account, a lot or an event.
SELECT l.position, l.lot_id, l.account_id,
       concat_ws(', ', CASE WHEN b.account_id IS NULL THEN 'no account' END,
                 CASE WHEN o.lot_id IS NULL THEN 'no lot' END,
                 CASE WHEN e.position IS NULL THEN 'no event' END) AS lacks
FROM legs l
LEFT JOIN balances b USING (lot_id, account_id)
LEFT JOIN lots o USING (lot_id)
LEFT JOIN events e ON e.position = l.position
WHERE b.account_id IS NULL OR o.lot_id IS NULL OR e.position IS NULL
ORDER BY l.position LIMIT 20;

-- name: below_zero
-- Accounts inside the nursery below zero at the end of a day of their history.
SELECT lots.code AS lot, days.kind, days.site, place, stage, size, grade, ref, days.day, running
FROM (
    SELECT b.lot_id, b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref, d.day,
           sum(d.net) OVER (PARTITION BY d.lot_id, d.account_id ORDER BY d.day)::bigint AS running
    FROM (
        SELECT lot_id, account_id, occurred_day AS day, sum(delta) AS net
        FROM legs GROUP BY lot_id, account_id, occurred_day
    ) d JOIN balances b USING (lot_id, account_id)
    WHERE b.kind NOT IN ('source', 'variance')
) days JOIN lots USING (lot_id)
WHERE running < 0
ORDER BY days.day, lot LIMIT 20;

-- name: balances
-- Balances that are not the sum of their legs.
SELECT lots.code AS lot, b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref, b.balance,
       coalesce(l.total, 0)::bigint AS total
FROM balances b
JOIN lots USING (lot_id)
LEFT JOIN (
    SELECT lot_id, account_id, sum(delta) AS total FROM legs GROUP BY lot_id, account_id
) l USING (lot_id, account_id)
WHERE b.balance <> coalesce(l.total, 0)
ORDER BY lot LIMIT 20;

-- name: views
-- How far each view has come, what it set aside, and since when the next event waits for it.
SELECT c.view, c.position, h.position AS head,
       (SELECT count(*) FROM view_faults f
        WHERE f.view = c.view AND f.generation = c.generation) AS set_aside,
       (SELECT format('%s (position %s): %s', f.subject, f.position, f.error) FROM view_faults f
        WHERE f.view = c.view AND f.generation = c.generation
        ORDER BY f.position LIMIT 1) AS example,
       (SELECT e.recorded_at FROM events e WHERE e.position = c.position + 1) AS waits_since,
       EXISTS (
           SELECT FROM events e
           WHERE e.position = c.position + 1
             AND e.recorded_at > clock_timestamp() - interval '15 minutes'
       ) AS waits_shortly
FROM view_checkpoints c CROSS JOIN log_head h
WHERE c.live ORDER BY c.view;

-- name: outdated
-- Views that are computed in another way than when their rows were written.
SELECT view FROM view_checkpoints WHERE live AND outdated;

-- name: jobs
-- Of each job (of one by site: each site) the newest tick, and whether it failed or never ended.
SELECT DISTINCT ON (name) name, tick, started_at, ended_at, outcome
FROM (
    SELECT regexp_replace(job, '^([^/]*/[^/]*)/.*$', '\1') AS name, tick, started_at, ended_at,
           outcome
    FROM ticks
) AS t
ORDER BY name, started_at DESC;

-- name: waiting
-- What people recorded and the log refused, still open.
SELECT count(*) AS items, min(first_at) AS since FROM to_put_right WHERE state = 'open';
