-- name: head
-- The newest position in the log; 0 before the first event.
SELECT position FROM log_head;

-- name: events_page
-- Events after position $1, of the sites $2 (null: all), filtered; $3 site, $4 types, $5 and $6 the
-- earliest and latest time, $7 and $8 the earliest and latest site day; at most $9.
SELECT e.position, e.id, e.type, e.version, e.site, e.sites, e.occurred, e.occurred_at, e.actor,
       e.happened, e.replaces, e.recorded_at, e.recorded_by, e.remarks, e.data,
       v.by_position AS voided_by
FROM events e
LEFT JOIN voids v ON v.voided_position = e.position
WHERE e.position > $1
  AND ($2::text[] IS NULL OR e.sites && $2)
  AND ($3::text IS NULL OR $3 = ANY (e.sites))
  AND ($4::text[] IS NULL OR e.type = ANY ($4))
  AND ($5::timestamptz IS NULL OR e.occurred_at >= $5)
  AND ($6::timestamptz IS NULL OR e.occurred_at < $6)
  AND ($7::date IS NULL OR e.occurred_day >= $7)
  AND ($8::date IS NULL OR e.occurred_day <= $8)
ORDER BY e.position
LIMIT $9;

-- name: events_page_of_subject
-- The same for the events that speak of a lot or a place: $10 its kind, $11 its code, and where
-- both are asked for $12 the place's code.
SELECT e.position, e.id, e.type, e.version, e.site, e.sites, e.occurred, e.occurred_at, e.actor,
       e.happened, e.replaces, e.recorded_at, e.recorded_by, e.remarks, e.data,
       v.by_position AS voided_by
FROM subjects s
JOIN events e ON e.position = s.position
LEFT JOIN voids v ON v.voided_position = e.position
WHERE s.kind = $10 AND s.code = $11
  AND ($12::text IS NULL OR EXISTS (
      SELECT FROM subjects p
      WHERE p.kind = 'place' AND p.code = $12 AND p.position = e.position))
  AND e.position > $1
  AND ($2::text[] IS NULL OR e.sites && $2)
  AND ($3::text IS NULL OR $3 = ANY (e.sites))
  AND ($4::text[] IS NULL OR e.type = ANY ($4))
  AND ($5::timestamptz IS NULL OR e.occurred_at >= $5)
  AND ($6::timestamptz IS NULL OR e.occurred_at < $6)
  AND ($7::date IS NULL OR e.occurred_day >= $7)
  AND ($8::date IS NULL OR e.occurred_day <= $8)
ORDER BY e.position
LIMIT $9;

-- name: event_by_id
-- One event, if a site of $2 (null: all) is among those it touches.
SELECT e.position, e.id, e.type, e.version, e.site, e.sites, e.occurred, e.occurred_at, e.actor,
       e.happened, e.replaces, e.recorded_at, e.recorded_by, e.remarks, e.data,
       v.by_position AS voided_by
FROM events e
LEFT JOIN voids v ON v.voided_position = e.position
WHERE e.id = $1 AND ($2::text[] IS NULL OR e.sites && $2);

-- name: history
-- What happened to a subject ($1 kind, $2 code), in order of occurrence, then of position.
SELECT e.position, e.id, e.type, e.version, e.site, e.sites, e.occurred, e.occurred_at, e.actor,
       e.happened, e.replaces, e.recorded_at, e.recorded_by, e.remarks, e.data,
       v.by_position AS voided_by
FROM subjects s
JOIN events e ON e.position = s.position
LEFT JOIN voids v ON v.voided_position = e.position
WHERE s.kind = $1 AND s.code = $2 AND ($3::text[] IS NULL OR e.sites && $3)
ORDER BY s.occurred_at, s.position
LIMIT $4;

-- name: catalogue_page
-- Entries of kind $1 after code $2; sites and places only of the sites $3 (null: all).
SELECT body, position FROM catalogue
WHERE kind = $1 AND code > $2
  AND ($3::text[] IS NULL OR kind NOT IN ('site', 'place')
       OR CASE kind WHEN 'site' THEN code ELSE site END = ANY ($3))
ORDER BY code
LIMIT $4;

-- name: catalogue_entry
-- One entry; one of a site that is not among $3 does not exist for the asker.
SELECT body, position FROM catalogue
WHERE kind = $1 AND code = $2
  AND ($3::text[] IS NULL OR kind NOT IN ('site', 'place')
       OR CASE kind WHEN 'site' THEN code ELSE site END = ANY ($3));

-- name: catalogue_hidden
-- Whether an entry of that kind and code exists at all.
SELECT EXISTS (SELECT FROM catalogue WHERE kind = $1 AND code = $2);

