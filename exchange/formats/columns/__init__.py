"""What the columns of a stranger's table mean: plain words, units, a mapping file, suggestions."""
