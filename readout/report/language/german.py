"""The page's sentences in German. What is not here, as a meter's or the log book's words, stays as it is."""

from collections.abc import Mapping

from readout.report.language.german_place import PLACE
from readout.report.language.german_review import REVIEW

_HEADINGS: Mapping[str, str] = {
    "Measurement report": "Messbericht",
    "Measured at {site}, point {point}, by {meter}, from {begin} until {end}.":
        "Gemessen bei {site}, Messstelle {point}, mit {meter}, von {begin} bis {end}.",
    "from the meter’s memory": "aus dem Speicher des Messgeräts",
    "Findings": "Befund",
    "Side by side": "Nebeneinander",
    "How complete it is": "Wie vollständig die Messung ist",
    "How sure it is": "Wie sicher die Zahlen sind",
    "The figures": "Die Zahlen",
    "The pictures": "Die Bilder",
    "Less than ten minutes: pictures are drawn of minutes, and these show next to nothing.":
        "Weniger als zehn Minuten: Bilder werden aus Minuten gezeichnet, und diese zeigen fast nichts.",
    "Out of hours": "Außerhalb der Betriebszeit", "In hours": "In der Betriebszeit",
    "The meter's own total and display": "Zählwerk und Anzeige des Messgeräts",
    "Corrections": "Berichtigungen",
    "Where and with what": "Wo und womit gemessen wurde",
    "Appendix": "Anhang",
    "{caption}: {n} rows": "{caption}: {n} Zeilen",
}  # fmt: skip

_COMPLETE: Mapping[str, str] = {
    "What the recorder met: {shown} of {all}": "Was der Aufzeichnung begegnete: {shown} von {all}",
    "other meter": "anderes Messgerät", "meter back": "Messgerät wieder da",
    "port back": "Schnittstelle wieder da", "clock set": "Uhr gestellt", "clock step": "Uhr gesprungen",
    "disk full": "Datenträger voll", "disk free": "Datenträger wieder frei", "suspended": "Rechner schlief",
    "killed before": "vorher abgebrochen, beim Start bemerkt",
    "point file changed": "Messstellendatei geändert",
    "{share} of the period was measured: {measured} of {elapsed}. Nothing is filled over a gap.":
        "{share} des Zeitraums sind gemessen: {measured} von {elapsed}. Lücken sind nicht aufgefüllt.",
    "Time that is missing, by cause": "Fehlende Zeit nach Ursache",
    "cause": "Ursache", "time": "Zeit", "from": "von", "until": "bis", "missing": "fehlt",
    "Gaps: {shown} of {all}, the longest": "Lücken: {shown} von {all}, die längsten",
    "{n} rows have no time and are in no figure.": "{n} Zeilen haben keine Zeit und gehen in keine Zahl ein.",
    "rows": "Zeilen", "status, clock or flag": "Status, Uhr oder Kennzeichen",
    "Rows by status, clock and flag": "Zeilen nach Status, Uhr und Kennzeichen",
    "status": "Status", "clock": "Uhr des Rechners", "{name}, flag": "{name}, Kennzeichen",
    "record's time": "Zeit des Datensatzes", "record's own check": "Prüfsumme des Datensatzes",
}  # fmt: skip

_SURE: Mapping[str, str] = {
    "No flow was measured.": "Es wurde kein Durchfluss gemessen.",
    "Method: {method}.": "Verfahren: {method}.",
    "How sure the flow is cannot be said: {why}.":
        "Wie sicher der Durchfluss ist, lässt sich nicht sagen: {why}.",
    "The mean flow is {mean} ± {half} {unit}; the total has the same ± {percent} %.":
        "Der mittlere Durchfluss beträgt {mean} ± {half} {unit}; für die Menge gelten dieselben ± {percent}"
        " %.",
    "The mean flow is {mean} ± {half} {unit} {conditions}; the total has the same ± {percent} %.":
        "Der mittlere Durchfluss beträgt {mean} ± {half} {unit} {conditions}; für die Menge gelten dieselben"
        " ± {percent} %.",
    "Not in it, because nobody said anything of it: {left}.":
        "Nicht darin, weil dazu nichts angegeben ist: {left}.",
    "The register map states no reference conditions for this flow.":
        "Die Registerbeschreibung nennt keine Bezugsbedingungen für diesen Durchfluss.",
    "Volumes are those {conditions}, the meter's reference conditions.":
        "Volumen gelten {conditions}, den Bezugsbedingungen des Messgeräts.",
    "at {conditions}": "bei {conditions}",
}  # fmt: skip

