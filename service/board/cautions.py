"""Cautions: what can hurt people or plants, and two forms that keep both from harm.

Usual caution, with its sources; the label, local rules and the nursery's own first-aider lead.
Nothing here ever says that something is safe, and no hold on plant health is lifted here.
"""

from functools import partial
from typing import Any

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.board.asking import Asked as Query
from service.board.asking import Field
from service.board.bench_page import at_bench
from service.board.entries import Entry, events_of, record_form
from service.board.page import page
from service.board.recording.at_table import Asked
from service.board.recording.fields import Amiss, Fields
from service.board.recording.guarding import TARGETS, hold, treatment
from service.board.recording.refusals import Reason
from service.board.sent_form import sent_form
from service.board.visit import SiteSeen, Visit
from service.log.rights import EVENTS
from service.storage.sql import load
from service.trade.bleach import STRONGEST, Mixture, Says, TooWeak, mixture
from service.views.closed_houses import closed_houses
from service.views.site_days import zone
from service.wording.trade_words import HOLD_KINDS
from service.wording.words import phrase

SQL = load(__package__, "cautions.sql")
SAYS = {"hypochlorite": phrase("sodium hypochlorite"), "chlorine": phrase("active chlorine")}
# What Roistacher, Calavan and Blue found to be enough for exocortis on blades.
USUAL_PERCENT, USUAL_LITRES = 1.0, 1.0
MOST_LITRES = 100.0


class CautionsQuery(Query, frozen=True, kw_only=True):
    """The site that is meant, and a bottle of bleach: its label, what it says, what is wanted."""

    site: Field = ""
    label: Field = ""
    says: Field = ""
    wanted: Field = ""
    litres: Field = ""


class FormQuery(Query, frozen=True, kw_only=True):
    """What a form begins with."""

    site: Field = ""
    target: Field = ""
    code: Field = ""
    kind: Field = ""
    done: Field = ""


@page("GET", "/cautions", scope="", query=CautionsQuery)
async def get_cautions(visit: Visit[CautionsQuery]) -> Reply:
    """Knives, bleach, treatments, finds, protected cultivars, papers."""
    site = await visit.site(visit.query.site or None)
    async with visit.services.reading() as connection:
        health = await connection.fetchval(SQL.authority, site.code)
        closed = await closed_houses(connection, site.code, visit.now)
        protected = await connection.fetch(SQL.protected)
    return visit.page(
        "cautions.html",
        site=site,
        sites=await visit.sites(),
        health=health,
        closed=closed,
        protected=protected,
        bleach=Bleach(visit.query),
        says=[(key, visit.words.gettext(text)) for key, text in SAYS.items()],
        may_record=visit.principal.may(EVENTS),
        **at_bench(visit, site),
    )


class Bleach:
    """The form for a mixture as it was filled, and what comes of it."""

    def __init__(self, query: CautionsQuery) -> None:
        self.says = query.says if query.says in SAYS else "hypochlorite"
        self.label, self.wanted, self.litres = query.label, query.wanted, query.litres
        self.wrong: str | None = None
        self.mixture: Mixture | None = None
        self.too_weak: float | None = None
        if self.label:
            self._mix()

    def _mix(self) -> None:
        label = _number(self.label, STRONGEST)
        wanted = _number(self.wanted, STRONGEST) if self.wanted else USUAL_PERCENT
        litres = _number(self.litres, MOST_LITRES) if self.litres else USUAL_LITRES
        if label is None or wanted is None or litres is None:
            names = (("label", label), ("wanted", wanted), ("litres", litres))
            self.wrong = next(name for name, value in names if value is None)
            return
        says: Says = "chlorine" if self.says == "chlorine" else "hypochlorite"
        try:
            self.mixture = mixture(wanted, label, says, round(litres * 1000))
        except TooWeak as weak:
            self.too_weak = weak.percent


def _number(text: str, most: float) -> float | None:
    """A number above 0, with a point or a comma; None for what is none."""
    parts = text.replace(",", ".").split(".")
    if len(text) > 8 or len(parts) > 2 or not all(one.isascii() and one.isdigit() for one in parts):
        return None
    number = float(".".join(parts))
    return number if 0.01 <= number <= most else None


