"""Reads a payload as a person reads the page, and names what contradicts itself. Shares no code with what makes it.

What must never stand side by side was written down by people who looked at the pages for half an hour of a demonstration.
"""

import re

COUNTDOWN = re.compile(r"opens (at any moment|in about \d+ (?:s|min)(?: \([^)]*\))?)")
PERCENT = re.compile(r"(\d+) % of ")
INVITES = re.compile(r"\bleft\b|\bfits?\b")
REFUSES = re.compile(r"no further engine fits|nothing more fits")


def figure_of(text):
    """A lower bound counts as what it says."""
    return 0.0 if text == "–" else float(text.lstrip("≥ \xa0"))


def volts_of(row):
    return figure_of(row["volts"])


def amps_of(row):
    return figure_of(row["amps"])


def is_live(payload, district):
    return district["age_s"] is not None and district["age_s"] <= payload.get("stale_after_s", 1.0)


def is_dead(district):
    return district["volts"] != "–" and volts_of(district) < 1.0 and amps_of(district) < 1.0


def contradictions(payload, layout):
    """Sentences that name what cannot be true at once; ``layout`` gives (district, supply) names in the payload's order."""
    districts = {name: row for (name, _), row in zip(layout, payload["districts"], strict=True)}
    supplies = dict(zip(dict.fromkeys(supply for _, supply in layout), payload["supplies"], strict=True))
    heard = [w for w in payload["warnings"] if w["shelved_s"] is None and w["where"] != "many warnings"]
    told = []
    for name, supply in supplies.items():
        told += _of_supply(payload, name, supply, [row for d, row in districts.items() if (d, name) in layout], heard)
    for name, row in districts.items():
        told += _of_district(payload, name, row, supplies[dict(layout)[name]])
    told += _of_headline(payload, supplies, districts, heard)
    return [sentence for sentence, holds in told if holds]


def _of_supply(payload, name, supply, own, heard):
    live = [row for row in own if is_live(payload, row)]
    texts = [supply["word"], supply["heat_words"], *(w["message"] for w in heard if w["where"].split("/")[0] == name)]
    head = payload["headline"]
    texts += [head["sentence"], head["more"]] if head["sentence"].startswith(name) else []
    said = {match for text in texts for match in COUNTDOWN.findall(text)}
    opens = {supply["opens"]["words"]} if supply["opens"] else set()
    shares = [int(share) for share in PERCENT.findall(supply["limit"])]
    dead = [is_dead(row) for row in live]
    return (
        (f"{name} says {said} and counts down to {opens}", said != opens),
        (f"{name} opens and has something left", opens and INVITES.search(supply["limit"])),
        (f"{name} is said to be open beside power", "protection open" in supply["word"] and not all(dead)),
        (f"{name} has no power and a limit", supply["state"] == "no-power" and (supply["limit"] or opens)),
        (f"{name} is calm at {supply['limit']}", max(shares, default=0) >= 90 and supply["level"] in ("well", "rest")),
        (f"{name} runs without power", dead and all(dead) and supply["word"].startswith("running")),
        (
            f"{name} is dead and said to be overloaded",
            dead
            and len(dead) == len(own)
            and all(dead)
            and any(w["where"] == name and "is overloaded" in w["message"] for w in heard),
        ),
        (
            f"{name} draws nothing beside amps",
            supply["word"].startswith("draws nothing") and any(amps_of(row) >= 0.2 for row in live),
        ),
    )


def _of_district(payload, name, row, supply):
    live, dead = is_live(payload, row), is_dead(row)
    invites = row["fits"] and INVITES.search(row["fits"]) and not REFUSES.search(row["fits"])
    calm = live and not dead and not supply["opens"] and supply["level"] in ("well", "rest")
    return (
        (f"{name} invites more: {row['fits']}", invites and not calm),
        (f"{name} is said to be open at {row['volts']} V", "protection open" in row["word"] and not dead),
        (f"{name} is shorted at {row['volts']} V", row["word"].startswith("short") and volts_of(row) > 9 and amps_of(row) <= 5),
        (f"{name} is old and said to be {row['word']}", not live and not row["word"].startswith("no figures")),
        (f"{name} runs without power", live and dead and row["word"] in ("running", "on")),
        (f"{name} is well at {row['share']} of {row['limit']}", (row["share"] or 0) >= 0.9 and row["level"] in ("well", "rest")),
        (
            f"a warning tells of a short on {name} beside {row['volts']} V",
            live
            and volts_of(row) > 9
            and amps_of(row) <= 5
            and any(w["message"] == f"Short circuit on {name}." for w in payload["warnings"]),
        ),
    )


def _of_headline(payload, supplies, districts, heard):
    head = payload["headline"]
    calm = head["sentence"] in ("Nothing is near its limit", "No warning stands")
    rows = [*supplies.values(), *districts.values()]
    troubled = [
        row for row in rows if row["state"] in ("overloaded", "near-limit", "short") or row["level"] in ("medium", "high")
    ]
    ages = [row["age_s"] for row in districts.values()]
    late = None not in ages and min(ages) <= 15
    texts = [head["sentence"], *(w["message"] for w in payload["warnings"])]
    back = [
        row
        for text in texts
        for d, row in districts.items()
        if f"Short on {d}" in text and re.search("power is (back|there)", text)
    ]
    counts = any(row["opens"] for row in supplies.values())
    return (
        ("all is calm beside a warning", calm and any(w["level"] in ("medium", "high") for w in heard)),
        (f"all is calm beside {troubled}", calm and troubled),
        ("nothing is expected to open beside a countdown", "not expected to open" in head["more"] and counts),
        ("what is over counts down", any(re.search("in about|at any moment", past["what"]) for past in payload.get("past", ()))),
        (
            "somebody is told to wait for power that is there",
            any("power is" in w["message"] and "power may come back" in w["advice"] for w in payload["warnings"]),
        ),
        (
            "an act-now says that there is no hurry",
            any(w["level"] == "high" and "no hurry" in w["advice"] for w in payload["warnings"]),
        ),
        ("an overload is said to have opened nothing", "did not open" in str(payload)),
        ("power is said to be back where it is not", any(is_dead(row) or not is_live(payload, row) for row in back)),
        ("an act-now is hidden", any(w["level"] == "high" for w in heard) and late and head["level"] != "high"),
        ("a word that must not stand anywhere", re.search(r"it may pass|breaker", str(payload))),
    )
