-- name: forget
DELETE FROM growth WHERE lot = ANY ($1::text[]);

-- name: put
INSERT INTO growth SELECT * FROM jsonb_populate_recordset(NULL::growth, $1::jsonb);

-- name: page
-- Rows by lot. $1 sites or null; $2.. one or null: site, lot, cultivar, rootstock, method, outcome,
-- size, grade, first and last day of grafting; $12 and $13 the key of the last row of the page
-- before: lot, number; $14 limit.
SELECT g.*, c.body ->> 'crop' AS crop
FROM growth g
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = g.cultivar
WHERE ($1::text[] IS NULL OR g.site = ANY ($1))
  AND ($2::text IS NULL OR g.site = $2)
  AND ($3::text IS NULL OR g.lot = $3)
  AND ($4::text IS NULL OR g.cultivar = $4)
  AND ($5::text IS NULL OR g.rootstock = $5)
  AND ($6::text IS NULL OR g.method = $6)
  AND ($7::text IS NULL OR g.outcome = $7)
  AND ($8::text IS NULL OR g.size = $8)
  AND ($9::text IS NULL OR g.grade = $9)
  AND ($10::date IS NULL OR g.grafted_on >= $10)
  AND ($11::date IS NULL OR g.grafted_on <= $11)
  AND ($12::text IS NULL OR (g.lot, g.number) > ($12, $13::bigint))
ORDER BY g.lot, g.number
LIMIT $14;
