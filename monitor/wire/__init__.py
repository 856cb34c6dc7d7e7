"""The two wire forms, in and out, with no I/O: feed bytes cut anywhere, get the same items.

Damage never raises: it comes back as a :class:`Fault`.
"""

from monitor.wire.detect import WireDecoder
from monitor.wire.items import Fault, FaultKind, Item, SampleRun
from monitor.wire.lines import LineDecoder
from monitor.wire.packed import PackedDecoder

__all__ = ["Fault", "FaultKind", "Item", "LineDecoder", "PackedDecoder", "SampleRun", "WireDecoder"]
