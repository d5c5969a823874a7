"""A typed client of graftlog: `async with Client(address, key) as graftlog: ...`."""

from graftlog_client import problem_kinds as problems
from graftlog_client import shapes
from graftlog_client.calling import Answer
from graftlog_client.client import Client
from graftlog_client.happened import Message, said
from graftlog_client.problem import Mistake, NotChanged, Problem
from graftlog_client.webhooks import NotGenuine, Receiver

__all__ = [
    "Answer",
    "Client",
    "Message",
    "Mistake",
    "NotChanged",
    "NotGenuine",
    "Problem",
    "Receiver",
    "problems",
    "said",
    "shapes",
]
