"""How the tests run under mutation: the same examples every time, and no time spent on the smallest one."""

from __future__ import annotations

from hypothesis import Phase, settings

settings.register_profile(
    "mutation",
    max_examples=40,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
)
