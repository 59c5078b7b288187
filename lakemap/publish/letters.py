"""Letters of users' names on paper and in figures: which fonts draw them, and which letters no font here has."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from matplotlib import font_manager

from lakemap.publish.wording import printable

FONT = "DejaVu Sans"
"""Comes with matplotlib: Latin, Greek, Cyrillic, Hebrew, Arabic and more. Matplotlib itself (3.11) puts words that run
from right to left in their order and joins their letters."""
OTHER_FONTS = (
    "Noto Sans CJK JP", "Noto Sans CJK SC", "Noto Sans CJK KR", "Noto Sans JP", "Noto Sans SC", "Noto Sans KR",
    "Droid Sans Fallback", "Noto Sans Devanagari", "Noto Sans Thai", "FreeSans", "Yu Gothic", "Microsoft YaHei",
    "Malgun Gothic", "Nirmala UI", "Leelawadee UI", "Hiragino Sans", "PingFang SC", "Apple SD Gothic Neo",
    "Arial Unicode MS",
)
"""For scripts that the first font lacks, where they are installed; they are embedded like it."""
MISSING = "\u25a1"
"""Stands for a character that no font has."""
MOST_NAMED = 12


@lru_cache(maxsize=1)
def font_names() -> tuple[str, ...]:
    """The first font and those of OTHER_FONTS that this machine has."""
    there = {entry.name for entry in font_manager.fontManager.ttflist}
    return (FONT, *(name for name in OTHER_FONTS if name in there))


@lru_cache(maxsize=1)
def _known_characters() -> frozenset[int]:
    fonts = (font_manager.get_font(font_manager.findfont(name)) for name in font_names())
    return frozenset(code for font in fonts for code in font.get_charmap())


def legible(text: str) -> str:
    """One line of text as it can be drawn: no controls, no characters without a font."""
    spaced = " ".join(printable(str(text)).split())
    return "".join(
        letter if ord(letter) in _known_characters() else MISSING for letter in spaced if letter.isprintable()
    )


def letters_missing(texts: Iterable[str]) -> str:
    """A sentence that names the letters of ``texts`` that no font here has, and what to do; ``""`` where all are
    there."""
    lacking = sorted({letter for text in texts for letter in str(text)
                      if letter.isprintable() and not letter.isspace() and ord(letter) not in _known_characters()})
    if not lacking:
        return ""
    more = f" and {len(lacking) - MOST_NAMED} more" if len(lacking) > MOST_NAMED else ""
    return (f"No font here has the letters {' '.join(lacking[:MOST_NAMED])}{more} of names in this map: {MISSING} "
            "stands for them on paper and in figures. Install one that has them, such as the Noto Sans font of that "
            "script, and make it again.")
