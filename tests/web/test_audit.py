"""The audit page: what an address asks, what is refused by name, and what may be taken along."""

from __future__ import annotations

import csv
import io
import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import openpyxl
import pytest
import time_machine
from django.http import QueryDict
from django.test import Client
from django.urls import reverse

from followup.domain.words import (
    Clock,
    Extent,
    Indication,
    Procedure,
    RecurrenceEvent,
    Repeat,
    Tamponade,
    YesNo,
)
from followup.models import Change, Operation, Patient, Site
from followup.queries.cohort_choice import (
    BuckleChoice,
    CohortChoice,
    Errors,
    Stratum,
    TamponadeGroup,
    Unit,
)
from followup.queries.cohorts import read_cohort
from followup.queries.reports.audit import audit
from followup.queries.reports.audit_words import Tables, tables
from followup.web.audit.forms import CohortForm
from tests.builders import (
    make_acuity,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_patient,
    make_site,
    make_staff,
)
from tests.queries.audited import LOCK, OPERATED, choice_of, make_followed_eyes, people

pytestmark = pytest.mark.django_db

NBSP = "\N{NO-BREAK SPACE}"
DRAWINGS = [("audit_svg", "image/svg+xml", b"<?xml"), ("audit_png", "image/png", b"\x89PNG")]


@pytest.fixture
def site() -> Site:
    return make_site(name="Harbour Eye Clinic")


@pytest.fixture
def auditor(site: Site) -> Client:
    client = Client()
    client.force_login(
        make_staff(role="auditor", site=site), backend="django.contrib.auth.backends.ModelBackend"
    )
    return client


def words_of(client: Client, asked: str = "") -> str:
    """The page in one line, its spaces made plain."""
    answer = client.get(f"{reverse('audit')}?{asked}")
    assert answer.status_code == 200
    return " ".join(answer.content.decode().replace("&nbsp;", " ").split())


def tables_of(site: Site, **asked: object) -> Tables:
    return tables(audit(read_cohort(choice_of(site, **asked)), minimum_at_risk=5))


# --- An address and what it asks ---

PLAIN = CohortChoice(site_id=0, lock=LOCK)
FULL = CohortChoice(
    site_id=0,
    lock=date(2024, 2, 29),
    operated_from=date(2015, 1, 1),
    operated_to=date(2019, 12, 31),
    indications=(Indication.MHRD, Indication.PVR),
    tamponade=TamponadeGroup.ANY_OIL,
    surgeon="name:Visiting & guest = one",
    repeat=Repeat.FIRST,
    buckle=BuckleChoice.WITHOUT,
    extent=Extent.TOTAL,
    only_eye=False,
    staphyloma=YesNo.UNKNOWN,
    axial_length_from=Decimal("26.50"),
    axial_length_below=Decimal("30"),
    procedures=(Procedure.VITRECTOMY, Procedure.ILM_PEEL),
    unit=Unit.FIRST,
    strata=Stratum.TAMPONADE,
    clock=Clock.REMOVED,
    event=RecurrenceEvent.EITHER,
    horizon=60,
    errors=Errors.EYES,
)
AGENT = CohortChoice(site_id=0, lock=LOCK, tamponade=Tamponade.AIR, only_eye=True)


def form_of(query: str, site: Site, today: date = LOCK) -> CohortForm:
    surgeons = [("name:Visiting & guest = one", "Visiting & guest = one")]
    form = CohortForm(QueryDict(query), sites=[site], site=site, surgeons=surgeons, today=today)
    form.is_valid()
    return form


@pytest.mark.parametrize("choice", [PLAIN, FULL, AGENT], ids=["plain", "full", "agent"])
def test_an_address_written_and_read_back_asks_the_same(choice: CohortChoice) -> None:
    site = Site(pk=choice.site_id, name="Anywhere")
    assert form_of(choice.query, site).choice == choice


def test_an_empty_address_asks_for_all_eyes_as_known_today() -> None:
    assert form_of("", Site(pk=7)).choice == CohortChoice(site_id=7, lock=LOCK)


