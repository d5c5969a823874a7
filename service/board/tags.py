"""Tags, labels and papers to print: what to print on what, and what was printed."""

import re
import uuid
from typing import Any, NamedTuple

from litestar.handlers import HTTPRouteHandler

from service.api.operation import Reply
from service.api.papers import papers_pdf, printing_of
from service.api.problems import Problem, not_found
from service.api.recording import now_of
from service.api.tag_sheets import MOST_TAGS, OnSheet, printed, tags_of
from service.board.asking import Asked, Field, code_in, number_in
from service.board.entries import judged
from service.board.forms import Form
from service.board.page import page
from service.board.visit import SiteSeen, Visit
from service.log.incoming import zone
from service.log.rights import READ, SALES
from service.tags.paper import PAPERS
from service.trade.events.catalogue import Site
from service.trade.events.papers import PapersPrinted, PapersPrintedData
from service.trade.events.plant_health import PlantHealth
from service.trade.verdicts import Fault
from service.trade.words import Country, understand_occurred
from service.views import papers, taggable
from service.views.provenance import entries_of
from service.wording.words import LANGUAGE_NAMES, LANGUAGES, phrase

THINGS = {
    "places": phrase("Tags for places"),
    "lots": phrase("Tags for lots"),
    "bags": phrase("Labels for bags"),
}
KINDS = {
    "plant_passport": phrase("Plant passport"),
    "certified_tag": phrase("Certified tag"),
    "sale_tag": phrase("Sale tag"),
}
SHEETS = {
    "a4-24": phrase("A4, 24 tags of 70 × 37 mm"),
    "a4-21": phrase("A4, 21 tags of 63.5 × 38.1 mm"),
    "a4-10": phrase("A4, 10 tags of 99 × 57 mm"),
    "letter-30": phrase("Letter, 30 tags of 66.7 × 25.4 mm"),
    "letter-10": phrase("Letter, 10 tags of 101.6 × 50.8 mm"),
    "roll-70x40": phrase("Roll, 70 × 40 mm"),
    "roll-100x50": phrase("Roll, 100 × 50 mm"),
    "roll-60x60": phrase("Roll, 60 × 60 mm"),
}
# Why nothing is printed, by kind of mistake; a refusal of the log by its kind and field.
_AMISS = {
    "unknown_code": phrase("A code is not known here: read the tag once more."),
    "nothing_there": phrase("There is nothing there that would get a tag."),
    "too_many": phrase("That is more than can be printed at a time: choose one house or place."),
    "not_together": phrase("It does not fit on a tag of this sheet: choose a larger one."),
    "bad_value": phrase("A number or a code is not written as it should be."),
}
_REFUSED = {
    "held": phrase("A hold stands on it since %(since)s: nothing is printed while it does."),
    "not_registered": phrase(
        "The catalogue does not say by which registration this may be printed here."
    ),
    "inspection_not_current": phrase("No inspection is current today: nothing is printed."),
    "counts_disagree": phrase("By the book only %(there)s stand there or were sold."),
    "unknown_code": phrase("No such lot or place is known at this site."),
    "wrong_kind": phrase("Papers are printed for trees and for budwood."),
    "scope_missing": phrase("You have no right to print papers: ask the site manager."),
    "voided_already": phrase("This printing was taken back."),
    "retired": phrase("That is not in use any more."),
}
_MISSING = {
    "#/data/origin": phrase("Where it was grown is not in the records: say in which country."),
    "#/data/lot": phrase("What it is nobody can tell, so no paper can say it."),
}
_OTHERWISE = phrase("Nothing was printed: correct what was filled in.")
_COUNTRY = re.compile(r"[A-Z]{2}")
LATEST = 20


class TagsAsked(Asked, frozen=True, kw_only=True):
    """The site, and a lot to begin the papers with."""

    site: Field = ""
    lot: Field = ""


class PrintAsked(Asked, frozen=True, kw_only=True):
    """Which tags, on what. `where`: a house, or a place by its code."""

    site: Field = ""
    of: Field = "places"
    codes: str = ""
    where: str = ""
    sheet: Field = "a4-24"
    skip: Field = ""
    copies: Field = ""
    language: Field = ""


class SheetAsked(Asked, frozen=True, kw_only=True):
    """On what papers are printed."""

    sheet: Field = "a4-10"
    skip: Field = ""
    language: Field = ""


class Grounds(NamedTuple):
    """By what a site may print papers, as its entry says."""

    health: PlantHealth | None
    current: bool
    until: str = ""


@page("GET", "/tags", scope=READ, query=TagsAsked)
async def get_tags(visit: Visit[TagsAsked]) -> Reply:
    """What can be printed at a site, and what was."""
    site = await visit.site(visit.query.site or None)
    form = Form([("lot", visit.query.lot)])
    return await _tags(visit, site, form)


