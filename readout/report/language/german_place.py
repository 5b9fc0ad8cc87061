"""Sentences of the measuring point in German: pipe, probe, uncertainty, and what to beware of at the pipe."""

from collections.abc import Mapping

#: On every page, before anybody goes back to the pipe.
CAUTIONS: Mapping[str, str] = {
    "These figures": "Diese Zahlen",
    "are arithmetic, not permission: they allow nobody to work on a pipe.":
        "sind gerechnet und keine Freigabe: Sie erlauben niemandem, an einer Leitung zu arbeiten.",
    "Who decides": "Wer entscheidet",
    "Local codes, the manuals of meter and fittings, and licensed practice rule over this sheet.":
        "Die örtlichen Vorschriften, die Anleitungen von Messgerät und Armaturen und die Regeln der"
        " zugelassenen Fachleute gehen diesem Blatt vor.",
    "Pressure": "Druck",
    "Empty the pipe of pressure and lock it out where that can be done. Where it cannot, only authorised "
    "persons work on it, under the site's permit, at the lowest pressure that can be had.":
        "Die Leitung drucklos machen und gegen Wiedereinschalten sichern, wo es geht. Wo nicht, arbeiten nur"
        " befugte Personen daran, mit Erlaubnisschein des Betriebs und beim niedrigsten Druck, der möglich"
        " ist.",
    "Before drilling": "Vor dem Anbohren",
    "Saddle and valve rated for the pipe's pressure and temperature; wall measured and strong enough; "
    "material known; no weld under the drill; hearing and eye protection on; know where the swarf goes.":
        "Anbohrschelle und Kugelhahn für Druck und Temperatur der Leitung zugelassen; Wanddicke gemessen und"
        " ausreichend; Werkstoff bekannt; keine Schweißnaht unter dem Bohrer; Gehör- und Augenschutz"
        " getragen; geklärt, wohin die Späne gehen.",
    "Where to stand": "Standplatz",
    "Beside the probe's axis, never in line with it: a stem that is let go leaves the pipe like a shot.":
        "Neben der Sondenachse, nie in ihrer Verlängerung: Ein losgelassener Schaft verlässt die Leitung wie"
        " ein Geschoss.",
    "Restraint": "Ausschubsicherung",
    "On before the valve is opened; off only after the valve is closed and the fitting vented.":
        "Anlegen, bevor der Kugelhahn geöffnet wird; lösen erst, wenn er geschlossen und der Stutzen"
        " entlüftet"
        " ist.",
    "Valve": "Kugelhahn",
    "Draw the probe clear of the valve before closing it: a closing ball shears the stem.":
        "Die Sonde vor dem Schließen ganz aus dem Kugelhahn ziehen: Die Kugel schert den Schaft sonst ab.",
    "Vented gas": "Austretendes Gas",
    "In a pit or a small room, nitrogen, argon, helium and CO2 suffocate.":
        "In Gruben und kleinen Räumen ersticken Stickstoff, Argon, Helium und CO2.",
    "OXYGEN": "SAUERSTOFF",
    "Do not drill this pipe and do not fit a probe that is not cleaned for oxygen: oil, grease and "
    "swarf burn in it, and set steel alight. The gas supplier's rules apply, not this sheet's.":
        "Diese Leitung nicht anbohren und keine Sonde einsetzen, die nicht für Sauerstoff gereinigt ist: Öl,"
        " Fett und Späne brennen darin und entzünden Stahl. Es gelten die Regeln des Gaslieferanten, nicht"
        " dieses Blatt.",
    "FLAMMABLE GAS": "BRENNBARES GAS",
    "Do not drill this pipe under gas by this sheet. The network operator's procedure, gas-free "
    "certificate, and equipment for explosive atmospheres come first; this meter may not be allowed.":
        "Diese Leitung nicht nach diesem Blatt unter Gas anbohren. Vorrang haben die Arbeitsanweisung des"
        " Netzbetreibers, die Freimessung und der Explosionsschutz der Geräte; dieses Messgerät ist dort"
        " womöglich nicht zugelassen.",
    "Water": "Wasser",
    "Electric tools and a jet of water do not go together. Hot water scalds; drinking water asks for "
    "approved, disinfected parts; water hammer can drive the stem out.":
        "Elektrowerkzeug und Wasserstrahl vertragen sich nicht. Heißes Wasser verbrüht; Trinkwasser verlangt"
        " zugelassene, desinfizierte Teile; ein Druckstoß kann den Schaft heraustreiben.",
    "THIS FLUID": "DIESES MEDIUM",
    "is not air or an inert gas, or was not said. Its own hazards (poison, fire, burns, heat, cold) "
    "and the plant's procedure for it come before everything here.":
        "ist weder Luft noch ein Inertgas oder wurde nicht angegeben. Seine eigenen Gefahren (Gift, Brand,"
        " Verätzung, Hitze, Kälte) und die Betriebsanweisung dazu gehen allem hier vor.",
}  # fmt: skip

