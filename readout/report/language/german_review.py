"""Sentences of the review in German: methods, reasons, causes, and the archive's own words."""

from collections.abc import Mapping

_METHODS: Mapping[str, str] = {
    "a sample stands for the interval that begins with it; where samples are more than a minute"
    " apart, the value runs straight to the next one":
        "Ein Momentanwert gilt für das Intervall, das mit ihm beginnt; liegen die Werte mehr als eine Minute"
        " auseinander, wird geradlinig zum nächsten verbunden",
    "a mean stands for its whole interval": "Ein Mittelwert gilt für sein ganzes Intervall",
    "a minimum is taken for its whole interval: sums are too low":
        "Ein Kleinstwert wird für sein ganzes Intervall genommen: Die Mengen sind zu klein",
    "a maximum is taken for its whole interval: sums are too high":
        "Ein Größtwert wird für sein ganzes Intervall genommen: Die Mengen sind zu groß",
    "a total flows evenly in its interval": "Eine Menge verteilt sich gleichmäßig auf ihr Intervall",
    "an interval is never longer than the recording's: gaps are not filled, their time is told":
        "kein Intervall ist länger als das der Aufzeichnung: Lücken werden nicht aufgefüllt, ihre Dauer wird"
        " genannt",
    "Pettitt's test over the means of hours out of hours; it takes for granted one change between two levels":
        "Pettitt-Test über die Stundenmittel außerhalb der Betriebszeit; er setzt einen einzigen Wechsel"
        " zwischen zwei Niveaus voraus",
    "load and unload times: loaded / (loaded + unloaded)":
        "Last- und Leerlaufzeiten: Last / (Last + Leerlauf)",
    "pressure decay: volume × fall / (reference pressure × time), straight line over pressure":
        "Druckabfall: Volumen × Abfall / (Bezugsdruck × Zeit), Ausgleichsgerade über dem Druck",
    "mean flow with its sign": "mittlerer Durchfluss mit Vorzeichen",
}  # fmt: skip

