"""What went out of each item, overrides of promises, promises kept by the writer."""

from migrations.plain import upgrade_with

revision, down_revision = "0013_promises", "0012_forecast"
upgrade = upgrade_with(revision)
