"""What tables of the layout file have in common, and what a line of a sketch's own means."""

from typing import Annotated, Literal

from msgspec import Meta, Struct


class Table(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """A table of the file: unknown keys are errors."""


Place = Annotated[int, Meta(ge=1, le=200)] | Annotated[str, Meta(min_length=1, max_length=40)]
Scale = Annotated[float, Meta(ge=-1e6, le=1e6)]


class LineOutput(Table, frozen=True):
    """Where a line says the figures of one output: output n is channels 2n (volts) and 2n+1 (amps).

    Attributes:
        volts: Its volts: place in the line, from 1, or name.
        amps: Its amps: place in the line, from 1, or name.
        volts_scale: Volts for each unit printed: 0.001 where the board prints millivolts.
        amps_scale: Amps for each unit printed.
        volts_zero: What it prints for volts where there are none, in its own units.
        amps_zero: What it prints for amps where none flow, in its own units.
    """

    volts: Place
    amps: Place
    volts_scale: Scale = 1.0
    amps_scale: Scale = 1.0
    volts_zero: Scale = 0.0
    amps_zero: Scale = 0.0


class LineMapping(Table, frozen=True):
    """What the lines of a board mean that prints lines of its own.

    Attributes:
        form: "values" for figures by place, "pairs" for NAME=FIGURE or NAME:FIGURE, "json" for one object a line.
        output: The outputs measured, in the order of their channels.
        decimal: What stands between whole digits and decimals.
        time_ms: The board's own milliseconds: place in the line, from 1, or name; where absent, lines count from their arrival.
        interval_ms: Usual milliseconds between lines; a capture without the board's own time is timed by it.
    """

    form: Literal["values", "pairs", "json"]
    output: Annotated[tuple[LineOutput, ...], Meta(min_length=1, max_length=64)]
    decimal: Literal[".", ","] = "."
    time_ms: Place | None = None
    interval_ms: Annotated[float, Meta(gt=0, le=600_000)] | None = None

    @property
    def places(self) -> tuple[tuple[str, int | str], ...]:
        """What each line has to hold: the key that asks for it, and its place or name; the time first where there is one."""
        figures = [
            (f"output {n} {quantity}", place)
            for n, output in enumerate(self.output)
            for quantity, place in (("volts", output.volts), ("amps", output.amps))
        ]
        return tuple(figures) if self.time_ms is None else (("time_ms", self.time_ms), *figures)
