"""Row-level security, and details of people and customers that can be erased."""

from migrations.plain import upgrade_with

revision, down_revision = "0009_walls", "0008_put_right"
upgrade = upgrade_with(revision)
