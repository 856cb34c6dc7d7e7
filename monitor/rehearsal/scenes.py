"""All kinds of scenes by name; each draws its layout, loads and moments from a seed."""

import zlib
from collections.abc import Callable

import numpy as np

from monitor.rehearsal import scenes_clean, scenes_faults, scenes_lively, scenes_lookalikes, scenes_overload, scenes_patterns
from monitor.rehearsal.scene import Scene

KINDS: dict[str, Callable[[np.random.Generator, int], Scene]] = {
    "clean": scenes_clean.clean,
    "clean-phase-cut": scenes_clean.clean_phase_cut,
    "clean-dc": scenes_clean.clean_dc,
    "wide-clean": scenes_clean.wide_clean,
    "wide-mixed": scenes_faults.wide_mixed,
    "wide-confusable": scenes_faults.wide_confusable,
    "wide-spot": scenes_patterns.wide_spot,
    "busy": scenes_clean.busy,
    "arrivals": scenes_clean.arrivals,
    "grade-trap": scenes_clean.grade_trap,
    "near-limit": scenes_overload.near_limit,
    "damaged-clean": scenes_clean.damaged_clean,
    "bad-channels": scenes_clean.bad_channels,
    "lines-clean": scenes_clean.lines_clean,
    "long-feeder": scenes_clean.long_feeder,
    "overload": scenes_overload.overload,
    "overload-train": scenes_overload.overload_train,
    "overload-creep": scenes_overload.overload_creep,
    "over-nameplate": scenes_overload.over_nameplate,
    "lines-overload": scenes_overload.lines_overload,
    "short": scenes_faults.short,
    "feed-lost": scenes_faults.feed_lost,
    "mains-dip": scenes_faults.mains_dip,
    "supply-sag": scenes_faults.supply_sag,
    "binding": scenes_faults.binding,
    "direct-current": scenes_faults.direct_current,
    "mixed": scenes_faults.mixed,
    "confusable": scenes_faults.confusable,
    "fixed-spot": scenes_patterns.fixed_spot,
    "changing-speed": scenes_patterns.changing_speed,
    "two-trains": scenes_patterns.two_trains,
    "weak-joint": scenes_patterns.weak_joint,
    "follows-train": scenes_patterns.follows_train,
    "scattered": scenes_patterns.scattered,
    "drop-outs": scenes_lively.drop_outs,
    "sudden-stalls": scenes_lively.sudden_stalls,
    "bridged-turnouts": scenes_lively.bridged_turnouts,
    "hands-everywhere": scenes_lively.hands_everywhere,
    "flickers": scenes_lively.flickers,
    "slammed": scenes_lively.slammed,
    "weak-sections": scenes_lively.weak_sections,
    "crossings": scenes_lively.crossings,
    "chattering": scenes_lively.chattering,
    "hills": scenes_lookalikes.hills,
    "rough-running": scenes_lookalikes.rough_running,
    "solenoid-pulses": scenes_lookalikes.solenoid_pulses,
    "gap-crossings": scenes_lookalikes.gap_crossings,
    "house-mains": scenes_lookalikes.house_mains,
    "foldbacks": scenes_lookalikes.foldbacks,
    "scraping-shorts": scenes_lookalikes.scraping_shorts,
    "ageing-breakers": scenes_lookalikes.ageing_breakers,
    "loose-plugs": scenes_lookalikes.loose_plugs,
    "spot-of-two": scenes_lookalikes.spot_of_two,
    "everything": scenes_lookalikes.everything,
}


def random_scene(kind: str, seed: int) -> Scene:
    """A scene of one kind, drawn from a seed: the same seed gives the same scene, another seed another layout.

    Raises:
        KeyError: No scene has that name; KINDS lists them.
    """
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    return KINDS[kind](rng, seed)
