"""The part of the page that logs add: the verdict first, every figure from the answer, made-up marks, many logs."""

from __future__ import annotations

import re
import subprocess
import sys
from copy import deepcopy
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from html import unescape
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from xml.etree.ElementTree import Element

import html5lib
import pytest

from tapplan.answers import words
from tapplan.answers.logfigures import seconds_told
from tapplan.answers.logrows import DayRow
from tapplan.answers.replay import Replay, SideBySide, replay
from tapplan.checks.review import review, review_of
from tapplan.cli.main import main
from tapplan.pages import measured as parts
from tapplan.pages.measured import MOST_CHANGES, MOST_DAYS, MOST_SITES, WORST_DAYS, Measured, mains_section
from tapplan.pages.report import report
from tapplan.replay.replayed import replayed
from tapplan.replay.view import viewed
from tests.examples import SHIPPED
from tests.pages.test_report import Page, captions, column, tables, told
from tests.pictures.measured import HOUR, MINUTE, Site, level, site, stage, wandering, write_csv
from tests.replay.against import Listed

EVIL = '</script><img src=x onerror="x"> <b>&amp;"'


@cache
def wandered() -> Site:
    return site(wandering(12, MINUTE), stage("ridge-dispensary"))


def page_of(found: Measured) -> str:
    return report(review_of(found.machine.table), measured=found)


@cache
def text_of_wandered() -> str:
    return page_of(wandered().measured)


@dataclass(frozen=True)
class Mains:
    """The part of a page that logs add: captions with the rows of their tables, its other text, its cards."""

    whole: Element
    captions: list[str]
    tables: list[list[list[str]]]
    text: str
    cards: list[Element]


def mains_of(text: str) -> Mains:
    part = Page(text).part("mains")
    (cards,) = (one for one in part.iter("ul") if one.get("class") == "verdict")
    rest = deepcopy(part)
    for parent in list(rest.iter()):
        for child in list(parent):
            if child.tag in ("table", "svg", "h2", "h3", "figcaption", "summary") or child.get("class") == "verdict":
                parent.remove(child)
    return Mains(part, captions(part), tables(part), told(rest), list(cards))


def strict(text: str) -> None:
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(text)
    assert [(place, code) for place, code, _ in parser.errors if "namespace" not in code] == []


def test_the_measured_mains_come_after_the_cards_with_the_verdict_first() -> None:
    page, part, answer = Page(text_of_wandered()), mains_of(text_of_wandered()), wandered().answer
    sections = [one.get("id") for one in page.tree.iter("section")]
    assert sections.index("mains") < sections.index("live")
    assert part.text.startswith(answer.told[0])
    outside, changes, last, near = (told(one) for one in part.cards)
    assert outside.startswith(f"Outside the window{100 * (answer.outside_share or 0):.3g} %")
    assert outside.endswith(f"{seconds_told(answer.outside_s)} of {seconds_told(answer.observed_s)}")
    assert changes.startswith(f"Changes of the band{answer.changed:,}")
    assert last == "Contacts last-no relay has an endurance"
    assert f"{words.percent(answer.means.share)} \u2192 {words.percent(answer.means.share_output)}" in near
    assert [one.get("class") for one in part.cards] == ["bad", None, None, None]


def test_every_table_has_the_rows_of_the_answer() -> None:
    part, answer = mains_of(text_of_wandered()), wandered().answer
    tables = dict(zip(part.captions, part.tables, strict=True))
    assert [row[0] for row in tables["Time in each band, and how often it was entered"][1:]] == [
        one.band for one in answer.bands
    ]
    (life,) = (rows for caption, rows in tables.items() if caption.startswith("Moves of each relay"))
    assert [row[:2] for row in life[1:]] == [[one.relay, str(one.moves)] for one in answer.life]
    worst = sorted(answer.days, key=lambda day: (-day.outside_s, -day.changes, day.date))
    assert column(part.whole, "day", part.captions.index("The worst of 12 days")) == [
        day.date for day in worst[:WORST_DAYS]
    ]
    assert len(tables["By time outside, then by changes"]) == 1 + 12
    assert len(tables["The output while a band is in force, without load"]) == 1 + len(answer.percentiles)
    (changes,) = (rows for caption, rows in tables.items() if caption.startswith("Changes of the band"))
    assert len(changes) == 1 + len(answer.changes)


