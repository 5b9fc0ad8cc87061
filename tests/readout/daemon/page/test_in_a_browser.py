"""The page as a person has it, in Debian's Chromium: current, open about what is wrong, and by itself."""

import json
import re
import signal
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any

from readout.clock import SystemClock
from simulators.line.pace import faithful

HOSTILE = "<img src=x onerror=\"document.title='taken'\"> </script><b>probe</b> \u202ecleaned"
#: Sizes in CSS pixels: a laptop and a phone.
LAPTOP, PHONE = (1366, 768), (390, 844)


#: Keeps how many rounds had lacked a reply in the moment when the page first says so.
LACKING_THEN = """
new MutationObserver(() => {
  if (document.querySelector(".state").textContent.startsWith("No reply for"))
    window.lackingThen ??= points.get("header").told.lacking;
}).observe(document.body, {subtree: true, childList: true, characterData: true}); null
"""


def ledger_of(archive: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (archive / "ledger.jsonl").read_text("utf-8").splitlines()]


def test_values_and_ages_stay_current_without_a_reload_and_without_the_network(
    record: Any, chromium: Any
) -> None:
    """No address but the page's own is asked; the console has nothing to say."""
    with record() as recording:
        tab = chromium.open(recording.url, *LAPTOP)
        tab.until(lambda: re.match(r"\d", tab.text(".figure .number")), "a value")
        assert tab.text("#site") == "Hollow Mere bottling hall"
        assert tab.text(".figure .unit") == "m³/h"
        first = tab.text(".figure .number")
        tab.until(lambda: tab.text(".figure .number") != first, "another value")
        assert re.fullmatch(r"Measured \d\.\d s ago", tab.text(".state"))
        assert re.fullmatch(r"Recording\. \d\d:\d\d:\d\d, Europe/Dublin time", tab.text("#heard"))
        tab.until(lambda: tab.run("document.querySelector('.chart svg.main-svg') !== null"), "a chart")
        tab.until(lambda: "% of the last hour" in tab.text(".shares"), "coverage")
        assert tab.complaints() == []
        asked = {url for url in tab.requests() if not url.startswith(("data:", "blob:"))}
        assert {url for url in asked if not url.startswith(recording.url)} == set()
        assert tab.run("performance.getEntriesByType('navigation').length") == 1


def test_a_meter_that_falls_silent_is_shown_so_within_two_rounds(
    record: Any, chromium: Any, command: ModuleType
) -> None:
    """Rounds of 2 s. The first one without a reply is told in words, the value is no longer shown as now."""
    silent = False

    def delivery(request: bytes, reply: bytes | None) -> Any:
        return command.silent(request, reply) if silent else faithful(request, reply)

    with command.line(delivery=delivery) as line, record(every="2s", line=line) as recording:
        tab = chromium.open(recording.url, *LAPTOP)
        tab.until(lambda: tab.text(".state").startswith("Measured"), "a value")
        value = tab.text(".figure .number")
        tab.run(LACKING_THEN)
        silent = True
        tab.until(lambda: tab.text(".state").startswith("No reply for"), "the silence")
        assert tab.run("lackingThen") <= 2
        assert tab.text(".figure .number") == "–"
        assert value in tab.text(".before")
        assert tab.run("document.querySelector('article').classList.contains('lacking')")
        assert "header: No reply" in tab.text("#spoken"), "a screen reader is told too"
        silent = False
        tab.until(lambda: tab.text(".state").startswith("Measured"), "it is back")
        assert tab.complaints() == []


def test_an_entry_typed_on_the_page_is_in_the_ledger_and_markup_is_shown_as_text(
    record: Any, chromium: Any, command: ModuleType, tmp_path: Path
) -> None:
    """Entry, mark and map of a stranger hold markup: it is only ever text, wherever it is shown."""
    named = command.MAP.replace("meter: Hollow Mere test meter", "meter: '<b>Hollow</b> Mere test meter'")
    (tmp_path / "map.yaml").write_text(named, encoding="utf-8")
    with record() as recording:
        tab = chromium.open(recording.url, *LAPTOP)
        tab.until(lambda: tab.text(".state").startswith("Measured"), "a value")
        tab.run(f"byId('entry-text').value = {json.dumps(HOSTILE)}")
        tab.run("byId('entry').requestSubmit()")
        tab.until(lambda: tab.text("#entry-told") == "Written into the ledger.", "the entry is taken")
        (note,) = [line for line in ledger_of(recording.archive) if line["kind"] == "note"]
        assert (note["point"], note["text"]) == ("header", HOSTILE)
        mark = ("mark", "header.yaml", "<b>leak</b> test", "--from", "2020-01-01", "--until", "2099-01-01")
        assert command.run(*mark, "--archive", "archive", cwd=tmp_path).status == 0
        tab.until(lambda: "leak" in tab.text("#entries"), "the mark")
        tab.until(lambda: "leak" in tab.text(".chart"), "the mark in the chart")
        shown = tab.run("[...document.querySelectorAll('#entries .text')].map(one => one.textContent)")
        assert HOSTILE in shown
        assert "<b>leak</b> test" in shown
        assert tab.text(".meter").startswith("<b>Hollow</b> Mere test meter, every ")
        assert tab.run("document.querySelectorAll('img, b').length") == 0
        assert tab.run("document.title") != "taken"
        assert tab.text("#entry-text") == ""
        assert tab.complaints() == []


