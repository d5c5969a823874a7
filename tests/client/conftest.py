"""The service over real HTTP, as tests of its interface have it."""

from tests.api.conftest import appender, base_url, client_for

__all__ = ["appender", "base_url", "client_for"]
