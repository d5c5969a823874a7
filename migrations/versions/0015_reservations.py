"""Reservations that are confirmed, expire, and carry an order."""

from migrations.plain import upgrade_with

revision, down_revision = "0015_reservations", "0014_take_rates"
upgrade = upgrade_with(revision)