_REASONS: Mapping[str, str] = {
    "recorder not running": "Aufzeichnung lief nicht",
    "no row although the recorder ran": "keine Zeile, obwohl die Aufzeichnung lief",
    "no record in the meter's memory": "kein Datensatz im Speicher des Messgeräts",
    "no flow is measured": "es wird kein Durchfluss gemessen",
    "neither the point nor the job file says when the site produces (calendar: production)":
        "weder die Messstellen- noch die Auftragsdatei sagt, wann produziert wird (`calendar: production`)",
    "nothing was measured out of hours with the pressure in its band":
        "außerhalb der Betriebszeit wurde nichts mit dem Druck in seinem Band gemessen",
    "fewer than {n} hours out of hours were measured":
        "außerhalb der Betriebszeit wurden weniger als {n} Stunden gemessen",
    "The meter was set to another unit meanwhile: {readings}. Over both there is no figure; take a period"
    " with one of them (`--from`, `--until`).":
        "Das Messgerät wurde währenddessen auf eine andere Einheit gestellt: {readings}. Über beide gibt es"
        " keine Zahl; einen Zeitraum mit nur einer davon wählen (`--from`, `--until`).",
    "{name} in {units}": "{name} in {units}",
    "The rows were decoded by maps that differ in {readings}: means and totals over them mix both."
    " Decode them again by the right map: `pipeledger archive redecode`.":
        "Die Zeilen wurden mit Registerbeschreibungen entschlüsselt, die sich in {readings} unterscheiden:"
        " Mittelwerte und Mengen darüber mischen beides. Mit der richtigen neu entschlüsseln:"
        " `pipeledger archive redecode`.",
    "{name} ({key} {before}, then {now})": "{name} ({key} {before}, danach {now})",
    "{name} ({key})": "{name} ({key})",
    "it stayed at one level": "sie blieb auf einem Niveau",
    "a row stands for {n:g} min": "eine Zeile gilt für {n:g} min",
    "nothing was measured": "nichts gemessen",
    "less than {n} min were measured": "weniger als {n} min gemessen",
    "no stretch of {n} min has values for at least {share:.0%} of its time":
        "für keinen Abschnitt von {n} min sind zu mindestens {share:.0%} seiner Zeit Werte da",
    "nothing is kept of the pipe: no uncertainty is told":
        "vom Rohr ist nichts überliefert, also wird keine Unsicherheit genannt",
    "no flow was measured: no uncertainty is told":
        "es wurde kein Durchfluss gemessen, also wird keine Unsicherheit genannt",
    "no uncertainty is told: {why}": "{why}",
    "the point file says too little": "die Messstellendatei sagt zu wenig",
    "the point file that was kept with the rows cannot be understood":
        "die mit den Zeilen aufbewahrte Messstellendatei ist nicht zu verstehen",
    "a point without a flow cannot be added": "eine Messstelle ohne Durchfluss lässt sich nicht addieren",
    "flows in different units or at different reference conditions are not added":
        "Durchflüsse in verschiedenen Einheiten oder bei verschiedenen Bezugsbedingungen werden nicht"
        " addiert",
    "there is no minute in which all points were measured":
        "es gibt keine Minute, in der alle Messstellen gemessen wurden",
    "cannot be told: the difference is smaller than its uncertainty":
        "Ein Unterschied lässt sich nicht feststellen: Er ist kleiner als seine Unsicherheit",
    # corrections
    "{key}: {now} instead of {before}": "{key}: {now} statt {before}",
    "{key}: {now} instead of nothing": "{key}: {now}, vorher nicht angegeben",
    "flow × {factor:g} = (true bore / bore the meter computes with)²":
        "Durchfluss × {factor:g} = (wahrer Innendurchmesser / der, mit dem das Messgerät rechnet)²",
    "{factor}, the latter {mm:g} mm": "{factor}, letzterer {mm:g} mm",
    "{what}; not taken in: {why}": "{what}; nicht übernommen, das Programm meldet: {why}",
    # before and after
    "not comparable: {what} was {was} before and {now} after":
        "nicht vergleichbar: {what} war vorher {was} und nachher {now}",
    "not comparable: the diameter was corrected between them":
        "nicht vergleichbar: Der Durchmesser wurde dazwischen berichtigt",
    "not said": "nicht angegeben",
    "the meter": "das Messgerät", "the probe's position": "die Lage der Sonde",
    "the diameter": "der Durchmesser",
    "the diameter set in the meter": "der im Messgerät eingestellte Durchmesser",
    "the reference of the flow": "der Bezugszustand des Durchflusses", "the damping": "die Dämpfung",
}  # fmt: skip

