"""Links in mails: what is signed can't be changed, ages, and outlives a change of the key."""

import base64
from datetime import UTC, date, datetime, timedelta

import pytest

from service.reminders.mail.tokens import GOOD_FOR, About, BadLink, Links, Stop
from service.webhooks.sealing import new_key

TODAY = date(2026, 3, 29)
NOW = datetime(2026, 3, 29, 4, tzinfo=UTC)
ALERT = "6f0b7c1e-3c52-5b0e-9a55-0d4b5e5c2f10"


def test_a_link_says_what_it_was_made_for_and_fits_a_line() -> None:
    links = Links([new_key()])
    about = links.about("p" * 64, ALERT, TODAY)
    meaning = links.read(about, NOW)
    assert isinstance(meaning, About)
    assert (meaning.person, meaning.alert) == ("p" * 64, ALERT)
    assert links.read(links.stop("ines"), NOW) == Stop("ines")
    assert len(about) < 250
    # nothing that a mail program takes for the end of an address
    assert set(about) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")


def test_a_link_ages_but_for_the_one_that_stops_mails() -> None:
    links = Links([new_key()])
    about, stop = links.about("ines", ALERT, TODAY), links.stop("ines")
    assert links.read(about, NOW + GOOD_FOR)
    with pytest.raises(BadLink):
        links.read(about, NOW + GOOD_FOR + timedelta(days=1))
    assert links.read(stop, NOW + timedelta(days=4000)) == Stop("ines")


def test_a_link_that_was_changed_or_made_elsewhere_is_none() -> None:
    links = Links([new_key()])
    token = links.stop("ines")
    raw = base64.urlsafe_b64decode(token + "=" * (-len(token) % 4))
    for place in range(len(raw)):
        other = bytearray(raw)
        other[place] ^= 1
        with pytest.raises(BadLink):
            links.read(base64.urlsafe_b64encode(bytes(other)).decode().rstrip("="), NOW)
    for other_token in ("", "x", "é", token[:-8], token * 20, Links([new_key()]).stop("ines")):
        with pytest.raises(BadLink):
            links.read(other_token, NOW)


def test_a_key_that_was_replaced_counts_while_it_is_there() -> None:
    old, new = new_key(), new_key()
    token = Links([old]).stop("ines")
    assert Links([new, old]).read(token, NOW) == Stop("ines")
    with pytest.raises(BadLink):
        Links([new]).read(token, NOW)
