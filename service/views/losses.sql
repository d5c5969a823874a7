-- name: touched
-- Lots that the events after $1 up to $2 lost something of, or took it back.
SELECT DISTINCT l.code
FROM legs g
JOIN balances b ON b.lot_id = g.lot_id AND b.account_id = g.account_id
    AND b.kind IN ('lost', 'discarded')
JOIN lots l ON l.lot_id = g.lot_id
WHERE g.position > $1 AND g.position <= $2
UNION
SELECT code FROM heirs_of_remade($1, $2);

-- name: everything
-- Every lot of which something was lost, those made together side by side.
SELECT code FROM lots l
WHERE EXISTS (
    SELECT FROM balances b WHERE b.lot_id = l.lot_id AND b.kind IN ('lost', 'discarded')
)
ORDER BY lot_id;

-- name: forget
DELETE FROM losses WHERE lot = ANY ($1::text[]);

-- name: fill
-- What was lost of these lots, by the unvoided events that tell it. The stage is the event's: an
-- account of what is lost has none.
WITH lost AS (
    SELECT l.code AS lot, b.site, l.cultivar, l.rootstock, b.ref AS cause, b.commodity,
           g.occurred_day AS day, g.delta, e.type, newest_data(e.type, e.version, e.data) AS data
    FROM lots l
    JOIN balances b ON b.lot_id = l.lot_id AND b.kind IN ('lost', 'discarded')
    JOIN legs g ON g.lot_id = b.lot_id AND g.account_id = b.account_id
    JOIN events e ON e.position = g.position AND e.type <> 'event.voided'
    WHERE l.code = ANY ($1::text[])
      AND NOT EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position)
)
INSERT INTO losses (lot, site, cultivar, rootstock, stage, cause, commodity, day, quantity)
SELECT lot, site, cultivar, rootstock,
       CASE
           WHEN commodity = 'buds' THEN 'budwood'
           WHEN type = 'liners.discarded' THEN 'liners'
           WHEN type = 'trees.lost' THEN data ->> 'stage'
           WHEN type = 'consignment.received' THEN coalesce((
               -- Lines of one lot with dead of several stages share a leg: then it is not told.
               SELECT CASE WHEN count(DISTINCT coalesce(line ->> 'stage', 'liners')) = 1
                           THEN min(coalesce(line ->> 'stage', 'liners')) END
               FROM jsonb_array_elements(data -> 'lines') AS line
               WHERE line ->> 'lot' = lost.lot AND (line ->> 'dead')::bigint > 0
           ), 'not_told')
           ELSE 'not_told'
       END AS stage,
       cause, commodity, day, sum(delta)
FROM lost
GROUP BY 1, 2, 3, 4, 5, 6, 7, 8
HAVING sum(delta) <> 0;

-- name: page
-- Losses by groups. $1 groups; $2 sites or null; $3.. one or null: site, cultivar, rootstock, lot,
-- stage, cause, first and last day; $11 the key of the last group of the page before, or null; $12
-- limit.
WITH keyed AS (
    SELECT ARRAY[
        CASE WHEN 'site' = ANY ($1::text[]) THEN site ELSE '' END,
        CASE WHEN 'cultivar' = ANY ($1) THEN coalesce(cultivar, '') ELSE '' END,
        CASE WHEN 'rootstock' = ANY ($1) THEN coalesce(rootstock, '') ELSE '' END,
        CASE WHEN 'stage' = ANY ($1) THEN stage ELSE '' END,
        CASE WHEN 'cause' = ANY ($1) THEN cause ELSE '' END,
        CASE WHEN 'year' = ANY ($1) THEN to_char(day, 'YYYY') ELSE '' END,
        CASE WHEN 'month' = ANY ($1) THEN to_char(day, 'YYYY-MM') ELSE '' END,
        CASE WHEN 'day' = ANY ($1) THEN to_char(day, 'YYYY-MM-DD') ELSE '' END,
        CASE WHEN 'lot' = ANY ($1) THEN lot ELSE '' END,
        commodity
    ] AS key, cause, commodity, quantity
    FROM losses
    WHERE ($2::text[] IS NULL OR site = ANY ($2))
      AND ($3::text IS NULL OR site = $3)
      AND ($4::text IS NULL OR cultivar = $4)
      AND ($5::text IS NULL OR rootstock = $5)
      AND ($6::text IS NULL OR lot = $6)
      AND ($7::text IS NULL OR stage = $7)
      AND ($8::text IS NULL OR cause = $8)
      AND ($9::date IS NULL OR day >= $9)
      AND ($10::date IS NULL OR day <= $10)
)
SELECT key,
       coalesce(sum(quantity) FILTER (WHERE commodity = 'plants' AND cause <> 'culled'), 0)::bigint
           AS dead,
       coalesce(sum(quantity) FILTER (WHERE cause = 'culled'), 0)::bigint AS culled,
       coalesce(sum(quantity) FILTER (WHERE commodity = 'buds'), 0)::bigint AS discarded
FROM keyed
WHERE $11::text[] IS NULL OR key > $11
GROUP BY key
ORDER BY key
LIMIT $12;