#: Why an amendment could not be taken in: what the check of a point file says.
_REFUSED: Mapping[str, str] = {
    "the point file cannot be read": "die Messstellendatei lässt sich nicht lesen",
    "--set {name}: '{first}' has no keys of its own here":
        "--set {name}: '{first}' hat hier keine eigenen Schlüssel",
    "the measuring point lacks the key '{key}' ({means}); give it here or in a job file":
        "der Messstelle fehlt der Schlüssel '{key}' ({means}); hier oder in einer Auftragsdatei angeben",
    "from the outside the bore is known only with wall_thickness; write such as 3.6 mm":
        "von außen ist der Innendurchmesser nur mit `wall_thickness` bekannt; zum Beispiel 3.6 mm schreiben",
    "two walls of {wall} leave no bore in a pipe of {pipe}; a wall here is less than {most} mm":
        "zwei Wände von {wall} lassen in einem Rohr von {pipe} nichts frei; eine Wand ist hier dünner als"
        " {most} mm",
    "{length} circumference": "{length} Umfang",
    "a table needs the size to look up: standard, such as works list DN 50":
        "zu `table` gehört die Größe, die nachgeschlagen wird: `standard`, zum Beispiel works list DN 50",
    "a stem of {stem} does not go into a bore of {bore} mm":
        "ein Schaft von {stem} passt nicht in einen Innendurchmesser von {bore} mm",
    "{text} has no size; write such as {one} DN 50":
        "{text} nennt keine Größe; zum Beispiel {one} DN 50 schreiben",
    "{name} is no known pipe standard; allowed: {standards}, or your own list as a CSV file under the"
    " key table":
        "{name} ist keine bekannte Rohrnorm; erlaubt: {standards}, oder eine eigene Liste als CSV-Datei unter"
        " `table`",
    "{name} has no DN {dn}; allowed as DN: {sizes}": "{name} hat kein DN {dn}; erlaubt als DN: {sizes}",
    "{pressure} is below vacuum; more than {least} bar(g), {whose} air pressure, or more than 0 bar(a)":
        "{pressure} liegt unter Vakuum; mehr als {least} bar(g), {whose} Luftdruck, oder mehr als 0 bar(a)",
    "the site's": "der örtliche",
    "the standard": "der Norm-",
    "{found} is below absolute zero; more than {least}":
        "{found} liegt unter dem absoluten Nullpunkt; mehr als {least}",
    "a share of full scale needs full_scale; write such as 160 m/s":
        "zu einem Anteil vom Endwert gehört `full_scale`; zum Beispiel 160 m/s schreiben",
    "k or distribution, not both; take one out":
        "`k` oder `distribution`, nicht beide; eines davon herausnehmen",
    "{kind} where text is expected; {wanted}": "{kind}, wo Text stehen muss; {wanted}",
    "write such as {example}": "zum Beispiel {example} schreiben",
    "{unit} is a unit of {its}, not of {wanted}": "{unit} ist eine Einheit für {its}, nicht für {wanted}",
    "{one} or {other}": "{one} oder {other}",
    "gauge or absolute? write {unit}(g) or {unit}(a)":
        "Überdruck oder absolut? {unit}(g) oder {unit}(a) schreiben",
    "this pressure is absolute; write {unit}(a)": "dieser Druck ist absolut; {unit}(a) schreiben",
    "must be more than {least}": "muss mehr als {least} sein",
    "must be at least {least}": "muss mindestens {least} sein",
    "write such as 40 m3/h to 420 m3/h": "zum Beispiel 40 m3/h to 420 m3/h schreiben",
    "{text} is no span; {wanted}": "{text} ist keine Spanne; {wanted}",
    "write both ends in the same unit": "beide Enden in derselben Einheit schreiben",
    "write the lower end first": "das untere Ende zuerst schreiben",
    "write such as 0.21 EUR/kWh; for each kWh, MWh or m3":
        "zum Beispiel 0.21 EUR/kWh schreiben; je kWh, MWh oder m3",
    "{text} is no price; {wanted}": "{text} ist kein Preis; {wanted}",
    "write a unit of {wanted}": "eine Einheit für {wanted} schreiben",
    "{text} is no known unit; {wanted}": "{text} ist keine bekannte Einheit; {wanted}",
    'write such as "22:00-06:00"': 'zum Beispiel "22:00-06:00" schreiben',
    "{text} is no shift; {wanted}": "{text} ist keine Schicht; {wanted}",
    "{text} begins when it ends; {wanted}": "{text} beginnt, wenn sie endet; {wanted}",
    "write such as Mon-Fri or Mon, Wed; days: {days}":
        "zum Beispiel Mon-Fri oder Mon, Wed schreiben; Tage: {days}",
    "{text} is no list of weekdays; {wanted}": "{text} ist keine Liste von Wochentagen; {wanted}",
    "write such as 2026-05-04": "zum Beispiel 2026-05-04 schreiben",
    "{text} is no date; {wanted}": "{text} ist kein Datum; {wanted}",
    "{text} is no day of the calendar; {wanted}": "{text} gibt es im Kalender nicht; {wanted}",
}  # fmt: skip