def test_what_was_read_is_told() -> None:
    part, answer = mains_of(text_of_wandered()), wandered().answer
    assert f"{answer.samples:,} samples, one each 60 s as a rule, {answer.first} to {answer.last}" in part.text
    assert f"{answer.gaps} gaps, {seconds_told(answer.seconds['gap'])} in all" in part.text
    assert "No bad rows." in part.text
    assert part.text.endswith(answer.unseen.told)


def test_the_four_pictures_are_there_each_with_a_name_and_a_description() -> None:
    text = text_of_wandered()
    names = ("mains-wide", "mains-narrow", "mains-standing", "mains-hours", "mains-days-0")
    for name in names:
        (opening,) = re.findall(rf'<svg [^>]*id="{name}"[^>]*>', text)
        assert 'role="img"' in opening
        assert re.search(r'aria-label="[^"]{20,}"', opening)
        assert f'aria-describedby="{name}-shows"><desc id="{name}-shows">' in text
    ids = re.findall(r' id="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    questions = re.findall(r"<figcaption>([^<?]*\?)", text)
    assert len(set(questions)) == 4


def test_the_markup_is_strict_and_nothing_is_fetched() -> None:
    text = text_of_wandered()
    strict(text)
    assert "http://" not in text.replace("http://www.w3.org/", "")
    assert "https://" not in text


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_page_without_logs_has_nothing_of_them(path: Path) -> None:
    text = report(review(stage(path.stem).design))
    assert not re.search(r"mains-|id=.mains|\.stood|Measured mains", text)


def test_what_is_made_up_is_marked_at_the_head_and_in_every_picture() -> None:
    made = replace(wandering(12, MINUTE), made="a walk <of> ours")
    text = page_of(site(made, stage("ridge-dispensary")).measured)
    part = mains_of(text)
    assert part.text.startswith("Made up, not measured.The log is made up (a walk <of> ours)")
    pictures = re.findall(r"(?s)<figure.*?</figure>", text.partition('id="mains"')[2].partition("</section>")[0])
    assert len(pictures) == 5
    assert all("made up, not measured" in one for one in pictures)
    assert "made up" not in text_of_wandered()


def test_a_log_without_times_says_how_they_are_counted() -> None:
    assert "The log has no times of its own" in mains_section(replace(wandered().measured, counted=True))
    assert "no times of its own" not in mains_section(wandered().measured)


def test_hostile_names_stay_text() -> None:
    table = stage("ridge-dispensary")
    rows = tuple(replace(row, name=f"{row.name}{EVIL}") for row in table.rows)
    log = replace(wandering(12, MINUTE), name=EVIL, made=EVIL)
    text = page_of(site(log, replace(table, rows=rows)).measured)
    assert "<img" not in text
    assert EVIL in unescape(text)
    strict(text)


def test_a_log_of_one_sample_has_no_pictures() -> None:
    found = site(level([230.0]), stage("ridge-dispensary"))
    text = mains_section(found.measured)
    assert "<svg" not in text
    assert "The log lasts for no time." in text
    strict(page_of(found.measured))


def test_a_quiet_log_has_no_bars_of_changes() -> None:
    text = mains_section(site(level([230.0] * 200), stage("ridge-dispensary")).measured)
    assert "mains-hours" not in text
    assert "no relay moved" in text
    assert "<li>Outside the window<strong>0 %" in text


def test_few_days_are_one_table_and_many_are_folded() -> None:
    few = mains_section(site(wandering(3, MINUTE), stage("ridge-dispensary")).measured)
    assert "Day by day, the worst first" in few
    many = mains_section(site(wandering(150, HOUR), stage("ridge-dispensary")).measured)
    assert f"The worst {MOST_DAYS} of 150 days" in many
    assert "The worst of 150 days" in many


def test_endurance_tells_the_relay_that_goes_first() -> None:
    table = stage("ridge-dispensary")
    relays = tuple(replace(one, endurance=Fraction(100_000)) for one in table.design.relays)
    found = site(wandering(3, MINUTE), replace(table, design=replace(table.design, relays=relays)))
    first = min(found.answer.life, key=lambda one: one.years or 1e9)
    assert f"years</strong>then {first.relay} is the first to go" in mains_section(found.measured)


# --- several logs ---


def several() -> Measured:
    one = site(wandering(4, MINUTE, seed=1, wide=20), stage("ridge-dispensary"))
    logs = [one.log, wandering(4, MINUTE, seed=2), replace(wandering(4, MINUTE, seed=3), made="drawn")]
    runs = [replayed(log, [one.machine]) for log in logs]
    answer: Replay = replay(SideBySide((one.machine,), ("a.toml",)), runs, ["lost.csv: found nothing"])
    return Measured(answer, one.machine, viewed(logs[1], one.machine, runs[1]), logs[1].name)


def test_several_logs_are_shown_together_and_one_over_time() -> None:
    found = several()
    text = page_of(found)
    part = mains_of(text)
    captions = [unescape(one) for one in re.findall(r"<figcaption>(.*?)</figcaption>", text)]
    assert sum("Shown is feeder 2, the log with the most time outside." in one for one in captions) == 2
    assert sum("All 3 logs together." in one for one in captions) == 3
    at = part.captions.index("Each log")
    worst = sorted(found.answer.sites or (), key=lambda one: -(one.outside_share or 0))
    assert column(part.whole, "log", at) == [one.log for one in worst]
    assert "Not read: lost.csv: found nothing" in part.text
    assert part.text.startswith("1 of the 3 logs are made up, not measured, and with them all sums.")
    wide = re.search(r'(?s)<svg [^>]*id="mains-wide".*?</svg>', text)
    assert wide is not None
    assert "made up" not in wide[0]
    strict(text)


# --- by the command ---


@pytest.fixture
def files(tmp_path: Path) -> dict[str, str]:
    """Three logs, and one that is none."""
    logs = {"1": wandering(2, MINUTE, seed=1, wide=20), "2": wandering(2, MINUTE, seed=2, wide=20)}
    logs["3"] = level([230.0 + at % 30 for at in range(2400)] + [100.0] * 100)
    found = {name: str(write_csv(tmp_path / f"{name}.csv", log)) for name, log in logs.items()}
    (tmp_path / "bad.csv").write_text("nothing\n", encoding="utf-8")
    return {**found, "bad": str(tmp_path / "bad.csv"), "page": str(tmp_path / "page.html")}


RIDGE = str(SHIPPED[0].parent / "ridge-dispensary.toml")


def test_the_command_puts_logs_on_the_page(files: dict[str, str], capsys: Any) -> None:
    logs = [files["1"], files["2"], files["3"]]
    assert main(["report", RIDGE, "--log", *logs, "-o", files["page"]]) == 0
    text = Path(files["page"]).read_text(encoding="utf-8")
    strict(text)
    assert f"Shown is {files['3']}" in unescape(text)
    assert main(["report", RIDGE, "--log", files["1"], "--log", files["2"], "--zone", "Asia/Kathmandu"]) == 0
    assert "Times by the clock of Asia/Kathmandu." in capsys.readouterr().out


def test_json_has_the_figures_under_a_key_of_their_own(files: dict[str, str], capsys: Any) -> None:
    import json

    assert main(["report", RIDGE, "--log", files["3"], "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert main(["replay", RIDGE, files["3"], "--json"]) == 0
    alone = json.loads(capsys.readouterr().out)
    assert told["replay"] == {key: alone[key] for key in told["replay"]}
    assert told["replay"]["samples"] == 2500
    assert main(["report", RIDGE, "--json"]) == 0
    plain = json.loads(capsys.readouterr().out)
    assert told.keys() - plain.keys() == {"replay"}


def test_a_revision_is_put_beside_on_the_same_logs(files: dict[str, str], capsys: Any) -> None:
    older = str(SHIPPED[0].parent / "signal-box.toml")
    assert main(["report", RIDGE, "--compare", older, "--log", files["3"]]) == 0
    part = mains_of(capsys.readouterr().out)
    at = part.captions.index("Side by side on the same logs")
    assert column(part.whole, "design", at) == [RIDGE, older]


def test_a_log_that_cannot_be_read_is_told_and_the_others_stay(files: dict[str, str], capsys: Any) -> None:
    assert main(["report", RIDGE, "--log", files["1"], files["bad"], "-o", files["page"]]) == 2
    assert "bad.csv" in capsys.readouterr().err
    assert "Not read: " in Path(files["page"]).read_text(encoding="utf-8")
    Path(files["page"]).unlink()
    assert main(["report", RIDGE, "--log", files["bad"], "-o", files["page"]]) == 2
    assert not Path(files["page"]).exists()


@pytest.mark.parametrize(
    "option",
    [
        "--max-gap 5",
        "--time t",
        "--column v",
        "--unit kV",
        "--scale 2",
        "--epoch s",
        "--dates day-first",
        "--zone UTC",
        "--step 1",
        "--delimiter ;",
        "--decimal ,",
    ],
)
def test_what_says_how_logs_are_read_is_refused_without_one(option: str, capsys: Any) -> None:
    assert main(["report", RIDGE, *option.split()]) == 2
    assert f"found {option.split()[0]} alone; accepted: together with --log" in capsys.readouterr().err


def test_the_page_never_replaces_a_log(files: dict[str, str], capsys: Any) -> None:
    assert main(["report", RIDGE, "--log", files["1"], "-o", files["1"], "--force"]) == 2
    assert "the very file that is read" in capsys.readouterr().err


def test_logs_of_no_times_are_taken_with_a_step(tmp_path: Path, capsys: Any) -> None:
    log = tmp_path / "plain.csv"
    log.write_text("volts\n" + "\n".join(str(230 + at % 40) for at in range(400)) + "\n", encoding="utf-8")
    assert main(["report", RIDGE, "--log", str(log), "--step", "60"]) == 0
    assert "The log has no times of its own" in capsys.readouterr().out


def test_a_page_without_logs_loads_nothing_that_reads_them() -> None:
    code = (
        "import sys; from tapplan.cli.main import main; "
        f"main(['report', {RIDGE!r}, '--json']); "
        "print([one for one in sys.modules if one.startswith(('tapplan.replay', 'pyarrow'))], file=sys.stderr)"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stderr.strip() == "[]"


def test_a_log_longer_than_its_samples_stands_for_the_last_step() -> None:
    found = site(Listed([(0, Fraction(230)), (MINUTE, Fraction(230))]), stage("ridge-dispensary"))
    assert int(found.view.edges[-1]) == 2 * MINUTE


# --- parts of the page ---


@pytest.mark.parametrize(
    ("shown", "found"), [("b", "b"), ("c", "c"), ("a", "a"), ("d", "together"), ("", "together")]
)
def test_the_log_shown_is_the_one_of_that_name_in_whatever_order_they_stand(shown: str, found: str) -> None:
    sites = tuple(SimpleNamespace(log=name) for name in ("c", "a", "b"))
    made: Any = SimpleNamespace(answer=SimpleNamespace(log="together", sites=sites), shown=shown)
    assert parts._shown(made).log == found
    alone: Any = SimpleNamespace(answer=SimpleNamespace(log="alone", sites=None), shown="alone")
    assert parts._shown(alone) is alone.answer


def test_designs_beside_have_a_table_of_their_own_first() -> None:
    one = site(level([230.0] * 5), stage("ridge-dispensary"))
    both = SideBySide((one.machine, one.machine), ("this.toml", "that.toml"))
    answer = replay(both, [replayed(one.log, both.machines)])
    beside, *rest = parts._tables(answer)
    assert "<caption>Side by side on the same logs</caption>" in beside
    assert beside.index("this.toml") < beside.index("that.toml")
    assert parts._tables(replace(answer, beside=None)) == ["", *rest]


@pytest.mark.parametrize(("kinds", "open_"), [(MOST_CHANGES, True), (MOST_CHANGES + 1, False)])
def test_many_kinds_of_change_are_folded(kinds: int, open_: bool) -> None:
    answer = wandered().answer
    made = replace(answer, changes=answer.changes[:1] * kinds)
    last = parts._tables(made)[-1]
    assert last.startswith(f"<details><summary>Changes of the band, {kinds} kinds</summary>") is not open_
    assert last.count("<tr>") == 1 + kinds


def days(count: int) -> list[DayRow]:
    """Each with a second more outside than the one before, but that the first two are alike."""
    return [
        DayRow(date=f"day {at:03d}", outside_s=Fraction(max(at, 1)), away_s=Fraction(0), gap_s=Fraction(0),
               changes=0, line_v=None, means=0, means_kept=0, means_kept_output=0)
        for at in range(count)
    ]  # fmt: skip


def dates(text: str) -> list[str]:
    return re.findall(r"<td>(day \d+)</td>", text)


def test_a_single_day_has_no_table_and_a_week_one() -> None:
    assert parts._days([]) == parts._days(days(1)) == []
    (two,) = parts._days(days(2))
    assert dates(two) == ["day 000", "day 001"]
    (week,) = parts._days(days(WORST_DAYS))
    assert "<caption>Day by day, the worst first</caption>" in week
    assert dates(week) == [f"day {at:03d}" for at in (6, 5, 4, 3, 2, 0, 1)]


@pytest.mark.parametrize(
    ("count", "told", "listed"),
    [(WORST_DAYS + 1, "All 8 days", 8), (MOST_DAYS, "All 100 days", 100), (101, "The worst 100 of 101 days", 100)],
)
def test_of_more_days_the_worst_are_shown_and_the_others_folded(count: int, told: str, listed: int) -> None:
    some, many = parts._days(days(count))
    assert f"<caption>The worst of {count} days</caption>" in some
    assert len(dates(some)) == WORST_DAYS
    assert many.startswith(f"<details><summary>{told}</summary>")
    assert len(dates(many)) == listed
    assert dates(many)[:WORST_DAYS] == dates(some)


@pytest.mark.parametrize(
    ("count", "told"), [(MOST_SITES, "Each log"), (MOST_SITES + 1, "The 12 of 13 logs with the most time outside")]
)
def test_the_worst_twelve_logs_are_listed(count: int, told: str) -> None:
    """The last stands first, as the worst; where none was watched nothing was outside."""
    logs = [SimpleNamespace(log=f"log {at:02d}", outside_share=at / 100 or None, changed=1, transfers=2, years=None)
            for at in range(count)]  # fmt: skip
    made: Any = SimpleNamespace(sites=logs, region=None)
    table, differs = parts._sites(made)
    assert f"<caption>{told}</caption>" in table
    assert re.findall(r"<td>(log \d+)</td>", table) == [f"log {at:02d}" for at in range(count)][::-1][:MOST_SITES]
    assert differs == ""
    assert parts._sites(replace(wandered().answer, sites=None)) == []
