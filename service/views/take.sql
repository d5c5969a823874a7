-- name: forget
DELETE FROM take WHERE lot = ANY ($1::text[]);

-- name: forget_gone
DELETE FROM take_gone WHERE lot = ANY ($1::text[]);

-- name: forget_grafters
DELETE FROM take_grafters WHERE lot = ANY ($1::text[]);

-- name: put
INSERT INTO take SELECT * FROM jsonb_populate_recordset(NULL::take, $1::jsonb);

-- name: put_gone
INSERT INTO take_gone SELECT * FROM jsonb_populate_recordset(NULL::take_gone, $1::jsonb);

-- name: put_grafters
INSERT INTO take_grafters SELECT * FROM jsonb_populate_recordset(NULL::take_grafters, $1::jsonb);

-- name: page
-- Take by groups. $1 groups; $2 whether a grafter is asked for; $3 sites or null; $4.. one or null:
-- site, cultivar, rootstock, method, lot, attempt, grafter; $11 and $12 first and last day of
-- grafting; $13 the key of the last group of the page before, or null; $14 limit.
-- A lot counts once; by grafter it counts for the one who grafted all of it, and what several
-- grafted is counted apart.
WITH sites AS (
    SELECT code, coalesce((body ->> 'latitude')::numeric, 0) < 0 AS south
    FROM catalogue WHERE kind = 'site'
),
told AS (
    SELECT t.*, g.grafter, coalesce(g.alone, true) AS alone, g.grafted AS by_hand,
           extract(month FROM t.grafted_on)::integer AS month_of,
           coalesce(s.south, false) AS south
    FROM take t
    LEFT JOIN sites s ON s.code = t.site
    LEFT JOIN take_grafters g ON $2::boolean AND g.lot = t.lot
    WHERE ($3::text[] IS NULL OR t.site = ANY ($3))
      AND ($4::text IS NULL OR t.site = $4)
      AND ($5::text IS NULL OR t.cultivar = $5)
      AND ($6::text IS NULL OR t.rootstock = $6)
      AND ($7::text IS NULL OR t.method = $7)
      AND ($8::text IS NULL OR t.lot = $8)
      AND ($9::integer IS NULL OR t.attempt = $9)
      AND ($10::text IS NULL OR g.grafter = $10)
      AND ($11::date IS NULL OR t.grafted_on >= $11)
      AND ($12::date IS NULL OR t.grafted_on <= $12)
),
keyed AS (
    SELECT told.*, ARRAY[
        CASE WHEN 'site' = ANY ($1::text[]) THEN site ELSE '' END,
        CASE WHEN 'cultivar' = ANY ($1) THEN coalesce(cultivar, '') ELSE '' END,
        CASE WHEN 'rootstock' = ANY ($1) THEN coalesce(rootstock, '') ELSE '' END,
        CASE WHEN 'method' = ANY ($1) THEN coalesce(method, '') ELSE '' END,
        CASE WHEN 'season' = ANY ($1) AND grafted_on IS NOT NULL THEN
            extract(year FROM grafted_on + interval '1 month')::integer || '-'
            || (ARRAY['winter', 'spring', 'summer', 'autumn'])[
                1 + (month_of % 12 / 3 + CASE WHEN south THEN 2 ELSE 0 END) % 4
            ]
            ELSE '' END,
        CASE WHEN 'month' = ANY ($1) THEN coalesce(to_char(grafted_on, 'YYYY-MM'), '') ELSE '' END,
        CASE WHEN 'lot' = ANY ($1) THEN lot ELSE '' END,
        CASE WHEN 'attempt' = ANY ($1) THEN attempt::text ELSE '' END,
        CASE WHEN 'grafter' = ANY ($1) THEN coalesce(grafter, '') ELSE '' END
    ] AS key
    FROM told
),
gone AS (
    SELECT k.key, g.reason, sum(g.trees) AS trees
    FROM keyed k
    JOIN take_gone g ON g.lot = k.lot
    WHERE k.alone
    GROUP BY 1, 2
),
reasons AS (
    SELECT key, jsonb_object_agg(reason, trees ORDER BY reason) AS gone FROM gone GROUP BY 1
)
SELECT k.key,
       count(*) FILTER (WHERE alone)::integer AS lots,
       coalesce(sum(grafted) FILTER (WHERE alone), 0)::bigint AS grafted,
       coalesce(sum(opened) FILTER (WHERE alone), 0)::bigint AS opened,
       coalesce(sum(alive) FILTER (WHERE alone), 0)::bigint AS alive,
       coalesce(sum(failed) FILTER (WHERE alone), 0)::bigint AS failed,
       coalesce(sum(not_read) FILTER (WHERE alone), 0)::bigint AS not_read,
       coalesce(sum(not_read_pushed) FILTER (WHERE alone), 0)::bigint AS not_read_pushed,
       coalesce(sum(not_read_failed) FILTER (WHERE alone), 0)::bigint AS not_read_failed,
       coalesce(sum(ready) FILTER (WHERE alone), 0)::bigint AS ready,
       coalesce(sum(growing) FILTER (WHERE alone), 0)::bigint AS growing,
       count(*) FILTER (WHERE NOT alone)::integer AS shared_lots,
       coalesce(sum(by_hand) FILTER (WHERE NOT alone), 0)::bigint AS shared_grafted,
       r.gone
FROM keyed k
LEFT JOIN reasons r ON r.key = k.key
WHERE $13::text[] IS NULL OR k.key > $13
GROUP BY k.key, r.gone
ORDER BY k.key
LIMIT $14;
