"""Sound files of every kind that a call reads, from which all damaged ones are made."""

from __future__ import annotations

import contextlib
import csv
import io
import os
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from tapplan.cli.main import main
from tapplan.design.starter import REQUEST, STARTER
from tests.examples import REQUESTS, ROOT, SHIPPED

SMALL = (ROOT / "designs" / "spring-pump.toml").read_text("utf-8")
FULL = (ROOT / "designs" / "shepherds-hut.toml").read_text("utf-8")
FRAME = """format = 1
title = "Board without a drawing"

[mains]
nominal_v = 230
range_v = [180, 270]

[output]
nominal_v = 230
window_v = [207, 253]

[terminals]
line = "LINE"
neutral = "N"
output = "OUT"
"""
ASKED = """format = 1
title = "A winding that exists"

[mains]
nominal_v = 230
range_v = [190, 250]

[output]
nominal_v = 230
window_v = [205, 255]

[terminals]
line = "LINE"
neutral = "N"
output = "OUT"

[fit]
taps = [300, 330, 360]
arrangements = ["line-chain", "output-chain"]
relays_max = 2
"""
AGE_NS = 1_700_000_000_000_000_000
MORE_KEYS = """
[[accept]]
code = "thin-hysteresis"
reason = "the noise was measured over a month"

[[accept]]
code = "duplicate-state"
where = "K"
reason = "both are wanted"

[backup]
leave_v = [170, 262]
return_v = [176, 256]

[sequence]
order = "together"
pause_ms = 20

[[sequence.move]]
from = "boost"
to = "straight"
order = ["K"]

[limits]
surge_v = 300
"""

# What each kind of file is called in a call; the ending is part of how some are read.
NAMES = {
    "design": "given.toml",
    "request": "request.toml",
    "log": "given.csv",
    "parquet": "given.parquet",
    "sheet": "sheet.csv",
    "session": "session.txt",
    "weights": "weights.csv",
    "priors": "priors.toml",
    "frame": "frame.toml",
    "learn": "readings.csv",
    "search": "search.jsonl",
    "runs": "runs.jsonl",
    "answers": "answers.txt",
}


@dataclass(frozen=True, slots=True)
class Shelf:
    """The sound files of every kind, as bytes."""

    files: dict[str, tuple[bytes, ...]]

    def first(self, kind: str) -> bytes:
        """The one that stands for its kind where another kind is damaged."""
        return self.files[kind][0]


@cache
def shelf() -> Shelf:
    """Every sound file."""
    made: dict[str, tuple[bytes, ...]] = {
        "design": _texts(SMALL, SMALL + MORE_KEYS, STARTER, FULL, *(one.read_text("utf-8") for one in SHIPPED)),
        "request": _texts(ASKED, REQUEST, *(one.read_text("utf-8") for one in REQUESTS)),
        "frame": _texts(FRAME),
        "log": _logs(),
        "parquet": _parquets(),
        "weights": _texts("volts,weight\n200,3\n230.5,5\n241,0.25\n", "230 5\n# night\n240;2\n"),
        "priors": _texts('stuck-rest = 5\n"K stuck-driven" = 2.5\n', "open = 0.25\nno-open = 1e2\n"),
        "learn": _texts(*_readings()),
        "answers": _texts(*_dialogues()),
    }
    with TemporaryDirectory() as name:
        made |= _written(Path(name), made)
    return Shelf(made)


def _texts(*texts: str) -> tuple[bytes, ...]:
    return tuple(text.encode("utf-8") for text in texts)


def _logs() -> tuple[bytes, ...]:
    """Measured mains as loggers write them: marks, times and decimals of several kinds."""
    seconds = range(60)
    plain = "time,volts\n" + "".join(f"2024-01-01T00:{one // 6:02}:{one % 6}0Z,{180 + one}\n" for one in seconds)
    european = "Zeit;Spannung\n" + "".join(f"13.02.2024 00:{one // 6:02}:{one % 6}0;2{one:02},5\n" for one in seconds)
    split = "# made: quiet\nDate,Time,V [V],I [A]\n" + "".join(
        f"1/13/2024,0:{one // 6:02}:{one % 6}0,{200 + one}.25,1\n" for one in seconds
    )
    epoch = "t\tu\n" + "".join(f"{1700000000 + 10 * one}\t{230 - one % 7}\n" for one in seconds)
    quoted = '"when","mains, volts"\r\n' + "".join(
        f'"2024-01-01 00:{one // 6:02}:{one % 6}0+01:00","{190 + one}"\r\n' for one in seconds
    )
    return _texts(plain, european, split, epoch, quoted)


