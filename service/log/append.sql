-- name: begin
-- One writer at a time. The lock is a statement of its own, so that what is read after it sees what
-- the writer before has committed; sent in one go with BEGIN, since each message costs time.
BEGIN; SELECT pg_advisory_xact_lock(7023648511);

-- name: head
-- The newest position and the counters, read under the lock; beside them each id of the group that
-- the log has, or that waits to be put right (known_position -1), a row each.
SELECT h.position, h.recorded_at, h.next_account_id, h.next_lot_id, h.next_code,
       h.catalogue_position, h.holds_position, k.id, k.known_position, k.digest
FROM log_head h LEFT JOIN (
    SELECT id::text AS id, position AS known_position, digest
    FROM events WHERE id = ANY($1::uuid[])
    UNION ALL
    SELECT event_id::text, -1, ''::bytea FROM to_put_right
    WHERE event_id = ANY($1::uuid[]) AND state <> 'recorded'
) k ON true;

-- name: keys
-- Idempotency keys seen before.
SELECT i.principal, i.key, i.method_path, i.fingerprint, i.status, i.body
FROM idempotency i
JOIN unnest($1::text[], $2::text[]) AS w (principal, key) USING (principal, key);

-- name: catalogue
-- The whole catalogue: a few hundred rows, read again only when it changed.
SELECT body, position FROM catalogue;

-- name: holds
-- All holds that are or may come to be in force on some day.
SELECT code, kind, target, target_code, site, reason, from_day, position, lifted_day,
       lifted_position
FROM holds;

-- name: lots
-- The lots that a group speaks of: by code, through their bags, or travelling in a consignment.
SELECT lot_id, code, kind, site, cultivar, rootstock, source, method, day, attempt, basis,
       identified, grown_for, parents, ancestry, position, changed_position, voided
FROM lots
WHERE lot_id IN (
    SELECT lot_id FROM lots WHERE code = ANY($1::text[])
    UNION ALL
    SELECT lot_id FROM bags WHERE code = ANY($2::text[])
    UNION ALL
    SELECT lot_id FROM balances WHERE kind = 'transit' AND place = ANY($3::text[])
    UNION ALL
    SELECT unnest($4::bigint[])
);

-- name: heirs
-- What descends from lots that may be made anew, with the parents that tell what it is.
WITH heirs AS (SELECT lot_id, parents FROM lots WHERE ancestry && $1::text[])
SELECT lot_id FROM heirs
UNION
SELECT l.lot_id FROM lots l
WHERE l.code IN (SELECT substr(token, 5) FROM heirs, unnest(parents) AS token
                 WHERE token LIKE 'lot:%');

-- name: bags
-- All bags of the lots.
SELECT b.code, l.code AS lot, b.buds, b.sticks, b.basis, b.parent, b.pieces,
       b.buds_per_piece, b.position, b.voided
FROM bags b JOIN lots l USING (lot_id)
WHERE b.lot_id = ANY($1::bigint[]);

-- name: balances
-- All accounts of the lots.
SELECT lot_id, account_id, kind, site, place, stage, size, grade, ref, commodity, balance, last_day
FROM balances WHERE lot_id = ANY($1::bigint[]);

-- name: nets
-- Net changes by day, after the day from which a late event needs them.
SELECT l.account_id, l.occurred_day, sum(l.delta)::bigint AS net
FROM unnest($1::bigint[], $2::date[]) AS w (lot_id, after)
JOIN legs l ON l.lot_id = w.lot_id AND l.occurred_day > w.after
GROUP BY 1, 2;

-- name: anchors
-- Standing counts of the lots' accounts.
SELECT account_id, occurred_day, occurred_at, timed, position
FROM anchors WHERE lot_id = ANY($1::bigint[]) AND voided_by IS NULL
ORDER BY position;

-- name: consignments
SELECT code, from_site, to_site, sent_day, sent_position, received_day, received_position, voided
FROM consignments WHERE code = ANY($1::text[]);

