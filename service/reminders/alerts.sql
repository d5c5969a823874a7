-- name: remarked
-- Events after $1 up to $2 with remarks of the kinds $3.
SELECT e.position, e.id::text AS id, e.site, e.sites, e.recorded_at, e.remarks,
       newest_data(e.type, e.version, e.data) ->> 'lot' AS lot,
       newest_data(e.type, e.version, e.data) ->> 'place' AS place,
       EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position AND v.by_position <= $2)
           AS voided
FROM events e
WHERE e.position > $1 AND e.position <= $2
  AND EXISTS (
      SELECT FROM jsonb_array_elements(e.remarks) AS r WHERE r ->> 'kind' = ANY ($3::text[])
  );

-- name: raise_
-- Raise alerts, or raise again those that were closed; told twice it changes nothing.
INSERT INTO alerts AS a
    (id, key, kind, origin, site, sites, lot, place, check_name, due_on, level, event_position,
     subject, detail, numbers, raised_at)
SELECT (n ->> 'id')::uuid, n ->> 'key', n ->> 'kind', n ->> 'origin', n ->> 'site',
       ARRAY(SELECT jsonb_array_elements_text(n -> 'sites')), n ->> 'lot', n ->> 'place',
       n ->> 'check', (n ->> 'due_on')::date, (n ->> 'level')::smallint,
       (n ->> 'event_position')::bigint, n ->> 'subject', n ->> 'detail', n -> 'numbers',
       (n ->> 'raised_at')::timestamptz
FROM jsonb_array_elements($1::jsonb) AS n
ON CONFLICT (id) DO UPDATE
SET raised_at = excluded.raised_at, detail = excluded.detail, numbers = excluded.numbers,
    closed_at = NULL, closed_because = NULL
WHERE a.closed_at IS NOT NULL AND a.origin = 'watch';

-- name: close_voided
-- Alerts of events that were voided by the events after $1 up to $2.
UPDATE alerts a
SET closed_at = e.recorded_at, closed_because = 'voided'
FROM voids v
JOIN events e ON e.position = v.by_position
WHERE v.by_position > $1 AND v.by_position <= $2
  AND a.event_position = v.voided_position AND a.closed_at IS NULL;

-- name: close_counted
-- What was read at wrapping or unwrapping differed from the book: a count of that table, in the
-- events after $1 up to $2, settles it. A count's own difference stays for somebody to look at.
UPDATE alerts a
SET closed_at = first.recorded_at, closed_because = 'counted'
FROM (
    SELECT DISTINCT ON (x.id) x.id, c.recorded_at
    FROM alerts x
    JOIN events e ON e.position = x.event_position
        AND e.type IN ('grafts.wrapped', 'grafts.unwrapped')
    JOIN subjects lot ON lot.kind = 'lot' AND lot.code = x.lot
        AND lot.position > $1 AND lot.position <= $2
    JOIN subjects place ON place.kind = 'place' AND place.code = x.place
        AND place.position = lot.position
    JOIN events c ON c.position = lot.position AND c.type IN ('push.counted', 'stock.counted')
    WHERE x.kind = 'count_differs' AND x.closed_at IS NULL
      AND c.position > e.position AND c.occurred_at >= e.occurred_at
    ORDER BY x.id, c.position
) AS first
WHERE a.id = first.id;

-- name: said
-- What people said of alerts in the events after $1 up to $2.
SELECT e.position, e.type, e.occurred_at, e.actor,
       newest_data(e.type, e.version, e.data) ->> 'alert' AS alert,
       newest_data(e.type, e.version, e.data) ->> 'note' AS note,
       newest_data(e.type, e.version, e.data) ->> 'on' AS "on", site.body ->> 'time_zone' AS time_zone
FROM events e
LEFT JOIN catalogue site ON site.kind = 'site' AND site.code = e.site
WHERE e.position > $1 AND e.position <= $2
  AND e.type IN ('alert.acknowledged', 'alert.remind_on');

