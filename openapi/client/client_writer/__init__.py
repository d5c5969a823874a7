"""Writes the generated half of `graftlog_client` from the committed document.

It reads one file and writes two, needs no network, and says the same for the same document.
"""
