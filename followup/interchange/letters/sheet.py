"""Sets letters on A4 paper, for an envelope with a window, one page or more each.

The address stands where DIN 5008:2020, form B, puts it: 20 mm from the left edge and 45 mm from the upper, in
a field of 85 by 45 mm, of which the lower 27.3 mm hold the address; folding marks at 105 and 210 mm. Nothing
but name and address can be seen through the window.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

from fpdf import FPDF
from fpdf.enums import Align, XPos, YPos

from followup.domain.words import Language
from followup.interchange.letters.compose import Letter

FONTS = Path(__file__).parents[1] / "fonts"
LATIN, ARABIC = "NotoSans", "NotoSansArabic"

LEFT, RIGHT, TOP, BOTTOM = 25, 20, 12, 20
WINDOW_TOP, WINDOW_WIDTH, ADDRESS_TOP = 45, 85, 62.7
FOLDS = (105, 210)
SUBJECT_TOP = 98.5
WIDTH = 210 - LEFT - RIGHT

_FAMILY = {Language.ENGLISH: LATIN, Language.ARABIC: ARABIC}
_LINE = 1.35
"""Line height in font sizes."""
_MM_PER_POINT = 25.4 / 72


def print_letters(letters: Iterable[Letter], *, now: datetime) -> bytes:
    """One PDF with every letter, in this order; the same letters at the same instant give the same bytes."""
    sheet = _Sheet(now)
    for letter in letters:
        sheet.add(letter)
    return bytes(sheet.output())


class _Sheet(FPDF):
    """An A4 document with the shipped fonts, which hold Latin, Greek, Cyrillic and Arabic letters."""

    def __init__(self, now: datetime) -> None:
        super().__init__(orientation="portrait", unit="mm", format="A4")
        self.set_margins(LEFT, TOP, RIGHT)
        self.set_auto_page_break(True, margin=BOTTOM)
        self.set_creation_date(now)
        for family in (LATIN, ARABIC):
            self.add_font(family, "", FONTS / f"{family}-Regular.ttf")
            self.add_font(family, "B", FONTS / f"{family}-Bold.ttf")
        self.from_right = False

    def add(self, letter: Letter) -> None:
        self.from_right = letter.language is Language.ARABIC
        family = _FAMILY[letter.language]
        self.set_fallback_fonts([ARABIC if family is LATIN else LATIN], exact_match=False)
        self.set_text_shaping(True, direction="rtl" if self.from_right else "ltr")
        self.family = family
        self.set_lang(letter.language.value)
        self.add_page()
        self._fold_marks()
        self._head(letter)
        self._window(letter)
        self._reference(letter)
        self._body(letter)

    def _head(self, letter: Letter) -> None:
        name, *rest = letter.sender
        self._block([name], y=TOP, size=13, style="B")
        self._block(rest, y=self.get_y() + 0.5, size=8.5)

    def _window(self, letter: Letter) -> None:
        """The sender on one small line, then the address."""
        self._block([letter.sender[0]], y=ADDRESS_TOP - 5, size=6.5, width=WINDOW_WIDTH - 5)
        self._block(letter.recipient, y=ADDRESS_TOP, size=10.5, width=WINDOW_WIDTH - 5)

    def _reference(self, letter: Letter) -> None:
        lines = [f"{label}: {value}" for label, value in letter.reference]
        self._block(lines, y=WINDOW_TOP + 5, size=9.5, x=125, width=65)

    def _body(self, letter: Letter) -> None:
        self._block([letter.subject], y=SUBJECT_TOP, size=12, style="B")
        self.ln(3)
        for paragraph in letter.paragraphs:
            self._block([paragraph], y=self.get_y(), size=10.5)
            self.ln(3)
        self._urgent(letter.urgent)
        self.ln(4)
        first, *rest = letter.closing
        self._block([first], y=self.get_y(), size=10.5)
        self._block(rest, y=self.get_y() + 12, size=10.5)

    def _urgent(self, text: str) -> None:
        """Framed, so that it is found at a glance."""
        with self.unbreakable() as kept:
            kept.set_font(self.family, "B", 10.5)
            kept.multi_cell(WIDTH, 10.5 * _LINE * _MM_PER_POINT, text, border=1, padding=2.5, **self._flow())

    def _block(
        self,
        lines: Iterable[str],
        *,
        y: float,
        size: float,
        style: str = "",
        x: float = LEFT,
        width: float = WIDTH,
    ) -> None:
        self.set_xy(x, y)
        self.set_font(self.family, style, size)
        for line in lines:
            self.set_x(x)
            self.multi_cell(width, size * _LINE * _MM_PER_POINT, line, **self._flow())

    def _flow(self) -> dict[str, Any]:
        align = Align.R if self.from_right else Align.L
        return {"align": align, "new_x": XPos.LMARGIN, "new_y": YPos.NEXT}

    def _fold_marks(self) -> None:
        self.set_line_width(0.1)
        for y in FOLDS:
            self.line(5, y, 9, y)
