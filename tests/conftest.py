"""Profiles of the property tests."""

from __future__ import annotations

from hypothesis import settings

# numba's first compilation takes longer than hypothesis' 200 ms deadline.
settings.register_profile("dewmargin", deadline=None, derandomize=True)
settings.load_profile("dewmargin")
