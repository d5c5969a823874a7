"""The container files say what the service has: its commands, its settings, no secret, no root."""

import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from service.cli import main
from service.variables import VARIABLES

ROOT = Path(__file__).parents[1]
DOCKERFILE = (ROOT / "docker" / "Dockerfile").read_text()
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker" / "compose.yaml").read_text())
OWN = [name for name, one in COMPOSE["services"].items() if one["image"] == "graftlog"]


def instructions(word: str) -> list[str]:
    """What follows each such instruction, with lines joined."""
    joined = DOCKERFILE.replace("\\\n", " ")
    return re.findall(rf"^{word} (.*)$", joined, re.MULTILINE)


def last_stage() -> str:
    return DOCKERFILE.rpartition("\nFROM ")[2]


def test_it_runs_as_nobody_in_particular() -> None:
    users = re.findall(r"^USER (\S+)$", last_stage(), re.MULTILINE)
    assert users
    assert all(int(number) >= 1000 for number in users[-1].split(":"))
    after = last_stage().rpartition("\nUSER ")[2]
    assert "RUN" not in after


def test_images_are_named_by_version_and_by_no_host() -> None:
    named = [line.split(" AS ")[0] for line in instructions("FROM")]
    named += [one["image"] for name, one in COMPOSE["services"].items() if name not in OWN]
    assert len(named) == 3
    for image in named:
        assert re.fullmatch(r"[a-z]+:[0-9][a-z0-9.-]*", image), image
    assert named[0] == named[1], "what is copied from one stage would not fit the other"


def test_packages_come_by_their_hashes_only() -> None:
    runs = " && ".join(instructions("RUN"))
    fetching = re.findall(r"pip (?:install|wheel|download) ([^&]*)", runs)
    assert len(fetching) == 2
    assert sum("--require-hashes" in options for options in fetching) == 1
    assert sum("--no-index" in options for options in fetching) == 1
    assert not re.search(r"https?://|apt-get|curl |wget ", runs)


def test_every_command_is_there() -> None:
    commands = [one["command"][0] for name, one in COMPOSE["services"].items() if name in OWN]
    commands += re.findall(r'"([a-z]+)"', instructions("CMD")[-1])
    assert sorted(set(commands)) == ["migrate", "serve", "work"]
    assert set(commands) <= set(main.commands)
    for name in OWN:
        command, *options = COMPOSE["services"][name]["command"]
        known = {word for one in main.commands[command].params for word in one.opts}
        assert set(options) <= known


def test_every_setting_is_one() -> None:
    given = set(re.findall(r"\b(GRAFTLOG_[A-Z_]+)\b", DOCKERFILE))
    for name in OWN:
        given |= set(COMPOSE["services"][name]["environment"])
    assert given <= {name for variable in VARIABLES for name in variable.names}
    assert "GRAFTLOG_DATABASE_PASSWORD_FILE" in given


@pytest.mark.parametrize("text", [DOCKERFILE, str(COMPOSE)])
def test_no_secret_stands_in_them(text: str) -> None:
    assert not re.search(r"://[^@/\s]+:[^@/\s]+@", text)
    assert not re.search(r"PASSWORD['\"]?\s*[=:]\s*['\"]?\w", text.replace("PASSWORD_FILE", ""))


def test_compose_gives_the_service_no_more_than_it_needs() -> None:
    for name in OWN:
        one = COMPOSE["services"][name]
        assert one["read_only"] is True
        assert one["cap_drop"] == ["ALL"]
        assert "no-new-privileges:true" in one["security_opt"]
        assert one["secrets"] == ["database-password"]
        assert all(port.startswith("127.0.0.1:") for port in one.get("ports", ()))
    assert "ports" not in COMPOSE["services"]["database"]
    assert COMPOSE["services"]["migrate"]["restart"] == "no"
    for name in ("serve", "work"):
        waits = COMPOSE["services"][name]["depends_on"]["migrate"]
        assert waits == {"condition": "service_completed_successfully"}


def test_what_is_built_from_is_what_is_there() -> None:
    kept = re.findall(r"^!(\S+)$", (ROOT / ".dockerignore").read_text(), re.MULTILINE)
    copied = {
        word
        for line in instructions("COPY")
        if not line.startswith("--from")
        for word in line.split()[:-1]
    }
    assert copied == set(kept)
    assert all((ROOT / name).exists() for name in kept)
