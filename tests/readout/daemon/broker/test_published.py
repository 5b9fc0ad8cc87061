"""A recorder and a real broker: what is published, what survives, and that the archive comes first."""

import json
import os
import signal
import subprocess
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pyarrow.dataset as ds
import pytest


def archived(folder: Path) -> dict[int, dict[str, Any]]:
    """The sealed rows by sequence."""
    rows = ds.dataset(folder / "archive/rows", partitioning="hive").to_table().to_pylist()
    return {row["sequence"]: row for row in rows}


def agrees(message: Any, row: dict[str, Any]) -> None:
    """One row's message against the archive's row."""
    assert message["point"] == "header"
    assert message["status"] == row["status"]
    assert message["due"] == row["due"].isoformat(timespec="milliseconds").replace("+00:00", "Z")
    readings = message["readings"]
    assert np.float32(readings["flow"]["value"]) == np.float32(row["flow"]), "a float32 of the meter"
    for name in ("pressure", "total"):
        assert readings[name]["value"] == row[name]
    for name in ("flow", "pressure", "total"):
        assert readings[name]["flag"] == row.get(f"{name}_flag")
    words = {"standby": 0, "measuring": 1}
    assert words.get(readings["mode"]["value"], readings["mode"]["value"]) == row["mode"]


def test_a_broker_that_is_killed_and_comes_back_costs_only_its_own_messages(
    publish: Any, mosquitto: Any, listen: Any, command: ModuleType, tmp_path: Path
) -> None:
    """Every row is recorded; what is published after the return is what the archive holds."""
    broker = mosquitto()
    broker.start()
    with publish(f"mqtt://127.0.0.1:{broker.port}") as log:
        with listen(broker.port) as before:
            command.until(lambda: len(before.of("/row")) > 3, what="rows are published")
            assert before.states()[0] == "online"
        broker.kill()
        command.until(lambda: "connection lost" in log.so_far().err, what="it is told")
        broker.start()
        with listen(broker.port) as after:
            command.until(lambda: len(after.of("/row")) > 10, timeout=60, what="rows after the return")
            command.until(lambda: after.of("/reading/pressure"), what="readings")
            done = log.end(signal.SIGTERM)
            command.until(lambda: after.states()[-1:] == ["offline"], what="its goodbye")
    assert done.status == 0, done
    assert done.err.count("connection lost") == 1
    rows = archived(tmp_path)
    assert sorted(rows) == list(range(1, max(rows) + 1)), "a round is missing"
    found = after.of("/row")
    assert [message["sequence"] for message in found] == sorted({message["sequence"] for message in found})
    for message in (*before.of("/row"), *found):
        agrees(message, rows[message["sequence"]])
    for message in after.of("/reading/pressure"):
        row = rows[message["sequence"]]
        assert (message["value"], message["unit"], message["flag"]) == (
            row["pressure"], "bar(g)", row.get("pressure_flag"),
        )  # fmt: skip
        assert message["status"] == row["status"]


@pytest.mark.long
def test_a_broker_that_hangs_is_left_and_costs_only_its_own_messages(
    publish: Any, mosquitto: Any, listen: Any, command: ModuleType, tmp_path: Path
) -> None:
    """Stopped, not dead: the connection stands, so only the missing answers to signs of life (15 s) tell."""
    broker = mosquitto()
    broker.start()
    with publish(f"mqtt://127.0.0.1:{broker.port}") as log:
        command.until(lambda: "connected" in log.so_far().err, what="the broker is there")
        broker.hang()
        command.until(lambda: "connection lost" in log.so_far().err, timeout=60, what="it is told")
        broker.go_on()
        with listen(broker.port) as after:
            command.until(
                lambda: any(one["sequence"] > 200 for one in after.of("/row")),
                timeout=90, what="rows after the return",
            )  # fmt: skip
            done = log.end(signal.SIGTERM)
    assert done.status == 0, done
    rows = archived(tmp_path)
    assert sorted(rows) == list(range(1, max(rows) + 1)), "a round is missing"
    assert {row["status"] for row in rows.values()} == {"ok"}
    for message in after.of("/row"):
        agrees(message, rows[message["sequence"]])


