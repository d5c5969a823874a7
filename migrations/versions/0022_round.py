"""The morning round."""

from migrations.plain import upgrade_with

revision, down_revision = "0022_round", "0021_calendars"
upgrade = upgrade_with(revision)
