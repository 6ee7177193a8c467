"""The list as one kind of device can hold it: which points, in what order, under what names, in which files.

``profile`` says what limits a device has and ``profile_library`` finds profiles; ``selection`` and ``divisions``
choose spots, ``order`` orders them, ``short_names`` names them, ``pieces``, ``comments`` and ``limiting`` trim what
travels, ``splitting`` and ``file_names`` make files of it; ``hand_out`` puts all that together, ``writing`` writes it.
"""

from exchange.handout.hand_out import Handout, HandoutFile, HandoutOptions, hand_out
from exchange.handout.profile import Profile
from exchange.handout.profile_library import ProfileLibrary, load_profiles
from exchange.handout.selection import Selection
from exchange.handout.writing import find_formats, write_handout

__all__ = [
    "Handout",
    "HandoutFile",
    "HandoutOptions",
    "Profile",
    "ProfileLibrary",
    "Selection",
    "find_formats",
    "hand_out",
    "load_profiles",
    "write_handout",
]
