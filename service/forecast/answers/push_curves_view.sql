-- name: page
-- Curves by crop, method, since, counting. Filters, null for any: $1 crop, $2 method, $3 since.
-- After: $4 to $7. At most $8 rows.
SELECT *
FROM push_curves
WHERE ($1::text IS NULL OR crop = $1)
    AND ($2::text IS NULL OR method = $2)
    AND ($3::text IS NULL OR since = $3)
    AND ($4::text IS NULL OR (crop, method, since, counting) > ($4, $5::text, $6::text, $7::text))
ORDER BY crop, method, since, counting
LIMIT $8;
