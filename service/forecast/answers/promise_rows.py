"""What is told of a promise: figures for programs, sentences for clerks and managers."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Annotated

import msgspec
from msgspec import Meta

from service.forecast.answers.promises import AtConfidence, Risk
from service.forecast.answers.telling import day_in_words, many
from service.trade.promising import sure

WORTH_SAYING = 0.01
"""Smaller risks are not put into words."""
NOT_FORETOLD = (
    "Nothing is foretold of it, or not for some days: only what is ready now and not held can be "
    "promised."
)
OWN_SITES_ONLY = (
    "Reservations for trees of any site, and stock of other sites, are not in this: the log looks "
    "at them when you reserve."
)


class OverrideHere(msgspec.Struct, frozen=True, kw_only=True):
    """Somebody's word that stands in place of the forecast on some days."""

    override: str
    site: Annotated[str | None, Meta(description="null: of all sites together.")]
    grade: Annotated[str | None, Meta(description="null: of any grade.")]
    quantity: Annotated[int, Meta(description="So many are there by their word.")]
    first: date
    last: date
    reason: str


class LearnedHere(msgspec.Struct, frozen=True, kw_only=True):
    """What was learned of the crop, and on how much it rests.

    `what`, as in `/v1/learned`: `push`, `push_from_forcing` and `ready` in degree-days (Cd) counted
    as `counting` says, `take`, `survival`, `never_pushes`, `unfit` as shares. `low` to `high` holds
    the true middle with 80 % probability; a single lot lies within `lot_low` to `lot_high` with
    80 %.
    """

    what: str
    middle: float
    low: float
    high: float
    lot_low: float
    lot_high: float
    trees: int
    lots: int
    counting: str
    fallback: Annotated[str | None, Meta(description="Where it borrows, and from whom.")]


class Basis(msgspec.Struct, frozen=True, kw_only=True):
    """What a promise rests on."""

    foretold_at: Annotated[datetime | None, Meta(description="null: nothing is foretold of it.")]
    position: Annotated[int, Meta(ge=0, description="The log's position that was foretold from.")]
    looks_to: Annotated[
        date | None, Meta(description="The last day told; later days count as that one.")
    ]
    trees: Annotated[int, Meta(description="Trees ready or still growing that can become it.")]
    lots: Annotated[int, Meta(description="Lots that they are in.")]
    learned: list[LearnedHere]


class PromiseRow(msgspec.Struct, frozen=True, kw_only=True):
    """How many of an item can be promised for a day: an estimate, and how wide it is.

    `words` say it in a sentence, `reasons` what it rests on; all else is for programs.
    `can_be_promised` is there on that day with the probability `confidence`, less what is promised
    already, and leaves what is promised for later days. A day between two that are told counts as
    the earlier one, a confidence between two as the surer one.
    """

    cultivar: str
    rootstock: str
    size: str
    grade: Annotated[str | None, Meta(description="null: of any grade.")]
    site: Annotated[str | None, Meta(description="null: of all sites together.")]
    day: date = msgspec.field(name="date")
    confidence: float
    sure: Annotated[str, Meta(examples=["8 in 10 sure"])]
    can_be_promised: int
    words: str
    quantity: Annotated[int | None, Meta(description="As asked.")]
    enough: Annotated[bool | None, Meta(description="Whether that many can be promised.")]
    earliest: Annotated[
        date | None, Meta(description="First day for all of it; null: none asked, or not in sight.")
    ]
    others: Annotated[list[AtConfidence], Meta(description="The same at other confidences.")]
    expected: Annotated[
        float,
        Meta(description="Expected on that day, promised ones too."),
    ]
    ready_now: Annotated[
        int, Meta(description="Ready today, not held, for anybody; promised or not.")
    ]
    held_now: Annotated[int, Meta(description="Ready and held today: in no promise.")]
    on_the_way: Annotated[
        int, Meta(description="Ready, on the way to the site: it may promise them.")
    ]
    growing: Annotated[
        int,
        Meta(
            description="Of the cultivar on the rootstock, for anybody, not ready: any size, held "
            "ones too."
        ),
    ]
    for_customers: Annotated[
        int, Meta(description="Beside all these, grown for a customer: in no promise.")
    ]
    promised_by: Annotated[int, Meta(description="Promised for that day and earlier ones.")]
    promised: Annotated[int, Meta(description="Promised for any day.")]
    risk: Risk
    override: Annotated[OverrideHere | None, Meta(description="In force on that day.")]
    basis: Basis
    reasons: list[str]


