"""Runs a revision's SQL file as it stands."""

from collections.abc import Callable
from importlib.resources import files

from alembic import op
from sqlalchemy.util import await_only


def upgrade_with(revision: str) -> Callable[[], None]:
    """An ``upgrade`` that runs ``sql/REVISION.sql`` in the revision's own transaction.

    The file may hold any number of statements; role names are replaced by the configured ones.
    It waits for locks no longer than `service.storage.migrate.LOCK_TIMEOUT`.
    """

    def upgrade() -> None:
        text = files("migrations.sql").joinpath(f"{revision}.sql").read_text(encoding="utf-8")
        config = op.get_context().config
        assert config is not None, "revisions run through service.storage.migrate"
        text = config.attributes["roles"].rename(text)
        connection = op.get_bind()
        # Opens the transaction: the driver, asked directly below, would not know to.
        connection.exec_driver_sql("SELECT 1")
        driver = connection.connection.driver_connection
        assert driver is not None
        # No statement_timeout: a revision that moves much may take long, as long as nobody waits.
        await_only(
            driver.execute(f"SET LOCAL lock_timeout = '{config.attributes['lock_timeout']}'")
        )
        # Past SQLAlchemy, whose prepared statements take one statement at a time.
        await_only(driver.execute(text))

    return upgrade
