"""An app whose clients all may act; who may is tested in tests/trust."""

from dashboard.access import Gate, Visits
from dashboard.app import create_app


class OpenVisits(Visits):
    def known(self, text):
        return True


def acting_app(watch):
    return create_app(watch, Gate(visits=OpenVisits()))