-- name: add_word
-- One such word.
INSERT INTO alert_words (alert, position, word, said_at, remind_on, actor, note)
VALUES ($1::text::uuid, $2, $3, $4, $5, $6, $7)
ON CONFLICT DO NOTHING;

-- name: close_done
-- Alerts of checks that are not due on that day any more: recorded, or nothing left to check.
UPDATE alerts a
SET closed_at = coalesce($1::timestamptz, (SELECT recorded_at FROM log_head)),
    closed_because = CASE
        WHEN EXISTS (
            SELECT FROM checks_due c
            WHERE c.lot = coalesce(a.lot, '') AND c.place = a.place
              AND c.check_name = a.check_name AND c.last_done >= a.due_on
        ) THEN 'done'
        ELSE 'no_longer_due'
    END
WHERE a.closed_at IS NULL AND a.check_name IS NOT NULL
  AND NOT EXISTS (
      SELECT FROM checks_due c
      WHERE c.lot = coalesce(a.lot, '') AND c.place = a.place
        AND c.check_name = a.check_name AND c.due_on = a.due_on
  );

-- name: overdue
-- Checks that are overdue on their site's day ($1 sites, $2 days) without an open alert of their
-- level: 1 from the first day, 2 when overdue by more than $3 days.
WITH late AS (
    SELECT c.*, today.day - c.overdue_on + 1 AS days_overdue,
           CASE WHEN today.day - c.overdue_on + 1 > $3::integer THEN 2 ELSE 1 END AS level
    FROM checks_due c
    JOIN unnest($1::text[], $2::date[]) AS today (site, day) ON today.site = c.site
    WHERE today.day >= c.overdue_on
)
SELECT late.*
FROM late
WHERE NOT EXISTS (
    SELECT FROM alerts a
    WHERE coalesce(a.lot, '') = late.lot AND a.place = late.place
      AND a.check_name = late.check_name AND a.due_on = late.due_on AND a.level = late.level
      AND a.closed_at IS NULL
);

-- name: close_lower_levels
-- An alert gives way to the louder one of the same check and day.
UPDATE alerts a
SET closed_at = $1, closed_because = 'louder_one_raised'
WHERE a.closed_at IS NULL AND a.check_name IS NOT NULL
  AND EXISTS (
      SELECT FROM alerts b
      WHERE b.closed_at IS NULL AND b.lot IS NOT DISTINCT FROM a.lot AND b.place = a.place
        AND b.check_name = a.check_name AND b.due_on = a.due_on AND b.level > a.level
  );

-- name: lock_faults
-- One at a time tells faults, until it commits.
SELECT pg_advisory_xact_lock(hashtextextended('view faults', 0));

-- name: faults
-- Subjects that a view set aside, with the sites that they are of: of the event at a position, of
-- the place, or of the lot.
SELECT f.view, f.subject, f.position, f.error, told.site,
       coalesce(told.sites, '{}') AS sites
FROM view_faults f
JOIN view_checkpoints c ON c.view = f.view AND c.generation = f.generation AND c.live
LEFT JOIN LATERAL (
    SELECT e.site, e.sites FROM events e
    WHERE f.subject LIKE 'position:%' AND e.position = f.position
    UNION ALL
    SELECT p.site, ARRAY[p.site] FROM catalogue p
    WHERE f.subject LIKE 'place:%' AND p.kind = 'place' AND p.code = substr(f.subject, 7)
    UNION ALL
    SELECT l.site, ARRAY[l.site] FROM lots l
    WHERE l.code = CASE WHEN f.subject LIKE 'lot:%' THEN substr(f.subject, 5) ELSE f.subject END
) AS told ON true;

-- name: to_put_right
-- What people recorded and the log refused, still open.
SELECT id, site, sites, attempts FROM to_put_right WHERE state = 'open';

