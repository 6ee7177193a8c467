"""Archives whose bytes are the same on every machine and day."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping

_WRITTEN = (2026, 8, 14, 0, 0, 0)


def pack(members: Mapping[str, bytes]) -> bytes:
    """Return a zip archive of the members, in their order.

    They are stored, not deflated, since the deflated bytes depend on the machine's zlib.
    """
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as archive:
        for name, content in members.items():
            member = zipfile.ZipInfo(name, _WRITTEN)
            member.create_system = 3
            member.external_attr = 0o644 << 16
            archive.writestr(member, content)
    return target.getvalue()