async def _tags(
    visit: Visit[Any],
    site: SiteSeen,
    form: Form,
    *,
    wrong: str | None = None,
    wrong_papers: str | None = None,
    wrong_field: str | None = None,
    status: int = 200,
) -> Reply:
    """The page, with what was filled in and why it can't be."""
    async with visit.services.reading() as connection:
        wanted = taggable.Wanted(of="places", site=site.code)
        places = await taggable.told(connection, wanted, 2000)
        entries = await entries_of(connection, {("site", site.code)})
        latest = await papers.printings(
            connection,
            visit.principal.site_list,
            papers.PrintingsFilter(site=site.code),
            limit=LATEST,
        )
        await visit.call_people((one.actor or one.recorded_by for one in latest), connection)
    return visit.page(
        "tags.html",
        status=status,
        site=site,
        sites=await visit.sites(),
        houses=list(dict.fromkeys(one.structure for one in places)),  # type: ignore[union-attr]
        places=places,
        things=_choices(visit, THINGS),
        kinds=_choices(visit, KINDS),
        kind_names={key: visit.words.gettext(text) for key, text in KINDS.items()},
        sheets=_choices(visit, SHEETS),
        languages=_languages(visit),
        grounds=_grounds(visit, entries.get(("site", site.code)), site),
        may_print=visit.principal.may(SALES),
        latest=[(one, _day(visit, one.occurred, site.time_zone)) for one in latest],
        entry=form["entry"] or str(uuid.uuid4()),
        form=form,
        wrong=wrong,
        wrong_papers=wrong_papers,
        wrong_field=wrong_field,
    )


def _choices(visit: Visit[Any], texts: dict[str, str]) -> list[tuple[str, str]]:
    return [(key, visit.words.gettext(text)) for key, text in texts.items()]


def _languages(visit: Visit[Any]) -> list[tuple[str, str]]:
    own = visit.language
    return [(one, LANGUAGE_NAMES[one]) for one in sorted(LANGUAGES, key=lambda one: one != own)]


def _day(visit: Visit[Any], occurred: str, time_zone: str) -> str:
    """The site's day of what occurred, as the visitor reads days."""
    return visit.shown.day(understand_occurred(occurred, zone(time_zone)).day)


def _grounds(visit: Visit[Any], entry: Any, site: SiteSeen) -> Grounds:
    health = entry.plant_health if isinstance(entry, Site) else None
    if health is None or not (health.inspected_on and health.valid_until):
        return Grounds(health, False)
    current = health.inspected_on[:10] <= str(site.today) <= health.valid_until[:10]
    return Grounds(health, current, _day(visit, health.valid_until, site.time_zone))


@page("GET", "/tags/print", scope=READ, query=PrintAsked)
async def get_printed(visit: Visit[PrintAsked]) -> Reply:
    """The tags as a PDF; or the page again, saying why not."""
    asked = visit.query
    site = await visit.site(asked.site or None)
    try:
        wanted = await _wanted(visit, site)
        copies = number_in("copies", asked.copies, 50) or 1
        sheet = _sheet(asked, visit)
        tags = await tags_of(visit.services, wanted, copies, sheet.language)
        return await printed(tags, sheet, f"{wanted.of}-{site.code}.pdf")
    except Problem as problem:
        if problem.status != 422:
            raise
        kind = problem.errors[0].kind if problem.errors else ""
        words = visit.words.gettext(_AMISS.get(kind, _AMISS["bad_value"]))
        names = ("of", "codes", "where", "sheet", "skip", "copies", "language")
        form = Form([(name, getattr(asked, name)) for name in names])
        return await _tags(visit, site, form, wrong=words, status=422)


async def _wanted(visit: Visit[PrintAsked], site: SiteSeen) -> taggable.Wanted:
    """What the form asks for: codes that were typed, else all of a house, a place or the site."""
    asked = visit.query
    of = next((thing for thing in ("places", "lots", "bags") if thing == asked.of), None)
    if of is None:
        raise not_found("What the form asks for")
    typed = [code_in("codes", text) for text in re.split(r"[\s,;]+", asked.codes) if text]
    if typed:
        return taggable.Wanted(of=of, codes=[code for code in typed if code])
    if not asked.where:
        return taggable.Wanted(of=of, site=site.code)
    async with visit.services.reading() as connection:
        here = taggable.Wanted(of="places", site=site.code)
        places = await taggable.told(connection, here, 2000)
    within = [
        one.code
        for one in places
        if asked.where in (one.code, one.structure)  # type: ignore[union-attr]
    ]
    if of == "places":
        return taggable.Wanted(of="places", codes=within or [asked.where])
    return taggable.Wanted(of=of, site=site.code, places=within)


