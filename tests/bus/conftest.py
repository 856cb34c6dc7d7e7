import pytest

from tests.bus.mosquitto import Mosquitto


@pytest.fixture
def mosquitto(tmp_path):
    broker = Mosquitto(tmp_path / "broker").start()
    yield broker
    broker.stop()
