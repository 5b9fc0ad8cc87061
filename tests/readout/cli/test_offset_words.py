"""How far a meter's clock is off, in words: one that shows whole seconds is right up to a second behind."""

import pytest

from readout.cli.meter_show import offset_words


@pytest.mark.parametrize(
    ("offset_s", "said"),
    [
        (0.0, "as this computer's"),
        (0.004, "as this computer's"),
        (-0.999, "as this computer's"),
        (-1.02, "as this computer's"),
        (3.2, "3 s ahead of this computer's"),
        (-90.4, "90 s behind this computer's"),
        (0.6, "1 s ahead of this computer's"),
    ],
)
def test_an_offset_is_told_as_a_person_says_it(offset_s: float, said: str) -> None:
    assert offset_words(offset_s) == said