_PIPE: Mapping[str, str] = {
    "inside diameter": "Innendurchmesser", "its uncertainty": "seine Unsicherheit",
    "outside, wall": "Außendurchmesser, Wanddicke", "beware": "Achtung",
    "{mm:.1f} mm ({inch:.3f} in)": "{mm:.1f} mm ({inch:.3f} Zoll)",
    "{mm:.2f} mm ({inch:.4f} in)": "{mm:.2f} mm ({inch:.4f} Zoll)",
    "{mm:.2f} mm": "{mm:.2f} mm", "±{mm:.2f} mm (k = 2)": "±{mm:.2f} mm (k = 2)",
    "{outside:.2f} mm, {wall:.2f} mm": "{outside:.2f} mm, {wall:.2f} mm",
    "{diameters:.1f} D": "{diameters:.1f} D",
    "{why}; ±{percent:.1f} % of the flow": "{why}; ±{percent:.1f} % des Durchflusses",
    "if it is {pipe} instead, the flow is told {percent:.1f} % too high":
        "ist es stattdessen {pipe}, wird der Durchfluss {percent:.1f} % zu hoch angegeben",
    "if it is {pipe} instead, the flow is told {percent:.1f} % too low":
        "ist es stattdessen {pipe}, wird der Durchfluss {percent:.1f} % zu niedrig angegeben",
    "given as inside diameter, {source}": "als Innendurchmesser angegeben, {source}",
    "{pipe}, nominal": "{pipe}, Nennmaß",
    "mill tolerance: outside 1 %, wall 12.5 %, rectangular":
        "Walztoleranz: außen 1 %, Wand 12,5 %, Rechteckverteilung",
    "{source}: mill tolerance, {share:.1%}, rectangular":
        "{source}: Walztoleranz, {share:.1%}, Rechteckverteilung",
    "outside diameter less two walls": "Außendurchmesser weniger zwei Wanddicken",
    "circumference / π less two walls": "Umfang / π weniger zwei Wanddicken",
    "measured: outside {outside} mm, wall {wall} mm, rectangular":
        "gemessen: außen {outside} mm, Wand {wall} mm, Rechteckverteilung",
    "measured inside: {mm} mm, rectangular": "innen gemessen: {mm} mm, Rechteckverteilung",
    "assumed: {share:.0%} of the diameter, rectangular":
        "angenommen: {share:.0%} des Durchmessers, Rechteckverteilung",
    "point file: {width}, {how}": "Messstellendatei: {width}, {how}",
    "k = {k:g}": "k = {k:g}", "DN {size}": "DN {size}", "nothing": "nichts",
    "the list of pipes is not at hand, and '{standard}' is of it":
        "die eigene Rohrliste liegt nicht vor, und „{standard}“ stammt aus ihr",
    "the list of pipes has no DN {dn}; it has {there}":
        "die Rohrliste hat kein DN {dn}; sie hat {there}",
    "from the outside the bore is known only with wall_thickness":
        "von außen ist der Innendurchmesser nur mit `wall_thickness` bekannt",
    "a pipe needs outside_diameter, circumference, inside_diameter or standard":
        "ein Rohr braucht `outside_diameter`, `circumference`, `inside_diameter` oder `standard`",
    # how a diameter is known
    "table": "aus einer Tabelle", "marking": "laut Kennzeichnung", "assumed": "angenommen",
    # distributions
    "normal": "Normalverteilung", "rectangular": "Rechteckverteilung", "triangular": "Dreieckverteilung",
}  # fmt: skip

