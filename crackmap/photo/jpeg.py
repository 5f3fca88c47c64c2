"""Is a JPEG whole? Fast decoders fill what is missing with grey and say nothing.

The walk follows ITU-T T.81 Annex B: segments with a length until a scan, then
coded picture bytes up to the next marker, until the end-of-image marker. It is
not enough to look for that marker anywhere in the file: an embedded thumbnail
holds one too, and cameras append other things after the picture.
"""

from __future__ import annotations

import re

_END_OF_IMAGE = 0xD9
_START_OF_SCAN = 0xDA
# In coded picture bytes FF 00 is a stuffed byte, FF D0 to FF D7 are restarts
# and FF FF is filling; any other FF xx is a marker (T.81, B.1.1.2 and B.2.1).
_MARKER_AFTER_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


def is_whole_jpeg(content: bytes) -> bool:
    """True if the picture in `content` ends with its own end-of-image marker.

    False means cut short, or laid out in a way that this walk does not follow
    (stray bytes between segments): ask a strict decoder before refusing it.
    """
    at = 2  # behind the start-of-image marker
    while at + 4 <= len(content):
        if content[at] != 0xFF:
            return False
        marker = content[at + 1]
        if marker == _END_OF_IMAGE:
            return True
        if marker == 0xFF:  # filling before a marker
            at += 1
            continue
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
        if marker == _START_OF_SCAN:
            found = _MARKER_AFTER_SCAN.search(content, at)
            if found is None:
                return False
            at = found.start()
    return content[at : at + 2] == bytes((0xFF, _END_OF_IMAGE))
