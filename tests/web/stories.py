"""Eyes as the services leave them: recorded, and planned."""

from __future__ import annotations

from datetime import date
from html import unescape
from typing import Any

from django.http import HttpResponse
from django.test import Client

from followup.models import Eye, Site
from followup.services.pathway import replan_eye
from tests.builders import make_eye, make_oil_operation, make_operation, make_patient


def gas_eye(site: Site, operated: date, **fields: Any) -> Eye:
    """An eye filled with SF6 on that day, its reviews planned."""
    return _planned(make_operation(eye=_new_eye(site, fields), date=operated).eye)


def oil_eye(site: Site, operated: date, **fields: Any) -> Eye:
    """An eye filled with oil on that day, its reviews and its removal planned."""
    return _planned(make_oil_operation(eye=_new_eye(site, fields), date=operated).eye)


def _new_eye(site: Site, fields: dict[str, Any]) -> Eye:
    patient = fields.pop("patient", None) or make_patient(site=site)
    return make_eye(patient=patient, **fields)


def _planned(eye: Eye) -> Eye:
    replan_eye(eye_id=eye.pk)
    return eye


def text_of(answer: HttpResponse) -> str:
    """The page as one line of text, without its markup's line breaks."""
    return " ".join(unescape(answer.content.decode()).split())


def send(client: Client, address: str, **typed: Any) -> HttpResponse:
    """Fills in a form and follows where it leads."""
    return client.post(address, typed, follow=True)
