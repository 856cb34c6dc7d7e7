"""The rehearsal: an own physical model of a layout, with truth known to the scan, as captures or as a board on a pty."""

from monitor.rehearsal.board import RehearsalBoard
from monitor.rehearsal.fernhollow import demo_layout_text, fernhollow_show
from monitor.rehearsal.scene import Capture, Scene, capture, write_capture
from monitor.rehearsal.scenes import KINDS, random_scene

__all__ = [
    "KINDS",
    "Capture",
    "RehearsalBoard",
    "Scene",
    "capture",
    "demo_layout_text",
    "fernhollow_show",
    "random_scene",
    "write_capture",
]
