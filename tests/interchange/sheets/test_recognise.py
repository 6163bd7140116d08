"""Headings in five languages are recognised; what headings and contents do not settle is asked."""

from __future__ import annotations

import pytest

from followup.interchange.sheets.read import read_sheet
from followup.interchange.sheets.recognise import Proposal, date_order, recognise
from tests.interchange.sheets.helpers import SHEETS, saved_map


def proposal(text: str) -> Proposal:
    return recognise(read_sheet(text.encode()))


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("Record No.", "record_number"),
        ("Patienten-ID", "record_number"),
        ("Fecha de nacimiento", "birth_date"),
        ("Date de naissance", "birth_date"),
        ("العين", "side"),
        ("Operated eye", "side"),
        ("OP-Datum", "operation_date"),
        ("Date of surgery", "operation_date"),
        ("IOP (mmHg)", "pressure"),
        ("Agudeza visual", "acuity"),
        ("VA_ETDRS_Letters", "acuity"),
    ],
)
def test_headings_are_known(heading: str, target: str) -> None:
    assert [use.target for use in proposal(f"{heading};x\n1;2\n").uses] == [target]


def test_an_unknown_heading_is_left_to_a_person() -> None:
    found = proposal("record no,shoe size\n1,42\n")
    assert ([use.target for use in found.uses], found.unknown) == (["record_number"], ("shoe size",))


@pytest.mark.parametrize(
    ("heading", "at", "side"),
    [
        ("VA_baseline", "P0D", None),
        ("VA_2weeks", "P2W", None),
        ("Visus 3 Monate", "P3M", None),
        ("IOP 1y", "P1Y", None),
        ("VA R", "", "right"),
        ("va_os", "", "left"),
    ],
)
def test_a_column_a_visit_and_a_column_an_eye_are_told_by_their_heading(
    heading: str, at: str, side: str | None
) -> None:
    [use] = proposal(f"{heading};x\n6/9;2\n").uses
    assert (use.at, use.side) == (at, side)


@pytest.mark.parametrize(
    ("cells", "asked"),
    [
        (("6/9", "2024-06-09"), {"recovered"}),
        (("6/9", "12-Jun", "Jun-36"), {"recovered"}),
        (("6/9", "2024-05-06"), {"recovered", "date_order"}),
        (("6/9", "45452"), {"recovered"}),
        (("6/9", "6/12"), set()),
    ],
)
def test_dates_in_a_column_of_acuity_are_asked_about(cells: tuple[str, ...], asked: set[str]) -> None:
    rows = "".join(f"{number},{cell}\n" for number, cell in enumerate(cells))
    questions = proposal(f"record no,va\n{rows}").questions
    assert {question.asks for question in questions if question.target == "acuity"} == asked


def test_each_date_is_shown_with_the_fraction_that_it_may_be() -> None:
    [question] = proposal("record no,va\n1,2024-06-09\n").questions
    assert question.found == ("2024-06-09 may be 6/9",)


def test_what_cannot_be_settled_is_asked() -> None:
    found = proposal("no,eye,sex,time,va,seen\n1,0,1,28,0.5,03/04/2024\n2,1,2,56,1.0,05/06/2024\n")
    assert {(question.target, question.asks) for question in found.questions} == {
        ("side", "codes"),
        ("sex", "codes"),
        ("visit_offset", "unit"),
        ("acuity", "notation"),
    }
    found = proposal("id,lens,VA_2weeks\n1,phakic,6/9\n")
    assert [(question.column, question.asks) for question in found.questions] == [("lens", "at")]
    found = proposal("no,visit date,pressure\n1,03/04/2024,14\n2,05/06/2024,-9\n")
    assert [(question.asks, question.found) for question in found.questions] == [
        ("date_order", ("03/04/2024", "05/06/2024")),
        ("missing", ("-9",)),
    ]


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["02/03/2024", "13/02/2024"], "day_first"),
        (["02/03/2024", "02/13/2024"], "month_first"),
        (["13/02/2024", "02/13/2024"], None),
        (["02/03/2024"], None),
        (["2024-03-02"], "iso"),
        ([], None),
    ],
)
def test_the_order_of_a_date_column(texts: list[str], order: str | None) -> None:
    assert date_order(texts) == order


@pytest.mark.parametrize(
    "name",
    ["macular_hole_surgery_benchmark", "nv_amd_2_years_semicolon"],
)
def test_the_proposal_for_a_published_sheet_is_its_saved_map_but_for_what_is_asked(name: str) -> None:
    sheet = read_sheet((SHEETS / f"{name}.csv").read_bytes())
    saved, found = saved_map(name), recognise(sheet)
    asked = {question.column for question in found.questions if question.asks == "at"}
    assert found.shape == saved.shape
    assert {(use.column, use.target, use.at) for use in found.uses if use.column not in asked} == {
        (use.column, use.target, use.at) for use in saved.columns if use.column not in asked
    }
