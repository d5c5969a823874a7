"""The morning round."""

from migrations.plain import upgrade_with

revision, down_revision = "0023_round", "0022_papers"
upgrade = upgrade_with(revision)
