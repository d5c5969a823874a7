"""Who is told what, and how far."""

from migrations.plain import upgrade_with

revision, down_revision = "0017_webhooks", "0016_sales"
upgrade = upgrade_with(revision)
