"""Foreign columns become the model's: the one door through which every format hands over a stranger's fields."""
