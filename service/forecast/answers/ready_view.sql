-- name: page
-- Ready dates in order of the middle day (unknown last), lot, site. Filters, null for any: $1 sites,
-- $2 lot, $3 cultivar, $4 rootstock, $5 size, $6 that day or later, $7 that day or earlier. After:
-- $8 middle day (null: unknown), $9 lot (null: from the start), $10 site. At most $11 rows.
-- $12 null: as told now. Else as told by the end of a day at each site ($12 sites, $13 days), at
-- position $14 or before (null: any), at $15 or before (null: any).
WITH told AS (
    SELECT * FROM ready_dates WHERE $12::text[] IS NULL
    UNION ALL
    SELECT r.*
    FROM told_by_then('ready_dates', $12, $13::date[], $14::bigint, $15::timestamptz) AS b
    CROSS JOIN LATERAL jsonb_populate_recordset(NULL::ready_dates, b.rows) AS r
)
SELECT *
FROM told
WHERE ($1::text[] IS NULL OR site = ANY($1))
    AND ($2::text IS NULL OR lot = $2)
    AND ($3::text IS NULL OR cultivar = $3)
    AND ($4::text IS NULL OR rootstock = $4)
    AND ($5::text IS NULL OR $5 = ANY(sizes))
    AND ($6::date IS NULL OR p50 >= $6)
    AND ($7::date IS NULL OR p50 <= $7)
    AND (
        $9::text IS NULL
        OR (coalesce(p50, 'infinity'::date), lot, site)
            > (coalesce($8::date, 'infinity'::date), $9, $10::text)
    )
ORDER BY coalesce(p50, 'infinity'::date), lot, site
LIMIT $11;
