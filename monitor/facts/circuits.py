"""The circuits of a layout as arrays: which district hangs on which output of which supply, and what it may draw."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Layout, Supply

# A district whose volts are below this share of the supply's highest volts is dead: no throttle holds a train moving there.
OFF_SHARE = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuits:
    """Districts are columns 0..d-1 in the order of the layout file, supplies rows 0..s-1.

    Attributes:
        districts: Their names.
        supplies: Their names.
        supply_of: Shape (d,): which supply.
        output_of: Shape (d,): which output, numbered through all supplies.
        off_volts: Shape (d,): below this a district is dead.
        max_volts: Shape (d,): the supply's highest volts.
        is_track: Shape (d,): trains run there.
        is_ac: Shape (d,): the supply gives alternating current.
        rated_amps: Shape (s,): what the supply's protection holds for ever, else what its plate allows.
        trip_points: Data-sheet points of each supply's protection, by multiple; empty where none are known.
        output_max_amps: Shape (d,): the output's own limit; inf where it has none.
    """

    districts: tuple[str, ...]
    supplies: tuple[str, ...]
    supply_of: NDArray[np.intp]
    output_of: NDArray[np.intp]
    off_volts: NDArray[np.float64]
    max_volts: NDArray[np.float64]
    is_track: NDArray[np.bool_]
    is_ac: NDArray[np.bool_]
    rated_amps: NDArray[np.float64]
    trip_points: tuple[tuple[tuple[float, float], ...], ...]
    output_max_amps: NDArray[np.float64]

    @classmethod
    def from_layout(cls, layout: Layout) -> "Circuits":
        """The circuits that a layout file describes."""
        supplies = [supply.name for supply in layout.supply]
        outputs = [(output.supply, output.name) for output in layout.output]
        feeds = [layout.supply_named(district.supply) for district in layout.district]
        limits = {(output.supply, output.name): output.max_amps or np.inf for output in layout.output}
        max_volts = np.array([supply.max_volts for supply in feeds], dtype=np.float64)
        return cls(
            districts=tuple(district.name for district in layout.district),
            supplies=tuple(supplies),
            supply_of=np.array([supplies.index(d.supply) for d in layout.district], dtype=np.intp),
            output_of=np.array([outputs.index((d.supply, d.output)) for d in layout.district], dtype=np.intp),
            off_volts=OFF_SHARE * max_volts,
            max_volts=max_volts,
            is_track=np.array([d.use == "track" for d in layout.district], dtype=np.bool_),
            is_ac=np.array([supply.current == "ac" for supply in feeds], dtype=np.bool_),
            rated_amps=np.array([_rated_amps(supply) for supply in layout.supply], dtype=np.float64),
            trip_points=tuple(tuple(sorted(s.protection.points)) if s.protection is not None else () for s in layout.supply),
            output_max_amps=np.array([limits[d.supply, d.output] for d in layout.district], dtype=np.float64),
        )

    def __len__(self) -> int:
        """How many districts."""
        return len(self.districts)

    def neighbours(self, district: int) -> NDArray[np.intp]:
        """Districts on the same supply, this one among them."""
        return np.flatnonzero(self.supply_of == self.supply_of[district])

    def strangers(self, district: int) -> NDArray[np.intp]:
        """Districts on other supplies."""
        return np.flatnonzero(self.supply_of != self.supply_of[district])


def _rated_amps(supply: Supply) -> float:
    """The winding's current: plate volt-amperes over the highest volts bound it at any throttle setting."""
    if supply.protection is not None and supply.protection.rated_amps is not None:
        return supply.protection.rated_amps
    return supply.plate_va / supply.max_volts
