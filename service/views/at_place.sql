-- name: standing
-- What stands at place $1 of site $2 by the book: lots and bags, by size, stage and grade.
SELECT b.kind, l.code AS lot, l.cultivar, l.rootstock, b.stage, b.size, b.grade, b.ref AS bag,
       b.balance AS count
FROM balances b JOIN lots l ON l.lot_id = b.lot_id
WHERE b.place = $1 AND b.site = $2 AND b.kind IN ('bag', 'liners', 'trees') AND b.balance > 0
ORDER BY b.kind DESC, l.code, b.ref, b.size, b.stage, b.grade;
