"""How true places are: the tolerances that all patterns share, in mm."""

from __future__ import annotations

#: In a part just as wide as a stone, or narrower by up to twice this, stones may stand over its
#: outline by so many mm: less than drawings and stones are true to.
EXACT_MM = 0.005
