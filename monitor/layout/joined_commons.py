"""What may be joined of several supplies and what never: the one paragraph that everything quotes, README and wiring notes too.

Sources: NEM 609 (2010), section 6.1, for the ban and its two reasons; joining commons is common practice, no published source.
"""

COMMONS = (
    "Hot posts of separate transformers are never joined. NEM 609 (2010), section 6.1, forbids joining outputs of several transformers "
    "in series or in parallel: a phase error makes a short circuit or too many volts, and a transformer works backwards too, so the "
    "pins of a plug that is pulled while its outputs are joined to a live supply carry mains volts, even in phase. Joining commons is "
    "common practice outside that standard, and only on these conditions: every supply has passed its bench check; all plugs are "
    "marked, stay in one switched strip and are never pulled alone; a meter has shown the supplies in phase; the joint is wire of the "
    "track feeders' size, never a sensor board. A train that crosses the gap joins the hot posts for a moment: cross with both "
    "throttles at the same mark. Where you are not sure of one of these, keep the tracks apart on both rails, with no common wire, and "
    "ask somebody licensed. Local codes and the makers' instructions come first."
)
STRIP_OFF = "Switch the strip off first"
"""Before every turn of a plug and every change at a wire."""
