-- name: site
-- A site ($1): what a round calls it and its tables.
SELECT body ->> 'name' AS name, body ->> 'table_word' AS table_word
FROM catalogue WHERE kind = 'site' AND code = $1;

-- name: checks
-- Checks of a site ($1) that are due on day $2, by place, check, crop and plan: how many lots and trees,
-- the first of their days, and the lot that waits longest as `longest`: due on, counted from, lot.
-- Added up before anything is joined, and without a sort: a large site has thousands.
WITH due AS MATERIALIZED (
    SELECT place, check_name, cultivar, plan, min(after) AS after, min(source) AS source,
           min((due_on::text || counted_from::text || lot) COLLATE "C") AS longest,
           count(*) AS lots, sum(trees) AS trees, min(due_on) AS due_on,
           min(overdue_on) AS overdue_on, max(last_done) AS last_done
    FROM checks_due
    WHERE site = $1 AND due_on <= $2::date
    GROUP BY 1, 2, 3, 4
),
by_crop AS MATERIALIZED (
    SELECT d.place, d.check_name AS check, v.body ->> 'crop' AS crop, d.plan,
           min(d.after) AS after, min(d.source) AS source, min(d.longest COLLATE "C") AS longest,
           sum(d.lots)::int AS lots, sum(d.trees)::bigint AS trees, min(d.due_on) AS due_on,
           min(d.overdue_on) AS overdue_on, max(d.last_done) AS last_done
    FROM due d
    LEFT JOIN catalogue v ON v.kind = 'cultivar' AND v.code = d.cultivar
    GROUP BY 1, 2, 3, 4
)
SELECT b.*, p.body ->> 'structure' AS structure, p.body ->> 'place_kind' AS place_kind
FROM by_crop b
LEFT JOIN catalogue p ON p.kind = 'place' AND p.code = b.place;

-- name: coming
-- Checks of a site ($1) that become due after day $2 and up to $3, by day and name.
SELECT due_on AS day, check_name AS check, count(DISTINCT place)::int AS places,
       count(*)::int AS lots, sum(trees)::bigint AS trees
FROM checks_due
WHERE site = $1 AND due_on > $2::date AND due_on <= $3::date
GROUP BY 1, 2
ORDER BY 1, 2;

-- name: temperatures
-- The daily record of a site ($1) from day $2 to $3, as it is known now.
SELECT day, min_c, max_c
FROM (
    SELECT DISTINCT ON (day) day, min_c, max_c
    FROM temperatures
    WHERE site = $1 AND day >= $2::date AND day <= $3::date
    ORDER BY day, version DESC
) AS in_force
WHERE min_c IS NOT NULL;

-- name: bags
-- Bags of a site ($1) with wood whose usual keeping time ends by day $2, the first on top.
SELECT bag, place, lot, cultivar, crop, buds, basis, use_by, keep_days
FROM budwood_on_hand
WHERE site = $1 AND use_by <= $2::date AND buds > 0
ORDER BY use_by, bag, place;

-- name: orders
-- Grafting that is still to do at a site ($1): what is late on day $2, what is wanted by $3.
SELECT count(*) FILTER (WHERE needed_by < $2::date)::int AS late,
       coalesce(sum(wanted - done) FILTER (WHERE needed_by < $2), 0)::bigint AS late_trees,
       count(*) FILTER (WHERE needed_by >= $2 AND needed_by <= $3::date)::int AS this_week,
       coalesce(sum(wanted - done) FILTER (WHERE needed_by >= $2 AND needed_by <= $3), 0)::bigint
           AS this_week_trees,
       min(needed_by) AS first
FROM work_orders
WHERE site = $1 AND ended IS NULL AND done < wanted;

-- name: alerts
-- Open alerts of a site ($1) that nobody has seen to by day $2, but of the kinds $3, by kind.
SELECT a.kind, count(*)::int AS count, min(a.raised_at) AS since
FROM alerts a
LEFT JOIN LATERAL (
    SELECT w.word, w.remind_on FROM alert_words w
    WHERE w.alert = a.id ORDER BY w.said_at DESC, w.position DESC LIMIT 1
) AS said ON true
WHERE a.closed_at IS NULL AND a.sites && ARRAY[$1::text] AND a.kind <> ALL ($3::text[])
  AND coalesce(said.word, '') <> 'acknowledged'
  AND (said.remind_on IS NULL OR said.remind_on <= $2::date)
GROUP BY 1
ORDER BY 1;

-- name: done
-- What was recorded at a site ($1) of days from $2 on: nothing is recorded before it happens, so the
-- log is read from the moment $3 on. By day, type and person; voided events left out.
SELECT e.occurred_day AS day, e.type, coalesce(e.actor, e.recorded_by) AS person,
       count(*)::int AS entries,
       sum(CASE WHEN e.type IN ('trees.grafted', 'trees.regrafted')
           THEN (newest_data(e.type, e.version, e.data) ->> 'count')::bigint END)::bigint AS trees,
       max(e.occurred_at) AS last
FROM events e
WHERE e.recorded_at >= $3 AND e.site = $1 AND e.occurred_day >= $2::date
  AND e.type NOT LIKE 'catalogue.%' AND e.type NOT LIKE 'alert.%'
  AND e.type NOT IN ('event.voided', 'reservation.expired')
  AND NOT EXISTS (SELECT FROM voids v WHERE v.voided_position = e.position)
GROUP BY 1, 2, 3
ORDER BY 1 DESC, 4 DESC, 2, 3;
