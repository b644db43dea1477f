"""Reading a design file: every bad input gets one clear message with its place, and all problems are told."""

import errno
import os
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.design.file import LARGEST_FILE, load, parse
from tapplan.design.starter import STARTER
from tapplan.errors import DesignError
from tests.examples import SHIPPED

F = Fraction


def problems(text: str) -> str:
    with pytest.raises(DesignError) as caught:
        parse(text, "x.toml")
    return str(caught.value)


def changed(old: str, new: str) -> str:
    assert STARTER.count(old) >= 1, old
    return STARTER.replace(old, new, 1)


def test_numbers_are_exact_decimals() -> None:
    made = parse(changed("error_pct    = 1.0", "error_pct    = 0.1"))
    assert made.sensing.error == Fraction(1, 1000)


def test_defaults_are_those_of_the_format() -> None:
    made = parse(STARTER.split("[sensing]")[0])
    assert (made.sensing.at, made.sensing.detector, made.sensing.error_pct) == ("input", "rms", 0)
    assert (made.mains.frequency_hz, made.mains.source_ohm) == ((50, 50), 0)
    assert made.output.load_model == "impedance"


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_shipped_designs_load(file: Path) -> None:
    assert load(file).title


def test_turns_may_be_fractions() -> None:
    assert parse(changed("turns = 75", 'turns = "151/2"')).windings[1].turns == Fraction(151, 2)
    assert parse(changed("turns = 75", "turns = 75.5")).windings[1].turns == Fraction(151, 2)


LINE = {text: number for number, text in enumerate(STARTER.splitlines(), 1)}