_FIGURES: Mapping[str, str] = {
    "Readings": "Messwerte", "reading": "Messwert", "unit": "Einheit", "median": "Median",
    "lowest": "kleinster Wert", "highest": "größter Wert",
    "total, measured time": "Menge in der gemessenen Zeit",
    "Largest means of the flow": "Spitzen: größte Mittelwerte des Durchflusses",
    "mean over": "Mittelwert über", "begins": "beginnt",
    "Days": "Tage", "Shifts": "Schichten", "Weekdays": "Wochentage", "Kinds of days": "Arten von Tagen",
    "Day by day and shift by shift": "Tag für Tag und Schicht für Schicht", "measured": "gemessen",
    "Monday": "Montag", "Tuesday": "Dienstag", "Wednesday": "Mittwoch", "Thursday": "Donnerstag",
    "Friday": "Freitag", "Saturday": "Samstag", "Sunday": "Sonntag",
    "Mon": "Mo", "Tue": "Di", "Wed": "Mi", "Thu": "Do", "Fri": "Fr", "Sat": "Sa", "Sun": "So",
    "Pressure against what is required": "Druck und nötiger Druck",
    "required": "nötig", "share of time below": "Zeitanteil darunter", "lowest row": "kleinster Messwert",
    "lowest pressure": "kleinster Druck",
}  # fmt: skip

_PICTURES: Mapping[str, str] = {
    "lowest to highest row": "kleinster bis größter Messwert",
    "Each blue stroke runs from the lowest to the highest row of {width}, the red line is their mean;"
    " nothing is drawn over gaps, which are shaded. Drag to zoom, double click to go back."
    " Times are UTC{offset} throughout.":
        "Jeder blaue Strich reicht vom kleinsten bis zum größten Messwert in {width}, die rote Linie ist ihr"
        " Mittelwert; Lücken sind getönt und bleiben leer. Ziehen vergrößert den Ausschnitt,"
        " ein Doppelklick führt zurück. Alle Zeiten in UTC{offset}.",
    "{name} over time": "{name} über der Zeit", " and ": " und ",
    "required {limit} {unit}": "nötig {limit} {unit}",
    "share of measured time [%]": "Anteil der gemessenen Zeit [%]",
    "exceeded for": "überschritten für",
    "Read: for so much of the measured time the flow was at least so high.":
        "Zu lesen: Für diesen Anteil der gemessenen Zeit war der Durchfluss mindestens so hoch.",
    "Flow duration curve": "Dauerlinie des Durchflusses", "a minute": "eine Minute",
    "Each point is the mean of a minute. Pressure that falls to the right falls with the demand;"
    " points low on the left are pressure lost without demand.":
        "Jeder Punkt ist ein Minutenmittel. Sinkt der Druck nach rechts, sinkt er mit dem Verbrauch; tiefe"
        " Punkte links sind Druckverlust ohne Verbrauch.",
    "Pressure against flow": "Druck über dem Durchfluss",
    "measured time [h]": "gemessene Zeit [h]", "Histogram": "Häufigkeiten",
    "Hours of the measured time in each of 40 classes.":
        "Stunden der gemessenen Zeit in jeder von 40 Klassen.",
    "Hours of the week": "Stunden der Woche", "hour": "Stunde", "hour of the day": "Stunde des Tages",
    "not measured": "nicht gemessen",
    "Mean of {name} [{unit}] in each hour of the week by the site's clock; n is how many such hours were"
    " measured at least in part. Darker is more. Struck through, n 0: not measured.":
        "{name} [{unit}]: Mittelwert in jeder Stunde der Woche nach Ortszeit; n sagt, wie viele solcher"
        " Stunden wenigstens zum Teil gemessen sind. Dunkler ist mehr. Durchgestrichen, n 0: nicht gemessen.",
    "Hours of the week: mean of {name} [{unit}], in brackets n":
        "Stunden der Woche: {name} [{unit}], Mittelwert und in Klammern n",
}  # fmt: skip

