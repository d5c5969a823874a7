"""Work orders: grafting to do, and how far it has come."""

from migrations.plain import upgrade_with

revision, down_revision = "0006_work_orders", "0005_both_clocks"
upgrade = upgrade_with(revision)
