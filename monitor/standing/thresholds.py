"""Every figure that decides in this room: value, unit, reason, source. Limits and alarms have theirs in protection."""

from monitor.protection.thresholds import threshold

_T, _OURS = threshold, "judgement"

STALE_AFTER_S = _T(1.0, "s", "older figures are never shown as live", _OURS)
FRESH_S = _T(3.0, "s", "what was judged longer ago says nothing of now", _OURS)
SILENCE_S = _T(15.0, "s", "a warning says nothing of now where nothing came for so long; before, late figures hide none", _OURS)
LATE_S = _T(1.5, "s", "figures this much older than the newest bytes are late: a computer that keeps up takes a tenth", _OURS)
LATCHED_S = _T(300.0, "s", "so long an act-now that is over stays the headline, unless it is marked as seen", _OURS)
NO_VOLTS = _T(1.0, "V", "below nothing arrives, whatever a sensor picks up", _OURS)
NO_AMPS = _T(0.1, "A", "below nothing is drawn that a sensor of this kind can tell from its zero", _OURS)
SHORT_VOLTS = _T(0.5, "share", "of the highest volts: what is above, with amps that a supply may give, shows no short now", _OURS)
WIDE_HEAT = _T(0.1, "share", "of opening heat: bounds further apart than this are shown", _OURS)
DULL_S = _T(1.0, "s", "an opening that is nearer is said to come at any moment", _OURS)
