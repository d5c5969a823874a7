"""What the templates of all pages at the bench are given: words, moments, fields of a count."""

from functools import partial
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from service.board.happenings import in_words
from service.board.sent_form import SentForm
from service.board.visit import SiteSeen, Visit
from service.log.incoming import new_id, zone
from service.wording import trade_words
from service.wording.trade_words import DISCARD_CAUSES, LOSS_CAUSES, TECHNIQUES


def at_bench(visit: Visit[Any], site: SiteSeen) -> dict[str, Any]:
    """The words of the trade in the visitor's language, the site's moment, ids for new entries."""
    there = zone(site.time_zone)

    def word(key: str | None, table: str | None = None) -> str:
        found: dict[str, str] | None = getattr(trade_words, table) if table else None
        return trade_words.named(visit.words, key, found)

    def listed(table: dict[str, str]) -> list[tuple[str, str]]:
        return [(key, visit.words.gettext(text)) for key, text in table.items()]

    def new_entry() -> str:
        return new_id(int(visit.now.timestamp() * 1000))

    moment = visit.now.astimezone(there).isoformat(timespec="seconds")
    return {
        "word": word,
        "counted": partial(trade_words.counted, visit.words),
        "in_words": in_words,
        "capital": capital,
        "zone": there,
        "today": site.today,
        "new_entry": new_entry,
        "entry": new_entry(),
        "occurred": moment,
        "now_there": moment,
        "no_form": SentForm(),
        "count_fields": count_fields,
        "causes": listed(LOSS_CAUSES),
        "discard_causes": listed(DISCARD_CAUSES),
        "techniques": listed(TECHNIQUES),
    }


def capital(text: str) -> str:
    """The text with a capital letter at its beginning."""
    return text[:1].upper() + text[1:]


def count_fields(address: str) -> list[tuple[str, str]]:
    """What the address of a count asks for, as fields of a form."""
    return [pair for pair in parse_qsl(urlsplit(address).query) if pair[0] != "site"]
