"""What people read, found where it is written: in Python by its syntax, in templates by Jinja."""

import ast
import io
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import NamedTuple

from jinja2 import Environment, nodes
from jinja2.ext import babel_extract

ROOT = Path(__file__).parents[2]
SERVICE = ROOT / "service"
# Where people are spoken to; the rest of the service speaks English to programs.
SPOKEN = ("board", "reminders", "tags", "wording")
TEMPLATES = (".html", ".txt", ".jinja")
OPTIONS = {"newstyle_gettext": "true", "trim_blocks": "true", "lstrip_blocks": "true"}
KEYWORDS = {"_": None, "gettext": None, "ngettext": (1, 2), "pgettext": ((1, "c"), 2)}


class Said(NamedTuple):
    """A text where it stands. `many` is its other form, `context` what tells it from another.

    `filled`: by a template, which fills every text, so that a bare per cent sign must be doubled.
    """

    where: str
    text: str
    many: str | None = None
    context: str | None = None
    filled: bool = False


@cache
def everything_said() -> tuple[Said, ...]:
    """Every text of the service that has to be in both languages."""
    return (*_in_python(), *_in_templates())


def python_files() -> Iterator[Path]:
    for part in SPOKEN:
        yield from sorted((SERVICE / part).rglob("*.py"))


def template_files() -> Iterator[Path]:
    for path in sorted(SERVICE.rglob("*")):
        if path.suffix in TEMPLATES and "templates" in path.parts:
            yield path


def _in_python() -> Iterator[Said]:
    for path in python_files():
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call):
                yield from _call(f"{path.relative_to(ROOT)}:{node.lineno}", node)


def _call(where: str, node: ast.Call) -> Iterator[Said]:
    name = getattr(node.func, "attr", getattr(node.func, "id", ""))
    if name not in (*KEYWORDS, "phrase"):
        return
    texts = [_text(where, one) for one in node.args]
    match name, texts:
        case (("gettext" | "phrase"), [str(text), *_]):
            yield Said(where, text)
        case "ngettext", [str(one), str(many), *_]:
            yield Said(where, one, many)
        case "pgettext", [str(context), str(text), *_]:
            yield Said(where, text, context=context)


def _text(where: str, node: ast.expr) -> str | None:
    assert not isinstance(node, ast.JoinedStr) or not _is_spoken(node), f"{where}: made on the way"
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def _is_spoken(node: ast.JoinedStr) -> bool:
    """Whether an f-string has words of its own, beside what it is filled with."""
    return any(isinstance(one, ast.Constant) and str(one.value).strip() for one in node.values)


def _in_templates() -> Iterator[Said]:
    for path in template_files():
        found = babel_extract(io.BytesIO(path.read_bytes()), KEYWORDS, [], OPTIONS)
        for line, name, told, _ in found:
            where = f"{path.relative_to(ROOT)}:{line}"
            texts = [told] if isinstance(told, str) else list(told or ())
            match name, texts:
                case "ngettext", [str(one), str(many), *_]:
                    yield Said(where, one, many, filled=True)
                case "pgettext", [str(context), str(text), *_]:
                    yield Said(where, text, context=context, filled=True)
                case (("_" | "gettext"), [str(text), *_]):
                    yield Said(where, text, filled=True)


class Bare(HTMLParser):
    """Collects words that a template says without asking for their Spanish."""

    SHOWN = ("alt", "title", "placeholder", "aria-label", "label")

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.words: list[str] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._silent += tag in ("script", "style")
        self.words += [told for name, told in attrs if name in self.SHOWN and told]

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.words.append(data)


def bare_words(path: Path) -> list[str]:
    """What a template shows as it stands."""
    environment = Environment(autoescape=True, extensions=["jinja2.ext.i18n"])
    tree = environment.parse(path.read_text())
    parser = Bare()
    parser.feed("".join(part.data if part else "\x00" for part in _parts(tree)))
    said = [" ".join(word.replace("\x00", " ").split()) for word in parser.words]
    return [word for word in said if any(character.isalpha() for character in word)]


def _parts(tree: nodes.Template) -> Iterator[nodes.TemplateData | None]:
    """Text in the order of the file, and None for what is filled in."""
    for output in tree.find_all(nodes.Output):
        for one in output.nodes:
            yield one if isinstance(one, nodes.TemplateData) else None
