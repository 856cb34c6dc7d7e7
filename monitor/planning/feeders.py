"""Volts that are lost on the way to a district: in its own wires and rails, and in a return that several supplies share, node by node.

Kirchhoff's current law at every tap of a shared return gives one linear system (nodal analysis, textbook): conductances between
neighbouring taps, the returning amps put in where a district joins, taken out where its supply's common joins. Loads are taken as
constant current; AC supplies as in phase, or in anti-phase where the plan file says so: there returning currents cancel.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.layout import Feeder, Layout
from monitor.layout.ratings import ampacity_amps, area_mm2, awg_area_mm2, loop_ohms, ohms_per_m, wire_ohms_per_m
from monitor.planning.plan_file import CommonReturn, TrackLoss
from monitor.values.arrays import Floats
from monitor.words.figures import percent

GAUGES_TO_BUY = tuple(range(24, 8, -2))


@dataclass(frozen=True, slots=True, kw_only=True)
class ConductorRun:
    """What is known of the way from an output to the far end of a district and back.

    Attributes:
        feeder: The wire; None where it is not known.
        track: What rails and joints add, or the whole loop as measured; None where it was not given.
        return_volts: Lost in a return shared with others, of a measured loop what the others' current makes in it; None where the
            feeder has its own way back.
    """

    feeder: Feeder | None = None
    track: TrackLoss | None = None
    return_volts: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FeederVolts:
    """What is lost on the way to a district at worst.

    Attributes:
        lost_volts: At worst-case amps, out and back.
        return_volts: The part of it lost in a return shared with others; 0 where the return is the feeder's own.
        arriving_volts: Of the output's highest volts.
        lost_share: Share of the highest volts.
        has_track: Rails and joints are counted.
        better_awg: Thinnest listed gauge of the feeder that keeps the loss under the chosen limit; None where the present wire does
            or none would.
    """

    lost_volts: float
    return_volts: float
    arriving_volts: float
    lost_share: float
    has_track: bool
    better_awg: int | None

    @property
    def words(self) -> str:
        """The loss in words."""
        shared = f", {self.return_volts:.1f} V of it in the shared return" if abs(self.return_volts) >= 0.05 else ""
        words = f"loses {self.lost_volts:.1f} V ({percent(self.lost_share)}) on the way at worst{shared}; {self.arriving_volts:.1f} V arrive"
        if not self.has_track:
            words += " where the wires end: rails and joints are not known and not counted, and often lose more"
        return words if self.better_awg is None else f"{words}; {self.better_awg} AWG would bring that under the chosen loss"


def feeder_volts(way: ConductorRun, supply_volts: float, amps: float, *, drop_share: float, celsius: float) -> FeederVolts:
    """Volts lost and arriving at the far end (Ohm's law; the load taken as constant current).

    Args:
        way: What is known of the way.
        supply_volts: Highest volts of the output.
        amps: Worst case.
        drop_share: Chosen limit of the loss, share of the highest volts.
        celsius: Temperature of the copper.
    """
    ways = 2 if way.return_volts is None else 1
    wire_ohms = 0.0 if way.feeder is None else loop_ohms(way.feeder, celsius) * ways / 2
    measured = way.track.loop_ohms if way.track is not None else None
    ohms = measured if measured is not None else wire_ohms + (way.track.ohms if way.track is not None else 0.0)
    back = way.return_volts or 0.0
    lost, better = amps * ohms + back, None
    if way.feeder is not None and amps > 0 and lost > drop_share * supply_volts:
        most_ohms = (drop_share * supply_volts - back) / amps - max(0.0, ohms - wire_ohms)
        better = _better_awg(way.feeder, most_ohms / (ways * way.feeder.one_way_m), celsius)
    return FeederVolts(
        lost_volts=lost,
        return_volts=back,
        arriving_volts=supply_volts - lost,
        lost_share=lost / supply_volts,
        has_track=way.track is not None,
        better_awg=better,
    )


def _better_awg(feeder: Feeder, most_ohms_per_m: float, celsius: float) -> int | None:
    thicker = (awg for awg in GAUGES_TO_BUY if awg_area_mm2(awg) > area_mm2(feeder))
    return next((awg for awg in thicker if ohms_per_m(awg_area_mm2(awg), celsius) <= most_ohms_per_m), None)


Places = NDArray[np.intp]
TINY_OHMS = 1e-6
"""Between two taps at one place: a joint, not nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnDrops:
    """What a shared return does at worst.

    Attributes:
        lost_volts: By district, with everything running and the heaviest start of that district on top; negative where the
            neighbours' returning current lifts it.
        neighbours_volts: By district: the part of it that the others' current makes.
        most_amps: In the most heavily loaded stretch between two taps.
        ampacity_amps: What the wire may carry for long.
        across_gaps_volts: The most that can stand between the hot posts of two of its supplies; 0 where all are in phase.
        better_awg: Thinnest listed gauge that keeps every district's loss in it under the chosen limit and carries the amps; None
            where the present wire does or none would.
    """

    name: str
    lost_volts: Mapping[str, float]
    neighbours_volts: Mapping[str, float]
    most_amps: float
    ampacity_amps: float
    across_gaps_volts: float
    better_awg: int | None


def return_drops(
    layout: Layout,
    common: CommonReturn,
    amps: Mapping[str, tuple[float, float]],
    *,
    drop_share: float,
    celsius: float,
) -> ReturnDrops:
    """Solve one shared return.

    Args:
        layout: The layout.
        common: The wire and its taps.
        amps: By district: running, and at worst.
        drop_share: Chosen limit of the loss, share of the supply's highest volts.
        celsius: Temperature of the copper.
    """
    districts = [tap.district for tap in common.tap if tap.district is not None]
    fed_by = {district.name: district.supply for district in layout.district}
    at_m = {tap.supply or tap.district or "": tap.at_m for tap in common.tap}
    places = sorted({tap.at_m for tap in common.tap})
    metre_ohms = wire_ohms_per_m(common.wire, celsius)
    edges = [(a, b, max(TINY_OHMS, length * metre_ohms)) for a, b, length in _edges(places, common.ring_m)]
    ends = _ends(places, at_m, districts, fed_by)
    volts = node_volts(len(places), edges, _unit_injections(len(places), ends))
    signs = np.array([-1.0 if fed_by[name] in common.opposed else 1.0 for name in districts])
    at_nodes = volts @ _cases(np.array([amps[name] for name in districts]).reshape(-1, 2) * signs[:, None])
    lost = _between(at_nodes, ends) * signs
    own = _between(volts, ends) * np.array([amps[name][1] for name in districts])
    most_amps = max((float(np.abs(at_nodes[a] - at_nodes[b]).max(initial=0.0) / ohms) for a, b, ohms in edges), default=0.0)
    shares = [v / layout.supply_named(fed_by[name]).max_volts for name, v in zip(districts, lost.tolist(), strict=True)]
    return ReturnDrops(
        name=common.name,
        lost_volts=dict(zip(districts, lost.tolist(), strict=True)),
        neighbours_volts=dict(zip(districts, (lost - own).tolist(), strict=True)),
        most_amps=most_amps,
        ampacity_amps=ampacity_amps(common.wire),
        across_gaps_volts=_across_gaps(layout, common),
        better_awg=_better(common, max(shares, default=0.0) / drop_share, most_amps),
    )


def _across_gaps(layout: Layout, common: CommonReturn) -> float:
    """Two supplies in anti-phase add up across a gap between their districts (textbook phasors)."""
    highest = {tap.supply: layout.supply_named(tap.supply).max_volts for tap in common.tap if tap.supply is not None}
    opposed = [volts for name, volts in highest.items() if name in common.opposed]
    others = [volts for name, volts in highest.items() if name not in common.opposed]
    return max(opposed) + max(others) if opposed and others else 0.0


def node_volts(nodes: int, resistors: list[tuple[int, int, float]], injected_amps: Floats) -> Floats:
    """Volts of every node of a resistor network against node 0.

    Args:
        nodes: How many.
        resistors: (node, node, ohms) each; the network hangs together.
        injected_amps: Shape (nodes, k): amps put into each node, k cases; each column sums to 0.

    Returns:
        Shape (nodes, k).
    """
    conductance = np.zeros((nodes, nodes))
    for a, b, ohms in resistors:
        siemens = 1.0 / ohms
        conductance[[a, b], [a, b]] += siemens
        conductance[a, b] -= siemens
        conductance[b, a] -= siemens
    volts = np.zeros(injected_amps.shape)
    if nodes > 1:
        volts[1:] = np.linalg.solve(conductance[1:, 1:], injected_amps[1:])
    return volts


def _edges(places: list[float], ring_m: float | None) -> list[tuple[int, int, float]]:
    """Neighbouring taps and the metres between them."""
    edges = [(k, k + 1, places[k + 1] - places[k]) for k in range(len(places) - 1)]
    if ring_m is not None and len(places) > 1:
        edges.append((len(places) - 1, 0, ring_m - places[-1] + places[0]))
    return edges


def _ends(places: list[float], at_m: Mapping[str, float], districts: list[str], fed_by: Mapping[str, str]) -> Places:
    """Nodes of each district and of its supply, shape (districts, 2)."""
    found = [(places.index(at_m[name]), places.index(at_m[fed_by[name]])) for name in districts]
    return np.array(found, dtype=np.intp).reshape(-1, 2)


def _unit_injections(nodes: int, ends: Places) -> Floats:
    """One ampere in at each district's node, out at its supply's; shape (nodes, districts)."""
    injected = np.zeros((nodes, len(ends)))
    np.add.at(injected, (ends[:, 0], np.arange(len(ends))), 1.0)
    np.add.at(injected, (ends[:, 1], np.arange(len(ends))), -1.0)
    return injected


def _cases(amps: Floats) -> Floats:
    """Column j: everything runs, and district j is at its worst; of shape (districts, 2) running and worst amps."""
    cases = np.tile(amps[:, :1], (1, len(amps)))
    np.fill_diagonal(cases, amps[:, 1])
    return cases


def _between(volts: Floats, ends: Places) -> Floats:
    """Of column j the volts from district j's node to its supply's."""
    columns = np.arange(len(ends))
    return np.asarray(volts[ends[:, 0], columns] - volts[ends[:, 1], columns], dtype=np.float64)


def _better(common: CommonReturn, factor: float, most_amps: float) -> int | None:
    """Thinnest listed gauge whose loss is so many times smaller and that carries the amps; None where the present wire does or none would."""
    present = area_mm2(common.wire)
    if factor <= 1 and most_amps <= ampacity_amps(common.wire):
        return None
    for awg in GAUGES_TO_BUY:
        wire = Feeder(awg=awg, one_way_m=1.0)
        if awg_area_mm2(awg) >= present * max(factor, 1.0) and ampacity_amps(wire) >= most_amps:
            return awg
    return None
