"""A form as it was sent: what its fields hold, what is amiss with them, why it was refused."""

from collections.abc import Mapping
from typing import Any

import msgspec

from service.board.recording.fields import Amiss
from service.board.recording.refusals import Reason
from service.wording.words import Words


class SentForm(msgspec.Struct, kw_only=True):
    """`amiss`: by field, in words. Without anything it is a form in which nothing was typed."""

    values: Mapping[str, str] = {}
    amiss: dict[str, str] = {}
    reasons: list[Reason] = []

    def value(self, name: str, otherwise: Any = "") -> Any:
        """What the field holds: what was sent, or a link said, else `otherwise`."""
        return self.values.get(name) or otherwise

    def wrong(self, name: str) -> str | None:
        """What is amiss with the field."""
        said = [reason.words for reason in self.reasons if reason.field == name]
        return self.amiss.get(name) or (said[0] if said else None)

    def touched(self, *names: str) -> bool:
        """Whether any of the fields holds something or is amiss, so that it must be seen."""
        return any(self.values.get(name) or self.wrong(name) for name in names)

    @property
    def may_have_happened(self) -> bool:
        """Whether it is recorded once the person says that it happened all the same."""
        return bool(self.reasons) and all(reason.happened_helps for reason in self.reasons)


def sent_form(
    values: Mapping[str, str],
    words: Words,
    *,
    amiss: Amiss | None = None,
    reasons: list[Reason] | None = None,
) -> SentForm:
    """The form on its way back to who sent it."""
    return SentForm(values=values, amiss=amiss_in_words(amiss, words), reasons=reasons or [])


def amiss_in_words(amiss: Amiss | None, words: Words) -> dict[str, str]:
    """What is amiss, by field."""
    return {amiss.field: amiss.in_words(words)} if amiss else {}
