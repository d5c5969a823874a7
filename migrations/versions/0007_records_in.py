"""What was brought in from files."""

from migrations.plain import upgrade_with

revision, down_revision = "0007_records_in", "0006_work_orders"
upgrade = upgrade_with(revision)
