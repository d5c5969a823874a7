"""Webhooks: what happened is told to addresses that asked for it, signed and in order."""
