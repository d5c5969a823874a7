-- The lots of an item are found for a sale that names no lot.
-- Run as graftlog_owner. Plain SQL for PostgreSQL 15 and newer.

-- Tens of thousands of rows at most, so built while others wait no longer than they would for a
-- sale; only grafting and receiving change what it speaks of.
-- squawk-ignore require-concurrent-index-creation
CREATE INDEX lots_item ON lots (cultivar, rootstock) WHERE kind = 'tree';