-- name: webhooks_stopped
-- Webhooks that stopped by themselves. One of every site is for keys of every site alone.
SELECT code, version, stopped_because AS because, position, array_remove(sites, '*') AS sites
FROM webhooks
WHERE state = 'stopped' AND stopped_because <> 'by_hand';

-- name: close_missing
-- Alerts of kind $1 whose key is not among $2 any more, for the reason $4.
UPDATE alerts SET closed_at = $3, closed_because = $4
WHERE kind = $1 AND closed_at IS NULL AND NOT key = ANY ($2::text[]);

-- name: open_keys
-- Keys of open alerts of these kinds.
SELECT key FROM alerts WHERE kind = ANY ($1::text[]) AND closed_at IS NULL;

-- name: acting_site
-- The first of an alert's sites that is among $2 (null: all).
SELECT one.site FROM alerts a, unnest(a.sites) AS one (site)
WHERE a.id = $1::text::uuid AND ($2::text[] IS NULL OR one.site = ANY ($2))
ORDER BY one.site
LIMIT 1;

-- name: page
-- Alerts, the newest first, with the newest word said of each by one of its sites. $1 sites with $2 their days, $3 the
-- day by UTC, $4 sites or null, $5.. one or null: id, site, lot, place, kind, state; $11.. the key
-- of the last row: raised at, id; $13 limit.
WITH told AS (
    SELECT a.*, e.id::text AS event, w.word, w.remind_on, w.actor, w.note,
           CASE
               WHEN a.closed_at IS NOT NULL THEN 'closed'
               WHEN w.word = 'acknowledged' THEN 'acknowledged'
               WHEN w.remind_on > coalesce(today.day, $3::date) THEN 'remind_on'
               ELSE 'open'
           END AS state
    FROM alerts a
    LEFT JOIN events e ON e.position = a.event_position
    LEFT JOIN unnest($1::text[], $2::date[]) AS today (site, day) ON today.site = a.site
    LEFT JOIN LATERAL (
        SELECT w.* FROM alert_words w
        JOIN events said ON said.position = w.position
        WHERE w.alert = a.id AND (said.site = ANY (a.sites) OR a.sites = '{}')
        ORDER BY w.said_at DESC, w.position DESC LIMIT 1
    ) AS w ON true
    WHERE ($4::text[] IS NULL OR a.sites && $4)
      AND ($5::text IS NULL OR a.id = $5::text::uuid)
      AND ($6::text IS NULL OR a.site = $6)
      AND ($7::text IS NULL OR a.lot = $7)
      AND ($8::text IS NULL OR a.place = $8)
      AND ($9::text IS NULL OR a.kind = $9)
      -- Most alerts are closed: who asks for open ones has no words of those looked up.
      AND ($10::text IS NULL OR ($10 = 'closed') = (a.closed_at IS NOT NULL))
      AND ($11::timestamptz IS NULL OR (a.raised_at, a.id) < ($11, $12::text::uuid))
)
SELECT told.id::text AS id, kind, state, site, lot, place, check_name, due_on, level, event,
       subject, detail, numbers, raised_at, closed_at, closed_because, word, remind_on, actor, note
FROM told
WHERE $10::text IS NULL OR state = $10
ORDER BY told.raised_at DESC, told.id DESC
LIMIT $13;

-- name: claimed_items
-- Trees with open claims that count at $1. Of a lot with unknown parts nobody can say what other lots
-- are like it: a claim on it is no claim on an item.
SELECT DISTINCT c.cultivar, split_part(c.item, '/', 2) AS rootstock, split_part(c.item, '/', 3) AS size
FROM commitments c JOIN reservations r ON r.code = c.reservation
WHERE c.open > 0 AND c.item NOT LIKE 'buds/%' AND r.state = 'open'
  AND (c.expires_at IS NULL OR c.expires_at > $1)
  AND c.cultivar <> '' AND split_part(c.item, '/', 2) <> ''
ORDER BY 1, 2, 3;
