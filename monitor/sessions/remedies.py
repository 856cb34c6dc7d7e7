"""What to try against each cause of a stall, likeliest first: for the page and for print."""

from monitor.values import Cause

REMEDIES: dict[Cause, tuple[str, ...]] = {
    Cause.LOST_CONTACT: (
        "Turn the district off, then clean the rails where it happened, and the train's wheels and pickups.",
        "Look for a low rail joint or a gap in a turnout there.",
        "If it is the same train in every district, take it off the track and look at its pickups and their wires.",
    ),
    Cause.SHORT: (
        "Turn the district off, then look for a derailed car or something metal across the rails.",
        "Check turnouts and crossings where wheels can bridge both sides.",
        "Take the trains off one by one; if it stays, look for pinched wires below, with the supply off.",
    ),
    Cause.PROTECTION_OPEN: (
        "Take some load off this supply, and let it cool before it is used again.",
        "Look for a short if it opened at once.",
        "Never hold a breaker in, replace it by a bigger one or bridge it.",
    ),
    Cause.SUPPLY_SAG: (
        "Move a load to another supply: the page before the show proposes which.",
        "If a starting train does it, start trains one after the other.",
        "If small loads do it, measure its volts at the output posts with and without them: its own ohms may have grown.",
    ),
    Cause.MAINS_DIP: (
        "Ask what else was switched on in the building at that moment.",
        "If it recurs, have a licensed electrician look at the circuit.",
    ),
    Cause.FEED_LOST: (
        "Move the plugs and clips of this district's feeder gently, with the supply off, and look for a loose one.",
        "Look for a broken wire or a cold solder joint on the way to the track, with the supply off.",
        "If it only happens at one setting, the throttle may be worn: leave its case closed and have it checked by somebody licensed.",
    ),
    Cause.BINDING: (
        "Take the train off the track and turn its wheels by hand: look for thread, a dry bearing or a bent rod.",
        "Look for a car whose wheels do not roll, or one that rubs.",
        "Let the motor cool before it runs again.",
    ),
    Cause.WEAK_JOINT: (
        "With the supply off, clean and tighten the rail joint where the lap ring shows it.",
        "Add a feeder beyond that joint, with the supply off.",
    ),
    Cause.DIRECTION_BREAK: (),
    Cause.DC_SIGNAL: (),
    Cause.THROTTLE: (),
}
