"""Why an amendment could not be taken in, on a German page: no word of it is left in English."""

from pathlib import Path
from types import ModuleType

import pytest

from readout.report.language.words import Language, Words
from readout.review.review import review
from storage.archive import Archive
from storage.ledger import Kind

GERMAN = Words(Language.GERMAN)
#: What the kept file says of some keys.
WAS = {
    "calendar.production": "Mon-Fri", "calendar.closed": "[2026-05-04]", "conditions.pressure": "7 bar(g)",
    "energy.price": "0.25 EUR/kWh",
}  # fmt: skip
#: Key, value, and what the page has to say; the pipe has 53.1 mm inside, the site 1 bar(a).
REFUSED = [
    ("calendar.production", "Moon-Fri",
     "'Moon-Fri' ist keine Liste von Wochentagen; zum Beispiel Mon-Fri oder Mon, Wed schreiben; Tage: Mon,"
     " Tue, Wed, Thu, Fri, Sat, Sun"),
    ("calendar.closed", "[2026-02-30]",
     "'2026-02-30' gibt es im Kalender nicht; zum Beispiel 2026-05-04 schreiben"),
    ("pipe.probe.stem_diameter", "60 mm",
     "ein Schaft von 60 mm passt nicht in einen Innendurchmesser von 53,1 mm"),
    ("pipe.outside_diameter", "60.3 mm",
     "von außen ist der Innendurchmesser nur mit `wall_thickness` bekannt; zum Beispiel 3.6 mm schreiben"),
    ("pipe.standard", "EN 10255 heavy DN 50",
     "'EN 10255 heavy' ist keine bekannte Rohrnorm; erlaubt: EN 10255 medium oder ASME B36.10M Sch 40, oder"
     " eine eigene Liste als CSV-Datei unter `table`"),
    ("conditions.pressure", "-1.2 bar(g)",
     "−1,2 bar(g) liegt unter Vakuum; mehr als −1 bar(g), der örtliche Luftdruck, oder mehr als 0 bar(a)"),
    ("conditions.temperature", "-300 degC",
     "−300 °C liegt unter dem absoluten Nullpunkt; mehr als −273,15 °C"),
    ("conditions.pressure", "7 mm",
     "'7 mm': mm ist eine Einheit für Länge, nicht für Druck; zum Beispiel 7 bar(g) schreiben"),
    ("conditions.pressure", "7 bar",
     "'7 bar': Überdruck oder absolut? bar(g) oder bar(a) schreiben; zum Beispiel 7 bar(g) schreiben"),
    ("energy.price", "cheap",
     "'cheap' ist kein Preis; zum Beispiel 0.21 EUR/kWh schreiben; je kWh, MWh oder m3"),
    ("role.first", "x", "--set role.first: 'role' hat hier keine eigenen Schlüssel"),
]  # fmt: skip


@pytest.fixture(scope="module")
def told(hall: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """What the page says of each amendment."""
    root: Path = tmp_path_factory.mktemp("refused") / "archive"
    dues = hall.every(60_000, "2026-05-05T08:00Z", "2026-05-05T08:05Z")
    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(60_000), dues, lambda _: (60.0, 7000, None))
        hall.seal(archive, dues[-1] + hall.HOUR)
        for key, value, _ in REFUSED:
            was = {key: WAS[key]} if key in WAS else {}
            content = {"point": hall.POINT, "from": "2026-05-01T00:00:00Z", "set": {key: value}, "was": was}
            archive.ledger.append(Kind.POINT, content)
    found = review(root, hall.POINT)
    assert found is not None
    return [GERMAN(one.what).replace("\u00a0", " ") for one in found.corrections]


@pytest.mark.parametrize("number", range(len(REFUSED)), ids=[f"{key}={value}" for key, value, _ in REFUSED])
def test_the_reason_is_german(told: list[str], number: int) -> None:
    key, value, reason = REFUSED[number]
    begin = f"--set {key}={value}: " if not reason.startswith("--set") else ""
    assert told[number].partition("nicht übernommen, das Programm meldet: ")[2] == f"{begin}{reason}"