_PLACE: Mapping[str, str] = {
    "Meter and recording": "Messgerät und Aufzeichnung",
    "meter": "Messgerät", "principle": "Messprinzip", "serial number": "Seriennummer",
    "role of the point": "Aufgabe der Messstelle",
    "register map, SHA-256": "Registerbeschreibung, SHA-256",
    "recording": "Aufzeichnung", "{holds}s every {every}": "{holds} alle {every}",
    "Pipe and probe, as the point file says": "Rohr und Sonde laut Messstellendatei",
    "inlet run": "Einlaufstrecke", "outlet run": "Auslaufstrecke",
    "Settings read from the meter": "Einstellungen, aus dem Messgerät gelesen",
    "Cautions for whoever goes back to the pipe": "Vorsicht für alle, die wieder an die Leitung gehen",
    "A fitting, B wall, C depth of the sensor, D sensor to tip, E mark from the tip, F inside diameter":
        "A Stutzen, B Wand, C Tiefe des Sensors, D Sensor bis Spitze, E Marke ab Spitze, F Innendurchmesser",
}  # fmt: skip

_PEAK: Mapping[str, str] = {
    "Peak or pressure: cannot be told without both a flow and a pressure.":
        "Spitze oder Druck: Ohne Durchfluss und Druck lässt es sich nicht sagen.",
    "Peak or pressure: flow and pressure were never measured together.":
        "Spitze oder Druck: Durchfluss und Druck wurden nie gleichzeitig gemessen.",
    "Neither: the pressure never fell below the required {limit} {unit}, not even at peak flow.":
        "Weder Spitze noch Druck sind das Problem: Der Druck fiel nie unter die nötigen {limit} {unit}, auch"
        " nicht in der Verbrauchsspitze.",
    "Pressure was no higher than {limit} {unit} in {share} of the minutes; ":
        "Der Druck lag in {share} der Minuten nicht über {limit} {unit}; ",
    "the flow then, {flow}, was above that of {rank} of these minutes: the peak pulls the pressure down.":
        "der Durchfluss dabei, {flow}, war höher als in {rank} dieser Zeit: Die Verbrauchsspitze zieht den"
        " Druck herunter.",
    "the flow then, {flow}, was above that of only {rank} of these minutes: pressure is lost without a peak.":
        "der Durchfluss dabei, {flow}, war nur höher als in {rank} dieser Zeit: Der Druck geht ohne"
        " Verbrauchsspitze verloren.",
    "Peak or pressure: {count} minutes are too few to tell.":
        "Spitze oder Druck: {count} Minuten sind zu wenig für eine Aussage.",
    "Peak or pressure: the pressure hardly moved; neither shows a problem.":
        "Der Druck bewegte sich kaum: Weder Spitze noch Druck zeigen ein Problem.",
    " No required pressure was given: these are the lowest minutes.":
        " Ein nötiger Druck ist nicht angegeben: Das sind die Minuten mit dem kleinsten Druck.",
}  # fmt: skip

