"""From a template to a page: Jinja through Litestar's engine, escaped, in the visitor's words."""

from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from litestar.plugins.jinja import JinjaTemplateEngine

from service.board.assets import asset
from service.wording.words import Words, spoken, teach

TEMPLATES = Path(str(files("service.board").joinpath("templates")))


@cache
def _engine() -> JinjaTemplateEngine:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    teach(made)
    made.globals["asset"] = asset
    return JinjaTemplateEngine.from_environment(made)


def render(template: str, words: Words, **context: Any) -> bytes:
    """The page in the language of `words`, as bytes of UTF-8."""
    with spoken(words):
        text: str = _engine().get_template(template).render(**context)
    return text.encode()