_PROBE: Mapping[str, str] = {
    "pipe and probe, 1:{scale:g}": "Rohr und Sonde, 1:{scale:g}",
    "sensor at": "Sensor in", "{position}": "{position}",
    "centre": "Rohrmitte", "mean velocity": "Tiefe der mittleren Geschwindigkeit",
    "{share:g} of the bore; {why}": "{share:g} des Innendurchmessers; {why}",
    "as the point file says": "wie die Messstellendatei sagt",
    "what the meter was calibrated for": "worauf das Messgerät kalibriert ist",
    "neither position nor calibrated_for is given, so the centre is taken":
        "weder `position` noch `calibrated_for` ist angegeben, also gilt die Mitte",
    "depth of the sensor": "Tiefe des Sensors",
    "from the inside of the near wall": "ab der Innenseite der nahen Wand",
    "mark on the stem": "Marke am Schaft",
    "give {keys}": "dazu angeben: {keys}",
    "from the tip; level with the top of the fitting: fitting + wall + depth + sensor to tip":
        "ab der Spitze; bündig mit der Oberkante des Stutzens: Stutzen + Wand + Tiefe + Sensor bis Spitze",
    "or draw back": "oder zurückziehen um",
    "from the tip touching the far wall": "ab der Berührung der gegenüberliegenden Wand",
    "tip to far wall": "Spitze bis zur gegenüberliegenden Wand",
    "stem blocks": "Schaft versperrt",
    "{percent:.1f} % to the sensor": "{percent:.1f} % bis zum Sensor",
    "{part}, {percent:.1f} % with its tip": "{part}, {percent:.1f} % mit der Spitze",
    "the meter takes it into account: not corrected again":
        "das Messgerät berücksichtigt es: nicht noch einmal korrigiert",
    "unless the meter's calibration has it, it reads up to {percent:.0f} % high":
        "wenn die Kalibrierung es nicht enthält, zeigt das Messgerät bis zu {percent:.0f} % zu viel",
    "IT DOES NOT FIT": "ES PASST NICHT",
    "the tip would meet the far wall {mm:.1f} mm before the sensor is at its place: "
    "this probe cannot measure there":
        "die Spitze stieße {mm:.1f} mm, bevor der Sensor an seinem Platz ist, an die gegenüberliegende Wand:"
        " Diese Sonde kann dort nicht messen",
    "the stem is {short:.1f} mm too short: the mark would be at {mark:.1f} mm":
        "der Schaft ist {short:.1f} mm zu kurz: Die Marke läge bei {mark:.1f} mm",
    # straight runs
    "{asked:g} D asked ({basis}): {verdict}": "{asked:g} D verlangt ({basis}): {verdict}",
    "the meter's manual": "Anleitung des Messgeräts",
    "common practice, no standard": "übliche Praxis, keine Norm",
    "enough": "reicht", "TOO SHORT by {metres:.2f} m": "ZU KURZ um {metres:.2f} m",
    "after {fitting}: {told}": "nach {fitting}: {told}",
    "none": "keiner Störung", "single elbow": "einem Bogen",
    "two elbows in plane": "zwei Bögen in einer Ebene",
    "two elbows out of plane": "zwei Bögen in verschiedenen Ebenen",
    "reducer": "einer Verengung", "expander": "einer Erweiterung", "open valve": "einer offenen Armatur",
    "tee": "einem T-Stück", "unknown": "einem unbekannten Einbauteil",
}  # fmt: skip