_OUT_OF_HOURS: Mapping[str, str] = {
    "Nothing was measured out of hours with the pressure in its band.":
        "Außerhalb der Betriebszeit wurde nichts mit dem Druck in seinem Band gemessen.",
    "Out-of-hours demand is not told: {why}.":
        "Die Grundlast außerhalb der Betriebszeit wird nicht genannt: {why}.",
    "While the site did not produce, {mean} {unit} flowed on average, over {counted}.":
        "Während nicht produziert wurde, flossen im Mittel {mean} {unit}, gemessen über {counted}.",
    "It is demand, not leakage: dryer purge, drains and machines left open are in it.":
        "Das ist Grundlast, nicht Leckage: Spülluft der Trockner, Kondensatableiter und nicht abgesperrte"
        " Maschinen sind darin.",
    "Counted only with the pressure between {low} and {high} {unit}; {out} out of that band are left out.":
        "Gezählt ist nur, was bei einem Druck zwischen {low} und {high} {unit} floss; {out} außerhalb dieses"
        " Bands sind weggelassen.",
    "This demand stepped up by {size} {unit}, from {before} to {after} {unit}, between {begin} and {end}.":
        "Diese Grundlast stieg sprunghaft um {size} {unit}, von {before} auf {after} {unit}, zwischen {begin}"
        " und {end}.",
    "This demand stepped down by {size} {unit}, from {before} to {after} {unit}, between {begin} and {end}.":
        "Diese Grundlast fiel sprunghaft um {size} {unit}, von {before} auf {after} {unit}, zwischen {begin}"
        " und {end}.",
    "Medians of {before} and {after} hours; {method}.": "Mediane aus {before} und {after} Stunden; {method}.",
    "What it costs is not told: {why}.": "Was sie kostet, wird nicht genannt: {why}.",
    "An hour of it costs {hour} {currency}; a year of {hours} h under pressure {year} {currency}.":
        "Eine Stunde davon kostet {hour} {currency}; ein Jahr mit {hours} h unter Druck kostet {year}"
        " {currency}.",
    "Formula: {formula}": "Formel: {formula}",
    "Specific power {reference}.": "Spezifische Leistung {reference}.",
    "This is what that flow costs. It is no saving.":
        "Das kostet dieser Durchfluss. Es ist keine Einsparung.",
}  # fmt: skip

_DISPLAY: Mapping[str, str] = {
    "No totaliser was recorded.": "Es wurde kein Zählwerk aufgezeichnet.",
    "The meter's totaliser counted {counted} {unit} while rows came and {gaps} {unit} in gaps;"
    " the integral of the flow is {integral} {unit}, {difference} away.":
        "Das Zählwerk des Messgeräts zählte {counted} {unit}, während Zeilen kamen, und {gaps} {unit} in"
        " Lücken; das Integral des Durchflusses ergibt {integral} {unit}, das weicht um {difference} ab.",
    "The meter's totaliser counted {counted} {unit} while rows came and {gaps} {unit} in gaps; no"
    " flow of that kind was summed up to hold against it.":
        "Das Zählwerk des Messgeräts zählte {counted} {unit}, während Zeilen kamen, und {gaps} {unit} in"
        " Lücken; ein Durchfluss dieser Art, mit dem es zu vergleichen wäre, wurde nicht aufsummiert.",
    "The meter's totaliser counted {counted} {unit} while rows came and {gaps} {unit} in gaps: too"
    " little, for its steps, to be held against the integral of the flow ({integral} {unit}).":
        "Das Zählwerk des Messgeräts zählte {counted} {unit}, während Zeilen kamen, und {gaps} {unit} in"
        " Lücken: für seine Schritte zu wenig, um es mit dem Integral des Durchflusses ({integral} {unit}) zu"
        " vergleichen.",
    "Why the meter's display may differ: it shows one instant after its own damping, perhaps in"
    " another unit or at other reference conditions; its total runs on through gaps, while the"
    " integral here covers measured time only; and it knows nothing of corrections made later.":
        "Warum die Anzeige des Messgeräts abweichen kann: Sie zeigt einen Augenblick nach eigener Dämpfung,"
        " vielleicht in einer anderen Einheit oder bei anderen Bezugsbedingungen; ihr Zählwerk läuft in"
        " Lücken"
        " weiter, während das Integral hier nur die gemessene Zeit umfasst; und von späteren Berichtigungen"
        " weiß sie nichts.",
    "what": "was", "why": "warum", "ledger line": "Zeile im Hauptbuch",
    "Amendments from the ledger": "Berichtigungen aus dem Hauptbuch",
    "Raw beside corrected; rows stay as the meter told them":
        "Roh neben berichtigt; die Zeilen bleiben, wie das Messgerät sie meldete",
    "raw": "roh", "corrected": "berichtigt",
}  # fmt: skip

