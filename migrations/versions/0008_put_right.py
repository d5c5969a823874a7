"""Who put right or discarded what the log had refused."""

from migrations.plain import upgrade_with

revision, down_revision = "0008_put_right", "0007_records_in"
upgrade = upgrade_with(revision)
