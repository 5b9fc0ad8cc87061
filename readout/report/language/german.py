"""The page's sentences in German. What is not here, as a meter's or the log book's words, stays as it is."""

from collections.abc import Mapping

GERMAN: Mapping[str, str] = {
    "Measured at {site}, point {point}, by {meter}, from {begin} until {end}.":
        "Gemessen bei {site}, Messstelle {point}, mit {meter}, von {begin} bis {end}.",
    "from the meter’s memory": "aus dem Speicher des Messgeräts",
    "Findings": "Befund",
    "The points together": "Die Messstellen zusammen",
    "How complete it is": "Wie vollständig es ist",
    "How sure it is": "Wie sicher es ist",
    "The figures": "Die Zahlen",
    "The pictures": "Die Bilder",
    "Out of hours": "Außerhalb der Betriebszeit",
    "The meter's own total and display": "Zählwerk und Anzeige des Messgeräts",
    "Corrections": "Korrekturen",
    "Log book": "Logbuch",
    "Where and with what": "Wo und womit",
    "Appendix": "Anhang",
    "{share} of the period was measured: {measured} of {elapsed}. Nothing is filled over a gap.":
        "{share} der Zeit wurden gemessen: {measured} von {elapsed}. Über Lücken wird nichts aufgefüllt.",
    "Time that is missing, by cause": "Fehlende Zeit nach Ursache",
    "cause": "Ursache", "time": "Zeit", "from": "von", "until": "bis", "missing": "fehlt",
    "recorder not running": "Aufzeichnung lief nicht",
    "no row although the recorder ran": "keine Zeile, obwohl die Aufzeichnung lief",
    "no record in the meter's memory": "kein Satz im Speicher des Messgeräts",
    "Gaps: {shown} of {all}, the longest": "Lücken: {shown} von {all}, die längsten",
    "{n} rows have no time and are in no figure.": "{n} Zeilen haben keine Zeit und stehen in keiner Zahl.",
    "column": "Spalte", "word": "Wort", "rows": "Zeilen",
    "Rows by status, clock and flag": "Zeilen nach Status, Uhr und Kennzeichen",
    "No flow was measured.": "Es wurde kein Durchfluss gemessen.",
    "Method: {method}.": "Verfahren: {method}.",
    "How sure the flow is cannot be said: {why}.":
        "Wie sicher der Durchfluss ist, lässt sich nicht sagen: {why}.",
    "The mean flow is {mean} ± {half} {unit}; the total has the same ± {percent} %.":
        "Der mittlere Durchfluss ist {mean} ± {half} {unit}; für die Summe gelten dieselben ± {percent} %.",
    "Not in it, because nobody said anything of it: {left}.":
        "Nicht darin, weil niemand etwas dazu sagte: {left}.",
    "The register map states no reference conditions for this flow.":
        "Die Registerkarte nennt keine Bezugsbedingungen für diesen Durchfluss.",
    "Volumes are those at {reference}, the meter's reference conditions.":
        "Volumen gelten bei {reference}, den Bezugsbedingungen des Messgeräts.",
    "reading": "Messwert", "unit": "Einheit", "mean": "Mittel", "median": "Median", "lowest": "kleinster",
    "highest": "größter", "total, measured time": "Summe, gemessene Zeit", "Readings": "Messwerte",
    "mean over": "Mittel über", "begins": "beginnt",
    "Largest means of the flow": "Größte Mittel des Durchflusses",
    "Days": "Tage", "Shifts": "Schichten", "Weekdays": "Wochentage", "total": "Summe", "measured": "gemessen",
    "Monday": "Montag", "Tuesday": "Dienstag", "Wednesday": "Mittwoch", "Thursday": "Donnerstag",
    "Friday": "Freitag", "Saturday": "Samstag", "Sunday": "Sonntag",
    "Mon": "Mo", "Tue": "Di", "Wed": "Mi", "Thu": "Do", "Fri": "Fr", "Sat": "Sa", "Sun": "So",
    "lowest to highest row": "kleinste bis größte Zeile",
    "Each stroke runs from the lowest to the highest row of {width}; nothing is drawn over gaps, which are"
    " shaded. Drag to zoom, double click to go back. Times are UTC{offset} throughout.":
        "Jeder Strich reicht von der kleinsten bis zur größten Zeile von {width}; Lücken sind getönt,"
        " über sie"
        " wird nichts gezeichnet. Ziehen vergrößert, Doppelklick führt zurück. Zeiten durchgehend"
        " UTC{offset}.",
    "{name} over time": "{name} über der Zeit",
    "share of measured time [%]": "Anteil der gemessenen Zeit [%]",
    "exceeded for": "überschritten für",
    "Read: for so much of the measured time the flow was at least so high.":
        "Lies: für so viel der gemessenen Zeit war der Durchfluss mindestens so hoch.",
    "Flow duration curve": "Dauerlinie des Durchflusses", "a minute": "eine Minute",
    "Each point is the mean of a minute. Pressure that falls to the right falls with the demand;"
    " points low on the left are pressure lost without demand.":
        "Jeder Punkt ist das Mittel einer Minute. Druck, der nach rechts fällt, fällt mit dem Bedarf;"
        " tiefe Punkte links sind Druckverlust ohne Bedarf.",
    "Pressure against flow": "Druck über Durchfluss",
    "measured time [h]": "gemessene Zeit [h]", "Histogram": "Histogramm",
    "Hours of the measured time in each of 40 classes.":
        "Stunden der gemessenen Zeit in jeder von 40 Klassen.",
    "Hours of the week": "Stunden der Woche",
    "Mean of {name} [{unit}] by hour and weekday on the site's clock; n is how many such hours were"
    " measured at least in part. Darker is more; empty was not measured.":
        "Mittel von {name} [{unit}] nach Stunde und Wochentag der Ortszeit; n sagt, wie viele solcher Stunden"
        " wenigstens zum Teil gemessen wurden. Dunkler ist mehr; leer wurde nicht gemessen.",
    "meter": "Messgerät", "principle": "Prinzip", "serial number": "Seriennummer",
    "role of the point": "Aufgabe der Messstelle", "register map, SHA-256": "Registerkarte, SHA-256",
    "recording": "Aufzeichnung", "{holds}s every {every}": "{holds} alle {every}", "sample": "Stichprobe",
    "Meter and recording": "Messgerät und Aufzeichnung",
    "Pipe and probe, as the point file says": "Rohr und Sonde laut Messstellendatei",
    "inlet run": "Einlaufstrecke", "outlet run": "Auslaufstrecke",
    "Settings read from the meter": "Einstellungen, aus dem Messgerät gelesen",
    "Cautions for whoever goes back to the pipe": "Vorsicht für alle, die wieder ans Rohr gehen",
    "A fitting, B wall, C depth of the sensor, D sensor to tip, E mark from the tip, F inside diameter":
        "A Stutzen, B Wand, C Tiefe des Sensors, D Sensor bis Spitze, E Marke ab Spitze, F Innendurchmesser",
    "Peak or pressure: cannot be told without both a flow and a pressure.":
        "Spitze oder Druck: ohne Durchfluss und Druck lässt es sich nicht sagen.",
    "Peak or pressure: flow and pressure were never measured together.":
        "Spitze oder Druck: Durchfluss und Druck wurden nie zugleich gemessen.",
    "Neither: the pressure never fell below the required {limit} {unit}, not even at peak flow.":
        "Weder Spitze noch Druck: auch bei höchstem Durchfluss fiel er nie unter die nötigen {limit} {unit}.",
    "Pressure was no higher than {limit} {unit} in {share} of the minutes; ":
        "Der Druck lag in {share} der Minuten nicht über {limit} {unit}; ",
    "the flow then, {flow}, was above that of {rank} of all minutes: the peak pulls the pressure down.":
        "der Durchfluss dabei, {flow}, lag über dem von {rank} aller Minuten: die Spitze senkt den Druck.",
    "the flow then, {flow}, was above that of only {rank} of all minutes: pressure is lost without a peak.":
        "der Durchfluss dabei, {flow}, lag nur über dem von {rank} aller Minuten: der Druck geht ohne Spitze"
        " verloren.",
    "Peak or pressure: the pressure hardly moved; neither shows a problem.":
        "Spitze oder Druck: der Druck bewegte sich kaum; keines von beiden zeigt ein Problem.",
    "Nothing was measured out of hours with the pressure in its band.":
        "Außerhalb der Betriebszeit wurde nichts mit dem Druck in seinem Band gemessen.",
    "Pressure against what is required": "Druck gegen den nötigen",
    "required": "nötig", "share of time below": "Zeitanteil darunter", "lowest row": "kleinste Zeile",
    "Lowest pressure of each shift": "Kleinster Druck jeder Schicht", "shift": "Schicht",
    " No required pressure was given: these are the lowest minutes.":
        " Ein nötiger Druck war nicht angegeben: dies sind die Minuten mit dem kleinsten.",
    "What it costs is not told: {why}.": "Was es kostet, wird nicht gesagt: {why}.",
    "An hour of it costs {hour} {currency}; a year of {hours} h under pressure {year} {currency}.":
        "Eine Stunde davon kostet {hour} {currency}; ein Jahr mit {hours} h unter Druck {year} {currency}.",
    "Formula: {formula}": "Formel: {formula}",
    "Specific power {reference}.": "Spezifische Leistung {reference}.",
    "This is what that flow costs. It is no saving.": "Das kostet dieser Durchfluss. Es ist keine Ersparnis.",
    "Out-of-hours demand is not told: {why}.": "Bedarf außerhalb der Betriebszeit wird nicht gesagt: {why}.",
    "While the site did not produce, {mean} {unit} flowed on average, over {counted}.":
        "Während nicht produziert wurde, flossen im Mittel {mean} {unit}, über {counted}.",
    "It is demand, not leakage: dryer purge, drains and machines left open are in it.":
        "Es ist Bedarf, nicht Leckage: Spülluft der Trockner, Ableiter und offene Maschinen sind darin.",
    "Counted only with the pressure between {low} and {high}; {out} out of that band are left out.":
        "Gezählt nur bei Druck zwischen {low} und {high}; {out} außerhalb davon sind weggelassen.",
    "This demand stepped up by {size} {unit}, from {before} to {after} {unit}, between {begin} and {end}.":
        "Dieser Bedarf stieg sprunghaft um {size} {unit}, von {before} auf {after} {unit}, zwischen {begin}"
        " und {end}.",
    "This demand stepped down by {size} {unit}, from {before} to {after} {unit}, between {begin} and {end}.":
        "Dieser Bedarf fiel sprunghaft um {size} {unit}, von {before} auf {after} {unit}, zwischen {begin}"
        " und {end}.",
    "Medians of {before} and {after} hours; {method}.": "Mediane aus {before} und {after} Stunden; {method}.",
    "Pettitt's test over the means of hours out of hours; it takes for granted one change between two levels":
        "Pettitt-Test über die Mittel der Stunden außerhalb der Betriebszeit; er setzt einen einzigen Wechsel"
        " zwischen zwei Niveaus voraus",
    "No totaliser was recorded.": "Kein Zählwerk wurde aufgezeichnet.",
    "The meter's totaliser counted {counted} {unit} while rows came and {gaps} {unit} in gaps;"
    " the integral of the flow is {integral} {unit}, {difference} away.":
        "Das Zählwerk zählte {counted} {unit}, während Zeilen kamen, und {gaps} {unit} in Lücken;"
        " das Integral des Durchflusses ist {integral} {unit}, {difference} daneben.",
    "Why the meter's display may differ: it shows one instant after its own damping, perhaps in"
    " another unit or at other reference conditions; its total runs on through gaps, while the"
    " integral here covers measured time only; and it knows nothing of corrections made later.":
        "Warum die Anzeige des Messgeräts abweichen kann: sie zeigt einen Augenblick nach eigener Dämpfung,"
        " vielleicht in anderer Einheit oder bei anderen Bezugsbedingungen; ihr Zählwerk läuft in Lücken"
        " weiter,"
        " das Integral hier umfasst nur gemessene Zeit; und von späteren Korrekturen weiß sie nichts.",
    "what": "was", "why": "warum", "ledger line": "Zeile im Hauptbuch",
    "Amendments from the ledger": "Berichtigungen aus dem Hauptbuch",
    "Raw beside corrected; rows stay as the meter told them":
        "Roh neben korrigiert; die Zeilen bleiben, wie das Messgerät sie nannte",
    "raw": "roh", "corrected": "korrigiert", "Notes": "Notizen", "no.": "Nr.", "note": "Notiz",
    "mark": "Marke",
    "span": "Spanne", "mean flow": "mittlerer Durchfluss", "mean pressure": "mittlerer Druck",
    "leak test": "Leckprüfung", "by {method}": "mit {method}", "Marks": "Marken",
    "Before and after, mean flow": "Vorher und nachher, mittlerer Durchfluss",
    "day type": "Art des Tages", "before": "vorher", "after": "nachher",
    "Replies after the time that the map allows, whose values are kept: {n}.":
        "Antworten nach der Frist der Registerkarte, deren Werte erhalten sind: {n}.",
    "file": "Datei", "Sealed files of this point": "Versiegelte Dateien dieser Messstelle",
    "and {n} more: `archive list` has all of them.": "und {n} weitere: `archive list` nennt alle.",
    "An illustration, no finding: of air at {pressure} {unit} and 20 °C, one sharp-edged hole of"
    " {size} mm (coefficient {c}) lets out as much as flows out of hours. There are many places, and"
    " wanted demand is among them.":
        "Zur Veranschaulichung, kein Befund: Ein einziges scharfkantiges Loch von {size} mm (Beiwert {c})"
        " ließe bei Luft mit {pressure} {unit} und 20 °C so viel ab, wie außerhalb der Betriebszeit fließt."
        " Es sind viele Stellen, und gewollter Verbrauch ist dabei.",
    "The ledger's last line is number {n}, SHA-256 {hash}: write it down elsewhere, and a"
    " ledger that was cut is found.":
        "Die letzte Zeile des Hauptbuchs ist Nummer {n}, SHA-256 {hash}: anderswo notiert, verrät sie ein"
        " gekürztes Hauptbuch.",
    "Several points: {why}.": "Mehrere Messstellen: {why}.",
    "Sum of all points: {sum} ± {half} {unit}; {first} less {rest}: {difference} ± {half} {unit}.":
        "Summe aller Messstellen: {sum} ± {half} {unit}; {first} weniger {rest}: {difference} ± {half}"
        " {unit}.",
    "cannot be told: the difference is smaller than its uncertainty":
        "lässt sich nicht sagen: der Unterschied ist kleiner als seine Unsicherheit",
    "{name}: the meter’s memory over the live rows is {ratio} in {common}; live rows take"
    " precedence, and the two are never added.":
        "{name}: der Speicher des Messgeräts durch die laufenden Zeilen ist {ratio} in {common}; laufende"
        " Zeilen gehen vor, beide werden nie addiert.",
    "Measurement report": "Messbericht",
}  # fmt: skip
