"""Words that a later version of the service may add to.

A type checker sees `Literal[...]` and tells a misspelt word. When an answer is read it is any
string: a program must not break because the service has learned a new word.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import Literal as Literal
else:

    class Literal:
        """At run time: any string."""

        def __class_getitem__(cls, words: object) -> type[str]:
            return str
