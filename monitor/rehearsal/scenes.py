"""All kinds of scenes by name; each draws its layout, loads and moments from a seed."""

import zlib
from collections.abc import Callable
from dataclasses import replace
from types import FunctionType

import numpy as np

from monitor.rehearsal import scenes_clean, scenes_faults, scenes_lively, scenes_lookalikes, scenes_overload, scenes_patterns
from monitor.rehearsal.scene import Scene

KINDS: dict[str, Callable[[np.random.Generator], Scene]] = {
    name.replace("_", "-"): draw
    for module in (scenes_clean, scenes_overload, scenes_faults, scenes_patterns, scenes_lively, scenes_lookalikes)
    for name, draw in vars(module).items()
    if isinstance(draw, FunctionType) and draw.__module__ == module.__name__ and not name.startswith("_")
}
"""Every public function of these modules draws a kind of scene."""


def random_scene(kind: str, seed: int) -> Scene:
    """A scene of one kind, drawn from a seed: the same seed gives the same scene, another seed another layout.

    Raises:
        KeyError: No scene has that name; KINDS lists them.
    """
    return replace(KINDS[kind](np.random.default_rng([seed, zlib.crc32(kind.encode())])), name=kind, seed=seed)
