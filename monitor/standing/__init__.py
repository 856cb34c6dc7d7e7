"""The one state of each supply and district at each moment; pages, hall, bus, terminal and health show it and add nothing."""

from monitor.standing.aged import aged
from monitor.standing.assess import assess
from monitor.standing.headline import Headline, headline
from monitor.standing.seen import DistrictNow, StandingWarning
from monitor.standing.states import LayoutStanding, Level, State

__all__ = ["DistrictNow", "Headline", "LayoutStanding", "Level", "StandingWarning", "State", "aged", "assess", "headline"]
