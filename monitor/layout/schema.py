"""The shape of the layout file. Every figure is in SI units; the key names are those of the file."""

from typing import Annotated, Literal

from msgspec import Meta, field

from monitor.layout.line_mapping import LineMapping, Table

Positive = Annotated[float, Meta(gt=0, le=1e6)]
NotNegative = Annotated[float, Meta(ge=0, le=1e6)]
Name = Annotated[str, Meta(min_length=1, max_length=80)]
ChannelNumber = Annotated[int, Meta(ge=0, le=127)]
IsoDate = Annotated[str, Meta(pattern=r"^\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$")]


class Mains(Table, frozen=True):
    """The local mains.

    Attributes:
        volts: Nominal volts.
        hertz: Nominal hertz.
    """

    volts: Positive
    hertz: Annotated[float, Meta(ge=15, le=65)]


class Board(Table, frozen=True):
    """A sensor board.

    Attributes:
        name: As the board names itself, or the layout's own name for it.
        number: Board number on the wire (packed form).
        port: Its serial device, or a URL such as socket://HOST:PORT; absent for an offline capture.
        baud: Bits per second.
        lines: What its lines mean, where it prints lines of its own.
        isolated_inputs: Every volts input is isolated from the others, so that one board may measure two supplies.
        current_sensors: Whether the scale of its current sensors is fixed or follows the board's own supply; absent where that is not known.
        filter_us: Time constant of the low-pass before each input: 5.64 kohm and 10 nF, as the wiring notes have it, where the file does not
            say; 0 for none.
    """

    name: Name
    number: Annotated[int, Meta(ge=0, le=255)] = 0
    port: Annotated[str, Meta(min_length=1, max_length=400)] | None = None
    baud: Annotated[int, Meta(ge=300, le=4_000_000)] = 500_000
    lines: LineMapping | None = None
    isolated_inputs: bool = False
    current_sensors: Literal["fixed", "ratiometric"] | None = None
    filter_us: Annotated[float, Meta(ge=0, le=1000)] = 56.4


class Protection(Table, frozen=True):
    """What opens when too much is drawn.

    Attributes:
        kind: "thermal", "electronic", "fuse", "none" or "unknown".
        rated_amps: Holds for ever at this current.
        points: Pairs of (multiple of rated_amps, typical seconds to open).
        reset: How it comes back.
    """

    kind: Literal["thermal", "electronic", "fuse", "none", "unknown"]
    rated_amps: Positive | None = None
    points: tuple[tuple[Annotated[float, Meta(gt=1, le=100)], Annotated[float, Meta(gt=0, le=1e5)]], ...] = ()
    reset: Literal["auto", "manual"] | None = None


class BenchRecord(Table, frozen=True):
    """A test, an examination or a repair of a supply, by somebody competent.

    Attributes:
        what: Its kind.
        on: When, ISO 8601.
        by: Who.
        megohms: Insulation resistance found between the mains side and everything else.
        test_volts: DC volts of the instrument meanwhile.
        earth_ohms: From the earth pin to the case.
        good_until: Until when it counts, ISO 8601; a year where absent.
        note: What was done or seen.
    """

    what: Literal["insulation-test", "earth-test", "examination", "repair"]
    on: IsoDate
    by: Name
    megohms: NotNegative | None = None
    test_volts: Positive | None = None
    earth_ohms: NotNegative | None = None
    good_until: IsoDate | None = None
    note: Annotated[str, Meta(max_length=400)] | None = None


