"""Reading XML that may be hostile, huge or merely untidy: the kernel shared by the formats that are XML."""
