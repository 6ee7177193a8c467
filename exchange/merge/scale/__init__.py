"""The same merge for more sightings than one process should group at once: in cells, over Dask.

``merge_cells`` is the door. Its results equal those of ``exchange.merge.merge_detections`` to the last digit. It needs
the extra ``scale`` (``pip install hotspot-exchange[scale]``).
"""

from exchange.merge.scale.merge_cells import merge_cells

__all__ = ["merge_cells"]
