"""What stands on the model bench: supplies, districts, trains, a board. Plain figures, drawn by the scenes or written by hand."""

from dataclasses import dataclass, field
from typing import Literal

WaveKind = Literal["sine", "phase-cut", "filtered", "rectified", "half-wave", "pulsed"]
BreakerKind = Literal["thermal", "electronic", "fuse", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakerSpec:
    """The protection of one supply: a first-order thermal replica (IEC 60255-149), a limiter with pick-up and delay, or a fuse.

    Attributes:
        hold_ratio: Times rated that it holds for ever (k of the replica).
        tau_s: Time constant that its data sheet implies.
        spread: True time constant over that of the data sheet: tolerance.
        cool_ratio: Cooling time constant while open over the heating one.
        reset_heat: Share of tripping heat at which it closes again.
        reset_after_s: Seconds until a person resets a manual one, or a limiter tries again.
        reset: How it comes back.
        instant_ratio: Times rated that opens it at once; None where heat alone does.
        delay_s: Delay of a limiter, or of the instant part.
        folds_to: Times rated that a limiter of the foldback kind gives into an overload, closed, until it goes; None: it opens.
        written: What the layout file says of it: "points", "rating", "unknown" or "nothing".
    """

    kind: BreakerKind
    rated_amps: float
    hold_ratio: float = 1.1
    tau_s: float = 40.0
    spread: float = 1.0
    cool_ratio: float = 1.0
    reset_heat: float = 0.5
    reset_after_s: float = 15.0
    reset: Literal["auto", "manual"] = "auto"
    instant_ratio: float | None = None
    delay_s: float = 0.02
    folds_to: float | None = None
    written: Literal["points", "rating", "unknown", "nothing"] = "points"


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplySpec:
    """One supply as a Thevenin source.

    Attributes:
        volts_open: Open-circuit volts at full throttle: RMS of the sine, or mean volts of a filtered output.
        source_ohms: What all its outputs share.
        max_volts: Nameplate highest volts.
        phase_rad: Angle of its secondary against the mains.
        harmonics: Shares of the third and fifth harmonic.
        ripple: Peak-to-mean ripple of a filtered output.
        pulses_per_cycle: Pulses of a pulse-width output for each cycle of the mains; no whole number.
        rating_is: What the plate rates.
    """

    name: str
    current: Literal["ac", "dc"]
    volts_open: float
    source_ohms: float
    rated_va: float
    max_volts: float
    breaker: BreakerSpec
    phase_rad: float = 0.0
    harmonics: tuple[float, float] = (0.0, 0.0)
    ripple: float = 0.0
    pulses_per_cycle: float = 3.7
    rating_is: Literal["output", "input"] = "output"

    @property
    def rated_amps(self) -> float:
        """Amps at which its volt-amperes are reached at its highest volts."""
        return self.rated_va / self.max_volts


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictSpec:
    """One district on its own output.

    Attributes:
        supply: Which supply, by position.
        wave: What the output makes of the secondary's volts.
        use: What hangs on it.
        level: Throttle at the start, share of the full open-circuit volts.
        own_ohms: Output resistance of its own.
        feeder_ohms: Loop resistance between the sensor and the loads.
        feeder_growth: Ohms a second by which a bad joint in that loop grows.
        feeder: AWG and metres one way for the layout file; None leaves it out.
        lamp_amps: Draw of fixed lamps at 14 V, hot.
        steady_amps: Draw of other constant loads at 14 V.
        has_far_volts: Whether a channel measures volts at the far end.
        max_amps: Limit of the output as marked.
    """

    name: str
    supply: int
    output: str
    wave: WaveKind = "sine"
    constant: bool = False
    use: Literal["track", "accessories"] = "track"
    level: float = 0.8
    own_ohms: float = 0.05
    feeder_ohms: float = 0.0
    feeder_growth: float = 0.0
    feeder: tuple[int, float] | None = None
    lamp_amps: float = 0.0
    steady_amps: float = 0.0
    has_far_volts: bool = False
    max_amps: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """A stretch of the lap with more (or less) load.

    Attributes:
        place: Middle, share of the lap.
        width: Length, share of the lap.
        load: Added load torque, share of the level running torque; negative downhill.
    """

    place: float
    width: float
    load: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelSpot:
    """A bad place on the track.

    Attributes:
        district: Where, by position.
        place: Where on the lap, 0-1.
        chance: Probability that it acts on a pass.
        seconds: Shortest and longest duration.
        joint_ohms: Series resistance of a weak joint, lowest and highest; None for a place where contact is lost.
    """

    district: int
    place: float
    chance: float
    seconds: tuple[float, float]
    joint_ohms: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainSpec:
    """One engine with its lit cars.

    Attributes:
        district: Where it starts, by position; -1: not on the layout yet.
        motor: "series" (universal, open frame) or "magnet" (can motor; behind a rectifier on AC).
        run_amps: Draw on the level at run_volts.
        start_ratio: Starting over running amps of a series motor.
        armature: Share of run_volts that a magnet motor's winding drops.
        inertia_s: Time constant of getting under way.
        lap_s: Lap time at run_volts on the level.
        place: Where on the lap it starts.
        grades: Load along the lap.
        drag: Share of the running torque that grows with speed.
        wobble: Relative slow noise of the load.
        hash_noise: Relative noise of the brushes, scan by scan.
        ripple: Relative waver of the current with each turn of the wheels.
        wheel_turns: Turns of the wheels in a lap.
        car_amps: Draw of the lit cars at 14 V, hot.
        car_tau_s: Thermal time constant of their lamps.
        dirt_rate: Very short losses of contact a second (2-14 ms): not faults, just dirt.
    """

    name: str
    district: int
    motor: Literal["series", "magnet"] = "series"
    run_amps: float = 1.8
    run_volts: float = 13.0
    start_ratio: float = 1.7
    armature: float = 0.3
    inertia_s: float = 0.8
    lap_s: float = 15.0
    place: float = 0.0
    grades: tuple[Grade, ...] = ()
    drag: float = 0.3
    wobble: float = 0.05
    hash_noise: float = 0.02
    ripple: float = 0.0
    wheel_turns: float = 90.0
    car_amps: float = 0.3
    car_tau_s: float = 0.06
    dirt_rate: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ConverterSpec:
    """The sensor board's converter.

    Attributes:
        scan_interval_s: Between two scans, as the board claims.
        clock_error: Relative error of its clock (ceramic resonators: up to 0.005).
        conversion_s: Between two channels of one scan.
        volts_span: Volts either side of zero at full scale.
        amps_span: Amps either side of zero at full scale.
        filter_s: Time constant of the low-pass before each channel: 5.64 kohm and 10 nF.
        edge_s: Time that a triac's edge takes from nothing to the sine.
        alignment_s: Conversions begin with the next tick of the prescaled clock.
        reference_drift: Amplitude of the slow swing of the converter's reference, as a share of it.
        zero_error_counts: Spread of each channel's true zero against the claimed one.
        gain_error: Spread of each channel's true gain against the claimed one.
        reversed_amps: Districts whose current sensor is the wrong way round.
        stuck_channel: A channel that hangs from stuck_from_s on; None: none does.
        stuck_from_s: When it begins to hang.
    """

    scan_interval_s: float = 832e-6
    clock_error: float = 0.0
    conversion_s: float = 104e-6
    bits: int = 10
    volts_span: float = 36.0
    amps_span: float = 25.0
    noise_counts: float = 0.5
    filter_s: float = 56.4e-6
    edge_s: float = 40e-6
    alignment_s: float = 12e-6
    reference_drift: float = 0.001
    zero_error_counts: float = 0.4
    gain_error: float = 0.004
    reversed_amps: tuple[int, ...] = ()
    stuck_channel: int | None = None
    stuck_from_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSpec:
    """Everything on the bench."""

    title: str
    supplies: tuple[SupplySpec, ...]
    districts: tuple[DistrictSpec, ...]
    trains: tuple[TrainSpec, ...] = ()
    spots: tuple[ModelSpot, ...] = ()
    converter: ConverterSpec = field(default_factory=ConverterSpec)
    mains_volts: float = 120.0
    mains_hertz: float = 60.0
    hertz_wander: float = 0.01
    board_name: str = "bench-1"
    board_number: int = 0
    lap_hints: bool = False

    @property
    def tracks(self) -> list[int]:
        """Positions of the track districts."""
        return [n for n, district in enumerate(self.districts) if district.use == "track"]

    def supply_of(self, district: int) -> SupplySpec:
        """What feeds a district."""
        return self.supplies[self.districts[district].supply]

    def inner_ohms(self, district: int) -> float:
        """What lies between a district's sensor and the supply's open volts."""
        return self.supply_of(district).source_ohms + self.districts[district].own_ohms

    def districts_of(self, supply: int) -> list[int]:
        """Positions of the districts on one supply."""
        return [n for n, district in enumerate(self.districts) if district.supply == supply]
