"""What the pages ask by."""

from migrations.plain import upgrade_with

revision, down_revision = "0023_board_indexes", "0022_round"
upgrade = upgrade_with(revision)
