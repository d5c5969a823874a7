"""The log, the writer's books, keys, and the bookkeeping of views and jobs."""

from migrations.plain import upgrade_with

revision, down_revision = "0001_ledger", None
upgrade = upgrade_with(revision)
