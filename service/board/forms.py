"""What a form sends: fields by name, as text."""

from collections.abc import Iterator
from urllib.parse import parse_qsl

from service.api.problems import Problem

FORM = "application/x-www-form-urlencoded"
MOST_FIELDS = 5000


class Form:
    """Fields of a form in the order sent; a field may come several times.

    Spaces around what was typed are dropped, and so are lines' ends of other systems.
    """

    def __init__(self, pairs: list[tuple[str, str]]) -> None:
        self.pairs = pairs
        self._values: dict[str, list[str]] = {}
        for name, value in pairs:
            self._values.setdefault(name, []).append(value)

    def __getitem__(self, name: str) -> str:
        """The field's value, empty when it was not sent."""
        return self.get(name) or ""

    def __contains__(self, name: str) -> bool:
        return name in self._values

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def get(self, name: str) -> str | None:
        """The last value of the field; None when it was not sent or is empty."""
        values = self._values.get(name)
        return (values[-1] or None) if values else None

    def all(self, name: str) -> list[str]:
        """Every value of the field."""
        return list(self._values.get(name, ()))


def understood(body: bytes) -> Form:
    """The form in a request's body. Raises a 400 problem for what is none."""
    try:
        return understood_text(body.decode("ascii"))
    except UnicodeDecodeError as error:
        raise Problem("malformed-request", "The form can't be read.") from error


def understood_text(text: str) -> Form:
    """The form in its coded text. Raises a 400 problem for what is none."""
    try:
        pairs = parse_qsl(
            text,
            keep_blank_values=True,
            errors="strict",
            max_num_fields=MOST_FIELDS,
        )
    except ValueError as error:
        raise Problem("malformed-request", "The form can't be read.") from error
    if any("\0" in value for _, value in pairs):
        raise Problem("malformed-request", "The form holds a character that is none.")
    return Form([(key, value.replace("\r\n", "\n").strip()) for key, value in pairs])
