"""The forms at a table: what each is called, what it may speak of, what it begins with."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, NamedTuple

import msgspec

from service.board.happenings.other import WORK
from service.board.recording import at_table, growing
from service.board.recording.fields import Amiss, Row, row_of
from service.board.recording.refusals import Reason
from service.board.sent_form import SentForm, amiss_in_words
from service.board.there import HoldSeen, There, row_at
from service.log.incoming import new_id, zone
from service.log.stored import StoredEvent
from service.trade.holds import BLOCKS, DISCARD, MOVE, USE
from service.wording.shown import Shown
from service.wording.trade_words import METHODS, STAGES, named
from service.wording.words import Words, phrase


class TableForm(NamedTuple):
    """A form at a table. `kinds` and `stages`: the rows that it may speak of.

    `whole`: it speaks of a lot there, whatever the stage (and size, where `sized`), not of a row.
    `action`: what a hold may block of it; see service.trade.holds.
    """

    name: str
    title: str
    maker: at_table.Maker
    kinds: tuple[str, ...] = ("trees",)
    stages: tuple[str, ...] = tuple(STAGES)
    whole: bool = False
    sized: bool = True
    action: str | None = None


_LIVE = ("grafted", "pushed", "failed")
_PLANTS = ("trees", "liners")
FORMS = {
    form.name: form
    for form in (
        TableForm(
            "push-count", phrase("push count"), at_table.push_count, stages=_LIVE, whole=True
        ),
        TableForm("looked", phrase("looked, nothing to note"), at_table.looked, ()),
        TableForm("loss", phrase("loss"), at_table.loss, _PLANTS),
        TableForm("unwrap", phrase("unwrap"), at_table.unwrap, stages=("grafted",), whole=True),
        TableForm(
            "forcing",
            phrase("forcing"),
            at_table.forcing,
            _PLANTS,
            stages=_LIVE,
            whole=True,
            sized=False,
        ),
        TableForm(
            "tops-off",
            phrase("tops off"),
            at_table.tops_off,
            _PLANTS,
            stages=_LIVE,
            whole=True,
            sized=False,
        ),
        TableForm("move", phrase("move"), at_table.move, _PLANTS, action=MOVE),
        TableForm(
            "wrap", phrase("wrap"), at_table.wrap, stages=("grafted",), whole=True, sized=False
        ),
        TableForm("graft", phrase("graft"), at_table.graft, ("liners",), action=USE),
        TableForm(
            "regraft",
            phrase("graft again"),
            at_table.regraft,
            stages=("failed", "grafted"),
            action=USE,
        ),
        TableForm("grade", phrase("grading"), growing.grade, stages=("pushed", "ready")),
        TableForm("potted", phrase("potting on"), growing.potted, _PLANTS, action=MOVE),
        TableForm("work", phrase("work"), growing.work, _PLANTS, whole=True, sized=False),
        TableForm(
            "stock-count", phrase("stock count"), at_table.stock_count, ("trees", "liners", "bag")
        ),
    )
}
# The form that does a check, by the check's name.
FORM_OF_CHECK = {
    "read_take": "unwrap",
    "force": "forcing",
    "push_walk": "push-count",
    "tops_off": "tops-off",
    "look": "looked",
    "grade": "grade",
    **dict.fromkeys(WORK, "work"),
}


def blocked_by(form: TableForm, holds: list[HoldSeen]) -> list[HoldSeen]:
    """Those of the holds that block what the form tells."""
    return [hold for hold in holds if form.action in BLOCKS[hold.kind]]


def forms_for(kind: str, stages: set[str], holds: list[HoldSeen]) -> list[str]:
    """The forms that make sense for a lot in these stages, the commonest first."""
    if kind == "liners":
        names = ["loss", "move", "graft", "potted", "forcing", "tops-off", "work"]
    else:
        names = ["push-count"] if stages & set(_LIVE) else []
        names += ["unwrap"] if "grafted" in stages else []
        names += ["grade"] if stages & {"pushed", "ready"} else []
        names += ["loss", "move"]
        names += ["forcing", "tops-off"] if stages & set(_LIVE) else []
        names += ["wrap"] if "grafted" in stages else []
        names += ["regraft"] if "failed" in stages else []
        names += ["potted", "work"]
    return [name for name in names if not blocked_by(FORMS[name], holds)]


class Choice(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that a form may speak of. `stands` and `failed`: of a push count."""

    value: str
    code: str
    words: str
    count: int
    stands: int = 0
    failed: int = 0


def choices(form: TableForm, there: There, shown: Shown, lot: str | None = None) -> list[Choice]:
    """What of the table the form may speak of: of what a hold keeps from it, only `lot`."""
    found: dict[str, Choice] = {}
    for row in there.rows:
        if row.kind not in form.kinds or (row.kind == "trees" and row.stage not in form.stages):
            continue
        if row.lot != lot and blocked_by(form, there.holding(row.lot)):
            continue
        named_row = row_at(row, there.place.code)
        if form.whole:
            named_row = Row(row.kind, row.lot, size=row.size if form.sized else "")
        key = named_row.text
        before = found.get(key)
        found[key] = Choice(
            value=key,
            code=named_row.code,
            words=_row_words(named_row, there, shown.words),
            count=row.count + (before.count if before else 0),
            stands=(row.count if row.stage in ("grafted", "pushed") else 0)
            + (before.stands if before else 0),
            failed=(row.count if row.stage == "failed" else 0) + (before.failed if before else 0),
        )
    return list(found.values())