-- name: unknown_codes
-- Those of the parameters $1 whose codes $2 name nothing, or nothing of the sites $3 (null: all).
-- What is on the way stands at its consignment, so that is a place too. A voided lot has a history.
SELECT w.name
FROM unnest($1::text[], $2::text[]) WITH ORDINALITY AS w (name, code, number)
WHERE NOT CASE w.name
    WHEN 'lot' THEN EXISTS (
        SELECT FROM lots l
        WHERE l.code = w.code
          AND ($3::text[] IS NULL OR l.site = ANY ($3) OR EXISTS (
              SELECT FROM balances b WHERE b.lot_id = l.lot_id AND b.site = ANY ($3))))
    WHEN 'bag' THEN EXISTS (
        SELECT FROM bags g JOIN lots l ON l.lot_id = g.lot_id
        WHERE g.code = w.code
          AND ($3 IS NULL OR l.site = ANY ($3) OR EXISTS (
              SELECT FROM balances b WHERE b.lot_id = l.lot_id AND b.site = ANY ($3))))
    -- The catalogue lists none: those that trees were given, here or before they went.
    WHEN 'grade' THEN EXISTS (
        SELECT FROM balances b
        WHERE b.grade = w.code
          AND ($3 IS NULL OR b.site = ANY ($3)))
    ELSE EXISTS (
        SELECT FROM catalogue c
        WHERE c.kind = w.name AND c.code = w.code
          AND ($3 IS NULL OR c.kind NOT IN ('site', 'place')
               OR CASE c.kind WHEN 'site' THEN c.code ELSE c.site END = ANY ($3)))
      OR (w.name = 'place' AND EXISTS (
        SELECT FROM consignments k
        WHERE k.code = w.code
          AND ($3 IS NULL OR k.from_site = ANY ($3) OR k.to_site = ANY ($3))))
END
ORDER BY w.number;

-- name: check_names
-- The names of checks by the catalogue's plans.
SELECT DISTINCT body ->> 'check' FROM catalogue WHERE kind = 'check_plan';

-- name: first_site
-- The first site of those that may be seen.
SELECT code FROM catalogue
WHERE kind = 'site' AND ($1::text[] IS NULL OR code = ANY ($1))
ORDER BY code
LIMIT 1;

-- name: lots_page
-- Lots of kind $1 after code $2 with what stands of them at the sites $3 (null: all); $4 cultivar,
-- $5 rootstock, $6 site, $7 true: only those of which something stands; at most $8.
SELECT l.code, l.kind, l.site, l.cultivar, l.rootstock, l.source, l.method, l.day, l.attempt,
       l.basis, l.identified, l.grown_for, l.parents, l.position, l.changed_position,
       coalesce(b.on_hand, 0)::bigint AS on_hand, coalesce(b.failed, 0)::bigint AS failed,
       coalesce(b.in_transit, 0)::bigint AS in_transit
FROM lots l
LEFT JOIN LATERAL (
    SELECT count(*) AS accounts,
           sum(balance) FILTER (WHERE x.kind IN ('bag', 'liners')
                                OR (x.kind = 'trees' AND x.stage <> 'failed')) AS on_hand,
           sum(balance) FILTER (WHERE x.kind = 'trees' AND x.stage = 'failed') AS failed,
           sum(balance) FILTER (WHERE x.kind = 'transit') AS in_transit
    FROM balances x
    WHERE x.lot_id = l.lot_id
      AND ($3::text[] IS NULL OR x.site = ANY ($3))
      AND ($6::text IS NULL OR x.site = $6)
) b ON true
WHERE l.kind = $1 AND l.code > $2 AND NOT l.voided
  AND ($3::text[] IS NULL OR l.site = ANY ($3) OR b.accounts > 0)
  AND ($4::text IS NULL OR l.cultivar = $4)
  AND ($5::text IS NULL OR l.rootstock = $5)
  AND ($6::text IS NULL OR b.accounts > 0)
  AND (NOT $7::boolean OR b.on_hand > 0)
ORDER BY l.code
LIMIT $8;

-- name: lot
-- One lot of kind $1, if anything of it was ever at the sites $3 (null: all).
SELECT l.lot_id, l.code, l.kind, l.site, l.cultivar, l.rootstock, l.source, l.method, l.day,
       l.attempt, l.basis, l.identified, l.grown_for, l.parents, l.position, l.changed_position
FROM lots l
WHERE l.kind = $1 AND l.code = $2 AND NOT l.voided
  AND ($3::text[] IS NULL OR l.site = ANY ($3)
       OR EXISTS (SELECT FROM balances b WHERE b.lot_id = l.lot_id AND b.site = ANY ($3)));

-- name: balances_of
-- All accounts of a lot but source that are not empty, at the sites $2 (null: all).
SELECT kind, site, place, stage, size, grade, ref, commodity, balance
FROM balances
WHERE lot_id = $1 AND balance <> 0 AND kind <> 'source'
  AND ($2::text[] IS NULL OR site = ANY ($2))
ORDER BY kind, site, place, stage, size, grade, ref;

-- name: bags_of
-- The bags of a budwood lot.
SELECT code, buds, sticks, basis, parent, pieces, buds_per_piece
FROM bags WHERE lot_id = $1 AND NOT voided
ORDER BY code;

-- name: holds_page
-- Holds after code $1 of the sites $2 (null: all); $3 true: those in force alone; $4 kind; at
-- most $5.
SELECT code, kind, target, target_code, site, reason, from_day, position, lifted_day,
       lifted_position
FROM holds
WHERE code > $1
  AND ($2::text[] IS NULL OR site = ANY ($2))
  AND (NOT $3::boolean OR lifted_position IS NULL)
  AND ($4::text IS NULL OR kind = $4)
ORDER BY code
LIMIT $5;