_LOG_BOOK: Mapping[str, str] = {
    "no.": "Nr.", "note or mark": "Notiz oder Marke", "mark": "Marke", "span": "Zeitraum",
    "Log book, by the numbers in the picture": "Logbuch, nach den Nummern im Bild",
    "Marks": "Marken",
    "Marks of the log book, and what they give": "Marken des Logbuchs und was sie ergeben",
    "mean flow": "mittlerer Durchfluss", "mean pressure": "mittlerer Druck",
    "none: {why}": "keines: {why}",
    "the flow does not go between two levels, unloaded at most half of loaded":
        "der Durchfluss wechselt nicht zwischen zwei Stufen, im Leerlauf höchstens halb so groß wie unter"
        " Last",
    "the pressure measured is no gauge pressure": "der gemessene Druck ist kein Überdruck",
    "the pressure does not fall from reading to reading: it is no decay":
        "der Druck fällt nicht von Messung zu Messung: das ist kein Druckabfall",
    "method": "Verfahren", "inputs": "Eingaben", "result": "Ergebnis",
    "Leak tests, with every consumer shut off": "Leckprüfungen, alle Verbraucher abgesperrt",
    "{span} measured": "{span} gemessen",
    "{loaded} loaded and {unloaded} unloaded, whole cycles only":
        "{loaded} Last und {unloaded} Leerlauf, nur ganze Schaltspiele",
    "the compressor delivers {output} {unit} under load":
        "der Kompressor liefert unter Last {output} {unit}",
    "what the compressor delivers under load was not given (--compressor-output)":
        "was der Kompressor unter Last liefert, ist nicht angegeben (`--compressor-output`)",
    "volume {volume} m3": "Volumen {volume} m³",
    "{n} readings of the pressure, referred to {reference} bar(a)":
        "{n} Druckwerte, bezogen auf {reference} bar(a)",
    "loss = {slope} m3/h per bar × pressure {intercept} m3/h, taken at {working} bar(g)":
        "Verlust = {slope} m³/h je bar × Druck {intercept} m³/h, genommen bei {working} bar(g)",
    "{share} of what the compressor delivers": "{share} der Liefermenge des Kompressors",
    "Before and after, mean flow": "Vorher und nachher, mittlerer Durchfluss",
    "day type": "Art des Tages", "before": "vorher", "after": "nachher",
    "days, measured": "Tage, gemessen", "change": "Änderung", "not comparable": "nicht vergleichbar",
}  # fmt: skip

_APPENDIX: Mapping[str, str] = {
    "Replies after the time that the map allows, whose values are kept: {n}.":
        "Antworten nach der Frist der Registerbeschreibung, deren Werte erhalten sind: {n}.",
    "Requests without a usable reply, made good by asking again or not: {failed} of {sent}. Rows that lack"
    " values for it: {rows}.":
        "Anfragen ohne brauchbare Antwort, ob durch erneutes Fragen behoben oder nicht: {failed} von {sent}."
        " Zeilen, denen deshalb Werte fehlen: {rows}.",
    "file": "Datei", "Sealed files of this point": "Versiegelte Dateien dieser Messstelle",
    "and {n} more: `archive list` has all of them.": "und {n} weitere: `archive list` nennt alle.",
    "not read": "nicht gelesen", "not stated": "nicht angegeben",
    "at": "bei", "register": "Register",
    "Reference conditions that the meter told": "Bezugsbedingungen, die das Messgerät meldete",
    "An illustration, no finding: of air at {pressure} {unit} and 20 °C, one sharp-edged hole of"
    " {size} mm (coefficient {c}) lets out as much as flows out of hours. There are many places, and"
    " wanted demand is among them.":
        "Zur Veranschaulichung, kein Befund: Ein einziges scharfkantiges Loch von {size} mm (Ausflusszahl"
        " {c})"
        " ließe bei Luft mit {pressure} {unit} und 20 °C so viel ab, wie außerhalb der Betriebszeit fließt."
        " In Wirklichkeit sind es viele Stellen, und gewollter Verbrauch ist dabei.",
    "The ledger's last line is number {n}, SHA-256 {hash}: write it down elsewhere, and a"
    " ledger that was cut is found.":
        "Die letzte Zeile des Hauptbuchs ist Nummer {n}, SHA-256 {hash}: Anderswo notiert, verrät sie ein"
        " gekürztes Hauptbuch.",
    "line {n} {fault}": "Zeile {n} des Hauptbuchs {fault}",
    "is no JSON": "ist kein JSON",
    "lacks one of n, time, kind, previous, hash": "hat nicht alle von n, time, kind, previous, hash",
    "does not have the hash that it states": "hat nicht die Prüfsumme, die sie nennt",
    "is not written with sorted keys and no spaces":
        "ist nicht mit sortierten Schlüsseln und ohne Leerzeichen geschrieben",
    "has no number, or no text where one must be": "hat keine Nummer oder keinen Text, wo einer stehen muss",
    "line {n} has the number {number}: a line is missing or added before it":
        "Zeile {n} des Hauptbuchs trägt die Nummer {number}: Davor fehlt eine Zeile oder wurde eine"
        " eingefügt",
    "line {n} does not follow line {before}: one of them was replaced":
        "Zeile {n} des Hauptbuchs schließt nicht an Zeile {before} an: Eine von beiden wurde ersetzt",
}  # fmt: skip

