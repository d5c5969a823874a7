-- name: names
-- What cultivars, rootstocks and sizes are called.
SELECT kind, code, coalesce(body ->> 'epithet', body ->> 'name', body ->> 'label', code) AS name
FROM catalogue
WHERE kind IN ('cultivar', 'rootstock', 'size');
