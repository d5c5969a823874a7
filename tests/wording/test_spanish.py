"""The Spanish is whole: every text of pages, mails and papers has it, and says the same things."""

import re

import pytest
from babel.messages.catalog import Catalog, Message

from service.wording.words import LANGUAGES, catalogs, words_of
from tests.wording.extracting import (
    ROOT,
    Said,
    bare_words,
    everything_said,
    python_files,
    template_files,
)

HOLDER = re.compile(r"%\((\w+)\)s")
# Filled by a script on the device.
BRACES = re.compile(r"\{(\w+)\}")
# Names, not words.
UNTRANSLATED = {"graftlog", "· graftlog", "English", "Español"}


def areas() -> list[tuple[str, Catalog]]:
    return list(catalogs("es"))


def messages() -> list[tuple[str, Message]]:
    return [(area, one) for area, catalog in areas() for one in catalog if one.id]


def forms(told: str | list[str] | tuple[str, ...]) -> tuple[str, ...]:
    return (told,) if isinstance(told, str) else tuple(told)


def holders(text: str) -> set[str]:
    return {*HOLDER.findall(text), *BRACES.findall(text)}


def key(said: Said) -> tuple[str | None, str]:
    return said.context, said.text


def key_of(message: Message) -> tuple[str | None, str]:
    return message.context, forms(message.id)[0]


def test_the_two_languages_are_english_and_spanish() -> None:
    assert LANGUAGES == ("en", "es")
    assert words_of("es").gettext("tomorrow") == "mañana"
    assert words_of("en").gettext("tomorrow") == "tomorrow"


def test_every_text_has_its_spanish() -> None:
    known = {key_of(one): one for _, one in messages() if all(forms(one.string)) and not one.fuzzy}
    said = everything_said()
    # The search finds what is there: in Python, in templates, one and many.
    assert {one.where.partition("/")[2].partition("/")[0] for one in said} >= {"wording", "board"}
    assert any(one.filled for one in said)
    assert any(one.many for one in said)
    missing = [f"{one.where}: {one.text!r}" for one in said if key(one) not in known]
    assert missing == []
    uncounted = [one.where for one in said if one.many and len(forms(known[key(one)].string)) != 2]
    assert uncounted == []


def test_nothing_is_translated_that_nobody_says() -> None:
    said = {key(one) for one in everything_said()}
    idle = [f"{area}.po: {key_of(one)[1]!r}" for area, one in messages() if key_of(one) not in said]
    assert idle == []


def test_both_languages_are_filled_with_the_same() -> None:
    wrong = []
    for area, one in messages():
        wanted = set().union(*(holders(text) for text in forms(one.id)))
        counted = not isinstance(one.id, str)
        for number, text in enumerate(forms(one.string)):
            found = holders(text)
            # "1" may be a word: "a day".
            missing = wanted - found - ({"num"} if counted and number == 0 else set())
            if missing or found - wanted:
                wrong.append((area, text, sorted(missing), sorted(found - wanted)))
    assert wrong == []


def test_per_cent_signs_can_be_filled() -> None:
    spanish = {key_of(one): forms(one.string) for _, one in messages()}
    wrong = []
    for said in everything_said():
        for text in (said.text, said.many or "", *spanish.get(key(said), ())):
            if not (said.filled or HOLDER.search(text)):
                continue
            rest = HOLDER.sub("", text).replace("%%", "")
            if "%" in rest:
                wrong.append((said.where, text))
    assert wrong == []


def test_spanish_is_written_as_spanish_is() -> None:
    wrong = []
    for area, one in messages():
        english = forms(one.id)
        for number, text in enumerate(forms(one.string)):
            same = english[min(number, len(english) - 1)]
            if text.count("?") != text.count("¿") or text.count("!") != text.count("¡"):
                wrong.append((area, text, "opening mark"))
            if _ending(text) != _ending(same):
                wrong.append((area, text, f"ends otherwise than {same!r}"))
            if text != text.strip() or "  " in text:
                wrong.append((area, text, "blanks"))
            if _begins(text) and _begins(same) and _begins(text) != _begins(same):
                wrong.append((area, text, f"begins otherwise than {same!r}"))
    assert wrong == []


def _ending(text: str) -> str:
    return text[-1:] if text[-1:] in ".:?!…" else ""


def _begins(text: str) -> str:
    """Whether a text begins with a capital, where it begins with a letter at all."""
    first = re.match(r"[¿¡]?([^\W\d_])[^\W\d_]", text)
    return "" if first is None else "capital" if first[1].isupper() else "small"


@pytest.mark.parametrize("catalog", [pytest.param(one, id=area) for area, one in areas()])
def test_a_file_says_what_it_is(catalog: Catalog) -> None:
    assert str(catalog.locale) == "es"
    assert catalog.num_plurals == 2
    assert catalog.plural_expr in ("(n != 1)", "n != 1")
    assert not [one.id for one in catalog if one.id and one.fuzzy]


@pytest.mark.parametrize("path", [pytest.param(path, id=path.name) for path in template_files()])
def test_templates_say_nothing_without_asking_for_its_spanish(path) -> None:
    assert [word for word in bare_words(path) if word not in UNTRANSLATED] == []


def test_the_search_would_find_what_is_said_bare(tmp_path) -> None:
    page = tmp_path / "page.html"
    page.write_text(
        '<p title="Seen {{ x }}">{{ _("fine") }} <b>Bare</b> {% trans %}ok{% endtrans %}'
    )
    assert bare_words(page) == ["Seen", "Bare"]
    assert len(list(python_files())) > 20
    assert ROOT.joinpath("service").is_dir()
