"""The same merge for more sightings than one process should work on at once: in cells, over Dask.

``merge_cells`` is the door, ``reach_cluster`` gives it a cluster to work on. Its results equal those of
``exchange.merge.merge_detections`` to the last digit. It needs the extra ``scale``
(``pip install hotspot-exchange[scale]``).
"""

from exchange.merge.scale.cluster import reach_cluster
from exchange.merge.scale.merge_cells import merge_cells

__all__ = ["merge_cells", "reach_cluster"]
