"""A share plan in words and drawn: what goes where, what would move and why, what finds no place and what would help."""

from collections.abc import Iterator, Sequence
from html import escape

from monitor.planning.share_model import may_go
from monitor.planning.share_values import Need, Offer, OfferOutput, ShareOptions, SharePlan
from monitor.words.figures import percent

RAN_OUT = (
    "The work allowed ran out before {what} was proven: every limit holds, but a better plan may exist. Allow more with --seconds, or with "
    "share_seconds in the plan file."
)


def explain(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions | None = None) -> str:
    """The plan in words, one line a supply, then what to know about it."""
    options = options or ShareOptions()
    rows = [
        f"{each}: {_names(plan, needs, each)}. {percent(plan.used_share[each])} of what it may give for long."
        for each in plan.used
    ]
    rows += [f"{supply} carries track and accessories together: accessories eat into its total." for supply in plan.mixed]
    rows += _slower_rows(plan, needs, offers)
    rows += _move_rows(plan, needs, offers, options)
    rows += _buy_rows(plan, offers)
    if not plan.proven:
        rows.append(
            RAN_OUT.format(what="that no less has to be left out, at no lower price," if plan.left_out else "this cheapest")
        )
    rows += _left_out_rows(plan, needs, offers, options)
    return "\n".join(rows) + "\n"


def brief(plan: SharePlan, needs: Sequence[Need]) -> str:
    """What goes where and what is bought, in one line."""
    rows = [f"{supply}: {_names(plan, needs, supply)}." for supply in plan.used]
    rows += [f"To buy: {plan.price:g} in all, to be checked before use."] if plan.price else []
    return " ".join(rows if plan.proven else [*rows, "Not proven cheapest."])


def unfit_words(offers: Sequence[Offer]) -> list[str]:
    """Why supplies get no load."""
    return [f"{offer.name} gets no load. {offer.refusal}" for offer in offers if offer.refusal]


def _names(plan: SharePlan, needs: Sequence[Need], supply: str) -> str:
    on_it = [need for need in needs if plan.places.get(need.name, ("", ""))[0] == supply]
    return ", ".join(f"{need.name} (output {plan.places[need.name][1]}, {need.amps:g} A)" for need in on_it)


def _slower_rows(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer]) -> Iterator[str]:
    volts = {(offer.name, output.name): output.volts for offer in offers for output in offer.outputs}
    for need in needs:
        given = volts.get(plan.places.get(need.name, ("", "")))
        if given is not None and given < need.likes_volts - 0.5:
            yield f"{need.name} would like about {need.likes_volts:g} V and gets {given:g} V at most: its trains just run slower."


def _move_rows(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions) -> Iterator[str]:
    """What stands elsewhere today, and why it would move."""
    moved = [need for need in needs if need.at is not None and plan.places.get(need.name, need.at) != need.at]
    for need in moved:
        supply, output = plan.places[need.name]
        was, was_output = need.at or ("", "")
        why = _why_moved(need, needs, offers, options)
        yield f"{need.name} would move from {was}, output {was_output}, to {supply}, output {output}: {why}."
    if moved:
        yield "Rewire with the strip switched off; the phase of what then meets at a gap has to be tested again (pilotlamp phase)."


def _why_moved(need: Need, needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions) -> str:
    was, was_output = need.at or ("", "")
    offer = next((offer for offer in offers if offer.name == was), None)
    if offer is None or offer.refusal:
        return f"{was} is not fit to be used"
    output = next(each for each in offer.outputs if each.name == was_output)
    if not may_go(need, output):
        return f"what {was} gives there does not suit it"
    together = sum(each.amps for each in needs if each.at is not None and each.at[0] == was)
    on_output = sum(each.amps for each in needs if each.at == need.at)
    free = 1 - options.reserve
    if together > free * offer.amps + 1e-9:
        return f"all that is on {was} today draws {together:.1f} A; {free * offer.amps:.1f} A may be, with the reserve"
    if output.own_amps is not None and on_output > free * output.own_amps + 1e-9:
        return (
            f"all that is on that output today draws {on_output:.1f} A; {free * output.own_amps:.1f} A may be, with the reserve"
        )
    return "so that something else finds a place, or that less has to be bought"


def _buy_rows(plan: SharePlan, offers: Sequence[Offer]) -> Iterator[str]:
    if plan.price:
        yield f"To buy: {plan.price:g} in all."
    for offer in offers:
        if offer.name in plan.used and offer.candidate:
            open_ones = f" Still to ask and to look at: {'; '.join(offer.to_check)}" if offer.to_check else ""
            yield f"{offer.name}: check before use (pilotlamp bench): a plate is no proof that it is sound.{open_ones}"


