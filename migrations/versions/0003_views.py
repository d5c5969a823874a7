"""What people ask: tables computed from the log, and the alerts."""

from migrations.plain import upgrade_with

revision, down_revision = "0003_views", "0002_weather"
upgrade = upgrade_with(revision)
