"""An audit on A4 paper, legible in grey: the figures of its page, the curve, and how all was counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path

from fpdf import FPDF, FontFace
from fpdf.enums import MethodReturnValue, TableBordersLayout, XPos, YPos
from fpdf.image_parsing import preload_image

from followup.queries.reports.audit_method import Definition
from followup.queries.reports.audit_sections import Section
from followup.queries.reports.audit_tables import Table

_FONTS = Path(__file__).parents[1] / "fonts"
_FAMILY, _ARABIC = "NotoSans", "NotoSansArabic"
_MARGIN, _BOTTOM = 18, 18
_WIDTH = 210 - 2 * _MARGIN
_TEXT, _SMALL, _CELL = 9.5, 8, 8
"""Points."""
_LINE = 0.48
"""Millimetres of a line for each point of its letters."""
_ABOVE_CELL, _BESIDE_CELL = 0.5, 1.4
_ROOM_ABOVE_SECTION, _ROOM_ABOVE_TABLE, _ROOM_UNDER_CURVE, _LEAST_OF_A_TABLE = 22, 10, 14, 26
"""Millimetres of a heading and its sentence, of a caption, of the words under the curve, and of a table that
breaks."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """png: the curve; summary: what it shows, for those who do not see it; under: what stands under it."""

    png: bytes
    summary: str
    under: str


@dataclass(frozen=True, slots=True)
class AuditPaper:
    """told: lines under the title, such as who locked it and its digests."""

    title: str
    told: Sequence[str]
    cautions: Sequence[str]
    first: Sequence[Table]
    """Before the curve."""
    curve: Drawing | str
    """Or why there is none."""
    tables_of_curve: Sequence[Table]
    sections: Sequence[Section]
    """Empty for a cohort of nobody."""
    definitions: Sequence[Definition]
    printed: str
    """When, by the clock of the clinic."""


def print_audit(paper: AuditPaper, *, now: datetime) -> bytes:
    """The PDF; the same audit at the same instant gives the same bytes."""
    sheet = _Sheet(paper.title, f"{paper.title}. Printed {paper.printed}", now)
    sheet.heading(paper.title, 15)
    for line in paper.told:
        sheet.words(line, _SMALL)
    if paper.cautions:
        sheet.heading("Before you believe the figures", 11)
        for caution in paper.cautions:
            sheet.words(f"\N{BULLET} {caution}", _TEXT)
    sheet.tables(paper.first)
    sheet.curve(paper.curve)
    sheet.tables(paper.tables_of_curve)
    for section in paper.sections:
        sheet.section(section)
    sheet.heading("How it was counted", 12)
    for definition in paper.definitions:
        sheet.definition(definition)
    return bytes(sheet.output())


class _Sheet(FPDF):
    """A4 with a foot that says which audit it is and which page of how many."""

    def __init__(self, title: str, foot: str, now: datetime) -> None:
        super().__init__(orientation="portrait", unit="mm", format="A4")
        self.set_margins(_MARGIN, 15, _MARGIN)
        self.set_auto_page_break(True, margin=_BOTTOM)
        self.set_creation_date(now)
        self.set_title(title)
        self.set_lang("en")
        for style, name in (("", "Regular"), ("B", "Bold")):
            self.add_font(_FAMILY, style, _FONTS / f"{_FAMILY}-{name}.ttf")
            self.add_font(_ARABIC, style, _FONTS / f"{_ARABIC}-{name}.ttf")
        self.set_fallback_fonts([_ARABIC], exact_match=False)
        self.set_text_shaping(True)
        self.foot = foot
        self.add_page()

    def footer(self) -> None:
        self.set_y(-12)
        self.set_font(_FAMILY, "", 7)
        self.cell(_WIDTH * 0.8, 4, self.foot)
        self.cell(_WIDTH * 0.2, 4, f"{self.page_no()} of {{nb}}", align="R")

    def heading(self, text: str, size: float, followed_by: float = 30) -> None:
        """Never alone at the foot of a page. followed_by: millimetres that must stand on the page with it."""
        self._keep_together(followed_by)
        self.ln(2)
        self._write(text, size, "B")
        self.ln(1)

    def section(self, section: Section) -> None:
        first = self._needed(section.tables[0]) if section.tables else 0
        self.heading(section.title, 12, _ROOM_ABOVE_SECTION + first)
        self.words(section.intro, _TEXT)
        self.tables(section.tables)

    def words(self, text: str, size: float) -> None:
        if text:
            self._write(text, size, "")

    def definition(self, definition: Definition) -> None:
        self.set_font(_FAMILY, "", _SMALL)
        marked = f"**{definition.term}.** {definition.text}"
        self.multi_cell(
            _WIDTH, _SMALL * _LINE, marked, markdown=True, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT
        )
        self.ln(0.8)

    def curve(self, drawing: Drawing | str) -> None:
        """Over the width of the page, on one page with what stands under it."""
        if isinstance(drawing, str):
            self.ln(2)
            self.words(drawing, _TEXT)
            return
        info = preload_image(self.image_cache, BytesIO(drawing.png))[2]
        self._keep_together(_WIDTH * info.height / info.width + _ROOM_UNDER_CURVE)
        self.ln(2)
        self.image(BytesIO(drawing.png), w=_WIDTH, alt_text=drawing.summary)
        self.words(drawing.under, _SMALL)

    def tables(self, tables: Sequence[Table]) -> None:
        for table in tables:
            self._table(table)

    def _keep_together(self, height: float) -> None:
        """A new page for what a page can hold and this one cannot; else for what is left of this one."""
        if self.will_page_break(height if height < self.eph else _LEAST_OF_A_TABLE):
            self.add_page()

    def _table(self, table: Table) -> None:
        """Whole on one page if one page can hold it; else with its headings again on each."""
        self._keep_together(self._needed(table))
        self.ln(2)
        self._write(table.caption, _TEXT, "B")
        rows = _rows(table)
        widths = self._widths(rows)
        self.set_font(_FAMILY, "", _CELL)
        with self.table(
            width=_WIDTH,
            col_widths=widths,
            text_align=tuple("RIGHT" if number else "LEFT" for _, number in table.columns),
            line_height=_CELL * _LINE,
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="B"),
            padding=(_ABOVE_CELL, _BESIDE_CELL),
        ) as set_rows:
            for row in rows:
                set_rows.row(row)
        self.words(table.note, _SMALL)

    def _needed(self, table: Table) -> float:
        """Millimetres of a table with its caption and its note."""
        rows = _rows(table)
        self.set_font(_FAMILY, "B", _CELL)
        widths = self._widths(rows)
        lines = 0
        for row in rows:
            lines += max(
                self._lines(text, width - 2 * _BESIDE_CELL) for text, width in zip(row, widths, strict=True)
            )
        note = self._lines(table.note, _WIDTH) if table.note else 0
        return _ROOM_ABOVE_TABLE + (lines + note) * _CELL * _LINE + len(rows) * 2 * _ABOVE_CELL

    def _widths(self, rows: Sequence[Sequence[str]]) -> tuple[float, ...]:
        """Millimetres, together the width of the page: what each column needs, the widest ones cut alike."""
        self.set_font(_FAMILY, "B", _CELL)
        needs = [
            max(map(self.get_string_width, column)) + 2 * _BESIDE_CELL + 1
            for column in zip(*rows, strict=True)
        ]
        widest, step = max(needs), 0.5
        while sum(min(need, widest) for need in needs) > _WIDTH:
            widest -= step
        cut = [min(need, widest) for need in needs]
        spare = (_WIDTH - sum(cut)) / len(cut)
        return tuple(width + spare for width in cut)

    def _lines(self, text: str, width: float) -> int:
        if self.get_string_width(text) < width - 1:
            return 1
        found = self.multi_cell(width, 1, text, dry_run=True, output=MethodReturnValue.LINES)
        assert isinstance(found, list)
        return len(found)

    def _write(self, text: str, size: float, style: str) -> None:
        self.set_font(_FAMILY, style, size)
        self.multi_cell(_WIDTH, size * _LINE, text, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)


def _rows(table: Table) -> list[tuple[str, ...]]:
    rows = [table.head, *((line.label, *(cell.text for cell in line.cells)) for line in table.lines)]
    return rows if table.lines else [*rows, ("None.", *[""] * (len(table.head) - 1))]
