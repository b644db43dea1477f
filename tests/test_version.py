"""The version is stated once."""

import tomllib

from tapplan.version import __version__
from tests.examples import ROOT


def test_the_build_takes_the_version_from_the_module_that_states_it() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    assert "version" not in project["project"]
    assert project["project"]["dynamic"] == ["version"]
    assert project["tool"]["hatch"]["version"]["path"] == "tapplan/version.py"
    assert __version__.split(".")[0].isdigit()
