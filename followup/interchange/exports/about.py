"""What whoever opens a full export must know first."""

from __future__ import annotations

from datetime import date

from followup.interchange.sheets.write import HOW_TEXT_STANDS
from followup.models import Site
from followup.queries.takeout.people import OLDEST, Unnamed, Writer


def about(site: Site, today: date, writer: Writer) -> list[str]:
    told = [
        f"Records of {site.name}, taken out on {today}.",
        "One table a sheet; the dictionary says what each column means. Empty: not recorded.",
        "What was marked as entered in error is left out.",
        HOW_TEXT_STANDS,
    ]
    if isinstance(writer, Unnamed):
        return [*told, *_without_names(writer)]
    return [
        *told,
        "The maps beside the CSV files take what was seen and done in again, in the order of their numbers.",
    ]


def _without_names(writer: Unnamed) -> list[str]:
    return [
        "Nobody is named: people, eyes and staff stand under codes, the same in every export and audit of "
        "this installation. Free text is left out.",
        f"Days: {writer.days.label}. Ages of {OLDEST} and more stand as {OLDEST}.",
        "small_counts lists what fewer than five people share: such a row can still single somebody out. Do "
        "not publish it, and do not try to find out who it is.",
    ]
