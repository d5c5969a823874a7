"""The trade's own words as people read them: stages, methods, causes of loss, checks, holds.

`named(words, "push_count")` turns a word of the log into the reader's language. A word that the
nursery made itself, such as the name of a check of its own, is shown as it is, spaced.
"""

from collections.abc import Callable

from service.wording.words import Words, phrase

STAGES = {
    "grafted": phrase("grafted"),
    "pushed": phrase("pushed"),
    "failed": phrase("failed"),
    "ready": phrase("ready"),
}
KINDS = {
    "liners": phrase("liners"),
    "trees": phrase("trees"),
    "bag": phrase("bag"),
    "budwood": phrase("budwood"),
    "liner": phrase("liners"),
    "tree": phrase("trees"),
}
METHODS = {
    "t_bud": phrase("T-bud"),
    "inverted_t_bud": phrase("inverted T-bud"),
    "chip_bud": phrase("chip bud"),
    "patch_bud": phrase("patch bud"),
    "micro_bud": phrase("micro-bud"),
    "whip_and_tongue": phrase("whip and tongue"),
    "splice": phrase("splice graft"),
    "cleft": phrase("cleft graft"),
    "bark": phrase("bark graft"),
    "four_flap": phrase("four-flap graft"),
    "side_veneer": phrase("side-veneer graft"),
    "side": phrase("side graft"),
    "softwood": phrase("softwood graft"),
    "epicotyl": phrase("epicotyl graft"),
}
# The likeliest first.
LOSS_CAUSES = {
    "dead_scion": phrase("scion dead"),
    "dead_stock": phrase("rootstock dead"),
    "breakage": phrase("broken"),
    "disease": phrase("disease"),
    "culled": phrase("culled"),
    "unknown": phrase("cause unknown"),
    "pest": phrase("pest"),
    "frost": phrase("frost"),
    "heat": phrase("heat"),
    "drought": phrase("drought"),
    "waterlogging": phrase("too wet"),
    "girdled": phrase("girdled by the tie"),
    "damaged": phrase("damaged"),
    "dead_on_arrival": phrase("dead on arrival"),
}
DISCARD_CAUSES = {
    "dried": phrase("dried out"),
    "mould": phrase("mould"),
    "left_over": phrase("left over"),
    "source_failed": phrase("source tree failed its test"),
    "other": phrase("another cause"),
}
TECHNIQUES = {
    "bent": phrase("bent"),
    "lopped": phrase("lopped"),
    "notched": phrase("notched"),
    "tied": phrase("tied down"),
    "cut_back": phrase("cut back"),
    "other": phrase("another way"),
}
CHECKS = {
    "look": phrase("look at the whole table"),
    "read_take": phrase("unwrap and read the take"),
    "force": phrase("force the buds"),
    "push_walk": phrase("count the push"),
    "tops_off": phrase("take the tops off"),
    "grade": phrase("grade"),
}
HOLD_KINDS = {
    "plant_health": phrase("plant health"),
    "quality": phrase("quality"),
    "identity": phrase("identity"),
    "licence": phrase("licence"),
    "other": phrase("other hold"),
}
_EVERY = {
    **STAGES,
    **KINDS,
    **METHODS,
    **LOSS_CAUSES,
    **{key: text for key, text in DISCARD_CAUSES.items() if key != "other"},
    **{key: text for key, text in TECHNIQUES.items() if key != "other"},
    **CHECKS,
    **{key: text for key, text in HOLD_KINDS.items() if key != "other"},
}


_COUNTED: dict[str, Callable[[Words, int], str]] = {
    "grafted": lambda words, count: words.ngettext("grafted", "grafted", count),
    "pushed": lambda words, count: words.ngettext("pushed", "pushed", count),
    "failed": lambda words, count: words.ngettext("failed", "failed", count),
    "ready": lambda words, count: words.ngettext("ready", "ready", count),
    "liners": lambda words, count: words.ngettext("liner", "liners", count),
}


def counted(words: Words, word: str, count: int) -> str:
    """A stage, or liners, as it is said of so many."""
    said = _COUNTED.get(word)
    return said(words, count) if said else named(words, word)


def named(words: Words, word: str | None, table: dict[str, str] | None = None) -> str:
    """A word of the log for a person: of `table`, else of all here; empty for none."""
    if not word:
        return ""
    text = (table or _EVERY).get(word)
    return words.gettext(text) if text is not None else word.replace("_", " ")
