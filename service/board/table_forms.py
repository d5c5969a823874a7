"""The forms at a table: what each is called, what it may speak of, what it begins with."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, NamedTuple

import msgspec

from service.board.recording import at_table
from service.board.recording.fields import Amiss, Row, row_of
from service.board.recording.refusals import Reason
from service.board.sent_form import SentForm, amiss_in_words
from service.board.there import There, row_at
from service.log.incoming import new_id, zone
from service.log.stored import StoredEvent
from service.wording.shown import Shown
from service.wording.trade_words import METHODS, STAGES, named
from service.wording.words import Words, phrase


class TableForm(NamedTuple):
    """A form at a table. `kinds` and `stages`: the rows that it may speak of.

    `whole`: it speaks of a lot there, whatever the stage (and size, where `sized`), not of a row.
    """

    name: str
    title: str
    maker: at_table.Maker
    kinds: tuple[str, ...] = ("trees",)
    stages: tuple[str, ...] = tuple(STAGES)
    whole: bool = False
    sized: bool = True


_LIVE = ("grafted", "pushed", "failed")
FORMS = {
    form.name: form
    for form in (
        TableForm(
            "push-count", phrase("push count"), at_table.push_count, stages=_LIVE, whole=True
        ),
        TableForm("looked", phrase("looked, nothing to note"), at_table.looked, ()),
        TableForm("loss", phrase("loss"), at_table.loss, ("trees", "liners")),
        TableForm("unwrap", phrase("unwrap"), at_table.unwrap, stages=("grafted",), whole=True),
        TableForm("forcing", phrase("forcing"), at_table.forcing, whole=True, sized=False),
        TableForm("tops-off", phrase("tops off"), at_table.tops_off, whole=True, sized=False),
        TableForm("move", phrase("move"), at_table.move, ("trees", "liners")),
        TableForm(
            "wrap", phrase("wrap"), at_table.wrap, stages=("grafted",), whole=True, sized=False
        ),
        TableForm("graft", phrase("graft"), at_table.graft, ("liners",)),
        TableForm("regraft", phrase("graft again"), at_table.regraft, stages=("failed", "grafted")),
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
}


class Choice(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that a form may speak of. `stands` and `failed`: of a push count."""

    value: str
    code: str
    words: str
    count: int
    stands: int = 0
    failed: int = 0


def choices(form: TableForm, there: There, shown: Shown) -> list[Choice]:
    """What of the table the form may speak of."""
    found: dict[str, Choice] = {}
    for row in there.rows:
        if row.kind not in form.kinds or (row.kind == "trees" and row.stage not in form.stages):
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


class Filled(SentForm, kw_only=True):
    """A form at a table on its way to the page. `chosen`: the value of the one choice made."""

    form: TableForm
    choices: list[Choice]
    chosen: str | None
    entry: str
    occurred: str
    today: date

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
    found = choices(form, there, shown)
    moment = now.astimezone(zone(there.site.time_zone)).isoformat(timespec="seconds")
    return Filled(
        form=form,
        choices=found,
        chosen=chosen(values, found),
        values=values,
        entry=values.get("entry") or new_id(int(now.timestamp() * 1000)),
        occurred=values.get("occurred") or moment,
        today=there.site.today,
        amiss=amiss_in_words(amiss, shown.words),
        reasons=reasons or [],
    )


def last_said(events: list[StoredEvent], kind: str, read: Callable[[dict[str, Any]], Any]) -> Any:
    """What the newest of the events of a type says, so that nobody types it twice."""
    for event in events:
        if event.type == kind and event.voided_by is None:
            return read(event.data)
    return None


def methods(words: Words) -> list[tuple[str, str]]:
    """Every method, for a list to choose from."""
    return [(name, words.gettext(text)) for name, text in METHODS.items()]
