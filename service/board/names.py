"""Names of what codes stand for: cultivars, rootstocks, sizes."""

from typing import NamedTuple

from service.storage.pool import Connection
from service.storage.sql import load
from service.wording.words import Words

SQL = load(__package__, "names.sql")


class Names(NamedTuple):
    """By kind and code."""

    found: dict[tuple[str, str], str]

    def of(self, kind: str, code: str | None) -> str:
        """The name, else the code; empty for none."""
        return self.found.get((kind, code), code) if code else ""

    def item(
        self, words: Words, cultivar: str | None, rootstock: str | None, size: str | None = None
    ) -> str:
        """What a customer would call it: Navelina on Carrizo, 2 litre."""
        if not cultivar and not rootstock:
            name = words.gettext("unidentified trees")
        elif not rootstock:
            of = self.of("cultivar", cultivar)
            name = words.gettext("%(cultivar)s on an unknown rootstock", cultivar=of)
        elif not cultivar:
            on = self.of("rootstock", rootstock)
            name = words.gettext("unknown cultivar on %(rootstock)s", rootstock=on)
        else:
            name = words.gettext(
                "%(cultivar)s on %(rootstock)s",
                cultivar=self.of("cultivar", cultivar),
                rootstock=self.of("rootstock", rootstock),
            )
        return f"{name}, {self.of('size', size)}" if size else name

    def all_of(self, kind: str) -> list[tuple[str, str]]:
        """Codes and names of a kind, by name."""
        pairs = [(code, name) for (one, code), name in self.found.items() if one == kind]
        return sorted(pairs, key=lambda pair: (pair[1].casefold(), pair[0]))


async def names(conn: Connection) -> Names:
    """The names in the catalogue: some hundreds, read in one question."""
    rows = await conn.fetch(SQL.names)
    return Names({(row["kind"], row["code"]): row["name"] for row in rows})