BAD = [
    ("turns = 600", "turns = -600", "x.toml:{}: winding[1].turns: found -600; accepted: turns above 0"),
    ("turns = 600", "turns = 0", "x.toml:{}: winding[1].turns: found 0"),
    ("turns = 600", "turns = nan", "x.toml:{}: winding[1].turns: found NaN"),
    ("turns = 600", "turns = inf", "x.toml:{}: winding[1].turns: found Infinity"),
    ("turns = 600", "turns = true", "x.toml:{}: winding[1].turns: found true"),
    ("turns = 600", "turns = " + "9" * 400, "x.toml:{}: winding[1].turns: found a whole number of about"),
    ("turns = 600", "turns = 1e400", "x.toml:{}: winding[1].turns: found 1E+400"),
    ("turns = 600", "turns = 1e999999999", "x.toml:{}: winding[1].turns: found 1E+999999999"),
    ("turns = 600", 'turns = "6/0"', 'x.toml:{}: winding[1].turns: found "6/0"'),
    ("turns = 600", "turns = 600." + "1" * 31, "x.toml:{}: winding[1].turns: found 600.111"),
    ("turns = 600", "turnz = 600", 'x.toml:{}: winding[1].turnz: found unknown key "turnz"'),
    ('ends  = ["A", "B"]', 'ends  = ["A"]', 'x.toml:{}: winding[2].ends: found ["A"]; accepted: two point names'),
    ('ends  = ["A", "B"]', 'ends  = ["A", "A"]', 'x.toml:{}: winding[2].ends: found both ends on "A"'),
    ('name  = "step 1"', 'name  = "base"', 'x.toml:{}: winding[2].name: found "base" again'),
    ('name = "KB"  ', 'name = " KB" ', 'x.toml:{}: relay[2].name: found " KB"; accepted: a text that is not empty'),
    ('name = "KB"  ', 'name = ""    ', 'x.toml:{}: relay[2].name: found ""; accepted: a text that is not empty'),
    ('ends  = ["A", "B"]', 'ends  = ["A", " B"]', 'x.toml:{}: winding[2].ends[2]: found " B"'),
    ('name = "KB"  ', 'name = "KA"  ', 'x.toml:{}: relay[2].name: found "KA" again'),
    ('name      = "buck"', 'name      = "boost"', 'x.toml:{}: band[3].name: found "boost" again'),
    ('energised = ["KA", "KB"]', 'energised = ["KA", "KC"]', 'x.toml:{}: band[3].energised: found "KC"'),
    ('energised = ["KA", "KB"]', 'energised = ["KA", "KA"]', 'x.toml:{}: band[3].energised: found "KA" 2 times'),
    ("range_v      = [187, 275]", "range_v      = [275, 187]", "x.toml:{}: mains.range_v: found [275, 187]"),
    ("window_v  = [207, 253]", "window_v  = [253, 253]", "x.toml:{}: output.window_v: found [253, 253]"),
    ("window_v  = [207, 253]", "window_v  = [0, 253]", "x.toml:{}: output.window_v: found a lower end of 0"),
    ("hold_v    = [214, 244]", "hold_v    = [244, 214]", "x.toml:{}: band[2].hold_v: found [244, 214]"),
    ("hold_v    = [214, 244]", "hold_v    = 214", "x.toml:{}: band[2].hold_v: found 214"),
    ('output  = "OUT"', 'output  = "OUTT"', 'x.toml:{}: terminals.output: found "OUTT"'),
    ('output  = "OUT"', 'output  = "LINE"', "x.toml:{}: terminals.output: found"),
    ('no   = "A"', 'no   = "OUT"', 'x.toml:{}: relay[2].no: found "OUT", its own com'),
    ("format = 1", "format = 2", "x.toml:{}: format: found 2; accepted: 1"),
    ("format = 1", "format = true", "x.toml:{}: format: found true; accepted: 1"),
    ("load_va   = 400", 'load_va   = "400"', 'x.toml:{}: output.load_va: found "400"'),
    ("load_va   = 400", "load_va   = 400\npower_factor = 1.1", "output.power_factor: found 1.1"),
    ("error_pct    = 1.0", "error_pct    = 100", "x.toml:{}: sensing.error_pct: found 100"),
    ('at           = "input"', 'at           = "inptu"', 'x.toml:{}: sensing.at: found "inptu"'),
    ('at           = "input"', 'at           = ["A", "Z9"]', 'x.toml:{}: sensing.at: found "Z9"'),
    ('at           = "input"', 'at           = ["A", "A"]', 'x.toml:{}: sensing.at: found "A" twice'),
    ("frequency_hz = 50", "frequency_hz = [53, 47]", "x.toml:{}: mains.frequency_hz: found [53, 47]"),
    ("title  = ", "titel  = ", "x.toml:{}: titel: found unknown key"),
    ("[sensing]", "[sensed]", "x.toml:{}: sensed: found unknown key"),
    ('com  = "LINE"', 'common = "LINE"', "relay[1].common: found unknown key"),
]


@pytest.mark.parametrize(("old", "new", "told"), BAD, ids=[new[:40] for _, new, _ in BAD])
def test_one_bad_value_is_told_with_its_line(old: str, new: str, told: str) -> None:
    line = next(number for number, text in enumerate(STARTER.splitlines(), 1) if text.startswith(old))
    assert told.format(line) in problems(changed(old, new))


# What a terminal obeys and a reader does not see.
UNSEEN = ["\x1b[31m", "\n", "\x00", "\x07", "\x7f", "\x85", "\x9b", "\ufeff"]
UNSEEN += ["\u061c", "\u200e", "\u200f", "\u2028", "\u2029", "\u202e", "\u2066", "\u2069"]


