-- name: page
-- Rates by measure, site, crop, level. $1 factor; filters, null for any:
-- $2 measure, $3 sites (null: all, and all together), $4 crop. After: $5 measure (null: from the
-- start), $6 site, $7 crop, $8 level. At most $9 rows.
SELECT *
FROM take_rates
WHERE factor = $1
    AND ($2::text IS NULL OR measure = $2)
    AND ($3::text[] IS NULL OR site = ANY($3))
    AND ($4::text IS NULL OR crop = $4)
    AND ($5::text IS NULL OR (measure, site, crop, level) > ($5, $6::text, $7::text, $8::text))
ORDER BY measure, site, crop, level
LIMIT $9;
