-- name: version
SELECT current_setting('server_version') AS version,
       current_setting('server_version_num')::int AS number;

-- name: superuser
-- Of the session's own role.
SELECT rolname, rolsuper FROM pg_roles WHERE rolname = current_user;

-- name: sums
-- Over all accounts each commodity sums to zero.
SELECT b.commodity, sum(legs.delta)::bigint AS total, count(*) AS legs
FROM legs JOIN balances b USING (lot_id, account_id)
GROUP BY b.commodity ORDER BY b.commodity;

-- name: orphans
-- Legs without an account.
SELECT count(*) FROM legs LEFT JOIN balances b USING (lot_id, account_id)
WHERE b.account_id IS NULL;

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
SELECT lots.code AS lot, b.kind, b.site, b.place, b.balance,
       coalesce(l.total, 0)::bigint AS total
FROM balances b
JOIN lots USING (lot_id)
LEFT JOIN (
    SELECT lot_id, account_id, sum(delta) AS total FROM legs GROUP BY lot_id, account_id
) l USING (lot_id, account_id)
WHERE b.balance <> coalesce(l.total, 0)
ORDER BY lot LIMIT 20;

-- name: dense
-- Positions 1, 2, 3 ... up to the head.
SELECT (SELECT position FROM log_head) AS head, count(*) AS events,
       coalesce(min(position), 0) AS first, coalesce(max(position), 0) AS last
FROM events;

-- name: views
-- How far each view has come, and what it set aside.
SELECT c.view, c.position, (SELECT position FROM log_head) AS head,
       (SELECT count(*) FROM view_faults f
        WHERE f.view = c.view AND f.generation = c.generation) AS set_aside
FROM view_checkpoints c WHERE c.live ORDER BY c.view;