@pytest.mark.parametrize("mark", UNSEEN, ids=[f"U+{ord(mark[0]):04X}" for mark in UNSEEN])
@pytest.mark.parametrize("text", ["{}KB", "K{}B", "KB{}"], ids=["front", "within", "end"])
def test_what_a_terminal_obeys_is_refused_in_names_and_titles_and_told_as_an_escape(mark: str, text: str) -> None:
    written = text.format("".join(f"\\u{ord(one):04x}" for one in mark))
    found = text.format(mark).encode("unicode_escape").decode()
    said = problems(changed('name = "KB"', f'name = "{written}"'))
    name = "a text that is not empty, with no space at its ends and no control character or mark of direction"
    assert f'relay[2].name: found "{found}"; accepted: {name}' in said
    said = problems(changed('title  = "Workshop', f'title  = "{written}'))
    assert f'title: found "{found} outlet' in said
    assert "accepted: a text that is not empty, with no control character or mark of direction" in said
    said = problems(changed('at           = "input"', f'at           = ["A", "{written}"]'))
    assert f'sensing.at: found ["A", "{found}"]; accepted: "input", "output", or two' in said
    said = problems(changed("turns = 600", f'"{written}" = 600'))
    assert f'winding[1].{found}: found unknown key "{found}"' in said
    assert all(one.isprintable() for one in said.replace("\n", ""))


@pytest.mark.parametrize("text", ["", " ", " KB", "KB ", "\\tKB", "KB\\n", "\u00a0KB"])
def test_a_name_is_not_empty_and_has_no_space_at_its_ends(text: str) -> None:
    assert "relay[2].name: found" in problems(changed('name = "KB"', f'name = "{text}"'))


@pytest.mark.parametrize("name", ["K B", "K1/2", "رله ۱", "继电器", "K\u200cL", "é"])
def test_names_of_any_writing_are_taken(name: str) -> None:
    text = STARTER.replace('"KB"', f'"{name}"')
    assert parse(text).relay_names == ("KA", name)


def test_nearest_known_names_are_offered() -> None:
    assert 'nearest known: "turns"' in problems(changed("turns = 600", "turn = 600"))
    assert 'nearest known: "KA"' in problems(changed('energised = ["KA"]', 'energised = ["Ka"]'))
    assert 'nearest known: "OUT"' in problems(changed('output  = "OUT"', 'output  = "OUTT"'))


REQUEST = STARTER.split("# The winding")[0] + "[fit]\ntotal_turns = 600\n"


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("relais = 3", 'fit.relais: found unknown key "relais"; accepted: keys of this table: total_turns, '),
        ("arrangements = [1]", 'fit.arrangements[1]: found 1; accepted: "line-chain", '),
        ('arrangements = ["free", "line"]', 'fit.arrangements[2]: found "line"; accepted: "line-chain", '),
        ("arrangements = []", "fit.arrangements: found []; accepted: at least one entry"),
        ("relays_max = 13", "fit.relays_max: found 13; accepted: a whole number from 1 to 12"),
        ("total_turn = 3", 'fit.total_turn: found unknown key "total_turn"'),
    ],
)
def test_a_request_with_one_thing_wrong_is_told_that_one_thing(line: str, told: str) -> None:
    said = problems(f"{REQUEST}{line}\n")
    assert told in said
    assert "\n" not in said


def test_the_nearest_key_is_one_of_its_own_table() -> None:
    assert 'nearest known: "relays"' in problems(f"{REQUEST}relais = 3\n")


@pytest.mark.parametrize(("old", "most"), [('name = "KB', 80), ('title  = "Workshop', 500)])
def test_a_text_that_is_too_long_is_told_how_long_it_may_be(old: str, most: int) -> None:
    key, _, name = old.partition('"')
    long = changed(old, f'{key}"{name}{"K" * (most + 1)}')
    assert f"accepted: a shorter text, at most {most} characters" in problems(long)


def test_too_many_taps_are_counted() -> None:
    taps = ", ".join(str(100 + tap) for tap in range(13))
    said = problems(REQUEST.replace("total_turns = 600", f"taps = [{taps}]"))
    assert "fit.taps: found [100, 101" in said
    assert "accepted: at most 12 entries" in said


def test_all_problems_of_a_file_are_told_at_once_in_its_order() -> None:
    text = changed("turns = 600", "turns = -1").replace('energised = ["KA"]', 'energised = ["KX"]')
    text = text.replace("noise_v      = 1", "noise_v      = -1\nnosie_v = 3").replace(
        "range_v      = [187", "range_v      = [287"
    )
    told = problems(text).splitlines()
    assert [line.split(": ")[1] for line in told[:-1]] == [
        "mains.range_v",
        "winding[1].turns",
        "sensing.noise_v",
        "sensing.nosie_v",
        "band[1].energised",
    ]
    assert told[-1] == "5 problems in x.toml"


