-- name: marks
-- How far the log is, and whether an event after $1 can change what is available: those whose type
-- begins with one of $2 move no ready tree, no bud and no claim. `retold`: whether one was voided, so
-- that lots may be something else. A forecast comes without an event; all of one bears one moment.
SELECT h.position, h.catalogue_position, h.holds_position,
       (SELECT made_at FROM supply LIMIT 1) AS foretold_at,
       coalesce(bool_or(split_part(e.type, '.', 1) <> ALL($2::text[])), false) AS concerned,
       coalesce(bool_or(e.type = 'event.voided'), false) AS retold
FROM log_head h
LEFT JOIN events e ON e.position > $1
GROUP BY h.position, h.catalogue_position, h.holds_position;

-- name: touched
-- Cultivars that events after $1 moved trees or buds of, or spoke of.
SELECT l.cultivar FROM legs g JOIN lots l USING (lot_id) WHERE g.position > $1
UNION
SELECT l.cultivar FROM subjects s JOIN lots l ON l.code = s.code
WHERE s.position > $1 AND s.kind = 'lot'
UNION
SELECT c.cultivar FROM subjects s JOIN commitments c ON c.reservation = s.code
WHERE s.position > $1 AND s.kind = 'reservation'
UNION
SELECT o.cultivar FROM subjects s JOIN work_orders o ON o.code = s.code
WHERE s.position > $1 AND s.kind = 'work_order'
UNION
SELECT o.cultivar FROM subjects s JOIN promise_overrides o ON o.code = s.code
WHERE s.position > $1 AND s.kind = 'override';

-- name: spoken_of
-- Reservations that events after $1 speak of: what they claimed before is not written any more.
SELECT DISTINCT code FROM subjects WHERE position > $1 AND kind = 'reservation';

-- name: cultivars
-- Every cultivar that something stands of, is claimed, ordered or said of.
SELECT cultivar FROM lots WHERE cultivar IS NOT NULL
UNION SELECT cultivar FROM commitments WHERE open > 0
UNION SELECT cultivar FROM supply
UNION SELECT cultivar FROM promise_overrides WHERE ended_day IS NULL
UNION SELECT cultivar FROM work_orders WHERE ended IS NULL;

-- name: standing
-- Ready trees and bags of the cultivars $1, with what a hold could know them by.
SELECT l.lot_id, l.code, l.kind, l.site, l.cultivar, l.rootstock, l.grown_for, l.ancestry,
       b.account_id, b.kind AS holds, b.site AS at, b.place, b.stage, b.size, b.grade, b.ref,
       b.commodity, b.balance
FROM lots l JOIN balances b USING (lot_id)
WHERE l.cultivar = ANY($1::text[]) AND b.balance > 0
  AND (b.kind = 'bag' OR (b.kind = 'trees' AND b.stage = 'ready'));

-- name: own_lots
-- Which of the lots $1 are grown for a customer, and for whom.
SELECT lot_id, code, kind, site, grown_for FROM lots
WHERE code = ANY($1::text[]) AND grown_for IS NOT NULL;

-- name: orders
-- Grafting orders for the cultivars $1 that are not ended.
SELECT code, site, cultivar, rootstock, wanted, needed_by, made_day, liner_lot, method, place,
       customer, reservation, note, done, ended, ended_day, position, changed_position
FROM work_orders
WHERE ended IS NULL AND cultivar = ANY($1::text[]);

-- name: foretold
-- Of which cultivars on which rootstocks something is told ahead.
SELECT DISTINCT cultivar, rootstock FROM supply ORDER BY cultivar, rootstock;
