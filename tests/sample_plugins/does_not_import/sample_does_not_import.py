"""A plugin whose import fails."""

import a_library_that_nobody_has  # noqa: F401
