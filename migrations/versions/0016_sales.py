"""Sales as shops ask for them."""

from migrations.plain import upgrade_with

revision, down_revision = "0016_sales", "0015_reservations"
upgrade = upgrade_with(revision)