class Condition(Table, frozen=True):
    """What the bench check found; None for what was not looked at.

    Attributes:
        cord: State of the mains cord's insulation.
        breaker_present: A breaker or another overcurrent protection is in the supply.
        breaker_reset: How it comes back: by itself, or by hand.
        safety_listed: It carries the mark of a safety laboratory.
        earthed: Its metal parts are earthed through the plug.
        made_year: When it was made.
        enclosed: No live part is within reach.
        plug: State of the plug.
        strain_relief: The cord is held where it enters the case.
        polarised_plug: The plug goes in one way only (or the supply is double insulated and does not need it).
        selector_volts: Mains volts to which its selector or link is set; 0 where a wide-range supply needs none.
        serial: Serial number or the club's own mark.
        checked_on: Date of the check, ISO 8601.
        note: What else was seen.
        record: Tests, examinations and repairs.
    """

    cord: Literal["sound", "stiff", "cracked", "cloth"] | None = None
    breaker_present: bool | None = None
    breaker_reset: Literal["auto", "manual"] | None = None
    safety_listed: bool | None = None
    earthed: bool | None = None
    made_year: Annotated[int, Meta(ge=1880, le=2200)] | None = None
    enclosed: bool | None = None
    plug: Literal["sound", "damaged"] | None = None
    strain_relief: bool | None = None
    polarised_plug: bool | None = None
    selector_volts: NotNegative | None = None
    serial: Annotated[str, Meta(max_length=80)] | None = None
    checked_on: IsoDate | None = None
    note: Annotated[str, Meta(max_length=400)] | None = None
    record: tuple[BenchRecord, ...] = ()


class Supply(Table, frozen=True):
    """A supply as its nameplate reads.

    Attributes:
        name: Its name on this layout.
        current: What comes out.
        rated_va: Nameplate total over ALL outputs together, volt-amperes; one of this and rated_watts is given.
        rated_watts: The same from a plate in watts.
        rating_is: Whether the plate rates the output or, as some old ones do, the primary side.
        max_volts: Highest output volts; the rating divided by it bounds the winding current at any throttle.
        input_volts: Range on the plate.
        input_hertz: Hertz on the plate.
        protection: What opens when too much is drawn.
        condition: What the bench check found.
    """

    name: Name
    current: Literal["ac", "dc"]
    max_volts: Annotated[float, Meta(gt=0, le=1000)]
    rated_va: Positive | None = None
    rated_watts: Positive | None = None
    rating_is: Literal["output", "input"] = "output"
    input_volts: tuple[Positive, ...] | None = None
    input_hertz: tuple[Positive, ...] | None = None
    protection: Protection | None = None
    condition: Condition | None = None

    @property
    def plate_va(self) -> float:
        """The plate's figure, VA or watts, before any derating."""
        plate = self.rated_va if self.rated_va is not None else self.rated_watts
        return plate if plate is not None else 0.0


class Output(Table, frozen=True):
    """One output of a supply.

    Attributes:
        supply: Its supply.
        name: Its name on that supply.
        control: Whether a throttle moves it.
        max_amps: This output's own limit.
        current: Where it differs from the supply's (a DC pack with an AC pair for accessories).
        volts: What a constant output gives.
    """

    supply: Name
    name: Name
    control: Literal["variable", "constant"]
    max_amps: Positive | None = None
    current: Literal["ac", "dc"] | None = None
    volts: Annotated[float, Meta(gt=0, le=1000)] | None = None


class Feeder(Table, frozen=True):
    """The wire from an output to its district; one of awg and mm2 is given.

    Attributes:
        awg: American wire gauge.
        mm2: Cross-section in square millimetres.
        one_way_m: Length one way, metres.
    """

    one_way_m: Annotated[float, Meta(gt=0, le=1000)]
    awg: Annotated[int, Meta(ge=0, le=40)] | None = None
    mm2: Annotated[float, Meta(gt=0, le=100)] | None = None


class District(Table, frozen=True):
    """A district: what one pair of sensor channels sees.

    Attributes:
        name: Its name.
        supply: Its supply.
        output: Its output on that supply.
        board: The board that measures it.
        volts_channel: Channel for volts.
        amps_channel: Channel for amps.
        far_volts_channel: Channel for volts at the far end, if measured.
        use: What hangs on it.
        lap_s: Usual time for one lap; found from the data where absent.
        feeder: The wire to it.
    """

    name: Name
    supply: Name
    output: Name
    board: Name
    volts_channel: ChannelNumber
    amps_channel: ChannelNumber
    use: Literal["track", "accessories"]
    far_volts_channel: ChannelNumber | None = None
    lap_s: Annotated[float, Meta(gt=0.5, le=3600)] | None = None
    feeder: Feeder | None = None

    @property
    def output_name(self) -> str:
        """The output written SUPPLY/OUTPUT."""
        return f"{self.supply}/{self.output}"


