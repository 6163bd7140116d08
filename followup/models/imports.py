"""Imported sheets: the file, the map of its columns, and what became of each row."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from followup.models.people import Site


class ColumnMap(models.Model):
    """A named answer to 'which column is what', kept for the next file of the same kind."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="column_maps")
    name = models.CharField(max_length=80)
    definition = models.JSONField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "name"], name="column_map_name_once_a_site")]

    def __str__(self) -> str:
        return self.name


class ImportBatch(models.Model):
    """One sheet read in. The bytes are kept, so that what was confirmed is what was shown."""

    STATES = [
        ("read", "Read, not yet understood"),
        ("checked", "Checked, not yet written"),
        ("writing", "Being written"),
        ("stopped", "Stopped half way"),
        ("applied", "Written"),
        ("undone", "Undone"),
    ]

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="imports")
    file_name = models.CharField(max_length=200)
    digest = models.CharField(max_length=64, help_text="SHA-256 of the file.")
    content = models.BinaryField()
    definition = models.JSONField(default=dict, help_text="The column map used.")
    state = models.CharField(max_length=10, choices=STATES, default="read")
    counts = models.JSONField(default=dict)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    applied_at = models.DateTimeField(null=True, blank=True)
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    rows_done = models.PositiveIntegerField(default=0, help_text="Rows gone through, while it is written.")
    lease_until = models.DateTimeField(
        null=True, blank=True, help_text="Until then one worker has it in hand."
    )
    problem = models.CharField(max_length=400, blank=True, help_text="Why it stopped, where it did.")

    def __str__(self) -> str:
        return self.file_name


class ImportRow(models.Model):
    """One row of the sheet: its raw cells, what it would do or did, and why."""

    OUTCOMES = [
        ("new", "New"),
        ("changed", "Changed"),
        ("same", "Same"),
        ("human", "Needs a person"),
        ("refused", "Refused"),
        ("ignored", "Ignored"),
    ]

    batch = models.ForeignKey(ImportBatch, on_delete=models.CASCADE, related_name="rows")
    sheet = models.CharField(max_length=80, blank=True)
    number = models.PositiveIntegerField(help_text="Row number in the file, as a spreadsheet counts.")
    outcome = models.CharField(max_length=10, choices=OUTCOMES)
    problems = models.JSONField(default=list, help_text="Each: column, value, reason.")
    cells = models.JSONField(default=dict, help_text="Raw text by column heading.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["batch", "sheet", "number"], name="import_row_once_a_batch")
        ]
        indexes = [models.Index(fields=["batch", "outcome"], name="import_row_outcome")]

    def __str__(self) -> str:
        return f"Row {self.number}"
