"""Ctrl-C in the middle of a visit says where it stopped, and that it goes on from there."""

from types import SimpleNamespace
from typing import Any, cast

import pytest

from readout.cli.visit_run import Run


def test_ctrl_c_says_where_it_stopped(capsys: pytest.CaptureFixture[str]) -> None:
    nothing = cast("Any", SimpleNamespace(steps={}))
    run = Run(nothing, nothing, nothing, nothing, ("cautions", "log_book"))

    def interrupted() -> Any:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run.step("log_book", interrupted)
    assert "stopped at log book: run the same command again, it goes on from here" in capsys.readouterr().err
