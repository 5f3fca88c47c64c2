"""crackmap: from a photo of a cracked slab to keys, pockets, resin and a bench sheet.

The stages are plain functions that take one immutable record and return the
next (see ``crackmap.pipeline``). Importing this package is cheap; the settled
entry ``find_cracks`` loads the image libraries only when it is asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.3.0"
__all__ = ["__version__", "find_cracks"]

if TYPE_CHECKING:
    from crackmap.survey.find import find_cracks


def __getattr__(name: str) -> Any:
    if name == "find_cracks":
        from crackmap.survey.find import find_cracks

        return find_cracks
    raise AttributeError(f"module 'crackmap' has no attribute {name!r}")
