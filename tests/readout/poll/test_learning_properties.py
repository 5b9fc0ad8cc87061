"""Whatever holes and limits a meter has: what it gives is read, nothing is cut, little asked in vain."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readout.bus.outcome import Status

TYPES = {1: "uint16", 2: "float32", 4: "float64"}
quick = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@dataclass(frozen=True)
class Installation:
    """A map, its values as (first, behind), and how the meter departs from it."""

    text: str
    values: tuple[tuple[int, int], ...]
    present: frozenset[int]
    most: int
    silent: bool

    @property
    def readable(self) -> frozenset[tuple[int, int]]:
        """The values that the meter gives when it is asked for one alone."""
        return frozenset(
            (low, high)
            for low, high in self.values
            if high - low <= self.most and set(range(low, high)) <= self.present
        )


@st.composite
def installations(draw: st.DrawFn) -> Installation:
    """Up to 24 values of 1, 2 and 4 registers with gaps between; holes in values and in gaps."""
    values, address = [], draw(st.integers(0, 3))
    for _ in range(draw(st.integers(1, 24))):
        width = draw(st.sampled_from(sorted(TYPES)))
        values.append((address, address + width))
        address += width + draw(st.sampled_from([0, 0, 0, 1, 3]))
    readings = "\n".join(
        f"  v{low}: {{input: {low}, type: {TYPES[high - low]}, unit: '1'}}" for low, high in values
    )
    bridge = draw(st.sampled_from([0, 3, 30]))
    text = f"register_map: 1\nmeter: constructed\nwire: {{bridge: {bridge}}}\nreadings:\n{readings}\n"
    holes = draw(st.sets(st.integers(0, address), max_size=6))
    most = draw(st.sampled_from([1, 2, 5, 8, 125]))
    present = frozenset(range(address + 1)) - holes
    return Installation(text, tuple(values), present, most, draw(st.booleans()))


@given(installations())
@quick
def test_every_value_that_the_meter_gives_alone_is_read_in_the_end(
    refusing: Callable[..., Any], reading: Callable[..., Any], real: Installation
) -> None:
    meter = refusing({4: real.present}, real.values, real.most, real.silent)
    first = reading(real.text, meter)
    found = first.settle()
    if real.readable and real.silent:  # a silent meter is only knocked at once a round
        for _ in real.values:
            if found.round.status in (Status.OK, Status.PARTIAL):
                break
            first.round(first_only=True)
            found = first.settle()
    got = {span for span in real.values if all(found.words.get(f"raw_input_{a}") for a in range(*span))}
    assert got == real.readable
    complete = len(got) == len(real.values)
    if got:
        assert found.round.status is (Status.OK if complete else Status.PARTIAL)
    asked = [set(range(start, start + count)) for _, start, count in meter.refused + meter.given]
    wholes = [set(range(*value)) for value in real.values]
    cuts = sum(any(len(span & whole) not in (0, len(whole)) for whole in wholes) for span in asked)
    assert cuts <= first.line.statistics.spacers  # reads whose words nobody uses, asked behind a silence
    # Five requests in vain for each value, and five more for each that is refused (2,000 drawn: below four).
    assert len(meter.refused) - first.line.statistics.spacers <= 5 * (2 * len(real.values) - len(got))
    if got:
        meter.refused.clear()
        second = reading(real.text, meter, first.kept, first.clock).settle()
        assert (second.round.status, meter.refused) == (found.round.status, [])
