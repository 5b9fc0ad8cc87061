"""PDF and pictures by a Chromium that is on the computer: headless, from the page alone."""

import base64
import html
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path
from urllib.parse import unquote_to_bytes

from readout.errors import FellShort, WrongUse

#: Names under which Chromium and its kin are installed.
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
#: A page with all of its charts is drawn in seconds; a browser that takes longer hangs [s].
PATIENCE_S = 180
#: A picture by itself: on white, with its title, as wide as a page and as high as on a screen.
_DRAW = """
<script>
Promise.all(places.flatMap(place => ["png", "svg"].map(format => {
  const { data, layout } = spec_of(place);
  const point = place.closest("article")?.querySelector("h2").textContent;
  const own = place.closest("figure").querySelector("h3, h4").textContent;
  const name = point ? point + ": " + own : own;
  const plain = text => text.replaceAll("&", "&amp;").replaceAll("<", "&lt;"); // the chart script reads tags
  const under = place.closest("article")?.dataset.under;
  const text = plain(name) + (under ? '<br><span style="font-size:12px">' + plain(under) + "</span>" : "");
  const over = under ? 64 : 40, title = { text, x: 0.01, xanchor: "left", y: 1, yanchor: "top",
    yref: "container", pad: { t: under ? 24 : 14 }, font: { size: 16 } };
  const margin = { ...layout.margin, t: layout.margin.t + over }, height = layout.height + over;
  const white = { paper_bgcolor: "#fff", plot_bgcolor: "#fff" };
  const figure = { data, layout: { ...layout, ...white, height, margin, title } };
  const size = { width: 1100, height, scale: format === "png" ? 2 : 1 };
  return Plotly.toImage(figure, { format, ...size }).then(url => {
    const kept = document.createElement("data");
    const number = place.dataset.chart.padStart(String(places.length - 1).length, "0");
    kept.setAttribute("data-figure", number + "-" + place.dataset.name + "." + format);
    kept.setAttribute("value", url);
    document.body.append(kept);
  });
})));
</script>
"""


def browser() -> str:
    """The browser's path; FellShort where there is none."""
    for name in BROWSERS:
        found = shutil.which(name)
        if found:
            return found
    raise FellShort(
        f"no Chromium is on this computer (looked for {', '.join(BROWSERS)}), which --pdf and --figures need;"
        " install one, or print the page from any browser"
    )


def print_pdf(page: Path, to: Path) -> None:
    """Print the page to `to`, on A4.

    Raises:
        FellShort: no browser, one that prints nothing, or a file that cannot be written.
    """
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "page.pdf"
        _run(page, [f"--print-to-pdf={made}", "--no-pdf-header-footer"])
        if not made.is_file() or not made.read_bytes().startswith(b"%PDF"):
            raise FellShort(f"the browser printed no PDF of {page}; print it from a browser by hand")
        _put(to, made.read_bytes())


def save_figures(page: str, folder: Path) -> list[str]:
    """Write every chart of the page's text as PNG and SVG into `folder`; their names.

    Raises:
        WrongUse: the folder cannot be made.
        FellShort: no browser, one that draws nothing, or a file that cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WrongUse(f"--figures {folder}: no such folder can be made ({error.strerror})") from error
    with tempfile.TemporaryDirectory() as aside:
        drawing = Path(aside) / "figures.html"
        drawing.write_text(page.replace("</body>", f"{_DRAW}</body>"), encoding="utf-8")
        dom = _run(drawing, ["--dump-dom"]).decode("utf-8", "replace")
    names = []
    for name, url in re.findall(r'<data data-figure="([\w.-]+)" value="([^"]*)"', dom):
        head, _, data = html.unescape(url).partition(",")
        content = base64.b64decode(data) if head.endswith(";base64") else unquote_to_bytes(data)
        _put(folder / name, content)
        names.append(name)
    if not names:
        raise FellShort(f"the browser drew no figure into {folder}")
    return sorted(names)


def _put(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as error:
        raise FellShort(f"{path}: cannot be written ({error.strerror}); is it open elsewhere?") from error


def _run(page: Path, options: Sequence[str]) -> bytes:
    """What the browser wrote on stdout, with a profile of its own that is thrown away."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        command = [
            browser(), "--headless", "--disable-gpu", "--no-first-run", f"--user-data-dir={profile}",
            "--disable-background-networking", "--window-size=1100,800", "--virtual-time-budget=20000",
            *(["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []), *options,
            page.resolve().as_uri(),
        ]  # fmt: skip
        try:
            done = subprocess.run(command, capture_output=True, timeout=PATIENCE_S, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise FellShort(f"the browser {command[0]} did not draw {page}: {error}") from error
    if done.returncode:
        raise FellShort(f"the browser {command[0]} ended with status {done.returncode} on {page}")
    return done.stdout
