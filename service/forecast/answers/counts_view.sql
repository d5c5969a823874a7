-- name: page
-- Supply by item, of each all sites together (site empty) and each site. Filters, null for any: $1
-- sites (all together only without it), $2 cultivar, $3 rootstock, $4 size, $5 grade (empty: of any).
-- After: $6 cultivar, $7 rootstock, $8 size, $9 grade, $10 site. At most $11 rows. $12 to $15: as
-- told by then.
WITH told AS (
    SELECT * FROM supply WHERE $12::text[] IS NULL
    UNION ALL
    SELECT s.*
    FROM told_by_then('supply', $12, $13::date[], $14::bigint, $15::timestamptz) AS b
    CROSS JOIN LATERAL jsonb_populate_recordset(NULL::supply, b.rows) AS s
)
SELECT *
FROM told
WHERE ($1::text[] IS NULL OR site = ANY($1))
    AND ($2::text IS NULL OR cultivar = $2)
    AND ($3::text IS NULL OR rootstock = $3)
    AND ($4::text IS NULL OR size = $4)
    AND ($5::text IS NULL OR grade = $5)
    AND ($6::text IS NULL OR (cultivar, rootstock, size, grade, site) > ($6, $7::text, $8::text, $9::text, $10::text))
ORDER BY cultivar, rootstock, size, grade, site
LIMIT $11;
