"""When a message that did not arrive is sent again, and when it is given up."""

from collections.abc import Callable
from datetime import datetime, timedelta

from service.webhooks.sending import Sent

# Standard Webhooks 1.0.0 proposes it: with the first attempt ten, over three days.
PAUSES = (
    timedelta(seconds=5),
    timedelta(minutes=5),
    timedelta(minutes=30),
    timedelta(hours=2),
    timedelta(hours=5),
    timedelta(hours=10),
    timedelta(hours=14),
    timedelta(hours=20),
    timedelta(hours=24),
)
# Of a pause, added at random: receivers that fell together are not all asked together.
JITTER = 0.1
LONGEST_ASKED = timedelta(hours=24)
# Nothing is put off for longer.
LONGEST = PAUSES[-1] * (1 + JITTER)


def next_attempt(
    failed: int, sent: Sent, now: datetime, chance: Callable[[], float]
) -> datetime | None:
    """When to try again after the `failed`-th failure; None when it is given up.

    `chance` gives a number from 0 to 1. What the receiver asked for by Retry-After is kept to, a
    day at most.
    """
    if sent.gone or failed > len(PAUSES):
        return None
    pause = PAUSES[failed - 1] * (1 + JITTER * chance())
    if sent.retry_after is not None:
        pause = max(pause, min(sent.retry_after, LONGEST_ASKED))
    return now + pause
