"""What all tests share: property tests try the same cases each time, unless asked to explore.

``CALLOUT_EXPLORE=1`` lets hypothesis draw new cases.
"""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("same each time", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None)
settings.load_profile("explore" if os.environ.get("CALLOUT_EXPLORE") else "same each time")