#: What a budget of uncertainty says, and sources of which a point file says nothing.
_BUDGET: Mapping[str, str] = {
    "{percent:.2g} % (k = {k:.3g}, about {covers:.0f} %)":
        "{percent:.2g} % (k = {k:.3g}, etwa {covers:.0f} %)",
    "velocity": "Geschwindigkeit", "insertion depth": "Eintauchtiefe", "pressure": "Druck",
    "temperature": "Temperatur", "atmospheric pressure": "Luftdruck",
    "line pressure and temperature (the map does not say how the meter measures)":
        "Leitungsdruck und Temperatur (die Registerbeschreibung sagt nicht, wie das Messgerät misst)",
    "a budget without a single source of uncertainty would be a claim of no error at all":
        "ein Budget ohne eine einzige Quelle behauptete, es gebe gar keinen Fehler",
    "nothing flows: an uncertainty in per cent of zero has no meaning":
        "es fließt nichts: eine Unsicherheit in Prozent von null hat keine Bedeutung",
    "uncertainty: insertion_depth is a length; write half_width such as 1 mm":
        "`uncertainty: insertion_depth` ist eine Länge; `half_width` etwa als `1 mm` schreiben",
    "uncertainty: a share of full scale needs full_scale, such as 160 m/s":
        "`uncertainty`: Ein Anteil vom Endwert braucht `full_scale`, etwa `160 m/s`",
    "{share} is no share; write it in %, such as 2 %": "{share} ist kein Anteil; in % schreiben, etwa 2 %",
    "{velocity} is a {dimension}; write a velocity, such as 160 m/s":
        "{velocity} ist {dimension}; eine Geschwindigkeit schreiben, etwa 160 m/s",
    "uncertainty: temperature is given in degrees, such as 0.5 degC, not in per cent":
        "`uncertainty: temperature` wird in Grad angegeben, etwa `0.5 degC`, nicht in Prozent",
    "uncertainty: {name} is a share of the flow, such as 1 %, not {width}":
        "`uncertainty: {name}` ist ein Anteil des Durchflusses, etwa 1 %, nicht {width}",
    "nothing of the pipe is given: no budget of uncertainty; give pipe":
        "in der Messstellendatei fehlt das Rohr (`pipe`), also gibt es kein Unsicherheitsbudget",
    "{flow}: {why}": "{flow}: {why}",
}  # fmt: skip

