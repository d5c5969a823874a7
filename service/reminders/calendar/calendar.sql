-- name: page
-- An owner's calendars after code $2, at most $3.
SELECT code, sites, shows, language, version, made_at, changed_at, read_on
FROM calendars WHERE owner = $1 AND code > $2 ORDER BY code LIMIT $3;

-- name: one
-- One of an owner's calendars.
SELECT code, sites, shows, language, version, made_at, changed_at, read_on
FROM calendars WHERE owner = $1 AND code = $2;

-- name: add
-- A new one; no row when its owner has one of the code, or as many as $8.
INSERT INTO calendars (owner, code, token_sha256, sites, shows, language, made_at, changed_at)
SELECT $1, $2, $3, $4, $5, $6, $7, $7
WHERE (SELECT count(*) FROM calendars WHERE owner = $1) < $8
ON CONFLICT (owner, code) DO NOTHING
RETURNING version;

-- name: lock_owner
-- One at a time makes calendars of an owner, until it commits.
SELECT pg_advisory_xact_lock(hashtextextended('calendars of ' || $1, 0));

-- name: change
-- One changed whole, its address as before; no row when it is at another version than $7 by now.
UPDATE calendars
SET sites = $3, shows = $4, language = $5, changed_at = $6, version = DEFAULT
WHERE owner = $1 AND code = $2 AND version = $7
RETURNING version;

-- name: remove
-- Its address shows nothing from now on; no row when it is at another version than $3 by now.
DELETE FROM calendars WHERE owner = $1 AND code = $2 AND version = $3 RETURNING code;

-- name: remove_all
-- All of an owner's.
DELETE FROM calendars WHERE owner = $1;

-- name: by_token
-- The calendar of a token's hash $1 with what its owner sees at $2, by the live keys and the person
-- of the name that have the scopes $3 (null: there is neither).
SELECT c.owner, c.code, c.sites, c.shows, c.language, c.read_on,
       (SELECT array_agg(DISTINCT site) FROM (
            SELECT unnest(k.sites) AS site FROM keys k
            WHERE k.name = c.owner AND k.revoked_at IS NULL
              AND (k.expires_at IS NULL OR k.expires_at > $2) AND k.scopes @> $3::text[]
            UNION
            SELECT unnest(p.sites) FROM people p
            WHERE p.reference = c.owner AND p.scopes @> $3::text[]
        ) AS their) AS owner_sees
FROM calendars c
WHERE c.token_sha256 = $1;

-- name: mark_read
-- Remember the day it was asked for, once a day.
UPDATE calendars SET read_on = $3
WHERE owner = $1 AND code = $2 AND (read_on IS NULL OR read_on < $3);

-- name: lock_days
-- One at a time brings the days up to date, until it commits.
SELECT pg_advisory_xact_lock(hashtextextended('calendar days', 0));

-- name: forget
-- What ended before $1 is shown no more.
DELETE FROM calendar_days WHERE ended_at < $1;

