"""An independent maker of flown logs whose truth is known: invented edges, flights along them, and what logs suffer.

Nothing of ``exchange.perimeter`` is used. All edges and flights are invented.
"""
