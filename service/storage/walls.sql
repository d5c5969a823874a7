-- name: begin
-- A transaction that sees one moment, and only rows of the sites (quoted text, with commas; * for
-- every site; empty for none) and of the principal who asks. Sent in one go: a message costs time.
BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY;
SET LOCAL graftlog.sites = {sites};
SET LOCAL graftlog.asker = {asker};

-- name: end
COMMIT;

-- name: give_up
ROLLBACK;

-- name: told_sites
-- What the transaction was told.
SELECT current_setting('graftlog.sites', true);

-- name: tell_sites
-- Until the end of the transaction, or until told otherwise.
SELECT set_config('graftlog.sites', $1, true);
