"""What completing one event can see and say: the books, the day, and its remarks."""

from collections.abc import Iterable
from typing import Any

from service.trade import holds
from service.trade.accounts import UNGRADED, Key, grade_of
from service.trade.books import Account, Bag, Books, Lot, unknown_lot
from service.trade.events.budwood import BudLine
from service.trade.events.catalogue import Place, Site
from service.trade.events.envelope import Envelope
from service.trade.verdicts import Fault, Refusal, Remark, refuse
from service.trade.words import Moment

# Counts beyond this many times the book and this many more are asked for once more.
FAR_FACTOR, FAR_MORE = 10, 1000


def breaks_the_book(counted: int, book: int) -> bool:
    """Whether a count is so far above the book that it is only taken when it is said to be so."""
    return counted > FAR_FACTOR * book and counted - book > FAR_MORE


class Bench:
    """The state around one event while it is completed."""

    def __init__(self, books: Books, event: Envelope, moment: Moment) -> None:
        self.books = books
        self.event = event
        self.moment = moment
        self.day = moment.day
        self.here = event.site
        self.remarks: list[Remark] = []
        self.broken: list[Fault] = []

    @property
    def site(self) -> Site:
        return self.books.catalogue.site(self.here)

    # -- saying ---------------------------------------------------------------

    def remark(self, kind: str, detail: str, **numbers: Any) -> None:
        self.remarks.append(Remark(kind=kind, detail=detail, numbers=numbers))

    def break_rule(self, kind: str, detail: str, pointer: str, **numbers: Any) -> None:
        """A rule is broken: refused the first time, a breach when it happened all the same."""
        if self.event.happened:
            self.remark("breach", detail, rule=kind, **numbers)
        else:
            self.broken.append(Fault(kind=kind, detail=detail, pointer=pointer, numbers=numbers))

    def settle(self) -> None:
        """Refuse when rules were broken and nobody said that it happened."""
        if self.broken:
            raise Refusal(*self.broken)

    # -- codes ------------------------------------------------------------------

    def place(self, code: str, pointer: str) -> Place:
        """A place of the acting site; another site's is as unknown as none at all."""
        place = self.books.catalogue.place(code, pointer)
        if place.site != self.here:
            raise refuse(
                "unknown_code",
                f"No place {code} is at site {self.here}.",
                pointer,
                code=code,
                site=self.here,
            )
        if place.retired:
            self.break_rule("retired", f"Place {code} is retired.", pointer, code=code)
        return place

    def size(self, code: str, pointer: str) -> str:
        self.books.catalogue.size(code, pointer)
        return code

    def mint(self, wanted: str | None) -> str:
        """The code the person chose, or the next free minted one."""
        if wanted is not None:
            return wanted
        fresh = self.books.fresh
        if not fresh:
            raise refuse("missing", "A code could not be minted; please choose one.", "#/data")
        code = fresh[0]
        self.books.alter(self.books, fresh=fresh[1:])
        return code

    def known_here(self, lot: Lot) -> bool:
        """Whether anything of the lot is, was or was made at the acting site.

        Of what others have alone, no more is told than that a code is taken.
        """
        return lot.site == self.here or any(
            key.site == self.here for key in self.books.accounts_of(lot.code)
        )

    def lot_here(self, code: str, pointer: str, kind: str | None = None) -> Lot:
        """A lot of the acting site; another site's alone is as unknown as none at all."""
        lot = self.books.lots.get(code)
        if lot is not None and not self.known_here(lot):
            raise unknown_lot(code, pointer)
        return self.books.lot(code, pointer, kind)

    def new_lot(self, code: str, pointer: str) -> None:
        """Refuse a code that a standing lot or bag has."""
        lot, bag = self.books.lots.get(code), self.books.bags.get(code)
        if (lot and not lot.voided) or (bag and not bag.voided):
            what = f"{lot.kind} lot" if lot and not lot.voided else "bag"
            its = lot if lot and not lot.voided else self.books.lots[bag.lot] if bag else None
            if its is None or not self.known_here(its):
                what = "lot or bag"
            raise refuse(
                "code_in_use", f"{code} is a {what} already.", pointer, code=code, is_a=what
            )

    # -- what stands where ---------------------------------------------------------

    def pick(
        self,
        lot: Lot,
        kind: str,
        pointer: str,
        *,
        place: str | None = None,
        stage: str | None = None,
        size: str | None = None,
        grade: str | None = None,
        ref: str | None = None,
        site: str | None = None,
    ) -> Account:
        """The one account of the lot that fits what was said, as the book stood on that day."""
        where = site or self.here
        fits = [
            account
            for key, account in self.books.accounts_of(lot.code).items()
            if key.kind == kind
            and key.site == where
            and (place is None or key.place == place)
            and (stage is None or key.stage == stage)
            and (size is None or key.size == size)
            and (grade is None or key.grade == grade_of(grade))
            and (ref is None or key.ref == ref)
        ]
        standing = [account for account in fits if account.at_end_of(self.day) > 0]
        if len(standing) == 1:
            return standing[0]
        if len(standing) > 1:
            several = [_shown(account, self) for account in standing[:20]]
            raise refuse(
                "say_which",
                f"Of {ref or lot.code} there are {_listed(several)} on {self.day}; say which "
                f"{_told_apart_by(several)}.",
                pointer,
                standing=several,
            )
        if fits:
            # Nothing left on that day: the last one used is the one meant, and the judge will
            # say by how much it falls short.
            return max(fits, key=lambda account: (account.last_day or self.day, account.balance))
        elsewhere = [
            _shown(account, self)
            for account in self.books.accounts_of(lot.code).values()
            if account.key.kind == kind and account.key.site == where and account.balance > 0
        ]
        what, where_said = f"{stage} of" if stage else "of", f"at {place}" if place else "there"
        raise refuse(
            "nothing_there",
            f"By the book nothing {what} {ref or lot.code} stands {where_said} on {self.day}. "
            f"{_what_stands(elsewhere)}",
            pointer,
            stands=elsewhere[:20],
        )

    def pick_key(self, lot: Lot, line: Any, pointer: str, stage: str | None = None) -> Account:
        """The account of the trees that a line with place, stage, size and grade speaks of."""
        return self.pick(
            lot,
            "trees",
            pointer,
            place=line.place,
            stage=line.stage if stage is None else stage,
            size=line.size,
            grade=getattr(line, "grade", None),
        )

    def bag_account(self, bag: Bag, place: str | None, pointer: str) -> Account:
        return self.pick(self.books.lots[bag.lot], "bag", pointer, place=place, ref=bag.code)

    def bud_line(self, line: BudLine, pointer: str) -> tuple[Bag, Account]:
        bag = self.books.bag(line.bag, f"{pointer}/bag")
        return bag, self.bag_account(bag, line.place, f"{pointer}/bag")

    def changes(self, account: Account, pointer: str, **there: str | None) -> None:
        """Refuse a move or potting that ends where it begins."""
        if all(value in (None, getattr(account.key, name)) for name, value in there.items()):
            raise refuse(
                "same_place",
                f"{account.key.ref or account.lot} stands there already.",
                pointer,
                **{name: value for name, value in there.items() if value},
            )

    def something(self, account: Account, pointer: str) -> int:
        """How many the account holds on that day; refused when there is nothing."""
        there = account.at_end_of(self.day)
        if there <= 0:
            lot = self.books.lots[account.lot]
            since = f" It is of {lot.day}." if lot.day and lot.day > self.day else ""
            raise refuse(
                "nothing_there",
                f"By the book nothing of {lot.code} stands there on {self.day}.{since}",
                pointer,
                lot=lot.code,
                lot_day=str(lot.day) if lot.day else None,
            )
        return there

    def far_from_book(self, counted: int, book: int, pointer: str) -> None:
        """A count many times the book looks like a slip of the pen: asked for once more."""
        if breaks_the_book(counted, book):
            self.break_rule(
                "far_from_book",
                f"{counted} were counted, the book has {book}. If that is no slip, send it again "
                "with `happened: true`.",
                pointer,
                counted=counted,
                book=book,
            )

    # -- holds ----------------------------------------------------------------------

    def held(self, action: str, lot: Lot | None, keys: Iterable[Key], pointer: str) -> None:
        """Break the rule `held` where a hold blocks the action on the lot, its bags or places."""
        if not self.books.holds:
            return
        tokens = set(lot.ancestry) if lot is not None else set()
        for key in keys:
            if key.place:
                tokens.add(f"place:{key.place}")
            if key.kind == "bag":
                tokens |= self.books.bag_tokens(key.ref)
        self.blocked(action, tokens, pointer)

    def blocked(self, action: str, tokens: set[str], pointer: str) -> None:
        """Break the rule `held` where a hold on the site or on any of the tokens blocks the action;
        a hold that began later is remarked."""
        tokens = tokens | {f"site:{self.here}"}
        for hold in self.books.holds.values():
            later = hold.from_day > self.day and hold.lifted_day is None
            if later and hold.token in tokens and action in holds.BLOCKS[hold.kind]:
                self.remark(
                    "held_since",
                    f"Hold {hold.code} on {hold.target.replace('_', ' ')} {hold.target_code} "
                    f"began on {hold.from_day}; this is told of {self.day}, before it.",
                    hold=hold.code,
                    since=str(hold.from_day),
                )
        for hold in holds.blocking(self.books, action, tokens, self.day):
            self.break_rule(
                "held",
                f"Hold {hold.code} ({hold.kind.replace('_', ' ')}: {hold.reason}) on "
                f"{hold.target.replace('_', ' ')} {hold.target_code} blocks it since "
                f"{hold.from_day}.",
                pointer,
                hold=hold.code,
                hold_kind=hold.kind,
                since=str(hold.from_day),
                blocks=action,
            )


