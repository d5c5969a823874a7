"""The database's tables, as numbered revisions in plain SQL.

A new revision is a file ``sql/NNNN_name.sql`` and these lines in ``versions/NNNN_name.py``::

    from migrations.plain import upgrade_with

    revision, down_revision = "NNNN_name", "the one before"
    upgrade = upgrade_with(revision)
"""
