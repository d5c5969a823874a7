"""Where goods may be sent, by the rules written down. The rules here are invented.

Regions are codes of ISO 3166-1 (alpha-2) and 3166-2, whose subdivisions begin with the country's.
"""

from datetime import date
from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from service.trade.destinations import UNKNOWN, Goods, Sending, may_send, sending, speaking
from service.trade.entries import Catalogue
from service.trade.events.catalogue import Cultivar, DestinationRule, Rule

DAY = date(2026, 3, 1)
ORANGE = Cultivar(code="NAVEL", crop="citrus", species="Citrus sinensis", epithet="Navel")
TREES = Goods("CORIN", ORANGE, "C35")


def rule(code: str, region: str, answer: str, *, as_of: str = "2026-01-01", **told: object) -> Rule:
    said = DestinationRule(region=region, answer=answer, **told)  # type: ignore[arg-type]
    return Rule(
        code=code,
        title=f"Rule {code}",
        value=answer,
        source="an invented gazette",
        as_of=as_of,
        destination=said,
    )


def asked(rules: list[Rule], *regions: str, goods: Goods = TREES, day: date = DAY) -> Sending:
    return may_send(speaking(rules, day), goods, regions)


def test_no_rule_says_to_ask_and_names_none() -> None:
    elsewhere = rule("FR", "FR", "allowed")
    assert asked([], "ES") == asked([elsewhere], "ES") == UNKNOWN
    assert UNKNOWN.answer == "ask_authority"


def test_a_rule_is_told_with_its_source_and_day() -> None:
    told = asked([rule("ES-1", "ES", "not_allowed")], "ES")
    assert (told.answer, told.rule, told.as_of) == ("not_allowed", "ES-1", date(2026, 1, 1))
    assert told.words == "Not allowed: rule ES-1 (Rule ES-1; an invented gazette, 2026-01-01)."


def test_a_country_holds_its_parts_and_no_other_country() -> None:
    no = [rule("US-1", "US", "not_allowed")]
    assert asked(no, "US-CA").answer == "not_allowed"
    assert asked([rule("U", "UA", "not_allowed")], "US-CA") == UNKNOWN
    assert asked([rule("AREA", "US-CA-HOT", "not_allowed")], "US-CA") == UNKNOWN


def test_what_is_forbidden_in_a_part_wants_asking_for_the_whole() -> None:
    rules = [rule("ALL", "US", "allowed"), rule("PART", "US-CA", "not_allowed")]
    assert asked(rules, "US").rule == "PART"
    assert asked(rules, "US").answer == "ask_authority"
    assert asked(rules, "US-TX").answer == "allowed"
    # That a part allows it says nothing of the whole.
    assert asked([rule("PART", "US-CA", "allowed")], "US") == UNKNOWN


def test_the_narrower_rule_goes_first_whatever_it_says() -> None:
    rules = [
        rule("WIDE", "US", "not_allowed", crop="citrus"),
        rule("STATE", "US-CA", "allowed", crop="citrus"),
        rule("KIND", "US-CA", "ask_authority", species="citrus SINENSIS"),
        rule("SITE", "US-CA", "not_allowed", cultivar="NAVEL", sites=["TARNA"]),
    ]
    assert asked(rules, "US-TX").rule == "WIDE"
    assert asked(rules, "US-CA").rule == "KIND"
    assert asked(rules, "US-CA", goods=TREES._replace(site="TARNA")).rule == "SITE"
    assert asked(rules[:2], "US-CA").answer == "allowed"


def test_of_rules_neither_of_which_is_narrower_the_most_careful_counts() -> None:
    """A regulated area beside the state it lies in; and two of the same thing."""
    area, state = rule("AREA", "HOT-AREA", "not_allowed"), rule("STATE", "US-CA", "allowed")
    assert asked([area, state], "US-CA", "HOT-AREA").rule == "AREA"
    assert asked([area, state], "US-CA").answer == "allowed"
    twice = [state, rule("STATE-2", "US-CA", "ask_authority")]
    assert asked(twice, "US-CA").rule == "STATE-2"


def test_buds_and_trees_go_by_their_own_rules() -> None:
    rules = [
        rule("BUDS", "ES", "not_allowed", goods="buds"),
        rule("TREES", "ES", "allowed", goods="trees"),
        rule("STOCK", "ES", "ask_authority", rootstock="C35"),
    ]
    buds = Goods("CORIN", ORANGE, None, buds=True)
    assert asked(rules, "ES", goods=buds).rule == "BUDS"
    assert asked(rules, "ES").rule == "STOCK"
    assert asked(rules, "ES", goods=TREES._replace(rootstock="SWI")).rule == "TREES"


def test_what_is_not_known_of_the_goods_makes_it_more_careful_never_less() -> None:
    rules = [
        rule("ALL", "ES", "allowed"),
        rule("SITE", "ES", "not_allowed", sites=["TARNA"]),
        rule("KIND", "ES", "not_allowed", crop="olive"),
    ]
    assert asked(rules, "ES").answer == "allowed"
    assert asked(rules, "ES", goods=TREES._replace(site=None)).rule == "SITE"
    unknown = asked(rules, "ES", goods=TREES._replace(cultivar=None))
    assert (unknown.answer, unknown.rule) == ("ask_authority", "KIND")


def test_retired_rules_and_those_of_days_to_come_say_nothing() -> None:
    old = Rule(**{**_fields(rule("OLD", "ES", "not_allowed")), "retired": True})
    coming = rule("NEXT", "ES", "not_allowed", as_of="2026-03-02")
    assert asked([old, coming], "ES") == UNKNOWN
    assert asked([old, coming], "ES", day=date(2026, 3, 2)).rule == "NEXT"


def test_by_codes_of_the_catalogue() -> None:
    catalogue = Catalogue()
    for entry in (ORANGE, rule("ES-1", "ES", "allowed", cultivar="NAVEL")):
        catalogue.entries[str(entry.__struct_config__.tag), entry.code] = (entry, 1)
    told = sending(catalogue, DAY, ["ES"], site=None, cultivar="NAVEL", rootstock="C35")
    assert told.rule == "ES-1"
    assert sending(catalogue, DAY, ["ES"], site=None, cultivar=None) == UNKNOWN


RULES = st.builds(
    DestinationRule,
    region=st.sampled_from(["US", "US-CA", "HOT"]),
    answer=st.sampled_from(["allowed", "not_allowed", "ask_authority"]),
    sites=st.sampled_from([[], ["CORIN"], ["CORIN", "TARNA"]]),
    goods=st.sampled_from([None, "trees"]),
    crop=st.sampled_from([None, "citrus", "olive"]),
    cultivar=st.sampled_from([None, "NAVEL"]),
)


@given(st.lists(RULES, max_size=3))
def test_the_answer_does_not_hang_on_the_order_and_a_lone_rule_says_what_it_says(
    told: list[DestinationRule],
) -> None:
    rules = [
        Rule(**{**_fields(rule(f"R{n}", "ES", "allowed")), "destination": one})
        for n, one in enumerate(told)
    ]
    answers = {
        may_send(r, TREES, ["US-CA", "HOT"]).answer for r in permutations(speaking(rules, DAY))
    }
    assert len(answers) == 1
    fitting = [one.answer for one in told if one.crop != "olive"]
    assert answers <= {*fitting, "ask_authority"} if fitting else answers == {"ask_authority"}


def _fields(of: Rule) -> dict[str, object]:
    return {name: getattr(of, name) for name in of.__struct_fields__}
