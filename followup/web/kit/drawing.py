"""How every drawing looks, and how it becomes bytes: greys that print, the same bytes for the same numbers.

matplotlib draws it without a display. It takes a second to load: import this where something is drawn.
"""

from __future__ import annotations

from io import BytesIO
from typing import Any

from matplotlib.figure import Figure

# Letters as outlines: the figure goes into papers and slides, on machines with other fonts.
STYLE: Any = {"svg.hashsalt": "audit", "svg.fonttype": "path", "font.size": 10, "font.family": "DejaVu Sans"}
INK, BAND, QUIET = "#111111", "#d4d4d4", "#555555"
_DOTS_AN_INCH = 200


def as_bytes(figure: Figure, kind: str, title: str) -> bytes:
    """The figure as `kind`, svg or png; to be called inside `matplotlib.rc_context(STYLE)`."""
    written = BytesIO()
    metadata = {"Date": None, "Title": title} if kind == "svg" else {"Software": None}
    figure.savefig(written, format=kind, dpi=_DOTS_AN_INCH, metadata=metadata)
    return written.getvalue()
