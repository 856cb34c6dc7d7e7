"""The wiring card of a layout: which wire goes from which terminal to which rail, as rows, as text and drawn.

Hot wires are drawn full, commons dashed and accessory wires dotted, so that the card reads without colour.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

from monitor.layout import District, Layout, Supply
from monitor.planning.plan_file import Plan, Terminals

WIDTH, TERMINAL_X, TARGET_X, STEP = 900, 250, 560, 26
DASHES = {"hot": "", "common": "9 5", "accessory": "2 5"}
STYLE = "font-family: system-ui, sans-serif; font-size: 14px; fill: #111"
REFUSAL_LETTERS = 120
"""As many fit across the picture."""
FOOT = "Low-voltage side only; unplug before wiring. Hot posts of separate transformers are never joined (NEM 609, 6.1). Local codes first."


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """One wire.

    Attributes:
        terminal: From which terminal, as it is marked, or as the layout names the output.
        carries: "hot" to a rail, "common", or "accessory".
        to: Where it goes.
        size: The wire, where the layout says; empty otherwise.
    """

    supply: str
    terminal: str
    carries: Literal["hot", "common", "accessory"]
    to: str
    size: str = ""


def wires_of(layout: Layout, plan: Plan | None = None, refused: Mapping[str, str] | None = None) -> list[Wire]:
    """Every wire of the layout, supply by supply: hot wires, then commons; supplies refused by the bench check get none."""
    plan, refused = plan or Plan(), refused or {}
    return [wire for supply in layout.supply if supply.name not in refused for wire in _of_supply(layout, supply, plan)]


def card_text(layout: Layout, plan: Plan | None = None, refused: Mapping[str, str] | None = None) -> str:
    """The card as plain text; arguments as for :func:`wires_of`."""
    plan, refused = plan or Plan(), refused or {}
    rows = [f"Wiring card: {layout.title} ({plan.rails}-rail track)"]
    wires = wires_of(layout, plan, refused)
    for supply in layout.supply:
        if supply.name in refused:
            rows += ["", no_card(supply.name, refused)]
            continue
        rows += ["", f"{supply.name}{_measured(plan.terminals_of(supply.name))}"]
        for wire in (wire for wire in wires if wire.supply == supply.name):
            rows.append(f"  {wire.terminal:22} {wire.carries:10} to {wire.to}{f'  ({wire.size})' if wire.size else ''}")
    return "\n".join([*rows, "", FOOT]) + "\n"


def no_card(supply: str, refused: Mapping[str, str]) -> str:
    """Why a supply has no wires on the card."""
    return f"{supply}: no wiring card. {refused[supply]}"


def draw_card(layout: Layout, plan: Plan | None = None, refused: Mapping[str, str] | None = None) -> str:
    """The card as an SVG picture that prints in black and white; arguments as for :func:`wires_of`."""
    plan, refused = plan or Plan(), refused or {}
    parts: list[str] = []
    top = 84
    wires = wires_of(layout, plan, refused)
    for supply in layout.supply:
        if supply.name in refused:
            parts.append(
                f'<text x="20" y="{top + 20}" font-weight="bold">{escape(no_card(supply.name, refused)[:REFUSAL_LETTERS])}</text>'
            )
            top += 44
            continue
        of_it = [wire for wire in wires if wire.supply == supply.name]
        parts += _draw_supply(supply, of_it, plan.terminals_of(supply.name), top)
        top += STEP * (len(of_it) + 1) + 44
    head = f"Wiring card: {layout.title} ({plan.rails}-rail track)"
    picture = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {top + 16}" role="img" style="{STYLE}">',
        f"<title>{escape(head)}</title>",
        f'<rect width="{WIDTH}" height="{top + 16}" fill="#fff"/>',
        f'<text x="10" y="26" font-size="18">{escape(head)}</text>',
        *_key(),
        *parts,
        f'<text x="10" y="{top}" font-size="12">{escape(FOOT)}</text>',
        "</svg>",
    ]
    return "\n".join(picture) + "\n"


def _of_supply(layout: Layout, supply: Supply, plan: Plan) -> Iterator[Wire]:
    terminals = plan.terminals_of(supply.name)
    districts = layout.districts_of_supply(supply.name)
    for district in districts:
        hot = _terminal(terminals, district.output)
        if district.use == "track":
            rail = "centre rail" if plan.rails == 3 else "one rail"
            yield Wire(supply=supply.name, terminal=hot, carries="hot", to=f"{rail} of {district.name}", size=_size(district))
        else:
            yield Wire(
                supply=supply.name, terminal=hot, carries="accessory", to=f"{district.name}, hot side", size=_size(district)
            )
    for district in districts:
        rail = "outer rails" if plan.rails == 3 else "other rail"
        to = f"{rail} of {district.name}" if district.use == "track" else f"{district.name}, accessory common"
        yield Wire(
            supply=supply.name, terminal=_common(terminals, district.output), carries="common", to=to, size=_size(district)
        )


def _terminal(terminals: Terminals | None, output: str) -> str:
    return output if terminals is None else terminals.hot.get(output, output)


def _common(terminals: Terminals | None, output: str) -> str:
    if terminals is None:
        return f"common of {output}"
    return terminals.other_commons.get(output, terminals.common)


def _measured(terminals: Terminals | None) -> str:
    if terminals is None:
        return " (terminals not measured yet: pilotlamp terminals)"
    volts = ", ".join(f"{name} {words}" for name, words in terminals.volts.items())
    return f" (measured against {terminals.common}: {volts})" if volts else ""


def _size(district: District) -> str:
    feeder = district.feeder
    if feeder is None:
        return ""
    wire = f"{feeder.awg} AWG" if feeder.awg is not None else f"{feeder.mm2:g} mm²"
    return f"{wire}, {feeder.one_way_m:g} m"


def _key() -> Iterator[str]:
    words = (("hot", "hot, to the rail"), ("common", "common, back from it"), ("accessory", "accessories"))
    for k, (kind, label) in enumerate(words):
        x = 10 + 230 * k
        yield f'<path d="M{x} 50H{x + 50}" stroke="#111" stroke-width="2.5" stroke-dasharray="{DASHES[kind]}"/>'
        yield f'<text x="{x + 58}" y="55">{label}</text>'


def _draw_supply(supply: Supply, wires: Sequence[Wire], terminals: Terminals | None, top: int) -> Iterator[str]:
    names = list(dict.fromkeys(wire.terminal for wire in wires))
    height = STEP * (len(wires) + 1)
    at_y = {name: top + 34 + k * max(STEP, (height - 40) // max(1, len(names))) for k, name in enumerate(names)}
    unit = "VA" if supply.rated_va is not None else "W"
    yield f'<rect x="10" y="{top}" width="{TERMINAL_X - 10}" height="{height + 14}" fill="none" stroke="#111" stroke-width="1.5"/>'
    yield f'<text x="20" y="{top + 20}" font-weight="bold">{escape(supply.name)}</text>'
    yield f'<text x="20" y="{top + height + 6}" font-size="12">{supply.plate_va:g} {unit} in all</text>'
    for name, y in at_y.items():
        volts = "" if terminals is None else terminals.volts.get(name, "")
        yield f'<circle cx="{TERMINAL_X}" cy="{y}" r="6" fill="#fff" stroke="#111" stroke-width="2"/>'
        yield f'<text x="{TERMINAL_X - 14}" y="{y + 5}" text-anchor="end">{escape(f"{name} {volts}".strip())}</text>'
    for k, wire in enumerate(wires):
        y, target = at_y[wire.terminal], top + 34 + k * STEP
        path = f"M{TERMINAL_X + 6} {y}H{TERMINAL_X + 40 + 12 * (k % 8)}L{TARGET_X - 60} {target}H{TARGET_X}"
        yield f'<path d="{path}" fill="none" stroke="#111" stroke-width="2.5" stroke-dasharray="{DASHES[wire.carries]}"/>'
        words = f"{wire.to}{f' ({wire.size})' if wire.size else ''}"
        yield f'<text x="{TARGET_X + 8}" y="{target + 5}">{escape(words)}</text>'
