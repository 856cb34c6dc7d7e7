"""``pilotlamp share``: which district on which supply, at least cost, under every limit."""

import argparse
import json
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import msgspec

from monitor.errors import LayoutError
from monitor.layout import Layout
from monitor.layout.edit import write_text
from monitor.planning.bench_check import today_here
from monitor.planning.cautions import cautions_at
from monitor.planning.plan_file import Candidate, Plan
from monitor.planning.plan_load import load_planned
from monitor.planning.share_values import Offer, ShareOptions, SharePlan, needs_of, offers_of
from monitor.planning.share_words import brief, draw_share, explain, unfit_words
from monitor.planning.sharing import alternatives, by_price_per_va, share_load

CANDIDATE_FORM = "NAME=PRICE,VA,VOLTS[,ac or dc[,OUTPUTS[,COUNT]]]"


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml", help="supplies, outputs, districts and loads")
    parser.add_argument("--plan", type=Path, metavar="FILE", help="the plan file (default: LAYOUT.plan.toml where it is there)")
    parser.add_argument("--reserve", type=float, metavar="SHARE", help="share of every limit to keep free (default 0.2)")
    parser.add_argument(
        "--candidate",
        action="append",
        default=[],
        type=_candidate,
        metavar="NAME=PRICE,VA,VOLTS",
        help=f"a supply that could be bought, in full {CANDIDATE_FORM}; may be given again",
    )
    parser.add_argument(
        "--buy", action="append", default=[], metavar="SUPPLY=PRICE", help="a supply of the file that would have to be bought"
    )
    parser.add_argument("--limit", type=float, metavar="PRICE", help="the most that may be spent")
    parser.add_argument(
        "--seconds",
        type=float,
        metavar="N",
        help="about how long the solver may take (default 10); counted in work, so that every computer gives the same answer",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object, and nothing else")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="also draw the plan")


def run(args: argparse.Namespace) -> int:
    """Print the plan, then others that would do."""
    layout, plan = _planned(args)
    offers = offers_of(layout, today=today_here(), plan=plan)
    needs = needs_of(layout, plan)
    options = ShareOptions.of_plan(plan)
    cheapest = share_load(needs, offers, options)
    if args.svg is not None:
        write_text(args.svg, draw_share(cheapest, needs, offers, plan.reserve))
    if args.json:
        print(json.dumps(as_json(cheapest, offers)))
        return 0
    print("\n".join([*unfit_words(offers), explain(cheapest, needs, offers, options)]), end="")
    if cheapest.fits:
        for k, other in enumerate(alternatives(needs, offers, options)[1:], start=2):
            print(f"\nAnother way ({k}), {other.price_per_va:.2f} a usable VA: {brief(other, needs)}")
    for offer, price in by_price_per_va(offers):
        print(f"{offer.name}: {price:.2f} a usable VA")
    if args.svg is not None:
        print(f"Drawn: {args.svg}")
    print("\n".join(["", *(f"! {caution}" for caution in cautions_at("wiring"))]))
    return 0


def as_json(plan: SharePlan, offers: Sequence[Offer]) -> dict[str, object]:
    """The machine-readable form of a plan."""
    bought = Counter(
        offer.candidate or offer.name for offer in offers if offer.name in plan.used and (offer.candidate or offer.price)
    )
    return {
        "kind": "share",
        "fits": plan.fits,
        "proven": plan.proven,
        "price": plan.price,
        "places": [{"need": need, "supply": supply, "output": output} for need, (supply, output) in plan.places.items()],
        "buy": [{"name": name, "count": count} for name, count in bought.items()],
        "left_out": list(plan.left_out),
        "larger_rating_would_help": plan.larger_rating_would_help,
        "check_before_use": [offer.name for offer in offers if offer.name in plan.used and offer.candidate],
    }


def _planned(args: argparse.Namespace) -> tuple[Layout, Plan]:
    changes = {"reserve": args.reserve, "spending_limit": args.limit, "share_seconds": args.seconds}
    planned = load_planned(args.layout, args.plan, changes)
    layout, plan = planned.layout, planned.plan
    names = {supply.name for supply in layout.supply}
    taken = names | {candidate.name for candidate in plan.candidate}
    for candidate in args.candidate:
        if candidate.name in taken:
            raise LayoutError(f'"{candidate.name}" is there already: give the candidate another name')
        taken.add(candidate.name)
    prices = {**plan.prices, **dict(_price(text, names) for text in args.buy)}
    return layout, msgspec.structs.replace(plan, prices=prices, candidate=(*plan.candidate, *args.candidate))


def _price(text: str, names: set[str]) -> tuple[str, float]:
    name, _, price = text.rpartition("=")
    if name not in names or not price.replace(".", "", 1).isdecimal():
        raise LayoutError(f'--buy takes SUPPLY=PRICE with a supply of the layout file, not "{text}"')
    return name, float(price)


def _candidate(text: str) -> Candidate:
    name, _, figures = text.rpartition("=")
    parts = [part.strip() for part in figures.split(",")]
    raw: dict[str, object] = {"name": name.strip(), "current": "ac"}
    try:
        raw |= dict(zip(("price", "rated_va", "max_volts"), map(float, parts[:3]), strict=True))
        raw |= {"current": parts[3].lower()} if len(parts) > 3 else {}
        raw |= dict(zip(("outputs", "count"), map(int, parts[4:]), strict=False))
        return msgspec.convert(raw, Candidate)
    except (ValueError, msgspec.ValidationError) as error:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not of the form {CANDIDATE_FORM}, as in 'Used twin=45,110,18,ac,2'"
        ) from error
