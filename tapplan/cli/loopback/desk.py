"""The design file at hand: read again when it may have been saved, its page worked out, numbers tried or written.

All of it happens in one thread, one thing after the other; what is to be seen goes to the board.
"""

from __future__ import annotations

import codecs
import os
import sys
import time
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tapplan.checks.review import Review
from tapplan.cli.loopback.asked import CHANGED, MALFORMED, WRONG, DeskReply, NumberRequest, gone_to, refused
from tapplan.cli.loopback.board import NewsBoard
from tapplan.cli.loopback.texts import DesignTexts, of_text, reviewed_text
from tapplan.cli.main import TRACE
from tapplan.design.edit import StatedNumber, stated_numbers, with_numbers
from tapplan.design.file import read_text
from tapplan.errors import DesignError, TapplanError, visible
from tapplan.pages.watched import Watched, watched_page
from tapplan.wholefile import write_bytes

SAVING_S = 0.2  # editors that save by rename leave a moment without the file
MOST_PAGES = 8  # worked out and kept, so that what was tried is there at once when it is written
AGAIN = "the same once more on the page as it is now"

PageOf = Callable[[Review, Review | None], str]


@dataclass(frozen=True, slots=True)
class NumberChange:
    """A number that a file states, and what is to stand in its place."""

    stated: StatedNumber
    told: str


@dataclass(frozen=True, slots=True)
class DeskFiles:
    """The design file that is watched, and the one it is compared with."""

    design: str
    older: str | None = None

    def read(self) -> DesignTexts:
        """The texts as they are now.

        Raises:
            DesignError: one of them cannot be read.
        """
        if not os.path.exists(self.design):
            time.sleep(SAVING_S)
        return DesignTexts(read_text(self.design), None if self.older is None else read_text(self.older))


@dataclass
class Desk:
    """A design file while it is edited, here or elsewhere; `home` is the path at which its page is served.

    `good` is the last text that made a page, `judged` the last one looked at, `judgement` what was wrong with that.
    """

    files: DeskFiles
    page_of: PageOf
    board: NewsBoard
    home: str
    good: DesignTexts
    judged: DesignTexts
    judgement: str = ""
    pages: dict[DesignTexts, str] = field(default_factory=dict)

    def look(self) -> None:
        """A new page where a file was saved; what is wrong with it in place of one."""
        try:
            texts = self.files.read()
        except DesignError as error:
            self.board.show_problem(visible(str(error)))
            return
        if texts != self.judged:
            self.judged, self.judgement = texts, ""
            try:
                page = self._page(texts)
            except Exception as error:
                self.judgement = told_of(error)
            else:
                if texts != self.good:
                    self._turn_to(texts, page)
        self.board.show_problem(self.judgement)

    def answer(self, asked: NumberRequest) -> DeskReply:
        """What a page has asked for, done or refused."""
        if asked.read != self.good.mark:
            return self._changed("was saved since this page was made, so nothing was done")
        stated = {one.key: one for one in stated_numbers(self.good.design)}
        unknown = [key for key in asked.numbers if key not in stated]
        if unknown:
            return refused(MALFORMED, f'found "{visible(unknown[0])}"; accepted: {", ".join(stated)}')
        changes = [NumberChange(stated[key], told.strip()) for key, told in asked.numbers.items()]
        try:
            return self._tried(changes) if asked.what == "try" else self._written(changes)
        except Exception as error:
            return refused(WRONG, told_of(error))

    def _tried(self, changes: list[NumberChange]) -> DeskReply:
        page = self._page(self._made(changes))
        facts = self._facts(self.board.now.number, {one.stated.key: one.told for one in changes})
        return gone_to(f"tried/{self.board.keep_tried(watched_page(page, facts))}/")

    def _written(self, changes: list[NumberChange]) -> DeskReply:
        self._page(self._made(changes))  # what makes no page does not go into the file
        raw = _raw(self.files.design)
        if raw is None or _text(raw).replace("\r\n", "\n") != self.good.design:
            return self._changed("has changed on disk since it was read, so nothing was written")
        made = with_numbers(_text(raw), _by_path(changes))
        mark = codecs.BOM_UTF8 if raw.startswith(codecs.BOM_UTF8) else b""
        write_bytes(self.files.design, mark + made.encode("utf-8"), force=True)
        self.look()
        return gone_to("")

    def _changed(self, how: str) -> DeskReply:
        return refused(CHANGED, f"{visible(self.files.design)}: the file {how}; accepted: {AGAIN}")

    def _made(self, changes: list[NumberChange]) -> DesignTexts:
        """The text with changes, which stands in no file."""
        return DesignTexts(with_numbers(self.good.design, _by_path(changes)), self.good.older)

    def _turn_to(self, texts: DesignTexts, page: str) -> None:
        """From now on this is the page of the file."""
        self.good = texts
        self.board.show_page(watched_page(page, self._facts(self.board.now.number + 1, {})))

    def _facts(self, number: int, tried: Mapping[str, str]) -> Watched:
        """What a page knows of the file it is made from."""
        numbers = stated_numbers(self.good.design)
        return Watched(self.files.design, self.home, number, self.good.mark, numbers, tried)

    def _page(self, texts: DesignTexts) -> str:
        """The report on a design, as it is without being served."""
        if texts not in self.pages:
            self.pages[texts] = page_on(texts, self.files, self.page_of)
            for oldest in list(self.pages)[:-MOST_PAGES]:
                del self.pages[oldest]
        return self.pages[texts]


def opened_desk(files: DeskFiles, page_of: PageOf, board: NewsBoard, home: str) -> Desk:
    """A desk with the first page on the board.

    Raises:
        DesignError: there is none, for the file cannot be read or has errors.
    """
    texts = files.read()
    desk = Desk(files, page_of, board, home, texts, texts)
    desk._turn_to(texts, desk._page(texts))
    return desk


def page_on(texts: DesignTexts, files: DeskFiles, page_of: PageOf) -> str:
    """The report on texts, each named in messages as its file."""
    older = None
    if texts.older is not None and files.older is not None:
        older = reviewed_text(texts.older, files.older)
    reviewed = reviewed_text(texts.design, files.design)
    with of_text(texts.design, files.design):
        return page_of(reviewed, older)


def told_of(error: Exception) -> str:
    """Why there is no page, in the words that the command would use; a failure of tapplan's own is no end either."""
    if isinstance(error, TapplanError):
        return visible(str(error))
    if os.environ.get(TRACE):
        traceback.print_exception(error, file=sys.stderr)
    return visible(f"tapplan failed by itself ({type(error).__name__}: {error}); please report this defect")


def _by_path(changes: list[NumberChange]) -> dict[tuple[str | int, ...], str]:
    return {one.stated.path: one.told for one in changes}


def _raw(path: str) -> bytes | None:
    """The bytes of a file; None where there is none to be read."""
    try:
        return Path(path).read_bytes()
    except OSError:
        return None


def _text(raw: bytes) -> str:
    """The text with its own ends of lines; what is no text differs from every text."""
    return raw.decode("utf-8-sig", errors="replace")
