"""Where "now" comes from: whatever needs it is handed a clock, so that tests can freeze it."""

from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], datetime]


def system_clock() -> datetime:
    """The system's time, aware, UTC."""
    return datetime.now(UTC)
