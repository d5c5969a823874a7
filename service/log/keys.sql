-- name: put_key
-- Make a key; one set from outside again is renewed and comes back to life.
INSERT INTO keys (key_id, secret_sha256, name, scopes, sites, expires_at)
VALUES ($1, $2, $3, $4, $5, $6)
ON CONFLICT (key_id) DO UPDATE
SET secret_sha256 = excluded.secret_sha256, name = excluded.name, scopes = excluded.scopes,
    sites = excluded.sites, expires_at = excluded.expires_at, revoked_at = NULL;

-- name: unknown_sites
-- Which of these codes are no sites of the catalogue.
SELECT w.code FROM unnest($1::text[]) AS w (code)
WHERE NOT EXISTS (SELECT FROM catalogue c WHERE c.kind = 'site' AND c.code = w.code)
ORDER BY w.code;

-- name: find_key
-- What a key id stands for.
SELECT secret_sha256, name, scopes, sites, expires_at, revoked_at, last_used_day
FROM keys WHERE key_id = $1;

-- name: mark_used
-- Remember the day of last use, once a day.
UPDATE keys SET last_used_day = $2 WHERE key_id = $1;

-- name: revoke_key
-- Revoke a live key; no row when there is none.
UPDATE keys SET revoked_at = now() WHERE key_id = $1 AND revoked_at IS NULL RETURNING key_id;

-- name: all_keys
-- All keys without their secrets, oldest first.
SELECT key_id, name, scopes, sites, created_at, expires_at, revoked_at
FROM keys ORDER BY created_at, key_id;
