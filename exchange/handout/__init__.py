"""The list as one kind of device can hold it: which points, in what order, under what names, in which files."""