def answer_in_words(row: PromiseRow, *, even: int, surer: int) -> str:
    """The answer in sentences. `even`: as likely as not so many; `surer`: 9 in 10 sure."""
    where = f"at {row.site}" if row.site else "over all sites"
    grade = f", grade {row.grade}," if row.grade else ""
    what = f"{row.cultivar} on {row.rootstock}, {row.size}{grade}"
    begin = row.sure if row.override is None else "By somebody's word"
    many = f"{row.can_be_promised:,}" if row.can_be_promised else "None"
    said = [f"{begin}: {many} of {what} {where} can be promised for {day_in_words(row.day)}."]
    if row.quantity is not None and row.enough:
        said.append(f"That is enough for {row.quantity:,}.")
    elif row.quantity is not None and row.earliest is not None:
        day = day_in_words(row.earliest)
        late = row.earliest > row.day
        said.append(
            f"All {row.quantity:,} from {day} on."
            if late
            else f"All {row.quantity:,} can be promised for {day}, not for the day asked."
        )
    elif row.quantity is not None:
        said.append(f"{row.quantity:,} are not in sight.")
    if row.override is not None:
        said.append(f"This goes by that word, not by the forecast: {row.override.reason}.")
    else:
        wide = f"as likely as not {even:,}, {sure(0.9)} sure {surer:,}"
        said.append(f"It is an estimate, not a count: {wide}.")
    return " ".join(said)


def reasons(row: PromiseRow, *, limited: bool, behind: bool = False) -> list[str]:
    """What a manager asks next: what is there, what is promised, what it rests on, the risk.

    `behind`: the log has newer records than the forecast reflects.
    """
    apart = [
        f"{count:,} {what}"
        for count, what in (
            (row.on_the_way, "more are on the way"),
            (row.held_now, "more are ready and held"),
            (row.for_customers, "more, ready or growing, are grown for customers"),
        )
        if count
    ]
    there = f"{row.ready_now:,} are ready now and not held"
    grow = f"{row.growing:,} of the cultivar on the rootstock still grow, in any size"
    said = [f"{'; '.join([there, *apart, grow])}."]
    said.append(
        f"{row.promised_by:,} are promised for that day or earlier, {row.promised:,} in all."
    )
    said += _basis(row.basis, row.day)
    if behind:
        said.append(
            f"Foretold at {row.basis.foretold_at:%H:%M} UTC on {row.basis.foretold_at:%-d %B %Y}: "
            "what was lost, held or moved since is not in it yet; sales and reservations are."
        )
    if row.risk.probability >= WORTH_SAYING and row.risk.day is not None:
        said.append(risk_in_words(row.risk))
    if limited:
        said.append(OWN_SITES_ONLY)
    return said


def risk_in_words(risk: Risk) -> str:
    """The risk that what is promised already falls short, told of a hundred."""
    hundred = max(1, round(100 * risk.probability))
    assert risk.day is not None
    return (
        f"About {hundred} in 100 that the {risk.promised:,} promised by {day_in_words(risk.day)} "
        "will not all be there."
    )


def _basis(basis: Basis, day: date) -> list[str]:
    if basis.foretold_at is None:
        return [NOT_FORETOLD]
    said = [
        f"It rests on {many(basis.trees, 'tree')} in {many(basis.lots, 'lot')}"
        + "".join(_learned(basis.learned))
        + "."
    ]
    said += sorted({f"{_capital(one.fallback)}." for one in basis.learned if one.fallback})
    if basis.looks_to is not None and day > basis.looks_to:
        said.append(f"The forecast looks to {day_in_words(basis.looks_to)}; later counts as that.")
    return said


def _learned(learned: Sequence[LearnedHere]) -> list[str]:
    counted = [one for one in learned if one.trees]
    if not counted:
        return ["; nothing was counted of this crop here yet, so common figures stand in"]
    most = max(counted, key=lambda one: one.trees)
    return [
        f", and on what was counted of up to {many(most.trees, 'tree')} in {many(most.lots, 'lot')}"
    ]


def _capital(words: str | None) -> str:
    whole = (words or "").rstrip(".")
    return whole[:1].upper() + whole[1:]
