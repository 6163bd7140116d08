"""The report of an audit on paper holds what its page holds, for many eyes, one, nobody, and locked."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client
from pypdf import PdfReader
from pypdf.generic import NumberObject

from followup.models import LockedAudit, Site, Staff
from followup.queries.cohort_choice import CohortChoice, Stratum
from followup.queries.cohorts import read_cohort
from followup.queries.locked.frozen import canonical, digest_of, digest_of_figures, packed
from followup.queries.reports.audit_cautions import cautions
from followup.queries.reports.audit_sections import sections
from followup.queries.reports.audit_tables import Table
from followup.queries.reports.audit_whole import WholeAudit, whole_audit
from tests.builders import make_acuity, make_exam, make_eye, make_oil_operation, make_site, make_staff
from tests.queries.audited import LOCK, OPERATED, make_followed_eyes, people
from tests.web.stories import send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def site() -> Site:
    """Forty eyes, one in four with a recurrence, one of them filled with oil and read."""
    site = make_site(name="Harbour Eye Clinic")
    make_followed_eyes(site, people((100 + 20 * number, number % 4 == 0) for number in range(40)))
    eye = make_eye(site=site, axial_length_mm="31.20")
    make_oil_operation(eye=eye, date=OPERATED)
    make_acuity(exam=make_exam(eye=eye, day=OPERATED), as_written="6/60")
    make_acuity(exam=make_exam(eye=eye, day=OPERATED.replace(year=2016)), as_written="6/12")
    return site


@pytest.fixture
def auditor(site: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="auditor", site=site))


def pages_of(client: Client, address: str) -> list[str]:
    """The text of each page without any blank, since a cell may be set in several lines."""
    answer = client.get(address)
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="audit-{LOCK}.pdf"'
    return [close(page.extract_text()) for page in PdfReader(io.BytesIO(answer.content)).pages]


def close(text: str) -> str:
    return re.sub(r"\s+", "", text)


def tables_of(whole: WholeAudit) -> Iterator[Table]:
    shown = sections(whole)
    yield from (shown.flow, shown.rates, *shown.curve, *shown.beside)
    for section in shown.rest:
        yield from section.tables


@pytest.mark.parametrize(
    ("asked", "choice"),
    [
        ("", {}),
        ("&strata=tamponade", {"strata": Stratum.TAMPONADE}),
        ("&axial_length_from=30", {"axial_length_from": 30}),
    ],
    ids=["all", "side by side", "one eye"],
)
def test_every_number_of_the_page_is_on_paper(
    site: Site, auditor: Client, asked: str, choice: dict[str, object]
) -> None:
    cohort = read_cohort(CohortChoice(site_id=site.pk, lock=LOCK, **choice))  # type: ignore[arg-type]
    whole = whole_audit(cohort, minimum_at_risk=site.curve_minimum_at_risk)
    pages = pages_of(auditor, f"/audit/report.pdf?lock={LOCK}{asked}")
    paper = "".join(pages)
    # A row that goes over a page has the headings between; no cell does.
    for table in tables_of(whole):
        for words in (table.caption, table.note, *table.head):
            assert close(words) in paper
        for line in table.lines:
            assert close("".join((line.label, *(cell.text for cell in line.cells)))) in paper, line
    for caution in cautions(whole.report):
        assert close(caution) in paper
    for place, page in enumerate(pages, 1):
        assert f"{place}of{len(pages)}" in page
    for words in ("Data lock. 6 January 2025", "Not a locked audit", "Primary failure. Found detached"):
        assert close(words) in paper


def test_the_curve_carries_its_numbers_in_words(auditor: Client) -> None:
    content = auditor.get(f"/audit/report.pdf?lock={LOCK}").content
    reader = PdfReader(io.BytesIO(content))
    assert sum(len(page.images) for page in reader.pages) == 1
    told = [str(element["/Alt"]) for element in structure_of(reader.root_object["/StructTreeRoot"])]
    assert len(told) == 1
    assert told[0].startswith("Kaplan-Meier curve of 41 eyes of 41 patients. Free of the event: at 6 months")


def structure_of(element: Any) -> Iterator[Any]:
    """What the paper tells a screen reader in place of a picture."""
    known = element.get_object()
    if isinstance(known, list):
        for part in known:
            yield from structure_of(part)
    elif isinstance(known, dict):
        if "/Alt" in known:
            yield known
        yield from structure_of(known.get("/K", NumberObject(0)))


def test_of_nobody_the_paper_says_so_and_draws_nothing(auditor: Client) -> None:
    paper = "".join(pages_of(auditor, f"/audit/report.pdf?lock={LOCK}&axial_length_from=39"))
    assert close("No eye matches, so nothing else was counted.") in paper
    assert close("Left out because no axial length is on record: 40 eyes.") in paper
    assert close("The eyes before the index operation") not in paper
    assert close("How it was counted") in paper


def test_a_choice_that_cannot_be_read_is_refused_in_words(auditor: Client) -> None:
    answer = auditor.get("/audit/report.pdf?horizon=none")
    assert (answer.status_code, answer.headers["Content-Type"]) == (400, "text/plain; charset=utf-8")
    assert "Expected whole months" in answer.content.decode()


def test_of_a_locked_audit_it_bears_the_digests_and_says_when_it_was_withdrawn(auditor: Client) -> None:
    send(auditor, f"/audit/lock/?lock={LOCK}", title="Congress, spring")
    audit = LockedAudit.objects.get()
    address = f"/audit/locked/{audit.pk}/"
    assert f"{address}report.pdf" in text_of(auditor.get(address))
    paper = "".join(pages_of(auditor, f"{address}report.pdf"))
    for words in ("Congress, spring", audit.rows_digest, audit.figures_digest, audit.program):
        assert close(words) in paper
    assert "WITHDRAWN" not in paper
    send(auditor, f"{address}withdraw/", reason="Wrong dates")
    assert close("WITHDRAWN on 2 Mar 2026 09:00: Wrong dates") in pages_of(auditor, f"{address}report.pdf")[0]


def test_a_program_that_counts_otherwise_says_so_on_paper_too(auditor: Client) -> None:
    send(auditor, f"/audit/lock/?lock={LOCK}", title="Congress, spring")
    audit = LockedAudit.objects.get()
    first = "From all eyes to the curve, In the cohort, Eyes"
    audit.figures = [[name, "40" if name == first else figure] for name, figure in audit.figures]
    audit.figures_digest = digest_of_figures(audit)
    audit.save()
    address = f"/audit/locked/{audit.pk}/report.pdf"
    page = pages_of(auditor, address)[0]
    assert close("THE PROGRAM COUNTS OTHERWISE TODAY") in page
    assert close(f"{first}: 40; today 41") in page
    other = canonical({"form": 2, "cohort": {}})
    LockedAudit.objects.update(frozen=packed(other), rows_digest=digest_of(other))
    assert "another version of the program" in text_of(auditor.get(address))
