"""What tapplan stands on and under which licence, as installed: `python -m tests.dependencies` lists it anew.

Packages state their licence in several ways; each is brought to the names of the SPDX list. A licence that is none of
`ACCEPTED` stops the tests, so that nothing comes along unseen that would keep a package under MIT from its users.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from importlib import metadata

from packaging.requirements import Requirement

from tests.examples import ROOT

LIST = ROOT / "tapplan" / "DEPENDENCIES.md"
EXTRAS = (
    "shell",
    "pictures",
    "logs",
    "fast",
    "watch",
    "region",
)  # those for users; the others are for work on tapplan
# Licences under which a package may be installed beside a work of MIT licence and used by it.
PERMISSIVE = {"MIT", "0BSD", "BSD-2-Clause", "BSD-3-Clause", "Apache-2.0", "PSF-2.0", "ISC", "Zlib", "CC0-1.0"}
WITH_CONDITIONS = {"MPL-2.0"}  # changes to its own files stay open; what uses it is free
ACCEPTED = PERMISSIVE | WITH_CONDITIONS | {"Apache-2.0 WITH LLVM-exception"}
SAID_OTHERWISE = {
    "MIT License": "MIT",
    "BSD": "BSD-3-Clause",
    "BSD License": "BSD-3-Clause",
    "Apache 2.0": "Apache-2.0",
    "Apache Software License": "Apache-2.0",
}
BY_ITS_TEXT = {"Permission is hereby granted, free of charge, to any person obtaining a": "MIT"}
HEAD = """\
# What tapplan stands on

Every library that tapplan itself names, with the licence that its own package
states, as it is when installed. None of them is part of tapplan's packages; each
is got from its makers. Made from what is installed by `python -m
tests.dependencies`; tests hold it, and that no licence in the whole chain keeps
anybody from using tapplan under its own.

"""


def name_of(text: str) -> str:
    """A package's name as indexes spell it."""
    return re.sub(r"[-_.]+", "-", text).lower()


def named() -> dict[str, str]:
    """Every library that tapplan names, and what for: an extra, or empty for every use."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found = {name_of(Requirement(one).name): "" for one in project["dependencies"]}
    for extra in EXTRAS:
        for one in project["optional-dependencies"][extra]:
            found.setdefault(name_of(Requirement(one).name), extra)
    del found["tapplan"]
    return found


def chain(names: Iterable[str]) -> set[str]:
    """These packages and all that they need in turn, where it is installed."""
    found: set[str] = set()
    left = [(name, frozenset[str]()) for name in names]
    while left:
        name, extras = left.pop()
        if name in found or not _is_there(name):
            continue
        found.add(name)
        left += [(name_of(one.name), frozenset(one.extras)) for one in _needs(name, extras)]
    return found


def _is_there(name: str) -> bool:
    try:
        metadata.distribution(name)
    except metadata.PackageNotFoundError:
        return False
    return True


def _needs(name: str, extras: frozenset[str]) -> Iterator[Requirement]:
    for text in metadata.requires(name) or []:
        one = Requirement(text)
        if one.marker is None or any(one.marker.evaluate({"extra": extra}) for extra in (*extras, "")):
            yield one


def licence_of(name: str) -> str:
    """The licence that an installed package states, in the names of the SPDX list; empty where it states none."""
    stated = metadata.metadata(name)
    short = stated.get("License") or ""
    kinds = [one.rpartition(" :: ")[2] for one in stated.get_all("Classifier", []) if one.startswith("License ::")]
    for text in (stated.get("License-Expression"), short if "\n" not in short else None, *kinds):
        if text:
            return SAID_OTHERWISE.get(text, text)
    texts = [file.read_text() for file in metadata.files(name) or [] if file.name == "LICENSE"]
    return next((told for words, told in BY_ITS_TEXT.items() if any(words in text for text in texts)), "")


def is_accepted(licence: str) -> bool:
    """Whether each part that binds is one of the accepted licences; of alternatives one is enough."""
    return all(
        any(one.strip("() ") in ACCEPTED for one in part.split(" OR ")) for part in licence.strip("()").split(" AND ")
    )


def listed() -> str:
    """The list as it is now."""
    rows = [f"| {name} | {licence_of(name)} | {extra or 'every use'} |" for name, extra in sorted(named().items())]
    return HEAD + "\n".join(["| library | licence | for |", "| --- | --- | --- |", *rows]) + "\n"


if __name__ == "__main__":
    LIST.write_text(listed(), encoding="utf-8")