-- name: reservations
-- Reservations named, and those with open lines on the cultivars of the group or of a reservation
-- that is changed.
SELECT r.code, r.customer, r.site, r.any_site, r.made_day, r.needed_by, r.expires_at, r.state,
       r.position, r.changed_position, r.order_ref, r.destination, r.confirmed_day, r.expired_day,
       c.line, c.item, c.lot, c.site AS claim_site, c.asked, c.open,
       coalesce(c.promised, c.asked) AS promised
FROM reservations r JOIN commitments c ON c.reservation = r.code
WHERE r.code IN (
    SELECT unnest($1::text[])
    UNION ALL
    SELECT reservation FROM commitments WHERE cultivar = ANY($2::text[]) AND open > 0
    UNION ALL
    SELECT o.reservation FROM commitments c JOIN commitments o USING (cultivar)
    WHERE c.reservation = ANY($3::text[]) AND o.open > 0
)
ORDER BY r.code, c.line;

-- name: items_out
-- What was sold of each item of the cultivars, at each site.
SELECT cultivar, rootstock, size, grade, site, total FROM item_out
WHERE cultivar = ANY($1::text[]);

-- name: overrides
-- Overrides of promises named, and those in force for the cultivars.
SELECT code, site, any_site, cultivar, rootstock, size, grade, quantity, from_day, until_day,
       reason, went_out, position, changed_position, ended_day
FROM promise_overrides
WHERE code = ANY($1::text[]) OR (ended_day IS NULL AND cultivar = ANY($2::text[]));

-- name: supply
-- What the newest forecast told of each cultivar on its rootstock; one told at other levels was told
-- by another version, and says nothing until there is a new one.
SELECT cultivar, rootstock, size, grade, site, first, quantities, went_out
FROM unnest($1::text[], $2::text[]) AS w (cultivar, rootstock)
JOIN supply USING (cultivar, rootstock)
WHERE levels = $3::float8[];

-- name: work_orders
-- Work orders named, those not ended at the sites for the cultivars that the group grafts, and those
-- not ended at any site for the cultivars ($4) whose buds are asked for.
SELECT code, site, cultivar, rootstock, wanted, needed_by, made_day, liner_lot, method, place,
       grafters, customer, reservation, note, done, ended, ended_day, position, changed_position
FROM work_orders
WHERE code = ANY($1::text[])
   OR (ended IS NULL AND site = ANY($2::text[]) AND cultivar = ANY($3::text[]))
   OR (ended IS NULL AND cultivar = ANY($4::text[]));

-- name: work_done
-- Graftings for work orders, by their positions.
SELECT position, work_order, site, lot, day, count, counts, voided_by
FROM work_done WHERE position = ANY($1::bigint[]);

-- name: standing_at
-- Lots of which something stands at the places.
SELECT DISTINCT lot_id FROM balances
WHERE place = ANY($1::text[]) AND kind IN ('bag', 'liners', 'trees') AND balance > 0;

-- name: ready_lots
-- Lots that claims on these cultivars can draw on: ready trees, or buds in bags.
SELECT DISTINCT l.lot_id
FROM lots l JOIN balances b USING (lot_id)
WHERE l.cultivar = ANY($1::text[]) AND b.balance > 0
  AND ((b.kind = 'trees' AND b.stage = 'ready') OR b.kind = 'bag');

-- name: sale_lots
-- Lots with ready trees of items (cultivar, rootstock) or, where that is empty, buds in bags at
-- sites: a sale by item may be given them.
SELECT DISTINCT l.lot_id
FROM unnest($1::text[], $2::text[], $3::text[]) AS w (cultivar, rootstock, site)
JOIN lots l ON l.cultivar = w.cultivar AND l.rootstock = w.rootstock AND l.kind = 'tree'
JOIN balances b ON b.lot_id = l.lot_id AND b.site = w.site
WHERE NOT l.voided AND b.kind = 'trees' AND b.stage = 'ready' AND b.balance > 0
UNION
SELECT l.lot_id
FROM unnest($1, $2, $3) AS w (cultivar, rootstock, site)
JOIN lots l ON l.cultivar = w.cultivar AND l.kind = 'budwood'
JOIN balances b ON b.lot_id = l.lot_id AND b.site = w.site
WHERE w.rootstock = '' AND NOT l.voided AND b.kind = 'bag' AND b.balance > 0;

