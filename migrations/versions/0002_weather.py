"""Daily temperatures per site, in versions, and the ready dates worked out from them."""

from migrations.plain import upgrade_with

revision, down_revision = "0002_weather", "0001_ledger"
upgrade = upgrade_with(revision)
