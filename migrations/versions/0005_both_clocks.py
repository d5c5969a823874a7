"""What questions on both clocks need to be quick."""

from migrations.plain import upgrade_with

revision, down_revision = "0005_both_clocks", "0004_take"
upgrade = upgrade_with(revision)