def test_a_relay_needs_a_common_and_a_throw() -> None:
    neither = changed('nc   = "C"\nno   = "A"\n', "")
    assert 'relay[2]: found com "OUT" with neither nc nor no' in problems(neither)
    assert "relay[2]: found no com" in problems(changed('com  = "OUT"\n', ""))
    both = changed('com  = "OUT"\n', 'com  = "OUT"\npoles = [{ com = "OUT", nc = "A" }]\n')
    assert "relay[2].poles: found poles beside com" in problems(both)
    empty = changed('com  = "OUT"\nnc   = "C"\nno   = "A"\n', "poles = []\n")
    assert "relay[2].poles: found []" in problems(empty)


def test_missing_keys_are_named() -> None:
    told = problems("format = 1\n")
    for key in ("title", "mains", "output", "terminals"):
        assert f"x.toml: {key}: found nothing" in told


def test_no_winding_is_an_error() -> None:
    head, _, _ = STARTER.partition("[[winding]]")
    assert "at least one winding" in problems(head)


def test_no_relay_is_a_design_with_one_state() -> None:
    text = STARTER.split("[[relay]]")[0].replace('"LINE"', '"B"').replace('"OUT"', '"C"')
    assert parse(text).relay_names == ()


def test_backup_must_surround_the_bands() -> None:
    backup = "[backup]\nleave_v = [{}, 290]\nreturn_v = [{}, 280]\n"
    assert "backup.leave_v: found [190, 290]" in problems(STARTER + backup.format(190, 195))
    assert "backup.return_v: found [170, 280]" in problems(STARTER + backup.format(180, 170))
    assert parse(STARTER + backup.format(180, 190)).backup is not None


def test_backup_around_readings_at_the_output_counts_the_outermost_rows_only() -> None:
    """At the output the inner band may be kept lower than the outermost one: its readings jump up on the move."""
    text = STARTER.replace('at           = "input"', 'at           = "output"')
    text = (
        text.replace("[185, 219]", "[212, 243]")
        .replace("[214, 244]", "[196, 243]")
        .replace("[239, 278]", "[200, 243]")
    )
    assert parse(text + "[backup]\nleave_v = [205, 250]\nreturn_v = [210, 240]\n").backup is not None


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    file = tmp_path / "notepad.toml"
    file.write_bytes(b"\xef\xbb\xbf" + STARTER.replace("\n", "\r\n").encode())
    assert load(file).title


def test_a_published_supply_gives_nominal_and_range() -> None:
    text = STARTER.replace("nominal_v    = 230\n", "", 1).replace(
        "range_v      = [187, 275]", 'standard = "uk-230"', 1
    )
    made = parse(text)
    assert (made.mains.nominal_v, made.mains.range_v) == (230, (Fraction("216.2"), 253))
    assert 'found "uk-23"' in problems(text.replace("uk-230", "uk-23"))
    assert 'nearest known: "uk-230"' in problems(text.replace("uk-230", "uk-23"))
    assert "nominal_v beside standard" in problems(text.replace("\nstandard", "\nnominal_v = 230\nstandard", 1))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "x.toml: found an empty file"),
        ("# only a comment\n", "x.toml: found an empty file"),
        ("format = \n", "x.toml:1: found invalid value; accepted: TOML 1.0"),
        ("format = 1\nformat = 1\n", "x.toml:2: found cannot overwrite a value; accepted: TOML 1.0"),
        ("a = " + "[" * 20000, "x.toml: found brackets or keys nested too deep"),
        ("format = 1\n\n" + "a." * 300 + "a = 1", "x.toml:3: found brackets or keys nested too deep"),
        ("a." * 300 + "a = 1", "x.toml:1: found brackets or keys nested too deep"),
        ("a = " + "9" * 5000, "x.toml: found a number too long to read"),
        ("a = 1e" + "9" * 30, "x.toml: found"),
    ],
    ids=["empty", "comment", "syntax", "twice", "nested", "dotted", "dotted first", "digits", "exponent"],
)
def test_texts_that_are_no_design(text: str, told: str) -> None:
    assert told in problems(text)


