"""Parts of lines: numbers of things, codes, places; and who tells of which type of event."""

from collections.abc import Callable, Iterable
from typing import Any

from service.wording.shown import Shown
from service.wording.words import Words

Data = dict[str, Any]
Teller = Callable[[Shown, Data], str]
TELLERS: dict[str, Teller] = {}


def tells(*kinds: str) -> Callable[[Teller], Teller]:
    """Of which types a function tells."""

    def keep(teller: Teller) -> Teller:
        TELLERS.update(dict.fromkeys(kinds, teller))
        return teller

    return keep


def total(lines: Iterable[Data], name: str) -> int:
    return sum(line.get(name) or 0 for line in lines)


def several(shown: Shown, codes: Iterable[str | None]) -> str:
    """Codes, each once, the first few of many."""
    found = list(dict.fromkeys(code for code in codes if code))
    if len(found) > 4:
        more = shown.words.ngettext("%(num)s more", "%(num)s more", len(found) - 3)
        return shown.listed([*found[:3], more])
    return shown.listed(found) if found else ""


def joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def some_trees(words: Words, count: int | None) -> str:
    """So many trees; all of them where no number was told."""
    if count is None:
        return words.gettext("all trees")
    return words.ngettext("%(num)s tree", "%(num)s trees", count)


def some_buds(words: Words, count: int | None) -> str:
    if count is None:
        return words.gettext("all buds")
    return words.ngettext("%(num)s bud", "%(num)s buds", count)


def on(words: Words, place: str | None) -> str:
    return words.gettext("on %(place)s", place=place) if place else ""


def note(data: Data) -> str:
    return f"“{data['note']}”" if data.get("note") else ""


def numbers(shown: Shown, *parts: tuple[str, int | None]) -> str:
    """Numbers by name, those that were told: 12 alive, 3 failed."""
    w = shown.words
    return joined(*(f"{shown.number(n)} {w.gettext(name)}" for name, n in parts if n is not None))
