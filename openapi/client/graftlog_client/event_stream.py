"""Reads server-sent events (WHATWG HTML, section 9.2.6) from bytes as they arrive."""

import codecs
from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class Sent:
    """One event of a stream; `id` is the last one that the stream has named."""

    event: str
    data: str
    id: str


class Reader:
    """Takes a stream's bytes, however they are cut, and gives its events.

    `id` and `retry` (milliseconds) are what the stream has last said, for going on later.
    """

    def __init__(self, last_id: str = "") -> None:
        self.id = last_id
        self.retry: int | None = None
        self._text = codecs.getincrementaldecoder("utf-8-sig")("replace")
        self._rest, self._after_return = "", False
        self._event, self._data, self._next_id = "", list[str](), last_id

    def take(self, arrived: bytes) -> Iterator[Sent]:
        """The events that are whole with these bytes."""
        for line in self._lines(self._text.decode(arrived)):
            if line:
                self._field(line)
            else:
                yield from self._whole()

    def _lines(self, text: str) -> Iterator[str]:
        """Lines that are whole: they end with CR LF, LF or CR, and a cut may lie amid CR LF."""
        if self._after_return and text:
            text, self._after_return = text.removeprefix("\n"), False
        if text.endswith("\r"):
            self._after_return = True
        *whole, self._rest = (
            (self._rest + text).replace("\r\n", "\n").replace("\r", "\n").split("\n")
        )
        yield from whole

    def _field(self, line: str) -> None:
        name, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if name == "data":
            self._data.append(value)
        elif name == "event":
            self._event = value
        elif name == "id" and "\0" not in value:
            self._next_id = value
        elif name == "retry" and value.isascii() and value.isdecimal():
            self.retry = int(value)

    def _whole(self) -> Iterator[Sent]:
        # An event without data says where the stream stands, and is no event.
        self.id = self._next_id
        data, event = self._data, self._event
        self._data, self._event = [], ""
        if data:
            yield Sent(event or "message", "\n".join(data), self.id)
