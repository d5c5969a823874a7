-- name: page
-- What was learned, by crop, what, method, site, counting. $1 sites that may be seen (null: all); filters, null
-- for any: $2 crop, $3 what, $4 method, $5 site. After: $6 to $10. At most $11 rows.
SELECT *
FROM learned
WHERE ($1::text[] IS NULL OR site = '' OR site = ANY($1))
    AND ($2::text IS NULL OR crop = $2)
    AND ($3::text IS NULL OR what = $3)
    AND ($4::text IS NULL OR method = $4)
    AND ($5::text IS NULL OR site = $5)
    AND ($6::text IS NULL OR (crop, what, method, site, counting) > ($6, $7::text, $8::text, $9::text, $10::text))
ORDER BY crop, what, method, site, counting
LIMIT $11;
