-- name: page
-- Webhooks after code $1 that are wholly of the sites $2 (null: all); at most $3.
SELECT code, id, owner, sites, url, types, cultivar, rootstock, size, note, state, stopped_because,
       version, created_at, changed_at, changed_by
FROM webhooks
WHERE code > $1 AND ($2::text[] IS NULL OR sites <@ $2)
ORDER BY code
LIMIT $3;

-- name: one
-- One webhook, if it is wholly of the sites $2 (null: all).
SELECT code, id, owner, sites, url, types, cultivar, rootstock, size, note, state, stopped_because,
       version, created_at, changed_at, changed_by
FROM webhooks
WHERE code = $1 AND ($2::text[] IS NULL OR sites <@ $2);

-- name: taken
-- Whether the code has a webhook, seen or not.
SELECT EXISTS (SELECT FROM webhooks WHERE code = $1);

-- name: progress
-- How far one has come, if it is wholly of the sites $2 (null: all).
SELECT w.code, w.state, w.stopped_because, w.position, h.position AS head, w.attempts, w.next_at,
       w.failing_since, w.told_at
FROM webhooks w, log_head h
WHERE w.code = $1 AND ($2::text[] IS NULL OR w.sites <@ $2);

-- name: count_of
-- How many webhooks a name has.
SELECT count(*) FROM webhooks WHERE owner = $1;

-- name: add
-- A new one, told of what is recorded from now on, or after position $12; no row when there is one.
INSERT INTO webhooks (code, owner, changed_by, sites, url, types, cultivar, rootstock, size, note,
                      created_at, changed_at, position)
SELECT $1, $2, $2, $3, $4, $5, $6, $7, $8, $9, $10, $10, coalesce($11::bigint, h.position)
FROM log_head h
ON CONFLICT (code) DO NOTHING
RETURNING code;

-- name: change
-- One changed whole; no row when it is at another version than $11 by now. What failed is tried
-- again at once: it may have been for what was changed.
UPDATE webhooks
SET owner = $2, changed_by = $2, sites = $3, url = $4, types = $5, cultivar = $6, rootstock = $7,
    size = $8, note = $9, changed_at = $10, attempts = 0, next_at = NULL, version = DEFAULT
WHERE code = $1 AND version = $11
RETURNING code;

-- name: set_position
-- Tell everything after position $2 again, or leave out what is before it.
UPDATE webhooks
SET position = $2, attempts = 0, next_at = NULL, changed_at = $3, changed_by = $4,
    version = DEFAULT
WHERE code = $1 AND $2 <= (SELECT position FROM log_head)
RETURNING code;

-- name: resume
-- Go on where it stopped.
UPDATE webhooks
SET state = 'active', stopped_because = NULL, attempts = 0, next_at = NULL, failing_since = NULL,
    owner = $3, changed_at = $2, changed_by = $3, version = DEFAULT
WHERE code = $1
RETURNING code;

-- name: stop_by_hand
-- Tell nothing until it is resumed.
UPDATE webhooks
SET state = 'stopped', stopped_because = 'by_hand', changed_at = $2, changed_by = $3,
    version = DEFAULT
WHERE code = $1 AND state = 'active'
RETURNING code;

-- name: ask_test
-- Have a test message sent.
UPDATE webhooks SET test = $2 WHERE code = $1 RETURNING code;

-- name: remove
-- Gone with all that belongs to it; no row when it is at another version than $2 by now.
WITH gone AS (
    DELETE FROM webhooks WHERE code = $1 AND version = $2 RETURNING code
), secrets AS (
    DELETE FROM webhook_secrets WHERE webhook IN (SELECT code FROM gone)
), told AS (
    DELETE FROM webhook_told WHERE webhook IN (SELECT code FROM gone)
), deliveries AS (
    DELETE FROM webhook_deliveries WHERE webhook IN (SELECT code FROM gone)
)
SELECT code FROM gone;

-- name: add_secret
-- A secret to sign with from now on.
INSERT INTO webhook_secrets (webhook, sealed, made_at) VALUES ($1, $2, $3);

-- name: replace_secrets
-- Those in use are signed with until $2 at most; those long over go.
WITH over AS (
    DELETE FROM webhook_secrets WHERE webhook = $1 AND until <= $3
)
UPDATE webhook_secrets SET until = least(until, $2)
WHERE webhook = $1 AND (until IS NULL OR until > $3);

-- name: secrets_in_use
-- How many secrets of webhook $1 are signed with after $2.
SELECT count(*) FROM webhook_secrets WHERE webhook = $1 AND (until IS NULL OR until > $2);

-- name: all_secrets
-- Every secret that is kept.
SELECT webhook, sealed FROM webhook_secrets;

-- name: reseal
-- The same secret under another key.
UPDATE webhook_secrets SET sealed = $3 WHERE webhook = $1 AND sealed = $2;

-- name: deliveries
-- Attempts of one webhook before number $2 (null: from the newest), the newest first; $3 outcome;
-- at most $4.
SELECT number, message, type, position, attempt, at, outcome, status, milliseconds, detail, next_at
FROM webhook_deliveries
WHERE webhook = $1 AND ($2::bigint IS NULL OR number < $2) AND ($3::text IS NULL OR outcome = $3)
ORDER BY number DESC
LIMIT $4;

