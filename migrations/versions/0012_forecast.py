"""What the statistical forecast says: learned, ready dates, supply, lead times."""

from migrations.plain import upgrade_with

revision, down_revision = "0012_forecast", "0011_growth"
upgrade = upgrade_with(revision)
