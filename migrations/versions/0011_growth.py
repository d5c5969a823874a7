"""What became of pushed trees, as a view."""

from migrations.plain import upgrade_with

revision, down_revision = "0011_growth", "0010_readings"
upgrade = upgrade_with(revision)
