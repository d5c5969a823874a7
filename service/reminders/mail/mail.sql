-- name: without_waiting
-- On this connection commits do not wait for the disk. Should the server lose power just then, what
-- was written last is written again, and sent under the same Message-ID.
SET synchronous_commit = off;

-- name: all_choices
-- What everybody chose who did.
SELECT person, digest, empty_digest, at_once, left_out, sites_left_out, quiet_from, quiet_until,
       stopped_at
FROM mail_choices;

-- name: choices
-- What a person chose.
SELECT person, digest, empty_digest, at_once, left_out, sites_left_out, quiet_from, quiet_until,
       stopped_at
FROM mail_choices
WHERE person = $1;

-- name: choose
-- Keep what a person chose.
INSERT INTO mail_choices (person, digest, empty_digest, at_once, left_out, sites_left_out,
                          quiet_from, quiet_until, stopped_at, changed_at)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
ON CONFLICT (person) DO UPDATE
SET digest = excluded.digest, empty_digest = excluded.empty_digest, at_once = excluded.at_once,
    left_out = excluded.left_out, sites_left_out = excluded.sites_left_out,
    quiet_from = excluded.quiet_from, quiet_until = excluded.quiet_until,
    stopped_at = excluded.stopped_at, changed_at = excluded.changed_at;

-- name: stop
-- No mail to a person any more since $2; who chose nothing keeps what is usual, with the quiet hours
-- from $3 until $4.
INSERT INTO mail_choices (person, digest, empty_digest, at_once, left_out, sites_left_out,
                          quiet_from, quiet_until, stopped_at, changed_at)
VALUES ($1, true, false, NULL, '{}', '{}', $3, $4, $2, $2)
ON CONFLICT (person) DO UPDATE
SET stopped_at = excluded.stopped_at, changed_at = excluded.changed_at
WHERE mail_choices.stopped_at IS NULL;

-- name: site_mails
-- What each site chose that did.
SELECT site, morning, escalate_to, escalate_after_hours FROM mail_sites;

-- name: choose_site
-- Keep what a site chose.
INSERT INTO mail_sites (site, morning, escalate_to, escalate_after_hours, changed_at, changed_by)
VALUES ($1, $2, $3, $4, $5, $6)
ON CONFLICT (site) DO UPDATE
SET morning = excluded.morning, escalate_to = excluded.escalate_to,
    escalate_after_hours = excluded.escalate_after_hours, changed_at = excluded.changed_at,
    changed_by = excluded.changed_by;

-- name: readers
-- People who can be sent mail: those with an address that the server did not refuse, as it is now,
-- since $1.
SELECT p.*, c.version AS contact_version
FROM people p
JOIN contacts c ON c.reference = p.reference AND c.kind = 'person' AND c.email IS NOT NULL
WHERE NOT EXISTS (
    SELECT FROM mail_trouble t
    WHERE t.person = p.reference AND t.contact_version = c.version AND t.since > $1
)
ORDER BY p.reference;

-- name: site_rows
-- Sites in use with their names and zones.
SELECT code, body ->> 'name' AS name, body ->> 'time_zone' AS time_zone
FROM catalogue
WHERE kind = 'site' AND NOT coalesce((body ->> 'retired')::boolean, false)
ORDER BY code;

-- name: sites_of
-- The sites that alerts touch.
SELECT id::text AS id, sites FROM alerts WHERE id = ANY ($1::text[]::uuid[]);

-- name: told
-- What was told since $2 of the kind $1.
SELECT person, about FROM mail_told WHERE what = $1 AND told_at > $2;

-- name: last_made
-- When the newest mail of the kind $1 since $2 was made for each person.
SELECT person, max(made_at) AS made_at FROM mails WHERE what = $1 AND made_at > $2 GROUP BY person;

-- name: tell
-- Win the telling of these ($3) to a person; rows for those that nobody else has won.
INSERT INTO mail_told (person, what, about, mail, told_at)
SELECT $1, $2, about, $4, $5 FROM unnest($3::text[]) AS about
ON CONFLICT DO NOTHING
RETURNING about;

-- name: put_mail
-- A mail on its way.
INSERT INTO mails (id, what, person, made_at, thread, subject, plain, html, alerts, next_at, until)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9::text[]::uuid[], $4, $10)
ON CONFLICT (id) DO NOTHING;