@pytest.mark.parametrize(
    ("query", "field", "words"),
    [
        ("surgeons=3", "__all__", "“surgeons”"),
        ("surgeon=staff:999", "surgeon", "“staff:999” is not one of the choices"),
        ("site=999", "site", "“999” is not one of the choices"),
        ("indication=rrd&indication=flu", "indication", "“flu” is not one of the choices"),
        ("tamponade=water", "tamponade", "“water” is not one of the choices"),
        ("clock=c", "clock", "“c” is not one of the choices"),
        ("horizon=soon", "horizon", "whole months, 1 to 360"),
        ("horizon=0", "horizon", "whole months, 1 to 360"),
        ("horizon=361", "horizon", "whole months, 1 to 360"),
        ("lock=2025-13-01", "lock", "Enter a valid date"),
        ("lock=2025-01-07", "lock", "2025-01-07 has not come yet"),
        ("operated_from=2020-01-02&operated_to=2020-01-01", "operated_to", "Swap them"),
        ("axial_length_from=30&axial_length_below=26", "axial_length_below", "no eye can be both"),
        ("strata=weather", "strata", "“weather” is not one of the choices"),
        ("eyes=some", "eyes", "“some” is not one of the choices"),
        ("procedure=wishing", "procedure", "“wishing” is not one of the choices"),
        ("also=999", "also", "“999” is not one of the choices"),
        ("axial_length_from=260", "axial_length_from", "less than or equal to 40"),
    ],
)
def test_what_cannot_be_read_is_refused_by_name(query: str, field: str, words: str) -> None:
    form = form_of(query, Site(pk=7))
    assert form.choice is None
    assert list(form.errors) == [field]
    assert words in " ".join(form.errors[field])


def test_a_refused_address_shows_why_and_no_figures(auditor: Client) -> None:
    shown = words_of(auditor, "horizon=0")
    assert "Nothing was counted" in shown
    assert "How it was counted" not in shown
    for name in ("audit_svg", "audit_png", "audit_csv"):
        answer = auditor.get(f"{reverse(name)}?horizon=0")
        assert (answer.status_code, answer.headers["Content-Type"]) == (400, "text/plain; charset=utf-8")
        assert b"whole months" in answer.content


@time_machine.travel("2025-01-06T12:00:00Z")
def test_the_link_names_everything_so_that_it_means_the_same_tomorrow(auditor: Client, site: Site) -> None:
    make_operation(site=site, date=OPERATED)
    asked = [
        f"site={site.pk}",
        "eyes=all",
        "clock=index",
        "event=redetachment",
        "horizon=24",
        "limits=patients",
        "lock=2025-01-06",
    ]
    assert f'href="/audit/?{"&amp;".join(asked)}"' in words_of(auditor)


# --- Whose eyes ---


def test_another_clinic_s_eyes_are_never_counted(auditor: Client, site: Site) -> None:
    elsewhere = make_site(name="Elsewhere")
    make_followed_eyes(elsewhere, people([(100, True)]))
    assert "No operation at this clinic is on record" in words_of(auditor)
    refused = words_of(auditor, f"site={elsewhere.pk}")
    assert "Nothing was counted" in refused
    assert "Elsewhere" not in refused
    assert auditor.get(reverse("audit_csv"), {"site": elsewhere.pk}).status_code == 400


def test_an_address_of_one_s_other_clinic_counts_there(site: Site) -> None:
    other = make_site(name="Second clinic")
    make_followed_eyes(other, people([(100, True)]))
    client = Client()
    client.force_login(
        make_staff(role="surgeon", sites=[site, other]), backend="django.contrib.auth.backends.ModelBackend"
    )
    shown = words_of(client, f"site={other.pk}")
    assert "Audit of Second clinic" in shown
    assert "Free of the event: 1 event by 24 months" in shown


# --- What the page says ---


def test_a_cohort_of_nobody_says_what_there_is(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(100, True)]))
    shown = words_of(auditor, "tamponade=any_oil")
    assert "No eye matches." in shown
    assert "1 eye had been operated on here" in shown
    assert "<img" not in shown


def test_a_cohort_without_time_on_the_clock_has_no_curve_and_says_why(auditor: Client, site: Site) -> None:
    make_oil_operation(eye=make_eye(site=site), date=OPERATED)
    shown = words_of(auditor, "clock=removed")
    assert "No eye of this cohort has time on this clock" in shown
    assert "<img" not in shown


def test_one_eye_has_words_where_there_is_no_number(site: Site) -> None:
    make_followed_eyes(site, people([(400, False)]))
    found = tables_of(site)
    exact = f"2.5 to 100.0{NBSP}% (no event yet: Clopper-Pearson of those at risk)"
    assert [(rate.months, rate.at_risk, rate.free, rate.limits) for rate in found.rates] == [
        (6, 1, f"100.0{NBSP}%", exact),
        (12, 1, f"100.0{NBSP}%", exact),
        (24, 0, "beyond last follow-up", ""),
    ]
    assert (found.median_free, found.falls) == ("not reached", ())
    assert found.median_follow_up == "13.1 months (400 days); limits not reached to not reached"


