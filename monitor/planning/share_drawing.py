"""The share plan drawn: each supply a bar of its amps, filled by what it carries."""

from collections.abc import Iterator, Sequence
from html import escape

from monitor.planning.share_values import Need, Offer, SharePlan

WIDTH, BAR_LEFT, BAR_HEIGHT, ROW_HEIGHT, TOP = 900, 190, 30, 66, 46
FILLS = {"track": "#e8d9b5", "accessories": "url(#hatch)"}
HATCH = (
    '<defs><pattern id="hatch" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="8" height="8" fill="#c9dccb"/><path d="M0 0V8" stroke="#444" stroke-width="1.5"/></pattern></defs>'
)
STYLE = "font-family: system-ui, sans-serif; font-size: 14px; fill: #111"


def draw_share(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer], reserve: float = 0.2) -> str:
    """An SVG picture that prints in black and white: track plain, accessories hatched.

    Args:
        plan: The plan.
        needs: What was placed.
        offers: What it was placed on.
        reserve: Share of each limit that was to stay free; marked on each bar.
    """
    used = [offer for offer in offers if offer.name in plan.used]
    rows = [*(row for k, offer in enumerate(used) for row in _supply(k, offer, plan, needs, reserve))]
    height = TOP + ROW_HEIGHT * max(1, len(used)) + 24 * (1 + bool(plan.left_out))
    foot = f"Left out: {', '.join(plan.left_out)}" if plan.left_out else "Everything has a place."
    title = f"Share of what each supply may give for long; plain: track, hatched: accessories; dashed: reserve of {reserve:.0%}"
    picture = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" style="{STYLE}">',
        "<title>Which supply carries what</title>",
        HATCH,
        f'<rect width="{WIDTH}" height="{height}" fill="#fff"/>',
        f'<text x="10" y="24" font-size="16">{escape(title)}</text>',
        *rows,
        f'<text x="10" y="{height - 12}">{escape(foot)}</text>',
        "</svg>",
    ]
    return "\n".join(picture) + "\n"


def _supply(k: int, offer: Offer, plan: SharePlan, needs: Sequence[Need], reserve: float) -> Iterator[str]:
    top = TOP + k * ROW_HEIGHT
    scale = (WIDTH - BAR_LEFT - 20) / offer.amps
    price = f", {offer.price:g} to buy" if offer.price else ""
    yield f'<text x="10" y="{top + 15}" font-weight="bold">{escape(offer.name)}</text>'
    yield f'<text x="10" y="{top + 33}" font-size="12">{offer.amps:.1f} A, {plan.used_share[offer.name]:.0%}{price}</text>'
    yield f'<rect x="{BAR_LEFT}" y="{top}" width="{offer.amps * scale:.1f}" height="{BAR_HEIGHT}" fill="none" stroke="#111"/>'
    left, names = float(BAR_LEFT), []
    for need in needs:
        if plan.places.get(need.name, ("", ""))[0] != offer.name:
            continue
        width = need.amps * scale
        output = plan.places[need.name][1]
        names.append(f"{need.name} {need.amps:g} A (output {output})")
        box = f'x="{left:.1f}" y="{top}" width="{width:.1f}" height="{BAR_HEIGHT}" fill="{FILLS[need.use]}" stroke="#111"'
        yield f"<rect {box}><title>{escape(names[-1])}</title></rect>"
        left += width
    limit = BAR_LEFT + (1 - reserve) * offer.amps * scale
    yield f'<path d="M{limit:.1f} {top - 4}V{top + BAR_HEIGHT + 4}" stroke="#111" stroke-dasharray="4 3"/>'
    yield f'<text x="{BAR_LEFT}" y="{top + BAR_HEIGHT + 16}" font-size="12">{escape(_shortened("; ".join(names)))}</text>'


def _shortened(text: str, most: int = 100) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"
