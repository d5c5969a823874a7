-- name: lease
-- Tokens of an asker's quota for this process: which lease (null: none is left), how many, how
-- many more are free, seconds until some come back.
SELECT lease, tokens, free, more_in
FROM lease_tokens($1, $2, $3, make_interval(secs => $4), make_interval(secs => $5));

-- name: settle
-- What was not spent of leases that are over comes back; what was spent counts from its last
-- moment on. What no window sees any more is swept away, whoever's it was.
WITH told AS (
    SELECT * FROM unnest($1::bigint[], $2::bigint[], $3::double precision[])
        AS t (lease, spent, ago)
), unspent AS (
    DELETE FROM quota_leases q USING told t WHERE q.lease = t.lease AND t.spent = 0
), old AS (
    DELETE FROM quota_leases q USING (
        SELECT lease FROM quota_leases
        WHERE ends_at < clock_timestamp() - make_interval(secs => $4)
        LIMIT 1000 FOR UPDATE SKIP LOCKED
    ) o
    WHERE q.lease = o.lease AND NOT EXISTS (SELECT FROM told t WHERE t.lease = q.lease)
)
UPDATE quota_leases q
SET tokens = t.spent,
    ends_at = least(q.ends_at, clock_timestamp() - make_interval(secs => t.ago))
FROM told t
WHERE q.lease = t.lease AND t.spent > 0;
