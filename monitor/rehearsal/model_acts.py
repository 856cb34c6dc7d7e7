"""What happens on the bench and when: each act is a plain value; times are seconds of the board's clock from its first scan."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Something that happens.

    Attributes:
        seconds: How long it lasts; ignored where it makes no sense.
    """

    at_s: float
    seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Throttle(Act):
    """A hand moves the throttle to another level (share of the full open-circuit volts)."""

    district: int
    level: float
    labelled: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class DirectionBreak(Act):
    """Volts broken by hand.

    Attributes:
        district: Where.
        edge_s: How long the lever takes to go down and to come back (0: a switch).
        neutral_s: How long engines then stand in neutral, lamps lit (until the next break, as a sequence reverser does).
    """

    district: int
    edge_s: float = 0.0
    neutral_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DcSignal(Act):
    """A DC offset on AC volts; boost is the relative rise of the AC level meanwhile."""

    district: int
    volts: float
    boost: float = 0.0
    edge_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedLost(Act):
    """A connector lets go; ragged_s is how long it chatters at either end."""

    district: int
    ragged_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MainsDip(Act):
    """The mains fall to a level for a while; recover_s is how slowly they come back, jump_rad the step of their angle."""

    level: float
    recover_s: float = 0.0
    jump_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MainsWander(Act):
    """The house's own loads: the mains waver slowly by a share (RMS), and step when something big comes on; no fault."""

    share: float
    steps_a_minute: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Short(Act):
    """A derailment across the rails, cleared by hand at the end unless the protection opens first (then while it is open)."""

    district: int
    ohms: float
    chatter: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLoad(Act):
    """A load is switched on: amps at 14 V, surge times that for surge_s at first.

    Attributes:
        district: Where.
        amps: Steady draw at 14 V.
        surge: Draw in the first moment over the steady one.
        surge_s: How long that lasts.
        sag: "expected": the sag it makes is a fault to be found; "optional": may be called one.
        overload: This is the step that overloads the supply: the onset of a trip.
    """

    district: int
    amps: float
    surge: float = 1.0
    surge_s: float = 0.3
    sag: Literal["expected", "optional"] = "optional"
    overload: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding(Act):
    """A train's running gear binds: its load torque rises to factor times the usual within rise_s and stays."""

    train: int
    factor: float
    rise_s: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactLoss(Act):
    """A train loses contact; its cars keep theirs unless cars_too."""

    train: int
    cars_too: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer(Act):
    """A train is driven to another district (-1: off the layout); seconds is how long the whole train takes over the gap."""

    train: int
    district: int
    overload: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DropOut(Act):
    """A train loses contact for so long that its reversing unit falls: it stands in neutral until a hand's break, which ends this."""

    train: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Flicker(Act):
    """The lit cars of a train lose contact: lights flicker, and nothing is wrong."""

    train: int