def _what_stands(shown: list[dict[str, Any]]) -> str:
    """What of the lot stands at the site instead, or what would settle that nothing does."""
    there = [one for one in shown if one["count"] > 0]
    if not there:
        return "A stock count or an opening would settle what is there."
    return f"It has {_listed(there)}."


def _listed(shown: list[dict[str, Any]]) -> str:
    """What stands where, in a few words: `15 ready P9 first at C-T1, 5 ready P9 second at C-T1`."""
    words = [
        " ".join(str(one[part]) for part in ("count", "stage", "size", "grade") if part in one)
        + (f" at {one['place']}" if "place" in one else "")
        for one in shown
    ]
    more = f" and {len(words) - 3} more" if len(words) > 3 else ""
    return ", ".join(words[:3]) + more


def _told_apart_by(shown: list[dict[str, Any]]) -> str:
    """What must be said so that one of them is meant."""
    parts = ("place", "stage", "size", "grade", "bag")
    differ = [part for part in parts if len({one.get(part) for one in shown}) > 1]
    return " and ".join(differ)


def _shown(account: Account, bench: Bench) -> dict[str, Any]:
    """An account in words for a refusal."""
    key = account.key
    parts = {
        "place": key.place,
        "stage": key.stage,
        "size": key.size,
        "grade": key.grade,
        "bag": key.ref,
    }
    shown: dict[str, Any] = {name: value for name, value in parts.items() if value}
    if key.kind == "trees" and key.stage == "ready":
        shown["grade"] = key.grade or UNGRADED
    shown["count"] = account.at_end_of(bench.day)
    return shown
