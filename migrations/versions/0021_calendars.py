"""Calendar feeds."""

from migrations.plain import upgrade_with

revision, down_revision = "0021_calendars", "0020_mail"
upgrade = upgrade_with(revision)
