"""What tags say of places, lots and bags, and papers of what was sold, in a person's language."""

from datetime import date
from typing import Any

from service.tags.drawing import Line, Tag
from service.trade.events.papers import AsPrinted
from service.trade.tagged import BagTold, LotTold, PlaceTold, Told
from service.wording.shown import Shown
from service.wording.trade_words import METHODS, named
from service.wording.words import phrase

_DONE = {
    "tree": phrase("grafted %(day)s"),
    "budwood": phrase("cut %(day)s"),
    "liner": phrase("received %(day)s"),
}


def tag_of(told: Told, base: str, shown: Shown) -> Tag:
    """The tag of a place, lot or bag; its code leads to its page under `base`."""
    lines = {PlaceTold: _place, LotTold: _lot, BagTold: _bag}[type(told)](told, shown)
    return Tag(code=told.code, address=address_of(base, told.code), lines=lines)


def address_of(base: str, code: str) -> str:
    """What a tag's code to scan says: the page of the thing. Codes need no escaping."""
    return f"{base.rstrip('/')}/t/{code}"


def _place(told: Any, shown: Shown) -> list[Line]:
    words = shown.words
    kinds = {
        "table": words.pgettext("place", "Table"),
        "bench": words.pgettext("place", "Bench"),
        "row": words.pgettext("place", "Row"),
        "bed": words.pgettext("place", "Bed"),
        "box": words.pgettext("place", "Box"),
        "cooler": words.pgettext("place", "Cooler"),
    }
    kind = told.table_word if told.place_kind == "table" else told.place_kind
    return [
        Line(told.structure, 1.15, "bold"),
        Line(kinds[kind]),
        Line(told.site_name),
    ]


def _lot(told: Any, shown: Shown) -> list[Line]:
    words = shown.words
    lines = _named(told)
    if told.rootstock and told.kind == "liner":
        lines.append(Line(told.rootstock, 1.25, "bold"))
    elif told.rootstock:
        lines.append(_on(told.rootstock, shown))
    if told.day is not None:
        lines.append(Line(words.gettext(_DONE[told.kind], day=shown.day(told.day))))
    if told.method:
        method = named(words, told.method, METHODS)
        if told.attempt > 1:
            method = words.gettext(
                "%(method)s, attempt %(number)s", method=method, number=told.attempt
            )
        lines.append(Line(method))
    return [*lines, *_source(told.source, shown), *_protected(told.protected, shown)]


def _bag(told: Any, shown: Shown) -> list[Line]:
    words = shown.words
    lines = _named(told)
    if told.cut_on is not None:
        lines.append(Line(words.gettext(_DONE["budwood"], day=shown.day(told.cut_on))))
    lines += _source(told.source, shown)
    buds = words.ngettext("%(num)s bud", "%(num)s buds", told.buds)
    how = {
        "counted": words.pgettext("buds", "counted"),
        "estimated": words.pgettext("buds", "estimated"),
        "at_least": words.pgettext("buds", "at least"),
    }
    lines.append(Line(f"{buds} ({how[told.basis]})"))
    lines.append(Line(words.gettext("lot %(lot)s", lot=told.lot)))
    if told.use_by is not None:
        lines.append(Line(words.gettext("use by %(day)s", day=shown.day(told.use_by))))
    return lines + _protected(told.protected, shown)


def _on(rootstock: str, shown: Shown) -> Line:
    return Line(shown.words.gettext("on %(rootstock)s", rootstock=rootstock))


def _named(told: Any) -> list[Line]:
    if not told.epithet:
        return []
    return [Line(_epithet(told.epithet, told.clone), 1.25, "bold")]


def _epithet(epithet: str, clone: str | None) -> str:
    """In single quotes, as ICNCP has cultivars; the clone stands after it."""
    return f"‘{epithet}’ {clone}" if clone else f"‘{epithet}’"


def _source(tree: str | None, shown: Shown) -> list[Line]:
    return [Line(shown.words.gettext("source tree %(tree)s", tree=tree))] if tree else []


def _protected(protected: bool, shown: Shown) -> list[Line]:
    if not protected:
        return []
    return [Line(shown.words.gettext("Protected: licence needed"), 0.85)]


# -- papers ------------------------------------------------------------------------------------


def papers_of(
    paper: str, said: AsPrinted, *, count: int, number: str, base: str, shown: Shown
) -> list[Tag]:
    """Tags of one printing, each with its running number, so that a copy shows itself.

    `number`: of the printing. What was recorded when it was printed is what they say.
    """
    maker = {"plant_passport": _passport, "certified_tag": _certified}.get(paper, _sale)
    return [maker(said, f"{number} · {nth}/{count}", base, shown) for nth in range(1, count + 1)]


def _passport(said: AsPrinted, foot: str, base: str, shown: Shown) -> Tag:
    """Parts A to D, each after its letter; nothing else within the frame but the number."""
    lines = [
        Line(f"A  {said.botanical_name or ''}", 1.0, "italic"),
        Line(f"B  {said.registration or ''}"),
        Line(f"C  {said.traceability}"),
        Line(f"D  {said.origin or ''}"),
    ]
    return Tag(
        code="",
        address=address_of(base, said.traceability),
        lines=lines,
        foot=foot,
        head=said.title,
        union_flag=said.union_flag,
        framed=True,
        official=True,
    )


def _certified(said: AsPrinted, foot: str, base: str, shown: Shown) -> Tag:
    words = shown.words
    lines = _goods(said, shown)
    if said.source_tree:
        registered = f" ({said.source_registration})" if said.source_registration else ""
        lines += _source(said.source_tree + registered, shown)
    number = said.certificate or said.registration or ""
    lines.append(Line(words.gettext("certificate %(number)s", number=number)))
    return Tag(
        code=said.traceability,
        address=address_of(base, said.traceability),
        lines=lines,
        foot=foot,
        head=said.statement,
        framed=True,
        official=True,
    )


def _sale(said: AsPrinted, foot: str, base: str, shown: Shown) -> Tag:
    lines = _goods(said, shown)
    if said.licence_terms:
        lines.append(Line(said.licence_terms, 0.85))
    return Tag(
        code=said.traceability,
        address=address_of(base, said.traceability),
        lines=lines,
        foot=foot,
    )


def _goods(said: AsPrinted, shown: Shown) -> list[Line]:
    """What a buyer asks: what it is, on what, how large, of when, and whether it is protected."""
    words = shown.words
    lines = [Line(_epithet(said.epithet, said.clone), 1.25, "bold")] if said.epithet else []
    if said.botanical_name:
        lines.append(Line(said.botanical_name, 1.0, "italic"))
    on = _on(said.rootstock, shown).text if said.rootstock else None
    if on or said.size:
        lines.append(Line(" · ".join(part for part in (on, said.size) if part)))
    if said.propagated:
        month = shown.month(date.fromisoformat(f"{said.propagated}-01"))
        lines.append(Line(words.gettext("propagated %(month)s", month=month)))
    return lines + _protected(said.protected, shown)
