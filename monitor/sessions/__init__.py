"""Sessions: recorded as they go, recovered after any cut, replayed, reviewed, reported.

Only what is light stands here; the recorder (:mod:`monitor.sessions.recorder`), recovery and everything else that opens tables is
imported where it is needed.
"""

from monitor.sessions.folder import Closing, Manifest, SessionFolder, find_sessions
from monitor.sessions.playback import Playback, Played

__all__ = ["Closing", "Manifest", "Playback", "Played", "SessionFolder", "find_sessions"]
