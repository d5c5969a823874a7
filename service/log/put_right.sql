-- name: items
-- Items that a group's requests correct, held until its end: nobody discards one meanwhile.
SELECT id, event_id::text AS event_id, state, resolved_position
FROM to_put_right WHERE id = ANY ($1::bigint[])
ORDER BY id
FOR UPDATE;

-- name: keep
-- A refused or unreadable event, kept as it came: $1 event id, $2 who sent it, $3 the sites where
-- the sender corrects (null: all), $4 site named, $5 sites whose managers may see to it, $6 raw,
-- $7 reasons, $8 when. Sent again by who may see to it, it counts another attempt, and what was
-- sent before is kept too; from anybody else it is an item of its own, known by no event id. The
-- same bytes again do not open what was discarded.
WITH there AS (
    SELECT *, principal = $2 OR $3::text[] IS NULL OR sites && $3 AS theirs
    FROM to_put_right WHERE event_id = $1::uuid
), earlier AS (
    INSERT INTO put_right_earlier (item, attempt, sites, principal, at, raw, reasons)
    SELECT id, attempts, sites, coalesce(last_by, principal), last_at, raw, reasons
    FROM there WHERE theirs AND raw <> $6
), again AS (
    UPDATE to_put_right t
    SET raw = $6, reasons = $7, attempts = t.attempts + 1, last_at = $8, last_by = $2,
        state = CASE WHEN t.state = 'discarded' AND t.raw = $6 THEN 'discarded' ELSE 'open' END
    FROM there WHERE there.theirs AND t.id = there.id
    RETURNING t.id
)
INSERT INTO to_put_right (event_id, principal, last_by, site, sites, raw, reasons, first_at,
                          last_at)
SELECT CASE WHEN EXISTS (SELECT FROM there) THEN NULL ELSE $1::uuid END, $2, $2, $4,
       $5::text[], $6, $7, $8::timestamptz, $8
WHERE NOT EXISTS (SELECT FROM again);

-- name: keep_correction
-- A correction of item $1 that was refused again: $2 who, $3 raw, $4 reasons, $5 when.
WITH earlier AS (
    INSERT INTO put_right_earlier (item, attempt, sites, principal, at, raw, reasons)
    SELECT id, attempts, sites, coalesce(last_by, principal), last_at, raw, reasons
    FROM to_put_right WHERE id = $1 AND raw <> $3
)
UPDATE to_put_right
SET raw = $3, reasons = $4, attempts = attempts + 1, last_at = $5, last_by = $2
WHERE id = $1;

-- name: recorded
-- What was refused before is recorded now: by its event id $1, or as the correction of item $2;
-- $3 positions, $4 by whom, $5 when.
WITH righted AS (
    SELECT * FROM unnest($1::uuid[], $2::bigint[], $3::bigint[], $4::text[], $5::timestamptz[])
        AS r (event_id, item, position, by, at)
), found AS (
    SELECT t.id, r.position, r.by, r.at
    FROM righted r JOIN to_put_right t ON t.event_id = r.event_id
    UNION
    SELECT r.item, r.position, r.by, r.at FROM righted r WHERE r.item IS NOT NULL
)
UPDATE to_put_right t
SET state = 'recorded', resolved_position = f.position, resolved_by = f.by, resolved_at = f.at
FROM found f
WHERE t.id = f.id AND t.state <> 'recorded';

-- name: discard
-- Item $1 is let go: $2 by whom, $3 why, $4 when. Nothing is deleted.
UPDATE to_put_right
SET state = 'discarded', resolved_by = $2, discard_reason = $3, resolved_at = $4
WHERE id = $1 AND state = 'open'
RETURNING id;

-- name: page
-- Items after id $1 that $2 sent, or of the sites $3 where the asker corrects (null: all); $4
-- state (null: any), $5 site named; at most $6.
SELECT id, event_id::text AS event_id, principal, coalesce(last_by, principal) AS last_by, site,
       raw, reasons, attempts, state, first_at, last_at, resolved_position, resolved_by,
       resolved_at, discard_reason
FROM to_put_right
WHERE id > $1
  AND (principal = $2 OR $3::text[] IS NULL OR sites && $3)
  AND ($4::text IS NULL OR state = $4)
  AND ($5::text IS NULL OR site = $5)
ORDER BY id
LIMIT $6;

-- name: item
-- Item $1, if $2 sent it or it is of the sites $3 where the asker corrects (null: all).
SELECT t.id, t.event_id::text AS event_id, t.principal, coalesce(t.last_by, t.principal) AS last_by,
       t.site, t.raw, t.reasons, t.attempts, t.state, t.first_at, t.last_at, t.resolved_position,
       t.resolved_by, t.resolved_at, t.discard_reason, e.id::text AS recorded_event
FROM to_put_right t LEFT JOIN events e ON e.position = t.resolved_position
WHERE t.id = $1 AND (t.principal = $2 OR $3::text[] IS NULL OR t.sites && $3);

-- name: earlier
-- What was sent for item $1 before what it holds now.
SELECT attempt, principal, at, raw, reasons
FROM put_right_earlier WHERE item = $1 ORDER BY attempt;
