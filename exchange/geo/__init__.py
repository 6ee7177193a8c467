"""Units, geodesy, local metric frames, the 180th meridian, rings, and coordinates as text."""
