"""What pytest must not import: the broken sample plugins, and the benchmarks, which are programs."""

from hypothesis import settings

collect_ignore = ["sample_plugins", "benchmarks"]

# A deadline would be a timed assertion, which a loaded machine fails.
settings.register_profile("house", deadline=None)
settings.load_profile("house")
