"""From what was submitted to units of understood events."""

import hashlib
import random
import time
import uuid
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import msgspec
from msgspec.structs import replace

from service.log.submission import Element, Fault, Submission
from service.trade.entries import Catalogue
from service.trade.events.catalogue import CatalogueChanged, Site
from service.trade.events.envelope import Envelope
from service.trade.events.stock import EventVoided
from service.trade.units import Incoming, order_key
from service.trade.verdicts import Refusal, refuse
from service.trade.words import understand_occurred

# A clock at the bench may run a little ahead of the service's.
FUTURE_TOLERANCE = timedelta(minutes=5)
_encoder = msgspec.json.Encoder()
# Optional fields that event types got after their first release, as they are written when left
# out. A retry that crosses the upgrade must find its digest; inside a text the quotes would be
# escaped, so nothing else can look like them.
_UNSAID_LATER = (
    b',"work_order":null',
    b',"climate_normal":null',
    b',"degree_days":null',
    b',"destination":null',
    b',"licence_counts":null',
    b',"watch":null',
    b',"sensors":[]',
    b',"plant_health":null',
)
# Those of a name that other types had from their beginning: only of the types that got it later.
_UNSAID_LATER_OF: dict[str, tuple[bytes, ...]] = {
    "treatment.applied": (b',"ended":null',),
    "budwood.sold": (b',"cultivar":null',),
    "trees.sold": (b',"cultivar":null', b',"rootstock":null'),
    "reservation.made": (b',"asked":null', b',"order":null', b',"partial":false'),
    "reservation.changed": (b',"asked":null', b',"order":null', b',"cleared":[]'),
}


def new_id(now_ms: int | None = None) -> str:
    """A UUID of version 7 (RFC 9562, 5.7): milliseconds since 1970, then random bits.

    Ids are no secrets, so a plain generator does; asking the system costs more than the rest.
    """
    stamp = int(time.time() * 1000) if now_ms is None else now_ms
    value = (stamp & ((1 << 48) - 1)) << 80 | random.getrandbits(80)
    return _uuid(value, 7)


def id_of(*words: str) -> str:
    """A UUID of version 8 (RFC 9562, 5.8): always the same for the same words, in their order."""
    digest = hashlib.sha256("\0".join(words).encode()).digest()
    return _uuid(int.from_bytes(digest[:16], "big"), 8)


def _uuid(value: int, version: int) -> str:
    value = value & ~(0xF << 76) | version << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(uuid.UUID(int=value))


@lru_cache(maxsize=256)
def zone(name: str) -> ZoneInfo:
    """The zone, kept: finding one reads the disk."""
    return ZoneInfo(name)


class Part(msgspec.Struct):
    """One element on its way: its event (with an id), its digest, what was found wrong."""

    index: int
    element: Element
    event: Envelope | None
    digest: bytes
    incoming: Incoming | None = None
    faults: list[Fault] = []


def parts_of(submission: Submission) -> list[Part]:
    """Elements with ids and digests: all that can be done before the lock."""
    parts = []
    for index, element in enumerate(submission.elements):
        event = element.event
        digest = b""
        if event is not None:
            if event.id is None:
                event = replace(event, id=element.id or new_id())
            digest = digest_of(event)
        parts.append(Part(index, element, event, digest, None, list(element.faults)))
    return parts


def digest_of(event: Envelope) -> bytes:
    """SHA-256 of an event as sent, the same before and after optional fields were added to it."""
    encoded = _encoder.encode(event)
    its_own = _UNSAID_LATER_OF.get(str(event.__struct_config__.tag), ())
    for unsaid in (*_UNSAID_LATER, *its_own):
        encoded = encoded.replace(unsaid, b"")
    return hashlib.sha256(encoded).digest()


def zones_told(parts: list[Part]) -> dict[str, str]:
    """Time zones of sites by the request's own entries: a site and its places may come together."""
    return {
        part.event.data.entry.code: part.event.data.entry.time_zone
        for part in parts
        if isinstance(part.event, CatalogueChanged) and isinstance(part.event.data.entry, Site)
    }


def understand(part: Part, catalogue: Catalogue, now: datetime, told: dict[str, str]) -> None:
    """Read the part's `occurred` in its site's calendar; faults go to the part.

    `told`: time zones that the request itself brings, for sites the catalogue does not have yet.
    """
    event = part.event
    assert event is not None
    try:
        where = _zone_of(event, catalogue, told)
        try:
            moment = understand_occurred(event.occurred, where)
        except ValueError as error:
            raise refuse("not_a_day", str(error), "#/occurred") from error
        latest = now + FUTURE_TOLERANCE
        late = moment.at > latest if moment.timed else moment.day > latest.astimezone(where).date()
        if late:
            raise refuse(
                "in_the_future",
                f"{event.occurred} is still to come; it is {now.astimezone(where):%Y-%m-%d %H:%M} "
                "at the site.",
                "#/occurred",
                now=now.astimezone(UTC).isoformat(),
            )
    except Refusal as refusal:
        part.faults.extend(refusal.faults)
        return
    part.incoming = Incoming(event, moment, part.digest, part.index)


def _zone_of(event: Envelope, catalogue: Catalogue, told: dict[str, str]) -> ZoneInfo:
    known = ("site", event.site) in catalogue.entries
    own_entry = isinstance(event, CatalogueChanged) and isinstance(event.data.entry, Site)
    name = told.get(event.site) if own_entry or not known else None
    if name is None:
        return zone(catalogue.site(event.site).time_zone)
    try:
        return zone(name)
    except (KeyError, ValueError, OSError) as error:
        raise refuse(
            "bad_value",
            f"{name} is no time zone of the IANA database.",
            "#/data/entry/time_zone" if own_entry else "#/site",
        ) from error


def units_of(submission: Submission, parts: list[Part]) -> list[list[Part]]:
    """What is judged together: the whole request, or each event alone, or a void with the events
    that replace what it voids. In order of occurrence."""
    ready = [part for part in parts if part.incoming is not None]
    if submission.mode == "all":
        return [ready] if ready else []
    by_voided: dict[str, list[Part]] = {}
    units: list[list[Part]] = []
    for part in ready:
        if isinstance(part.event, EventVoided):
            unit = by_voided.setdefault(part.event.data.event, [])
            if not unit:
                units.append(unit)
            unit.append(part)
    for part in ready:
        if isinstance(part.event, EventVoided):
            continue
        replaced = part.event.replaces if part.event else None
        if replaced in by_voided:
            by_voided[replaced].append(part)
        else:
            units.append([part])
    units.sort(key=_unit_key)
    return _told_before_voided(units)


def _told_before_voided(units: list[list[Part]]) -> list[list[Part]]:
    """A void of what the same request tells comes right after it."""
    by_id = {
        part.event.id: index for index, unit in enumerate(units) for part in unit if part.event
    }
    places: list[tuple[int, int]] = []
    for index, unit in enumerate(units):
        voided = [p.event.data.event for p in unit if isinstance(p.event, EventVoided)]
        places.append((max([index, *(by_id.get(one, -1) for one in voided)]), index))
    return [units[index] for _, index in sorted(places, key=lambda p: (p[0], p[0] != p[1], p[1]))]


def _unit_key(unit: list[Part]) -> tuple[object, ...]:
    keys = sorted(order_key(p.incoming) for p in unit if p.incoming is not None)
    told = [key for key in keys if key[0] == 1]
    return (told or keys)[0][1:]