def test_every_eye_recurred_on_day_one(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(1, True)] * 6))
    found = tables_of(site)
    assert [(rate.at_risk, rate.free, rate.limits) for rate in found.rates] == [
        (0, f"0.0{NBSP}%", "not estimable")
    ] * 3
    assert [(fall.day, fall.at_risk, fall.events, fall.free) for fall in found.falls] == [
        (1, 6, 6, f"0.0{NBSP}%")
    ]
    assert "nan" not in words_of(auditor)


def test_a_curve_of_too_few_is_not_drawn_and_says_so(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(100, True), (200, False)]))
    assert "fewer than 5 eyes remain at risk, which here is everywhere" in words_of(auditor)
    svg = auditor.get(reverse("audit_svg"))
    assert svg.status_code == 200
    Site.objects.update(curve_minimum_at_risk=1)
    drawn = auditor.get(reverse("audit_svg"))
    assert drawn.headers["ETag"] != svg.headers["ETag"]
    assert "not drawn" not in words_of(auditor)


def test_the_table_beside_the_drawing_stops_where_the_drawing_does(site: Site) -> None:
    make_followed_eyes(site, people([(10, True), *[(20, False)] * 3, (30, True), (40, False), (50, True)]))
    assert [(fall.day, fall.events, fall.last_seen) for fall in tables_of(site).falls] == [
        (10, 1, 0),
        (20, 0, 3),
    ]


def test_death_shows_both_curves(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(100, True), (200, False)]))
    assert "cumulative incidence" not in words_of(auditor)
    Patient.objects.filter(record_number="N1").update(died_on=OPERATED + timedelta(300))
    assert "The event, where death may come first (cumulative incidence)" in words_of(auditor)
    assert [line.share for line in tables_of(site).incidence] == [f"50.0{NBSP}%"] * 3


# --- What may be taken along ---


@pytest.mark.parametrize(("name", "content_type", "begins"), DRAWINGS)
@pytest.mark.parametrize("times", [[], [(1, True)] * 9, [(90 * n, n % 4 == 0) for n in range(1, 30)]])
def test_a_drawing_has_its_own_address_and_is_drawn_once(
    auditor: Client, site: Site, name: str, content_type: str, begins: bytes, times: list[Any]
) -> None:
    make_followed_eyes(site, people(times))
    answer = auditor.get(reverse(name), {"horizon": "60"})
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, content_type)
    assert answer.content.startswith(begins)
    assert auditor.get(reverse(name), {"horizon": "60"}).content == answer.content
    again = auditor.get(reverse(name), {"horizon": "60"}, headers={"If-None-Match": answer.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_only_the_drawing_itself_may_style_itself(auditor: Client) -> None:
    policy = "Content-Security-Policy"
    assert "style-src 'self' 'unsafe-inline'" in auditor.get(reverse("audit_svg")).headers[policy]
    assert "'unsafe-inline'" not in auditor.get(reverse("audit")).headers[policy]


def sheet_of(client: Client, asked: str = "") -> list[dict[str, str]]:
    answer = client.get(f"{reverse('audit_csv')}?{asked}")
    assert answer.headers["Content-Disposition"].startswith("attachment;")
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_the_sheet_holds_the_rows_under_the_figures(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(100, True), (200, False)]))
    rows = sorted(sheet_of(auditor), key=lambda row: row["days"])
    assert [(row["days"], row["event"], row["ending"], row["found_day"]) for row in rows] == [
        ("100", "1", "recurred", "100"),
        ("200", "0", "free", ""),
    ]
    assert [(row["final_state"], row["primary_success"], row["last_well_day"]) for row in rows] == [
        ("detached", "no", "0"),
        ("attached", "yes", "200"),
    ]


def test_the_sheet_names_nobody_and_dates_nothing(auditor: Client, site: Site) -> None:
    patient = make_patient(
        site=site, record_number="=1+1", family_name="@Family", birth_date=date(1950, 5, 17)
    )
    make_operation(eye=make_eye(patient=patient), date=OPERATED, surgeon_name="+Visiting")
    text = auditor.get(reverse("audit_csv")).content.decode()
    for hidden in ("1+1", "Family", "1950", "2015", "Visiting", "Harbour"):
        assert hidden not in text


def test_no_cell_of_the_sheet_is_read_as_a_formula_or_a_number_it_is_not(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(10 * n, n % 3 == 0) for n in range(40)]))
    cells = {cell for row in sheet_of(auditor, "clock=removed") for cell in row.values()}
    assert {cell[0] for cell in cells if cell} <= set(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
    )
    assert all(cell.isdigit() for cell in cells if cell and cell[0].isdigit())


