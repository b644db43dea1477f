"""Numbers, texts and keys that nobody should write, and somebody will."""

from __future__ import annotations

import re
from random import Random

CANARY = "zzz-injected"  # a line of an answer that begins so was made by an input
HARMLESS = "zzz-quiet"
NUMBERS = (
    "0", "-0", "-1", "1", "2", "0.0", "-0.0", "1e999", "-1e999", "nan", "-nan", "inf", "-inf", "+inf", "1e308",
    "5e-324", "1" + "0" * 400, "1" + "0" * 5000, "1e400", "1e-400", "1e-30", "1e-31", "1e9", "1.0000000001e9",
    "1e18", "1e19", "9223372036854775807", "9223372036854775808", "-9223372036854775808", "18446744073709551616",
    "4294967296", "0." + "3" * 29, "0." + "3" * 31, "3." + "1" * 3000, "1e99999999999999999999",
    "1e-99999999999999999999", "0x10", "0b1", "0o7", "1_000", "1__0", "0x" + "f" * 5000, "0o" + "7" * 9000, "007",
    ".5", "5.", "1,5", "1.5.2", "٣", "½", "1e", "--1", "+5", "1 000", "true", "false", "2024-01-01",
    "2024-01-01T00:00:00Z", "00:00:00", "1e6", "12345.678901", "1000000", "999999999",
)  # fmt: skip
TEXTS = (
    "", " ", "x" * 81, "x" * 501, "x" * 140_000, "\x1b[31mred", "a\x07b", "a\x00b", "\u202eright", "a\u2066b",
    "e\u0301", "e" + "\u0301" * 50, "\ud800", "\udcff", "\ufffe", "\U000e0001", "\u200b", "\u200d",
    "\u2028" + CANARY, "\x85" + CANARY, "\n" + CANARY, "a\n" + CANARY, "\r" + CANARY, "a\r\n" + CANARY, "\t", "'",
    '"', "\\", '\\"', "'''", '"""', "`", "${x}", "%s", "%(a)s", "{0}", "{a}", "</script><b>", "<!--", "&amp;",
    "=1+1", "+1", "@x", "-", "--", "|", "[red]x[/red]", "[/]", "[link=x]", ":smile:", "a.b", "a.b.com", "K1.no",
    "a b", "a,b", "a;b", "a:b", "a=b", "a/b", "a+b", "#", "null", "none", "None", "NaN", "true", "away", "output",
    "input", "lug", "lug N", "N", "LINE", "OUT", "K", "日本語", "ß", "İ", "ǆ", "ﬃ", "Ω", "\u06f1\u06f2", "𝟙", "🙂",
    "👩\u200d🔧", "\u0605", "\u00ad", "\ufeff", "\u180e", "*/", "//", "??/", "int", "end", "module",
)  # fmt: skip
KEYS = (
    "x", '""', '"a b"', '"\\n' + CANARY + '"', '"\\u001b[31m"', '"\\u202e"', "'\\'", "turns", "name", "format",
    "a.b", "ends.x", '"' + "k" * 500 + '"', "hold_v", "energised", "-", "1", '"\\ud83d\\ude00"', '"\\U0001F600"',
    "title.x", "winding",
)  # fmt: skip


def put(text: str, found: re.Match[str], new: str) -> str:
    """A text with something new in the place that was found."""
    return text[: found.start()] + new + text[found.end() :]


def place_of(chance: Random, pattern: re.Pattern[str], text: str) -> re.Match[str] | None:
    """Some place that a pattern fits, looked for from a random one on."""
    start = chance.randrange(len(text) + 1)
    return pattern.search(text, start) or pattern.search(text)
