-- name: page
-- Contacts after reference $1, of the sites $2 (null: all); $3 kind; at most $4.
SELECT reference, kind, sites, name, email, phone, address, note, version, changed_at, changed_by
FROM contacts
WHERE reference > $1
  AND ($2::text[] IS NULL OR sites && ($2 || '*'::text))
  AND ($3::text IS NULL OR kind = $3)
ORDER BY reference
LIMIT $4;

-- name: contact
-- One contact, if it is of a site of $2 (null: all).
SELECT reference, kind, sites, name, email, phone, address, note, version, changed_at, changed_by
FROM contacts
WHERE reference = $1 AND ($2::text[] IS NULL OR sites && ($2 || '*'::text));

-- name: names
-- What persons ($1) are called, by contacts of a site of $2 (null: all).
SELECT reference, name FROM contacts
WHERE reference = ANY ($1::text[]) AND kind = 'person'
  AND ($2::text[] IS NULL OR sites && ($2 || '*'::text));

-- name: taken
-- Whether the reference has a contact, seen or not.
SELECT EXISTS (SELECT FROM contacts WHERE reference = $1);

-- name: unknown_sites
-- Which of these are no sites.
SELECT w.code FROM unnest($1::text[]) AS w (code)
WHERE NOT EXISTS (SELECT FROM catalogue c WHERE c.kind = 'site' AND c.code = w.code);

-- name: add
-- A new contact; no row when there is one by now.
INSERT INTO contacts (reference, kind, sites, name, email, phone, address, note, changed_at,
                      changed_by)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
ON CONFLICT (reference) DO NOTHING
RETURNING version;

-- name: change
-- A contact changed whole; no row when it is at another version than $11 by now.
UPDATE contacts
SET kind = $2, sites = $3, name = $4, email = $5, phone = $6, address = $7, note = $8,
    changed_at = $9, changed_by = $10, version = DEFAULT
WHERE reference = $1 AND version = $11
RETURNING version;

-- name: erase
-- All that is known of a contact; no row when it is at another version than $2 by now.
DELETE FROM contacts WHERE reference = $1 AND version = $2 RETURNING reference;
