-- name: lots
-- Every tree lot that ever was, also those whose making was voided since; what they are as now known.
SELECT l.code, coalesce(c.body ->> 'crop', '') AS crop, coalesce(l.cultivar, '') AS cultivar,
       coalesce(l.rootstock, '') AS rootstock, coalesce(l.method, '') AS method, l.site, l.day,
       l.attempt::integer AS attempt, l.grown_for IS NOT NULL AS grown_for, l.identified,
       l.parents, l.ancestry
FROM lots l
LEFT JOIN catalogue c ON c.kind = 'cultivar' AND c.code = l.cultivar
WHERE l.kind = 'tree';

-- name: forced
-- Every event that told of forced tops.
SELECT newest_data(e.type, e.version, e.data) ->> 'lot' AS lot, e.position, e.occurred_day AS day,
       v.by_position AS voided_by
FROM events e
LEFT JOIN voids v ON v.voided_position = e.position
WHERE e.type = 'tops.forced';

-- name: voids
-- Every void: of which position, by which.
SELECT voided_position, by_position FROM voids;
