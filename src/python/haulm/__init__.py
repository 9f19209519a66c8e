"""In-season nitrogen for every patch of a field.

A canopy index is compared cell by cell with an N-rich reference strip; out of the comparison come rates, zones and a prescription map. Rates are an aid for a
decision, not the decision: labels, local codes and licensed advisers come first.

    import haulm

    job = haulm.Job.open("demo/job.toml")
    prepared = job.prepare()                                          # everything is read here, once
    for maximum in (40, 60, 80):
        decision = prepared.decide(rate={"maximum": f"{maximum} kg N/ha"})
        print(maximum, decision.n_kg, decision.n_kg_range)            # kg N, kg N

Tables (``decision.zones``, ``cells``, ``strips``, ``field``) are handed over as Arrow: ``geopandas.GeoDataFrame.from_arrow(decision.zones)``. Rasters
(``decision.nitrogen``, ``prepared.index``) are NumPy arrays by ``numpy.asarray``. Neither library has to be there otherwise. What is refused raises
``haulm.Refused``.
"""

from haulm._engine import Decision, Farm, Finding, Job, Prepared, Raster, Table, __version__
from haulm._refused import Fault, Refused

__all__ = ["Decision", "Farm", "Fault", "Finding", "Job", "Prepared", "Raster", "Refused", "Table", "__version__"]
