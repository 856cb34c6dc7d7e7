"""What to try against each cause of a stall, likeliest first: for the page and for print."""

from monitor.values import Cause

REMEDIES: dict[Cause, tuple[str, ...]] = {
    Cause.LOST_CONTACT: (
        "Clean the rails where it happened, then the train's wheels and pickups.",
        "Look for a low rail joint or a gap in a switch there.",
        "If it is the same train in every district, look at that train's pickups and their wires.",
    ),
    Cause.SHORT: (
        "Look for a derailed car or something metal across the rails.",
        "Check switches and crossings where wheels can bridge both sides.",
        "Take the trains off one by one; if it stays, look for pinched wires below.",
    ),
    Cause.PROTECTION_OPEN: (
        "Take some load off this supply, and let it cool before it is used again.",
        "Look for a short if it opened at once.",
        "Never hold a breaker in, replace it by a bigger one or bridge it.",
    ),
    Cause.SUPPLY_SAG: (
        "Move a load to another supply: the page before the show proposes which.",
        "If a starting train does it, start trains one after the other.",
        "If small loads do it, measure the supply: its own ohms may have grown.",
    ),
    Cause.MAINS_DIP: (
        "Ask what else was switched on in the building at that moment.",
        "If it recurs, have a licensed electrician look at the circuit.",
    ),
    Cause.FEED_LOST: (
        "Move the plugs and clips of this district's feeder gently, with the supply off, and look for a loose one.",
        "Look for a broken wire or a cold solder joint on the way to the track.",
        "Check the throttle's own contacts if it only happens at one setting.",
    ),
    Cause.BINDING: (
        "Stop the train and turn its wheels by hand: look for thread, a dry bearing or a bent rod.",
        "Look for a car whose wheels do not roll, or one that rubs.",
        "Let the motor cool before it runs again.",
    ),
    Cause.WEAK_JOINT: (
        "Clean and tighten the rail joint where the lap ring shows it.",
        "Add a feeder beyond that joint.",
    ),
    Cause.DIRECTION_BREAK: (),
    Cause.DC_SIGNAL: (),
    Cause.THROTTLE: (),
}
