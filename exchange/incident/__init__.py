"""The acts that tie the jobs to an incident's ledger: add, merge, reconcile, hand out, withdraw, show, export.

Each act is one transaction: wholly done and logged, or not done at all. What a list or a status says is what was
seen and reported, no proof about the ground; the incident's command decides.
"""