-- name: ready_nets
-- What came to the ready trees of the lots and what left them, by day. Moves, regradings and loads
-- between sites cancel out.
SELECT g.lot_id, g.occurred_day, sum(g.delta)::bigint AS net
FROM balances b
JOIN legs g ON g.lot_id = b.lot_id AND g.account_id = b.account_id
WHERE b.lot_id = ANY ($1::bigint[]) AND b.kind IN ('trees', 'transit') AND b.stage = 'ready'
GROUP BY 1, 2
HAVING sum(g.delta) <> 0;

-- name: voids_of
-- Which of the events at these positions were voided, and where.
SELECT voided_position, by_position FROM voids WHERE voided_position = ANY($1::bigint[]);

-- name: voided_events
-- What a void is about, whole; and the envelope's parts to understand it by.
SELECT e.position, e.id::text AS id, e.type, e.version, e.site, e.occurred, e.occurred_at,
       e.occurred_day, e.actor, e.happened, e.replaces::text AS replaces, e.digest, e.data,
       v.by_position
FROM events e LEFT JOIN voids v ON v.voided_position = e.position
WHERE e.id = ANY($1::uuid[]);

-- name: voided_legs
-- The legs of voided events, and the opposites that late events posted at voided counts.
SELECT lot_id, account_id, occurred_day, occurred_at, position, site, delta, anchor
FROM legs WHERE position = ANY($1::bigint[])
UNION ALL
SELECT lot_id, account_id, occurred_day, occurred_at, position, site, delta, anchor
FROM legs WHERE lot_id = ANY($2::bigint[]) AND anchor = ANY($1::bigint[])
  AND position <> ALL($1::bigint[]);

-- name: made_by
-- Lots that voided events made.
SELECT lot_id FROM lots WHERE position = ANY($1::bigint[]);

-- name: makings
-- Standing graftings that made or added to lots.
SELECT e.position, e.id::text AS id, e.type, e.version, e.site, e.occurred, e.actor, e.happened,
       e.replaces::text AS replaces, e.data
FROM subjects s
JOIN events e USING (position)
LEFT JOIN voids v ON v.voided_position = e.position
WHERE s.kind = 'lot' AND s.code = ANY($1::text[])
  AND newest_data(e.type, e.version, e.data) ->> 'lot' = s.code
  AND e.type IN ('trees.grafted', 'trees.regrafted') AND v.voided_position IS NULL;

-- name: standing_on
-- Standing events that speak of a subject, voids left out.
SELECT s.kind || ':' || s.code AS token, s.position, e.id::text AS id
FROM unnest($1::text[], $2::text[]) AS w (kind, code)
JOIN subjects s ON s.kind = w.kind AND s.code = w.code
JOIN events e ON e.position = s.position AND e.type <> 'event.voided'
LEFT JOIN voids v ON v.voided_position = e.position
WHERE v.voided_position IS NULL;

-- name: sold_since
-- What went to customers since a day, of lots that descend from what is now held.
SELECT w.token, c.occurred_day AS day, l.code AS lot, b.ref AS customer, sum(c.delta)::bigint AS count
FROM unnest($1::text[], $2::date[]) AS w (token, since)
JOIN lots l ON w.token = ANY(l.ancestry)
JOIN balances b ON b.lot_id = l.lot_id AND b.kind = 'customer'
JOIN legs c ON c.lot_id = b.lot_id AND c.account_id = b.account_id AND c.occurred_day >= w.since
GROUP BY 1, 2, 3, 4
HAVING sum(c.delta) > 0
ORDER BY 1, 2, 3;

-- name: taken_codes
-- Which of the codes about to be minted somebody chose already.
SELECT code FROM lots WHERE code = ANY($1::text[])
UNION SELECT code FROM bags WHERE code = ANY($1::text[])
UNION SELECT code FROM holds WHERE code = ANY($1::text[])
UNION SELECT code FROM reservations WHERE code = ANY($1::text[])
UNION SELECT code FROM promise_overrides WHERE code = ANY($1::text[])
UNION SELECT code FROM consignments WHERE code = ANY($1::text[])
UNION SELECT code FROM work_orders WHERE code = ANY($1::text[]);

