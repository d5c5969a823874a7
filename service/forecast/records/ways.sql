-- name: rules
-- The nursery's own rules of counting degree-days by a moment ($1; null: now), by code.
SELECT entry
FROM (
    SELECT DISTINCT ON (entry ->> 'code') entry
    FROM (
        SELECT newest_data(type, version, data) -> 'entry' AS entry, position
        FROM events
        WHERE type = 'catalogue.changed' AND ($1::timestamptz IS NULL OR recorded_at <= $1)
    ) AS changes
    WHERE entry ->> 'kind' = 'rule'
    ORDER BY entry ->> 'code', position DESC
) AS in_force
WHERE entry -> 'degree_days' <> 'null' AND NOT (entry ->> 'retired')::boolean
ORDER BY entry ->> 'code';

-- name: crops
-- The crops that cultivars of the catalogue are of.
SELECT DISTINCT body ->> 'crop' AS crop FROM catalogue WHERE kind = 'cultivar' ORDER BY crop;