-- name: bring_up
-- Days as the books and views have them at $1: what is new, what changed, what is gone. SEQUENCE
-- goes up when days change, when something ends and when it comes back.
WITH wanted AS (
    SELECT concat_ws('/', 'check', c.lot, c.place, c.check_name, c.counted_from,
                     coalesce(c.last_done::text, '')) AS key,
           'check' AS kind, c.site, CASE WHEN c.lot = '' THEN c.place ELSE c.lot END AS subject,
           c.place, c.check_name AS what, c.cultivar, c.rootstock, c.trees AS count,
           c.due_on AS first_day, greatest(c.overdue_on - 1, c.due_on) AS last_day
    FROM checks_due c
    UNION ALL
    SELECT 'work_order/' || o.code, 'work_order', o.site, o.code, o.place, o.method, o.cultivar,
           o.rootstock, o.wanted - o.done, o.needed_by, o.needed_by
    FROM work_orders o
    WHERE o.ended IS NULL AND o.wanted > o.done
    UNION ALL
    SELECT 'reservation/' || r.code || '/' || c.line, 'reservation', r.site, r.code, NULL, c.item,
           NULLIF(c.cultivar, ''), NULLIF(split_part(c.item, '/', 2), ''), c.open,
           coalesce(c.needed_by, r.needed_by), coalesce(c.needed_by, r.needed_by)
    FROM commitments c JOIN reservations r ON r.code = c.reservation
    WHERE c.open > 0 AND r.state = 'open' AND (c.expires_at IS NULL OR c.expires_at > $1)
      AND coalesce(c.needed_by, r.needed_by) IS NOT NULL
    UNION ALL
    SELECT 'bag/' || b.bag || '/' || b.place, 'bag', b.site, b.bag, b.place, NULL, b.cultivar, NULL,
           b.buds, b.use_by, b.use_by
    FROM budwood_on_hand b
    WHERE b.use_by IS NOT NULL
),
told AS (
    INSERT INTO calendar_days AS d (key, kind, site, subject, place, what, cultivar, rootstock,
                                    count, first_day, last_day, changed_at)
    SELECT w.*, $1 FROM wanted w
    ON CONFLICT (key) DO UPDATE
    SET site = excluded.site, place = excluded.place, what = excluded.what,
        cultivar = excluded.cultivar, rootstock = excluded.rootstock, count = excluded.count,
        first_day = excluded.first_day, last_day = excluded.last_day, changed_at = $1,
        ended_at = NULL,
        sequence = d.sequence + CASE
            WHEN (d.first_day, d.last_day) IS DISTINCT FROM (excluded.first_day, excluded.last_day)
                OR d.ended_at IS NOT NULL THEN 1 ELSE 0 END
    WHERE d.ended_at IS NOT NULL
       OR (d.site, d.place, d.what, d.cultivar, d.rootstock, d.count, d.first_day, d.last_day)
          IS DISTINCT FROM
          (excluded.site, excluded.place, excluded.what, excluded.cultivar, excluded.rootstock,
           excluded.count, excluded.first_day, excluded.last_day)
    RETURNING 1
),
gone AS (
    UPDATE calendar_days d SET ended_at = $1, changed_at = $1, sequence = sequence + 1
    WHERE d.ended_at IS NULL AND NOT EXISTS (SELECT FROM wanted w WHERE w.key = d.key)
    RETURNING 1
)
SELECT (SELECT count(*) FROM told) AS told, (SELECT count(*) FROM gone) AS gone;

-- name: days
-- What to show of sites $1 with their days $2, of kinds $3: from $4 days ago to $5 days ahead, the
-- nearest to the sites' days first, at most $6.
SELECT d.key, d.kind, d.site, d.subject, d.place, d.what, d.cultivar, d.rootstock, d.count,
       d.first_day, d.last_day, d.sequence, d.changed_at, d.ended_at IS NOT NULL AS ended
FROM calendar_days d
JOIN unnest($1::text[], $2::date[]) AS today (site, day) ON today.site = d.site
WHERE d.kind = ANY ($3::text[])
  AND d.last_day >= today.day - $4::integer AND d.first_day <= today.day + $5::integer
ORDER BY abs(d.first_day - today.day), d.key
LIMIT $6;

-- name: late
-- How many checks are overdue at sites $1 on their days $2; since when the one is due that is so for
-- longest, and for how many days.
SELECT d.site, today.day, count(*) AS checks, count(DISTINCT d.place) AS places,
       max(today.day - d.last_day) AS days_late,
       (array_agg(d.first_day ORDER BY d.last_day, d.first_day))[1] AS due_on
FROM calendar_days d
JOIN unnest($1::text[], $2::date[]) AS today (site, day) ON today.site = d.site
WHERE d.kind = 'check' AND d.ended_at IS NULL AND d.last_day < today.day
GROUP BY d.site, today.day;

-- name: names
-- What sites $1 (null: all that are seen) are called, and their IANA time zones.
SELECT code, body ->> 'name' AS name, body ->> 'time_zone' AS time_zone
FROM catalogue
WHERE kind = 'site' AND ($1::text[] IS NULL OR code = ANY ($1))
ORDER BY 2, 1;
