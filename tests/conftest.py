"""What pytest must not import: the broken sample plugins, and the benchmarks, which are programs."""

collect_ignore = ["sample_plugins", "benchmarks"]
