"""Where the page may listen, and to which names it answers."""

from pathlib import Path

import pytest

from readout.daemon.page.address import Listen, listen_at
from readout.errors import WrongUse

LOCAL, OPEN = Listen("127.0.0.1", 8808, None), Listen("0.0.0.0", 8808, "f00dface-hollow-mere")


@pytest.mark.parametrize("text", ["127.0.0.1:8808", "[::1]:8808", "localhost:0", "127.8.9.10:1"])
def test_this_computer_alone_needs_no_token(text: str) -> None:
    assert listen_at(text, None).is_local


@pytest.mark.parametrize("text", ["0.0.0.0:8808", "[::]:8808", "192.0.2.7:8808", "hollow-mere.example:8808"])
def test_an_address_that_others_reach_needs_one(text: str, tmp_path: Path) -> None:
    """RFC 5737's documentation addresses. The refusal names both ways out."""
    with pytest.raises(WrongUse, match=r"--page-token FILE.*tunnel"):
        listen_at(text, None)
    (tmp_path / "token").write_text("f00dface-hollow-mere\nanother line\n", "utf-8")
    found = listen_at(text, tmp_path / "token")
    assert (found.token, found.is_local) == ("f00dface-hollow-mere", False)


@pytest.mark.parametrize(
    "text", ["", "8808", ":8808", "127.0.0.1:", "127.0.0.1:http", "127.0.0.1:65536", "::"]
)
def test_what_is_no_address_is_refused(text: str) -> None:
    with pytest.raises(WrongUse, match="write HOST:PORT"):
        listen_at(text, None)


@pytest.mark.parametrize("token", ["", "\n", "too short", "x" * 201, "hollow\x00mere-hollow-mere"])
def test_a_token_that_can_be_guessed_is_refused(token: str, tmp_path: Path) -> None:
    (tmp_path / "token").write_text(token, "utf-8")
    with pytest.raises(WrongUse, match="16 to 200"):
        listen_at("127.0.0.1:8808", tmp_path / "token")
    with pytest.raises(WrongUse, match="cannot be read"):
        listen_at("127.0.0.1:8808", tmp_path / "absent")


@pytest.mark.parametrize(
    ("host", "local", "open_"),
    [
        ("127.0.0.1:8808", True, True),
        ("localhost", True, False),
        ("LOCALHOST:9000", True, False),  # of a tunnel: another port
        ("[::1]:8808", True, True),
        ("192.0.2.7:8808", False, True),  # a number is where it says, nobody can point it elsewhere
        ("rebound.example", False, False),
        ("rebound.example:8808", False, False),
        ("127.0.0.1.rebound.example", False, False),
        ("localhost.rebound.example", False, False),
        ("127.0.0.1:8808@rebound.example", False, False),
        ("127.0.0.1:8808, rebound.example", False, False),
        ("[::1", True, True),
        ("", False, False),
    ],
)
def test_only_names_that_nobody_else_can_give_are_answered(host: str, local: bool, open_: bool) -> None:
    """A name under somebody's control can be made to lead here (DNS rebinding)."""
    assert LOCAL.answers_to(host) is local
    assert OPEN.answers_to(host) is open_


def test_its_own_name_is_answered_where_others_may_come(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("socket.gethostname", lambda: "Hall-Recorder")
    assert OPEN.answers_to("hall-recorder:8808")
    assert OPEN.answers_to("hall-recorder.local:8808")
    assert not LOCAL.answers_to("hall-recorder:8808")
    assert OPEN.url(8808) == "http://Hall-Recorder:8808/"
    assert LOCAL.url(8808) == "http://127.0.0.1:8808/"
    assert Listen("::1", 0, None).url(8808) == "http://[::1]:8808/"