-- name: events_there
-- The events on an account on a day, for a refusal to name.
SELECT DISTINCT e.position, e.id::text AS id, e.type
FROM legs l JOIN events e USING (position)
WHERE l.lot_id = $1 AND l.account_id = $2 AND l.occurred_day = $3
ORDER BY e.position LIMIT 20;

-- name: enter
-- Events, their subjects and legs, and the head, in one message; listeners are told at the commit.
WITH entered AS (
    INSERT INTO events (position, id, type, version, site, sites, occurred, occurred_at,
                        occurred_day, recorded_at, recorded_by, actor, happened, replaces, unit,
                        digest, remarks, data)
    SELECT e.position, e.id, e.type, e.version, e.site, e.sites::text[], e.occurred, e.occurred_at,
           e.occurred_day, e.recorded_at, e.recorded_by, e.actor, e.happened, e.replaces, e.unit,
           e.digest, e.remarks, e.data
    FROM unnest($1::bigint[], $2::uuid[], $3::text[], $4::smallint[], $5::text[], $6::text[],
                $7::text[], $8::timestamptz[], $9::date[], $10::timestamptz[], $11::text[],
                $12::text[], $13::boolean[], $14::uuid[], $15::uuid[], $16::bytea[], $17::jsonb[],
                $18::jsonb[])
        AS e (position, id, type, version, site, sites, occurred, occurred_at, occurred_day,
              recorded_at, recorded_by, actor, happened, replaces, unit, digest, remarks, data)
), spoken AS (
    INSERT INTO subjects (kind, code, occurred_at, position)
    SELECT * FROM unnest($19::text[], $20::text[], $21::timestamptz[], $22::bigint[])
), moved AS (
    INSERT INTO legs (lot_id, account_id, occurred_day, occurred_at, position, site, delta, anchor)
    SELECT * FROM unnest($23::bigint[], $24::bigint[], $25::date[], $26::timestamptz[],
                         $27::bigint[], $28::text[], $29::bigint[], $30::bigint[])
)
UPDATE log_head SET position = $31, recorded_at = $32, next_account_id = $33, next_lot_id = $34,
    next_code = $35, catalogue_position = $36, holds_position = $37;

-- name: save_balances
-- Absolute balances, as computed under the lock.
INSERT INTO balances (lot_id, account_id, kind, site, place, stage, size, grade, ref, commodity,
                      balance, last_day)
SELECT * FROM unnest($1::bigint[], $2::bigint[], $3::text[], $4::text[], $5::text[], $6::text[],
                     $7::text[], $8::text[], $9::text[], $10::text[], $11::bigint[], $12::date[])
ON CONFLICT (lot_id, account_id) DO UPDATE SET balance = excluded.balance,
    last_day = excluded.last_day;

-- name: save_lot
INSERT INTO lots (lot_id, code, kind, site, cultivar, rootstock, source, method, day, attempt,
                  basis, identified, grown_for, parents, ancestry, position, changed_position,
                  voided)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)
ON CONFLICT (lot_id) DO UPDATE SET kind = excluded.kind, site = excluded.site,
    cultivar = excluded.cultivar, rootstock = excluded.rootstock, source = excluded.source,
    method = excluded.method, day = excluded.day, attempt = excluded.attempt,
    basis = excluded.basis, identified = excluded.identified, grown_for = excluded.grown_for,
    parents = excluded.parents, ancestry = excluded.ancestry, position = excluded.position,
    changed_position = excluded.changed_position, voided = excluded.voided;

-- name: touch_lots
-- Only the ETag of a lot moved.
UPDATE lots SET changed_position = w.position
FROM unnest($1::bigint[], $2::bigint[]) AS w (lot_id, position)
WHERE lots.lot_id = w.lot_id;

-- name: save_bag
INSERT INTO bags (code, lot_id, buds, sticks, basis, parent, pieces, buds_per_piece,
                  position, voided)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
ON CONFLICT (code) DO UPDATE SET lot_id = excluded.lot_id, buds = excluded.buds,
    sticks = excluded.sticks, basis = excluded.basis,
    parent = excluded.parent, pieces = excluded.pieces, buds_per_piece = excluded.buds_per_piece,
    position = excluded.position, voided = excluded.voided;

