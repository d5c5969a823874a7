"""A PostgreSQL server of our own, for one machine: nothing to install, nothing to configure.

``EmbeddedServer.start(folder)`` starts it on a folder, or shares the one that runs there already.
"""

from service.storage.embedded.errors import EmbeddedServerError
from service.storage.embedded.server import EmbeddedServer

__all__ = ["EmbeddedServer", "EmbeddedServerError"]
