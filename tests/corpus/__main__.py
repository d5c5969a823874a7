"""`python -m tests.corpus`: add to the corpus what the story tells beyond it."""

import msgspec

from tests.corpus.keeping import STORED, read, told_anew
from tests.corpus.story import story


def main() -> None:
    """Append; lines that are there never change."""
    corpus = read() if STORED.exists() else []
    made = told_anew(corpus, story())
    with STORED.open("ab") as file:
        for one in made:
            file.write(msgspec.json.encode(one) + b"\n")
    print(f"{len(corpus)} were there, {len(made)} added")


main()