-- name: save_catalogue
INSERT INTO catalogue (kind, code, site, position, body) VALUES ($1, $2, $3, $4, $5)
ON CONFLICT (kind, code) DO UPDATE SET site = excluded.site, position = excluded.position,
    body = excluded.body;

-- name: save_hold
INSERT INTO holds (code, kind, target, target_code, site, reason, from_day, position, lifted_day,
                   lifted_position)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
ON CONFLICT (code) DO UPDATE SET lifted_day = excluded.lifted_day,
    lifted_position = excluded.lifted_position;

-- name: save_consignment
INSERT INTO consignments (code, from_site, to_site, sent_day, sent_position, received_day,
                          received_position, voided)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
ON CONFLICT (code) DO UPDATE SET from_site = excluded.from_site, to_site = excluded.to_site,
    sent_day = excluded.sent_day, sent_position = excluded.sent_position,
    received_day = excluded.received_day, received_position = excluded.received_position,
    voided = excluded.voided;

-- name: save_reservation
INSERT INTO reservations (code, customer, site, any_site, made_day, needed_by, expires_at, state,
                          position, changed_position, order_ref, destination, confirmed_day,
                          expired_day)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)
ON CONFLICT (code) DO UPDATE SET needed_by = excluded.needed_by, expires_at = excluded.expires_at,
    state = excluded.state, changed_position = excluded.changed_position,
    order_ref = excluded.order_ref, destination = excluded.destination,
    confirmed_day = excluded.confirmed_day, expired_day = excluded.expired_day;

-- name: drop_claims
DELETE FROM commitments WHERE reservation = ANY ($1::text[]);

-- name: save_claim
INSERT INTO commitments (reservation, line, item, cultivar, lot, site, asked, open, needed_by,
                         expires_at, promised)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11);

-- name: save_item_out
INSERT INTO item_out (cultivar, rootstock, size, grade, site, total)
SELECT * FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::text[], $6::bigint[])
ON CONFLICT (cultivar, rootstock, size, grade, site) DO UPDATE SET total = excluded.total;

-- name: save_override
INSERT INTO promise_overrides (code, site, any_site, cultivar, rootstock, size, grade, quantity,
                               from_day, until_day, reason, went_out, position, changed_position,
                               ended_day)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)
ON CONFLICT (code) DO UPDATE SET changed_position = excluded.changed_position,
    ended_day = excluded.ended_day;

-- name: save_work_order
INSERT INTO work_orders (code, site, cultivar, rootstock, wanted, needed_by, made_day, liner_lot,
                         method, place, grafters, customer, reservation, note, done, ended,
                         ended_day, position, changed_position)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)
ON CONFLICT (code) DO UPDATE SET wanted = excluded.wanted, needed_by = excluded.needed_by,
    liner_lot = excluded.liner_lot, method = excluded.method, place = excluded.place,
    grafters = excluded.grafters, customer = excluded.customer,
    reservation = excluded.reservation, note = excluded.note, done = excluded.done,
    ended = excluded.ended, ended_day = excluded.ended_day,
    changed_position = excluded.changed_position;

-- name: save_work_done
INSERT INTO work_done (position, work_order, site, lot, day, count, counts, voided_by)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
ON CONFLICT (position) DO UPDATE SET voided_by = excluded.voided_by;

-- name: save_void
INSERT INTO voids (voided_position, by_position) VALUES ($1, $2);

-- name: save_anchor
INSERT INTO anchors (lot_id, account_id, occurred_day, occurred_at, timed, position)
VALUES ($1, $2, $3, $4, $5, $6);

-- name: void_anchors
UPDATE anchors SET voided_by = $2 WHERE lot_id = ANY($3::bigint[]) AND position = $1;

-- name: save_key
INSERT INTO idempotency (principal, key, method_path, fingerprint, status, headers, body,
                         recorded_at)
VALUES ($1, $2, $3, $4, $5, '{}', $6, $7);

-- name: notify
SELECT pg_notify('graftlog_log', $1);

-- name: commit
COMMIT;

-- name: roll_back
ROLLBACK;

-- name: outcome
-- After a lost connection: did the group's events get in?
SELECT id::text AS id, position FROM events WHERE id = ANY($1::uuid[]);
