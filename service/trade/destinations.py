"""Whether goods may be sent somewhere, by the rules that the nursery wrote down. Never advice.

Rules are data with a source and the day they are of. Where no rule speaks, or one speaks of a part
of where the goods go, the answer is to ask who answers for plant health there.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Annotated, NamedTuple

import msgspec
from msgspec import Meta

from service.trade.entries import Catalogue
from service.trade.events.catalogue import (
    Cultivar,
    DestinationRule,
    Entry,
    Rule,
    SendingAnswer,
)

ASK: SendingAnswer = "ask_authority"
_CAREFUL: dict[str, int] = {"allowed": 0, "ask_authority": 1, "not_allowed": 2}
NO_RULE = "No rule speaks of this: ask who answers for plant health there."


class Goods(NamedTuple):
    """What is to be sent. None: not known which; `rootstock` None of buds: there is none."""

    site: str | None
    cultivar: Cultivar | None
    rootstock: str | None
    buds: bool = False


class Sending(msgspec.Struct, frozen=True, kw_only=True):
    """What the rules say of sending goods somewhere. No advice: the source decides, not this."""

    answer: SendingAnswer
    words: Annotated[str, Meta(description="The answer in a sentence.")]
    rule: Annotated[str | None, Meta(description="The rule that says so; null: none speaks.")]
    title: str | None = None
    source: str | None = None
    as_of: Annotated[date | None, Meta(description="As of when the rule is told.")] = None


UNKNOWN = Sending(answer=ASK, words=NO_RULE, rule=None)


class Speaking(NamedTuple):
    """A rule in force that says what may be sent where."""

    rule: Rule
    told: DestinationRule
    as_of: date


def speaking(entries: Iterable[Entry], day: date) -> list[Speaking]:
    """The rules among the entries that say on `day` what may be sent where, by code."""
    found = [
        Speaking(entry, entry.destination, date.fromisoformat(entry.as_of[:10]))
        for entry in entries
        if isinstance(entry, Rule) and entry.destination is not None and not entry.retired
    ]
    # One that is told of a day to come is not in force yet.
    return sorted((one for one in found if one.as_of <= day), key=lambda one: one.rule.code)


def may_send(rules: Iterable[Speaking], goods: Goods, regions: Sequence[str]) -> Sending:
    """What the rules say of sending `goods` to a place that lies in all of `regions`.

    Of the rules that fit, one that speaks of less goes before one that speaks of more; of those
    left the most careful counts. A rule that may fit, for it speaks of a part of the regions or of
    what is not known of the goods, makes an answer more careful, never less.
    """
    fits: list[Speaking] = []
    may_fit: list[Speaking] = []
    for one in rules:
        sure = _fit(one.told, goods, regions)
        if sure is not None:
            (fits if sure else may_fit).append(one)
    left = [one for one in fits if not any(_narrower(other.told, one.told) for other in fits)]
    decides = max(left, key=lambda one: _CAREFUL[one.told.answer], default=None)
    doubt = max(may_fit, key=lambda one: _CAREFUL[one.told.answer], default=None)
    forbids = doubt is not None and doubt.told.answer != "allowed"
    if forbids and (decides is None or decides.told.answer == "allowed"):
        assert doubt is not None
        return _told(doubt, ASK, "may apply, but not all is known")
    return _told(decides, decides.told.answer) if decides else UNKNOWN


def sending(
    catalogue: Catalogue,
    day: date,
    regions: Sequence[str],
    *,
    site: str | None,
    cultivar: str | None,
    rootstock: str | None = None,
    buds: bool = False,
) -> Sending:
    """`may_send` by the catalogue's rules, of goods named by their codes."""
    entry = catalogue.entries.get(("cultivar", cultivar or ""), (None, 0))[0]
    known = entry if isinstance(entry, Cultivar) else None
    rules = speaking((one for one, _ in catalogue.entries.values()), day)
    return may_send(rules, Goods(site, known, rootstock, buds), regions)


def _fit(told: DestinationRule, goods: Goods, regions: Sequence[str]) -> bool | None:
    """Whether a rule speaks of it: True, False when it may (not all is known), None when not."""
    checks = [
        _region_fits(told.region, regions),
        _one_fits(told.sites, goods.site),
        told.goods in (None, "buds" if goods.buds else "trees") or None,
    ]
    of = goods.cultivar
    checks += [
        _one_fits([said.casefold()] if said else [], its.casefold() if its else None)
        for said, its in (
            (told.crop, of.crop if of else None),
            (told.species, of.species if of else None),
            (told.cultivar, of.code if of else None),
        )
    ]
    if told.rootstock is not None:
        checks.append(None if goods.buds else _one_fits([told.rootstock], goods.rootstock))
    if None in checks:
        return None
    return all(checks)


def _one_fits(said: Sequence[str], its: str | None) -> bool | None:
    if not said:
        return True
    if its is None:
        return False
    return its in said or None


def _region_fits(said: str, regions: Sequence[str]) -> bool | None:
    if any(_lies_in(one, said) for one in regions):
        return True
    # Of a country it is not known in which of its parts.
    return False if any(_lies_in(said, one) for one in regions) else None


def _lies_in(region: str, other: str) -> bool:
    """Whether a region is another or a part of it: ISO 3166-2 begins with the country's code."""
    return region == other or (len(other) == 2 and region.startswith(f"{other}-"))


def _narrower(one: DestinationRule, other: DestinationRule) -> bool:
    """Whether a rule speaks of a part of what another speaks of, and of less than that."""
    return _within(one, other) and not _within(other, one)


def _within(one: DestinationRule, other: DestinationRule) -> bool:
    return (
        _lies_in(one.region, other.region)
        and (not other.sites or (bool(one.sites) and set(one.sites) <= set(other.sites)))
        and (other.goods in (None, one.goods) or (other.goods == "trees" and bool(one.rootstock)))
        and other.rootstock in (None, one.rootstock)
        and _what_within(one, other)
    )


def _what_within(one: DestinationRule, other: DestinationRule) -> bool:
    """A cultivar is of one species and of one crop, so it lies in what names these; both fit the
    goods, so nothing that is said by both differs."""
    if other.cultivar is not None:
        return one.cultivar is not None
    if other.species is not None:
        return bool(one.cultivar or one.species)
    return other.crop is None or bool(one.cultivar or one.species or one.crop)


def _told(one: Speaking, answer: SendingAnswer, but: str = "") -> Sending:
    rule, said = one.rule, answer.replace("_", " ").replace("ask", "ask the", 1)
    why = f"rule {rule.code} {but}" if but else f"rule {rule.code}"
    return Sending(
        answer=answer,
        words=f"{said[:1].upper()}{said[1:]}: {why} ({rule.title}; {rule.source}, {one.as_of}).",
        rule=rule.code,
        title=rule.title,
        source=rule.source,
        as_of=one.as_of,
    )


def said_of(what: str, destination: Sequence[str], told: Sending) -> str:
    """What is told of sending something to a destination, in a sentence."""
    return f"{what} to {', '.join(dict.fromkeys(destination))}: {told.words}"