-- name: claim
-- Take what is to be sent at $1, at most $3, away from other processes until $2, with the address.
-- One without an address is for nobody; `open`: whether something that it tells of still wants
-- somebody; `stopped`: the person wants no mail any more. Those that failed least go first, so that one that
-- breaks the connection does not keep back the others.
WITH taken AS (
    UPDATE mails
    SET attempts = attempts + 1, next_at = $2
    WHERE id IN (
        SELECT id FROM mails
        WHERE state = 'waiting' AND next_at <= $1
        ORDER BY attempts, made_at
        LIMIT $3
        FOR UPDATE SKIP LOCKED
    )
    RETURNING *
)
SELECT m.id, m.what, m.person, m.made_at, m.thread, m.subject, m.plain, m.html, m.attempts, m.until,
       c.name, c.email, c.version AS contact_version,
       coalesce(choices.stopped_at IS NOT NULL, false) AS stopped,
       m.alerts = '{}' OR EXISTS (
           SELECT FROM alerts a WHERE a.id = ANY (m.alerts) AND a.closed_at IS NULL
       ) AS open
FROM taken m
LEFT JOIN people p ON p.reference = m.person
LEFT JOIN contacts c ON c.reference = p.reference AND c.kind = 'person' AND c.email IS NOT NULL
LEFT JOIN mail_choices choices ON choices.person = m.person
ORDER BY m.attempts, m.made_at, m.id;

-- name: ended
-- What became of a mail: dropped or failed, and why.
UPDATE mails SET state = $2, because = $3, ended_at = $4 WHERE id = $1;

-- name: sent
-- A mail was taken, at $2: with it all trouble with the person's address is over.
WITH over AS (
    DELETE FROM mail_trouble t USING mails m WHERE m.id = $1 AND t.person = m.person
)
UPDATE mails SET state = 'sent', because = NULL, ended_at = $2 WHERE id = $1;

-- name: again
-- A mail that is tried again.
UPDATE mails SET next_at = $2, because = $3 WHERE id = $1;

-- name: put_off
-- Mails ($1) that were taken and not tried, at $2, because of $4: they wait until $3, or are given up
-- where that is too late.
UPDATE mails
SET attempts = attempts - 1, next_at = $3, because = $4,
    state = CASE WHEN until < $3 THEN 'failed' ELSE state END,
    ended_at = CASE WHEN until < $3 THEN $2::timestamptz END
WHERE id = ANY ($1::uuid[]);

-- name: trouble
-- The server refuses somebody's address (since then, each time anew), or (person empty) takes nothing.
INSERT INTO mail_trouble (person, since, because, contact_version)
VALUES ($1, $2, $3, $4)
ON CONFLICT (person) DO UPDATE
SET because = excluded.because, contact_version = excluded.contact_version,
    since = CASE WHEN excluded.contact_version > 0
                   OR mail_trouble.contact_version IS DISTINCT FROM excluded.contact_version
                 THEN excluded.since ELSE mail_trouble.since END;

-- name: trouble_over
-- The server takes mails again.
DELETE FROM mail_trouble WHERE person = '';

-- name: forget_trouble
-- Trouble of people who are gone, or whose contact was changed since.
DELETE FROM mail_trouble t
WHERE t.person <> '' AND NOT EXISTS (
    SELECT FROM people p JOIN contacts c ON c.reference = p.reference
    WHERE p.reference = t.person AND t.contact_version IN (0, c.version)
);

-- name: troubles
-- Trouble that stands, of the server since before $1; with the sites of the person.
SELECT t.person, t.since, t.because, array_remove(coalesce(p.sites, '{}'), '*') AS sites
FROM mail_trouble t
LEFT JOIN people p ON p.reference = t.person
WHERE t.person <> '' OR t.since <= $1;

-- name: sweep
-- Mails made before $1, and what was told before $2.
WITH gone AS (DELETE FROM mails WHERE made_at < $1)
DELETE FROM mail_told WHERE told_at < $2;

-- name: sweep_choices
-- What people chose who are gone.
DELETE FROM mail_choices c WHERE NOT EXISTS (SELECT FROM people p WHERE p.reference = c.person);

-- name: last_mails
-- The newest mails of a person.
SELECT what, subject, made_at, state, because, ended_at FROM mails
WHERE person = $1
ORDER BY made_at DESC, id
LIMIT $2;
