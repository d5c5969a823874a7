"""Quotas that hold over all processes."""

from migrations.plain import upgrade_with

revision, down_revision = "0018_quotas", "0017_webhooks"
upgrade = upgrade_with(revision)
