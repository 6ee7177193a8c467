"""Files in and out: hooks, the plugin host, choosing a format, foreign columns and their units."""
