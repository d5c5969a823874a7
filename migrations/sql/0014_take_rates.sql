-- What could not be told at a push count no longer hides what was seen of the other grafts there.
UPDATE view_checkpoints SET outdated = true WHERE view = 'push_observations';