# -- a stop ------------------------------------------------------------------------------


@page("GET", "/hold", scope=EVENTS, query=FormQuery)
async def get_hold(visit: Visit[FormQuery]) -> Reply:
    """Stop something: the form, with whom to call."""
    asked = visit.query
    values = {"target": asked.target, "code": asked.code.upper(), "kind": asked.kind}
    return await _show_hold(visit, await visit.site(asked.site or None), values)


@page("POST", "/hold", scope=EVENTS)
async def post_hold(visit: Visit[Any]) -> Reply:
    """Place the hold."""
    site = await _site_sent(visit)

    async def told(fields: Fields) -> Entry:
        events = events_of(hold, fields, _asked(visit), site)
        target, code = fields.choice("target", TARGETS, "place"), fields.needed_code("code")
        said = visit.words.gettext("%(code)s is held. Move, use and throw away nothing.", code=code)
        back = f"/{_PAGES[target]}/{code}" if target in _PAGES else "/round"
        return Entry(events, said, back, can_undo=False)

    return await record_form(visit, told, partial(_show_hold, visit, site))


_PAGES = {"place": "table", "lot": "lot", "bag": "bag"}


async def _show_hold(
    visit: Visit[Any],
    site: SiteSeen,
    values: dict[str, str],
    *,
    amiss: Amiss | None = None,
    reasons: list[Reason] | None = None,
    status: int = 200,
) -> Reply:
    async with visit.services.reading() as connection:
        health = await connection.fetchval(SQL.authority, site.code)
    return visit.page(
        "hold.html",
        status=status,
        site=site,
        health=health,
        form=sent_form(values, visit.words, amiss=amiss, reasons=reasons),
        targets=[(key, visit.words.gettext(text)) for key, text in TARGETS.items()],
        kinds=[(key, visit.words.gettext(text)) for key, text in HOLD_KINDS.items()],
        **at_bench(visit, site),
    )


# -- a treatment -------------------------------------------------------------------------


@page("GET", "/treatment", scope=EVENTS, query=FormQuery)
async def get_treatment(visit: Visit[FormQuery]) -> Reply:
    """Tell of a treatment: the form."""
    site = await visit.site(visit.query.site or None)
    values = {"day": site.today.isoformat(), "places": visit.query.code.upper()}
    return await _show_treatment(visit, site, values)


@page("POST", "/treatment", scope=EVENTS)
async def post_treatment(visit: Visit[Any]) -> Reply:
    """Record the treatment: the houses are closed from then on."""
    site = await _site_sent(visit)

    async def told(fields: Fields) -> Entry:
        made, began = treatment(fields, _asked(visit), zone(site.time_zone))
        events = events_of(lambda *_: made, fields, _asked(visit), site, began)
        said = visit.words.gettext("Recorded. The whole house is closed: put the notice up.")
        return Entry(events, said, f"/round?site={site.code}")

    return await record_form(visit, told, partial(_show_treatment, visit, site))


async def _show_treatment(
    visit: Visit[Any],
    site: SiteSeen,
    values: dict[str, str],
    *,
    amiss: Amiss | None = None,
    reasons: list[Reason] | None = None,
    status: int = 200,
) -> Reply:
    async with visit.services.reading() as connection:
        houses = await connection.fetch(SQL.houses, site.code)
    return visit.page(
        "treatment.html",
        status=status,
        site=site,
        houses=[(row["structure"], ",".join(row["places"]), row["places"]) for row in houses],
        ticked=(await visit.form()).all("house") if status != 200 else [],
        form=sent_form(values, visit.words, amiss=amiss, reasons=reasons),
        **at_bench(visit, site),
    )


# -- both --------------------------------------------------------------------------------


def _asked(visit: Visit[Any]) -> Asked:
    return Asked("", visit.principal.name)


async def _site_sent(visit: Visit[Any]) -> SiteSeen:
    """The site that the form was opened at."""
    return await visit.site((await visit.form())["site"] or None)


HANDLERS: list[HTTPRouteHandler] = [
    get_cautions,
    get_hold,
    post_hold,
    get_treatment,
    post_treatment,
]
