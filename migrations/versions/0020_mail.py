"""Mails that remind."""

from migrations.plain import upgrade_with

revision, down_revision = "0020_mail", "0019_people"
upgrade = upgrade_with(revision)
