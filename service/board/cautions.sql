-- name: authority
-- Whom to call at a site about a pest that must be reported.
SELECT body -> 'plant_health' AS plant_health FROM catalogue WHERE kind = 'site' AND code = $1;

-- name: houses
-- Each house of a site with its places that are in use.
SELECT body ->> 'structure' AS structure, array_agg(code ORDER BY code) AS places
FROM catalogue
WHERE kind = 'place' AND site = $1 AND NOT coalesce((body ->> 'retired')::boolean, false)
GROUP BY 1 ORDER BY 1;

-- name: protected
-- Cultivars that somebody else holds the rights of.
SELECT code, coalesce(body ->> 'epithet', code) AS name, body ->> 'licence_holder' AS holder,
       body ->> 'licence_terms' AS terms
FROM catalogue
WHERE kind = 'cultivar' AND body ->> 'licence_holder' IS NOT NULL
ORDER BY 2, 1 LIMIT 200;
