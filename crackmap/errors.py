"""Errors that a user can mend. One root; every message is one clear sentence.

A message says what is wrong, which file or value, and what to do next. The
command line prints it and ends with exit status 2; it never shows a traceback.
"""

from __future__ import annotations

import reprlib

_SHORT = reprlib.Repr()
_SHORT.maxstring = _SHORT.maxother = _SHORT.maxlong = 60
_SHORT.maxlevel, _SHORT.maxlist, _SHORT.maxdict = 3, 6, 4


def quoted(value: object) -> str:
    """A value as a message shows it: on one line, cut where it is long, whatever it holds."""
    return _SHORT.repr(value)


class CrackmapError(Exception):
    """Root of every error that crackmap raises on purpose."""


class LengthError(CrackmapError, ValueError):
    """A length that cannot be read, or lies outside its allowed range."""


class SettingsError(CrackmapError, ValueError):
    """A setting or shop-file entry that is unknown or has a wrong value."""


class PhotoError(CrackmapError, ValueError):
    """A file that cannot be read as a photograph."""


class ScaleError(CrackmapError, ValueError):
    """No marker or reference found, or those found contradict each other."""


class SurveyError(CrackmapError, ValueError):
    """No slab could be measured in the photograph."""


class KeyShapeError(CrackmapError, ValueError):
    """A key that cannot be cut or fitted as asked."""


class WoodError(CrackmapError, ValueError):
    """An unknown species, or moisture outside the range of the tables."""


class PlacementError(CrackmapError, ValueError):
    """Rules or edits that contradict each other."""


class ResinError(CrackmapError, ValueError):
    """A resin ratio, density or depth that cannot be right."""


class UndersideError(CrackmapError, ValueError):
    """A photo of the underside that does not go with the show face's."""


class SheetError(CrackmapError, ValueError):
    """A drawing that cannot be made as asked."""


class JobError(CrackmapError, ValueError):
    """A job folder or one of its files that is missing, wrong or not writable."""


class ReviewError(CrackmapError, ValueError):
    """A change asked for on the review page that is not possible; nothing was changed."""
