"""Which cells of the plane between the flown lines are fire: the reading that explains the tracks at least cost."""
