"""What is said by hand of what may be promised, and what went out of each item.

Days that count lie before or after every day on which the service can be running.
"""

from collections.abc import Callable
from datetime import date

from tests.ledger.model.books import Books
from tests.ledger.model.words import Override, Refused, Telling, tells, when

# Later than what the stories tell of, sooner than the far days that they name.
NOW = date(2100, 1, 1)


def out(books: Books, size: str, grade: str, site: str | None) -> int:
    """How many of a size were sold, of any grade where it is empty, at all where no site is."""
    return sum(
        sale.count
        for sales in books.sales.values()
        for sale in sales
        if sale.size == size and grade in ("", sale.grade) and site in (None, sale.site)
    )


@tells("promise.overridden")
def _overridden(books: Books, t: Telling) -> None:
    d = t.data
    zone = books.sites[t.site].zone
    since = when(d["from"], zone).day if "from" in d else t.when.day
    until = when(d["until"], zone).day
    if until < since:
        raise Refused("bad_value")
    if d["override"] in books.overrides:
        raise Refused("code_in_use")
    grade, site = d.get("grade", ""), None if d["any_site"] else t.site
    gone = out(books, d["size"], grade, site)
    made = Override(t.site, d["size"], grade, site, d["quantity"], since, until, gone)
    books.overrides[d["override"]] = made


@tells("promise.override_ended")
def _ended(books: Books, t: Telling) -> None:
    override = books.overrides.get(t.data["override"])
    if override is None or override.by != t.site:
        raise Refused("unknown_code")
    if override.ended:
        raise Refused("not_open")
    override.ended = True


def there(
    books: Books,
    size: str,
    grade: str,
    site: str | None,
    asked: date,
    day: date,
    ready: Callable[[str, str | None], int],
) -> int:
    """How many may be promised of a set on a day, of what is asked for a day before it or for it;
    `ready`(grade, site): how many are ready."""
    said = [
        one
        for one in books.overrides.values()
        if (one.size, one.ended) == (size, False)
        and one.until >= asked
        and one.since <= day
        and grade in ("", one.grade)
        and site in (None, one.site)
    ]

    def by_hand(of: tuple[str, str | None], otherwise: int) -> int:
        mine = [one for one in said if (one.grade, one.site) == of]
        still = [one.quantity - (out(books, size, *of) - one.gone) for one in mine]
        now = [number for one, number in zip(mine, still, strict=True) if day <= one.until]
        return now[-1] if now else max([otherwise, *still])

    narrower = {(one.grade, one.site) for one in said} - {(grade, site)}
    count = ready(grade, site)
    for of in narrower:
        within_another = any(
            other != of and other[0] in ("", of[0]) and other[1] in (None, of[1])
            for other in narrower
        )
        if not within_another:
            its_own = ready(*of)
            count += by_hand(of, its_own) - its_own
    return by_hand((grade, site), count)