def _sheet(asked: PrintAsked | SheetAsked, visit: Visit[Any]) -> OnSheet:
    """The sheet of a form. Raises 404 for one that there is not."""
    if asked.sheet not in PAPERS:
        raise not_found("A sheet of that name")
    language = next((one for one in LANGUAGES if one == asked.language), visit.language)
    skip = number_in("skip", asked.skip if asked.skip != "0" else "", 1000) or 0
    return OnSheet(sheet=asked.sheet, skip=skip, language=language)


# -- papers ------------------------------------------------------------------------------------


@page("POST", "/tags/papers", scope=SALES)
async def print_papers(visit: Visit[Any]) -> Reply:
    """Record a printing; then on to its page, where the file is."""
    form = await visit.form()
    site = await visit.site(form.get("site"))
    event = _event(visit, site, form)
    if event is None:
        words = visit.words.gettext(_AMISS["bad_value"])
        return await _tags(visit, site, form, wrong_papers=words, status=422)
    (verdict,) = await judged(visit, [event], keep=False)
    if verdict.errors:
        fault = verdict.errors[0]
        said = {"wrong_papers": _why(visit, fault), "wrong_field": fault.pointer.rpartition("/")[2]}
        return await _tags(visit, site, form, status=409, **said)
    return visit.go(f"/tags/paper/{verdict.id}")


def _event(visit: Visit[Any], site: SiteSeen, form: Form) -> PapersPrinted | None:
    """The printing that the form asks for; None for what can't be read."""
    try:
        lot, place = code_in("lot", form["lot"]), code_in("place", form["place"])
        count = number_in("count", form["count"], MOST_TAGS)
        entry = str(uuid.UUID(form["entry"]))
    except (Problem, ValueError):
        return None
    origin: Country | None = form["origin"].upper() or None
    known = form["paper"] in KINDS and (origin is None or _COUNTRY.fullmatch(origin))
    if lot is None or count is None or not known:
        return None
    data = PapersPrintedData(
        paper=form["paper"],  # type: ignore[arg-type]
        lot=lot,
        place=place,
        count=count,
        origin=origin,
    )
    return PapersPrinted(
        id=entry,
        site=site.code,
        occurred=now_of(visit),  # type: ignore[arg-type]
        actor=visit.person.reference,
        data=data,
    )


def _why(visit: Visit[Any], fault: Fault) -> str:
    """A refusal of the log in the visitor's words."""
    if fault.kind == "missing":
        return visit.words.gettext(_MISSING.get(fault.pointer, _OTHERWISE))
    text = _REFUSED.get(fault.kind, _OTHERWISE)
    return visit.words.gettext(text, **({"since": "?", "there": "?"} | fault.numbers))


@page("GET", "/tags/paper/{id:str}", scope=READ)
async def get_paper(visit: Visit[Any]) -> Reply:
    """What was printed, and how to get it on paper."""
    found = await printing_of(visit, _id(visit))
    return visit.page("paper.html", **await _paper(visit, found))


async def _paper(visit: Visit[Any], found: papers.Printing) -> dict[str, Any]:
    site = await visit.site(found.site)
    await visit.call_people([found.actor or found.recorded_by])
    return {
        "paper": found,
        "day": _day(visit, found.occurred, site.time_zone),
        "kind": visit.words.gettext(KINDS[found.paper]),
        "sheets": _choices(visit, SHEETS),
        "languages": _languages(visit),
        "may_print": visit.principal.may(SALES),
        "wrong": None,
    }


def _id(visit: Visit[Any]) -> str:
    try:
        return str(uuid.UUID(str(visit.request.scope["path_params"]["id"])))
    except ValueError as error:
        raise not_found("What the address names") from error


@page("GET", "/tags/paper/{id:str}/print", scope=SALES, query=SheetAsked)
async def get_paper_printed(visit: Visit[SheetAsked]) -> Reply:
    """The papers of a printing as a PDF; or its page again, saying why not."""
    found = await printing_of(visit, _id(visit))
    try:
        return await papers_pdf(visit, found, _sheet(visit.query, visit))
    except Problem as problem:
        if problem.status not in (409, 422) or not problem.errors:
            raise
        error = problem.errors[0]
        if problem.status == 422:
            words = visit.words.gettext(_AMISS.get(error.kind, _AMISS["bad_value"]))
        else:
            words = _why(visit, Fault(kind=error.kind, detail="", numbers=error.numbers or {}))
        context = await _paper(visit, found) | {"wrong": words}
        return visit.page("paper.html", status=problem.status, **context)


HANDLERS: list[HTTPRouteHandler] = [
    get_tags,
    get_printed,
    print_papers,
    get_paper,
    get_paper_printed,
]
