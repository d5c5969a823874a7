"""Take, losses and push observations; views built beside the live ones."""

from migrations.plain import upgrade_with

revision, down_revision = "0004_take", "0003_views"
upgrade = upgrade_with(revision)