def test_the_sheet_gives_sight_as_numbers_and_words(auditor: Client, site: Site) -> None:
    eye = make_operation(eye=make_eye(site=site), date=OPERATED).eye
    make_acuity(
        exam=make_exam(eye=eye, day=OPERATED), logmar=None, category="hand_movements", notation="category"
    )
    make_acuity(exam=make_exam(eye=eye, day=OPERATED + timedelta(183)), logmar=Decimal("-0.1"))
    (row,) = sheet_of(auditor)
    assert (row["logmar_before"], row["below_chart_before"]) == ("", "hand_movements")
    assert (row["logmar_6m"], row["below_chart_6m"], row["seen_6m"]) == ("-0.1000", "", "yes")


def test_the_workbook_holds_the_same_rows_as_the_sheet(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(100, True), (200, False)]))
    answer = auditor.get(reverse("audit_xlsx"), {"strata": "repeat"})
    assert answer.headers["Content-Disposition"].endswith('.xlsx"')
    rows = list(openpyxl.load_workbook(io.BytesIO(answer.content))["Eyes"].iter_rows(values_only=True))
    told = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    csv_rows = sheet_of(auditor, "strata=repeat")
    assert [{key: str(value or "") for key, value in row.items() if value != 0} for row in told] == [
        {key: value for key, value in row.items() if value != "0"} for row in csv_rows
    ]
    assert {row["group"] for row in told} == {"A"}


@pytest.mark.parametrize(("name", "kind"), [("audit_csv", "csv"), ("audit_xlsx", "xlsx")])
def test_who_took_the_rows_out_is_kept(auditor: Client, site: Site, name: str, kind: str) -> None:
    make_followed_eyes(site, people([(100, True), (200, False)]))
    auditor.get(reverse(name), {"horizon": "36"})
    change = Change.objects.get(verb="took_out_rows")
    assert (change.by.role, change.site, change.patient) == ("auditor", site, None)
    assert (change.after["kind"], change.after["rows"]) == (kind, 2)
    assert "horizon=36" in change.after["asked"]
    auditor.get(reverse(name), {"horizon": "0"})
    auditor.get(reverse("audit"))
    assert Change.objects.filter(verb="took_out_rows").count() == 1


# --- The eyes behind a figure ---


def test_an_auditor_sees_codes_and_a_surgeon_names(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(100, True), (200, False)]))
    surgeon = Client()
    surgeon.force_login(
        make_staff(role="surgeon", site=site), backend="django.contrib.auth.backends.ModelBackend"
    )
    code = next(row["eye"] for row in sheet_of(auditor) if row["event"] == "1")
    by_code, by_name = (
        client.get(reverse("audit_eyes"), {"of": "event"}).content.decode() for client in (auditor, surgeon)
    )
    assert code in by_code
    # As a word: a random token of the page may hold the two letters.
    assert not re.search(r"\bN0\b", by_code)
    assert "2015" not in by_code
    assert "No. N0" in by_name
    assert code not in by_name
    assert not re.search(r"\bN1\b", by_name)


def test_a_long_list_comes_in_pages_that_keep_the_question(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people([(100, False)] * 60))
    second = auditor.get(reverse("audit_eyes"), {"of": "in_curve", "horizon": "36", "page": "2"})
    shown = second.content.decode()
    assert "Page 2 of 2, rows 51 to 60 of 60" in shown
    assert "of=in_curve" in shown
    assert "horizon=36" in shown


@pytest.mark.parametrize(("asked", "status"), [({"of": "unheard_of"}, 404), ({"horizon": "0"}, 400)])
def test_a_figure_that_is_not_there_is_not_found(auditor: Client, asked: dict[str, str], status: int) -> None:
    assert auditor.get(reverse("audit_eyes"), asked).status_code == status


# --- Eyes told apart ---


def test_groups_stand_side_by_side_with_their_test(auditor: Client, site: Site) -> None:
    make_followed_eyes(site, people((60 * n, n % 4 == 1) for n in range(1, 25)))
    Operation.objects.filter(eye__patient__record_number__in=[f"N{n}" for n in range(0, 24, 2)]).update(
        repeat="repeat"
    )
    shown = words_of(auditor, "strata=repeat")
    assert "A. First operation" in shown
    assert "B. Repeat operation" in shown
    assert "Log-rank, each eye on its own" in shown
    assert "24 eyes" in shown
    assert "within patients" not in shown


@pytest.mark.parametrize("name", ["audit_svg", "audit_png"])
def test_groups_are_drawn(auditor: Client, site: Site, name: str) -> None:
    make_followed_eyes(site, people((60 * n, n % 4 == 1) for n in range(1, 25)))
    Operation.objects.filter(eye__patient__record_number="N3").update(repeat="repeat")
    answer = auditor.get(reverse(name), {"strata": "repeat"})
    assert answer.status_code == 200
    assert answer.content != auditor.get(reverse(name)).content
