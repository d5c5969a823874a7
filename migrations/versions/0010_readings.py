"""Hourly readings of bench loggers, forecasts given for the days ahead."""

from migrations.plain import upgrade_with

revision, down_revision = "0010_readings", "0009_walls"
upgrade = upgrade_with(revision)
