-- name: put_link
-- A person's link and code, instead of those before; no row when there is no such person, or they
-- were changed since their version $9 (null: whatever they are).
INSERT INTO sign_in_links (person, token_sha256, ends_at, code_head, code_sha256, code_ends_at,
                           made_at, made_by)
SELECT reference, $2, $3, $4, $5, $6, $7, $8 FROM people
WHERE reference = $1 AND ($9::bigint IS NULL OR version = $9) FOR SHARE
ON CONFLICT (person) DO UPDATE
SET token_sha256 = excluded.token_sha256, ends_at = excluded.ends_at,
    code_head = excluded.code_head, code_sha256 = excluded.code_sha256,
    code_ends_at = excluded.code_ends_at, wrong = 0, made_at = excluded.made_at,
    made_by = excluded.made_by
RETURNING person;

-- name: invited
-- Whom a link would sign in at the moment $2.
SELECT l.person, p.language, c.name
FROM sign_in_links l
JOIN people p ON p.reference = l.person
LEFT JOIN contacts c ON c.reference = l.person AND c.kind = 'person'
WHERE l.token_sha256 = $1 AND l.ends_at > $2;

-- name: hold
-- Let nobody remove the person until the transaction's end.
SELECT FROM people WHERE reference = $1 FOR KEY SHARE;

-- name: use_link
-- Whom a link signs in; it is gone with that.
DELETE FROM sign_in_links WHERE token_sha256 = $1 AND ends_at > $2 RETURNING person;

-- name: try_code
-- Count a try at the code that begins like this; no row when there is none or it is void.
UPDATE sign_in_links SET wrong = wrong + 1
WHERE code_head = $1 AND code_ends_at > $2 AND wrong < $3
RETURNING person, code_sha256;

-- name: use_code
-- The link of a code that was right; no row when it was used meanwhile.
DELETE FROM sign_in_links WHERE person = $1 AND code_sha256 = $2 RETURNING person;

-- name: make_room
-- Sign out all but the $2 devices that somebody used last.
DELETE FROM devices d
WHERE d.person = $1 AND d.device NOT IN (
    SELECT device FROM devices WHERE person = $1
    ORDER BY last_seen_at DESC, signed_in_at DESC, device LIMIT $2);

-- name: add_device
INSERT INTO devices (device, person, cookie_sha256, label, signed_in_at, last_seen_at, ends_at)
VALUES ($1, $2, $3, $4, $5, $5, $6);

-- name: signed
-- Who a cookie stands for at the moment $2, unless the device was not seen since $3.
SELECT p.*, d.device, d.last_seen_at, c.name
FROM devices d
JOIN people p ON p.reference = d.person
LEFT JOIN contacts c ON c.reference = p.reference AND c.kind = 'person'
WHERE d.cookie_sha256 = $1 AND d.ends_at > $2 AND d.last_seen_at > $3;

-- name: seen
UPDATE devices SET last_seen_at = $2 WHERE device = $1 AND last_seen_at < $2;

-- name: devices
-- Devices of a person at the moment $2 that were seen since $3.
SELECT device AS id, label, signed_in_at, last_seen_at, ends_at FROM devices
WHERE person = $1 AND ends_at > $2 AND last_seen_at > $3
ORDER BY last_seen_at DESC, device;

-- name: sign_out
DELETE FROM devices WHERE person = $1 AND device = $2 RETURNING device;

-- name: sign_out_others
DELETE FROM devices WHERE person = $1 AND device <> $2 RETURNING device;

-- name: seen_of
-- Who has a device that was seen since $2, or a link, at the moment $1.
SELECT coalesce(d.person, l.person) AS person, coalesce(d.devices, 0) AS devices, d.last_seen_at,
       l.person IS NOT NULL AS waits
FROM (SELECT person, count(*) AS devices, max(last_seen_at) AS last_seen_at FROM devices
      WHERE ends_at > $1 AND last_seen_at > $2 GROUP BY person) d
FULL JOIN (SELECT person FROM sign_in_links WHERE ends_at > $1) l ON l.person = d.person;

-- name: sweep_links
DELETE FROM sign_in_links WHERE ends_at <= $1;

-- name: sweep_devices
DELETE FROM devices WHERE ends_at <= $1 OR last_seen_at <= $2;
