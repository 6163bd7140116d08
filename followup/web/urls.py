"""Every page's address, subject by subject."""

from __future__ import annotations

from django.urls import include, path

_SUBJECTS = [
    "home",
    "staff",
    "recall",
    "calls",
    "symptoms",
    "oil",
    "people",
    "eyes",
    "operations",
    "visits",
    "booking",
    "decisions",
    "feeds",
    "replies",
    "letters",
    "pathway",
    "audit",
    "imports",
    "exports",
]

urlpatterns = [path("", include(f"followup.web.{subject}.urls")) for subject in _SUBJECTS]
