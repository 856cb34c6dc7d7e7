"""Sensor board for any MicroPython board: eight readings a second of each output, as lines, over USB, Wi-Fi or a broker.

Copy it to the board as main.py. Wire it as ../wiring.md says, never to anything of the mains side; almost all such boards run on
3.3 V, so read the chapter on their inputs first.
"""

import time

from machine import ADC, Pin

NAME = "bench-1"
OUTPUTS = ((26, 27),)  # the pins of volts and amps of each output; add (28, 29) and so on for more
WINDOW_MS = 100  # measure all outputs this long: 5 whole cycles at 50 Hz, 6 at 60 Hz
INTERVAL_MS = 125  # then send, and start again on this beat

# volts = (count - VOLTS_ZERO) * VOLTS_SCALE, and amps alike; read_u16 counts 0 to 65535 over 3.3 V on any board.
VOLTS_SCALE = 3.3 / 65536 / 0.03491  # 94 k over two of 6.8 k
VOLTS_ZERO = 32768 * 94 / 97.4
AMPS_SCALE = 3.3 / 65536 / 0.066  # a sensor of 0.066 V for each amp
AMPS_ZERO = 32768

WAY = "usb"  # "usb", "tcp" (layout file: port = "socket://ADDRESS:8170") or "broker" (port = "mqtt://HOST/HALL/BOARD")
WIFI = ("network", "password")
TCP_PORT = 8170
BROKER, HALL = "192.168.1.2", "Fernhollow"  # BOARD is NAME; names with other than letters, digits, - . _ ~: see ../bus.md


def line(text):
    """The line, then * and the XOR of all its characters as two hex digits."""
    check = 0
    for character in text:
        check ^= ord(character)
    return "%s*%02X\r\n" % (text, check)


def measure(inputs):
    """RMS volts, RMS amps and watts of each output, over one window."""
    sums = [[0.0, 0.0, 0.0] for _ in inputs]
    scans = 0
    start = time.ticks_ms()
    while time.ticks_diff(time.ticks_ms(), start) < WINDOW_MS:
        for (volts_input, amps_input), total in zip(inputs, sums):
            if scans & 1:  # take turns at being first, or the later one lags and spoils the watts
                amps = amps_input.read_u16() - AMPS_ZERO
                volts = volts_input.read_u16() - VOLTS_ZERO
            else:
                volts = volts_input.read_u16() - VOLTS_ZERO
                amps = amps_input.read_u16() - AMPS_ZERO
            total[0] += volts * volts
            total[1] += amps * amps
            total[2] += volts * amps
        scans += 1
    return [
        ((v / scans) ** 0.5 * VOLTS_SCALE, (a / scans) ** 0.5 * AMPS_SCALE, w / scans * VOLTS_SCALE * AMPS_SCALE)
        for v, a, w in sums
    ]


def join_wifi():
    import network

    station = network.WLAN(network.STA_IF)
    station.active(True)
    station.connect(*WIFI)
    while not station.isconnected():
        time.sleep_ms(200)
    print("# this board's address is", station.ifconfig()[0])


class Usb:
    def send(self, text):
        print(text, end="")


class Tcp:
    """One reader at a time; a new one takes the place of one that has gone."""

    def __init__(self):
        import socket

        join_wifi()
        self.listener = socket.socket()
        self.listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.listener.bind(("0.0.0.0", TCP_PORT))
        self.listener.listen(1)
        self.listener.settimeout(0)
        self.reader = None

    def send(self, text):
        try:
            fresh = self.listener.accept()[0]
            if self.reader:
                self.reader.close()
            self.reader = fresh
            self.reader.settimeout(0.02)
        except OSError:
            pass  # nobody new
        try:
            if self.reader:
                self.reader.send(text.encode())
        except OSError:
            self.reader.close()
            self.reader = None


class Broker:
    """Needs the module umqtt.simple: "mpremote mip install umqtt.simple" puts it on the board."""

    def __init__(self):
        from umqtt.simple import MQTTClient

        join_wifi()
        self.client = MQTTClient(NAME, BROKER, keepalive=30)
        self.topic = "pilotlamp/1/%s/%s/lines" % (HALL, NAME)
        self.joined = False

    def send(self, text):
        try:
            if not self.joined:
                self.client.connect()
                self.joined = True
            self.client.publish(self.topic, text, qos=1)
        except OSError:
            self.joined = False  # these readings are lost; the next ones try again


def run():
    inputs = [(ADC(Pin(volts)), ADC(Pin(amps))) for volts, amps in OUTPUTS]
    way = {"usb": Usb, "tcp": Tcp, "broker": Broker}[WAY]()
    next_ms = identity_ms = time.ticks_ms()
    while True:
        readings = measure(inputs)
        now = time.ticks_ms()
        text = ""
        if time.ticks_diff(now, identity_ms) >= 0:
            text = line("b,%s,%d,%d" % (NAME, len(OUTPUTS), INTERVAL_MS))
            identity_ms = time.ticks_add(now, 1000)
        for output, (volts, amps, watts) in enumerate(readings):
            text += line("r,%d,%d,%.2f,%.3f,%.2f" % (now, output, volts, amps, watts))
        way.send(text)
        next_ms = time.ticks_add(next_ms, INTERVAL_MS)
        rest = time.ticks_diff(next_ms, time.ticks_ms())
        if rest > 0:
            time.sleep_ms(rest)
        else:
            next_ms = time.ticks_ms()  # too slow for the beat: go on from here


if __name__ == "__main__":
    run()