-- name: changed
-- Wake whoever delivers.
SELECT pg_notify('graftlog_webhooks', '');

-- name: try_lead
-- Become the one process that delivers, for as long as this connection lasts.
SELECT pg_try_advisory_lock(hashtextextended('webhooks', 0));

-- name: to_deliver
-- All that there is to work on, with the secrets to sign with at $1 and the sites that the owner's
-- live keys see (null: there is no such key).
SELECT w.*,
       (SELECT array_agg(s.sealed ORDER BY s.number DESC) FROM webhook_secrets s
        WHERE s.webhook = w.code AND (s.until IS NULL OR s.until > $1)) AS sealed,
       (SELECT array_agg(DISTINCT site) FROM keys k, unnest(k.sites) AS site
        WHERE k.name = w.owner AND k.revoked_at IS NULL
          AND (k.expires_at IS NULL OR k.expires_at > $1) AND k.scopes @> $2) AS owner_sees
FROM webhooks w
WHERE w.state = 'active' OR w.test IS NOT NULL
ORDER BY w.code;

-- name: advance
-- What became of attempts: one row a webhook (its code $1 and version $2): position $3, failures
-- $4, next attempt $5, failing since $6, told at $7, message $8. What was found out under another
-- version does not count; under one it only goes on. Gives the codes that were at theirs.
UPDATE webhooks w
SET position = greatest(w.position, n.position), attempts = n.attempts, next_at = n.next_at,
    failing_since = n.failing_since, told_at = coalesce(n.told_at, w.told_at),
    message = n.message
FROM unnest($1::text[], $2::bigint[], $3::bigint[], $4::bigint[], $5::timestamptz[],
            $6::timestamptz[], $7::timestamptz[], $8::jsonb[])
    AS n (code, version, position, attempts, next_at, failing_since, told_at, message)
WHERE w.code = n.code AND w.version = n.version AND w.state = 'active'
RETURNING w.code;

-- name: stop
-- Tell nothing until it is resumed; the position stays.
UPDATE webhooks
SET state = 'stopped', stopped_because = $3, changed_at = $4, version = DEFAULT
WHERE code = $1 AND version = $2 AND state = 'active'
RETURNING code;

-- name: tested
-- The test message was sent.
UPDATE webhooks SET test = NULL WHERE code = $1 AND test = $2;

-- name: note_deliveries
-- Attempts, as they were made. One of a webhook that was removed meanwhile is nobody's: it would
-- be seen by whoever uses the code next.
INSERT INTO webhook_deliveries (webhook, message, type, position, attempt, at, outcome, status,
                                milliseconds, detail, next_at)
SELECT n.* FROM unnest($1::text[], $2::text[], $3::text[], $4::bigint[], $5::bigint[],
                       $6::timestamptz[], $7::text[], $8::bigint[], $9::bigint[], $10::text[],
                       $11::timestamptz[]) AS n (code)
JOIN webhooks w USING (code);

-- name: told
-- What was said last of each subject of a topic.
SELECT subject, said FROM webhook_told WHERE webhook = $1 AND topic = $2;

-- name: say
-- What was said now.
INSERT INTO webhook_told (webhook, topic, subject, said)
SELECT $1, $2, subject, said FROM unnest($3::text[], $4::text[]) AS n (subject, said)
ON CONFLICT (webhook, topic, subject) DO UPDATE SET said = excluded.said;

-- name: unsay
-- Of these there is nothing left to say.
DELETE FROM webhook_told WHERE webhook = $1 AND topic = $2 AND subject = ANY ($3::text[]);

-- name: items_of
-- Which items the events at positions $1 speak of, by the lots, bags, reservations and work orders
-- that they name.
SELECT s.position, l.cultivar, l.rootstock, '' AS size
FROM subjects s JOIN lots l ON l.code = s.code
WHERE s.kind = 'lot' AND s.position = ANY ($1)
UNION
SELECT s.position, l.cultivar, NULL, ''
FROM subjects s JOIN bags b ON b.code = s.code JOIN lots l ON l.lot_id = b.lot_id
WHERE s.kind = 'bag' AND s.position = ANY ($1)
UNION
SELECT s.position, c.cultivar,
       CASE WHEN c.item LIKE 'buds/%' THEN NULL ELSE split_part(c.item, '/', 2) END,
       CASE WHEN c.item LIKE 'buds/%' THEN '' ELSE split_part(c.item, '/', 3) END
FROM subjects s JOIN commitments c ON c.reservation = s.code
WHERE s.kind = 'reservation' AND s.position = ANY ($1)
UNION
SELECT s.position, w.cultivar, w.rootstock, ''
FROM subjects s JOIN work_orders w ON w.code = s.code
WHERE s.kind = 'work_order' AND s.position = ANY ($1);

-- name: open_alerts
-- Alerts that are not closed, of the sites $1 (null: all).
SELECT id::text AS id FROM alerts
WHERE closed_at IS NULL AND ($1::text[] IS NULL OR sites && $1);
