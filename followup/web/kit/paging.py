"""Long lists in pages of fifty."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest

ROWS_A_PAGE = 50


def page_of(request: HttpRequest, rows: Sequence[Any] | QuerySet[Any], size: int = ROWS_A_PAGE) -> Page[Any]:
    """The page that ?page= names; the first or last one where the number makes no sense."""
    return Paginator(rows, size).get_page(request.GET.get("page"))