_COST: Mapping[str, str] = {
    "the job file gives no specific power, or no price: no cost is told":
        "die Auftragsdatei nennt keine spezifische Leistung oder keinen Strompreis",
    "a flow in {unit} has no cost by a specific power of a volume flow":
        "ein Durchfluss in {unit} hat keine Kosten nach der spezifischen Leistung eines Volumenstroms",
    "a price per {per} is not one per kWh": "ein Preis je {per} ist keiner je kWh",
    "a pressure not said": "einem Druck, der nicht angegeben ist",
    "electrical input": "elektrische Leistungsaufnahme",
    "electrical input (package input)": "elektrische Leistungsaufnahme (gesamte Kompressoranlage)",
    "electrical input (shaft input)": "Leistungsaufnahme an der Welle",
    "electrical input (motor input)": "elektrische Leistungsaufnahme (nur Motor)",
    "{power} over free air delivered at {at}; free air is at the compressor's inlet conditions, the flow at"
    " the meter's reference: they are not converted into each other":
        "{power} bezogen auf die Liefermenge bei {at}; die Liefermenge gilt im Ansaugzustand des Kompressors,"
        " der Durchfluss im Bezugszustand des Messgeräts: Beide sind nicht ineinander umgerechnet",
    "{specific:.3g} kW/(m3/min) is below the isentropic work of {floor:.3g} kW/(m3/min): no compressor needs"
    " so little; check the specific power and what its air refers to":
        "{specific:.3g} kW/(m³/min) liegen unter der isentropen Verdichtungsarbeit von {floor:.3g}"
        " kW/(m³/min):"
        " So wenig braucht kein Kompressor; die spezifische Leistung und ihren Bezugszustand prüfen",
    "{power}": "{power}",
    "{flow:.4g} m3/min × {specific:.4g} kW/(m3/min) × {hours:g} h/a × {price} {currency}/kWh":
        "{flow:.4g} m³/min × {specific:.4g} kW/(m³/min) × {hours:g} h/a × {price} {currency}/kWh",
}  # fmt: skip

#: Words that the archive keeps, and those of a file's closed lists.
ARCHIVE: Mapping[str, str] = {
    # of a round
    "ok": "in Ordnung", "partial": "unvollständig", "no reply": "keine Antwort",
    "damaged reply": "beschädigte Antwort", "wrong reply": "falsche Antwort",
    "exception": "Messgerät meldet Ausnahme", "port lost": "Schnittstelle verloren",
    "skipped": "ausgelassen",
    # of the computer's clock
    "synchronised": "synchronisiert", "unsynchronised": "nicht synchronisiert", "unset": "nicht gestellt",
    # of a value
    "not available": "nicht verfügbar", "not a number": "keine Zahl", "below range": "unter dem Bereich",
    "above range": "über dem Bereich", "unknown code": "unbekannter Code",
    "unknown unit": "unbekannte Einheit",
    "invalid time": "ungültige Zeit", "unsteady": "unstet",
    # of a record's time and check
    "invalid": "ungültig", "dst first": "doppelte Stunde, erste", "dst second": "doppelte Stunde, zweite",
    "dst ambiguous": "doppelte Stunde, welche ist offen", "stepped forward": "Uhr vorgestellt",
    "stepped back": "Uhr zurückgestellt", "mismatch": "Prüfsumme stimmt nicht",
    # what a value is
    "sample": "Momentanwert", "mean": "Mittelwert", "minimum": "Kleinstwert", "maximum": "Größtwert",
    "total": "Menge",
    # days
    "production": "Produktionstag", "no production": "produktionsfrei", "closed": "geschlossen",
    # how a meter measures
    "thermal": "thermisch", "vortex": "Wirbel", "turbine": "Turbine", "ultrasonic": "Ultraschall",
    "differential pressure": "Differenzdruck", "coriolis": "Coriolis", "magnetic": "magnetisch-induktiv",
    "other": "anderes",
    # what a point is for
    "header flow": "Durchfluss der Hauptleitung", "branch flow": "Durchfluss eines Abzweigs",
    "compressor power": "Leistung des Kompressors", "dew point": "Taupunkt",
}  # fmt: skip

#: Names that maps commonly give readings and settings; the files keep the map's own.
NAMES: Mapping[str, str] = {
    "flow": "Durchfluss", "velocity": "Geschwindigkeit", "pressure": "Druck", "temperature": "Temperatur",
    "total": "Zählwerk", "dew_point": "Taupunkt", "humidity": "Feuchte", "power": "Leistung",
    "energy": "Energie", "damping": "Dämpfung", "inside_diameter": "Innendurchmesser im Messgerät",
    "low_flow_cut_off": "Schleichmengenunterdrückung", "log_interval": "Speicherintervall",
    "flow_unit": "Einheit des Durchflusses", "gas": "Gas", "reference_pressure": "Bezugsdruck",
    "reference_temperature": "Bezugstemperatur",
}  # fmt: skip

REVIEW: Mapping[str, str] = {**_METHODS, **_REASONS, **_REFUSED, **_COST, **ARCHIVE}
