"""Duration curve, pressure against flow, histogram."""

import numpy as np

from readout.report.content.blocks import Chart
from readout.report.content.pictures.frame import BLUE, frame, labelled, line, numbers, safe
from readout.report.language.words import Words
from readout.review.review import Review, duration_curve

#: Points of a scatter; of more an even selection.
_MOST_POINTS = 4000


def duration(found: Review, name: str, words: Words) -> Chart:
    """For which share of the measured time a value was exceeded."""
    factor = found.factor(name)
    share, values = duration_curve(found, name, 401)
    values = values * (factor or 1.0)
    drawn = frame(words, labelled(found, name, words, raw=factor is None))
    drawn["xaxis"] |= {"title": {"text": words("share of measured time [%]")}, "range": [0, 100]}
    data = [line((share * 100).tolist(), values, words("exceeded for"), BLUE, 2)]
    caption = words("Read: for so much of the measured time the flow was at least so high.")
    return Chart("duration", words("Flow duration curve"), {"data": data, "layout": drawn}, caption)


def against(found: Review, flow: str, pressure: str, words: Words) -> Chart:
    """Means of minutes of pressure over those of flow; of many an even selection."""
    values = found.measured.minutes.values
    both = (values[flow].seconds > 0) & (values[pressure].seconds > 0)
    at = np.flatnonzero(both)
    at = at[:: max(1, -(-len(at) // _MOST_POINTS))]
    x, y = (found.best(one).values.means[at] for one in (flow, pressure))
    data = [
        {"type": "scatter", "mode": "markers", "x": numbers(x), "y": numbers(y),
         "marker": {"color": BLUE, "size": 3, "opacity": 0.45}, "name": words("a minute")}
    ]  # fmt: skip
    drawn = frame(words, labelled(found, pressure, words))
    drawn["xaxis"] |= {"title": {"text": safe(labelled(found, flow, words))}}
    caption = words(
        "Each point is the mean of a minute. Pressure that falls to the right falls with the demand;"
        " points low on the left are pressure lost without demand."
    )
    return Chart("against", words("Pressure against flow"), {"data": data, "layout": drawn}, caption)


def histogram(found: Review, name: str, words: Words) -> Chart:
    """How long a reading had which value."""
    curve, scale, factor = found.measured.curves[name], found.readings[name].shown, found.factor(name)
    values = (curve.values * scale.factor + scale.offset) * (factor or 1.0)
    hours, edges = np.histogram(values, 40, weights=curve.seconds / 3600)
    middles = (edges[1:] + edges[:-1]) / 2
    data = [{"type": "bar", "x": numbers(middles), "y": numbers(hours), "marker": {"color": BLUE}}]
    drawn = frame(words, words("measured time [h]")) | {"bargap": 0.08}
    drawn["xaxis"] |= {"title": {"text": safe(labelled(found, name, words, raw=factor is None))}}
    caption = words("Hours of the measured time in each of 40 classes.")
    return Chart("histogram", words("Histogram"), {"data": data, "layout": drawn}, caption)
