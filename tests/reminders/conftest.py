"""People who read mail, and a server that takes it."""

from collections.abc import AsyncIterator

import pytest

from service.settings import Settings
from service.storage.pool import Database
from tests.support.mail_desk import Desk
from tests.support.mail_server import Postbox, mail_server


@pytest.fixture
async def box() -> AsyncIterator[Postbox]:
    """A mail server of this machine that takes everything."""
    made = Postbox()
    async with mail_server(made):
        yield made


@pytest.fixture
async def mail_desk(database: Database, settings: Settings, box: Postbox) -> Desk:
    """The nursery after its season; nobody reads mail yet."""
    return await Desk(database, settings, box).given()
