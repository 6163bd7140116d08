"""Long sheets that wait to be written: one after the other, each carried on where it stopped."""

from __future__ import annotations

import logging

from followup.interchange.sheets.parts import write_in_parts
from followup.jobs import clock
from followup.models import ImportBatch
from followup.services.import_jobs import claim_import, stop_import

log = logging.getLogger(__name__)


def run_imports() -> int:
    """Writes the sheets that wait, each for some minutes at most; how many were taken up."""
    waiting = ImportBatch.objects.filter(state="writing").count()
    taken = 0
    while taken < waiting and (batch := claim_import(now=clock.now())) is not None:
        taken += 1
        try:
            write_in_parts(batch=batch, clock=clock.now, today=clock.today(batch.site, clock.now()))
        except Exception as fault:
            # Nobody watches the worker; the page of the sheet says why it stopped.
            log.exception("The import %s broke off.", batch.pk)
            stop_import(by=batch.confirmed_by, now=clock.now(), batch=batch, problem=f"It broke off: {fault}")
    return taken