def _row_words(row: Row, there: There, words: Words) -> str:
    """Cultivar, stage, size and grade of a row."""
    lot = there.lots.get(row.code)
    what = (lot.named or lot.stock_named) if lot else None
    parts = (what, named(words, row.stage, STAGES), row.size, row.grade)
    return " · ".join(part for part in parts if part)


def chosen(asked: Mapping[str, str], found: list[Choice]) -> str | None:
    """The one choice that what was asked for fits, if exactly one does."""
    if asked.get("row"):
        row = row_of(asked["row"])
        values = [one.value for one in found if row and one.value == row.text]
        if values:
            return values[0]
    lot = (asked.get("lot") or "").upper()
    fits = []
    for one in found:
        row = row_of(one.value)
        assert row is not None, "made here"
        parts = ((row.stage, "stage"), (row.size, "size"), (row.grade, "grade"))
        if (not lot or row.code == lot) and all(
            not has or not asked.get(name) or asked[name] == has for has, name in parts
        ):
            fits.append(one.value)
    return fits[0] if len(fits) == 1 else None


MOST_CHOICES = 60
"""Of a table of very many lots the others are named by their code: a page is carried by radio."""


def worth_naming(found: list[Choice], there: There, named: set[str]) -> list[Choice]:
    """Those that a form names: all, or those of the lots that were named and the newest lots'."""
    if len(found) <= MOST_CHOICES:
        return found

    def order(one: Choice) -> tuple[bool, int]:
        lot = there.lots.get(one.code)
        day = lot.day if lot else None
        return one.code not in named, -day.toordinal() if day else 0

    return sorted(found, key=order)[:MOST_CHOICES]


class Filled(SentForm, kw_only=True):
    """A form at a table on its way to the page. `chosen`: the value of the one choice made.

    `unnamed`: how many more it could speak of.

    `holds`: on what was chosen, and those that keep what stands there from this form.
    """

    form: TableForm
    choices: list[Choice]
    unnamed: int
    chosen: str | None
    entry: str
    occurred: str
    today: date
    holds: list[HoldSeen]

    @property
    def may_discard(self) -> bool:
        """Whether plants may be thrown away alive."""
        return not any(DISCARD in BLOCKS[hold.kind] for hold in self.holds)

    @property
    def only(self) -> Choice | None:
        """The choice that was made beforehand."""
        return next((one for one in self.choices if one.value == self.chosen), None)


def filled(
    form: TableForm,
    there: There,
    shown: Shown,
    now: Any,
    values: Mapping[str, str],
    *,
    amiss: Amiss | None = None,
    reasons: list[Reason] | None = None,
) -> Filled:
    """The form as the page shows it; an entry that was sent keeps its id and its moment."""
    row = row_of(values["row"]) if values.get("row") else None
    lot = row.code if row else (values.get("lot") or "").upper()
    found = choices(form, there, shown, lot)
    moment = now.astimezone(zone(there.site.time_zone)).isoformat(timespec="seconds")
    picked = chosen(values, found)
    stocks = row_of(values.get("onto") or values.get("liners") or "")
    choices_named = worth_naming(found, there, {lot, stocks.code if stocks else ""})
    return Filled(
        form=form,
        choices=choices_named,
        unnamed=len(found) - len(choices_named),
        chosen=picked,
        holds=_holds(form, there, picked, lot),
        values=values,
        entry=values.get("entry") or new_id(int(now.timestamp() * 1000)),
        occurred=values.get("occurred") or moment,
        today=there.site.today,
        amiss=amiss_in_words(amiss, shown.words),
        reasons=reasons or [],
    )


def _holds(form: TableForm, there: There, picked: str | None, named: str) -> list[HoldSeen]:
    """Holds on the lot picked or named, and on what else the form could speak of, each once."""
    row = row_of(picked) if picked else None
    code = row.code if row else named
    found = there.holding(code) if code else []
    for lot in dict.fromkeys(one.lot for one in there.rows if one.kind in form.kinds):
        found = [*found, *blocked_by(form, there.holding(lot))]
    return list({hold.code: hold for hold in found}.values())


def last_said(events: list[StoredEvent], kind: str, read: Callable[[dict[str, Any]], Any]) -> Any:
    """What the newest of the events of a type says, so that nobody types it twice."""
    for event in events:
        if event.type == kind and event.voided_by is None:
            return read(event.data)
    return None


def methods(words: Words) -> list[tuple[str, str]]:
    """Every method, for a list to choose from."""
    return [(name, words.gettext(text)) for name, text in METHODS.items()]
