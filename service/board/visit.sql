-- name: sites
-- Sites in use, of $1 (null: all), by name.
SELECT code, body ->> 'name' AS name, body ->> 'time_zone' AS time_zone,
       coalesce(body ->> 'table_word', 'table') AS table_word
FROM catalogue
WHERE kind = 'site' AND ($1::text[] IS NULL OR code = ANY ($1))
  AND NOT coalesce((body ->> 'retired')::boolean, false)
ORDER BY 2, 1;