class Load(Table, frozen=True):
    """Something that draws, for the budget.

    Attributes:
        name: Its name.
        district: Where it runs.
        kind: What it is.
        running_amps: Draw when running.
        starting_amps: Draw for a moment when it starts.
        volts: What it is made for, where that is known (lamps).
        measured_on: Date on which the draw was measured, ISO 8601; None for a guess or a figure from elsewhere.
        measured_spread_amps: Lowest and highest of what it drew while it was measured (5 and 95 % of the seconds).
    """

    name: Name
    district: Name
    kind: Literal["locomotive", "lighting", "accessory"]
    running_amps: NotNegative
    starting_amps: NotNegative | None = None
    volts: Annotated[float, Meta(gt=0, le=1000)] | None = None
    measured_on: IsoDate | None = None
    measured_spread_amps: tuple[NotNegative, NotNegative] | None = None


class ChannelCalibration(Table, frozen=True):
    """Correction of one channel.

    Attributes:
        gain: Factor on the board's own scale.
        zero: Counts added to the board's own zero; of a line board, volts or amps taken off before the gain multiplies.
        gain_uncertainty: Standard uncertainty of the gain as a share of it; absent where it was not kept.
        supply_volts: The board's own supply when the gain was taken; absent where it was not measured.
    """

    gain: Annotated[float, Meta(gt=0, le=100)] = 1.0
    zero: Annotated[float, Meta(ge=-40000, le=40000)] = 0.0
    gain_uncertainty: Annotated[float, Meta(gt=0, le=1)] | None = None
    supply_volts: Annotated[float, Meta(ge=1, le=10)] | None = None


class Layout(Table, frozen=True):
    """The whole file.

    Attributes:
        title: What the layout is called.
        mains: The local mains.
        board: The sensor boards, in any order, like the tables below.
        supply: The supplies, as their nameplates read.
        output: The outputs of the supplies.
        district: What each pair of sensor channels sees.
        load: What draws, for the budget.
        calibration: By board name and channel number (as text, as TOML keys are).
    """

    title: Name
    mains: Mains
    board: tuple[Board, ...] = ()
    supply: tuple[Supply, ...] = ()
    output: tuple[Output, ...] = ()
    district: tuple[District, ...] = ()
    load: tuple[Load, ...] = ()
    calibration: dict[str, dict[str, ChannelCalibration]] = field(default_factory=dict)

    def districts_of_board(self, board: str) -> tuple[District, ...]:
        """Districts measured by one board, in file order."""
        return tuple(district for district in self.district if district.board == board)

    def districts_of_supply(self, supply: str) -> tuple[District, ...]:
        """Districts fed by one supply, in file order."""
        return tuple(district for district in self.district if district.supply == supply)

    def line_board(self, port: str) -> Board | None:
        """The board on a port that prints lines of its own; for the name of a capture, which is no port, the first such board."""
        here = [board for board in self.board if board.port == port]
        return next((board for board in here or self.board if board.lines is not None), None)

    def supply_named(self, name: str) -> Supply:
        """The supply of that name.

        Raises:
            KeyError: No supply has that name.
        """
        return next(iter(supply for supply in self.supply if supply.name == name))

    def output_named(self, supply: str, name: str) -> Output:
        """The output of that name on that supply.

        Raises:
            KeyError: No output has that name.
        """
        return next(iter(output for output in self.output if (output.supply, output.name) == (supply, name)))

    def channel_calibration(self, board: str, channel: int) -> ChannelCalibration:
        """The correction of one channel; the neutral one where none is written."""
        return self.calibration.get(board, {}).get(str(channel), ChannelCalibration())