_CONDITIONS: Mapping[str, str] = {
    "nothing of the pipe is given: no velocity; give pipe":
        "in der Messstellendatei fehlt das Rohr (`pipe`)",
    "no velocity: {why}": "die Geschwindigkeit ist nicht zu berechnen ({why})",
    "no velocity: give conditions: pressure and temperature":
        "in der Messstellendatei fehlen Druck und Temperatur (`conditions: pressure, temperature`)",
    "no velocity: give conditions: expected_flow":
        "in der Messstellendatei fehlt der erwartete Durchfluss (`conditions: expected_flow`)",
    "no velocity: give reference, what the expected flow's volumes are referred to":
        "in der Messstellendatei fehlt, worauf die Volumen des erwarteten Durchflusses bezogen sind"
        " (`reference`)",
    "no figures for {flow}: {why}": "keine Zahlen für {flow}: {why}",
    "no force on the stem: give probe: stem_diameter and conditions: pressure":
        "für die Kraft auf den Schaft fehlen Schaftdurchmesser und Druck (`probe: stem_diameter`,"
        " `conditions: pressure`)",
    "no force on the stem: give site: atmospheric_pressure or altitude":
        "für die Kraft auf den Schaft fehlt der Luftdruck oder die Höhe des Orts (`site:"
        " atmospheric_pressure`"
        " oder `altitude`)",
    "the map gives no range of velocities: not compared with the meter's range":
        "die Registerbeschreibung nennt keinen Geschwindigkeitsbereich: mit dem Messbereich nicht verglichen",
    "the map does not say whether its velocity is actual or at reference: taken as actual":
        "die Registerbeschreibung sagt nicht, ob ihre Geschwindigkeit im Betriebs- oder im Bezugszustand"
        " gilt:"
        " als Betriebszustand genommen",
    "'{text}'": "„{text}“",
    "the fluid is given as {said}, and only of {known} is the density known; give conditions: fluid":
        "als Medium ist {said} angegeben, und nur von {known} ist die Dichte bekannt; das Medium angeben"
        " (`conditions: fluid`)",
    "air": "Luft", "nitrogen": "Stickstoff", "oxygen": "Sauerstoff", "argon": "Argon",
    "carbon dioxide": "Kohlendioxid", "helium": "Helium", "hydrogen": "Wasserstoff", "methane": "Methan",
    "water": "Wasser",
    "water is a liquid here: no gas law holds for it": "Wasser ist hier flüssig: kein Gasgesetz gilt dafür",
    "{fluid} at {state} is outside the real-gas formula (-20 to 100 °C, up to {bar:g} bar(a)); "
    "compute with the ideal gas and allow for the difference":
        "{fluid} bei {state} liegt außerhalb der Realgasformel (−20 bis 100 °C, bis {bar:g} bar(a)); mit dem"
        " idealen Gas rechnen und den Unterschied einrechnen",
    "carbon dioxide at {state} is liquid; a gas density has no meaning there":
        "Kohlendioxid bei {state} ist flüssig; eine Gasdichte hat dort keine Bedeutung",
    "water at {state} is outside the formulas, 0 to 110 °C and up to 100 bar(a)":
        "Wasser bei {state} liegt außerhalb der Formeln, 0 bis 110 °C und bis 100 bar(a)",
    "water at {state} is steam, not a liquid": "Wasser bei {state} ist Dampf, keine Flüssigkeit",
    "humidity is computed for air, not for {fluid}; leave it out":
        "Feuchte wird für Luft gerechnet, nicht für {fluid}; weglassen",
    "{celsius:g} °C, {bar:.6g} bar(a)": "{celsius:g} °C, {bar:.6g} bar(a)",
    "{dry}, {humidity:.3g} relative humidity": "{dry}, relative Feuchte {humidity:.3g}",
    "{state} ({name})": "{state} ({name})",
    "'{unit}' hides its reference conditions, and its meanings differ by up to {percent:.1f} %; "
    "name a temperature and a pressure, such as {choices}":
        "„{unit}“ verschweigt seine Bezugsbedingungen, und die üblichen Deutungen liegen bis zu"
        " {percent:.1f} % auseinander; Temperatur und Druck nennen, etwa {choices}",
    "{pressure}: gauge or absolute? write {unit}(g) or {unit}(a)":
        "{pressure}: Überdruck oder Absolutdruck? {unit}(g) oder {unit}(a) schreiben",
    "{pressure} is a gauge pressure and the air pressure of the site is not known; "
    "give site: atmospheric_pressure or altitude":
        "{pressure} ist ein Überdruck, und der Luftdruck am Ort ist nicht bekannt; `site:"
        " atmospheric_pressure` oder `altitude` angeben",
    "an altitude of {metres:g} m is not between -1000 and 11000 m":
        "eine Höhe von {metres:g} m liegt nicht zwischen −1000 und 11000 m",
    "{flow} is a {dimension}, not a volume flow; write such as 420 m3/h":
        "{flow} ist {dimension}, kein Volumenstrom; etwa `420 m3/h` schreiben",
    "a temperature of {kelvin:g} K is not above absolute zero":
        "eine Temperatur von {kelvin:g} K liegt nicht über dem absoluten Nullpunkt",
    "an absolute pressure of {pascal:g} Pa is not above vacuum; was a gauge pressure given as absolute?":
        "ein Absolutdruck von {pascal:g} Pa liegt nicht über dem Vakuum; wurde ein Überdruck als absolut"
        " angegeben?",
    "a relative humidity of {humidity:g} is not between 0 and 1":
        "eine relative Feuchte von {humidity:g} liegt nicht zwischen 0 und 1",
    "{quantity} is a {dimension}, and {unit} is a unit of {other}; write the value in {unit}":
        "{quantity} ist {dimension}, und {unit} ist eine Einheit für {other}; den Wert in {unit} schreiben",
    "{one} and {other} may have different reference conditions, so {quantity} is not converted; "
    "write the value in {other}":
        "{one} und {other} können verschiedene Bezugsbedingungen haben, darum wird {quantity} nicht"
        " umgerechnet; den Wert in {other} schreiben",
    "a flow of {amount:g} m³/s is none; flows count from 0 upwards":
        "ein Durchfluss von {amount:g} m³/s ist keiner; Durchflüsse zählen von 0 an aufwärts",
    "an inside diameter of {metres:g} m is none": "ein Innendurchmesser von {metres:g} m ist keiner",
    "{reynolds:g} is no Reynolds number": "{reynolds:g} ist keine Reynoldszahl",
    "{share:g} of the diameter is not inside the pipe; 0 is the wall, 0.5 the centre":
        "{share:g} des Durchmessers liegt nicht im Rohr; 0 ist die Wand, 0,5 die Mitte",
    "at the wall the velocity is zero; the sensor belongs inside the pipe":
        "an der Wand ist die Geschwindigkeit null; der Sensor gehört ins Rohr",
    # what a unit measures
    "volume flow": "Volumenstrom", "mass flow": "Massenstrom", "volume": "Volumen", "mass": "Masse",
    "length": "Länge", "area": "Fläche", "frequency": "Frequenz", "ratio": "Verhältnis", "density": "Dichte",
    "power": "Leistung", "energy": "Energie", "specific power": "spezifische Leistung",
    "carbon intensity": "CO2-Intensität", "voltage": "Spannung", "current": "Strom",
    "apparent power": "Scheinleistung", "reactive power": "Blindleistung", "reactive energy": "Blindarbeit",
    "conductivity": "Leitfähigkeit",
}  # fmt: skip

