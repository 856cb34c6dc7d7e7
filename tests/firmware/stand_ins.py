# What a MicroPython board has and its WebAssembly port lacks: converter, clock, network. Run before main.py, in MicroPython or Python.
import math
import sys

try:
    WAVES
except NameError:
    WAVES, STOP_MS = {}, 1000

READ_US = 37
clock = [0]


class Module:
    pass


def module(name, **members):
    made = Module()
    for key, value in members.items():
        setattr(made, key, value)
    sys.modules[name] = made
    return made


class Over(Exception):
    pass


def pass_us(us):
    clock[0] += us
    if clock[0] > STOP_MS * 1000:
        raise Over


class Converter:
    def __init__(self, pin):
        self.wave = WAVES[pin]

    def read_u16(self):
        amplitude_mv, offset_mv, hertz, degrees = self.wave
        mv = offset_mv + amplitude_mv * math.sin(2 * math.pi * (hertz * clock[0] / 1e6 + degrees / 360))
        pass_us(READ_US)
        count = int(mv / 3300 * 4096)
        return max(0, min(4095, count)) * 65535 // 4095


class Network:
    def __init__(self, mode):
        self.joined = False

    def active(self, on):
        pass

    def connect(self, name, password):
        self.joined = True

    def isconnected(self):
        return self.joined

    def ifconfig(self):
        return ("192.168.1.9",)


class Client:
    """The calls of umqtt.simple that the script makes; the first connection fails."""

    tries = [0]

    def __init__(self, name, host, keepalive=0):
        pass

    def connect(self):
        self.tries[0] += 1
        if self.tries[0] == 1:
            raise OSError(113)

    def publish(self, topic, text, qos=0):
        print("%s %d %s" % (topic, qos, text.replace("\r\n", "|")))


class Reader:
    def settimeout(self, seconds):
        pass

    def send(self, data):
        print(data.decode(), end="")

    def close(self):
        pass


class Listener:
    SOL_SOCKET = SO_REUSEADDR = 1
    waiting = [Reader()]

    def setsockopt(self, *what):
        pass

    def bind(self, place):
        print("#", place)

    def listen(self, backlog):
        pass

    def settimeout(self, seconds):
        pass

    def accept(self):
        if not self.waiting:
            raise OSError(11)
        return self.waiting.pop(), None


module("machine", ADC=Converter, Pin=lambda number: number)
module(
    "time",
    ticks_ms=lambda: clock[0] // 1000,
    ticks_diff=lambda a, b: a - b,
    ticks_add=lambda a, b: a + b,
    sleep_ms=lambda ms: pass_us(ms * 1000),
)
module("network", WLAN=Network, STA_IF=0)
module("socket", socket=Listener, SOL_SOCKET=1, SO_REUSEADDR=1)
module("umqtt", simple=module("umqtt.simple", MQTTClient=Client))