def test_the_page_survives_a_killed_recorder_and_its_successor(
    record: Any, chromium: Any, command: ModuleType, tmp_path: Path
) -> None:
    """Meanwhile it says that it hears nothing; the chart has the hours before, from the archive."""
    with command.line() as line:
        with record(line=line) as recording:
            tab = chromium.open(recording.url, *LAPTOP)
            tab.until(lambda: tab.text(".state").startswith("Measured"), "a value")
            command.until(lambda: line.stats.requests > 40, what="rounds")
            recording.log.end(signal.SIGKILL)
            tab.run("heardAt -= 9000; null")  # of the 10 s without a word nine need not be waited for
            tab.until(lambda: "No word from the recorder" in tab.text("#unheard"), "the silence is told")
            tab.until(lambda: tab.text("#heard").startswith("Last heard at "), "and since when")
            assert (
                tab.run("getComputedStyle(document.querySelector('.figure .number')).textDecorationLine")
                == "line-through"
            )
        with record(line=line, page=f"127.0.0.1:{recording.port}"):
            tab.until(lambda: tab.run("document.querySelector('#unheard').hidden"), "it hears again")
            tab.until(lambda: tab.text(".state").startswith("Measured"), "values again")
            tab.until(
                lambda: "events" in tab.text("#entries") or "killed before" in tab.text("#entries"),
                "the event",
            )
            found = tab.run(
                "fetch('chart?point=header&reading=flow&span=15min').then(answer => answer.json())"
            )
            assert "no row" in [gap["status"] for gap in found["gaps"]]
            gap = [i for i, mean in enumerate(found["mean"]) if mean is not None]
            assert gap[-1] - gap[0] > len(gap), "steps from before and after, with the outage between them"


def test_the_page_is_for_everyone(record: Any, chromium: Any, tmp_path: Path) -> None:
    """axe-core (W3C's WCAG rules as a program): no finding of any weight, on a laptop and on a phone.

    A phone needs no scrolling sideways, and the figure that matters is at least 10 mm high on a laptop (38
    CSS pixels; a 200th of two metres, common practice for reading at a distance).
    """
    package = find_spec("axe_core_python")
    assert package is not None
    assert package.origin is not None
    axe = (Path(package.origin).parent / "axe.min.js").read_text("utf-8")
    with record() as recording:
        tab = chromium.open(recording.url, *LAPTOP)
        tab.until(lambda: "% of the last hour" in tab.text(".shares"), "everything")
        for size in (LAPTOP, PHONE):
            tab.size(*size, mobile=size == PHONE)
            tab.run(axe + "; null")
            asked = "axe.run({resultTypes: ['violations']})"
            found = json.loads(tab.run(f"{asked}.then(found => JSON.stringify(found.violations))"))
            assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
            assert tab.run("document.documentElement.scrollWidth <= innerWidth")
            assert len(tab.picture()) > 10_000
            digits = tab.run(
                "parseFloat(getComputedStyle(document.querySelector('.figure .number')).fontSize)"
            )
            assert digits * 0.7 >= 38, "digits take about 0.7 of the font's size"


def test_a_page_for_others_asks_for_its_token(record: Any, chromium: Any, tmp_path: Path) -> None:
    """Typed once; a wrong one is refused in words."""
    (tmp_path / "token").write_text("f00dface-hollow-mere\n", "utf-8")
    with record("--page-token", "token", page="0.0.0.0:0") as recording:
        tab = chromium.open(recording.url, *PHONE, mobile=True)
        tab.until(lambda: tab.run("document.readyState") == "complete", "the form")
        assert tab.text("label") == "Token"
        for typed in ("wrong wrong wrong wrong", "f00dface-hollow-mere"):
            tab.run(f"document.getElementById('token').value = {json.dumps(typed)}")
            tab.run("document.getElementById('open').requestSubmit()")
            if typed.startswith("wrong"):
                tab.until(lambda: tab.text("#told") == "That is not the token.", "the refusal")
        tab.until(lambda: tab.text(".state").startswith("Measured"), "the page")


def test_the_clock_of_the_browser_does_not_matter(record: Any, chromium: Any) -> None:
    """Ages are told by the recorder's clock: a phone that is an hour off shows the same."""
    with record() as recording:
        tab = chromium.open(recording.url, *PHONE, mobile=True)
        tab.until(lambda: tab.text(".state").startswith("Measured"), "a value")
        ahead = tab.run("now()") / 1000 - SystemClock().utc()
        assert abs(ahead) < 5
        tab.run("Date.now = () => 0")
        tab.until(lambda: re.fullmatch(r"Measured \d\.\d s ago", tab.text(".state")), "the same age")