def _left_out_rows(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer], options: ShareOptions) -> Iterator[str]:
    for need in needs:
        if need.name in plan.left_out:
            why = why_no_place(need, offers, options)
            yield f"{need.name} finds no place: {why}." if why else f"{need.name} finds no place."
    if not plan.left_out:
        return
    if plan.larger_rating_would_help:
        change = " and ".join(f"{supply} by {va:.0f} VA" for supply, va in (plan.extra_va or {}).items())
        yield (
            f"Everything would fit if these were rated for more, their protection with them: {change}. Never by a larger fuse or breaker "
            "alone."
        )
    elif plan.larger_rating_would_help is False:
        yield "No larger rating of these supplies would help: the volts, the kind of current, a common or a single output's limit forbid it."
    else:
        yield RAN_OUT.format(what="whether larger ratings would help")


def why_no_place(need: Need, offers: Sequence[Offer], options: ShareOptions) -> str:
    """What forbids a need that no larger total would help, and the smallest change that would; empty where a larger one would."""
    fit = [offer for offer in offers if not offer.refusal]
    outputs = [(offer, output) for offer in fit for output in offer.outputs]
    right = [(offer, output) for offer, output in outputs if need.current in (None, output.current)]
    high_enough = [(offer, output) for offer, output in right if need.volts <= output.volts]
    if not fit:
        return "no supply here is fit to be used: finish its bench check, have one mended or add one that is"
    if not right:
        return f"it takes {(need.current or '').upper()} and no fit supply here gives that: add one that does"
    if not high_enough:
        highest = max(output.volts for _, output in right)
        return (
            f"it wants {need.volts:g} V and the highest here is {highest:g} V: add a supply of {need.volts:g} V, or run it slower"
        )
    return _why_no_output(need, [(offer, output) for offer, output in high_enough if may_go(need, output)], options)


def _why_no_output(need: Need, reachable: Sequence[tuple[Offer, OfferOutput]], options: ShareOptions) -> str:
    if not reachable and need.use == "track":
        return "track needs an output that a throttle moves, and none that suits it has one: add a supply with one"
    if not reachable:
        return (
            f"every output here that would do gives more than the {need.most_volts:g} V that it takes: add a lower one, or one with a "
            "throttle"
        )
    if any(output.own_amps is None for _, output in reachable):
        return ""
    most = max(output.own_amps or 0.0 for _, output in reachable) * (1 - options.reserve)
    if need.amps > most:
        return (
            f"it draws {need.amps:g} A and one output gives {most:.1f} A at most with the reserve: divide it into two districts"
        )
    return ""


WIDTH, BAR_LEFT, BAR_HEIGHT, ROW_HEIGHT, TOP = 900, 190, 30, 66, 46
LISTED_LETTERS = 100
FILLS = {"track": "#e8d9b5", "accessories": "url(#hatch)"}
HATCH = (
    '<defs><pattern id="hatch" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="8" height="8" fill="#c9dccb"/><path d="M0 0V8" stroke="#444" stroke-width="1.5"/></pattern></defs>'
)
STYLE = "font-family: system-ui, sans-serif; font-size: 14px; fill: #111"


def draw_share(plan: SharePlan, needs: Sequence[Need], offers: Sequence[Offer], reserve: float = 0.2) -> str:
    """An SVG picture that prints in black and white: track plain, accessories hatched, the reserve marked on each bar."""
    used = [offer for offer in offers if offer.name in plan.used]
    rows = [*(row for k, offer in enumerate(used) for row in _bar(k, offer, plan, needs, reserve))]
    height = TOP + ROW_HEIGHT * max(1, len(used)) + 24 * (1 + bool(plan.left_out))
    foot = f"Left out: {', '.join(plan.left_out)}" if plan.left_out else "Everything has a place."
    title = (
        f"Share of what each supply may give for long; plain: track, hatched: accessories; dashed: reserve of {percent(reserve)}"
    )
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


def _bar(k: int, offer: Offer, plan: SharePlan, needs: Sequence[Need], reserve: float) -> Iterator[str]:
    top = TOP + k * ROW_HEIGHT
    scale = (WIDTH - BAR_LEFT - 20) / offer.amps
    price = f", {offer.price:g} to buy" if offer.price else ""
    yield f'<text x="10" y="{top + 15}" font-weight="bold">{escape(offer.name)}</text>'
    yield f'<text x="10" y="{top + 33}" font-size="12">{offer.amps:.1f} A, {percent(plan.used_share[offer.name])}{price}</text>'
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
    listed = "; ".join(names)
    shortened = listed if len(listed) <= LISTED_LETTERS else f"{listed[: LISTED_LETTERS - 1]}…"
    yield f'<text x="{BAR_LEFT}" y="{top + BAR_HEIGHT + 16}" font-size="12">{escape(shortened)}</text>'
