"""What a user installs: the wheel, built as a release is, and looked into.

Four top-level names are taken in the user's environment, so each must be ours alone. An editable install does
not list them; only the built wheel shows them.
"""

import subprocess
import sys
from collections.abc import Mapping
from importlib.metadata import packages_distributions
from pathlib import Path, PurePosixPath
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("protocols", "readout", "simulators", "storage")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, bytes]:
    """Name and content of every file in a wheel built from the source tree, without a network."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
        timeout=60,
    )
    (path,) = folder.glob("*.whl")
    with ZipFile(path) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def test_the_wheel_brings_the_four_packages_and_nothing_else(wheel: Mapping[str, bytes]) -> None:
    names = {PurePosixPath(name).parts[0] for name in wheel}
    assert {name for name in names if not name.endswith(".dist-info")} == set(PACKAGES)


def test_no_name_of_ours_hides_the_standard_library() -> None:
    assert not set(PACKAGES) & sys.stdlib_module_names


@pytest.mark.parametrize("name", PACKAGES)
def test_each_name_has_exactly_one_owner(name: str) -> None:
    """No distribution installed here, which are all that ours needs, brings a package of the same name."""
    owners = {owner.lower() for owner in packages_distributions().get(name, [])}
    assert owners - {"pipeledger"} == set()


@pytest.mark.parametrize("name", PACKAGES)
def test_type_checkers_may_trust_each_package(name: str, wheel: Mapping[str, bytes]) -> None:
    """PEP 561: a file py.typed in the package says that its annotations count."""
    assert f"{name}/py.typed" in wheel


def test_every_module_of_the_source_is_in_the_wheel(wheel: Mapping[str, bytes]) -> None:
    """A module an ignore rule swallows would be missing only in the user's hands."""
    source = {path.relative_to(ROOT).as_posix() for name in PACKAGES for path in (ROOT / name).rglob("*.py")}
    assert source - set(wheel) == set()


def test_the_command_is_installed_under_its_name(wheel: Mapping[str, bytes]) -> None:
    (entry_points,) = (text for name, text in wheel.items() if name.endswith(".dist-info/entry_points.txt"))
    assert b"pipeledger = readout.start:main" in entry_points
