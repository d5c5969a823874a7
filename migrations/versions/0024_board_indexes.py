"""What the pages ask by."""

from migrations.plain import upgrade_with

revision, down_revision = "0024_board_indexes", "0023_round"
upgrade = upgrade_with(revision)
