"""The incident's own file: everything that came in, the numbered list, and every act with its history.

One SQLite file that is also a valid GeoPackage (OGC 12-128), so that any GIS opens it. Nothing is ever overwritten:
rows are opened by one act and closed by a later one, and each act is sealed by a digest of what it wrote.
"""
