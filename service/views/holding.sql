-- name: holds
-- Holds in force on day $1.
SELECT code, kind, target, target_code, site, reason, from_day, position, lifted_day,
       lifted_position
FROM holds
WHERE from_day <= $1 AND (lifted_day IS NULL OR lifted_day > $1);

-- name: apart
-- Places where trees stand apart that came back: nobody is promised these.
SELECT code FROM catalogue WHERE kind = 'place' AND (body ->> 'for_returns')::boolean;
