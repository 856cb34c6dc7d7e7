"""``pilotlamp share``: which district on which supply, at least cost, under every limit."""

import argparse
import datetime as dt
from pathlib import Path

from monitor.errors import LayoutError
from monitor.layout import load_layout
from monitor.planning.offers import needs_of, offers_of
from monitor.planning.sharing import ShareOptions, alternatives, by_price_per_va, explain, share_load


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("layout", type=Path, metavar="LAYOUT.toml", help="supplies, outputs, districts and loads")
    parser.add_argument(
        "--reserve", type=float, default=0.2, metavar="SHARE", help="share of every limit to keep free (default 0.2)"
    )
    parser.add_argument(
        "--buy", action="append", default=[], metavar="SUPPLY=PRICE", help="a supply of the file that would have to be bought"
    )
    parser.add_argument(
        "--use-anyway", action="append", default=[], metavar="SUPPLY", help="use a supply that the bench check found unfit"
    )


def run(args: argparse.Namespace) -> int:
    """Print the plan, then others that would do."""
    layout = load_layout(args.layout)
    year = dt.datetime.now().astimezone().year
    names = {supply.name for supply in layout.supply}
    for unknown in [name for name in args.use_anyway if name not in names]:
        raise LayoutError(f'there is no supply "{unknown}": correct --use-anyway', source=str(args.layout))
    offers = offers_of(layout, this_year=year, overrides=args.use_anyway, prices=dict(_price(text, names) for text in args.buy))
    needs, options = needs_of(layout), ShareOptions(reserve=args.reserve)
    for name in args.use_anyway:
        print(f"! {name} is used against the bench check's verdict, because you said so.")
    for offer in offers:
        if not offer.fit and not offer.override:
            print(f"{offer.name} gets no load: see pilotlamp bench {args.layout}.")
    print(explain(share_load(needs, offers, options), needs), end="")
    for k, plan in enumerate(alternatives(needs, offers, options)[1:], start=2):
        print(f"\nAnother way ({k}), {plan.price:g} to buy:\n{explain(plan, needs)}", end="")
    for offer, price in by_price_per_va(offers):
        print(f"{offer.name}: {price:.2f} a usable VA")
    return 0


def _price(text: str, names: set[str]) -> tuple[str, float]:
    name, _, price = text.rpartition("=")
    if name not in names or not price.replace(".", "", 1).isdecimal():
        raise LayoutError(f'--buy takes SUPPLY=PRICE with a supply of the layout file, not "{text}"')
    return name, float(price)
