"""Take and survival compared, adjusted for who got what."""

from migrations.plain import upgrade_with

revision, down_revision = "0014_take_rates", "0013_promises"
upgrade = upgrade_with(revision)
