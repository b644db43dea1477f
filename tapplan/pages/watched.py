"""What a served report has beside the report: news of its file, and a panel in which numbers can be changed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby
from string import Template

from tapplan.design.edit import StatedNumber
from tapplan.errors import visible
from tapplan.pages.markup import static

END = "</body>"
OF_BAND = ("left below (V)", "left above (V)")


@dataclass(frozen=True, slots=True)
class BackupWords:
    """What a range of the backup is about, and its ends."""

    whose: str
    ends: Sequence[str]


OF_BACKUP = {
    "leave_v": BackupWords("the load leaves the mains", ("below (V)", "above (V)")),
    "return_v": BackupWords("the load comes back", ("from (V)", "to (V)")),
}


@dataclass(frozen=True, slots=True)
class Watched:
    """What a served page knows of its design file.

    `home` is the path of the file's page, `number` which page of the file it is (of one tried: from which), `mark`
    tells the file's text from any other, and `tried` holds by key the numbers that were tried and stand in no file.
    """

    file: str
    home: str
    number: int
    mark: str
    numbers: Sequence[StatedNumber]
    tried: Mapping[str, str]


def watched_page(page_text: str, facts: Watched) -> str:
    """A finished report with what follows its file, put in before the end of its body."""
    before, end, after = page_text.rpartition(END)
    panel = Template(static("watch.html")).substitute(
        file=escape(visible(facts.file)),
        tried=_tried(facts),
        fields=_fields(facts),
    )
    known = {"home": facts.home, "page": facts.number, "read": facts.mark, "tried": bool(facts.tried)}
    script = f'<script type="application/json" id="watch-data">{_data(known)}</script>'
    script += f"<script>{static('watch.js')}</script>"
    return f"{before}<style>{static('watch.css')}</style>{panel}{script}{end}{after}"


def _data(known: Mapping[str, object]) -> str:
    """The panel's own data: nothing in it can end the element it stands in."""
    return json.dumps(known).replace("<", "\\u003c").replace("&", "\\u0026")


def _tried(facts: Watched) -> str:
    """That this page is of no file, and what was tried."""
    if not facts.tried:
        return ""
    stated = {one.key: one for one in facts.numbers}
    changes = "".join(
        f"<li>{escape(_name(stated[key]))}: {escape(stated[key].told)} in the file, {escape(told)} tried</li>"
        for key, told in facts.tried.items()
    )
    back = f'<a href="{facts.home}">Back to the page of the file</a>'
    return f'<div id="watch-tried"><strong>Tried, not written.</strong><ul>{changes}</ul><p>{back}</p></div>'


def _name(one: StatedNumber) -> str:
    """What a number is, in words."""
    return f"{_whose(one)}, {_end(one)}"


def _whose(one: StatedNumber) -> str:
    """The winding, the band, or what happens."""
    return one.owner or OF_BACKUP[str(one.path[1])].whose


def _end(one: StatedNumber) -> str:
    """Which of its numbers."""
    match one.path:
        case ("winding", *_):
            return "turns"
        case ("band", _, _, int(end)):
            return OF_BAND[end]
        case (_, str(key), int(end)):
            return OF_BACKUP[key].ends[end]
    return one.key


def _fields(facts: Watched) -> str:
    """A field for every number, those of one winding, band or event side by side."""
    rows = [
        f"<tr><th scope=row>{escape(_whose(row[0]))}</th>{''.join(_field(one, facts.tried) for one in row)}</tr>"
        for _, found in groupby(facts.numbers, key=lambda one: one.path[: 1 + (len(one.path) > 2)])
        if (row := list(found))
    ]
    return f"<table>{''.join(rows)}</table>"


def _field(one: StatedNumber, tried: Mapping[str, str]) -> str:
    """The field of a number, with what the file states of it."""
    stated, name = escape(one.told, quote=True), escape(_name(one), quote=True)
    value = escape(tried.get(one.key, one.told), quote=True)
    return (
        f'<td><label>{escape(_end(one))}<input name="{one.key}" value="{value}" data-stated="{stated}" '
        f'aria-label="{name}" inputmode="decimal" autocomplete="off" maxlength="40" size="8"></label>'
        f"<small hidden>in the file: {stated}</small></td>"
    )