def test_the_last_values_and_who_is_gone_are_retained(
    publish: Any, mosquitto: Any, listen: Any, command: ModuleType, tmp_path: Path
) -> None:
    """Whoever subscribes later gets the last row at once; of a killed publisher the broker tells."""
    broker = mosquitto()
    with publish(f"mqtt://127.0.0.1:{broker.port}/plant/air") as log:
        command.until(lambda: "not reached" in log.so_far().err, what="a broker that is not there is told")
        broker.start()
        with listen(broker.port) as heard:
            command.until(lambda: heard.of("/row"), timeout=60, what="rows are published")
            recorder = command.run("status", "archive", "--json", cwd=tmp_path).json()["recorder"]["pid"]
            words = ["pgrep", "-P", str(recorder), "-f", "outlet.process"]
            (publisher,) = subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()
            os.kill(int(publisher), signal.SIGKILL)
            command.until(lambda: "offline" in heard.states(), what="the broker tells of its end")
            command.until(lambda: heard.states()[-1] == "online", what="it is started again")
        assert "the broker's process has ended" in log.so_far().err
        done = log.end(signal.SIGTERM)
    with listen(broker.port) as later:
        command.until(lambda: later.of("/reading/total"), what="retained messages")
    assert done.status == 0, done
    topics = {topic: (text, retained) for topic, text, retained in later.messages}
    assert all(retained for _, retained in topics.values())
    assert topics["plant/air/recorder"][0] == "offline"
    last = json.loads(topics["plant/air/header/row"][0])
    assert last["sequence"] == max(archived(tmp_path))
    assert {topic.rpartition("/")[2] for topic in topics if "/reading/" in topic} == set(last["readings"])


def test_the_last_message_before_a_kill_is_in_the_archive(
    publish: Any, mosquitto: Any, listen: Any, command: ModuleType, tmp_path: Path
) -> None:
    """The recorder is killed as soon as a row is heard: that row is kept already."""
    broker = mosquitto()
    broker.start()
    with listen(broker.port) as heard, publish(f"mqtt://127.0.0.1:{broker.port}") as log:
        command.until(lambda: len(heard.of("/row")) > 2, what="rows are published")
        log.process.kill()
        log.process.wait()
        last = heard.of("/row")[-1]
    assert command.run("archive", "seal", "archive", cwd=tmp_path).status == 0
    agrees(last, archived(tmp_path)[last["sequence"]])


@pytest.fixture
def certificates(tmp_path: Path) -> Path:
    """An authority, and a certificate of it for 127.0.0.1, by openssl."""
    commands = (
        "req -x509 -newkey rsa:2048 -nodes -keyout ca.key -out ca.pem -days 2 -subj /CN=authority",
        "req -newkey rsa:2048 -nodes -keyout broker.key -out broker.csr -subj /CN=127.0.0.1"
        " -addext subjectAltName=IP:127.0.0.1",
        "x509 -req -in broker.csr -CA ca.pem -CAkey ca.key -CAcreateserial -out broker.pem -days 2"
        " -copy_extensions copy",
    )
    for words in commands:
        subprocess.run(["openssl", *words.split()], cwd=tmp_path, check=True, capture_output=True)
    return tmp_path


def test_a_broker_is_used_only_with_its_right_certificate_and_our_right_password(
    publish: Any, mosquitto: Any, certificates: Path, command: ModuleType, tmp_path: Path
) -> None:
    """Connected with the right ones; a stranger's certificate and a wrong password are told and not used."""
    passwords = ["mosquitto_passwd", "-b", "-c", "users", "hall", "right"]
    subprocess.run(passwords, cwd=tmp_path, check=True, capture_output=True)
    (tmp_path / "users").chmod(0o644)
    (tmp_path / "broker.key").chmod(0o644)
    broker = mosquitto(
        "allow_anonymous false", f"password_file {tmp_path}/users", f"certfile {certificates}/broker.pem",
        f"keyfile {certificates}/broker.key", "user root",
    )  # fmt: skip
    broker.start()
    url = f"mqtts://127.0.0.1:{broker.port}"
    tries = {
        "user: hall\npassword: right\nca: ca.pem\n": "connected",
        "user: hall\npassword: wrong\nca: ca.pem\n": "refuses us (Not authorized)",
        "user: hall\npassword: right\n": "certificate verify failed",
        "user: hall\npassword: right\nca: broker.key\n": "a certificate or key cannot be used",
    }
    for login, said in tries.items():
        (tmp_path / "login").write_text(login)
        with publish(url, "--mqtt-login", "login") as log:
            command.until(lambda log=log, said=said: said in log.so_far().err, what=said)
            done = log.end(signal.SIGTERM)
        assert "right" not in done.err.replace("is the path right", "")
        assert "wrong" not in done.err


@pytest.mark.parametrize(
    "words", [("--mqtt", "localhost"), ("--mqtt-login", "login"), ("--mqtt", "mqtt://a:b@c")]
)
def test_wrong_use_is_told_before_anything_is_recorded(
    words: tuple[str, ...], command: ModuleType, tmp_path: Path
) -> None:
    command.write_point(tmp_path, "header", "./port")
    done = command.run("log", "header.yaml", "--archive", "archive", *words, cwd=tmp_path)
    assert done.status == 2, done
    assert "--mqtt" in done.err
    assert not (tmp_path / "archive").exists()