_TOGETHER: Mapping[str, str] = {
    "Several points: {why}.": "Mehrere Messstellen: {why}.",
    "{first}: {mains} {unit}; the others together: {sum} {unit} ({sum_half}); difference {difference} {unit}"
    " ({half}).":
        "{first}: {mains} {unit}; die anderen zusammen: {sum} {unit} ({sum_half}); Unterschied"
        " {difference} {unit} ({half}).",
    "All points together: {sum} {unit} ({half}); {first} less {rest}: {difference} {unit} ({half}).":
        "Alle Messstellen zusammen: {sum} {unit} ({half}); {first} weniger {rest}: {difference} {unit}"
        " ({half}).",
    "uncertainty not known": "Unsicherheit nicht bekannt", "uncertainty": "Unsicherheit",
    "Whether they differ {verdict}.": "{verdict}.",
    "Side by side: mean flow over the {common} in which all points were measured, and its uncertainty"
    " (k = 2); completeness and total of each point's own period":
        "Nebeneinander: mittlerer Durchfluss über die {common}, in denen alle Messstellen gemessen wurden,"
        " mit"
        " Unsicherheit (k = 2); Vollständigkeit und Menge jeder Messstelle in ihrem eigenen Zeitraum",
    "point": "Messstelle", "The points over time": "Die Messstellen über der Zeit",
    "Means, corrected by the ledger; nothing is drawn over gaps. Drag to zoom, double click to go back."
    " Times are UTC{offset} throughout.":
        "Mittelwerte, nach dem Hauptbuch berichtigt; Lücken bleiben leer. Ziehen vergrößert den Ausschnitt,"
        " ein Doppelklick führt zurück. Alle Zeiten in UTC{offset}.",
    "Live rows and the meter’s memory of the same hours":
        "Laufende Zeilen und Speicher des Messgeräts in denselben Stunden",
    "hours in both": "Zeit in beiden", "mean of live rows": "Mittelwert der laufenden Zeilen",
    "mean of the meter’s memory": "Mittelwert des Speichers", "memory less live": "Speicher weniger laufend",
    "They are evidence for each other. Live rows take precedence, and the two are never added.":
        "Sie belegen einander. Die laufenden Zeilen gehen vor, beide werden nie addiert.",
    "{name}: live rows and the meter’s memory have no hour in common.":
        "{name}: Laufende Zeilen und Speicher des Messgeräts haben keine Stunde gemeinsam.",
}  # fmt: skip

GERMAN: Mapping[str, str] = {
    **PLACE, **REVIEW, **_HEADINGS, **_COMPLETE, **_SURE, **_FIGURES, **_PICTURES, **_PLACE, **_PEAK,
    **_OUT_OF_HOURS, **_DISPLAY, **_LOG_BOOK, **_APPENDIX, **_TOGETHER,
}  # fmt: skip