#: Where the meter is set otherwise than the point file says.
_SETTINGS: Mapping[str, str] = {
    "From {begin} until {end}: {told}": "Von {begin} bis {end}: {told}",
    "The meter's settings: {difference}.": "Einstellungen des Messgeräts: {difference}.",
    "The meter's settings: {difference}. The figures on this page are not corrected for it.":
        "Einstellungen des Messgeräts: {difference}. Die Zahlen auf dieser Seite sind dafür nicht"
        " korrigiert.",
    "The meter's settings: {difference}. The figures on this page are corrected for it by a factor of"
    " {factor}, and {wanted} would be right.":
        "Einstellungen des Messgeräts: {difference}. Die Zahlen auf dieser Seite sind dafür mit dem Faktor"
        " {factor} korrigiert, richtig wäre {wanted}.",
    "The meter computes with another inside diameter than the pipe's; the figures on this page are"
    " corrected for it already, see the corrections.":
        "Das Messgerät rechnet mit einem anderen Innendurchmesser als dem des Rohrs; die Zahlen auf dieser"
        " Seite sind dafür schon korrigiert, siehe Korrekturen.",
    "The meter computes with the pipe's own inside diameter, and the figures on this page are"
    " multiplied by {factor} all the same: see the corrections.":
        "Das Messgerät rechnet mit dem Innendurchmesser des Rohrs, und die Zahlen auf dieser Seite sind"
        " trotzdem mit {factor} multipliziert: siehe Korrekturen.",
    "reads right": "zeigt richtig an", "reads {percent:.1f} % high": "zeigt {percent:.1f} % zu viel an",
    "reads {percent:.1f} % low": "zeigt {percent:.1f} % zu wenig an",
    "the meter computes with an inside diameter of {in_meter:.4g} mm, and the point file says "
    "that it is set to {expected}: set one of them right":
        "Das Messgerät rechnet mit einem Innendurchmesser von {in_meter:.4g} mm, und laut Messstellendatei"
        " ist es auf {expected} eingestellt: eines von beiden richtigstellen",
    "the meter computes with an inside diameter of {in_meter:.4g} mm and the pipe has "
    "{pipe:.4g} mm ({known}): it {reads}":
        "Das Messgerät rechnet mit einem Innendurchmesser von {in_meter:.4g} mm, und das Rohr hat"
        " {pipe:.4g} mm ({known}): Es {reads}",
    "the meter tells its flow in {told}, and the map reads {reading} as {unit}":
        "Das Messgerät meldet seinen Durchfluss in {told}, und die Registerbeschreibung liest {reading} als"
        " {unit}",
    "{what}: it is told {percent:.3g} % too high": "{what}: Er wird {percent:.3g} % zu hoch angegeben",
    "{what}: it is told {percent:.3g} % too low": "{what}: Er wird {percent:.3g} % zu niedrig angegeben",
    "the meter's reference conditions are below absolute zero or vacuum: set them":
        "Die Bezugsbedingungen des Messgeräts liegen unter dem absoluten Nullpunkt oder unter Vakuum: sie"
        " richtig einstellen",
    "{temperature} and {pressure}": "{temperature} und {pressure}",
    "the meter's m³ are at {told}, the point file's at {temperature} and {pressure}: "
    "taken for those, it {reads}; they have to be converted":
        "Die m³ des Messgeräts gelten bei {told}, die der Messstellendatei bei {temperature} und {pressure}:"
        " Für letztere genommen, {reads} das Messgerät; sie müssen umgerechnet werden",
    "the meter is set to {told}, and the point file says {expected}; a thermal meter may be far off "
    "in another gas: what that does to its flow is in its manual":
        "Das Messgerät ist auf {told} eingestellt, und die Messstellendatei sagt {expected}; ein thermisches"
        " Messgerät kann in einem anderen Gas weit daneben liegen: Was das mit dem Durchfluss macht, steht in"
        " seiner Anleitung",
    "the meter is set to {told}, and the point file says {expected}: what that does to its flow "
    "is in its manual":
        "Das Messgerät ist auf {told} eingestellt, und die Messstellendatei sagt {expected}: Was das mit dem"
        " Durchfluss macht, steht in seiner Anleitung",
    "the meter damps by {tau:g} s and a row is kept every {every:g} s: of a sudden change one "
    "row shows {shown:.0f} %, so peaks are flattened (totals are not)":
        "Das Messgerät dämpft mit {tau:g} s, und die Zeilen kommen im Abstand von {every:g} s: Von einer"
        " plötzlichen Änderung zeigt eine Zeile {shown:.0f} %, Spitzen sind also abgeflacht (Mengen nicht)",
    "below {velocity}, {cut:.3g} m3/h in this pipe, the meter tells nothing, and {low} are "
    "expected at the low end: those read 0, 100 % low (the cut-off taken as a reference "
    "velocity)":
        "Unter {velocity}, in diesem Rohr {cut:.3g} m³/h, meldet das Messgerät nichts, und am unteren Ende"
        " werden {low} erwartet: Davon zeigt es 0 an, 100 % zu wenig (die Schleichmengenunterdrückung als"
        " Geschwindigkeit im Bezugszustand genommen)",
    "the meter seems to tell {setting} as {value:.4g} {unit}, outside its range in the map: see "
    "the map's word order, type and scale before anything is set; it is not compared":
        "das Messgerät meldet {setting} anscheinend als {value:.4g} {unit}, außerhalb seines Bereichs in der"
        " Registerbeschreibung: erst deren Wortfolge, Typ und Skala ansehen, ehe etwas eingestellt wird; es"
        " wird nicht verglichen",
    "the meter's clock is {s:.0f} s ahead of this computer's: times of its memory are corrected by "
    "that, its own display shows it":
        "Die Uhr des Messgeräts geht gegenüber der dieses Computers {s:.0f} s vor: Die Zeiten seines"
        " Speichers sind darum berichtigt, seine eigene Anzeige zeigt es",
    "the meter's clock is {s:.0f} s behind this computer's: times of its memory are corrected "
    "by that, its own display shows it":
        "Die Uhr des Messgeräts geht gegenüber der dieses Computers {s:.0f} s nach: Die Zeiten seines"
        " Speichers sind darum berichtigt, seine eigene Anzeige zeigt es",
}  # fmt: skip

#: Long words of a table about the pipe, with soft hyphens where they may part.
JOINTS: Mapping[str, str] = {
    whole.replace("|", ""): whole.replace("|", "\u00ad")
    for whole in (
        "Innen|durch|messer", "Außen|durch|messer", "Wand|dicke", "Mess|stellen|datei", "Durch|fluss",
        "Mess|gerät", "Rechteck|verteilung", "Normal|verteilung", "Dreieck|verteilung", "Walz|toleranz",
        "Kali|brierung", "gegen|über|liegende", "Geschwindig|keit", "Ober|kante",
    )
}  # fmt: skip

PLACE: Mapping[str, str] = {**CAUTIONS, **_PIPE, **_PROBE, **_BUDGET, **_CONDITIONS, **_SETTINGS}
