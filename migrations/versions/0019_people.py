"""People who sign in and their devices."""

from migrations.plain import upgrade_with

revision, down_revision = "0019_people", "0018_quotas"
upgrade = upgrade_with(revision)
