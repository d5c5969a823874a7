"""The fields of a form, read one by one as what an event says. A wrong one is told in words."""

import re
from collections.abc import Collection
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from service.board.forms import Form
from service.trade.accounts import UNGRADED
from service.trade.words import CODE_PATTERN, understand_occurred
from service.wording.words import Words, phrase

_CODE = re.compile(CODE_PATTERN)
_ENTRY = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
_REF = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:@-]{0,63}")
MOST = 1_000_000
SEPARATOR = ":"


class Amiss(Exception):
    """A field can't be understood. `text` is a marked phrase, `values` fill it."""

    def __init__(self, field: str, text: str, **values: object) -> None:
        super().__init__(text)
        self.field, self.text, self.values = field, text, values

    def in_words(self, words: Words) -> str:
        """What is amiss, for the person."""
        return words.gettext(self.text, **self.values)


class Row(msgspec.Struct, frozen=True):
    """What stands somewhere, as a form names it: `trees:L7:grafted:T120:first:T1`.

    `kind` is trees, liners or bag; the parts that do not apply are empty. `code` is the lot's, or
    the bag's.
    """

    kind: str
    code: str
    stage: str = ""
    size: str = ""
    grade: str = ""
    place: str = ""

    @property
    def text(self) -> str:
        """As a form's value."""
        parts = (self.kind, self.code, self.stage, self.size, self.grade, self.place)
        return SEPARATOR.join(parts).rstrip(SEPARATOR)

    def said(self, *names: str) -> dict[str, str]:
        """The named parts that are said, for an event's data.

        Ready trees without a grade say so: graded ones may stand beside them.
        """
        said = {name: value for name in names if (value := getattr(self, name))}
        if "grade" in names and self.stage == "ready":
            said.setdefault("grade", UNGRADED)
        return said


def row_of(text: str) -> Row | None:
    """A row from a form's value; a code alone is of trees. None for what is none."""
    parts = text.split(SEPARATOR)
    if len(parts) == 1:
        parts = ["trees", *parts]
    if len(parts) > 6 or parts[0] not in ("trees", "liners", "bag"):
        return None
    code = parts[1].strip().upper()
    return Row(parts[0], code, *parts[2:]) if _CODE.match(code) else None


class Fields:
    """Fields of a form; each reader raises Amiss with the field's name."""

    def __init__(self, form: Form) -> None:
        self.form = form

    def code(self, name: str, *, needed: bool = True) -> str | None:
        """A code, typed or scanned: capitals, no spaces."""
        text = re.sub(r"\s+", "", self.form[name]).upper()
        if not text:
            if needed:
                raise Amiss(name, phrase("Say which: a code is missing here."))
            return None
        if not _CODE.match(text):
            raise Amiss(
                name,
                phrase("A code has letters, digits, points and hyphens, at most 20."),
            )
        return text

    def needed_code(self, name: str) -> str:
        """A code that must be there."""
        code = self.code(name)
        assert code is not None, "asked for"
        return code

    def number(self, name: str, *, least: int = 0) -> int | None:
        """A whole number, None for an empty field."""
        text = re.sub(r"[\s\u00a0\u202f]", "", self.form[name])
        if not text:
            return None
        # int() would also take signs and underscores.
        if not text.isdecimal() or len(text) > 7 or not least <= int(text) <= MOST:
            raise Amiss(
                name,
                phrase("A whole number from %(least)s to %(most)s is wanted here."),
                least=least,
                most=MOST,
            )
        return int(text)

    def needed_number(self, name: str, *, least: int = 1) -> int:
        """A number that must be there."""
        found = self.number(name, least=least)
        if found is None:
            raise Amiss(name, phrase("Say how many."))
        return found

    def text(self, name: str, most: int = 500) -> str | None:
        """Free text, None for an empty field."""
        text = self.form[name]
        if len(text) > most:
            raise Amiss(name, phrase("At most %(most)s characters, please."), most=most)
        return text or None

    def choice(self, name: str, among: Collection[str], otherwise: str | None = None) -> str:
        """One of several words."""
        chosen = self.form.get(name) or otherwise
        if chosen not in among:
            raise Amiss(name, phrase("Choose one of these."))
        return str(chosen)

    def person(self, name: str, otherwise: str) -> str:
        """The reference of a person."""
        found = self.form.get(name) or otherwise
        if not _REF.fullmatch(found):
            raise Amiss(name, phrase("A person goes by a reference here, such as p-03."))
        return found

    def row(self, name: str = "row") -> Row:
        """What the form speaks of: `row`, or `lot` with `stage`, `size` and `grade`."""
        text = self.form.get(name)
        if text is None and name == "row" and self.form.get("lot"):
            said = (self.form[part] for part in ("lot", "stage", "size", "grade"))
            text = SEPARATOR.join(("trees", *said))
        if text is None:
            raise Amiss(name, phrase("Choose which of these."))
        found = row_of(text)
        if found is None:
            raise Amiss(name, phrase("Choose which of these."))
        return found

    def entry(self) -> str:
        """The entry's own id."""
        found = self.form["entry"].lower()
        if not _ENTRY.fullmatch(found):
            raise Amiss("entry", phrase("The page is incomplete: load it anew, please."))
        return found

    def occurred(self, zone: ZoneInfo) -> str:
        """When it happened: the day chosen by hand if it is another one, else the moment."""
        moment, day = self.form["occurred"], self.form.get("day")
        try:
            read = understand_occurred(moment, zone)
        except (ValueError, IndexError) as error:
            raise Amiss("occurred", phrase("The page is incomplete: load it anew, please.")) from (
                error
            )
        if day is None or day == read.day.isoformat():
            return moment
        try:
            understand_occurred(day[:10], zone)
        except ValueError as error:
            raise Amiss("day", phrase("That is no day of the calendar.")) from error
        return day[:10]


def event_data(**parts: Any) -> dict[str, Any]:
    """An event's data without what was not said."""
    return {name: value for name, value in parts.items() if value is not None}
