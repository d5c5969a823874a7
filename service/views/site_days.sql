-- name: zones
-- Every site with its IANA time zone.
SELECT code, body ->> 'time_zone' AS time_zone FROM catalogue WHERE kind = 'site' ORDER BY code;