def _parquets() -> tuple[bytes, ...]:
    """The same as columns of several types."""
    import pyarrow as pa

    stamps = [1_700_000_000_000_000 + 10_000_000 * one for one in range(60)]
    volts = [180.0 + one for one in range(60)]
    tables = [
        {"time": pa.array(stamps, pa.timestamp("us", "UTC")), "volts": pa.array(volts, pa.float64())},
        {"time": pa.array(stamps, pa.timestamp("us")), "volts": pa.array(volts, pa.float32())},
        {
            "t_s": pa.array([one // 1_000_000 for one in stamps], pa.int64()),
            "u": pa.array(map(int, volts), pa.int16()),
        },
        {"time": pa.array(map(str, stamps), pa.string()), "v": pa.array([f"{one}" for one in volts], pa.string())},
        {
            "time": pa.array(stamps, pa.timestamp("us")),
            "v": pa.array([Decimal(f"{one:.2f}") for one in volts], pa.decimal128(10, 2)),
            "note": pa.array([None] * 60, pa.null()),
        },
    ]
    return tuple(packed(pa.table(one)) for one in tables)


def packed(table: object) -> bytes:
    """A table of pyarrow as the bytes of a file."""
    from pyarrow import parquet

    stream = io.BytesIO()
    parquet.write_table(table, stream, row_group_size=32)
    return stream.getvalue()


def _readings() -> tuple[str, ...]:
    head = "condition,measure,reading\n"
    return (
        head + "off,ohms LINE N,1.2\noff,ohms OUT LINE,0.1\noff,coil-ohms K1,360\noff coils K1,ohms OUT T1,0.2\n",
        head.replace(",", ";") + 'off;ohms LINE T1;"0,4"\nlow 12 V on LINE N;volts T1 N;14,5\noff;ohms OUT N;open\n',
        head + "off,ohms A B,0.2\noff,ohms A C,unknown\n",
    )


def _dialogues() -> tuple[str, ...]:
    return (
        "unknown\nskip\nlist\nundo\nstop\n",
        "else\noff: coil-ohms K = OL\nwrong 1\nundo\nhelp\n231\n0,2 ohm\n\n",
        "line 200 V rising: output = 226\nyes\nsometimes\nsave kept.txt\nquit\n",
    )


def _written(folder: Path, made: dict[str, tuple[bytes, ...]]) -> dict[str, tuple[bytes, ...]]:
    """What calls write themselves: a sheet, a session, a search, kept runs."""
    with contextlib.chdir(folder), contextlib.redirect_stdout(io.StringIO()):
        lay_out({kind: files[0] for kind, files in made.items()})
        for call in (
            ["bench", NAMES["design"], "-o", NAMES["sheet"]],
            ["fit", NAMES["request"], "--keep", NAMES["search"], "-o", "plans.txt"],
            ["replay", NAMES["design"], NAMES["log"], "--keep", NAMES["runs"], "-o", "replayed.txt"],
        ):
            if main(call) not in (0, 1):
                raise RuntimeError(f"no sound file by {call}")
        sheet, search, runs = (Path(NAMES[kind]).read_text("utf-8") for kind in ("sheet", "search", "runs"))
    mark = sheet.split(",")[1]
    session = (
        f"fingerprint {mark}\noff: coil-ohms K = 410\n# skipped off coils K: click K\n"
        "line 200 V rising: output = 226\n"
    )
    return {
        "sheet": _texts(_filled(sheet, "1"), _filled(sheet, "open"), _filled(sheet, "0,2 ohm")),
        "session": _texts(session),
        "search": _texts(search),
        "runs": _texts(runs),
    }


def lay_out(files: dict[str, bytes]) -> None:
    """Puts files of these kinds under their names into the present folder, all of one age."""
    for kind, content in files.items():
        file = Path(NAMES[kind])
        file.write_bytes(content)
        os.utime(file, ns=(AGE_NS, AGE_NS))  # kept runs hang on the name and the age of their log


def _filled(sheet: str, reading: str) -> str:
    """A sheet with every third cell for a reading filled."""
    rows = list(csv.reader(io.StringIO(sheet)))
    place = rows[1].index("reading")
    for row in rows[2:-1:3]:
        row[place] = reading
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows(rows)
    return stream.getvalue()
