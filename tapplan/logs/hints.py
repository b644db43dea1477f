"""What to do about bad rows, in sentences."""

from __future__ import annotations

from tapplan.logs.form import LogForm
from tapplan.logs.samples import BadRows, RowFault
from tapplan.logs.stamps import stamp_of

CLOCK_PUT_BACK = (
    "Rows go back in time, as where a clock is put back in autumn: if the log keeps local time, give --zone."
)
UNIT_TO_GIVE = "Numbers tell another unit than the log is read in: give --unit."


def hints(bad: BadRows, form: LogForm) -> tuple[str, ...]:
    """The options that would make samples of some of the rows that are left out, a sentence each."""
    said = []
    if form.zone is None and bad.counts.get(RowFault.BACKWARDS) and _may_be_local(bad):
        said.append(CLOCK_PUT_BACK)
    if bad.counts.get(RowFault.OTHER_UNIT):
        said.append(UNIT_TO_GIVE)
    return tuple(said)


def _may_be_local(bad: BadRows) -> bool:
    """Whether a row that goes back has a stamp without a zone, as far as such rows are told."""
    stamps = [stamp_of(one.found) for one in bad.told if one.fault is RowFault.BACKWARDS]
    return not stamps or any(stamp is not None and stamp["zone"] is None for stamp in stamps)
