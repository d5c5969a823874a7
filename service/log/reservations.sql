-- name: page
-- Reservations after code $1 of the sites $2 (null: all); $3 state as of $6, $4 customer, $7 order,
-- $8 site; at most $5.
SELECT * FROM (
    SELECT r.code, r.customer, r.order_ref, r.site, r.any_site, r.made_day, r.needed_by,
           r.expires_at, r.destination, r.confirmed_day, r.position, r.changed_position,
           CASE WHEN r.state = 'open' AND r.expires_at <= $6 THEN 'expired' ELSE r.state END
               AS state
    FROM reservations r
    WHERE r.code > $1
      AND ($2::text[] IS NULL OR r.site = ANY ($2))
      AND ($4::text IS NULL OR r.customer = $4)
      AND ($7::text IS NULL OR r.order_ref = $7)
      AND ($8::text IS NULL OR r.site = $8)
) r
WHERE $3::text IS NULL OR r.state = $3
ORDER BY r.code
LIMIT $5;

-- name: one
-- Reservation $1, if it is of a site of $2 (null: all), as of $3.
SELECT r.code, r.customer, r.order_ref, r.site, r.any_site, r.made_day, r.needed_by, r.expires_at,
       r.destination, r.confirmed_day, r.position, r.changed_position,
       CASE WHEN r.state = 'open' AND r.expires_at <= $3 THEN 'expired' ELSE r.state END AS state
FROM reservations r
WHERE r.code = $1 AND ($2::text[] IS NULL OR r.site = ANY ($2));

-- name: lines
-- The lines of reservations $1. What was given free is open no more and yet not fulfilled: of those
-- released the sales that stand since their lines were last told say what was.
SELECT c.reservation, c.line, c.item, c.lot, c.site, c.asked, coalesce(c.promised, c.asked) AS promised,
       c.open,
       CASE WHEN r.state <> 'released' THEN coalesce(c.promised, c.asked) - c.open ELSE coalesce((
           SELECT sum((f.part ->> 'count')::bigint)
           FROM subjects s
           JOIN events e ON e.position = s.position AND e.type IN ('trees.sold', 'budwood.sold')
           LEFT JOIN voids v ON v.voided_position = e.position
           CROSS JOIN jsonb_array_elements(newest_data(e.type, e.version, e.data) -> 'fulfils')
               AS f (part)
           WHERE s.kind = 'reservation' AND s.code = c.reservation AND v.voided_position IS NULL
             AND (f.part ->> 'line')::integer = c.line
             AND e.position > coalesce((
                 SELECT max(t.position) FROM subjects a
                 JOIN events t ON t.position = a.position AND t.type = 'reservation.changed'
                 WHERE a.kind = 'reservation' AND a.code = c.reservation
                   AND jsonb_typeof(newest_data(t.type, t.version, t.data) -> 'lines') = 'array'
             ), 0)
       ), 0) END::bigint AS fulfilled
FROM commitments c JOIN reservations r ON r.code = c.reservation
WHERE c.reservation = ANY ($1::text[])
ORDER BY c.reservation, c.line;

-- name: expired
-- Reservations whose expiry came by $1 and is not recorded; at most $2.
SELECT code, site, expires_at FROM reservations
WHERE state = 'open' AND expired_day IS NULL AND expires_at <= $1
ORDER BY expires_at, code
LIMIT $2;

-- name: waiting_of
-- How many open reservations that bind and are not confirmed were made by $1 and bind at $2; no more
-- than $3 are counted.
SELECT count(*) FROM (
    SELECT FROM reservations r JOIN events e ON e.position = r.position
    WHERE r.state = 'open' AND r.confirmed_day IS NULL AND e.recorded_by = $1
      AND (r.expires_at IS NULL OR r.expires_at > $2)
    LIMIT $3
) found;
