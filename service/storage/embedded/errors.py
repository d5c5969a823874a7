"""The one error of the embedded server."""


class EmbeddedServerError(Exception):
    """The embedded database cannot run; the message says why and what would help."""
