-- name: page
-- People after reference $1 who work at a site of $2 (null: all); at most $3.
SELECT * FROM people
WHERE reference > $1 AND ($2::text[] IS NULL OR sites && $2)
ORDER BY reference
LIMIT $3;

-- name: person
-- One person, if they work at a site of $2 (null: any).
SELECT * FROM people WHERE reference = $1 AND ($2::text[] IS NULL OR sites && $2);

-- name: everybody
SELECT * FROM people ORDER BY reference;

-- name: taken
-- Whether there is a person of that reference, seen or not.
SELECT EXISTS (SELECT FROM people WHERE reference = $1);

-- name: lock
-- A person as they are, and stay until the transaction's end; devices may sign in meanwhile.
SELECT * FROM people WHERE reference = $1 FOR NO KEY UPDATE;

-- name: add
-- A new person; no row when there is one by now.
INSERT INTO people (reference, scopes, sites, language, temperature, length, home_site,
                    changed_at, changed_by)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
ON CONFLICT (reference) DO NOTHING
RETURNING *;

-- name: change
-- A person changed whole; no row when they are at another version than $10 by now.
UPDATE people
SET scopes = $2, sites = $3, language = $4, temperature = $5, length = $6, home_site = $7,
    changed_at = $8, changed_by = $9, version = DEFAULT
WHERE reference = $1 AND version = $10
RETURNING *;

-- name: choose
-- What somebody chooses for themselves.
UPDATE people SET language = $2, temperature = $3, length = $4, home_site = $5
WHERE reference = $1;

-- name: remove
-- A person, their devices and link; no row when they are at another version than $2 by now.
DELETE FROM people WHERE reference = $1 AND version = $2 RETURNING reference;

-- name: end_link
DELETE FROM sign_in_links WHERE person = $1;

-- name: end_devices
DELETE FROM devices WHERE person = $1 RETURNING device;
