"""The saved answer to "which column is what": checked on the way in, stored as JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from followup.domain.acuity.notation import Notation
from followup.domain.dates.durations import Duration
from followup.domain.errors import BadValue, FollowUpError
from followup.domain.words import Correction, Side
from followup.interchange.sheets.cells import tidy
from followup.interchange.sheets.columns import CATALOGUE, OF_A_VISIT, Column
from followup.interchange.sheets.dates import DateOrder, DateStyle, Unit
from followup.interchange.sheets.values import CellRule

_FORBID = ConfigDict(extra="forbid", frozen=True)


class When(BaseModel):
    """Rows where a column has one of these values: the only ones in which another column speaks."""

    model_config = _FORBID

    column: str
    values: list[str] = Field(min_length=1)


class ColumnUse(BaseModel):
    """One column of a file: what it is, and how its cells are written.

    codes: what a text stands for ("0": "right"; "" for missing); missing: texts that mean not known;
    notation: what a bare number of acuity is; unit: of an interval after the operation, where months are
    30.4375 days rounded half up to whole days; at: in a file with a column a visit, when that visit was, as a
    calendar duration after the operation (P2W, P3M; P0D is the operation day); side: the eye this column
    speaks of, where one row holds both; partial_dates: take "2024-09" as a month; calling_code: of the
    country whose telephone numbers are written without one, such as 44. In a column of acuity, date_order
    is that of the spreadsheet which made dates of fractions; recovered: a person has said that its dates are
    such fractions, so each is taken as the one fraction it can be, and marked; approximate: its readings are
    so marked. when: the rows in which the
    column speaks, where one column holds several kinds of value, told by another; it may then be named more
    than once. group: tells apart the visits of one row whose days stand in columns of their own.
    """

    model_config = _FORBID

    column: str
    target: str
    codes: dict[str, str] = Field(default_factory=dict)
    missing: list[str] = Field(default_factory=list)
    notation: Literal["decimal", "logmar", "letters"] | None = None
    correction: Correction = Correction.UNKNOWN
    date_order: DateOrder | None = None
    unit: Unit | None = None
    at: str = ""
    side: Side | None = None
    when: When | None = None
    group: str = ""
    partial_dates: bool = False
    recovered: bool = False
    approximate: bool = False
    calling_code: str = Field(default="", pattern=r"^([1-9][0-9]{0,2})?$")

    @model_validator(mode="after")
    def _fits_catalogue(self) -> Self:
        if self.target not in CATALOGUE:
            raise ValueError(
                f'There is no import column "{self.target}". Choose one of: {", ".join(CATALOGUE)}.'
            )
        if self.target == "visit_offset" and self.unit is None:
            raise ValueError("Say whether the time is in days, weeks or months.")
        for name in ("recovered", "approximate"):
            if getattr(self, name) and self.target != "acuity":
                raise ValueError(f'"{name}" belongs to a column of acuity, not to {self.target}.')
        if self.group and self.catalogued.subject not in OF_A_VISIT:
            raise ValueError(f'"group" belongs to findings of a visit, not to {self.target}.')
        if self.at and self.catalogued.subject not in OF_A_VISIT:
            raise ValueError(f'"at" belongs to findings of a visit, not to {self.target}.')
        if self.at:
            _duration(self.at)
        return self

    @property
    def catalogued(self) -> Column:
        return CATALOGUE[self.target]

    def rule(
        self,
        *,
        today: date,
        bare: Notation | None,
        both_orders: bool = False,
        dates_1904: bool = False,
    ) -> CellRule:
        """The rule its cells are read by; `bare` stands in where no notation is named. Rest: as DateStyle."""
        return CellRule(
            today=today,
            codes={tidy(text).casefold(): meant for text, meant in self.codes.items()},
            missing=frozenset(tidy(text).casefold() for text in self.missing),
            notation=Notation(self.notation) if self.notation else bare,
            dates=DateStyle(self.date_order, both_orders, dates_1904),
            unit=self.unit or "days",
            partial_dates=self.partial_dates,
            recovered=self.recovered,
            approximate=self.approximate,
            calling_code=self.calling_code,
        )


class OtherSide(BaseModel):
    """Rows where a column has one of these values speak of the fellow of the eye they name."""

    model_config = _FORBID

    kind: Literal["other_side"]
    column: str
    values: list[str] = Field(min_length=1)


class ColumnMap(BaseModel):
    """How a file is read. shape: "visits" has a row a visit, "operations" a row an operation, "timepoints" a
    row an operation with a column for each later visit.

    constants: what a person states for all rows, by import column, such as an indication, or a stand-in
    operation date with date_precision "nominal"; a cell of a row outweighs it. ignored: columns left alone.
    In a file of visits each row is a visit; with visit_needs_finding, and in the other shapes always, a visit
    exists where at least one finding of it does. headings: the row that holds them, 0 to find
    it. numbered: in a file without record numbers whose every row is another person, what stands before the
    number of the row to make one.
    """

    model_config = _FORBID

    name: str = ""
    about: str = ""
    shape: Literal["visits", "operations", "timepoints"]
    encoding: str = ""
    separator: str = ""
    sheet: str = ""
    headings: int = Field(default=0, ge=0, le=1000)
    visit_needs_finding: bool = False
    numbered: str = ""
    columns: list[ColumnUse] = Field(min_length=1)
    constants: dict[str, str] = Field(default_factory=dict)
    rules: list[OtherSide] = Field(default_factory=list)
    ignored: list[str] = Field(default_factory=list)

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        for problem in self._problems():
            raise ValueError(problem)
        return self

    def _problems(self) -> Iterator[str]:
        targets = {use.target for use in self.columns} | set(self.constants)
        timed = any(use.at for use in self.columns)
        if "record_number" not in targets and not self.numbered:
            yield "No column is the record number. Say which column tells one patient from another."
        if self.shape == "visits" and not targets & {"visit_date", "visit_offset"}:
            yield "A file of visits needs a column with the day, or the time after the operation."
        if self.shape == "timepoints" and not timed:
            yield 'A file with a column a visit says when each was ("at", such as P2W).'
        if self.shape != "timepoints" and timed:
            yield '"at" belongs to files with a column a visit: choose the shape "timepoints".'
        if self.shape != "visits":
            yield from (f'{name} belongs to a visit; say when with "at".' for name in self._untimed())
        for target in self.constants:
            if target not in CATALOGUE:
                yield f'There is no import column "{target}" to state for the whole file.'
            elif CATALOGUE[target].subject in OF_A_VISIT:
                yield f"{target} is found at each visit and cannot be stated for the whole file."
        yield from self._twice()

    def _untimed(self) -> list[str]:
        return [use.target for use in self.columns if use.catalogued.subject in OF_A_VISIT and not use.at]

    def _twice(self) -> Iterator[str]:
        uses = Counter(
            (use.target, use.at, use.group, use.side, use.correction if use.target == "acuity" else "")
            for use in self.columns
            if not use.catalogued.many and use.when is None
        )
        for (target, *_), times in uses.items():
            if times > 1:
                yield f"{times} columns are {target}. Keep one, or say what tells them apart."

    def missing_columns(self, headers: tuple[str, ...]) -> list[str]:
        """Columns that the map needs and the file does not have."""
        needed = [*self._columns_used(), *(rule.column for rule in self.rules)]
        return [name for name in dict.fromkeys(needed) if name not in headers]

    def _columns_used(self) -> list[str]:
        conditions = [use.when.column for use in self.columns if use.when]
        return [*(use.column for use in self.columns), *conditions]

    def unused_columns(self, headers: tuple[str, ...]) -> list[str]:
        """Columns of the file that the map says nothing of."""
        known = {*self._columns_used(), *(rule.column for rule in self.rules), *self.ignored}
        return [name for name in headers if name not in known]


def accepted_map(definition: object) -> ColumnMap:
    """A map from JSON. Raises BadValue, naming the place of the first fault."""
    try:
        return ColumnMap.model_validate(definition)
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        place = " ".join(str(part) for part in first["loc"])
        reason = first["msg"].removeprefix("Value error, ")
        raise BadValue(
            f"The column map does not fit{f' at {place}' if place else ''}: {reason}", field="map"
        ) from None


def stored_map(column_map: ColumnMap) -> dict[str, Any]:
    """The map as JSON, without what is at its default."""
    return column_map.model_dump(mode="json", exclude_defaults=True)


def _duration(text: str) -> Duration:
    try:
        return Duration.parse(text)
    except FollowUpError as fault:
        raise ValueError(fault.message) from None