def unreadable(path: Path) -> str:
    with pytest.raises(DesignError) as caught:
        load(path)
    return str(caught.value)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    assert "found a directory" in unreadable(tmp_path)
    assert "found no such file" in unreadable(tmp_path / "none.toml")
    assert "cannot be read" in unreadable(tmp_path / ("x" * 5000))
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"format = 1\n\xff\xfe\x00")
    assert f"{binary}:2: found byte 0xff; accepted: text in UTF-8" in unreadable(binary)
    huge = tmp_path / "huge.toml"
    winding = '[[winding]]\nname="w%07d"\nends=["A","B"]\nturns=1\n'
    huge.write_text("".join(winding % number for number in range(1_000_000))[: LARGEST_FILE + 10])
    assert "found more than 1 MB" in unreadable(huge)


def test_a_file_without_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Refused by the system; simulated, since root may read every file."""
    secret = tmp_path / "secret.toml"
    secret.write_text(STARTER)

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "open", refuse)
    assert "cannot be read (Permission denied)" in unreadable(secret)


def test_too_many_windings_or_relays_are_refused() -> None:
    windings = "".join(f'[[winding]]\nname="w{n}"\nends=["P{n}","Q{n}"]\nturns=1\n' for n in range(2001))
    assert "found 2004 windings; accepted: at most 2000" in problems(STARTER + windings)


@settings(max_examples=300)
@given(st.data())
def test_a_damaged_file_is_told_never_a_traceback(data: st.DataObject) -> None:
    lines = STARTER.splitlines()
    for _ in range(data.draw(st.integers(1, 3))):
        place = data.draw(st.integers(0, len(lines) - 1))
        action = data.draw(st.sampled_from(["drop", "swap", "junk", "double"]))
        if action == "drop":
            del lines[place]
        elif action == "double":
            lines.insert(place, lines[place])
        elif action == "swap":
            other = data.draw(st.integers(0, len(lines) - 1))
            lines[place], lines[other] = lines[other], lines[place]
        else:
            junk = data.draw(st.text(st.characters(max_codepoint=0x24F), min_size=1, max_size=6))
            cut = data.draw(st.integers(0, len(lines[place])))
            lines[place] = lines[place][:cut] + junk + lines[place][cut:]
    try:
        made = parse("\n".join(lines))
    except DesignError as error:
        assert error.problems
        assert all(problem.found and problem.accepted for problem in error.problems)
    else:
        assert made.format == 1


CONTROLLER = """
[controller]
bits = 10
reference_v = 3.3
divider_ohm = [680000, 4700]
temperature_c = [-10, 60]
window = "fixed"
window_ms = 20
"""


def test_a_controller_is_read_exactly() -> None:
    made = parse(STARTER + CONTROLLER).controller
    assert made is not None
    assert (made.bits, made.reference_v, made.divider_ohm) == (10, Fraction("3.3"), (680000, 4700))
    assert (made.temperature_c, made.adjusted_at_c, made.calibrated_pct) == ((-10, 60), 25, None)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("bits = 10", "bits = 0", "controller.bits: found 0; accepted: a whole number from 4 to 24"),
        ("bits = 10", "bits = 64", "controller.bits: found 64; accepted: a whole number from 4 to 24"),
        ("bits = 10", "bits = 10.5", "controller.bits: found 10.5"),
        ("bits = 10\n", "", "controller.bits: found nothing; accepted: a value"),
        ("3.3", "0", "controller.reference_v: found 0"),
        ("3.3", "3.3\nreference_pct = 120", "controller.reference_pct: found 120; accepted: a percentage"),
        ("3.3", "3.3\ndivider_pct = 100", "controller.divider_pct: found 100; accepted: a percentage"),
        ("3.3", "3.3\ndivider_ppm_k = 90000", "controller.divider_ppm_k: found 90000 ppm/K, which is 100 % or more"),
        ("[680000, 4700]", "[680000, 0]", "controller.divider_ohm: found [680000, 0]; accepted: [upper, lower]"),
        ("[-10, 60]", "[60, -10]", "controller.temperature_c: found [60, -10]"),
        ("[-10, 60]", "[-300, 60]", "controller.temperature_c: found [-300, 60]"),
        ('"fixed"', '"synchronised"', "controller.window_ms: found window_ms of a synchronised window"),
        ('"fixed"', '"loose"', 'controller.window: found "loose"; accepted: "synchronised" or "fixed"'),
        ("3.3", "3.3\nbitz = 3", 'controller.bitz: found unknown key "bitz"; accepted: keys of this table'),
    ],
)
def test_a_controller_that_makes_no_sense(old: str, new: str, said: str) -> None:
    assert CONTROLLER.count(old) == 1
    assert said in problems(STARTER + CONTROLLER.replace(old, new))


@pytest.mark.parametrize("key", ["operate_ms", "release_ms", "transfer_ms", "bounce_ms"])
@pytest.mark.parametrize("value", ["-3", "[5, 3]", "[-1, 3]", "[3]", "[1, 2, 3]", "true", '"3 ms"'])
def test_relay_times_that_make_no_sense(key: str, value: str) -> None:
    said = problems(changed('com  = "LINE"', f'com  = "LINE"\n{key} = {value}'))
    accepted = "a number from 0 to 1e9, the most it can take, or [least, most] with the least first"
    assert f"relay[1].{key}: found {value}; accepted: {accepted}" in said


@pytest.mark.parametrize(
    ("value", "times"), [("8", (0, 8)), ("[2.5, 8]", (F("2.5"), 8)), ("[8, 8]", (8, 8)), ("0", (0, 0))]
)
def test_a_relay_time_is_the_most_or_both_ends(value: str, times: tuple[Fraction, Fraction]) -> None:
    made = parse(changed('com  = "LINE"', f'com  = "LINE"\nrelease_ms = {value}'))
    assert made.relays[0].release_ms == times


SEQUENCE = """
[backup]
leave_v = [180, 290]
return_v = [184, 286]
return_after_ms = 3000
energised = ["KB"]
[[sequence.move]]
from = "direct"
to = "buck"
order = ["KB", "KA"]
[[sequence.move]]
from = "buck"
to = "away"
order = ["KA"]
"""


def with_sequence(old: str = "", new: str = "") -> str:
    return STARTER + SEQUENCE.replace(old, new, 1)


def test_a_sequence_is_read() -> None:
    made = parse(with_sequence().replace('order = "safest"', 'order = "safest"\npause_ms = 30\nblank_ms = 12.5'))
    sequence = made.sequence
    assert (sequence.order, sequence.pause_ms, sequence.blank_ms) == ("safest", 30, F("12.5"))
    assert [(one.old, one.new, one.order) for one in sequence.moves] == [
        ("direct", "buck", ("KB", "KA")),
        ("buck", "away", ("KA",)),
    ]
    assert made.backup is not None
    assert made.backup.return_after_ms == 3000


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"direct"', '"direkt"', 'sequence.move[1].from: found "direkt"; accepted: a band of this design, or away: '
         '"boost", "direct", "buck", "away" (nearest known: "direct")'),
        ('to = "away"', 'to = "aways"', 'sequence.move[2].to: found "aways"'),
        ('["KB", "KA"]', '["KB"]',
         'sequence.move[1].order: found "KB"; accepted: each relay that moves, once: "KA", "KB"'),
        ('["KA"]', '["KA", "KB"]',
         'sequence.move[2].order: found "KA", "KB"; accepted: each relay that moves, once: "KA"'),
        ('["KB", "KA"]', '["KB", "KA", "KA"]', "sequence.move[1].order: found"),
        ('["KB", "KA"]', "[]", "sequence.move[1].order: found []; accepted: at least one entry"),
        ('to = "away"', 'to = "buck"',
         'sequence.move[2].to: found "buck", where it begins; accepted: another band, or away'),
        ('from = "buck"\nto = "away"', 'from = "direct"\nto = "buck"',
         'sequence.move[2]: found "direct" to "buck" again'),
        ("return_after_ms = 3000", "return_after_ms = -1", "backup.return_after_ms: found -1"),
        ("return_v = [184, 286]", "return_v = [179, 286]",
         "backup.return_v: found [179, 286]; accepted: a range inside"),
        ("leave_v = [180, 290]", "leave_v = [185, 290]",
         "backup.leave_v: found [185, 290]; accepted: a range that holds"),
        ('order = ["KA"]', 'order = ["KA"]\npause_ms = 3', 'sequence.move[2].pause_ms: found unknown key "pause_ms"; '
         "accepted: keys of this table: from, to, order"),
    ],
)  # fmt: skip
def test_a_sequence_that_makes_no_sense(old: str, new: str, said: str) -> None:
    assert old in SEQUENCE
    assert said in problems(with_sequence(old, new))


@pytest.mark.parametrize(
    ("new", "said"),
    [
        ("pause_ms = -5", "sequence.pause_ms: found -5; accepted: a number from 0"),
        ("blank_ms = -5", "sequence.blank_ms: found -5; accepted: a number from 0"),
        ("pauses_ms = 5", 'sequence.pauses_ms: found unknown key "pauses_ms"; accepted: keys of this table: order, '
         'pause_ms, blank_ms, move (nearest known: "pause_ms")'),
    ],
)  # fmt: skip
def test_pauses_that_make_no_sense(new: str, said: str) -> None:
    assert said in problems(changed('order = "safest"', f'order = "safest"\n{new}'))


def test_an_order_of_no_known_kind() -> None:
    said = problems(changed('order = "safest"', 'order = "quickest"'))
    assert 'sequence.order: found "quickest"; accepted: "together" or "safest"' in said


def test_a_single_move_without_bands_to_name() -> None:
    bare = STARTER[: STARTER.index("# The control table")]
    said = problems(bare + SEQUENCE[SEQUENCE.index("[[sequence.move]]") :])
    assert (
        "sequence.move[1]: found a single move, and no [[band]] to name; accepted: bands written into the file"
        in said
    )


@pytest.mark.parametrize("name", ["away", "gap"])
def test_a_band_by_a_name_that_means_no_band(name: str) -> None:
    said = problems(changed('name      = "direct"', f'name      = "{name}"'))
    assert f'band[2].name: found "{name}"; accepted: a name other than "away", "gap", which mean no band' in said


def test_one_confirmation_beside_two() -> None:
    both = "noise_v      = 1\nconfirm_ms = 20\nconfirm_up_ms = 10\nconfirm_down_ms = 30"
    said = problems(changed("noise_v      = 1            # peak to peak", both))
    assert "sensing.confirm_ms: found confirm_ms beside both confirm_up_ms and confirm_down_ms" in said
    made = parse(changed("noise_v      = 1            # peak to peak", both.replace("confirm_ms = 20\n", "")))
    assert [made.sensing.confirmation_ms(upward=up) for up in (True, False)] == [10, 30]


def test_a_tolerance_curve_that_does_not_exist() -> None:
    said = problems(changed("window_v  = [207, 253]", 'window_v  = [207, 253]\ntolerance_curve = "iti-200"'))
    assert 'output.tolerance_curve: found "iti-200"; accepted: a curve of "iti-2000", "semi-f47"' in said
    assert 'nearest known: "iti-2000"' in said


CORE = """
[core]
lamination = "EI 96"
stack_mm = 45
grade = "M400-50A"
[[feed]]
name = "inverter"
winding = "base"
volts_v = [20, 25]
[battery]
winding = "base"
float_v = [27, 27.6]
[coil_supply]
winding = "base"
[protection]
fuse_a = 4
"""


def test_the_tables_of_a_rating_are_read() -> None:
    made = parse(STARTER + CORE)
    assert made.core is not None
    assert (made.core.lamination, made.core.stack_mm, made.core.stack_factor) == ("EI 96", 45, 1)
    assert made.feeds[0].volts_v == (20, 25)
    assert made.protection is not None
    assert made.protection.fuse_a == 4


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"EI 96"', '"EI 97"', 'core.lamination: found "EI 97"; accepted: a lamination of "EI 30"'),
        ("stack_mm = 45", "stack_mm = 0", "core.stack_mm: found 0; accepted: a number above 0"),
        ("stack_mm = 45\n", "", "core.lamination: found a lamination without stack_mm"),
        ("stack_mm = 45", "stack_mm = 45\narea_mm2 = 0", "core.area_mm2: found 0"),
        ("stack_mm = 45", "stack_mm = 45\nstack_factor = 1.2", "core.stack_factor: found 1.2"),
        ("stack_mm = 45", 'stack_mm = 45\nname = "iron"', 'core.name: found "iron"; accepted: a core of a winding'),
        ('"M400-50A"', '"M400"', 'core.grade: found "M400"'),
        ('[[feed]]\nname = "inverter"\nwinding = "base"', '[[feed]]\nname = "inverter"\nwinding = "bass"',
         'feed[1].winding: found "bass"; accepted: a winding of this design'),
        ("[20, 25]", "[25, 20]", "feed[1].volts_v: found [25, 20]"),
        ("[20, 25]", "[0, 25]", "feed[1].volts_v: found a lower end of 0; accepted: a lower end above 0 V"),
        ("[battery]", "[copper]\ntemperature_c = -270\n[battery]",
         "copper.temperature_c: found -270; accepted: a temperature of copper from -50 to 300"),
        ("[20, 25]", '[20, 25]\nenergised = ["KZ"]', 'feed[1].energised: found "KZ"'),
        ("float_v = [27, 27.6]", "float_v = 27", "battery.float_v: found 27"),
        ("fuse_a = 4", "fuse_a = -4", "protection.fuse_a: found -4"),
        ("[coil_supply]", "[coil_supply]\nrectified = 1", "coil_supply.rectified: found 1; accepted: true or false"),
    ],
)  # fmt: skip
def test_tables_of_a_rating_that_make_no_sense(old: str, new: str, said: str) -> None:
    assert old in CORE
    assert said in problems(STARTER + CORE.replace(old, new, 1))


def test_a_wire_thicker_than_the_window() -> None:
    thick = changed('ends  = ["A", "B"]', 'ends  = ["A", "B"]\nwire_mm = 40')
    said = problems(thick + "\n[core]\nwindow_mm2 = 768\n")
    assert "winding[2].wire_mm: found 40 mm, thicker than the window of 768 mm2" in said


@pytest.mark.parametrize("value", ["0", "1.1", "-0.5"])
def test_a_power_factor_of_nought_or_over_one(value: str) -> None:
    said = problems(changed("load_va   = 400", f"load_va   = 400\npower_factor = {value}"))
    assert f"output.power_factor: found {value}; accepted: a number above 0, at most 1" in said


def test_only_a_supply_that_is_left_out_is_told_how_else_it_can_be_stated() -> None:
    left_out = problems(changed("nominal_v    = 230\n", ""))
    assert "mains.nominal_v: found nothing; accepted: nominal_v with range_v, or a published supply" in left_out
    assert "published supply" not in problems(changed("nominal_v    = 230", 'nominal_v    = "x"'))


def test_a_controller_takes_one_sample_where_nothing_is_stated() -> None:
    made = parse(STARTER + "\n[controller]\nbits = 10\nreference_v = 5\ndivider_ohm = [1000000, 10000]\n")
    assert made.controller is not None
    assert made.controller.samples == 1
