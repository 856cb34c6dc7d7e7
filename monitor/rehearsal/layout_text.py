"""The layout file of a bench."""

from monitor.rehearsal.model_breaker import typical_points
from monitor.rehearsal.model_specs import BenchSpec, BreakerSpec, DistrictSpec, SupplySpec

CHECKED = (
    '[supply.condition]\nenclosed = true\ncord = "sound"\nplug = "sound"\nstrain_relief = true\nbreaker_present = true\n'
    'safety_listed = true\nmade_year = 2012\nchecked_on = "2026-11-01"\n'
)


def layout_text(benches: list[BenchSpec], ports: list[str] | None = None, *, is_checked: bool = False) -> str:
    """The layout file as text.

    Args:
        benches: One or more benches, one board each; the names of their supplies and districts differ.
        ports: The board's port for each bench; None leaves ports out.
        is_checked: Every supply is made for this mains and passed its bench check.
    """
    first = benches[0]
    rows = [
        f'title = "{first.title}"\n',
        f"[mains]\nvolts = {first.mains_volts:g}\nhertz = {first.mains_hertz:g}\n",
    ]
    for n, bench in enumerate(benches):
        port = f'port = "{ports[n]}"\n' if ports else ""
        rows.append(f'[[board]]\nname = "{bench.board_name}"\nnumber = {bench.board_number}\n{port}{_isolation(bench)}')
    for bench in benches:
        plate = f"input_volts = [{bench.mains_volts:g}]\ninput_hertz = [{bench.mains_hertz:g}]\n" if is_checked else ""
        rows += [_supply(supply, plate) + (CHECKED if is_checked else "") for supply in bench.supplies]
    for bench in benches:
        rows += [_output(bench, district) for district in bench.districts]
    for bench in benches:
        far = 2 * len(bench.districts)
        for n, district in enumerate(bench.districts):
            rows.append(_district(bench, n, far if district.has_far_volts else None))
            far += district.has_far_volts
    for bench in benches:
        rows += _loads(bench)
    return "\n".join(rows)


def _isolation(bench: BenchSpec) -> str:
    """A modelled board that measures two supplies has an isolating transformer before each volts input."""
    if len({district.supply for district in bench.districts}) < 2:
        return ""
    return "isolated_inputs = true      # a board without them measures one supply only\n"


def _supply(supply: SupplySpec, plate: str) -> str:
    text = f'[[supply]]\nname = "{supply.name}"\ncurrent = "{supply.current}"\nrated_va = {supply.rated_va:g}\n'
    text += f"max_volts = {supply.max_volts:.4f}\n{plate}"
    if supply.rating_is == "input":
        text += 'rating_is = "input"\n'
    return text + _protection(supply.breaker)


def _protection(breaker: BreakerSpec) -> str:
    if breaker.written == "nothing":
        return ""
    if breaker.kind == "none":
        return '[supply.protection]\nkind = "none"\n'
    kind = "unknown" if breaker.written == "unknown" else breaker.kind
    text = f'[supply.protection]\nkind = "{kind}"\n'
    if breaker.written == "unknown":
        return text
    text += f"rated_amps = {breaker.rated_amps:g}\n"
    points = [] if breaker.kind == "electronic" else typical_points(breaker)
    if breaker.written == "points" and points:
        pairs = ", ".join(f"[{multiple:g}, {seconds:.2f}]" for multiple, seconds in points)
        text += f"points = [{pairs}]\n"
    return text + f'reset = "{breaker.reset}"\n'


def _output(bench: BenchSpec, district: DistrictSpec) -> str:
    control = "constant" if district.constant else "variable"
    text = f'[[output]]\nsupply = "{bench.supplies[district.supply].name}"\nname = "{district.output}"\ncontrol = "{control}"\n'
    return text + (f"max_amps = {district.max_amps:g}\n" if district.max_amps is not None else "")


def _district(bench: BenchSpec, n: int, far_channel: int | None) -> str:
    district = bench.districts[n]
    rows = [
        f'[[district]]\nname = "{district.name}"',
        f'supply = "{bench.supplies[district.supply].name}"\noutput = "{district.output}"',
        f'board = "{bench.board_name}"\nvolts_channel = {2 * n}\namps_channel = {2 * n + 1}',
    ]
    if far_channel is not None:
        rows.append(f"far_volts_channel = {far_channel}")
    rows.append(f'use = "{district.use}"')
    trains = [train for train in bench.trains if train.district == n]
    if bench.lap_hints and len(trains) == 1:
        rows.append(f"lap_s = {trains[0].lap_s:.1f}")
    if district.feeder is not None:
        rows.append(f"feeder = {{ awg = {district.feeder[0]}, one_way_m = {district.feeder[1]:g} }}")
    return "\n".join(rows) + "\n"


def _loads(bench: BenchSpec) -> list[str]:
    rows = []
    for train in bench.trains:
        if train.district < 0:
            continue
        starting = train.run_amps * (train.start_ratio if train.motor == "series" else 1 / train.armature)
        rows.append(
            f'[[load]]\nname = "{train.name}"\ndistrict = "{bench.districts[train.district].name}"\nkind = "locomotive"\n'
            f"running_amps = {train.run_amps:.1f}\nstarting_amps = {min(starting, 3 * train.run_amps):.1f}\n"
        )
    for district in bench.districts:
        for kind, what, amps in (("lighting", "lamps", district.lamp_amps), ("accessory", "accessories", district.steady_amps)):
            if amps > 0:
                rows.append(
                    f'[[load]]\nname = "{district.name} {what}"\ndistrict = "{district.name}"\nkind = "{kind}"\n'
                    f"running_amps = {amps:.2f}\n"
                )
    return rows
