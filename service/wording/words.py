"""The words a person reads: English as the code says it, Spanish from the ``.po`` files in ``es/``.

Each area of pages or mails keeps a file of its own (``es/<area>.po``); all are read together once,
so an area says what it needs and a text that two areas share is written in one of them.

In Python ``words.gettext("Lot %(code)s", code=lot)``; in templates ``{{ _("…") }}``,
``{% trans %}`` and ``ngettext`` after `teach`. A text kept in a table of constants is marked with
`phrase` where it stands, and turned with ``words.gettext(table[key])`` where it is shown.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Literal, get_args

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog, Message
    from jinja2 import Environment

Language = Literal["en", "es"]
LANGUAGES: tuple[Language, ...] = get_args(Language)
# As their speakers call them, whatever language the reader is in.
LANGUAGE_NAMES: dict[Language, str] = {"en": "English", "es": "Español"}
SOURCE: Language = "en"
# A text by its context (None: any), with its forms: one, and many where it counts something.
Texts = dict[tuple[str | None, str], tuple[str, ...]]


class TwiceSaid(Exception):
    """Two areas say the same text in different words."""


class Words:
    """The texts of one language. What has no text here is shown as the code says it."""

    def __init__(self, language: Language, texts: Texts) -> None:
        self.language: Language = language
        self._texts = texts

    def gettext(self, text: str, /, **values: object) -> str:
        """`text` in this language, its ``%(name)s`` filled where values are given.

        A word that is counted elsewhere (`ngettext`) stands for many where it stands alone.
        """
        return _filled(self._form(None, text, 1) or text, values)

    def pgettext(self, context: str, text: str, /, **values: object) -> str:
        """As `gettext`, for a word that means several things: `context` says which."""
        return _filled(self._form(context, text, 0) or text, values)

    def ngettext(self, one: str, many: str, number: int, /, **values: object) -> str:
        """The form that `number` asks for; ``%(num)s`` is the number where values do not say it.

        Both languages count alike: one, and everything else.
        """
        form = 0 if number == 1 else 1
        text = self._form(None, one, form) or (many if form else one)
        return _filled(text, {"num": number, **values})

    def _form(self, context: str | None, text: str, form: int) -> str | None:
        forms = self._texts.get((context, text))
        return forms[min(form, len(forms) - 1)] if forms else None


def _filled(text: str, values: dict[str, object]) -> str:
    return text % values if values else text


def phrase(text: str) -> str:
    """Mark a text that is kept now and turned into the reader's language where it is shown."""
    return text


@cache
def words_of(language: Language) -> Words:
    """The words of a language, read once. Raises TwiceSaid when two areas contradict."""
    return Words(language, {} if language == SOURCE else _texts_of(language))


def language_of(accepted: str | None) -> Language:
    """The language for who has not chosen one, by their ``Accept-Language`` (RFC 9110, 12.5.4)."""
    best, best_quality = SOURCE, 0.0
    for part in (accepted or "")[:500].split(","):
        tag, _, parameters = part.strip().lower().partition(";")
        name, _, value = parameters.strip().partition("=")
        try:
            quality = float(value) if name.strip() == "q" else 1.0
        except ValueError:
            continue
        for language in LANGUAGES:
            if tag.split("-")[0] == language and best_quality < quality <= 1:
                best, best_quality = language, quality
    return best


_SPOKEN: ContextVar[Words] = ContextVar("spoken")


@contextmanager
def spoken(words: Words) -> Iterator[None]:
    """Templates rendered inside speak `words`."""
    token = _SPOKEN.set(words)
    try:
        yield
    finally:
        _SPOKEN.reset(token)


def teach(environment: "Environment") -> None:
    """Give a Jinja environment the words: of the language `spoken` round the rendering, or English.

    ``_``, ``gettext``, ``ngettext``, ``pgettext`` and ``{% trans %}`` fill ``%(name)s`` by
    themselves, escaped; a bare per cent sign in a template's text is written ``%%``.
    """

    def now() -> Words:
        return _SPOKEN.get(words_of(SOURCE))

    def many_of(one: str, many: str, number: int) -> str:
        # The template fills: filling here too would eat the doubled per cent signs.
        words = now()
        return words._form(None, one, 0 if number == 1 else 1) or (one if number == 1 else many)

    environment.add_extension("jinja2.ext.i18n")
    environment.install_gettext_callables(  # type: ignore[attr-defined]
        lambda text: now().gettext(text),
        many_of,
        newstyle=True,
        pgettext=lambda context, text: now().pgettext(context, text),
    )


def catalogs(language: Language) -> Iterator[tuple[str, "Catalog"]]:
    """Each area's name and its file as Babel reads it."""
    from babel.messages.pofile import read_po

    folder = files(__package__).joinpath(language)
    for file in sorted(folder.iterdir(), key=lambda file: file.name):
        if file.name.endswith(".po"):
            with file.open("rb") as opened:
                yield file.name.removesuffix(".po"), read_po(opened, language, abort_invalid=True)


def _texts_of(language: Language) -> Texts:
    texts: Texts = {}
    for area, catalog in catalogs(language):
        for message in catalog:
            if not message.id or message.fuzzy:
                continue  # the head of the file, or a text that nobody has read yet
            key, forms = _key(message), _forms(message)
            if all(forms) and texts.setdefault(key, forms) != forms:
                raise TwiceSaid(f"{area}.po says {forms[0]!r}, another area {texts[key][0]!r}")
    return texts


def _key(message: "Message") -> tuple[str | None, str]:
    one = message.id if isinstance(message.id, str) else message.id[0]
    return message.context, one


def _forms(message: "Message") -> tuple[str, ...]:
    said = message.string or ""
    return (said,) if isinstance(said, str) else tuple(said)
