-- name: events
-- Stored events in order of position, a portion at a time.
SELECT position, id::text AS id, type, version, site, sites, occurred, occurred_at, occurred_day,
       actor, happened, replaces::text AS replaces, unit::text AS unit, digest, data
FROM events
WHERE position > $1
ORDER BY position
LIMIT $2;

-- name: subjects
-- What the events from position $1 to $2 are filed under.
SELECT position, kind, code FROM subjects WHERE position BETWEEN $1 AND $2;

-- name: lots
-- Lots as the writer's books have them.
SELECT code, kind, site, cultivar, rootstock, source, method, day, attempt, basis, identified,
       grown_for, parents, ancestry, position, changed_position, voided
FROM lots;

-- name: bags
-- Bags likewise.
SELECT bags.code, lots.code AS lot, buds, sticks, bags.basis, parent, pieces,
       buds_per_piece, bags.position, bags.voided
FROM bags JOIN lots USING (lot_id);

-- name: accounts
-- Accounts that hold or owe something now.
SELECT lots.code AS lot, balances.kind, balances.site, place, stage, size, grade, ref, commodity,
       balance
FROM balances JOIN lots USING (lot_id)
WHERE balance <> 0;

-- name: holds
SELECT code, kind, target, target_code, site, reason, from_day, position, lifted_day,
       lifted_position
FROM holds;

-- name: consignments
SELECT code, from_site, to_site, sent_day, sent_position, received_day, received_position, voided
FROM consignments;

-- name: reservations
SELECT code, customer, site, any_site, made_day, needed_by, expires_at, state, position,
       changed_position, order_ref, destination, confirmed_day, expired_day
FROM reservations;

-- name: claims
SELECT reservation, line, item, lot, site, asked, open, coalesce(promised, asked) AS promised
FROM commitments;

-- name: work_orders
SELECT code, site, cultivar, rootstock, wanted, needed_by, made_day, liner_lot, method, place,
       grafters, customer, reservation, note, done, ended, ended_day, position, changed_position
FROM work_orders;

-- name: out_from
-- The position after which item_out counts sales.
SELECT out_from FROM log_head;

-- name: items_out
SELECT cultivar, rootstock, size, grade, site, total FROM item_out WHERE total <> 0;

-- name: overrides
SELECT code, site, any_site, cultivar, rootstock, size, grade, quantity, from_day, until_day,
       reason, went_out, position, changed_position, ended_day
FROM promise_overrides;

-- name: work_done
SELECT position, work_order, site, lot, day, count, counts, voided_by FROM work_done;

-- name: entries
SELECT kind, code, position, body FROM catalogue;

-- name: legs_of_days
-- Net legs of each account on each day.
SELECT lots.code AS lot, b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref, b.commodity,
       legs.occurred_day, sum(legs.delta)::bigint AS net
FROM legs
JOIN balances b USING (lot_id, account_id)
JOIN lots USING (lot_id)
GROUP BY lots.code, b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref, b.commodity,
         legs.occurred_day
HAVING sum(legs.delta) <> 0;
